from dataclasses import replace

import numpy as np
import pytest

from chaingen.findings.finding import Finding
from chaingen.findings.links import loop_link, oval_link
from chaingen.geometry.bodies import shaped
from chaingen.geometry.shapes import ring_shape
from chaingen.solve import rough
from chaingen.solve.cells import cell_of
from chaingen.solve.check import check
from chaingen.solve.contacts import Contacts, State, jacobian, stepped
from chaingen.solve.motion import UNKNOWNS, Motion, MotionKind
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.solve.slp import widen
from chaingen.solve.taut import row_aim, taut_cell, taut_row
from chaingen.weave.graph import cell_graph, row_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import join, rosette, side, size

OVAL = oval_link(wire=1.0, inside_length=8.0, inside_width=4.0)
LINK = loop_link(wire=0.8, inside=3.0, stem=6.0)


def finding(one, *, turned=False):
    return Group(GroupKind.FINDING, 1, one, turned)


def ring_as_finding(inside, wire):
    shape = ring_shape(0.5 * (inside + wire), 0.5 * wire)
    return Finding("round", "closed ring", shape, (0,), (0,))


def start_of(cell):
    graph = cell_graph(cell)
    return graph, State(
        rough.row_pose(graph.groups), Motion(MotionKind.SHIFT, rough.cell_period(graph.groups))
    )


@pytest.mark.parametrize(
    "cell",
    [(finding(OVAL), join(1, size(3.0, 0.8))), (rosette(3, size(4.0)), finding(LINK))],
    ids=["ovals", "loop links"],
)
@pytest.mark.parametrize("shake", [0.05, 0.6], ids=["linked", "in a mess"])
def test_derivatives_against_finite_differences(cell, shake):
    graph, state = start_of(cell)
    rng = np.random.default_rng(3)
    state = replace(state, rings=rough.shaken(state.rings, rng, shake))
    contacts = Contacts(graph)
    rows = contacts.rows(state, 3.0)
    free = np.ones(len(graph), dtype=bool)
    slopes = jacobian(rows, state, free).toarray()
    assert (rows.sign < 0.0).any() == (shake > 0.1)
    assert slopes.shape[1] == sum(5 if is_ring else 6 for is_ring in state.rings.is_ring) + UNKNOWNS
    key = np.column_stack([rows.first, rows.second, rows.image])
    best = {}
    for k in np.flatnonzero(rows.is_minimum):
        at = tuple(key[k])
        if at not in best or rows.distance[k] < rows.distance[best[at]]:
            best[at] = k
    h = 1e-6
    for column in range(slopes.shape[1]):
        step = np.zeros(slopes.shape[1])
        step[column] = h
        ends = []
        for sign in (1.0, -1.0):
            moved = contacts.rows(stepped(state, free, sign * step), 3.5)
            key = np.column_stack([moved.first, moved.second, moved.image])
            ends.append({at: moved.distance[moved.is_minimum & (key == at).all(axis=1)].min() for at in best})
        for at, k in best.items():
            assert (ends[0][at] - ends[1][at]) / (2.0 * h) == pytest.approx(slopes[k, column], abs=2e-6)


def test_a_whole_arc_is_placed_as_the_ring_that_it_is():
    ring = size(4.0, 1.0)
    plain = cell_of(Run((side(2, ring), side(1, ring)), repeat=3))
    mixed = cell_of(Run((side(2, ring), finding(ring_as_finding(4.0, 1.0))), repeat=3))
    assert mixed.gap == pytest.approx(plain.gap, abs=1e-4)
    pulled = [taut_cell(c.graph, c.state.rings, c.state.motion).length for c in (plain, mixed)]
    assert pulled[1] == pytest.approx(pulled[0], abs=1e-3)


def test_a_taut_chain_of_oval_links_is_as_long_as_their_insides():
    """By hand: each wire lies in the end of the next link, so that each link adds its inside length."""
    count = 6
    placement = place(Run((finding(OVAL),), repeat=count))
    assert placement.answer is Answer.FITS
    cell = cell_of(Run((finding(OVAL),), repeat=count))
    pulled = taut_cell(cell.graph, cell.state.rings, cell.state.motion).length
    assert pulled / cell.repeats == pytest.approx(8.0, abs=1e-3)
    whole = taut_row(placement.graph, placement.rings)
    assert whole.length == pytest.approx(count * 8.0 + 2.0 * 1.0, abs=5e-3)


