"""The command line: exit codes, messages, and that bad input writes nothing and shows no traceback."""

import dataclasses
import errno
import io
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from chaingen.cli import app, main
from chaingen.cli.app import progress
from chaingen.cli.new import CHAINS, PIECES
from chaingen.design.cautions import Caution, cautions
from chaingen.design.load import load_design, parse_design
from chaingen.design.piece_starter import starter_piece
from chaingen.design.starter import starter_design
from chaingen.errors import CannotDraw
from chaingen.findings.catalogue import KINDS
from chaingen.findings.pins import ear_post
from chaingen.pipeline import build
from chaingen.show.finding_snippet import design_of
from chaingen.show.finding_words import making_words, outer_size, usual
from chaingen.show.words import headline, verdict_lines
from chaingen.solve.placement import Answer
from tests.test_design import GOOD, GROUPS

ROOT = Path(__file__).parent.parent
FITS = starter_design("two-in-one", title="Quay sample", repeat=3)
CANNOT_FIT = starter_design("two-in-two", inside="2 mm", repeat=3)
SHEET = ["sheet.csv", "sheet.html", "sheet.pdf"]
MODELS = [f"models/piece.{ending}" for ending in ("3mf", "glb", "mtl", "obj", "step", "stl")]
OUTPUTS = [*MODELS, "placement.json", "report.json", *SHEET]


@pytest.fixture
def design(tmp_path):
    path = tmp_path / "quay.toml"
    path.write_text(FITS)
    return path


@pytest.fixture(scope="module")
def results():
    """Built once: a piece that fits, one that cannot, and that one as if the search had not ended."""
    fits, cannot = build(parse_design(FITS)), build(parse_design(CANNOT_FIT))
    open_ended = dataclasses.replace(cannot.placement, answer=Answer.NOT_CONVERGED, proof=None)
    return {0: fits, 1: cannot, 3: dataclasses.replace(cannot, placement=open_ended, nearest=())}


@pytest.fixture
def built(monkeypatch, results):
    """Makes the commands answer with one of `results` without solving."""

    def choose(code):
        monkeypatch.setattr("chaingen.pipeline.build", lambda *_, **__: results[code])

    return choose


def files_in(folder):
    return sorted(path.relative_to(folder).as_posix() for path in Path(folder).rglob("*") if path.is_file())


# --- what it is -----------------------------------------------------------------------------------


def test_help_names_commands_and_exit_codes(run):
    shown = run("--help").stdout
    listed = re.findall(r"^  (\w+) ", shown.partition("\nCommands:\n")[2], re.MULTILINE)
    assert listed == [
        "new", "weaves", "findings", "check", "make", "sizes", "mandrel", "owned",
        "settings", "page", "view", "schema",
    ]  # fmt: skip
    text = " ".join(shown.split())
    assert (
        "0 it fits, 1 it does not fit or no fit was found, 2 bad input, 3 the search did not converge" in text
    )
    for name in main.commands:
        assert run(name, "--help").stdout.startswith("Usage:")


def test_the_readme_documents_exit_codes():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for answer, code in (("fits", 0), ("cannot fit", 1), ("no fit found", 1), ("did not converge", 3)):
        assert re.search(rf"\| {answer} \|.*\| {code} \|", text)
    assert "exit code 2" in text


def python(*args, **options):
    return subprocess.run(
        [sys.executable, *args], cwd=ROOT, capture_output=True, encoding="utf-8", timeout=120, **options
    )


