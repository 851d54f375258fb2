"""What bodies weigh in a drape and where their centres of mass are, by closed form."""

import numpy as np
import pytest

from chaingen.findings.catalogue import KINDS
from chaingen.findings.finding import Bead, Finding
from chaingen.geometry.centrelines import Bend, Straight, bent_wire, circle
from chaingen.geometry.shapes import Shape, Strand, ring_shape
from chaingen.solve.drape.masses import METAL, UNKNOWN_BEAD, centre_of_mass, mass_arms, weights
from chaingen.stock.metals import METALS
from chaingen.weave.graph import row_graph
from chaingen.weave.groups import Group, GroupKind
from tests.conftest import side, size


def finding_of(strands, beads=(), filling=0.0):
    return Finding("x", "wire path", Shape(tuple(strands), ()), (), beads=beads, filling=filling)


def group(one):
    return Group(GroupKind.FINDING, 1, one)


def test_rings_weigh_as_their_wire():
    """2 pi^2 R r^2 (Pappus), 1 on average."""
    graph = row_graph((side(2, size(4.0, 1.0)), side(1, size(6.0, 0.8))))
    volumes = np.array([2.5 * 0.25, 2.5 * 0.25, 3.4 * 0.16])
    assert weights(graph) == pytest.approx(volumes / volumes.mean(), rel=1e-14)
    assert mass_arms(graph) is None


def test_a_ring_as_a_finding_weighs_what_the_ring_does():
    ring = KINDS["closed ring"].build("closed", wire=1.0, inside=4.0)
    graph = row_graph((side(1, size(4.0, 1.0)), group(ring)))
    assert weights(graph) == pytest.approx([1.0, 1.0], rel=1e-9)
    assert mass_arms(graph) == pytest.approx(np.zeros((2, 3)), abs=1e-12)
    assert ring.shape.primitives[:, 9] == pytest.approx(ring_shape(2.5, 0.5).primitives[:, 9])


def test_centre_of_half_a_circle():
    """2 R / pi from its middle (any table of centroids)."""
    arc = bent_wire([Bend(radius=3.0, angle=180.0)], begin=(0.0, -3.0, 0.0))
    assert centre_of_mass(finding_of([Strand(arc, 0.5)])) == pytest.approx([6.0 / np.pi, 0.0, 0.0], abs=1e-12)


def test_centre_of_wire_and_beads():
    """A straight of 8 mm, a ball of metal and two beads on it: lever by hand."""
    wire = Strand((Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 8.0),), 0.4)
    ball = Strand((Straight((8.5, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), 1.0)
    known = Strand((Straight((3.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), 2.0, "bead 1")
    discs = [
        Strand((circle((6.0, 0.0, 0.0), (1.0, 0.0, 0.0), radius),), 0.5, "bead 2") for radius in (0.9, 1.5)
    ]
    beads = (
        Bead("bead 1", "ball", 4.0, 4.0, 0.0, (1.0, 0.0, 0.0), 2.0 * METAL),
        Bead("bead 2", "disc", 4.0, 1.0, 0.0, (0.0, 0.0, 1.0)),
    )
    masses = np.array(
        [
            np.pi * 0.16 * 8.0, 4.0 / 3.0 * np.pi, 2.0 * 4.0 / 3.0 * np.pi * 8.0,
            UNKNOWN_BEAD / METAL * beads[1].volume,
        ]
    )  # fmt: skip
    at = np.array([4.0, 8.5, 3.0, 6.0])
    built = finding_of([wire, ball, known, *discs], beads)
    assert centre_of_mass(built) == pytest.approx([(masses @ at) / masses.sum(), 0.0, 0.0], abs=1e-12)
    ring = 2.0 * np.pi**2 * 2.5 * 0.25
    two = weights(row_graph((side(1, size(4.0, 1.0)), group(built))))
    assert two[1] / two[0] == pytest.approx(masses.sum() / ring, rel=1e-12)


def test_a_disc_weighs_what_it_is_not_what_its_circles_do():
    """What tubes count double is taken off where the disc is, not along the wire."""
    wire = Strand((Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 8.0),), 0.4)
    discs = [Strand((circle((9.0, 0.0, 0.0), (1.0, 0.0, 0.0), radius),), 0.5) for radius in (0.9, 1.5)]
    tubes, disc = np.pi * 0.25 * 2.0 * np.pi * 2.4, 9.0
    built = finding_of([wire, *discs], filling=disc - tubes)
    line = np.pi * 0.16 * 8.0
    assert built.wire_volume == pytest.approx(line + disc)
    expected = (line * 4.0 + disc * 9.0) / (line + disc)
    assert centre_of_mass(built) == pytest.approx([expected, 0.0, 0.0], abs=1e-12)


@pytest.mark.parametrize("kind", [name for name in KINDS if name != "wire path"])
def test_every_kind_weighs_its_metal_and_hangs_from_within_its_box(kind):
    built = KINDS[kind].build(kind)
    low, high = built.shape.box
    centre = centre_of_mass(built)
    assert (centre > low - 1e-9).all()
    assert (centre < high + 1e-9).all()
    # An end bar takes a ring in each of its eyes.
    row = weights(row_graph((side(len(built.inner), size(4.0, 1.0)), group(built))))
    assert row[-1] / row[0] == pytest.approx(built.wire_volume / (2.0 * np.pi**2 * 2.5 * 0.25), rel=1e-9)
    mirrored = centre_of_mass(built.mirrored())
    assert mirrored == pytest.approx(centre * [1.0, 1.0, -1.0], abs=1e-9)


def test_beads_are_weighed_against_sterling_silver():
    assert any(metal.density == METAL and "sterling" in metal.name for metal in METALS)
