"""Combs of loose rings: one flat body, every ring fed once, spacing, room, weights, what cannot be placed."""

import numpy as np
import pytest
import shapely

from chaingen.design.service import Sprues
from chaingen.prepare.comb import comb_batches, comb_layouts
from chaingen.prepare.fed_ring import tightest
from chaingen.prepare.loose import CannotPrepare
from tests.sprued import (
    BRASS,
    SILVER,
    assert_apart,
    assert_fed,
    assert_weighs,
    assert_whole,
    rings,
    service,
)

FEW = rings(("link", 5.0, 1.0, 7))
MANY = rings(("link", 5.0, 1.0, 17))
MIXED = rings(("small", 3.0, 0.8, 5), ("large", 8.0, 1.6, 3), ("link", 5.0, 1.0, 6))
WIDE = (70.0, 70.0, 100.0)
WHOLE = [
    (FEW, service(), 0),
    (MANY, service(), 0),
    (MANY, service(cut=0.0), 17),
    (MIXED, service(opened=1.0, finishing=0.1, spacing=0.6, build=WIDE), 0),
    (MIXED, service(cut=0.0, build=WIDE, sprues=Sprues(feed=1.5, length=0.5)), 14),
    (MIXED, service(build=WIDE, sprues=Sprues(feed=0.7, length=4.0, main=3.0, button=9.0)), 0),
]


@pytest.mark.parametrize(("given", "by", "holes"), WHOLE)
def test_a_comb_is_one_body(given, by, holes, tmp_path):
    (batch,) = comb_batches(given, by, tolerance=0.02)
    mesh = assert_whole(batch, tmp_path, holes=holes)
    assert_weighs(batch, given, by, mesh)
    assert (mesh.extents <= np.array(by.build) + 1e-5).all()
    assert mesh.bounds[0, 2] == pytest.approx(0.0, abs=0.02)
    assert batch.name == "comb-1"
    assert batch.parts == sum(each.count for each in given)
    assert dict(batch.rings) == {each.size.name: each.count for each in given}
    assert [kind.name for kind in batch.model.kinds] == ["comb, sterling silver"]


@pytest.mark.parametrize(("given", "by", "holes"), WHOLE)
def test_rings_are_fed_once_and_apart(given, by, holes):
    ((layout, _),) = comb_layouts(given, by, SILVER)
    assert_fed(layout)
    assert assert_apart(layout, by.spacing) <= 0.05 + by.opened
    assert tightest(layout.rows(), by.spacing)[0] == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize(("given", "by", "holes"), WHOLE[:4])
def test_rings_from_above_do_not_overlap(given, by, holes):
    """Discs of the rings' outside, grown by half of the spacing, and runners, by shapely."""
    ((layout, _),) = comb_layouts(given, by, SILVER)
    discs = [
        shapely.Point(*centre[:2]).buffer(
            layout.kinds[kind].radius + layout.kinds[kind].size.wire_radius + 0.5 * by.spacing, quad_segs=200
        )
        for centre, kind in zip(layout.centres, layout.kind_of.tolist(), strict=True)
    ]
    for k, disc in enumerate(discs):
        for other in discs[:k]:
            assert disc.intersection(other).area < 1e-3
    for each in layout.rods:
        bar = shapely.LineString([each.begin[:2], each.end[:2]]).buffer(
            0.5 * each.diameter + 0.5 * by.spacing
        )
        assert all(bar.intersection(disc).area < 1e-3 for disc in discs)


def test_rings_lie_flat_beside_their_runner_with_cuts_away():
    ((layout, _),) = comb_layouts(MIXED, service(build=(40.0, 90.0, 100.0)), SILVER)
    level = layout.button.centre[2]
    runners = {float(each.begin[1]) for each in layout.rods[1:]}
    assert len(runners) == len(layout.rods) - 1 >= 2
    for turn, centre, number in zip(layout.rotations, layout.centres, layout.kind_of.tolist(), strict=True):
        assert turn[:, 2].tolist() == [0.0, 0.0, 1.0]
        assert centre[2] == level
        root = centre + layout.kinds[number].stand * turn[:, 1]
        assert min(abs(root[1] - y) for y in runners) < 1e-9
    for each in layout.rods:
        assert each.begin[2] == each.end[2] == level


