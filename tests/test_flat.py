"""Plates of loose rings: counted, weighed, and their outlines laid over one another by shapely."""

from dataclasses import replace
from math import pi, sqrt

import manifold3d
import numpy as np
import pytest
from shapely import MultiPoint, STRtree, box

from chaingen.design.load import parse_design
from chaingen.design.service import Service
from chaingen.model.open_ring import open_radius
from chaingen.pipeline import build, for_service
from chaingen.prepare.batch import metal_to_melt
from chaingen.prepare.checks import State
from chaingen.prepare.flat import flat_batches
from chaingen.prepare.loose import CannotPrepare, LooseRings, loose_rings, opened_size
from chaingen.show.service_facts import checks_of
from chaingen.show.service_words import service_lines
from chaingen.stock.metals import find_metal
from chaingen.stock.processes import PROCESSES
from chaingen.weave.groups import RingSize

STERLING, BRONZE = find_metal("sterling silver"), find_metal("bronze")

LARGE, SMALL = RingSize("large", 8.0, 1.2), RingSize("small", 3.0, 0.9)

MIXED = (LooseRings(LARGE, STERLING, 60), LooseRings(SMALL, STERLING, 150), LooseRings(SMALL, BRONZE, 20))


def service_with(**changed):
    process = PROCESSES["loose rings for casting"]
    return replace(
        Service(process, process.smallest_wire, 0.0, 0.0, process.build, finishing=0.1, spacing=0.8),
        **changed,
    )


def solids(batch):
    """Vertices of every body where it lies, with the kind it is of; cast space."""
    model = batch.model
    placed = {}
    for kind in model.kinds:
        for body in kind.bodies.tolist():
            assert body not in placed, "a body of two kinds"
            points = kind.mesh.vertices @ model.rotations[body].T + model.centres[body]
            placed[body] = (kind, points)
    assert sorted(placed) == list(range(len(model.names)))
    return [placed[body] for body in range(len(model.names))]


def outline(points):
    """What a ring takes of the plate, its hole with it, seen from above."""
    return MultiPoint(points[:, :2]).convex_hull


@pytest.mark.parametrize(
    "changed",
    [{}, {"cut": 0.8, "opened": 2.0}, {"cut": 0.0}, {"spacing": 3.0}, {"build": (40.0, 25.0, 5.0)}],
    ids=["usual", "opened", "closed", "wide spacing", "small plate"],
)
def test_rings_lie_on_the_plate_apart(changed):
    service = service_with(**changed)
    batches = flat_batches(MIXED, service, tolerance=0.02)
    assert [batch.name for batch in batches] == [f"rings-{k + 1}" for k in range(len(batches))]
    for batch in batches:
        width, depth, height = service.room(batch.metal)
        placed = solids(batch)
        lowest = np.array([points[:, 2].min() for _, points in placed])
        assert lowest == pytest.approx(0.0, abs=0.03)
        assert lowest.min() > -1e-9
        assert max(points[:, 2].max() for _, points in placed) <= height + 1e-9
        outlines = [outline(points) for _, points in placed]
        plate = box(0.0, 0.0, width, depth).buffer(1e-6)
        assert all(plate.contains(one) for one in outlines)
        grown = [one.buffer(0.5 * service.spacing - 1e-4) for one in outlines]
        a, b = STRtree(grown).query(grown, predicate="intersects")
        assert (a == b).all()


def test_every_ring_is_there_once():
    batches = flat_batches(MIXED, service_with(), tolerance=0.05)
    counted = {}
    for batch in batches:
        assert batch.parts == len(batch.model.names) == sum(count for _, count in batch.rings)
        for name, count in batch.rings:
            before = counted.get((name, batch.metal.name), 0)
            counted[name, batch.metal.name] = before + batch.copies * count
    assert counted == {
        ("large", "sterling silver"): 60,
        ("small", "sterling silver"): 150,
        ("small", BRONZE.name): 20,
    }
    # Names are numbered within each file, for there may be copies of it.
    for batch in batches:
        own = [f"{name} {k + 1}" for name, count in batch.rings for k in range(count)]
        assert sorted(batch.model.names) == sorted(own)
        assert [material.name for material in batch.model.materials] == [batch.metal.name]
        assert all(kind.name.endswith(batch.metal.name) for kind in batch.model.kinds)
        for kind in batch.model.kinds:
            own = {batch.model.names[body].rsplit(" ", 1)[0] for body in kind.bodies.tolist()}
            assert kind.name == f"ring {own.pop()}, {batch.metal.name}"
            assert not own


def test_metals_have_plates_and_stretch_of_their_own():
    service = service_with(shrinkage=((BRONZE.name, (0.01, 0.02, 0.04)),))
    batches = flat_batches(MIXED, service, tolerance=0.05)
    assert {batch.metal.name for batch in batches} == {STERLING.name, BRONZE.name}
    for batch in batches:
        assert batch.model.stretch == service.stretch(batch.metal)
    assert batches[-1].model.stretch == pytest.approx((1 / 0.99, 1 / 0.98, 1 / 0.96), rel=1e-15)
    # The pattern, not only the casting, goes into 0.95 of the build: rings of bronze fill their plate.
    (batch, *_) = flat_batches([LooseRings(LARGE, BRONZE, 90)], service, tolerance=0.05)
    high = np.max([points.max(axis=0) for _, points in solids(batch)], axis=0) * batch.model.stretch
    assert (high <= 0.95 * np.array(service.build) + 1e-9).all()
    assert (high[:2] > 0.85 * np.array(service.build[:2])).all()


