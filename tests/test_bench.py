"""The keys about the bench, in a design and in a settings file, and what is refused of them."""

import json
import re
import tomllib
from decimal import Decimal

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.cli import main
from chaingen.design.bench import Bench, CutWay, Paper, Price, Units
from chaingen.design.bench_schema import (
    BenchTable,
    ClassroomTable,
    OwnedTable,
    PricesTable,
    SettingsTable,
    SheetTable,
    TrialTable,
    WireTable,
)
from chaingen.design.load import load_design, parse_design
from chaingen.design.settings import bench_of, load_settings
from chaingen.design.settings_starter import SETTINGS_TEXT
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.make.wire_plan import part_of
from chaingen.stock.ease import EASES
from chaingen.tables import quoted
from tests.test_examples import ROOT

PLAIN = starter_design("two-in-one", repeat=3)


def bench_said(extra, **kwargs):
    return parse_design(f"{PLAIN}\n{extra}", **kwargs).bench


def refused(extra, where, *words, **kwargs):
    """The problem told at a place, which must hold some words."""
    with pytest.raises(BadInput) as caught:
        bench_said(extra, **kwargs)
    told = {problem.where: str(problem) for problem in caught.value.problems}
    assert where in told, told
    for word in words:
        assert word in told[where], told[where]
    return told[where]


def test_nothing_said_is_nothing_known():
    bench = parse_design(PLAIN).bench
    assert bench == Bench()
    assert bench.prices.currency is None
    assert (bench.kerf, bench.sold_in, bench.bag, bench.open_seconds, bench.classroom) == (None,) * 5


def test_every_key_arrives():
    bench = load_design(ROOT / "examples" / "all-keys-bench.toml").bench
    assert bench.temper == "half hard"
    assert bench.mandrels == ("metric rods", "knitting needles", "inch rods", "3.1 mm")
    assert (bench.cut, bench.kerf, bench.mandrel_length, bench.tail) == (CutWay.SAW, 0.25, 100.0, 40.0)
    assert (bench.sold_in, bench.bag, bench.spare) == (2000.0, 100, 0.1)
    assert (bench.open_seconds, bench.close_seconds, bench.tug) == (6.0, 14.0, 20.0)
    assert dict(bench.finding_seconds) == {"hook": 240.0, "catch": 120.0}
    copper = bench.wire("copper")
    assert (copper.temper, copper.youngs_modulus, copper.yield_strength) == ("half hard", 117.0, 180.0)
    (trial,) = bench.trials
    assert (trial.metal, trial.mandrel, trial.inside) == ("copper", 5.0, 5.2)
    prices = bench.prices
    assert prices.currency == "EUR"
    # The settings file it names has prices of two more metals: tables of names are joined.
    assert set(dict(prices.per_gram)) == {"sterling silver", "copper", "brass"}
    assert dict(prices.per_bag) == {"link": Price(Decimal("4.20"), "EUR")}
    assert (prices.per_hour.amount, prices.overhead, prices.markup) == (Decimal("22"), 0.12, 1.8)
    assert [(entry.size.inside_diameter, entry.count, entry.metal) for entry in bench.owned] == [
        (3.0, 90, "copper"),
        (3.5, 400, None),
    ]
    classroom = bench.classroom
    assert (classroom.students, classroom.shared_spare, classroom.for_teacher) == (12, 0.05, 1)
    assert (bench.units, bench.paper) == (Units.BOTH, Paper.A4)


def test_what_a_design_says_goes_before_its_settings(tmp_path):
    (tmp_path / "ours.toml").write_text(
        '[bench]\nbag = 50\nspare = 20\nkerf = "4/0"\n[prices]\n'
        'per_gram = { silver = "1 EUR", brass = "2 EUR" }\n'
        '[[owned]]\ninside = "4 mm"\nwire = "1 mm"\ncount = 3\n[sheet]\npaper = "Letter"\n'
    )
    own = (
        '[bench]\nbag = 100\n[prices]\nper_gram = { silver = "3 EUR" }\n'
        '[[owned]]\ninside = "5 mm"\nwire = "1 mm"\ncount = 4\n'
    )
    for bench in (
        parse_design(f'settings = "ours.toml"\n{PLAIN}\n{own}', folder=tmp_path).bench,
        bench_said(own, settings=tmp_path / "ours.toml"),
    ):
        assert (bench.bag, bench.spare, bench.kerf, bench.paper) == (100, 0.2, 0.22, Paper.LETTER)
        assert {name: price.amount for name, price in bench.prices.per_gram} == {
            "sterling silver": Decimal(3),
            "brass": Decimal(2),
        }
        assert [entry.count for entry in bench.owned] == [4]


