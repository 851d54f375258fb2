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
from chaingen.solve.search import SAME, Search, search
from chaingen.solve.weaves import solve_weave
from chaingen.weave.graph import LinkGraph
from chaingen.weave.outline import within
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.tiling import chain_cells, held, sheet_cells, tiled, with_places

SAME_PLACE = 0.12
"""Rings of a chain are at one place of it when less than this part of the smallest radius lies between their
centres along it."""

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


def _closed(
    chain: Chain, graph: LinkGraph, state: State, found: Search, straight: float, enough: float
) -> Placed:
    """A loop: a ring of cells where they do not turn, otherwise the whole loop bent and, if small, opened."""
    motion = replace(state.motion, twist=closing_twist(state.motion.twist, chain.repeat))
    piece, row = tiled_chain(chain, graph, state.rings, motion)
    length = motion.period * chain.repeat
    searches = [found]
    whole = len(piece) == len(graph) * chain.repeat
    if not motion.twist and whole and chain.repeat >= 3:
        best: tuple[float, Rings, Search] | None = None
        for tilt in (0.0, 0.5 * pi):
            bent = rough.bent(state.rings, state.rings.centres[:, 0], length, tilt=tilt)
            ring_of_cells = Motion(MotionKind.TURN, cells=chain.repeat)
            solved = search("loop", graph, State(bent, ring_of_cells), starts=1, enough=enough)
            if best is None or solved.gap > best[0] + SAME:
                rings = repeat_cell(solved.state.rings, solved.state.motion, chain.repeat)
                best = solved.gap, rings, solved.search
        assert best is not None
        return _round_order(piece, best[1]), best[1], [*searches, best[2]], best[0]
    bent = rough.bent(row, row.centres[:, 0], length)
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
        raise NothingLeft("no ring that others hold lies wholly within it")
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
        raise NothingLeft("no ring lies wholly within it")
    return best[1], best[2]