def test_weights_are_of_the_wire_as_cast():
    """A wire's section times its length, pi (inside + wire), by its density; by hand."""
    batches = flat_batches(MIXED, service_with(cut=0.7, opened=1.5), tolerance=0.05)
    # As cast the large ring is 7.9 of 1.3 mm wire, the small one 2.9 of 1.0 mm.
    large, small = 0.25 * pi * 1.3**2 * pi * 9.2, 0.25 * pi * 1.0**2 * pi * 3.9
    silver = sum(batch.copies * batch.weight for batch in batches if batch.metal == STERLING)
    bronze = sum(batch.copies * batch.weight for batch in batches if batch.metal == BRONZE)
    melt = metal_to_melt(batches)
    assert list(melt) == [STERLING, BRONZE]
    assert melt[STERLING] == pytest.approx(silver, rel=1e-12)
    assert melt[BRONZE] == pytest.approx(bronze, rel=1e-12)
    assert silver == pytest.approx((60 * large + 150 * small) * STERLING.density / 1000.0, rel=1e-12)
    assert bronze == pytest.approx(20 * small * BRONZE.density / 1000.0, rel=1e-12)
    assert all(batch.sprues_weight == 0.0 for batch in batches)


def test_plates_that_are_alike_are_one_file_and_so_many_copies():
    """Three times what a plate holds, and 5 more: one file to be made three times, and one with the rest."""
    given = LooseRings(LARGE, STERLING, 400)
    (full, *_) = flat_batches([given], service_with(), tolerance=0.1)
    for rest in (0, 5):
        rings = [LooseRings(LARGE, STERLING, 3 * full.parts + rest), LooseRings(SMALL, BRONZE, 3)]
        batches = flat_batches(rings, service_with(), tolerance=0.1)
        told = [(batch.name, batch.metal, batch.parts, batch.copies) for batch in batches]
        wanted = [(STERLING, full.parts, 3), *([(STERLING, rest, 1)] if rest else []), (BRONZE, 3, 1)]
        assert told == [(f"rings-{k + 1}", *own) for k, own in enumerate(wanted)]
        assert batches[0].model.centres.tobytes() == full.model.centres.tobytes()
    assert full.copies * full.parts <= 400 < (full.copies + 1) * full.parts


def test_plates_keep_off_the_edges_unless_a_ring_needs_them():
    """A side that just holds a ring is used whole, the others but for 0.05 of each."""
    (batch,) = flat_batches([LooseRings(LARGE, BRONZE, 1)], service_with(), tolerance=0.05)
    (_, points), *_ = solids(batch)
    side = 2.0 * open_radius(RingSize("cast", 7.9, 1.3), 0.6, 0.0) + 1.3
    assert np.ptp(points[:, 1]) == pytest.approx(side, abs=0.2)
    times = service_with().stretch(BRONZE)[0]
    for part, across in ((0.949, 3), (0.951, 3), (0.999, 3), (1.001, 0)):
        # Room for three and their spacing in 0.95 of the other side.
        service = service_with(build=(side * times / part, (3.0 * side + 1.7) * times / 0.95, 20.0))
        rings = [LooseRings(LARGE, BRONZE, 7)]
        if not across:
            with pytest.raises(CannotPrepare, match="ring large takes"):
                flat_batches(rings, service, tolerance=0.05)
            continue
        batches = flat_batches(rings, service, tolerance=0.05)
        assert [(own.parts, own.copies) for own in batches] == [(across, 2), (1, 1)]
        for own in batches:
            high = np.max([placed.max(axis=0) for _, placed in solids(own)], axis=0)
            room = np.array(service.room(BRONZE))
            assert (high <= [room[0] + 1e-9, 0.95 * room[1] + 1e-9, room[2]]).all()
    # A small ring beside it keeps to what it can.
    batches = flat_batches(
        [*rings, LooseRings(SMALL, BRONZE, 1)],
        service_with(build=(side * times / 0.97, 90.0, 20.0)),
        tolerance=0.05,
    )
    assert [len(own.rings) for own in batches] == [1, 1]


def test_weight_against_the_volume_of_the_models():
    """By another library, of fine meshes, in grams; 1 mm3 of a metal weighs a thousandth of its density."""
    for batch in flat_batches(MIXED[:2], service_with(), tolerance=0.002):
        volume = 0.0
        for kind in batch.model.kinds:
            solid = manifold3d.Manifold(
                manifold3d.Mesh64(kind.mesh.vertices, kind.mesh.faces.astype(np.uint64))
            )
            assert solid.status() == manifold3d.Error.NoError
            volume += len(kind.bodies) * solid.volume()
        assert volume * batch.metal.density / 1000.0 == pytest.approx(batch.pieces_weight, rel=0.005)


