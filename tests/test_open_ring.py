"""Open rings against closed forms and a helix that is searched along numerically."""

from math import atan2, hypot, pi, sin, sqrt

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar
from scipy.spatial import cKDTree

from chaingen.model.mesh import torus_mesh
from chaingen.model.open_ring import (
    MOST_CUT,
    MOST_OPENED,
    can_open,
    coil_of,
    narrowest_cut,
    open_radius,
    open_ring_extent,
    open_ring_mesh,
    wire_length,
)
from tests.conftest import size

# Inside 4, wire 1: closed, the middle of its wire is a circle of radius 2.5, 5 pi long.
RING = size(4.0, 1.0)

CUTS = {
    "saw cut": (0.5, 0.0),
    "wide": (3.0, 0.0),
    "opened": (0.5, 2.0),
    "opened without a cut": (0.0, 2.5),
    "ends pass": (0.1, 3.0),
    "steep": (1.0, 5.0),
}
cuts = pytest.mark.parametrize(("cut", "opened"), CUTS.values(), ids=CUTS.keys())

openings = st.tuples(
    st.floats(1.0, 30.0),
    st.floats(0.1, 0.9),
    st.floats(0.0, 0.999 * MOST_CUT),
    st.floats(0.0, 0.999 * MOST_OPENED),
).map(
    lambda s: (
        ring := size(s[0], s[0] * s[1]),
        s[2] * wire_length(ring),
        s[3] * wire_length(ring),
    )
)


def helix(ring, cut, opened):
    """Points of the middle of the wire over a parameter from -1 to 1, by the condition that its length is
    that of the closed ring: found by a search over the radius, length by quadrature."""
    length = 2.0 * pi * (0.5 * ring.inside_diameter + 0.5 * ring.wire_diameter)

    def too_long(radius):
        turn = 2.0 * pi - cut / radius
        speed = hypot(radius * turn, opened)
        return quad(lambda _: speed, 0.0, 1.0)[0] - length

    radius = brentq(too_long, cut / 6.0 + 1e-3, length, xtol=1e-14)
    half = pi - 0.5 * cut / radius

    def point(u):
        u = np.asarray(u, dtype=float)
        angle = 0.5 * pi + half * u
        return np.array([radius * np.cos(angle), radius * np.sin(angle), 0.5 * opened * u])

    return point


def off_helix(point, p):
    """Distance of a point from the helix: searched near the nearest of many points of it."""
    grid = np.linspace(-1.0, 1.0, 401)
    near = float(grid[np.argmin(np.linalg.norm(point(grid).T - p, axis=1))])
    bounds = max(-1.0, near - 0.005), min(1.0, near + 0.005)
    found = minimize_scalar(
        lambda u: ((p - point(u)) ** 2).sum(), bounds=bounds, method="bounded", options={"xatol": 1e-12}
    )
    return min(sqrt(found.fun), *(np.linalg.norm(p - point(u)) for u in bounds))


def volume(mesh):
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    return float((np.cross(a, b) * c).sum() / 6.0)


def caps(mesh):
    """Faces of either end."""
    return [mesh.faces[(mesh.faces == len(mesh.vertices) - back).any(axis=1)] for back in (2, 1)]


def test_radius_by_hand():
    # 5 pi of wire and 0.5 of cut round a circle: (5 pi + 0.5) / (2 pi) = 2.5 + 0.25 / pi.
    assert open_radius(RING, 0.5, 0.0) == pytest.approx(2.5 + 0.25 / pi, rel=1e-15)
    assert open_radius(RING, 0.0, 0.0) == pytest.approx(2.5, rel=1e-15)
    # Opened by 1.4 pi, 4.8 pi are left of the 5 pi as seen along the axis: 25 = 1.96 + 23.04.
    assert open_radius(RING, 0.0, 1.4 * pi) == pytest.approx(2.4, rel=1e-14)


@settings(deadline=None)
@given(opening=openings)
def test_closed_by_hand_it_has_its_inside_diameter(opening):
    """A wire of the length that the open ring has, bent to a circle."""
    ring, cut, opened = opening
    coil = coil_of(ring, cut, opened)
    t = np.linspace(-coil.half, coil.half, 4001)
    middles = coil.sections(t)[0]
    chord = np.linalg.norm(np.diff(middles, axis=0), axis=1).sum()
    # Chords of a helix are short of it by a 24th of the squares of their angles.
    assert chord == pytest.approx(wire_length(ring), rel=1e-6)
    assert chord / pi - ring.wire_diameter == pytest.approx(ring.inside_diameter, rel=1e-5)
    ends = middles[[0, -1]]
    assert ends[1, 2] - ends[0, 2] == pytest.approx(opened, abs=1e-12 * ring.radius)
    # What is missing of the circle that is seen along the axis, in the direction of -y.
    apart = 2.0 * atan2(abs(ends[1, 0]), -ends[1, 1]) * coil.radius
    assert apart == pytest.approx(cut, abs=1e-9 * ring.radius)
    assert (ends[:, :2].sum(axis=0) @ [0.0, -1.0]) > -1e-9


