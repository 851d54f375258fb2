"""Nearest points of two whole circles, exact, with every local minimum.

For a point p the nearest point of a circle is closed form, so the squared distance of two circles is a
function of one angle,

    f(t) = |w|^2 + R_b^2 - 2 R_b rho,   w = p_a(t) - c_b,   rho^2 = |w|^2 - (w . n_b)^2,

whose analytic first and second derivatives are used: f' is sampled, its sign changes are bracketed, and
each root is polished by Newton steps that never leave the bracket. Where three roots crowd into one bracket
(circles that hug one another), f'' has a dip in it, which is looked into. Circle to circle distance has at
most eight critical points (Neff 1990, "Finding the distance between two circles in three-dimensional space",
IBM J. Res. Dev. 34(5), doi:10.1147/rd.345.0770).
"""

from math import cos, pi, sin, sqrt

import numba
import numpy as np

from chaingen.geometry.types import Floats

SAMPLES = 32
"""Angles at which f' is sampled; a dip that hides between two of them is looked for by the sign of f''."""

START = 0.1234567
"""The first of them [rad]: off the axes, to keep clear of the roots of symmetric pairs, on round angles."""

_ANGLES = START + 2.0 * pi / SAMPLES * np.arange(1, SAMPLES + 1)

COSINES, SINES = np.cos(_ANGLES), np.sin(_ANGLES)
"""Cosines and sines of the samples, from the second to the first again, shape (SAMPLES,)."""

CLOSER = 12
"""Parts into which an interval is cut where the distance may change fast."""

MOST_MINIMA = 8
"""Room for local minima of one pair: half of the critical points can be minima, and flat pairs give four
samples."""

DIP = 0.5
"""Share of its lesser end under which f'', drawn through what is known at both ends, is looked at closer."""

GOLDEN = 0.6180339887498949
"""What golden section keeps."""

FLAT = 1e-12
"""Relative size of f' under which two circles count as equally far all the way round (coaxial)."""


@numba.njit(cache=True)
def frame(nx: float, ny: float, nz: float) -> tuple[float, float, float, float, float, float]:
    """Two unit vectors completing a unit normal to a right-handed frame (Duff et al. 2017, JCGT 6(1))."""
    sign = 1.0 if nz >= 0.0 else -1.0
    a = -1.0 / (sign + nz)
    b = nx * ny * a
    return 1.0 + sign * nx * nx * a, sign * b, -sign * nx, b, sign + ny * ny * a, -ny


@numba.njit(cache=True)
def _slopes(
    t: float, a1: float, a2: float, h0: float, h1: float, h2: float, big: float, rb: float
) -> tuple[float, float, float]:
    """f', f'' and rho at angle t."""
    return _slopes_of(cos(t), sin(t), a1, a2, h0, h1, h2, big, rb)


@numba.njit(cache=True)
def _slopes_of(
    c: float, s: float, a1: float, a2: float, h0: float, h1: float, h2: float, big: float, rb: float
) -> tuple[float, float, float]:
    """f', f'' and rho where the angle has cosine c and sine s.

    |w|^2 = big + a1 cos t + a2 sin t and w . n_b = h0 + h1 cos t + h2 sin t.
    """
    along = a1 * c + a2 * s
    d_along = a2 * c - a1 * s
    h = h0 + h1 * c + h2 * s
    dh = h2 * c - h1 * s
    # On the axis of b, rho vanishes: kept from zero, the slope is that of the kink's near side.
    q = max(big + along - h * h, 1e-30 * big)
    rho = sqrt(q)
    dq = d_along - 2.0 * h * dh
    ddq = -along - 2.0 * dh * dh + 2.0 * h * (h - h0)
    first = d_along - rb * dq / rho
    second = -along - rb * (ddq / rho - 0.5 * dq * dq / (q * rho))
    return first, second, rho


@numba.njit(cache=True)
def _polish(
    lo: float, hi: float, a1: float, a2: float, h0: float, h1: float, h2: float, big: float, rb: float
) -> float:
    """Root of f' in [lo, hi], where f' <= 0 at lo and f' > 0 at hi."""
    t = 0.5 * (lo + hi)
    for _ in range(80):
        first, second, _ = _slopes(t, a1, a2, h0, h1, h2, big, rb)
        if first > 0.0:
            hi = t
        else:
            lo = t
        new = t - first / second if second > 0.0 else lo - 1.0
        if not (lo < new < hi):
            new = 0.5 * (lo + hi)
        if abs(new - t) < 1e-15 + 4e-16 * abs(t):
            return new
        t = new
    return t


@numba.njit(cache=True)
def _turn_of_slope(
    lo: float,
    hi: float,
    rising: bool,
    a1: float,
    a2: float,
    h0: float,
    h1: float,
    h2: float,
    big: float,
    rb: float,
) -> tuple[float, float]:
    """Angle in [lo, hi] where f'' changes sign (from + to - if `rising`) and f' there."""
    first = 0.0
    t = lo
    for _ in range(50):
        t = 0.5 * (lo + hi)
        first, second, _ = _slopes(t, a1, a2, h0, h1, h2, big, rb)
        if (second > 0.0) == rising:
            lo = t
        else:
            hi = t
    return t, first


