"""The command `mandrel`."""

import json
import re

import pytest

RING = ("mandrel", "--inside", "5 mm", "--wire", "1 mm", "--metal", "brass", "--temper", "half hard")


def told(run, *more, code=0):
    return json.loads(run(*RING, *more, "--json", code=code).stdout)


def test_mandrel_wanted(run):
    # Derived: brass of 110 GPa and 448 MPa comes off a 5.0 mm mandrel at 5.260 mm, wire 1.0 mm.
    answer = json.loads(
        run("mandrel", "--inside", "5.26 mm", "--wire", "1 mm", "--metal", "brass", "--temper", "half hard",
            "--kerf", "0 mm", "--json").stdout
    )  # fmt: skip
    assert answer["mandrel_mm"] == pytest.approx(5.0, abs=1e-3)
    assert (answer["temper"], answer["temper_assumed"], answer["kerf_assumed"]) == ("half hard", False, False)
    by_name = {choice["name"]: choice["inside_diameter_mm"] for choice in answer["nearest"]}
    assert by_name["5 mm rod"] == pytest.approx(5.260, abs=5e-4)
    # Two of each set.
    assert len(by_name) == 8


def test_the_nearest_come_first(run):
    off = [abs(choice["inside_diameter_mm"] - 5.0) for choice in told(run)["nearest"]]
    assert off == sorted(off)


def test_mandrels_at_hand(run):
    answer = told(run, "--mandrels", "Knitting Needles, 4.7 mm, 3/16 in")
    assert [choice["name"] for choice in answer["nearest"]] == [
        "3/16 in mandrel (4.762 mm)", "4.7 mm mandrel", "5 mm knitting needle (US 8)",
    ]  # fmt: skip
    assert [choice["diameter_mm"] for choice in answer["nearest"]] == [4.7625, 4.7, 5.0]


def test_what_was_not_said_is_told_as_taken_for_granted(run):
    words = run("mandrel", "--inside", "5 mm", "--wire", "18 AWG", "--metal", "sterling silver").stdout
    assert words.count("taken for granted") == 2
    assert "1.024 mm (18 AWG) sterling silver, half hard" in words
    assert "An estimate" in words
    assert "eyes" in words
    wanted = re.search(r"Wind on a mandrel of ([\d.]+) mm for rings of 5 mm inside", words)
    assert 4.7 < float(wanted[1]) < 5.0
    assert "taken for granted" not in run(*RING, "--kerf", "0.3 mm").stdout


def test_the_kerf_counts(run):
    # Each cut takes pi times as much of the length as of the inside diameter.
    saw, flush = told(run), told(run, "--cut", "flush")
    assert (saw["kerf_mm"], flush["kerf_mm"]) == (0.25, 0.5)
    assert flush["mandrel_mm"] > told(run, "--kerf", "0 mm")["mandrel_mm"]


def test_a_saw_blade_says_its_kerf(run):
    # Memory: a 4/0 blade is 0.22 mm thick.
    answer = told(run, "--kerf", "4/0")
    assert (answer["kerf_mm"], answer["kerf_assumed"]) == (0.22, False)
    assert "no saw blade" in run(*RING, "--kerf", "4/0", "--cut", "flush", code=2).stderr


def test_titanium_may_name_its_grade(run):
    ring = ("mandrel", "--inside", "5 mm", "--wire", "1 mm", "--json", "--metal")
    answer = json.loads(run(*ring, "Titanium  Grade 1").stdout)
    # ASTM B863 family, least yield of grade 1.
    assert (answer["temper"], answer["temper_assumed"], answer["yield_strength_mpa"]) == (
        "grade 1",
        False,
        170.0,
    )
    assert json.loads(run(*ring, "titanium").stdout)["temper_assumed"]
    said = json.loads(run(*ring, "titanium grade 1", "--temper", "grade 2").stdout)
    assert said["temper"] == "grade 2"


def test_a_trial_coil(run):
    answer = told(run, "--trial", "5 mm, 5.4 mm", "--kerf", "0 mm", "--mandrels", "5 mm")
    assert answer["calibration"] > 1.0
    assert answer["nearest"][0]["inside_diameter_mm"] == pytest.approx(5.4, abs=1e-5)
    assert "times as much as computed" in run(*RING, "--trial", "5 mm, 5.4 mm").stdout


def test_figures_of_a_metal_without_data(run):
    options = ("--inside", "5 mm", "--wire", "1 mm", "--metal", "niobium", "--json")
    answer = json.loads(run("mandrel", *options, "--youngs-modulus", "103", "--yield-strength", "200").stdout)
    assert (answer["youngs_modulus_gpa"], answer["yield_strength_mpa"]) == (103.0, 200.0)
    assert answer["source"] == "given"


def test_no_mandrel_makes_such_rings(run):
    options = ("--youngs-modulus", "1", "--yield-strength", "700")
    outcome = run("mandrel", "--inside", "2 mm", "--wire", "1 mm", "--metal", "niobium", *options, code=1)
    assert "No mandrel" in outcome.stdout


@pytest.mark.parametrize(
    ("changed", "place", "words"),
    [
        ({"--inside": "5"}, "--inside", "a length with its unit"),
        ({"--inside": "0.01 mm"}, "--inside", "0.2 mm to 500 mm"),
        ({"--wire": "18 gauge"}, "--wire", "18 AWG"),
        ({"--wire": "60 mm"}, "--wire", "0.05 mm to 50 mm"),
        ({"--metal": "sterling sliver"}, "--metal", "did you mean sterling silver?"),
        ({"--metal": "niobium", "--temper": None}, "--metal", "--youngs-modulus and --yield-strength"),
        ({"--metal": "niobium"}, "--temper", "--youngs-modulus and --yield-strength"),
        ({"--metal": "copper"}, "--temper", "annealed"),
        ({"--metal": "niobium", "--temper": None, "--yield-strength": "200"}, "--metal", "--youngs-modulus"),
        ({"--yield-strength": "nan"}, "--yield-strength", "1 to 5000 MPa"),
        ({"--youngs-modulus": "76000"}, "--youngs-modulus", "1 to 1000 GPa"),
        ({"--mandrels": "needels"}, "--mandrels", "did you mean knitting needles?"),
        ({"--mandrels": "4 mm, 600 mm"}, "--mandrels", "0.2 mm to 500 mm"),
        ({"--kerf": "-1 mm"}, "--kerf", "0 mm to 5 mm"),
        ({"--trial": "5 mm"}, "--trial", "the mandrel and the inside"),
        ({"--trial": "5 mm, 4 mm"}, "--trial", "they do not close up"),
    ],
)
def test_bad_input(run, changed, place, words):
    options = {"--inside": "5 mm", "--wire": "1 mm", "--metal": "brass", "--temper": "half hard"} | changed
    flat = [part for option, value in options.items() if value is not None for part in (option, value)]
    outcome = run("mandrel", *flat, "--json", code=2)
    (problem,) = json.loads(outcome.stdout)["problems"]
    assert problem["where"] == place
    assert words in f"{problem['expected']} {problem['advice']}"
    assert f"error: {place}" in outcome.stderr