def test_cuts_of_equal_rings_do_not_face_their_neighbours():
    for rings in (LooseRings(LARGE, STERLING, 25), LooseRings(SMALL, STERLING, 100)):
        (batch, *_) = flat_batches([rings], service_with(), tolerance=0.05)
        model = batch.model
        assert (model.rotations == model.rotations[0]).all()
        cut = -model.rotations[0, :2, 1]
        between = model.centres[None, :, :2] - model.centres[:, None, :2]
        apart = np.linalg.norm(between, axis=2) + np.diag(np.full(len(between), np.inf))
        # Those next to a ring, at less than a fifth more than the least distance.
        near = apart < 1.2 * apart.min()
        facing = (between @ cut)[near] / apart[near]
        assert facing.max() < np.cos(np.radians(20.0))


def test_rings_that_cannot_be_laid_are_refused():
    for changed, text in (
        ({"build": (60.0, 9.0, 100.0)}, "ring large takes 10"),
        ({"build": (60.0, 60.0, 1.2)}, "ring large takes 10"),
        ({"opened": 0.6, "cut": 0.0}, "ends run into one another"),
        ({"cut": 20.0}, "ends run into one another"),
    ):
        with pytest.raises(CannotPrepare, match=text):
            flat_batches(MIXED, service_with(**changed), tolerance=0.05)
    with pytest.raises(CannotPrepare, match="no hole"):
        opened_size(RingSize("eyelet", 0.3, 0.8), service_with(finishing=0.3))
    assert flat_batches([], service_with(), tolerance=0.05) == ()


def test_opened_ring_needs_the_height():
    # As cast, 3.9 pi of wire 1.0 thick and opened by 2.0: it runs at an angle whose sine is 2 / (3.9 pi),
    # and is 2.0 and the cosine high, 2.987. The pattern is larger by what bronze shrinks.
    height = (2.0 + sqrt(1.0 - (2.0 / (3.9 * pi)) ** 2)) * service_with().stretch(BRONZE)[2]
    assert height > 2.987 * 1.01
    for most, fits in ((height + 1e-3, True), (height - 1e-3, False)):
        service = service_with(opened=2.0, cut=0.8, build=(60.0, 60.0, most))
        if fits:
            assert flat_batches([MIXED[2]], service, tolerance=0.05)
        else:
            with pytest.raises(CannotPrepare, match="ring small"):
                flat_batches([MIXED[2]], service, tolerance=0.05)


PAIR = """
title = "Slack tide"
metal = "sterling silver"
pair = true

[rings.wide]
inside = "6 mm"
wire = "1 mm"

[rings.narrow]
inside = "5 mm"
wire = "1 mm"
metal = "copper"

[pattern]
form = "open run"
groups = [{ side_by_side = 2, ring = "wide" }, { side_by_side = 1, ring = "narrow" }]
repeat = 3

[service]
process = "loose rings for casting"
"""


def test_rings_of_a_pair_and_spare_ones():
    """In each earring 3 times 2 wide rings and 1 narrow one: 12 and 6, 7 % more rounded up."""
    result = build(parse_design(PAIR))

    def found(spare):
        service = replace(result.design.service, spare=spare, finishing=0.2)
        rings = loose_rings(replace(result, design=replace(result.design, service=service)))
        # Sizes are those that the maker ends up with.
        assert all(each.size in result.design.ring_sizes for each in rings)
        return {(each.size.name, each.metal.name): each.count for each in rings}

    assert found(0.0) == {("wide", "sterling silver"): 12, ("narrow", "copper"): 6}
    assert found(0.07) == {("wide", "sterling silver"): 13, ("narrow", "copper"): 7}
    assert found(1.0) == {("wide", "sterling silver"): 24, ("narrow", "copper"): 12}


FINDINGS_ONLY = """
title = "Ovals"
metal = "brass"

[rings.link]
inside = "6 mm"
wire = "1.2 mm"

[findings.oval]
kind = "oval link"
wire = "1.2 mm"
inside_length = "12 mm"
inside_width = "7 mm"

[pattern]
groups = [{ finding = "oval" }]
repeat = 2

[service]
process = "loose rings for casting"
"""


def test_a_piece_without_rings_cannot_be_prepared():
    """Nothing to send is no success, and what is not made is not checked, nor closed by hand."""
    result = build(parse_design(FINDINGS_ONLY))
    with pytest.raises(CannotPrepare, match="the piece has no rings, only findings"):
        loose_rings(result)
    made = for_service(result)
    for checks in (made.checks, checks_of(result, None), checks_of(result, made)):
        ((name, state),) = [(check.name, check.state) for check in checks]
        assert (name, state) == ("preparation", State.FAIL)
    for prepared in (None, made):
        words = " ".join(service_lines(result, prepared))
        assert "fail: preparation, nothing is made for the service: the piece has no rings" in words
        assert "closed by hand" not in words
        assert "Rings are laid" not in words
        assert "To melt" not in words
