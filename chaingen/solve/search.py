"""Searches: the best of several seeded starts for a repeating cell, a row, or a row that grows.

All starts are seeded: equal input gives equal output.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.solve import rough
from chaingen.solve.check import ROUND_OFF, check
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion, MotionKind, images_of
from chaingen.solve.slp import Found, widen
from chaingen.solve.telling import tell
from chaingen.weave.graph import LinkGraph, cell_graph, row_graph
from chaingen.weave.groups import Group
from chaingen.weave.tiling import chain_cells, sheet_cells, tiled

STARTS = 5
"""Starts of one search unless told otherwise."""

SHAKES = (0.0, 0.05, 0.08, 0.11, 0.14)
"""How far the starts after the first are shaken, in radii and radians; more than this mostly ends in other
shapes."""

REGULAR = 0.95
"""The first start is the unshaken, regular one: where it reaches this part of the best gap, its shape is
kept, for makers lay rings regularly, and a slightly wider gap is not worth a tangle."""

ENOUGH_AGREE = 3
"""Once so many sound starts agree on the best, no further one is made."""

SAME = 2e-3
"""Starts agree when their gaps differ by less than this [mm]."""

WHOLE_RINGS = 60
"""Rows of up to this many rings are solved whole."""

TELLS = {
    "cell": "placing rings",
    "row": "placing rings",
    "loop": "closing the loop",
    "junction": "placing what joins the ends",
}
"""What is being done in a search, in words."""


@dataclass(frozen=True, slots=True)
class Search:
    """The evidence of one search.

    Attributes:
        what: What was solved: ``cell``, ``row``, ``loop``, ``junction``, ``weave`` or
            ``joint``.
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
class Solved:
    """The state a search chose, its evidence and its smallest signed gap [mm]."""

    state: State
    search: Search
    gap: float


PATCH_RINGS = 8
"""A repeating cell is judged by so many of its images that a patch has at least this many rings along."""


