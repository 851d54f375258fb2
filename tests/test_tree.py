"""Trees of loose rings: one body, every ring fed once, spacing, room, weights, and what cannot be placed."""

from bisect import bisect_left
from dataclasses import replace

import numpy as np
import pytest

from chaingen.design.service import Sprues
from chaingen.prepare.fed_ring import angle_of, fed_ring, tightest
from chaingen.prepare.loose import CannotPrepare
from chaingen.prepare.sprue_layout import prove
from chaingen.prepare.tiers import Site, least_turn
from chaingen.prepare.tree import tree_batches, tree_layouts
from tests.sprued import (
    BRASS,
    COPPER,
    SILVER,
    assert_apart,
    assert_fed,
    assert_weighs,
    assert_whole,
    reopened,
    rings,
    service,
)

SMALL = rings(("link", 5.0, 1.0, 20))
MIXED = rings(("small", 3.0, 0.8, 9), ("large", 8.0, 1.6, 5), ("link", 5.0, 1.0, 12))
WHOLE = [
    (SMALL, service(), 0),
    (SMALL, service(cut=0.0), 20),
    (MIXED, service(opened=1.0, finishing=0.1, spacing=0.6), 0),
    (MIXED, service(cut=0.0, sprues=Sprues(feed=1.5, angle=90.0)), 26),
    (MIXED, service(sprues=Sprues(feed=0.7, angle=35.0, length=6.0, main=3.0, button=9.0)), 0),
]


@pytest.mark.parametrize(("given", "by", "holes"), WHOLE)
def test_a_tree_is_one_body(given, by, holes, tmp_path):
    (batch,) = tree_batches(given, by, tolerance=0.02)
    mesh = assert_whole(batch, tmp_path, holes=holes)
    assert_weighs(batch, given, by, mesh)
    assert (mesh.extents <= np.array(by.build) + 1e-5).all()
    assert mesh.bounds[0, 2] == pytest.approx(0.0, abs=1e-6)
    assert batch.name == "tree-1"
    assert batch.parts == sum(each.count for each in given)
    assert dict(batch.rings) == {each.size.name: each.count for each in given}
    assert [kind.name for kind in batch.model.kinds] == ["tree, sterling silver"]


@pytest.mark.parametrize(("given", "by", "holes"), WHOLE)
def test_rings_are_fed_once_and_apart(given, by, holes):
    ((layout, _),) = tree_layouts(given, by, SILVER)
    assert_fed(layout)
    # Tiers are as close as they go: somewhere there is just room. Opened rings have a little more.
    assert assert_apart(layout, by.spacing) <= (0.05 if by.opened == 0.0 else by.opened)
    assert tightest(layout.rows(), by.spacing)[0] == pytest.approx(0.0, abs=1e-4)


def test_rings_hang_radially_with_their_cuts_outwards():
    """Each in an upright plane through the main, its feeder at the angle, its cut away from the main."""
    ((layout, _),) = tree_layouts(MIXED, service(sprues=Sprues(angle=50.0)), SILVER)
    for turn, centre, number in zip(layout.rotations, layout.centres, layout.kind_of.tolist(), strict=True):
        out = np.array([*centre[:2], 0.0]) / np.hypot(*centre[:2])
        cut = -turn[:, 1]
        assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(turn) == pytest.approx(1.0)
        assert turn[:, 2] @ out == pytest.approx(0.0, abs=1e-12)
        assert turn[2, 2] == pytest.approx(0.0, abs=1e-12)
        assert np.degrees(np.arccos(cut[2])) == pytest.approx(50.0)
        assert cut @ out == pytest.approx(np.sin(np.radians(50.0)))
        # Back along the feeder lies the main's axis.
        root = centre - layout.kinds[number].stand * cut
        assert np.hypot(*root[:2]) == pytest.approx(0.0, abs=1e-9)
        assert layout.rods[0].begin[2] < root[2] < layout.rods[0].end[2]


