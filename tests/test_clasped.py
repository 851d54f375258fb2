"""Pieces closed by a clasp, and rows with findings pulled straight."""

import numpy as np
import pytest

from chaingen.design.scene import Scene, SceneKind
from chaingen.findings.clasps import lobster_clasp, spring_ring, toggle_bar, toggle_ring
from chaingen.findings.eights import eye, s_hook
from chaingen.findings.hooks import ear_wire, hook
from chaingen.findings.links import closed_ring, loop_link, oval_link
from chaingen.findings.pins import head_pin
from chaingen.geometry.bodies import concatenate
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.eye_linking import eye_links
from chaingen.geometry.near import near_pairs
from chaingen.solve.check import check
from chaingen.solve.drape.clasped import closed_graph, closing_links, closing_of
from chaingen.solve.drape.drape import drape
from chaingen.solve.drape.peg import holes_of, peg_through
from chaingen.solve.drape.rows import clasped_row, straight_row
from chaingen.solve.drape.starts import CannotDrape
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.solve.rough import about_x
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import join, rosette, side, size

RING, JUMP = size(4.0, 1.0), size(3.5, 1.0, "jump")
WRIST = Scene(SceneKind.WRIST)


def finding(one, *, turned=False):
    return Group(GroupKind.FINDING, 1, one, turned)


def bracelet(start, end, *, repeat=24, joins=1):
    """Single rings between two findings, each on its joining rings."""
    row = tuple(side(1, JUMP) for _ in range(joins))
    return Run(
        (side(1, RING),), repeat=repeat, first=(finding(start, turned=True), *row), last=(*row, finding(end))
    )


