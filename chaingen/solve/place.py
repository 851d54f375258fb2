"""Placement: from a run of groups to poses of all its rings, and an honest answer to whether it can be made.

A repeated run is solved as one periodic cell and copied; what comes before and after it is grown on, ring
poses near the junction free; a closed loop is solved as a ring of cells where its groups come round to
themselves, otherwise as a
whole. Short rows are solved whole, long rows of unlike groups are grown a few groups at a time. All starts
are seeded: equal input
gives equal output.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from math import pi

import numpy as np

from chaingen.geometry.rings import Floats, Ints, Rings, concatenate
from chaingen.solve import rough
from chaingen.solve.bound import HoleProof, hole_proof
from chaingen.solve.check import check
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion, MotionKind, repeat_cell
from chaingen.solve.slp import Found, widen
from chaingen.weave.graph import LinkGraph, cell_graph, piece_graph, row_graph
from chaingen.weave.groups import Group, GroupKind, Run

STARTS = 5
"""Starts of one search unless told otherwise."""

SHAKES = (0.0, 0.05, 0.08, 0.11, 0.14)
"""How far the starts after the first are shaken, in radii and radians; more than this mostly ends in other
shapes."""

ENOUGH_AGREE = 3
"""Once so many sound starts agree on the best, no further one is made."""

SAME = 2e-3
"""Starts agree when their gaps differ by less than this [mm]."""

WHOLE_RINGS = 60
"""Rows of up to this many rings are solved whole."""

LOOP_RINGS = 400
"""Closed loops that do not come round cell by cell are opened up as a whole up to this many rings; longer
ones are bent so gently that the straight run's gaps serve."""

PERIODIC_REPEATS = 3
"""From this many repeats on, an open run is solved by its cell."""

SLACKENING = 0.9
"""A bent loop that keeps this part of the straight run's gap is taken as it is."""


class Answer(StrEnum):
    """What the search can say. None of these is ever called by the name of another."""

    FITS = "fits"
    CANNOT_FIT = "cannot fit"
    NO_FIT_FOUND = "no fit found"
    NOT_CONVERGED = "did not converge"


@dataclass(frozen=True, slots=True)
class Search:
    """The evidence of one search.

    Attributes:
        what: What was solved: ``cell``, ``row``, ``loop``, ``start`` or ``end``.
        gaps: Best smallest gap of each start [mm]; only those with the intended links and shapes count for
            the best.
        sound: How many starts ended with the intended links and shapes.
        agreed: How many of these reached the best within `SAME`.
        converged: Whether the best start ended because no step promised more.
        holding: Names of the pairs of rings whose contacts hold the (local) optimum, strongest first, with
            their shares.
    """

    what: str
    gaps: tuple[float, ...]
    sound: int
    agreed: int
    converged: bool
    holding: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True, eq=False)
class Placement:
    """Where every ring is.

    Attributes:
        graph: The link graph of the whole piece.
        rings: The poses, in the graph's order; an open run lies along x, a closed loop round z.
        answer: Whether it fits.
        gap: Smallest signed gap that the searches reached [mm].
        clearance: The gap asked for [mm].
        proof: The hole that cannot hold its wires, when the answer is "cannot fit".
        searches: The evidence, one entry for each part that was solved.
    """

    graph: LinkGraph
    rings: Rings
    answer: Answer
    gap: float
    clearance: float
    proof: HoleProof | None
    searches: tuple[Search, ...]


Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class _Solved:
    state: State
    search: Search
    gap: float


def is_sound(graph: LinkGraph, state: State) -> bool:
    """Whether links and shapes are the intended ones, gaps aside, in the cell or row itself."""
    if graph.periodic:
        inner = graph.offsets == 0
        graph = LinkGraph(
            graph.members, graph.links[inner], graph.offsets[inner], graph.arrangements, graph.groups, False
        )
    report = check(graph, state.rings)
    return report.links_as_designed and not report.faults


