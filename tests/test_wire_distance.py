import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.centrelines import Arc, Bend, Straight, bent_wire, segment
from chaingen.geometry.distance import contacts, nearest_on_circle, nearest_points, smallest_gaps
from chaingen.geometry.shapes import (
    COLUMNS,
    FIRST,
    ORIGIN,
    RADIUS,
    SECOND,
    SPAN,
    WIRE,
    Shape,
    Strand,
    ring_shape,
)
from chaingen.geometry.wire_distance import (
    MOST_NEAREST,
    nearest_on_primitive,
    placed,
    primitive_minima,
    primitive_point,
)
from tests.conftest import random_rings, rings_of
from tests.oracles import circle_distance

PAIR = np.array([[0, 1]])
UP = np.array([0.0, 0.0, 1.0])
FULL = 2.0 * np.pi


def unit(v):
    return np.asarray(v, dtype=float) / np.linalg.norm(v)


def arc(centre, first, second, radius, span):
    return np.array([*centre, *first, *second, radius, span, 0.0, 0.0, 0.0, 1.0])


def arc_about(rng, centre, normal, radius, span):
    """An arc with a given normal that begins anywhere."""
    first = unit(np.cross(unit(normal), rng.normal(size=3)))
    return arc(centre, first, np.cross(unit(normal), first), radius, span)


def straight(begin, direction, length):
    return np.array([*begin, *direction, 0.0, 0.0, 0.0, 0.0, length, 0.0, 0.0, 0.0, 1.0])


def minima(a, b):
    """All nearest places, shape (count, 2, 3)."""
    points = np.full((MOST_NEAREST, 2, 3), np.nan)
    return points[: primitive_minima(a, b, points)].copy()


def distances(places):
    return np.linalg.norm(places[:, 0] - places[:, 1], axis=1)


def least(a, b):
    return float(distances(minima(a, b)).min())


def points_of(a, t):
    """Points of a curve, written down from what its columns mean."""
    t = np.asarray(t, dtype=float)[:, None]
    if a[RADIUS] == 0.0:
        return a[ORIGIN] + t * a[FIRST]
    return a[ORIGIN] + a[RADIUS] * (np.cos(t) * a[FIRST] + np.sin(t) * a[SECOND])


def to_curve(points, b):
    """Distance of points from a bounded curve, in plain numpy."""
    w = points - b[ORIGIN]
    if b[RADIUS] == 0.0:
        return np.linalg.norm(w - np.clip(w @ b[FIRST], 0.0, b[SPAN])[:, None] * b[FIRST], axis=1)
    t = np.arctan2(w @ b[SECOND], w @ b[FIRST]) % FULL
    nearer_end = np.where(np.cos(t - b[SPAN]) > np.cos(t), b[SPAN], 0.0)
    return np.linalg.norm(points - points_of(b, np.where(t <= b[SPAN], t, nearer_end)), axis=1)


def sampled(a, b, count=2001):
    """Least distance by dense sampling of a; every dip that could hold it is sampled again, seven times.

    The distance changes by no more than the length walked along a, which tells which dips these are.
    """
    parts, best = [(0.0, a[SPAN])], np.inf
    for _ in range(7):
        dips = []
        for low, high in parts:
            t = np.linspace(low, high, count)
            d = to_curve(points_of(a, t), b)
            padded = np.concatenate([[np.inf], d, [np.inf]])
            best = min(best, d.min())
            low_ones = np.flatnonzero((d <= padded[:-2]) & (d <= padded[2:]))
            dips += [(d[k], t[max(k - 1, 0)], t[min(k + 1, count - 1)]) for k in low_ones]
        length = max(high - low for _, low, high in dips) * (a[RADIUS] or 1.0)
        parts = [(low, high) for d, low, high in sorted(dips)[:40] if d <= best + length]
        count = 41
    return float(best)


