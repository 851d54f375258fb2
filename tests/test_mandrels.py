"""Mandrels: the sets, what makers write, and what the nearest make of a piece."""

import dataclasses
from math import pi

import numpy as np
import pytest

from chaingen.design.bench import Bench, CutWay, Trial, WireData
from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.make import mandrels
from chaingen.make.forming import Spring
from chaingen.make.mandrels import (
    kerf_of,
    mandrel_plans,
    mandrel_wanted,
    nearest_mandrels,
    ring_inside,
    spring_of,
)
from chaingen.make.springback import calibration, inside_off
from chaingen.pipeline import build
from chaingen.solve.verdict import Fit
from chaingen.stock.mandrels import (
    MANDREL_LIMITS,
    Mandrel,
    UnreadableMandrel,
    mandrel_sets,
    read_mandrel,
    read_mandrels,
)
from chaingen.stock.metals import Metal
from chaingen.stock.saws import BLADES
from chaingen.units import UnreadableLength
from tests.test_examples import ROOT

HALF_HARD = Spring("half hard", 110.0, 448.0, "mill sheet C260")

# --- sets -----------------------------------------------------------------------------------------

# Trade charts of knitting needles agree: US size and diameter [mm].
NEEDLES = {
    "0": 2.0, "1": 2.25, "1.5": 2.5, "2": 2.75, "2.5": 3.0, "3": 3.25, "4": 3.5, "5": 3.75, "6": 4.0,
    "7": 4.5, "8": 5.0, "9": 5.5, "10": 6.0, "10.5": 6.5, "11": 8.0, "13": 9.0, "15": 10.0,
}  # fmt: skip


def test_knitting_needles():
    told = {m.name.partition("US ")[2].rstrip(")"): m.diameter for m in read_mandrel("knitting needles")}
    assert told == NEEDLES
    assert read_mandrel("knitting needles")[4].name == "3 mm knitting needle (US 2.5)"


def test_metric_rods():
    assert [m.diameter for m in read_mandrel("metric rods")] == np.arange(2.0, 10.25, 0.5).tolist()


@pytest.mark.parametrize(
    ("fraction", "diameter"),
    # An inch is 25.4 mm by definition; rounded to a micrometre.
    [("1/8", 3.175), ("5/32", 3.969), ("3/16", 4.763), ("1/4", 6.350), ("5/16", 7.938)],
)
def test_inch_rods(fraction, diameter):
    (rod,) = (m for m in read_mandrel("inch rods") if m.name.startswith(f"{fraction} in rod"))
    assert rod.diameter == pytest.approx(diameter, abs=5.01e-4)
    # The same as a maker may write it.
    assert read_mandrel(f"{fraction} in")[0].diameter == rod.diameter


def test_drill_blanks():
    diameters = [m.diameter for m in read_mandrel("drill blanks")]
    assert diameters[0] == 1.0
    assert diameters[-1] == 10.0
    assert np.diff(diameters) == pytest.approx(0.1)


def test_sets_go_from_thin_to_thick_and_name_each_once():
    for name, found in mandrel_sets().items():
        assert read_mandrel(name) == found
        diameters = [m.diameter for m in found]
        assert diameters == sorted(set(diameters))
        assert len({m.name for m in found}) == len(found)
        assert all("mm" in m.name for m in found)
        assert MANDREL_LIMITS[0] <= diameters[0] <= diameters[-1] <= MANDREL_LIMITS[1]


def test_what_makers_write():
    found = read_mandrels([" Knitting  Needles", "3.25 mm", '1/4"', "0.325 cm", "3.25 mm", "metric rod"])
    assert found[:17] == read_mandrel("knitting needles")
    assert [(m.name, m.diameter) for m in found[17:20]] == [
        ("3.25 mm mandrel", 3.25), ('1/4" mandrel (6.35 mm)', 6.35), ("0.325 cm mandrel (3.25 mm)", 3.25),
    ]  # fmt: skip
    assert found[20:] == read_mandrel("metric rods")
    assert read_mandrels([]) == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("nitting needles", "did you mean knitting needles"),
        ("drills", "did you mean drill blanks"),
        ("my inch things", "did you mean inch rods"),
        ("4", "a diameter with its unit"),
        ("", "knitting needles, metric rods, inch rods, drill blanks"),
        ("0.1 mm", "0.2 mm to 500 mm"),
        ("-4 mm", "0.2 mm to 500 mm"),
        ("1 m", "0.2 mm to 500 mm"),
        ("x" * 10_000, "a set of mandrels"),
    ],
)
def test_what_cannot_be_read(text, words):
    with pytest.raises(UnreadableMandrel, match=words) as refusal:
        read_mandrels(["4 mm", text])
    assert refusal.value.text == text
    assert isinstance(refusal.value, UnreadableLength)


