"""Weaves, sheets and sections from the command line: lists, starters, checks, bad input."""

import io
import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from chaingen.design.load import load_design
from chaingen.errors import CannotDraw
from chaingen.show.weave_words import degrees_text, role_degrees
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.outline import OutlineKind
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.weave import Repeats
from chaingen.weave.weave_file import load_weave, parse_weave, weave_text
from tests.test_design_weaves import CHAIN, JAPANESE, PLAIN_WEAVE, SECTIONS, SHEET, TURNING

ROOT = Path(__file__).parent.parent


def files_in(folder):
    return sorted(path.relative_to(folder).as_posix() for path in Path(folder).rglob("*") if path.is_file())


# --- the list -------------------------------------------------------------------------------------


def test_the_list_names_every_weave(run):
    text = run("weaves").stdout
    for name in weave_names():
        assert name in text
    assert "chaingen new --weave NAME" in text
    listed = json.loads(run("weaves", "--json").stdout)
    assert [entry["name"] for entry in listed] == list(weave_names())
    assert run("weaves", "--quiet").output == ""


@pytest.mark.parametrize("columns", [80, 68])
def test_the_list_in_a_narrow_terminal(run, monkeypatch, columns):
    monkeypatch.setattr("chaingen.cli.app.terminal_width", lambda: columns)
    lines = run("weaves").stdout.splitlines()[:-1]
    # Form, rings and links stand in a row, what the weave is below, whole.
    assert max(map(len, lines)) <= columns
    text = " ".join(" ".join(lines).split())
    for name in weave_names():
        weave = find_weave(name)
        row = f"{name} {weave.repeats.value} {len(weave.rings)} {degrees_text(weave)}"
        assert f"{row} {weave.about}".strip() in text
    assert len({line.find("chain") for line in lines if line.startswith(("box", "byz"))} - {4}) == 1


def test_the_list_in_a_wide_terminal_is_one_table(run, monkeypatch):
    monkeypatch.setattr("chaingen.cli.app.terminal_width", lambda: 140)
    lines = run("weaves").stdout.splitlines()
    assert {len(line) for line in lines[:-1]} == {140}
    assert "what it is" in lines[1]


def test_degrees_in_the_list(run):
    # By what the weaves are: every ring of European 4-in-1 links four, of 6-in-1 six; in Japanese 4-in-1 each
    # large ring has four small ones round it, and each small one joins two.
    listed = {entry["name"]: entry for entry in json.loads(run("weaves", "--json").stdout)}
    assert listed["european-4-in-1"]["degrees"] == {"link": [4]}
    assert listed["european-6-in-1"]["degrees"] == {"link": [6]}
    assert listed["japanese-4-in-1"]["degrees"] == {"large": [4], "small": [2]}
    assert listed["two-in-one"]["degrees"] == {"link": [2, 4]}
    assert degrees_text(find_weave("two-in-one")) == "2 or 4"
    assert degrees_text(find_weave("japanese-4-in-1")) == "large 4, small 2"


def test_degrees_by_role_are_those_of_the_links():
    for name in weave_names():
        weave = find_weave(name)
        ends = [end for link in weave.links for end in (link.first, link.second)]
        for role, numbers in role_degrees(weave).items():
            assert set(numbers) == {ends.count(ring.name) for ring in weave.rings if ring.role == role}


def test_the_list_needs_no_solver():
    script = (
        "import sys, chaingen.cli\n"
        "try: chaingen.cli.main(['weaves'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy', 'scipy', 'numba', 'pyvista'} & set(sys.modules)), file=sys.stderr)\n"
    )
    outcome = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, encoding="utf-8", timeout=120
    )
    assert (outcome.returncode, outcome.stderr.strip()) == (0, "[]")
    assert "byzantine" in outcome.stdout


# --- one weave ------------------------------------------------------------------------------------


