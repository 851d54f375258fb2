"""Placing a weave: its cell copied along a chain, round a loop, or over a sheet."""

from dataclasses import replace
from math import pi

import numpy as np
import numpy.typing as npt

from chaingen.geometry.rings import Floats, Ints, Rings
from chaingen.solve import rough
from chaingen.solve.check import check
from chaingen.solve.contacts import State
from chaingen.solve.motion import Motion, MotionKind, images_of, repeat_cell
from chaingen.solve.place_run import LOOP_RINGS, SLACKENING
from chaingen.solve.search import SAME, Search, is_sound, search
from chaingen.solve.weaves import solve_weave
from chaingen.weave.graph import LinkGraph
from chaingen.weave.outline import within
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.tiling import chain_cells, held, sheet_cells, tiled, tiled_periodic, with_places

SAME_PLACE = 0.12
"""Rings of a chain are at one place of it when less than this part of the smallest radius lies between their
centres along it."""

FEWEST_ROUND = 3
"""Cells of a ring of cells at least: with two, the next one would also be the one before."""

LOOP_CELL_RINGS = 60
"""Rings of one cell of a ring of cells at most."""

MOST_TWIST_OFF = 0.15
"""Change of a cell's twist [rad] with which a turning chain may be closed to a ring of equal cells."""

Bools = npt.NDArray[np.bool_]

Placed = tuple[LinkGraph, Rings, list[Search], float]

SHIFTS = ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5), (0.25, 0.25), (0.75, 0.25))
"""Where an outline is laid on a sheet, in cells along and across; the place that keeps most rings counts."""


class NothingLeft(Exception):
    """An outline is too small to hold any ring that hangs together with others."""


def places_along(x: Floats, smallest: float) -> Ints:
    """The place of each ring along a chain, counted from 0.

    Args:
        x: Where the centres lie along it [mm], shape (n,).
        smallest: The smallest ring radius [mm].
    """
    order = np.argsort(x, kind="stable")
    new = np.diff(x[order]) > SAME_PLACE * smallest
    places = np.empty(len(x), dtype=np.int64)
    places[order] = np.concatenate([[0], np.cumsum(new)])
    return places


def _in_order(graph: LinkGraph, rings: Rings) -> LinkGraph:
    """The graph with each ring's place along x."""
    return with_places(graph, places_along(rings.centres[:, 0], float(rings.radii.min())).tolist())


def open_cells(chain: Chain, graph: LinkGraph) -> tuple[Ints, Bools]:
    """The cells of an open chain and which of their rings are there: all, and those that finish it."""
    finish = set(chain.weave.finish)
    cells = chain_cells(chain.repeat + (1 if finish else 0))
    kept = np.ones((len(cells), len(graph)), dtype=bool)
    if finish:
        kept[-1] = [ring.name in finish for ring in chain.weave.rings]
    return cells, held(chain.weave, graph, cells, kept)


def closing_twist(twist: float, repeat: int) -> float:
    """The twist of a cell [rad], changed a little so that the end of a closed chain meets its beginning."""
    return 2.0 * pi * round(twist * repeat / (2.0 * pi)) / repeat


def tiled_chain(chain: Chain, cell: LinkGraph, rings: Rings, motion: Motion) -> tuple[LinkGraph, Rings]:
    """Graph and straight poses of a chain from a cell's rings and motion.

    Args:
        chain: The chain; of a closed one the graph is the loop's.
        cell: The graph of its cell.
        rings: The cell's rings.
        motion: The motion from one cell to the next.
    """
    if chain.closed:
        around = chain.repeat
        cells = chain_cells(around)
        kept = held(chain.weave, cell, cells, np.ones((len(cells), len(cell)), dtype=bool), around=around)
    else:
        around = 0
        cells, kept = open_cells(chain, cell)
    piece, order = tiled(cell, cells, kept=kept, around=around)
    row = images_of(rings, motion, cells)[order]
    if not motion.twist:
        row = rough.moved(row, -row.centres.mean(axis=0) * np.array([0.0, 1.0, 1.0]))
    return _in_order(piece, row), row


