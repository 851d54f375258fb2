"""Feeders of a piece cast as placed: that each shell has one of its own and nothing else is near it."""

import dataclasses
import itertools

import numpy as np
import pytest

from chaingen.design.load import load_design, parse_design
from chaingen.design.service import Sprues
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.shapes import Shape, Strand, ring_shape
from chaingen.model.solids import joined, shell_count
from chaingen.pipeline import build
from chaingen.prepare import reach
from chaingen.prepare.feeding import feed, sprue_solids, sprued_solid
from chaingen.prepare.shells import Shells
from chaingen.prepare.welds import Welds, weld_solid, welds
from tests.oracles import distance_to_circle
from tests.test_examples import ROOT

TOLERANCE = 0.01
SPRUES = Sprues()

NET = """
title = "Net"
metal = "brass"

[rings.link]
inside = "5 mm"
wire = "1.29 mm"

[pattern]
weave = "european-4-in-1"
columns = 5
rows = 6
"""

ROPE = """
title = "Rope"
metal = "copper"

[rings.link]
inside = "4 mm"
wire = "1 mm"

[pattern]
weave = "byzantine"
form = "open run"
repeat = 2
"""


def rings(centres, normals, radius=3.0, wire=0.5):
    count = len(centres)
    return Bodies(
        np.array(centres, dtype=float), np.array(normals, dtype=float), np.full(count, radius),
        np.full(count, wire),
    )  # fmt: skip


def chain(count=8, wire=0.5):
    """Rings each through the next, lying and standing in turn."""
    step = 2 * (3.0 - wire) - 0.4
    return rings(
        [(step * k, 0, 0) for k in range(count)],
        [((0, 0, 1), (0, 1, 0))[k % 2] for k in range(count)],
        wire=wire,
    )


def built(text):
    return build(text if dataclasses.is_dataclass(text) else parse_design(text))


@pytest.fixture(scope="module")
def pieces():
    """Pieces by name, and the smallest gap of each [mm]."""
    loop = built(load_design(ROOT / "examples" / "harbour-loop.toml"))
    net, rope = built(NET), built(ROPE)
    found = {
        "chain": (chain(), 0.2),
        "upright chain": (chain().turned(np.array([[0.0, 0, -1], [0, 1, 0], [1, 0, 0]])), 0.2),
        "loop": (loop.placement.rings, min(loop.check.smallest_gap, 0.4)),
        "net": (net.placement.rings, net.check.smallest_gap),
        "rope": (rope.placement.rings, rope.check.smallest_gap),
    }
    return found


NO_WELDS = Welds()

PIECES = ["chain", "upright chain", "loop", "net", "rope"]


def fed(bodies, gap, **more):
    return feed(bodies, SPRUES, gap=gap, tolerance=TOLERANCE, **more)


def near(one, two, gap):
    """Whether the boxes of two solids come within a gap [mm]."""
    a, b = np.array(one.bounding_box()).reshape(2, 3), np.array(two.bounding_box()).reshape(2, 3)
    return bool((a[0] - gap <= b[1]).all() and (b[0] - gap <= a[1]).all())


