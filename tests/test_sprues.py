"""Feeders, rods and buttons as solids: sections, fillets, volumes, and feeders that stay out of holes."""

from math import pi, radians, sin, sqrt

import manifold3d
import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial.transform import Rotation

from chaingen.design.service import Sprues
from chaingen.model.mesh import torus_mesh
from chaingen.model.solids import joined, mesh_of_solid, placed, shell_count, solid_of
from chaingen.prepare.sprues import (
    FLARE,
    FLARE_AT_PIECE,
    SUNK,
    Bar,
    button,
    button_height,
    feeder,
    rod,
)

X, Y, Z = np.eye(3)
FINE = 0.001

RING, WIRE = 3.0, 1.0
"""Radius of the middle of a ring's wire, and the wire's diameter [mm]."""


def section(solid, at, direction):
    """Area of the section of a solid by a plane through a point, square to a direction [mm2]."""
    turn = Rotation.align_vectors([Z], [direction])[0].as_matrix()
    return placed(solid, turn, -turn @ np.asarray(at)).slice(0.0).area()


def onto_ring(diameter, *, angle=90.0, main=4.0, free=3.0, tolerance=FINE):
    """A feeder from a main along z to a ring at its middle at the origin, and its direction."""
    away = np.array([sin(radians(angle)), 0.0, sqrt(1.0 - sin(radians(angle)) ** 2)])
    start = -away * (0.5 * main / sin(radians(angle)) + free + RING + 0.5 * WIRE)
    wire = Bar(np.cross(Y, away), WIRE, RING)
    solid = feeder(start, -RING * away, diameter, main=Bar(Z, main), wire=wire, tolerance=tolerance)
    return solid, start, away


def ring(away):
    """A ring about the origin in the plane of z and `away`."""
    side = np.cross(Y, away)
    return placed(
        solid_of(torus_mesh(RING, 0.5 * WIRE, 0.01)),
        np.column_stack([side, away, np.cross(side, away)]),
        np.zeros(3),
    )


@pytest.mark.parametrize("angle", [30.0, 60.0, 90.0])
@pytest.mark.parametrize("feed", [0.7, 1.0, 1.5])
def test_section_of_a_feeder_over_that_of_its_wire(feed, angle):
    """The section is 70 to 150 % of what is fed (common practice), measured by cutting the solid."""
    diameter = Sprues(feed=feed).feeder(WIRE)
    # At 30 degrees to the main, fillets take more of the length.
    solid, start, away = onto_ring(diameter, angle=angle, free=5.0)
    middle = start + away * (2.0 / sin(radians(angle)) + 2.5)
    assert section(solid, middle, away) / (0.25 * pi * WIRE**2) == pytest.approx(feed, rel=0.005)


def test_fillet_at_the_main_is_a_quarter_circle():
    """On a main so thick that it is flat: sections along the fillet by the circle's equation."""
    diameter, main = 2.0, 2000.0
    radius, flare = 0.5 * diameter, 0.5 * diameter * FLARE
    solid = feeder(np.zeros(3), X * 1010.0, diameter, main=Bar(Z, main), tolerance=FINE)
    for part in (0.0, 0.1, 0.3, 0.6, 0.85):
        height = part * flare
        depth = flare - (height + SUNK * flare)
        wide = radius + flare - sqrt(flare**2 - depth**2)
        assert section(solid, X * (1000.0 + height), X) == pytest.approx(pi * wide**2, rel=0.003), part
    assert section(solid, X * (1000.0 + flare), X) == pytest.approx(pi * radius**2, rel=0.003)


def test_volume_of_a_fillet():
    """Metal of the feeder above a flat main, by integrating its section; without a fillet it is less."""
    diameter = 2.0
    radius, flare = 1.0, FLARE
    solid = feeder(np.zeros(3), X * 1010.0, diameter, main=Bar(Z, 2000.0), tolerance=FINE)
    above = solid.trim_by_plane((1.0, 0.0, 0.0), 1000.0).trim_by_plane((-1.0, 0.0, 0.0), -1005.0).volume()

    def area(height):
        depth = flare - (height + SUNK * flare)
        return pi * (radius + (flare - sqrt(flare**2 - depth**2) if depth > 0.0 else 0.0)) ** 2

    true = quad(area, 0.0, 5.0, points=[flare * (1.0 - SUNK)])[0]
    assert above == pytest.approx(true, rel=0.003)
    assert true > 1.01 * pi * radius**2 * 5.0