FASTENINGS = {
    "lobster clasp on a ring": (lobster_clasp(), closed_ring(inside=5.0, wire=1.0), 1),
    "spring ring on a ring": (spring_ring(), closed_ring(inside=4.0, wire=0.8), 1),
    "ring on a lobster clasp": (closed_ring(inside=5.0, wire=1.0), lobster_clasp(), 1),
    "toggle": (toggle_bar(), toggle_ring(), 2),
    "toggle the other way": (toggle_ring(), toggle_bar(), 2),
    "hook and eye": (hook(), eye(), 1),
    "S-hook on a ring": (s_hook(), closed_ring(inside=6.0, wire=1.2), 1),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", list(FASTENINGS))
def test_worn_closed_through_its_clasp(name):
    start, end, joins = FASTENINGS[name]
    piece = bracelet(start, end, repeat=30, joins=joins)
    placement = place(piece)
    assert placement.answer is Answer.FITS
    draped = drape(piece, placement, WRIST)
    assert draped.reached
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    assert draped.support == pytest.approx(1.0, abs=1e-3)
    # The first body is linked with the last, as it is in no open piece.
    last = len(draped.graph) - 1
    assert [0, last] in draped.graph.links.tolist()
    found = eye_links(draped.rings, np.array([[0, last]]))
    assert found[:, :2].tolist() == [[0, last]]
    assert (found[0, 2], found[0, 3]) in {tuple(row) for row in draped.graph.eyes.tolist()}


def test_a_closing_is_clear_and_right():
    piece = bracelet(lobster_clasp(), closed_ring(inside=5.0, wire=1.0))
    placement = place(piece)
    closing = closing_of(placement.graph, placement.rings)
    assert closing is not None
    # The beginning comes again: as a copy beyond the end it is linked there and clear of it.
    size_of = len(placement.graph)
    again = closing.rings.turned(about_x(closing.roll)).moved(np.array([closing.shift, 0.0, 0.0]))
    both = concatenate([closing.rings, again])
    assert eye_links(both, np.array([[size_of - 1, size_of]])).shape == (1, 4)
    pairs = near_pairs(both)
    across = pairs[(pairs[:, 0] < size_of) & (pairs[:, 1] >= size_of)]
    assert smallest_gaps(both, across)[0].min() > 0.0
    assert check(placement.graph, closing.rings).sound


def test_only_a_finding_closes():
    plain = place(Run((side(1, RING),), repeat=6))
    assert closing_links(plain.graph) is None
    piece = bracelet(lobster_clasp(), closed_ring(inside=5.0, wire=1.0), repeat=6)
    graph = place(piece).graph
    links = closing_links(graph)
    assert links is not None
    assert [(graph.members[a].name, graph.members[b].name) for a, b, _, _ in links] == [
        (graph.members[0].name, graph.members[-1].name)
    ]
    closed = closed_graph(graph)
    assert closed.closed
    assert len(closed.links) == len(graph.links) + 1


def test_earrings_have_nothing_to_close_on():
    piece = Run(
        (side(1, RING),), repeat=4, first=(finding(ear_wire(), turned=True),), last=(finding(head_pin()),)
    )
    placement = place(piece)
    with pytest.raises(CannotDrape):
        drape(piece, placement, WRIST)


def test_a_peg_goes_through_the_hook_of_an_ear_wire():
    piece = Run((side(1, RING),), repeat=3, first=(finding(ear_wire(), turned=True),))
    placement = place(piece)
    assert placement.answer is Answer.FITS
    first = np.array([0])
    hole = holes_of(placement.rings, first, placement.graph)
    wire = ear_wire().shape.eyes[ear_wire().outer[0]]
    assert hole.inside_diameters[0] == pytest.approx(wire.inside)
    peg = peg_through(placement.rings, first, graph=placement.graph)
    assert peg is not None
    # Through the hook, and clear of its wire: no nearer to it than its own radius.
    own = placement.rings.shape(0)
    assert own is not None
    away = own.samples @ placement.rings.frames()[0] + placement.rings.centres[0] - peg.point
    away = away - (away @ peg.direction)[:, None] * peg.direction
    assert np.linalg.norm(away, axis=1).min() > peg.radius + own.wire_radius


@pytest.mark.slow
def test_an_earring_hangs_with_its_weight_under_the_peg():
    """Statics: at rest, without friction, the centre of mass lies straight under where a piece hangs."""
    piece = Run(
        (rosette(3, size(4.0, 1.0)),), first=(finding(ear_wire(inside=2.4), turned=True),),
        last=(join(1, RING), finding(head_pin())),
    )  # fmt: skip
    placement = place(piece)
    assert placement.answer is Answer.FITS
    draped = drape(piece, placement, Scene(SceneKind.HANG, friction=0.0))
    assert draped.reached
    assert draped.check.links_as_designed
    weights, centres = [], []
    for k, member in enumerate(draped.graph.members):
        own = draped.rings.shape(k)
        if own is None:
            weights.append(2.0 * np.pi**2 * member.size.radius * member.size.wire_radius**2)
            centres.append(draped.rings.centres[k])
            continue
        # By hand: pieces of wire weigh as long as they are, at their middles.
        arms, lengths = [], []
        for strand in own.strands:
            for curve in strand.curves:
                parts = 400
                t = (np.arange(parts) + 0.5) / parts * curve.span
                points = np.array([curve.point(x) for x in t])
                ball = 4.0 / 3.0 * np.pi * strand.wire_radius**3 if curve.length == 0.0 else 0.0
                arms.append(points.mean(axis=0))
                lengths.append(ball + np.pi * strand.wire_radius**2 * curve.length)
        weights.append(sum(lengths))
        middle = np.average(arms, axis=0, weights=lengths)
        centres.append(draped.rings.centres[k] + middle @ draped.rings.frames()[k])
    middle = np.average(centres, axis=0, weights=weights)
    (peg,) = draped.solids
    touching = peg.numbers[:3]
    # The peg is round and the hook's bend wide: contact is on top of the peg.
    assert middle[0] == pytest.approx(touching[0], abs=0.05)


def test_long_rows_with_ends_are_pulled_by_their_cell():
    piece = bracelet(lobster_clasp(), closed_ring(inside=5.0, wire=1.0), repeat=60)
    placement = place(piece)
    row = straight_row(piece, placement, left=0.01)
    report = check(row.graph, row.rings)
    assert report.links_as_designed
    assert report.smallest_gap > -0.01
    # Pulled, each ring adds its inside diameter, less what is left of the gaps.
    rings = np.flatnonzero(row.rings.is_ring)[5:-5]
    pitch = np.diff(row.rings.centres[rings, 0])
    np.testing.assert_allclose(pitch, 4.0, atol=0.03)
    low, high = row.rings.bounds()
    slack_low, slack_high = placement.rings.bounds()
    assert (high - low)[0] > (slack_high - slack_low)[0]


def test_a_clasp_takes_less_round_than_the_piece_is_long():
    piece = bracelet(lobster_clasp(), closed_ring(inside=5.0, wire=1.0))
    placement = place(piece)
    row = clasped_row(piece, placement, left=None)
    assert row is not None
    low, high = placement.rings.bounds()
    assert row.length < (high - low)[0]
    assert row.length > 0.8 * (high - low)[0]


def test_links_with_loops_reach_from_end_to_end():
    piece = Run((finding(loop_link()), finding(oval_link())), repeat=3)
    placement = place(piece)
    assert placement.answer is Answer.FITS
    assert closing_links(placement.graph) is not None
