"""Curves along which a straight row of groups is laid, each group as a rigid body."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats

STEPS = 4096
"""Chords of a curve that has no closed form by arc length."""


@dataclass(frozen=True, eq=False)
class Track:
    """Places along a curve.

    Attributes:
        points: Places [mm], shape (m, 3).
        along: Unit tangents, shape (m, 3).
        side: Unit vectors across, which carry the row's y, shape (m, 3).
    """

    points: Floats
    along: Floats
    side: Floats


def laid(rings: Bodies, group_x: Floats, track: Track) -> Bodies:
    """A straight row along x laid along a curve, group by group.

    Args:
        rings: The row.
        group_x: x of the middle of each ring's group [mm], shape (n,).
        track: The curve at these places, shape (n, ...).
    """
    third = np.cross(track.along, track.side)
    local = rings.centres.copy()
    local[:, 0] -= group_x

    def carried(v: Floats) -> Floats:
        return np.asarray(v[:, :1] * track.along + v[:, 1:2] * track.side + v[:, 2:] * third)

    axes = None if rings.axes is None else carried(rings.axes)
    return rings.posed(track.points + carried(local), carried(rings.normals), axes)


def straight(s: Floats, start: Floats, along: Floats, side: Floats) -> Track:
    """A straight line from `start` [mm]."""
    one = np.ones((len(s), 1))
    return Track(start + s[:, None] * along, one * along, one * side)


def catenary_parameter(slack: float) -> float:
    """X with sinh(x) / x = length over span (`slack`, over 1)."""
    # Bounds: sinh x / x > 1 + x^2 / 6, and sinh x / x > e^x / 4 x ... for the upper one any large x serves.
    high = 1.0
    while np.sinh(high) / high < slack:
        high *= 2.0
    return float(brentq(lambda x: np.sinh(x) / x - slack, 1e-9, high, xtol=1e-14))


def catenary(s: Floats, length: float, span: float) -> Track:
    """A chain of `length` from (0, 0, 0), where s = 0, to (span, 0, 0), hanging along -z."""
    x = catenary_parameter(length / span)
    a = span / (2.0 * x)
    # From the lowest point: arc length a sinh(u), height a (cosh(u) - 1).
    u = np.arcsinh((s - 0.5 * length) / a)
    points = np.column_stack([0.5 * span + a * u, np.zeros_like(u), a * (np.cosh(u) - np.cosh(x))])
    along = np.column_stack([1.0 / np.cosh(u), np.zeros_like(u), np.tanh(u)])
    return Track(points, along, np.tile([0.0, 1.0, 0.0], (len(s), 1)))


def hairpin(s: Floats, length: float, span: float) -> Track:
    """Two upright strands from (0, 0, 0), where s = 0, and (span, 0, 0), joined by half a circle below."""
    radius = 0.5 * span
    side = 0.5 * (length - np.pi * radius)
    angle = np.clip((s - side) / radius, 0.0, np.pi)
    beyond = np.where(s < side, s - side, np.maximum(s - side - np.pi * radius, 0.0))
    along = np.column_stack([np.sin(angle), np.zeros_like(s), -np.cos(angle)])
    points = np.column_stack(
        [radius - radius * np.cos(angle), np.zeros_like(s), -side - radius * np.sin(angle)]
    )
    return Track(points + beyond[:, None] * along, along, np.tile([0.0, 1.0, 0.0], (len(s), 1)))


def by_arc_length(curve: Floats, s: Floats, *, normal: Floats) -> Track:
    """A finely sampled curve by arc length; it goes on in a loop when it ends where it began.

    Args:
        curve: Points [mm], shape (k, 3).
        s: Arc lengths [mm], shape (m,).
        normal: Unit vector square to the curve everywhere, shape (3,); side = normal x tangent.
    """
    chords = np.linalg.norm(np.diff(curve, axis=0), axis=1)
    reach = np.concatenate([[0.0], np.cumsum(chords)])
    at = np.mod(s, reach[-1]) if np.allclose(curve[0], curve[-1]) else s
    points = np.stack([np.interp(at, reach, curve[:, axis]) for axis in range(3)], axis=1)
    tangents = np.gradient(curve, reach, axis=0)
    if np.allclose(curve[0], curve[-1]):
        both = (curve[1] - curve[-2]) / (chords[0] + chords[-1])
        tangents[0] = tangents[-1] = both
    along = np.stack([np.interp(at, reach, tangents[:, axis]) for axis in range(3)], axis=1)
    along /= np.linalg.norm(along, axis=1)[:, None]
    return Track(points, along, np.cross(np.broadcast_to(normal, along.shape), along))


def round_oval(half_width: float, half_height: float, off: float) -> Floats:
    """The curve `off` outside an ellipse in the xz plane, clockwise from its top as seen from -y."""
    t = np.linspace(0.0, 2.0 * np.pi, STEPS + 1)
    x, z = half_width * np.sin(t), half_height * np.cos(t)
    nx, nz = np.sin(t) / half_width, np.cos(t) / half_height
    size = np.hypot(nx, nz)
    return np.column_stack([x + off * nx / size, np.zeros_like(t), z + off * nz / size])


def stadium(length: float, end_radius: float) -> Floats:
    """A closed curve in the xz plane, two upright sides and two half circles, from its top at z = 0."""
    radius = min(end_radius, length / (2.0 * np.pi))
    side = 0.5 * length - np.pi * radius
    s = np.linspace(0.0, length, STEPS + 1)
    quarter = 0.5 * np.pi * radius
    x, z = np.empty_like(s), np.empty_like(s)
    for k, at in enumerate(s):
        mirrored = at > 0.5 * length
        d = length - at if mirrored else at
        if d <= quarter:
            px, pz = radius * np.sin(d / radius), radius * np.cos(d / radius) - radius
        elif d <= quarter + side:
            px, pz = radius, -radius - (d - quarter)
        else:
            angle = (d - quarter - side) / radius
            px, pz = radius * np.cos(angle), -radius - side - radius * np.sin(angle)
        x[k], z[k] = (-px if mirrored else px), pz
    return np.column_stack([x, np.zeros_like(x), z])


def wave(length: float, turn: float) -> Floats:
    """An S of two arcs of `turn` [rad] each in the xy plane, centred on the origin."""
    s = np.linspace(0.0, length, STEPS + 1)
    angle = np.where(s < 0.5 * length, 2.0 * turn * s / length, 2.0 * turn * (1.0 - s / length)) - 0.5 * turn
    step = length / STEPS
    x = np.concatenate([[0.0], np.cumsum(step * np.cos(0.5 * (angle[1:] + angle[:-1])))])
    y = np.concatenate([[0.0], np.cumsum(step * np.sin(0.5 * (angle[1:] + angle[:-1])))])
    return np.column_stack([x - 0.5 * x[-1], y - 0.5 * y[-1], np.zeros_like(x)])
