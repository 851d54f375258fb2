"""Numbers and sizes as the files for other programs have them."""

import math
from typing import Any

from chaingen.weave.groups import RingSize


def mm(value: float | None) -> float | None:
    """A length rounded to a nanometre; None where there is none (JSON knows no infinity)."""
    return None if value is None or not math.isfinite(value) else round(value, 6)


def g(value: float | None) -> float | None:
    """A weight rounded to a microgram."""
    return None if value is None else round(value, 6)


def size_data(size: RingSize) -> dict[str, Any]:
    """A ring size."""
    return {
        "name": size.name,
        "inside_diameter_mm": mm(size.inside_diameter),
        "wire_diameter_mm": mm(size.wire_diameter),
        "aspect_ratio": round(size.aspect_ratio, 4),
    }
