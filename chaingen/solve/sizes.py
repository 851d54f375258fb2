"""Sizes for a pattern: the tightest it can be made, and a table of inside diameters against wires."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from chaingen.solve import rough
from chaingen.solve.cells import cell_of
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion, MotionKind
from chaingen.solve.place import place
from chaingen.solve.place_run import PERIODIC_REPEATS
from chaingen.solve.search import ENOUGH_AGREE, SHAKES, STARTS, is_sound
from chaingen.solve.slp import widen
from chaingen.solve.verdict import Fit, best_gap, fit_of, sample_of
from chaingen.weave.graph import cell_graph, row_graph
from chaingen.weave.groups import RingSize, Run
from chaingen.weave.pieces import Chain, Piece, Sections, Sheet

SAME_FACTOR = 0.998
"""Starts agree when they reach this part of the best thickening."""


@dataclass(frozen=True, slots=True)
class Tightest:
    """The tightest a pattern was found to be made.

    Attributes:
        thickening: Factor by which all wires can be thickened on the same centrelines.
        aspect_ratios: Each ring size's name with its aspect ratio then.
        agreed: How many starts reached it.
        starts: Of how many.
    """

    thickening: float
    aspect_ratios: tuple[tuple[str, float], ...]
    agreed: int
    starts: int


@lru_cache(maxsize=64)
def tightest(piece: Piece, *, starts: int = STARTS) -> Tightest:
    """Thicken all wires of a pattern on their centrelines until they bind.

    A repeated run or a weave is judged by its cell (a closed loop too, its bend left out), a run with other
    groups at its ends by three repeats of it with them, a short one and sections as a whole.

    Args:
        piece: The piece.
        starts: Seeded starts, for groups.
    """
    if isinstance(piece, Run):
        factors, tried = _run_factors(piece, starts)
    else:
        factors, tried = _placed_factors(piece)
    best = max(factors, default=0.0)
    ratios = tuple(
        (size.name, 2.0 * size.radius / (best * size.wire_diameter) - 1.0 if best else float("inf"))
        for size in piece.sizes()
    )
    return Tightest(best, ratios, sum(factor > SAME_FACTOR * best for factor in factors), tried)


def _placed_factors(piece: Chain | Sheet | Sections) -> tuple[list[float], int]:
    """Thickening of a weave from the shape in which it was placed, for its links may have other shapes."""
    if isinstance(piece, Sections):
        placement = place(sample_of(piece))
        graph, state, sound = placement.graph, State(placement.rings, Motion()), True
    else:
        cell = cell_of(piece)
        graph, state = cell.graph, cell.state
        sound = is_sound(graph, state)
    found = widen(Contacts(graph), state, by_scale=True)
    right = sound and found.value > 0.0 and is_sound(graph, found.state)
    return [found.value] if right else [], 1


def _run_factors(run: Run, starts: int) -> tuple[list[float], int]:
    periodic = (run.closed or run.repeat >= PERIODIC_REPEATS) and not (run.first or run.last)
    sample = sample_of(run)
    assert isinstance(sample, Run)
    graph = cell_graph(run.cell) if periodic else row_graph(sample.groups())
    motion = Motion(MotionKind.SHIFT, rough.cell_period(graph.groups)) if periodic else Motion()
    contacts = Contacts(graph)
    rng = np.random.default_rng(0)
    pose = rough.row_pose(graph.groups)
    factors = []
    for number in range(starts):
        shake = SHAKES[number % len(SHAKES)]
        found = widen(
            contacts, State(rough.shaken(pose, rng, shake) if shake else pose, motion), by_scale=True
        )
        if found.value > 0.0 and is_sound(graph, found.state):
            factors.append(found.value)
            if sum(factor > SAME_FACTOR * max(factors) for factor in factors) >= ENOUGH_AGREE:
                break
    return factors, number + 1


@dataclass(frozen=True, slots=True)
class SizeEntry:
    """One field of the table.

    Attributes:
        inside_diameter: [mm].
        wire_diameter: [mm].
        gap: Smallest gap [mm].
        fit: Its word.
    """

    inside_diameter: float
    wire_diameter: float
    gap: float
    fit: Fit


def is_plain(piece: Piece) -> bool:
    """Whether a piece is one cell of rings repeated, with nothing else in it or at its ends."""
    if isinstance(piece, Run):
        return not (piece.first or piece.last or piece.findings())
    return not isinstance(piece, Sections)


def size_table(
    run: Piece,
    ring: str,
    insides: Sequence[float],
    wires: Sequence[float],
    *,
    clearance: float = 0.0,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[tuple[SizeEntry, ...], ...]:
    """Gap and fit of a pattern for inside diameters against wires of one of its ring sizes.

    The other ring sizes stay as they are. With a single ring size in the pattern, distances of centrelines
    grow with the centreline radius alone, so that one solution serves the whole table; otherwise each field
    is solved.

    Args:
        run: The piece.
        ring: Name of the ring size that varies.
        insides: Inside diameters [mm], the rows.
        wires: Wire diameters [mm], the columns.
        clearance: Gap asked for [mm].
        on_progress: Told how many fields are done, of how many.

    Returns:
        Rows of entries.
    """
    one_size = len({(size.inside_diameter, size.wire_diameter) for size in run.sizes()}) == 1
    alone = one_size and not run.closed and is_plain(run)
    reach = 0.0
    if alone:
        size = run.sizes()[0]
        reach = tightest(run).thickening * size.wire_diameter / size.radius
    rows = []
    done = 0
    for inside in insides:
        row = []
        for wire in wires:
            sound = True
            if alone:
                gap = reach * 0.5 * (inside + wire) - wire
            elif wire > inside:
                gap = inside - wire
            else:
                gap, sound = best_gap(run.resized(_only(ring, inside, wire)), clearance)
            # A wide gap with links or shapes that are not those designed is no fit.
            fit = fit_of(gap - clearance, wire) if sound or gap < clearance else Fit.DOES_NOT_FIT
            row.append(SizeEntry(inside, wire, gap, fit))
            done += 1
            if on_progress:
                on_progress(done, len(insides) * len(wires))
        rows.append(tuple(row))
    return tuple(rows)


def _only(ring: str, inside: float, wire: float) -> Callable[[RingSize], RingSize]:
    def change(size: RingSize) -> RingSize:
        return replace(size, inside_diameter=inside, wire_diameter=wire) if size.name == ring else size

    return change
