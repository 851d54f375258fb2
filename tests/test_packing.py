from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.geometry.packing import EQUAL_DISCS, PROVEN, enclosing_bound, enclosing_radius, equal_bound


def test_closed_forms_of_equal_discs():
    """Known optima: n = 2, 3, 4, 7 (Graham, Lubachevsky, Nurmela, Ostergard 1998)."""
    for count, exact in ((1, 1.0), (2, 2.0), (3, 1.0 + 2.0 / sqrt(3.0)), (4, 1.0 + sqrt(2.0)), (7, 3.0)):
        assert EQUAL_DISCS[count - 1] == pytest.approx(exact, abs=5e-5)


def test_bound_never_exceeds_what_is_known_to_be_possible():
    for count, reached in enumerate(EQUAL_DISCS, start=1):
        assert equal_bound(count) <= reached + 1e-12
        if count in PROVEN:
            assert equal_bound(count) == pytest.approx(reached, abs=1e-4)


def test_bound_for_many_discs_lies_below_the_hexagonal_packing():
    """1 + 3 k (k + 1) discs lie in a hexagon of k rings about one; its circle has radius 2 k + 1."""
    for k in range(3, 12):
        count = 1 + 3 * k * (k + 1)
        assert sqrt(count) < equal_bound(count) <= 2 * k + 1
    values = [equal_bound(count) for count in range(1, 200)]
    assert values == sorted(values)


def test_three_unequal_discs():
    # A small disc fits beside two large ones: 2/3 of their radius just does (Descartes).
    assert enclosing_bound(np.array([1.0, 1.0, 0.6])) == pytest.approx(2.0)
    assert enclosing_bound(np.array([1.0, 1.0, 2.0 / 3.0])) == pytest.approx(2.0, abs=1e-9)
    assert enclosing_bound(np.array([1.0, 1.0, 0.8])) > 2.0
    assert enclosing_bound(np.array([1.0, 1.0, 1.0])) == pytest.approx(1.0 + 2.0 / sqrt(3.0), abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.2, 2.0), min_size=1, max_size=6))
def test_proven_bound_lies_below_every_packing_found(radii):
    found = enclosing_radius(np.array(radii))
    assert enclosing_bound(np.array(radii)) <= found + 1e-4
    assert found <= sum(radii) + 1e-6


def test_numerical_packing_of_nearly_equal_discs_reaches_the_table():
    for count in (3, 4, 5, 6, 7):
        radii = 1.0 + 1e-7 * np.arange(count)
        assert enclosing_radius(radii) == pytest.approx(EQUAL_DISCS[count - 1], abs=2e-4)
