"""Meshes against closed forms: Pappus for the torus, wedge by wedge for the faceted torus."""

from collections import Counter
from math import cos, pi, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.geometry.bodies import Bodies
from chaingen.model.mesh import (
    FEWEST_ROUND_RING,
    FEWEST_ROUND_WIRE,
    TOLERANCE,
    frames,
    segment_counts,
    torus_mesh,
)
from chaingen.model.templates import templates, triangle_count
from chaingen.stock.metals import find_metal
from tests.conftest import random_rings, rings_of

# Inside diameter 6.0 and wire 1.2: centreline radius 3.6, wire radius 0.6.
RADIUS, WIRE_RADIUS = 3.6, 0.6

shapes = st.tuples(st.floats(0.2, 50.0), st.floats(0.05, 0.95)).map(lambda s: (s[0], s[0] * s[1]))


def faceted_volume(radius, wire_radius, around, across):
    """Volume of the torus of `around` wedges whose wire has `across` sides, vertices on the torus; exact.

    The wire's section is a regular polygon of area A = across/2 r^2 sin(2 pi/across) with its centroid at R.
    A level cut through one wedge is a difference of two triangles with legs p at the angle 2 pi/around, each
    p^2/2 sin(2 pi/around). Summed over all levels, the integral of (p1^2 - p0^2)/2 dz is that of p over the
    section, which is R A. Hence around sin(2 pi/around) R A. (For the torus itself the sine becomes its
    angle, which is Pappus.)
    """
    section = 0.5 * across * wire_radius**2 * sin(2.0 * pi / across)
    return around * sin(2.0 * pi / around) * radius * section


def volume(mesh):
    """Volume by the divergence theorem."""
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    return float((np.cross(a, b) * c).sum() / 6.0)


def surface(mesh):
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    return float(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())


def distance_to_torus(points, radius, wire_radius):
    return np.abs(np.hypot(np.hypot(points[:, 0], points[:, 1]) - radius, points[:, 2]) - wire_radius)


def points_on_facets(mesh, steps=6):
    """Points spread evenly over every facet, its edges and corners."""
    weights = np.array(
        [(i, j, steps - i - j) for i in range(steps + 1) for j in range(steps + 1 - i)], dtype=float
    )
    return np.einsum("wk,fka->wfa", weights / steps, mesh.vertices[mesh.faces]).reshape(-1, 3)


def test_faceted_volume_is_the_closed_form():
    # R = 3, r = 0.5 in 64 x 24 facets holds 14.612372734 mm3; with 0.0086 mm the counts are just these.
    assert segment_counts(3.0, 0.5, 0.0086) == (64, 24)
    assert faceted_volume(3.0, 0.5, 64, 24) == pytest.approx(14.612372734, abs=5e-10)
    assert volume(torus_mesh(3.0, 0.5, 0.0086)) == pytest.approx(14.612372734, rel=1e-10)


@given(shape=shapes, finesse=st.floats(0.002, 2.0))
def test_faceted_volume_of_any_ring(shape, finesse):
    radius, wire_radius = shape
    tolerance = finesse * wire_radius
    counts = segment_counts(radius, wire_radius, tolerance)
    mesh = torus_mesh(radius, wire_radius, tolerance)
    assert volume(mesh) == pytest.approx(faceted_volume(radius, wire_radius, *counts), rel=1e-10)