@pytest.mark.parametrize("angle", [20.0, 30.0, 60.0, 90.0])
@pytest.mark.parametrize("diameter", [0.6, 1.0, 1.3])
def test_a_foot_lies_on_its_main_all_round(angle, diameter):
    """However the feeder leans, what is left of it outside the main starts on the main's surface."""
    free = 9.0
    solid, start, _ = onto_ring(diameter, angle=angle, free=free)
    main = rod(start - 30.0 * Z, start + 30.0 * Z, 4.0, tolerance=FINE)
    left = solid - main
    assert shell_count(left) == 1
    points = mesh_of_solid(left).vertices - start
    out = np.hypot(points[:, 0], points[:, 1])
    assert out.min() == pytest.approx(2.0, abs=2.0 * FINE)
    # A fillet on every side: at the surface the feeder is wider than its section there, an ellipse.
    rim = points[out < 2.0 + 2.0 * FINE]
    lean = sin(radians(angle))
    middle = 2.0 / np.tan(radians(angle))
    radius = 0.5 * diameter
    assert rim[:, 2].max() - middle > (radius + 0.5 * FLARE * radius) / lean
    assert middle - rim[:, 2].min() > (radius + 0.5 * FLARE * radius) / lean
    assert rim[:, 1].max() > radius + 0.5 * FLARE * radius
    assert -rim[:, 1].min() > radius + 0.5 * FLARE * radius
    # And nowhere wider than by the fillet.
    assert rim[:, 2].max() - middle < (radius + FLARE * radius) / lean + FINE
    assert np.abs(rim[:, 1]).max() < radius * (1.0 + FLARE) + FINE
    assert joined([solid, main]).genus() == 0


@pytest.mark.parametrize("angle", [30.0, 60.0, 90.0])
@pytest.mark.parametrize("feed", [0.3, 0.7, 1.0, 1.5, 3.0])
def test_no_feeder_goes_into_the_hole(feed, angle):
    diameter = Sprues(feed=feed).feeder(WIRE)
    solid, _, away = onto_ring(diameter, angle=angle, free=6.0)
    points = mesh_of_solid(solid).vertices
    side = np.cross(Y, away)
    from_axis = np.hypot(points @ away, points @ side)
    # All of it lies farther out than the middle of the wire.
    assert from_axis.min() >= RING
    own = ring(away)
    hole = placed(
        manifold3d.Manifold.cylinder(WIRE, RING - 0.5 * WIRE, circular_segments=200, center=True),
        np.column_stack([away, side, np.cross(away, side)]),
        np.zeros(3),
    )
    assert (hole ^ solid).volume() == 0.0
    both = joined([own, solid])
    assert shell_count(both) == 1
    assert both.genus() == 1
    # At its sides the feeder sticks out by no more than it is thick.
    assert (
        np.abs(points[from_axis < RING + 0.5 * WIRE][:, 1]).max() <= max(0.5 * diameter, 0.45 * WIRE) + FINE
    )


def test_fillet_at_the_piece_is_there_and_small():
    """In the plane of the ring the feeder widens to the wire; across the wire it does not."""
    solid, _, away = onto_ring(0.8 * WIRE)
    radius = 0.4 * WIRE
    left = mesh_of_solid(solid - ring(away)).vertices
    # Where feeder and wire part: on the ring's surface.
    across = np.abs(np.hypot(np.hypot(left[:, 0], left[:, 2]) - RING, left[:, 1]) - 0.5 * WIRE)
    rim = left[(across < 0.01) & (left[:, 0] < 0.0)]
    wide, sideways = np.abs(rim[:, 2]).max(), np.abs(rim[:, 1]).max()
    assert radius * (1.0 + 0.5 * FLARE_AT_PIECE) < wide <= radius * (1.0 + FLARE_AT_PIECE) + 0.01
    assert sideways <= 0.45 * WIRE + 0.01


def test_points_of_a_feeder_keep_the_tolerance():
    """Between its fillets every chord is inside the true cylinder, by no more than the tolerance."""
    for tolerance in (0.05, 0.01, 0.002):
        solid, start, away = onto_ring(1.2, tolerance=tolerance)
        outline = placed(
            solid, np.stack([Y, np.cross(away, Y), away]), -np.stack([Y, np.cross(away, Y), away]) @ start
        )
        (contour,) = outline.slice(3.5).to_polygons()
        away_from_axis = np.hypot(*np.concatenate([contour, 0.5 * (contour + np.roll(contour, 1, axis=0))]).T)
        assert away_from_axis.max() == pytest.approx(0.6, abs=1e-6)
        assert 0.0 < 0.6 - away_from_axis.min() <= tolerance