def test_a_settings_file_on_the_command_line_stands_for_the_one_named(tmp_path):
    (tmp_path / "one.toml").write_text("[bench]\nbag = 10\n")
    (tmp_path / "two.toml").write_text("[bench]\nspare = 30\n")
    text = f'settings = "one.toml"\n{PLAIN}'
    bench = parse_design(text, folder=tmp_path, settings=tmp_path / "two.toml").bench
    assert (bench.bag, bench.spare) == (None, 0.3)


@pytest.mark.parametrize(
    ("extra", "where", "words"),
    [
        ('prices.per_gram = { silver = "-1 EUR" }', "prices.per_gram.silver", ("0 or more",)),
        ("prices.per_gram = { silver = 1.2 }", "prices.per_gram.silver", ("currency", "1.2 of what")),
        (f"prices.per_hour = 1{'0' * 400}", "prices.per_hour", ("currency", "beyond all measure")),
        (
            'prices.per_gram = { silver = "1 EUR", "sterling silver" = "2 EUR" }',
            "prices.per_gram",
            ("each metal once", "sterling silver"),
        ),
        ("bench.metals = { 304 = {}, stainless = {} }", "bench.metals", ("each metal once",)),
        ('bench.cut = "flush cutters"\nbench.kerf = "4/0"', "bench.kerf", ("no saw blade",)),
        ('bench.temper = "haf hard"', "bench.temper", ("did you mean half hard", "bench.metals")),
        ('prices.per_gram = { silver = "1,20 EUR" }', "prices.per_gram.silver", ("point for decimals",)),
        ('prices.per_gram = { silver = "1.20" }', "prices.per_gram.silver", ("1.20 EUR",)),
        ('prices.per_gram = { silver = "nan EUR" }', "prices.per_gram.silver", ("1.20 EUR",)),
        ('prices.per_gram = { slver = "1 EUR" }', "prices.per_gram", ("slver", "did you mean")),
        ('prices.per_ring = { lnk = "1 EUR" }', "prices.per_ring.lnk", ("did you mean link",)),
        ('prices.each = { hook = "1 EUR" }', "prices.each.hook", ("no findings",)),
        ('prices.per_bag = { link = "1 EUR" }', "prices.per_bag", ("bench.bag",)),
        (
            'prices.per_gram = { silver = "1 EUR" }\nprices.per_hour = "20 USD"',
            "prices.per_hour",
            ("USD", "EUR", "one currency"),
        ),
        ('bench.mandrels = ["knitting needels"]', "bench.mandrels", ("knitting needles",)),
        ("bench.mandrels = 3", "bench.mandrels", ("list",)),
        ("bench.mandrels = []", "bench.mandrels", ("1 to",)),
        ('bench.kerf = "5/0"', "bench.kerf", ("4/0",)),
        ('bench.kerf = "-1 mm"', "bench.kerf", ("0 mm",)),
        ('bench.tug = "50 kg"', "bench.tug", ("20 N",)),
        ('bench.metals.silver.youngs_modulus = "76"', "bench.metals.silver.youngs_modulus", ("76 GPa",)),
        ('bench.metals.silver.yield_strength = "9 GPa"', "bench.metals.silver.yield_strength", ("5000 MPa",)),
        ('bench.metals.unobtainium.temper = "hard"', "bench.metals", ("unobtainium",)),
        ("bench.spare = -5", "bench.spare", ("percentage",)),
        ("bench.bag = 0", "bench.bag", ("whole number",)),
        ("classroom.students = 2.5", "classroom.students", ("whole number",)),
        ('sheet.paper = "A5"', "sheet.paper", ("A4", "Letter")),
        ("bench.spares = 5", "bench.spares", ("spare",)),
        ('settings = "none.toml"', "settings", ("no such file",)),
    ],
)
def test_what_is_refused(extra, where, words):
    # These stand above the first table of the design.
    with pytest.raises(BadInput) as caught:
        parse_design(f"{extra}\n{PLAIN}")
    told = {problem.where: str(problem) for problem in caught.value.problems}
    assert where in told, told
    for word in words:
        assert word in told[where], told[where]


