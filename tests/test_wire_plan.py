"""Wire, coils and bags: closed forms, a bracelet and earrings worked by hand, wire to buy, what breaks."""

from collections import Counter
from dataclasses import replace
from itertools import pairwise
from math import ceil, cos, dist, hypot, pi, sin, sqrt
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.design.bench import Bench, CutWay
from chaingen.design.load import load_design, parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.make.counts import RingCount, ring_weight
from chaingen.make.winding import ceil_of
from chaingen.make.wire_plan import part_of, ring_plans, winding_of, wire_orders, wire_weight
from chaingen.pipeline import build
from chaingen.stock.metals import find_metal
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import RingSize

EXAMPLES = Path(__file__).parent.parent / "examples"
SILVER, COPPER = find_metal("sterling silver"), find_metal("copper")
BENCH = Bench(kerf=0.25, spare=0.1, mandrel_length=20.0, tail=40.0)


def rings(count, inside=5.0, wire=1.0, metal=COPPER, name="link"):
    size = RingSize(name, inside, wire)
    return RingCount(size, metal, count, count * ring_weight(size, metal))


def plan_of(count, bench=BENCH, **size):
    (plan,) = ring_plans((rings(count, **size),), bench)
    return plan


# Closed forms.


def test_wire_of_a_ring_is_its_volume():
    """Theorem of Pappus: 2 pi^2 R r^2 is the section times the way of its middle."""
    plan = plan_of(100, inside=6.0, wire=1.2, metal=SILVER)
    assert plan.cut_length == pytest.approx(pi * 7.2, rel=1e-12)
    assert plan.cut_length == pytest.approx(22.6195, abs=5e-5)
    # 2 pi^2 3.6 0.6^2 = 25.5820 mm3; alloy data sheet 10.36 g/cm3.
    assert wire_weight(100 * plan.cut_length, 1.2, SILVER) == pytest.approx(26.503, abs=5e-4)
    assert wire_weight(100 * plan.cut_length, 1.2, SILVER) == pytest.approx(plan.rings.weight, rel=1e-12)


@pytest.mark.parametrize(("inches", "pounds"), [(0.0808, 19.77), (0.0403, 4.917), (0.0320, 3.092)])
def test_weight_of_copper_wire_against_the_wire_tables(inches, pounds):
    """Pounds in 1000 ft of 12, 18 and 20 AWG, copper of 8.89 g/cm3: NBS Handbook 100, from memory."""
    # The tables reckon with diameters before they are rounded to four places.
    copper = replace(COPPER, density=8.89)
    grams = wire_weight(1000.0 * 304.8, inches * 25.4, copper)
    assert grams / 453.59237 == pytest.approx(pounds, rel=0.004)


def test_a_turn_is_a_helix():
    """Chords of a helix that climbs one wire a turn; what the cut leaves is the ring that was wanted."""
    winding = winding_of(rings(1), BENCH)
    radius = 0.5 * (5.0 + BENCH.kerf / pi + 1.0)  # a sawn ring closes by kerf / pi
    steps = 4000
    points = [
        (radius * cos(2.0 * pi * k / steps), radius * sin(2.0 * pi * k / steps), k / steps)
        for k in range(steps + 1)
    ]
    length = sum(dist(a, b) for a, b in pairwise(points))
    assert winding.turn == pytest.approx(length, rel=1e-6)


def test_plan_by_hand():
    plan = plan_of(50)
    # 20 turns on 20 mm of mandrel give 19 rings: 55 rings take three coils, 58 turns.
    turn = sqrt((6.0 * pi + 0.25) ** 2 + 1.0)
    assert (plan.spare, plan.count, plan.coils, plan.turns) == (5, 55, 3, 58)
    assert (plan.kerf, plan.kerf_assumed) == (0.25, False)
    assert plan.coil_length == pytest.approx(58.0, rel=1e-12)
    assert plan.wire_length == pytest.approx(58 * turn + 3 * 40.0, rel=1e-12)
    assert plan.wire_length == pytest.approx(1229.29, abs=0.01)
    assert plan.wire_weight == pytest.approx(1229.29 * pi / 4.0 * 8.94 / 1000.0, rel=1e-5)
    assert (plan.lengths, plan.bags) == (None, None)


