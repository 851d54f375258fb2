"""Arcs and straights, and wires bent of them."""

from itertools import pairwise
from math import hypot, pi, radians, tau

import numpy as np
import pytest

from chaingen.geometry.centrelines import (
    FULL_TURN,
    Arc,
    Bend,
    Straight,
    bent_wire,
    circle,
    moved_curve,
    reversed_curve,
    segment,
)


def random_rotation(rng):
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    q = q * np.sign(np.diag(r))
    return q * np.linalg.det(q)


def random_curve(rng):
    one, two = random_rotation(rng)[:2]
    at = tuple(rng.normal(size=3))
    if rng.random() < 0.4:
        return Straight(at, tuple(one), float(rng.uniform(0.1, 5.0)))
    return Arc(at, tuple(one), tuple(two), float(rng.uniform(0.2, 4.0)), float(rng.uniform(0.1, tau)))


CURVES = [random_curve(np.random.default_rng(seed)) for seed in range(12)]


def along(curve, count=400):
    return np.array([curve.point(curve.span * k / count) for k in range(count + 1)])


@pytest.mark.parametrize("curve", CURVES)
def test_points_are_as_far_along_as_the_length_says(curve):
    points = along(curve)
    assert np.linalg.norm(np.diff(points, axis=0), axis=1).sum() == pytest.approx(curve.length, rel=1e-4)
    h = 1e-6
    for t in (0.1 * curve.span, 0.7 * curve.span):
        ahead = np.subtract(curve.point(t + h), curve.point(t - h))
        np.testing.assert_allclose(ahead / np.linalg.norm(ahead), curve.tangent(t), atol=1e-8)


@pytest.mark.parametrize("curve", [curve for curve in CURVES if isinstance(curve, Arc)])
def test_an_arc_is_flat_and_round(curve):
    away = along(curve) - np.array(curve.centre)
    np.testing.assert_allclose(np.linalg.norm(away, axis=1), curve.radius, atol=1e-12)
    normal = np.cross(curve.start, curve.ahead)
    np.testing.assert_allclose(away @ normal, 0.0, atol=1e-12)


@pytest.mark.parametrize("curve", CURVES)
def test_a_curve_run_the_other_way_has_the_same_points(curve):
    back = reversed_curve(curve)
    np.testing.assert_allclose(along(back), along(curve)[::-1], atol=1e-12)
    np.testing.assert_allclose(back.tangent(0.0), -np.array(curve.tangent(curve.span)), atol=1e-12)
    np.testing.assert_allclose(along(reversed_curve(back)), along(curve), atol=1e-12)


@pytest.mark.parametrize("curve", CURVES)
def test_a_moved_curve_is_the_curve_moved(curve, rng):
    turn, shift = random_rotation(rng), rng.normal(size=3)
    moved = moved_curve(curve, turn, shift)
    np.testing.assert_allclose(along(moved), along(curve) @ turn.T + shift, atol=1e-12)
    assert moved.length == curve.length


def test_a_point_is_a_straight_of_no_length():
    point = Straight((1.0, 2.0, 3.0), (0.0, 0.0, 1.0), 0.0)
    assert point.point(0.0) == point.point(point.span) == (1.0, 2.0, 3.0)
    assert reversed_curve(point).point(0.0) == (1.0, 2.0, 3.0)


def test_a_segment_goes_from_one_point_to_another():
    one, two = (1.0, -2.0, 0.5), (4.0, 2.0, 0.5)
    straight = segment(one, two)
    assert straight.length == 5.0
    assert straight.direction == pytest.approx((0.6, 0.8, 0.0))
    assert straight.point(straight.length) == pytest.approx(two)
    with pytest.raises(AssertionError):
        segment(one, one)


