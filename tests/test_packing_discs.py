"""Discs on plates against shapely, the square grid, and a proven bound of how many there can be."""

from math import floor, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from shapely import STRtree, box, points

from chaingen.prepare.packing import ROUND_OFF, best_rows, pack_discs

ROOM = (60.0, 60.0)
"""Plate of a small machine for wax."""


def most_discs(diameter, width, depth):
    """No more equal discs than this are on a plate, by the inequality of N. Oler 1961, "An inequality in the
    geometry of numbers", Acta Mathematica 105, as quoted from memory: points a and more apart in a convex
    figure are at most 2/sqrt(3) area/a2 + half perimeter/a + 1. Centres are in the plate less half a disc."""
    x, y = (width - diameter) / diameter, (depth - diameter) / diameter
    return floor(2.0 / sqrt(3.0) * x * y + x + y + 1.0 + 1e-9)


def judge(diameters, room, spacing, plates):
    """Every disc once, none beyond the plate, none nearer another than the spacing; by shapely."""
    assert sorted(np.concatenate([plate.discs for plate in plates]).tolist()) == list(range(len(diameters)))
    near = 4.0 * ROUND_OFF
    for plate in plates:
        assert len(plate.discs)
        assert plate.centres.shape == (len(plate.discs), 2)
        radii = 0.5 * diameters[plate.discs]
        middles = points(plate.centres)
        # A disc is on the plate where its middle is, and as far from the border as it is wide.
        outside = box(0.0, 0.0, *room)
        assert outside.buffer(near).contains(middles).all()
        assert (outside.exterior.distance(middles) >= radii - near).all()
        reach = 2.0 * radii.max() + spacing
        a, b = STRtree(middles).query(middles, predicate="dwithin", distance=reach)
        a, b = a[a < b], b[a < b]
        apart = np.array([middles[i].distance(middles[j]) for i, j in zip(a, b, strict=True)])
        assert (apart >= radii[a] + radii[b] + spacing - near).all()


def density(diameters, room, spacing, plate):
    """Part of a plate that discs cover, each with half of its spacing."""
    covered = 0.25 * pi * ((diameters[plate.discs] + spacing) ** 2).sum()
    return covered / ((room[0] + spacing) * (room[1] + spacing))


@pytest.mark.parametrize(
    ("diameter", "square", "held"),
    [(3.3, 196, 216), (4.0, 144, 161), (5.0, 100, 105), (6.0, 64, 75), (7.5, 49, 52), (9.0, 36, 36),
     (12.0, 16, 20), (14.0, 16, 16), (19.0, 9, 9), (20.0, 4, 6)],
)  # fmt: skip
def test_equal_discs_beat_the_square_grid(diameter, square, held):
    """On 60 by 60 mm, 1 mm apart; the square grid counted by hand, and no more than Oler's bound allows."""
    assert floor(61.0 / (diameter + 1.0)) ** 2 == square
    rows = best_rows(diameter + 1.0, 61.0, 61.0, 10**6)
    assert rows.holds == held >= square
    assert held <= most_discs(diameter + 1.0, 61.0, 61.0)
    discs = np.full(held, diameter)
    plates = pack_discs(discs, ROOM, 1.0)
    assert len(plates) == 1
    judge(discs, ROOM, 1.0, plates)
    plates = pack_discs(np.full(held + 1, diameter), ROOM, 1.0)
    assert [len(plate.discs) for plate in plates] == [held, 1]


@pytest.mark.parametrize("side", range(1, 7))
def test_squares_of_discs_that_fill_the_plate(side):
    """Up to 36 discs in a square of 6 by 6 the square grid is best (common knowledge of packings of circles
    in a square, proven for these, from memory): nothing better is claimed, nothing less found."""
    plates = pack_discs(np.full(side**2, 10.0), (10.0 * side, 10.0 * side), 0.0)
    assert len(plates) == 1
    assert most_discs(10.0, 10.0 * side, 10.0 * side) >= side**2
    assert len(pack_discs(np.full(side**2 + 1, 10.0), (10.0 * side, 10.0 * side), 0.0)) == 2


def test_large_plates_come_near_the_hexagonal_density():
    """pi / (2 sqrt 3) = 0.9069 of the plane at most (Thue); a square grid covers pi / 4 = 0.785."""
    discs = np.full(10_000, 4.0)
    plates = pack_discs(discs, (400.0, 400.0), 0.5)
    judge(discs, (400.0, 400.0), 0.5, plates)
    assert 0.89 < density(discs, (400.0, 400.0), 0.5, plates[0]) < pi / sqrt(12.0)
    assert len(plates) == 2


def shelves(diameters, room, spacing):
    """How many plates rows of square cells take, the largest discs first: one row behind the other."""
    width, depth = room[0] + spacing, room[1] + spacing
    plates, x, y, row = 1, 0.0, 0.0, 0.0
    for cell in np.sort(diameters + spacing)[::-1].tolist():
        row = row or cell
        if x + cell > width + 1e-9:
            x, y, row = 0.0, y + row, cell
        if y + cell > depth + 1e-9:
            plates, x, y, row = plates + 1, 0.0, 0.0, cell
        x += cell
    return plates