def test_feeders_have_their_section_on_the_whole_tree():
    """Cut through every feeder half way: the section is what is told of the wire it feeds."""
    by = service(sprues=Sprues(feed=0.8, length=5.0))
    ((layout, _),) = tree_layouts(MIXED, by, SILVER)
    solid = layout.solid(0.005)
    for turn, centre, number in zip(layout.rotations, layout.centres, layout.kind_of.tolist(), strict=True):
        kind = layout.kinds[number]
        way = turn[:, 1]
        at = centre + (kind.radius + kind.size.wire_radius + 0.45 * kind.free) * way
        frame = np.column_stack([turn[:, 2], np.cross(way, turn[:, 2]), way]).T
        near = solid.transform(np.column_stack([frame, -frame @ at])).slice(0.0)
        area = min((abs(part.area()) for part in near.decompose() if holds_middle(part)), default=0.0)
        wire = np.pi * kind.size.wire_radius**2
        assert area / wire == pytest.approx(0.8, rel=0.01)
        assert 2.0 * kind.main_radius > 2.0 * kind.feeder_radius


def holds_middle(part):
    left, low, right, high = part.bounds()
    return left < 0.0 < right and low < 0.0 < high


def test_tiers_are_of_one_size_the_largest_at_the_button():
    ((layout, names),) = tree_layouts(MIXED, service(), SILVER)
    assert names == ("large", "link", "small")
    roots = layout.centres[:, 2] - [
        kind.stand * np.cos(kind.angle) for kind in (layout.kinds[k] for k in layout.kind_of)
    ]
    heights = {}
    for root, kind in zip(roots.round(6).tolist(), layout.kind_of.tolist(), strict=True):
        heights.setdefault(root, set()).add(kind)
    assert all(len(kinds) == 1 for kinds in heights.values())
    order = [kinds.pop() for _, kinds in sorted(heights.items())]
    assert order == sorted(order)


def test_several_trees_share_rings_out(tmp_path):
    given, by = rings(("link", 5.0, 1.0, 300)), service()
    batches = tree_batches(given, by, tolerance=0.1)
    counts = [batch.parts for batch in batches for _ in range(batch.copies)]
    assert [batch.name for batch in batches] == ["tree-1", "tree-2"]
    assert len(counts) == 2
    assert sum(counts) == 300
    # To within a tier of 8.
    assert max(counts) - min(counts) <= 8
    for batch in batches:
        mesh = assert_whole(batch, tmp_path, holes=0)
        assert (mesh.extents <= np.array(by.build) + 1e-5).all()


def test_no_more_trees_than_it_takes():
    """The last ring that goes on one tree, by trying."""
    by = service(build=(60.0, 60.0, 25.0))

    def trees(count):
        return len(tree_layouts(rings(("link", 5.0, 1.0, count)), by, SILVER))

    most = bisect_left(range(1, 100), 2, key=trees)
    assert trees(most) == 1
    assert trees(most + 1) == 2
    assert trees(2 * most) == 2
    ((full, _),) = tree_layouts(rings(("link", 5.0, 1.0, most)), by, SILVER)
    high = full.bounds()[1][2]
    # Another tier does not go on: tiers are less than 5 mm apart, and the edge of the room stays free.
    assert 0.0 <= 0.95 * by.room(SILVER)[2] - high < 5.0


def test_metals_have_trees_of_their_own():
    given = [
        *rings(("link", 5.0, 1.0, 6)),
        *rings(("link", 5.0, 1.0, 4), metal=BRASS),
        *rings(("small", 3.0, 0.8, 3)),
        *rings(("none", 3.0, 0.8, 0), metal=COPPER),
    ]
    by = service()
    batches = tree_batches(given, by, tolerance=0.05)
    assert [(batch.name, batch.metal) for batch in batches] == [("tree-1", SILVER), ("tree-2", BRASS)]
    assert [dict(batch.rings) for batch in batches] == [{"link": 6, "small": 3}, {"link": 4}]
    for batch in batches:
        assert batch.model.stretch == by.stretch(batch.metal)
        assert [material.name for material in batch.model.materials] == [batch.metal.name]


def test_trees_that_are_alike_are_one_file_and_so_many_copies():
    """Two sizes over many trees: every ring is there, each file once, and a copy is what it is a copy of."""
    given = rings(("link", 5.0, 1.0, 900), ("small", 3.0, 0.8, 100))
    batches = tree_batches(given, service(), tolerance=0.1)
    layouts = tree_layouts(given, service(), SILVER)
    assert [batch.name for batch in batches] == [f"tree-{k + 1}" for k in range(len(batches))]
    assert sum(batch.copies for batch in batches) == len(layouts) > len(batches)
    for name, count in (("link", 900), ("small", 100)):
        assert sum(batch.copies * dict(batch.rings).get(name, 0) for batch in batches) == count
    number = 0
    for batch in batches:
        for layout, _ in layouts[number : number + batch.copies]:
            same = layouts[number][0]
            assert layout.centres == pytest.approx(same.centres, abs=0.0)
            assert len(layout.kind_of) == batch.parts
        number += batch.copies
    assert [batch.copies for batch in tree_batches(SMALL, service(), tolerance=0.1)] == [1]


