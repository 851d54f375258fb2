"""The verdict: how a fit feels, whether it survives the scatter of real rings, which sizes fit instead.

The borders between tight, comfortable and loose are laid on *slack*: the gap to spare over the wire
diameter of the binding pair. They follow from common practice, which gives a lowest and a comfortable range
of aspect ratios for eleven weaves. With equal rings the best gap grows in proportion to inside diameter
plus wire, so a ring of aspect ratio A in a weave whose tightest is B has the slack (A + 1) / (B + 1) - 1.
The lower ends of the comfortable ranges lie at slacks from 0.04 to 0.22 with 0.13 in the middle; no upper
end lies above 0.35, which leaves 0.40 clearly loose.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from chaingen.solve.cells import cell_of
from chaingen.solve.check import ROUND_OFF
from chaingen.solve.place import place
from chaingen.solve.place_weave import SHORT_CELLS
from chaingen.solve.placement import Answer, Placement
from chaingen.stock.gauges import awg_table, swg_table
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Chain, Piece, Sections, Sheet, Strands

TIGHT_BELOW, LOOSE_FROM = 0.13, 0.40
"""Slack, in wire diameters, below which a fit is tight and from which it is loose; see above."""

SCAN_STARTS = 3
"""Seeded starts of each search while sizes are scanned."""


class Fit(StrEnum):
    """How rings go together, in a maker's words."""

    DOES_NOT_FIT = "does not fit"
    TIGHT = "tight"
    COMFORTABLE = "comfortable"
    LOOSE = "loose"


def fit_of(spare: float, wire_diameter: float) -> Fit:
    """The word for a gap to spare.

    Args:
        spare: Gap beyond the clearance asked for [mm].
        wire_diameter: Wire diameter that it is measured by [mm].
    """
    slack = spare / wire_diameter
    if slack < -1e-6:
        return Fit.DOES_NOT_FIT
    return Fit.TIGHT if slack < TIGHT_BELOW else Fit.COMFORTABLE if slack < LOOSE_FROM else Fit.LOOSE


SAMPLE_REPEATS = 3
"""Repeats of a sample at most."""


def sample_of(piece: Piece) -> Piece:
    """A piece that is quicker to solve and has every kind of neighbourhood that the given one has.

    An open run or chain is shortened to three repeats. A closed loop of many groups, if their number is odd,
    gets one repeat more, so that it comes round cell by cell.
    """
    if isinstance(piece, Sections):
        return Sections(tuple(part.repeated(min(part.repeat, SAMPLE_REPEATS)) for part in piece.parts))
    if isinstance(piece, Sheet):
        return piece
    if not piece.closed:
        return piece.repeated(min(piece.repeat, SAMPLE_REPEATS))
    if isinstance(piece, Chain):
        return piece
    odd = sum(group.quarters for group in piece.cell) * piece.repeat % 2 == 1
    return piece.repeated(piece.repeat + 1) if odd and len(piece.cell) * piece.repeat > 12 else piece


def best_gap(piece: Piece, clearance: float = 0.0) -> tuple[float, bool]:
    """Smallest gap of a quick placement [mm], and whether it fits."""
    if isinstance(piece, Sheet) or (isinstance(piece, Chain) and not piece.closed):
        cell = cell_of(piece, enough=clearance)
        if cell.search.sound and cell.gap >= clearance - ROUND_OFF:
            return cell.gap, True
        if not is_short(piece):
            return cell.gap, False
    if isinstance(piece, Sections):
        # A sample has so few cells that they may have room where the middle of the piece has none.
        for part in piece.parts:
            one = part.part if isinstance(part, Strands) else part
            if isinstance(one, Chain) and not is_short(one):
                gap, fits = best_gap(one, clearance)
                if not fits:
                    return gap, False
    placement = place(sample_of(piece), clearance=clearance, starts=SCAN_STARTS)
    return placement.gap, placement.answer is Answer.FITS


def is_short(piece: Chain | Sheet) -> bool:
    """Whether a piece of a weave is so short that it may have room where the endless weave has none."""
    if isinstance(piece, Sheet):
        return piece.outline is None and max(piece.columns, piece.rows) <= SHORT_CELLS
    return piece.repeat <= SHORT_CELLS


@dataclass(frozen=True, slots=True)
class BandCorner:
    """The piece made of rings that are all off alike.

    Attributes:
        inside_off: Change of all inside diameters [mm].
        wire_off: Change of all wire diameters [mm].
        gap: Smallest gap then [mm].
        fit: Its word.
    """

    inside_off: float
    wire_off: float
    gap: float
    fit: Fit


@dataclass(frozen=True, slots=True)
class Band:
    """What the scatter of real rings does to the verdict.

    Attributes:
        tolerance: How far inside diameter and wire may be off [mm].
        corners: The four corners of the band.
        holds: Whether the piece fits at all corners, or at none.
    """

    tolerance: float
    corners: tuple[BandCorner, ...]
    holds: bool


