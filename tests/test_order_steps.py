"""The steps from one end to the other: each link arises once, where something is open; captives; findings."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.findings.bars import end_bar
from chaingen.findings.clasps import lobster_clasp, toggle_bar, toggle_ring
from chaingen.findings.eights import figure_eight_link
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import closed_ring, oval_link
from chaingen.findings.pins import head_pin
from chaingen.make.order.replay import replay
from chaingen.solve.drape.clasped import closed_graph
from chaingen.solve.place_sections import place_sections
from chaingen.solve.place_weave import place_chain
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, Run
from chaingen.weave.pieces import Chain, Sections, Strands
from chaingen.weave.weave import Repeats
from tests.conftest import join, rosette, side
from tests.orders import RING, graph_of, ordered, weave_graph


def finding(made, *, turned=False):
    return Group(GroupKind.FINDING, 1, made, turned)


def named(graph, order):
    """Each step in words of names: what is closed, what is taken up, what it goes through."""
    names = graph.names
    return [
        (names[step.body], [names[k] for k in step.added], [names[k] for k in step.through])
        for step in order.steps
    ]


@pytest.mark.parametrize("name", weave_names())
def test_every_weave_is_made_from_one_end(name):
    weave = find_weave(name)
    sheet = weave.repeats is Repeats.SHEET
    graphs = [weave_graph(weave, 6, 5)] if sheet else [weave_graph(weave, 9)]
    graphs += [] if sheet else [weave_graph(weave, 9, closed=True)]
    for graph in graphs:
        order = ordered(graph)
        replay(graph, order)
        first = order.steps[0]
        assert min(graph.group_of[[first.body, *first.added]]) == 0
        assert sum(len(step.links) for step in order.steps) == len(graph.links)
        assert len(order.steps) == order.opened.count


@pytest.mark.parametrize("name", ["two-in-one", "half-persian-4-in-1", "rosette-row", "byzantine"])
def test_a_chain_grows_at_its_end(name):
    """No step reaches back behind what the last few steps made."""
    graph = weave_graph(find_weave(name), 30)
    order = ordered(graph)
    cells = [int(graph.group_of[step.body]) for step in order.steps]
    top = np.maximum.accumulate(cells)
    assert (top - cells <= 2).all()


def test_a_sheet_is_made_column_by_column():
    graph = weave_graph(find_weave("european-4-in-1"), 6, 5)
    order = ordered(graph)
    cells = [tuple(map(int, graph.names[step.body].rstrip("ab").split("."))) for step in order.steps]
    assert cells == sorted(cells)


def test_a_rosette_step_by_step():
    graph = piece_graph(Run((rosette(3, RING), join(1, RING)), repeat=3))
    assert named(graph, ordered(graph)) == [
        ("1b", ["1a"], []),
        ("1c", [], ["1a", "1b"]),
        ("2a", ["3a"], ["1a", "1b", "1c"]),
        ("3b", [], ["2a", "3a"]),
        ("3c", [], ["2a", "3a", "3b"]),
        ("4a", ["5a"], ["3a", "3b", "3c"]),
        ("5b", [], ["4a", "5a"]),
        ("5c", [], ["4a", "5a", "5b"]),
    ]


def test_two_in_one_step_by_step():
    graph = piece_graph(Run((side(2, RING), join(1, RING)), repeat=4))
    assert named(graph, ordered(graph)) == [
        ("2a", ["1a", "1b", "3a", "3b"], []),
        ("4a", ["5a", "5b"], ["3a", "3b"]),
        ("6a", ["7a", "7b"], ["5a", "5b"]),
    ]


def test_a_loop_is_closed_by_its_last_ring():
    graph = piece_graph(Run((side(1, RING),), repeat=6, closed=True))
    assert named(graph, ordered(graph)) == [
        ("2a", ["1a", "3a"], []),
        ("4a", ["5a"], ["3a"]),
        ("6a", [], ["1a", "5a"]),
    ]


@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize("name", ["captive-ring", "helm-chain"])
def test_captives_are_laid_in_before_they_are_caught(name, closed):
    """A captive ring of a cell lies between that cell's rings and the next cell's, as the weave file says."""
    weave = find_weave(name)
    graph, rings, _, _ = place_chain(Chain(weave, weave.usual, 8, closed), enough=0.0)
    order = ordered(graph, rings)
    captives = {ring.name: ring.caged_by for ring in weave.rings if ring.caged_by}
    laid = [body for step in order.steps for body in step.laid]
    assert sorted(laid) == list(order.loose)
    assert {graph.names[body].lstrip("0123456789") for body in laid} == set(captives)
    risen: set[int] = set()
    for step in order.steps:
        for body in step.laid:
            cell = int(graph.names[body].rstrip("abcdefgh"))
            sides: tuple[set[int], set[int]] = (set(), set())
            for ring, along, _ in captives[graph.names[body].lstrip("0123456789")]:
                number = (cell - 1 + along) % 8 + 1 if closed else cell + along
                sides[along].add(graph.names.index(f"{number}{ring}"))
            across = {
                number
                for number, (a, b) in enumerate(graph.links.tolist())
                if (a in sides[0] and b in sides[1]) or (b in sides[0] and a in sides[1])
            }
            # Nothing joins its two sides before it is laid in; then at once something does.
            assert across.isdisjoint(risen)
            assert not across.isdisjoint(step.links)
        risen |= set(step.links)


def test_pieces_in_parts_and_bodies_alone():
    graph = graph_of(6, [(0, 1), (3, 4)])
    order = ordered(graph)
    assert order.loose == (2, 5)
    assert [(step.body, step.added) for step in order.steps] == [(1, (0,)), (4, (3,))]
    nothing = ordered(graph_of(2, []))
    assert (nothing.steps, nothing.instructions, nothing.loose) == ((), (), (0, 1))
    assert (nothing.opened.count, nothing.opened.proven) == (0, True)


def test_earrings_begin_at_the_ear_wire():
    run = Run(
        (rosette(3, RING), join(1, RING)),
        repeat=3,
        first=(finding(ear_wire(), turned=True), join(1, RING)),
        last=(finding(head_pin()),),
    )
    graph = piece_graph(run)
    order = ordered(graph)
    replay(graph, order)
    first = order.steps[0]
    assert 0 in (first.body, *first.added)
    last = order.steps[-1]
    assert len(graph) - 1 in (last.body, *last.added)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (toggle_bar(), toggle_ring()),
        (lobster_clasp(), closed_ring(inside=5.0)),
        (toggle_ring(), toggle_bar()),
    ],
)
def test_a_clasp_is_hung_in_last(start, end):
    run = Run(
        (side(1, RING),),
        repeat=7,
        first=(finding(start, turned=True),),
        last=(finding(end),),
    )
    graph = closed_graph(piece_graph(run))
    order = ordered(graph)
    replay(graph, order)
    # All rings between soldered eyes: the first and the last are opened, and every second one.
    assert order.opened.count == 4
    assert order.opened.worn_open == ((0 if start != toggle_ring() else 8, 1),)
    step = order.steps[-1]
    assert (step.body, step.eye) == order.opened.worn_open[0]
    assert {step.body, *step.through} == {0, 8}
    assert not step.new
    assert not step.added


def test_a_hook_lets_in_what_is_closed_while_it_is_there():
    """A ring that is opened anyway goes through a clasp's mouth as it is closed."""
    clasp = lobster_clasp()
    sizes = [clasp, RING, closed_ring(), RING]
    graph = graph_of(4, [(0, 1), (1, 2), (2, 3), (0, 3)], sizes=sizes, eyes=[(0, 0), (0, 0), (0, 0), (1, 0)])
    order = ordered(graph)
    assert order.opened.opened == (1, 3)
    assert [(step.body, step.added, step.through) for step in order.steps] == [
        (1, (0, 2), ()),
        (3, (), (0, 2)),
    ]


