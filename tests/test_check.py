import dataclasses

import numpy as np
import pytest

from chaingen.design.load import parse_design
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import smallest_gaps
from chaingen.pipeline import build
from chaingen.solve.check import check
from chaingen.solve.place import place
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import Run
from tests.conftest import join, rings_of, rosette, side, size

RING = size(4.0)


@pytest.fixture(scope="module")
def placed():
    return place(Run((rosette(3, RING), join(2, RING)), repeat=4), starts=2)


def changed(rings, ring, *, centre=None, normal=None):
    centres, normals = rings.centres.copy(), rings.normals.copy()
    if centre is not None:
        centres[ring] = centre
    if normal is not None:
        normals[ring] = normal
    return Bodies(centres, normals, rings.radii, rings.wire_radii)


def test_a_sound_piece_is_sound(placed):
    report = check(placed.graph, placed.rings)
    assert report.sound
    assert report.smallest_gap == pytest.approx(placed.gap, abs=1e-9)


def test_rigid_motion_changes_nothing(placed, rng):
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    moved = Bodies(
        placed.rings.centres @ turn.T + [5.0, -3.0, 2.0],
        placed.rings.normals @ turn.T,
        placed.rings.radii,
        placed.rings.wire_radii,
    )
    report = check(placed.graph, moved)
    assert report.sound
    assert report.smallest_gap == pytest.approx(placed.gap, abs=1e-9)


def test_a_dropped_ring_is_named(placed):
    lost = 7
    far = changed(placed.rings, lost, centre=placed.rings.centres[lost] + [0.0, 100.0, 0.0])
    report = check(placed.graph, far)
    mates = {tuple(sorted(map(int, link))) for link in placed.graph.links if lost in link}
    assert set(report.missing_links) == mates
    assert not report.unwanted_links
    assert not report.sound


def test_two_swapped_rings_are_named(placed):
    a, b = 0, 13
    centres, normals = placed.rings.centres.copy(), placed.rings.normals.copy()
    centres[[a, b]], normals[[a, b]] = centres[[b, a]], normals[[b, a]]
    report = check(placed.graph, Bodies(centres, normals, placed.rings.radii, placed.rings.wire_radii))
    assert {a, b} <= {ring for pair in report.missing_links for ring in pair}
    assert {a, b} <= {ring for pair in report.unwanted_links for ring in pair}


def test_a_wish_for_another_link_is_missed_and_the_real_one_is_unwanted(placed):
    links = placed.graph.links.copy()
    gone, new = tuple(links[5]), (0, len(placed.graph) - 1)
    links[5] = new
    report = check(dataclasses.replace(placed.graph, links=links), placed.rings)
    assert report.missing_links == (new,)
    assert report.unwanted_links == (gone,)


def test_thicker_wire_names_the_colliding_pair(placed):
    thick = placed.rings.wire_radii.copy()
    a = check(placed.graph, placed.rings).binding_pair[0]
    thick[a] += placed.gap + 0.01
    report = check(
        placed.graph, Bodies(placed.rings.centres, placed.rings.normals, placed.rings.radii, thick)
    )
    assert report.collisions
    assert all(a in collision.rings for collision in report.collisions)
    worst = report.collisions[0]
    assert worst.gap == pytest.approx(-0.01, abs=1e-6)
    # The place lies within the wire of both rings.
    for ring in worst.rings:
        w = np.array(worst.place) - placed.rings.centres[ring]
        h = w @ placed.rings.normals[ring]
        rho = np.sqrt(w @ w - h * h)
        assert np.hypot(rho - placed.rings.radii[ring], h) < thick[ring]


def test_clearance_is_asked_of_every_pair(placed):
    asked = placed.gap + 0.02
    report = check(placed.graph, placed.rings, clearance=asked)
    assert report.links_as_designed
    assert report.collisions
    assert not check(placed.graph, placed.rings, clearance=placed.gap - 1e-3).collisions


