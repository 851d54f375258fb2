"""Meshes of drilled beads against the volumes of beads, and against the pins that go through them."""

from itertools import pairwise
from math import pi

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.bodies import shaped
from chaingen.geometry.shapes import Shape
from chaingen.model.bead_mesh import bead_mesh
from chaingen.model.solids import joined, solid_of
from chaingen.model.templates import holes_of, templates
from chaingen.model.wire_mesh import shape_mesh
from tests.test_mesh import points_on_facets, volume
from tests.test_wire_mesh import assert_closed

PLAIN = (0.3, 0.5, 0.5)

FORMS = {
    "ball": Threaded("ball", 6.0, None, 1.0, PLAIN),
    "wide ball": Threaded("ball", 4.0, None, 3.0, PLAIN),
    "disc": Threaded("disc", 6.0, 1.5, 1.2, PLAIN),
    "rondelle": Threaded("rondelle", 5.0, 3.0, 1.0, PLAIN),
    "hole up to the rim": Threaded("disc", 4.0, 2.0, 2.0, PLAIN),
}


def strung(*beads, wire=0.8):
    """A head pin with beads, their strands by part, and the beads."""
    pin = head_pin(wire=wire, beads=beads)
    strands = {bead.part: [s for s in pin.shape.strands if s.part == bead.part] for bead in pin.beads}
    return pin, strands


@pytest.mark.parametrize("form", FORMS)
def test_volume_is_that_of_the_bead(form):
    pin, strands = strung(FORMS[form])
    (bead,) = pin.beads
    tolerances = np.array([0.04, 0.01, 0.0025, 0.000625])
    meshes = [bead_mesh(strands[bead.part], bead.hole, tolerance) for tolerance in tolerances]
    lost = np.array([1.0 - volume(mesh) / bead.volume for mesh in meshes])
    # From below, for all chords lie in the bead, and in proportion to the tolerance.
    assert (lost > 0.0).all()
    assert np.polyfit(np.log(tolerances), np.log(lost), 1)[0] == pytest.approx(1.0, abs=0.15)
    assert lost[-1] < 3e-3
    for mesh in meshes:
        assert_closed(mesh, handles=1)
        assert mesh.parts == ((bead.part, len(mesh.vertices), len(mesh.faces)),)


@given(
    form=st.sampled_from(sorted(FORMS)),
    tolerance=st.floats(0.003, 0.2),
    wire=st.floats(0.3, 0.999),
)
@settings(deadline=None)
def test_no_point_is_farther_off_than_the_tolerance(form, tolerance, wire):
    pin, strands = strung(FORMS[form], wire=wire)
    (bead,) = pin.beads
    own = strands[bead.part]
    mesh = bead_mesh(own, bead.hole, tolerance)
    centre = (
        np.array(own[0].curves[0].point(0.0)) if bead.form == "ball" else np.array(own[0].curves[0].centre)
    )
    points = points_on_facets(mesh, 4) - centre
    high, far = np.abs(points[:, 0]), np.hypot(points[:, 1], points[:, 2])
    hole = far - 0.5 * bead.hole
    if bead.form == "ball":
        outside = np.hypot(high, far) - 0.5 * bead.diameter
    else:
        rim = 0.5 * (bead.diameter - bead.thickness)
        outside = np.where(far > rim, np.hypot(high, far - rim), high) - 0.5 * bead.thickness
    # Within the bead, and near one of its surfaces.
    assert outside.max() <= 1e-9
    assert hole.min() >= -1e-9
    assert np.minimum(np.abs(outside), np.abs(hole)).max() <= tolerance * (1.0 + 1e-9)


@pytest.mark.parametrize("tolerance", [0.2, 0.02, 0.005])
@pytest.mark.parametrize("hole", [0.8, 0.801, 1.0])
@pytest.mark.parametrize("form", ["ball", "disc"])
def test_the_pin_goes_through(form, hole, tolerance):
    """Even a pin as thick as the hole: bead and metal have no space in common."""
    thickness = None if form == "ball" else 1.5
    pin, _ = strung(Threaded(form, 5.0, thickness, hole, PLAIN), wire=0.8)
    (mesh,), _ = templates(shaped(pin.shape), tolerance, holes_of([pin]))
    metal, bead = (solid_of(mesh.part(part)) for part in ("wire", "bead 1"))
    common = metal ^ bead
    assert common.volume() < 1e-9
    assert joined([metal, bead]).volume() == pytest.approx(metal.volume() + bead.volume(), rel=1e-9)
    if hole == 1.0:
        assert metal.split_by_plane((1.0, 0.0, 0.0), -1e3)[0].min_gap(bead, 1.0) >= 0.0


def test_beads_in_a_row_do_not_run_into_one_another():
    row = [FORMS["ball"], FORMS["disc"], FORMS["rondelle"], FORMS["ball"]]
    pin, _ = strung(*row)
    mesh = shape_mesh(pin.shape, 0.01, {bead.part: bead.hole for bead in pin.beads})
    solids = [solid_of(mesh.part(bead.part)) for bead in pin.beads]
    for one, two in pairwise(solids):
        assert (one ^ two).volume() < 1e-9
    assert volume(mesh.part("bead 1")) == pytest.approx(pi / 6.0 * 35.0**1.5, rel=1e-2)


def test_holes_are_found_for_mirrored_pieces_too():
    pin, _ = strung(FORMS["ball"])
    for shape in (pin.shape, pin.shape.mirrored(), shaped(pin.shape).mirrored().shapes[0]):
        assert holes_of([pin])[shape] == {"bead 1": 1.0}
    bare = Shape(tuple(s for s in pin.shape.strands if s.part == "wire"), ())
    assert bare not in holes_of([pin])
    (solid,), _ = templates(shaped(pin.shape), 0.02)
    (drilled,), _ = templates(shaped(pin.shape), 0.02, holes_of([pin]))
    assert volume(solid.part("bead 1")) > volume(drilled.part("bead 1"))
    assert volume(solid.part("wire")) == volume(drilled.part("wire"))
