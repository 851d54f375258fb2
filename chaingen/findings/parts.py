"""Parts that findings are built of: loops turned on a stem, coils, rings, and eyes between places of a wire.

Findings are bent in the plane of x and y; x runs along the piece. A place on a path is the number of a curve
and the parameter along it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan2, degrees, dist, hypot, pi, sqrt, tau

from chaingen.geometry.centrelines import (
    Arc,
    Bend,
    Curve,
    Straight,
    Vector,
    bent_wire,
    circle,
    reversed_curve,
    segment,
)
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand

NECK = 1.0
"""Centreline radius of the small bend between a stem and its loop, in wire diameters: pliers bend a wire
about as sharply as it is thick (common practice)."""

SUNK = 0.25
"""How far soldered wires sink into one another, in diameters of the thinner one, so that they are one piece
of metal when they are printed or cast."""

PLANE_UP: Vector = (0.0, 0.0, 1.0)
QUARTER_UP: Vector = (0.0, -1.0, 0.0)
"""Up for a loop in the plane of x and y, and for one a quarter turn about x from it."""

Place = tuple[int, float]
"""The number of a curve on a path, and the parameter along it."""


@dataclass(frozen=True, slots=True)
class Misfit:
    """Sizes of a finding that do not go together.

    Attributes:
        key: The size to change.
        got: What it is.
        expected: What would do.
        advice: What to try; empty when there is nothing to add.
    """

    key: str
    got: str
    expected: str
    advice: str = ""


# Places on paths


def nearest_on(path: Sequence[Curve], point: Vector) -> tuple[Place, float]:
    """The place on a path nearest to a point, and how far it is [mm]."""
    return min(
        (((k, t), dist(curve.point(t), point)) for k, curve in enumerate(path) for t in _feet(curve, point)),
        key=lambda found: found[1],
    )


def _feet(curve: Curve, point: Vector) -> tuple[float, ...]:
    """The parameters at which a curve may be nearest to a point."""
    if isinstance(curve, Straight):
        along = sum(d * (p - b) for d, p, b in zip(curve.direction, point, curve.begin, strict=True))
        return (min(max(along, 0.0), curve.length),)
    away = [p - c for p, c in zip(point, curve.centre, strict=True)]
    a = sum(s * d for s, d in zip(curve.start, away, strict=True))
    b = sum(s * d for s, d in zip(curve.ahead, away, strict=True))
    t = atan2(b, a) % tau
    return (t,) if t <= curve.angle else (0.0, curve.angle)


def stretch(path: Sequence[Curve], begin: Place, end: Place) -> tuple[Curve, ...]:
    """The part of a path from one place to a later one; pieces of no length are left out."""
    (first, t0), (last, t1) = begin, end
    curves: list[Curve] = []
    for k in range(first, last + 1):
        low = t0 if k == first else 0.0
        high = t1 if k == last else path[k].span
        if high - low > 1e-12:
            curves.append(_piece(path[k], low, high))
    return tuple(curves)


def _piece(curve: Curve, low: float, high: float) -> Curve:
    if isinstance(curve, Straight):
        return Straight(curve.point(low), curve.direction, high - low)
    x, y, z = (s - c for s, c in zip(curve.point(low), curve.centre, strict=True))
    start = (x / curve.radius, y / curve.radius, z / curve.radius)
    return Arc(curve.centre, start, curve.tangent(low), curve.radius, high - low)


def path_end(path: Sequence[Curve]) -> Vector:
    """The last point of a path [mm]."""
    return path[-1].point(path[-1].span)


def reversed_path(path: Sequence[Curve]) -> tuple[Curve, ...]:
    """The same path run the other way."""
    return tuple(reversed_curve(curve) for curve in reversed(path))


def path_length(path: Sequence[Curve]) -> float:
    """Length of a path [mm]."""
    return sum(curve.length for curve in path)


def narrowest(one: Sequence[Curve], other: Sequence[Curve]) -> float:
    """Least distance of two paths [mm], to about 1e-9 mm."""

    def away(curve: Curve) -> Callable[[float], float]:
        return lambda t: nearest_on(other, curve.point(t))[1]

    best = float("inf")
    for curve in one:
        steps = 64
        values = [away(curve)(curve.span * k / steps) for k in range(steps + 1)]
        k = min(range(steps + 1), key=values.__getitem__)
        low, high = curve.span * max(k - 1, 0) / steps, curve.span * min(k + 1, steps) / steps
        best = min(best, values[k], _least(away(curve), low, high))
    return best


def _least(f: Callable[[float], float], low: float, high: float) -> float:
    """The least value of a function with one valley between two arguments."""
    for _ in range(80):
        one, two = low + (high - low) * 0.382, low + (high - low) * 0.618
        if f(one) < f(two):
            high = two
        else:
            low = one
    return f(0.5 * (low + high))


def crossing(f: Callable[[float], float], low: float, high: float) -> float:
    """Where a function, positive at `low` and not at `high`, changes its sign; on the positive side."""
    for _ in range(200):
        middle = 0.5 * (low + high)
        if middle in (low, high):
            break
        if f(middle) > 0.0:
            low = middle
        else:
            high = middle
    return low


# Eyes


def eye_between(
    name: str,
    path: Sequence[Curve],
    begin: Place,
    end: Place,
    *,
    wire: float,
    inside: float,
    closure: Closure,
    opening: float = 0.0,
    gate: float | None = None,
) -> Eye:
    """An eye round which a wire goes from one place to another, closed by a straight between the two."""
    curves = stretch(path, begin, end)
    first, last = curves[0].point(0.0), path_end(curves)
    closing: tuple[int, ...] = ()
    if dist(first, last) > 1e-9:
        closing = (len(curves),)
        curves = (*curves, segment(last, first))
    return Eye(name, curves, closing, 0.5 * wire, inside, closure, opening, gate)


def ring_eye(
    name: str,
    centre: Vector,
    *,
    inside: float,
    wire: float,
    closure: Closure = Closure.SOLDERED,
    normal: Vector = PLANE_UP,
) -> tuple[Strand, Eye]:
    """A round ring as a part of a finding, and its eye."""
    loop = (circle(centre, normal, 0.5 * (inside + wire)),)
    return Strand(loop, 0.5 * wire), Eye(name, loop, (), 0.5 * wire, inside, closure)


# Loops turned on a stem


@dataclass(frozen=True, slots=True)
class TurnedLoop:
    """A loop bent of the end of a stem, centred on it.

    Attributes:
        path: The small bend back and the loop, in order away from the stem.
        neck: How far the middle of the loop lies beyond the end of the stem [mm].
        end: Where the loop ends: its place on `path`.
    """

    path: tuple[Curve, ...]
    neck: float
    end: Place


def neck_length(inside: float, wire: float) -> float:
    """How far the middle of a turned loop lies beyond the end of its stem [mm]."""
    radius = 0.5 * (inside + wire)
    # The small bend and the loop touch one another from outside.
    return sqrt(radius * radius + 2.0 * radius * NECK * wire)


def turned_loop(
    stem: Straight, *, inside: float, wire: float, up: Vector = PLANE_UP, gap: float = 0.0
) -> TurnedLoop:
    """A loop turned at the end of a stem: it is centred on the stem and its end meets the stem again.

    Args:
        stem: The stem, towards the loop.
        inside: Inside diameter of the loop [mm].
        wire: Wire diameter [mm].
        up: Unit vector square to the loop's plane.
        gap: Width between the loop's end and its neck [mm].
    """
    radius, bend = 0.5 * (inside + wire), NECK * wire
    neck = neck_length(inside, wire)
    back = degrees(0.5 * pi - atan2(bend, neck))

    def bent(angle: float) -> tuple[Curve, ...]:
        steps = [
            Bend(radius=bend, angle=back, direction=180.0),
            Bend(radius=radius, angle=angle, direction=0.0),
        ]
        return bent_wire(steps, begin=path_end((stem,)), heading=stem.direction, up=up)

    before = (stem, bent(1.0)[0])
    around = crossing(lambda angle: nearest_on(before, path_end(bent(angle)))[1] - (wire + gap), 180.0, 360.0)
    path = bent(around)
    return TurnedLoop(path, neck, (1, path[1].span))


def loop_eye(
    name: str, stem: Straight, loop: TurnedLoop, *, inside: float, wire: float, closure: Closure
) -> Eye:
    """The eye of a turned loop: along its wire, and from its end to where that meets the neck."""
    path = (stem, *loop.path)
    neck, away = nearest_on(path[:2], path_end(path))
    return eye_between(
        name, path, neck, (2, path[2].span), wire=wire, inside=inside, closure=closure,
        opening=max(away - wire, 0.0) if away - wire > 1e-9 else 0.0,
    )  # fmt: skip


def coils(end: Vector, direction: Vector, *, wire: float, wraps: int) -> tuple[Strand, ...]:
    """Turns of wire round a stem, side by side, each drawn as a whole circle.

    Args:
        end: Where the stem ends and the coil begins [mm].
        direction: Unit vector along the stem, from the coil away from the loop.
        wire: Wire diameter, that of the stem as well [mm].
        wraps: How many turns.
    """
    strands = []
    for k in range(wraps):
        x, y, z = (e + k * wire * d for e, d in zip(end, direction, strict=True))
        strands.append(Strand((circle((x, y, z), direction, wire),), 0.5 * wire))
    return tuple(strands)


def coil_length(wire: float, wraps: int) -> float:
    """Wire wound into a coil on a stem of the same wire [mm].

    A helix whose radius and whose pitch are the wire's diameter, and as much again to come to it from the
    loop.
    """
    return (wraps * hypot(tau, 1.0) + 1.0) * wire if wraps else 0.0


def coil_filling(wire: float, wraps: int) -> float:
    """Metal of a coil that its circles do not stand for [mm3]."""
    return 0.25 * pi * wire * wire * (coil_length(wire, wraps) - wraps * tau * wire)


def wired(strands: Sequence[Strand], eyes: Sequence[Eye]) -> Shape:
    """The shape of some strands and eyes, with its origin in its middle."""
    return Shape(tuple(strands), tuple(eyes)).centred()
