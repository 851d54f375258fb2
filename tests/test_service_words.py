"""What is told of a service in words and in the report: sizes by hand, what is sent, cautions."""

import dataclasses
import json

import numpy as np
import pytest

from chaingen.design.load import parse_design
from chaingen.design.service import Layout, Route
from chaingen.model.figures import figures_of
from chaingen.pipeline import build
from chaingen.prepare.batch import metal_to_melt
from chaingen.prepare.checks import rest_checks, service_checks
from chaingen.show.report import VERSION, report_of
from chaingen.show.service_report import files_of, models_data, service_data
from chaingen.show.service_words import batch_words, service_lines
from chaingen.stock.processes import PROCESSES
from tests.sample_batches import (
    CHECKS,
    LOOSE,
    PIECE,
    PITCH,
    RADIUS,
    SILVER,
    WAX,
    WIRE_RADIUS,
    flat_batch,
    plate,
    prepared_for,
    tree_batch,
    under,
)


@pytest.fixture(scope="module")
def run():
    """Two rings of silver joined by one of titanium."""
    return build(parse_design(PIECE))


def line_with(result, begins, prepared=None):
    (line,) = [line for line in service_lines(result, prepared) if line.startswith(begins)]
    return line


# --- sizes ----------------------------------------------------------------------------------------


def test_a_ring_is_told_finished_and_as_pattern(run):
    # 9 / 0.98 = 9.18367 and 1.8 / 0.98 = 1.83673; silver and gold shrink by 1 to 3 % (common practice).
    assert line_with(run, "Ring link") == (
        "Ring link of sterling silver, 9 mm inside in 1.8 mm wire, is 9.184 mm inside in 1.837 mm wire in "
        "the pattern, when closed: sterling silver shrinks by 2 % (assumed)."
    )


def test_what_is_not_known_is_said(run):
    assert line_with(run, "Ring jump") == (
        "Ring jump of titanium, 7.5 mm inside in 1.6 mm wire, is the same in the pattern: how much titanium "
        "shrinks is not known, and nothing is allowed for it."
    )


def test_shrinkage_that_is_given_is_not_assumed(run):
    given = under(run, shrinkage=(("", (0.02, 0.02, 0.02)), ("titanium", (0.0, 0.0, 0.0))))
    assert line_with(given, "Ring link").endswith("sterling silver shrinks by 2 %.")
    # A metal of which it is said that it does not shrink needs no word.
    assert not any(line.startswith("Ring jump") for line in service_lines(given))


def test_finishing_and_mould_are_told_with_the_shrinkage(run):
    service = under(run, finishing=0.1, route=Route.RUBBER_MOULD)
    # As cast 8.9 mm inside in 1.9 mm wire; 0.98 of wax to cast, 0.9825 of mould to wax.
    inside, wire = 8.9 / (0.98 * 0.9825), 1.9 / (0.98 * 0.9825)
    assert line_with(service, "Ring link") == (
        "Ring link of sterling silver, 9 mm inside in 1.8 mm wire, is cast 8.9 mm inside in 1.9 mm wire, for "
        "finishing takes 0.1 mm off the thickness of its wire; in the pattern, when closed, it is "
        f"{inside:.3f} mm inside in {wire:.3f} mm wire: sterling silver shrinks by 2 % (assumed), and wax "
        "from a rubber mould by 1.75 % (assumed)."
    )
    said = under(run, route=Route.RUBBER_MOULD, mould_shrinkage=(0.01, 0.01, 0.01))
    assert line_with(said, "Ring link").endswith("and wax from a rubber mould by 1 %.")


def test_axes_are_told_where_they_differ(run):
    given = under(run, shrinkage=(("sterling silver", (0.02, 0.02, 0.03)),))
    line = line_with(given, "Ring link")
    assert f"{9.0 / 0.98:.3f} mm (along x), {9.0 / 0.98:.3f} mm (y), {9.0 / 0.97:.3f} mm (z) inside" in line
    assert f"{1.8 / 0.97:.3f} mm (z) wire in the pattern, when closed:" in line
    assert line.endswith("sterling silver shrinks by 2 % (along x), 2 % (y), 3 % (z).")


