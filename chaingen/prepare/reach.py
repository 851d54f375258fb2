"""Straight ways from a wire to a rod that keep clear of all other wires: the search for one shell's feeders.

Conventions: the search has a frame of its own: rods run along u, side by side along v, and stand off along w,
all at one height w that is beyond everything; a feeder leads from a point of a centreline, its *foot*, up
along w to the axis of a rod. Curves are rows as in `shapes`.

A feeder is tried by steps along it: the distance to a wire changes no faster than one moves, so that a step
as long as the clearance there stays clear. What passes is proven to keep the gap but for a slack, and what
keeps the gap but for half the slack passes. Without a slack wires that lie at just that gap from one another
could not be fed, for a feeder of their thickness comes as near where it leaves its wire.
"""

from dataclasses import dataclass
from math import sqrt

import numba
import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.centrelines import FULL_TURN
from chaingen.geometry.distance import rows_gap
from chaingen.geometry.primitives import nearest_on_primitive, placed, primitive_sphere
from chaingen.geometry.shapes import (
    CAP_END,
    CAP_START,
    COLUMNS,
    FIRST,
    ORIGIN,
    RADIUS,
    REAL,
    SECOND,
    SPAN,
    WIRE,
)
from chaingen.geometry.types import Floats, Ints
from chaingen.geometry.wire_distance import MOST_NEAREST

FEET = 48
"""Feet tried on each body."""

LEANS = np.array([0.0, 0.2, -0.2, 0.45, -0.45, 0.75, -0.75, 1.1, -1.1])
"""How far feeders are tried leaning along the rods, as a part of their rise, the least first."""

RODS = 3
"""The nearest rods tried from each foot."""

CONE = 0.6427876096865394
"""Cosine of 50 degrees: no feeder leans more from the shortest way to the rods; metal flows on straight."""

WIDEST_LEAN = 1.2
"""Tangent of that angle, rounded up."""

AWAY = 1.5
"""After so many times the distance that it keeps from wires a feeder must be clear of its own shell: it then
leaves its wire at 42 degrees or more."""

PER_FOOT = 2
"""Ways kept from each foot."""

SLANT = 0.5
"""Length that a feeder counts for more, as a part of it, where it leaves its wire or meets its rod aslant."""

START, END, COST, LENGTH, FOOT = slice(0, 3), slice(3, 6), 6, 7, 8
"""Columns of a way: its end at the rod [mm], its foot [mm], what it counts for, its length [mm], and which of
the feet that is."""

WAY_COLUMNS = 9
"""Columns of a way."""


@dataclass(frozen=True, eq=False)
class Curves:
    """The curves of bodies in the world, one row each, body by body.

    Attributes:
        rows: The curves; columns as in `shapes`, shape (k, COLUMNS).
        body: The body of each, shape (k,).
        begins: First row of each body, and after all the number of rows, shape (n + 1,).
    """

    rows: Floats
    body: Ints
    begins: Ints

    @classmethod
    def of(cls, bodies: Bodies) -> "Curves":
        """The curves of some bodies."""
        own = bodies.primitives()
        counts = own.ends - own.begins
        begins = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        rows = np.empty((int(begins[-1]), COLUMNS))
        _place_all(own.table, own.begins, begins, bodies.centres, bodies.frames(), rows)
        return cls(rows, np.repeat(np.arange(len(bodies)), counts), begins)

    def slice_of(self, body: int) -> slice:
        """The rows of a body."""
        return slice(int(self.begins[body]), int(self.begins[body + 1]))


@numba.njit(cache=True)
def _place_all(
    table: Floats, first: Ints, begins: Ints, centres: Floats, frames: Floats, out: Floats
) -> None:
    for body in range(len(centres)):
        for k in range(begins[body], begins[body + 1]):
            placed(table[first[body] + k - begins[body]], centres[body], frames[body], out[k])


def turned_rows(rows: Floats, frame: Floats) -> Floats:
    """Curves as they are in a frame with axes as rows, shape (3, 3)."""
    out = rows.copy()
    for columns in (ORIGIN, FIRST, SECOND):
        out[:, columns] = rows[:, columns] @ frame.T
    return out


def straight_row(begin: Floats, end: Floats, radius: float) -> Floats:
    """A straight wire with round ends, shape (COLUMNS,); columns as in `shapes`."""
    row = np.zeros(COLUMNS)
    length = float(np.linalg.norm(end - begin))
    row[ORIGIN] = begin
    row[FIRST] = (end - begin) / length if length > 0.0 else (1.0, 0.0, 0.0)
    row[SPAN], row[WIRE] = length, radius
    row[CAP_START] = row[CAP_END] = row[REAL] = 1.0
    return row