@pytest.mark.parametrize(
    ("count", "sold_in", "lengths", "coils"),
    [
        # A full coil takes 20 * 19.1257 + 40 = 422.5 mm; of 500 mm, 77.5 are left: too short for a ring.
        (50, 500.0, 3, 3),
        # Of 1000 mm two full coils, and of the 155.0 left a coil of six turns: 38 and 5 rings.
        (50, 1000.0, 2, 3),
        (69, 1000.0, 2, 4),
        # 81 rings: four full coils hold 76, a short one the other 5; 82 take a short one of either length.
        (73, 1000.0, 2, 5),
        (74, 1000.0, 2, 6),
        # Too short for a full coil: seven turns and a tail in 180 mm, six rings a length, a coil each.
        (50, 180.0, 10, 10),
    ],
)
def test_lengths_by_hand(count, sold_in, lengths, coils):
    bench = replace(BENCH, sold_in=sold_in)
    plan = plan_of(count, bench)
    assert (plan.lengths, plan.coils, plan.turns) == (lengths, coils, plan.count + coils)
    assert plan.wire_length <= lengths * sold_in
    (order,) = wire_orders((plan,), bench)
    assert (order.lengths, order.wire_length) == (lengths, plan.wire_length)
    assert sum(use.lengths * len(own) for use in order.uses for own in use.coils) == coils


def test_kerf_that_nobody_said():
    sawn, clipped = (plan_of(10, replace(BENCH, kerf=None, cut=way)) for way in (CutWay.SAW, CutWay.FLUSH))
    assert (sawn.kerf, sawn.kerf_assumed) == (0.25, True)
    assert (clipped.kerf, clipped.kerf_assumed) == (0.5, True)
    assert clipped.cut_length == sawn.cut_length
    assert clipped.wire_length > sawn.wire_length


def test_no_kerf_is_a_kerf():
    plan = plan_of(10, replace(BENCH, kerf=0.0))
    assert (plan.kerf, plan.kerf_assumed) == (0.0, False)
    # Ten rings, a spare one, a lost turn.
    assert plan.wire_length == pytest.approx(12 * sqrt((6.0 * pi) ** 2 + 1.0) + 40.0, rel=1e-12)


# Invariants.


@settings(deadline=None)
@given(
    count=st.integers(1, 3000),
    inside=st.floats(1.0, 20.0),
    wire=st.floats(0.3, 3.0),
    mandrel=st.floats(10.0, 400.0),
    tail=st.floats(0.0, 100.0),
    spare=st.floats(0.0, 0.5),
)
def test_turns_fit_on_the_mandrel(count, inside, wire, mandrel, tail, spare):
    bench = Bench(kerf=0.2, mandrel_length=mandrel, tail=tail, spare=spare)
    plan = plan_of(count, bench, inside=inside, wire=wire)
    assert plan.turns == plan.count + plan.coils
    assert plan.coil_length <= plan.coils * mandrel + 1e-6
    # One coil fewer has no room for the rings and its lost turns.
    assert (plan.count + plan.coils - 1) * wire > (plan.coils - 1) * (mandrel - wire)
    assert plan.count >= count * (1.0 + spare) - 1e-9
    assert plan.wire_weight > plan.rings.weight


@given(st.floats(0.5, 4.0))
def test_scaling(scale):
    bench = replace(BENCH, sold_in=1000.0)
    larger = Bench(
        kerf=0.25 * scale, mandrel_length=20.0 * scale, tail=40.0 * scale, sold_in=1000.0 * scale, spare=0.1
    )
    one, other = plan_of(50, bench), plan_of(50, larger, inside=5.0 * scale, wire=scale)
    assert (one.turns, one.coils, one.lengths) == (other.turns, other.coils, other.lengths)
    assert other.wire_length == pytest.approx(scale * one.wire_length)
    assert other.wire_weight == pytest.approx(scale**3 * one.wire_weight)


# Roundings.


@pytest.mark.parametrize(
    ("count", "part", "more"),
    [(100, 0.07, 7), (30, 0.1, 3), (31, 0.1, 4), (1, 0.05, 1), (7, 0.0, 0), (0, 0.5, 0), (3, 1.0, 3)],
)
def test_spare_rings_up_to_whole_ones(count, part, more):
    """As floats 100 times 0.07 are more than 7, which would make 8 of them."""
    assert part_of(count, part) == more
    assert plan_of(count, replace(BENCH, spare=part)).spare == more


def test_three_turns_of_0_8_mm_are_2_4_mm():
    assert 2.4 / 0.8 < 3.0
    plan = plan_of(4, Bench(kerf=0.25, mandrel_length=2.4, spare=0.0), wire=0.8)
    assert plan.coils == 2


@pytest.mark.parametrize(("count", "bags"), [(90, 1), (91, 2), (181, 2), (182, 3), (0, 0)])
def test_bags(count, bags):
    """Rings and a tenth of them, in bags of 100: 90 and 9; 91 and 10; 181 and 19; 182 and 19."""
    assert plan_of(count, replace(BENCH, bag=100)).bags == bags
    assert ceil_of(count + part_of(count, 0.1), 100) == bags