@numba.njit(cache=True)
def _dips(width: float, first: float, second: float, first_next: float, second_next: float) -> bool:
    """Whether f'', of one sign at both ends of an interval [rad], might have the other one inside.

    The cubic with the same f' and f'' at both ends decides, generously.
    """
    if second * second_next <= 0.0:
        return False
    sign = 1.0 if second > 0.0 else -1.0
    begin = sign * second * width
    end = sign * second_next * width
    mean = 3.0 * sign * (first_next - first)
    # f'' falls at first and rises at last:
    if mean >= 2.0 * begin + end or mean >= begin + 2.0 * end:
        return False
    tilt = 2.0 * mean - 4.0 * begin - 2.0 * end
    bow = 3.0 * (begin + end) - 2.0 * mean
    return bool(begin - 0.25 * tilt * tilt / bow < DIP * min(begin, end))


@numba.njit(cache=True)
def _in_dip(
    lo: float, hi: float, first: float, first_next: float, second: float,
    a1: float, a2: float, h0: float, h1: float, h2: float, big: float, rb: float,
    angles: Floats, count: int,
) -> int:  # fmt: skip
    """Write the minima in an interval in which f'' may dip after `count` others; how many there are then.

    Golden section finds the bottom of the dip. If it is deep enough f' turns on either side of it.
    """
    sign = 1.0 if second > 0.0 else -1.0
    left, right = lo, hi
    turn, at_turn, back, at_back = hi, first_next, hi, first_next
    for _ in range(40):
        t1 = right - (right - left) * GOLDEN
        t2 = left + (right - left) * GOLDEN
        _, second1, _ = _slopes(t1, a1, a2, h0, h1, h2, big, rb)
        _, second2, _ = _slopes(t2, a1, a2, h0, h1, h2, big, rb)
        lower = sign * second1 < sign * second2
        if min(sign * second1, sign * second2) < 0.0:
            bottom = t1 if lower else t2
            turn, at_turn = _turn_of_slope(lo, bottom, sign > 0.0, a1, a2, h0, h1, h2, big, rb)
            back, at_back = _turn_of_slope(bottom, hi, sign < 0.0, a1, a2, h0, h1, h2, big, rb)
            break
        if lower:
            right = t2
        else:
            left = t1
    if first <= 0.0 < at_turn and count < MOST_MINIMA:
        angles[count] = _polish(lo, turn, a1, a2, h0, h1, h2, big, rb)
        count += 1
    if at_turn <= 0.0 < at_back and count < MOST_MINIMA:
        angles[count] = _polish(turn, back, a1, a2, h0, h1, h2, big, rb)
        count += 1
    if at_back <= 0.0 < first_next and count < MOST_MINIMA:
        angles[count] = _polish(back, hi, a1, a2, h0, h1, h2, big, rb)
        count += 1
    return count