def place_chain(chain: Chain, *, enough: float) -> Placed:
    """Poses of a chain with its graph, the evidence and the smallest signed gap [mm]."""
    graph, state, found, gap = solve_weave(chain.weave, chain.chosen, enough=enough)
    if not chain.closed:
        return *tiled_chain(chain, graph, state.rings, state.motion), [found], gap
    return _closed(chain, graph, state, found, gap, enough)


def _loop_cells(chain: Chain, graph: LinkGraph, state: State) -> tuple[int, float] | None:
    """How many cells of a chain make one of a ring of equal cells, and their twist [rad]; None for none.

    A chain that does not turn is one of single cells. A turning one comes round every so many cells, once its
    twist is changed a little, or, where it must not be changed, when a cell half turned about is like itself.
    """
    twist = state.motion.twist
    best: tuple[float, int, float] | None = None
    for count in range(1, min(chain.repeat // FEWEST_ROUND, LOOP_CELL_RINGS // len(graph)) + 1):
        if chain.repeat % count:
            continue
        if state.motion.turning or not twist:
            changed = closing_twist(twist, count)
        else:
            changed = twist
            several = tiled_periodic(graph, count)
            row = State(
                images_of(state.rings, state.motion, chain_cells(count)),
                Motion(MotionKind.SHIFT, count * state.motion.period),
            )
            if not is_sound(several, row):
                continue
        off = abs(changed - twist)
        if off < MOST_TWIST_OFF and (best is None or off < best[0] - 1e-9):
            best = off, count, changed
    return None if best is None else (best[1], best[2])


def comes_round(chain: Chain) -> bool:
    """Whether a closed chain comes round as a ring of equal cells, so that its loop can be solved by one."""
    graph, state, _, _ = solve_weave(chain.weave, chain.chosen)
    return _loop_cells(chain, graph, state) is not None


def rounds_near(chain: Chain, within: int = 12) -> tuple[int, ...]:
    """Numbers of cells near a closed chain's own, nearest first, with which it comes round."""
    tried = sorted(
        range(max(FEWEST_ROUND, chain.repeat - within), chain.repeat + within + 1),
        key=lambda repeat: (abs(repeat - chain.repeat), repeat),
    )
    return tuple(repeat for repeat in tried if comes_round(chain.repeated(repeat)))


def _ring_of_cells(
    chain: Chain, graph: LinkGraph, state: State, count: int, twist: float, enough: float
) -> tuple[Rings, Search, float]:
    """A closed chain as a ring of equal cells, each of `count` cells of the weave."""
    several = tiled_periodic(graph, count)
    row = images_of(state.rings, replace(state.motion, twist=twist), chain_cells(count))
    cells = chain.repeat // count
    motion = Motion(MotionKind.TURN, cells=cells)
    best: tuple[Rings, Search, float] | None = None
    for tilt in (0.0, 0.5 * pi):
        bent = rough.bent(row, row.centres[:, 0], state.motion.period * chain.repeat, tilt=tilt)
        solved = search("loop", several, State(bent, motion), starts=1, enough=enough)
        if best is None or solved.gap > best[2] + SAME:
            best = repeat_cell(solved.state.rings, motion, cells), solved.search, solved.gap
    assert best is not None
    return best


def _closed(
    chain: Chain, graph: LinkGraph, state: State, found: Search, straight: float, enough: float
) -> Placed:
    """A loop: a ring of equal cells where there is one, else the whole loop bent and, if small, opened up."""
    searches = [found]
    piece, row = tiled_chain(
        chain,
        graph,
        state.rings,
        replace(state.motion, twist=closing_twist(state.motion.twist, chain.repeat)),
    )
    cells = _loop_cells(chain, graph, state)
    if cells is not None and len(piece) == len(graph) * chain.repeat:
        rings, search_of_loop, gap = _ring_of_cells(chain, graph, state, *cells, enough)
        return _round_order(piece, rings), rings, [*searches, search_of_loop], gap
    bent = rough.bent(row, row.centres[:, 0], state.motion.period * chain.repeat)
    report = check(piece, bent)
    if report.links_as_designed and report.smallest_gap >= max(SLACKENING * straight, enough, 0.0):
        return _round_order(piece, bent), bent, searches, report.smallest_gap
    if len(piece) > LOOP_RINGS:
        # Too long to be opened up as a whole: nothing is known beyond this one pose.
        gap = report.smallest_gap if report.links_as_designed else -np.inf
        searches.append(Search("loop", (gap,), int(report.links_as_designed), 0, False, ()))
        return _round_order(piece, bent), bent, searches, gap
    solved = search("loop", piece, State(bent, Motion()), starts=1, enough=enough)
    rings = solved.state.rings
    return _round_order(piece, rings), rings, [*searches, solved.search], solved.gap


def _round_order(graph: LinkGraph, rings: Rings) -> LinkGraph:
    """The graph with each ring's place round z, counted from the first ring's."""
    angle = np.arctan2(rings.centres[:, 1], rings.centres[:, 0])
    around = np.mod(angle - angle[0] + 1e-3, 2.0 * pi)
    radius = float(np.linalg.norm(rings.centres[:, :2], axis=1).mean())
    return with_places(graph, places_along(around * radius, float(rings.radii.min())).tolist())


def place_sheet(sheet: Sheet, *, enough: float) -> tuple[LinkGraph, Rings, list[Search], float, float]:
    """Poses of a sheet with its graph, the evidence, the smallest signed gap [mm] and a cell's area [mm2].

    Raises:
        NothingLeft: An outline holds no ring that is held.
    """
    graph, state, found, gap = solve_weave(sheet.weave, sheet.chosen, enough=enough)
    if sheet.outline is None:
        cells = sheet_cells(sheet.columns, sheet.rows)
        kept = held(sheet.weave, graph, cells, np.ones((len(cells), len(graph)), dtype=bool))
    else:
        cells, kept = _cut(sheet, graph, state)
    if not kept.any():
        raise NothingLeft("no ring is held by others")
    piece, order = tiled(graph, cells, kept=kept, sheet=True)
    rings = images_of(state.rings, state.motion, cells)[order]
    low, high = rings.bounds()
    area = abs(state.motion.period * state.motion.across[1])
    return piece, rough.moved(rings, -0.5 * (low + high)), [found], gap, area


def _cut(sheet: Sheet, graph: LinkGraph, state: State) -> tuple[Ints, Bools]:
    """The cells under an outline and which of their rings are kept, laid where most are."""
    outline = sheet.outline
    assert outline is not None
    corners = np.array(outline.points)
    along, across = np.array([state.motion.period, 0.0]), np.array(state.motion.across)
    lattice = np.column_stack([along, across])
    offset = state.rings.centres[:, :2].mean(axis=0)
    best: tuple[int, Ints, Bools] | None = None
    for shift in SHIFTS:
        origin = offset + lattice @ np.array(shift)
        reach = np.linalg.solve(lattice, (corners + origin).T)
        low, high = np.floor(reach.min(axis=1)) - 2, np.ceil(reach.max(axis=1)) + 2
        cells = sheet_cells(*(high - low + 1).astype(int).tolist()) + low.astype(np.int64)
        rings = images_of(state.rings, state.motion, cells)
        inside = within(outline, rings, origin).reshape(len(cells), len(graph))
        used = inside.any(axis=1)
        if not used.any():
            continue
        kept = held(sheet.weave, graph, cells[used], inside[used])
        if best is None or kept.sum() > best[0]:
            best = int(kept.sum()), cells[used], kept
    if best is None:
        raise NothingLeft("no ring lies wholly within its outline")
    return best[1], best[2]