def test_help_loads_click_alone():
    script = (
        "import sys, chaingen.cli\n"
        "try: chaingen.cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'numba', 'networkx', 'pydantic', 'pyvista', 'rich', 'PIL'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    outcome = python("-c", script)
    assert outcome.returncode == 0
    assert outcome.stderr.strip() == "[]"
    assert outcome.stdout.startswith("Usage:")


@pytest.mark.parametrize("args", [[], ["mak"], ["make"], ["check", "--tight"], ["new", "--chain", "hexagon"]])
def test_wrong_usage(run, args):
    outcome = run(*args, code=2)
    assert "Usage:" in outcome.stderr
    assert files_in(".") == []


# --- make and check -------------------------------------------------------------------------------


def test_make_from_a_shell(tmp_path):
    """Once as a user runs it, in a process of its own."""
    (tmp_path / "quay.toml").write_text(FITS)
    out = tmp_path / "made"
    outcome = python(
        "-m", "chaingen.cli", "make", str(tmp_path / "quay.toml"), "--out", str(out), "--no-pictures"
    )
    assert (outcome.returncode, outcome.stderr) == (0, "")
    lines = outcome.stdout.splitlines()
    assert lines[0] == "Quay sample"
    assert re.match(r"It fits, comfortably: 0\.\d+ mm between the closest wires\.", lines[1])
    assert lines[-1].startswith(f"Written to {out}: ")
    assert files_in(out) == OUTPUTS
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert sorted(report["files"]) == OUTPUTS
    assert (report["title"], report["fits"], report["ring_count"]) == ("Quay sample", True, 8)


def test_out_is_named_after_the_design(run, design, built):
    built(0)
    run("make", design, "--no-pictures")
    assert files_in("out/quay") == OUTPUTS


def test_make_a_piece_that_does_not_fit(run, built, design):
    built(1)
    outcome = run("make", design, "--out", "o", "--no-pictures", code=1)
    assert "cannot fit, and that is proven" in outcome.stdout
    assert "Nearest inside diameters that fit" in outcome.stdout
    assert "No models were written" in outcome.stdout
    assert files_in("o") == ["placement.json", "report.json", *SHEET]
    report = json.loads(Path("o/report.json").read_text())
    assert (report["fits"], report["answer"]) == (False, Answer.CANNOT_FIT.value)
    assert report["collision_count"] > 0
    outcome = run("make", design, "--out", "o", "--no-pictures", "--models-anyway", code=1)
    assert files_in("o") == OUTPUTS
    assert "No models" not in outcome.stdout


def test_make_a_piece_whose_search_does_not_end(run, built, design):
    built(3)
    outcome = run("make", design, "--out", "o", "--no-pictures", code=3)
    assert "nothing is known for sure" in outcome.stdout
    assert "proven" not in outcome.stdout
    assert files_in("o") == ["placement.json", "report.json", *SHEET]


@pytest.mark.parametrize("code", [0, 1, 3])
def test_check_writes_nothing(run, built, design, code):
    built(code)
    outcome = run("check", design, code=code)
    assert outcome.stdout
    assert outcome.stderr == ""
    assert files_in(".") == ["quay.toml"]


@pytest.mark.parametrize("code", [0, 1, 3])
@pytest.mark.parametrize("command", ["make", "check"])
def test_json_is_the_report(run, built, design, command, code):
    built(code)
    options = ("--out", "o", "--no-pictures") if command == "make" else ()
    outcome = run(command, design, *options, "--json", code=code)
    assert outcome.stderr == ""
    report = json.loads(outcome.stdout, parse_constant=pytest.fail)
    assert report["fits"] is (code == 0)
    for key in (
        "verdict", "smallest_gap_mm", "binding_pair", "links_as_designed", "missing_links", "unwanted_links",
        "ring_count", "rings_by_size", "finished_length_mm", "length_as_placed_mm", "files", "version",
    ):  # fmt: skip
        assert key in report
    if command == "make":
        assert report == json.loads(Path("o/report.json").read_text(encoding="utf-8"))
        assert all((Path("o") / name).is_file() for name in report["files"])


@pytest.mark.parametrize("code", [0, 1, 3])
@pytest.mark.parametrize("command", ["make", "check"])
def test_quiet(run, built, design, command, code):
    built(code)
    options = ("--out", "o", "--no-pictures") if command == "make" else ()
    outcome = run(command, design, *options, "--quiet", code=code)
    assert outcome.output == ""


def test_mesh_tolerance(run, built, design):
    built(0)
    for name, tolerance in (("coarse", "0.1 mm"), ("fine", "0.002 in")):
        run("make", design, "--out", name, "--no-pictures", "--mesh-tolerance", tolerance, "--quiet")
    sizes = [(Path(name) / "models" / "piece.stl").stat().st_size for name in ("coarse", "fine")]
    # Half the tolerance, twice the facets: their number goes with one over it. 0.002 in is 0.0508 mm.
    assert sizes[1] / sizes[0] == pytest.approx(0.1 / 0.0508, rel=0.15)


def test_an_output_folder_is_replaced_file_by_file(run, built, design):
    built(0)
    for name in ("models/mine.stl", "pictures/front.png", "notes.txt"):
        (Path("o") / name).parent.mkdir(parents=True, exist_ok=True)
        (Path("o") / name).write_text("stays")
    Path("o/report.json").write_text("old")
    run("make", design, "--out", "o", "--no-pictures")
    for name in ("models/mine.stl", "pictures/front.png", "notes.txt"):
        assert (Path("o") / name).read_text() == "stays"
    assert json.loads(Path("o/report.json").read_text())["fits"]


def test_where_nothing_can_be_drawn_the_rest_is_made(run, built, design, monkeypatch):
    def cannot(*_, **__):
        raise CannotDraw("pictures need EGL; install libegl1")

    built(0)
    monkeypatch.setattr("chaingen.show.export.draw_pictures", cannot)
    outcome = run("make", design, "--out", "o")
    assert outcome.stderr == "no pictures: pictures need EGL; install libegl1\n"
    assert files_in("o") == OUTPUTS
    assert (
        json.loads(Path("o/report.json").read_text())["pictures_not_drawn"]
        == "pictures need EGL; install libegl1"
    )


def test_pictures_show_the_collisions(run, built, design, monkeypatch, results):
    asked = {}

    def note(folder, rings, **options):
        asked.update(options, folder=folder, count=len(rings))
        return [folder / "front.png"]

    built(1)
    monkeypatch.setattr("chaingen.show.export.draw_pictures", note)
    outcome = run("make", design, "--out", "o", "--json", "--no-sheet", code=1)
    assert (asked["folder"].name, asked["count"]) == ("pictures", 6)
    assert asked["collided"].tolist() == results[1].collided.tolist() != []
    assert asked["focus"] == pytest.approx(results[1].check.binding_place)
    assert "pictures/front.png" in json.loads(outcome.stdout)["files"]


# --- bad input ------------------------------------------------------------------------------------


def changed(old, new):
    assert GOOD.count(old) == 1
    return GOOD.replace(old, new)


BAD_DESIGNS = {
    "broken TOML": ("title = \nmetal = 3", "line 1, column 9"),
    "unknown key": (changed("tolerance", "tolerence"), "did you mean tolerance?"),
    "zero size": (changed('"4 mm"', '"0 mm"'), "rings.link.inside"),
    "negative size": (changed('"4 mm"', '"-4 mm"'), "rings.link.inside"),
    "absurd size": (changed('"4 mm"', '"4 m"'), "0.2 mm to 500 mm"),
    "no number": (changed('"4 mm"', '"nan mm"'), "rings.link.inside"),
    "bare nan": (changed('"4 mm"', "nan"), "rings.link.inside"),
    "bare inf": (changed('"4 mm"', "inf"), "rings.link.inside"),
    "no unit": (changed('"4 mm"', '"4"'), "with its unit"),
    "gauge out of table": (changed('"18 AWG"', '"77 AWG"'), "AWG from 4/0 to 40"),
    "bare gauge": (changed('"18 AWG"', '"18 gauge"'), '"18 AWG" (1.024 mm) or "18 SWG" (1.219 mm)'),
    "wire thicker than the ring": (changed('"18 AWG"', '"4.5 mm"'), "not even one such wire passes"),
    "empty pattern": (changed(GROUPS, "[]"), "pattern.groups"),
    "joins only": (changed(GROUPS, "[{ join = 1 }]"), "joins only"),
    "repeat 0": (changed("repeat = 12", "repeat = 0"), "pattern.repeat"),
    "repeat 10 million": (changed("repeat = 12", "repeat = 10_000_000"), "pattern.repeat"),
    "too many rings": (changed("repeat = 12", "repeat = 150_000"), "450,000 rings"),
    "length shorter than a group": (changed("repeat = 12", 'length = "5 mm"'), "at least one group"),
    "length without a number": (changed("repeat = 12", 'length = "inf mm"'), "pattern.length"),
    "unknown metal": (changed('"sterling silver"', '"sterlin silver"'), "did you mean sterling silver?"),
    "unknown ring": (GOOD.replace('ring = "link"', 'ring = "lnk"'), "did you mean link?"),
    "rosette of 1": (changed(GROUPS, "[{ rosette = 1 }]"), "2 to 12"),
    "rosette of 13": (changed(GROUPS, "[{ rosette = 13 }]"), "2 to 12"),
    "nothing": ("", "title"),
    "not UTF-8": (GOOD.replace("Harbour", "Méduse").encode("latin-1"), "UTF-8"),
}


@pytest.mark.parametrize("command", ["make", "check", "sizes", "view"])
@pytest.mark.parametrize("case", BAD_DESIGNS)
def test_bad_design(run, command, case):
    text, words = BAD_DESIGNS[case]
    Path("bad.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    outcome = run(command, "bad.toml", *(("--out", "o") if command == "make" else ()), code=2)
    assert outcome.stdout == ""
    assert all(line.startswith("error: ") for line in outcome.stderr.splitlines())
    assert words in outcome.stderr
    assert files_in(".") == ["bad.toml"]
    assert not Path("o").exists()


@pytest.mark.parametrize("command", ["make", "check", "sizes", "view"])
def test_missing_file_and_folder(run, command):
    outcome = run(command, "harbour.toml", code=2)
    assert "harbour.toml: got no such file" in outcome.stderr
    Path("folder.toml").mkdir()
    assert "got a folder" in run(command, "folder.toml", code=2).stderr
    assert files_in(".") == []


def test_a_length_that_takes_too_many_rings(run):
    Path("long.toml").write_text(
        starter_design("one-in-one", inside="0.3 mm", wire="0.1 mm", length="99 m").replace(
            '"0.05 mm"', '"0.01 mm"'
        )
    )
    outcome = run("make", "long.toml", "--out", "o", code=2)
    assert "pattern.length" in outcome.stderr
    assert "at most 200,000 rings" in outcome.stderr
    assert not Path("o").exists()


def test_all_problems_at_once(run):
    Path("bad.toml").write_text(
        changed('"4 mm"', '"0 mm"').replace("18 AWG", "18 gauge").replace("= 12", "= 0")
    )
    lines = run("make", "bad.toml", code=2).stderr.splitlines()
    assert [line.split(": ")[1] for line in lines] == [
        "rings.link.inside",
        "rings.link.wire",
        "pattern.repeat",
    ]


@pytest.mark.parametrize("command", ["make", "check", "sizes"])
def test_problems_as_json(run, monkeypatch, command):
    Path("bad.toml").write_text(changed('"18 AWG"', '"18 gauge"'))
    monkeypatch.setattr(sys, "argv", ["chaingen", command, "bad.toml", "--json"])
    outcome = run(command, "bad.toml", "--json", code=2)
    (problem,) = json.loads(outcome.stdout)["problems"]
    assert set(problem) == {"where", "got", "expected", "advice"}
    assert problem["where"] == "rings.link.wire"
    assert problem["got"] == "'18 gauge'"
    assert "1.219 mm" in problem["expected"]
    assert "rings.link.wire" in outcome.stderr


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("5", "with its unit"),
        ("0 mm", "0.0001 mm to 1 mm"),
        ("-1 mm", "0.0001 mm"),
        ("nan mm", "unit"),
        ("2 mm", "1 mm"),
    ],
)
def test_bad_mesh_tolerance(run, design, text, words):
    outcome = run("make", design, "--out", "o", f"--mesh-tolerance={text}", code=2)
    assert "--mesh-tolerance" in outcome.stderr
    assert words in outcome.stderr
    assert not Path("o").exists()