def _search(
    what: str,
    graph: LinkGraph,
    start: State,
    *,
    starts: int,
    free: np.ndarray | None = None,
    seed: int = 0,
) -> _Solved:
    """The best of several seeded starts round a rough pose."""
    contacts = Contacts(graph)
    rng = np.random.default_rng(seed)
    tried: list[tuple[bool, Found]] = []
    for number in range(starts):
        shake = SHAKES[number % len(SHAKES)]
        shaken = rough.shaken(start.rings, rng, shake) if shake else start.rings
        if free is not None:
            shaken = Rings(
                np.where(free[:, None], shaken.centres, start.rings.centres),
                np.where(free[:, None], shaken.normals, start.rings.normals),
                shaken.radii,
                shaken.wire_radii,
            )
        found = widen(contacts, State(shaken, start.motion), free=free)
        # A signed gap below the thinnest overlap of two wires means wrong links; shapes are judged besides.
        right = found.value > -2.0 * float(graph.wire_radii.min()) and is_sound(graph, found.state)
        tried.append((right, found))
        reached = [one.value for sound, one in tried if sound]
        if reached and sum(value >= max(reached) - SAME for value in reached) >= ENOUGH_AGREE:
            break
    best = max(tried, key=lambda one: (one[0], round(one[1].value, 6), one[1].converged))
    sound = [found for right, found in tried if right]
    names = graph.names
    search = Search(
        what,
        tuple(found.value for _, found in tried),
        len(sound),
        sum(found.value >= best[1].value - SAME for found in sound),
        best[1].converged,
        tuple(
            (names[i], names[j], float(share))
            for (i, j, _), share in zip(best[1].holding[:12].tolist(), best[1].forces[:12], strict=True)
        ),
    )
    return _Solved(best[1].state, search, best[1].value)


def _centred(state: State) -> State:
    """The state with its first ring at x = 0 and its axis through the middle of the rings."""
    rings = state.rings
    middle = rings.centres.mean(axis=0)
    middle[0] = rings.centres[0, 0]
    return State(rough.moved(rings, -middle), state.motion)


@lru_cache(maxsize=256)
def solve_cell(groups: tuple[Group, ...], *, starts: int = STARTS) -> tuple[LinkGraph, State, Search, float]:
    """The best placement found of a repeating row of groups.

    Args:
        groups: The groups of the cell; an odd number is taken twice.
        starts: How many seeded starts.

    Returns:
        The cell's graph, its state, the evidence and the smallest signed gap [mm].
    """
    graph = cell_graph(groups)
    start = State(rough.row_pose(graph.groups), Motion(MotionKind.SHIFT, rough.cell_period(graph.groups)))
    solved = _search("cell", graph, start, starts=starts)
    return graph, _centred(solved.state), solved.search, solved.gap


@lru_cache(maxsize=256)
def solve_row(
    groups: tuple[Group, ...], *, starts: int = STARTS, quarter: int = 0
) -> tuple[Rings, tuple[Search, ...], float]:
    """The best placement found of a finite open row of groups.

    Args:
        groups: The groups.
        starts: How many seeded starts.
        quarter: 0 or 1: whether the first group lies flat or stands.

    Returns:
        The poses, the evidence and the smallest signed gap [mm].
    """
    if sum(group.count for group in groups) > WHOLE_RINGS:
        rings, searches, gap = _grown(groups, 0, None, starts=starts, quarter=quarter)
        return rings, tuple(searches), gap
    solved = _search(
        "row", row_graph(groups), State(rough.row_pose(groups, quarter=quarter), Motion()), starts=starts
    )
    return _centred(solved.state).rings, (solved.search,), solved.gap


