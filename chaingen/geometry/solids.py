"""Solid bodies that rings hang on, lie on or go round: signed distance with its first two derivatives.

A solid is a kind with its numbers, so that kernels can loop over solids of any kind. Distances are positive
outside. All are exact distances but the form's, which blends the exact distances of round bars smoothly: its
slope is at most 1, so that it never makes a wire come nearer than it says.
"""

from dataclasses import dataclass
from enum import IntEnum
from math import exp, log, sqrt

import numba
import numpy as np
from scipy.special import ellipe

from chaingen.geometry.types import Floats

ELLIPSE_STEPS = 60
"""Steps of the search for the nearest point of an ellipse; Newton needs about five, bisection never more."""


class SolidKind(IntEnum):
    """What a solid is; its numbers are given in this order, lengths in mm."""

    PLANE = 0
    """Unit normal (3), offset: outside is ``normal . p > offset``."""
    BAR = 1
    """A point of the axis (3), unit direction (3), radius: an endless round bar."""
    OVAL = 2
    """A point of the axis (3), half width along x, half height along z: an endless oval bar along y."""
    FORM = 3
    """Blending length, then for each round-ended bar both ends (3 + 3) and its radius."""
    LEDGE = 4
    """Place of the edge along x, height of the top, radius of the edge: a table that ends there, filling all
    that is lower and farther back along x, its edge rounded and endless along y."""


@dataclass(frozen=True, eq=False)
class Solid:
    """A solid body.

    Attributes:
        kind: What it is.
        numbers: Its numbers, see `SolidKind`.
    """

    kind: SolidKind
    numbers: Floats


def plane(height: float = 0.0) -> Solid:
    """The half space below a level plane at `height` [mm]."""
    return Solid(SolidKind.PLANE, np.array([0.0, 0.0, 1.0, height]))


def bar(point: Floats, direction: Floats, radius: float) -> Solid:
    """An endless round bar through `point` [mm] along `direction`, of `radius` [mm]."""
    unit = np.asarray(direction, dtype=float) / np.linalg.norm(direction)
    return Solid(SolidKind.BAR, np.concatenate([point, unit, [radius]]))


def oval(circumference: float, ratio: float) -> Solid:
    """An endless oval bar along y through the origin.

    Args:
        circumference: Length of the ellipse [mm].
        ratio: Its width along x over its height along z, 1 or more.
    """
    # Perimeter = 4 a E(1 - b^2 / a^2), DLMF 19.9.9.
    half_width = circumference / (4.0 * float(ellipe(1.0 - 1.0 / ratio**2)))
    return Solid(SolidKind.OVAL, np.array([0.0, 0.0, 0.0, half_width, half_width / ratio]))


def form(bars: Floats, blend: float) -> Solid:
    """Round-ended bars blended into one body.

    Args:
        bars: Both ends and the radius of each [mm], shape (k, 7).
        blend: Length over which they run into one another [mm].
    """
    return Solid(SolidKind.FORM, np.concatenate([[blend], np.asarray(bars, dtype=float).ravel()]))


def ledge(radius: float, *, end: float = 0.0, height: float = 0.0) -> Solid:
    """A table whose top ends in a rounded edge along y.

    Args:
        radius: Radius of the edge [mm], over 0.
        end: Where the table ends, along x [mm].
        height: Height of its top [mm].
    """
    return Solid(SolidKind.LEDGE, np.array([end, height, radius]))


@numba.njit(cache=True)
def _round_distance(
    wx: float,
    wy: float,
    wz: float,
    radius: float,
    out: Floats,
    curved_x: float,
    curved_y: float,
    curved_z: float,
) -> None:
    """Distance of a point at `w` from the axis or centre; an axis' direction has no curvature along it."""
    d = sqrt(wx * wx + wy * wy + wz * wz)
    if d < 1e-12:
        wx, wy, wz, d = 0.0, 0.0, 1e-12, 1e-12
    gx = wx / d
    gy = wy / d
    gz = wz / d
    out[0] = d - radius
    out[1] = gx
    out[2] = gy
    out[3] = gz
    out[4] = (1.0 - gx * gx - curved_x * curved_x) / d
    out[5] = (-gx * gy - curved_x * curved_y) / d
    out[6] = (-gx * gz - curved_x * curved_z) / d
    out[7] = (1.0 - gy * gy - curved_y * curved_y) / d
    out[8] = (-gy * gz - curved_y * curved_z) / d
    out[9] = (1.0 - gz * gz - curved_z * curved_z) / d


