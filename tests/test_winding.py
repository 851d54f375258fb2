"""Coils off lengths of wire: by hand, against every way there is, every layout reckoned over again."""

import random
from dataclasses import replace
from functools import cache
from itertools import product
from math import ceil, floor, inf

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from chaingen.make.winding import Winding, ceil_of, lay_out, least_lengths, whole

# Ten millimetres a turn, without a tail: five rings take six turns, 60 mm of a length of 100 mm.
ROUND = Winding(turn=10.0, per_coil=20, tail=0.0, sold_in=100.0)


def wire_for(winding, rings):
    """Wire in one length for so many rings [mm], coil by coil."""
    total = 0.0
    while rings > 0:
        coil = min(rings, winding.per_coil)
        total += (coil + 1) * winding.turn + winding.tail
        rings -= coil
    return total


def packed(windings, rings, layouts):
    """How many lengths a layout takes; fails unless every ring is cut and no length is too short."""
    cut = [0] * len(rings)
    for layout in layouts:
        assert layout.lengths >= 1
        assert any(layout.rings)
        assert min(layout.rings) >= 0
        used = sum(wire_for(w, n) for w, n in zip(windings, layout.rings, strict=True))
        assert used <= windings[0].sold_in + 1e-6
        cut = [a + layout.lengths * b for a, b in zip(cut, layout.rings, strict=True)]
    assert cut == list(rings)
    return sum(layout.lengths for layout in layouts)


def lengths_of(windings, rings):
    return packed(windings, rings, lay_out(windings, rings))


# By hand.


@pytest.mark.parametrize(
    ("tail", "least", "lengths"),
    [
        # 180 mm of coils, one parted in two at a turn more: 60 and 40 mm, 60 and 30 mm.
        (0.0, 2, 2),
        # 183 mm; beside 61 mm a coil of two rings has room, and a second one of three has not.
        (1.0, 2, 3),
        # 195 mm, and 15 mm more for a coil parted: over 200 mm.
        (5.0, 2, 3),
        # 210 mm.
        (10.0, 3, 3),
    ],
)
def test_three_sizes_of_more_than_half_a_length(tail, least, lengths):
    three = [replace(ROUND, tail=tail)] * 3
    assert least_lengths(three, [5, 5, 5]) == least
    assert lengths_of(three, [5, 5, 5]) == lengths


def test_sizes_that_fill_a_length_exactly():
    """Turns of 7, 11 and 13 mm, four, three and three of them: 28 + 33 + 39 = 100 mm."""
    windings = [replace(ROUND, turn=turn) for turn in (7.0, 11.0, 13.0)]
    (layout,) = lay_out(windings, [3, 2, 2])
    assert (layout.lengths, layout.rings) == (1, (3, 2, 2))
    assert lengths_of(windings, [3, 2, 3]) == 2


def test_the_least_wire_of_as_few_lengths():
    """Seven rings and seven: two lengths, a coil each; parting any would take a turn more."""
    layouts = lay_out([ROUND, ROUND], [7, 7])
    assert [(layout.lengths, layout.rings) for layout in layouts] == [(1, (7, 0)), (1, (0, 7))]


def test_a_small_size_goes_where_others_leave_room():
    """Eight rings leave 10 mm of a length, too little for a coil; seven leave 20 mm, just one ring's."""
    assert lengths_of([ROUND, ROUND], [8, 1]) == 2
    assert lengths_of([ROUND, ROUND], [7, 1]) == 1


def test_nothing_takes_nothing():
    assert lay_out([ROUND, ROUND], [0, 0]) == ()
    assert least_lengths([ROUND, ROUND], [0, 0]) == 0
    assert lengths_of([ROUND, ROUND], [0, 9]) == 1


def test_many_lengths_alike_are_told_once():
    layouts = lay_out([ROUND], [9 * 1_000_000 + 4])
    assert [(layout.lengths, layout.rings) for layout in layouts] == [(1_000_000, (9,)), (1, (4,))]


def test_the_check_finds_what_is_wrong():
    layouts = lay_out([ROUND] * 3, [5, 5, 5])
    first = layouts[0]
    one_more = tuple(n + (k == 0) for k, n in enumerate(first.rings))
    for broken in (
        layouts[1:],  # rings are not cut
        (*layouts, first),  # too many are
        (replace(first, rings=one_more), *layouts[1:]),
    ):
        with pytest.raises(AssertionError):
            packed([ROUND] * 3, [5, 5, 5], broken)
    # Nine rings of a length are what it gives, ten are not.
    with pytest.raises(AssertionError):
        packed([ROUND], [10], (replace(first, lengths=1, rings=(10,)),))


# A slow way for one size: every number of coils, and every way to part rings among lengths.


def most_of_length(winding):
    """Rings of one length, by trying every number of coils."""
    best, coils = 0, 1
    while winding.sold_in - coils * winding.tail - 2 * coils * winding.turn > -1e-9:
        turns = floor((winding.sold_in - coils * winding.tail) / winding.turn + 1e-9)
        best = max(best, min(coils * winding.per_coil, turns - coils))
        coils += 1
    return best


def fewest_coils(winding, lengths, count):
    """Coils for so many rings of so many lengths, by trying every number of rings in each length."""
    most = most_of_length(winding)

    @cache
    def fewest(left, lengths):
        if left <= 0:
            return 0
        if not lengths:
            return inf
        return min(ceil(m / winding.per_coil) + fewest(left - m, lengths - 1) for m in range(1, most + 1))

    return fewest(count, lengths)


