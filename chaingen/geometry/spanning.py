"""How often one closed line passes through what another one bounds.

A flat line bounds pieces of its plane, each counted as often as the line winds round it; one that is not flat
is spanned by flat pieces. A crossing along the normal about which a flat line runs anticlockwise counts +1.
Lines are rows of a table of arcs and straights, columns as in `shapes`; each row begins where the one before
it ends, the first where the last one does.
"""

from math import acos, atan2, cos, hypot, pi, sin, sqrt

import numba
import numpy as np

from chaingen.geometry.shapes import COLUMNS, RADIUS, SPAN
from chaingen.geometry.types import Floats

_WHOLE = 2.0 * pi - 1e-12
"""Arcs of at least this angle [rad] end where they begin."""


@numba.njit(cache=True)
def plane_of(table: Floats, begin: int, end: int, normal: Floats, at: Floats) -> bool:
    """Unit normal and a point of the plane of a flat line; False, and 0, where it encloses nothing."""
    best = 0.0
    for k in range(begin, end):
        row = table[k]
        if row[RADIUS] > 0.0 and row[RADIUS] * min(row[SPAN], 1.0) > best:
            best = row[RADIUS] * min(row[SPAN], 1.0)
            normal[0] = row[4] * row[8] - row[5] * row[7]
            normal[1] = row[5] * row[6] - row[3] * row[8]
            normal[2] = row[3] * row[7] - row[4] * row[6]
            for c in range(3):
                at[c] = row[c]
    if best == 0.0:
        for k in range(begin, end):
            for other in range(begin, k):
                p = table[k]
                q = table[other]
                x = p[4] * q[5] - p[5] * q[4]
                y = p[5] * q[3] - p[3] * q[5]
                z = p[3] * q[4] - p[4] * q[3]
                size = sqrt(x * x + y * y + z * z) * min(p[SPAN], q[SPAN])
                if size > best:
                    best = size
                    normal[0], normal[1], normal[2] = x, y, z
                    for c in range(3):
                        at[c] = p[c]
    size = sqrt(normal[0] ** 2 + normal[1] ** 2 + normal[2] ** 2) if best > 0.0 else 0.0
    for c in range(3):
        if size == 0.0:
            normal[c], at[c] = 0.0, table[begin, c]
        else:
            normal[c] /= size
    return size > 0.0


@numba.njit(cache=True)
def _begin(row: Floats) -> tuple[float, float, float]:
    """Where a curve begins."""
    r = row[RADIUS]
    if r == 0.0:
        return row[0], row[1], row[2]
    return row[0] + r * row[3], row[1] + r * row[4], row[2] + r * row[5]


@numba.njit(cache=True)
def through(table: Floats, begin: int, end: int, other: Floats) -> int:
    """How often a closed line passes through a flat one, signed.

    Args:
        table: Curves, shape (k, COLUMNS).
        begin: First row of the flat line.
        end: Row after its last.
        other: Curves of the other line in the same frame, shape (m, COLUMNS).
    """
    normal = np.empty(3)
    at = np.empty(3)
    if not plane_of(table, begin, end, normal, at):
        return 0
    nx, ny, nz = normal[0], normal[1], normal[2]
    total = 0
    count = len(other)
    x0, y0, z0 = _begin(other[0])
    height = (x0 - at[0]) * nx + (y0 - at[1]) * ny + (z0 - at[2]) * nz
    for k in range(count):
        row = other[k]
        # A curve ends where the next one begins, to the last bit: what leaves one side comes back to it.
        x1, y1, z1 = _begin(other[(k + 1) % count])
        next_height = (x1 - at[0]) * nx + (y1 - at[1]) * ny + (z1 - at[2]) * nz
        above = height >= 0.0
        next_above = next_height >= 0.0
        if row[RADIUS] > 0.0:
            total += _through_arc(table, begin, end, normal, at, row, above, next_above)
        elif above != next_above:
            share = height / (height - next_height)
            x = x0 + share * (x1 - x0)
            y = y0 + share * (y1 - y0)
            z = z0 + share * (z1 - z0)
            number = winding(table, begin, end, nx, ny, nz, x, y, z)
            total += number if next_above else -number
        x0, y0, z0, height = x1, y1, z1, next_height
    return total


