"""Rows and loops near those that are placed: from their last poses, scaled to the new sizes.

An open run is laid out anew from its cell; what comes before and after its repeats is brought along. A loop
of equal cells is solved from the last loop's cell, bent more or less. A loop that is none is bent and not
opened up as a whole: where that has no room, there is no answer.
"""

from dataclasses import replace
from math import pi

import numpy as np

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.solve import rough
from chaingen.solve.cells import Cell
from chaingen.solve.check import check
from chaingen.solve.contacts import State
from chaingen.solve.motion import Motion, MotionKind, images_of, repeat_cell
from chaingen.solve.near_cells import alike_less, resized, same_links, scale_of, widened
from chaingen.solve.place_run import bent_round, group_x
from chaingen.solve.place_weave import laid_to_close, ring_of_cells
from chaingen.solve.placement import Placement
from chaingen.solve.search import WHOLE_RINGS, Search, centred, evidence, is_sound, wrong_below
from chaingen.weave.graph import LinkGraph, piece_graph, row_graph
from chaingen.weave.groups import Group, Run
from chaingen.weave.pieces import Chain
from chaingen.weave.tiling import chain_cells, tiled_periodic

HOLDING_GROUPS, STILL_GROUPS = 4, 2
"""Groups of the repeated row that are looked at with what comes before or after it, and how many of these do
not give way to it."""

Placed = tuple[LinkGraph, Bodies, list[Search], float]

MOST_RING = 24
"""A loop whose cell has more rings than this is not solved: that takes too long."""

TILTS = (0.0, 0.5 * pi)
"""Ways a row is turned about itself before it is bent [rad]."""


def whole_row(run: Run, last: Placement) -> Placed | None:
    """A row that is solved whole, from one of other sizes."""
    graph = piece_graph(run)
    if len(graph) > WHOLE_RINGS or not same_links(graph, last.graph):
        return None
    scale = scale_of(graph, last.graph)
    start = State(resized(graph, last.rings, scale), Motion())
    less = alike_less(graph, last.rings)
    if less is not None and is_sound(graph, start):
        return graph, start.rings, list(last.searches), scale * last.gap - less
    found = widened(graph, start)
    if found is None:
        return None
    search = evidence("row", graph, [(True, found)], found)
    return graph, centred(found.state).rings, [search], found.value


def closed_run(run: Run, before: Run, last: Placement, cell: Cell) -> Placed | None:
    """A closed run, from one of other sizes or another number of repeats."""
    whole = piece_graph(run)
    each = len(cell.graph.groups)
    (cells, rest), (cells_before, rest_before) = (divmod(len(one.groups()), each) for one in (run, before))
    # See `place_run`: with two cells the next one is also the one before.
    if rest or cells < 3:
        return _scaled_loop(whole, last, cell) or _bent(
            whole, bent_round(run, cell.graph, cell.state, whole), cell
        )
    came_round = not rest_before and cells_before >= 3
    if came_round:
        starts = [_rebent(cell.graph, last.rings[: len(cell.graph)], cells_before, cells)]
    else:
        row, length = cell.state.rings, cell.state.motion.period * cells
        starts = [rough.bent(row, group_x(cell.graph, row), length, tilt=tilt) for tilt in TILTS]
    ring = _ring(cell.graph, starts, cells, last if came_round and cells == cells_before else None)
    return None if ring is None else (whole, ring[0], [cell.search, ring[1]], ring[2])