def test_a_circle_runs_anticlockwise_about_its_normal(rng):
    for _ in range(10):
        normal = random_rotation(rng)[0]
        whole = circle((1.0, 2.0, 3.0), tuple(normal), 2.5)
        assert whole.angle >= FULL_TURN
        np.testing.assert_allclose(np.cross(whole.start, whole.ahead), normal, atol=1e-12)
        assert whole.length == pytest.approx(tau * 2.5)
    first = circle((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 1.0, start=(0.0, 1.0, 0.0))
    assert first.point(0.5 * pi) == pytest.approx((-1.0, 0.0, 0.0))


# Bent wires


def ends(curves):
    return np.array(curves[-1].point(curves[-1].span)), np.array(curves[-1].tangent(curves[-1].span))


@pytest.mark.parametrize(
    ("direction", "end", "heading"),
    [
        (0.0, (2.0, 2.0, 0.0), (0.0, 1.0, 0.0)),
        (90.0, (2.0, 0.0, 2.0), (0.0, 0.0, 1.0)),
        (180.0, (2.0, -2.0, 0.0), (0.0, -1.0, 0.0)),
        (270.0, (2.0, 0.0, -2.0), (0.0, 0.0, -1.0)),
    ],
)
def test_directions_of_a_bend(direction, end, heading):
    at, ahead = ends(bent_wire([Bend(radius=2.0, angle=90.0, direction=direction)]))
    np.testing.assert_allclose(at, end, atol=1e-12)
    np.testing.assert_allclose(ahead, heading, atol=1e-12)


def test_left_is_carried_along():
    # Up, then left: left is still y after the wire has turned up.
    up, left = Bend(radius=1.0, angle=90.0, direction=90.0), Bend(radius=1.0, angle=90.0)
    _, ahead = ends(bent_wire([up, left]))
    np.testing.assert_allclose(ahead, (0.0, 1.0, 0.0), atol=1e-12)
    # Over the top by half a turn, left is the same side still, up is down.
    over = Bend(radius=1.0, angle=180.0, direction=90.0)
    _, ahead = ends(bent_wire([over, up]))
    np.testing.assert_allclose(ahead, (0.0, 0.0, -1.0), atol=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_a_bent_wire_has_no_corners(seed):
    rng = np.random.default_rng(seed)
    steps = [
        Bend(length=float(rng.uniform(0.1, 5.0)))
        if rng.random() < 0.4
        else Bend(
            radius=float(rng.uniform(0.5, 4.0)),
            angle=float(rng.uniform(1.0, 360.0)),
            direction=float(rng.uniform(-360.0, 360.0)),
        )
        for _ in range(12)
    ]
    frame = random_rotation(rng)
    curves = bent_wire(steps, begin=(1.0, 2.0, 3.0), heading=tuple(frame[0]), up=tuple(frame[2]))
    assert len(curves) == len(steps)
    assert curves[0].point(0.0) == pytest.approx((1.0, 2.0, 3.0))
    np.testing.assert_allclose(curves[0].tangent(0.0), frame[0], atol=1e-12)
    for before, after in pairwise(curves):
        np.testing.assert_allclose(before.point(before.span), after.point(0.0), atol=1e-9)
        np.testing.assert_allclose(before.tangent(before.span), after.tangent(0.0), atol=1e-9)
    for step, curve in zip(steps, curves, strict=True):
        assert curve.length == pytest.approx(step.length or step.radius * radians(step.angle))
    # The same steps from elsewhere make the same wire, moved.
    plain = bent_wire(steps)
    turn = np.array([frame[0], np.cross(frame[2], frame[0]), frame[2]]).T
    for curve, other in zip(curves, plain, strict=True):
        moved = moved_curve(other, turn, np.array([1.0, 2.0, 3.0]))
        np.testing.assert_allclose(along(curve, 20), along(moved, 20), atol=1e-9)


def test_a_polygon_with_rounded_corners_comes_back_to_its_beginning():
    for sides in (3, 4, 6):
        steps = [Bend(length=5.0), Bend(radius=1.0, angle=360.0 / sides)] * sides
        at, ahead = ends(bent_wire(steps))
        np.testing.assert_allclose(at, 0.0, atol=1e-12)
        np.testing.assert_allclose(ahead, (1.0, 0.0, 0.0), atol=1e-12)


def test_bends_out_of_the_plane_make_a_helix():
    # Small equal bends, each turned a little further: a helix of curvature 1/R and torsion twist/length.
    radius, angle, twist, count = 3.0, 2.0, 1.0, 2000
    steps = [Bend(radius=radius, angle=angle, direction=twist * k) for k in range(count)]
    curves = bent_wire(steps)
    points = np.array([curve.point(0.0) for curve in curves])
    curvature, torsion = 1.0 / radius, radians(twist) / (radius * radians(angle))
    total = curvature**2 + torsion**2
    # The radius of a helix is k / (k^2 + t^2); its points lie on a cylinder about the axis of the tangents.
    tangents = np.array([curve.tangent(0.0) for curve in curves])
    axis = np.linalg.svd(tangents - tangents.mean(axis=0))[2][2]
    flat = points - np.outer(points @ axis, axis)
    across = np.linalg.svd(flat - flat.mean(axis=0))[2][:2]
    x, y = flat @ across.T @ np.eye(2)[:, 0], flat @ across.T @ np.eye(2)[:, 1]
    a, b, c = np.linalg.lstsq(np.stack([x, y, np.ones_like(x)], axis=1), x**2 + y**2, rcond=None)[0]
    fitted = hypot(0.5 * a, 0.5 * b, np.sqrt(c))
    assert fitted == pytest.approx(curvature / total, rel=1e-3)
    assert abs(tangents @ axis).mean() == pytest.approx(torsion / np.sqrt(total), rel=1e-3)
