"""Which eyes of wire bodies are linked, exactly.

An eye is a closed line of arcs and straights, those that close an open hook included; a ring's is one whole
arc. Two eyes are linked where the linking number of their lines is not 0. The number is the signed
count of one line's crossings of any surface that the other bounds, and all surfaces here are flat, so that
each crossing is a root of a line or of a circle and how often a flat line winds round it is a sum of angles
in closed form.

Signs: a crossing along the normal about which the other line runs anticlockwise counts +1, as in
`linking.disc_crossings`; the number is the same with the two lines swapped, and its sign changes in a mirror.
Lines that meet have no linking number: the answer is then one of those to either side.
"""

from dataclasses import dataclass
from math import sqrt

import numba
import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.linking import linked
from chaingen.geometry.shapes import (
    COLUMNS,
    FIRST,
    ORIGIN,
    RADIUS,
    REAL,
    SECOND,
    SPAN,
    WIRE,
    loop_rows,
)
from chaingen.geometry.spanning import plane_of, through, through_pieces
from chaingen.geometry.types import Floats, Ints

FLAT = 1e-9
"""A line lies in a plane when it leaves it by at most this share of its size: far over rounding, and far
under any wire."""

_TRIES = 6
"""How many spanning surfaces are tried at most until two agree. They can only differ where the other line
meets a seam of one to within rounding."""


@dataclass(frozen=True, eq=False)
class Loops:
    """The closed lines of all eyes, each kind of body's once, in the body's own frame.

    Attributes:
        table: One row a curve; columns as in `shapes`, shape (k, COLUMNS).
        begins: First row of each eye, -1 where a body has fewer eyes, shape (n, most eyes).
        ends: Row after its last, or -1, shape (n, most eyes).
        counts: How many eyes each body has, shape (n,).
        planar: Whether an eye's line lies in a plane, shape (n, most eyes).
        turns: How often it goes round what is linked with it, shape (n, most eyes).
    """

    table: Floats
    begins: Ints
    ends: Ints
    counts: Ints
    planar: npt.NDArray[np.bool_]
    turns: Ints


def loops_of(bodies: Bodies) -> Loops:
    """The closed lines of all eyes of some bodies; a ring has one, its whole circle."""
    rings = bodies.is_ring
    sizes, of_size = np.unique(
        np.column_stack([bodies.radii, bodies.wire_radii])[rings], axis=0, return_inverse=True
    )
    circles = np.zeros((len(sizes), COLUMNS))
    circles[:, FIRST] = (1.0, 0.0, 0.0)
    circles[:, SECOND] = (0.0, 1.0, 0.0)
    circles[:, RADIUS], circles[:, WIRE] = sizes.T
    circles[:, SPAN], circles[:, REAL] = 2.0 * np.pi, 1.0

    most = max([1, *(len(shape.eyes) for shape in bodies.shapes)])
    parts, start = [circles], len(circles)
    spans = np.full((len(bodies.shapes), 2, most), -1, dtype=np.int64)
    flat = np.zeros((len(bodies.shapes), most), dtype=bool)
    often = np.ones((len(bodies.shapes), most), dtype=np.int64)
    for k, shape in enumerate(bodies.shapes):
        for number, eye in enumerate(shape.eyes):
            rows = loop_rows(eye)
            spans[k, :, number] = start, start + len(rows)
            flat[k, number] = is_planar(rows)
            often[k, number] = eye.turns
            parts.append(rows)
            start += len(rows)

    begins = np.full((len(bodies), most), -1, dtype=np.int64)
    ends, planar = begins.copy(), np.zeros((len(bodies), most), dtype=bool)
    counts = np.ones(len(bodies), dtype=np.int64)
    begins[rings, 0] = of_size.ravel()
    ends[rings, 0] = of_size.ravel() + 1
    planar[rings, 0] = True
    turns = np.ones((len(bodies), most), dtype=np.int64)
    if bodies.shape_of is not None:
        shaped = bodies.shape_of[~rings]
        begins[~rings], ends[~rings], planar[~rings] = spans[shaped, 0], spans[shaped, 1], flat[shaped]
        turns[~rings] = often[shaped]
        eyes = np.array([len(shape.eyes) for shape in bodies.shapes], dtype=np.int64)
        counts[~rings] = eyes[shaped] if len(shaped) else 0
    return Loops(np.ascontiguousarray(np.concatenate(parts)), begins, ends, counts, planar, turns)


