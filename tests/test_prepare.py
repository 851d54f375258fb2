"""A piece prepared all in all: what is sent, reopened by other programs, and what is told of it."""

import dataclasses
import itertools
import json
import re
from math import pi

import lib3mf
import manifold3d
import numpy as np
import pytest
import trimesh

from chaingen.design.load import parse_design
from chaingen.pipeline import build, drape, for_service
from chaingen.prepare.at_rest import rest_batches
from chaingen.prepare.batch import most_triangles
from chaingen.prepare.checks import State
from chaingen.prepare.piece import Patterns
from chaingen.prepare.prepare import _both
from chaingen.prepare.sent import ServiceCheck
from chaingen.prepare.write import write_batches
from chaingen.show.service_words import batch_lines, service_lines
from chaingen.solve.drape.draped import Draped
from tests.sample_batches import flat_batch, tree_batch

WAX, LOOSE = "wax pattern for casting", "loose rings for casting"

TOLERANCE = 0.02

SILVER = 10.36
"""Density of sterling silver [g/cm3], as computed from its alloy in test_metals.py; to 1 %."""

FINISHING, SHRINKS = 0.1, (0.02, 0.02, 0.03)


def text(process=WAX, service="", *, beside=1, repeat=3, inside=9.0, wire=1.8, top="", more=""):
    return f"""
title = "Mooring"
metal = "sterling silver"
{top}
[rings.link]
inside = "{inside} mm"
wire = "{wire} mm"

[pattern]
form = "open run"
groups = [{{ side_by_side = {beside}, ring = "link" }}]
repeat = {repeat}
{more}
[service]
process = "{process}"
{service}
"""


def made(*args, tolerance=TOLERANCE, **options):
    return for_service(build(parse_design(text(*args, **options))), mesh_tolerance=tolerance)


def batch_of(prepared, name):
    return {batch.name: batch for batch in prepared.batches}[name]


def check_of(prepared, name):
    (found,) = [check for check in prepared.checks if check.name == name]
    return found


def names_of(prepared):
    return [check.name for check in prepared.checks]


