"""The straight rows that a drape starts from: as placed, or pulled nearly straight."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from chaingen.design.design import MAX_CELL_RINGS
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.cells import Cell, cell_of
from chaingen.solve.check import check
from chaingen.solve.drape.clasped import closing_of
from chaingen.solve.drape.setting import thinnest_wire
from chaingen.solve.length import ROW_RINGS
from chaingen.solve.motion import Motion, repeat_cell
from chaingen.solve.place_run import PERIODIC_REPEATS, place_run
from chaingen.solve.place_weave import closing_twist, tiled_chain
from chaingen.solve.placement import Placement
from chaingen.solve.search import STARTS
from chaingen.solve.taut import taut_cell, taut_row
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import GroupKind, Run
from chaingen.weave.pieces import Chain, Piece
from chaingen.weave.tiling import fewest_round

KEPT = 3
"""Repeats at either end of a long run with ends of its own that are pulled together with these."""

SPLICED = 4 * KEPT
"""From this many repeats on it is pulled by its cell and its ends."""


OVERLAP = 0.15
"""Overlap of wires where ends meet the middle that is made room for, in radii of the thinnest wire."""


@dataclass(frozen=True, eq=False)
class Row:
    """A straight row along x.

    Attributes:
        graph: Its link graph; of the closed loop that it becomes for a closed one.
        rings: Its rings.
        group_x: x of the middle of each ring's group [mm], shape (n,).
        length: Length along the middles of the groups [mm], the way back to the first for a closed one.
        closed: Whether its last group links the first.
    """

    graph: LinkGraph
    rings: Bodies
    group_x: Floats
    length: float
    closed: bool

    @property
    def group(self) -> Ints:
        """Index of each ring's group."""
        return self.graph.group_of


def middles(graph: LinkGraph, centres: Floats) -> Floats:
    """Middle of each ring's group [mm], shape (n, 3)."""
    group = graph.group_of
    sums = np.stack([np.bincount(group, weights=centres[:, axis]) for axis in range(3)], axis=1)
    return np.asarray((sums / np.bincount(group)[:, None])[group])


def _row(graph: LinkGraph, rings: Bodies, closed: bool, length: float | None = None) -> Row:
    along = middles(graph, rings.centres)[:, 0]
    return Row(graph, rings, along, float(np.ptp(along)) if length is None else length, closed)


@lru_cache(maxsize=64)
def _cell(piece: Run | Chain, left: float | None, clearance: float) -> tuple[Cell, Bodies, Motion]:
    """A cell, its rings and their motion: as placed, or pulled until `_open_gap` is left."""
    cell = cell_of(piece)
    if left is None or cell.gap <= clearance:
        return cell, cell.state.rings, cell.state.motion
    open_gap = _open_gap(cell.gap, left, clearance)
    taut = taut_cell(cell.graph, cell.state.rings.thickened(0.5 * open_gap), cell.state.motion)
    return cell, _where(cell.state.rings, taut.rings), taut.motion


def _open_gap(gap: float, left: float, clearance: float) -> float:
    """The gap to pull to [mm]: `left` over the clearance, or half of what the placement's gap is over it."""
    return clearance + min(left, 0.5 * max(gap - clearance, 0.0))


