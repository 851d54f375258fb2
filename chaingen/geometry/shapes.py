"""Shapes of wire bodies: lengths of wire bent of arcs and straights, and the eyes that other wires pass.

A shape has a frame of its own [mm], whose origin is near its middle and whose x runs along the piece that it
is part of. A round ring is the shape with one whole arc about z; it has no need of a `Shape`, for its two
radii say everything.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

import numpy as np

from chaingen.geometry.centrelines import FULL_TURN, Arc, Curve, Straight, moved_curve
from chaingen.geometry.types import Floats

ORIGIN, FIRST, SECOND = slice(0, 3), slice(3, 6), slice(6, 9)
"""Columns of a primitive: an arc's centre, or where a straight begins [mm]; unit vector to where the arc
begins, or along the straight; unit vector in which the arc sets out (0 for a straight)."""

RADIUS, SPAN, WIRE, CAP_START, CAP_END, REAL = 9, 10, 11, 12, 13, 14
"""Columns of a primitive: radius of an arc [mm], 0 for a straight; angle of an arc [rad], length of a
straight [mm]; wire radius [mm]; whether the wire ends at its beginning, at its end (1 or 0); whether it is of
wire (1), or only closes an eye (0)."""

COLUMNS = 15
"""Columns of a primitive."""


MOST_EYES = 64
"""No body has more eyes."""


class Closure(StrEnum):
    """How an eye lets a wire in."""

    SOLDERED = "soldered"
    PLIERS = "opened with pliers"
    HOOK = "hook"
    GATE = "spring gate"
    BAR = "bar"


OPEN_AS_WORN = (Closure.HOOK, Closure.BAR)
"""Eyes that are open as they are worn: a wire that lies in one by chance is not caught there."""


@dataclass(frozen=True, slots=True)
class Strand:
    """A length of wire, or a bead.

    Attributes:
        curves: Its centreline: each begins where the one before it ends and in the same direction. A bead
            that is a ball is one point; one that is a disc is whole circles, each a strand.
        wire_radius: Its wire radius, or the ball's radius [mm].
        part: What it is part of: ``wire``, or the name of a bead.
    """

    curves: tuple[Curve, ...]
    wire_radius: float
    part: str = "wire"

    @property
    def length(self) -> float:
        """Length of its centreline [mm]."""
        return sum(curve.length for curve in self.curves)

    @property
    def closed(self) -> bool:
        """Whether its end is its beginning, without an end of wire."""
        first, last = self.curves[0], self.curves[-1]
        apart = np.subtract(first.point(0.0), last.point(last.span))
        turned = np.subtract(first.tangent(0.0), last.tangent(last.span))
        return bool(self.length > 0.0 and np.abs([apart, turned]).max() < 1e-6 * max(1.0, self.length))


@dataclass(frozen=True, slots=True)
class Eye:
    """A hole that other wires pass, by the closed line round it.

    Attributes:
        name: What it is called.
        loop: The closed line: curves each of which begins where the one before it ends.
        closing: Which of these are not of wire but close the eye, by their place in `loop`.
        wire_radius: Radius of the wire round it [mm].
        inside: Diameter of the largest round wire that fits through it [mm].
        closure: How it lets a wire in.
        opening: Width between the wires where it is open, as it is worn [mm]; 0 when it is shut.
        gate: Width that it can be opened to by hand or spring [mm]; None when any wire that fits through the
            eye can be brought in, for it is opened with pliers.
        turns: How often the closed line goes round what is linked with it: twice, once over either half,
            where a bar is held by both its halves.
    """

    name: str
    loop: tuple[Curve, ...]
    closing: tuple[int, ...]
    wire_radius: float
    inside: float
    closure: Closure
    opening: float = 0.0
    gate: float | None = None
    turns: int = 1


@dataclass(frozen=True, eq=True)
class Shape:
    """A rigid body of wire.

    Attributes:
        strands: Its lengths of wire and its beads.
        eyes: Its eyes.
    """

    strands: tuple[Strand, ...]
    eyes: tuple[Eye, ...]

    @cached_property
    def _hash(self) -> int:
        return hash((self.strands, self.eyes))

    def __hash__(self) -> int:
        """Hashed once: shapes are looked up often."""
        return self._hash

    @cached_property
    def primitives(self) -> Floats:
        """Its curves as rows, real ones only, shape (k, COLUMNS)."""
        return np.array(
            [row for strand in self.strands for row in _strand_rows(strand)], dtype=np.float64
        ).reshape(-1, COLUMNS)

    @cached_property
    def closings(self) -> Floats:
        """The curves that only close its eyes, as rows of no wire, shape (k, COLUMNS)."""
        rows = [_row(eye.loop[k], 0.0, False, False, False) for eye in self.eyes for k in eye.closing]
        return np.array(rows, dtype=np.float64).reshape(-1, COLUMNS)

    @cached_property
    def strand_of(self) -> tuple[int, ...]:
        """The strand of each primitive."""
        return tuple(number for number, strand in enumerate(self.strands) for _ in strand.curves)

    @cached_property
    def radius(self) -> float:
        """Distance of the farthest point of its centrelines and of its eyes' loops from its origin [mm]."""
        curves = [curve for strand in self.strands for curve in strand.curves]
        return max(_distance_of(curve) for curve in curves + [c for eye in self.eyes for c in eye.loop])

    @cached_property
    def wire_radius(self) -> float:
        """Its largest wire radius [mm]."""
        return max(strand.wire_radius for strand in self.strands)

    @cached_property
    def eye_radius(self) -> float:
        """Centreline radius of its smallest eye [mm]; its own radius where it has none."""
        return min((0.5 * eye.inside + eye.wire_radius for eye in self.eyes), default=self.radius)

    @cached_property
    def thinnest(self) -> float:
        """Its smallest wire radius [mm]."""
        return min(strand.wire_radius for strand in self.strands)

    @cached_property
    def samples(self) -> Floats:
        """Points along all its centrelines, ends of curves included [mm], shape (k, 3)."""
        return _sampled([curve for strand in self.strands for curve in strand.curves])

    @cached_property
    def box(self) -> tuple[Floats, Floats]:
        """Lower and upper corner of the box round all its wires in its own frame [mm], shape (3,) each."""
        low = np.array([reach_of(self.primitives, -axis) for axis in np.eye(3)])
        high = np.array([reach_of(self.primitives, axis) for axis in np.eye(3)])
        return -low, high

    def thickened(self, more: float) -> "Shape":
        """The same centrelines with wires whose radius is `more` [mm] larger."""
        return replace(
            self,
            strands=tuple(replace(s, wire_radius=s.wire_radius + more) for s in self.strands),
            eyes=tuple(replace(eye, wire_radius=eye.wire_radius + more) for eye in self.eyes),
        )

    def with_wires(self, factor: float) -> "Shape":
        """The same centrelines with wires of `factor` times their radius."""
        return replace(
            self,
            strands=tuple(replace(s, wire_radius=factor * s.wire_radius) for s in self.strands),
            eyes=tuple(replace(eye, wire_radius=factor * eye.wire_radius) for eye in self.eyes),
        )

    def moved(self, translation: Floats, rotation: Floats | None = None) -> "Shape":
        """The shape turned about its origin, shape (3, 3), and then moved in its frame, shape (3,) [mm]."""
        turn = np.eye(3) if rotation is None else rotation

        def all_of(curves: tuple[Curve, ...]) -> tuple[Curve, ...]:
            return tuple(moved_curve(curve, turn, translation) for curve in curves)

        return Shape(
            tuple(replace(strand, curves=all_of(strand.curves)) for strand in self.strands),
            tuple(replace(eye, loop=all_of(eye.loop)) for eye in self.eyes),
        )

    def centred(self) -> "Shape":
        """The shape with its origin in the middle of the box round it."""
        low, high = self.box
        return self.moved(-0.5 * (low + high))

    def mirrored(self) -> "Shape":
        """Its mirror image in its plane of x and y."""

        def flip(curve: Curve) -> Curve:
            if isinstance(curve, Straight):
                return replace(curve, begin=_flip(curve.begin), direction=_flip(curve.direction))
            return replace(
                curve, centre=_flip(curve.centre), start=_flip(curve.start), ahead=_flip(curve.ahead)
            )

        return Shape(
            tuple(replace(s, curves=tuple(flip(c) for c in s.curves)) for s in self.strands),
            tuple(replace(eye, loop=tuple(flip(c) for c in eye.loop)) for eye in self.eyes),
        )


