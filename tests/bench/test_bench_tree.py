"""A sprue tree of 200 rings against the same triangles written by numpy, in one run. No time is asserted."""

import numpy as np
import pytest

from chaingen.prepare.tree import tree_batches
from tests.sprued import SILVER, rings, service

ROOM = (60.0, 60.0, 260.0)
"""A tall flask, in which 200 rings go on one tree."""


def tree(count):
    (batch,) = tree_batches(
        rings(("link", 5.0, 1.0, count), metal=SILVER), service(build=ROOM), tolerance=0.01
    )
    return batch


@pytest.mark.benchmark(group="tree of 200 rings")
def test_ours(benchmark):
    count = 200 if benchmark.enabled else 4
    batch = benchmark.pedantic(tree, (count,), rounds=3, iterations=1, warmup_rounds=1)
    assert batch.parts == count


@pytest.mark.benchmark(group="tree of 200 rings")
def test_numpy_writes_its_triangles(benchmark, tmp_path):
    (kind,) = tree(200 if benchmark.enabled else 4).model.kinds
    mesh = kind.mesh

    def write():
        with (tmp_path / "a.bin").open("wb") as stream:
            mesh.vertices[mesh.faces].astype(np.float32).tofile(stream)

    benchmark.pedantic(write, rounds=5, iterations=1, warmup_rounds=1)
    assert (tmp_path / "a.bin").stat().st_size == 36 * len(mesh.faces)