def test_few_rings_take_one_runner_that_stands_on_the_button():
    ((few, _),) = comb_layouts(FEW, service(), SILVER)
    ((many, _),) = comb_layouts(MANY, service(), SILVER)
    assert len(few.rods) == 1
    assert few.button.axis.tolist() == [1.0, 0.0, 0.0]
    # Shared out between both sides.
    sides = np.sign(few.rotations[:, 1, 1])
    assert sorted([int((sides > 0).sum()), int((sides < 0).sum())]) == [3, 4]
    assert len(many.rods) == 3
    assert many.button.axis.tolist() == [0.0, 1.0, 0.0]


def test_pitch_of_equal_rings():
    """Along a row: outside diameter and spacing (closed form)."""
    ((layout, _),) = comb_layouts(FEW, service(cut=0.0, spacing=1.4), SILVER)
    below = np.sort(layout.centres[layout.rotations[:, 1, 1] > 0.0][:, 0])
    assert np.diff(below) == pytest.approx(7.0 + 1.4, abs=1e-4)


def test_several_combs_share_every_size_out(tmp_path):
    given = rings(("link", 5.0, 1.0, 60), ("small", 3.0, 0.8, 11))
    by = service()
    batches = comb_batches(given, by, tolerance=0.1)
    assert [batch.name for batch in batches] == [f"comb-{k + 1}" for k in range(len(batches))]
    assert sum(batch.copies for batch in batches) >= 3 > len(batches)
    for name, count in (("link", 60), ("small", 11)):
        counts = [dict(batch.rings)[name] for batch in batches for _ in range(batch.copies)]
        assert sum(counts) == count
        assert max(counts) - min(counts) <= 1
    for batch in batches:
        mesh = assert_whole(batch, tmp_path, holes=0)
        assert (mesh.extents <= 0.95 * np.array(by.build) + 1e-5).all()


def test_metals_have_combs_of_their_own():
    given = [*rings(("link", 5.0, 1.0, 3)), *rings(("link", 5.0, 1.0, 2), metal=BRASS)]
    batches = comb_batches(given, service(), tolerance=0.1)
    assert [(batch.name, batch.metal, batch.parts) for batch in batches] == [
        ("comb-1", SILVER, 3), ("comb-2", BRASS, 2),
    ]  # fmt: skip


def test_a_large_ring_has_a_comb_to_itself():
    by = service()
    layouts = comb_layouts(rings(("ring", 40.0, 2.0, 3)), by, SILVER)
    assert [len(layout.kind_of) for layout, _ in layouts] == [1, 1, 1]
    (batch,) = comb_batches(rings(("ring", 40.0, 2.0, 3)), by, tolerance=0.2)
    assert (batch.name, batch.copies, batch.parts) == ("comb-1", 3, 1)
    for layout, _ in layouts:
        assert (np.subtract(*reversed(layout.bounds())) <= np.array(by.room(SILVER))).all()


def test_a_ring_that_goes_nowhere():
    with pytest.raises(
        CannotPrepare, match=r"ring cable takes 58\.2 by 64\.2 by 10 mm .* room for 58\.8 by 58\.8"
    ):
        comb_batches(rings(("cable", 50.0, 2.0, 1), ("link", 5.0, 1.0, 9)), service(), tolerance=0.1)
    with pytest.raises(CannotPrepare, match=r"ring link takes .* by 10 mm .* 7\.8 mm"):
        comb_batches(FEW, service(build=(60.0, 60.0, 8.0)), tolerance=0.1)
    with pytest.raises(CannotPrepare, match=r"the main is 0\.9 mm thick"):
        comb_batches(FEW, service(sprues=Sprues(main=0.9)), tolerance=0.1)


def test_a_coarse_mesh_of_thin_wire_still_meets_its_feeder(tmp_path):
    """A chord 0.2 mm off would lie outside of wire 0.07 mm thick about its middle."""
    given, by = rings(("hair", 5.96, 0.144, 8)), service(cut=3.0, spacing=8.0, build=(170.0, 85.0, 170.0))
    (batch,) = comb_batches(given, by, tolerance=1.0)
    assert_whole(batch, tmp_path, holes=0)