def test_saw_blades_grow_with_their_number():
    # Memory: 4/0 to 1 are 0.22 to 0.30 mm thick.
    thick = [BLADES[size] for size in ("4/0", "3/0", "2/0", "1/0", "1")]
    assert thick == sorted(thick)
    assert 0.2 < thick[0] < thick[-1] < 0.35


# --- wire -----------------------------------------------------------------------------------------


def wires(metal="sterling silver", **data):
    return ((metal, WireData(**data)),)


def test_the_usual_temper_is_told_as_taken_for_granted():
    found = spring_of("sterling silver", Bench())
    assert (found.temper, found.assumed, found.calibration) == ("half hard", True, 1.0)
    said = spring_of("sterling silver", Bench(temper="Dead soft"))
    assert (said.temper, said.assumed, said.yield_strength) == ("annealed", False, 124.0)


def test_a_metal_says_its_own_temper_before_the_bench():
    bench = Bench(temper="half hard", wires=wires(temper="annealed"))
    assert spring_of("sterling silver", bench).temper == "annealed"
    assert spring_of("brass", bench).temper == "half hard"


def test_own_figures_go_before_the_tables():
    both = spring_of("brass", Bench(wires=wires("brass", temper="spring", youngs_modulus=105.0,
                                                yield_strength=600.0)))  # fmt: skip
    assert (both.temper, both.youngs_modulus, both.yield_strength) == ("spring", 105.0, 600.0)
    assert (both.source, both.assumed) == ("given", False)
    one = spring_of("brass", Bench(wires=wires("brass", temper="half hard", yield_strength=500.0)))
    assert (one.youngs_modulus, one.yield_strength) == (110.0, 500.0)
    assert one.source.endswith("yield given")
    assert one.source.startswith("mill sheet C260")
    bare = spring_of("brass", Bench(wires=wires("brass", yield_strength=500.0)))
    assert (bare.temper, bare.assumed) == ("temper not given", False)
    assert spring_of("brass", Bench(wires=wires("brass", youngs_modulus=105.0))).assumed


def test_nothing_known_is_none():
    assert spring_of("niobium", Bench()) is None
    # Said of all wire, in a settings file that serves every design.
    assert spring_of("niobium", Bench(temper="half hard")) is None


@pytest.mark.parametrize(
    ("metal", "bench", "where", "words"),
    [
        ("copper", Bench(temper="half hard", wires=wires("copper", temper="hard")),
         "bench.metals.copper.temper",
         ("annealed", "bench.metals.copper.youngs_modulus", "bench.metals.copper.yield_strength")),
        ("sterling silver", Bench(wires=wires(temper="spring")), "bench.metals.'sterling silver'.temper",
         ("half hard, annealed", "bench.metals.'sterling silver'.yield_strength")),
        ("niobium", Bench(wires=wires("niobium", temper="annealed")), "bench.metals.niobium.temper",
         ("bench.metals.niobium.youngs_modulus", "bench.metals.niobium.yield_strength")),
        ("niobium", Bench(wires=wires("niobium", yield_strength=200.0)), "bench.metals.niobium",
         ("bench.metals.niobium.youngs_modulus",)),
        ("niobium", Bench(temper="hard", wires=wires("niobium", youngs_modulus=103.0)),
         "bench.metals.niobium", ("bench.metals.niobium.yield_strength",)),
        ("brass", Bench(wires=wires("brass", temper="spring", youngs_modulus=100.0)),
         "bench.metals.brass.temper", ("half hard, annealed", "bench.metals.brass.yield_strength")),
    ],
)  # fmt: skip
def test_tempers_without_data(metal, bench, where, words):
    with pytest.raises(BadInput) as refusal:
        spring_of(metal, bench)
    (problem,) = refusal.value.problems
    assert problem.where == where
    for word in words:
        assert word in problem.expected