def assert_well_fed(bodies, feeding, gap, found_welds=NO_WELDS):
    """By the solids alone: one body of all; of each shell just one feeder; all else keeps the gap."""
    shells = Shells(bodies, TOLERANCE)
    groups = found_welds.clusters(len(bodies))
    solids = [
        joined(
            [shells[k] for k in group]
            + [weld_solid(w, TOLERANCE) for w in found_welds.rods if w.pair[0] in group]
        )
        for group in groups
    ]
    sprues = sprue_solids(feeding, TOLERANCE)
    feeders, rods = sprues[: len(feeding.feeders)], joined(sprues[len(feeding.feeders) :])
    assert shell_count(rods) == 1
    group_of = {body: number for number, group in enumerate(groups) for body in group}
    fed_groups = [group_of[each.body] for each in feeding.feeders]
    unfed = [group_of[body] for body in feeding.unfed]
    assert sorted(fed_groups + unfed) == list(range(len(groups)))
    for number, solid in enumerate(solids):
        for own, each in zip(fed_groups, feeders, strict=True):
            if own == number:
                meets = solid ^ each
                assert meets.volume() > 0.01 * SPRUES.feeder(1.0)
                assert shell_count(meets) == 1
                assert (solid - each).genus() == solid.genus()
            elif near(solid, each, gap):
                assert solid.min_gap(each, 2.0 * gap + 1.0) >= gap - 1.5 * TOLERANCE
        assert solid.min_gap(rods, 2.0 * SPRUES.length) >= SPRUES.length - TOLERANCE
    for each in feeders:
        assert (each ^ rods).volume() > 0.0
    whole = sprued_solid(bodies, feeding, found_welds.rods, TOLERANCE)
    assert shell_count(whole) == 1 + len(feeding.unfed)


@pytest.mark.parametrize("name", PIECES)
def test_every_shell_is_fed_by_itself(pieces, name):
    bodies, gap = pieces[name]
    feeding = fed(bodies, gap)
    assert feeding.unfed == ()
    assert [each.body for each in feeding.feeders] == list(range(len(bodies)))
    assert_well_fed(bodies, feeding, gap)


@pytest.mark.parametrize("name", PIECES)
def test_feeders_run_from_a_rod_to_the_centreline(pieces, name):
    """By plain vectors: where they begin, where they end, how they lean and how long they are free."""
    bodies, gap = pieces[name]
    feeding = fed(bodies, gap)
    for each in feeding.feeders:
        assert each.diameter == pytest.approx(2 * bodies.wire_radii[each.body])
        own = bodies.centres[each.body], bodies.normals[each.body], bodies.radii[each.body]
        assert distance_to_circle(each.end[None], *own)[0] == pytest.approx(0.0, abs=1e-9)
        along = (each.end - each.start) / np.linalg.norm(each.end - each.start)
        assert abs(along @ each.main.axis) < np.sin(np.radians(50.1))
        ways = [(rod.end - rod.begin) / np.linalg.norm(rod.end - rod.begin) for rod in feeding.rods]
        off = [
            np.linalg.norm(np.cross(each.start - rod.begin, way))
            for rod, way in zip(feeding.rods, ways, strict=True)
        ]
        assert min(off) < 1e-9
        # The wire where it ends runs square to the arm of its ring.
        arm = each.end - bodies.centres[each.body]
        assert each.wire.axis @ arm == pytest.approx(0.0, abs=1e-9)
        assert each.wire.axis @ bodies.normals[each.body] == pytest.approx(0.0, abs=1e-9)


def side_by_side():
    """Upright rings in a row across, 1.3 mm apart: the ways to one rod of those far out crowd at it."""
    return rings([(0, 1.3 * k, 0) for k in range(-8, 9)], [(0, 1, 0)] * 17)


@pytest.mark.parametrize("name", [*PIECES, "side by side"])
def test_feeders_keep_clear_of_one_another(pieces, name):
    """Sampled away from the rods, no two feeders come nearer than the gap."""
    bodies, gap = (side_by_side(), 0.25) if name == "side by side" else pieces[name]
    feeding = fed(bodies, gap)
    assert len(feeding.feeders) > 0.8 * len(bodies)
    t = np.linspace(0.0, 1.0, 200)[:, None]
    points = []
    for each in feeding.feeders:
        length = np.linalg.norm(each.end - each.start)
        kept = 1.0 - max(length - 0.5 * each.main.diameter - each.diameter, 0.5 * length) / length
        points.append(each.start + (kept + (1.0 - kept) * t) * (each.end - each.start))
    for (a, p), (b, q) in itertools.combinations(enumerate(points), 2):
        apart = np.linalg.norm(p[:, None] - q[None], axis=2).min()
        both = 0.5 * (feeding.feeders[a].diameter + feeding.feeders[b].diameter)
        assert apart >= both + gap - 1e-6


