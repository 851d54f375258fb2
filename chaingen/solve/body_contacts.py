"""Near contacts of pairs with a body that is no round ring; see `contacts`, whose rows these are.

A pair is right when just those of their eyes are linked that should be. What closes an open eye is no wire,
but while a search moves bodies about, a wire that is linked with the eye keeps clear of it as well: it would
slip out there.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, pi, sqrt

import numba
import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.eye_linking import Loops, loop_linking, loops_of
from chaingen.geometry.shapes import COLUMNS, OPEN_AS_WORN, RADIUS, REAL, SPAN, WIRE
from chaingen.geometry.types import Floats, Ints
from chaingen.geometry.wire_distance import (
    MOST_NEAREST,
    nearest_on_primitive,
    placed,
    primitive_minima,
    primitive_point,
)

ARC_SAMPLES = 8
"""Even samples of a whole turn that enter the linear program besides the local minima."""

STRAIGHT_SAMPLES = 3
"""The same of a straight."""


CLOSINGS = 32
"""Room for curves that close the eyes of a body."""


@dataclass(frozen=True, eq=False)
class Tables:
    """What the kernels need to know of all bodies; the same wherever they are.

    Attributes:
        primitives: Curves of wire in the bodies' frames, shape (k, COLUMNS).
        begins: First of each body, shape (n,).
        ends: After the last of each, shape (n,).
        loops: The closed lines round their eyes.
        open_eyes: Which eyes are open as they are worn, shape (n, most eyes).
        most: Most curves that a body or a loop has.
    """

    primitives: Floats
    begins: Ints
    ends: Ints
    loops: Loops
    open_eyes: npt.NDArray[np.bool_]
    most: int


def tables_of(bodies: Bodies) -> Tables:
    """The tables of some bodies."""
    primitives, loops = bodies.primitives(), loops_of(bodies)
    open_eyes = np.zeros(loops.begins.shape, dtype=bool)
    for k in np.flatnonzero(~bodies.is_ring):
        shape = bodies.shape(int(k))
        assert shape is not None
        for number, eye in enumerate(shape.eyes):
            open_eyes[k, number] = eye.closure in OPEN_AS_WORN
    # Room for all curves of a body and for what closes its eyes, each as often as it is linked.
    most = int((primitives.ends - primitives.begins).max(initial=1)) + CLOSINGS
    most = max(most, int((loops.ends - loops.begins).max(initial=1)))
    return Tables(primitives.table, primitives.begins, primitives.ends, loops, open_eyes, most)


def wanted_eyes(keys: Ints, links: Mapping[int, tuple[tuple[int, int], ...]]) -> tuple[Ints, Ints]:
    """The eyes of each pair that should be linked.

    Args:
        keys: Keys of the pairs, shape (m,).
        links: Eyes that should be linked by the key of the pair.

    Returns:
        The eyes, shape (k, 2), and where those of each pair begin and end, shape (m, 2).
    """
    eyes: list[tuple[int, int]] = []
    place = np.empty((len(keys), 2), dtype=np.int64)
    for k, key in enumerate(keys.tolist()):
        place[k, 0] = len(eyes)
        eyes += links.get(key, ())
        place[k, 1] = len(eyes)
    return np.array(eyes, dtype=np.int64).reshape(-1, 2), place


@numba.njit(cache=True)
def _far(a: Floats, b: Floats) -> float:
    """A distance that two placed curves are at least apart, less their wires [mm]; may be negative."""
    total = 0.0
    for k in range(3):
        x = a[k] + (0.5 * a[SPAN] * a[3 + k] if a[RADIUS] == 0.0 else 0.0)
        y = b[k] + (0.5 * b[SPAN] * b[3 + k] if b[RADIUS] == 0.0 else 0.0)
        total += (x - y) * (x - y)
    size_a = a[RADIUS] if a[RADIUS] > 0.0 else 0.5 * a[SPAN]
    size_b = b[RADIUS] if b[RADIUS] > 0.0 else 0.5 * b[SPAN]
    return float(sqrt(total) - size_a - size_b - a[WIRE] - b[WIRE])


@numba.njit(cache=True)
def write_row(
    px: float, py: float, pz: float, qx: float, qy: float, qz: float,
    ca: Floats, cb: Floats, distance: Floats, direction: Floats, arms: Floats, m: int,
) -> None:  # fmt: skip
    """Write the geometry of one contact into row m."""
    dx = px - qx
    dy = py - qy
    dz = pz - qz
    d = sqrt(dx * dx + dy * dy + dz * dz)
    distance[m] = d
    if d < 1e-12:
        # Centrelines that meet have no direction of their own; apart is then away from the other's centre.
        dx = ca[0] - cb[0]
        dy = ca[1] - cb[1]
        dz = ca[2] - cb[2]
        d = sqrt(dx * dx + dy * dy + dz * dz)
        if d < 1e-12:
            dx, dy, dz, d = 0.0, 0.0, 1.0, 1.0
    direction[m, 0] = dx / d
    direction[m, 1] = dy / d
    direction[m, 2] = dz / d
    arms[m, 0, 0] = px - ca[0]
    arms[m, 0, 1] = py - ca[1]
    arms[m, 0, 2] = pz - ca[2]
    arms[m, 1, 0] = qx - cb[0]
    arms[m, 1, 1] = qy - cb[1]
    arms[m, 1, 2] = qz - cb[2]


@numba.njit(cache=True)
def _samples(row: Floats) -> int:
    """How many samples a curve has."""
    if row[RADIUS] > 0.0:
        return int(max(2.0, ceil(ARC_SAMPLES * row[SPAN] / (2.0 * pi))))
    if row[SPAN] > 0.0:
        return STRAIGHT_SAMPLES
    return 1


@numba.njit(cache=True)
def _between(
    a: Floats, b: Floats, ca: Floats, cb: Floats, reach: float, found: Floats, distance: Floats,
    direction: Floats, arms: Floats, both: Floats, minimum: npt.NDArray[np.bool_], m: int,
) -> int:  # fmt: skip
    """Rows of two placed curves nearer than `reach`; returns how many rows there are then."""
    wires = a[WIRE] + b[WIRE]
    count = primitive_minima(a, b, found)
    for c in range(count):
        write_row(
            found[c, 0, 0], found[c, 0, 1], found[c, 0, 2], found[c, 1, 0], found[c, 1, 1], found[c, 1, 2],
            ca, cb, distance, direction, arms, m,
        )  # fmt: skip
        if distance[m] - wires < reach:
            both[m] = wires
            minimum[m] = True
            m += 1
    for side in range(2):
        one = a if side == 0 else b
        two = b if side == 0 else a
        number = _samples(one)
        for k in range(number):
            t = one[SPAN] * (k + 0.5) / number
            x, y, z = primitive_point(one, t)
            u, v, w = nearest_on_primitive(x, y, z, two)
            if side == 0:
                write_row(x, y, z, u, v, w, ca, cb, distance, direction, arms, m)
            else:
                write_row(u, v, w, x, y, z, ca, cb, distance, direction, arms, m)
            if distance[m] - wires < reach:
                both[m] = wires
                minimum[m] = False
                m += 1
    return m


@numba.njit(cache=True)
def _widest(rows: Floats, begin: int, end: int) -> float:
    """Radius of the wire round a loop [mm]."""
    wire = 0.0
    for k in range(begin, end):
        wire = max(wire, rows[k, WIRE])
    return wire


@numba.njit(cache=True)
def collect_bodies(
    centres: Floats, frames: Floats, table: Floats, begins: Ints, ends: Ints, loops: Floats,
    loop_begins: Ints, loop_ends: Ints, counts: Ints, planar: npt.NDArray[np.bool_],
    turns: Ints, open_eyes: npt.NDArray[np.bool_], most: int, pairs: Ints, eyes: Ints, place: Ints,
    rotations: Floats, translations: Floats, reach: float, index: Ints, sign: Floats, distance: Floats,
    direction: Floats, arms: Floats, both: Floats, minimum: npt.NDArray[np.bool_], m: int,
) -> int:  # fmt: skip
    """Fill rows from row `m` on; returns how many there are then, or -1 when there is no room.

    Args:
        centres: Origins of the bodies [mm], shape (n, 3).
        frames: Their axes as rows, shape (n, 3, 3).
        table: See `Tables.primitives`.
        begins: See `Tables`.
        ends: See `Tables`.
        loops: Table of the loops.
        loop_begins: First row of each eye's loop, shape (n, most eyes).
        loop_ends: After its last.
        counts: How many eyes each body has, shape (n,).
        planar: Whether a loop is flat, shape (n, most eyes).
        turns: How often a loop goes round what is linked with it, shape (n, most eyes).
        open_eyes: See `Tables`.
        most: See `Tables`.
        pairs: Body, body and image of each pair, shape (k, 3).
        eyes: Eyes that should be linked, shape (l, 2).
        place: Where those of each pair begin and end, shape (k, 2).
        rotations: Of the images, shape (i, 3, 3).
        translations: Of the images [mm], shape (i, 3).
        reach: Gaps beyond which places are no contacts [mm].
        index: Receives body, body and image, shape (room, 3).
        sign: Receives +1 or -1; see `Rows`.
        distance: See `Rows`.
        direction: See `Rows`.
        arms: See `Rows`.
        both: See `Rows`.
        minimum: See `Rows`.
        m: The first row to fill.
    """
    room = len(sign)
    found = np.empty((MOST_NEAREST, 2, 3))
    rows_a = np.empty((most, COLUMNS))
    rows_b = np.empty((most, COLUMNS))
    cb = np.empty(3)
    fb = np.empty((3, 3))
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        image = pairs[k, 2]
        ca = centres[i]
        fa = frames[i]
        for p in range(3):
            cb[p] = translations[image, p]
            for q in range(3):
                cb[p] += rotations[image, p, q] * centres[j, q]
                fb[q, p] = 0.0
        for axis in range(3):
            for p in range(3):
                for q in range(3):
                    fb[axis, p] += rotations[image, p, q] * frames[j, axis, q]
        begin = m
        worst = np.inf
        for one in range(counts[i]):
            for two in range(counts[j]):
                a0, a1 = loop_begins[i, one], loop_ends[i, one]
                b0, b1 = loop_begins[j, two], loop_ends[j, two]
                number = loop_linking(loops, a0, a1, ca, fa, planar[i, one], b0, b1, cb, fb, planar[j, two])
                should = False
                for w in range(place[k, 0], place[k, 1]):
                    should = should or (eyes[w, 0] == one and eyes[w, 1] == two)
                times = turns[i, one] * turns[j, two]
                if should == (abs(number) == times):
                    continue
                if not should and (number == 0 or open_eyes[i, one] or open_eyes[j, two]):
                    continue
                # Wrongly linked: the nearest places of their loops are where they pass through each other.
                wires = _widest(loops, a0, a1) + _widest(loops, b0, b1)
                for r in range(a0, a1):
                    placed(loops[r], ca, fa, rows_a[r - a0])
                for r in range(b0, b1):
                    placed(loops[r], cb, fb, rows_b[r - b0])
                for r in range(a1 - a0):
                    for s in range(b1 - b0):
                        near = primitive_minima(rows_a[r], rows_b[s], found)
                        for c in range(near):
                            if begin + 1 >= room:
                                return -1
                            write_row(
                                found[c, 0, 0], found[c, 0, 1], found[c, 0, 2],
                                found[c, 1, 0], found[c, 1, 1], found[c, 1, 2],
                                ca, cb, distance, direction, arms, begin + 1,
                            )  # fmt: skip
                            if distance[begin + 1] < worst:
                                worst = distance[begin + 1]
                                distance[begin] = worst
                                for axis in range(3):
                                    direction[begin, axis] = direction[begin + 1, axis]
                                    arms[begin, 0, axis] = arms[begin + 1, 0, axis]
                                    arms[begin, 1, axis] = arms[begin + 1, 1, axis]
                                both[begin] = wires
        if worst < np.inf:
            index[begin, 0] = i
            index[begin, 1] = j
            index[begin, 2] = image
            sign[begin] = -1.0
            minimum[begin] = True
            m = begin + 1
            continue
        # The wires of either, and what closes its linked eyes, which keeps clear of the other's wires only.
        count_a = ends[i] - begins[i]
        count_b = ends[j] - begins[j]
        for r in range(count_a):
            placed(table[begins[i] + r], ca, fa, rows_a[r])
        for r in range(count_b):
            placed(table[begins[j] + r], cb, fb, rows_b[r])
        for w in range(place[k, 0], place[k, 1]):
            for r in range(loop_begins[i, eyes[w, 0]], loop_ends[i, eyes[w, 0]]):
                if loops[r, REAL] == 0.0 and count_a < len(rows_a):
                    placed(loops[r], ca, fa, rows_a[count_a])
                    count_a += 1
            for r in range(loop_begins[j, eyes[w, 1]], loop_ends[j, eyes[w, 1]]):
                if loops[r, REAL] == 0.0 and count_b < len(rows_b):
                    placed(loops[r], cb, fb, rows_b[count_b])
                    count_b += 1
        for r in range(count_a):
            for s in range(count_b):
                closes = rows_a[r, REAL] == 0.0 or rows_b[s, REAL] == 0.0
                if rows_a[r, REAL] + rows_b[s, REAL] == 0.0:
                    continue
                if not closes and _far(rows_a[r], rows_b[s]) > reach:
                    continue
                if m + MOST_NEAREST + 2 * ARC_SAMPLES + 2 > room:
                    return -1
                m = _between(
                    rows_a[r], rows_b[s], ca, cb, reach, found, distance, direction, arms, both, minimum, m
                )
        for r in range(begin, m):
            index[r, 0] = i
            index[r, 1] = j
            index[r, 2] = image
            sign[r] = 1.0
    return m
