"""How wide an eye is, and how wide it is open: whether a wire fits in, and whether it can get out.

Only real wire holds anything: the curves that close an eye tell which hole is meant, not how wide it is. Wire
ends count as round, as everywhere in gaps.
"""

from collections.abc import Callable
from functools import lru_cache
from math import inf

import numba
import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from chaingen.geometry.eye_linking import is_planar
from chaingen.geometry.shapes import (
    FIRST,
    ORIGIN,
    RADIUS,
    SECOND,
    SPAN,
    WIRE,
    Closure,
    Shape,
    loop_rows,
)
from chaingen.geometry.spanning import plane_of, winding
from chaingen.geometry.types import Floats, Ints
from chaingen.geometry.wire_distance import MOST_NEAREST, primitive_minima

SEARCHED = 1e-4
"""The largest circle is looked for everywhere to this share of the eye's size; what is found is then made
exact. Only of two places that differ by less than this may the smaller be taken."""

FITS = 1e-9
"""A wire fits where it is at most this much too thick, and wires this near to one another touch [mm]:
rounding."""

_PIECES = 240
"""About how many pieces a line is cut into where the narrowest place is sought. Widths are exact for any
number; pieces need only be short against the hole."""

_STEPS = 80
"""Most steps of a largest circle to its place."""

OPENED_IN_USE = (Closure.HOOK, Closure.GATE, Closure.BAR)
"""Eyes that take in a wire through their opening. Other eyes stay as they are, and it is the ring that goes
through them which is opened."""


def opening_of(shape: Shape, eye_index: int) -> float:
    """How wide the wire round an eye is open [mm].

    A round wire in the middle of the eye's largest circle is held when wires of the shape that touch, or are
    less than its diameter apart, make a closed way round it. So the opening is the least width w for which
    there is a closed way round that middle along wires of the shape and across gaps between them of at most
    w. Across one closing segment between two wire ends that is the distance of their surfaces; of a hook it
    is the narrowest place between its tip's side and its shank; of several closings the widest counts, for
    that is where a wire leaves. It may be more than the inside.

    The way round is counted along the normal of the eye and gaps are measured in space: no thicker wire gets
    out, however it turns, and in a flat eye a wire of w does, sideways.

    Bringing wires nearer to one another never raises it while the middle stays.

    Args:
        shape: The shape.
        eye_index: Which of its eyes.

    Returns:
        The opening; 0 for an eye that is shut, infinite where no gaps of any width close a way round.
    """
    return _opening(shape, eye_index)


def inside_of(shape: Shape, eye_index: int) -> float:
    """Diameter of the largest circle in an eye [mm].

    It lies in the eye's plane, in what the eye's line winds round, and clear of all wire of the shape. The
    plane of an eye that is not flat is the one nearest to its line.

    Args:
        shape: The shape.
        eye_index: Which of its eyes.

    Returns:
        The diameter; 0 or less when nothing fits in.
    """
    return 2.0 * _largest_circle(shape, eye_index)[1]


def inside_centre(shape: Shape, eye_index: int) -> Floats:
    """Where the middle of the largest circle in an eye is, in the shape's frame [mm], shape (3,)."""
    return np.array(_largest_circle(shape, eye_index)[0], dtype=np.float64)


def passes(shape: Shape, eye_index: int, wire_diameter: float) -> bool:
    """Whether a round wire can be brought into an eye and has room in it.

    A hook, a gate or a bar must be open wide enough as it is worn, or as far as it can be opened (`gate`).
    Through other eyes the ring that they hold is led open, and only their inside counts.

    Args:
        shape: The shape.
        eye_index: Which of its eyes.
        wire_diameter: Diameter of the wire [mm].
    """
    eye = shape.eyes[eye_index]
    if inside_of(shape, eye_index) < wire_diameter - FITS:
        return False
    if eye.closure not in OPENED_IN_USE or (eye.gate is not None and eye.gate >= wire_diameter - FITS):
        return True
    return opening_of(shape, eye_index) >= wire_diameter - FITS


