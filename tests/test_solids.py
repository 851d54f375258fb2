"""Signed distance of solids against slow oracles: dense sampling, scipy's searches and finite differences."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize, minimize_scalar

from chaingen.geometry.solids import Solid, SolidKind, bar, distances, form, ledge, oval, plane
from chaingen.solve.drape.worn import neck_form

BARS = np.array(
    [
        [0.0, 0.0, -4.0, 0.5, 0.3, 5.0, 2.0],
        [1.0, 0.0, -3.0, 6.0, 1.0, -5.0, 1.5],
        [-1.0, 0.0, -3.0, -6.0, 1.0, -5.0, 1.5],
    ]
)
SLOPE = np.array([2.0, -1.0, 2.0]) / 3.0

SOLIDS = {
    "plane": plane(0.7),
    "sloping plane": Solid(SolidKind.PLANE, np.array([*SLOPE, -0.4])),
    "bar": bar(np.array([0.3, -0.2, 0.5]), np.array([1.0, 2.0, -0.5]), 2.0),
    "round oval": oval(20.0, 1.0),
    "oval": oval(24.0, 1.35),
    "thin oval": oval(24.0, 4.0),
    "form": form(BARS, 0.8),
    "neck": neck_form(25.0),
    "ledge": ledge(1.5, end=0.3, height=-0.2),
    "sharp ledge": ledge(0.05),
}


def points_about(rng, count=400, spread=4.0):
    return spread * rng.normal(size=(count, 3))


def smooth_at(name, solid, points):
    """Points where the distance is smooth: off axes, off the oval's inner crease, off where a bar's round
    end begins."""
    if name in ("bar", "round oval", "oval", "thin oval"):
        out = distances(solid, points)
        # The curvature of the level set must not be far larger than anything the difference step resolves.
        return points[np.abs(out[:, 4:]).max(axis=1) < 20.0]
    if name in ("form", "neck"):
        bars = solid.numbers[1:].reshape(-1, 7)
        keep = np.ones(len(points), dtype=bool)
        for one in bars:
            along = one[3:6] - one[:3]
            part = (points - one[:3]) @ along / np.linalg.norm(along)
            keep &= np.abs(part) > 1e-2
            keep &= np.abs(part - np.linalg.norm(along)) > 1e-2
            keep &= distance_to_segment(points, one[:3], one[3:6]) > 0.2
        return points[keep]
    if "ledge" in name:
        # Off where the round begins, where the second derivatives jump, and off the inner crease.
        end, height, radius = solid.numbers
        u, w = points[:, 0] - end + radius, points[:, 2] - height + radius
        smooth = (np.abs(u) > 1e-2) & (np.abs(w) > 1e-2) & ((np.abs(u - w) > 1e-2) | (np.maximum(u, w) > 0))
        return points[smooth & (np.hypot(u, w) > 0.1)]
    return points


def distance_to_segment(points, start, end):
    along = end - start
    part = np.clip((points - start) @ along / (along @ along), 0.0, 1.0)
    return np.linalg.norm(points - start - part[:, None] * along, axis=1)


def test_plane_by_its_foot_point(rng):
    """The point less its distance along the normal lies on the plane."""
    for name in ("plane", "sloping plane"):
        solid = SOLIDS[name]
        points = points_about(rng)
        out = distances(solid, points)
        foot = points - out[:, :1] * solid.numbers[:3]
        assert foot @ solid.numbers[:3] == pytest.approx(np.full(len(points), solid.numbers[3]), abs=1e-12)
        assert (out[:, 4:] == 0.0).all()
    assert distances(plane(0.7), np.array([[3.0, 4.0, 1.0]]))[0, 0] == pytest.approx(0.3, abs=1e-15)


def test_bar_by_searching_its_axis(rng):
    solid = SOLIDS["bar"]
    points = points_about(rng, 60)
    found = distances(solid, points)[:, 0]
    for point, value in zip(points, found, strict=True):
        nearest = minimize_scalar(
            lambda t, point=point: float(np.sum((solid.numbers[:3] + t * solid.numbers[3:6] - point) ** 2)),
            bracket=(-1.0, 1.0), tol=1e-12,
        )  # fmt: skip
        assert value == pytest.approx(np.sqrt(nearest.fun) - 2.0, abs=1e-7)
    assert found.min() < 0.0 < found.max()


def ellipse_distance(solid, point):
    """Dense sampling, then a bounded search round the best sample; the sign by the ellipse's equation."""
    a, b = solid.numbers[3:]

    def squared(t):
        return (a * np.cos(t) - point[0]) ** 2 + (b * np.sin(t) - point[2]) ** 2

    angles = np.linspace(0.0, 2.0 * np.pi, 2001)
    best = angles[np.argmin(squared(angles))]
    found = minimize_scalar(
        squared, bounds=(best - angles[1], best + angles[1]), method="bounded", options={"xatol": 1e-12}
    )
    inside = (point[0] / a) ** 2 + (point[2] / b) ** 2 < 1.0
    return np.sqrt(min(found.fun, squared(best))) * (-1.0 if inside else 1.0)