def test_two_parts_that_only_a_clasp_joins():
    """Each hangs on its own side; the mouth takes a ring of the other."""
    clasp = lobster_clasp()
    graph = graph_of(
        5, [(0, 1), (1, 2), (0, 3), (3, 4)], sizes=[clasp, *[RING] * 4], eyes=[(0, 0), (0, 0), (1, 0), (0, 0)]
    )
    order = ordered(graph)
    replay(graph, order)
    assert order.opened.count == 2
    assert order.opened.proven


def test_a_clasp_that_comes_later_is_hung_in_by_itself():
    """The ring in its mouth is closed before the clasp is there; what hangs on the clasp comes after it."""
    sizes = [RING, RING, RING, lobster_clasp(), RING]
    links = [(0, 1), (1, 2), (1, 3), (3, 4)]
    order = ordered(graph_of(5, links, sizes=sizes, eyes=[(0, 0), (0, 0), (0, 1), (0, 0)]))
    assert [(step.body, step.eye, step.new, step.added, step.through) for step in order.steps] == [
        (1, 0, True, (0, 2), ()),
        (3, 1, True, (), (1,)),
        (4, 0, True, (), (3,)),
    ]


def test_what_hangs_in_an_open_eye_waits_for_it():
    """A ring through an eye that is itself still open would hang on nothing yet."""
    solid = closed_ring()
    sizes = [solid, RING, RING, solid, figure_eight_link(), solid]
    links = [(0, 1), (1, 4), (2, 4), (2, 3), (4, 5)]
    order = ordered(graph_of(6, links, sizes=sizes, eyes=[(0, 0), (0, 0), (0, 1), (0, 0), (1, 0)]))
    assert [(step.body, step.eye, step.new, step.added, step.through) for step in order.steps] == [
        (1, 0, True, (0, 4), ()),
        (4, 1, False, (5,), ()),
        (2, 0, True, (3,), (4,)),
    ]