def test_trees_keep_off_the_edges_of_the_build_unless_a_ring_needs_them():
    """By sizes of the layouts: 0.95 of each side; what needs a side whole has it, and no other side."""
    by = service(spacing=0.5)
    room = np.array(by.room(SILVER))
    for layout, _ in tree_layouts(rings(("link", 5.0, 1.0, 700)), by, SILVER):
        low, high = layout.bounds()
        assert (high - low <= 0.95 * room + 1e-9).all()
    # A main at the edge and a ring of 44 mm on its feeder, in a room no wider than the button.
    large = rings(("ring", 40.0, 2.0, 4))
    loose = [own for own, _ in tree_layouts(large, service(build=(10.9, 60.0, 200.0)), SILVER)]
    side = np.subtract(*reversed(loose[0].bounds()))[:2].max()
    for part, needs_it in ((0.949, False), (0.951, True), (0.999, True)):
        room = np.array([10.7, side / part, 200.0])
        for own, _ in tree_layouts(large, service(build=tuple((room / 0.98).tolist())), SILVER):
            size = np.subtract(*reversed(own.bounds()))
            assert size[1] == pytest.approx(side)
            assert (size[1] > 0.95 * room[1]) == needs_it
            assert (size[[0, 2]] <= 0.95 * room[[0, 2]] + 1e-9).all()
    with pytest.raises(CannotPrepare, match="ring ring takes"):
        tree_layouts(large, service(build=(10.9, side / 1.001 / 0.98, 200.0)), SILVER)


def test_the_nearest_directions_say_how_far_tiers_are_apart():
    """Every pair of directions of two tiers by itself, of thin wire on a thick main too."""
    for given, sprues in ((MIXED, Sprues(angle=40.0)), (rings(("thin", 1.5, 0.2, 9)), Sprues(main=12.0))):
        by = service(sprues=sprues)
        main = sprues.main_diameter(max(each.size.wire_diameter for each in given))
        kinds = tuple(fed_ring(each.size, by, sprues, main, angle_of(sprues)) for each in given)
        site = Site(kinds, main, 2.5 * main, by.spacing, by.room(SILVER))
        turns = np.linspace(0.0, np.pi, 181)
        for lower in range(len(kinds)):
            for upper in range(len(kinds)):
                rises = np.array([site.rise(lower, upper, float(turn)) for turn in turns])
                # Distances are kept to within a hundred-thousandth of a millimetre.
                assert (np.diff(rises) <= 2e-5).all()
                assert site.highest_rise(upper) >= rises.max() - 2e-5


def test_the_least_turn_of_two_tiers(rng):
    for one, other in ((1, 1), (1, 7), (12, 5), (40, 41)):
        first, second = rng.uniform(-9.0, 9.0, one), rng.uniform(-9.0, 9.0, other)
        between = np.abs(np.angle(np.exp(1j * (first[:, None] - second))))
        assert least_turn(first, second) == pytest.approx(between.min(), abs=1e-12)


def test_two_thousand_rings_very_unlike_in_size():
    """Hundreds of directions are tried for thin wire on a thick main; rings of both sizes are all there."""
    given = rings(("thin", 1.5, 0.2, 1000), ("link", 20.0, 2.0, 1000))
    layouts = tree_layouts(given, service(sprues=Sprues(main=23.0)), SILVER)
    counts = sum(np.bincount(layout.kind_of, minlength=2) for layout, _ in layouts)
    assert counts.tolist() == [1000, 1000]
    fullest = max((layout for layout, _ in layouts), key=lambda layout: len(layout.kind_of))
    assert len(fullest.kind_of) == 1000
    prove(fullest, fullest.room, 1.0)


