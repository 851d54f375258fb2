"""Whether two rings are linked, exactly and in constant time.

Two round circles link if and only if one crosses the flat disc of the other exactly once, and a set of
round circles whose pairwise linking numbers all vanish is an unlink (Freedman and Skora 1987, "Strange
actions of groups on spheres", J. Differential Geom. 25), so for rings no hidden trap escapes this test.
"""

from math import acos, atan2, cos, hypot, sin

import numba
import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import frame
from chaingen.geometry.types import Floats, Ints


@numba.njit(cache=True)
def disc_crossings(ca: Floats, na: Floats, ra: float, cb: Floats, nb: Floats, rb: float) -> tuple[int, int]:
    """How often circle a crosses the flat disc of circle b.

    Returns:
        The number of crossings, 0 to 2, and their sum counted +1 along and -1 against the normal of b,
        which is the linking number of the two circles when each runs anticlockwise about its own normal. A
        circle in or touching the plane of b does not cross it.
    """
    ux, uy, uz, vx, vy, vz = frame(na[0], na[1], na[2])
    wx = ca[0] - cb[0]
    wy = ca[1] - cb[1]
    wz = ca[2] - cb[2]
    h0 = wx * nb[0] + wy * nb[1] + wz * nb[2]
    h1 = ra * (ux * nb[0] + uy * nb[1] + uz * nb[2])
    h2 = ra * (vx * nb[0] + vy * nb[1] + vz * nb[2])
    swing = hypot(h1, h2)
    if swing <= abs(h0):
        return 0, 0
    top = atan2(h2, h1)
    half = acos(-h0 / swing)
    count = 0
    signed = 0
    for side in (-1, 1):
        t = top + side * half
        a = ra * cos(t)
        b = ra * sin(t)
        x = wx + a * ux + b * vx
        y = wy + a * uy + b * vy
        z = wz + a * uz + b * vz
        if x * x + y * y + z * z < rb * rb:
            count += 1
            # Before the top of its swing the circle rises through the plane, after it the circle sinks.
            signed -= side
    return count, signed


@numba.njit(cache=True)
def _crossings(
    centres: Floats, normals: Floats, radii: Floats, pairs: Ints, count: Ints, signed: Ints
) -> None:
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        count[k], signed[k] = disc_crossings(
            centres[i], normals[i], radii[i], centres[j], normals[j], radii[j]
        )


def crossings(rings: Bodies, pairs: Ints) -> tuple[Ints, Ints]:
    """For each pair, how often the first circle crosses the disc of the second, and the signed sum.

    Args:
        rings: The rings.
        pairs: Indices, shape (m, 2).

    Returns:
        Counts 0 to 2 and signed sums -1 to 1, both shape (m,); see `disc_crossings`.
    """
    count = np.empty(len(pairs), dtype=np.int64)
    signed = np.empty(len(pairs), dtype=np.int64)
    _crossings(rings.centres, rings.normals, rings.radii, pairs, count, signed)
    return count, signed


def linked(rings: Bodies, pairs: Ints) -> npt.NDArray[np.bool_]:
    """Whether the two rings of each pair are linked.

    Args:
        rings: The rings.
        pairs: Indices, shape (m, 2).

    Returns:
        Booleans, shape (m,).
    """
    return np.asarray(crossings(rings, pairs)[0] == 1)
