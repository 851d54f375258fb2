from dataclasses import replace

import pytest

from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.solve.verdict import Fit, fit_of, nearest_fits, thinner, tolerance_band
from chaingen.stock.gauges import awg, swg_table
from chaingen.weave.groups import Run
from tests.conftest import AWG_18, join, side, size


def test_words_for_slack():
    words = [fit_of(slack, 1.0) for slack in (-0.01, 0.0, 0.12, 0.14, 0.39, 0.41)]
    assert words == [Fit.DOES_NOT_FIT, Fit.TIGHT, Fit.TIGHT, Fit.COMFORTABLE, Fit.COMFORTABLE, Fit.LOOSE]


COMMON_PRACTICE = [
    # lowest, comfortable from, comfortable to (aspect ratios; common practice, sources differ by 0.2)
    (2.9, 3.5, 4.0), (4.3, 5.0, 5.0), (4.7, 5.2, 5.2), (3.8, 4.8, 4.8), (3.3, 3.5, 4.0), (3.7, 3.9, 5.0),
    (4.2, 5.0, 6.0), (4.4, 5.5, 6.0), (2.8, 2.8, 3.0), (3.5, 4.5, 4.5), (3.5, 3.7, 4.2),
]  # fmt: skip


def test_borders_follow_from_common_practice():
    """Slack (A + 1) / (B + 1) - 1: the border of tight is the median lower end, that of loose is above every
    upper end."""
    slack = [[(a + 1.0) / (low + 1.0) - 1.0 for a in (start, end)] for low, start, end in COMMON_PRACTICE]
    lower, upper = sorted(s[0] for s in slack), [s[1] for s in slack]
    assert fit_of(lower[5] + 0.005, 1.0) is Fit.COMFORTABLE
    assert fit_of(lower[4] - 0.005, 1.0) is Fit.TIGHT
    assert max(upper) < 0.40
    assert fit_of(max(upper), 1.0) is Fit.COMFORTABLE


def test_band_corners():
    run = Run((side(2, size(3.0)), join(1, size(3.0))), 10)
    placement = place(run)
    band = tolerance_band(run, placement, AWG_18, 0.05)
    gaps = {(corner.inside_off, corner.wire_off): corner.gap for corner in band.corners}
    assert band.holds
    # Opposite deviations leave the centrelines where they are: the gap changes by just the tolerance.
    assert gaps[-0.05, 0.05] == pytest.approx(placement.gap - 0.05)
    assert gaps[0.05, -0.05] == pytest.approx(placement.gap + 0.05)
    again = place(run.resized(lambda s: replace(s, inside_diameter=2.95, wire_diameter=AWG_18 + 0.05))).gap
    assert again == pytest.approx(placement.gap - 0.05, abs=2e-3)


def test_a_band_that_crosses_the_border_does_not_hold():
    run = Run((side(2, size(2.72)),), 10)
    placement = place(run)
    assert placement.answer is Answer.FITS
    assert not tolerance_band(run, placement, AWG_18, 0.05).holds


def test_nearest_sizes_fit_and_the_next_smaller_do_not():
    run = Run((side(2, size(2.0)),), 10)
    inside, wire = nearest_fits(run, 0.0)
    assert (inside.change, wire.change) == ("inside", "wire")
    assert inside.sizes[0].wire_diameter == AWG_18
    assert place(run.resized(lambda s: inside.sizes[0])).answer is Answer.FITS
    smaller = replace(inside.sizes[0], inside_diameter=inside.sizes[0].inside_diameter - 0.25)
    assert place(run.resized(lambda s: smaller)).answer is not Answer.FITS
    assert wire.sizes[0].inside_diameter == 2.0
    assert place(run.resized(lambda s: wire.sizes[0])).answer is Answer.FITS


def test_thinner_wires_follow_the_table_of_the_wire():
    assert thinner(awg(18), 2) == pytest.approx(awg(20))
    assert thinner(swg_table()[18], 1) == pytest.approx(swg_table()[19])
    assert thinner(1.5, 1) == pytest.approx(awg(15))
    assert thinner(awg(40), 1) == 0.0
