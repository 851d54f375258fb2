import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import contacts, smallest_gaps
from tests.conftest import random_rings, rings_of
from tests.oracles import circle_distance, local_minima

PAIR = np.array([[0, 1]])


def distance(*rows):
    rings = rings_of(*[(*row, 0.0) for row in rows])
    return float(smallest_gaps(rings, PAIR)[0][0])


def circles(rings, i):
    return rings.centres[i], rings.normals[i], rings.radii[i]


@pytest.mark.parametrize(("h", "e"), [(0.0, 3.5), (0.7, 0.0), (0.7, 0.4), (1.2, 2.9), (0.0, 0.1), (0.3, 0.5)])
def test_parallel_planes_closed_form(h, e):
    """d = sqrt(h^2 + g^2), g = max(0, e - r1 - r2, |r1 - r2| - e) (derived: two circles seen along their
    axes)."""
    r1, r2 = 1.0, 1.6
    gap = max(0.0, e - r1 - r2, abs(r1 - r2) - e)
    assert distance(((0, 0, 0), (0, 0, 1), r1), ((e, 0, h), (0, 0, 1), r2)) == pytest.approx(
        np.hypot(h, gap), abs=1e-12
    )


def test_unit_circles_through_each_others_centres():
    """In perpendicular planes they are 1 apart everywhere (derived)."""
    rings = rings_of(((0, 0, 0), (0, 0, 1), 1.0, 0.0), ((1, 0, 0), (0, 1, 0), 1.0, 0.0))
    found = contacts(rings, PAIR)
    assert found.gaps == pytest.approx(1.0, abs=1e-12)
    assert len(found.gaps) == 4


@pytest.mark.parametrize("alpha", [0.0, 0.1, 0.4, 0.8])
@pytest.mark.parametrize("p", [0.5, 0.9, 1.1, 1.4, 1.7, 1.95])
def test_twisted_joint_closed_form(alpha, p):
    """Equal circles R, centres p apart on x, planes twisted alpha from perpendicular about x (derived)."""
    s = np.sin(alpha)
    taut = 2.0 - p if p >= 1.0 + s else np.sqrt(2.0 * (1.0 - s) - p * p * (1.0 - s) / (1.0 + s))
    expected = min(taut, p) if p < 1.0 else taut
    other = (0.0, np.cos(alpha), np.sin(alpha))
    assert distance(((0, 0, 0), (0, 0, 1), 1.0), ((p, 0, 0), other, 1.0)) == pytest.approx(expected, abs=1e-9)


def test_random_pairs_against_dense_sampling(rng):
    rings = random_rings(rng, 400)
    pairs = np.column_stack([np.arange(0, 400, 2), np.arange(1, 400, 2)])
    gaps, points = smallest_gaps(rings, pairs)
    for k, (i, j) in enumerate(pairs):
        exact = (
            circle_distance(circles(rings, i), circles(rings, j)) - rings.wire_radii[i] - rings.wire_radii[j]
        )
        assert gaps[k] == pytest.approx(exact, abs=1e-9)
        assert np.linalg.norm(points[k, 0] - points[k, 1]) - rings.wire_radii[[i, j]].sum() == pytest.approx(
            gaps[k]
        )


def test_thousands_of_nasty_pairs_against_dense_sampling():
    """Nearly coaxial, nearly coplanar and nearly equal circles, whose minima lie close together or run along
    the ring."""
    rng = np.random.default_rng(5)
    for _ in range(1500):
        size = 10.0 ** rng.uniform(-5, 0, 3)
        normal = np.array([0.0, 0.0, 1.0]) + size[0] * rng.normal(size=3)
        a = (np.zeros(3), np.array([0.0, 0.0, 1.0]), 1.0)
        b = (
            size[1] * rng.normal(size=3),
            normal / np.linalg.norm(normal),
            1.0 + size[2] * rng.uniform(-0.5, 1.0),
        )
        assert distance(a, b) == pytest.approx(circle_distance(a, b), abs=1e-9)