def test_sprues_weigh_the_same_however_coarse_the_mesh(tmp_path):
    """Weighed at 0.01 mm at the coarsest; the file itself, reopened, has chords of its own."""
    ((layout, _),) = tree_layouts(MIXED, service(opened=1.0), SILVER)
    whole = layout.solid(0.01).volume() - sum(
        count * kind.ring(0.01).volume()
        for kind, count in zip(layout.kinds, np.bincount(layout.kind_of), strict=True)
    )
    assert layout.sprues_volume(0.01) == pytest.approx(whole, rel=1e-4)
    coarse, fine = (
        tree_batches(SMALL, service(cut=0.0), tolerance=tolerance)[0] for tolerance in (0.2, 0.01)
    )
    assert coarse.sprues_weight == pytest.approx(fine.sprues_weight, rel=1e-9)
    # What is over by the volume of the finest mesh: all of it less the rings' wire.
    mesh = assert_whole(tree_batches(SMALL, service(cut=0.0), tolerance=0.004)[0], tmp_path, holes=20)
    volume = mesh.volume / np.prod(service().stretch(SILVER))
    wire = 20 * 2.0 * np.pi**2 * 3.0 * 0.5**2
    assert coarse.sprues_weight == pytest.approx(1e-3 * SILVER.density * (volume - wire), rel=0.01)
    rough = reopened(coarse, tmp_path).volume / np.prod(service().stretch(SILVER))
    assert rough < 0.97 * volume


@pytest.mark.parametrize("count", [1, 2])
def test_a_large_ring_beside_a_main_at_the_edge(count):
    """A ring too large for a main in the middle: the main stands at the edge of the room."""
    by = service(build=(60.0, 60.0, 110.0))
    ((layout, _),) = tree_layouts(rings(("ring", 40.0, 2.0, count)), by, SILVER)
    low, high = layout.bounds()
    assert (high - low <= 0.95 * np.array(by.room(SILVER))).all()
    assert (high - low)[0] > 0.5 * by.room(SILVER)[0]
    assert_fed(layout)


@pytest.mark.parametrize("build", [(30.0, 60.0, 100.0), (60.0, 30.0, 100.0), (45.0, 45.0, 100.0)])
def test_rooms_that_are_narrow(build):
    by = service(build=build)
    for layout, _ in tree_layouts(rings(("ring", 16.0, 1.5, 9)), by, SILVER):
        low, high = layout.bounds()
        assert (high - low <= np.array(by.room(SILVER)) + 1e-9).all()
        assert_apart(layout, by.spacing)


def test_a_ring_that_goes_nowhere():
    with pytest.raises(
        CannotPrepare, match=r"ring cable takes 82\.2 by 10 by 78\.2 mm on its feeder .* 58\.8 by"
    ):
        tree_batches(rings(("link", 5.0, 1.0, 9), ("cable", 70.0, 2.0, 1)), service(), tolerance=0.1)
    with pytest.raises(CannotPrepare, match=r"ring link takes .* room for 58\.8 by 58\.8 by 9\.8 mm"):
        tree_batches(SMALL, service(build=(60.0, 60.0, 10.0)), tolerance=0.1)
    with pytest.raises(CannotPrepare, match=r"the main is 0\.9 mm thick"):
        tree_batches(SMALL, service(sprues=Sprues(main=0.9)), tolerance=0.1)


def test_a_layout_that_does_not_keep_its_word():
    """Moving a ring towards another, or out of the room, stops it."""
    by = service()
    ((layout, _),) = tree_layouts(SMALL, by, SILVER)
    room = by.room(SILVER)
    prove(layout, room, by.spacing)
    _, one, other = tightest(layout.rows(), by.spacing)
    moved = layout.centres.copy()
    moved[one] += 0.02 * (moved[other] - moved[one]) / np.linalg.norm(moved[other] - moved[one])
    with pytest.raises(AssertionError, match="too near"):
        prove(replace(layout, centres=moved), room, by.spacing)
    with pytest.raises(AssertionError, match="too near"):
        prove(layout, room, by.spacing + 0.01)
    alone = replace(layout, kind_of=layout.kind_of[:1], rotations=layout.rotations[:1])
    near = layout.centres[:1] * [0.7, 0.7, 1.0]
    prove(replace(alone, centres=layout.centres[:1]), room, by.spacing)
    with pytest.raises(AssertionError, match="too near a main"):
        prove(replace(alone, centres=near), room, by.spacing)
    far = layout.centres.copy()
    far[one] *= 9.0
    with pytest.raises(AssertionError, match="in a room of"):
        prove(replace(layout, centres=far), room, by.spacing)


def test_the_same_tree_each_time():
    first, second = (tree_layouts(MIXED, service(), SILVER)[0][0] for _ in range(2))
    assert first.centres.tobytes() == second.centres.tobytes()
    assert first.rotations.tobytes() == second.rotations.tobytes()