def reopened(batch, folder):
    write_batches(folder, [batch], title="Mooring")
    mesh = trimesh.load_mesh(folder / f"{batch.name}.stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    return mesh


def shells_of(mesh):
    """Each shell as a solid of its own."""
    return [
        manifold3d.Manifold(manifold3d.Mesh(part.vertices.astype(np.float32), part.faces.astype(np.uint32)))
        for part in mesh.split(only_watertight=False)
    ]


SHRINKAGE = f"shrinkage = {[100 * part for part in SHRINKS]}\nfinishing = '{FINISHING} mm'\n"

SPRUED = f"{SHRINKAGE}soldered = [['1a', '1b'], ['1b', '2a']]\n[service.sprues]"


@pytest.fixture(scope="module")
def sprued():
    """Six rings in pairs, three of them soldered into one, cast with sprues."""
    return made(WAX, SPRUED, beside=2)


def torus(inside, wire):
    """Volume of a ring [mm3]: Pappus."""
    return 2.0 * pi**2 * (0.5 * (inside + wire)) * (0.5 * wire) ** 2


# --- what is sent ---------------------------------------------------------------------------------


def test_shells_of_a_pattern_are_as_many_as_parts_and_as_far_apart_as_told(sprued, tmp_path):
    """Six rings of which three are one make four shells; gaps measured by the solids reopened."""
    batch = batch_of(sprued, "pattern")
    mesh = reopened(batch, tmp_path)
    shells = shells_of(mesh)
    assert batch.parts == len(shells) == 4
    nearest = min(one.min_gap(two, 5.0) for one, two in itertools.combinations(shells, 2))
    (told,) = re.findall(
        r"at least ([\d.]+) mm in the pattern", check_of(sprued, "gap between moving parts").text
    )
    # The least stretch of any axis is told, that along the gap is measured.
    times = [1.0 / (1.0 - part) for part in SHRINKS]
    assert float(told) - 0.001 <= nearest <= float(told) * max(times) / min(times) + 2.0 * TOLERANCE


def test_a_pattern_stands_in_the_corner_of_the_build(sprued, tmp_path):
    for name in ("pattern", "pattern-sprued"):
        low = reopened(batch_of(sprued, name), tmp_path).bounds[0]
        assert low == pytest.approx(np.zeros(3), abs=2.0 * TOLERANCE)


def test_a_ring_of_the_pattern_comes_back_as_large_as_it_was_wanted(sprued, tmp_path):
    """Measured on the file, less what shrinks and what finishing takes off: closed form."""
    mesh = reopened(batch_of(sprued, "pattern"), tmp_path)
    mesh.vertices *= 1.0 - np.array(SHRINKS)
    alone = [part for part in mesh.split() if part.volume < 1.5 * torus(8.9, 1.9)]
    assert len(alone) == 3
    for ring in alone:
        # The axis of a ring is that of its largest moment; no vertex is outside the ring or in its hole.
        points = ring.vertices - ring.center_mass
        axis = np.linalg.eigh(ring.moment_inertia)[1][:, 2]
        height = points @ axis
        across = np.linalg.norm(points - height[:, None] * axis, axis=1)
        assert 2.0 * across.max() - FINISHING == pytest.approx(9.0 + 2 * 1.8, abs=2.0 * TOLERANCE)
        assert 2.0 * across.min() + FINISHING == pytest.approx(9.0, abs=2.0 * TOLERANCE)
        assert np.ptp(height) - FINISHING == pytest.approx(1.8, abs=2.0 * TOLERANCE)


def test_a_piece_with_sprues_is_one_watertight_body_and_weighs_its_volume(sprued, tmp_path):
    batch = batch_of(sprued, "pattern-sprued")
    mesh = reopened(batch, tmp_path)
    assert mesh.body_count == 1
    volume = mesh.volume * np.prod(1.0 - np.array(SHRINKS))
    # Chords lie inside round wire.
    assert batch.weight == pytest.approx(volume * SILVER / 1000, rel=0.025)
    assert batch.weight > volume * SILVER / 1000 * 0.995
    pattern = batch_of(sprued, "pattern")
    assert batch.pieces_weight == pattern.pieces_weight
    assert pattern.sprues_weight == 0.0 < batch.sprues_weight
    assert check_of(sprued, "feeders").text == "each of 4 parts has one of its own"
    # Sprues are cut off before anything is finished.
    as_cast = np.ptp(mesh.bounds, axis=0) * (1.0 - np.array(SHRINKS))
    (told,) = re.findall(
        r"takes ([\d.]+) by ([\d.]+) by ([\d.]+) mm as cast", check_of(sprued, "size with sprues").text
    )
    assert [float(side) for side in told] == pytest.approx(as_cast, abs=0.06)


def test_metal_of_sprues_and_welds_is_the_same_however_coarse_the_mesh(sprued):
    """Weighed at 0.01 mm at the coarsest."""
    fine, coarse = (made(WAX, SPRUED, beside=2, tolerance=tolerance) for tolerance in (0.01, 0.15))
    for name in ("pattern", "pattern-sprued"):
        one, other = batch_of(fine, name), batch_of(coarse, name)
        assert other.pieces_weight == pytest.approx(one.pieces_weight, rel=1e-9)
        assert other.sprues_weight == pytest.approx(one.sprues_weight, rel=5e-3)
    assert len(_mesh(other).faces) < 0.3 * len(_mesh(one).faces)


def test_pieces_weigh_their_rings_and_what_welds_add(sprued):
    rings = 6 * torus(8.9, 1.9) * SILVER / 1000
    weight = batch_of(sprued, "pattern").pieces_weight
    two_rods = 2 * pi * 0.95**2 * 3.0 * SILVER / 1000
    assert rings < weight < rings + two_rods
    plain = batch_of(made(WAX, SHRINKAGE, beside=2), "pattern")
    assert plain.pieces_weight == pytest.approx(rings, rel=0.01)
    assert plain.parts == 6


def test_3mf_is_read_in_strict_mode_and_one_mesh_serves_rings_that_are_alike(sprued, tmp_path):
    write_batches(tmp_path, [batch_of(sprued, "pattern")], title="Mooring")
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(tmp_path / "pattern.3mf"))
    assert reader.GetWarningCount() == 0
    meshes = model.GetMeshObjects()
    count = 0
    while meshes.MoveNext():
        assert meshes.GetCurrentMeshObject().IsManifoldAndOriented()
        count += 1
    assert count == 2


