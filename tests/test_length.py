import pytest

from chaingen.solve.length import TautLengths, taut_lengths
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size

RING = size(4.0, 1.0)


def test_single_chain_closed_form():
    """N ID + 2 WD."""
    lengths = taut_lengths(Run((side(1, RING),), 40))
    assert lengths.at(40) == pytest.approx(40 * 4.0 + 2.0, abs=5e-3)


@pytest.mark.parametrize("repeat", [1, 2, 3])
def test_few_repeats_are_measured_as_they_are(repeat):
    assert taut_lengths(Run((side(1, RING),), repeat)).at(repeat) == pytest.approx(
        repeat * 4.0 + 2.0, abs=2e-3
    )


def test_reckoned_length_equals_that_of_the_whole_row_pulled():
    cell = (rosette(3, RING), join(1, RING))
    reckoned = taut_lengths(Run(cell, 8)).at(8)
    from chaingen.solve.place import place
    from chaingen.solve.taut import taut_row

    placement = place(Run(cell, 8))
    whole = taut_row(placement.graph, placement.rings).length
    assert whole == pytest.approx(reckoned, rel=0.01)


def test_closed_loop_counts_its_cells():
    assert taut_lengths(Run((side(1, RING),), 31, closed=True)).at(31) == pytest.approx(31 * 4.0, abs=5e-3)


def test_nearest_repeat():
    lengths = TautLengths(period=4.0, base=14.0, base_repeat=3, shorter=(6.0, 10.0))
    assert [lengths.nearest_repeat(x) for x in (5.0, 8.0, 8.1, 13.0, 100.0, 102.0)] == [1, 1, 2, 3, 24, 25]
    assert lengths.at(25) == 102.0


def test_length_asked_for_is_met_within_half_a_repeat():
    lengths = taut_lengths(Run((side(2, RING), join(1, RING))), target=180.0)
    assert abs(lengths.at(lengths.nearest_repeat(180.0)) - 180.0) <= 0.5 * lengths.period + 1e-6


def test_no_length_where_rings_do_not_fit():
    tight = size(2.0, 1.0)
    assert taut_lengths(Run((side(2, tight),), 10)) is None
    assert taut_lengths(Run((side(2, size(1.5, 1.0)), side(2, size(1.5, 1.0))))) is None