def test_one_ring_that_stands_is_fed_from_its_lowest_point():
    """Closed form: the feeder is as long as asked, with half of the rod and of the wire besides."""
    feeding = fed(rings([(0, 0, 0)], [(0, 1, 0)]), 0.3)
    (each,) = feeding.feeders
    main = SPRUES.main_diameter(1.0)
    # The feet nearest to the lowest point lie half a step off it.
    sag = 3.0 * (1.0 - np.cos(np.pi / reach.FEET))
    assert each.end[2] == pytest.approx(-3.0 + sag)
    assert each.start[2] == pytest.approx(-3.5 - SPRUES.length - 0.5 * main)
    assert each.start[:2] == pytest.approx(each.end[:2], abs=1e-9)
    # A single rod ends at the button.
    (rod,) = feeding.rods
    assert np.abs(np.cross(rod.end - rod.begin, feeding.button.axis)).max() < 1e-9
    assert feeding.button.diameter == SPRUES.button_diameter(1.0)


def cage(count):
    """A ring in a cage of circles of latitude, too near one another for a feeder; the first is the ring."""
    around = np.pi * (np.arange(count) + 0.5) / count
    circles = Bodies(
        np.column_stack([np.zeros((count, 2)), 9.0 * np.cos(around)]),
        np.tile([0.0, 0, 1], (count, 1)),
        9.0 * np.sin(around),
        np.full(count, 0.5),
    )
    return concatenate([rings([(0, 0, 0)], [(0, 0, 1)]), circles])


def test_a_ring_buried_in_a_cage_is_told_as_unfed():
    """Between the bars there is 0.41 mm, and the feeder is 1 mm thick; the bars themselves are fed."""
    buried = cage(20)
    feeding = fed(buried, 0.2)
    assert feeding.unfed == (0,)
    assert len(feeding.feeders) == 20
    assert_well_fed(buried, feeding, 0.2)


def test_a_ring_in_an_open_cage_is_fed_through_the_opening():
    """Without the bars next to the lower pole it is reached from there; without the equator's from a side."""
    buried = cage(20)
    below = buried[np.array([k for k in range(21) if k not in (18, 19, 20)])]
    feeding = fed(below, 0.2)
    assert 0 not in feeding.unfed
    assert feeding.feeders[0].start[2] < -9.0
    side = buried[np.array([k for k in range(21) if k not in (10, 11)])]
    feeding = fed(side, 0.2)
    assert feeding.unfed == ()
    assert abs(feeding.feeders[0].start[1]) > 9.0
    assert_well_fed(side, feeding, 0.2)


def test_no_feeder_at_all():
    """Where nothing can be reached there are no sprues either, and every body stays by itself."""
    two = rings([(0, 0, 0), (0, 0, 1.001)], [(0, 0, 1)] * 2)
    feeding = fed(two, 0.2)
    # Each has a wire of the other nearer than the gap all round.
    assert (feeding.feeders, feeding.unfed, feeding.rods, feeding.button) == ((), (0, 1), (), None)
    assert shell_count(sprued_solid(two, feeding, (), TOLERANCE)) == 2


def test_welded_bodies_share_a_feeder():
    """One for the shell, at its thickest wire, and clear of the weld of others."""
    count, wires = 6, np.array([0.5, 0.6, 0.5, 0.5, 0.5, 0.5])
    row = dataclasses.replace(chain(count), wire_radii=wires)
    pairs = np.array([[0, 1], [3, 4]])
    found = Welds(welds(row, pairs, tuple(f"{k}a" for k in range(count))))
    feeding = fed(row, 0.2, clusters=found.cluster_of(count), welds=found.rods)
    assert feeding.unfed == ()
    assert len(feeding.feeders) == 4
    assert feeding.feeders[0].body == 1
    assert feeding.feeders[0].diameter == pytest.approx(1.2)
    assert_well_fed(row, feeding, 0.2, found)


