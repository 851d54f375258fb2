"""Repeats folded: doing what the lines say gives the steps again, and the lines are few."""

from functools import cache
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.make.metals import RingMetals
from chaingen.make.order.folding import folded, instructions_of, lines_of, pictures_in_order
from chaingen.make.order.order import signs_of
from chaingen.make.order.places import places_of
from chaingen.solve.place_weave import place_chain, place_sheet
from chaingen.stock.metals import find_metal
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.weave import Repeats
from tests.conftest import join, rosette, side, size
from tests.orders import RING, done_by_hand, ordered, weave_graph

SIGNS = st.lists(st.integers(0, 3), max_size=40)

REPEATED = st.recursive(
    st.lists(st.integers(0, 3), min_size=1, max_size=3),
    lambda inner: st.tuples(st.lists(inner, min_size=1, max_size=3), st.integers(1, 4)).map(
        lambda made: [sign for row in made[0] for sign in row] * made[1]
    ),
    max_leaves=6,
)


@settings(deadline=None)
@given(st.one_of(SIGNS, REPEATED))
def test_doing_what_the_lines_say_gives_the_steps_again(signs):
    lines, distinct = instructions_of(signs)
    assert [signs[distinct[picture]] for picture in done_by_hand(lines)] == signs
    assert done_by_hand(lines) == pictures_in_order(lines)
    assert len(lines) <= len(signs)
    assert len(distinct) == len(set(signs))
    # A line shows the step as it is first made there.
    assert all(signs[line.step] == signs[distinct[line.picture]] for line in lines if line.step is not None)