def test_a_print_without_shrinkage_has_the_finished_sizes_and_nothing_is_said(run):
    lines = service_lines(under(run, process="resin"))
    assert not any(line.startswith("Ring ") for line in lines)
    shrunk = line_with(under(run, process="resin", shrinkage=(("", (0.1, 0.1, 0.1)),)), "Ring link")
    assert "is 10 mm inside in 2 mm wire in the model: resin shrinks by 10 %." in shrunk
    finished = line_with(under(run, process="resin", finishing=0.2), "Ring link")
    assert "is made 8.8 mm inside in 2 mm wire" in finished
    assert finished.endswith("; so it is in the model.")


def test_the_gap_in_the_pattern_is_told_where_it_is_another(run):
    """The casting has 0.98 of the pattern's 0.5 mm, and finishing adds 0.1 mm."""
    text = PIECE.replace(LOOSE, f'{WAX}"\nsmallest_gap = "0.5 mm').replace('metal = "titanium"', "")
    design = parse_design(f'{text}\nfinishing = "0.1 mm"\n')
    lines = service_lines(build(design))
    assert (
        "The gap asked for between wires, 0.59 mm (for 0.5 mm in the pattern), is that of the process, wax "
        "pattern for casting."
    ) in lines


# --- how it is sent -------------------------------------------------------------------------------


def test_loose_rings_tell_their_cut_and_layout(run):
    tree = under(run, layout=Layout.TREE, cut=0.6, opened=3.4)
    assert line_with(tree, "Rings are") == (
        "Rings are laid out round the main of a tree, with a cut of 0.6 mm (as cast), the ends 3.4 mm apart "
        "sideways (middle to middle): closed by hand until the ends meet they have the sizes told."
    )
    assert "apart" not in line_with(run, "Rings are")
    closed = line_with(under(run, cut=0.0), "Rings are")
    assert "closed: what is to be linked by hand is cut open first" in closed
    assert not any(line.startswith("Rings are") for line in service_lines(under(run, process="resin")))


def test_soldered_pairs_are_named(run):
    welded = under(run, process=WAX, soldered=(("1a", "2a"), ("2a", "3a")))
    assert line_with(welded, "Welded") == "Welded into one, as if soldered: 1a with 2a, 2a with 3a."
    # Of what is too far apart it would not be true.
    thin = run.placement.rings.thickened(-0.4)
    apart = service_lines(
        dataclasses.replace(welded, placement=dataclasses.replace(run.placement, rings=thin))
    )
    assert not any(line.startswith("Welded") for line in apart)
    assert any(line.startswith("  fail: soldered joins, 1a and 2a are 2.1 mm apart: ") for line in apart)


def test_batches_tell_rings_metal_and_sprues(run):
    assert batch_words(flat_batch()) == "rings-1: 6 rings (5 link, 1 jump); 3.25 g of sterling silver as cast"
    assert batch_words(tree_batch()) == (
        "tree-1: 1 ring (link); 9.50 g of sterling silver as cast, 7.50 g of it sprues and button"
    )
    assert batch_words(flat_batch("model", metal=None, rings=())) == "model.stl: the print, 6 parts"
    two = batch_words(flat_batch(rings=(("link", 5), ("jump", 1), ("link", 1200))))
    assert "1,206 rings (1,205 link, 1 jump)" in two
    prepared = prepared_for(run, [flat_batch(), tree_batch()], ["beads are threaded", "ear wires"])
    lines = service_lines(run, prepared)
    assert f"{batch_words(tree_batch())}." in lines
    assert "By hand: beads are threaded; ear wires." in lines
    assert "To melt in all, for every copy of every casting: 12.75 g of sterling silver." in lines


