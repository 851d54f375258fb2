"""Money to the cent by hand, what stays blank, and time. All prices here are invented."""

from dataclasses import replace
from decimal import Decimal
from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.design.bench import Bench, Price, PriceList
from chaingen.findings.finding import Bead
from chaingen.make.counts import RingCount, ring_weight
from chaingen.make.finding_counts import FindingCount, bead_counts, finding_weight
from chaingen.make.money import money_of, round_money
from chaingen.make.wire_plan import ring_plans
from chaingen.stock.metals import find_metal
from chaingen.weave.groups import RingSize
from tests.test_ends import CLASP, PIN

SILVER, COPPER = find_metal("sterling silver"), find_metal("copper")
BALL = Bead("bead 1", "ball", 6.0, 6.0, 1.0, (0.2, 0.4, 0.6), 2.5)


def eur(amount):
    return Price(Decimal(amount), "EUR")


def prices(**given):
    return PriceList(currency="EUR", **given)


def rings(count, *, name="link", metal=SILVER):
    size = RingSize(name, 5.0, 1.0)
    return RingCount(size, metal, count, count * ring_weight(size, metal))


HUNDRED = (rings(100),)


def findings_of(*pairs):
    return tuple(
        FindingCount(finding, SILVER, count, count * finding_weight(finding, SILVER))
        for finding, count in pairs
    )


def money(price_list=None, *, counts=HUNDRED, findings=(), opened=40, closed=60, **bench):
    settings = Bench(**{"kerf": 0.25, "prices": price_list or PriceList(), **bench})
    plans = ring_plans(counts, settings)
    return money_of(plans, findings, bead_counts(findings), opened, closed, settings)


TIMES = {"open_seconds": 5.0, "close_seconds": 10.0}
BOTH = findings_of((PIN, 4), (CLASP, 1))


# By hand.


def test_whole_sum_by_hand():
    drop = replace(PIN, name="drop", beads=(BALL, replace(BALL, part="bead 2")))
    found = money(
        prices(
            per_ring=(("link", eur("0.045")),),
            each=(("drop", eur("0.60")), ("clasp", eur("3.90"))),
            bead=(("drop", eur("0.25")),),
            per_hour=eur("18.50"),
            overhead=0.15,
            markup=2.2,
        ),
        findings=findings_of((drop, 4), (CLASP, 1)),
        finding_seconds=(("drop", 90.0),),
        **TIMES,
    )
    # 100 rings and 10 spare ones at 0.045: 4.95. Four drops 2.40 with 8 beads 2.00, a clasp 3.90.
    assert [line.amount for line in found.lines] == [
        Decimal("4.95"), Decimal("2.40"), Decimal("3.90"), Decimal("2.00"),
    ]  # fmt: skip
    assert [line.what for line in found.lines] == [
        "rings 'link', sterling silver",
        "head pin 'drop', sterling silver",
        "lobster clasp 'clasp', sterling silver",
        "beads of head pin 'drop'",
    ]
    assert found.lines[0].basis == "110 rings at 0.045 EUR a ring"
    assert found.lines[3].basis == "8 beads at 0.25 EUR a bead"
    assert found.material == found.known_material == Decimal("13.25")
    # 40 rings opened and 100 closed, four drops made: 200 + 1000 + 360 s at 18.50 an hour are 8.0167.
    assert found.seconds == 1560.0
    assert found.work == Decimal("8.02")
    # 15 % of 21.27 are 3.1905; 24.46 times 2.2 are 53.812.
    assert found.overhead == Decimal("3.19")
    assert found.cost == Decimal("24.46")
    assert found.price == Decimal("53.81")
    assert (found.currency, found.missing) == ("EUR", ())