def test_one_weave(run):
    weave = find_weave("byzantine")
    text = run("weaves", "byzantine").stdout
    for words in (weave.title, weave.about, weave.wear, weave.make, "links 4", "4 mm inside", "18 AWG"):
        assert words in text
    assert "common practice: least 3.3, comfortable 3.5 to 4" in text
    assert re.search(r"tightest computed 3\.\d\d", text)
    assert "renders/weaves/byzantine.png" in text
    assert "--picture FILE.png" in text
    assert run("weaves", "Byzantine").stdout == text
    assert run("weaves", "byzantine", "--quiet").output == ""


def test_one_weave_with_a_hand(run):
    text = run("weaves", "half-persian-3-in-1").stdout
    weave = find_weave("half-persian-3-in-1")
    other = {"left": "right", "right": "left"}[weave.hand]
    assert f'Its hand is {weave.hand}; hand = "{other}"' in text


def test_one_weave_as_data(run):
    data = json.loads(run("weaves", "one-in-one", "--json").stdout, parse_constant=pytest.fail)
    (role,) = data["roles"]
    # A plain chain: each ring carries two wires, so that its inside is two wires at the tightest (Graham,
    # Lubachevsky, Nurmela and Ostergard 1998), and a placement meets that.
    assert role["tightest_aspect_ratio"] == pytest.approx(2.0, abs=0.005)
    assert role["degrees"] == [2]
    assert (data["form"], data["hand"], data["turning"]) == ("chain", None, False)
    assert data["picture"] == "renders/weaves/one-in-one.png"


@pytest.mark.parametrize("name", ["byzantine", "japanese-4-in-1", "captive-ring"])
def test_the_snippet_makes_a_design(run, name):
    snippet = json.loads(run("weaves", name, "--json").stdout)["design"]
    Path("piece.toml").write_text(f'title = "Groyne"\nmetal = "brass"\n{snippet}\n')
    assert load_design("piece.toml").piece.weave == find_weave(name)
    text = run("weaves", name).stdout
    assert all(line in text for line in snippet.splitlines())


def test_write_edit_and_use_a_weave(run):
    outcome = run("weaves", "byzantine", "--write", "mine.toml")
    assert 'weave = "mine.toml"' in outcome.stdout
    assert load_weave("mine.toml") == find_weave("byzantine")
    assert parse_weave(run("weaves", "byzantine", "--write", "-").stdout) == find_weave("byzantine")
    edited = Path("mine.toml").read_text().replace('name = "byzantine"', 'name = "ropewalk"')
    Path("mine.toml").write_text(edited.replace('title = "Byzantine"', 'title = "Ropewalk"'))
    text = run("weaves", "mine.toml").stdout
    assert text.startswith("Ropewalk")
    assert "renders" not in text
    assert 'weave = "mine.toml"' in text
    assert "--force" in run("weaves", "byzantine", "--write", "mine.toml", code=2).stderr
    assert load_weave("mine.toml").title == "Ropewalk"
    run("weaves", "byzantine", "--write", "mine.toml", "--force")
    assert load_weave("mine.toml").title == "Byzantine"


def test_a_picture_of_a_weave(run):
    run("weaves", "european-4-in-1", "--picture", "sheet.png")
    image = np.asarray(Image.open("sheet.png").convert("L"), dtype=float)
    assert min(image.shape) > 400
    assert image.std() > 10.0
    assert "--force" in run("weaves", "european-4-in-1", "--picture", "sheet.png", code=2).stderr
    assert files_in(".") == ["sheet.png"]


def test_where_no_picture_can_be_drawn(run, monkeypatch):
    def cannot(*_, **__):
        raise CannotDraw("pictures need EGL; install libegl1")

    monkeypatch.setattr("chaingen.show.weave_picture.draw_views", cannot)
    outcome = run("weaves", "one-in-one", "--picture", "a.png", code=2)
    assert outcome.stderr == "error: pictures need EGL; install libegl1\n"