@pytest.mark.parametrize(
    "options",
    [
        ("--insides", "3 mm, 4"),
        ("--insides", "0 mm"),
        ("--insides", "3 mm,"),
        ("--insides=-3 mm",),
        ("--insides", "4 m"),
        ("--wires", "18"),
        ("--wires", "18 AWG, 99 AWG"),
        ("--wires", "1 mm,"),
        ("--wires", "0 mm"),
        ("--wires=-1 mm",),
        ("--wires", "100 m"),
        ("--ring", "large"),
    ],
)
def test_bad_sizes(run, design, options):
    short = () if options[0].startswith("--insides") else ("--insides", "4 mm")
    outcome = run("sizes", design, *short, *options, code=2)
    assert outcome.stdout == ""
    assert outcome.stderr.startswith(f"error: {options[0].split('=')[0]}: ")


# --- where nothing can be written -----------------------------------------------------------------


def full(*_, **__):
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def denied(*_, **__):
    raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))


@pytest.mark.parametrize(
    ("place", "fault", "words"),
    [
        ("os.fsync", full, "No space left on device"),
        ("os.replace", full, "No space left on device"),
        ("chaingen.files.tempfile.mkstemp", denied, "Permission denied"),
        ("pathlib.Path.mkdir", denied, "Permission denied"),
    ],
)
@pytest.mark.parametrize("command", ["make", "new"])
def test_a_folder_that_takes_nothing(run, built, design, monkeypatch, command, place, fault, words):
    built(0)
    monkeypatch.setattr(place, fault)
    args = (
        (design, "--out", "o", "--no-pictures") if command == "make" else ("o/new.toml", "--chain", "rosette")
    )
    outcome = run(command, *args, code=2)
    monkeypatch.undo()
    assert outcome.stdout == ""
    assert outcome.stderr.startswith("error: cannot write ")
    assert words in outcome.stderr
    assert files_in(design.parent) == ["quay.toml"]