def ring_shape(radius: float, wire_radius: float) -> Shape:
    """A round ring about z as a shape: one whole arc, which is its eye as well.

    Args:
        radius: Centreline radius [mm].
        wire_radius: Wire radius [mm].
    """
    loop = (Arc((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), radius, 2.0 * np.pi),)
    inside = 2.0 * (radius - wire_radius)
    eye = Eye("ring", loop, (), wire_radius, inside, Closure.PLIERS)
    return Shape((Strand(loop, wire_radius),), (eye,))


def loop_rows(eye: Eye) -> Floats:
    """The closed line round an eye as primitives, those that close it of no wire, shape (k, COLUMNS)."""
    rows = [
        _row(curve, 0.0 if k in eye.closing else eye.wire_radius, False, False, k not in eye.closing)
        for k, curve in enumerate(eye.loop)
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, COLUMNS)


def farthest(primitives: Floats, direction: Floats) -> tuple[float, Floats]:
    """How far the wires of some primitives reach along a unit direction from the origin; exact.

    Args:
        primitives: The curves, shape (k, COLUMNS).
        direction: The direction, shape (3,).

    Returns:
        The reach [mm], and the centreline point that has it [mm], shape (3,).
    """
    best, point = -np.inf, np.zeros(3)
    for row in primitives:
        if row[RADIUS] == 0.0:
            t = row[SPAN] if row[FIRST] @ direction > 0.0 else 0.0
            there = row[ORIGIN] + t * row[FIRST]
        else:
            a, b = float(row[FIRST] @ direction), float(row[SECOND] @ direction)
            top = float(np.arctan2(b, a)) % (2.0 * np.pi)
            angles = [t for t in (top, 0.0, float(row[SPAN])) if t <= row[SPAN]]
            t = max(angles, key=lambda angle: a * np.cos(angle) + b * np.sin(angle))
            there = row[ORIGIN] + row[RADIUS] * (np.cos(t) * row[FIRST] + np.sin(t) * row[SECOND])
        reach = float(there @ direction) + float(row[WIRE])
        if reach > best:
            best, point = reach, there
    return best, point


