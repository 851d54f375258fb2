"""The maker's plan as a whole: its parts agree with one another, the design, and what is written."""

import csv
import json
import re
from dataclasses import replace
from decimal import Decimal
from math import pi

import numpy as np
import pytest
from click.testing import CliRunner

from chaingen.cli import main
from chaingen.design.load import load_design, parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.make.order.replay import replay
from chaingen.model.stl import write_stl
from chaingen.pipeline import build, export, plan
from chaingen.show.plan_words import plan_lines
from chaingen.show.report import report_of
from chaingen.show.words import verdict_lines
from tests.test_examples import ROOT
from tests.test_stl import plain_model

BENCH = ROOT / "examples" / "all-keys-bench.toml"


@pytest.fixture(scope="module")
def classy():
    return plan(build(load_design(BENCH)))


@pytest.fixture(scope="module")
def bare():
    """A design of whose bench nothing is said."""
    return plan(build(parse_design(starter_design("two-in-one", repeat=3))))


@pytest.fixture(scope="module")
def written(classy, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheet")
    return folder, export(classy, folder, pictures=False)


def test_seven_inches_of_two_in_one():
    """A bracelet of 7 in, 3 mm inside, 18 AWG, worked by hand.

    Pulled straight, a pair and its joining ring take 2 (R + sqrt((R - 2r)^2 - r^2)) [mm] of length: each
    joining ring, of wire 2r, lies across the two rings of a pair, whose planes are 2r apart (derived). That
    2-in-1 goes together at 3 mm inside and 18 AWG is common practice.
    """
    design = parse_design(starter_design("two-in-one", inside="3 mm", wire="18 AWG", length="7 in"))
    made = plan(build(design))
    r = 0.5 * 0.005 * 92 ** (18 / 39) * 25.4  # ASTM B258
    radius = 1.5 + r
    period = 2.0 * (radius + np.sqrt((radius - 2.0 * r) ** 2 - r**2))
    # The ends are pairs; outside to outside the last pair adds its own inside and two wires.
    pairs = round((177.8 - (3.0 + 4.0 * r)) / period) + 1
    assert pairs == 31
    assert made.finished_length == pytest.approx((pairs - 1) * period + 3.0 + 4.0 * r, abs=0.05)
    assert abs(made.finished_length - 177.8) <= 0.51 * period
    (rings,) = made.plan.rings
    assert rings.rings.count == 2 * pairs + (pairs - 1) == 92
    # The singles are opened, the pairs come closed.
    opened = made.plan.order.opened
    assert (opened.count, len(opened.closed), opened.proven) == (pairs - 1, 2 * pairs, True)
    # Each turn of the coil: the length of a ring and the saw's cut.
    assert rings.cut_length == pytest.approx(pi * (3.0 + 2.0 * r))
    assert rings.spare == 10
    turns = 102 + rings.coils
    assert rings.turns == turns
    assert rings.coil_length == pytest.approx(turns * 2.0 * r)
    per_turn = np.hypot(rings.cut_length + 0.25, 2.0 * r)
    assert rings.wire_length == pytest.approx(turns * per_turn + 40.0 * rings.coils)


@pytest.mark.parametrize("name", ["all-keys-bench", "two-in-one", "graduated-earring"])
def test_weight_agrees_with_the_volume_of_the_models(name, tmp_path):
    """Density times the volume that trimesh finds in the facets, which lie inside: within a percent."""
    import trimesh

    result = build(load_design(ROOT / "examples" / f"{name}.toml"))
    bodies = result.placement.rings
    found = 0.0
    for number, metal in enumerate(result.metals.metals):
        rings = np.flatnonzero(bodies.is_ring & (result.metals.of_ring == number))
        write_stl(tmp_path / "rings.stl", plain_model(bodies[rings], tolerance=0.002))
        found += trimesh.load(tmp_path / "rings.stl").volume * metal.density / 1000.0
    told = sum(count.weight for count in result.counts)
    assert found * result.design.made == pytest.approx(told, rel=0.01)
    assert found * result.design.made < told


def test_the_parts_of_a_plan_agree(classy):
    made = classy.plan
    replay(classy.placement.graph, made.order)
    rings = sum(count.count for count in classy.counts)
    opened = made.order.opened
    is_ring = [hasattr(member.size, "inside_diameter") for member in classy.placement.graph.members]
    assert sum(is_ring[body] for body in (*opened.opened, *opened.closed)) == rings == 85
    seconds = opened.count * (6.0 + 14.0) + (rings - opened.count) * 14.0 + 240.0 + 120.0
    assert made.money.seconds == pytest.approx(seconds)
    assert made.money.material == Decimal("4.20") + Decimal("0.80") + Decimal("0.40")
    here = [choice for choice in made.lengths if choice.repeat == classy.design.repeating.repeat]
    assert here[0].length == pytest.approx(classy.finished_length)
    assert here[0].ease == pytest.approx(classy.finished_length - 165.0)
    assert here[0].inside < here[0].length - pi * 3.0
    assert made.classroom.kits == 13
    # Twelve bags, fourteen of either finding.
    assert made.class_money.material == 12 * Decimal("4.20") + 14 * (Decimal("0.80") + Decimal("0.40"))
    assert made.class_money.work is None
    (mandrel,) = made.mandrels
    assert mandrel.spring.calibration != 1.0
    assert [choice.reaches for choice in made.owned] == [True, False]
    for orders, rings in ((made.wire, made.rings), (made.class_wire, made.classroom.order)):
        (order,), (own,) = orders, rings
        assert (order.lengths, order.wire_length) == (own.lengths, own.wire_length)
        assert order.lengths * classy.design.bench.sold_in >= order.wire_length


def test_nothing_said_is_told_as_not_given(bare):
    made = bare.plan
    assert made.money.currency is made.money.price is made.money.seconds is None
    assert not made.owned
    assert made.classroom is made.class_money is None
    assert made.class_wire == ()
    assert (made.wire[0].lengths, made.wire[0].uses) == (None, ())
    (rings,) = made.rings
    assert (rings.lengths, rings.bags, rings.kerf_assumed) == (None, None, True)
    assert made.mandrels[0].choices == ()
    assert not any("EUR" in line or "Reckoned" in line for line in plan_lines(made))


def test_a_piece_that_does_not_fit_has_no_order_of_work(tmp_path):
    made = plan(build(parse_design(starter_design("two-in-one", inside="1.2 mm", repeat=3))))
    assert not made.fits
    assert made.plan.order is None
    assert made.plan.money.seconds is None
    files = export(made, tmp_path, pictures=False)
    page = (tmp_path / "sheet.html").read_text()
    assert "DO NOT MAKE" in page.upper()
    assert (tmp_path / "sheet.pdf") in files.paths
    assert json.loads((tmp_path / "report.json").read_text())["plan"]["order_of_work"] is None


def test_a_temper_without_data_is_refused():
    text = starter_design("two-in-one", metal="copper", repeat=3)
    design = parse_design(f'{text}\n[bench.metals.copper]\ntemper = "spring"\n')
    with pytest.raises(BadInput, match="annealed"):
        plan(build(design))


def test_the_report_has_the_plan(classy, bare):
    told = report_of(classy)["plan"]
    json.dumps(told)
    assert told["rings"][0]["needed"] == 85
    assert told["rings"][0]["bags_to_buy"] == 1
    assert told["money"]["price"] == str(classy.plan.money.price)
    (order,) = classy.plan.wire
    (wire,) = told["wire"]
    assert wire["lengths_to_buy"] == order.lengths == sum(entry["count"] for entry in wire["lengths"])
    cut = sum(
        entry["count"] * sum(coil["rings_in_coils"]) for entry in wire["lengths"] for coil in entry["coils"]
    )
    assert cut == told["rings"][0]["needed"] + told["rings"][0]["spare"]
    (for_class,) = told["classroom"]["wire"]
    assert for_class["lengths_to_buy"] > wire["lengths_to_buy"]
    assert report_of(bare)["plan"]["wire"][0]["lengths_to_buy"] is None
    work = told["order_of_work"]
    assert work["opened_count"] == work["at_least"] == 29
    assert work["proven_least"] is True
    # Every link is told once among the steps.
    names = classy.placement.graph.names
    links = sorted(sorted(pair) for step in work["steps"] for pair in step["links"])
    assert links == sorted(sorted((names[a], names[b])) for a, b in classy.placement.graph.links)
    assert told["classroom"]["kits"] == 13
    assert report_of(replace(bare, plan=None))["plan"] is None
    assert report_of(bare)["plan"]["money"]["known_material"] is None


def test_words_of_the_plan(classy):
    lines = "\n".join(plan_lines(classy.plan))
    assert "94 rings 'link', 9 of them spare" in lines
    assert "3 mm rod, which gives 3.01 mm inside" in lines
    assert "To open: 29" in lines
    assert "no fewer will do" in lines
    assert "12 students, 13 kits" in lines
    assert f"price {classy.plan.money.price} EUR" in lines
    assert verdict_lines(classy)


def test_sheets_are_written(written, classy):
    folder, files = written
    assert not files.no_pdf
    assert {path.name for path in files.paths} >= {"sheet.html", "sheet.csv", "sheet.pdf"}
    with (folder / "sheet.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    rings = next(row for row in rows if row["kind"] == "ring")
    assert (rings["needed"], rings["total"], rings["gauge"], rings["cost"]) == ("85", "94", "18 AWG", "4.20")
    readme = (ROOT / "README.md").read_text()
    assert all(f"`{name}`" in readme for name in rows[0])
    report = json.loads((folder / "report.json").read_text())
    assert report["files"] == [path.relative_to(folder).as_posix() for path in files.paths]


def test_sheets_are_the_same_every_time(written, classy, tmp_path):
    folder, _ = written
    export(classy, tmp_path, pictures=False)
    for name in ("sheet.html", "sheet.csv", "sheet.pdf", "report.json"):
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()


def test_make_writes_a_sheet_unless_told_not_to(tmp_path):
    design = tmp_path / "piece.toml"
    design.write_text(starter_design("two-in-one", repeat=2))

    def made(*options):
        run = CliRunner().invoke(
            main, ["make", str(design), "--out", str(tmp_path / "o"), "--no-pictures", *options]
        )
        assert run.exit_code == 0, run.output
        return run.output

    assert "sheet." not in made("--no-sheet")
    assert not (tmp_path / "o" / "sheet.html").exists()
    assert "sheet.html" in made("--units", "inch", "--paper", "Letter")
    page = (tmp_path / "o" / "sheet.html").read_text()
    assert re.search(r"0\.118\s*in", page)
    assert "<script" not in page
    import pypdfium2

    document = pypdfium2.PdfDocument(tmp_path / "o" / "sheet.pdf")
    assert document[0].get_size() == pytest.approx((612, 792), abs=1)
    document.close()


def test_without_the_pdf_extra_the_rest_is_written(tmp_path, monkeypatch, bare):
    import sys

    monkeypatch.setitem(sys.modules, "typst", None)
    files = export(bare, tmp_path, pictures=False)
    assert "pip install typst" in files.no_pdf
    assert (tmp_path / "sheet.html").exists()
    assert not (tmp_path / "sheet.pdf").exists()


@pytest.mark.slow
def test_pictures_of_steps_are_in_the_sheet(tmp_path, bare):
    files = export(bare, tmp_path)
    steps = [path for path in files.paths if path.parent.name == "steps"]
    assert len(steps) == len(bare.plan.order.distinct)
    page = (tmp_path / "sheet.html").read_text()
    assert page.count("data:image/jpeg") == len(steps) + 1


def test_without_the_3mf_library_the_rest_is_written(tmp_path, monkeypatch, bare):
    import sys

    monkeypatch.setitem(sys.modules, "lib3mf", None)
    files = export(bare, tmp_path, pictures=False)
    assert "lib3mf" in files.no_3mf
    written = {path.suffix for path in files.paths if path.parent.name == "models"}
    assert written >= {".stl", ".obj", ".mtl", ".glb"}
    assert ".3mf" not in written