@pytest.mark.parametrize("out", ["taken", "taken/below"])
def test_an_output_path_that_is_a_file(run, built, design, out):
    built(0)
    Path("taken").write_text("stays")
    outcome = run("make", design, "--out", out, "--no-pictures", code=2)
    assert outcome.stderr.startswith("error: cannot write ")
    assert Path("taken").read_text() == "stays"
    assert files_in(".") == ["quay.toml", "taken"]


def test_a_fault_of_the_program_is_told_without_a_traceback(run, design, monkeypatch):
    def broken(*_, **__):
        raise ZeroDivisionError("float division by zero")

    monkeypatch.setattr("chaingen.pipeline.build", broken)
    monkeypatch.delenv("CHAINGEN_DEBUG", raising=False)
    outcome = run("make", design, "--out", "o", code=app.BROKEN)
    assert "a fault in chaingen itself (ZeroDivisionError: float division by zero)" in outcome.stderr
    assert "CHAINGEN_DEBUG=1" in outcome.stderr
    assert not Path("o").exists()
    monkeypatch.setenv("CHAINGEN_DEBUG", "1")
    assert isinstance(CliRunner().invoke(main, ["check", str(design)]).exception, ZeroDivisionError)


@pytest.mark.parametrize(
    ("error", "code", "words"), [(MemoryError(), 70, "memory ran out"), (KeyboardInterrupt(), 130, "stopped")]
)
def test_running_out_and_stopping(run, design, monkeypatch, error, code, words):
    def broken(*_, **__):
        raise error

    monkeypatch.setattr("chaingen.pipeline.build", broken)
    monkeypatch.delenv("CHAINGEN_DEBUG", raising=False)
    assert words in run("make", design, code=code).stderr