def is_planar(rows: Floats) -> bool:
    """Whether a closed line lies in a plane, see `FLAT`.

    Args:
        rows: Its curves, shape (k, COLUMNS).
    """
    normal, at, size = np.empty(3), np.empty(3), float(rows[:, RADIUS].max())
    plane_of(rows, 0, len(rows), normal, at)
    off = np.abs((rows[:, ORIGIN] - at) @ normal)
    straight = rows[:, RADIUS] == 0.0
    far = rows[:, ORIGIN] + np.where(straight, rows[:, SPAN], 0.0)[:, None] * rows[:, FIRST]
    tilt = rows[:, RADIUS] * np.hypot(rows[:, FIRST] @ normal, rows[:, SECOND] @ normal)
    off = np.maximum(off, np.abs((far - at) @ normal)) + tilt
    size = max(size, float(np.linalg.norm(rows[:, ORIGIN] - at, axis=1).max()))
    return bool(off.max() <= FLAT * size)


def eye_links(bodies: Bodies, pairs: Ints) -> Ints:
    """All linked eyes of some pairs of bodies: those whose lines go round each other as often as they should.

    Args:
        bodies: The bodies.
        pairs: Indices, shape (k, 2), in any order.

    Returns:
        Body i, body j, eye of i, eye of j of every link, shape (m, 4): i under j, sorted, each once.
    """
    pairs = np.asarray(pairs, dtype=np.int64).reshape(-1, 2)
    is_ring = bodies.is_ring
    rings = is_ring[pairs[:, 0]] & is_ring[pairs[:, 1]]
    of_rings = pairs if rings.all() else pairs[rings]
    of_rings = _ordered(of_rings[linked(bodies, of_rings)], len(bodies))
    links = np.concatenate([of_rings, np.zeros_like(of_rings)], axis=1)
    if rings.all():
        return links
    others = _ordered(pairs[~rings], len(bodies))
    some, place = np.unique(others, return_inverse=True)
    own, place = bodies[some], place.reshape(-1, 2)
    turns = loops_of(own).turns[place]
    wanted = turns[:, 0, :, None] * turns[:, 1, None, :]
    pair, eye, other = np.nonzero(np.abs(linking_numbers(own, place)) == wanted)
    links = np.concatenate([links, np.column_stack([others[pair], eye, other])])
    return np.ascontiguousarray(links[np.lexsort(links.T[::-1])], dtype=np.int64)


def _ordered(pairs: Ints, count: int) -> Ints:
    """Pairs of `count` bodies with the smaller index first, sorted, each once."""
    one, two = pairs.T
    keys = np.minimum(one, two) * count + np.maximum(one, two)
    if not (keys[1:] > keys[:-1]).all():
        keys = np.unique(keys)
    return np.column_stack(np.divmod(keys, max(count, 1)))


def linking_numbers(bodies: Bodies, pairs: Ints) -> Ints:
    """Linking numbers of all eyes of some pairs of bodies.

    Args:
        bodies: The bodies.
        pairs: Indices, shape (k, 2).

    Returns:
        Numbers, shape (k, most eyes, most eyes), 0 where a body has fewer eyes. A ring runs anticlockwise
        about its normal.
    """
    loops = loops_of(bodies)
    numbers = np.zeros((len(pairs), *2 * (loops.begins.shape[1],)), dtype=np.int64)
    _linking_numbers(
        loops.table, loops.begins, loops.ends, loops.counts, loops.planar, bodies.centres, bodies.frames(),
        bodies.radii, np.asarray(pairs, dtype=np.int64), numbers,
    )  # fmt: skip
    return numbers