def test_copies_are_told_and_all_their_metal(run):
    """48 times 3.25 g and 9.5 g of silver, and of titanium 2 times 3.25 g."""
    titanium = next(count.metal for count in run.counts if count.metal != SILVER)
    batches = [
        dataclasses.replace(flat_batch(), copies=48),
        tree_batch(),
        dataclasses.replace(flat_batch("rings-2", metal=titanium), copies=2),
        flat_batch("model", metal=None, rings=()),
    ]
    lines = service_lines(run, prepared_for(run, batches))
    assert ("rings-1: 6 rings (5 link, 1 jump); 3.25 g of sterling silver as cast; make 48 of it.") in lines
    assert f"{batch_words(tree_batch())}." in lines
    assert (
        "To melt in all, for every copy of every casting: 165.50 g of sterling silver and 6.50 g of titanium."
    ) in lines
    data = report_of(run, (), "", prepared_for(run, batches))["service"]
    assert data["metal_to_melt_g"] == {"sterling silver": 165.5, "titanium": 6.5}
    assert [batch["copies"] for batch in data["batches"]] == [48, 1, 2, 1]
    assert report_of(run)["service"]["metal_to_melt_g"] == {}


def test_a_piece_with_and_without_sprues_is_melted_for_once():
    """The files with sprues, 9.5 g each, are cast; a pattern without any is where there is none with."""
    sprued = [
        dataclasses.replace(tree_batch(), name=name, rings=())
        for name in ("pattern-sprued", "pattern-sprued-mirrored")
    ]
    plain = [flat_batch(name, rings=()) for name in ("pattern", "pattern-mirrored")]
    both = [plain[0], sprued[0], plain[1], sprued[1]]
    assert metal_to_melt(both) == {SILVER: pytest.approx(19.0)}
    assert metal_to_melt(both[:3]) == {SILVER: pytest.approx(9.5 + 3.25)}
    assert metal_to_melt(plain) == {SILVER: pytest.approx(6.5)}
    assert metal_to_melt([flat_batch("pattern", metal=None, rings=())]) == {}


def test_checks_are_those_of_what_was_prepared(run):
    lines = service_lines(run, prepared_for(run, []))
    assert [line for line in lines if line.startswith("  ")] == [
        f"  {check.state.value}: {check.name}, {check.text}." for check in CHECKS
    ]
    alone = [line for line in service_lines(run) if line.startswith("  ")]
    assert len(alone) == len(service_checks(run) + rest_checks(run)) > 0


@pytest.mark.parametrize("name", PROCESSES)
def test_cautions_come_last_and_fit_the_process(run, name):
    lines = service_lines(under(run, process=name))
    first, *others = [line for line in lines if line.startswith("Caution: ")]
    assert lines[-1 - len(others) :] == [first, *others]
    assert first == f"Caution: {PROCESSES[name].caution}"
    # Of what is done by hand with what comes back: eye protection, and local rules first.
    more = " ".join(others)
    assert "eye protection" in more
    assert more.count("local rules come first.") == (2 if name == LOOSE else 1)
    assert ("sprues" in more) == ("casting" in name)
    assert ("brittle" in more) == (name == LOOSE)


# --- report ---------------------------------------------------------------------------------------