def test_signs_in_the_lines_of_a_weave_file_are_shown_as_they_stand(run):
    Path("mine.toml").write_text('about = "[red]a chain[/] :smile:"\n' + PLAIN_WEAVE)
    assert "[red]a chain[/] :smile:" in run("weaves", "mine.toml").stdout


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["byzantin"], "did you mean byzantine?"),
        ([""], "one of the weaves"),
        (["no.toml"], "no such file"),
        (["bad.toml"], "bad.toml: links[1]"),
        (["byzantine", "--picture", "a.jpg"], ".png"),
        (["byzantine", "--write", "."], "--force"),
        (["--picture", "a.png"], "no weave"),
        (["--write", "a.toml"], "no weave"),
        (["byzantine", "box-chain"], "Usage"),
    ],
)
def test_bad_weaves(run, args, words):
    Path("bad.toml").write_text(PLAIN_WEAVE.replace('["a", "a", 1]', '["a", "b", 1]'))
    outcome = run("weaves", *args, code=2)
    assert words in outcome.stderr
    assert outcome.stdout == ""
    assert files_in(".") == ["bad.toml"]


def test_problems_as_json(run, monkeypatch):
    (problem,) = json.loads(run("weaves", "byzantin", "--json", code=2).stdout)["problems"]
    assert problem["where"] == "NAME"


def test_schemas(run):
    design, weave = (json.loads(run("schema", *options).stdout) for options in ((), ("--weave",)))
    assert "pattern" in design["required"]
    assert {"links", "roles", "rings"} <= set(weave["required"])


# --- starters -------------------------------------------------------------------------------------


def test_new_for_a_chain_of_a_weave(run):
    assert run("new", "a.toml", "--weave", "byzantine").stdout == "Wrote a.toml. Next: chaingen make a.toml\n"
    design = load_design("a.toml")
    assert isinstance(design.piece, Chain)
    assert design.length == 180.0
    run("new", "b.toml", "--weave", "Half Persian 3-in-1", "--repeat", "30", "--hand", "left", "--closed",
        "--inside", "5 mm", "--wire", "1 mm", "--metal", "copper", "--title", "Buoy line")  # fmt: skip
    other = load_design("b.toml")
    assert (other.title, other.metal.name, other.piece.repeat, other.piece.closed) == (
        "Buoy line",
        "copper",
        30,
        True,
    )
    assert other.piece.weave.hand == "left"


def test_new_for_a_sheet(run):
    run("new", "a.toml", "--weave", "japanese-4-in-1", "--columns", "4", "--rows", "3")
    piece = load_design("a.toml").piece
    assert isinstance(piece, Sheet)
    assert (piece.columns, piece.rows) == (4, 3)
    run("new", "b.toml", "--weave", "european-4-in-1", "--outline", "circle:30mm")
    assert load_design("b.toml").piece.outline.kind is OutlineKind.CIRCLE
    assert run("new", "-", "--weave", "one-in-one").stdout.startswith("# ")


def test_new_for_a_weave_file_names_it_from_where_the_design_lies(run):
    Path("weaves").mkdir()
    Path("weaves/mine.toml").write_text(weave_text(find_weave("byzantine")))
    run("new", "pieces/a.toml", "--weave", "weaves/mine.toml")
    assert 'weave = "../weaves/mine.toml"' in Path("pieces/a.toml").read_text()
    assert load_design("pieces/a.toml").piece.weave == find_weave("byzantine")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--weave", "byzantin"], "did you mean byzantine?"),
        (["--weave", "no.toml"], "no such file"),
        (["--weave", "byzantine", "--chain", "rosette"], "one of the two"),
        (["--weave", "byzantine", "--columns", "3"], "makes a chain"),
        (["--weave", "byzantine", "--hand", "left"], "this weave has none"),
        (["--weave", "byzantine", "--hand", "up"], "Usage"),
        (["--weave", "european-4-in-1", "--outline", "circle:0 mm"], "pattern.outline.circle"),
        (["--weave", "european-4-in-1", "--outline", "star"], "circle:30 mm"),
        (["--weave", "european-4-in-1", "--rows", "0"], "pattern.rows"),
        (["--chain", "rosette", "--rows", "3"], "--weave beside it"),
        (["--chain", "rosette", "--hand", "left"], "--weave beside it"),
    ],
)
def test_new_with_bad_options(run, options, words):
    outcome = run("new", "a.toml", *options, code=2)
    assert words in outcome.stderr
    assert files_in(".") == []