@lru_cache(maxsize=256)
def _largest_circle(shape: Shape, eye_index: int) -> tuple[tuple[float, float, float], float]:
    """Middle [mm] and radius [mm] of the largest circle in an eye."""
    loop, wires = loop_rows(shape.eyes[eye_index]), shape.primitives
    at, across, normal = _eye_plane(loop)
    line, wire = _cut(loop, _PIECES), _cut(wires, _PIECES)
    size = float(np.linalg.norm(_middles(line) - at, axis=1).max())

    def clear(places: Floats) -> Floats:
        """How far places of the plane, shape (m, 2), are inside the line and clear of wire [mm]."""
        spots = at + places @ across
        border = _distances(spots, loop).min(axis=1)
        to_wire = (_distances(spots, wires) - wires[:, WIRE]).min(axis=1)
        within = np.where(_inside(loop, normal, spots), border, -border)
        return np.asarray(np.minimum(within, to_wire))

    place = _searched(clear, (_middles(line) - at) @ across.T, size)
    curves = np.concatenate([loop, wires])
    thick = np.concatenate([np.zeros(len(line)), wire[:, WIRE], np.zeros(len(loop)), wires[:, WIRE]])
    ahead = np.concatenate([_middles(line), _middles(wire)])

    def walls(place: Floats) -> tuple[Floats, Floats]:
        """How far walls are from a place, less wire [mm], shape (k,), and unit vectors from them, (k, 2)."""
        spot = at + place @ across
        away = spot - np.concatenate([ahead, _nearest(spot[None], curves)[0]])
        far = np.linalg.norm(away, axis=1)
        return far - thick, away @ across.T / np.maximum(far, 1e-12 * size)[:, None]

    place, radius = _settled(clear, walls, place, size)
    x, y, z = (at + place @ across).tolist()
    return (x, y, z), radius


def _eye_plane(loop: Floats) -> tuple[Floats, Floats, Floats]:
    """A point of an eye's plane [mm], shape (3,), axes across, shape (2, 3), and its unit normal, (3,)."""
    points = _middles(_cut(loop, _PIECES))
    at = points.mean(axis=0)
    axes = np.linalg.svd(points - at, full_matrices=False)[2]
    normal = axes[2]
    if is_planar(loop):
        exact, on = np.empty(3), np.empty(3)
        if plane_of(loop, 0, len(loop), exact, on):
            normal, at = exact, at - ((at - on) @ exact) * exact
    first = axes[0] - (axes[0] @ normal) * normal
    first /= np.linalg.norm(first)
    return at, np.array([first, np.cross(normal, first)]), normal