def test_report_tells_sizes_and_what_is_sent(run):
    given = under(
        run, finishing=0.1, cut=0.6, layout=Layout.TREE, shrinkage=(("sterling silver", (0.02, 0.02, 0.03)),)
    )
    files = [
        "models/piece.stl", "service/rings-1.stl", "service/rings-1.3mf", "service/rings-11.stl",
        "service/rings-1.png", "service/tree-1.stl",
    ]  # fmt: skip
    prepared = prepared_for(given, [flat_batch(), tree_batch()], ["beads"])
    report = report_of(given, files, "", prepared)
    assert json.loads(json.dumps(report)) == report
    data = report["service"]
    assert (data["route"], data["layout"], data["finishing_mm"], data["cut_mm"]) == (
        "direct",
        "tree",
        0.1,
        0.6,
    )
    assert data["shrinkage_percent"] == [
        {"metal": "sterling silver", "xyz": [2.0, 2.0, 3.0]},
        {"metal": "titanium", "xyz": None},
    ]
    link = next(own for own in data["sizes"] if own["finished"]["name"] == "link")
    assert (link["finished"]["inside_diameter_mm"], link["finished"]["wire_diameter_mm"]) == (9.0, 1.8)
    assert (link["cast"]["inside_diameter_mm"], link["cast"]["wire_diameter_mm"]) == (8.9, 1.9)
    shrunk = np.array([0.98, 0.98, 0.97])
    assert link["pattern"]["inside_diameter_mm"] == pytest.approx(8.9 / shrunk, abs=1e-6)
    assert link["pattern"]["wire_diameter_mm"] == pytest.approx(1.9 / shrunk, abs=1e-6)
    flat, tree = data["batches"]
    assert flat["files"] == ["service/rings-1.stl", "service/rings-1.3mf"]
    assert tree["files"] == ["service/tree-1.stl"]
    assert flat["rings"] == [{"name": "link", "count": 5}, {"name": "jump", "count": 1}]
    assert (tree["pieces_weight_g"], tree["sprues_weight_g"], tree["weight_g"]) == (2.0, 7.5, 9.5)
    assert (flat["metal"], flat["parts"]) == (SILVER.name, 6)
    # Three columns and two rows of rings.
    outside = 2.0 * (RADIUS + WIRE_RADIUS)
    assert flat["size_mm"] == pytest.approx(
        [outside + 2 * PITCH, outside + PITCH, 2.0 * WIRE_RADIUS], abs=0.1
    )
    assert flat["shells"] == 6
    assert flat["triangles"] == 6 * len(flat_batch().model.kinds[0].mesh.faces)
    torus = 2.0 * np.pi**2 * RADIUS * WIRE_RADIUS**2  # Pappus
    assert flat["volume_mm3"] == pytest.approx(6.0 * torus, rel=0.05)
    assert data["by_hand"] == ["beads"]
    assert [check["state"] for check in data["checks"]] == ["pass", "warn", "fail"]
    assert data["checks"][0]["bodies"] == ["1a"]
    assert data["caution"] == data["cautions"][0]
    assert len(data["cautions"]) == 3


def test_report_of_a_print_and_without_preparation(run):
    data = report_of(under(run, process="resin"))["service"]
    assert (data["route"], data["layout"], data["cut_mm"], data["opened_mm"]) == (None, None, None, None)
    assert (data["batches"], data["by_hand"]) == ([], [])
    assert data["sizes"][0]["pattern"]["inside_diameter_mm"] == [9.0, 9.0, 9.0]
    printed = prepared_for(run, [flat_batch("model", metal=None, rings=())])
    (batch,) = report_of(run, (), "", printed)["service"]["batches"]
    assert [batch[key] for key in ("metal", "pieces_weight_g", "sprues_weight_g", "weight_g")] == [None] * 4
    assert report_of(run)["version"] == VERSION == 1


def test_pictures_and_models_of_others_are_no_files_of_a_batch():
    files = [
        "service/a.stl",
        "service/a.png",
        "service/b-a.stl",
        "scenes/hang/a.stl",
        "service/a-2.stl",
    ]
    assert files_of("a", files) == ["service/a.stl"]


def test_what_is_sent_of_a_piece_at_rest_is_in_the_report(run):
    files = ["service/pattern.stl", "scenes/hang/service/pattern.stl", "scenes/hang-2/service/pattern.stl"]
    scenes = {"hang": (flat_batch("pattern", metal=None, rings=()),), "hang-2": ()}
    prepared = dataclasses.replace(prepared_for(run, ()), at_rest=scenes)
    (batch,) = service_data(run, prepared, files)["scene_batches"]
    assert (batch["scene"], batch["name"], batch["parts"]) == ("hang", "pattern", 6)
    assert batch["files"] == ["scenes/hang/service/pattern.stl"]
    assert batch["triangles"] == 6 * len(flat_batch().model.kinds[0].mesh.faces)
    assert service_data(run)["scene_batches"] == []


def test_figures_of_models_are_in_the_report(run):
    models = models_data({"models/piece": figures_of(plate(2, 1))}, 0.05)
    assert report_of(run)["models"] == []
    (model,) = report_of(run, models=models)["models"]
    outside = 2.0 * (RADIUS + WIRE_RADIUS)
    assert (model["name"], model["chord_tolerance_mm"], model["shells"]) == ("models/piece", 0.05, 2)
    assert model["size_mm"] == pytest.approx([outside + PITCH, outside, 2.0 * WIRE_RADIUS], abs=0.1)
    # Of a torus, by Pappus.
    assert model["area_mm2"] == pytest.approx(2.0 * 4.0 * np.pi**2 * RADIUS * WIRE_RADIUS, rel=0.03)
