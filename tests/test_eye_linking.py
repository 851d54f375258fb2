"""Linking of eyes: against rings, an outside program, the Gauss integral of polygons, and invariants."""

import random
from dataclasses import replace
from math import pi

import numpy as np
import pytest
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.centrelines import Arc, Bend, bent_wire, circle, moved_curve, reversed_curve, segment
from chaingen.geometry.eye_linking import eye_links, is_planar, linking_numbers, loops_of
from chaingen.geometry.linking import crossings, linked
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand, loop_rows, ring_shape
from tests.conftest import random_rings
from tests.oracles import solid_angle_linking

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
    """Bends out of one another's planes, closed by a straight: not flat, and winds several times."""
    return closed([Bend(radius=0.6, angle=170.0, direction=9.0 * k) for k in range(2 * turns + 1)])


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
def test_against_gauss_integral(rng, one):
    seen = set()
    for two in LOOPS:
        shapes = [of_loops(LOOPS[name]()) for name in (one, two)]
        for _ in range(25):
            bodies = scattered(rng, shapes)
            p, q = points_of(bodies, 0, 0), points_of(bodies, 1, 0)
            if clearance(p, q) < 0.05:
                continue
            expected = gauss(p, q)
            assert expected == pytest.approx(round(expected), abs=1e-6)
            assert linking_numbers(bodies, PAIR)[0, 0, 0] == round(expected)
            seen.add(round(expected))
    assert min(seen) < 0 < max(seen)
    assert 0 in seen


@pytest.mark.parametrize("one", LOOPS)
def test_against_an_outside_linking_number(rng, one):
    seen = set()
    for two in LOOPS:
        for _ in range(3):
            bodies = scattered(rng, [of_loops(LOOPS[one]()), of_loops(LOOPS[two]())], spread=0.4)
            p, q = points_of(bodies, 0, 0, 10), points_of(bodies, 1, 0, 10)
            if clearance(p, q) < 0.08:
                continue
            expected = outside(p, q)
            assert abs(linking_numbers(bodies, PAIR)[0, 0, 0]) == expected
            seen.add(expected)
    assert len(seen) > 1


def test_rings_among_shapes_against_solid_angles(rng):
    """Rings and stadiums in one array; two rings keep the answer of their own kernel."""
    rings = random_rings(rng, 40, spread=0.5)
    bodies = concatenate([rings, scattered(rng, [of_loops(stadium())] * 40, spread=0.5)])
    pairs = np.array([(i, j) for i in range(40) for j in range(i + 1, 80)])
    numbers = linking_numbers(bodies, pairs)
    tried = 0
    for number, (i, j) in zip(numbers, pairs, strict=True):
        a, b = ((bodies.centres[k], bodies.normals[k], bodies.radii[k]) for k in (i, j))
        if j < 40 and tried < 60:
            integral = solid_angle_linking(a, b)
            if abs(integral - round(integral)) < 0.05:
                assert abs(number[0, 0]) == abs(round(integral))
                tried += 1
    found = eye_links(bodies, pairs)
    assert found.tolist() == [[*pair, 0, 0] for pair in pairs[numbers[:, 0, 0] != 0].tolist()]
    assert tried == 60


@pytest.mark.parametrize("kind", LOOPS)
def test_rigid_motion_swap_mirror_scale_and_sense(rng, kind):
    shapes = [of_loops(LOOPS[name]()) for name in (kind, *LOOPS)]
    bodies = scattered(rng, shapes, spread=0.5)
    pairs = np.array([(0, k) for k in range(1, len(shapes))])
    there = linking_numbers(bodies, pairs)[:, 0, 0].tolist()
    assert linking_numbers(bodies, pairs[:, ::-1])[:, 0, 0].tolist() == there
    turn = Rotation.random(random_state=int(rng.integers(2**31))).as_matrix()
    moved = bodies.turned(turn).moved(np.array([900.0, -70.0, 4.0]))
    assert linking_numbers(moved, pairs)[:, 0, 0].tolist() == there
    back = [-number for number in there]
    assert linking_numbers(mirrored(bodies), pairs)[:, 0, 0].tolist() == back
    loop = shapes[0].eyes[0].loop
    other_way = eye([reversed_curve(curve) for curve in loop[::-1]])
    turned_round = replace(bodies, shapes=(replace(shapes[0], eyes=(other_way,)), *bodies.shapes[1:]))
    # Shapes are held once: the first body shares its shape with the one of its kind among the others.
    same = [bodies.shape_of[k] == bodies.shape_of[0] for k in pairs[:, 1]]
    expected = [number if both else -number for number, both in zip(there, same, strict=True)]
    first = next(iter(dict.fromkeys(shapes)))
    assert bodies.shapes[0] == first
    assert linking_numbers(turned_round, pairs)[:, 0, 0].tolist() == expected
    # Where a line begins does not matter.
    shifted = eye([*loop[1:], loop[0]])
    begun = replace(bodies, shapes=(replace(shapes[0], eyes=(shifted,)), *bodies.shapes[1:]))
    assert linking_numbers(begun, pairs)[:, 0, 0].tolist() == there