def gap_of_curves(one: Floats, two: Floats) -> float:
    """Smallest gap between the wires of two sets of curves, shape (k, COLUMNS) each [mm]; exact."""
    return float(rows_gap(one, two, np.empty((MOST_NEAREST, 2, 3)), np.empty((2, 3))))


def wire_at(curves: Curves, body: int, point: Floats) -> float:
    """Wire radius of a body where its centreline comes nearest to a point, shape (3,) [mm]."""
    rows = curves.rows[curves.slice_of(body)]
    apart = [distance_to(point[0], point[1], point[2], row) for row in rows]
    return float(rows[int(np.argmin(apart)), WIRE])


@numba.njit(cache=True)
def distance_to(x: float, y: float, z: float, a: Floats) -> float:
    """Distance of a point from a curve's centreline [mm]; exact."""
    if a[RADIUS] > 0.0 and a[SPAN] >= FULL_TURN:
        wx = x - a[0]
        wy = y - a[1]
        wz = z - a[2]
        p = wx * a[3] + wy * a[4] + wz * a[5]
        q = wx * a[6] + wy * a[7] + wz * a[8]
        flat = p * p + q * q
        height = max(wx * wx + wy * wy + wz * wz - flat, 0.0)
        return float(sqrt((sqrt(flat) - a[RADIUS]) ** 2 + height))
    px, py, pz = nearest_on_primitive(x, y, z, a)
    return float(sqrt((x - px) ** 2 + (y - py) ** 2 + (z - pz) ** 2))


@numba.njit(cache=True)
def spheres(rows: Floats) -> Floats:
    """Centre and radius of a sphere round each curve's wire [mm], shape (k, 4)."""
    out = np.empty((len(rows), 4))
    for k in range(len(rows)):
        x, y, z, r = primitive_sphere(rows[k])
        out[k, 0] = x
        out[k, 1] = y
        out[k, 2] = z
        out[k, 3] = r + rows[k, WIRE]
    return out


@numba.njit(cache=True)
def way_is_clear(
    foot: Floats, along: Floats, begin: float, end: float, apart: float, slack: float, rows: Floats,
    which: Ints, count: int,
) -> bool:  # fmt: skip
    """Whether all points of a straight stretch are proven to be far enough from wires.

    Args:
        foot: Where the way begins [mm], shape (3,).
        along: Unit vector along it, shape (3,).
        begin: Where the stretch begins, from the foot [mm].
        end: Where it ends [mm].
        apart: Distance to keep from the surfaces of wires [mm].
        slack: What of it may be missing [mm].
        rows: The curves, shape (k, COLUMNS).
        which: Indices of those that count.
        count: How many of these there are.
    """
    s = begin
    while True:
        x = foot[0] + s * along[0]
        y = foot[1] + s * along[1]
        z = foot[2] + s * along[2]
        clear = np.inf
        for m in range(count):
            a = rows[which[m]]
            room = distance_to(x, y, z, a) - a[WIRE] - apart + slack
            if room < 0.5 * slack:
                return False
            clear = min(clear, room)
        if s >= end:
            return True
        s = min(s + clear, end)


@numba.njit(cache=True)
def _beside(foot: Floats, along: Floats, length: float, apart: float, balls: Floats, which: Ints) -> int:
    """Write which spheres come nearer to a straight way than `apart` [mm]; returns how many they are."""
    count = 0
    for k in range(len(balls)):
        wx = balls[k, 0] - foot[0]
        wy = balls[k, 1] - foot[1]
        wz = balls[k, 2] - foot[2]
        t = min(max(wx * along[0] + wy * along[1] + wz * along[2], 0.0), length)
        reach = balls[k, 3] + apart
        dx = wx - t * along[0]
        dy = wy - t * along[1]
        dz = wz - t * along[2]
        if dx * dx + dy * dy + dz * dz < reach * reach:
            which[count] = k
            count += 1
    return count


