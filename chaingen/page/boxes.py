"""Boxes of the page: a value of the design as written, in all its units, with the range of its slider."""

import math
from typing import Any

from chaingen.page.catalogue import THICKEST, THINNEST
from chaingen.stock.gauges import gauge_name, parse_wire
from chaingen.tables import INSIDE_LIMITS, WIRE_LIMITS
from chaingen.units import MM_PER_INCH, UnreadableLength, format_mm, parse_length

Data = dict[str, Any]
At = list[str | int]
"""The way to a value in a design's text: keys, and places in lists counted from 0."""

LEAST_ASPECT, MOST_TIMES = 1.2, 4.0
"""An inside diameter slides from this many wires to this many times what it is."""

MIDDLING = 4.0
"""An inside diameter to slide about where none can be read [mm]."""

INSIDE_STEP, WIRE_STEP, LENGTH_STEP = 0.05, 0.01, 1.0
"""Steps of sliders [mm]; inside diameters are steps of a mandrel, wires are sold by gauge."""

GAP_STEP, TOLERANCE_STEP = 0.01, 0.005
"""Steps of clearances and of what rings are off [mm]."""


def box(
    at: At,
    written: object,
    limits: tuple[float, float],
    slider: tuple[float, float],
    step: float,
    *,
    wire: bool = False,
) -> Data:
    """A box.

    Args:
        at: The way to its value.
        written: What stands there, or what goes when nothing does.
        limits: The least and the most that is accepted [mm].
        slider: Where its slider begins and ends, as far as that is accepted [mm].
        step: Steps of the slider [mm].
        wire: Whether gauges count too.
    """
    mm = length_of(written, wire=wire)
    low, high = limits
    begin = max(low, math.floor(slider[0] / step + 1e-9) * step)
    end = min(high, math.ceil(slider[1] / step - 1e-9) * step)
    # A slider holds what is written, however odd.
    if mm is not None and low <= mm <= high:
        begin, end = min(begin, mm), max(end, mm)
    return {
        "at": at,
        "text": written if isinstance(written, str) else "" if written is None else str(written),
        "mm": None if mm is None else round(mm, 6),
        "inch": "" if mm is None else f"{mm / MM_PER_INCH:z.3f} in",
        "gauge": (gauge_name(mm) or None) if wire and mm is not None else None,
        "low": low,
        "high": high,
        "slider": {"low": round(begin, 6), "high": round(max(end, begin), 6), "step": step},
    }


def length_of(written: object, *, wire: bool = False) -> float | None:
    """A length, or a wire, as a design writes it [mm]; None where it is none."""
    if wire and isinstance(written, int | float) and not isinstance(written, bool):
        written = str(written)
    if not isinstance(written, str):
        return None
    try:
        return parse_wire(written) if wire else parse_length(written)
    except UnreadableLength:
        return None


def inside_box(at: At, written: object, wire: float | None) -> Data:
    """The inside diameter of a ring that is made of a wire [mm]."""
    mm = length_of(written) or MIDDLING
    least = LEAST_ASPECT * (THINNEST if wire is None else wire)
    return box(at, written, INSIDE_LIMITS, (least, max(MOST_TIMES * mm, least)), INSIDE_STEP)


def wire_box(at: At, written: object, limits: tuple[float, float] = WIRE_LIMITS) -> Data:
    """A wire."""
    return box(at, written, limits, (THINNEST, THICKEST), WIRE_STEP, wire=True)


def size_box(at: At, written: object, limits: tuple[float, float]) -> Data:
    """Another size of a part, within its limits [mm]."""
    mm = length_of(written) or 1.0
    return box(at, written, limits, (limits[0], max(MOST_TIMES * mm, limits[0] + 1.0)), INSIDE_STEP)


def as_written(mm: float) -> str:
    """A length [mm] as a design writes it."""
    return format_mm(mm, 6)
