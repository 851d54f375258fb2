"""Words of the order of work: what each line tells a maker, from orders made by hand and orders found."""

import re
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
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, Run
from tests.conftest import join, rosette, side, size

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
        "Take opened ring 2a. Put it through rings 1a and 1b, lay closed ring 3b inside, linked with "
        "nothing, close it."
    )


def test_several_sizes_are_told_apart():
    graph = piece_graph(Run((side(1, size(4.0, name="mast")), side(1, size(5.0, name="sail"))), repeat=2))
    one = step(graph, 2, added=(1, 3))
    assert said(graph, one) == (
        "Take opened ring 3a (mast, 4 mm inside). Take up 2 closed rings, 2a and 4a (sail, 5 mm inside), "
        "close it."
    )
    assert "(mast, 0.157 in (5/32) inside)" in said(graph, one, units=Units.INCH)


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
        ("toggle bar", "bar", False, "Put toggle bar 1a end first through ring 2a and let it lie across."),
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


# --- repeats, what to open and close --------------------------------------------------------------


def line(number, first, last, times):
    return Instruction(number, None, None, first, last, times)


def test_repeats():
    assert repeat_words(line(6, 3, 5, 24), []) == "Make steps 3 to 5 again, 24 times."
    assert repeat_words(line(6, 4, 5, 1), []) == "Make steps 4 and 5 again, once."
    assert repeat_words(line(6, 5, 5, 1200), []) == "Make step 5 again, 1,200 times."
    inner = line(6, 4, 5, 2)
    assert repeat_words(line(8, 3, 7, 3), [inner]) == (
        "Make steps 3 to 7 again, 3 times, with what is made again in them."
    )
    # One that comes before those made again is none of them.
    assert "in them" not in repeat_words(line(12, 7, 10, 3), [inner])


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
            assert str(instruction.times) in text or "once" in text
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
    assert [line.split(":")[0] for line in told.preparation()] == ["Open 5 rings", "Close 10 rings"]
    assert "No fewer will do" in told.least_words()
