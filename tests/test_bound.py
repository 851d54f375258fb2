import pytest

from chaingen.findings.eights import s_hook
from chaingen.findings.links import closed_ring, loop_link
from chaingen.solve.bound import hole_proof, threading
from chaingen.weave.graph import piece_graph, row_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import join, side, size


def chain(inside, wire):
    ring = size(inside, wire)
    return piece_graph(Run((side(2, ring), join(1, ring)), 6))


def test_proof_at_the_border():
    """Four wires of 1 mm need 1 + sqrt 2 = 2.41421 mm."""
    assert hole_proof(chain(2.42, 1.0), 0.0) is None
    proof = hole_proof(chain(2.41, 1.0), 0.0)
    assert proof.wires == 4
    assert proof.needed == pytest.approx(2.4142, abs=2e-4)


def test_clearance_widens_the_wires_and_narrows_the_hole():
    """Four wires 0.1 apart: discs of 1.1 in a hole of ID - 0.1."""
    border = 2.41421 * 1.1 + 0.1
    assert hole_proof(chain(border + 1e-3, 1.0), 0.1) is None
    assert hole_proof(chain(border - 2e-3, 1.0), 0.1) is not None


def test_threading_margin_by_hand():
    """Hole 3, four wires of 1 in 2.4142, less the bow 1 / (8 * 2) of wire bent to radius 2 over 1 mm."""
    margin = threading(chain(3.0, 1.0))
    assert margin.wires == 4
    assert margin.margin == pytest.approx(3.0 - 2.4142 - 1.0 / 16.0, abs=1e-3)


def test_unequal_wires_through_a_hole():
    thick, thin = size(6.0, 1.6, "thick"), size(3.3, 0.8, "thin")
    graph = piece_graph(Run((side(1, thick), join(1, thin)), 6))
    # Two wires of 1.6 need 3.2 of the 3.3 there are.
    assert hole_proof(graph, 0.0) is None
    narrow = size(3.1, 0.8, "thin")
    proof = hole_proof(piece_graph(Run((side(1, thick), join(1, narrow)), 6)), 0.0)
    assert (proof.wires, proof.needed) == (2, pytest.approx(3.2))


def test_nothing_linked_has_no_hole_to_thread():
    assert threading(piece_graph(Run((side(3, size(4.0)),)))) is None


def test_a_soldered_ring_is_as_wide_as_the_ring_that_it_is():
    """A closed ring is a finding, its hole the hole of a ring of its size: proof and threading agree."""
    thin, inside = size(6.0, 1.0, "thin"), 3.2
    for count in (1, 2, 4):
        wires = side(count, thin)
        as_ring = row_graph((wires, side(1, size(inside, 1.0, "hole"))))
        made = closed_ring(inside=inside, wire=1.0)
        as_finding = row_graph((wires, Group(GroupKind.FINDING, 1, made)))
        one, other = (threading(graph) for graph in (as_ring, as_finding))
        assert other.margin == pytest.approx(one.margin, abs=1e-9)
        assert (other.ring, other.wires) == (one.ring, one.wires)
    crowded = side(8, thin)
    one = hole_proof(row_graph((crowded, side(1, size(inside, 1.0, "hole")))), 0.0)
    other = hole_proof(row_graph((crowded, Group(GroupKind.FINDING, 1, made))), 0.0)
    assert (other.hole, other.needed) == pytest.approx((one.hole, one.needed), abs=1e-9)


def test_an_eye_is_proven_by_a_circle_that_holds_it():
    # A turned loop is a little longer than wide: the circle round it is larger, but not by much.
    made = loop_link(inside=2.0, wire=0.8)
    graph = row_graph((side(5, size(6.0, 1.0)), Group(GroupKind.FINDING, 1, made)))
    proof = hole_proof(graph, 0.0)
    assert 2.0 < proof.hole < 2.5
    assert proof.needed == pytest.approx(2.7013, abs=2e-4)  # Graham et al. 1998, five wires of 1 mm
    # An open hook proves nothing.
    open_one = Group(GroupKind.FINDING, 1, s_hook(), True)
    hooked = row_graph((open_one, side(5, size(6.0, 1.0))))
    assert hole_proof(hooked, 0.0) is None or hole_proof(hooked, 0.0).ring != 0