@numba.njit(cache=True)
def circle_minima(
    ca: Floats, na: Floats, ra: float, cb: Floats, nb: Floats, rb: float, angles: Floats
) -> tuple[int, bool]:
    """Angles on circle a at which its distance to circle b has a local minimum.

    Args:
        ca: Centre of circle a [mm], shape (3,).
        na: Unit normal of circle a, shape (3,).
        ra: Radius of circle a [mm].
        cb: Centre of circle b [mm], shape (3,).
        nb: Unit normal of circle b, shape (3,).
        rb: Radius of circle b [mm].
        angles: Receives the angles [rad] in the frame of `frame(na)`, shape (MOST_MINIMA,).

    Returns:
        How many angles were written, and whether the distance is the same all round (then four even angles
        stand for all).
    """
    ux, uy, uz, vx, vy, vz = frame(na[0], na[1], na[2])
    wx = ca[0] - cb[0]
    wy = ca[1] - cb[1]
    wz = ca[2] - cb[2]
    a1 = 2.0 * ra * (wx * ux + wy * uy + wz * uz)
    a2 = 2.0 * ra * (wx * vx + wy * vy + wz * vz)
    h0 = wx * nb[0] + wy * nb[1] + wz * nb[2]
    h1 = ra * (ux * nb[0] + uy * nb[1] + uz * nb[2])
    h2 = ra * (vx * nb[0] + vy * nb[1] + vz * nb[2])
    big = wx * wx + wy * wy + wz * wz + ra * ra
    step = 2.0 * pi / SAMPLES
    t0 = START
    first, second, rho = _slopes(t0, a1, a2, h0, h1, h2, big, rb)
    first0, second0 = first, second
    steepest = abs(first)
    count = 0
    t = t0
    for k in range(SAMPLES):
        # Where circle a passes close to the axis of b its nearest point swings round fast: look closer there.
        parts = 1 if rho > 3.0 * ra * step else CLOSER
        rho = 0.0
        for part in range(1, parts + 1):
            t_next = t0 + (k + part / parts) * step
            if parts == 1:
                first_next, second_next, rho = _slopes_of(COSINES[k], SINES[k], a1, a2, h0, h1, h2, big, rb)
            else:
                first_next, second_next, rho = _slopes(t_next, a1, a2, h0, h1, h2, big, rb)
            if part == parts and k == SAMPLES - 1:
                first_next, second_next = first0, second0
            steepest = max(steepest, abs(first_next))
            if count >= MOST_MINIMA:
                break
            if _dips(t_next - t, first, second, first_next, second_next):
                count = _in_dip(
                    t, t_next, first, first_next, second, a1, a2, h0, h1, h2, big, rb, angles, count
                )
            elif first <= 0.0 < first_next:
                angles[count] = _polish(t, t_next, a1, a2, h0, h1, h2, big, rb)
                count += 1
            elif first > 0.0 and first_next > 0.0 and second < 0.0 < second_next:
                turn, low = _turn_of_slope(t, t_next, False, a1, a2, h0, h1, h2, big, rb)
                if low <= 0.0:
                    angles[count] = _polish(turn, t_next, a1, a2, h0, h1, h2, big, rb)
                    count += 1
            elif first <= 0.0 and first_next <= 0.0 and second > 0.0 > second_next:
                turn, high = _turn_of_slope(t, t_next, True, a1, a2, h0, h1, h2, big, rb)
                if high > 0.0:
                    angles[count] = _polish(t, turn, a1, a2, h0, h1, h2, big, rb)
                    count += 1
            t = t_next
            first = first_next
            second = second_next
    if count == 0 or steepest < FLAT * (big + rb * rb):
        for k in range(4):
            angles[k] = t0 + 0.5 * pi * k
        return 4, True
    return count, False


@numba.njit(cache=True)
def nearest_on_circle(
    px: float, py: float, pz: float, c: Floats, n: Floats, radius: float
) -> tuple[float, float, float]:
    """The point of a circle nearest to a point; any of them when the point lies on the axis."""
    wx = px - c[0]
    wy = py - c[1]
    wz = pz - c[2]
    h = wx * n[0] + wy * n[1] + wz * n[2]
    wx -= h * n[0]
    wy -= h * n[1]
    wz -= h * n[2]
    rho = sqrt(wx * wx + wy * wy + wz * wz)
    if rho < 1e-14 * radius:
        ux, uy, uz, _, _, _ = frame(n[0], n[1], n[2])
        return c[0] + radius * ux, c[1] + radius * uy, c[2] + radius * uz
    k = radius / rho
    return c[0] + k * wx, c[1] + k * wy, c[2] + k * wz


@numba.njit(cache=True)
def point_at(c: Floats, n: Floats, radius: float, t: float) -> tuple[float, float, float]:
    """The point of a circle at angle t [rad] in the frame of `frame(n)`."""
    ux, uy, uz, vx, vy, vz = frame(n[0], n[1], n[2])
    a = radius * cos(t)
    b = radius * sin(t)
    return c[0] + a * ux + b * vx, c[1] + a * uy + b * vy, c[2] + a * uz + b * vz


@numba.njit(cache=True)
def nearest_points(
    ca: Floats, na: Floats, ra: float, cb: Floats, nb: Floats, rb: float, angles: Floats, points: Floats
) -> int:
    """The nearest points of two circles at every local minimum of their distance.

    The smaller circle is the one that is walked along: seen from a large one, a small one is soon overlooked.

    Args:
        ca: Centre of circle a [mm], shape (3,).
        na: Unit normal of circle a, shape (3,).
        ra: Radius of circle a [mm].
        cb: Centre of circle b [mm], shape (3,).
        nb: Unit normal of circle b, shape (3,).
        rb: Radius of circle b [mm].
        angles: Room for angles, shape (MOST_MINIMA,).
        points: Receives the points on a and on b [mm], shape (MOST_MINIMA, 2, 3).

    Returns:
        How many minima there are.
    """
    swapped = ra > rb
    if swapped:
        count, _ = circle_minima(cb, nb, rb, ca, na, ra, angles)
    else:
        count, _ = circle_minima(ca, na, ra, cb, nb, rb, angles)
    for m in range(count):
        if swapped:
            qx, qy, qz = point_at(cb, nb, rb, angles[m])
            px, py, pz = nearest_on_circle(qx, qy, qz, ca, na, ra)
        else:
            px, py, pz = point_at(ca, na, ra, angles[m])
            qx, qy, qz = nearest_on_circle(px, py, pz, cb, nb, rb)
        points[m, 0, 0] = px
        points[m, 0, 1] = py
        points[m, 0, 2] = pz
        points[m, 1, 0] = qx
        points[m, 1, 1] = qy
        points[m, 1, 2] = qz
    return count