def reach_of(primitives: Floats, direction: Floats) -> float:
    """How far the wires of some primitives reach along a unit direction from the origin [mm]; exact."""
    return farthest(primitives, direction)[0]


def _row(curve: Curve, wire: float, cap_start: bool, cap_end: bool, real: bool) -> list[float]:
    """One row; see `COLUMNS`."""
    if isinstance(curve, Straight):
        geometry = [*curve.begin, *curve.direction, 0.0, 0.0, 0.0, 0.0, curve.length]
    else:
        geometry = [*curve.centre, *curve.start, *curve.ahead, curve.radius, curve.angle]
    return [*geometry, wire, float(cap_start), float(cap_end), float(real)]


def _strand_rows(strand: Strand) -> list[list[float]]:
    last = len(strand.curves) - 1
    closed = strand.closed or (isinstance(strand.curves[0], Arc) and strand.curves[0].angle >= FULL_TURN)
    return [
        _row(curve, strand.wire_radius, k == 0 and not closed, k == last and not closed, True)
        for k, curve in enumerate(strand.curves)
    ]


def _distance_of(curve: Curve) -> float:
    """How far the farthest point of a curve is from the origin [mm]; exact."""
    ends = [curve.point(0.0), curve.point(curve.span)]
    if isinstance(curve, Arc):
        a, b = np.dot(curve.centre, curve.start), np.dot(curve.centre, curve.ahead)
        top = float(np.arctan2(b, a)) % (2.0 * np.pi)
        if top <= curve.angle:
            ends.append(curve.point(top))
    return max(float(np.hypot(np.hypot(x, y), z)) for x, y, z in ends)


def _sampled(curves: list[Curve]) -> Floats:
    points = [
        curve.point(curve.span * float(part))
        for curve in curves
        for part in (np.linspace(0.0, 1.0, 33) if isinstance(curve, Arc) else (0.0, 1.0))
    ]
    return np.array(points, dtype=np.float64).reshape(-1, 3)


def _flip(v: tuple[float, float, float]) -> tuple[float, float, float]:
    return v[0], v[1], -v[2]