def test_new_asks_for_a_chain_or_a_weave(run):
    class Terminal(io.BytesIO):
        def isatty(self):
            return True

    outcome = run("new", stdin=Terminal(b"no such\nbyzantine\n"))
    names = re.findall(r"^([a-z0-9-]+): ", outcome.stdout, re.MULTILINE)
    assert names[0] == "one-in-one"
    assert names.index("rosette") < names.index("byzantine")
    assert len(names) == len(set(names))
    assert load_design("design.toml").piece.weave.name == "byzantine"
    assert "--weave" in run("new", "b.toml", code=2).stderr


# --- all pieces -----------------------------------------------------------------------------------


@pytest.mark.parametrize("text", [CHAIN, SHEET, TURNING], ids=["chain", "sheet", "turning"])
def test_check_and_sizes(run, text):
    Path("piece.toml").write_text(text)
    assert "It fits" in run("check", "piece.toml").stdout
    overview = json.loads(
        run("sizes", "piece.toml", "--insides", "3 mm, 6 mm", "--wires", "18 AWG", "--json").stdout
    )
    assert overview["ring"] == "link"
    verdicts = {entry["inside_diameter_mm"]: entry["verdict"] for entry in overview["sizes"]}
    assert verdicts[6.0] != "does not fit"


def test_sizes_of_roles_by_the_name_of_their_ring_size(run):
    text = JAPANESE.replace('"4 mm"', '"6 mm"') + "columns = 3\nrows = 3\n"
    Path("piece.toml").write_text(text)
    options = ("--insides", "3.5 mm", "--wires", "20 AWG", "--json")
    overview = json.loads(run("sizes", "piece.toml", "--ring", "small", *options).stdout)
    assert set(overview["tightest_aspect_ratios"]) == {"link", "small"}
    assert overview["sizes"][0]["verdict"] != "does not fit"
    assert "link, small" in run("sizes", "piece.toml", *options, code=2).stderr


@pytest.mark.slow
def test_make_of_sections(run):
    Path("piece.toml").write_text(SECTIONS)
    run("make", "piece.toml", "--out", "o", "--no-pictures")
    report = json.loads(Path("o/report.json").read_text())
    # Three single rings, then two cells of Byzantine and the rings that finish it.
    weave = find_weave("byzantine")
    assert report["ring_count"] == 3 + 2 * len(weave.rings) + len(weave.finish)
    assert report["links_as_designed"]


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        (SHEET, ["--scene", "wrist"], "'hang', 'table', 'corners' or 'edge'"),
        (CHAIN, ["--scene", "corners"], "a chain has no corners"),
        (CHAIN, ["--scene", "edge"], "a chain has no corners"),
        (SECTIONS, ["--scene", "neck"], "worn closed"),
        (SHEET, ["--supple"], "a sheet"),
        (SECTIONS, ["--supple"], "sections"),
        (TURNING, ["--supple"], "cells turn"),
    ],
)
def test_scenes_and_suppleness_that_do_not_go_with_a_piece(run, text, options, words):
    Path("piece.toml").write_text(text)
    outcome = run("make", "piece.toml", *options, "--no-pictures", code=2)
    assert words in outcome.stderr
    assert files_in(".") == ["piece.toml"]


def test_every_weave_says_how_it_repeats(run):
    listed = json.loads(run("weaves", "--json").stdout)
    forms = {entry["name"]: entry["form"] for entry in listed}
    assert forms["byzantine"] == Repeats.CHAIN.value
    assert forms["european-4-in-1"] == Repeats.SHEET.value
