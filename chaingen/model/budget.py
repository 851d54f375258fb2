"""The finest mesh within a number of triangles: services take files up to some size only."""

from chaingen.errors import BadInput, Problem
from chaingen.geometry.bodies import Bodies
from chaingen.model.templates import NO_HOLES, Holes, triangle_count

DIGITS = 3
"""Digits that a tolerance is told in."""

_PER_DECADE = 9 * 10 ** (DIGITS - 1)
_FINEST, _DECADES = 1e-4, 4


def tolerance_for(bodies: Bodies, most_triangles: int, holes: Holes = NO_HOLES) -> float:
    """The finest tolerance of three digits whose meshes keep to a number of triangles.

    Args:
        bodies: The bodies.
        most_triangles: The most triangles of all meshes together.
        holes: Holes of beads, see `templates`.

    Returns:
        Farthest the meshes may lie from the true surface, 0.0001 to 1 [mm].

    Raises:
        BadInput: Even the coarsest meshes have more.
    """

    def kept(number: int) -> bool:
        return triangle_count(bodies, _tolerance(number), holes) <= most_triangles

    coarsest = _DECADES * _PER_DECADE
    if not kept(coarsest):
        least = triangle_count(bodies, _tolerance(coarsest), holes)
        advice = "that many has the coarsest mesh of this piece"
        raise BadInput([Problem("--triangles", f"{most_triangles:,}", f"at least {least:,}", advice)])
    # From the coarse side, so that nothing is meshed much finer than what will do.
    step, high = _PER_DECADE // 4, coarsest
    while high > 0 and kept(low := max(high - step, 0)):
        high = low
    if high == 0:
        return _tolerance(0)
    while high - low > 1:
        middle = (low + high) // 2
        if kept(middle):
            high = middle
        else:
            low = middle
    return _tolerance(high)


def _tolerance(number: int) -> float:
    """The tolerances of three digits in a row, 0.0001 the first [mm]."""
    decade, place = divmod(number, _PER_DECADE)
    digits = 10 ** (DIGITS - 1) + place
    return float(f"{digits}e{decade - 4 - (DIGITS - 1)}")
