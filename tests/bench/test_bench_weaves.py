"""Weaves: every cell from its pose and from its links, and large sheets. No time is asserted."""

from dataclasses import replace

import numpy as np
import pytest

from chaingen.model.stl import write_stl
from chaingen.solve.place import place
from chaingen.solve.weaves import solve_weave
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.pieces import Sheet
from tests.test_stl import plain_model


def usual(weave):
    return tuple((role.name, role.size) for role in weave.roles)


@pytest.mark.benchmark(group="cell of a weave from its pose")
@pytest.mark.parametrize("name", weave_names())
def test_from_pose(benchmark, name):
    weave = find_weave(name)

    def fresh():
        solve_weave.cache_clear()
        return solve_weave(weave, usual(weave))

    gap = benchmark.pedantic(fresh, rounds=1, iterations=1)[3]
    assert gap > 0.0


@pytest.mark.benchmark(group="cell of a weave from its links alone")
@pytest.mark.parametrize("name", weave_names())
def test_from_links(benchmark, name):
    weave = find_weave(name)
    bare = replace(
        weave, pose=None, hand="", rings=tuple(replace(r, centre=None, axis=None) for r in weave.rings)
    )

    def fresh():
        solve_weave.cache_clear()
        return solve_weave(bare, usual(weave))

    found = benchmark.pedantic(fresh, rounds=1, iterations=1)
    assert len(found[2].gaps) > 0


def sheet(rings):
    side = round((rings / 2) ** 0.5)
    weave = find_weave("european-4-in-1")
    return Sheet(weave, usual(weave), columns=side, rows=side)


@pytest.mark.benchmark(group="sheet of 10,000 rings")
def test_placed_and_checked(benchmark):
    large = sheet(10_082 if benchmark.enabled else 200)

    def fresh():
        solve_weave.cache_clear()
        return place(large)

    placement = benchmark.pedantic(fresh, rounds=1, iterations=1)
    assert placement.gap > 0.0


@pytest.mark.benchmark(group="sheet of 10,000 rings")
def test_stl(benchmark, tmp_path):
    rings = place(sheet(10_082 if benchmark.enabled else 200)).rings
    model = plain_model(rings, tolerance=0.05)
    benchmark.pedantic(write_stl, (tmp_path / "a.stl", model), rounds=1, iterations=1)
    assert (tmp_path / "a.stl").stat().st_size > 0


@pytest.mark.benchmark(group="sheet of 10,000 rings")
def test_stl_bytes_by_numpy(benchmark, tmp_path):
    rings = place(sheet(10_082 if benchmark.enabled else 200)).rings
    write_stl(tmp_path / "a.stl", plain_model(rings, tolerance=0.05))
    content = np.fromfile(tmp_path / "a.stl", dtype=np.uint8)
    benchmark.pedantic(lambda: content.tofile(tmp_path / "b.stl"), rounds=1, iterations=1)
    assert (tmp_path / "b.stl").stat().st_size == len(content)
