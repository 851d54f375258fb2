"""Welds: where they are, what they make one, by hand and by the solids."""

from types import SimpleNamespace

import numpy as np
import pytest

from chaingen.design.load import parse_design
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.shapes import Shape, Strand, ring_shape
from chaingen.model.solids import joined, shell_count
from chaingen.pipeline import build
from chaingen.prepare.clusters import clusters_of
from chaingen.prepare.loose import CannotPrepare
from chaingen.prepare.shells import Shells
from chaingen.prepare.welds import (
    THICK,
    TooFar,
    Welds,
    weld_pairs,
    weld_solid,
    welds,
    welds_of,
)

RADIUS, WIRE = 3.0, 0.5
TOLERANCE = 0.005
NAMES = ("1a", "2a", "3a", "4a")


def rings(*places, radius=RADIUS, wire=WIRE):
    """Rings flat in the plane of x and y, by their middles."""
    count = len(places)
    return Bodies(
        np.array(places, dtype=float),
        np.tile([0.0, 0.0, 1.0], (count, 1)),
        np.full(count, radius),
        np.full(count, wire),
    )


def beside(gap):
    """Two rings side by side in one plane."""
    half = RADIUS + WIRE + 0.5 * gap
    return rings((-half, 0, 0), (half, 0, 0))


def whole(bodies, found):
    shells = Shells(bodies, TOLERANCE)
    return joined([*(shells[k] for k in range(len(bodies))), *(weld_solid(w, TOLERANCE) for w in found)])


PAIR = np.array([[0, 1]])


def test_a_neck_feeds_one_wire_through_the_other_and_stays_inside_both():
    """A section of 0.7 or more of the wire's (common practice); ends of the rod are on the centrelines."""
    for wire in (0.5, 0.3):
        both = concatenate([rings((-RADIUS - WIRE, 0, 0)), rings((RADIUS + wire + 0.2, 0, 0), wire=wire)])
        (weld,) = welds(both, PAIR, NAMES)
        assert 0.7 < (weld.radius / wire) ** 2 < 1.0
        # Rims of the rod, which runs along x, are inside the two wires: less than a wire from either circle.
        angle = np.linspace(0.0, 2.0 * np.pi, 181)
        for end, body in ((weld.begin, 0), (weld.end, 1)):
            rim = end + weld.radius * np.column_stack([0.0 * angle, np.cos(angle), np.sin(angle)])
            x, y, z = (rim - both.centres[body]).T
            assert np.hypot(np.hypot(x, y) - RADIUS, z).max() < both.wire_radii[body]


@pytest.mark.parametrize("gap", [0.0, 0.3, 0.9])
def test_a_weld_is_where_two_rings_come_nearest(gap):
    """Side by side: on the line of their middles, from centreline to centreline."""
    (weld,) = welds(beside(gap), PAIR, NAMES)
    half = WIRE + 0.5 * gap
    assert weld.begin == pytest.approx([-half, 0, 0], abs=1e-9)
    assert weld.end == pytest.approx([half, 0, 0], abs=1e-9)
    assert weld.radius == pytest.approx(THICK * WIRE)
    assert weld.gap == pytest.approx(gap, abs=1e-9)
    assert weld.length == pytest.approx(2 * WIRE + gap, abs=1e-9)
    assert weld.touched == ()


def test_the_same_wherever_the_pair_lies():
    """A rigid motion carries the weld along; the other way round it is the same rod."""
    pair = beside(0.4)
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    shift = np.array([5.0, -7.0, 2.0])
    (weld,) = welds(pair, PAIR, NAMES)
    (moved,) = welds(pair.turned(turn).moved(shift), PAIR, NAMES)
    (swapped,) = welds(pair[np.array([1, 0])], PAIR, NAMES)
    assert moved.begin == pytest.approx(turn @ weld.begin + shift, abs=1e-9)
    assert moved.end == pytest.approx(turn @ weld.end + shift, abs=1e-9)
    assert swapped.begin == pytest.approx(weld.end, abs=1e-9)
    assert swapped.end == pytest.approx(weld.begin, abs=1e-9)


@pytest.mark.parametrize("gap", [0.0, 0.3, 0.9])
def test_a_welded_pair_is_one_shell_with_two_holes(gap):
    """By hand: two rings joined by one rod have a hole each, so genus 2; the rod adds less than itself."""
    pair = beside(gap)
    (weld,) = welds(pair, PAIR, NAMES)
    one = whole(pair, [weld])
    shells = Shells(pair, TOLERANCE)
    bare = shells[0].volume() + shells[1].volume()
    assert shell_count(one) == 1
    assert one.genus() == 2
    # Between the wires there is at least the part of the rod that lies in the gap along its axis.
    rod = np.pi * weld.radius**2
    assert bare + 0.97 * rod * gap < one.volume() < bare + rod * weld.length


def test_linked_rings_are_one_shell():
    """One ring through the other, standing across it, welded where their wires are nearest."""
    across = Bodies(
        np.array([[0.0, 0, 0], [RADIUS - 2 * WIRE - 0.2 + RADIUS, 0, 0]]),
        np.array([[0.0, 0, 1], [0, 1, 0]]),
        np.full(2, RADIUS),
        np.full(2, WIRE),
    )
    found = welds(across, PAIR, NAMES)
    assert found[0].gap == pytest.approx(0.2, abs=1e-9)
    one = whole(across, found)
    assert (shell_count(one), one.genus()) == (1, 2)


