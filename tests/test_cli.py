import errno
import json
import os
import subprocess
import sys

import pytest
from click.testing import CliRunner

from chaingen.cli import CHAINS, main
from chaingen.design.starter import STARTERS
from tests.test_examples import ROOT

GOOD = """
title = "Test"
metal = "copper"
[rings.link]
inside = "4 mm"
wire = "18 AWG"
[pattern]
repeat = 3
groups = [{ side_by_side = 1 }]
"""


def run(*arguments):
    return CliRunner().invoke(main, [str(a) for a in arguments])


def design(tmp_path, text=GOOD):
    path = tmp_path / "piece.toml"
    path.write_text(text)
    return path


def test_make_writes_everything_and_says_so(tmp_path):
    done = run("make", design(tmp_path), "--out", tmp_path / "out")
    assert done.exit_code == 0, done.output
    assert "It fits" in done.output
    report = json.loads((tmp_path / "out" / "report.json").read_text())
    assert len(report["files"]) == 8
    for name in report["files"]:
        assert (tmp_path / "out" / name).stat().st_size > 100


def test_json_and_quiet(tmp_path):
    path = design(tmp_path)
    report = json.loads(run("check", path, "--json").output)
    assert report["fits"] is True
    assert report["version"] == 1
    assert report["finished_length_mm"] == pytest.approx(3 * 4.0 + 2 * 1.0237, abs=1e-2)
    assert run("check", path, "--quiet").output == ""
    assert sorted(p.name for p in tmp_path.iterdir()) == ["piece.toml"]


def test_exit_code_of_no_fit(tmp_path):
    path = design(tmp_path, GOOD.replace('"4 mm"', '"1.5 mm"'))
    done = run("make", path, "--out", tmp_path / "out", "--no-pictures")
    assert done.exit_code == 1
    assert "cannot fit" in done.output
    assert "Nearest inside diameters that fit" in done.output
    assert not (tmp_path / "out" / "models").exists()
    assert (tmp_path / "out" / "report.json").exists()


def test_exit_code_of_a_search_without_end(tmp_path, monkeypatch):
    import chaingen.solve.place as module

    real = module.widen
    monkeypatch.setattr(module, "widen", lambda *a, **k: real(*a, **{**k, "most_steps": 1}))
    module.solve_row.cache_clear()
    text = (
        GOOD.replace("repeat = 3", "")
        .replace("side_by_side = 1", "rosette = 6")
        .replace('"4 mm"', '"3.4 mm"')
    )
    done = run("check", design(tmp_path, text))
    module.solve_row.cache_clear()
    assert done.exit_code == 3
    assert "did not come to an end" in done.output