def test_a_reader_who_leaves_sees_no_traceback(tmp_path):
    with subprocess.Popen(
        [sys.executable, "-m", "chaingen.cli", "schema"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    ) as process:
        process.stdout.close()
        assert process.stderr.read() == ""
    assert process.returncode == 0


@pytest.mark.parametrize("options", [(), ("--json",)])
def test_a_terminal_that_lacks_the_letters(tmp_path, options):
    """A title beyond the terminal's code page is no reason to fail, whatever stands for its letters."""
    path = tmp_path / "tide.toml"
    path.write_text(FITS.replace("Quay sample", "潮の鎖"), encoding="utf-8")
    outcome = python(
        "-m", "chaingen.cli", "check", str(path), *options, env={**os.environ, "PYTHONIOENCODING": "cp1252"}
    )
    assert outcome.stderr == ""
    assert outcome.returncode == 0


# --- sizes, schema, new, view ---------------------------------------------------------------------


def test_sizes(run, design):
    options = ("--insides", "2 mm, 4 mm", "--wires", "18 AWG, 1.2 mm")
    outcome = run("sizes", design, *options)
    # Tightest for alternating two and one: 1 + sqrt 2, where four wires fill the single ring (Graham,
    # Lubachevsky, Nurmela and Ostergard 1998).
    assert "link 2.41" in outcome.stdout
    for words in (
        "2 mm",
        "4 mm",
        "1.024 mm",
        "18 AWG",
        "1.2 mm",
        "does not fit",
        "comfortable",
        "common practice",
    ):
        assert words in outcome.stdout
    overview = json.loads(run("sizes", design, *options, "--json").stdout, parse_constant=pytest.fail)
    assert overview["tightest_aspect_ratios"]["link"] == pytest.approx(1.0 + 2.0**0.5, rel=0.01)
    fits = {
        (entry["inside_diameter_mm"], round(entry["wire_diameter_mm"], 3)): entry["verdict"] != "does not fit"
        for entry in overview["sizes"]
    }
    assert fits == {(2.0, 1.024): False, (2.0, 1.2): False, (4.0, 1.024): True, (4.0, 1.2): True}
    assert run("sizes", design, *options, "--quiet").output == ""


def in_terminal(monkeypatch, columns):
    monkeypatch.setattr("chaingen.cli.app.terminal_width", lambda: columns)


SIZES = ["inside", *(f"{k}.25 mm\n{k} AWG" for k in range(1, 8))]
GAPS = [[f"{row} mm", *(f"-0.{row}{k} does not fit" for k in range(1, 8))] for row in range(1, 4)]


@pytest.mark.parametrize(("columns", "tables"), [(80, 3), (64, 4), (31, 7), (12, 7), (200, 1), (None, 1)])
def test_a_table_that_is_too_wide_is_told_in_several(monkeypatch, capsys, columns, tables):
    """Worked by hand: the first column takes 9 letters, every other 21, and the left line one more."""
    in_terminal(monkeypatch, columns)
    app.print_table("Gaps", SIZES, GAPS, narrow=len(SIZES))
    text = capsys.readouterr().out
    assert text.count("inside") == tables
    assert text.count("Gaps") == 1
    for row in GAPS:
        assert text.count(row[0]) >= tables
        assert all(text.count(field) == 1 for field in row[1:])
    assert "…" not in text
    if columns and columns >= 31:
        assert max(map(len, text.splitlines())) <= columns


def test_a_terminal_knows_its_width(monkeypatch):
    assert app.terminal_width() is None  # pytest takes the output
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "83")
    assert app.terminal_width() == 83


def starts_in_words(result, gaps, sound, agreed, answer):
    search = result.placement.searches[0]
    search = dataclasses.replace(search, gaps=gaps, sound=sound, agreed=agreed)
    placement = dataclasses.replace(result.placement, answer=answer, searches=(search,), proof=None)
    return headline(dataclasses.replace(result, placement=placement))


@pytest.mark.parametrize(
    ("answer", "sound", "one", "three"),
    [
        (Answer.NO_FIT_FOUND, 1, "found in one start.", "found in 3 starts (1 of them came to the links"),
        (Answer.NO_FIT_FOUND, 0, "in one start the links did not come", "in none of 3 starts did the links"),
        (Answer.NOT_CONVERGED, 1, "an end in one start, so", "an end in 3 starts, so"),
    ],
)
def test_starts_are_counted_in_words(results, answer, sound, one, three):
    assert one in starts_in_words(results[1], (-0.1,), sound, 1, answer)
    assert three in starts_in_words(results[1], (-0.1, -0.2, -0.3), sound, 1, answer)


def said(result, **changes):
    return verdict_lines(dataclasses.replace(result, **changes))


def test_one_is_told_as_one(results):
    """Numbers of one and of several, each with its noun."""
    fits, cannot = results[0], results[1]
    proof = dataclasses.replace(cannot.placement.proof, wires=1)
    alone = dataclasses.replace(cannot.placement, proof=proof)
    assert "proven: 1 wire must pass" in said(cannot, placement=alone)[0]
    assert " wires must pass" in said(cannot)[0]
    for wires, words in ((1, "1 wire "), (3, "3 wires ")):
        thread = dataclasses.replace(fits.threading, wires=wires, margin=-0.1)
        assert f"for {words}while one ring is open" in "\n".join(said(fits, threading=thread))
    (collision, *_) = cannot.check.collisions
    for count, words in ((6, "and 1 more pair too near,"), (1300, "and 1,295 more pairs too near,")):
        check = dataclasses.replace(cannot.check, collisions=(collision,) * count)
        assert any(words in line for line in said(cannot, check=check))
    for gap, words in ((0.1, "too near"), (-0.1, "collision")):
        check = dataclasses.replace(cannot.check, collisions=(dataclasses.replace(collision, gap=gap),))
        assert any(line.startswith(f"  {words}: ") for line in said(cannot, check=check))
    once = parse_design(FITS.replace("repeat = 3", "repeat = 1"))
    assert "with the groups made once." in "\n".join(said(fits, design=once))
    assert "with the groups made 3 times." in "\n".join(said(fits))
    assert "were made once." in "\n".join(said(cannot, design=once, asked_length=180.0))


