"""Lengths beside the one designed, and rings counted without placing them."""

from collections import Counter
from dataclasses import replace
from itertools import product
from math import pi
from pathlib import Path

import pytest

from chaingen.design.load import load_design, parse_design
from chaingen.design.starter import starter_design
from chaingen.pipeline import build
from chaingen.solve.choices import fewest_repeats, length_choices, ring_numbers, rings_of
from chaingen.solve.length import TautLengths
from chaingen.solve.place import place
from chaingen.solve.repeats import lengths_of
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.groups import RingSize, Run
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.weave import Repeats
from tests.conftest import join, rosette, side, size

EXAMPLES = Path(__file__).parent.parent / "examples"

HEAD = """
title = "Towline"
metal = "copper"

[rings.link]
inside = "4.6 mm"
wire = "1 mm"

[rings.jump]
inside = "4 mm"
wire = "1 mm"

[findings.hook]
kind = "hook"

[findings.eye]
kind = "closed ring"
inside = "5 mm"
"""

ENDS = """
[ends.start]
finding = "hook"
joins = [{ join = 1, ring = "jump" }]

[ends.end]
finding = "eye"
joins = [{ join = 1, ring = "jump" }]
"""

BARS = """
[findings.bar]
kind = "end bar"
strands = 3

[ends.start]
finding = "bar"

[ends.end]
finding = "bar"
"""


def chain(pattern, rest=""):
    return parse_design(f"{HEAD}{rest}[pattern]\n{pattern}")


def choices(design, target=None, thickness=None, measure=None):
    sized = replace(design, length=None)
    own = lengths_of(sized).at(sized.repeating.repeat)
    return length_choices(sized, lengths_of(sized, target or own), thickness, measure)


def check_against_builds(design):
    """Every choice is what a build of that number of repeats is."""
    found = choices(design)
    assert [choice.repeat for choice in found if choice.repeat == design.repeating.repeat]
    for choice in found:
        built = build(replace(design, tolerance=0.0).repeated(choice.repeat))
        assert choice.rings == sum(count.count for count in built.counts)
        # Three repeats and fewer are pulled as they are, more are reckoned from three.
        assert choice.length == pytest.approx(built.finished_length, abs=1e-6)
    return found


RUNS = list(product(["one-in-one", "two-in-one", "two-in-two"], [1, 2, 3, 4, 9]))


@pytest.mark.parametrize(("name", "repeat"), RUNS)
def test_a_run_one_shorter_and_one_longer(name, repeat):
    found = check_against_builds(parse_design(starter_design(name, repeat=repeat)))
    assert [choice.repeat for choice in found] == [r for r in (repeat - 1, repeat, repeat + 1) if r]
    assert [choice.length for choice in found] == sorted(choice.length for choice in found)


def test_a_plain_chain_in_closed_form():
    """N insides and two wires; N rings in N groups."""
    found = choices(parse_design(starter_design("one-in-one", inside="4 mm", wire="1 mm", repeat=40)))
    for choice, repeat in zip(found, (39, 40, 41), strict=True):
        assert (choice.rings, choice.groups) == (repeat, repeat)
        assert choice.length == pytest.approx(4.0 * repeat + 2.0, abs=5e-3)


def test_groups_without_the_join_that_would_hang():
    """Two-in-one: n pairs and n - 1 joins between them."""
    found = choices(parse_design(starter_design("two-in-one", repeat=6)))
    assert [(choice.rings, choice.groups) for choice in found] == [(14, 9), (17, 11), (20, 13)]


def test_what_is_worn_is_smaller_inside_and_has_its_ease():
    design = parse_design(starter_design("one-in-one", inside="4 mm", wire="1 mm", repeat=40))
    for choice in choices(design, thickness=5.0, measure=150.0):
        assert choice.inside == pytest.approx(choice.length - 5.0 * pi)
        assert choice.ease == pytest.approx(choice.length - 150.0)
    assert {(choice.inside, choice.ease) for choice in choices(design)} == {(None, None)}


@pytest.mark.parametrize("rest", ["", ENDS])
def test_a_weave_with_and_without_findings_at_its_ends(rest):
    pattern = 'weave = "half-persian-3-in-1"\nrings = { link = "link" }\nrepeat = 5\n'
    found = check_against_builds(chain(pattern, rest))
    assert [choice.groups for choice in found] == [4, 5, 6]