def test_every_local_minimum_is_found(rng):
    rings = random_rings(rng, 300)
    pairs = np.column_stack([np.arange(0, 300, 2), np.arange(1, 300, 2)])
    found = contacts(rings, pairs)
    several = 0
    for i, j in pairs:
        mine = np.sort(found.gaps[(found.pairs == (i, j)).all(axis=1)]) + rings.wire_radii[[i, j]].sum()
        assert mine == pytest.approx(local_minima(circles(rings, i), circles(rings, j)), abs=3e-4)
        several += len(mine) > 1
        # Of at most 8 critical points (Neff 1990) at most half are minima.
        assert 1 <= len(mine) <= 4
    assert several > 20


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6))
def test_invariance(seed):
    """Rigid motion, swapping the pair, the sign of a normal and scale change nothing but the scale."""
    rng = np.random.default_rng(seed)
    rings = random_rings(rng, 2)
    gap = smallest_gaps(rings, PAIR)[0][0]
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    moved = Bodies(
        rings.centres @ turn.T + rng.normal(size=3), rings.normals @ turn.T, rings.radii, rings.wire_radii
    )
    assert smallest_gaps(moved, PAIR)[0][0] == pytest.approx(gap, abs=1e-9)
    assert smallest_gaps(rings, PAIR[:, ::-1].copy())[0][0] == pytest.approx(gap, abs=1e-9)
    flipped = Bodies(rings.centres, rings.normals * [[-1.0], [1.0]], rings.radii, rings.wire_radii)
    assert smallest_gaps(flipped, PAIR)[0][0] == pytest.approx(gap, abs=1e-9)
    big = Bodies(7.0 * rings.centres, rings.normals, 7.0 * rings.radii, 7.0 * rings.wire_radii)
    assert smallest_gaps(big, PAIR)[0][0] == pytest.approx(7.0 * gap, abs=1e-8)


def test_coaxial_circles_have_four_even_contacts():
    rings = rings_of(((0, 0, 0), (0, 0, 1), 2.0, 0.5), ((0, 0, 1.5), (0, 0, 1), 2.0, 0.5))
    found = contacts(rings, PAIR)
    assert found.gaps == pytest.approx([0.5] * 4)
    assert np.linalg.norm(found.points[:, 0].mean(axis=0)) == pytest.approx(0.0, abs=1e-9)


def test_a_circle_through_the_others_axis():
    """A point on the axis is equally far from the whole circle: no division by zero, the true distance."""
    unit = ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 1.0)
    for t in (0.0, 0.1234567, 0.1234567 + np.pi / 16):
        # In a plane through the z axis, meeting it where its own angle is t or near it.
        centre = (-2.0 * np.cos(t), 0.0, -2.0 * np.sin(t) + 0.3)
        a = (np.array(centre), np.array([0.0, 1.0, 0.0]), 2.0)
        b = tuple(np.array(x) if isinstance(x, tuple) else x for x in unit)
        assert distance(a, b) == pytest.approx(circle_distance(a, b), abs=1e-9)
        assert distance(b, a) == pytest.approx(circle_distance(a, b), abs=1e-9)


@pytest.mark.parametrize(("ratio", "degrees"), [(0.1, 53.130), (0.2, 36.870), (0.25, 30.0)])
def test_free_twist_of_a_taut_joint(ratio, degrees):
    """sin(alpha_max) = 1 - 2 r / R (derived): so far from square a taut joint turns before wires overlap."""
    for turn, clear in ((degrees - 0.01, True), (degrees + 0.5, False)):
        alpha = np.radians(turn)
        rings = rings_of(
            ((0, 0, 0), (0, 0, 1), 1.0, ratio),
            ((2.0 - 2.0 * ratio, 0, 0), (0, np.cos(alpha), np.sin(alpha)), 1.0, ratio),
        )
        gap = smallest_gaps(rings, PAIR)[0][0]
        assert (abs(gap) < 1e-9) if clear else (gap < -1e-6)


@pytest.mark.parametrize("ratio", [8.0, 30.0, 100.0])
def test_a_small_circle_by_a_large_one(rng, ratio):
    """Near the rim of the large one, where it counts, in either order."""
    for _ in range(150):
        small = (np.array([ratio, 0.0, 0.0]) + 1.5 * rng.normal(size=3), rng.normal(size=3), 1.0)
        small = (small[0], small[1] / np.linalg.norm(small[1]), 1.0)
        large = (np.zeros(3), np.array([0.0, 0.0, 1.0]), ratio)
        exact = circle_distance(small, large)
        assert distance(small, large) == pytest.approx(exact, abs=1e-9)
        assert distance(large, small) == pytest.approx(exact, abs=1e-9)
