"""What necklaces are called by their length (trade; the edges vary from shop to shop)."""

from chaingen.units import MM_PER_INCH

NECKLACES = {
    "collar": (12.0, 13.0),
    "choker": (14.0, 16.0),
    "princess": (17.0, 19.0),
    "matinee": (20.0, 24.0),
    "opera": (28.0, 34.0),
    "rope": (34.0, float("inf")),
}
"""Shortest and longest [in] by name."""

LEAST = 11.5
"""What is shorter [in] goes round no neck."""


def necklace_name(length: float) -> str:
    """What a necklace of a length is called; empty for what is too short to be one.

    Lengths between two names go by the nearer one; what is as long as two of them by the shorter.

    Args:
        length: Finished length [mm].
    """
    inches = length / MM_PER_INCH
    if inches < LEAST:
        return ""

    def off(name: str) -> float:
        low, high = NECKLACES[name]
        return max(low - inches, inches - high, 0.0)

    return min(NECKLACES, key=off)