def test_nothing_takes_nothing():
    plan = plan_of(0, replace(BENCH, sold_in=1000.0, bag=50))
    assert (plan.turns, plan.coils, plan.lengths, plan.bags, plan.wire_length) == (0, 0, 0, 0, 0.0)


# A bracelet of 7 inches, pairs joined by single rings, 3 mm inside of 18 AWG (common practice that it works).


def test_bracelet_by_hand():
    r = 0.5 * 0.005 * 25.4 * 92 ** ((36 - 18) / 39)  # ASTM B258: wire radius of 18 AWG
    big = 1.5 + r
    # Pulled straight, a single ring stands upright, and a pair lies flat, its wires on one another at heights
    # +r and -r. Where these pass through the single ring they touch its inside, 2 r off its centreline:
    reach = sqrt((big - 2.0 * r) ** 2 - r**2)
    # Between the middles of a single ring and a pair it is as far as the pair's wire is from either.
    period = 2.0 * (big + reach)
    assert period == pytest.approx(5.715, abs=1e-3)
    ends = 3.0 + 4.0 * r  # the outside of a pair: half of it at either end
    pairs = 1 + round((7.0 * 25.4 - ends) / period)
    singles = pairs - 1
    assert (pairs, singles) == (31, 30)

    text = starter_design("two-in-one", inside="3 mm", wire="18 AWG", length="7 in")
    result = build(parse_design(text))
    (count,) = result.counts
    assert count.count == 2 * pairs + singles == 92
    length = singles * period + ends
    assert length == pytest.approx(176.5, abs=0.1)
    assert result.finished_length == pytest.approx(length, abs=0.05)
    assert result.fits

    (plan,) = ring_plans(result.counts, Bench(kerf=0.25, sold_in=1000.0, bag=100))
    # A tenth spare: 9.2, so 10. 100 mm of mandrel hold 97 turns, 96 rings: two coils and 104 turns.
    assert (plan.spare, plan.count, plan.coils, plan.turns, plan.bags) == (10, 102, 2, 104, 2)
    # A ring is pi (3 + 1.0237) = 12.641 mm, a turn with its cut 12.931: 104 of them and two tails of 40 mm.
    assert plan.cut_length == pytest.approx(12.641, abs=1e-3)
    assert plan.wire_length == pytest.approx(104 * 12.931 + 80.0, abs=0.1)
    assert plan.lengths == 2
    assert plan.wire_weight == pytest.approx(plan.wire_length * pi * r * r * 10.36e-3, rel=1e-12)


# Wire to buy for several sizes together.


def orders_of(*counts, bench):
    plans = ring_plans(counts, bench)
    return plans, wire_orders(plans, bench)


def test_earrings_by_hand():
    """Three sizes of 18 AWG silver, a coil each, come off one length of 1 m; each alone would take one."""
    design = load_design(
        EXAMPLES / "graduated-earring.toml", settings=EXAMPLES / "workshop" / "saltmarsh-lane.toml"
    )
    sizes = Counter(m.size for m in piece_graph(design.piece).members if isinstance(m.size, RingSize))
    counts = [RingCount(size, SILVER, 2 * n, 2 * n * ring_weight(size, SILVER)) for size, n in sizes.items()]
    plans, orders = orders_of(*counts, bench=design.bench)
    wire = 0.005 * 25.4 * 92 ** ((36 - 18) / 39)  # ASTM B258
    kerf = design.bench.kerf
    assert kerf == pytest.approx(0.24, abs=0.01)
    # Of both earrings six, twelve and six rings, and a tenth spare: 7, 14 and 7; a turn more of each coil.
    turns = {3.25: 8, 4.0: 15, 5.0: 8}
    length = sum(n * hypot(pi * (inside + wire) + kerf, wire) + 40.0 for inside, n in turns.items())
    assert length == pytest.approx(624.0, abs=0.1)
    order = next(one for one in orders if len(one.sizes) == 3)
    assert [size.name for size in order.sizes] == ["tiny", "small", "middle"]
    assert order.wire_length == pytest.approx(length, rel=1e-9)
    assert order.weight == pytest.approx(length * pi / 4.0 * wire**2 * 10.36e-3, rel=1e-9)
    (use,) = order.uses
    assert (order.lengths, use.lengths) == (1, 1)
    assert use.coils == ((7,), (14,), (7,))
    assert use.left == pytest.approx(1000.0 - length)
    assert [plan.lengths for plan in plans] == [1] * 5
    assert [one.lengths for one in orders] == [1, 1, 1]


