"""Whether a piece goes round what it is made for: a chain has thickness, so that it is shorter inside."""

from math import pi

import pytest

from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.make.worn import lacks_round, round_inside, thickness_of
from chaingen.pipeline import build, plan
from chaingen.show.words import verdict_lines
from chaingen.units import format_mm


def made_for(wrist, ease):
    text = starter_design("one-in-one", length="1 mm")
    text = text.replace('length = "1 mm"', f'wrist = "{wrist}"\nease = "{ease}"', 1)
    return build(parse_design(text))


def test_what_is_too_thick_for_its_ease_says_so():
    # A ring of 4 mm inside in 1.024 mm wire is 6.05 mm wide; common practice adds 9.5 mm for a snug fit.
    snug, loose = made_for("165 mm", "snug"), made_for("165 mm", "loose")
    assert lacks_round(loose) is None
    assert not [line for line in verdict_lines(loose) if "it is made for" in line]
    inside = snug.finished_length - pi * thickness_of(snug)
    assert round_inside(snug) == pytest.approx(inside)
    assert lacks_round(snug) == pytest.approx(165.0 - inside)
    (line,) = [line for line in verdict_lines(snug) if "it is made for" in line]
    assert line.startswith("But worn closed it is only about ")
    assert f"{format_mm(inside, 1)} round inside" in line
    assert f"{format_mm(snug.finished_length + 165.0 - inside, 1)} long" in line
    choices = plan(snug).plan.lengths
    assert any(choice.inside == pytest.approx(inside, abs=0.01) for choice in choices)


def test_nothing_is_said_of_what_is_made_for_no_wrist():
    assert lacks_round(build(parse_design(starter_design("one-in-one", repeat=5)))) is None