def test_volume_and_surface_come_to_those_of_pappus():
    # 2 pi^2 R r^2 = 25.5820 mm3 and 4 pi^2 R r = 85.2734 mm2; the error falls in proportion to the tolerance.
    exact_volume, exact_surface = 2.0 * pi**2 * RADIUS * WIRE_RADIUS**2, 4.0 * pi**2 * RADIUS * WIRE_RADIUS
    assert exact_volume == pytest.approx(25.5820, abs=5e-5)
    assert exact_surface == pytest.approx(85.2734, abs=5e-5)
    tolerances = np.array([0.04, 0.01, 0.0025, 0.000625])
    meshes = [torus_mesh(RADIUS, WIRE_RADIUS, tolerance) for tolerance in tolerances]
    lost = np.array([1.0 - volume(mesh) / exact_volume for mesh in meshes])
    missing = np.array([1.0 - surface(mesh) / exact_surface for mesh in meshes])
    for error in (lost, missing):
        assert (error > 0.0).all()
        order = np.polyfit(np.log(tolerances), np.log(error), 1)[0]
        assert order == pytest.approx(1.0, abs=0.1)
    assert lost[-1] < 1e-3


def test_a_hundred_rings_in_sterling_silver():
    # Inside 6.0, wire 1.2, density 10.36 g/cm3: 26.503 g by Pappus. A model at the default tolerance has
    # under 2 % less.
    density = find_metal("sterling silver").density
    assert 100 * 2.0 * pi**2 * RADIUS * WIRE_RADIUS**2 * density / 1000 == pytest.approx(26.503, abs=5e-4)
    model = 100 * volume(torus_mesh(RADIUS, WIRE_RADIUS)) * density / 1000
    assert 0.98 * 26.503 < model < 26.503


@given(shape=shapes, finesse=st.floats(0.003, 1.0))
def test_no_point_of_a_facet_is_farther_off_than_the_tolerance(shape, finesse):
    radius, wire_radius = shape
    tolerance = finesse * wire_radius
    mesh = torus_mesh(radius, wire_radius, tolerance)
    assert distance_to_torus(mesh.vertices, radius, wire_radius).max() < 1e-12 * radius
    # One wedge stands for all, as it is turned about the axis.
    across = segment_counts(radius, wire_radius, tolerance)[1]
    wedge = type(mesh)(
        mesh.vertices,
        mesh.normals,
        mesh.faces[(mesh.faces < 2 * across).all(axis=1)],
        mesh.facet_normals,
        mesh.parts,
    )
    assert len(wedge.faces) >= 2 * across
    assert distance_to_torus(points_on_facets(wedge), radius, wire_radius).max() <= tolerance * (1 + 1e-9)


def test_the_tolerance_is_used_and_not_undercut():
    mesh = torus_mesh(RADIUS, WIRE_RADIUS, 0.01)
    worst = distance_to_torus(points_on_facets(mesh), RADIUS, WIRE_RADIUS).max()
    assert 0.008 < worst <= 0.01


@pytest.mark.parametrize(("radius", "wire_radius"), [(3.6, 0.6), (2.0, 0.5), (10.0, 0.5), (1.0, 0.6)])
def test_halving_the_tolerance_gives_the_fewest_triangles(radius, wire_radius):
    tolerance = 1e-4

    def count(share):
        # A chord that spans 2 pi/n of a circle of radius q sinks q (1 - cos(pi/n)) below it.
        around = pi / np.arccos(1.0 - share * tolerance / (radius + wire_radius))
        across = pi / np.arccos(1.0 - (1.0 - share) * tolerance / wire_radius)
        return 2.0 * around * across

    fewest = min(count(share) for share in np.linspace(0.05, 0.95, 181))
    assert 2 * np.prod(segment_counts(radius, wire_radius, tolerance)) < 1.01 * fewest


def test_counts_are_the_least_that_keep_the_tolerance():
    around, across = segment_counts(RADIUS, WIRE_RADIUS, 0.01)
    for count, reach in ((around, RADIUS + WIRE_RADIUS), (across, WIRE_RADIUS)):
        assert reach * (1.0 - cos(pi / count)) <= 0.005
        assert reach * (1.0 - cos(pi / (count - 1))) > 0.005