def test_the_thickest_wire_of_a_body_is_fed():
    """A body of two rings, the lower of thinner wire, is fed at the upper one."""
    lower = dataclasses.replace(ring_shape(3.0, 0.3).strands[0], wire_radius=0.3)
    upper = shaped(ring_shape(4.5, 0.6)).shapes[0].moved(np.array([0.0, 0.0, 2.0])).strands[0]
    both = shaped(Shape((lower, Strand(upper.curves, 0.6)), ()))
    feeding = fed(both, 0.2)
    (each,) = feeding.feeders
    assert each.end[2] == pytest.approx(2.0)
    assert each.diameter == pytest.approx(1.2)


def test_thicker_feeders_and_longer_ones():
    """The section is as asked, and the piece is as far from the rods."""
    sprues = Sprues(feed=1.5, length=6.0, main=5.0, button=14.0)
    feeding = feed(chain(), sprues, gap=0.2, tolerance=TOLERANCE)
    assert feeding.unfed == ()
    assert [each.diameter for each in feeding.feeders] == pytest.approx([1.5**0.5] * 8)
    assert {rod.diameter for rod in feeding.rods} == {5.0}
    assert feeding.button.diameter == 14.0
    shells = Shells(chain(), TOLERANCE)
    rods = joined(sprue_solids(feeding, TOLERANCE)[len(feeding.feeders) :])
    assert min(shells[k].min_gap(rods, 10.0) for k in range(8)) >= 6.0 - TOLERANCE


def test_the_same_twice_and_elsewhere(pieces):
    """Deterministic; a piece moved or turned by a quarter round z is fed as fully."""
    bodies, gap = pieces["net"]
    one, two = fed(bodies, gap), fed(bodies, gap)
    for a, b in zip(one.feeders, two.feeders, strict=True):
        assert np.array_equal(a.start, b.start)
        assert np.array_equal(a.end, b.end)
    quarter = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    moved = bodies.turned(quarter).moved(np.array([7.0, -3.0, 11.0]))
    turned = fed(moved, gap)
    assert turned.unfed == ()
    assert abs(turned.feeders[0].main.axis @ quarter @ one.feeders[0].main.axis) == pytest.approx(1.0)
    assert_well_fed(moved, turned, gap)


def test_clear_ways_against_the_exact_gap():
    """Among random rings: what passes keeps the distance but for the slack, and what keeps it passes."""
    rng = np.random.default_rng(11)
    slack, apart, seen = 0.02, 0.7, set()
    for _ in range(400):
        normals = rng.normal(size=(4, 3))
        normals /= np.linalg.norm(normals, axis=1)[:, None]
        rows = reach.Curves.of(rings(rng.uniform(-6, 6, (4, 3)), normals)).rows
        foot, end = rng.uniform(-7, 7, (2, 3))
        length = float(np.linalg.norm(end - foot))
        clear = reach.way_is_clear(
            foot, (end - foot) / length, 0.0, length, apart, slack, rows, np.arange(4), 4
        )
        gap = reach.gap_of_curves(reach.straight_row(foot, end, 0.0)[None], rows)
        if clear:
            assert gap >= apart - slack - 1e-9
        else:
            assert gap <= apart - 0.5 * slack + 1e-9
        seen.add(clear)
    assert seen == {True, False}


def test_distance_to_a_curve_against_samples():
    """Whole circles and parts of them."""
    rng = np.random.default_rng(5)
    whole = reach.Curves.of(rings([(1, 2, 3)], [(0.6, 0.0, 0.8)])).rows[0]
    part = whole.copy()
    part[reach.SPAN] = 2.0
    for row in (whole, part):
        t = np.linspace(0.0, row[reach.SPAN], 20001)[:, None]
        points = row[:3] + row[reach.RADIUS] * (np.cos(t) * row[3:6] + np.sin(t) * row[6:9])
        for point in rng.uniform(-5, 8, (30, 3)):
            best = np.linalg.norm(points - point, axis=1).min()
            assert reach.distance_to(*point, row) == pytest.approx(best, abs=1e-6)