def any_curve(rng):
    if rng.random() < 0.5:
        radius = rng.uniform(0.3, 2.0) * (50.0 if rng.random() < 0.1 else 1.0)
        span = rng.choice([rng.uniform(0.01, FULL), 1e-4, FULL - 1e-4])
        return arc_about(rng, rng.normal(size=3), rng.normal(size=3), radius, span)
    return straight(rng.normal(size=3), unit(rng.normal(size=3)), rng.choice([0.0, rng.uniform(0.0, 3.0)]))


def anything(rng):
    return any_curve(rng), any_curve(rng)


def nearly_coaxial_arcs(rng):
    size = 10.0 ** rng.uniform(-7, 0, 3)
    a = arc_about(rng, np.zeros(3), UP, 1.0, rng.uniform(0.05, FULL))
    radius, span = 1.0 + size[2] * rng.uniform(-0.5, 1.0), rng.choice([rng.uniform(0.01, FULL), FULL])
    return a, arc_about(rng, size[1] * rng.normal(size=3), UP + size[0] * rng.normal(size=3), radius, span)


def small_by_large(rng):
    """Radii up to 1:50, the large arc passing near the small one."""
    a = arc_about(rng, rng.normal(size=3), rng.normal(size=3), 1.0, rng.uniform(0.05, FULL))
    radius, t = 10.0 ** rng.uniform(1.0, 1.7), rng.uniform(0.0, 0.2)
    b = arc_about(rng, np.zeros(3), rng.normal(size=3), radius, rng.choice([0.1, 0.5, 6.0]))
    b[ORIGIN] = 0.7 * rng.normal(size=3) - points_of(b, [t])[0]
    return a, b


def arc_and_straight(rng):
    """A straight nearly along the axis, nearly in the plane, or nearly touching."""
    size = 10.0 ** rng.uniform(-7, 0, 2)
    a = arc_about(rng, np.zeros(3), UP, 1.0, rng.uniform(0.05, FULL))
    along = UP if rng.random() < 0.5 else np.array([1.0, 0.0, 0.0])
    direction = unit(rng.choice([-1.0, 1.0]) * along + size[0] * rng.normal(size=3))
    through = size[1] * rng.normal(size=3) + (np.array([0.0, 1.0, 0.0]) if rng.random() < 0.4 else 0.0)
    length = rng.uniform(0.1, 4.0)
    return a, straight(through - direction * length * rng.uniform(), direction, length)


def straights(rng):
    size = 10.0 ** rng.uniform(-14, 0, 2)
    u, begin = unit(rng.normal(size=3)), rng.normal(size=3)
    v = unit(u + size[0] * rng.normal(size=3)) * rng.choice([-1.0, 1.0])
    other = begin + size[1] * rng.normal(size=3) + u * rng.normal()
    return straight(begin, u, rng.uniform(0.0, 3.0)), straight(other, v, rng.uniform(0.0, 3.0))


def hugging_arcs(rng):
    """Nearly the same direction and curvature where they are near, so that up to three critical points crowd.

    Along parallel curves a distance d apart the squared distance has no second derivative where
    (1 - d k_a) (1 + d k_b) = 1, k the curvatures towards the other and away from it (derived).
    """
    while True:
        a = arc_about(rng, np.zeros(3), rng.normal(size=3), 1.0, rng.uniform(0.3, FULL))
        t, d = rng.uniform(0.0, a[SPAN]), 10.0 ** rng.uniform(-3, 0)
        p, tangent = points_of(a, [t])[0], np.cos(t) * a[SECOND] - np.sin(t) * a[FIRST]
        across = np.cross(tangent, p)
        alpha, beta = rng.uniform(-np.pi, np.pi, 2)
        towards = np.cos(alpha) * p + np.sin(alpha) * across
        inwards = np.cos(beta) * p + np.sin(beta) * across
        k_a = -p @ towards
        curvature = -(1.0 / (1.0 - d * k_a) - 1.0) / d / (inwards @ towards)
        if curvature < 0.0:
            curvature, inwards = -curvature, -inwards
        radius = (1.0 + 10.0 ** rng.uniform(-8, -1) * rng.normal()) / curvature
        if not 0.02 < radius < 50.0:
            continue
        ahead = tangent + 10.0 ** rng.uniform(-8, -1) * rng.normal(size=3)
        ahead = unit(ahead - (ahead @ inwards) * inwards)
        back = rng.uniform(0.2, 3.1)
        first = -np.cos(back) * inwards - np.sin(back) * ahead
        second = -np.sin(back) * inwards + np.cos(back) * ahead
        return a, arc(p + d * towards + radius * inwards, first, second, radius, 2.0 * back)