@numba.njit(cache=True)
def find_ways(
    feet: Floats, tangents: Floats, own: Floats, others: Floats, rods: Floats, height: float, low: float,
    high: float, radius: float, gap: float, slack: float, ways: Floats,
) -> int:  # fmt: skip
    """Every feeder of one shell that is clear, of those tried; see the module.

    Args:
        feet: Points of its centrelines [mm], shape (f, 3).
        tangents: Unit vectors along the wire there, shape (f, 3).
        own: Its own curves, shape (k, COLUMNS).
        others: Curves of other shells that may be near, shape (m, COLUMNS).
        rods: Where the rods are along v, shape (r,) [mm].
        height: Where they are along w [mm].
        low: Where they begin along u [mm].
        high: Where they end [mm].
        radius: Radius of the feeder [mm].
        gap: Gap to keep from the wires of others, and from its own beyond its foot [mm].
        slack: What of the gap may be missing [mm].
        ways: Receives the feeders, shape (f * PER_FOOT, WAY_COLUMNS).

    Returns:
        How many there are.
    """
    apart = radius + gap
    balls, own_balls = spheres(others), spheres(own)
    which = np.empty(max(len(others), len(own)), dtype=np.int64)
    thickest = 0.0
    for k in range(len(own)):
        thickest = max(thickest, own[k, WIRE])
    away = AWAY * (apart + thickest)
    order = np.empty(len(rods), dtype=np.int64)
    along = np.empty(3)
    count = 0
    for f in range(len(feet)):
        foot = feet[f]
        rise = height - foot[2]
        order[:] = np.argsort(np.abs(rods - foot[1]))
        kept = 0
        first = count
        for r in range(min(len(rods), RODS)):
            for lean in LEANS:
                u = foot[0] + lean * rise
                if u < low or u > high:
                    continue
                along[0] = u - foot[0]
                along[1] = rods[order[r]] - foot[1]
                along[2] = rise
                length = sqrt(along[0] ** 2 + along[1] ** 2 + along[2] ** 2)
                along /= length
                if along[2] < CONE:
                    continue
                slope = tangents[f, 0] * along[0] + tangents[f, 1] * along[1] + tangents[f, 2] * along[2]
                cost = length * (1.0 + SLANT * (abs(slope) + abs(along[0])))
                # The costs of ways kept from this foot are in order: a dearer one need not be tried.
                if kept == PER_FOOT and cost >= ways[count - 1, COST]:
                    continue
                near = _beside(foot, along, length, apart, own_balls, which)
                if not way_is_clear(foot, along, min(away, length), length, apart, slack, own, which, near):
                    continue
                near = _beside(foot, along, length, apart, balls, which)
                if not way_is_clear(foot, along, 0.0, length, apart, slack, others, which, near):
                    continue
                if kept < PER_FOOT:
                    kept += 1
                    count += 1
                place = count - 1
                while place > first and ways[place - 1, COST] > cost:
                    ways[place] = ways[place - 1]
                    place -= 1
                ways[place, 0] = u
                ways[place, 1] = rods[order[r]]
                ways[place, 2] = height
                ways[place, 3:6] = foot
                ways[place, COST] = cost
                ways[place, LENGTH] = length
                ways[place, FOOT] = f
    return count


@dataclass(frozen=True, eq=False)
class Feet:
    """Points along the thickest wire of a shell.

    Attributes:
        points: The points [mm], shape (f, 3).
        tangents: Unit vectors along the wire there, shape (f, 3).
        outward: Unit vectors from the middle of the bend there, 0 of straights, shape (f, 3).
        bends: Radius of the bend there [mm], 0 of straights, shape (f,).
        bodies: The bodies that they are on, shape (f,).
        wire: Radius of the wire [mm].
    """

    points: Floats
    tangents: Floats
    outward: Floats
    bends: Floats
    bodies: Ints
    wire: float


def feet_of(rows: Floats, bodies: Ints) -> Feet:
    """Points along the thickest wire of a shell, `FEET` on a body.

    Args:
        rows: Its curves, shape (k, COLUMNS).
        bodies: The body of each, shape (k,).
    """
    thickest = float(rows[:, WIRE].max())
    some = np.flatnonzero(rows[:, WIRE] > thickest - 1e-9)
    lengths = rows[some, SPAN] * np.where(rows[some, RADIUS] > 0.0, rows[some, RADIUS], 1.0)
    step = float(lengths.sum()) / (FEET * len(np.unique(bodies[some])))
    counts = np.maximum(1, np.round(lengths / step)).astype(np.int64) if step > 0.0 else np.ones_like(some)
    of = np.repeat(some, counts)
    part = np.concatenate([(np.arange(count) + 0.5) / count for count in counts.tolist()])
    own = rows[of]
    t = part * own[:, SPAN]
    bent = own[:, RADIUS] > 0.0
    cos, sin = np.cos(t)[:, None], np.sin(t)[:, None]
    outward = np.where(bent[:, None], cos * own[:, FIRST] + sin * own[:, SECOND], 0.0)
    tangents = np.where(bent[:, None], cos * own[:, SECOND] - sin * own[:, FIRST], own[:, FIRST])
    reach = np.where(bent[:, None], own[:, RADIUS, None] * outward, t[:, None] * own[:, FIRST])
    return Feet(own[:, ORIGIN] + reach, tangents, outward, own[:, RADIUS], bodies[of], thickest)