def test_problems_of_a_settings_file_name_it(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text('[bench]\nspare = "many"\n[prices]\nper_hour = "-3 EUR"\n')
    with pytest.raises(BadInput) as caught:
        parse_design(PLAIN, settings=path)
    assert [problem.where for problem in caught.value.problems] == [
        f"{path}: bench.spare",
        f"{path}: prices.per_hour",
    ]
    path.write_text("[bench\n")
    with pytest.raises(BadInput, match="line 1"):
        parse_design(PLAIN, settings=path)
    with pytest.raises(BadInput, match=r"--settings: .*no such file"):
        parse_design(PLAIN, settings=tmp_path / "other.toml")


def test_currencies_must_agree_between_design_and_settings(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text('[prices]\nper_gram = { silver = "1 USD" }\n')
    told = refused(
        '[prices]\nper_hour = "20 EUR"', "the settings: prices.per_gram.'sterling silver'", settings=path
    )
    assert "USD" in told
    # A settings file may price sizes that another design has.
    path.write_text('[prices]\nper_ring = { petal = "1 EUR" }\n')
    assert bench_said("", settings=path).prices.per_ring


def test_a_price_that_the_design_says_itself_mixes_no_currencies(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text('[prices]\nper_hour = "22 USD"\nper_gram = { silver = "1 USD" }\n')
    own = '[prices]\nper_hour = "20 EUR"\nper_gram = { silver = "2 EUR", copper = "1 EUR" }'
    assert bench_said(own, settings=path).prices.currency == "EUR"


def test_percentages_as_they_are_written():
    """1.1 % of 1000 rings are 11: as floats 1.1 / 100 is a little more than 0.011."""
    bench = bench_said(
        "[bench]\nspare = 1.1\n[prices]\noverhead = 1.1\n[classroom]\nstudents = 1\nspare = 1.1"
    )
    assert (bench.spare, bench.prices.overhead, bench.classroom.shared_spare) == (0.011, 0.011, 0.011)
    assert part_of(1000, bench.spare) == 11


def test_a_kerf_goes_with_its_way_of_cutting(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text('[bench]\nkerf = "3/0"\n')
    assert bench_said('[bench]\ncut = "saw"', settings=path).kerf == 0.24
    # What a saw takes is not what flush cutters take.
    assert bench_said('[bench]\ncut = "flush cutters"', settings=path).kerf is None
    assert bench_said('[bench]\ncut = "flush cutters"\nkerf = "0.5 mm"', settings=path).kerf == 0.5
    path.write_text('[bench]\ncut = "flush cutters"\nkerf = "0.5 mm"\n')
    assert bench_said('[bench]\ncut = "saw"', settings=path).kerf is None
    assert bench_said("[bench]\nbag = 10", settings=path).kerf == 0.5


def test_what_is_known_of_a_metal_is_joined_key_by_key(tmp_path):
    path = tmp_path / "ours.toml"
    path.write_text(
        '[bench.metals.copper]\ntemper = "hard"\nyoungs_modulus = "120 GPa"\nyield_strength = "300 MPa"\n'
    )

    def copper(own):
        known = bench_said(f"[bench.metals.copper]\n{own}", settings=path).wire("copper")
        return known.temper, known.youngs_modulus, known.yield_strength

    assert copper('yield_strength = "310 MPa"') == ("hard", 120.0, 310.0)
    assert copper('temper = "full hard"') == ("hard", 120.0, 300.0)
    # The yield strength of one temper is not that of another.
    assert copper('temper = "annealed"') == ("annealed", 120.0, None)


FIGURES = 'youngs_modulus = "76 GPa"\nyield_strength = "250 MPa"'


def test_tempers_that_no_metal_has(tmp_path):
    coil = 'wire = "1 mm"\nmandrel = "5 mm"\ninside = "5.2 mm"\nmetal = "silver"\n'
    told = refused(f'[[bench.trials]]\ntemper = "anealed"\n{coil}', "bench.trials[1].temper")
    assert "did you mean annealed" in told
    path = tmp_path / "ours.toml"
    path.write_text('[bench]\ntemper = "haf hard"\n')
    refused("", "the settings: bench.temper", "half hard", settings=path)
    # A temper of the maker's own has figures of its own, wherever they are said.
    own = '[bench]\ntemper = "As drawn"\n'
    refused(own, "bench.temper")
    refused(f'{own}[bench.metals.silver]\ntemper = "as drawn"\nyield_strength = "250 MPa"', "bench.temper")
    assert bench_said(f'{own}[bench.metals.silver]\ntemper = "as drawn"\n{FIGURES}').temper == "as drawn"
    path.write_text(f'[bench.metals.silver]\ntemper = "as drawn"\n{FIGURES}\n')
    assert bench_said(own, settings=path).wire("copper").temper == "as drawn"


def test_a_trial_coil_of_a_settings_file_says_its_metal(tmp_path):
    path = tmp_path / "ours.toml"
    coil = '[[bench.trials]]\nwire = "1 mm"\nmandrel = "5 mm"\ninside = "5.2 mm"\n'
    path.write_text(coil)
    refused("", f"{path}: bench.trials[1].metal", "every metal", settings=path)
    path.write_text(f'{coil}metal = "copper"\n')
    assert bench_said("", settings=path).trials[0].metal == "copper"
    assert bench_said(coil).trials[0].metal is None


# Values as people write them, and as nobody should.
VALUES = [
    0, -1, 12, 10**40, 10**400, 0.5, -0.0, 1e308, float("inf"), float("nan"), True, "", " ", "x" * 3000, "\0",
    "{0}", "half hard", "T6", "haf hard", "1.20 EUR", "0 EUR", "3 USD", "-0 EUR", "999999999999.999999 EUR",
    "1e5 EUR", "4 mm", "-4 mm", "1/0 mm", "\u00bd in", "9" * 400 + " GPa", "76 GPa", "20 N", "4/0", "18 AWG",
    "18 gauge", "knitting needles", "saw", "flush cutters", "A4", "both", "copper", "silver", "link",
]  # fmt: skip
NAMES = st.sampled_from(["link", "copper", "silver", "sterling silver", "", "\0", "temper", "yield_strength"])
ANY = st.recursive(
    st.sampled_from(VALUES),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=3),
    max_leaves=4,
)


def written(value):
    """A value as TOML writes it, in one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{quoted(name)} = {written(entry)}" for name, entry in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(written(entry) for entry in value) + "]"
    if isinstance(value, str):
        return quoted(value)
    return str(value).lower()


def some_of(table):
    """Tables of a few of the keys of a model, and now and then of one that it lacks."""
    return st.dictionaries(st.sampled_from([*table.model_fields, "nonsense"]), ANY, max_size=3)


TABLES = st.fixed_dictionaries(
    {},
    optional={
        "bench": some_of(BenchTable)
        | st.fixed_dictionaries({"trials": st.lists(some_of(TrialTable), max_size=2)})
        | st.fixed_dictionaries({"metals": st.dictionaries(NAMES, some_of(WireTable), max_size=2)}),
        "prices": some_of(PricesTable) | ANY,
        "owned": st.lists(some_of(OwnedTable), max_size=2) | ANY,
        "classroom": some_of(ClassroomTable) | ANY,
        "sheet": some_of(SheetTable) | ANY,
    },
)


def problems_of(text):
    """The problems that a design is refused with; none where it is taken."""
    try:
        parse_design(text)
    except BadInput as error:
        return error.problems
    return ()


@settings(deadline=None)
@given(TABLES)
def test_whatever_is_said_is_taken_or_refused_in_words(tables):
    head = "".join(f"{name} = {written(table)}\n" for name, table in tables.items())
    for problem in problems_of(f"{head}{PLAIN}"):
        assert problem.where
        assert problem.expected


def test_wrist_and_neck(tmp_path):
    text = starter_design("two-in-one", length="180 mm")
    line = next(line for line in text.splitlines() if line.startswith("length ="))

    def design(extent):
        return parse_design(text.replace(line, extent))

    wrist = design('wrist = "165 mm"')
    # Common practice calls 3/4 to 1 in over the wrist comfortable.
    assert (wrist.measure, wrist.length) == (165.0, pytest.approx(165.0 + 7.0 / 8.0 * 25.4))
    for name, (low, high) in {"snug": (0.25, 0.5), "comfort": (0.75, 1.0), "loose": (1.0, 1.25)}.items():
        assert low * 25.4 <= EASES[name] <= high * 25.4
        assert design(f'wrist = "165 mm"\nease = "{name}"').length == 165.0 + EASES[name]
    assert design('neck = "14 in"\nease = "2 in"').length == pytest.approx(16 * 25.4)
    assert design('neck = "14 in"').length == pytest.approx(14 * 25.4)
    assert design('length = "180 mm"').measure is None
    for extent, where, word in (
        ('wrist = "165 mm"\nlength = "180 mm"', "pattern", "both length and wrist"),
        ('length = "180 mm"\nease = "snug"', "pattern.ease", "beside a wrist or a neck"),
        ('wrist = "165 mm"\nease = "snugly"', "pattern.ease", "did you mean snug"),
        ('wrist = "16 mm"', "pattern.wrist", "60 mm to 400 mm"),
    ):
        with pytest.raises(BadInput) as caught:
            design(extent)
        told = {problem.where: str(problem) for problem in caught.value.problems}
        assert word in told[where]


def test_a_sheet_has_no_wrist():
    text = (
        (ROOT / "examples" / "harbour-net.toml")
        .read_text()
        .replace("[pattern]", '[pattern]\nwrist = "165 mm"')
    )
    with pytest.raises(BadInput, match="columns and rows"):
        parse_design(text)


def test_the_settings_to_start_from_show_every_key():
    said = SettingsTable.model_validate(tomllib.loads(SETTINGS_TEXT))
    assert bench_of(said) == Bench()
    shown = re.sub(r"^# (?=\[|\w+ = )", "", SETTINGS_TEXT, flags=re.MULTILINE)
    everything = tomllib.loads(shown)
    SettingsTable.model_validate(everything)
    assert set(everything) == set(SettingsTable.model_fields)
    for name, table in (
        ("bench", BenchTable), ("prices", PricesTable), ("classroom", ClassroomTable), ("sheet", SheetTable),
    ):  # fmt: skip
        assert set(everything[name]) == set(table.model_fields), name
    assert set(everything["owned"][0]) == set(OwnedTable.model_fields)
    assert set(everything["bench"]["trials"][0]) == set(TrialTable.model_fields)
    (metal,) = everything["bench"]["metals"].values()
    assert set(metal) == set(WireTable.model_fields)


def test_settings_written_are_read(tmp_path):
    path = tmp_path / "ours.toml"
    assert CliRunner().invoke(main, ["settings", str(path)]).exit_code == 0
    assert load_settings(path).bench.spare == 10
    again = CliRunner().invoke(main, ["settings", str(path)])
    assert again.exit_code == 2
    assert "--force" in again.stderr
    assert CliRunner().invoke(main, ["settings", "-"]).stdout == SETTINGS_TEXT
    schema = json.loads(CliRunner().invoke(main, ["schema", "--settings"]).stdout)
    assert set(schema["properties"]) == set(SettingsTable.model_fields)


def test_the_command_line_takes_settings(tmp_path):
    design, settings = tmp_path / "piece.toml", tmp_path / "ours.toml"
    design.write_text(PLAIN)
    settings.write_text('[bench]\nbag = "many"\n')
    run = CliRunner().invoke(main, ["check", str(design), "--settings", str(settings), "--json"])
    assert run.exit_code == 2
    assert json.loads(run.stdout)["problems"][0]["where"] == f"{settings}: bench.bag"
    settings.write_text("[bench]\nbag = 100\n")
    assert CliRunner().invoke(main, ["check", str(design), "--settings", str(settings)]).exit_code == 0


def test_a_tug_in_pounds_and_wire_in_feet():
    bench = bench_said('[bench]\ntug = "5 lbf"\nsold_in = "3 ft"\n')
    # A pound-force is 4.4482216152605 N, a foot 304.8 mm, by definition.
    assert bench.tug == pytest.approx(22.241108)
    assert bench.sold_in == pytest.approx(914.4)
    assert "in N or lbf" in refused('[bench]\ntug = "20 kg"\n', "bench.tug")
    assert "0.1 to 10000 N" in refused('[bench]\ntug = "1000000000 N"\n', "bench.tug")


def test_a_mandrel_that_cannot_be_read_is_named():
    said = '[bench]\nmandrels = ["metric rods", "knitting needels"]\n'
    assert "'knitting needels' is none" in refused(said, "bench.mandrels", "did you mean knitting needles")