def test_a_temper_said_of_all_wire_stops_no_metal():
    """There is no data of half hard copper: nothing is known of it, and not that it is annealed."""
    general = Bench(temper="half hard")
    assert spring_of("copper", general) is None
    assert spring_of("harbour red", general, base="copper") is None
    assert spring_of("copper", Bench(temper="half hard", wires=wires("copper", youngs_modulus=117.0))) is None
    # What is said of the metal itself counts: its yield strength, with the modulus of the table.
    own = spring_of("copper", Bench(temper="Half-hard", wires=wires("copper", yield_strength=180.0)))
    assert (own.temper, own.youngs_modulus, own.yield_strength) == ("half hard", 117.0, 180.0)
    assert own.source == "memory; yield given"
    assert not own.assumed
    annealed = Bench(temper="half hard", wires=wires("copper", temper="annealed"))
    assert spring_of("copper", annealed).yield_strength == 70.0


def test_one_settings_file_serves_every_metal():
    workshop = ROOT / "examples" / "workshop" / "saltmarsh-lane.toml"
    for metal, known in (("copper", False), ("sterling silver", True), ("niobium", False)):
        text = starter_design("one-in-one", repeat=3, metal=metal)
        result = build(parse_design(text, settings=workshop))
        (plan,) = mandrel_plans(result, result.design.bench)
        assert (plan.spring is not None) == (plan.wanted is not None) == bool(plan.choices) == known


def test_coloured_wire_springs_like_the_metal_beneath():
    assert spring_of("harbour blue", Bench()) is None
    plain = spring_of("titanium", Bench())
    assert spring_of("harbour blue", Bench(), base="titanium") == plain
    of_base = Bench(wires=wires("titanium", temper="grade 1"))
    assert spring_of("harbour blue", of_base, base="titanium").temper == "grade 1"
    own = Bench(wires=of_base.wires + wires("harbour blue", temper="grade 2"))
    assert spring_of("harbour blue", own, base="titanium").temper == "grade 2"


def test_trial_coils_of_this_wire_count():
    ours = [Trial("brass", None, 1.0, 5.0, 5.4), Trial(None, "half hard", 0.8, 4.0, 4.4)]
    others = [Trial("copper", None, 1.0, 5.0, 5.9), Trial("brass", "annealed", 1.0, 5.0, 5.9)]
    plain = spring_of("brass", Bench(temper="half hard"))
    bench = Bench(temper="half hard", trials=(*ours, *others))
    mean = sum(calibration(trial, plain) for trial in ours) / 2.0
    assert spring_of("brass", bench, design_metal="brass").calibration == pytest.approx(mean)
    # A coil that names no metal is of the design's.
    alone = spring_of("brass", bench, design_metal="sterling silver").calibration
    assert alone == pytest.approx(calibration(ours[0], plain))


def test_a_trial_coil_that_cannot_be():
    bench = Bench(trials=(Trial("brass", None, 1.0, 5.0, 5.3), Trial("brass", None, 1.0, 5.0, 4.0)))
    with pytest.raises(BadInput, match="close up") as refusal:
        spring_of("brass", bench)
    assert refusal.value.problems[0].where == "bench.trials[2]"


# --- rings ----------------------------------------------------------------------------------------


def test_kerf():
    # Common practice: a fine saw takes a quarter of a millimetre.
    assert kerf_of(1.2, Bench()) == (0.25, True)
    assert kerf_of(1.2, Bench(cut=CutWay.FLUSH)) == (0.6, True)
    assert kerf_of(1.2, Bench(cut=CutWay.FLUSH, kerf=0.0)) == (0.0, False)


def test_a_closed_ring_lacks_what_the_cut_took():
    """Its middle line is as long as a turn of the coil less the kerf."""
    kerf, wire = 0.3, 1.0
    coil, ring = inside_off(5.0, wire, HALF_HARD), ring_inside(5.0, wire, kerf, HALF_HARD)
    assert pi * (ring + wire) == pytest.approx(pi * (coil + wire) - kerf)
    assert mandrel_wanted(ring, wire, kerf, HALF_HARD) == pytest.approx(5.0)
    # A thin ring may be all kerf.
    assert ring_inside(0.2, 0.2, 3.0, HALF_HARD) is None


