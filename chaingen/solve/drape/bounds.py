"""How long a step may be so that no wire passes through another, whatever happens within it.

Two centrelines of a pair free of contact are at least r_a + r_b apart. While their points move against each
other by less than that, they cannot meet, so that links cannot change. Common motion does not count: a long
chain may swing by many wire radii in one step. Of a body of several wires the thinnest counts, and no point
of its centrelines moves farther than its origin does and its turns, which are told in mm at the farthest of
them.
"""

from math import sqrt

import numba
import numpy as np

from chaingen.geometry.solids import solid_distance
from chaingen.geometry.types import Floats, Ints

SHARE = 0.99
"""Part of the longest allowed motion that a step may make."""


@numba.njit(cache=True)
def _length(step: Floats, first: int, last: int) -> float:
    total = 0.0
    for k in range(first, last):
        total += step[k] * step[k]
    return sqrt(total)


@numba.njit(cache=True)
def pair_bound(step: Floats, wires: Floats, pairs: Ints) -> float:
    """Largest part of a step in which no pair's wires can meet, at most 1.

    Args:
        step: Moves and turns [mm], shape (n, 5) or (n, 6).
        wires: Radii of each body's thinnest wire [mm], shape (n,).
        pairs: All pairs that could meet, shape (m, 2).
    """
    most = 1.0
    width = step.shape[1]
    for m in range(len(pairs)):
        i = pairs[m, 0]
        j = pairs[m, 1]
        x = step[i, 0] - step[j, 0]
        y = step[i, 1] - step[j, 1]
        z = step[i, 2] - step[j, 2]
        against = sqrt(x * x + y * y + z * z) + _length(step[i], 3, width) + _length(step[j], 3, width)
        allowed = SHARE * (wires[i] + wires[j])
        if against * most > allowed:
            most = allowed / against
    return most


@numba.njit(cache=True)
def solid_bound(
    step: Floats, centres: Floats, radii: Floats, wires: Floats, kind: int, numbers: Floats
) -> float:
    """Largest part of a step in which no wire can get into a solid, at most 1.

    Args:
        step: Moves and turns [mm], shape (n, 5) or (n, 6).
        centres: Ring centres and origins of other bodies [mm], shape (n, 3).
        radii: Centreline radii, or how far centrelines reach from the origin [mm], shape (n,).
        wires: Radii of each body's thinnest wire [mm], shape (n,).
        kind: The solid's kind, a `SolidKind`.
        numbers: Its numbers.
    """
    most = 1.0
    out = np.empty(10)
    for k in range(len(radii)):
        far = _length(step[k], 0, 3) + _length(step[k], 3, step.shape[1])
        if far * most <= SHARE * wires[k]:
            continue
        solid_distance(kind, numbers, centres[k, 0], centres[k, 1], centres[k, 2], out)
        # A ring that stays clear of the solid as a whole is free to go.
        allowed = SHARE * max(wires[k], out[0] - radii[k])
        if far * most > allowed:
            most = allowed / far
    return most


@numba.njit(cache=True)
def farthest(step: Floats) -> float:
    """How far any point of any centreline moves at most [mm]."""
    most = 0.0
    for k in range(len(step)):
        most = max(most, _length(step[k], 0, 3) + _length(step[k], 3, step.shape[1]))
    return most