def _grown(
    groups: tuple[Group, ...], done: int, rings: Rings | None, *, starts: int, quarter: int
) -> tuple[Rings, list[Search], float]:
    """Add groups to a placed row, a few at a time, the last ones placed staying free.

    Args:
        groups: The whole row.
        done: How many of its groups are placed.
        rings: Their poses.
        starts: Seeded starts for each step.
        quarter: Quarter turn of the first group.
    """
    counts = np.array([group.count for group in groups])
    ends = np.concatenate([[0], np.cumsum(counts)])
    searches: list[Search] = []
    gap = np.inf
    while done < len(groups):
        upto = done + 1
        while upto < len(groups) and ends[upto + 1] - ends[done] <= 12:
            upto += 1
        back = max(0, done - 4)
        window = groups[back:upto]
        fresh = rough.row_pose(window, quarter=(back + quarter) % 2)
        if rings is not None and done > 0:
            at = rings.centres[ends[done - 1] : ends[done]].mean(axis=0)
            rough_at = fresh.centres[ends[done - 1] - ends[back] : ends[done] - ends[back]].mean(axis=0)
            fresh = rough.moved(fresh, at - rough_at)
            start = concatenate(
                [rings[int(ends[back]) : int(ends[done])], fresh[int(ends[done] - ends[back]) :]]
            )
        else:
            start = fresh
        group_of = np.repeat(np.arange(back, upto), counts[back:upto])
        free = group_of >= (done - 1 if done else 0)
        solved = _search("junction", row_graph(window), State(start, Motion()), starts=starts, free=free)
        searches.append(solved.search)
        gap = min(gap, solved.gap)
        before = [] if rings is None else [rings[: int(ends[back])]]
        rings = concatenate([*before, solved.state.rings])
        done = upto
    assert rings is not None
    return rings, searches, float(gap)


def _turned_about(rings: Rings, groups: Sequence[Group]) -> Rings:
    """Rings and group order reversed by half a turn about z, which keeps every hand."""
    flipped = rough.turned(rings, rough.about_z(pi))
    ends = np.concatenate([[0], np.cumsum([group.count for group in groups])])
    order = np.concatenate([np.arange(ends[k], ends[k + 1]) for k in reversed(range(len(groups)))])
    return flipped[order.astype(np.int64)]


