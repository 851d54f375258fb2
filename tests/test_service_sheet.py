"""What the maker's sheet tells for a service: limits, checks, sizes, files, cautions, in all units."""

import dataclasses
import re

import pytest

from chaingen.design.bench import Units
from chaingen.design.load import parse_design
from chaingen.design.service import Layout
from chaingen.make.planning import plan_of
from chaingen.pipeline import build
from chaingen.show.sheet.content import SheetPictures, sheet_document
from chaingen.show.sheet.document import Bullets, Heading, Paragraph, Table
from chaingen.show.sheet.measures import Measures
from chaingen.show.sheet.service_tables import service_blocks
from chaingen.show.sheet.write import write_sheet
from chaingen.solve.placement import Answer
from tests.sample_batches import PIECE, WAX, flat_batch, prepared_for, tree_batch, under

FILES, HOLDS = "Files, in the folder service", "Holds, size as sent"

METRIC, INCH, BOTH = (Measures(units) for units in (Units.METRIC, Units.INCH, Units.BOTH))


@pytest.fixture(scope="module")
def run():
    result = build(parse_design(PIECE.replace('metal = "titanium"', "")))
    return dataclasses.replace(result, plan=plan_of(result))


def tables(blocks):
    return {block.caption: block for block in blocks if isinstance(block, Table)}


def prepared(result):
    return prepared_for(result, [flat_batch(), tree_batch()], ["beads are threaded by hand"])


def test_only_with_a_service(run):
    none = dataclasses.replace(run, design=dataclasses.replace(run.design, service=None))
    assert service_blocks(none, None, METRIC) == []
    headings = [
        [block.text for block in sheet_document(own, SheetPictures()).blocks if isinstance(block, Heading)]
        for own in (run, none)
    ]
    assert "To send to a service" in headings[0]
    assert [text for text in headings[0] if text != "To send to a service"] == headings[1]


def test_limits_say_which_are_assumed(run):
    table = tables(service_blocks(under(run, smallest_wire=0.9, assumed=("build",)), None, METRIC))[
        "The service"
    ]
    rows = dict(table.rows)
    assert rows["process"] == "loose rings for casting"
    assert rows["route"] == "direct"
    assert rows["thinnest wire"] == "0.9 mm"
    assert rows["largest that it builds"] == "60 by 60 by 100 mm (assumed)"
    # Loose rings have no gap between them.
    assert not any("gap" in what for what in rows)
    assert len(table.notes) == 1
    wax = tables(service_blocks(under(run, process=WAX, finishing=0.15, assumed=()), None, METRIC))[
        "The service"
    ]
    assert dict(wax.rows)["smallest gap between moving parts"] == "0 mm"
    assert dict(wax.rows)["finishing takes off a wire's thickness"] == "0.15 mm"
    assert wax.notes == ()
    printed = tables(service_blocks(under(run, process="resin"), None, METRIC))["The service"]
    assert "route" not in dict(printed.rows)


def test_checks_are_told_with_their_result(run):
    table = tables(service_blocks(run, prepared(run), METRIC))["Checks against it"]
    assert [row[:2] for row in table.rows] == [("thinnest wire", "pass"), ("cut", "warn"), ("size", "fail")]
    assert table.rows[2][2] == "tree-1 takes 13.5 by 4 by 70 mm: 10 mm too long"


@pytest.mark.parametrize("measures", [INCH, BOTH])
def test_every_side_of_a_box_has_its_inches(run, measures):
    table = tables(service_blocks(run, prepared(run), measures))["Checks against it"]
    sides = re.findall(r"([\d.]+) (mm|in) \(([\d.]+) (mm|in)\)", table.rows[2][2])
    assert len(sides) == 4
    for one, unit, other, _ in sides:
        mm, inch = (one, other) if unit == "mm" else (other, one)
        # An inch is 25.4 mm by definition; told to a thousandth.
        assert float(mm) / 25.4 == pytest.approx(float(inch), abs=6e-4)
    assert (sides[0][1] == "mm") == (measures is BOTH)
    builds = dict(tables(service_blocks(run, None, measures))["The service"].rows)["largest that it builds"]
    assert builds.count(" in") == 3


def test_sizes_finished_and_as_pattern(run):
    table = tables(service_blocks(run, prepared(run), METRIC))["Sizes"]
    assert table.head == (
        "Ring", "Metal", "Finished inside", "Finished wire", "Pattern inside", "Pattern wire",
    )  # fmt: skip
    rows = {row[0]: row[2:] for row in table.rows}
    # Divided by 0.98: silver shrinks by 2 %, in the middle of 1 to 3 % (common practice).
    assert rows["link"] == ("9 mm", "1.8 mm", f"{9 / 0.98:.3f} mm", f"{1.8 / 0.98:.3f} mm")
    assert rows["jump"] == ("7.5 mm", "1.6 mm", f"{7.5 / 0.98:.3f} mm", f"{1.6 / 0.98:.3f} mm")
    assert table.notes[0] == "Sterling silver shrinks by 2 % (assumed)."
    assert "trial casting" in table.notes[-1]
    of_closed = "Inside diameters are of closed rings, though they are sent open."
    assert of_closed in table.notes
    closed = tables(service_blocks(under(run, cut=0.0), prepared(run), METRIC))["Sizes"]
    assert of_closed not in closed.notes