def _searched(clear: Callable[[Floats], Floats], points: Floats, size: float) -> Floats:
    """The place of the plane that is farthest inside, to within `SEARCHED` of the size, shape (2,) [mm].

    Squares that might hold a better place are cut in four: how far a place is inside changes by no more
    than one moves.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    half = 0.5 * float((high - low).max())
    place: Floats = 0.5 * (low + high)
    middles, best = place[None], -inf
    quarters = np.array([(-0.5, -0.5), (-0.5, 0.5), (0.5, -0.5), (0.5, 0.5)])
    while True:
        depth = clear(middles)
        top = int(np.argmax(depth))
        if depth[top] > best:
            best, place = float(depth[top]), middles[top]
        if half < 0.25 * SEARCHED * size:
            return place
        open_ones = middles[depth + np.sqrt(2.0) * half > best + SEARCHED * size]
        if not len(open_ones):
            return place
        middles = (open_ones[:, None] + half * quarters).reshape(-1, 2)
        half *= 0.5


def _settled(
    clear: Callable[[Floats], Floats],
    walls: Callable[[Floats], tuple[Floats, Floats]],
    place: Floats,
    size: float,
) -> tuple[Floats, float]:
    """The best place near a good one, shape (2,), and how far it is inside [mm].

    A linear program moves it away from all walls at once, each taken as straight; what it gains is then
    measured, and the step is shortened when it gains nothing.
    """
    depth, reach = float(clear(place[None])[0]), 1e-2 * size
    for _ in range(_STEPS):
        far, slopes = walls(place)
        # A step and what it gains, both in parts of the reach.
        near = far < depth + 3.0 * reach
        program = linprog(
            (0.0, 0.0, -1.0),
            A_ub=np.column_stack([-slopes[near], np.ones(int(near.sum()))]),
            b_ub=(far[near] - depth) / reach,
            bounds=[(-1.0, 1.0), (-1.0, 1.0), (0.0, 2.0)],
        )
        moved = place + reach * program.x[:2] if program.x is not None else place
        gained = float(clear(moved[None])[0])
        if gained > depth:
            place, depth = moved, gained
        else:
            reach *= 0.25
        if reach < 1e-13 * size:
            break
    return place, depth


@lru_cache(maxsize=256)
def _opening(shape: Shape, eye_index: int) -> float:
    """See `opening_of`."""
    middle = inside_centre(shape, eye_index)
    _, across, _ = _eye_plane(loop_rows(shape.eyes[eye_index]))
    pieces = _cut(shape.primitives, _PIECES)
    points = _middles(pieces)
    flat = (points - middle) @ across.T
    angles = np.arctan2(flat[:, 1], flat[:, 0])
    one, two = np.triu_indices(len(pieces), 1)
    # From middle to middle gaps are a piece too wide at most: half of each.
    gaps = np.linalg.norm(points[one] - points[two], axis=1) - pieces[one, WIRE] - pieces[two, WIRE]
    slack = float(_lengths(pieces).max())
    order = np.argsort(gaps, kind="stable")
    edges = np.column_stack([one, two])[order].astype(np.int64)
    closing = _way_round(edges, angles)
    if closing < 0:
        return inf
    width, gaps = float(gaps[order[closing]]), gaps[order]
    if width <= FITS:
        return 0.0
    sure, some = np.searchsorted(gaps, [width - slack, width + slack], side="right")
    exact = _exact_gaps(pieces, edges[sure:some])
    again = np.argsort(exact, kind="stable")
    closing = _way_round(np.concatenate([edges[:sure], edges[sure:some][again]]), angles)
    opening = float(exact[again[closing - sure]])
    return opening if opening > FITS else 0.0


@numba.njit(cache=True)
def _way_round(edges: Ints, angles: Floats) -> int:
    """The first edge that closes a way round the middle, -1 when none does.

    Points that are joined hang on one another as a tree, each with its angle about the middle counted on
    from its root's; an edge between two of a tree whose angles disagree by whole turns closes a way round.

    Args:
        edges: Index pairs, shape (m, 2).
        angles: Angles of the points about the middle [rad], shape (n,).
    """
    parents = np.arange(len(angles))
    turns = np.zeros(len(angles))
    for k in range(len(edges)):
        roots = np.empty(2, dtype=np.int64)
        sums = np.empty(2)
        for side in range(2):
            node = edges[k, side]
            total = 0.0
            while parents[node] != node:
                total += turns[node]
                node = parents[node]
            roots[side] = node
            sums[side] = total
            # Hang all on the way there on the root at once.
            node = edges[k, side]
            while parents[node] != roots[side]:
                above, part = parents[node], turns[node]
                parents[node], turns[node] = roots[side], total
                total -= part
                node = above
        step = angles[edges[k, 1]] - angles[edges[k, 0]]
        step -= 2.0 * np.pi * np.round(step / (2.0 * np.pi))
        apart = sums[0] + step - sums[1]
        if roots[0] != roots[1]:
            parents[roots[1]] = roots[0]
            turns[roots[1]] = apart
        elif abs(apart) > np.pi:
            return k
    return -1


@numba.njit(cache=True)
def _exact_gaps(pieces: Floats, edges: Ints) -> Floats:
    """Gaps of pairs of curves [mm], shape (m,)."""
    gaps = np.empty(len(edges))
    points = np.empty((MOST_NEAREST, 2, 3))
    for k in range(len(edges)):
        a, b = pieces[edges[k, 0]], pieces[edges[k, 1]]
        best = np.inf
        for number in range(primitive_minima(a, b, points)):
            p, q = points[number, 0], points[number, 1]
            best = min(best, np.sqrt((p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2))
        gaps[k] = best - a[WIRE] - b[WIRE]
    return gaps


@numba.njit(cache=True)
def _inside(loop: Floats, normal: Floats, spots: Floats) -> npt.NDArray[np.bool_]:
    """Whether a line winds round places of its plane, shape (m,)."""
    inside = np.empty(len(spots), dtype=np.bool_)
    for k in range(len(spots)):
        p = spots[k]
        around = winding(loop, 0, len(loop), normal[0], normal[1], normal[2], p[0], p[1], p[2])
        inside[k] = around != 0
    return inside


def _lengths(rows: Floats) -> Floats:
    """Lengths of curves [mm], shape (k,)."""
    return np.asarray(rows[:, SPAN] * np.where(rows[:, RADIUS] > 0.0, rows[:, RADIUS], 1.0))


def _cut(rows: Floats, count: int) -> Floats:
    """Curves cut into equal pieces, about `count` in all, shape (k, COLUMNS)."""
    lengths = _lengths(rows)
    most = max(float(lengths.sum()) / count, 1e-9)
    pieces = []
    for row, length in zip(rows, lengths, strict=True):
        number = max(1, int(np.ceil(length / most)))
        parts = np.repeat(row[None], number, axis=0)
        t = row[SPAN] * np.arange(number) / number
        parts[:, SPAN] = row[SPAN] / number
        if row[RADIUS] > 0.0:
            c, s = np.cos(t)[:, None], np.sin(t)[:, None]
            parts[:, FIRST] = c * row[FIRST] + s * row[SECOND]
            parts[:, SECOND] = c * row[SECOND] - s * row[FIRST]
        else:
            parts[:, ORIGIN] = row[ORIGIN] + t[:, None] * row[FIRST]
        pieces.append(parts)
    return np.concatenate(pieces)


def _middles(rows: Floats) -> Floats:
    """Middles of curves [mm], shape (k, 3)."""
    t = 0.5 * rows[:, SPAN]
    bent = rows[:, RADIUS] > 0.0
    ahead = np.where(bent, rows[:, RADIUS] * np.cos(t), t)[:, None] * rows[:, FIRST]
    return np.asarray(rows[:, ORIGIN] + ahead + (rows[:, RADIUS] * np.sin(t))[:, None] * rows[:, SECOND])


def _nearest(spots: Floats, rows: Floats) -> Floats:
    """The nearest points of curves to places [mm], shape (m, k, 3)."""
    nearest = np.empty((len(spots), len(rows), 3))
    for k, row in enumerate(rows):
        away = spots - row[ORIGIN]
        along = away @ row[FIRST]
        if row[RADIUS] == 0.0:
            nearest[:, k] = row[ORIGIN] + np.clip(along, 0.0, row[SPAN])[:, None] * row[FIRST]
            continue
        # An arc is nearest where it is at the place's own angle, or else at one of its ends.
        t = np.arctan2(away @ row[SECOND], along) % (2.0 * np.pi)
        t = np.where(t <= row[SPAN], t, np.where(t - row[SPAN] < 2.0 * np.pi - t, row[SPAN], 0.0))
        arm = np.cos(t)[:, None] * row[FIRST] + np.sin(t)[:, None] * row[SECOND]
        nearest[:, k] = row[ORIGIN] + row[RADIUS] * arm
    return nearest


def _distances(spots: Floats, rows: Floats) -> Floats:
    """Distances of places from curves [mm], shape (m, k)."""
    return np.asarray(np.linalg.norm(spots[:, None] - _nearest(spots, rows), axis=2))
