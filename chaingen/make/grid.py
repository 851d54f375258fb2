"""Where a ring stands as a maker counts: its column along the piece, and its row from the top."""

import re
from collections.abc import Sequence
from itertools import pairwise, takewhile

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import GroupKind, Run
from chaingen.weave.pieces import Piece, Sheet
from chaingen.weave.weave import Weave

SAME_ROW = 0.25
"""Rings of a sheet are in one row when their heights differ by less than this part of the smallest radius."""

SAME_HEIGHT = 0.1
"""Rings of one place of a chain count as equally high within this part of the smallest radius: the solver
leaves differences that no maker sees."""

NEAR_HALF = 0.15
"""Columns and half columns by which rows of a sheet are offset count as such within this part of a column."""

JUST = 1e-6
"""So much of a column is rounding."""

Grid = tuple[Ints, Ints]
"""Columns and rows of rings, shape (n,) each."""

_SHEET_NAME = re.compile(r"(\d+)\.(\d+)(.+)")
_CHAIN_NAME = re.compile(r"(\d+)(.+)")


def grid_of(piece: Piece, graph: LinkGraph, rings: Bodies) -> Grid:
    """Column and row of every ring, from 0.

    In a run, a chain or sections the column is the ring's place along the piece. Its row is its rank there:
    in a run its number in its group; in others from the top (larger y first, then larger z), round a closed
    loop from the inside (then larger z).

    In a sheet the rows are lines of rings along x, counted from the top. Columns are counted along x from the
    leftmost ring of all; a ring that stands less than a column further has the same number, so that a row
    offset by half a ring counts like the rows beside it. Where rows differ in how many rings they have on one
    cell, the fullest rows count, and a ring of another row has the column that it stands in. Rings that lie
    side by side are a group and stand in one place. Where an outline has cut rings away, columns and rows
    count on as if they were there.

    Args:
        piece: The piece.
        graph: Its link graph.
        rings: Its rings as placed.

    Returns:
        Columns and rows, shape (n,) each.
    """
    if isinstance(piece, Sheet):
        return _sheet_grid(piece.weave, graph, rings)
    if isinstance(piece, Run):
        return run_grid(graph, closed=piece.closed)
    step = SAME_HEIGHT * float(rings.radii.min())
    x, y, z = rings.centres.T
    high = -np.hypot(x, y) if piece.closed else y
    order = np.lexsort((-np.round(z / step), -np.round(high / step), graph.group_of))
    return graph.group_of, _ranks(graph.group_of, order)


def run_grid(graph: LinkGraph, *, closed: bool, begin: int = 0) -> Grid:
    """Column and row of every ring of a run, from its graph alone.

    Args:
        graph: Its link graph; an open run that is worn closed has joins again that hung on its ends.
        closed: Whether it was designed as a closed loop.
        begin: Column of the first group.
    """
    kinds = (group.kind for group in graph.groups)
    joins = 0 if closed else len(list(takewhile(lambda kind: kind is GroupKind.JOIN, kinds)))
    order = np.argsort(graph.group_of, kind="stable")
    return graph.group_of + (begin - joins), _ranks(graph.group_of, order)


def chain_grid(graph: LinkGraph, grid: Grid, names: Sequence[str]) -> Grid:
    """Column and row of rings of a chain weave, by their names; also of cells beyond the piece.

    Args:
        graph: The piece's link graph.
        grid: Columns and rows of its rings.
        names: Names of the rings asked for: the cell's number, then the ring's name in the cell.
    """
    known: dict[str, list[tuple[int, int]]] = {}
    for index, (cell, name) in enumerate(map(_chain_name, graph.names)):
        known.setdefault(name, []).append((cell, index))
    columns, rows = grid
    spans = [(cells[-1][0] - cells[0][0], cells[0][1], cells[-1][1]) for cells in known.values()]
    span, first, last = max(spans)
    # Places of one cell; a piece of one cell has no further cell to tell how many.
    step = round((columns[last] - columns[first]) / span) if span else int(np.ptp(columns)) + 1
    found = np.zeros((2, len(names)), dtype=np.int64)
    for number, (cell, name) in enumerate(map(_chain_name, names)):
        # A ring that the piece has in no cell, a join left off its only end, stands in the first place.
        nearest, index = min(known.get(name, [(cell, 0)]), key=lambda one: abs(one[0] - cell))
        found[:, number] = columns[index] + step * (cell - nearest), rows[index]
    return found[0], found[1]


def _chain_name(name: str) -> tuple[int, str]:
    match = _CHAIN_NAME.fullmatch(name)
    assert match is not None, "rings of a chain are named by cell and ring"
    return int(match[1]), match[2]


def cell_rings(weave: Weave, graph: LinkGraph) -> Ints:
    """Cell along, cell across and number in the cell's list of every ring of a sheet, shape (n, 3)."""
    number = {ring.name: k for k, ring in enumerate(weave.rings)}
    rows = []
    for name in graph.names:
        match = _SHEET_NAME.fullmatch(name)
        assert match is not None, "rings of a sheet are named by cell along, cell across and ring"
        rows.append((int(match[1]), int(match[2]), number[match[3]]))
    return np.array(rows, dtype=np.int64)


def _ranks(group: Ints, order: Ints) -> Ints:
    """Rank of each ring within its group, where `order` sorts by group and then by rank."""
    row = group[order]
    starts = np.searchsorted(row, row)
    ranks = np.empty(len(group), dtype=np.int64)
    ranks[order] = np.arange(len(group)) - starts
    return ranks