def tolerance_band(run: Piece, placement: Placement, wire_diameter: float, tolerance: float) -> Band | None:
    """The verdict at the corners of a tolerance band.

    Where inside diameter and wire are off by as much to opposite sides the centrelines stay, and every gap
    changes by exactly the tolerance; the two other corners are solved anew.

    Args:
        run: The piece.
        placement: Its placement.
        wire_diameter: Wire diameter of the binding pair [mm].
        tolerance: How far sizes may be off [mm].

    Returns:
        None when no tolerance is given or no two rings are near each other.
    """
    if tolerance <= 0.0 or placement.gap == float("inf"):
        return None
    sample = sample_of(run)
    # What the sample's gap lacks or has more than the piece's own is taken to be the same at every corner.
    shift = placement.gap - best_gap(run)[0] if run.closed and sample != run else 0.0
    corners = []
    for inside_off in (-tolerance, tolerance):
        for wire_off in (-tolerance, tolerance):
            if inside_off * wire_off < 0.0:
                gap, sound = placement.gap - wire_off, placement.answer is not Answer.NOT_CONVERGED
            else:
                gap, sound = best_gap(
                    run.resized(
                        lambda size, i=inside_off, w=wire_off: replace(  # type: ignore[misc]
                            size,
                            inside_diameter=size.inside_diameter + i,
                            wire_diameter=size.wire_diameter + w,
                        ),
                    )
                )
                gap += shift
            # A gap with links or shapes that are not those designed is none.
            sound = sound or gap < 0.0
            fit = fit_of(gap - placement.clearance, wire_diameter + wire_off) if sound else Fit.DOES_NOT_FIT
            corners.append(BandCorner(inside_off, wire_off, gap, fit))
    fits = [corner.fit is not Fit.DOES_NOT_FIT for corner in corners]
    return Band(tolerance, tuple(corners), all(fits) or not any(fits))


@dataclass(frozen=True, slots=True)
class Nearest:
    """Sizes near those asked for that do fit.

    Attributes:
        change: ``inside`` (all inside diameters grow alike, wires stay) or ``wire`` (all wires grow thinner
            by as many gauge numbers, inside diameters stay).
        sizes: The sizes that fit.
        gap: Smallest gap with them [mm].
    """

    change: str
    sizes: tuple[RingSize, ...]
    gap: float


INSIDE_STEP, INSIDE_STEPS = 0.25, 40
"""Inside diameters are tried in steps of a quarter millimetre, as mandrels are sold, up to 10 mm more."""

GAUGE_STEPS = 12
"""Gauge numbers that are tried."""


def thinner(diameter: float, steps: int) -> float:
    """The wire `steps` gauge numbers thinner [mm], in SWG for SWG wire, else in AWG; 0 beyond the table."""
    for table in (awg_table(), swg_table()):
        numbers = [n for n, d in table.items() if abs(d - diameter) < 0.003]
        if numbers:
            return table.get(numbers[0] + steps, 0.0)
    below = [d for d in awg_table().values() if d < diameter]
    return below[steps - 1] if steps <= len(below) else 0.0


def nearest_fits(run: Piece, clearance: float) -> tuple[Nearest, ...]:
    """The nearest inside diameters at these wires, and the nearest gauges at these diameters, that fit.

    Args:
        run: A piece that does not fit.
        clearance: Gap asked for [mm].

    Returns:
        Up to two answers; one is left out where nothing within reach fits.
    """

    def wider(step: int) -> Piece | None:
        return run.resized(
            lambda size: replace(size, inside_diameter=size.inside_diameter + step * INSIDE_STEP)
        )

    def finer(step: int) -> Piece | None:
        changed = run.resized(lambda size: replace(size, wire_diameter=thinner(size.wire_diameter, step)))
        return changed if all(size.wire_diameter > 0.0 for size in changed.sizes()) else None

    found = []
    for change, vary, most in (("inside", wider, INSIDE_STEPS), ("wire", finer, GAUGE_STEPS)):
        step = _first_that_fits(vary, most, clearance)
        if step is not None:
            run_that_fits, gap = step
            found.append(Nearest(change, run_that_fits.sizes(), gap))
    return tuple(found)


def _first_that_fits(
    vary: Callable[[int], Piece | None], most: int, clearance: float
) -> tuple[Piece, float] | None:
    """The smallest step whose run fits, found by doubling and halving (a larger step leaves more room)."""

    def attempt(step: int) -> tuple[Piece, float] | None:
        run = vary(step)
        if run is None:
            return None
        gap, fits = best_gap(run, clearance)
        return (run, gap) if fits else None

    low, high, best = 0, 1, None
    while best is None:
        best = attempt(high)
        if best is None:
            if high >= most:
                return None
            low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        answer = attempt(middle)
        if answer is None:
            low = middle
        else:
            high, best = middle, answer
    return best