@numba.njit(cache=True)
def _through_arc(
    table: Floats, begin: int, end: int, normal: Floats, at: Floats, row: Floats, above: bool,
    next_above: bool,
) -> int:  # fmt: skip
    """What an arc adds to `through`, from and to the sides of the plane on which its ends are."""
    nx, ny, nz, r = normal[0], normal[1], normal[2], row[RADIUS]
    h0 = (row[0] - at[0]) * nx + (row[1] - at[1]) * ny + (row[2] - at[2]) * nz
    h1 = r * (row[3] * nx + row[4] * ny + row[5] * nz)
    h2 = r * (row[6] * nx + row[7] * ny + row[8] * nz)
    swing = hypot(h1, h2)
    top = atan2(h2, h1) % (2.0 * pi)
    bottom = (top + pi) % (2.0 * pi)
    top_above = h0 + swing >= 0.0
    bottom_above = h0 - swing >= 0.0
    total = 0
    # Between highest and lowest place an arc crosses once if its side changes, and else not: rounding
    # near an end can then neither lose a crossing nor count it twice.
    for stop in range(3):
        if stop == 2:
            side = next_above
        elif (stop == 0) == (top < bottom):
            if top >= row[SPAN]:
                continue
            side = top_above
        else:
            if bottom >= row[SPAN]:
                continue
            side = bottom_above
        if side != above:
            half = acos(max(-1.0, min(1.0, -h0 / swing))) if swing > 0.0 else 0.0
            t = top - half if side else top + half
            a = r * cos(t)
            b = r * sin(t)
            x = row[0] + a * row[3] + b * row[6]
            y = row[1] + a * row[4] + b * row[7]
            z = row[2] + a * row[5] + b * row[8]
            number = winding(table, begin, end, nx, ny, nz, x, y, z)
            total += number if side else -number
        above = side
    return total


@numba.njit(cache=True)
def winding(
    table: Floats, begin: int, end: int, nx: float, ny: float, nz: float, px: float, py: float, pz: float
) -> int:
    """How often a flat closed line winds about a point of its plane, anticlockwise about the normal.

    Along an arc the angle seen from the point is the argument of ``r e^(it) - d``. Divided by whichever of
    the two is larger, it stays within a quarter turn, and no branch is crossed.
    """
    total = 0.0
    for k in range(begin, end):
        row = table[k]
        r = row[RADIUS]
        if r == 0.0:
            x0, y0, z0 = row[0] - px, row[1] - py, row[2] - pz
            nxt = table[k + 1] if k + 1 < end else table[begin]
            x1, y1, z1 = _begin(nxt)
            x1 -= px
            y1 -= py
            z1 -= pz
            across = (
                nx * (y0 * z1 - z0 * y1) + ny * (z0 * x1 - x0 * z1) + nz * (x0 * y1 - y0 * x1)
            )  # fmt: skip
            total += atan2(across, x0 * x1 + y0 * y1 + z0 * z1)
            continue
        wx, wy, wz = px - row[0], py - row[1], pz - row[2]
        # Along the arc's own axes it runs anticlockwise; `sense` says what that is about the normal.
        a = wx * row[3] + wy * row[4] + wz * row[5]
        b = wx * row[6] + wy * row[7] + wz * row[8]
        sense = (
            nx * (row[4] * row[8] - row[5] * row[7])
            + ny * (row[5] * row[6] - row[3] * row[8])
            + nz * (row[3] * row[7] - row[4] * row[6])
        )
        c, s = cos(row[SPAN]), sin(row[SPAN])
        if a * a + b * b < r * r:
            # t + arg(1 - (d / r) e^(-it))
            swept = row[SPAN] + atan2(-(b * c - a * s), r - (a * c + b * s)) - atan2(-b, r - a)
        else:
            # arg(1 - (r / d) e^(it)) = arg(|d|^2 - r conj(d) e^(it))
            big = a * a + b * b
            swept = atan2(-r * (a * s - b * c), big - r * (a * c + b * s)) - atan2(r * b, big - r * a)
        total += swept if sense > 0.0 else -swept
    return round(total / (2.0 * pi))


