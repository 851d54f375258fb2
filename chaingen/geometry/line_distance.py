"""Where a circle is nearest to an endless line, exact, with every local minimum.

The squared distance from the line, along the circle, is a trigonometric polynomial of degree two. By the
tangent of half the angle its slope is a polynomial of degree four, whose roots are parted by those of its
derivatives, down to the linear one: none is overlooked, however near to another it lies.
"""

from math import atan2, pi, sqrt

import numba
import numpy as np

from chaingen.geometry.circle_distance import FLAT
from chaingen.geometry.shapes import RADIUS
from chaingen.geometry.types import Floats

MOST_LINE_MINIMA = 4
"""Room for local minima: there are at most two, and one where halves of the circle overlap comes twice."""

OVERLAP = 1.01
"""Half of the circle is as far as the half angle's tangent goes to 1; the halves overlap a little, so that
no root falls between them."""


@numba.njit(cache=True)
def _horner(p: Floats, degree: int, x: float) -> float:
    """Value of the polynomial p[0] + p[1] x + ... at x."""
    value = p[degree]
    for k in range(degree - 1, -1, -1):
        value = value * x + p[k]
    return float(value)


@numba.njit(cache=True)
def _root(p: Floats, slope: Floats, degree: int, lo: float, hi: float) -> float:
    """Root of a polynomial in [lo, hi], where it is monotonic and changes sign; `slope` is its derivative."""
    rising = _horner(p, degree, hi) > 0.0
    x = 0.5 * (lo + hi)
    for _ in range(100):
        value = _horner(p, degree, x)
        if (value > 0.0) == rising:
            hi = x
        else:
            lo = x
        steep = _horner(slope, degree - 1, x)
        new = x - value / steep if steep != 0.0 else 0.5 * (lo + hi)
        if not (lo < new < hi):
            new = 0.5 * (lo + hi)
        if abs(new - x) < 1e-16 + 2e-16 * abs(x):
            return new
        x = new
    return x


@numba.njit(cache=True)
def _rising_roots(p: Floats, reach: float, roots: Floats) -> int:
    """Roots in [-reach, reach] of a polynomial of degree four at which it rises; how many.

    Between the roots of its derivative a polynomial is monotonic: from the third derivative, which is linear,
    each finds the roots of the one before it.
    """
    levels = np.zeros((5, 5))
    for k in range(5):
        levels[0, k] = p[k]
    for n in range(1, 5):
        for k in range(5 - n):
            levels[n, k] = (k + 1) * levels[n - 1, k + 1]
    knots = np.empty(6)
    knots[0] = -reach
    knots[1] = reach
    count = 2
    fresh = np.empty(6)
    for n in range(3, -1, -1):
        degree = 4 - n
        found = 0
        low = _horner(levels[n], degree, knots[0])
        for k in range(count - 1):
            high = _horner(levels[n], degree, knots[k + 1])
            rises = low <= 0.0 < high
            if rises or (n > 0 and low > 0.0 >= high):
                fresh[1 + found] = _root(levels[n], levels[n + 1], degree, knots[k], knots[k + 1])
                found += 1
            low = high
        if n == 0:
            for k in range(found):
                roots[k] = fresh[1 + k]
            return found
        for k in range(found):
            knots[1 + k] = fresh[1 + k]
        knots[1 + found] = reach
        count = found + 2
    return 0


@numba.njit(cache=True)
def line_minima(a: Floats, b: Floats, angles: Floats) -> tuple[int, bool]:
    """Angles on the whole circle of an arc where its distance to the endless line of a straight is least.

    With m the part across the line of the way from it to the arc's centre, f and s the arc's first and second
    axis and u along the line, half the slope of the squared distance, over the radius, is
    ``(m s) cos t - (m f) sin t - R (f u) (s u) cos 2t + R ((f u)^2 - (s u)^2) / 2 sin 2t`` (derived).

    Args:
        a: The arc, shape (COLUMNS,).
        b: The straight, shape (COLUMNS,).
        angles: Receives the angles from the arc's beginning [rad], 0 to 2 pi, shape (MOST_LINE_MINIMA,).

    Returns:
        How many there are, and whether the distance is the same all round (then none was written).
    """
    wx = a[0] - b[0]
    wy = a[1] - b[1]
    wz = a[2] - b[2]
    along = wx * b[3] + wy * b[4] + wz * b[5]
    mx = wx - along * b[3]
    my = wy - along * b[4]
    mz = wz - along * b[5]
    fu = a[3] * b[3] + a[4] * b[4] + a[5] * b[5]
    su = a[6] * b[3] + a[7] * b[4] + a[8] * b[5]
    cos1 = mx * a[6] + my * a[7] + mz * a[8]
    sin1 = -(mx * a[3] + my * a[4] + mz * a[5])
    cos2 = -a[RADIUS] * fu * su
    sin2 = 0.5 * a[RADIUS] * (fu - su) * (fu + su)
    steepest = abs(cos1) + abs(sin1) + abs(cos2) + abs(sin2)
    if steepest < FLAT * (a[RADIUS] + sqrt(mx * mx + my * my + mz * mz)):
        return 0, True
    p = np.empty(5)
    roots = np.empty(4)
    count = 0
    for half in range(2):
        sign = 1.0 - 2.0 * half
        p[0] = sign * cos1 + cos2
        p[1] = 2.0 * sign * sin1 + 4.0 * sin2
        p[2] = -6.0 * cos2
        p[3] = 2.0 * sign * sin1 - 4.0 * sin2
        p[4] = cos2 - sign * cos1
        found = _rising_roots(p, OVERLAP, roots)
        for k in range(found):
            if count < MOST_LINE_MINIMA:
                angles[count] = (2.0 * atan2(roots[k], 1.0) + half * pi) % (2.0 * pi)
                count += 1
    return count, False