BAD = {
    "broken TOML": ("title = 1 2", "line 1"),
    "unknown key": (GOOD.replace("metal", "mettal"), "did you mean"),
    "zero": (GOOD.replace('"4 mm"', '"0 mm"'), "rings.link.inside"),
    "negative": (GOOD.replace('"4 mm"', '"-4 mm"'), "rings.link.inside"),
    "absurd": (GOOD.replace('"4 mm"', '"4000 m"'), "rings.link.inside"),
    "gauge out of table": (GOOD.replace("18 AWG", "77 AWG"), "AWG"),
    "bare gauge": (GOOD.replace("18 AWG", "18 gauge"), "1.219 mm"),
    "wire thicker than the ring": (GOOD.replace('"18 AWG"', '"5 mm"'), "rings.link"),
    "empty pattern": (GOOD.replace("{ side_by_side = 1 }", ""), "pattern.groups"),
    "repeat 0": (GOOD.replace("repeat = 3", "repeat = 0"), "pattern.repeat"),
    "repeat 10 million": (GOOD.replace("repeat = 3", "repeat = 10000000"), "pattern.repeat"),
    "length shorter than one group": (GOOD.replace("repeat = 3", 'length = "3 mm"'), "pattern.length"),
    "length far too long": (
        GOOD.replace("repeat = 3", 'length = "1 m"').replace('"4 mm"', '"0.2 mm"'),
        "rings.link",
    ),
    "not finite": (GOOD.replace("repeat = 3", "repeat = inf"), "pattern.repeat"),
    "not a number": (GOOD.replace('"4 mm"', "nan"), "rings.link.inside"),
    "rosette beyond what is tried": (GOOD.replace("side_by_side = 1", "rosette = 40"), "rosette"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input(tmp_path, name):
    text, told = BAD[name]
    path = design(tmp_path, text)
    done = run("make", path, "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert told in done.output
    assert "Traceback" not in done.output
    assert not (tmp_path / "out").exists()


def test_missing_file_and_folder(tmp_path):
    assert run("make", tmp_path / "none.toml").exit_code == 2
    assert run("make", tmp_path).exit_code == 2


def test_all_problems_at_once(tmp_path):
    text = GOOD.replace('"4 mm"', '"0 mm"').replace("18 AWG", "18 gauge").replace("repeat = 3", "repeat = 0")
    done = run("check", design(tmp_path, text))
    assert done.output.count("error:") == 3
    problems = json.loads(run("check", design(tmp_path, text), "--json").stdout)["problems"]
    assert [p["where"] for p in problems] == ["rings.link.inside", "rings.link.wire", "pattern.repeat"]


def test_output_that_cannot_be_written(tmp_path, monkeypatch):
    (tmp_path / "out").write_text("a file in the way")
    done = run("make", design(tmp_path), "--out", tmp_path / "out", "--no-pictures")
    assert done.exit_code == 2
    assert "cannot write" in done.output

    def full(_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    done = run("make", design(tmp_path), "--out", tmp_path / "full", "--no-pictures")
    assert done.exit_code == 2
    assert "No space left" in done.output
    assert not [p for p in (tmp_path / "full").rglob("*") if p.is_file()]


def test_without_pictures_the_rest_is_made(tmp_path, monkeypatch):
    from chaingen.show import drawing

    monkeypatch.setattr(drawing, "_load", lambda *names: None)
    drawing.require_drawing.cache_clear()
    done = run("make", design(tmp_path), "--out", tmp_path / "out")
    drawing.require_drawing.cache_clear()
    if sys.platform.startswith("linux"):
        assert done.exit_code == 0
        assert "libegl1" in done.output
        assert (tmp_path / "out" / "models" / "piece.stl").exists()
        assert "libegl1" in json.loads((tmp_path / "out" / "report.json").read_text())["pictures_not_drawn"]


def test_new_for_every_chain(tmp_path):
    assert tuple(STARTERS) == CHAINS
    for chain in CHAINS:
        path = tmp_path / f"{chain}.toml"
        assert run("new", path, "--chain", chain).exit_code == 0
        assert run("new", path, "--chain", chain).exit_code == 2
        assert run("new", path, "--chain", chain, "--force", "--inside", "6 mm").exit_code == 0
        assert 'inside = "6 mm"' in path.read_text()


def test_new_asks_nothing_when_told_and_refuses_nonsense(tmp_path):
    path = tmp_path / "x.toml"
    done = run("new", path, "--chain", "two-in-one", "--wire", "18 gauge")
    assert done.exit_code == 2
    assert not path.exists()
    assert run("new", path, "--chain", "two-in-one", "--repeat", "3", "--length", "6 in").exit_code == 2
    assert run("new", path).exit_code == 2


def test_schema_is_json_with_every_key():
    schema = json.loads(run("schema").output)
    assert set(schema["properties"]) == {"title", "metal", "clearance", "tolerance", "rings", "pattern"}
    assert schema["$schema"].startswith("https://json-schema.org/")


def test_sizes(tmp_path):
    path = design(tmp_path)
    done = run("sizes", path, "--insides", "1.5 mm, 4 mm", "--wires", "18 AWG, 1 mm")
    assert done.exit_code == 0
    assert "2.00" in done.output
    assert "does not fit" in done.output
    data = json.loads(run("sizes", path, "--json").output)
    assert data["tightest_aspect_ratios"]["link"] == pytest.approx(2.0, abs=0.02)
    assert run("sizes", path, "--wires", "18 gauge").exit_code == 2
    assert run("sizes", path, "--ring", "none").exit_code == 2
    assert run("sizes", path, "--insides", "thick").exit_code == 2


def test_a_fault_of_our_own_is_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr("chaingen.design.load.load_design", lambda _: 1 / 0)
    done = run("check", design(tmp_path))
    assert done.exit_code == 70
    assert "Traceback" not in done.output
    assert "CHAINGEN_DEBUG" in done.output


def test_help_loads_click_alone():
    code = (
        "import sys\nfrom chaingen.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'numba', 'pydantic', 'rich', 'pyvista', 'networkx'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.strip().endswith("[]")
