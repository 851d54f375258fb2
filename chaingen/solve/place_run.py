"""Placing a run of groups.

A repeated run is solved as one periodic cell and copied; what comes before and after it is grown on, ring
poses near the junction free; a closed loop is solved as a ring of cells where its groups come round to
themselves, otherwise as a whole. Short rows are solved whole, long rows of unlike groups are grown a few
groups at a time.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import pi

import numpy as np

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.types import Floats, Ints
from chaingen.solve import rough
from chaingen.solve.check import CheckReport, check
from chaingen.solve.contacts import State
from chaingen.solve.motion import Motion, MotionKind, repeat_cell
from chaingen.solve.search import SAME, WHOLE_RINGS, Search, grown, search, solve_cell, solve_row
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import Group, GroupKind, Run

LOOP_RINGS = 150
"""Closed loops that do not come round cell by cell are opened up as a whole up to this many rings; longer
ones are bent so gently that the straight run's gaps serve."""

PERIODIC_REPEATS = 3
"""From this many repeats on, an open run is solved by its cell."""

SLACKENING = 0.75
"""A bent loop that keeps this part of the straight run's gap, and the clearance, is taken as it is."""


def _turned_about(rings: Bodies, groups: Sequence[Group]) -> Bodies:
    """Rings and group order reversed by half a turn about z, which keeps every hand."""
    flipped = rings.turned(rough.about_z(pi))
    ends = np.concatenate([[0], np.cumsum([group.count for group in groups])])
    order = np.concatenate([np.arange(ends[k], ends[k + 1]) for k in reversed(range(len(groups)))])
    return flipped[order.astype(np.int64)]


def _place_repeated(run: Run, starts: int, enough: float) -> tuple[Bodies, list[Search], float]:
    """An open run by its cell, with what comes before and after grown on."""
    graph, state, evidence, gap = solve_cell(run.cell, starts=starts, enough=enough)
    searches = [evidence]
    body = run.cell * run.repeat
    images = -(-len(body) // len(graph.groups))
    count = sum(group.count for group in body)
    rings = repeat_cell(state.rings, state.motion, images)[:count]
    if run.last:
        keep = min(len(body), max(5, len(run.cell)))
        tail = body[-keep:]
        start = count - sum(group.count for group in tail)
        row = tail + run.last
        angle = rough.leaving_angle(body[: len(body) - keep])
        longer, more, least = grown(
            row, keep, rings[start:], starts=starts, enough=enough, angle=angle, known=gap
        )
        rings = concatenate([rings[:start], longer])
        searches += more
        gap = min(gap, least)
    if run.first:
        keep = min(len(body), max(5, len(run.cell)))
        head = body[:keep]
        size = sum(group.count for group in head)
        row = tuple(replace(group, turned=not group.turned) for group in reversed(run.first + head))
        flipped = _turned_about(rings[:size], head)
        longer, more, least = grown(
            row, keep, flipped, starts=starts, enough=enough, angle=rough.angle_from_behind(head), known=gap
        )
        rings = concatenate([_turned_about(longer, row), rings[size:]])
        searches += more
        gap = min(gap, least)
    # Joins at open ends join nothing and are left off.
    groups = run.first + body + run.last
    begin = 0
    if not run.joined[0]:
        begin = next((k for k, group in enumerate(groups) if group.kind is not GroupKind.JOIN), 0)
    skip = sum(group.count for group in groups[:begin])
    kept = sum(group.count for group in run.groups())
    return rings[skip : skip + kept], searches, gap


def group_x(graph: LinkGraph, rings: Bodies) -> Floats:
    """X of the middle of each ring's group [mm], shape (n,)."""
    sums = np.bincount(graph.group_of, weights=rings.centres[:, 0])
    return np.asarray((sums / np.bincount(graph.group_of))[graph.group_of])


def _place_closed(run: Run, starts: int, enough: float) -> tuple[Bodies, list[Search], float]:
    """A closed loop: a ring of cells where they come round, otherwise the whole loop at once."""
    graph, state, evidence, straight = solve_cell(run.cell, starts=starts, enough=enough)
    groups = run.groups()
    cells, rest = divmod(len(groups), len(graph.groups))
    searches = [evidence]
    # With two cells the next one is also the one before, which a cell's links cannot say.
    if rest == 0 and cells >= 3:
        length = state.motion.period * cells
        best: tuple[Bodies, float, Search] | None = None
        for tilt in (0.0, 0.5 * pi):
            bent = rough.bent(state.rings, group_x(graph, state.rings), length, tilt=tilt)
            solved = search(
                "loop", graph, State(bent, Motion(MotionKind.TURN, cells=cells)), starts=1, enough=enough
            )
            if best is None or solved.gap > best[1] + SAME:
                best = (
                    repeat_cell(solved.state.rings, solved.state.motion, cells),
                    solved.gap,
                    solved.search,
                )
        assert best is not None
        searches.append(best[2])
        return best[0], searches, best[1]
    whole = piece_graph(run)
    bent = bent_round(run, graph, state, whole)
    report = check(whole, bent)
    if bent_is_enough(report, straight, enough):
        return bent, searches, report.smallest_gap
    if len(whole) > LOOP_RINGS:
        # Too long to be opened up as a whole: nothing is known beyond this one pose.
        found = report.smallest_gap if report.links_as_designed else -np.inf
        searches.append(Search("loop", (found,), int(report.links_as_designed), 0, False, ()))
        return bent, searches, found
    # A small loop is bent hard, so that its regular start may be a poor one.
    tries = starts if len(whole) <= WHOLE_RINGS else 1
    solved = search("loop", whole, State(bent, Motion()), starts=tries, enough=enough)
    searches.append(solved.search)
    return solved.state.rings, searches, solved.gap


def bent_round(run: Run, cell: LinkGraph, state: State, whole: LinkGraph) -> Bodies:
    """A closed run bent to a circle from its cell, unsolved.

    The rest of the turn that an odd number of groups leaves is spread as a twist.
    """
    groups = run.groups()
    body = repeat_cell(state.rings, state.motion, -(-len(groups) // len(cell.groups)))
    body = body[: len(whole)]
    length = state.motion.period * len(groups) / len(cell.groups)
    along = group_x(whole, body)
    twist = 0.5 * pi * (sum(group.quarters for group in groups) % 2) / length
    twisted = concatenate(
        [body[np.flatnonzero(along == x)].turned(rough.about_x(twist * float(x))) for x in np.unique(along)]
    )
    order = np.concatenate([np.flatnonzero(along == x) for x in np.unique(along)])
    back: Ints = np.argsort(order)
    return rough.bent(twisted[back], along, length)


def bent_is_enough(report: CheckReport, straight: float, enough: float) -> bool:
    """Whether a bent loop is taken as it is.

    Args:
        report: What the check says of it.
        straight: Smallest gap of the straight run [mm].
        enough: The gap asked for [mm].
    """
    return report.links_as_designed and report.smallest_gap >= max(SLACKENING * straight, enough, 0.0)


def place_run(run: Run, *, starts: int, enough: float) -> tuple[Bodies, list[Search], float]:
    """Poses of a run with the evidence and the smallest signed gap that was reached [mm].

    Args:
        run: The run.
        starts: Seeded starts of each search.
        enough: See `solve_cell`.
    """
    if run.closed:
        return _place_closed(run, starts, enough)
    if run.repeat >= PERIODIC_REPEATS:
        return _place_repeated(run, starts, enough)
    rings, searches, gap = solve_row(run.groups(), starts=starts, enough=enough)
    return rings, list(searches), gap