@numba.njit(cache=True)
def _oval_distance(x: float, z: float, a: float, b: float, out: Floats) -> None:
    """Signed distance to the ellipse (x/a)^2 + (z/b)^2 = 1 with a >= b, and its derivatives in x and z."""
    ax = abs(x)
    az = max(abs(z), 1e-12)
    # The nearest point is (a^2 ax / (s + a^2 - b^2), b^2 az / s) with one root s > 0.
    c2 = (a - b) * (a + b)
    lo = max(b * az, a * ax - c2)
    hi = sqrt(a * a * ax * ax + b * b * az * az)
    s = lo
    for _ in range(ELLIPSE_STEPS):
        u = a * ax / (s + c2)
        v = b * az / s
        f = u * u + v * v - 1.0
        if f > 0.0:
            lo = s
        else:
            hi = s
        new = s + 0.5 * f / (u * u / (s + c2) + v * v / s)
        if not (lo < new < hi):
            new = 0.5 * (lo + hi)
        if abs(new - s) <= 1e-15 * s:
            s = new
            break
        s = new
    qx = a * a * ax / (s + c2)
    qz = b * b * az / s
    nx = qx / (a * a)
    nz = qz / (b * b)
    length = sqrt(nx * nx + nz * nz)
    nx /= length
    nz /= length
    d = (ax - qx) * nx + (az - qz) * nz
    # Curvature of the ellipse at its nearest point: a b / (a^2 sin^2 + b^2 cos^2)^(3/2).
    s = qz / b
    c = qx / a
    bow = a * b / (a * a * s * s + b * b * c * c) ** 1.5
    k = bow / max(1.0 + bow * d, 1e-9)
    if x < 0.0:
        nx = -nx
    if z < 0.0:
        nz = -nz
    out[0] = d
    out[1] = nx
    out[2] = 0.0
    out[3] = nz
    out[4] = k * nz * nz
    out[5] = 0.0
    out[6] = -k * nx * nz
    out[7] = 0.0
    out[8] = 0.0
    out[9] = k * nx * nx


@numba.njit(cache=True)
def _form_distance(px: float, py: float, pz: float, numbers: Floats, out: Floats) -> None:
    """-k log sum exp(-d_i / k) of the exact distances d_i of round-ended bars."""
    k = numbers[0]
    count = (len(numbers) - 1) // 7
    one = np.empty(10)
    low = np.inf
    for i in range(count):
        _bar_end_distance(px, py, pz, numbers[1 + 7 * i : 8 + 7 * i], one)
        low = min(low, one[0])
    total = 0.0
    sums = np.zeros(10)
    outer = np.zeros(6)
    for i in range(count):
        _bar_end_distance(px, py, pz, numbers[1 + 7 * i : 8 + 7 * i], one)
        share = exp((low - one[0]) / k)
        total += share
        for m in range(1, 10):
            sums[m] += share * one[m]
        outer[0] += share * one[1] * one[1]
        outer[1] += share * one[1] * one[2]
        outer[2] += share * one[1] * one[3]
        outer[3] += share * one[2] * one[2]
        outer[4] += share * one[2] * one[3]
        outer[5] += share * one[3] * one[3]
    out[0] = low - k * log(total)
    gx = sums[1] / total
    gy = sums[2] / total
    gz = sums[3] / total
    out[1] = gx
    out[2] = gy
    out[3] = gz
    out[4] = sums[4] / total - (outer[0] / total - gx * gx) / k
    out[5] = sums[5] / total - (outer[1] / total - gx * gy) / k
    out[6] = sums[6] / total - (outer[2] / total - gx * gz) / k
    out[7] = sums[7] / total - (outer[3] / total - gy * gy) / k
    out[8] = sums[8] / total - (outer[4] / total - gy * gz) / k
    out[9] = sums[9] / total - (outer[5] / total - gz * gz) / k