def closed_chain(chain: Chain, before: Chain, last: Placement, cell: Cell) -> Placed | None:
    """A closed chain, from one of other sizes or another number of cells."""
    graph, row = laid_to_close(chain, cell.graph, cell.state)
    length = cell.state.motion.period * chain.repeat
    ring = ring_of_cells(chain, cell.graph, cell.state, len(graph))
    if ring is None:
        return _scaled_loop(graph, last, cell) or _bent(
            graph, rough.bent(row, row.centres[:, 0], length), cell
        )
    assert last.cell is not None
    count, twist = ring
    cells, cells_before = chain.repeat // count, before.repeat // count
    several = tiled_periodic(cell.graph, count)
    ring_before = ring_of_cells(before, last.cell.graph, last.cell.state, len(last.graph))
    came_round = ring_before is not None and ring_before[0] == count
    if came_round:
        starts = [_rebent(several, last.rings[: len(several)], cells_before, cells)]
    else:
        some = images_of(cell.state.rings, replace(cell.state.motion, twist=twist), chain_cells(count))
        starts = [rough.bent(some, some.centres[:, 0], length, tilt=tilt) for tilt in TILTS]
    solved = _ring(several, starts, cells, last if came_round and cells == cells_before else None)
    return None if solved is None else (graph, solved[0], [cell.search, solved[1]], solved[2])


def _scaled_loop(graph: LinkGraph, last: Placement, cell: Cell) -> Placed | None:
    """A loop that is another one scaled; None where it is not, or has no room then."""
    less = alike_less(graph, last.rings) if same_links(graph, last.graph) else None
    if less is None:
        return None
    scale = scale_of(graph, last.graph)
    gap = scale * last.gap - less
    if gap < 0.0 and less:
        # With less room another shape may be better than this one.
        return None
    searches = [cell.search, *last.searches[1:]]
    return graph, resized(graph, last.rings, scale), searches, gap


def _bent(graph: LinkGraph, rings: Bodies, cell: Cell) -> Placed | None:
    """A loop as it was bent, where it has room so."""
    report = check(graph, rings)
    if not report.links_as_designed or report.smallest_gap < 0.0:
        return None
    return graph, rings, [cell.search], report.smallest_gap


def _rebent(graph: LinkGraph, rings: Bodies, before: int, now: int) -> Bodies:
    """A cell of a loop bent more or less.

    Args:
        graph: The graph of the cell.
        rings: The other loop's cell, of other sizes perhaps, round z.
        before: How many cells that loop has.
        now: How many cells this one has.
    """
    scale = scale_of(graph, rings)
    angles = np.arctan2(rings.centres[:, 1], rings.centres[:, 0])
    # A cell that lies astride the half turn is not to be torn.
    first = float(angles[0])
    angles = first + np.mod(angles - first + pi, 2.0 * pi) - pi
    away = np.hypot(rings.centres[:, 0], rings.centres[:, 1])
    middle = float(away.mean())
    away = scale * (middle * now / before + away - middle)
    more = angles * (before / now - 1.0)
    turned = rings.turned(np.stack([rough.about_z(float(turn)) for turn in more]))
    angles = angles + more
    centres = np.column_stack([away * np.cos(angles), away * np.sin(angles), scale * rings.centres[:, 2]])
    return graph.bodies(centres, turned.normals, turned.axes)


def _ring(
    graph: LinkGraph, starts: list[Bodies], cells: int, alike: Placement | None
) -> tuple[Bodies, Search, float] | None:
    """A loop of so many equal cells, the best from some starts.

    Args:
        graph: The graph of one cell.
        starts: Its bodies, round z.
        cells: How many cells.
        alike: A loop of as many cells that the first start was scaled from; None for none.
    """
    motion = Motion(MotionKind.TURN, cells=cells)
    less = None if alike is None else alike_less(graph, alike.rings[: len(graph)])
    if alike is not None and less is not None and is_sound(graph, State(starts[0], motion)):
        gap = scale_of(graph, alike.rings[: len(graph)]) * alike.gap - less
        return repeat_cell(starts[0], motion, cells), alike.searches[-1], gap
    if len(graph) > MOST_RING:
        return None
    tried = [widened(graph, State(start, motion)) for start in starts]
    found = [(True, one) for one in tried if one is not None]
    if not found:
        return None
    best = max(found, key=lambda one: round(one[1].value, 6))[1]
    return repeat_cell(best.state.rings, motion, cells), evidence("loop", graph, found, best), best.value