def patch_of(graph: LinkGraph, state: State) -> tuple[LinkGraph, Bodies]:
    """A finite piece of a repeating cell in which every kind of neighbour is met."""
    along = 1 + max(int(np.abs(graph.offsets[:, 0]).max(initial=0)), -(-PATCH_RINGS // len(graph)))
    if state.motion.kind is MotionKind.SHEET:
        across = 1 + max(1, int(np.abs(graph.offsets[:, 1]).max(initial=0)))
        along = 1 + max(1, int(np.abs(graph.offsets[:, 0]).max(initial=0)))
        cells = sheet_cells(max(along, 3), max(across, 3))
    else:
        if state.motion.kind is MotionKind.TURN:
            # A ring of cells comes back to itself: its far side is not a neighbour by offset.
            along = min(along, max(1, int(state.motion.cells) - 1))
        cells = chain_cells(along)
    piece, _ = tiled(graph, cells)
    return piece, images_of(state.rings, state.motion, cells)


def wrong_below(graph: LinkGraph) -> float:
    """Signed gap [mm] under which some pair must be linked wrongly: less than two wires overlap at most."""
    return -2.0 * float(graph.wire_radii.min()) + ROUND_OFF


def is_sound(graph: LinkGraph, state: State) -> bool:
    """Whether links and shapes are the intended ones, gaps aside, in the row or a patch of the cell."""
    piece, rings = patch_of(graph, state) if graph.periodic else (graph, state.rings)
    report = check(piece, rings)
    return report.links_as_designed and not report.faults


def evidence(what: str, graph: LinkGraph, tried: list[tuple[bool, Found]], best: Found) -> Search:
    """What a search tells: its starts, each with whether it ended sound, and the one it chose."""
    sound = [found for right, found in tried if right]
    names = graph.names
    return Search(
        what,
        tuple(found.value for _, found in tried),
        len(sound),
        sum(found.value >= best.value - SAME for found in sound),
        best.converged,
        tuple(
            (names[i], names[j], float(share))
            for (i, j, _), share in zip(best.holding[:12].tolist(), best.forces[:12], strict=True)
        ),
    )


def search(
    what: str,
    graph: LinkGraph,
    start: State,
    *,
    starts: int,
    enough: float,
    free: np.ndarray | None = None,
    seed: int = 0,
) -> Solved:
    """The best of several seeded starts round a rough pose."""
    contacts = Contacts(graph)
    rng = np.random.default_rng(seed)
    tried: list[tuple[bool, Found]] = []
    for number in range(starts):
        if starts > 1:
            tell(f"{TELLS[what]}, start {number + 1} of {starts}")
        shake = SHAKES[number % len(SHAKES)]
        shaken = rough.shaken(start.rings, rng, shake) if shake else start.rings
        if free is not None:
            still = start.rings
            shaken = still.posed(
                np.where(free[:, None], shaken.centres, still.centres),
                np.where(free[:, None], shaken.normals, still.normals),
                None if still.axes is None else np.where(free[:, None], shaken.first_axes(), still.axes),
            )
        found = widen(contacts, State(shaken, start.motion), free=free)
        # A signed gap below the thinnest overlap of two wires means wrong links; shapes are judged besides.
        right = found.value > wrong_below(graph) and is_sound(graph, found.state)
        tried.append((right, found))
        reached = [one.value for sound, one in tried if sound]
        if reached and sum(value >= max(reached) - SAME for value in reached) >= ENOUGH_AGREE:
            break
    best = max(tried, key=lambda one: (one[0], round(one[1].value, 6), one[1].converged))
    if tried[0][0] and tried[0][1].value >= max(REGULAR * best[1].value, enough, 0.0):
        best = tried[0]
    return Solved(best[1].state, evidence(what, graph, tried, best[1]), best[1].value)


def centred(state: State) -> State:
    """The state with its first ring at x = 0 and its axis through the middle of the rings."""
    rings = state.rings
    middle = rings.centres.mean(axis=0)
    middle[0] = rings.centres[0, 0]
    return State(rings.moved(-middle), state.motion)


@lru_cache(maxsize=256)
def solve_cell(
    groups: tuple[Group, ...], *, starts: int = STARTS, enough: float = 0.0
) -> tuple[LinkGraph, State, Search, float]:
    """The best placement found of a repeating row of groups.

    Args:
        groups: The groups of the cell; an odd number is taken twice.
        starts: How many seeded starts.
        enough: A regular shape is not preferred to a wider gap when its own is under this [mm].

    Returns:
        The cell's graph, its state, the evidence and the smallest signed gap [mm].
    """
    graph = cell_graph(groups)
    start = State(rough.row_pose(graph.groups), Motion(MotionKind.SHIFT, rough.cell_period(graph.groups)))
    solved = search("cell", graph, start, starts=starts, enough=enough)
    return graph, centred(solved.state), solved.search, solved.gap


@lru_cache(maxsize=256)
def solve_row(
    groups: tuple[Group, ...], *, starts: int = STARTS, enough: float = 0.0
) -> tuple[Bodies, tuple[Search, ...], float]:
    """The best placement found of a finite open row of groups.

    Args:
        groups: The groups.
        starts: How many seeded starts.
        enough: A regular shape is not preferred to a wider gap when its own is under this [mm].

    Returns:
        The poses, the evidence and the smallest signed gap [mm].
    """
    if sum(group.count for group in groups) > WHOLE_RINGS:
        rings, searches, gap = grown(groups, 0, None, starts=starts, enough=enough, angle=0.0)
        return rings, tuple(searches), gap
    solved = search(
        "row", row_graph(groups), State(rough.row_pose(groups), Motion()), starts=starts, enough=enough
    )
    return centred(solved.state).rings, (solved.search,), solved.gap


def grown(
    groups: tuple[Group, ...],
    done: int,
    rings: Bodies | None,
    *,
    starts: int,
    enough: float,
    angle: float,
    known: float = np.inf,
) -> tuple[Bodies, list[Search], float]:
    """Add groups to a placed row, a few at a time, the last ones placed staying free.

    Args:
        groups: The whole row.
        done: How many of its groups are placed.
        rings: Their poses.
        starts: Seeded starts for each step.
        enough: See `solve_cell`.
        angle: Turn of the first group's axis about x [rad], see `rough.row_pose`.
        known: Smallest gap of the part that is placed [mm].
    """
    counts = np.array([group.count for group in groups])
    ends = np.concatenate([[0], np.cumsum(counts)])
    searches: list[Search] = []
    gap = known
    while done < len(groups):
        upto = done + 1
        while upto < len(groups) and ends[upto + 1] - ends[done] <= 12:
            upto += 1
        back = max(0, done - 4)
        window = groups[back:upto]
        fresh = rough.row_pose(window, angle=rough.leaving_angle(groups[:back], angle=angle))
        if rings is not None and done > 0:
            at = rings.centres[ends[done - 1] : ends[done]].mean(axis=0)
            rough_at = fresh.centres[ends[done - 1] - ends[back] : ends[done] - ends[back]].mean(axis=0)
            fresh = fresh.moved(at - rough_at)
            start = concatenate(
                [rings[int(ends[back]) : int(ends[done])], fresh[int(ends[done] - ends[back]) :]]
            )
        else:
            start = fresh
        group_of = np.repeat(np.arange(back, upto), counts[back:upto])
        free = group_of >= (done - 1 if done else 0)
        solved = search(
            "junction", row_graph(window), State(start, Motion()), starts=starts, enough=enough, free=free
        )
        if back and solved.gap < gap:
            # The junction binds: the groups before it may give way, all but the two that hold the window.
            window_free = group_of >= back + 2
            again = search(
                "junction",
                row_graph(window),
                solved.state,
                starts=1,
                enough=enough,
                free=window_free,
            )
            if again.search.sound and again.gap > solved.gap:
                solved = again
        searches.append(solved.search)
        gap = min(gap, solved.gap)
        before = [] if rings is None else [rings[: int(ends[back])]]
        rings = concatenate([*before, solved.state.rings])
        done = upto
    assert rings is not None
    return rings, searches, float(gap)