def _snapped(columns: Floats) -> Floats:
    """Offsets in columns, those near a whole or half one made so."""
    half = 0.5 * np.round(2.0 * columns)
    return np.where(np.abs(columns - half) < NEAR_HALF, half, columns)


def _lattice(cells: Ints, centres: Floats) -> tuple[Floats, Floats]:
    """Places of a cell's rings in cell (0, 0), and the shifts along and across; x and y [mm].

    Args:
        cells: Cell along, cell across and number of every ring, each number there, shape (n, 3).
        centres: Ring centres [mm], shape (n, 2).

    Returns:
        Places, shape (k, 2), and shifts, shape (2, 2), zero where the piece has but one cell that way.
    """
    steps, kind = cells[:, :2].astype(float), cells[:, 2]
    count = np.bincount(kind)

    def means(values: Floats) -> Floats:
        sums = np.stack([np.bincount(kind, weights=column) for column in values.T], axis=1)
        return np.asarray(sums / count[:, None])

    mean_steps, mean_centres = means(steps), means(centres)
    shifts = np.linalg.lstsq(steps - mean_steps[kind], centres - mean_centres[kind], rcond=None)[0]
    return np.asarray(mean_centres - mean_steps @ shifts), np.asarray(shifts)


def _sheet_grid(weave: Weave, graph: LinkGraph, rings: Bodies) -> Grid:
    cells = cell_rings(weave, graph)
    along, across, kind = cells.T
    used, kind = np.unique(kind, return_inverse=True)
    smallest = float(rings.radii.min())
    places, shifts = _lattice(np.column_stack([along, across, kind]), rings.centres[:, :2])
    names = [weave.rings[k].name for k in used]
    for twins in weave.side_by_side:
        own = [k for k, name in enumerate(names) if name in twins]
        if own:
            places[own] = places[own].mean(axis=0)
    # Without a further cell that way, one so far off that nothing wraps.
    low, high = rings.bounds()
    far = 2.0 * float((high - low).max())
    period = float(shifts[0, 0]) if abs(shifts[0, 0]) > JUST * smallest else far
    skew, rise = (float(v) for v in shifts[1])
    if abs(rise) < JUST * smallest:
        skew, rise = 0.0, far
    if rise < 0.0:
        skew, rise, across = -skew, -rise, -across
    level, carried = _levels(places[:, 1], rise, SAME_ROW * smallest)
    places[:, 0] -= carried * skew
    across = across + carried[kind]
    rows = across * (int(level.max()) + 1) + level[kind]
    slots, full, width = _slots(places[:, 0] / period, level)
    drift = float(_snapped(np.array([width * skew / period]))[0])
    at = slots[kind] + drift * across + width * along
    columns = np.floor(at - at[full[kind]].min() + JUST).astype(np.int64)
    return columns - columns.min(), rows.max() - rows


def _levels(heights: Floats, rise: float, same: float) -> tuple[Ints, Ints]:
    """Which row of a cell each height is in, from below, and how many cells up its row is counted from."""
    wrapped = np.mod(heights, rise)
    order = np.argsort(wrapped)
    gaps = np.diff(np.append(wrapped[order], wrapped[order[0]] + rise))
    # Counted from the widest gap on, so that no row is cut in two.
    begin = wrapped[order[(int(gaps.argmax()) + 1) % len(order)]]
    wrapped = np.mod(heights - begin + 0.5 * same, rise)
    order = np.argsort(wrapped)
    level = np.empty(len(heights), dtype=np.int64)
    level[order] = np.concatenate([[0], np.cumsum(np.diff(wrapped[order]) > same)])
    carried = np.round((heights - begin + 0.5 * same - wrapped) / rise).astype(np.int64)
    return level, carried


def _slots(x: Floats, level: Ints) -> tuple[Floats, npt.NDArray[np.bool_], int]:
    """Where a cell's rings stand, counted in columns.

    Args:
        x: Where they stand, in periods, shape (k,).
        level: Their row, shape (k,).

    Returns:
        Where each stands, rows at whole or half columns from one another where they nearly are; whether it
        is in one of the fullest rows; and how many columns a cell has.
    """
    spots = [_spots(x, np.flatnonzero(level == row)) for row in range(int(level.max()) + 1)]
    width = max(len(row) for row in spots)
    reference = next(row[0][0] for row in spots if len(row) == width)
    slots, full = np.zeros(len(x)), np.zeros(len(x), dtype=bool)
    for row in spots:
        offsets = _snapped(width * (np.array([at for at, _ in row]) - reference))
        for number, (at, members) in enumerate(row):
            # Every ring of a row has a column of its own, in order, and none is taken by the next cell's.
            if number:
                offsets[number] = max(offsets[number], offsets[number - 1] + 1.0)
            offsets[number] = min(offsets[number], offsets[0] + width - len(row) + number)
            slots[members] = offsets[number] + width * np.round(x[members] - at)
            full[members] = len(row) == width
    return slots, full, width


def _spots(x: Floats, members: Ints) -> list[tuple[float, Ints]]:
    """Places of a row within one period, in order after its widest gap, and the rings that stand there."""
    wrapped = np.mod(x[members] + JUST, 1.0) - JUST
    order = np.argsort(wrapped, kind="stable")
    cuts = np.flatnonzero(np.diff(wrapped[order]) > JUST) + 1
    spots = [(float(wrapped[part[0]]), members[part]) for part in np.split(order, cuts)]
    gaps = [b - a for (a, _), (b, _) in pairwise([*spots, (spots[0][0] + 1.0, spots[0][1])])]
    begin = (int(np.argmax(np.round(gaps, 6))) + 1) % len(spots)
    return spots[begin:] + [(at + 1.0, own) for at, own in spots[:begin]]