def mirrored(bodies):
    """The mirror image in the plane z = 0: poses mirrored, and shapes in their own planes of x and y.

    Vectors v of a mirrored shape are (x, y, -z), so that the z axis is mirrored and turned round.
    """
    flip = np.array([1.0, 1.0, -1.0])
    frames = bodies.frames() * flip
    # Rows x, y of the mirrored frame with -z make a right-handed one.
    return replace(
        bodies,
        centres=bodies.centres * flip,
        normals=-frames[:, 2],
        axes=frames[:, 0],
        shapes=tuple(shape.mirrored() for shape in bodies.shapes),
    )


def ring_at(centre, normal, radius):
    normal = np.array([normal], dtype=float)
    return Bodies(
        np.array([centre], dtype=float), normal / np.linalg.norm(normal), np.array([radius]), np.array([0.05])
    )


def at_origin(loop):
    """A body with one eye, its frame that of the world."""
    return shaped(Shape((Strand(tuple(loop), 0.05),), (eye(loop),)))


def polygon(*corners):
    """A closed line of straights."""
    corners = [tuple(map(float, corner)) for corner in corners]
    return tuple(segment(a, b) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True))


def number_of(*parts):
    return int(linking_numbers(concatenate(list(parts)), PAIR)[0, 0, 0])


def test_windings_known_by_hand():
    """A wide ring about -y comes up through the plane z = 0 at one place and goes down far off."""

    def up_at(x, y):
        return ring_at((x + 5.0, y, 0.0), (0.0, -1.0, 0.0), 5.0)

    # Its near side: the tangent about -y at -x from the middle is -y cross -x = -z.
    assert number_of(at_origin(stadium()), up_at(0.5, 0.7)) == -1
    assert number_of(at_origin(twice()), up_at(0.1, 0.0)) == -2
    assert number_of(at_origin(twice()), up_at(-0.8, 0.0)) == -1
    assert number_of(at_origin(figure_eight()), up_at(-0.8, 0.0)) == -1
    assert number_of(at_origin(figure_eight()), up_at(0.6, 0.0)) == 1
    assert number_of(at_origin(stadium()), up_at(4.0, 0.7)) == 0


@pytest.mark.parametrize("turns", [1, 2, 3, 7])
def test_a_spool_links_a_ring_once_a_turn(turns):
    """Whole circles one above the other, joined by straights and closed by a half circle outside."""
    loop = []
    for k in range(turns):
        loop.append(circle((0.0, 0.0, 0.3 * k), (0.0, 0.0, 1.0), 1.0, start=(1.0, 0.0, 0.0)))
        loop.append(segment((1.0, 0.0, 0.3 * k), (1.0, 0.0, 0.3 * k + 0.3)))
    half = 0.15 * turns
    loop.append(Arc((1.0, 0.0, half), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0), half, pi))
    spool = at_origin(loop)
    assert not loops_of(spool).planar[0, 0]
    through = ring_at((9.0, 0.0, 0.5), (0.0, 1.0, 0.0), 9.0)
    beside = ring_at((0.0, 9.0, 0.5), (1.0, 0.0, 0.0), 7.5)
    assert number_of(spool, through) == turns
    assert number_of(through, spool) == turns
    assert number_of(spool, beside) == 0


@pytest.mark.parametrize("place", [-0.9, -0.5, 0.0, 1e-12, 0.25, 0.9])
def test_through_the_fold_of_a_folded_circle(place):
    """Lines meet the seams that a spanning surface likes to have: diameters, middles and axes."""
    fold = (
        Arc((0.0, 0.0, 0.0), (0.0, -1.0, 0.0), (1.0, 0.0, 0.0), 1.0, pi),
        Arc((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), 1.0, pi),
    )
    body = at_origin(fold)
    assert not loops_of(body).planar[0, 0]
    far = 4.0 / np.sqrt(2.0)
    for away in ((far, -far), (-far, far)):
        ring = ring_at((away[0], place, away[1]), (0.0, 1.0, 0.0), 4.0)
        assert abs(number_of(body, ring)) == 1
    # The same with a line that is not flat either: two far corners folded aside.
    square = polygon(
        (-3, place, -3), (3, place, 3), (9, place, -3), (9, place + 1.0, -9), (3, place, -9)
    )  # fmt: skip
    assert not loops_of(at_origin(square)).planar[0, 0]
    assert abs(number_of(body, at_origin(square))) == 1
    assert abs(number_of(at_origin(square), body)) == 1
    assert number_of(body, at_origin(square).moved(np.array([0.0, 2.5, 0.0]))) == 0