def test_only_wire_of_one_metal_and_diameter_is_shared():
    bench = replace(BENCH, sold_in=1000.0)
    counts = (
        rings(5),
        rings(5, inside=7.0, name="other"),
        rings(5, metal=SILVER),
        rings(5, wire=1.2, name="thick"),
        rings(5, wire=1.0 + 1e-9, inside=6.0, name="same"),
    )
    _, orders = orders_of(*counts, bench=bench)
    named = [(o.metal.name, round(o.wire_diameter, 4), [s.name for s in o.sizes], o.lengths) for o in orders]
    assert named == [
        ("copper", 1.0, ["link", "other", "same"], 1),
        ("sterling silver", 1.0, ["link"], 1),
        ("copper", 1.2, ["thick"], 1),
    ]


def test_wire_as_long_as_wanted():
    plans, (order,) = orders_of(rings(30), rings(30, inside=7.0, name="other"), bench=BENCH)
    assert (order.lengths, order.uses) == (None, ())
    assert order.wire_length == pytest.approx(sum(plan.wire_length for plan in plans))
    assert [plan.coils for plan in plans] == [2, 2]


size_counts = st.lists(
    st.tuples(st.floats(2.0, 12.0), st.sampled_from((0.8, 1.0)), st.integers(1, 120)),
    min_size=1,
    max_size=6,
    unique_by=lambda size: size[:2],
)


@settings(deadline=None)
@given(
    sizes=size_counts,
    sold_in=st.floats(150.0, 2000.0),
    mandrel=st.floats(5.0, 120.0),
    tail=st.floats(0.0, 50.0),
)
def test_orders_can_be_cut(sizes, sold_in, mandrel, tail):
    """Coil by coil: each fits on the mandrel, those of a length fit on it, all rings come off."""
    bench = Bench(kerf=0.25, mandrel_length=mandrel, tail=tail, sold_in=sold_in, spare=0.1)
    counts = [
        rings(n, inside=inside, wire=wire, name=f"size {k}") for k, (inside, wire, n) in enumerate(sizes)
    ]
    plans, orders = orders_of(*counts, bench=bench)
    cut = dict.fromkeys((plan.rings.size.name for plan in plans), 0)
    coils = dict(cut)
    for order in orders:
        used = 0.0
        for use in order.uses:
            length = 0.0
            for (size, count), own in zip(use.rings, use.coils, strict=True):
                assert sum(own) == count
                turn = hypot(pi * (size.inside_diameter + size.wire_diameter) + 0.25, size.wire_diameter)
                for coil in own:
                    assert (coil + 1) * size.wire_diameter <= mandrel + 1e-6
                    length += (coil + 1) * turn + tail
                cut[size.name] += use.lengths * count
                coils[size.name] += use.lengths * len(own)
            assert length <= sold_in + 1e-6
            assert use.left == pytest.approx(sold_in - length, abs=1e-6)
            used += use.lengths * length
        assert order.wire_length == pytest.approx(used)
        own = [plan for plan in plans if plan.rings.size in order.sizes]
        assert order.wire_length == pytest.approx(sum(plan.wire_length for plan in own))
        assert order.weight == pytest.approx(sum(plan.wire_weight for plan in own))
        assert order.lengths == sum(use.lengths for use in order.uses)
        assert ceil(used / sold_in - 1e-6) <= order.lengths <= sum(plan.lengths for plan in own)
    assert cut == {plan.rings.size.name: plan.count for plan in plans}
    assert coils == {plan.rings.size.name: plan.coils for plan in plans}


# What breaks.


def problems_of(*counts, bench):
    with pytest.raises(BadInput) as caught:
        ring_plans(counts, bench)
    return caught.value.problems


def test_a_length_too_short_for_a_ring():
    """Two turns of 19.126 mm and a tail of 40: 78.25 mm, told as 79."""
    (problem,) = problems_of(rings(5), bench=replace(BENCH, sold_in=78.0))
    assert (problem.where, problem.got) == ("bench.sold_in", "78 mm")
    assert "'link'" in problem.expected
    assert "79 mm or more" in problem.expected
    assert plan_of(5, replace(BENCH, sold_in=79.0)).lengths == 6


def test_a_mandrel_too_short_for_two_turns():
    (problem,) = problems_of(rings(5), bench=replace(BENCH, mandrel_length=1.9))
    assert (problem.where, problem.got) == ("bench.mandrel_length", "1.9 mm")
    assert "2 mm or more" in problem.expected
    assert plan_of(5, replace(BENCH, mandrel_length=2.0)).coils == 6


def test_every_size_that_does_not_do_is_named_once():
    small, large = rings(5), rings(5, inside=40.0, name="large")
    again = replace(large, metal=SILVER)
    bench = replace(BENCH, sold_in=100.0)
    (problem,) = problems_of(small, large, again, bench=bench)
    assert "'large'" in problem.expected
    assert len(ring_plans((small,), bench)) == 1
