"""Pieces with findings. No time is asserted; see DEVELOPERS.md for how to run and read them."""

from pathlib import Path

import numpy as np
import pytest

from chaingen.design.load import load_design
from chaingen.geometry.bodies import concatenate, shaped
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.shapes import ring_shape
from chaingen.solve.drape.drape import drape
from chaingen.solve.place import place
from chaingen.solve.search import solve_cell, solve_row

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@pytest.mark.benchmark(group="gap of a pair of findings")
@pytest.mark.parametrize("kind", ["two rings", "two rings as shapes", "a ring and an ear wire"])
def test_gap(benchmark, kind):
    from chaingen.findings.hooks import ear_wire

    rng = np.random.default_rng(1)
    plain = concatenate([shaped(ring_shape(2.5, 0.5))] * 2)
    if kind == "a ring and an ear wire":
        plain = concatenate([shaped(ring_shape(2.5, 0.5)), shaped(ear_wire().shape)])
    count = 2000 if benchmark.enabled else 20
    bodies = concatenate([plain] * count).moved(rng.normal(size=(2 * count, 3)))
    if kind == "two rings":
        bodies = type(bodies)(bodies.centres, bodies.normals, bodies.radii, bodies.wire_radii)
    pairs = np.arange(2 * count).reshape(-1, 2)
    gaps, _ = benchmark.pedantic(smallest_gaps, (bodies, pairs), rounds=3, iterations=1, warmup_rounds=1)
    assert np.isfinite(gaps).all()


@pytest.mark.benchmark(group="earrings with ear wire, four rosettes and a bead")
@pytest.mark.parametrize("what", ["placed", "hung"])
def test_earrings(benchmark, what):
    design = load_design(EXAMPLES / "graduated-earring.toml")
    placement = place(design.piece)

    def placed():
        solve_cell.cache_clear()
        solve_row.cache_clear()
        return place(design.piece)

    def hung():
        return drape(design.piece, placement, design.scenes[0])

    rounds = 3 if benchmark.enabled else 1
    found = benchmark.pedantic(placed if what == "placed" else hung, rounds=rounds, iterations=1)
    assert found.gap > 0.0 if what == "placed" else found.reached