OVALS = ["round oval", "oval", "thin oval"]


@pytest.mark.parametrize("name", OVALS)
def test_oval_by_searching_its_ellipse(rng, name):
    solid = SOLIDS[name]
    a, b = solid.numbers[3:]
    t = np.linspace(0.0, 2.0 * np.pi, 9)
    surface = np.column_stack([a * np.cos(t), t, b * np.sin(t)])
    points = np.concatenate(
        [points_about(rng, 200), 0.3 * points_about(rng, 100), 10.0 * points_about(rng, 20), surface]
    )
    for point, value in zip(points, distances(solid, points)[:, 0], strict=True):
        assert value == pytest.approx(ellipse_distance(solid, point), abs=2e-7)


@pytest.mark.parametrize("name", OVALS)
def test_oval_on_its_planes_of_symmetry(name):
    """Where two or more points of the ellipse are nearest, the centre included."""
    solid = SOLIDS[name]
    a, b = solid.numbers[3:]
    points = np.array(
        [[x, 1.0, 0.0] for x in np.linspace(-1.5 * a, 1.5 * a, 13)]
        + [[0.0, -2.0, z] for z in np.linspace(-1.5 * b, 1.5 * b, 13)]
    )
    for point, value in zip(points, distances(solid, points)[:, 0], strict=True):
        assert value == pytest.approx(ellipse_distance(solid, point), abs=2e-7)


def test_oval_is_endless_along_y(rng):
    points = points_about(rng, 50)
    moved = points + np.array([0.0, 37.0, 0.0])
    assert distances(SOLIDS["oval"], points).tolist() == distances(SOLIDS["oval"], moved).tolist()


@pytest.mark.parametrize("ratio", [1.0, 1.05, 1.35, 2.0, 4.0])
def test_oval_circumference_by_quadrature(ratio):
    a, b = oval(160.0, ratio).numbers[3:]
    length, _ = quad(lambda t: np.hypot(a * np.sin(t), b * np.cos(t)), 0.0, 2.0 * np.pi, epsabs=1e-10)
    assert length == pytest.approx(160.0, abs=1e-8)
    assert a / b == pytest.approx(ratio, rel=1e-12)


def test_round_oval_is_a_bar(rng):
    points = points_about(rng)
    round_bar = bar(np.zeros(3), np.array([0.0, 1.0, 0.0]), 20.0 / (2.0 * np.pi))
    assert distances(SOLIDS["round oval"], points) == pytest.approx(distances(round_bar, points), abs=1e-9)


@pytest.mark.parametrize("name", ["ledge", "sharp ledge"])
def test_ledge_by_sampling_its_outline(rng, name):
    """Against the nearest of many points of top, round and front; the sign by what the table fills."""
    end, height, radius = SOLIDS[name].numbers
    arc = np.linspace(0.0, 0.5 * np.pi, 20_001)
    line = np.linspace(0.0, 25.0, 50_001)
    outline = np.concatenate(
        [
            np.column_stack([end - radius - line, np.full_like(line, height)]),
            np.column_stack([end - radius + radius * np.sin(arc), height - radius + radius * np.cos(arc)]),
            np.column_stack([np.full_like(line, end), height - radius - line]),
        ]
    )
    points = np.concatenate([points_about(rng, 150), 0.3 * points_about(rng, 150)])
    for point, value in zip(points, distances(SOLIDS[name], points)[:, 0], strict=True):
        x, z = point[0] - end, point[2] - height
        cut_off = x > -radius and z > -radius and np.hypot(x + radius, z + radius) > radius
        sign = -1.0 if x < 0.0 and z < 0.0 and not cut_off else 1.0
        away = np.hypot(outline[:, 0] - point[0], outline[:, 1] - point[2]).min()
        assert value == pytest.approx(sign * away, abs=1e-4)


def test_ledge_is_a_table_behind_its_edge_and_a_round_bar_at_it(rng):
    points = points_about(rng)
    flat = points - np.array([20.0, 0.0, 0.0])
    high = flat[:, 2] > -3.0
    assert distances(ledge(2.0), flat)[high] == pytest.approx(distances(plane(), flat)[high], abs=1e-12)
    beyond = np.abs(points) + np.array([-2.0, 0.0, -2.0])
    round_bar = bar(np.array([-2.0, 0.0, -2.0]), np.array([0.0, 1.0, 0.0]), 2.0)
    assert distances(ledge(2.0), beyond) == pytest.approx(distances(round_bar, beyond), abs=1e-12)
    moved = points + np.array([0.0, 37.0, 0.0])
    assert distances(ledge(2.0), points).tolist() == distances(ledge(2.0), moved).tolist()