def test_the_nearest_mandrels():
    at_hand = (Mandrel("thick", 6.0), Mandrel("first", 4.7), Mandrel("same", 4.703), Mandrel("thin", 4.0),
               Mandrel("far", 9.0), Mandrel("elastic", 400.0))  # fmt: skip
    found = nearest_mandrels(5.0, 1.0, 0.25, HALF_HARD, at_hand)
    assert [choice.name for choice in found] == ["first", "thin", "thick"]
    for choice in found:
        assert choice.inside == ring_inside(choice.diameter, 1.0, 0.25, HALF_HARD)
        assert (choice.gap, choice.fit) == (None, None)
    every = nearest_mandrels(5.0, 1.0, 0.25, HALF_HARD, at_hand, 9)
    assert [choice.name for choice in every][3:] == ["far"]
    assert nearest_mandrels(5.0, 1.0, 0.25, HALF_HARD, ()) == ()


# --- pieces ---------------------------------------------------------------------------------------


def two_in_one(inside="3 mm", **more):
    return starter_design("two-in-one", inside=inside, wire="1 mm", repeat=4, **more)


UNLIKE = """
title = "Buoy chain"
metal = "brass"

[rings.large]
inside = "5 mm"
wire = "1.2 mm"

[rings.small]
inside = "3 mm"
wire = "0.8 mm"

[pattern]
form = "FORM"
repeat = 12
groups = [{ side_by_side = 1, ring = "large" }, { join = 2, ring = "small" }]
"""
OPEN = UNLIKE.replace("FORM", "open run")


@pytest.fixture(scope="module")
def plain():
    return build(parse_design(two_in_one()))


def test_the_verdict_follows_the_mandrel(plain):
    """A tighter and a wider mandrel: just as pieces built with such rings."""
    (plan,) = mandrel_plans(plain, Bench(mandrels=("3.25 mm", "2.75 mm", "2.2 mm")))
    assert (plan.size, plan.metal.name, plan.spring.assumed) == (
        plain.counts[0].size,
        "sterling silver",
        True,
    )
    assert len({choice.fit for choice in plan.choices}) == 3
    for choice in plan.choices:
        other = build(parse_design(two_in_one(f"{choice.inside:.9f} mm")))
        assert choice.gap == pytest.approx(other.check.smallest_gap, abs=2e-3)
        assert choice.fit is other.fit
    fits = [choice.fit for choice in sorted(plan.choices, key=lambda choice: choice.diameter)]
    assert fits == [Fit.DOES_NOT_FIT, Fit.TIGHT, Fit.COMFORTABLE]


def test_the_mandrel_wanted_changes_nothing(plain):
    (unnamed,) = mandrel_plans(plain, Bench())
    assert unnamed.choices == ()
    (plan,) = mandrel_plans(plain, Bench(mandrels=(f"{unnamed.wanted:.9f} mm",)))
    (choice,) = plan.choices
    assert choice.inside == pytest.approx(3.0, abs=1e-6)
    assert (choice.gap, choice.fit) == (plain.check.smallest_gap, plain.fit)


def test_a_metal_of_which_nothing_is_known():
    unknown = build(parse_design(two_in_one(metal="niobium")))
    (plan,) = mandrel_plans(unknown, Bench(mandrels=("metric rods",)))
    assert (plan.spring, plan.wanted, plan.choices) == (None, None, ())
    bench = Bench(
        mandrels=("metric rods",), wires=wires("niobium", youngs_modulus=103.0, yield_strength=200.0)
    )
    (told,) = mandrel_plans(unknown, bench)
    assert 2.9 < told.wanted < 3.0 + 0.25 / pi
    assert len(told.choices) == 3


def test_coloured_rings_of_a_piece(plain):
    blue = Metal("harbour blue", 4.51, "handbook", (0.1, 0.3, 0.6), under="titanium")
    result = dataclasses.replace(plain, counts=(dataclasses.replace(plain.counts[0], metal=blue),))
    (plan,) = mandrel_plans(result, Bench())
    assert plan.spring == spring_of("titanium", Bench())
    assert plan.metal is blue


@pytest.mark.slow
def test_one_size_among_others_changes_alone():
    result = build(parse_design(OPEN))
    large, small = mandrel_plans(result, Bench(mandrels=("3 mm", "5 mm")))
    assert (large.size.name, small.size.name) == ("large", "small")
    for plan, old in ((large, 'inside = "5 mm"'), (small, 'inside = "3 mm"')):
        for choice in plan.choices[:1]:
            assert OPEN.count(old) == 1
            other = build(parse_design(OPEN.replace(old, f'inside = "{choice.inside:.9f} mm"')))
            assert choice.gap == pytest.approx(other.check.smallest_gap, abs=3e-3)
            assert choice.fit is other.fit