@cuts
def test_vertices_are_at_the_wire_radius_from_the_helix(cut, opened):
    mesh = open_ring_mesh(RING, cut=cut, opened=opened, tolerance=0.02)
    point = helix(RING, cut, opened)
    wire, ends = mesh.vertices[:-2], mesh.vertices[-2:]
    for p in wire[::7]:
        assert off_helix(point, p) == pytest.approx(0.5, abs=1e-8)
    assert ends[0] == pytest.approx(point(-1.0), abs=1e-12)
    assert ends[1] == pytest.approx(point(1.0), abs=1e-12)


@cuts
def test_no_point_of_a_facet_is_farther_off_than_the_tolerance(cut, opened):
    for tolerance in (0.1, 0.02):
        mesh = open_ring_mesh(RING, cut=cut, opened=opened, tolerance=tolerance)
        point = helix(RING, cut, opened)
        faces = mesh.faces[(mesh.faces < len(mesh.vertices) - 2).all(axis=1)]
        corners = mesh.vertices[faces[:: len(faces) // 60]]
        inner = np.concatenate(
            [corners.mean(axis=1), *(0.5 * (corners + np.roll(corners, 1, axis=1))).swapaxes(0, 1)]
        )
        off = np.array([abs(off_helix(point, p) - 0.5) for p in inner])
        assert off.max() < tolerance
        assert off.max() > 0.3 * tolerance


@cuts
def test_ends_are_flat_and_square_to_the_wire(cut, opened):
    mesh = open_ring_mesh(RING, cut=cut, opened=opened, tolerance=0.01)
    point = helix(RING, cut, opened)
    step = 1e-6
    for faces, u, sign in zip(caps(mesh), (-1.0, 1.0), (-1.0, 1.0), strict=True):
        along = point(u) - point(u - sign * step)
        along /= np.linalg.norm(along)
        corners = mesh.vertices[faces]
        assert (corners - point(u)) @ along == pytest.approx(0.0, abs=1e-5)
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        assert normal @ along == pytest.approx(1.0, abs=1e-9)
        rim = mesh.vertices[np.unique(faces[faces < len(mesh.vertices) - 2])]
        assert np.linalg.norm(rim - point(u), axis=1) == pytest.approx(0.5, abs=1e-12)


@cuts
def test_normals_point_away_from_the_wire(cut, opened):
    mesh = open_ring_mesh(RING, cut=cut, opened=opened, tolerance=0.01)
    assert np.linalg.norm(mesh.normals, axis=1) == pytest.approx(1.0, abs=1e-12)
    facet = mesh.facet_normals[:, None]
    wire = (mesh.faces < len(mesh.vertices) - 2).all(axis=1)
    assert (mesh.normals[mesh.faces[wire]] * facet[wire]).sum(axis=2).min() > 0.9
    point = helix(RING, cut, opened)
    for p, n in zip(mesh.vertices[:-2:29], mesh.normals[:-2:29], strict=True):
        assert off_helix(point, p + 0.1 * n) == pytest.approx(0.6, abs=1e-8)


def test_volume_comes_to_section_times_length():
    # pi/4 * 1 mm2 times 5 pi: 12.337 mm3, whatever the cut; the error falls in proportion to the tolerance.
    exact = 0.25 * pi * 5.0 * pi
    assert exact == pytest.approx(12.337, abs=5e-4)
    tolerances = np.array([0.04, 0.01, 0.0025, 0.000625])
    for cut, opened in CUTS.values():
        lost = np.array(
            [
                1.0 - volume(open_ring_mesh(RING, cut=cut, opened=opened, tolerance=t)) / exact
                for t in tolerances
            ]
        )
        assert (lost > 0.0).all()
        assert np.polyfit(np.log(tolerances), np.log(lost), 1)[0] == pytest.approx(1.0, abs=0.1)
        assert lost[-1] < 1.5e-3


@settings(deadline=None)
@given(opening=openings, finesse=st.floats(0.01, 0.5))
def test_others_reopen_it_watertight(opening, finesse):
    ring, cut, opened = opening
    mesh = open_ring_mesh(ring, cut=cut, opened=opened, tolerance=finesse * ring.wire_radius)
    closed = cut == opened == 0.0
    seen = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert seen.is_watertight
    assert seen.is_winding_consistent
    assert seen.volume > 0.0
    assert seen.euler_number == (0 if closed else 2)
    solid = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.faces.astype(np.uint64)))
    assert solid.status() == manifold3d.Error.NoError
    assert solid.genus() == (1 if closed else 0)
    assert solid.volume() == pytest.approx(volume(mesh), rel=1e-9)