def test_a_form_of_one_bar_is_exact(rng):
    """Outside and inside, along the bar and past its ends; blending a bar with nothing changes nothing."""
    points = points_about(rng)
    one = form(BARS[:1], 0.8)
    exact = distance_to_segment(points, BARS[0, :3], BARS[0, 3:6]) - BARS[0, 6]
    assert distances(one, points)[:, 0] == pytest.approx(exact, abs=1e-12)


@pytest.mark.parametrize("name", ["form", "neck"])
def test_form_never_says_farther_than_its_bars(rng, name):
    """And no nearer than the blend of k bars can: k ln(count) (log-sum-exp bound)."""
    solid = SOLIDS[name]
    blend, bars = solid.numbers[0], solid.numbers[1:].reshape(-1, 7)
    points = np.concatenate([points_about(rng, 2000), 5.0 * points_about(rng, 500)])
    exact = np.min([distance_to_segment(points, b[:3], b[3:6]) - b[6] for b in bars], axis=0)
    found = distances(solid, points)[:, 0]
    assert (found <= exact + 1e-12).all()
    assert (found >= exact - blend * np.log(len(bars)) - 1e-12).all()
    assert (exact - found).max() > 0.1 * blend


@pytest.mark.parametrize("name", ["form", "neck"])
def test_form_never_over_reports_the_way_to_its_surface(rng, name):
    """The nearest point of the surface f = 0 found by scipy is never nearer than f says."""
    solid = SOLIDS[name]
    points = points_about(rng, 400)
    found = distances(solid, points)[:, 0]
    points, found = points[found > 0.05][:25], found[found > 0.05][:25]
    assert len(points) == 25
    for point, value in zip(points, found, strict=True):
        start = distances(solid, point[None])[0]
        result = minimize(
            lambda x, point=point: (float(np.sum((x - point) ** 2)), 2.0 * (x - point)),
            point - start[0] * start[1:4],
            jac=True, method="SLSQP", options={"ftol": 1e-12, "maxiter": 200},
            constraints={
                "type": "eq",
                "fun": lambda x: distances(solid, x[None])[0, 0],
                "jac": lambda x: distances(solid, x[None])[0, 1:4],
            },
        )  # fmt: skip
        assert abs(distances(solid, result.x[None])[0, 0]) < 1e-6
        assert value <= np.linalg.norm(result.x - point) + 1e-6


@pytest.mark.parametrize("name", SOLIDS)
def test_distance_never_changes_faster_than_a_point_moves(rng, name):
    """Slope at most 1, over pairs of points: what every bound on a step rests on."""
    one, two = points_about(rng, 3000), points_about(rng, 3000)
    two[:1500] = one[:1500] + 0.01 * two[:1500]
    change = np.abs(distances(SOLIDS[name], one)[:, 0] - distances(SOLIDS[name], two)[:, 0])
    assert (change <= np.linalg.norm(one - two, axis=1) + 1e-9).all()


@pytest.mark.parametrize("name", SOLIDS)
def test_gradient_by_central_differences(rng, name):
    solid = SOLIDS[name]
    points = smooth_at(name, solid, points_about(rng))
    out = distances(solid, points)
    assert out[:, 0].min() < -0.1
    assert out[:, 0].max() > 0.1
    assert len(points) > 200
    h = 1e-4
    for axis in range(3):
        move = h * np.eye(3)[axis]
        slope = (distances(solid, points + move)[:, 0] - distances(solid, points - move)[:, 0]) / (2.0 * h)
        assert out[:, 1 + axis] == pytest.approx(slope, abs=3e-6)
    if name not in ("form", "neck"):
        assert np.linalg.norm(out[:, 1:4], axis=1) == pytest.approx(np.ones(len(points)), abs=1e-12)


@pytest.mark.parametrize("name", SOLIDS)
def test_hessian_by_central_differences_of_the_gradient(rng, name):
    solid = SOLIDS[name]
    points = smooth_at(name, solid, points_about(rng))
    out = distances(solid, points)
    place = {(0, 0): 4, (0, 1): 5, (0, 2): 6, (1, 1): 7, (1, 2): 8, (2, 2): 9}
    h = 1e-5
    for axis in range(3):
        move = h * np.eye(3)[axis]
        bend = (distances(solid, points + move)[:, 1:4] - distances(solid, points - move)[:, 1:4]) / (2.0 * h)
        for other in range(3):
            entry = out[:, place[min(axis, other), max(axis, other)]]
            assert np.abs(entry - bend[:, other]).max() < 1e-4 * max(1.0, float(np.abs(out[:, 4:]).max()))