@pytest.mark.parametrize(
    "kind", [anything, nearly_coaxial_arcs, small_by_large, arc_and_straight, straights, hugging_arcs]
)
def test_least_distance_against_dense_sampling(kind):
    rng = np.random.default_rng(7)
    for _ in range(400):
        a, b = kind(rng)
        expected = sampled(a, b)
        assert least(a, b) == pytest.approx(expected, abs=1e-9)
        assert least(b, a) == pytest.approx(expected, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**9))
def test_never_over_the_sampled_distance_nor_far_under_it(seed):
    """Over it would be a missed minimum; samples lie within half a step of any point of either curve."""
    a, b = anything(np.random.default_rng(seed))
    t, s = np.linspace(0.0, a[SPAN], 300), np.linspace(0.0, b[SPAN], 300)
    grid = np.linalg.norm(points_of(a, t)[:, None] - points_of(b, s), axis=2).min()
    error = 0.5 * (t[1] * (a[RADIUS] or 1.0) + s[1] * (b[RADIUS] or 1.0))
    assert grid - error - 1e-12 <= least(a, b) <= grid + 1e-12


def segments_distance(p, u, length, q, v, other):
    """Closed form: |p + s u - q - t v|^2 is convex, so its least value lies where both derivatives vanish,
    s - t u.v = (q - p).u and s u.v - t = (q - p).v, if that is inside, otherwise at one of four ends."""
    w, c = q - p, float(u @ v)
    best = np.inf
    if c * c < 1.0:
        s, t = np.linalg.solve([[1.0, -c], [c, -1.0]], [w @ u, w @ v])
        if 0.0 <= s <= length and 0.0 <= t <= other:
            best = np.linalg.norm(p + s * u - q - t * v)
    for end in (p, p + length * u):
        best = min(best, np.linalg.norm(q + np.clip((end - q) @ v, 0.0, other) * v - end))
    for end in (q, q + other * v):
        best = min(best, np.linalg.norm(p + np.clip((end - p) @ u, 0.0, length) * u - end))
    return best


def test_straights_closed_form(rng):
    inside = 0
    for _ in range(500):
        p, q = 0.5 * rng.normal(size=(2, 3))
        u, v = unit(rng.normal(size=3)), unit(rng.normal(size=3))
        length, other = rng.uniform(0.5, 3.0, 2)
        places = minima(straight(p, u, length), straight(q, v, other))
        # Convex: one minimum.
        assert distances(places) == pytest.approx([segments_distance(p, u, length, q, v, other)], abs=1e-12)
        inside += 0.0 < (places[0, 0] - p) @ u < length and 0.0 < (places[0, 1] - q) @ v < other
    assert inside > 50


def test_crossing_straights_meet():
    a = straight((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0), 2.0)
    b = straight((0.3, -1.0, 0.0), (0.0, 1.0, 0.0), 5.0)
    assert minima(a, b) == pytest.approx(np.array([[[0.3, 0.0, 0.0], [0.3, 0.0, 0.0]]]), abs=1e-15)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_parallel_straights_have_both_ends_and_the_middle_of_what_they_share(sign):
    a = straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 3.0)
    b = straight((1.0 if sign > 0.0 else 5.0, 0.4, 0.0), (sign, 0.0, 0.0), 4.0)
    places = minima(a, b)
    assert np.sort(places[:, 0, 0]) == pytest.approx([1.0, 2.0, 3.0])
    assert places[:, 1] - places[:, 0] == pytest.approx(np.tile([0.0, 0.4, 0.0], (3, 1)))


