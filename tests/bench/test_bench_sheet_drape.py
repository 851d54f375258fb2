"""Time to rest of sheets. No time is asserted; DEVELOPERS.md says how to run and read them.

Recorded beside the time: how many times as long a step of the drape takes as scipy's sparse factors of a
plain grid with about as many unknowns.
"""

from time import perf_counter

import numpy as np
import pytest
from scipy.sparse import diags, identity, kron, kronsum
from scipy.sparse.linalg import splu

from chaingen.design.scene import Scene, SceneKind
from chaingen.solve.drape.drape_sheet import drape_sheet
from tests.test_sheet_drape import sheet

SHEETS = {"400 rings": (20, 10), "1,000 rings": (25, 20)}


def factor_time(columns, rows):
    """Best of three sparse factors of a grid of this many bodies with five unknowns each [s]."""
    lines = [diags([-1.0, 2.0, -1.0], [-1, 0, 1], shape=(count, count)) for count in (columns, rows)]
    grid = kronsum(*lines[::-1]) + 0.1 * identity(columns * rows)
    matrix = kron(grid, np.ones((5, 5)) + 4.0 * np.eye(5)).tocsc()
    times = []
    for _ in range(3):
        begun = perf_counter()
        splu(matrix, permc_spec="MMD_AT_PLUS_A")
        times.append(perf_counter() - begun)
    return min(times)


@pytest.mark.benchmark(group="European 4-in-1 sheet to rest")
@pytest.mark.parametrize(
    ("kind", "name"),
    [
        (SceneKind.CORNERS, "400 rings"),
        (SceneKind.HANG, "400 rings"),
        (SceneKind.TABLE, "400 rings"),
        (SceneKind.EDGE, "400 rings"),
        (SceneKind.CORNERS, "1,000 rings"),
    ],
)
def test_sheet(benchmark, kind, name):
    placement = sheet(*SHEETS[name]) if benchmark.enabled else sheet(5, 4)
    begun = perf_counter()
    draped = benchmark.pedantic(drape_sheet, (placement, Scene(kind)), rounds=1, iterations=1)
    taken = perf_counter() - begun
    columns, rows = SHEETS[name]
    one = factor_time(2 * columns, rows) if benchmark.enabled else factor_time(10, 4)
    benchmark.extra_info.update(
        rings=len(placement.rings),
        steps=draped.steps,
        unbalanced=draped.unbalanced,
        step_over_factors=taken / (draped.steps * one),
        factor_seconds=one,
    )
    assert draped.reached
    assert draped.unbalanced <= 1e-3
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    assert draped.support == pytest.approx(1.0, abs=2e-3)