@numba.njit(cache=True)
def _linking_numbers(
    table: Floats, begins: Ints, ends: Ints, counts: Ints, planar: npt.NDArray[np.bool_], centres: Floats,
    frames: Floats, radii: Floats, pairs: Ints, numbers: Ints,
) -> None:  # fmt: skip
    for k in range(len(pairs)):
        i = pairs[k, 0]
        j = pairs[k, 1]
        x = centres[j, 0] - centres[i, 0]
        y = centres[j, 1] - centres[i, 1]
        z = centres[j, 2] - centres[i, 2]
        if sqrt(x * x + y * y + z * z) > radii[i] + radii[j]:
            continue
        for a in range(counts[i]):
            for b in range(counts[j]):
                numbers[k, a, b] = loop_linking(
                    table, begins[i, a], ends[i, a], centres[i], frames[i], planar[i, a],
                    begins[j, b], ends[j, b], centres[j], frames[j], planar[j, b],
                )  # fmt: skip


@numba.njit(cache=True)
def loop_linking(
    table: Floats, a0: int, a1: int, ca: Floats, fa: Floats, planar_a: bool,
    b0: int, b1: int, cb: Floats, fb: Floats, planar_b: bool,
) -> int:  # fmt: skip
    """Linking number of two closed lines.

    Where one is flat, the other's crossings of its plane are counted, each as often as the flat line winds
    round it. Where neither is, the first is spanned by flat pieces: one in the plane of each arc, and
    triangles to an apex.

    Args:
        table: Curves in the frames of their bodies, shape (k, COLUMNS).
        a0: First row of the first line.
        a1: Row after its last.
        ca: Where its body is [mm], shape (3,).
        fa: Axes of its body as rows, shape (3, 3).
        planar_a: Whether it lies in a plane.
        b0: First row of the second line.
        b1: Row after its last.
        cb: Where its body is [mm], shape (3,).
        fb: Axes of its body as rows, shape (3, 3).
        planar_b: Whether it lies in a plane.
    """
    if planar_a or not planar_b:
        one0, one1, one_at, one_frame, flat = a0, a1, ca, fa, planar_a
        two0, two1, two_at, two_frame = b0, b1, cb, fb
    else:
        one0, one1, one_at, one_frame, flat = b0, b1, cb, fb, planar_b
        two0, two1, two_at, two_frame = a0, a1, ca, fa
    # The second line, seen from the frame of the first one's body.
    other = np.empty((two1 - two0, COLUMNS))
    _seen_from(table, two0, two1, two_at, two_frame, one_at, one_frame, other)
    if flat:
        return through(table, one0, one1, other)
    number = through_pieces(table, one0, one1, other, 0)
    for seam in range(1, _TRIES):
        again = through_pieces(table, one0, one1, other, seam)
        if again == number:
            return number
        number = again
    return number


@numba.njit(cache=True)
def _seen_from(
    table: Floats, begin: int, end: int, centre: Floats, axes: Floats, at: Floats, frame: Floats, out: Floats
) -> None:
    """Rows of a body at `centre` with `axes`, in the frame of another body."""
    x = centre[0] - at[0]
    y = centre[1] - at[1]
    z = centre[2] - at[2]
    for c in range(3):
        turn0 = axes[0, 0] * frame[c, 0] + axes[0, 1] * frame[c, 1] + axes[0, 2] * frame[c, 2]
        turn1 = axes[1, 0] * frame[c, 0] + axes[1, 1] * frame[c, 1] + axes[1, 2] * frame[c, 2]
        turn2 = axes[2, 0] * frame[c, 0] + axes[2, 1] * frame[c, 1] + axes[2, 2] * frame[c, 2]
        shift = x * frame[c, 0] + y * frame[c, 1] + z * frame[c, 2]
        for k in range(end - begin):
            row = table[begin + k]
            out[k, c] = shift + row[0] * turn0 + row[1] * turn1 + row[2] * turn2
            out[k, 3 + c] = row[3] * turn0 + row[4] * turn1 + row[5] * turn2
            out[k, 6 + c] = row[6] * turn0 + row[7] * turn1 + row[8] * turn2
    for k in range(end - begin):
        for column in range(RADIUS, COLUMNS):
            out[k, column] = table[begin + k, column]