@pytest.mark.parametrize(
    ("slack", "told"), [(-0.0004, "0.00"), (0.0, "0.00"), (-0.02, "-0.02"), (0.2, "0.20")]
)
def test_nothing_to_spare_has_no_sign(results, slack, told):
    assert said(results[0], slack=slack)[1].endswith(f"to spare: {told} of the wire.")


def test_what_comes_apart_is_told_with_the_verdict(results):
    loose = Caution(
        "slips out", "pin", "loop", 1.4, 1.0, "The eye 'loop' of head pin 'pin' is open by 1.4 mm."
    )
    apart = Caution("does not close", "end", "end", 1.0, 2.0, "S-hook 'end' opens 1 mm: it does not close.")
    hook = Caution("open hook", "drop", "hook", 1.5, None, "Ear wire 'drop' is open.")
    lines = said(results[0], cautions=(hook, loose, apart))
    assert lines[0].startswith("It fits")
    assert lines[1:3] == [
        "But: the eye 'loop' of head pin 'pin' is open by 1.4 mm.",
        "But: S-hook 'end' opens 1 mm: it does not close.",
    ]
    assert lines.index(hook.text) > 3
    assert not any(caution.text in lines for caution in (loose, apart))
    assert said(results[1], cautions=(apart,))[1].startswith("Also: S-hook 'end'")


def test_a_clasp_that_does_not_close_is_told_at_once(run):
    stout = starter_piece("linked-bracelet", repeat=1).replace(
        'wire = "1 mm"\ninside = "5 mm"', 'wire = "2.2 mm"\ninside = "5 mm"'
    )
    Path("a.toml").write_text(stout)
    title, verdict, but, *_ = run("check", "a.toml").stdout.splitlines()
    assert title == "Linked bracelet"
    assert verdict.startswith("It fits")
    assert but.startswith("But: lobster clasp 'clasp' opens 2 mm")


def test_schema_is_valid_json_schema_in_shape(run):
    schema = json.loads(run("schema").stdout)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["type"] == "object"
    assert {"title", "metal", "rings", "pattern"} == set(schema["required"])
    known = {"object", "array", "string", "integer", "number", "boolean", "null"}

    def walk(node):
        if isinstance(node, list):
            for part in node:
                walk(part)
        if isinstance(node, dict):
            if isinstance(node.get("type"), str):
                assert node["type"] in known
            if "$ref" in node:
                target = schema
                for part in node["$ref"].removeprefix("#/").split("/"):
                    target = target[part]
            if isinstance(node.get("properties"), dict):
                assert set(node.get("required", ())) <= set(node["properties"])
            for part in node.values():
                walk(part)

    walk(schema)


@pytest.mark.parametrize("chain", CHAINS)
def test_new_for_every_chain(run, chain):
    outcome = run("new", "a.toml", "--chain", chain)
    assert outcome.stdout == "Wrote a.toml. Next: chaingen make a.toml\n"
    assert Path("a.toml").read_text() == starter_design(chain)
    assert load_design("a.toml").metal.name == "sterling silver"
    assert run("new", "-", "--chain", chain).stdout == starter_design(chain)
    assert run("new", "b.toml", "--chain", chain, "--quiet").output == ""
    assert files_in(".") == ["a.toml", "b.toml"]


def test_new_with_every_option(run):
    run(
        "new", "--chain", "rosette-chain", "--inside", "1/4 in", "--wire", "16 AWG", "--metal", "copper",
        "--title", "Buoy line", "--repeat", "4", "--rosette", "5", "--clearance", "0.1 mm", "--closed",
    )  # fmt: skip
    design = load_design("design.toml")
    assert (design.title, design.metal.name, design.clearance, design.piece.closed) == (
        "Buoy line",
        "copper",
        0.1,
        True,
    )
    assert (design.piece.repeat, design.piece.cell[0].count) == (4, 5)
    assert design.ring_sizes[0].inside_diameter == 6.35
    run("new", "--chain", "two-in-one", "--length", "7 1/4 in", "--force")
    assert load_design("design.toml").length == pytest.approx(184.15)


def test_new_replaces_nothing_unasked(run):
    Path("a.toml").write_text("mine")
    assert "--force" in run("new", "a.toml", "--chain", "rosette", code=2).stderr
    assert Path("a.toml").read_text() == "mine"
    run("new", "a.toml", "--chain", "rosette", "--force")
    assert load_design("a.toml").title == "A rosette piece"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--inside", "4"), "rings.link.inside"),
        (("--wire", "18 gauge"), "rings.link.wire"),
        (("--metal", "tin foil"), "metal"),
        (("--repeat", "0"), "pattern.repeat"),
        (("--repeat", "3", "--length", "18 cm"), "one of the two"),
        (("--length", "1 mm"), "pattern.length"),
        (("--rosette", "13"), "2 to 12"),
        (("--title", "two\nlines"), "one line"),
        (("--repeat", "many"), "not a valid integer"),
    ],
)
def test_new_with_bad_options(run, options, words):
    outcome = run("new", "a.toml", "--chain", "rosette-chain", *options, code=2)
    assert words in outcome.stderr
    assert files_in(".") == []