def open_run(run: Run, last: Placement, cell: Cell) -> Placed | None:
    """An open run by its cell, what comes before and after it moved along and widened with its neighbours."""
    groups, count = run.groups(), len(run.cell) * run.repeat
    whole = run.first + run.cell * run.repeat + run.last
    # Joins at open ends join nothing and are left off.
    begin = next(k for k in range(len(whole)) if whole[k : k + len(groups)] == groups)
    lead = max(0, len(run.first) - begin)
    tail = max(0, begin + len(groups) - len(run.first) - count)
    skip = max(0, begin - len(run.first))
    body = groups[lead : len(groups) - tail]
    images = -(-count // len(cell.graph.groups))
    rings = repeat_cell(cell.state.rings, cell.state.motion, images)
    start = sum(group.count for group in (run.cell * run.repeat)[:skip])
    rings = rings[start : start + sum(group.count for group in body)]
    searches, gap = [cell.search], cell.gap
    keep = min(len(body), HOLDING_GROUPS)
    for end, row in ((tail, groups[-tail - keep :]), (-lead, groups[: lead + keep])):
        if not end:
            continue
        more = _end_near(row, end, rings, last.rings, gap)
        if more is None:
            return None
        rings, search, least = more
        searches.append(search)
        gap = min(gap, least)
    return piece_graph(run), rings, searches, gap


def _end_near(
    row: tuple[Group, ...], ends: int, rings: Bodies, before: Bodies, known: float
) -> tuple[Bodies, Search, float] | None:
    """What comes after a row, or before it, brought to it from where it was in another piece.

    Args:
        row: The last groups of the row with those that come after it; or those before it with its first.
        ends: How many groups come after it; negative for so many before it.
        rings: The bodies of the row, and of what is at its other end if that is placed already.
        before: All bodies of the other piece.
        known: Smallest gap of what is placed [mm].
    """
    graph = row_graph(row)
    group = graph.group_of if ends > 0 else len(row) - 1 - graph.group_of
    keep = len(row) - abs(ends)
    held = group < keep
    m, n = len(graph), int(held.sum())
    own = slice(len(rings) - n, len(rings)) if ends > 0 else slice(0, n)
    old = before[len(before) - m :] if ends > 0 else before[:m]
    now = graph.bodies(old.centres, old.normals, old.axes)
    same = all(
        now.shape(k) == old.shape(k)
        and now.radii[k] == old.radii[k]
        and now.wire_radii[k] == old.wire_radii[k]
        for k in range(m)
    )
    old = resized(graph, old, scale_of(graph, old))
    here, next_to_end = rings[own], group[held] == keep - 1

    def brought(quarters: int) -> tuple[float, Bodies]:
        """The others turned about the row, and how far those of the row are off then [mm2]."""
        turned = old.turned(rough.about_x(0.5 * pi * quarters))
        off = here.centres[next_to_end].mean(axis=0) - turned.centres[held][next_to_end].mean(axis=0)
        turned = turned.moved(off)
        along = (turned.normals[held] * here.normals).sum(axis=1)
        away = (turned.centres[held] - here.centres) ** 2
        return float(away.sum() + ((1.0 - along**2) * here.radii**2).sum()), turned

    # The row may end on another place of its cell, a quarter turn on.
    moved = min((brought(quarters) for quarters in range(4)), key=lambda one: one[0])[1]
    # What gave way to what was added is where it gave way to, the rest where it is in the row.
    free = group >= min(STILL_GROUPS, keep - 1)
    still = here[~free[held]]
    start = concatenate([still, moved[free]] if ends > 0 else [moved[free], still])
    # Where sizes are the same it is there already.
    gap = check(graph, start).smallest_gap
    enough = gap if same and gap > wrong_below(graph) else known
    best = widened(graph, State(start, Motion()), free, enough=min(enough, known))
    if best is None:
        return None
    search = evidence("junction", graph, [(True, best)], best)
    now = best.state.rings
    rest = rings[: own.start] if ends > 0 else rings[own.stop :]
    return concatenate([rest, now] if ends > 0 else [now, rest]), search, best.value