def test_a_taut_chain_of_loop_links_and_rings_by_hand():
    """Eyes are pulled apart by what their insides leave: stem side to stem side, plus the ring's inside."""
    ring = size(4.0, 1.0)
    cell = cell_of(Run((finding(LINK), join(1, ring)), repeat=4))
    pulled = taut_cell(cell.graph, cell.state.rings, cell.state.motion).length / cell.repeats
    low, high = LINK.shape.box
    # From the inside of one loop's end to the inside of the other's, and the same of the ring.
    assert pulled == pytest.approx((high - low)[0] - 2.0 * 0.8 + 4.0, abs=0.02)


def test_the_length_of_a_row_has_the_derivative_that_the_pull_uses():
    graph = row_graph((finding(LINK), join(1, size(4.0, 1.0)), finding(LINK)))
    state = State(rough.shaken(rough.row_pose(graph.groups), np.random.default_rng(5), 0.1), Motion())
    free = np.ones(len(graph), dtype=bool)
    aim = row_aim(graph)
    _, slope = aim(state)
    low, high = state.rings.bounds()
    assert aim(state)[0] == pytest.approx(high[0] - low[0], abs=1e-9)
    h = 1e-6
    for column in range(len(slope)):
        step = np.zeros(len(slope))
        step[column] = h
        change = aim(stepped(state, free, step))[0] - aim(stepped(state, free, -step))[0]
        assert change / (2.0 * h) == pytest.approx(slope[column], abs=1e-6)


def test_a_ring_in_the_wrong_loop_is_named():
    graph = row_graph((side(1, size(4.0, 1.0)), finding(LINK)))
    placement = place(Run((side(1, size(4.0, 1.0)), finding(LINK))))
    assert check(graph, placement.rings).links_as_designed
    # The same ring at the other loop: half a turn of the link about its middle.
    middle = placement.rings.centres[1]
    turn = rough.about_z(np.pi)
    swapped = placement.rings.moved(-middle).turned(turn).moved(middle)
    other = placement.rings.posed(
        np.stack([placement.rings.centres[0], swapped.centres[1]]),
        np.stack([placement.rings.normals[0], swapped.normals[1]]),
        np.stack([placement.rings.first_axes()[0], swapped.first_axes()[1]]),
    )
    report = check(graph, other)
    assert report.missing_links == ((0, 1),)
    assert report.unwanted_links == ((0, 1),)


def test_wires_too_many_for_an_eye_cannot_fit():
    """Three wires need a circle of 1 + 2 / sqrt(3) wire diameters (Graham et al. 1998), 2.21 mm here."""
    narrow = loop_link(wire=0.8, inside=1.8, stem=6.0)
    placement = place(Run((rosette(3, size(4.0)), finding(narrow))))
    assert placement.answer is Answer.CANNOT_FIT
    assert placement.proof is not None
    assert placement.proof.ring == 3
    assert placement.proof.needed == pytest.approx(1.0237 * (1.0 + 2.0 / np.sqrt(3.0)), abs=1e-3)


def test_links_find_each_other_from_afar():
    # Bodies thrown some way apart are brought together through their wires.
    graph = row_graph((finding(LINK), finding(LINK)))
    start = rough.row_pose(graph.groups)
    apart = start.moved(np.array([[0.0, 0.0, 0.0], [4.0, 1.0, 1.0]]))
    assert not check(graph, apart).links_as_designed
    found = widen(Contacts(graph), State(apart, Motion()))
    report = check(graph, found.state.rings)
    assert report.sound
    assert report.smallest_gap == pytest.approx(found.value, abs=1e-9)


def test_one_shape_at_the_origin_is_the_world():
    one = shaped(LINK.shape)
    low, high = LINK.shape.box
    assert np.allclose(one.bounds(), (low, high))