def test_turning_moving_and_scaling_a_feeder(rng):
    start, end, diameter = np.array([1.0, 2.0, 3.0]), np.array([7.0, 3.0, 9.0]), 0.9
    main, wire = Bar(Z, 4.0), Bar(Y, 1.0, 5.0)
    volume = feeder(start, end, diameter, main=main, wire=wire).volume()
    for turn in Rotation.random(5, random_state=rng).as_matrix():
        turned = feeder(
            turn @ start + 5.0, turn @ end + 5.0, diameter,
            main=Bar(turn @ Z, 4.0), wire=Bar(turn @ Y, 1.0, 5.0),
        )  # fmt: skip
        # The corners of its sections are elsewhere round it.
        assert turned.volume() == pytest.approx(volume, rel=0.005)
    scaled = feeder(
        3.0 * start, 3.0 * end, 3.0 * diameter, main=Bar(Z, 12.0), wire=Bar(Y, 3.0, 15.0), tolerance=0.03
    )
    assert scaled.volume() == pytest.approx(27.0 * volume, rel=1e-9)


def test_a_feeder_too_short_for_fillets_is_plain():
    """It still joins main and wire, and stays out of the hole."""
    for angle, free in ((90.0, 0.01), (60.0, 0.2), (30.0, 0.2)):
        solid, start, away = onto_ring(1.2, angle=angle, free=free)
        main = rod(start - 9.0 * Z, start + 9.0 * Z, 4.0)
        whole = joined([solid, main])
        assert shell_count(whole) == 1
        points = mesh_of_solid(solid).vertices
        assert np.hypot(points @ away, points @ np.cross(Y, away)).min() >= RING
        assert (solid ^ ring(away)).volume() > 0.0


def test_a_feeder_without_known_bars_joins_what_is_there():
    solid = feeder(np.zeros(3), 8.0 * X, 1.0)
    wire = rod(8.0 * X - 5.0 * Y, 8.0 * X + 5.0 * Y, 1.0)
    main = rod(-5.0 * Z, 5.0 * Z, 2.0)
    assert shell_count(joined([solid, wire, main])) == 1
    assert mesh_of_solid(solid).vertices[:, 0].max() <= 8.0


@pytest.mark.parametrize("tolerance", [0.01, 0.001, 0.0001])
def test_volume_of_a_rod(tolerance):
    """A cylinder with a ball's halves; chords lose twice the tolerance over the radius at most."""
    solid = rod(np.array([1.0, 2.0, 3.0]), np.array([1.0, 8.0, 3.0]), 2.0, tolerance=tolerance)
    true = pi * 6.0 + 4.0 / 3.0 * pi
    assert true * (1.0 - 2.0 * tolerance) <= solid.volume() <= true
    assert solid.bounding_box() == pytest.approx((0.0, 1.0, 2.0, 2.0, 9.0, 4.0), abs=0.01)


def test_a_rod_that_branches_off():
    trunk = rod(-10.0 * Z, 10.0 * Z, 4.0)
    branch = rod(np.zeros(3), 20.0 * X, 4.0, main=Bar(Z, 4.0))
    whole = joined([trunk, branch])
    assert shell_count(whole) == 1
    assert whole.genus() == 0
    # Beside the trunk, the fillet makes it higher than it is on its way, though no wider.
    assert section(whole, 2.1 * X, X) > 1.1 * section(whole, 10.0 * X, X)
    assert section(whole, 10.0 * X, X) == pytest.approx(pi * 4.0, rel=0.01)


@pytest.mark.parametrize(("diameter", "main"), [(10.0, 4.0), (12.0, 3.0), (5.0, 4.0)])
def test_volume_of_a_button(diameter, main):
    """A truncated cone from foot to main, and its foot is flat."""
    axis = np.array([0.6, 0.0, 0.8])
    solid = button(X, axis, diameter, main, tolerance=FINE)
    height = button_height(diameter, main)
    below = solid.trim_by_plane(tuple(-axis), float(-(X @ axis) - height)).volume()
    r, s = 0.5 * diameter, 0.5 * main
    assert below == pytest.approx(pi * height / 3.0 * (r * r + r * s + s * s), rel=0.002)
    mesh = mesh_of_solid(solid)
    depth = (mesh.vertices - X) @ axis
    assert depth.min() == pytest.approx(0.0, abs=1e-12)
    assert section(solid, X + 1e-6 * axis, axis) == pytest.approx(pi * r * r, rel=0.002)
    # A crease round the foot: its normals are those of a flat face.
    foot = mesh.faces[(depth[mesh.faces] < 1e-9).all(axis=1)]
    assert np.abs(mesh.normals[foot] + axis).max() < 1e-9


def test_a_main_begins_within_its_button():
    for diameter in (4.5, 6.0, 10.0, 16.0):
        height = button_height(diameter, 4.0)
        main = rod(height * Z, 30.0 * Z, 4.0)
        whole = joined([main, button(np.zeros(3), Z, diameter, 4.0)])
        assert shell_count(whole) == 1
        assert whole.bounding_box()[2] == 0.0
        assert whole.genus() == 0