windings = st.builds(
    Winding,
    turn=st.floats(4.0, 40.0),
    per_coil=st.integers(1, 12),
    tail=st.floats(0.0, 60.0),
    sold_in=st.floats(80.0, 900.0),
)


@settings(deadline=None)
@given(windings, st.integers(1, 60))
def test_lengths_serve_and_one_fewer_would_not(winding, count):
    most = most_of_length(winding)
    assert sum(winding.of_length()) == most
    if not most:
        return
    lengths, coils = winding.lengths_and_coils(count)
    assert lengths * most >= count > (lengths - 1) * most
    assert coils == fewest_coils(winding, lengths, count)
    assert winding.wire_of(count, coils) <= lengths * winding.sold_in + 1e-6
    layouts = lay_out([winding], [count])
    assert packed([winding], [count], layouts) == lengths
    assert sum(layout.lengths * ceil(layout.rings[0] / winding.per_coil) for layout in layouts) == coils


@given(windings, st.integers(0, 100))
def test_a_coil_is_never_longer_than_a_mandrel(winding, rings):
    coils = winding.parted(rings)
    assert sum(coils) == rings
    assert len(coils) == ceil_of(rings, winding.per_coil) == winding.coils_of(rings)
    assert all(1 <= coil <= winding.per_coil for coil in coils)
    assert winding.least_wire(rings) == pytest.approx(wire_for(winding, rings), abs=1e-6)


# Several sizes.


@st.composite
def several(draw, most=60):
    """Sizes of one wire, with how many rings of each; a length gives a ring of each."""
    tail, sold_in = draw(st.floats(0.0, 60.0)), draw(st.floats(150.0, 1200.0))
    sizes = draw(
        st.lists(
            st.tuples(st.floats(4.0, 40.0), st.integers(1, 30), st.integers(0, most)), min_size=1, max_size=6
        )
    )
    windings = [Winding(turn, per_coil, tail, sold_in) for turn, per_coil, _ in sizes]
    assume(all(most_of_length(winding) for winding in windings))
    return windings, [count for *_, count in sizes]


@settings(deadline=None)
@given(several())
def test_every_layout_can_be_cut_and_is_within_its_bounds(case):
    windings, rings = case
    layouts = lay_out(windings, rings)
    lengths = packed(windings, rings, layouts)
    used = sum(
        layout.lengths * wire_for(w, n)
        for layout in layouts
        for w, n in zip(windings, layout.rings, strict=True)
    )
    sold_in = windings[0].sold_in
    assert lengths >= ceil(used / sold_in - 1e-6)
    assert lengths >= least_lengths(windings, rings)
    # One by one as few as one size alone takes: what `test_lengths_serve_and_one_fewer_would_not` holds.
    assert lengths <= sum(ceil(n / most_of_length(w)) for w, n in zip(windings, rings, strict=True))


@settings(deadline=None)
@given(several(most=20), st.floats(0.3, 3.0))
def test_scaling(case, scale):
    windings, rings = case
    larger = [
        replace(w, turn=w.turn * scale, tail=w.tail * scale, sold_in=w.sold_in * scale) for w in windings
    ]
    one = lay_out(windings, rings)
    # The same layout serves at any scale; which of several equally good ones is taken is left to round-off.
    assert packed(larger, rings, one) == packed(windings, rings, one)


@pytest.mark.parametrize("power", [-2, 3])
def test_scaling_by_a_power_of_two_changes_nothing(power):
    """It rounds nothing off."""
    scale, choose = 2.0**power, random.Random(3)
    for _ in range(20):
        windings = [Winding(choose.uniform(5.0, 30.0), 8, 20.0, 400.0) for _ in range(3)]
        rings = [choose.randint(1, 40) for _ in windings]
        larger = [Winding(w.turn * scale, 8, 20.0 * scale, 400.0 * scale) for w in windings]
        assert lay_out(windings, rings) == lay_out(larger, rings)


def fewest_lengths(windings, rings):
    """The fewest lengths for all rings, by trying everything that one length can give."""
    sold_in = windings[0].sold_in
    fit = [
        taken
        for taken in product(*(range(n + 1) for n in rings))
        if any(taken) and sum(wire_for(w, n) for w, n in zip(windings, taken, strict=True)) <= sold_in + 1e-9
    ]
    # Only what cannot take a further ring.
    full = [a for a in fit if not any(a != b and all(x <= y for x, y in zip(a, b, strict=True)) for b in fit)]

    @cache
    def fewest(left):
        if not any(left):
            return 0
        rest = {tuple(max(0, n - m) for n, m in zip(left, taken, strict=True)) for taken in full}
        return 1 + min(fewest(one) for one in rest if one != left)

    return fewest(tuple(rings))


def test_as_few_lengths_as_any_way_takes():
    """Forty cases small enough to try everything; elsewhere the fewest is not proven."""
    choose = random.Random(1)
    better = 0
    for _ in range(40):
        tail = choose.choice((0.0, 10.0, 25.0))
        windings = [Winding(choose.uniform(6.0, 25.0), choose.choice((3, 8)), tail, 150.0) for _ in range(3)]
        rings = [choose.randint(1, 6) for _ in windings]
        lengths = lengths_of(windings, rings)
        assert least_lengths(windings, rings) <= fewest_lengths(windings, rings) == lengths
        better += lengths < sum(ceil(n / most_of_length(w)) for w, n in zip(windings, rings, strict=True))
    # Most are worth laying out together.
    assert better > 20


def test_whole_of_what_floats_lack():
    assert 2.4 / 0.8 < 3.0
    assert whole(2.4 / 0.8) == 3
    assert whole(2.999) == 2