def test_of_a_pair_the_second_is_the_mirror_image_of_the_first(tmp_path):
    prepared = made(WAX, "[service.sprues]", beside=2, top="pair = true")
    assert [batch.name for batch in prepared.batches] == [
        "pattern", "pattern-sprued", "pattern-mirrored", "pattern-sprued-mirrored",
    ]  # fmt: skip
    first, second = (reopened(batch_of(prepared, name), tmp_path) for name in ("pattern", "pattern-mirrored"))
    assert second.volume == pytest.approx(first.volume, rel=1e-6)
    assert second.body_count == first.body_count == 6
    # Whichever plane mirrored it, the middles of its parts are as far from one another.
    middles = [np.array([part.center_mass for part in mesh.split()]) for mesh in (first, second)]
    apart = [np.sort(np.linalg.norm(own[:, None] - own, axis=2).ravel()) for own in middles]
    assert apart[0] == pytest.approx(apart[1], abs=1e-3)
    assert reopened(batch_of(prepared, "pattern-sprued-mirrored"), tmp_path).body_count == 1


def test_what_comes_of_a_mirror_image_only_is_told_as_such():
    fed = ServiceCheck("feeders", State.PASS, "all")
    apart = ServiceCheck("parts apart", State.PASS, "no two parts touch")
    unfed = ServiceCheck("feeders", State.FAIL, "no straight feeder reaches 1a")
    found = _both(Patterns((), (apart, fed)), Patterns((), (apart, unfed)))
    assert [(check.name, check.state) for check in found.checks] == [
        ("parts apart", State.PASS), ("feeders", State.PASS), ("feeders, mirrored", State.FAIL),
    ]  # fmt: skip
    assert _both(Patterns((), (apart, fed)), Patterns((), (apart, fed))).checks == (apart, fed)


def test_prints_are_the_piece_itself_and_weigh_nothing_in_metal():
    prepared = made("resin")
    (batch,) = prepared.batches
    assert (batch.name, batch.metal, batch.weight, batch.parts) == ("pattern", None, 0.0, 3)
    assert batch.model.stretch == (1.0, 1.0, 1.0)


def test_nothing_is_prepared_without_a_service():
    result = build(parse_design(text()))
    design = dataclasses.replace(result.design, service=None)
    assert for_service(dataclasses.replace(result, design=design)) is None


# --- what cannot be -------------------------------------------------------------------------------


def test_bodies_too_far_apart_to_solder_are_a_failed_check_and_nothing_is_sent():
    prepared = made(WAX, "soldered = [['1a', '3a']]")
    check = check_of(prepared, "soldered joins")
    assert (check.state, check.bodies, prepared.batches) == (State.FAIL, (0, 2), ())
    assert check.text == "1a and 3a are 1.8 mm apart: too far to solder, for their wire is 1.8 mm"


def test_rings_without_room_are_a_failed_check_and_nothing_is_sent():
    prepared = made(LOOSE, 'build = ["10 mm", "10 mm", "10 mm"]')
    assert prepared.batches == ()
    assert check_of(prepared, "size").state is State.FAIL
    # The size says it already.
    assert "preparation" not in names_of(prepared)
    # A ring goes in, but no tree: that nothing else says.
    prepared = made(LOOSE, 'build = ["14 mm", "14 mm", "14 mm"]\nlayout = "tree"')
    assert prepared.batches == ()
    assert check_of(prepared, "size").state is not State.FAIL
    check = check_of(prepared, "preparation")
    assert check.state is State.FAIL
    assert check.text.startswith("nothing is made for the service: ")


OTHER = """
last = [{ side_by_side = 1, ring = "odd" }]
[rings.odd]
inside = "9 mm"
wire = "1.8 mm"
metal = "brass"
"""


