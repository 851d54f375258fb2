"""Placement, check and whole runs. No time is asserted; see DEVELOPERS.md for how to run and read them."""

import subprocess
import sys
from pathlib import Path

import pytest

from chaingen.design.load import load_design
from chaingen.pipeline import build, export
from chaingen.solve.check import check
from chaingen.solve.place import place
from chaingen.solve.search import solve_cell, solve_row
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size

RING = size(4.0)
EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@pytest.mark.benchmark(group="check of a chain")
@pytest.mark.parametrize("rings", [1000, 10_000, 100_000])
def test_check(benchmark, rings):
    if not benchmark.enabled:
        rings = 1000
    placement = place(Run((side(1, RING),), rings), starts=1)
    report = benchmark.pedantic(
        check, (placement.graph, placement.rings), rounds=3, iterations=1, warmup_rounds=1
    )
    assert report.sound
    assert report.pairs_checked < 3 * rings


CELLS = {
    "two-in-one": ((side(2, RING), join(1, RING)), 20),
    "two-in-two": ((side(2, RING),), 20),
    "three-in-three": ((side(3, size(5.0)),), 20),
    "rosette-single": ((rosette(3, RING), join(1, RING)), 20),
    "rosette-pairs": ((rosette(3, RING), join(2, RING)), 20),
    "rosette-eight": ((rosette(8, size(8.0, 1.29)),), 1),
}


@pytest.mark.benchmark(group="placement of one cell")
@pytest.mark.parametrize("name", CELLS)
def test_place(benchmark, name):
    def fresh():
        solve_cell.cache_clear()
        solve_row.cache_clear()
        return place(Run(*CELLS[name]))

    placement = benchmark.pedantic(fresh, rounds=3 if benchmark.enabled else 1, iterations=1)
    assert placement.gap > 0.0


@pytest.mark.benchmark(group="make of a 180 mm bracelet with models and pictures")
def test_make(benchmark, tmp_path):
    design = load_design(EXAMPLES / "rosette-pairs.toml")

    def whole():
        solve_cell.cache_clear()
        solve_row.cache_clear()
        return export(build(design), tmp_path, pictures=benchmark.enabled)

    files = benchmark.pedantic(whole, rounds=1, iterations=1)
    assert not files.not_drawn


@pytest.mark.benchmark(group="chaingen --help")
def test_help(benchmark):  # only click is loaded
    command = [sys.executable, "-c", "from chaingen.cli import main; main(['--help'])"]
    done = benchmark.pedantic(
        lambda: subprocess.run(command, capture_output=True, check=True), rounds=3, iterations=1
    )
    assert b"make" in done.stdout


@pytest.mark.benchmark(group="chaingen --help")
def test_python_alone(benchmark):
    command = [sys.executable, "-c", "import click"]
    benchmark.pedantic(
        lambda: subprocess.run(command, capture_output=True, check=True), rounds=3, iterations=1
    )
