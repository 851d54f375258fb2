"""Placing a weave: its cell copied along a chain, round a loop, or over a sheet."""

from dataclasses import replace
from math import pi

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.solve import rough
from chaingen.solve.cells import Cell
from chaingen.solve.check import check
from chaingen.solve.contacts import State
from chaingen.solve.motion import Motion, MotionKind, images_of, repeat_cell
from chaingen.solve.place_run import LOOP_RINGS, bent_is_enough
from chaingen.solve.search import SAME, Search, is_sound, search
from chaingen.solve.weaves import solve_weave
from chaingen.weave.graph import LinkGraph
from chaingen.weave.outline import is_even, near, within
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.tiling import (
    FEWEST_ROUND,
    chain_cells,
    held,
    sheet_cells,
    tiled,
    tiled_periodic,
    with_places,
)

SAME_PLACE = 0.12
"""Rings of a chain are at one place of it when less than this part of the smallest radius lies between their
centres along it."""

LOOP_CELL_RINGS = 60
"""Rings of one cell of a ring of cells at most."""

LEAST_TWIST = 0.05
"""Cells turned by less than this against one another [rad] count as not turned in the rhythm of a chain."""

MOST_TWIST_OFF = 0.15
"""Change of a cell's twist [rad] with which a turning chain may be closed to a ring of equal cells."""

SHORT_CELLS = 3
"""Chains of so many cells, and sheets of so many each way, may have room where the endless weave has none."""

Bools = npt.NDArray[np.bool_]

Placed = tuple[LinkGraph, Bodies, list[Search], float]

EVEN = 0.15
"""The middle of what an outline keeps may lie this part of a ring radius beside the outline's own."""

LAID, LAID_RINGS = 4, 20_000
"""Places where an outline is laid on a sheet that are looked at closely: so many at least, and all as long as
they have no more rings together than this."""


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


def places_round(x: Floats, length: float, smallest: float) -> Ints:
    """The place of each ring round a closed chain, counted from the first ring's.

    Args:
        x: Where the centres lie along the chain before it is closed [mm], shape (n,).
        length: Its length round [mm].
        smallest: The smallest ring radius [mm].
    """
    round_x = np.mod(x - x[0], length)
    order = np.argsort(round_x, kind="stable")
    gaps = np.diff(round_x[order], append=round_x[order[0]] + length)
    new = gaps > SAME_PLACE * smallest
    if not new.any():
        return np.zeros(len(x), dtype=np.int64)
    # Counting begins after the last gap before the first ring: its place may reach back over the seam.
    last = int(np.flatnonzero(new)[-1])
    order, new = np.roll(order, -last - 1), np.roll(new, -last - 1)
    places = np.empty(len(x), dtype=np.int64)
    places[order] = np.concatenate([[0], np.cumsum(new)[:-1]])
    return places