def test_a_casting_of_two_metals_is_a_failed_check():
    prepared = made(WAX, more=OTHER)
    assert prepared.batches == ()
    assert check_of(prepared, "one metal").text == (
        "a casting in one piece is of one metal, and this one is of sterling silver and brass"
    )
    assert "preparation" not in names_of(prepared)
    printed = made("resin", more=OTHER)
    assert [batch.parts for batch in printed.batches] == [4]
    assert check_of(printed, "one material").state is State.WARN


COLOURED = '[colours."tide blue"]\nmetal = "aluminium"\ncolour = "#2a6f97"\n'


@pytest.mark.parametrize("process", [WAX, LOOSE])
def test_coloured_wire_is_not_cast(process):
    """Its colour lies on drawn wire: nothing is made, and no metal of that name is to be melted."""
    given = text(process, more=HANG).replace("sterling silver", "tide blue") + COLOURED
    result = drape(build(parse_design(given)))
    prepared = for_service(result)
    check = check_of(prepared, "metal")
    assert (check.state, check.bodies) == (State.FAIL, (0, 1, 2))
    assert check.text == "tide blue is a coloured wire, and cannot be cast"
    assert (prepared.batches, rest_batches(result, result.drapes[0], tolerance=TOLERANCE)) == ((), ())
    lines = service_lines(result, prepared)
    assert "Nothing is made for the service, because of what failed." in lines
    assert not any(line.startswith("To melt") for line in lines)
    printed = for_service(build(parse_design(given.replace(process, "resin"))))
    assert "metal" not in names_of(printed)
    assert len(printed.batches) == 1


def test_sprues_that_weigh_far_more_than_what_they_feed_are_warned_of():
    """Weighed by their volumes: a thick main takes much metal, and a warning says what would lessen it."""
    heavy = made(LOOSE, 'layout = "tree"\n[service.sprues]\nmain = "12 mm"')
    check = check_of(heavy, "sprues")
    (batch,) = heavy.batches
    volume = _mesh(batch).volume * 0.98**3
    rings = 4 * torus(9.0, 1.8) - 4 * 0.6 * pi * 0.9**2
    assert check.state is State.WARN
    weights = [float(value) for value in re.findall(r"([\d.]+) g\b", check.text)]
    assert weights == pytest.approx([(volume - rings) * SILVER / 1000, rings * SILVER / 1000], rel=0.05)
    times = re.findall(r"([\d.]+) times", check.text)
    assert float(times[0]) == pytest.approx(weights[0] / weights[1], abs=0.06)
    assert "a thinner main, a smaller button or shorter feeders, or another layout" in check.text
    assert "sprues" not in names_of(made(LOOSE))
    many = made(LOOSE, 'layout = "tree"\nspare = 10\n[service.sprues]\nmain = "4 mm"\nlength = "1 mm"')
    (batch,) = many.batches
    assert batch.sprues_weight < 3.0 * batch.pieces_weight
    assert "sprues" not in names_of(many)


# --- soldered joins -------------------------------------------------------------------------------


def test_solder_that_comes_too_near_to_another_ring_is_told():
    """Three side by side: what joins the outer two runs past the middle one."""
    prepared = made(WAX, "soldered = [['1a', '1c']]", beside=3, repeat=2, inside=7.0)
    check = check_of(prepared, "soldered joins")
    assert check.state is State.FAIL
    (told,) = re.findall(
        r"1a is joined with 1c the metal comes to ([\d.]+) mm from 1b in the pattern", check.text
    )
    shells = shells_of(_mesh(batch_of(prepared, "pattern")))
    nearest = min(one.min_gap(two, 2.0) for one, two in itertools.combinations(shells, 2))
    assert nearest == pytest.approx(float(told), abs=2.0 * TOLERANCE)
    every = made(WAX, "soldered = [['1a', '1c'], ['1a', '1b']]", beside=3, repeat=2, inside=7.0)
    assert check_of(every, "soldered joins").state is State.PASS
    fine = check_of(made(WAX, "soldered = [['1a', '1b']]", beside=3, repeat=2, inside=7.0), "soldered joins")
    assert (fine.state, fine.text) == (
        State.PASS,
        "1a with 1b, by a neck of 1.53 mm as cast, clear of all else",
    )


