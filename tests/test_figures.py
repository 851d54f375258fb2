"""Figures of models against the files, as trimesh reopens them, and against closed forms."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from chaingen.model.figures import Figures, figures_of
from chaingen.model.mesh import segment_counts
from chaingen.model.stl import write_stl
from tests.conftest import random_rings
from tests.test_mesh import faceted_volume
from tests.test_obj import dangling_model, none_at_all
from tests.test_stl import STRETCH, chain, plain_model


@pytest.mark.parametrize("stretch", [(1.0, 1.0, 1.0), (1.0204, 1.0204, 1.0204), STRETCH, (2.0, 0.5, 1.1)])
@pytest.mark.parametrize("what", ["rings", "findings"])
def test_figures_are_those_of_the_file(tmp_path, rng, what, stretch):
    model = plain_model(random_rings(rng, 30, spread=9.0), 0.02) if what == "rings" else dangling_model(rng)
    model = replace(model, stretch=stretch)
    write_stl(tmp_path / "a.stl", model)
    mesh = trimesh.load(tmp_path / "a.stl")
    figures = figures_of(model)
    assert figures.triangles == len(mesh.faces)
    assert figures.shells == mesh.body_count
    assert figures.size == pytest.approx(mesh.extents, abs=3e-5)
    assert figures.volume == pytest.approx(mesh.volume, rel=2e-6)
    assert figures.area == pytest.approx(mesh.area, rel=2e-6)


def test_rings_by_closed_form():
    rings = chain(9)
    figures = figures_of(plain_model(rings, 0.005, (1.1, 1.1, 1.1)))
    counts = [segment_counts(r, w, 0.005) for r, w in zip(rings.radii, rings.wire_radii, strict=True)]
    assert figures.triangles == sum(2 * a * b for a, b in counts)
    assert figures.shells == 9
    volumes = [
        faceted_volume(r, w, *c) for r, w, c in zip(rings.radii, rings.wire_radii, counts, strict=True)
    ]
    assert figures.volume == pytest.approx(1.1**3 * sum(volumes), rel=1e-12)
    # Pappus: 4 pi^2 R r of a torus, a little less of what lies in it.
    exact = 1.21 * (4.0 * np.pi**2 * rings.radii * rings.wire_radii).sum()
    assert 0.98 * exact < figures.area < exact


def test_moving_and_turning_change_nothing_but_the_size(rng):
    model = replace(dangling_model(rng), stretch=(1.05, 1.05, 1.05))
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn *= np.linalg.det(turn)
    moved = replace(
        model, rotations=turn @ model.rotations, centres=model.centres @ turn.T + (500.0, -3.0, 8.0)
    )
    one, other = figures_of(model), figures_of(moved)
    assert (one.triangles, one.shells) == (other.triangles, other.shells)
    assert (other.volume, other.area) == pytest.approx((one.volume, one.area), rel=1e-12)


def test_ten_thousand_rings_take_little_memory():
    model = plain_model(chain(10_000), 0.02, STRETCH)
    figures_of(plain_model(chain(2), 0.02, STRETCH))
    tracemalloc.start()
    try:
        figures = figures_of(model)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert figures.shells == 10_000
    assert peak < 50e6
    few = figures_of(plain_model(chain(12), 0.02, STRETCH))
    # The sizes and planes of the chain come again after six rings.
    last = figures_of(plain_model(chain(10_000 % 6), 0.02, STRETCH))
    assert figures.area == pytest.approx(10_000 // 6 * 0.5 * few.area + last.area, rel=1e-9)


def test_no_bodies():
    assert figures_of(none_at_all()) == Figures(0, 0, (0.0, 0.0, 0.0), 0.0, 0.0)
