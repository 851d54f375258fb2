"""Repeats for a length: a piece whose rings do not fit is told so in the length that was asked for."""

from dataclasses import replace

import pytest

from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.pipeline import build
from chaingen.show.words import verdict_lines
from chaingen.solve.cells import cell_of
from chaingen.solve.place_weave import SHORT_CELLS
from chaingen.solve.placement import Answer
from chaingen.solve.repeats import with_repeats
from chaingen.solve.verdict import best_gap
from chaingen.weave.catalogue import find_weave
from chaingen.weave.pieces import Sections

CLASPED = """
[findings.clasp]
kind = "lobster clasp"

[ends.end]
finding = "clasp"
joins = [{ join = 1, ring = "jump" }]

[rings.jump]
inside = "6 mm"
wire = "18 AWG"
"""


def shrunk(text, factor):
    """A design, its rings so many times as large inside, judged without scatter."""
    design = replace(parse_design(text), tolerance=0.0)
    return replace(
        design, piece=design.piece.resized(lambda s: replace(s, inside_diameter=factor * s.inside_diameter))
    )


def of_weave(name, factor, extra="", **asked):
    return shrunk(starter_weave(find_weave(name), **asked) + extra, factor)


@pytest.mark.parametrize(
    ("name", "factor"), [("jens-pind", 0.9), ("box-chain", 0.85), ("half-persian-4-in-1", 0.8)]
)
def test_a_length_is_told_as_the_endless_weave_is(name, factor):
    """Three cells of these have room that a chain has not."""
    few = build(of_weave(name, factor, repeat=3))
    assert few.fits
    design = of_weave(name, factor, length="180 mm")
    cell = cell_of(design.piece)
    assert cell.gap < 0.0
    result = build(design)
    assert result.placement.answer is Answer.NO_FIT_FOUND
    assert (result.exit_code, result.finished_length) == (1, None)
    assert result.check.smallest_gap == pytest.approx(cell.gap, abs=1e-6)
    # It is about as long as was asked.
    assert result.length_as_placed == pytest.approx(180.0, rel=0.05)
    count = result.design.piece.repeat
    assert f"for the 180 mm asked, the cells were made {count} times." in verdict_lines(result)[-1]
    # What is said to fit instead does so in that length.
    assert result.nearest
    sizes = {size.name: size for size in result.nearest[0].sizes}
    instead = replace(design, piece=design.piece.resized(lambda size: sizes[size.name]))
    assert cell_of(instead.piece).gap >= 0.0
    assert build(instead).fits


def test_a_weave_with_a_clasp_is_told_as_the_endless_weave_is():
    design = of_weave("jens-pind", 0.9, CLASPED, length="60 mm")
    assert isinstance(design.piece, Sections)
    result = build(design)
    assert not result.fits
    assert result.design.repeating.repeat * cell_of(design.repeating).state.motion.period == pytest.approx(
        60.0, rel=0.05
    )
    # Sizes are sought for all of it, and not for the few cells of a sample, which have room.
    gap, fits = best_gap(result.design.piece)
    assert not fits
    assert gap == pytest.approx(cell_of(design.repeating).gap)
    assert best_gap(result.design.piece_of(SHORT_CELLS))[1]


def test_groups_that_do_not_fit_are_made_as_often_as_the_length_takes():
    fits = with_repeats(parse_design(starter_design("two-in-one", length="180 mm")))
    result = build(shrunk(starter_design("two-in-one", length="180 mm"), 0.75))
    assert not result.fits
    assert fits.piece.repeat < result.design.piece.repeat < 1.6 * fits.piece.repeat


def test_fitting_groups_too_many_to_be_pulled_straight_are_not_said_to_not_fit():
    result = build(parse_design(starter_design("one-in-one", length="40 mm")))
    lines = verdict_lines(replace(result, finished_length=None))
    told = [line for line in lines if "finished length" in line]
    assert told == [
        "So many unlike groups have no known finished length; for the 40 mm asked, the groups were made "
        f"{result.design.piece.repeat} times."
    ]


def test_words_about_a_loop_solve_nothing_again(monkeypatch):
    """What comes round is said by the placed cell, as a quick look has it."""
    loops = [
        build(parse_design(starter_weave(find_weave("jens-pind"), closed=True, **asked)))
        for asked in ({"repeat": 40}, {"length": "60 mm"})
    ]
    said = [verdict_lines(loop) for loop in loops]

    def refuse(*_, **__):
        raise AssertionError("solved again")

    monkeypatch.setattr("chaingen.solve.place_weave.solve_weave", refuse)
    assert [verdict_lines(loop) for loop in loops] == said
    assert any("come round" in line for lines in said for line in lines)