def test_sizes_as_cast_and_along_each_axis(run):
    given = under(run, finishing=0.1, shrinkage=(("", (0.02, 0.02, 0.03)),))
    table = tables(service_blocks(given, prepared(given), METRIC))["Sizes"]
    link = dict(zip(table.head, next(row for row in table.rows if row[0] == "link"), strict=True))
    assert (link["Cast inside"], link["Cast wire"]) == ("8.9 mm", "1.9 mm")
    assert link["Pattern inside"].split("\n") == [
        f"x {8.9 / 0.98:.3f} mm", f"y {8.9 / 0.98:.3f} mm", f"z {8.9 / 0.97:.3f} mm",
    ]  # fmt: skip
    assert "Finishing takes 0.1 mm off the thickness of a wire." in table.notes
    assert not any("trial" in note for note in table.notes)


def test_a_print_that_keeps_its_sizes_needs_no_table_of_them(run):
    assert "Sizes" not in tables(service_blocks(under(run, process="resin"), None, METRIC))


def test_files_with_weights_and_sizes(run):
    table = tables(service_blocks(run, prepared(run), METRIC))[FILES]
    flat, tree, melt = (dict(zip(table.head, row, strict=True)) for row in table.rows)
    # Rings of 10 mm in 2 mm wire, three by two of them 14 mm apart.
    assert (flat["File"], flat[HOLDS], flat["Metal"]) == (
        "rings-1.stl\nrings-1.3mf",
        "6 rings (5 link, 1 jump)\n40 by 26 by 2 mm",
        "sterling silver",
    )
    assert (flat["Pieces"], flat["Sprues"], flat["In all"]) == ("3.25 g", "", "3.25 g")
    assert (tree["Pieces"], tree["Sprues"], tree["In all"]) == ("2.00 g", "7.50 g", "9.50 g")
    assert (melt["File"], melt["Metal"], melt["In all"]) == ("to melt", "sterling silver", "12.75 g")
    assert "How many" not in table.head
    copied = prepared_for(run, [dataclasses.replace(flat_batch(), copies=48), tree_batch()])
    table = tables(service_blocks(run, copied, METRIC))[FILES]
    flat, tree, melt = (dict(zip(table.head, row, strict=True)) for row in table.rows)
    assert (flat["How many"], tree["How many"], melt["How many"]) == ("48", "1", "")
    # 48 times 3.25 g, and 9.5 g.
    assert (flat["In all"], melt["In all"]) == ("3.25 g", "165.50 g")
    assert any("of one copy" in note for note in table.notes)
    printed = prepared_for(run, [flat_batch("model", metal=None, rings=())])
    table = tables(service_blocks(run, printed, METRIC))[FILES]
    assert table.head == ("File", HOLDS)
    assert table.rows == (("model.stl\nmodel.3mf", "the print, 6 parts\n40 by 26 by 2 mm"),)
    assert any("the service's own" in note for note in table.notes)
    assert not any("Weights" in note for note in table.notes)


def test_layout_by_hand_and_cautions_are_told(run):
    blocks = service_blocks(under(run, layout=Layout.TREE), prepared(run), METRIC)
    said = [block.text for block in blocks if isinstance(block, Paragraph)]
    assert any("round the main of a tree" in text for text in said)
    by_hand, cautions = (block.items for block in blocks if isinstance(block, Bullets))
    assert by_hand == ("beads are threaded by hand",)
    assert len(cautions) == 3
    assert all("local rules" in caution for caution in cautions)
    assert sum("eye protection" in caution for caution in cautions) == 2


def test_of_a_piece_that_does_not_fit_only_checks_and_cautions_are_told(run):
    placement = dataclasses.replace(run.placement, answer=Answer.NO_FIT_FOUND)
    blocks = service_blocks(dataclasses.replace(run, placement=placement), None, METRIC)
    assert list(tables(blocks)) == ["The service", "Checks against it"]
    assert isinstance(blocks[-1], Bullets)


def test_the_page_has_it(run, tmp_path):
    files = write_sheet(
        tmp_path, run, pictures=None, not_drawn="", on_progress=lambda _: None, prepared=prepared(run)
    )
    page = next(path for path in files.paths if path.suffix == ".html").read_text().replace("\xa0", " ")
    for text in (
        "To send to a service",
        "rings-1",
        "7.50 g",
        f"{9 / 0.98:.3f} mm",
        "beads are threaded by hand",
    ):
        assert text in page