ODD_LOOP = (
    UNLIKE.replace("FORM", "closed loop")
    .replace('{ join = 2, ring = "small" }', ", ".join(['{ side_by_side = 1, ring = "small" }'] * 2))
    .replace('wire = "1.2 mm"', 'wire = "0.8 mm"')
    .replace('inside = "3 mm"', 'inside = "4.6 mm"')
)


@pytest.mark.slow
@pytest.mark.parametrize(("repeat", "within"), [(5, 1e-3), (15, 5e-3)])
def test_sizes_of_a_closed_loop(repeat, within):
    """An odd number of rings, which does not come round cell by cell: a short loop, and a longer one."""
    text = ODD_LOOP.replace("repeat = 12", f"repeat = {repeat}")
    result = build(parse_design(text))
    _, small = mandrel_plans(result, Bench(mandrels=("4 mm",)))
    (choice,) = small.choices
    other = build(parse_design(text.replace('"4.6 mm"', f'"{choice.inside:.9f} mm"')))
    assert other.check.smallest_gap != pytest.approx(result.check.smallest_gap, abs=0.05)
    assert choice.gap == pytest.approx(other.check.smallest_gap, abs=within)
    assert choice.fit is other.fit


def test_a_loop_of_one_size_scales():
    text = two_in_one(closed=True).replace("repeat = 4", "repeat = 8")
    result = build(parse_design(text))
    (plan,) = mandrel_plans(result, Bench(mandrels=("3.5 mm",)))
    (choice,) = plan.choices
    other = build(parse_design(text.replace('"3 mm"', f'"{choice.inside:.9f} mm"')))
    assert choice.gap == pytest.approx(other.check.smallest_gap, abs=2e-3)


def test_a_sheet_cut_to_an_outline():
    text = (ROOT / "examples" / "slipway-pendant.toml").read_text()
    result = build(parse_design(text))
    bench = Bench(mandrels=("4 mm",), wires=wires("aluminium", youngs_modulus=69.0, yield_strength=150.0))
    plain, blue = mandrel_plans(result, bench)
    assert plain.choices == blue.choices
    (choice,) = plain.choices
    assert text.count('inside = "4 mm"') == 1
    other = build(parse_design(text.replace('inside = "4 mm"', f'inside = "{choice.inside:.9f} mm"')))
    assert choice.inside > 4.0
    assert choice.gap == pytest.approx(other.check.smallest_gap, abs=2e-3)
    assert choice.fit is other.fit


def test_a_wider_mandrel_mends_what_does_not_fit():
    tight = build(parse_design(two_in_one("2.2 mm")))
    assert not tight.fits
    (plan,) = mandrel_plans(tight, Bench(mandrels=("2.2 mm", "3 mm")))
    by_name = {choice.name: choice for choice in plan.choices}
    assert by_name["2.2 mm mandrel"].fit is Fit.DOES_NOT_FIT
    wide = by_name["3 mm mandrel"]
    assert wide.fit is Fit.COMFORTABLE
    assert wide.gap == pytest.approx(build(parse_design(two_in_one())).check.smallest_gap, abs=0.02)


def test_a_clearance_is_kept():
    asked = build(parse_design(two_in_one(clearance="0.1 mm")))
    for choice in mandrel_plans(asked, Bench(mandrels=("drill blanks",)))[0].choices:
        assert choice.fit is not Fit.DOES_NOT_FIT
        assert choice.gap >= 0.1
    (plan,) = mandrel_plans(asked, Bench(mandrels=("2.7 mm",)))
    assert plan.choices[0].gap == pytest.approx(0.07, abs=0.03)
    assert plan.choices[0].fit is Fit.DOES_NOT_FIT


def test_work_has_a_bound_and_the_best_choices_come_first(monkeypatch):
    result = build(parse_design(OPEN))
    monkeypatch.setattr(mandrels, "MOST_SOLVED", 2 * 9)
    plans = mandrel_plans(result, Bench(mandrels=("metric rods",)))
    assert [choice.gap is not None for plan in plans for choice in plan.choices] == [
        True, False, False, True, False, False,
    ]  # fmt: skip
    assert all(choice.inside > 0.0 for plan in plans for choice in plan.choices)