def test_a_pair_not_chosen_stays_two_shells():
    """Of three in a row the first two are welded."""
    step = 2 * (RADIUS + WIRE) + 0.1
    row = rings((0, 0, 0), (step, 0, 0), (2 * step, 0, 0))
    assert shell_count(whole(row, welds(row, PAIR, NAMES))) == 2
    assert shell_count(whole(row, ())) == 3
    assert shell_count(whole(row, welds(row, np.array([[0, 1], [1, 2]]), NAMES))) == 1


def test_centrelines_that_cross_are_joined_by_a_ball():
    """Wires that run through one another have no way between them."""
    crossed = rings((-RADIUS, 0, 0), (RADIUS, 0, 0))
    (weld,) = welds(crossed, PAIR, NAMES)
    assert weld.length == pytest.approx(0.0, abs=1e-9)
    ball = weld_solid(weld, TOLERANCE)
    assert ball.volume() == pytest.approx(4 / 3 * np.pi * weld.radius**3, rel=0.05)
    assert shell_count(whole(crossed, [weld])) == 1


def test_too_far_apart_to_solder():
    """Farther than the thinner wire is thick: the bodies, their gap and the wire are said."""
    with pytest.raises(TooFar, match=r"1a and 2a are 1\.1 mm apart: too far to solder.*1 mm") as caught:
        welds(beside(1.1), PAIR, NAMES)
    assert caught.value.pair == (0, 1)
    thin = concatenate([rings((-(RADIUS + WIRE), 0, 0)), rings((RADIUS + 0.25 + 0.6, 0, 0), wire=0.25)])
    with pytest.raises(CannotPrepare, match=r"0\.6 mm apart"):
        welds(thin, PAIR, NAMES)


def test_the_thinner_wire_counts_where_the_weld_is():
    """A body of a thick and a thin wire is welded at the thin one: the rod is thin."""
    thick, thin = ring_shape(2.0, 0.8).strands[0], ring_shape(RADIUS, 0.3).strands[0]
    body = shaped(Shape((Strand(thick.curves, 0.8), Strand(thin.curves, 0.3)), ()))
    both = concatenate([body, rings((2 * RADIUS + 0.3 + WIRE + 0.1, 0, 0))])
    (weld,) = welds(both, PAIR, NAMES)
    assert weld.radius == pytest.approx(THICK * 0.3)
    assert weld.gap == pytest.approx(0.1, abs=1e-9)


@pytest.mark.parametrize(("inner", "touches"), [(0.35, True), (0.45, False)])
def test_a_weld_that_runs_into_a_third_body_says_so(inner, touches):
    """A small ring round the rod, clear of the two rings: it is touched when its hole is narrower."""
    pair = beside(0.8)
    small = Bodies(np.zeros((1, 3)), np.array([[1.0, 0, 0]]), np.array([inner + 0.2]), np.array([0.2]))
    (weld,) = welds(concatenate([pair, small]), PAIR, NAMES)
    assert weld.radius == pytest.approx(0.425)
    assert weld.touched == ((2,) if touches else ())
    solids = Shells(small, TOLERANCE)[0], weld_solid(weld, TOLERANCE)
    assert (solids[0].min_gap(solids[1], 1.0) == 0.0) is touches


def test_clusters_by_hand():
    """What is welded in a row is one, numbered by its first body."""
    assert clusters_of(5, np.empty((0, 2), dtype=int)).tolist() == [0, 1, 2, 3, 4]
    assert clusters_of(6, np.array([[3, 4], [1, 3], [0, 5]])).tolist() == [0, 1, 2, 1, 1, 0]
    found = Welds(welds(beside(0.2), PAIR, NAMES))
    assert found.cluster_of(3).tolist() == [0, 0, 1]
    assert found.clusters(3) == ((0, 1), (2,))
    assert Welds().clusters(2) == ((0,), (1,))


RUN = """
title = "Painter"
metal = "copper"

[rings.link]
inside = "6 mm"
wire = "1.2 mm"

[pattern]
form = "open run"
groups = [{ side_by_side = 1 }]
repeat = 4
"""


def test_the_pairs_of_a_design_by_name():
    """Each once, the first of the piece first; wrong names are refused."""
    run = build(parse_design(RUN)).placement

    def service(*pairs):
        return SimpleNamespace(soldered=pairs)

    assert weld_pairs(run.graph, service()).shape == (0, 2)
    pairs = weld_pairs(run.graph, service(("3a", "2a"), ("1a", "2a"), ("2a", "1a")))
    assert pairs.tolist() == [[0, 1], [1, 2]]
    (first,) = welds_of(run.rings, run.graph, service(("1a", "2a"))).rods
    assert first.pair == (0, 1)
    assert first.touched == ()
    with pytest.raises(CannotPrepare, match="there is no 9z"):
        weld_pairs(run.graph, service(("1a", "9z")))
    with pytest.raises(CannotPrepare, match="1a cannot be soldered to itself"):
        weld_pairs(run.graph, service(("1a", "1a")))
    with pytest.raises(CannotPrepare, match=r"1a and 4a are .* apart: too far"):
        welds_of(run.rings, run.graph, service(("1a", "4a")))
