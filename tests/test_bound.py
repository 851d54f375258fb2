import pytest

from chaingen.solve.bound import hole_proof, threading
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Run
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
