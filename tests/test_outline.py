import numpy as np
import pytest
import shapely

from chaingen.geometry.bodies import Bodies, centreline_points
from chaingen.weave.outline import circle, drop, polygon, within


def test_areas_of_outlines():
    assert circle(30.0).polygon().area == pytest.approx(np.pi * 15.0**2, rel=2e-4)
    # A drop is a round and the two tangents from its tip: half a round and more, and a kite.
    width, height = 20.0, 34.0
    radius, tip = 10.0, 24.0
    half = np.arccos(radius / tip)
    tangent = np.sqrt(tip**2 - radius**2)
    area = radius * tangent + radius**2 * (np.pi - half)
    shape = drop(width, height).polygon()
    assert shape.area == pytest.approx(area, rel=2e-4)
    left, low, right, high = shape.bounds
    assert (right - left, high - low) == pytest.approx((width, height), rel=1e-3)
    assert low == pytest.approx(-high)
    assert shape.is_valid


def test_whole_rings_lie_within():
    rng = np.random.default_rng(2)
    n = 400
    normals = rng.normal(size=(n, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    rings = Bodies(rng.uniform(-12.0, 12.0, size=(n, 3)), normals, np.full(n, 2.0), rng.choice([0.3, 0.5], n))
    outline = polygon(np.array([[-10.0, -8.0], [10.0, -8.0], [0.0, 11.0]]))
    shift = np.array([0.5, -0.5])
    kept = within(outline, rings, shift)
    assert 10 < kept.sum() < n
    # Slowly: a disc of the wire's radius about each of many points of the centreline.
    room = shapely.Polygon(np.array(outline.points) + shift)
    for k in range(n):
        points = shapely.points(centreline_points(rings[k : k + 1], 720)[0, :, :2])
        margin = min(room.exterior.distance(p) if room.contains(p) else -1.0 for p in points)
        if abs(margin - rings.wire_radii[k]) > 0.02:
            assert kept[k] == (margin > rings.wire_radii[k])