@pytest.mark.parametrize("tolerance", [1.0, 2.5, 100.0])
def test_the_coarsest_mesh_is_still_a_ring(tolerance):
    assert segment_counts(RADIUS, WIRE_RADIUS, tolerance) == (FEWEST_ROUND_RING, FEWEST_ROUND_WIRE)
    assert len(torus_mesh(RADIUS, WIRE_RADIUS, tolerance).faces) == 2 * FEWEST_ROUND_RING * FEWEST_ROUND_WIRE


@pytest.mark.parametrize("tolerance", [0.5, TOLERANCE])
def test_closed_and_turned_outwards(tolerance):
    mesh = torus_mesh(RADIUS, WIRE_RADIUS, tolerance)
    edges = Counter(
        (int(face[k]), int(face[(k + 1) % 3])) for face in mesh.faces for k in range(3)
    )  # every edge once each way: closed, and wound alike on both sides
    assert set(edges.values()) == {1}
    assert all((b, a) in edges for a, b in edges)
    # Euler characteristic of a torus.
    assert len(mesh.vertices) - len(edges) // 2 + len(mesh.faces) == 0
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    spokes = middles * [1.0, 1.0, 0.0]
    outwards = middles - RADIUS * spokes / np.linalg.norm(spokes, axis=1)[:, None]
    assert ((mesh.facet_normals * outwards).sum(axis=1) > 0.0).all()


def test_normals_are_those_of_the_torus():
    mesh = torus_mesh(RADIUS, WIRE_RADIUS)
    spokes = mesh.vertices * [1.0, 1.0, 0.0]
    exact = (mesh.vertices - RADIUS * spokes / np.linalg.norm(spokes, axis=1)[:, None]) / WIRE_RADIUS
    assert mesh.normals == pytest.approx(exact, abs=1e-12)
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    assert np.linalg.norm(mesh.facet_normals, axis=1) == pytest.approx(1.0, abs=1e-12)
    assert (mesh.facet_normals * (b - a)).sum(axis=1) == pytest.approx(0.0, abs=1e-12)
    assert (mesh.facet_normals * (c - a)).sum(axis=1) == pytest.approx(0.0, abs=1e-12)


def assert_frames(rings):
    rotations = frames(rings)
    assert rotations @ [0.0, 0.0, 1.0] == pytest.approx(rings.normals, abs=1e-14)
    assert rotations @ rotations.transpose(0, 2, 1) == pytest.approx(
        np.tile(np.eye(3), (len(rings), 1, 1)), abs=1e-12
    )
    assert np.linalg.det(rotations) == pytest.approx(1.0, abs=1e-12)


def test_frames_turn_the_axis_to_the_normal(rng):
    assert_frames(random_rings(rng, 200))


def test_frames_at_and_about_the_poles():
    poles = [(0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (1.0, 0.0, -0.0)]
    near = [(1e-9, 1e-9, z) for z in (-1.0, 1.0, -1e-12, 1e-12)]
    assert_frames(rings_of(*(((0.0, 0.0, 0.0), normal, 2.0, 0.5) for normal in poles + near)))


def test_one_template_for_each_size():
    rings = rings_of(
        *(
            ((5.0 * k, 0.0, 0.0), (0.0, 0.0, 1.0), r, w)
            for k, (r, w) in enumerate([(2, 0.5), (3, 0.5), (2, 0.5)])
        )
    )
    meshes, of_ring = templates(rings, 0.02)
    assert len(meshes) == 2
    assert of_ring[0] == of_ring[2] != of_ring[1]
    for k in range(3):
        assert distance_to_torus(meshes[of_ring[k]].vertices, rings.radii[k], 0.5) == pytest.approx(
            0.0, abs=1e-12
        )
    each = [2 * int(np.prod(segment_counts(r, 0.5, 0.02))) for r in (2.0, 3.0, 2.0)]
    assert triangle_count(rings, 0.02) == sum(each)


def test_no_rings_have_no_triangles():
    none = Bodies(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), np.empty(0))
    assert triangle_count(none) == 0
    assert frames(none).shape == (0, 3, 3)
