import math
from itertools import pairwise

import pytest

from chaingen.stock.gauges import awg, awg_table, describe_wire, gauge_name, parse_wire, swg_table
from chaingen.units import UnreadableLength

# ASTM B258, table of nominal diameters of American wire gauge; it rounds to 0.0001 in, here in mm to 0.001.
ASTM_B258 = {
    10: 2.588, 12: 2.053, 14: 1.628, 16: 1.291, 18: 1.024, 20: 0.812, 22: 0.644, 24: 0.511, 26: 0.405,
    28: 0.321, 30: 0.255,
}  # fmt: skip

# BS 3737:1964, imperial standard wire gauge, inches.
BS_3737 = {
    8: 0.160, 10: 0.128, 12: 0.104, 13: 0.092, 14: 0.080, 15: 0.072, 16: 0.064, 17: 0.056, 18: 0.048,
    19: 0.040, 20: 0.036, 21: 0.032, 22: 0.028, 23: 0.024, 24: 0.022, 25: 0.020, 26: 0.018, 27: 0.0164,
    28: 0.0148, 29: 0.0136, 30: 0.0124,
}  # fmt: skip


@pytest.mark.parametrize("number", ASTM_B258)
def test_awg_is_the_standard(number):
    assert parse_wire(f"{number} AWG") == pytest.approx(ASTM_B258[number], abs=0.003)


def test_awg_by_its_definition():
    # ASTM B258: 0.0050 in at 36, 0.4600 in at 4/0, and 39 equal ratios between them.
    assert parse_wire("36 AWG") == pytest.approx(0.0050 * 25.4, rel=1e-12)
    assert parse_wire("4/0 AWG") == pytest.approx(0.4600 * 25.4, rel=1e-12)
    table = list(awg_table().values())
    assert all(a / b == pytest.approx(92 ** (1 / 39), rel=1e-12) for a, b in pairwise(table))


@pytest.mark.parametrize("number", BS_3737)
def test_swg_is_the_standard(number):
    assert parse_wire(f"{number} SWG") == pytest.approx(BS_3737[number] * 25.4, abs=1e-9)


@pytest.mark.parametrize("table", [awg_table(), swg_table()])
def test_tables_go_from_thick_to_thin_without_holes(table):
    assert list(table) == list(range(min(table), max(table) + 1))
    sizes = list(table.values())
    assert sizes == sorted(sizes, reverse=True)
    assert len(set(sizes)) == len(sizes)


@pytest.mark.parametrize(
    "text",
    [
        "18 AWG",
        "18AWG",
        "18 awg",
        " AWG 18 ",
        "awg18",
        "18 ga AWG",
        "18 gauge (AWG)",
        "18 gauge awg",
        "#18 AWG",
        "AWG #18",
    ],
)
def test_ways_to_write_awg(text):
    assert parse_wire(text) == awg(18)


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("1.2 mm", 1.2),
        ("1.2mm", 1.2),
        ("0.048 in", 1.2192),
        ("1/16 in", 1.5875),
        ('1/16"', 1.5875),
        ("18 SWG", 1.2192),
        ("1/0 AWG", 0.3249 * 25.4),
        ("0 AWG", 0.3249 * 25.4),
        ("2/0 AWG", 0.3648 * 25.4),
        ("00 AWG", 0.3648 * 25.4),
        ("0000 AWG", 0.4600 * 25.4),
    ],
)
def test_wires(text, millimetres):
    # The noughts: ASTM B258 gives 0.3249, 0.3648 and 0.4600 in.
    assert parse_wire(text) == pytest.approx(millimetres, abs=0.003)


@pytest.mark.parametrize(
    "text", ["18", "18 gauge", "18 ga", "18ga.", "18g", "18 Gage", "gauge 18", "ga 18", "#18"]
)
def test_a_bare_gauge_is_refused_with_both_readings(text):
    with pytest.raises(UnreadableLength) as refusal:
        parse_wire(text)
    # 18 AWG is 1.024 mm by ASTM B258, 18 SWG is 1.219 mm by BS 3737.
    assert '"18 AWG" (1.024 mm)' in str(refusal.value)
    assert '"18 SWG" (1.219 mm)' in str(refusal.value)


def test_a_bare_gauge_that_only_one_system_has():
    with pytest.raises(UnreadableLength) as refusal:
        parse_wire("2 gauge")
    assert '"2 AWG" (6.544 mm)' in str(refusal.value)
    assert "SWG" not in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("99 AWG", "AWG from 4/0 to 40"),
        ("5/0 AWG", "AWG from 4/0 to 40"),
        ("41 AWG", "AWG from 4/0 to 40"),
        ("7 SWG", "SWG from 8 to 30"),
        ("4/0 SWG", "SWG from 8 to 30"),
        ("9999999999999999 SWG", "SWG from 8 to 30"),
    ],
)
def test_out_of_the_table(text, ends):
    with pytest.raises(UnreadableLength, match=ends):
        parse_wire(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "thin",
        "1.2",
        "nan",
        "inf mm",
        "18.5 AWG",
        "-18 AWG",
        "018 AWG",
        "3/4 AWG",
        "AWG",
        "18 XWG",
        "9" * 5000,
        "200",
    ],
)
def test_what_is_no_wire(text):
    with pytest.raises(UnreadableLength, match="a wire such as"):
        parse_wire(text)


def test_every_gauge_has_its_name():
    for number, diameter in awg_table().items():
        name = gauge_name(diameter)
        assert parse_wire(name) == diameter
        assert name == (f"{1 - number}/0 AWG" if number < 1 else f"{number} AWG")
    for diameter in swg_table().values():
        # A few SWG sizes are AWG sizes as well, to within the rounding of the tables.
        assert math.isclose(parse_wire(gauge_name(diameter)), diameter, abs_tol=0.003)


def test_describe_wire():
    assert describe_wire(awg(18)) == "1.024 mm (18 AWG)"
    assert describe_wire(1.2192) == "1.219 mm (18 SWG)"
    assert describe_wire(1.1) == "1.1 mm"
    assert gauge_name(1.1) == ""


def test_the_nearest_of_two_near_gauges_is_named():
    """16 SWG is 1.6256 mm and 14 AWG 1.6277 mm: each is called what it is."""
    assert gauge_name(parse_wire("16 SWG")) == "16 SWG"
    assert gauge_name(parse_wire("14 AWG")) == "14 AWG"