def test_a_link_of_one_eye_is_a_ring_to_both_sides():
    graph = piece_graph(Run((finding(oval_link()),), repeat=5))
    order = ordered(graph)
    assert order.opened.eyes == ((1, 0), (3, 0))
    assert [step.body for step in order.steps] == [1, 3]
    assert order.opened.opened == (1, 3)


def test_each_eye_of_an_end_bar_is_a_step_of_its_own():
    bar = end_bar(strands=3)
    strands = Strands(Run((side(1, RING),), repeat=5), 3)
    ends = (Run((finding(bar, turned=True),)), Run((finding(bar),)))
    graph, rings, *_ = place_sections(Sections((ends[0], strands, ends[1])), starts=1, enough=0.0)
    order = ordered(graph, rings)
    replay(graph, order)
    bars = [k for k, member in enumerate(graph.members) if member.role == "finding"]
    through = [step for step in order.steps if bars[0] in step.added + step.through]
    assert len(through) == 3
    # One strand is made from bar to bar before the next.
    strand = [graph.names[step.body].split("-")[1].split(".")[0] for step in order.steps]
    assert strand == sorted(strand)
    # The strands after the first are made alike, though they hang in other eyes.
    assert any(line.step is None and line.times == 1 for line in order.instructions)


def broken(order, steps):
    return replace(order, steps=tuple(steps))


def test_a_replay_finds_what_is_wrong():
    graph = weave_graph(find_weave("european-4-in-1"), 5, 4)
    order = ordered(graph)
    replay(graph, order)
    steps = list(order.steps)
    dropped = [broken(order, steps[:k] + steps[k + 1 :]) for k in range(len(steps))]
    twice = [broken(order, [*steps[: k + 1], *steps[k:]]) for k in range(len(steps))]
    for k in range(len(steps) - 1):
        one, two = steps[k], steps[k + 1]
        bad = broken(order, [*steps[:k], two, one, *steps[k + 2 :]])
        if {one.body, *one.added}.isdisjoint(two.through):
            # Steps that have nothing to do with one another may be made in either order.
            replay(graph, bad)
        else:
            with pytest.raises(AssertionError):
                replay(graph, bad)
    unlinked = [
        broken(order, [*steps[:k], replace(step, links=step.links[1:]), *steps[k + 1 :]])
        for k, step in enumerate(steps)
    ]
    closed = order.opened.closed[0]
    wrong = [
        broken(order, [*steps[:-1], replace(steps[-1], body=closed)]),
        replace(order, opened=replace(order.opened, count=order.opened.count - 1)),
        replace(order, opened=replace(order.opened, closed=order.opened.opened)),
        replace(order, opened=replace(order.opened, proven=False)),
        replace(order, loose=(0,)),
    ]
    for bad in (*dropped, *twice, *unlinked, *wrong):
        with pytest.raises(AssertionError):
            replay(graph, bad)


def test_a_graph_with_another_link_is_not_made():
    graph = weave_graph(find_weave("two-in-two"), 5)
    order = ordered(graph)
    closed = order.opened.closed
    more = replace(
        graph,
        links=np.concatenate([graph.links, [[closed[0], closed[-1]]]]),
        offsets=np.zeros((len(graph.links) + 1, 2), dtype=np.int64),
    )
    with pytest.raises(AssertionError, match="lost"):
        replay(more, order)


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 20), st.floats(0.05, 0.6), st.integers(0, 10_000))
def test_any_links_can_be_made(count, share, seed):
    rng = np.random.default_rng(seed)
    links = [(a, b) for a in range(count) for b in range(a + 1, count) if rng.random() < share]
    graph = graph_of(count, links)
    order = ordered(graph)
    replay(graph, order)
    # Renaming the bodies changes nothing in how many are opened.
    new = rng.permutation(count)
    renamed = graph_of(count, np.sort(new[np.array(links, dtype=np.int64).reshape(-1, 2)], axis=1))
    assert ordered(renamed).opened.count == order.opened.count
