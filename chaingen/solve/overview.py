"""Which sizes suit a design's pattern: the tightest it can be made, and a table of sizes with verdicts."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from chaingen.design.design import Design
from chaingen.errors import BadInput, Problem
from chaingen.solve.place_run import PERIODIC_REPEATS
from chaingen.solve.repeats import with_repeats
from chaingen.solve.sizes import SizeEntry, Tightest, is_plain, size_table, tightest
from chaingen.solve.verdict import LOOSE_FROM, TIGHT_BELOW
from chaingen.stock.gauges import awg_table

Progress = Callable[[str], None]


def _silent(_: str) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True)
class SizeOverview:
    """Which sizes suit a pattern.

    Attributes:
        ring: Name of the ring size that the table varies.
        tightest: The tightest the pattern was found to be made.
        table: Inside diameters (rows) against wires (columns).
    """

    ring: str
    tightest: Tightest
    table: tuple[tuple[SizeEntry, ...], ...]

    def as_data(self) -> dict[str, Any]:
        """The overview for JSON; lengths in mm."""
        return {
            "format": "chaingen sizes",
            "version": 1,
            "ring": self.ring,
            "tightest_aspect_ratios": dict(self.tightest.aspect_ratios) if self.tightest.thickening else None,
            "starts": self.tightest.starts,
            "starts_agreed": self.tightest.agreed,
            "tight_below_wires": TIGHT_BELOW,
            "loose_from_wires": LOOSE_FROM,
            "sizes": [
                {
                    "inside_diameter_mm": round(entry.inside_diameter, 6),
                    "wire_diameter_mm": round(entry.wire_diameter, 6),
                    "smallest_gap_mm": round(entry.gap, 6),
                    "verdict": entry.fit.value,
                }
                for row in self.table
                for entry in row
            ],
        }


def size_overview(
    design: Design,
    *,
    ring: str | None = None,
    insides: list[float] | None = None,
    wires: list[float] | None = None,
    on_progress: Progress = _silent,
) -> SizeOverview:
    """The tightest a design's pattern can be made, and a table of sizes.

    Args:
        design: The design.
        ring: The ring size to vary; may be left out when the pattern uses one.
        insides: Inside diameters [mm]; by default steps of half a millimetre (or an eighth) about the
            design's.
        wires: Wire diameters [mm]; by default AWG sizes about the design's.
        on_progress: Told in words what is being done.

    Raises:
        BadInput: The pattern uses no ring size, or not the one named, or several and none is named.

    Example:
        >>> from chaingen import parse_design, size_overview
        >>> from chaingen.design.starter import starter_design
        >>> overview = size_overview(parse_design(starter_design("two-in-one")), insides=[3.0], wires=[1.0])
        >>> round(overview.tightest.aspect_ratios[0][1], 2), overview.table[0][0].fit.value
        (2.41, 'comfortable')
    """
    used = {size.name: size for size in design.piece.sizes()}
    if not used:
        raise BadInput(
            [Problem("--ring", "a piece of findings alone", "a pattern with rings, whose sizes vary")]
        )
    if ring is None and len(used) == 1:
        ring = next(iter(used))
    if ring is None or ring not in used:
        got = "nothing" if ring is None else repr(ring)
        raise BadInput([Problem("--ring", got, f"a ring size that the pattern uses: {', '.join(used)}")])
    size = used[ring]
    # Without a number of repeats a length stands for a long chain.
    piece = design.piece
    if design.length is not None:
        # An open piece is judged by a few repeats; how hard a loop is bent depends on its length.
        piece = with_repeats(design).piece if piece.closed else piece.repeated(PERIODIC_REPEATS)
    quick = len(used) == 1 and not piece.closed and is_plain(piece)
    if insides is None:
        step = 0.5 if size.inside_diameter >= 2.0 else size.inside_diameter / 8.0
        # Where every field is a search of its own, fewer of them.
        steps = 4 if quick else 2
        around = size.inside_diameter + step * np.arange(-steps, steps + 1)
        insides = [float(x) for x in around if x >= 0.25 * size.inside_diameter]
    if wires is None:
        table = sorted({*awg_table().values(), size.wire_diameter}, reverse=True)
        at = table.index(size.wire_diameter)
        wires = table[max(0, at - (3 if quick else 2)) : at + (4 if quick else 2)]
    on_progress("finding the tightest")
    tight = tightest(piece)
    table_of_sizes = size_table(
        piece,
        ring,
        insides,
        wires,
        clearance=design.clearance,
        on_progress=lambda done, of: on_progress(f"trying sizes, {done} of {of}"),
    )
    return SizeOverview(ring, tight, table_of_sizes)
