"""Shells that touch: by exact gaps where these prove it, by the meshes where they do not."""

import numpy as np
import pytest

from chaingen.design.load import load_design
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.shapes import ring_shape
from chaingen.pipeline import build
from chaingen.prepare import shells as module
from chaingen.prepare.shells import Shells, touching
from tests.oracles import circle_distance
from tests.test_examples import ROOT

RADIUS, WIRE, TOLERANCE = 3.0, 0.5, 0.01


def row(*gaps):
    """Flat rings along x with these gaps between neighbours [mm]."""
    x = np.concatenate([[0.0], np.cumsum(2 * (RADIUS + WIRE) + np.array(gaps))])
    centres = np.column_stack([x, np.zeros((len(x), 2))])
    count = len(x)
    return Bodies(centres, np.tile([0.0, 0, 1], (count, 1)), np.full(count, RADIUS), np.full(count, WIRE))


def circle(bodies, k):
    return bodies.centres[k], bodies.normals[k], bodies.radii[k]


def test_those_that_overlap_are_named():
    """Only neighbours whose gap is below nothing."""
    assert touching(row(0.1, -0.1, 0.3, -0.03, 0.05), TOLERANCE) == ((1, 2), (3, 4))


def test_those_far_enough_apart_need_no_meshes(monkeypatch):
    """Beyond twice the tolerance the exact gap is proof enough; in one another likewise."""

    def none(*_):
        raise AssertionError("meshes were made")

    monkeypatch.setattr(module, "Shells", none)
    assert touching(row(0.021, 0.5, -0.001), TOLERANCE) == ((2, 3),)
    with pytest.raises(AssertionError, match="meshes were made"):
        touching(row(0.019), TOLERANCE)


@pytest.mark.parametrize("gap", [0.015, 0.004, 0.001])
def test_where_the_gap_leaves_it_open_the_meshes_decide(gap):
    """Flat rings side by side: their meshes have vertices on the true surface and lie inside it there."""
    pair = row(gap)
    shells = Shells(pair, TOLERANCE)
    assert (shells[0] ^ shells[1]).is_empty()
    assert touching(pair, TOLERANCE) == ()


def test_a_ring_in_the_hole_of_another_that_only_meshes_touch():
    """True rings 0.004 mm apart, but chords of the outer one reach farther into its hole than that."""
    inner, tolerance = 1.5, 0.1
    outer = inner + 2 * WIRE + 0.004
    pair = concatenate([row()[:1], row()[:1]])
    pair = Bodies(pair.centres, pair.normals, np.array([inner, outer]), pair.wire_radii)
    # Turned so that the vertices of one face the chords of the other.
    turned = Bodies(
        pair.centres, pair.normals, pair.radii, pair.wire_radii,
        np.array([[1.0, 0, 0], [np.cos(0.1), np.sin(0.1), 0]]),
        (ring_shape(inner, WIRE), ring_shape(outer, WIRE)), np.array([0, 1]),
    )  # fmt: skip
    shells = Shells(turned, tolerance)
    meets = (shells[0] ^ shells[1]).volume() > 0.0
    assert meets
    assert touching(turned, tolerance) == ((0, 1),)
    assert touching(turned, 1e-3) == ()


def test_welded_bodies_may_touch():
    """Bodies of one cluster are one shell."""
    three = row(-0.1, -0.1)
    assert touching(three, TOLERANCE) == ((0, 1), (1, 2))
    assert touching(three, TOLERANCE, np.array([0, 0, 1])) == ((1, 2),)
    assert touching(three, TOLERANCE, np.array([0, 0, 0])) == ()
    assert touching(three[:1], TOLERANCE) == ()


def test_other_bodies_count_as_rings_do():
    """A ring as a shape among rings."""
    shape = shaped(ring_shape(RADIUS, WIRE)).moved(np.array([2 * (RADIUS + WIRE) - 0.05, 0, 0]))
    assert touching(concatenate([row(), shape]), TOLERANCE) == ((0, 1),)


def test_the_rings_of_a_piece_are_apart_and_thickened_they_are_not():
    """By the distance of sampled circles: thicker wires touch just where the gap was less."""
    run = build(load_design(ROOT / "examples" / "harbour-loop.toml"))
    bodies, gap = run.placement.rings, run.check.smallest_gap
    assert touching(bodies, TOLERANCE) == ()
    thick = bodies.thickened(0.5 * gap + 0.05)
    found = set(touching(thick, TOLERANCE))
    more = 2 * (0.5 * gap + 0.05)
    apart = {
        (i, j): circle_distance(circle(bodies, i), circle(bodies, j)) - 2 * bodies.wire_radii[0] - more
        for i in range(len(bodies))
        for j in range(i + 1, len(bodies))
    }
    surely = {pair for pair, each in apart.items() if each < 0.0}
    perhaps = {pair for pair, each in apart.items() if each < 2 * TOLERANCE}
    assert surely
    assert surely <= found <= perhaps