def _place_repeated(run: Run, starts: int) -> tuple[Rings, list[Search], float]:
    """An open run by its cell, with what comes before and after grown on."""
    graph, state, search, gap = solve_cell(run.cell, starts=starts)
    searches = [search]
    body = run.cell * run.repeat
    images = -(-len(body) // len(graph.groups))
    count = sum(group.count for group in body)
    rings = repeat_cell(state.rings, state.motion, images)[:count]
    if run.last:
        keep = min(len(body), max(5, len(run.cell)))
        tail = body[-keep:]
        start = count - sum(group.count for group in tail)
        row = tail + run.last
        grown, more, least = _grown(row, keep, rings[start:], starts=starts, quarter=(len(body) - keep) % 2)
        rings = concatenate([rings[:start], grown])
        searches += more
        gap = min(gap, least)
    if run.first:
        keep = min(len(body), max(5, len(run.cell)))
        head = body[:keep]
        size = sum(group.count for group in head)
        row = tuple(reversed(head)) + tuple(reversed(run.first))
        flipped = _turned_about(rings[:size], head)
        grown, more, least = _grown(row, keep, flipped, starts=starts, quarter=(keep - 1) % 2)
        rings = concatenate([_turned_about(grown, row), rings[size:]])
        searches += more
        gap = min(gap, least)
    # Joins at open ends join nothing and are left off.
    groups = run.first + body + run.last
    begin = next((k for k, group in enumerate(groups) if group.kind is not GroupKind.JOIN), 0)
    skip = sum(group.count for group in groups[:begin])
    kept = sum(group.count for group in run.groups())
    return rings[skip : skip + kept], searches, gap


def _group_x(graph: LinkGraph, rings: Rings) -> Floats:
    """X of the middle of each ring's group [mm], shape (n,)."""
    sums = np.bincount(graph.group_of, weights=rings.centres[:, 0])
    return np.asarray((sums / np.bincount(graph.group_of))[graph.group_of])


def _place_closed(run: Run, starts: int) -> tuple[Rings, list[Search], float]:
    """A closed loop: a ring of cells where they come round, otherwise the whole loop at once."""
    graph, state, search, straight = solve_cell(run.cell, starts=starts)
    groups = run.groups()
    cells, rest = divmod(len(groups), len(graph.groups))
    searches = [search]
    if rest == 0 and cells >= 2:
        length = state.motion.period * cells
        best: tuple[Rings, float, Search] | None = None
        for tilt in (0.0, 0.5 * pi):
            bent = rough.bent(state.rings, _group_x(graph, state.rings), length, tilt=tilt)
            solved = _search("loop", graph, State(bent, Motion(MotionKind.TURN, cells=cells)), starts=1)
            if best is None or solved.gap > best[1] + SAME:
                best = (
                    repeat_cell(solved.state.rings, solved.state.motion, cells),
                    solved.gap,
                    solved.search,
                )
        assert best is not None
        searches.append(best[2])
        return best[0], searches, best[1]
    # The rest of the turn that an odd number of groups leaves is spread as a twist.
    images = cells + (1 if rest else 0)
    body = repeat_cell(state.rings, state.motion, images)
    whole = piece_graph(run)
    body = body[: len(whole)]
    length = state.motion.period * len(groups) / len(graph.groups)
    along = _group_x(whole, body)
    twist = 0.5 * pi * (len(groups) % 2) / length
    twisted = concatenate(
        [
            rough.turned(body[np.flatnonzero(along == x)], rough.about_x(twist * float(x)))
            for x in np.unique(along)
        ]
    )
    order = np.concatenate([np.flatnonzero(along == x) for x in np.unique(along)])
    back: Ints = np.argsort(order)
    bent = rough.bent(twisted[back], along, length)
    report = check(whole, bent)
    if len(whole) > LOOP_RINGS or (
        report.links_as_designed and report.smallest_gap > SLACKENING * straight > 0.0
    ):
        return bent, searches, report.smallest_gap if report.links_as_designed else -np.inf
    solved = _search("loop", whole, State(bent, Motion()), starts=1)
    searches.append(solved.search)
    return solved.state.rings, searches, solved.gap


def _place_row(run: Run, starts: int) -> tuple[Rings, list[Search], float]:
    rings, searches, gap = solve_row(run.groups(), starts=starts)
    return rings, list(searches), gap


def place(
    run: Run, *, clearance: float = 0.0, starts: int = STARTS, on_progress: Progress | None = None
) -> Placement:
    """Place every ring of a run as far from its neighbours as it goes.

    Args:
        run: The run of groups.
        clearance: Gap asked for between any two wires [mm].
        starts: Seeded starts of each search; the best is kept.
        on_progress: Told in words what is being solved.

    Returns:
        The poses with the answer. A best try is given in every case, also where a proof says that nothing
        fits.
    """
    say = on_progress or (lambda _: None)
    graph = piece_graph(run)
    proof = hole_proof(graph, clearance)
    say("placing rings")
    if run.closed:
        rings, searches, gap = _place_closed(run, starts)
    elif run.repeat >= PERIODIC_REPEATS:
        rings, searches, gap = _place_repeated(run, starts)
    else:
        rings, searches, gap = _place_row(run, starts)
    say("checking the whole piece")
    report = check(graph, rings, clearance=clearance)
    if report.sound:
        answer = Answer.FITS
    elif proof is not None:
        answer = Answer.CANNOT_FIT
    elif all(search.converged for search in searches):
        answer = Answer.NO_FIT_FOUND
    else:
        answer = Answer.NOT_CONVERGED
    return Placement(graph, rings, answer, gap, clearance, proof, tuple(searches))
