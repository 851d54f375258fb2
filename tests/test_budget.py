"""The finest mesh within a number of triangles, against counting triangles at every tolerance about it."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from chaingen.errors import BadInput
from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.bodies import concatenate, shaped
from chaingen.model.budget import tolerance_for
from chaingen.model.mesh import segment_counts
from chaingen.model.templates import holes_of, triangle_count
from tests.conftest import rings_of
from tests.test_stl import chain, dangling


def counted(rings, tolerance):
    """Triangles of rings by their segments."""
    return sum(
        2 * int(np.prod(segment_counts(r, w, tolerance)))
        for r, w in zip(rings.radii, rings.wire_radii, strict=True)
    )


@given(
    sizes=st.lists(st.tuples(st.floats(0.8, 20.0), st.floats(0.2, 0.7)), min_size=1, max_size=4),
    more=st.floats(1.0, 400.0),
)
@example(sizes=[(2.0, 0.5)], more=1.0)
@settings(deadline=None)
def test_the_budget_is_kept_and_two_percent_finer_would_exceed_it(sizes, more):
    rings = rings_of(*(((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), r, w) for r, w in sizes))
    most = int(more * counted(rings, 1.0))
    tolerance = tolerance_for(rings, most)
    assert 1e-4 <= tolerance <= 1.0
    assert tolerance == float(f"{tolerance:.3g}")
    assert counted(rings, tolerance) <= most
    if tolerance > 1e-4:
        assert counted(rings, 0.98 * tolerance) > most


@pytest.mark.parametrize("most", [6000, 30_000, 150_000])
def test_findings_keep_the_budget(rng, most):
    bodies = dangling(rng)
    tolerance = tolerance_for(bodies, most)
    assert triangle_count(bodies, tolerance) <= most < triangle_count(bodies, 0.98 * tolerance)


def test_holes_of_beads_count(rng):
    pin = head_pin(beads=(Threaded("ball", 5.0, None, 1.0, (0.1, 0.2, 0.3)),))
    bodies, holes = concatenate([chain(2), shaped(pin.shape)]), holes_of([pin])
    tolerance = tolerance_for(bodies, 20_000, holes)
    assert triangle_count(bodies, tolerance, holes) <= 20_000
    assert triangle_count(bodies, 0.98 * tolerance, holes) > 20_000


def test_too_small_a_budget_is_refused_with_the_least():
    rings = chain(5)
    least = counted(rings, 1.0)
    assert least == 5 * 2 * 12 * 8
    assert tolerance_for(rings, least) < 1.0
    with pytest.raises(BadInput, match=r"--triangles: got 959; expected at least 960") as refused:
        tolerance_for(rings, least - 1)
    (problem,) = refused.value.problems
    assert problem.where == "--triangles"


def test_more_than_enough_gives_the_finest():
    ring = rings_of(((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 1.0, 0.3))
    finest = counted(ring, 1e-4)
    assert tolerance_for(ring, finest) == 1e-4
    assert tolerance_for(ring, 10 * finest) == 1e-4
    assert tolerance_for(ring, finest - 1) > 1e-4