@numba.njit(cache=True)
def _bar_end_distance(px: float, py: float, pz: float, numbers: Floats, out: Floats) -> None:
    """Distance to a bar with round ends: two ends (3 + 3) and a radius."""
    ux = numbers[3] - numbers[0]
    uy = numbers[4] - numbers[1]
    uz = numbers[5] - numbers[2]
    length = sqrt(ux * ux + uy * uy + uz * uz)
    ux /= length
    uy /= length
    uz /= length
    wx = px - numbers[0]
    wy = py - numbers[1]
    wz = pz - numbers[2]
    along = wx * ux + wy * uy + wz * uz
    if 0.0 < along < length:
        _round_distance(wx - along * ux, wy - along * uy, wz - along * uz, numbers[6], out, ux, uy, uz)
    else:
        end = 0.0 if along <= 0.0 else length
        _round_distance(wx - end * ux, wy - end * uy, wz - end * uz, numbers[6], out, 0.0, 0.0, 0.0)


@numba.njit(cache=True)
def _ledge_distance(x: float, z: float, radius: float, out: Floats) -> None:
    """Signed distance to the quarter space x < 0, z < 0 with a rounded edge, and its derivatives.

    Beyond the axis of the edge's round, in x and in z, that round is nearest; elsewhere top or front is, the
    farther of the two inside.
    """
    u = x + radius
    w = z + radius
    out[:] = 0.0
    if u > 0.0 and w > 0.0:
        # The second derivatives jump where the round begins; the first do not.
        d = max(sqrt(u * u + w * w), 1e-12)
        gx = u / d
        gz = w / d
        out[0] = d - radius
        out[1] = gx
        out[3] = gz
        out[4] = gz * gz / d
        out[6] = -gx * gz / d
        out[9] = gx * gx / d
    elif u > w:
        out[0] = x
        out[1] = 1.0
    else:
        out[0] = z
        out[3] = 1.0


@numba.njit(cache=True)
def solid_distance(kind: int, numbers: Floats, px: float, py: float, pz: float, out: Floats) -> None:
    """Signed distance of a point to a solid, its gradient and its Hessian.

    Args:
        kind: A `SolidKind`.
        numbers: The solid's numbers.
        px: The point [mm].
        py: The point [mm].
        pz: The point [mm].
        out: Receives distance [mm], gradient (x, y, z) and Hessian (xx, xy, xz, yy, yz, zz) [1/mm], shape
            (10,).
    """
    if kind == 0:
        out[:] = 0.0
        out[0] = numbers[0] * px + numbers[1] * py + numbers[2] * pz - numbers[3]
        out[1] = numbers[0]
        out[2] = numbers[1]
        out[3] = numbers[2]
    elif kind == 1:
        wx = px - numbers[0]
        wy = py - numbers[1]
        wz = pz - numbers[2]
        ux = numbers[3]
        uy = numbers[4]
        uz = numbers[5]
        along = wx * ux + wy * uy + wz * uz
        _round_distance(wx - along * ux, wy - along * uy, wz - along * uz, numbers[6], out, ux, uy, uz)
    elif kind == 2:
        _oval_distance(px - numbers[0], pz - numbers[2], numbers[3], numbers[4], out)
    elif kind == 3:
        _form_distance(px, py, pz, numbers, out)
    else:
        _ledge_distance(px - numbers[0], pz - numbers[1], numbers[2], out)


@numba.njit(cache=True)
def _distances(kind: int, numbers: Floats, points: Floats, out: Floats) -> None:
    for k in range(len(points)):
        solid_distance(kind, numbers, points[k, 0], points[k, 1], points[k, 2], out[k])


def distances(solid: Solid, points: Floats) -> Floats:
    """Signed distance, gradient and Hessian of many points; see `solid_distance`.

    Args:
        solid: The solid.
        points: Points [mm], shape (m, 3).

    Returns:
        Shape (m, 10).
    """
    out = np.empty((len(points), 10))
    _distances(int(solid.kind), solid.numbers, np.ascontiguousarray(points, dtype=float), out)
    return out