def test_new_without_a_chain_asks_only_people(run):
    assert "--chain" in run("new", code=2, stdin="two-in-one\n").stderr
    assert files_in(".") == []

    class Terminal(io.BytesIO):
        def isatty(self):
            return True

    outcome = run("new", stdin=Terminal(b"cable\nthree-in-three\n"))
    assert "threes of rings" in outcome.stdout
    assert load_design("design.toml").title == "A three-in-three piece"


def test_help_says_what_sizes_go_with(run):
    text = " ".join(run("new", "--help").stdout.split())
    for option in ("--inside", "--wire"):
        assert re.search(rf"{option} TEXT [^;.]*; with --chain and --weave\.", text)


@pytest.mark.parametrize("piece", PIECES)
def test_new_piece(run, piece):
    run("new", "--piece", piece, "--title", "Low water", "--metal", "brass")
    design = load_design("design.toml")
    assert (design.title, design.metal.name, design.pair) == (
        "Low water",
        "brass",
        piece == "graduated-earrings",
    )
    assert design.ends.start
    assert design.ends.end


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--piece", "linked-bracelet", "--chain", "rosette"), "one of the two"),
        (("--piece", "linked-bracelet", "--chain", "rosette", "--weave", "byzantine"), "one of the three"),
        (("--piece", "linked-bracelet", "--inside", "4 mm"), "change it in the file"),
        (("--piece", "linked-bracelet", "--closed"), "--closed"),
        (("--piece", "graduated-earrings", "--length", "5 cm"), "length of graduated-earrings"),
        (("--piece", "tiara"), "linked-bracelet"),
    ],
)
def test_new_piece_with_bad_options(run, options, words):
    assert words in run("new", "a.toml", *options, code=2).stderr
    assert files_in(".") == []


# --- findings -------------------------------------------------------------------------------------


def test_findings_are_listed(run):
    from chaingen.findings.catalogue import KINDS

    listed = json.loads(run("findings", "--json").stdout)
    assert [entry["kind"] for entry in listed] == list(KINDS)
    text = " ".join(run("findings").stdout.split())
    for kind in KINDS:
        assert kind in text
    assert run("findings", "--quiet").output == ""


def test_a_kind_of_finding_is_shown_with_all_its_keys(run):
    from chaingen.design.finding_schema import TABLES

    for kind, table in TABLES.items():
        told = json.loads(run("findings", kind, "--json").stdout)
        keys = [entry["key"] for entry in told["keys"]]
        assert [key for key in keys if "." not in key] == [key for key in table.model_fields if key != "kind"]
        assert all(entry["about"] for entry in told["keys"])
        text = run("findings", kind).stdout
        for key in keys:
            assert key in text
    assert run("findings", "Ear  Wire", "--quiet").output == ""
    assert "an open hook whose opening is 1.5 mm" in run("findings", "hook").stdout
    assert "inside, bar" not in run("findings", "toggle bar").stdout
    assert "closed by the coil" in run("findings", "wrapped link").stdout


def test_keys_of_beads_are_shown(run):
    keys = [entry["key"] for entry in json.loads(run("findings", "head pin", "--json").stdout)["keys"]]
    assert {"beads", "beads.diameter", "beads.colour"} <= set(keys)


HEAD = 'title = "Groyne"\nmetal = "brass"\n'


@pytest.mark.parametrize("kind", KINDS)
def test_the_snippet_of_a_kind_is_a_design(run, kind):
    """What is shown, with a title and a metal, can be used as it stands."""
    text = run("findings", kind).stdout
    snippet = text.partition("In a design:\n")[2]
    Path("a.toml").write_text(HEAD + snippet)
    design = load_design("a.toml")
    assert kind in [finding.kind for finding in design.findings]
    assert not [one for one in cautions(design) if one.kind in ("slips out", "does not close")]
    among = [group.size for group in getattr(design.piece, "cell", ())]
    assert (kind in [getattr(size, "kind", "") for size in among]) == (not design.ends)
    if kind == "end bar":
        assert "strands = 3" in snippet.partition("[pattern]")[2]
        assert design.piece.parts[0].count == len(design.findings[0].inner)
    elif design.ends:
        assert "joins = [{ join = 1" in snippet


@pytest.mark.parametrize("kind", ["wire path", "end bar", "hook"])
def test_the_snippet_of_a_kind_fits(kind):
    assert build(parse_design(HEAD + design_of(kind))).fits


def test_what_is_cut_is_told_by_its_parts(run):
    """The same words in the list of kinds and in the verdict; the length of a post is what goes behind it."""
    cut = "cut post, 11.1 mm of 0.8 mm; eye, 8.2 mm of 0.8 mm; ball, melted, 28.1 mm of 0.8 mm"
    assert f"; {cut}.\n" in run("findings", "ear post").stdout
    assert making_words(ear_post()) == cut
    # The wire goes on from the back of the ball, 1.5 mm from its middle, to where it is as wide as the wire.
    sunk = 1.5 - 0.5 * (3.0**2 - 0.8**2) ** 0.5
    assert ear_post().cutting_list[0].length == pytest.approx(11.0 + sunk)
    lines = said(build(parse_design(HEAD + design_of("ear post"))))
    assert f"1 x ear post 'ear-post': {cut}." in lines


