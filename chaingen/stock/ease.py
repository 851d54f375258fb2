"""Ease: how much longer than the wrist a bracelet is made, by how it is to sit (common practice).

Practice gives ranges: snug 1/4 to 1/2 in, comfort 3/4 to 1 in, loose 1 to 1 1/4 in. Their middles are taken.
"""

from chaingen.units import MM_PER_INCH

EASES = {
    "snug": 3.0 / 8.0 * MM_PER_INCH,
    "comfort": 7.0 / 8.0 * MM_PER_INCH,
    "loose": 9.0 / 8.0 * MM_PER_INCH,
}
"""Ease [mm] by its name."""
