"""STL against numpy writing the same bytes to the same disk, in one run. No time is asserted."""

import os

import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies
from chaingen.model.stl import write_stl
from tests.test_stl import plain_model


def chain(count):
    i = np.arange(count)
    normals = np.where((i % 2 == 0)[:, None], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0])
    centres = np.column_stack([2.6 * i, 0.0 * i, 0.0 * i])
    return Bodies(centres, normals, np.full(count, 2.0), np.full(count, 0.5))


@pytest.mark.benchmark(group="STL of 2000 rings")
def test_ours(benchmark, tmp_path):
    model = plain_model(chain(2000 if benchmark.enabled else 20))
    size = benchmark.pedantic(write_stl, (tmp_path / "a.stl", model), rounds=5, iterations=1, warmup_rounds=1)
    assert (tmp_path / "a.stl").stat().st_size == size


@pytest.mark.benchmark(group="STL of 2000 rings")
def test_numpy_same_bytes(benchmark, tmp_path):
    size = write_stl(tmp_path / "a.stl", plain_model(chain(2000 if benchmark.enabled else 20)))
    content = np.fromfile(tmp_path / "a.stl", dtype=np.uint8)

    def write():
        with (tmp_path / "b.stl").open("wb") as stream:
            content.tofile(stream)
            stream.flush()
            os.fsync(stream.fileno())

    benchmark.pedantic(write, rounds=5, iterations=1, warmup_rounds=1)
    assert (tmp_path / "b.stl").stat().st_size == size
