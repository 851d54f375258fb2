"""Words of the order of work: what each line tells a maker, from orders made by hand and orders found."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from chaingen.design.bench import Units
from chaingen.design.load import parse_design
from chaingen.findings.catalogue import KINDS
from chaingen.make.metals import RingMetals
from chaingen.make.order.order import order_of
from chaingen.make.order.steps import Instruction, Opened, Order, Step
from chaingen.pipeline import build
from chaingen.show.step_words import StepWords, repeat_words
from chaingen.stock.metals import find_metal
from chaingen.weave.catalogue import find_weave
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import join, rosette, side, size
from tests.orders import ordered, weave_graph

SILVER, COPPER = find_metal("sterling silver"), find_metal("copper")
EXAMPLES = Path(__file__).parent.parent / "examples"


def finding(kind, **sizes):
    return Group(GroupKind.FINDING, 1, KINDS[kind].build(f"my {kind}", **sizes))


def of(graph, *, metals=(SILVER,), of_ring=None):
    each = np.zeros(len(graph), dtype=np.int64) if of_ring is None else np.array(of_ring)
    return RingMetals(metals, each)


def links_of(graph, body, others):
    return tuple(
        k
        for k, pair in enumerate(graph.links.tolist())
        if body in pair and (set(pair) - {body}) & set(others)
    )


def step(graph, body, *, added=(), through=(), new=True, eye=0, laid=()):
    return Step(body, eye, added, through, new, links_of(graph, body, (*added, *through)), laid)


def order(steps, *, opened=(), closed=(), eyes=(), lines=None, proven=True, at_least=None):
    count = len(opened) + len(eyes)
    lowest = count if at_least is None else at_least
    found = Opened(tuple(opened), tuple(closed), tuple(eyes), (), count, lowest, proven)
    if lines is None:
        lines = [Instruction(k + 1, k, k) for k in range(len(steps))]
    return Order(found, tuple(steps), tuple(lines), tuple(range(len(steps))))


def words(graph, steps, *, metals=None, units=Units.METRIC, **more):
    return StepWords(graph, metals or of(graph), order(steps, **more), units)


def said(graph, one, **more):
    return words(graph, [one], **more).lines()[0]


# --- single steps ---------------------------------------------------------------------------------


@pytest.fixture
def pairs():
    """Three pairs of rings of one size, 1a to 3b."""
    return piece_graph(Run((side(2, size(4.0)),), repeat=3))


def test_ring_through_others_with_closed_ones_taken_up(pairs):
    one = step(pairs, 2, added=(4, 5), through=(0, 1))
    assert said(pairs, one) == (
        "Take opened ring 2a. Put it through rings 1a and 1b, take up 2 closed rings, 3a and 3b, close it."
    )


def test_ring_that_only_takes_up(pairs):
    assert said(pairs, step(pairs, 2, added=(0,))) == "Take opened ring 2a. Take up closed ring 1a, close it."


def test_ring_that_only_goes_through(pairs):
    assert (
        said(pairs, step(pairs, 2, through=(0,))) == "Take opened ring 2a. Put it through ring 1a, close it."
    )


def test_first_ring_alone(pairs):
    assert said(pairs, step(pairs, 0)) == "Close ring 1a: the work begins with it."


def test_a_loose_ring_is_laid_in_before_the_last_is_closed(pairs):
    one = step(pairs, 2, through=(0, 1), laid=(5,))
    assert said(pairs, one) == (
        "Take opened ring 2a. Put it through rings 1a and 1b, lay closed ring 3b in place, linked with "
        "nothing, close it."
    )
    round_it = replace(one, round_it=(5,))
    assert said(pairs, round_it) == (
        "Take opened ring 2a. Put it through rings 1a and 1b, slip closed ring 3b over it between them, "
        "linked with nothing, close it."
    )
    alone = replace(step(pairs, 2, through=(0,), laid=(5,)), round_it=(5,))
    assert "slip closed ring 3b over it, linked with nothing" in said(pairs, alone)


def test_where_ends_meet_and_parts_begin(pairs):
    one = step(pairs, 2, through=(0, 1))
    assert said(pairs, replace(one, joins_ends=True)) == (
        "See that nothing is twisted, and bring the two ends of the piece together. "
        "Take opened ring 2a. Put it through rings 1a and 1b, close it."
    )
    anew = replace(step(pairs, 2, added=(4, 5)), begins_anew=True)
    assert said(pairs, anew) == (
        "Begin a part that hangs on nothing made so far. "
        "Take opened ring 2a. Take up 2 closed rings, 3a and 3b, close it."
    )


def test_several_sizes_are_told_apart():
    graph = piece_graph(Run((side(1, size(4.0, name="mast")), side(1, size(5.0, name="sail"))), repeat=2))
    one = step(graph, 2, added=(1, 3))
    assert said(graph, one) == (
        "Take opened ring 3a (mast, 4 mm inside). Take up 2 closed rings, 2a and 4a (sail, 5 mm inside), "
        "close it."
    )
    assert "(mast, 0.157 in inside)" in said(graph, one, units=Units.INCH)


def test_metals_are_told_where_there_are_several(pairs):
    metals = of(pairs, metals=(SILVER, COPPER), of_ring=[0, 0, 1, 1, 0, 1])
    one = step(pairs, 2, added=(4, 5), through=(0,))
    assert said(pairs, one, metals=metals) == (
        "Take opened ring 2a (copper). Put it through ring 1a, take up closed ring 3a (sterling silver) and "
        "closed ring 3b (copper), close it."
    )


def test_a_metal_that_goes_with_the_size_is_not_told_at_every_step():
    graph = piece_graph(Run((side(1, size(4.0, name="mast")), side(1, size(5.0, name="sail"))), repeat=2))
    metals = of(graph, metals=(SILVER, COPPER), of_ring=[0, 1, 0, 1])
    one = step(graph, 2, added=(1, 3))
    assert "copper" not in said(graph, one, metals=metals)
    ready = words(graph, [one], metals=metals, opened=(2,), closed=(1,)).preparation()
    assert "sterling silver" in ready[0]
    assert "copper" in ready[1]


# --- findings -------------------------------------------------------------------------------------


def hung(kind, **sizes):
    """A finding, and a rosette that hangs in it."""
    return piece_graph(Run((finding(kind, **sizes), rosette(3, size(4.0)))))


def test_a_loop_is_opened_with_pliers():
    graph = hung("ear wire")
    assert said(graph, step(graph, 0, through=(1, 2, 3), eye=0)) == (
        "Take ear wire 1a. Open its loop, hang in rings 2a, 2b and 2c, close it."
    )
    assert said(graph, step(graph, 0, through=(1, 2, 3), eye=0, new=False)) == (
        "Open the loop of ear wire 1a, hang in rings 2a, 2b and 2c, close it."
    )


def test_a_link_that_is_all_eye_is_opened_itself():
    graph = piece_graph(
        Run((rosette(3, size(4.0)), finding("oval link", wire=1.0, inside_length=6.0, inside_width=3.5)))
    )
    assert said(graph, step(graph, 3, through=(0, 1, 2))) == (
        "Take oval link 2a. Open it, hang in rings 1a, 1b and 1c, close it."
    )


def eye_named(graph, body, name):
    eyes = [eye.name for eye in graph.members[body].size.shape.eyes]
    return eyes.index(name)


@pytest.mark.parametrize(
    ("kind", "eye", "new", "text"),
    [
        ("S-hook", "outer bend", True, "Take S-hook 1a and hang ring 2a in it."),
        ("S-hook", "outer bend", False, "Hang ring 2a in S-hook 1a."),
        (
            "lobster clasp",
            "mouth",
            True,
            "Take lobster clasp 1a. Open its gate, hang in ring 2a, let it shut.",
        ),
        ("spring ring", "mouth", False, "Open the gate of spring ring 1a, hang in ring 2a, let it shut."),
        (
            "toggle bar",
            "bar",
            True,
            "Take toggle bar 1a. Put it end first through ring 2a and let it lie across.",
        ),
        (
            "toggle bar",
            "bar",
            False,
            "Put toggle bar 1a end first through ring 2a, with what hangs in its eye beside it, and let it "
            "lie across.",
        ),
    ],
)
def test_what_is_open_as_it_is_worn_is_hung_in(kind, eye, new, text):
    graph = piece_graph(Run((finding(kind), side(1, size(6.0)))))
    eyes = graph.members[0].size.shape.eyes
    wanted = [k for k, one in enumerate(eyes) if one.closure.value in ("hook", "spring gate", "bar")]
    assert wanted, [one.name for one in eyes]
    assert said(graph, step(graph, 0, through=(1,), eye=wanted[-1], new=new)) == text


def test_which_eye_of_a_finding_a_ring_goes_through():
    graph = piece_graph(Run((finding("lobster clasp"), join(1, size(4.0)), side(1, size(4.0)))))
    links = links_of(graph, 1, (0,))
    assert len(links) == 1
    assert graph.links[links[0]].tolist() == [0, 1]
    eye = graph.members[0].size.shape.eyes[int(graph.link_eyes[links[0], 0])].name
    assert said(graph, step(graph, 1, added=(0, 2))) == (
        f"Take opened ring 2a. Take up the {eye} of lobster clasp 1a and closed ring 3a, close it."
    )
    assert f"through the {eye} of lobster clasp 1a," in said(graph, step(graph, 1, added=(2,), through=(0,)))


def test_findings_of_one_kind_are_told_apart():
    long, short = (
        Group(
            GroupKind.FINDING,
            1,
            KINDS["oval link"].build(name, wire=1.0, inside_length=8.0, inside_width=4.0),
        )
        for name in ("long", "short")
    )
    graph = piece_graph(Run((long, join(1, size(4.0)), short, join(1, size(4.0))), repeat=2))
    assert said(graph, step(graph, 1, added=(0, 2))) == (
        "Take opened ring 2a. Take up oval link 1a (long) and oval link 3a (short), close it."
    )
    ready = words(graph, [step(graph, 1, added=(0, 2))]).preparation()
    assert "Have ready: 2 oval links (long) and 2 oval links (short)." in ready


def test_a_ring_soldered_shut_is_no_ring_to_close():
    graph = piece_graph(
        Run((finding("closed ring", wire=1.0, inside=5.0), join(1, size(4.0)), side(1, size(4.0))))
    )
    assert said(graph, step(graph, 1, added=(0, 2))) == (
        "Take opened ring 2a. Take up soldered ring 1a and closed ring 3a, close it."
    )
    assert "through soldered ring 1a," in said(graph, step(graph, 1, added=(2,), through=(0,)))
    assert words(graph, [step(graph, 1)], opened=(1,)).preparation()[-1] == "Have ready: 1 soldered ring."


def test_eyes_are_told_as_at_the_bench():
    """A ring goes round a bar, not through it; a hook has no hook; a strand is no hole."""
    graph, lines = lines_of_run(side(1, size(4.0)), finding("toggle bar"), repeat=2)
    assert "Put it round the bar of toggle bar 2a, take up the eye of toggle bar 4a" in lines[1]
    _, lines = lines_of_run(side(1, size(4.0)), finding("hook"), repeat=2)
    assert "through the bend of hook 2a, take up the loop of hook 4a" in lines[1]
    text = (EXAMPLES / "three-tides.toml").read_text(encoding="utf-8")
    result = build(parse_design(text))
    graph = result.placement.graph
    found = order_of(graph, result.metals, result.placement.rings)
    told = " ".join(StepWords(graph, result.metals, found, Units.METRIC).lines())
    assert "through the eye for strand 1 of end bar 1-3a" in told


# --- repeats, what to open and close --------------------------------------------------------------


def line(number, first, last, times):
    return Instruction(number, None, None, first, last, times)


def test_repeats():
    assert repeat_words(line(6, 3, 5, 24), [], "ring 9a") == (
        "Make steps 3 to 5 again, 24 times (25 in all). Ring 9a is the last."
    )
    assert repeat_words(line(6, 4, 5, 1), [], "ring 9a") == (
        "Make steps 4 and 5 again, once. Ring 9a is the last."
    )
    assert repeat_words(line(6, 5, 5, 2), [], "ring 9a").startswith("Make step 5 again, twice (3 in all).")
    assert "again, 1,200 times (1,201 in all)" in repeat_words(line(6, 5, 5, 1200), [], "ring 9a")
    inner = line(6, 4, 5, 2)
    assert repeat_words(line(8, 3, 7, 3), [inner], "ring 9a") == (
        "Make steps 3 to 7 again, 3 times (4 in all), with the repeats in them. Ring 9a is the last."
    )
    # One that comes before those made again is none of them.
    assert "in them" not in repeat_words(line(12, 7, 10, 3), [inner], "ring 9a")


def lines_of_run(*groups, **more):
    graph = piece_graph(Run(groups, **more))
    return graph, StepWords(graph, of(graph), ordered(graph), Units.METRIC).lines()


def test_the_last_of_a_repeat_is_named():
    """Ten pairs and nine joins: the joins are opened, 2a, 4a ... 18a."""
    _, lines = lines_of_run(side(2, size(4.0)), join(1, size(4.0)), repeat=10)
    assert lines[-1] == "Make step 2 again, 7 times (8 in all). Ring 18a is the last."


def test_others_through_the_same_are_named(pairs):
    """The last three of three in three go through the same three, not through the next ones along."""
    _, lines = lines_of_run(side(3, size(4.0)), repeat=8)
    assert lines[-2] == "Take opened ring 8a. Put it through rings 7a, 7b and 7c, close it."
    assert lines[-1] == "Do the same as in step 8 with rings 8b and 8c, one after the other."
    through = [step(pairs, 2, through=(0, 1)), step(pairs, 3, through=(0, 1))]
    again = [Instruction(1, 0, 0), line(2, 1, 1, 1)]
    assert words(pairs, through, lines=again).lines()[1] == "Do the same as in step 1 with ring 2b."


def test_the_last_within_repeats_is_that_of_the_first_time():
    graph = weave_graph(find_weave("japanese-4-in-1"), 6, 5)
    lines = StepWords(graph, of(graph), ordered(graph), Units.METRIC).lines()
    # Columns of five large rings, joined by small ones; six columns.
    assert [one.rpartition(". ")[2] for one in lines if one.startswith("Make")] == [
        "Ring 1.5large is the last.",
        "Ring 2.5large is the last.",
        "Ring 6.5large is the last.",
    ]


def test_what_to_open_and_close_by_size_and_metal(pairs):
    metals = of(pairs, metals=(SILVER, COPPER), of_ring=[0, 0, 1, 1, 0, 0])
    told = words(pairs, [step(pairs, 2)], metals=metals, opened=(2, 3), closed=(0, 1, 4, 5)).preparation()
    assert told == (
        "Open 2 rings: 2 link, 4 mm inside in 1.024 mm (18 AWG) wire, copper.",
        "Close 4 rings: 4 link, 4 mm inside in 1.024 mm (18 AWG) wire, sterling silver. Rings that are "
        "bought closed serve as they come.",
    )


def test_a_gauge_never_stands_without_millimetres(pairs):
    for units in Units:
        for text in words(pairs, [step(pairs, 2)], opened=(2,), closed=(0,), units=units).preparation():
            assert "18 AWG" in text
            assert "1.024 mm" in text


def test_findings_are_made_ready():
    graph = piece_graph(Run((finding("ear wire"), rosette(3, size(4.0)))))
    told = words(graph, [step(graph, 1)], opened=(2, 3), closed=(0, 1), eyes=((0, 0),)).preparation()
    assert told[1].startswith("Close 1 ring: 1 link")
    assert told[2:] == (
        "Have ready: 1 ear wire.",
        "Of findings 1 eye will be opened with pliers, at the step that says so.",
    )


def test_whether_fewer_would_do(pairs):
    least = words(pairs, [step(pairs, 2)], opened=(2, 3)).least_words()
    assert least.startswith("No fewer will do: with fewer than 2 rings opened")
    bound = words(pairs, [step(pairs, 2)], opened=(2, 3), proven=False, at_least=1).least_words()
    assert bound == (
        "At least 1 ring has to be opened. Whether fewer than 2 would do was not found out in the time there "
        "was."
    )
    assert words(pairs, []).least_words() == ""


# --- orders that were found -----------------------------------------------------------------------


@pytest.mark.parametrize("name", ["two-in-one", "rosette-bracelet", "graduated-earring", "lobster-pot"])
def test_every_name_in_an_order_that_was_found_is_said(name):
    from chaingen.design.load import load_design

    result = build(load_design(EXAMPLES / f"{name}.toml"))
    graph = result.placement.graph
    found = order_of(graph, result.metals, result.placement.rings)
    lines = StepWords(graph, result.metals, found, Units.BOTH).lines()
    assert len(lines) == len(found.instructions)
    for instruction, text in zip(found.instructions, lines, strict=True):
        assert text.endswith(".")
        assert "  " not in text
        if instruction.step is None:
            assert str(instruction.times) in text or "once" in text or "twice" in text or "same" in text
            continue
        one = found.steps[instruction.step]
        # Each body of the step once, and no other.
        names = [graph.names[body] for body in (one.body, *one.added, *one.laid, *one.through)]
        told = re.findall(r"(?<![\w.-])\d[\w.-]*[a-z]\b(?! mm| AWG)", re.sub(r"\([^)]*\)", "", text))
        assert sorted(told) == sorted(names), text


def test_numbers_to_open_are_those_of_the_order():
    text = 'title = "Tide line"\nmetal = "copper"\n[rings.link]\ninside = "4 mm"\nwire = "18 AWG"\n'
    text += "[pattern]\nrepeat = 5\ngroups = [{ side_by_side = 2 }, { side_by_side = 1 }]\n"
    result = build(parse_design(text))
    found = order_of(result.placement.graph, result.metals, result.placement.rings)
    told = StepWords(result.placement.graph, result.metals, found, Units.METRIC)
    # Of alternating two and one the singles are opened (common practice): 5 of 15 rings.
    assert [line.split(":")[0] for line in told.preparation()[:2]] == ["Open 5 rings", "Close 10 rings"]
    assert "No fewer will do" in told.least_words()


def test_what_words_do_not_tell_is_said():
    """Links alone do not tell box chain from two in two: how rings lie is seen in pictures."""
    graph = piece_graph(Run((side(2, size(4.0)),), repeat=3))
    several = words(graph, [step(graph, 2, added=(0, 1)), step(graph, 3, through=(0, 1))]).preparation()
    assert "how rings lie in one another" in several[-1]
    assert words(graph, [step(graph, 2, added=(0, 1))]).preparation() == ()
    loose = replace(order([step(graph, 2, added=(0, 1))]), loose=(4, 5))
    assert StepWords(graph, of(graph), loose, Units.METRIC).preparation() == (
        "Without a step, for 3a and 3b hang on nothing.",
    )
