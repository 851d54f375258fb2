"""Time to rest of sheets. No time is asserted; DEVELOPERS.md says how to run and read them.

Recorded beside the time: how many times longer the whole drape takes than factorising, at each of its steps,
a full matrix of as many unknowns by numpy.
"""

from time import perf_counter

import numpy as np
import pytest

from chaingen.design.scene import Scene, SceneKind
from chaingen.solve.drape.drape_sheet import drape_sheet
from tests.test_sheet_drape import sheet

SHEETS = {"400 rings": (20, 10), "1,000 rings": (25, 20)}


def factor_time(unknowns):
    """Best of three full Cholesky factors of this size [s]."""
    matrix = np.random.default_rng(4).normal(size=(unknowns, unknowns))
    matrix = matrix @ matrix.T + unknowns * np.eye(unknowns)
    times = []
    for _ in range(3):
        begun = perf_counter()
        np.linalg.cholesky(matrix)
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
    one = factor_time(5 * len(placement.rings))
    benchmark.extra_info.update(
        rings=len(placement.rings),
        steps=draped.steps,
        unbalanced=draped.unbalanced,
        over_full_factors=taken / (draped.steps * one),
        full_factor_seconds=one,
    )
    assert draped.reached
    assert draped.unbalanced <= 1e-3
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    assert draped.support == pytest.approx(1.0, abs=2e-3)