def _in_order(chain: Chain, graph: LinkGraph, rings: Bodies, motion: Motion) -> LinkGraph:
    """The graph of a chain with each ring's place along it."""
    cells, length, twist = chain.repeat, motion.period * chain.repeat, motion.twist
    x, smallest = rings.centres[:, 0], float(rings.radii.min())
    places = places_round(x, length, smallest) if graph.closed else places_along(x, smallest)
    count = int(places.max()) + 1
    # A chain that turns comes again after a whole turn.
    turn = max(1, round(2.0 * pi / abs(twist))) if abs(twist) > LEAST_TWIST else 1
    rhythm = max(1, min(round(count / cells) * turn, count // 3))
    return replace(with_places(graph, places.tolist()), rhythm=rhythm)


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


def tiled_chain(chain: Chain, cell: LinkGraph, rings: Bodies, motion: Motion) -> tuple[LinkGraph, Bodies]:
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
        row = row.moved(-row.centres.mean(axis=0) * np.array([0.0, 1.0, 1.0]))
    return _in_order(chain, piece, row, motion), row


def place_chain(chain: Chain, *, enough: float) -> Placed:
    """Poses of a chain with its graph, the evidence and the smallest signed gap [mm]."""
    graph, state, found, gap = solve_weave(chain.weave, chain.chosen, enough=enough)
    if not chain.closed:
        return open_chain(chain, graph, state, found, gap, enough)
    return _closed(chain, graph, state, found, gap, enough)


def open_chain(
    chain: Chain, graph: LinkGraph, state: State, found: Search, gap: float, enough: float
) -> Placed:
    """An open chain of a solved cell; see `place_chain`."""
    piece, rings = tiled_chain(chain, graph, state.rings, state.motion)
    return _loosened(piece, rings, found, gap, enough, short=chain.repeat <= SHORT_CELLS)


def _loosened(
    piece: LinkGraph, rings: Bodies, found: Search, gap: float, enough: float, *, short: bool
) -> Placed:
    """A piece cut from an endless weave, with its own smallest gap.

    What is short lacks contacts of the endless weave and may have room where that has none: it is then opened
    up as a whole.
    """
    report = check(piece, rings)
    if report.links_as_designed:
        gap = max(gap, report.smallest_gap)
    if gap >= max(enough, 0.0) or not short:
        return piece, rings, [found], gap
    solved = search("row", piece, State(rings, Motion()), starts=1, enough=enough)
    if not solved.search.sound or solved.gap <= gap:
        return piece, rings, [found], gap
    return piece, solved.state.rings, [found, solved.search], solved.gap


def loop_cells(chain: Chain, graph: LinkGraph, state: State) -> tuple[int, float] | None:
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


def comes_round(chain: Chain, cell: Cell | None = None) -> bool:
    """Whether a closed chain comes round as a ring of equal cells, so that its loop can be solved by one.

    Args:
        chain: The chain.
        cell: Its cell, where it was solved another way than by `solve_weave`.
    """
    graph, state = solve_weave(chain.weave, chain.chosen)[:2] if cell is None else (cell.graph, cell.state)
    return loop_cells(chain, graph, state) is not None


def rounds_near(chain: Chain, within: int = 12, cell: Cell | None = None) -> tuple[int, ...]:
    """Numbers of cells near a closed chain's own, nearest first, with which it comes round."""
    tried = sorted(
        range(max(FEWEST_ROUND, chain.repeat - within), chain.repeat + within + 1),
        key=lambda repeat: (abs(repeat - chain.repeat), repeat),
    )
    return tuple(repeat for repeat in tried if comes_round(chain.repeated(repeat), cell))


def _ring_of_cells(
    chain: Chain, graph: LinkGraph, state: State, count: int, twist: float, enough: float
) -> tuple[Bodies, Search, float]:
    """A closed chain as a ring of equal cells, each of `count` cells of the weave."""
    several = tiled_periodic(graph, count)
    row = images_of(state.rings, replace(state.motion, twist=twist), chain_cells(count))
    cells = chain.repeat // count
    motion = Motion(MotionKind.TURN, cells=cells)
    best: tuple[Bodies, Search, float] | None = None
    for tilt in (0.0, 0.5 * pi):
        bent = rough.bent(row, row.centres[:, 0], state.motion.period * chain.repeat, tilt=tilt)
        solved = search("loop", several, State(bent, motion), starts=1, enough=enough)
        if best is None or solved.gap > best[2] + SAME:
            best = repeat_cell(solved.state.rings, motion, cells), solved.search, solved.gap
    assert best is not None
    return best


def laid_to_close(chain: Chain, graph: LinkGraph, state: State) -> tuple[LinkGraph, Bodies]:
    """Graph of a loop, and its rings laid straight, turned so that the end meets the beginning once bent."""
    twist = closing_twist(state.motion.twist, chain.repeat)
    return tiled_chain(chain, graph, state.rings, replace(state.motion, twist=twist))


def ring_of_cells(chain: Chain, graph: LinkGraph, state: State, rings: int) -> tuple[int, float] | None:
    """See `loop_cells`; None also for a loop of `rings` rings that are not those of all its cells."""
    return loop_cells(chain, graph, state) if rings == len(graph) * chain.repeat else None


def _closed(
    chain: Chain, graph: LinkGraph, state: State, found: Search, straight: float, enough: float
) -> Placed:
    """A loop: a ring of equal cells where there is one, else the whole loop bent and, if small, opened up."""
    searches = [found]
    piece, row = laid_to_close(chain, graph, state)
    cells = ring_of_cells(chain, graph, state, len(piece))
    if cells is not None:
        rings, search_of_loop, gap = _ring_of_cells(chain, graph, state, *cells, enough)
        return piece, rings, [*searches, search_of_loop], gap
    bent = rough.bent(row, row.centres[:, 0], state.motion.period * chain.repeat)
    report = check(piece, bent)
    if bent_is_enough(report, straight, enough):
        return piece, bent, searches, report.smallest_gap
    if len(piece) > LOOP_RINGS:
        # Too long to be opened up as a whole: nothing is known beyond this one pose.
        gap = report.smallest_gap if report.links_as_designed else -np.inf
        searches.append(Search("loop", (gap,), int(report.links_as_designed), 0, False, ()))
        return piece, bent, searches, gap
    solved = search("loop", piece, State(bent, Motion()), starts=1, enough=enough)
    rings = solved.state.rings
    return piece, rings, [*searches, solved.search], solved.gap


def place_sheet(sheet: Sheet, *, enough: float) -> tuple[LinkGraph, Bodies, list[Search], float, float]:
    """Poses of a sheet with its graph, the evidence, the smallest signed gap [mm] and a cell's area [mm2].

    Raises:
        NothingLeft: An outline holds no ring that is held.
    """
    return sheet_of(sheet, *solve_weave(sheet.weave, sheet.chosen, enough=enough), enough)


def sheet_of(
    sheet: Sheet, graph: LinkGraph, state: State, found: Search, gap: float, enough: float
) -> tuple[LinkGraph, Bodies, list[Search], float, float]:
    """A sheet of a solved cell; see `place_sheet`."""
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
    short = int((cells.max(axis=0) - cells.min(axis=0)).max()) < SHORT_CELLS
    return *_loosened(piece, rings.moved(-0.5 * (low + high)), found, gap, enough, short=short), area


def _cut(sheet: Sheet, graph: LinkGraph, state: State) -> tuple[Ints, Bools]:
    """The cells under an outline and which of their rings are kept.

    The middle of the outline is laid on the centre of a ring, or half a cell off it, where most is kept.
    For an outline whose halves are alike, places come first where as much is kept left as right.
    """
    outline = sheet.outline
    assert outline is not None
    middle = np.array(outline.polygon().centroid.coords[0])
    alike = is_even(outline)
    lattice = np.array([[state.motion.period, state.motion.across[0]], [0.0, state.motion.across[1]]])
    halves = np.array([[i, j] for i in (0.0, 0.5) for j in (0.0, 0.5)])
    laid = (state.rings.centres[:, None, :2] + halves @ lattice.T).reshape(-1, 2) - middle
    # Places a whole cell apart are alike.
    parts = np.mod(np.linalg.solve(lattice, laid.T).T + 1e-6, 1.0).round(4)
    tried = []
    for k in np.sort(np.unique(parts, axis=0, return_index=True)[1]):
        cells, inside, x = _under(sheet, state, laid[k])
        if inside.any():
            even = alike and abs(float(x[inside].mean()) - middle[0]) < EVEN * float(graph.radii.mean())
            tried.append((even, int(inside.sum()), cells, inside))
    tried.sort(key=lambda one: (not one[0], -one[1]))
    best: tuple[tuple[bool, int], Ints, Bools] | None = None
    looked = max(LAID, LAID_RINGS // max((count for _, count, _, _ in tried), default=1))
    for even, _, cells, inside in tried[:looked]:
        kept = held(sheet.weave, graph, cells, inside)
        worth = even and bool(kept.any()), int(kept.sum())
        if best is None or worth > best[0]:
            best = worth, cells, kept
    if best is None:
        raise NothingLeft("no ring lies wholly within its outline")
    return best[1], best[2]


def _under(sheet: Sheet, state: State, origin: Floats) -> tuple[Ints, Bools, Floats]:
    """Cells under an outline laid at `origin`, which of their rings are within, and these rings' x."""
    outline = sheet.outline
    assert outline is not None
    lattice = np.array([[state.motion.period, state.motion.across[0]], [0.0, state.motion.across[1]]])
    reach = np.linalg.solve(lattice, (np.array(outline.points) + origin).T)
    spread = np.abs(np.linalg.solve(lattice, state.rings.centres[:, :2].T)).max(axis=1) + 1.0
    low, high = np.floor(reach.min(axis=1) - spread), np.ceil(reach.max(axis=1) + spread)
    cells = sheet_cells(*(high - low + 1).astype(int).tolist()) + low.astype(np.int64)
    _, shifts = state.motion.transforms(cells)
    cells = cells[near(outline, state.rings, shifts[:, :2], origin)]
    rings = images_of(state.rings, state.motion, cells)
    inside = within(outline, rings, origin).reshape(len(cells), -1)
    used = inside.any(axis=1)
    x = rings.centres[:, 0].reshape(len(cells), -1)[used] - origin[0]
    return cells[used], inside[used], x