def test_wire_by_the_gram_by_hand():
    found = money(prices(per_gram=(("sterling silver", eur("1.95")),)), spare=0.0, mandrel_length=200.0)
    # 101 turns of sqrt((6 pi + 0.25)^2 + 1) mm in one coil, a tail of 40 mm; 0.785398 mm2 of 10.36 g/cm3.
    grams = (101 * 19.125722 + 40.0) * pi / 4.0 * 10.36e-3
    assert grams == pytest.approx(16.0432, abs=1e-4)
    assert found.lines[0].basis == "16.043 g at 1.95 EUR a gram"
    assert found.lines[0].amount == Decimal("31.28")  # 31.28385


def test_wire_is_charged_as_it_is_used():
    """Three lengths of 1 m are bought and 2.281 m used: 113 turns of 19.1257 mm and three tails of 40 mm.

    A length gives 49 rings: 50 turns in the 960 mm beside the tail.
    """
    by_metre = prices(per_metre=(("link", eur("4.20")),))
    by_gram = prices(per_gram=(("sterling silver", eur("1.95")),))
    (line,) = money(by_metre, sold_in=1000.0).lines
    assert (line.basis, line.amount) == ("2.281 m at 4.20 EUR a metre", Decimal("9.58"))
    (line,) = money(by_gram, sold_in=1000.0).lines
    # 2281.2066 mm of 0.7853982 mm2 are 1791.6556 mm3, and of 10.36 g/cm3 18.5616 g.
    assert (line.basis, line.amount) == ("18.562 g at 1.95 EUR a gram", Decimal("36.20"))
    # As long as wanted it takes a coil less: 112 turns of 19.1257 mm and two tails of 40 mm.
    (line,) = money(by_metre).lines
    assert (line.basis, line.amount) == ("2.222 m at 4.20 EUR a metre", Decimal("9.33"))


def test_sizes_that_share_a_length_are_charged_what_each_takes():
    """Earrings: 7, 14 and 7 rings off one length; a coil each. Amounts by hand, of 2 EUR a gram."""
    sizes = [RingSize(name, inside, 1.0) for name, inside in (("a", 3.0), ("b", 4.0), ("c", 5.0))]
    counts = tuple(
        RingCount(size, SILVER, n, n * ring_weight(size, SILVER))
        for size, n in zip(sizes, (6, 12, 6), strict=True)
    )
    found = money(prices(per_gram=(("sterling silver", eur("2")),)), counts=counts, sold_in=1000.0)
    # 8, 15 and 8 turns of sqrt((pi d + 0.25)^2 + 1) mm, d 4, 5 and 6 mm: 12.8554, 15.9894 and 19.1257; 40 mm.
    lengths = (8 * 12.8554 + 40.0, 15 * 15.9894 + 40.0, 8 * 19.1257 + 40.0)
    grams = [round(length * pi / 4.0 * 10.36e-3, 3) for length in lengths]
    assert grams == [1.162, 2.277, 1.57]
    assert [line.amount for line in found.lines] == [Decimal("2.32"), Decimal("4.55"), Decimal("3.14")]
    assert {line.unit for line in found.lines} == {"gram"}


def test_whole_bags_are_bought():
    (line,) = money(prices(per_bag=(("link", eur("6.50")),)), bag=100).lines
    assert (line.basis, line.amount) == ("2 bags of 100 at 6.50 EUR a bag", Decimal("13.00"))


def test_what_is_shown_times_its_price_is_the_amount():
    for count in range(1, 60):
        (line,) = money(prices(per_gram=(("sterling silver", eur("67.35")),)), counts=(rings(count),)).lines
        grams = Decimal(line.basis.split()[0])
        assert line.amount == round_money(grams * Decimal("67.35"), "EUR")


def test_findings_by_the_gram_where_they_have_no_price():
    found = money(prices(per_gram=(("sterling silver", eur("2.00")),)), findings=findings_of((PIN, 4)))
    # Rings of 1 mm wire, 2 mm inside: 3 pi pi / 4 mm3 each.
    grams = round(4 * 3.0 * pi * pi / 4.0 * 10.36e-3, 3)
    assert grams == 0.307
    assert (found.lines[1].basis, found.lines[1].amount) == ("0.307 g at 2.00 EUR a gram", Decimal("0.61"))