def _mesh(batch):
    model = batch.model
    parts = [
        trimesh.Trimesh(
            (kind.mesh.vertices @ model.rotations[body].T + model.centres[body]) * np.array(model.stretch),
            kind.mesh.faces,
        )
        for kind in model.kinds
        for body in kind.bodies
    ]
    return trimesh.util.concatenate(parts)


def test_a_round_of_joins_makes_one_part():
    """A closed round of four joins, and all rings in one."""
    pairs = "[['1a', '1b'], ['1b', '2a'], ['2a', '2b'], ['2b', '1a'], ['2a', '3a'], ['3a', '3b']]"
    prepared = made(WAX, f"soldered = {pairs}\n[service.sprues]", beside=2)
    assert check_of(prepared, "soldered joins").state is State.PASS
    assert batch_of(prepared, "pattern").parts == 1
    assert check_of(prepared, "feeders").text == "the one part has one of its own"
    assert check_of(prepared, "gap between moving parts").text == "all parts are welded into one"


# --- at rest --------------------------------------------------------------------------------------

HANG = '[[scenes]]\nkind = "hang"\n'


def test_a_piece_at_rest_is_sent_as_it_lies_and_its_joins_are_told(tmp_path):
    design = parse_design(text("resin", "soldered = [['1a', '1b']]", beside=2, more=HANG))
    result = drape(build(design))
    (rest,) = result.drapes
    assert isinstance(rest, Draped)
    (batch,) = rest_batches(result, rest, tolerance=TOLERANCE)
    mesh = reopened(batch, tmp_path)
    assert mesh.body_count == batch.parts == len(rest.rings) - 1
    assert mesh.extents == pytest.approx(np.ptp(rest.rings.bounds(), axis=0), abs=2.0 * TOLERANCE)
    assert check_of(for_service(result), "soldered joins at rest, hang").state is State.WARN


def test_joins_at_rest_are_judged_as_those_of_the_placed_piece_are():
    """Three abreast, the outer two joined past the middle one: the metal comes near that."""
    service = "soldered = [['1a', '1c']]\nsmallest_gap = '0.2 mm'"
    design = parse_design(text("resin", service, beside=3, inside=7.0, repeat=2, more=HANG))
    result = drape(build(design))
    placed = check_of(for_service(result), "soldered joins")
    (rest,) = result.drapes
    same = dataclasses.replace(rest, rings=result.placement.rings, graph=result.placement.graph)
    lying = check_of(for_service(dataclasses.replace(result, drapes=(same,))), "soldered joins at rest, hang")
    assert placed.state is lying.state is State.FAIL
    assert lying.text.startswith(placed.text)


def test_both_pieces_of_a_pair_are_sent_at_rest(tmp_path):
    result = drape(build(parse_design(text("resin", beside=2, top="pair = true", more=HANG))))
    one, other = for_service(result, mesh_tolerance=TOLERANCE).at_rest["hang"]
    assert (one.name, other.name) == ("pattern", "pattern-mirrored")
    meshes = [reopened(batch, tmp_path) for batch in (one, other)]
    assert meshes[0].volume == pytest.approx(meshes[1].volume, rel=1e-4)
    assert meshes[0].body_count == meshes[1].body_count == 6


def test_joins_that_come_apart_at_rest_are_a_failed_check():
    """The pair is pulled apart by hand, as rings that lie loose may come to rest."""
    design = parse_design(text("resin", "soldered = [['1a', '1b']]", beside=2, more=HANG))
    result = drape(build(design))
    (rest,) = result.drapes
    centres = rest.rings.centres.copy()
    centres[rest.graph.names.index("1b")] += [0.0, 20.0, 0.0]
    apart = dataclasses.replace(rest, rings=dataclasses.replace(rest.rings, centres=centres))
    assert rest_batches(result, apart, tolerance=TOLERANCE) == ()
    check = check_of(
        for_service(dataclasses.replace(result, drapes=(apart,))), "soldered joins at rest, hang"
    )
    assert check.state is State.FAIL
    assert "too far to solder" in check.text