@numba.njit(cache=True)
def through_pieces(table: Floats, begin: int, end: int, other: Floats, seam: int) -> int:
    """How often a closed line passes through the flat pieces that span one that is not flat, signed.

    Args:
        table: Curves, shape (k, COLUMNS).
        begin: First row of the line that is spanned.
        end: Row after its last.
        other: Curves of the other line in the same frame, shape (m, COLUMNS).
        seam: Which of several spanning surfaces, 0 or more; their seams differ.
    """
    # Odd shares keep seams away from middles, axes and planes of symmetry, where other wires like to be.
    odd = 0.1379 + 0.0911 * seam
    apex = np.zeros(3)
    for k in range(begin, end):
        x, y, z = _begin(table[k])
        apex[0] += x / (end - begin)
        apex[1] += y / (end - begin)
        apex[2] += z / (end - begin)
    x, y, z = _begin(table[begin])
    size = abs(x - apex[0]) + abs(y - apex[1]) + abs(z - apex[2]) + table[begin, RADIUS]
    apex[0] += odd * size
    apex[1] -= 0.713 * odd * size
    apex[2] += 0.377 * odd * size
    piece = np.zeros((3, COLUMNS))
    total = 0
    for k in range(begin, end):
        row = table[k]
        nxt = table[k + 1] if k + 1 < end else table[begin]
        x0, y0, z0 = _begin(row)
        x1, y1, z1 = _begin(nxt)
        r = row[RADIUS]
        if r == 0.0:
            total += _through_triangle(piece, x0, y0, z0, x1, y1, z1, apex, other)
            continue
        if row[SPAN] >= _WHOLE:
            total += through(table, k, k + 1, other)
            continue
        # A seam in the arc's own plane: begin, arc, end, seam point.
        a = r * (0.5 * cos(0.5 * row[SPAN]) + 0.3 * odd)
        b = r * (0.5 * sin(0.5 * row[SPAN]) - 0.2 * odd)
        mx = row[0] + a * row[3] + b * row[6]
        my = row[1] + a * row[4] + b * row[7]
        mz = row[2] + a * row[5] + b * row[8]
        for column in range(COLUMNS):
            piece[0, column] = row[column]
        _straight(piece[1], x1, y1, z1, mx, my, mz)
        _straight(piece[2], mx, my, mz, x0, y0, z0)
        total += through(piece, 0, 3, other)
        total += _through_triangle(piece, x0, y0, z0, mx, my, mz, apex, other)
        total += _through_triangle(piece, mx, my, mz, x1, y1, z1, apex, other)
    return total


@numba.njit(cache=True)
def _straight(row: Floats, x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> None:
    """Fill a row with a straight from one point to another."""
    length = sqrt((x1 - x0) ** 2 + (y1 - y0) ** 2 + (z1 - z0) ** 2)
    share = 1.0 / length if length > 0.0 else 0.0
    row[0], row[1], row[2] = x0, y0, z0
    row[3], row[4], row[5] = share * (x1 - x0), share * (y1 - y0), share * (z1 - z0)
    row[6], row[7], row[8] = 0.0, 0.0, 0.0
    row[RADIUS], row[SPAN] = 0.0, length


@numba.njit(cache=True)
def _through_triangle(
    piece: Floats, x0: float, y0: float, z0: float, x1: float, y1: float, z1: float, apex: Floats,
    other: Floats,
) -> int:  # fmt: skip
    """How often a closed line passes through the triangle from one point to another and to the apex."""
    _straight(piece[0], x0, y0, z0, x1, y1, z1)
    _straight(piece[1], x1, y1, z1, apex[0], apex[1], apex[2])
    _straight(piece[2], apex[0], apex[1], apex[2], x0, y0, z0)
    return through(piece, 0, 3, other)