def test_strands_are_counted_each():
    groups = '{ side_by_side = 1, ring = "link" }, { join = 1, ring = "jump" }'
    found = check_against_builds(chain(f"strands = 3\ngroups = [{groups}]\nrepeat = 2\n", BARS))
    # The bars link the strands with rings of their own; a strand keeps its last join, for that links a bar.
    assert [(choice.rings, choice.groups) for choice in found] == [(6, 2), (12, 4), (18, 6)]


def test_a_pair_takes_the_rings_of_both():
    text = starter_design("one-in-one", repeat=4).replace("\n[rings", "\npair = true\n[rings", 1)
    found = check_against_builds(parse_design(text))
    assert [choice.rings for choice in found] == [6, 8, 10]
    assert [choice.groups for choice in found] == [3, 4, 5]


def test_a_turning_chain_comes_round_with_some_numbers_of_cells_only():
    design = chain('weave = "jens-pind"\nform = "closed loop"\nrepeat = 60\nrings = { link = "link" }\n')
    design = replace(design, piece=design.piece.resized(lambda one: replace(one, inside_diameter=3.2)))
    found = check_against_builds(design)
    numbers = [choice.repeat for choice in found]
    assert 60 in numbers
    assert numbers == sorted(numbers)
    assert len(numbers) == 3
    from chaingen.solve.place_weave import comes_round

    for below, above in ((numbers[0], 60), (60, numbers[2])):
        assert not any(comes_round(design.piece.repeated(n)) for n in range(below + 1, above))


def test_a_loop_has_rings_enough_to_be_one():
    design = parse_design(starter_design("one-in-one", inside="6 mm", wire="1 mm", repeat=3, closed=True))
    assert [choice.repeat for choice in choices(design)] == [3, 4]
    assert fewest_repeats(Run((side(1, size(4.0)), join(1, size(4.0))), closed=True)) == 2
    assert fewest_repeats(Run((side(1, size(4.0)),), first=(side(1, size(4.0)),) * 9, closed=True)) == 1


def test_sheets_and_sections_have_no_other_length():
    one = TautLengths(0.0, 100.0, 1)
    for name in ("harbour-net", "keepers-chain"):
        assert length_choices(load_design(EXAMPLES / f"{name}.toml"), one, None, None) == ()


def of_graph(graph):
    return Counter(member.size for member in graph.members if isinstance(member.size, RingSize))


CHAINS = [name for name in weave_names() if find_weave(name).repeats is Repeats.CHAIN]


@pytest.mark.parametrize("name", CHAINS)
@pytest.mark.parametrize("repeat", [1, 2, 5])
def test_rings_of_every_weave_as_placed(name, repeat):
    weave = find_weave(name)
    piece = Chain(weave, weave.usual, repeat=repeat)
    assert rings_of(piece) == of_graph(place(piece).graph)


@pytest.mark.parametrize("name", CHAINS)
@pytest.mark.parametrize("closed", [False, True])
def test_reckoned_numbers_are_those_counted_one_by_one(name, closed):
    weave = find_weave(name)
    piece = Chain(weave, weave.usual, repeat=30, closed=closed)
    design = replace(parse_design(starter_design("one-in-one", repeat=2)), piece=piece)
    numbers = ring_numbers(design)
    for repeat in (8, 9, 10, 30):
        assert numbers(repeat) == rings_of(piece.repeated(repeat))


def test_rings_of_runs_and_sections():
    ring, other = size(5.0), size(4.0, name="jump")
    run = Run((rosette(3, ring), join(1, other)), 4, first=(side(2, other),), last=(side(1, ring),))
    # With another group at its end the run keeps all four joins.
    assert rings_of(run) == {ring: 13, other: 6}
    for name in ("three-tides", "lantern-bracelet", "keepers-chain"):
        design = load_design(EXAMPLES / f"{name}.toml")
        design = replace(design, length=None)
        assert rings_of(design.piece) == of_graph(place(design.piece).graph)


def test_sheets_are_not_counted_so():
    weave = find_weave("european-4-in-1")
    with pytest.raises(AssertionError, match="outline"):
        rings_of(Sheet(weave, weave.usual, columns=3, rows=3))
