"""Glimpses: how quickly a size can be followed, for every chain and weave. No time is asserted."""

from dataclasses import replace

import pytest

from chaingen import build, parse_design
from chaingen.design.piece_starter import PIECES, starter_piece
from chaingen.design.starter import STARTERS, starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.pipeline import glimpse
from chaingen.weave.catalogue import find_weave, weave_names

TEXTS = {
    **{f"{name}, groups": lambda name=name: starter_design(name) for name in STARTERS},
    **{f"{name}, weave": lambda name=name: starter_weave(find_weave(name)) for name in weave_names()},
    **{f"{name}, piece": lambda name=name: starter_piece(name) for name in PIECES},
}


@pytest.mark.benchmark(group="glimpse of 3 % wider rings")
@pytest.mark.parametrize("name", TEXTS)
def test_glimpse(benchmark, name):
    design = replace(parse_design(TEXTS[name]()), tolerance=0.0)
    last = build(design)

    def wider(size):
        return replace(size, inside_diameter=1.03 * size.inside_diameter)

    near = benchmark.pedantic(
        glimpse, (replace(design, piece=design.piece.resized(wider)), last), rounds=3, iterations=1
    )
    assert near is not None
    assert near.check.smallest_gap > last.check.smallest_gap - 0.01
