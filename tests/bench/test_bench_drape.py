"""Time to rest of pieces of many sizes. No time is asserted; DEVELOPERS.md says how to run and read them."""

import pytest

from chaingen.design.scene import Scene, SceneKind
from chaingen.solve.drape.drape import drape
from chaingen.solve.length import taut_lengths
from chaingen.solve.place import place
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size

RING = size(4.0, 1.0)


def at_rest(benchmark, run, scene, rounds=3):
    placement, taut = place(run), taut_lengths(run).at(run.repeat)
    draped = benchmark.pedantic(
        drape,
        (run, placement, scene),
        {"taut": taut},
        rounds=rounds if benchmark.enabled else 1,
        iterations=1,
        warmup_rounds=1 if benchmark.enabled else 0,
    )
    benchmark.extra_info["rings"] = len(placement.graph)
    benchmark.extra_info["steps"] = draped.steps
    benchmark.extra_info["unbalanced"] = draped.unbalanced
    assert draped.reached
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    return draped


@pytest.mark.benchmark(group="single chain in a swag")
@pytest.mark.parametrize("friction", [0.0, 0.2])
@pytest.mark.parametrize("rings", [400, 1000, 3000, 10_000])
def test_swag(benchmark, rings, friction):
    if not benchmark.enabled:
        rings = min(rings, 400)
    scene = Scene(SceneKind.SWAG, friction=friction, span_fraction=1.0 / 1.2)
    draped = at_rest(benchmark, Run((side(1, RING),), rings), scene, rounds=1 if rings > 1000 else 3)
    # A catenary 1.2 times as long as its span sags by .292344 of it (closed form).
    assert draped.sag == pytest.approx(0.2923 * draped.span, rel=0.02)


@pytest.mark.benchmark(group="rosettes of three with two joins, 43 rings, hung")
@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_rosettes(benchmark, friction):
    run = Run((rosette(3, size(4.0)), join(2, size(4.0))), 9)
    draped = at_rest(benchmark, run, Scene(SceneKind.HANG, friction=friction))
    assert len(draped.graph) == 43
    assert len(draped.graph.links) == 123


@pytest.mark.benchmark(group="closed 180 mm bracelet of pairs round a wrist")
def test_wrist(benchmark):
    at_rest(benchmark, Run((side(2, RING),), 47, closed=True), Scene(SceneKind.WRIST), rounds=1)