def test_joints_that_lie_in_the_plane_count_once():
    ring = ring_at((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 1.0)
    up = bent_wire(
        [Bend(length=1.0), Bend(radius=0.7, angle=180.0), Bend(length=1.0), Bend(radius=0.7, angle=180.0)],
        begin=(0.5, 0.0, 0.0), heading=(0.0, 0.0, 1.0), up=(0.0, 1.0, 0.0),
    )  # fmt: skip
    assert abs(number_of(ring, at_origin(up))) == 1
    assert abs(number_of(at_origin(ring_shape(1.0, 0.05).eyes[0].loop), at_origin(up))) == 1
    # An edge lies in the plane: the line leaves it to the side from which it came, or to the other.
    same = polygon((0.2, 0, 1), (0.2, 0, 0), (0.4, 0, 0), (0.4, 0, 1))
    other = polygon((0.2, 0, 1), (0.2, 0, 0), (0.4, 0, 0), (0.4, 0, -1), (3, 0, -1), (3, 0, 1))
    for sign in (1.0, -1.0):
        flip = np.diag([1.0, sign, sign])
        assert number_of(ring, at_origin(same).turned(flip)) == 0
        assert abs(number_of(ring, at_origin(other).turned(flip))) == 1
    # Circles that touch the plane.
    for side in (0.3, -0.3):
        touching = circle((0.3, 0.0, side), (0.0, 1.0, 0.0), 0.3, start=(0.0, 0.0, 1.0))
        assert number_of(ring, at_origin([touching])) == 0


def test_a_line_that_encloses_nothing_links_nothing():
    there_and_back = polygon((0, 0, 0), (2, 0, 0))
    ring = ring_at((1.0, 0.5, 0.0), (1.0, 0.0, 0.0), 0.7)
    assert number_of(at_origin(there_and_back), ring) == 0
    assert eye_links(concatenate([at_origin(there_and_back), ring]), PAIR).shape == (0, 4)


def test_bodies_of_several_eyes_and_none(rng):
    """Links name eyes, are sorted with the smaller body first, and pairs come in any order."""
    two_eyes = of_loops(circle_loop(-2.0), circle_loop(2.0))
    none = Shape((Strand(stadium(), 0.05),), ())
    bodies = concatenate(
        [
            shaped(two_eyes),
            ring_at((3.0, 0.0, 0.0), (0.0, 1.0, 0.0), 1.0),
            ring_at((-3.0, 0.0, 0.0), (0.0, 1.0, 0.0), 1.0),
            ring_at((3.0, 0.0, 1.0), (1.0, 0.0, 0.0), 0.5),
            shaped(two_eyes).turned(np.diag([1.0, 1.0, -1.0])[[0, 2, 1]]).moved(np.array([4.9, 0.05, 0.1])),
            shaped(none),
        ]
    )
    pairs = np.array([(j, i) for i in range(6) for j in range(i + 1, 6)])
    rng.shuffle(pairs)
    found = eye_links(bodies, pairs)
    assert found.tolist() == [[0, 1, 1, 0], [0, 2, 0, 0], [0, 4, 1, 0], [1, 3, 0, 0], [3, 4, 0, 0]]
    assert found.dtype == np.int64
    assert eye_links(bodies, np.empty((0, 2), dtype=np.int64)).shape == (0, 4)
    assert eye_links(bodies[1:4], np.array([[0, 2]])).tolist() == [[0, 2, 0, 0]]
    loops = loops_of(bodies)
    assert loops.counts.tolist() == [2, 1, 1, 1, 2, 0]
    assert loops.begins[0].tolist() == loops.begins[4].tolist()
    assert loops.begins[1, 0] == loops.begins[2, 0] != loops.begins[3, 0]
    assert loops.begins[5].tolist() == loops.ends[5].tolist() == [-1, -1]
    assert (loops.ends - loops.begins)[:5].tolist() == [[1, 1], [1, 0], [1, 0], [1, 0], [1, 1]]


def circle_loop(x):
    return (circle((x, 0.0, 0.0), (0.0, 0.0, 1.0), 1.0),)


@pytest.mark.parametrize("kind", LOOPS)
def test_which_lines_are_flat(kind):
    loop = LOOPS[kind]()
    turn = Rotation.from_rotvec([0.3, -1.1, 2.0]).as_matrix()
    moved = [moved_curve(curve, turn, np.array([3.0, -40.0, 7.0])) for curve in loop]
    for curves in (loop, moved):
        assert is_planar(loop_rows(eye(curves))) == (kind in FLAT)
    # Bent out of its plane by far less than any wire, it counts as not flat and links all the same.
    bent = polygon((-1, -1, 0), (1, -1, 1e-6), (1, 1, 0), (-1, 1, 1e-6))
    assert not is_planar(loop_rows(eye(bent)))
    assert abs(number_of(at_origin(bent), ring_at((4.0, 0.1, 0.0), (0.0, 1.0, 0.0), 3.9))) == 1