# Which price counts.


def test_bag_ring_metre_gram_in_this_order():
    given = {
        "per_bag": (("link", eur("1")),),
        "per_ring": (("link", eur("1")),),
        "per_metre": (("link", eur("1")),),
        "per_gram": (("sterling silver", eur("1")),),
    }
    for unit in ("bag", "ring", "metre", "gram"):
        (line,) = money(prices(**given), bag=100).lines
        assert line.basis.endswith(f"at 1 EUR a {unit}")
        del given[f"per_{unit}"]
    (line,) = money(prices(**given)).lines
    assert (line.basis, line.amount) == ("", None)


def test_prices_go_by_name():
    counts = (rings(10), rings(10, name="small"), rings(10, metal=COPPER))
    found = money(
        prices(per_ring=(("small", eur("0.10")),), per_gram=(("copper", eur("0.02")),)), counts=counts
    )
    assert [line.amount is None for line in found.lines] == [True, False, False]
    assert found.lines[1].amount == Decimal("1.10")
    assert found.material is None
    assert found.known_material == Decimal("1.10") + found.lines[2].amount
    assert found.missing[0] == "a price for wire of sterling silver"


# What stays blank.


def test_nothing_given_leaves_everything_blank():
    found = money(findings=findings_of((PIN, 1)))
    assert found.currency is None
    assert all(line.amount is None and not line.basis for line in found.lines)
    assert (found.material, found.work, found.overhead, found.cost, found.price) == (None,) * 5
    assert (found.known_material, found.seconds) == (0, None)
    assert found.missing == (
        "a price for wire of sterling silver",
        "a price for head pin 'pin'",
        "seconds to open a ring",
        "seconds to close a ring",
        "seconds to make head pin 'pin'",
        "a rate for an hour of work",
        "a markup",
    )


def test_time_is_told_without_any_price():
    found = money(**TIMES)
    assert found.seconds == 40 * 15.0 + 60 * 10.0
    assert (found.currency, found.work, found.cost) == (None, None, None)


FULL = {"per_ring": (("link", eur("0.05")),), "per_hour": eur("20"), "overhead": 0.1, "markup": 2.0}


@pytest.mark.parametrize(
    ("without", "blank", "missing"),
    [
        ("per_ring", ("material", "overhead", "cost", "price"), "a price for wire of sterling silver"),
        ("per_hour", ("work", "overhead", "cost", "price"), "a rate for an hour of work"),
        ("markup", ("price",), "a markup"),
    ],
)
def test_what_is_not_given_leaves_blank_what_needs_it(without, blank, missing):
    whole = money(prices(**FULL), **TIMES)
    assert whole.missing == ()
    part = money(prices(**{key: value for key, value in FULL.items() if key != without}), **TIMES)
    assert part.missing == (missing,)
    for field in ("material", "work", "overhead", "cost", "price", "seconds"):
        assert getattr(part, field) == (None if field in blank else getattr(whole, field))


@pytest.mark.parametrize("which", ["open", "close"])
def test_time_that_is_not_given(which):
    times = {key: value for key, value in TIMES.items() if not key.startswith(which)}
    found = money(prices(**FULL), **times)
    assert (found.seconds, found.work, found.cost) == (None, None, None)
    assert found.missing == (f"seconds to {which} a ring",)


def test_time_for_what_is_not_done_need_not_be_given():
    assert money(opened=0, closed=7, close_seconds=10.0).seconds == 70.0
    assert money(opened=0, closed=0).seconds == 0.0


def test_no_time_without_an_order_of_work():
    found = money(prices(**FULL), opened=None, closed=100, **TIMES)
    assert (found.seconds, found.work, found.price) == (None, None, None)
    assert found.missing == ("which rings are opened",)


