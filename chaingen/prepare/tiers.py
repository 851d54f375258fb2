"""Where rings of a tree may stand: which directions a tier has, and how far apart tiers are.

Conventions are those of `tree`: the main is the axis z, rings lie in upright half-planes from it. The
distance of two points of two such half-planes grows with the angle between these, whatever their heights, so
of two tiers the rings that are nearest in direction say how far apart they must be; no others need to be
looked at.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import asin, atan2, cos, pi, sin, sqrt, tau

import numpy as np
import numpy.typing as npt

from chaingen.design.service import Axes
from chaingen.geometry.types import Floats
from chaingen.prepare.fed_ring import FedRing, least_shift, placed_rows
from chaingen.prepare.sprues import button_height
from chaingen.solve.check import ROUND_OFF

MOST_ROUND = 360
"""Most directions of a tier."""

UP = np.array([0.0, 0.0, 1.0])


def least_turn(one: Floats, other: Floats) -> float:
    """Least angle between any of some directions and any of others [rad]."""
    sorted_ones = np.sort(one % tau)
    wanted = other % tau
    after = np.searchsorted(sorted_ones, wanted)
    between = np.abs(np.stack([sorted_ones[after % len(one)], sorted_ones[after - 1]]) - wanted)
    return float(np.minimum(between, tau - between).min())


@dataclass(frozen=True, slots=True)
class Base:
    """Where the main stands: room on either side of it along x and y [mm], and the first direction [rad]."""

    left: float
    right: float
    front: float
    back: float
    towards: float


@dataclass(frozen=True, slots=True)
class Tier:
    """Rings of one kind in some directions [rad], whose feeders' axes leave the main's at a height [mm]."""

    kind: int
    directions: Floats
    height: float


@dataclass(eq=False)
class Site:
    """What trees of one metal are built of, and what is known about it."""

    kinds: tuple[FedRing, ...]
    main: float
    button: float
    spacing: float
    room: Axes
    rises: dict[tuple[int, int, float], float] = field(default_factory=dict)
    slots_of: dict[tuple[int, int, Base], tuple[Floats, ...]] = field(default_factory=dict)
    chosen: dict[tuple[int, int, Base, int, int], Floats] = field(default_factory=dict)
    turns: dict[tuple[int, int], float] = field(default_factory=dict)
    highest: dict[int, float] = field(default_factory=dict)
    heights: dict[tuple[int, int], float] = field(default_factory=dict)

    def rise(self, lower: int, upper: int, turn: float) -> float:
        """How much higher than one ring's another's feeder must leave the main for both to have room [mm].

        Args:
            lower: Kind of the one.
            upper: Kind of the other.
            turn: Angle between their directions [rad], at most half way round; the more the less.
        """
        turn = round(turn, 9)
        key = lower, upper, turn
        if key not in self.rises:
            one, other = (self.kinds[kind] for kind in (lower, upper))
            rows = [
                placed_rows(kind.rows(), *poses_of(kind, [angle], 0.0))[0]
                for kind, angle in ((one, 0.0), (other, turn))
            ]
            most = sum(kind.stand + kind.outside + kind.foot for kind in (one, other)) + self.spacing
            self.rises[key] = max(
                least_shift(rows[0], rows[1], UP, most, self.spacing), self._rise_of_feet(one, other, turn)
            )
        return self.rises[key]

    def _rise_of_feet(self, lower: FedRing, upper: FedRing, turn: float) -> float:
        """The same for their fillets not to run into one another on the main.

        A foot is an ellipse, seen square to the main. Unrolled, where x along the main's girth is its radius
        times an angle, it lies in the ellipse that is as much wider as its own end is farther round, for the
        arc sine rises faster than its chord. Ellipses of one shape meet as circles do when stretched.
        """
        radius = 0.5 * self.main
        wide = [kind.feeder_radius + kind.flare for kind in (lower, upper)]
        farther = max(radius * asin(min(1.0, each / radius)) / each for each in wide)
        beside = radius * turn / (farther * sum(wide))
        if beside >= 1.0:
            return 0.0
        rise = (lower.foot + upper.foot) * sqrt(1.0 - beside**2)
        return max(0.0, rise + lower.mouth - upper.mouth)

    def highest_rise(self, upper: int) -> float:
        """How much higher than any other tier's feeder one of a kind need ever leave the main [mm]."""
        if upper not in self.highest:
            self.highest[upper] = max(self.rise(lower, upper, 0.0) for lower in range(len(self.kinds)))
        return self.highest[upper]

    def slots(self, kind: int, count: int, base: Base) -> tuple[Floats, ...]:
        """Of `count` even directions those that keep rings of a kind in the room, and so half a step on."""
        key = kind, count, base
        if key not in self.slots_of:
            even = [base.towards + tau * (np.arange(count) + half) / count for half in (0.0, 0.5)]
            self.slots_of[key] = tuple(own[self._inside(self.kinds[kind], own, base)] for own in even)
        return self.slots_of[key]

    def _inside(self, kind: FedRing, angles: Floats, base: Base) -> npt.NDArray[np.bool_]:
        out = kind.stand * sin(kind.angle)
        x, y = out * np.cos(angles), out * np.sin(angles)
        along = kind.radius * np.abs(np.cos(angles)) + kind.wire_radius - ROUND_OFF
        deep = kind.radius * np.abs(np.sin(angles)) + kind.wire_radius - ROUND_OFF
        inside = (-base.left <= x - along) & (x + along <= base.right)
        return np.asarray(inside & (-base.front <= y - deep) & (y + deep <= base.back))

    def directions(self, kind: int, count: int, base: Base, half: int, rings: int) -> Floats | None:
        """Directions of so many rings, evenly among the slots [rad]; None where there are too few.

        Args:
            kind: Their kind.
            count: How many even directions there are.
            base: Where the main stands.
            half: Whether half a step on: 0 or 1.
            rings: How many rings there are.
        """
        slots = self.slots(kind, count, base)[half]
        if len(slots) < rings:
            return None
        key = kind, count, base, half, rings
        if key not in self.chosen:
            self.chosen[key] = slots[np.arange(rings) * len(slots) // rings]
        return self.chosen[key]

    def turn(self, one: Floats, other: Floats) -> float:
        """Least angle between directions of two tiers [rad], which `directions` gave."""
        # They are kept, and so is what they are known by.
        key = id(one), id(other)
        if key not in self.turns:
            self.turns[key] = least_turn(one, other)
        return self.turns[key]

    def lowest(self, kind: int) -> float:
        """The lowest height at which a feeder may leave the main [mm], for its fillet and its ring's sake."""
        fed, top = self.kinds[kind], button_height(self.button, self.main)
        ring = fed.stand * cos(fed.angle) - fed.outside
        return max(top + 0.5 * self.spacing + fed.foot - fed.mouth, top + self.spacing - ring)

    def end(self, kind: int, height: float) -> float:
        """Middle of the main's round end [mm] above a tier at a height."""
        fed = self.kinds[kind]
        return height + fed.mouth + fed.foot

    def top(self, kind: int, height: float) -> float:
        """How high a tier at a height reaches with the main below it [mm]."""
        fed = self.kinds[kind]
        ring = height + fed.stand * cos(fed.angle) + fed.outside
        return max(ring, self.end(kind, height) + 0.5 * self.main)

    def most_round(self, kind: int) -> int:
        """Most even directions in which rings of a kind have room beside one another."""
        return (
            bisect_left(
                range(2, MOST_ROUND + 1), True, key=lambda count: self.rise(kind, kind, tau / count) > 0.0
            )
            + 1
        )

    def bases(self) -> list[Base]:
        """Places of the main: in the middle, at two sides, in a corner."""
        x, y, _ = self.room
        edge = 0.5 * max(self.button, self.main)
        found = [Base(0.5 * x, 0.5 * x, 0.5 * y, 0.5 * y, angle) for angle in (0.0, 0.5 * pi, atan2(y, x))]
        found.append(Base(edge, x - edge, 0.5 * y, 0.5 * y, 0.0))
        found.append(Base(0.5 * x, 0.5 * x, edge, y - edge, 0.5 * pi))
        found.append(Base(edge, x - edge, edge, y - edge, atan2(y - edge, x - edge)))
        return [
            base for base in found if min(base.right, base.back, base.left, base.front) >= edge - ROUND_OFF
        ]


def poses_of(kind: FedRing, directions: Sequence[float] | Floats, height: float) -> tuple[Floats, Floats]:
    """Rotations from the frames of rings, shape (n, 3, 3), and their middles [mm], shape (n, 3).

    Args:
        kind: The ring on its feeder.
        directions: Directions from the main [rad], shape (n,).
        height: Where the axes of their feeders leave that of the main [mm].
    """
    angles = np.asarray(directions, dtype=np.float64)
    zero = np.zeros_like(angles)
    out = np.column_stack([np.cos(angles), np.sin(angles), zero])
    axes = np.column_stack([-np.sin(angles), np.cos(angles), zero])
    away = sin(kind.angle) * out + cos(kind.angle) * UP
    return np.stack([np.cross(-away, axes), -away, axes], axis=2), height * UP + kind.stand * away
