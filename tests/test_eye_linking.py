"""Linking of eyes: against rings, an outside program, the Gauss integral of polygons, and invariants."""

import random
from math import pi

import numpy as np
import pytest
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.centrelines import Arc, Bend, Straight, bent_wire, circle, reversed_curve, segment
from chaingen.geometry.eye_linking import eye_links, linking_numbers, loops_of
from chaingen.geometry.linking import crossings, linked
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand, ring_shape
from tests.conftest import random_rings

PAIR = np.array([[0, 1]])


def eye(loop, closing=(), name="eye"):
    return Eye(name, tuple(loop), tuple(closing), 0.05, 0.5, Closure.SOLDERED)


def of_loops(*loops):
    return Shape(
        tuple(Strand(tuple(loop), 0.05) for loop in loops), tuple(eye(loop) for loop in loops)
    ).centred()


def closed(steps):
    """A line of bends closed by a straight."""
    curves = bent_wire(steps)
    end, begin = curves[-1].point(curves[-1].span), curves[0].point(0.0)
    return (*curves, segment(end, begin))


def stadium(straight=1.0, radius=0.7):
    half = Bend(radius=radius, angle=180.0)
    return bent_wire([Bend(length=straight), half, Bend(length=straight), half])


def hook():
    return closed([Bend(length=1.5), Bend(radius=0.5, angle=200.0), Bend(length=0.6)])