def test_no_overhead_given_is_none():
    found = money(prices(**{**FULL, "overhead": None}), **TIMES)
    assert (found.overhead, found.missing) == (0, ())
    assert found.cost == found.material + found.work


def test_zero_prices_are_prices():
    """Rings from the drawer, and time that costs nothing and so need not be known."""
    found = money(prices(per_ring=(("link", eur("0")),), per_hour=eur("0"), markup=2.0))
    assert [str(x) for x in (found.material, found.work, found.cost, found.price)] == ["0.00"] * 4
    assert found.seconds is None
    assert found.missing == ()


def test_bags_of_an_unknown_size():
    found = money(prices(per_bag=(("link", eur("6.50")),), per_ring=(("link", eur("0.10")),)))
    assert found.lines[0].amount is None
    assert found.missing[0] == "how many rings are in a bag"


def test_findings_bought_take_no_time_unless_it_is_said():
    """A lobster clasp mostly is (common practice); so is a head pin with a price by the piece."""
    assert money(findings=BOTH, **TIMES).missing[-3] == "seconds to make head pin 'pin'"
    assert money(prices(each=(("pin", eur("0.2")),)), findings=BOTH, **TIMES).seconds == 1200.0
    said = money(findings=BOTH, finding_seconds=(("pin", 30.0), ("clasp", 7.0)), **TIMES)
    assert said.seconds == 1200.0 + 4 * 30.0 + 7.0


def test_beads_without_a_price():
    drop = replace(PIN, name="drop", beads=(BALL,))
    found = money(
        prices(per_ring=FULL["per_ring"], each=(("drop", eur("1")),)), findings=findings_of((drop, 2))
    )
    assert (found.material, found.known_material) == (None, Decimal("7.50"))
    assert found.missing[0] == "a price for a bead of head pin 'drop'"


def test_beads_that_are_on_no_finding_are_a_mistake():
    plans = ring_plans((rings(1),), Bench(kerf=0.25))
    beads = bead_counts(findings_of((replace(PIN, beads=(BALL,)), 1)))
    with pytest.raises(AssertionError):
        money_of(plans, (), beads, 1, 0, Bench())


# Roundings.


@pytest.mark.parametrize(
    ("currency", "amount", "rounded"),
    [
        ("EUR", "0.125", "0.13"),
        ("EUR", "0.135", "0.14"),
        ("EUR", "2.6749999", "2.67"),
        ("JPY", "1234.5", "1235"),
        ("KWD", "1.0005", "1.001"),
        ("CLF", "1.00005", "1.0001"),
    ],
)
def test_half_up_to_the_smallest_unit(currency, amount, rounded):
    """Digits by ISO 4217: two of the euro, none of the yen, three of the Kuwaiti dinar, four of the UF."""
    assert str(round_money(Decimal(amount), currency)) == rounded


@given(
    count=st.integers(1, 400),
    price=st.decimals(0, 50, places=3),
    rate=st.decimals(1, 90, places=2),
    overhead=st.floats(0.0, 1.0),
    markup=st.floats(0.5, 5.0),
)
def test_sums_add_up_to_the_cent(count, price, rate, overhead, markup):
    found = money(
        prices(
            per_ring=(("link", Price(price, "EUR")),),
            each=(("pin", eur("0.3")), ("clasp", eur("2"))),
            per_hour=Price(rate, "EUR"),
            overhead=overhead,
            markup=markup,
        ),
        counts=(rings(count),),
        findings=BOTH,
        **TIMES,
    )
    assert found.material == sum(line.amount for line in found.lines)
    assert found.cost == found.material + found.work + found.overhead
    for amount in (found.material, found.work, found.overhead, found.cost, found.price):
        assert amount == amount.quantize(Decimal("0.01"))
    exact = (float(found.material) + found.seconds / 3600.0 * float(rate)) * (1.0 + overhead)
    assert float(found.cost) == pytest.approx(exact, abs=0.0151)
    assert float(found.price) == pytest.approx(float(found.cost) * markup, abs=0.0051)
