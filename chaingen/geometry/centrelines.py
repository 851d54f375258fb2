"""Circular arcs and straights: the centrelines of which wire bodies are bent.

A curve is given in the frame of its body [mm]. Points run along it by a parameter: an angle [rad] along an
arc, a length [mm] along a straight.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import cos, hypot, pi, radians, sin, tau

import numpy as np

Vector = tuple[float, float, float]
"""Coordinates x, y, z."""


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular arc.

    Attributes:
        centre: Its centre [mm].
        start: Unit vector from the centre to where it begins.
        ahead: Unit vector in which it sets out, square to `start`.
        radius: Its radius [mm], over 0.
        angle: How far it goes round [rad], over 0 and at most a full turn.
    """

    centre: Vector
    start: Vector
    ahead: Vector
    radius: float
    angle: float

    @property
    def span(self) -> float:
        """The parameter at its end [rad]."""
        return self.angle

    @property
    def length(self) -> float:
        """Its length [mm]."""
        return self.radius * self.angle

    def point(self, t: float) -> Vector:
        """The point at an angle `t` [rad] from its beginning [mm]."""
        a, b = self.radius * cos(t), self.radius * sin(t)
        return _sum(self.centre, _scaled(self.start, a), _scaled(self.ahead, b))

    def tangent(self, t: float) -> Vector:
        """Unit vector along it at an angle `t` [rad]."""
        return _sum(_scaled(self.start, -sin(t)), _scaled(self.ahead, cos(t)))


@dataclass(frozen=True, slots=True)
class Straight:
    """A straight piece; one of no length is a point.

    Attributes:
        begin: Where it begins [mm].
        direction: Unit vector along it.
        length: Its length [mm], 0 or more.
    """

    begin: Vector
    direction: Vector
    length: float

    @property
    def span(self) -> float:
        """The parameter at its end [mm]."""
        return self.length

    def point(self, t: float) -> Vector:
        """The point `t` [mm] from its beginning [mm]."""
        return _sum(self.begin, _scaled(self.direction, t))

    def tangent(self, t: float) -> Vector:
        """Unit vector along it, the same everywhere."""
        return self.direction


Curve = Arc | Straight
"""A piece of a centreline."""

FULL_TURN = tau - 1e-12
"""Arcs of at least this angle [rad] are whole circles."""


@dataclass(frozen=True, slots=True)
class Bend:
    """One step of a bent wire: straight on, or round a bend.

    Attributes:
        length: Length of a straight [mm]; 0 for a bend.
        radius: Radius of a bend's centreline [mm].
        angle: How far it turns [deg].
        direction: Which way it turns, seen along the wire: 0 to its left, 90 up, 180 to its right, 270 down
            [deg]. Left and up are carried along without twist.
    """

    length: float = 0.0
    radius: float = 0.0
    angle: float = 0.0
    direction: float = 0.0


def bent_wire(
    steps: Sequence[Bend],
    *,
    begin: Vector = (0.0, 0.0, 0.0),
    heading: Vector = (1.0, 0.0, 0.0),
    up: Vector = (0.0, 0.0, 1.0),
) -> tuple[Curve, ...]:
    """The centreline of a wire bent step by step; it has no corners.

    Args:
        steps: Straights and bends, one after the other.
        begin: Where it begins [mm].
        heading: Unit vector in which it sets out.
        up: Unit vector square to it that is up there.
    """
    at, ahead, top = np.array(begin), np.array(heading), np.array(up)
    curves: list[Curve] = []
    for step in steps:
        if step.radius == 0.0:
            curves.append(Straight(_vector(at), _vector(ahead), step.length))
            at = at + step.length * ahead
            continue
        left = np.cross(top, ahead)
        towards = cos(radians(step.direction)) * left + sin(radians(step.direction)) * top
        arc = Arc(
            _vector(at + step.radius * towards), _vector(-towards), _vector(ahead), step.radius,
            radians(step.angle),
        )  # fmt: skip
        curves.append(arc)
        axis = np.cross(ahead, towards)
        at = np.array(arc.point(arc.angle))
        ahead, top = _about(ahead, axis, arc.angle), _about(top, axis, arc.angle)
    return tuple(curves)


def circle(centre: Vector, normal: Vector, radius: float, *, start: Vector | None = None) -> Arc:
    """A whole circle.

    Args:
        centre: Its centre [mm].
        normal: Unit normal of its plane; it runs anticlockwise about this.
        radius: Its radius [mm].
        start: Unit vector in its plane from the centre to where it begins; any when left out.
    """
    n = np.array(normal)
    if start is None:
        helper = np.eye(3)[int(np.argmin(np.abs(n)))]
        first = helper - (helper @ n) * n
        first /= np.linalg.norm(first)
    else:
        first = np.array(start)
    return Arc(centre, _vector(first), _vector(np.cross(n, first)), radius, 2.0 * pi)


def segment(begin: Vector, end: Vector) -> Straight:
    """The straight from one point to another [mm], which must not be the same."""
    d = tuple(b - a for a, b in zip(begin, end, strict=True))
    length = hypot(*d)
    assert length > 0.0, "a segment goes somewhere"
    return Straight(begin, (d[0] / length, d[1] / length, d[2] / length), length)


def reversed_curve(curve: Curve) -> Curve:
    """The same curve run the other way."""
    if isinstance(curve, Straight):
        x, y, z = curve.direction
        return Straight(curve.point(curve.length), (-x, -y, -z), curve.length)
    end = curve.angle
    begin = _sum(_scaled(curve.start, cos(end)), _scaled(curve.ahead, sin(end)))
    x, y, z = curve.tangent(end)
    return replace(curve, start=begin, ahead=(-x, -y, -z))


def moved_curve(curve: Curve, rotation: np.ndarray, translation: np.ndarray) -> Curve:
    """The curve turned about the origin, shape (3, 3), and then moved, shape (3,) [mm]."""
    if isinstance(curve, Straight):
        begin = _vector(rotation @ np.array(curve.begin) + translation)
        return replace(curve, begin=begin, direction=_vector(rotation @ np.array(curve.direction)))
    return replace(
        curve,
        centre=_vector(rotation @ np.array(curve.centre) + translation),
        start=_vector(rotation @ np.array(curve.start)),
        ahead=_vector(rotation @ np.array(curve.ahead)),
    )


def _vector(v: np.ndarray) -> Vector:
    x, y, z = v.tolist()
    return x, y, z


def _scaled(v: Vector, by: float) -> Vector:
    return by * v[0], by * v[1], by * v[2]


def _sum(*vectors: Vector) -> Vector:
    return sum(v[0] for v in vectors), sum(v[1] for v in vectors), sum(v[2] for v in vectors)


def _about(v: np.ndarray, axis: np.ndarray, angle: float) -> np.ndarray:
    """A vector turned about a unit axis by an angle [rad] (Rodrigues)."""
    turned: np.ndarray = (
        cos(angle) * v + sin(angle) * np.cross(axis, v) + (1.0 - cos(angle)) * (axis @ v) * axis
    )
    return turned
