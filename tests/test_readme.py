"""The README's promises that can be run."""

import doctest
import json
import re

import pytest

import chaingen
from chaingen.cli import main
from tests.test_examples import ROOT

README = (ROOT / "README.md").read_text()


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


def test_the_python_block_runs(tmp_path, monkeypatch):
    (block,) = blocks("python")
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    monkeypatch.chdir(tmp_path)
    names = {}
    exec(compile(block, "README.md", "exec"), names)
    assert names["result"].fits
    assert (tmp_path / "out" / "two-in-one" / "models" / "piece.stl").exists()


def test_public_names_are_all_there():
    for name in chaingen.__all__:
        assert getattr(chaingen, name).__doc__
    assert not hasattr(chaingen, "no_such_name")


@pytest.mark.parametrize(
    "name", ["build", "check", "drape", "export", "load_design", "parse_design", "plan", "size_overview"]
)
def test_the_example_in_a_public_docstring_runs(name):
    function = getattr(chaingen, name)
    (test,) = doctest.DocTestFinder(recurse=False).find(function, name, globs={})
    assert test.examples
    runner = doctest.DocTestRunner()
    runner.run(test)
    assert runner.failures == 0


def test_the_design_in_the_text_is_valid():
    from chaingen.design.load import parse_design

    (block,) = blocks("toml")
    assert parse_design(block).piece.groups()


def test_the_placement_in_the_text_has_the_keys_of_a_real_one():
    from chaingen.findings.links import oval_link
    from chaingen.findings.pins import Threaded, head_pin
    from chaingen.model.placement_file import placement_data
    from chaingen.solve.place import place
    from chaingen.weave.groups import Group, GroupKind, Run
    from tests.conftest import rosette, size

    (block,) = blocks("json")
    shown = json.loads(block)
    bead = Threaded("ball", 6.0, None, 1.0, (0.2, 0.4, 0.5))
    row = [rosette(2, size(4.0))]
    row += [Group(GroupKind.FINDING, 1, one) for one in (oval_link(), head_pin(beads=(bead,)))]
    placement = place(Run(tuple(row)), starts=1)
    real = placement_data(placement.graph, placement.rings)
    assert list(shown) == list(real)
    assert shown["version"] == real["version"]
    assert [list(body) for body in shown["bodies"]] == [list(real["bodies"][k]) for k in (0, 2)]
    (one,) = shown["shapes"]
    oval, pin = real["shapes"]
    assert list(one) == list(pin)
    assert list(one["strands"][0]) == list(oval["strands"][0])
    kinds = {curve["curve"]: list(curve) for curve in oval["strands"][0]["curves"]}
    assert {curve["curve"]: list(curve) for curve in one["strands"][0]["curves"]} == kinds
    assert list(one["eyes"][0]) == list(oval["eyes"][0])
    assert list(one["beads"][0]) == list(pin["beads"][0])


def test_every_key_of_the_report_is_explained():
    from chaingen.design.load import parse_design
    from chaingen.pipeline import build
    from chaingen.show.report import report_of

    report = report_of(build(parse_design(blocks("toml")[0])))
    explained = set(re.findall(r"`([a-z_0-9]+)`", README))
    assert set(report) - explained == {"format", "version"}


@pytest.mark.parametrize("command", main.commands)
def test_every_command_is_told_of(command):
    assert f"chaingen {command}" in README


def test_every_picture_shown_is_there():
    shown = re.findall(r"!\[[^\]]*\]\((renders/[^)]+)\)", README)
    assert len(shown) >= 9
    for name in shown:
        assert (ROOT / name).exists()