def figure_eight():
    """Two whole turns of opposite sense in one plane: one side winds +1, the other -1."""
    left = Arc((-0.8, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 0.8, 2.0 * pi)
    right = Arc((0.6, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 0.6, 2.0 * pi)
    return left, right


def crossed_eight():
    """A figure eight of straights and arcs that crosses itself at an angle."""
    return closed(
        [
            Bend(length=1.6), Bend(radius=0.5, angle=240.0), Bend(length=2.0),
            Bend(radius=0.5, angle=230.0, direction=180.0), Bend(length=0.3),
        ]
    )  # fmt: skip


def twice():
    """Two whole turns of the same sense, of two sizes."""
    return (
        Arc((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 0.7, 2.0 * pi),
        Arc((-0.3, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 1.0, 2.0 * pi),
    )


def twisted():
    """A stadium whose one end is folded up: not flat."""
    return closed(
        [
            Bend(length=1.2), Bend(radius=0.5, angle=150.0), Bend(length=0.4),
            Bend(radius=0.4, angle=110.0, direction=90.0), Bend(length=0.8),
            Bend(radius=0.6, angle=140.0, direction=40.0),
        ]
    )  # fmt: skip


def coil(turns=2):
    """A square helix of bends, closed by a straight through its middle: links a ring more than once."""
    return closed([Bend(radius=0.6, angle=170.0, direction=12.0) for _ in range(2 * turns + 1)])


LOOPS = {
    "stadium": stadium,
    "hook": hook,
    "two circles": figure_eight,
    "eight": crossed_eight,
    "twice": twice,
    "twisted": twisted,
    "coil": coil,
}
FLAT = {"stadium", "hook", "two circles", "eight", "twice"}


def scattered(rng, shapes, spread=0.6):
    """Bodies of some shapes anywhere."""
    turns = Rotation.random(len(shapes), random_state=int(rng.integers(2**31))).as_matrix()
    parts = [
        shaped(s).turned(t).moved(spread * rng.normal(size=3)) for s, t in zip(shapes, turns, strict=True)
    ]
    return concatenate(parts)


def points_of(bodies, index, number, count=32):
    """A polygon of an eye's line in the world, shape (k, 3), written from the curves and the pose alone."""
    shape = bodies.shape(index)
    x, z = bodies.first_axes()[index], bodies.normals[index]
    points = []
    for curve in shape.eyes[number].loop:
        steps = max(1, int(np.ceil(count * curve.angle / (2 * pi)))) if isinstance(curve, Arc) else 1
        points += [curve.point(curve.span * part / steps) for part in range(steps)]
    return bodies.centres[index] + np.array(points) @ np.array([x, np.cross(z, x), z])


def gauss(p, q):
    """Gauss linking integral of two closed polygons.

    Each pair of segments gives a solid angle: van Oosterom and Strackee 1983, "The solid angle of a plane
    triangle", IEEE Trans. Biomed. Eng. 30(2), of the two triangles of the parallelogram of differences p - q.
    That grows by -dq along q, hence the sign.
    """
    a = p[:, None] - q[None]
    b = np.roll(p, -1, axis=0)[:, None] - q[None]
    c = np.roll(p, -1, axis=0)[:, None] - np.roll(q, -1, axis=0)[None]
    d = p[:, None] - np.roll(q, -1, axis=0)[None]

    def solid(u, v, w):
        lu, lv, lw = (np.linalg.norm(k, axis=2) for k in (u, v, w))
        top = (u * np.cross(v, w)).sum(axis=2)
        bottom = lu * lv * lw + (u * v).sum(axis=2) * lw + (v * w).sum(axis=2) * lu + (w * u).sum(axis=2) * lv
        return 2.0 * np.arctan2(top, bottom)

    return float(-(solid(a, b, c) + solid(a, c, d)).sum() / (4.0 * pi))


def clearance(p, q, spacing=0.03):
    """Least distance of points of two polygons, to within half the spacing."""

    def fine(x):
        ahead = np.roll(x, -1, axis=0) - x
        counts = np.ceil(np.linalg.norm(ahead, axis=1) / spacing).astype(int)
        return np.concatenate(
            [a + np.arange(n)[:, None] / n * d for a, d, n in zip(x, ahead, counts, strict=True)]
        )

    return cKDTree(fine(p)).query(fine(q))[0].min()


def lifted(p):
    """A polygon drawn out a little along a line: one that crosses itself is no knot otherwise."""
    return p + np.linspace(0.0, 0.02, len(p))[:, None] * np.linalg.svd(p - p.mean(axis=0))[2][2]


def outside(p, q):
    """Linking number of two polygons without its sign by SnapPy, from an exact rational diagram."""
    from snappy.exterior_to_link.link_projection import project_to_diagram
    from snappy.exterior_to_link.rational_linear_algebra import QQ, Vector3

    random.seed(1)
    p, q = lifted(p), lifted(q)
    loops = [[Vector3([QQ(round(float(x) * 10**6)) / 10**6 for x in point]) for point in r] for r in (p, q)]
    matrix = project_to_diagram(loops).linking_matrix()
    # A diagram without crossings between the two is of a split pair.
    return abs(int(matrix[0][1])) if len(matrix) == 2 else 0


def test_gauss_sums_sign_is_that_of_rings(rng):
    """The oracle of this file agrees with the kernel of rings, sign and all."""
    rings = random_rings(rng, 60, spread=0.6)
    pairs = np.arange(60).reshape(-1, 2)
    _, sign = crossings(rings, pairs)
    shapes = [ring_shape(r, w) for r, w in zip(rings.radii, rings.wire_radii, strict=True)]
    bodies = as_shapes(rings, shapes)
    for k, (i, j) in enumerate(pairs):
        p, q = points_of(bodies, i, 0, 60), points_of(bodies, j, 0, 60)
        if clearance(p, q) > 0.02:
            assert gauss(p, q) == pytest.approx(sign[k], abs=1e-9)
    assert set(sign.tolist()) == {-1, 0, 1}


def as_shapes(rings, shapes):
    """The same rings as bodies of shapes."""
    axes = rings.first_axes()
    return Bodies(
        rings.centres, rings.normals, rings.radii, rings.wire_radii, axes, tuple(shapes),
        np.arange(len(rings), dtype=np.int64),
    )  # fmt: skip


@pytest.mark.parametrize("which", ["both", "first", "second"])
def test_a_whole_arc_equals_a_ring(rng, which):
    rings = random_rings(rng, 400, spread=0.7)
    pairs = np.arange(400).reshape(-1, 2)
    shapes = [ring_shape(r, w) for r, w in zip(rings.radii, rings.wire_radii, strict=True)]
    bodies = as_shapes(rings, shapes)
    if which != "both":
        bodies.shape_of[1 if which == "first" else 0 :: 2] = -1
    assert linking_numbers(bodies, pairs)[:, 0, 0].tolist() == crossings(rings, pairs)[1].tolist()
    through = pairs[linked(rings, pairs)]
    assert eye_links(bodies, pairs)[:, :2].tolist() == through.tolist()
    assert eye_links(bodies, pairs).tolist() == eye_links(rings, pairs).tolist()
    assert 20 < len(through) < 180


@pytest.mark.parametrize("one", LOOPS)
@pytest.mark.parametrize("two", LOOPS)
def test_against_gauss_integral(rng, one, two):
    shapes = [of_loops(LOOPS[name]()) for name in (one, two)]
    seen = set()
    for _ in range(25):
        bodies = scattered(rng, shapes)
        p, q = points_of(bodies, 0, 0), points_of(bodies, 1, 0)
        if clearance(p, q) < 0.05:
            continue
        expected = gauss(p, q)
        assert expected == pytest.approx(round(expected), abs=1e-6)
        assert linking_numbers(bodies, PAIR)[0, 0, 0] == round(expected)
        seen.add(round(expected))
    assert len(seen) > 1


@pytest.mark.parametrize("one", LOOPS)
def test_against_an_outside_linking_number(rng, one):
    seen = set()
    for two in LOOPS:
        for _ in range(3):
            bodies = scattered(rng, [of_loops(LOOPS[one]()), of_loops(LOOPS[two]())], spread=0.4)
            p, q = points_of(bodies, 0, 0, 16), points_of(bodies, 1, 0, 16)
            if clearance(p, q) < 0.08:
                continue
            expected = outside(p, q)
            assert abs(linking_numbers(bodies, PAIR)[0, 0, 0]) == expected
            seen.add(expected)
    assert len(seen) > 1