def test_parallel_straights_past_one_another_are_nearest_at_two_ends():
    a = straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 1.0)
    b = straight((4.0, 4.0, 0.0), (1.0, 0.0, 0.0), 1.0)
    assert distances(minima(a, b)) == pytest.approx([5.0])


def test_coaxial_arcs_have_both_ends_and_the_middle_of_what_they_share():
    """From 0 to 120 and from 40 to 290 degrees: they face each other from 40 to 120, and across the rest of
    the turn their ends at 0 and 290 degrees are nearer to each other than to what is beside these."""
    t = np.radians(40.0)
    first = (np.cos(t), np.sin(t), 0.0)
    a = arc((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 1.0, np.radians(120.0))
    b = arc((0.0, 0.0, 0.3), first, np.cross(UP, first), 1.4, np.radians(250.0))
    across = np.sqrt(1.0 + 1.4**2 - 2.8 * np.cos(np.radians(70.0)) + 0.3**2)
    for places in (minima(a, b), minima(b, a)[:, ::-1]):
        angles = np.degrees(np.arctan2(places[:, 0, 1], places[:, 0, 0]))
        order = np.argsort(angles)
        assert angles[order] == pytest.approx([0.0, 40.0, 80.0, 120.0])
        assert distances(places)[order] == pytest.approx([across, 0.5, 0.5, 0.5])


def test_coaxial_arcs_that_face_each_other_twice():
    """0 to 200 and 170 to 370 degrees share 170 to 200 and 0 to 10."""
    t = np.radians(170.0)
    first = (np.cos(t), np.sin(t), 0.0)
    a = arc((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 1.0, np.radians(200.0))
    b = arc((0.0, 0.0, 0.5), first, np.cross(UP, first), 1.0, np.radians(200.0))
    places = minima(a, b)
    angles = np.degrees(np.arctan2(places[:, 0, 1], places[:, 0, 0])) % 360.0
    assert np.sort(np.round(angles, 9) % 360.0) == pytest.approx([0.0, 5.0, 10.0, 170.0, 185.0, 200.0])
    assert distances(places) == pytest.approx(0.5)


def test_an_arc_round_a_straight_on_its_axis(rng):
    axis = straight((0.0, 0.0, -2.0), (0.0, 0.0, 1.0), 3.0)
    part = arc_about(rng, np.zeros(3), UP, 0.8, 2.0)
    places = minima(part, axis)
    along = [np.arctan2(p @ part[SECOND], p @ part[FIRST]) for p in places[:, 0]]
    assert np.sort(along) == pytest.approx([0.0, 1.0, 2.0], abs=1e-12)
    assert places[:, 1] == pytest.approx(np.zeros((3, 3)), abs=1e-15)
    whole = minima(axis, arc_about(rng, np.zeros(3), UP, 0.8, FULL))
    assert distances(whole) == pytest.approx([0.8] * 4)
    assert whole[:, 1].mean(axis=0) == pytest.approx(np.zeros(3), abs=1e-12)
    # A straight that ends short of the plane has its end nearest, to all of the arc alike.
    short = minima(part, straight((0.0, 0.0, -2.0), (0.0, 0.0, 1.0), 1.4))
    assert distances(short) == pytest.approx([1.0] * 3)


def test_a_ball_in_the_middle_of_an_arc(rng):
    places = minima(
        straight((0.0, 0.0, 0.6), (1.0, 0.0, 0.0), 0.0), arc_about(rng, np.zeros(3), UP, 0.8, 5.0)
    )
    assert distances(places) == pytest.approx([1.0] * 3)
    assert np.ptp(places[:, 1], axis=0).max() > 0.5
    whole = minima(
        straight((0.0, 0.0, 0.6), (1.0, 0.0, 0.0), 0.0), arc_about(rng, np.zeros(3), UP, 0.8, FULL)
    )
    assert distances(whole) == pytest.approx([1.0] * 4)
    assert whole[:, 1].mean(axis=0) == pytest.approx(np.zeros(3), abs=1e-12)


@pytest.mark.parametrize(
    ("degrees", "expected"),
    [(50.0, [50.0]), (359.9, [0.0]), (100.0, [90.0]), (220.0, [90.0]), (230.0, [0.0])],
)
def test_a_point_and_a_quarter_circle(degrees, expected):
    """Nearest are the place in its direction, or that one of the ends that is less of an angle away."""
    quarter = arc((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 2.0, 0.5 * np.pi)
    t = np.radians(degrees)
    point = np.array([3.0 * np.cos(t), 3.0 * np.sin(t), 1.0])
    found = np.array(nearest_on_primitive(*point, quarter))
    e = np.radians(expected[0])
    assert found == pytest.approx([2.0 * np.cos(e), 2.0 * np.sin(e), 0.0], abs=1e-12)
    places = minima(straight(point, (0.0, 0.0, 1.0), 0.0), quarter)
    assert min(distances(places)) == pytest.approx(np.linalg.norm(found - point))
    # Between the backs of both ends, from 180 to 270 degrees, walking on from either leads away.
    assert len(places) == (2 if 180.0 < degrees < 270.0 else 1)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**9))
def test_every_descent_ends_at_one_of_the_minima(seed):
    """Each place is a local minimum, and a descent from anywhere finds no other (L-BFGS-B, within bounds)."""
    rng = np.random.default_rng(seed)
    curves = [any_curve(rng) for _ in range(2)]
    a, b = (np.where(np.arange(COLUMNS) == SPAN, min(c[SPAN], 6.0), c) for c in curves)
    places = minima(a, b)
    mine = distances(places)
    bounds = [(0.0, a[SPAN]), (0.0, b[SPAN])]
    for row in range(len(places)):
        for _ in range(20):
            ends = [
                _shifted(c, p, 1e-4 * rng.normal()) for c, p in ((a, places[row, 0]), (b, places[row, 1]))
            ]
            assert np.linalg.norm(ends[0] - ends[1]) >= mine[row] - 1e-9

    def square(x):
        return float(((points_of(a, x[:1])[0] - points_of(b, x[1:])[0]) ** 2).sum())

    for _ in range(8):
        start = [rng.uniform(*limit) for limit in bounds]
        end = minimize(square, start, bounds=bounds, method="L-BFGS-B", options={"ftol": 1e-15, "gtol": 1e-9})
        assert np.abs(mine - np.sqrt(end.fun)).min() < 1e-3


def _shifted(curve, point, by):
    """A point of a curve a little on, not past its ends."""
    t = np.linspace(0.0, curve[SPAN], 2001)
    near = t[np.argmin(np.linalg.norm(points_of(curve, t) - point, axis=1))]
    around = np.clip(near + np.linspace(-t[1], t[1], 4001), 0.0, curve[SPAN])
    at = around[np.argmin(np.linalg.norm(points_of(curve, around) - point, axis=1))]
    return points_of(curve, [np.clip(at + by, 0.0, curve[SPAN])])[0]


def test_invariance(rng):
    """Rigid motion, swapping, running a curve backwards and scale change nothing but the scale."""
    for _ in range(100):
        a, b = anything(rng)
        turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
        shift = rng.normal(size=3)
        mine = np.sort(distances(minima(a, b)))
        moved = [np.empty(COLUMNS) for _ in range(2)]
        for row, out in zip((a, b), moved, strict=True):
            placed(row, shift, turn, out)
            t = rng.uniform(0.0, row[SPAN])
            assert primitive_point(out, t) == pytest.approx(shift + np.array(primitive_point(row, t)) @ turn)
        assert np.sort(distances(minima(*moved))) == pytest.approx(mine, abs=1e-9)
        assert np.sort(distances(minima(b, a))) == pytest.approx(mine, abs=1e-9)
        large = [np.array(row) for row in (a, b)]
        for row in large:
            row[ORIGIN] *= 7.0
            row[RADIUS if row[RADIUS] else SPAN] *= 7.0
        assert np.sort(distances(minima(*large))) == pytest.approx(7.0 * mine, abs=1e-8)
        back = np.array(a)
        if a[RADIUS]:
            back[FIRST], back[SECOND] = (
                (points_of(a, [a[SPAN]])[0] - a[ORIGIN]) / a[RADIUS],
                (np.sin(a[SPAN]) * a[FIRST] - np.cos(a[SPAN]) * a[SECOND]),
            )
        else:
            back[ORIGIN], back[FIRST] = points_of(a, [a[SPAN]])[0], -a[FIRST]
        assert np.sort(distances(minima(back, b))) == pytest.approx(mine, abs=1e-9)


def test_whole_arcs_are_circles(rng):
    for _ in range(200):
        a, b = (
            arc_about(rng, rng.normal(size=3), rng.normal(size=3), rng.uniform(0.5, 1.5), FULL)
            for _ in range(2)
        )
        normals = [np.cross(c[FIRST], c[SECOND]) for c in (a, b)]
        points = np.empty((8, 2, 3))
        count = nearest_points(
            a[ORIGIN], normals[0], a[RADIUS], b[ORIGIN], normals[1], b[RADIUS], np.empty(8), points
        )
        assert minima(a, b) == pytest.approx(points[:count], abs=1e-13)
        p = rng.normal(size=3)
        assert nearest_on_primitive(*p, a) == pytest.approx(
            nearest_on_circle(*p, a[ORIGIN], normals[0], a[RADIUS]), abs=1e-13
        )


def as_shapes(rings, rng, which):
    """The same rings, those in `which` as shapes of one whole arc, begun anywhere."""
    bodies = [shaped(ring_shape(rings.radii[k], rings.wire_radii[k])) for k in which]
    turned = []
    for k, body in zip(which, bodies, strict=True):
        axis = unit(np.cross(rings.normals[k], rng.normal(size=3)))
        turned.append(body.posed(rings.centres[[k]], rings.normals[[k]], axis[None]))
    rest = np.setdiff1d(np.arange(len(rings)), which)
    back = np.argsort(np.concatenate([which, rest]))
    return concatenate([*turned, rings[rest]])[back]


def test_rings_as_shapes_have_the_gaps_and_contacts_of_rings(rng):
    rings = random_rings(rng, 60, spread=1.0)
    pairs = np.array([(i, j) for i in range(60) for j in range(i + 1, min(i + 6, 60))])
    mixed = as_shapes(rings, rng, np.flatnonzero(rng.random(60) < 0.5))
    assert 10 < mixed.is_ring.sum() < 50
    gaps, points = smallest_gaps(rings, pairs)
    mine, places = smallest_gaps(mixed, pairs)
    assert mine == pytest.approx(gaps, abs=1e-12)
    assert places == pytest.approx(points, abs=1e-7)
    both = mixed.is_ring[pairs].all(axis=1)
    assert both.any()
    assert np.array_equal(mine[both], gaps[both])
    theirs, ours = contacts(rings, pairs), contacts(mixed, pairs)
    assert np.array_equal(ours.pairs, theirs.pairs)
    assert ours.gaps == pytest.approx(theirs.gaps, abs=1e-12)
    assert ours.points == pytest.approx(theirs.points, abs=1e-7)


def test_rings_that_hug_each_other():
    """Whole circles in a nearly common direction and curvature; a second minimum hides beside the first."""
    rng = np.random.default_rng(11)
    for _ in range(600):
        a, b = hugging_arcs(rng)
        circles = [(c[ORIGIN], np.cross(c[FIRST], c[SECOND]), c[RADIUS]) for c in (a, b)]
        gaps, _ = smallest_gaps(rings_of(*[(*circle, 0.0) for circle in circles]), PAIR)
        assert gaps[0] == pytest.approx(circle_distance(*circles), abs=1e-9)


def link_shape(wire=0.4):
    """A long link of two straights and two bends, with a foot of thinner wire across one end, and a ball."""
    oval = bent_wire(
        [Bend(length=4.0), Bend(radius=1.5, angle=180.0), Bend(length=4.0), Bend(radius=1.5, angle=180.0)],
        begin=(-2.0, -1.5, 0.0),
    )
    foot = (segment((-3.5, 0.0, 0.0), (-5.0, 0.0, 0.5)),)
    ball = (Straight((4.2, 0.0, 0.1), (1.0, 0.0, 0.0), 0.0),)
    return Shape((Strand(oval, wire), Strand(foot, 0.2), Strand(ball, 0.9, part="pearl")), ())


def hook_shape():
    """A hook that bends out of its plane: straight, half a turn, a bend upwards and a straight tip."""
    steps = [
        Bend(length=3.0), Bend(radius=1.2, angle=200.0), Bend(radius=2.0, angle=40.0, direction=60.0),
        Bend(length=1.0),
    ]  # fmt: skip
    return Shape((Strand(bent_wire(steps), 0.35),), ())


def posed(shape, rng, spread=3.0):
    normal = unit(rng.normal(size=3))
    axis = unit(np.cross(normal, rng.normal(size=3)))
    return shaped(shape).posed(spread * rng.normal(size=(1, 3)), normal[None], axis[None])


def wires_of(bodies, k, per_mm=60):
    """Points along the curves of a body with the wire there, straight from its strands."""
    points, wires = [], []
    for strand in bodies.shape(k).strands:
        for curve in strand.curves:
            count = max(2, int(per_mm * curve.length))
            points += [curve.point(t) for t in np.linspace(0.0, curve.span, count)]
            wires += [strand.wire_radius] * count
    return bodies.centres[k] + np.array(points) @ bodies.frames()[k], np.array(wires)


def test_bodies_of_several_curves_against_brute_force(rng):
    for _ in range(30):
        bodies = concatenate([posed(link_shape(), rng), posed(hook_shape(), rng)])
        gaps, points = smallest_gaps(bodies, PAIR)
        (p, r), (q, s) = wires_of(bodies, 0), wires_of(bodies, 1)
        apart = np.linalg.norm(p[:, None] - q, axis=2) - r[:, None] - s
        # Steps of 1/60 mm on either wire.
        assert apart.min() - 1.0 / 60.0 <= gaps[0] <= apart.min() + 1e-12
        rows = [bodies.primitives().table[c] for c in map(slice, *_ranges(bodies))]
        world = [[_world(row, bodies, k) for row in rows[k]] for k in range(2)]
        exact = min(sampled(a, b, 1001) - a[WIRE] - b[WIRE] for a in world[0] for b in world[1])
        assert gaps[0] == pytest.approx(exact, abs=1e-9)
        at = [np.linalg.norm(w - x, axis=1).argmin() for w, x in ((p, points[0, 0]), (q, points[0, 1]))]
        assert np.linalg.norm(points[0, 0] - points[0, 1]) - r[at[0]] - s[at[1]] == pytest.approx(gaps[0])
        found = contacts(bodies, PAIR)
        assert found.gaps.min() == pytest.approx(gaps[0], abs=1e-12)
        swapped, _ = smallest_gaps(bodies, PAIR[:, ::-1].copy())
        assert swapped[0] == pytest.approx(gaps[0], abs=1e-12)


def _ranges(bodies):
    curves = bodies.primitives()
    return curves.begins, curves.ends


def _world(row, bodies, k):
    out = np.empty(COLUMNS)
    placed(row, bodies.centres[k], bodies.frames()[k], out)
    return out


def test_a_ball_by_a_bent_wire_has_a_contact_at_each_dip_of_its_distance(rng):
    """The wire's distance from a point, sampled along all of it, dips once for each contact: joints of its
    curves neither add any nor hide one."""
    ball = Shape((Strand((Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), 0.3, part="pearl"),), ())
    closed = Shape(link_shape().strands[:1], ())
    several = 0
    for shape, loop in ((closed, True), (hook_shape(), False)):
        for _ in range(60):
            bodies = concatenate([shaped(ball).moved(1.5 * rng.normal(size=3)), shaped(shape)])
            points, wires = wires_of(bodies, 1, 2000)
            points = points[np.r_[True, np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-9]]
            if loop:
                points = points[:-1]
            d = np.linalg.norm(points - bodies.centres[0], axis=1)
            before, after = (np.roll(d, 1), np.roll(d, -1))
            if not loop:
                before[0] = after[-1] = np.inf
            dips = np.sort(d[(d < before) & (d <= after)]) - 0.3 - wires[0]
            assert np.sort(contacts(bodies, PAIR).gaps) == pytest.approx(dips, abs=1e-5)
            several += len(dips) > 1
    assert several > 30


def test_contact_at_a_joint_is_one(rng):
    """The nearest place of a cross wire is where a straight runs into a bend: found once."""
    curve = bent_wire([Bend(length=2.0), Bend(radius=1.0, angle=90.0)])
    wire = Shape((Strand(curve, 0.2),), ())
    cross = Shape((Strand((segment((2.0, 1.0, -3.0), (2.0, 1.0, 3.0)),), 0.2),), ())
    # The line along the axis of the bend is equally far from all of it, the joint included.
    found = contacts(concatenate([shaped(wire), shaped(cross)]), PAIR)
    assert found.gaps == pytest.approx([0.6] * 3)
    level = Shape((Strand((segment((2.0, -3.0, 0.7), (2.0, 3.0, 0.7)),), 0.2),), ())
    found = contacts(concatenate([shaped(wire), shaped(level)]), PAIR)
    assert found.gaps == pytest.approx([0.3])
    assert found.points[0, 0] == pytest.approx([2.0, 0.0, 0.0], abs=1e-9)


def test_bodies_moved_turned_and_scaled(rng):
    for _ in range(20):
        bodies = concatenate([posed(link_shape(), rng), posed(hook_shape(), rng), random_rings(rng, 2)])
        pairs = np.array([(i, j) for i in range(4) for j in range(i + 1, 4)])
        gaps, _ = smallest_gaps(bodies, pairs)
        turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
        turn *= np.sign(np.linalg.det(turn))
        assert smallest_gaps(bodies.turned(turn).moved(rng.normal(size=3)), pairs)[0] == pytest.approx(
            gaps, abs=1e-9
        )
        thick, _ = smallest_gaps(bodies.thickened(0.05), pairs)
        assert thick == pytest.approx(gaps - 0.1, abs=1e-9)
        in_order = contacts(bodies, pairs)
        places = [np.flatnonzero((pairs == pair).all(axis=1))[0] for pair in in_order.pairs]
        assert places == sorted(places)
        assert [in_order.gaps[(in_order.pairs == p).all(axis=1)].min() for p in pairs] == pytest.approx(gaps)


def test_a_ring_through_an_open_arc_sees_no_wire_in_its_gap():
    """A split wire of three quarters of a turn: where its gap is a ring comes as near as its ends allow."""
    three_quarters = Arc((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), 2.0, 1.5 * np.pi)
    wire = shaped(Shape((Strand((three_quarters,), 0.1),), ()))
    t = np.radians(315.0)
    ring = Bodies(
        np.array([[2.0 * np.cos(t), 2.0 * np.sin(t), 0.0]]), np.array([[-np.sin(t), np.cos(t), 0.0]]),
        np.array([0.5]), np.array([0.1]),
    )  # fmt: skip
    gaps, points = smallest_gaps(concatenate([wire, ring]), PAIR)
    # Either end is 2 sin 45 = sqrt 2 from the ring's plane and 2 - sqrt 2 in from its centre, outside of 0.5.
    assert gaps[0] == pytest.approx(np.hypot(np.sqrt(2.0), 2.0 - np.sqrt(2.0) - 0.5) - 0.2, abs=1e-12)
    assert min(np.linalg.norm(points[0, 0] - e) for e in ([2.0, 0.0, 0.0], [0.0, -2.0, 0.0])) < 1e-9
