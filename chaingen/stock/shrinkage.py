"""How much smaller castings come out than what they are made from: a start for one's own figures.

Linear, as a part of the larger size: a ring of 4.00 mm that comes back with 3.92 mm has lost 0.02. Common
practice gives ranges, whose middles stand here; it says too that shrinkage is not the same in all directions,
which only a trial casting tells.
"""

from chaingen.stock.metals import Metal

MOULD = 0.0175
"""Of wax from a rubber mould: 0.01 to 0.025 (common practice)."""

_SILVER_AND_GOLD = 0.02
"""Of silver and gold from wax to cast: 0.01 to 0.03 (common practice)."""

_BRONZE = 0.0165
"""Of bronze from wax to cast: 0.013 to 0.02 (common practice)."""

_CASTING = {
    "fine silver": _SILVER_AND_GOLD,
    "sterling silver": _SILVER_AND_GOLD,
    "14k yellow gold": _SILVER_AND_GOLD,
    "18k yellow gold": _SILVER_AND_GOLD,
    "14k red gold": _SILVER_AND_GOLD,
    "14k white gold": _SILVER_AND_GOLD,
    "brass": _BRONZE,
    "red brass": _BRONZE,
    "phosphor bronze": _BRONZE,
}


def casting_shrinkage(metal: Metal) -> float | None:
    """What a casting loses from its wax, as a part of that; None where none is known."""
    return _CASTING.get(metal.base)