def test_mixed_discs_fill_what_is_left(rng):
    """Three sizes as pieces have them: no more plates than rows of square cells take, and near the bound that
    all discs at the hexagonal density would give."""
    saved = 0
    for sizes in ([9.0, 5.5, 3.5], [6.0, 4.0, 3.3], [8.0, 7.0, 3.0]):
        diameters = np.array(sizes)[rng.integers(0, 3, 800)]
        plates = pack_discs(diameters, ROOM, 1.0)
        judge(diameters, ROOM, 1.0, plates)
        least = 0.25 * pi * ((diameters + 1.0) ** 2).sum() / (61.0**2 * pi / sqrt(12.0))
        assert least < len(plates) <= shelves(diameters, ROOM, 1.0)
        assert len(plates) <= 1.2 * least + 1.0
        saved += shelves(diameters, ROOM, 1.0) - len(plates)
    assert saved > 0


def test_small_discs_go_between_large_ones():
    # Four discs of 30 fill 60 by 60; the hole in their middle takes one of 30 (sqrt 2 - 1) = 12.43.
    for small, plates in ((12.42, 1), (12.43, 2)):
        diameters = np.array([small, 30.0, 30.0, 30.0, 30.0])
        found = pack_discs(diameters, ROOM, 0.0)
        assert len(found) == plates
        judge(diameters, ROOM, 0.0, found)
        if plates == 1:
            assert found[0].centres[found[0].discs == 0][0] == pytest.approx([30.0, 30.0], abs=0.2)


def test_two_discs_that_only_fit_across_the_corners():
    # Discs d in a square a: a = d (1 + 1 / sqrt 2), so that 60 takes two of up to 35.147.
    for wide, plates in ((35.14, 1), (35.16, 2)):
        found = pack_discs(np.array([wide, wide - 0.001]), ROOM, 0.0)
        assert len(found) == plates
        judge(np.array([wide, wide - 0.001]), ROOM, 0.0, found)


def test_ten_thousand_of_many_sizes(rng):
    for kinds in (1, 4, 60):
        diameters = np.sort(rng.uniform(2.0, 9.0, kinds))[rng.integers(0, kinds, 10_000)]
        plates = pack_discs(diameters, (300.0, 300.0), 1.0)
        judge(diameters, (300.0, 300.0), 1.0, plates)
        assert min(density(diameters, (300.0, 300.0), 1.0, plate) for plate in plates[:-1]) > 0.78


def test_alike_every_time(rng):
    diameters = rng.choice([3.0, 4.0, 8.5], 300)
    first, second = pack_discs(diameters, ROOM, 0.7), pack_discs(diameters, ROOM, 0.7)
    for one, two in zip(first, second, strict=True):
        assert (one.discs == two.discs).all()
        assert (one.centres == two.centres).all()


def test_as_wide_as_the_plate():
    plates = pack_discs(np.array([60.0, 60.0, 5.0]), ROOM, 1.0)
    assert [sorted(plate.discs.tolist()) for plate in plates] == [[0, 2], [1]]
    judge(np.array([60.0, 60.0, 5.0]), ROOM, 1.0, plates)
    assert pack_discs(np.array([]), ROOM, 1.0) == []
    with pytest.raises(AssertionError, match="wider than the plate"):
        pack_discs(np.array([60.1]), ROOM, 1.0)


def test_judge_sees_discs_that_are_too_near():
    """The judge of these tests does not let pass what it should not."""
    diameters = np.full(12, 9.0)
    (plate,) = pack_discs(diameters, ROOM, 1.0)
    for shift in ([0.1, 0.0], [-61.0, 0.0]):
        moved = plate.centres.copy()
        moved[1] += shift
        with pytest.raises(AssertionError):
            judge(diameters, ROOM, 1.0, [type(plate)(plate.discs, moved)])


@settings(deadline=None)
@given(
    diameters=st.lists(st.sampled_from([2.0, 3.1, 4.7, 9.9]) | st.floats(0.5, 12.0), min_size=1, max_size=60),
    width=st.floats(12.0, 50.0),
    depth=st.floats(12.0, 50.0),
    spacing=st.just(0.0) | st.floats(0.1, 3.0),
)
def test_any_discs(diameters, width, depth, spacing):
    discs = np.array(diameters)
    judge(discs, (width, depth), spacing, pack_discs(discs, (width, depth), spacing))


@settings(deadline=None)
@given(diameter=st.floats(0.5, 30.0), width=st.floats(31.0, 80.0), depth=st.floats(31.0, 80.0))
def test_rows_of_any_disc(diameter, width, depth):
    """Rows that hold most keep clear, stay on the plate, and hold what they say."""
    rows = best_rows(diameter, width, depth, 10**6)
    centres = rows.centres(diameter)
    assert len(centres) == rows.holds <= most_discs(diameter, width, depth)
    assert rows.holds >= floor(width / diameter) * floor(depth / diameter)
    assert rows.rows_for(rows.holds) == rows.count
    low, high = centres.min(axis=0), centres.max(axis=0)
    assert (low >= 0.5 * diameter - ROUND_OFF).all()
    assert (high <= np.array([width, depth]) - 0.5 * diameter + 2.0 * ROUND_OFF).all()
    if len(centres) > 1:
        assert cKDTree(centres).query(centres, k=2)[0][:, 1].min() >= diameter - 2.0 * ROUND_OFF