def test_uncut_it_is_the_closed_ring():
    mesh, torus = open_ring_mesh(RING, cut=0.0, opened=0.0, tolerance=0.01), torus_mesh(2.5, 0.5, 0.01)
    assert (mesh.vertices == torus.vertices).all()
    assert (mesh.faces == torus.faces).all()
    assert manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices, mesh.faces.astype(np.uint64))).genus() == 1


@cuts
def test_half_turn_about_y_maps_it_onto_itself(cut, opened):
    mesh = open_ring_mesh(RING, cut=cut, opened=opened, tolerance=0.02)
    turned = mesh.vertices * [-1.0, 1.0, -1.0]
    point = helix(RING, cut, opened)
    for p in turned[:-2:41]:
        assert off_helix(point, p) == pytest.approx(0.5, abs=1e-8)
    far, _ = cKDTree(mesh.vertices).query(turned[-2:])
    assert far.max() < 1e-12


@settings(deadline=None)
@given(opening=openings)
def test_box_round_it(opening):
    """Against dense samples of the surface, which stay inside and come near each side."""
    ring, cut, opened = opening
    coil = coil_of(ring, cut, opened)
    middles, _, outs, ups = coil.sections(np.linspace(-coil.half, coil.half, 361))
    p = np.linspace(0.0, 2.0 * pi, 121)[:, None, None]
    points = (middles + coil.wire_radius * (np.cos(p) * outs + np.sin(p) * ups)).reshape(-1, 3)
    low, high = open_ring_extent(ring, cut, opened)
    near = 1e-3 * ring.radius
    assert points.min(axis=0) == pytest.approx(low, abs=near)
    assert points.max(axis=0) == pytest.approx(high, abs=near)
    assert (points.min(axis=0) >= np.array(low) - 1e-12 * ring.radius).all()
    assert (points.max(axis=0) <= np.array(high) + 1e-12 * ring.radius).all()


def solid_gap(ring, cut, opened):
    """Gap of the two ends by dense points of either end's face, and of the wire behind it."""
    coil = coil_of(ring, cut, opened)
    r = np.sqrt(np.linspace(0.0, 1.0, 12))
    p = 2.0 * pi * np.arange(120) / 120
    arms = (
        np.stack([np.outer(r, np.cos(p)), np.outer(r, np.sin(p))], axis=2).reshape(-1, 2) * coil.wire_radius
    )
    rim = arms[-len(p) :]

    def cloud(t, arms):
        middles, _, outs, ups = coil.sections(t)
        return (middles[:, None] + arms[:, :1] * outs[:, None] + arms[:, 1:] * ups[:, None]).reshape(-1, 3)

    behind = np.linspace(0.0, 0.5, 51)
    begin = np.concatenate([cloud(np.array([-coil.half]), arms), cloud(behind - coil.half, rim)])
    end = np.concatenate([cloud(np.array([coil.half]), arms), cloud(coil.half - behind, rim)])
    return float(cKDTree(end).query(begin)[0].min())


@cuts
def test_narrowest_of_the_cut(cut, opened):
    found = narrowest_cut(RING, cut, opened)
    sampled = solid_gap(RING, cut, opened)
    assert found <= sampled + 1e-9
    assert found == pytest.approx(sampled, abs=0.02)


def test_narrowest_of_a_plain_cut_by_hand():
    # Both ends lie on planes through the axis: at the inside, 2 mm from it were the ring closed.
    radius = 2.5 + 0.25 / pi
    assert narrowest_cut(RING, 0.5, 0.0) == pytest.approx(2.0 * (radius - 0.5) * sin(0.25 / radius), rel=1e-9)
    assert narrowest_cut(RING, 0.0, 0.0) == pytest.approx(0.0, abs=1e-12)


def test_ends_that_run_into_one_another_are_refused():
    assert can_open(RING, 0.0, 0.0)
    assert can_open(RING, 0.2, 0.0)
    # Twisted open by less than a wire without a cut, ends overlap; by more they stand clear.
    assert not can_open(RING, 0.0, 0.5)
    assert narrowest_cut(RING, 0.0, 0.5) == 0.0
    assert can_open(RING, 0.0, 1.2)
    assert not can_open(RING, 0.6 * wire_length(RING), 0.0)
    assert not can_open(RING, 0.0, 0.6 * wire_length(RING))
    assert not can_open(RING, -0.1, 0.0)


@settings(deadline=None)
@given(opening=openings, scale=st.floats(0.1, 10.0))
def test_twice_as_large_is_twice_as_large(opening, scale):
    ring, cut, opened = opening
    large = size(scale * ring.inside_diameter, scale * ring.wire_diameter)
    assert open_radius(large, scale * cut, scale * opened) == pytest.approx(
        scale * open_radius(ring, cut, opened), rel=1e-12
    )
    assert narrowest_cut(large, scale * cut, scale * opened) == pytest.approx(
        scale * narrowest_cut(ring, cut, opened), rel=1e-6, abs=1e-7 * scale * ring.radius
    )