@pytest.mark.parametrize("kind", ["lobster clasp", "spring ring"])
def test_clasps_are_mostly_bought(run, kind):
    text = run("findings", kind).stdout.partition("In a design:")[0]
    assert "mostly bought ready made (common practice)" in text
    assert "cut " not in text
    result = build(parse_design(HEAD + design_of(kind)))
    (line,) = (line for line in said(result) if f"1 x {kind}" in line)
    assert f": {outer_size(usual(kind))}, mostly bought" in line
    assert "cut " not in line


def test_a_kind_that_is_none(run):
    assert "did you mean ear wire?" in run("findings", "earwire", code=2).stderr
    problem = json.loads(run("findings", "earwire", "--json", code=2).stdout)["problems"][0]
    assert problem["where"] == "KIND"


def test_view(run, built, design, monkeypatch, results):
    monkeypatch.setenv("DISPLAY", ":9")
    built(1)
    opened = {}
    monkeypatch.setattr(
        "chaingen.show.window.open_window", lambda rings, **options: opened.update(options, count=len(rings))
    )
    outcome = run("view", design)
    assert "cannot fit" in outcome.stdout
    assert opened["count"] == 6
    assert opened["collided"].tolist() == results[1].collided.tolist()
    assert opened["title"] == results[1].design.title


def test_view_without_a_screen(run, built, design, monkeypatch):
    def cannot(*_, **__):
        raise CannotDraw("a window needs a screen")

    built(0)
    monkeypatch.setattr("chaingen.show.window.open_window", cannot)
    monkeypatch.setenv("DISPLAY", ":9")
    assert run("view", design, code=2).stderr == "error: a window needs a screen\n"


def test_view_without_a_screen_places_nothing(run, design, monkeypatch):
    def too_late(*_, **__):
        raise AssertionError("placed before it was known whether there is a screen")

    monkeypatch.setattr("chaingen.pipeline.build", too_late)
    monkeypatch.setattr(sys, "platform", "linux")
    for variable in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(variable, raising=False)
    assert run("view", design, code=2).stderr.startswith("error: a window needs a screen, and none was found")


# --- progress -------------------------------------------------------------------------------------


class Screen(io.StringIO):
    def isatty(self):
        return True


def test_progress_is_shown_once_it_takes_long(monkeypatch):
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setattr(app, "PROGRESS_AFTER", 0.05)
    with progress(True) as tell:
        tell("placing rings")
        assert screen.getvalue() == ""
        time.sleep(0.6)
        tell("writing models")
    assert "placing rings" in screen.getvalue()


def test_no_progress_for_quick_work_files_or_quiet(monkeypatch):
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with progress(True) as tell:
        tell("placing rings")
    monkeypatch.setattr(app, "PROGRESS_AFTER", 0.0)
    with progress(False) as tell:
        tell("placing rings")
        time.sleep(0.1)
    plain = io.StringIO()
    monkeypatch.setattr(sys, "stderr", plain)
    with progress(True) as tell:
        tell("placing rings")
        time.sleep(0.1)
    assert screen.getvalue() == plain.getvalue() == ""


def test_models_of_an_earlier_run_are_warned_of(tmp_path):
    """They stay, for nothing of the user's is removed, but are not passed off as this design's."""
    path = tmp_path / "quay.toml"
    path.write_text(FITS)
    folder = str(tmp_path / "out")
    assert CliRunner().invoke(main, ["make", str(path), "--out", folder, "--no-pictures"]).exit_code == 0
    path.write_text(CANNOT_FIT)
    again = CliRunner().invoke(main, ["make", str(path), "--out", folder, "--no-pictures"])
    assert again.exit_code == 1
    assert "from an earlier run" in again.output
    assert (tmp_path / "out" / "models" / "piece.stl").exists()


def test_too_many_rings_to_repeat_are_refused(tmp_path):
    path = tmp_path / "wide.toml"
    many = ", ".join(["{ side_by_side = 2 }"] * 45)
    path.write_text(re.sub(r"groups = \[.*?\n\]", f"groups = [{many}]", FITS, flags=re.DOTALL))
    outcome = CliRunner().invoke(main, ["check", str(path)])
    assert outcome.exit_code == 2
    assert "180 rings to be repeated as one" in outcome.output


def test_kernels_find_a_folder_without_a_home(tmp_path):
    """Neither home nor installation can be written: a folder among the temporary files is taken."""
    code = (
        "import os\nos.access = lambda path, mode: str(path).startswith(os.environ['TMPDIR'])\n"
        "import chaingen\nprint(os.environ['NUMBA_CACHE_DIR'])"
    )
    env = {key: value for key, value in os.environ.items() if key not in ("HOME", "NUMBA_CACHE_DIR")}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**env, "TMPDIR": str(tmp_path)},
    )
    if os.name == "posix":
        assert done.stdout.startswith(str(tmp_path))
