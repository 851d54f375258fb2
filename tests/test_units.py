import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.units import UnreadableLength, format_mm, parse_length, parse_number

# One inch is 25.4 mm by definition (international yard and pound agreement, 1959).
QUARTER = 25.4 / 4


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("180 mm", 180.0),
        ("18 cm", 180.0),
        ("0.18 m", 180.0),
        ("4mm", 4.0),
        ("  4  MM ", 4.0),
        (".5 mm", 0.5),
        ("4. mm", 4.0),
        ("+4 mm", 4.0),
        ("7 1/4 in", 29 * QUARTER),
        ("7-1/4 in", 29 * QUARTER),
        ("7.25in", 29 * QUARTER),
        ("7.25 in.", 29 * QUARTER),
        ('7 1/4"', 29 * QUARTER),
        ("7 1/4”", 29 * QUARTER),
        ("7¼ in", 29 * QUARTER),
        ("¼ in", QUARTER),
        ("1/4 in", QUARTER),
        ("3/8 inch", 9.525),
        ("2 Inches", 50.8),
        ("1 millimetre", 1.0),
        ("2 millimeters", 2.0),
        ("-3 mm", -3.0),
    ],
)
def test_length(text, millimetres):
    assert parse_length(text) == pytest.approx(millimetres, rel=1e-15)


def test_fractions_of_an_inch_are_exact():
    # 5/32 in = 3.96875 mm and 1/8 in = 3.175 mm, as on the rods of a mandrel set.
    assert parse_length("5/32 in") == 3.96875
    assert parse_length("1/8 in") == 3.175


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "4", "7 1/4", "mm", "in", "four mm", "4 furlongs", "4 m m", "4 mm 2", "1/0 in", "/4 in",
        "1/ in", "7 1/4 1/2 in", "1 2 mm", "1..2 mm", "nan mm", "inf mm", "-inf in", "1e3 mm", "4,5 mm",
        "1_000 mm", "--4 mm", "4 mm\x00", "9" * 5000 + " mm", "9" * 400 + " mm", "18 AWG",
    ],
)  # fmt: skip
def test_what_is_no_length(text):
    with pytest.raises(UnreadableLength, match="a length with its unit"):
        parse_length(text)


def test_unknown_unit_is_named():
    with pytest.raises(UnreadableLength, match="'furlongs' is not known"):
        parse_length("4 furlongs")


def test_decimal_comma_is_named():
    with pytest.raises(UnreadableLength, match="with a point for decimals"):
        parse_length("4,5 mm")


@given(st.text(max_size=30))
def test_any_text_is_a_length_or_refused(text):
    try:
        value = parse_length(text)
    except UnreadableLength:
        return
    assert math.isfinite(value)


@given(st.floats(0.001, 1e5))
def test_a_length_written_is_read_back(value):
    assert parse_length(format_mm(value)) == pytest.approx(value, abs=0.000501)


@given(st.integers(0, 999), st.integers(0, 127))
def test_mixed_fractions(whole, sixty_fourths):
    text = f"{whole} {sixty_fourths}/64"
    assert parse_number(text) == pytest.approx(whole + sixty_fourths / 64, abs=1e-12)
    assert parse_length(f"{text} in") == pytest.approx(25.4 * (whole + sixty_fourths / 64), rel=1e-14)


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (1.02362, 3, "1.024 mm"),
        (4.0, 3, "4 mm"),
        (100.0, 3, "100 mm"),
        (100.0, 0, "100 mm"),
        (0.05, 3, "0.05 mm"),
        (-0.0001, 3, "0 mm"),
        (0.0, 3, "0 mm"),
        (-1.5, 3, "-1.5 mm"),
    ],
)
def test_format(value, digits, text):
    assert format_mm(value, digits) == text