def test_crossed_joins_are_a_fault_though_their_links_are_right():
    """Two thin joins, one inside the other and crossing it like an X, link the same rings as two that lie
    side by side."""
    big, thin = size(8.0, 0.2, "big"), size(6.0, 0.2, "thin")
    run = Run((side(1, big), join(2, thin), side(1, big)))
    placement = place(run, starts=2)
    assert check(placement.graph, placement.rings).sound
    # Both stand on the upright through their middle, turned to either side; one is moved lengthways, so that
    # its shorter chord of that upright lies within the other's.
    c, s = np.cos(0.3), np.sin(0.3)
    crossed = rings_of(
        ((-4.3, 0, 0), (0, 0, 1), big.radius, big.wire_radius),
        ((1.6 * c, 1.6 * s, 0), (-s, c, 0), thin.radius, thin.wire_radius),
        ((0, 0, 0), (s, c, 0), thin.radius, thin.wire_radius),
        ((5.0, 0, 0), (0, 0, 1), big.radius, big.wire_radius),
    )
    report = check(placement.graph, crossed)
    assert report.links_as_designed
    assert not report.collisions
    assert [fault.rings for fault in report.faults] == [(1, 2)]
    assert not report.sound


def test_cost_grows_with_rings_not_pairs():
    """Near pairs per ring stay the same however long the chain."""
    short = place(Run((side(2, RING), join(1, RING)), repeat=40), starts=1)
    long = place(Run((side(2, RING), join(1, RING)), repeat=400), starts=1)
    per_ring = [check(p.graph, p.rings).pairs_checked / len(p.graph) for p in (short, long)]
    assert per_ring[1] == pytest.approx(per_ring[0], rel=0.05)


def test_wrong_shapes_of_a_graph_are_bugs():
    graph = place(Run((side(1, RING),), repeat=2), starts=1).graph
    assert isinstance(graph, LinkGraph)
    with pytest.raises(AssertionError):
        check(graph, Bodies(np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]), np.ones(1), np.ones(1) * 0.1))


@pytest.mark.parametrize("inside", [6.0, 8.0, 20.0])
def test_the_smallest_gap_of_loose_chains_is_that_of_all_pairs(inside):
    """Gaps wider than the wire: the closest rings may be ones that are not linked."""
    ring = size(inside, 1.0)
    for cell in ((side(1, ring),), (side(2, ring), join(1, ring))):
        placement = place(Run(cell, 8), starts=2)
        everywhere = np.column_stack(np.triu_indices(len(placement.graph), 1))
        report = check(placement.graph, placement.rings)
        assert report.smallest_gap == smallest_gaps(placement.rings, everywhere)[0].min()
        # Rings far apart are measured too.
        apart = Bodies(
            placement.rings.centres * 50.0,
            placement.rings.normals,
            placement.rings.radii,
            placement.rings.wire_radii,
        )
        assert check(placement.graph, apart).smallest_gap == smallest_gaps(apart, everywhere)[0].min()


def torus_distance(point, ring):
    """How far a point lies outside a ring's wire [mm]; closed form."""
    off = np.asarray(point) - ring.centres[0]
    along = float(off @ ring.normals[0])
    across = float(np.linalg.norm(off - along * ring.normals[0]))
    return float(np.hypot(across - ring.radii[0], along) - ring.wire_radii[0])


@pytest.mark.parametrize("joined", ["start", "end"])
def test_the_tightest_place_by_the_thin_wire_of_a_finding_lies_midway(joined):
    # The body of a lobster clasp is thicker than its gate and its eye.
    text = f"""
title = "Bow rope"
metal = "copper"
[rings.link]
inside = "4 mm"
wire = "1 mm"
[findings.clasp]
kind = "lobster clasp"
[ends.{joined}]
finding = "clasp"
joins = [{{ join = 1, ring = "link" }}]
[pattern]
repeat = 2
groups = [{{ side_by_side = 1 }}]
"""
    placement = build(parse_design(text)).placement
    clasp = int(np.flatnonzero(~placement.rings.is_ring)[0])
    assert placement.rings.thinnest[clasp] < placement.rings.wire_radii[clasp]
    rings = placement.rings
    # The ring next to the clasp is shifted until these two are the closest, clear and then collided.
    beside = 1 if clasp == 0 else clasp - 1
    for shift in (0.3, 0.7):
        centres = rings.centres.copy()
        centres[beside, 0] += shift if clasp == 0 else -shift
        moved = rings.posed(centres, rings.normals, rings.first_axes())
        report = check(placement.graph, moved)
        for found in report.collisions:
            if set(found.rings) == {clasp, beside}:
                assert torus_distance(found.place, moved[np.array([beside])]) == pytest.approx(
                    0.5 * found.gap, abs=1e-6
                )
        assert report.binding_pair is not None
        ring = next(body for body in report.binding_pair if body != clasp)
        assert torus_distance(report.binding_place, moved[np.array([ring])]) == pytest.approx(
            0.5 * report.smallest_gap, abs=1e-6
        )