def fewest_lines(signs):
    """The fewest lines with repeats nested at most two deep, by trying everything."""

    @cache
    def fewest(row, deep):
        best = len(row)
        for begin in range(len(row)):
            for period in range(1, (len(row) - begin) // 2 + 1 if deep else 0):
                block = row[begin : begin + period]
                often = 1
                while row[begin + often * period : begin + (often + 1) * period] == block:
                    often += 1
                    rest = fewest(row[:begin], deep) + fewest(row[begin + often * period :], deep)
                    best = min(best, rest + fewest(block, deep - 1) + 1)
        return best

    return fewest(tuple(signs), 2)


def test_short_rows_are_folded_as_well_as_can_be():
    """Of all rows of up to nine steps of three kinds none takes two lines too many, and few take one."""
    off = [
        lines_of(folded(list(signs))) - fewest_lines(signs)
        for count in range(10)
        for signs in product(range(3), repeat=count)
        # Kinds in order of first use: others are these renamed.
        if list(dict.fromkeys(signs)) == list(range(len(set(signs))))
    ]
    assert min(off) == 0
    assert max(off) <= 1
    assert sum(off) <= 0.002 * len(off)


def test_rows_within_rows():
    """A column is a first step, a middle that comes again, and a last step; the columns come again."""
    column = [1] + [2] * 30 + [3]
    first = [0] + [4] * 31
    lines, _ = instructions_of(first + column * 25)
    # 0, 4, 4 again, 1, 2, 2 again, 3, all that again.
    assert [(line.first, line.last, line.times) for line in lines if line.step is None] == [
        (2, 2, 30),
        (5, 5, 29),
        (4, 7, 24),
    ]
    assert len(lines) == 8


def order_of_run(*groups, repeat, closed=False):
    return ordered(piece_graph(Run(groups, repeat=repeat, closed=closed)))


def test_two_in_one_of_twenty_five_pairs_is_three_lines():
    order = order_of_run(side(2, RING), join(1, RING), repeat=25)
    assert len(order.steps) == 24
    assert len(order.distinct) == 2
    assert [(line.number, line.step, line.first, line.last, line.times) for line in order.instructions] == [
        (1, 0, 0, 0, 0),
        (2, 1, 0, 0, 0),
        (3, None, 2, 2, 22),
    ]


@pytest.mark.parametrize(
    ("groups", "most"),
    [
        ((side(1, RING),), 4),
        ((side(2, RING),), 7),
        ((rosette(3, RING), join(1, RING)), 6),
        ((rosette(3, RING), join(2, RING)), 10),
        ((rosette(5, RING), join(1, RING)), 11),
    ],
)
def test_chains_of_groups_are_few_lines(groups, most):
    for closed in (False, True):
        order = order_of_run(*groups, repeat=30, closed=closed)
        assert len(order.instructions) <= most + (4 if closed else 0)
        # However long, the lines are the same.
        assert len(order_of_run(*groups, repeat=60, closed=closed).instructions) == len(order.instructions)


@pytest.mark.parametrize("name", weave_names())
def test_every_weave_is_few_lines(name):
    weave = find_weave(name)
    if weave.repeats is Repeats.SHEET:
        graph, rings, *_ = place_sheet(Sheet(weave, weave.usual, 20, 10), enough=0.0)
        # Where two rings lie side by side each step comes twice.
        most = 24 if len(weave.rings) > 3 else 13
    else:
        graph, rings, *_ = place_chain(Chain(weave, weave.usual, 36), enough=0.0)
        most = 13 if name == "byzantine" else 10
    order = ordered(graph, rings)
    assert len(order.instructions) <= most
    assert done_by_hand(order.instructions) == pictures_of(graph, order)


def pictures_of(graph, order):
    """The picture of each step, from what a maker does in it."""
    metals = RingMetals((find_metal("copper"),), np.zeros(len(graph), dtype=np.int64))
    signs = signs_of(graph, metals, places_of(graph), list(order.steps))
    first = [signs[place] for place in order.distinct]
    assert len(set(first)) == len(first)
    return [first.index(sign) for sign in signs]


def test_a_sheet_of_twenty_by_ten_is_at_most_thirteen_lines():
    order = ordered(weave_graph(find_weave("european-4-in-1"), 20, 10))
    assert len(order.instructions) <= 13
    assert max(line.times for line in order.instructions) >= 7


def test_steps_differ_by_metal_and_size():
    graph = piece_graph(Run((side(2, RING), join(1, RING)), repeat=25))
    plain = ordered(graph)
    two = tuple(find_metal(name) for name in ("copper", "fine silver"))
    of_ring = np.array([member.group // 2 % 2 for member in graph.members])
    striped = ordered(graph, metals=RingMetals(two, of_ring))
    # Two kinds of join between two kinds of pairs: two steps come again.
    assert len(striped.distinct) == len(plain.distinct) + 1
    assert len(striped.instructions) == len(plain.instructions) + 2
    large = size(5.0, name="large")
    mixed = ordered(
        piece_graph(Run((side(2, RING), join(1, RING), side(2, large), join(1, RING)), repeat=12))
    )
    assert len(mixed.distinct) == 3


def test_pictures_are_of_the_first_steps_of_their_kind():
    order = order_of_run(rosette(3, RING), join(1, RING), repeat=9)
    shown = {line.picture: line.step for line in reversed(order.instructions) if line.step is not None}
    assert [shown[k] for k in range(len(order.distinct))] == list(order.distinct)


def test_a_loop_is_closed_by_a_step_of_its_own():
    """The last pair goes through four rings, as others do, but there the ends come together."""
    order = order_of_run(side(2, RING), repeat=20, closed=True)
    # The first of all, the second of a pair, the first of a pair, and the first of the last pair.
    assert len(order.distinct) == 4
    # These; the first two again; then the last pair.
    assert len(order.instructions) == 7
    assert order.distinct[3] == len(order.steps) - 2


def evenly(graph, order):
    """Every further time of a repeat leads on by the same way in all its steps, as "the next ones along"."""
    places = places_of(graph)
    at = np.column_stack([places.section, places.lane, places.along])
    around = np.array([0, 0, places.round])

    def ways(steps, others):
        found = at[[step.body for step in others]] - at[[step.body for step in steps]]
        return np.where(around > 0, found % np.maximum(around, 1), found)

    def do(first, last, place):
        """The place after these lines, each repeat looked at as it is done."""
        begins = {}
        for number in range(first, last + 1):
            line = order.instructions[number - 1]
            begins[number] = place
            if line.step is not None:
                place += 1
                continue
            begin = begins[line.first]
            one = place - begin
            again = [order.steps[begin + k * one : begin + (k + 1) * one] for k in range(line.times + 1)]
            way = ways(again[0][:1], again[1][:1])
            for former, later in pairwise(again):
                assert (ways(former, later) == way).all(), (line, [graph.names[step.body] for step in later])
            place += one * line.times
        return place

    assert do(1, len(order.instructions), 0) == len(order.steps)


@pytest.mark.parametrize("name", weave_names())
def test_repeats_go_on_evenly(name):
    weave = find_weave(name)
    if weave.repeats is Repeats.SHEET:
        graphs = [weave_graph(weave, 7, 6)]
    else:
        graphs = [weave_graph(weave, 12), weave_graph(weave, 12, closed=True)]
    for graph in graphs:
        evenly(graph, ordered(graph))


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(-2, 2)), max_size=30), st.sampled_from([0, 5]))
def test_steps_that_lead_elsewhere_are_no_repeats(row, around):
    """Alike as they may be: all steps of a further time stand equally far from the time before."""
    signs = [sign for sign, _ in row]
    places = np.cumsum([way for _, way in row]).tolist()
    lines, _ = instructions_of(signs, places, around)
    assert [signs[place] for place in done_by_hand_at(lines)] == signs
    begins, place = [], 0
    for line in lines:
        begins.append(place)
        if line.step is not None:
            place += 1
            continue
        begin = begins[line.first - 1]
        one = place - begin
        ways = [
            (places[begin + k + one] - places[begin + k]) % (around or 10**6) for k in range(one * line.times)
        ]
        assert len(set(ways)) <= 1
        place += one * line.times


def done_by_hand_at(lines):
    """The place of each step as it is first made, done with a finger on the line."""
    first = {line.picture: line.step for line in reversed(lines) if line.step is not None}
    return [first[picture] for picture in done_by_hand(lines)]