def _repeated(run: Run, count: int, left: float | None, clearance: float) -> tuple[Bodies, float]:
    """The first `count` rings of a repeated cell, and the length of one group of it on average [mm]."""
    cell, rings, motion = _cell(Run(run.cell), left, clearance)
    images = -(-count // len(cell.graph))
    return repeat_cell(rings, motion, images)[:count], motion.period / len(cell.graph.groups)


def closing_run(piece: Piece) -> Run | Chain | None:
    """The closed loop that an open piece becomes when its end links its beginning; None when it cannot."""
    if isinstance(piece, Chain):
        return replace(piece, closed=True) if piece.repeat >= fewest_round(piece.weave) else None
    if not isinstance(piece, Run):
        return None
    run = piece
    groups = run.first + run.cell * run.repeat + run.last
    if run.closed:
        return run
    if run.first or run.last:
        odd = sum(group.quarters for group in groups) % 2
        both = sum(group.count for group in groups) * (2 if odd else 1)
        if both > MAX_CELL_RINGS:
            return None
        run = Run(groups, closed=True)
    kinds = [group.kind for group in groups]
    if (kinds[0] is GroupKind.JOIN and kinds[-1] is GroupKind.JOIN) or len(groups) < 3:
        return None
    return replace(run, closed=True)


def straight_row(piece: Piece, placement: Placement, *, left: float | None, clearance: float = 0.0) -> Row:
    """The row that a piece is before it is laid along a curve.

    Args:
        piece: A run, a chain, or sections.
        placement: Its placement.
        left: Pull the row straight until gaps of at most this are left [mm]; None leaves it as placed.
        clearance: Gap that wires keep from one another [mm]; `left` is beyond it.
    """
    graph = placement.graph
    if isinstance(piece, Chain) and (piece.closed or (left is not None and piece.repeat >= PERIODIC_REPEATS)):
        return _chain_row(piece, left, clearance)
    if isinstance(piece, Run) and piece.closed:
        rings, pitch = _repeated(piece, len(graph), left, clearance)
        return _row(graph, rings, True, pitch * len(graph.groups))
    if left is None:
        return _row(graph, placement.rings, False)
    if isinstance(piece, Run) and piece.repeat >= PERIODIC_REPEATS and not (piece.first or piece.last):
        skip = next((k for k, group in enumerate(piece.cell) if group.kind is not GroupKind.JOIN), 0)
        first = sum(group.count for group in piece.cell[:skip])
        rings, _ = _repeated(piece, first + len(graph), left, clearance)
        return _row(graph, rings[first:], False)
    if isinstance(piece, Run) and piece.repeat >= SPLICED and len(graph) == _size(piece):
        spliced = _spliced(piece, graph, left, clearance)
        if spliced is not None:
            return _row(graph, spliced, False)
    if len(graph) > ROW_RINGS or len(graph) < 2:
        return _row(graph, placement.rings, False)
    open_gap = _open_gap(placement.gap, left, clearance)
    return _row(graph, _pulled(graph, placement.rings, open_gap), False)


def _size(run: Run) -> int:
    """How many bodies a run has when none of its joins hangs on an open end."""
    ends = sum(group.count for group in run.first + run.last)
    return ends + run.repeat * sum(group.count for group in run.cell)


def _where(bodies: Bodies, others: Bodies) -> Bodies:
    """The bodies at the poses of others."""
    return bodies.posed(others.centres, others.normals, others.axes)


def _pulled(graph: LinkGraph, rings: Bodies, open_gap: float) -> Bodies:
    """A finite row pulled straight until gaps of `open_gap` [mm] are left."""
    return _where(rings, taut_row(graph, rings.thickened(0.5 * open_gap)).rings)


def _spliced(run: Run, graph: LinkGraph, left: float, clearance: float) -> Bodies | None:
    """A long run with other groups at its ends, pulled straight: its cell, and its ends of a short run.

    Returns:
        None where the two do not go together.
    """
    cell, rings, motion = _cell(Run(run.cell), left, clearance)
    # The short run repeats as often, up to whole cells, so that its end is turned as that of the long one.
    repeat = 2 * KEPT + (run.repeat - 2 * KEPT) % cell.repeats
    short = run.repeated(repeat)
    placed, _, gap = place_run(short, starts=STARTS, enough=clearance)
    small = piece_graph(short)
    if cell.gap <= clearance or gap <= clearance or not check(small, placed).sound:
        return None
    ends = _pulled(small, placed, _open_gap(gap, left, clearance))
    count = sum(group.count for group in run.cell)
    before, after = (sum(group.count for group in groups) for groups in (run.first, run.last))
    body = repeat_cell(rings, motion, -(-run.repeat * count // len(rings)))[: run.repeat * count]
    head, tail = before + KEPT * count, after + KEPT * count
    # Ends are brought to the middle by the last group of theirs that the middle has as well.
    group = small.group_of
    far, near = group == group[head - 1], group == group[len(small) - tail]
    own = body.centres[:, 0]
    in_body = np.arange(len(body))
    at_head = own[in_body[KEPT * count - far[before : before + len(body)].sum() : KEPT * count]].mean()
    at_tail = own[len(body) - KEPT * count : len(body) - KEPT * count + near.sum()].mean()
    first = ends[:head].moved(np.array([at_head - ends.centres[far, 0].mean(), 0.0, 0.0]))
    last = ends[len(small) - tail :].moved(np.array([at_tail - ends.centres[near, 0].mean(), 0.0, 0.0]))
    whole = concatenate([first, body[KEPT * count : len(body) - KEPT * count], last])
    report = check(graph, whole)
    # Where they meet wires may overlap a little, which is made room for as any start's are.
    wide = report.smallest_gap > clearance - OVERLAP * thinnest_wire(whole)
    return whole if report.links_as_designed and wide and not report.faults else None


def clasped_row(
    piece: Piece, placement: Placement, *, left: float | None, clearance: float = 0.0
) -> Row | None:
    """The closed row that an open piece becomes by its clasp; None where its ends could not be linked.

    Args:
        piece: A run or sections with a finding at an end.
        placement: Its placement.
        left: See `straight_row`.
        clearance: Likewise.
    """
    row = straight_row(piece, placement, left=left, clearance=clearance)
    # Ends that are linked with thicker wires leave the gap to the true ones.
    closing = closing_of(row.graph, row.rings.thickened(0.5 * clearance) if clearance else row.rings)
    if closing is None:
        return None
    closed = _row(closing.graph, _where(row.rings, closing.rings), True, closing.shift)
    return twisted(closed, -closing.roll)


def _chain_row(chain: Chain, left: float | None, clearance: float) -> Row:
    """A chain before it is laid along a curve; a closed one turned so that its end meets its start."""
    cell, rings, motion = _cell(replace(chain, repeat=1, closed=False), left, clearance)
    if chain.closed:
        motion = replace(motion, twist=closing_twist(motion.twist, chain.repeat))
    graph, row = tiled_chain(chain, cell.graph, rings, motion)
    return _row(graph, row, chain.closed, motion.period * chain.repeat if chain.closed else None)


def twisted(row: Row, angle: float) -> Row:
    """The row with a twist about x spread evenly along it, `angle` [rad] from its start to its end."""
    share = angle * (row.group_x - row.group_x.min()) / max(row.length, 1e-9)
    return replace(row, rings=turned_each(row.rings, share))


def turned_each(rings: Bodies, angles: Floats) -> Bodies:
    """Every ring turned about the x axis by its own angle [rad], shape (n,)."""
    c, s = np.cos(angles), np.sin(angles)

    def turn(v: Floats) -> Floats:
        return np.column_stack([v[:, 0], c * v[:, 1] - s * v[:, 2], s * v[:, 1] + c * v[:, 2]])

    axes = None if rings.axes is None else turn(rings.axes)
    return rings.posed(turn(rings.centres), turn(rings.normals), axes)
