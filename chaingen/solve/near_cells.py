"""A cell near one that is solved: from where that one's search ended, or scaled where that is the same.

`cell_of` searches from several seeded starts; here one start is made, from the last poses scaled to the new
sizes.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.solve import rough
from chaingen.solve.cells import Cell
from chaingen.solve.check import ROUND_OFF
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.length import TautLengths
from chaingen.solve.motion import Motion, MotionKind
from chaingen.solve.search import SAME, centred, evidence, is_sound, wrong_below
from chaingen.solve.slp import Found, stretch, widen
from chaingen.solve.taut import Taut, period_aim
from chaingen.solve.weaves import rough_state
from chaingen.weave.graph import LinkGraph, cell_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Piece, Sheet
from chaingen.weave.tiling import weave_cell

MOST_STEPS = 60
"""Steps of one search: one that starts near its end takes fewer."""

CREEP = (6, 0.5 * SAME)
"""A search ends when so many steps together raise the gap by less than so much [mm]: starts that differ by
twice as much still agree."""

TRUST = 0.05
"""Trust of the first step, see `widen`: one that is near its end finds it sooner by small steps."""

TAUT_STEPS, TAUT_OVERLAP = 10, 0.02
"""Steps in which a cell is pulled straight, and how far its wires may overlap after them as part of the
thinnest one's diameter: the length is then mostly right to a few parts in a thousand, at worst to two in a
hundred."""

SAME_SIZE = 1e-9
"""Sizes that differ by less than this [mm] differ by round-off."""


def same_links(graph: LinkGraph, other: LinkGraph) -> bool:
    """Whether two graphs have the same links between as many bodies, and the same shapes intended."""
    return (
        len(graph) == len(other)
        and np.array_equal(graph.links, other.links)
        and np.array_equal(graph.offsets, other.offsets)
        and np.array_equal(graph.link_eyes, other.link_eyes)
        and graph.arrangements == other.arrangements
    )


def same_sizes(graph: LinkGraph, other: LinkGraph) -> bool:
    """Whether the bodies of two graphs have the same sizes."""
    return (
        np.array_equal(graph.radii, other.radii)
        and np.array_equal(graph.wire_radii, other.wire_radii)
        and graph.shapes == other.shapes
    )


def scale_of(bodies: LinkGraph | Bodies, others: LinkGraph | Bodies) -> float:
    """How much larger some bodies are than as many others, on the whole."""
    return float(bodies.radii.sum() / others.radii.sum())


def alike_less(graph: LinkGraph, other: LinkGraph | Bodies) -> float | None:
    """By how much every gap shrinks, beyond the scale, when bodies of another graph get the sizes of this.

    Where all centrelines grow in proportion, and all wires too but for one and the same amount, poses that
    are best for one are, scaled, best for the other: no pair's gap changes against another's.

    Returns:
        The amount [mm]; None where sizes change in another way.
    """
    if graph.shapes or other.shapes:
        return None
    scale = scale_of(graph, other)
    more = graph.wire_radii - scale * other.wire_radii
    alike = np.ptp(more) < SAME_SIZE and np.ptp(graph.radii - scale * other.radii) < SAME_SIZE
    return 2.0 * float(more.mean()) if alike else None


def resized(graph: LinkGraph, rings: Bodies, scale: float) -> Bodies:
    """The bodies of a graph in the poses of others, so many times farther apart."""
    return graph.bodies(scale * rings.centres, rings.normals, rings.axes)


def _scaled(motion: Motion, scale: float) -> Motion:
    across = (scale * motion.across[0], scale * motion.across[1])
    return replace(motion, period=scale * motion.period, across=across, pitch=scale * motion.pitch)


def widened(
    graph: LinkGraph,
    start: State,
    free: npt.NDArray[np.bool_] | None = None,
    enough: float = np.inf,
) -> Found | None:
    """Where one start ends; None where links or shapes are others there, or it does not end."""
    found = widen(
        Contacts(graph), start, free=free, most_steps=MOST_STEPS, enough=enough, creep=CREEP, trust=TRUST
    )
    sound = found.converged and found.value > wrong_below(graph) and is_sound(graph, found.state)
    return found if sound else None


def _cell_graph(piece: Piece) -> LinkGraph:
    if isinstance(piece, Run):
        return cell_graph(piece.cell)
    assert isinstance(piece, Chain | Sheet)
    return weave_cell(piece.weave, dict(piece.chosen))


def _rough(piece: Piece, graph: LinkGraph) -> State | None:
    """Where the search of a cell starts first when nothing is known yet; None where that is not one place."""
    if isinstance(piece, Run):
        period = rough.cell_period(graph.groups)
        return State(rough.row_pose(graph.groups), Motion(MotionKind.SHIFT, period))
    assert isinstance(piece, Chain | Sheet)
    return rough_state(piece.weave, graph) if piece.weave.pose else None


def cell_near(piece: Piece, cell: Cell, *, enough: float) -> Cell | None:
    """The cell of a piece from that of a piece near it.

    Args:
        piece: A piece that repeats a cell.
        cell: The other one's.
        enough: A second, rough start is made where the gap is less than this [mm].

    Returns:
        None where its links are others, or the search does not end as it should.
    """
    graph = _cell_graph(piece)
    if not same_links(graph, cell.graph):
        return None
    if same_sizes(graph, cell.graph):
        return replace(cell, graph=graph)
    scale = scale_of(graph, cell.graph)
    start = State(resized(graph, cell.state.rings, scale), _scaled(cell.state.motion, scale))
    less = alike_less(graph, cell.graph)
    if less is not None:
        gap, search = scale * cell.gap - less, cell.search
        gaps = tuple(scale * one - less for one in search.gaps)
        if gap >= max(enough, 0.0) and is_sound(graph, start):
            return Cell(graph, start, replace(search, gaps=gaps), gap, cell.repeats)
    found = widened(graph, start)
    if found is None or found.value < max(enough, 0.0):
        begin = _rough(piece, graph)
        other = None if begin is None else widened(graph, begin)
        if found is None or (other is not None and other.value > found.value):
            found = other
    if found is None:
        return None
    state = centred(found.state) if isinstance(piece, Run) else found.state
    search = evidence(cell.search.what, graph, [(True, found)], found)
    return Cell(graph, state, search, found.value, cell.repeats)


def taut_near(cell: Cell, before: Cell) -> Taut | None:
    """A cell pulled straight, roughly, from one near it that was; None where that was not, or wires overlap.

    Args:
        cell: The cell.
        before: The one near it.
    """
    if before.taut is None or cell.gap < -ROUND_OFF:
        return None
    if same_sizes(cell.graph, before.graph):
        return before.taut
    scale = scale_of(cell.graph, before.graph)
    start = State(resized(cell.graph, before.taut.rings, scale), _scaled(before.taut.motion, scale))
    found = stretch(Contacts(cell.graph), start, period_aim(), most_steps=TAUT_STEPS, trust=TRUST)
    overlap = TAUT_OVERLAP * 2.0 * float(cell.graph.wire_radii.min())
    if found.gap < -overlap or not is_sound(cell.graph, found.state):
        return None
    return Taut(found.value, found.state.rings, found.state.motion, found.converged)


def lengths_near(cell: Cell, before: Cell, piece: Piece, length: float | None) -> TautLengths | None:
    """Taut lengths by number of repeats of a piece near one whose length is known.

    What its ends add to its repeats is that of the other piece in proportion to the sizes: an estimate, exact
    where sizes are the same.

    Args:
        cell: Its cell, pulled straight.
        before: The other one's.
        piece: The other piece, its repeats settled.
        length: That one's finished length [mm]; None where it has none.
    """
    if cell.taut is None or before.taut is None or length is None:
        return None
    period = cell.taut.length / cell.repeats
    if piece.closed:
        return TautLengths(period, 0.0, 0, cell=cell.taut)
    ends = length - piece.repeat * before.taut.length / before.repeats
    return TautLengths(period, scale_of(cell.graph, before.graph) * ends, 0, cell=cell.taut)