def test_loose_rings_have_nothing_to_send_at_rest():
    result = drape(build(parse_design(text(LOOSE, more=HANG))))
    assert rest_batches(result, result.drapes[0], tolerance=TOLERANCE) == ()


# --- words and the command ------------------------------------------------------------------------


def test_files_that_are_alike_are_told_in_one_line():
    alike = [flat_batch(f"rings-{number}") for number in (1, 2, 3)]
    assert batch_lines([*alike, tree_batch()]) == [
        "rings-1 to rings-3, 3 files, in each 6 rings (5 link, 1 jump); 3.25 g of sterling silver as cast",
        batch_lines([tree_batch()])[0],
    ]
    pair = [flat_batch("pattern"), flat_batch("pattern-mirrored")]
    assert [line.split(":")[0] for line in batch_lines(pair)] == ["pattern", "pattern-mirrored"]


def command(run, tmp_path, *args, **options):
    (tmp_path / "mooring.toml").write_text(text(**options))
    return run("make", "mooring.toml", "--out", "out", "--no-pictures", "--no-sheet", *args)


def test_no_file_for_the_service_has_more_triangles_than_asked(run, tmp_path):
    given = "finishing = '0.3 mm'\n[service.sprues]"
    command(run, tmp_path, "--triangles", "6000", "--scene", "hang", service=given)
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    (resting,) = report["service"]["scene_batches"]
    assert resting["triangles"] <= 6000
    counts = {batch["name"]: batch["triangles"] for batch in report["service"]["batches"]}
    assert 3000 < counts["pattern-sprued"] <= 6000
    assert (
        len(trimesh.load_mesh(tmp_path / "out/service/pattern-sprued.stl").faces) == counts["pattern-sprued"]
    )


def test_fewer_triangles_than_the_service_can_be_sent_are_refused(run, tmp_path):
    (tmp_path / "mooring.toml").write_text(text(service="[service.sprues]"))
    told = run("make", "mooring.toml", "--triangles", "900", "--no-pictures", "--no-sheet", code=2).output
    assert "expected at least" in told
    assert "what goes to the service" in told
    assert not (tmp_path / "out").exists()


def test_most_triangles_is_that_of_the_largest_file(sprued):
    counts = [len(_mesh(batch).faces) for batch in sprued.batches]
    assert most_triangles(sprued.batches) == max(counts)
    assert most_triangles(()) == 0


def test_files_of_an_earlier_run_are_told(run, tmp_path):
    first = command(run, tmp_path, process=LOOSE, repeat=40)
    assert "earlier run" not in first.output
    again = command(run, tmp_path, process=LOOSE, repeat=3)
    assert "these are from an earlier run: service/rings-2.3mf, service/rings-2.stl" in again.output


def test_a_service_that_cannot_make_it_is_told_right_after_the_verdict(run, tmp_path):
    """As long as it is, the piece goes into no flask; words and sheet say so before anything else."""
    command(run, tmp_path, "--sheet", service='build = ["20 mm", "20 mm", "20 mm"]')
    told = run("check", "mooring.toml").output.splitlines()
    assert told[1].startswith("It fits")
    assert told[2] == "But: not for casting from a wax pattern as it is: size."
    assert told[2] in (tmp_path / "out" / "sheet.html").read_text()


def test_what_is_sent_at_rest_is_in_the_report(run, tmp_path):
    command(run, tmp_path, "--scene", "hang")
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    (batch,) = report["service"]["scene_batches"]
    assert (batch["scene"], batch["name"], batch["parts"]) == ("hang", "pattern", 3)
    assert batch["files"] == ["scenes/hang/service/pattern.stl", "scenes/hang/service/pattern.3mf"]
    mesh = trimesh.load(tmp_path / "out" / batch["files"][0])
    assert batch["volume_mm3"] == pytest.approx(mesh.volume, rel=1e-5)
