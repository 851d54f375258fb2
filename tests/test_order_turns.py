"""What a maker is told beside the links: where a loop closes, a part begins, a loose ring goes round."""

import networkx as nx
import numpy as np
import pytest

from chaingen.geometry.bodies import Bodies
from chaingen.make.order.places import places_of
from chaingen.make.order.steps import Step
from chaingen.make.order.turns import with_turns
from chaingen.solve.place_weave import place_chain
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain
from chaingen.weave.weave import Repeats
from tests.conftest import join, rosette, side
from tests.orders import RING, graph_of, ordered, somewhere, weave_graph

CHAINS = [name for name in weave_names() if find_weave(name).repeats is not Repeats.SHEET]


def goes_round(graph, links):
    """Whether links lead once round a loop: in the endless chain that it is rolled up from, a body is joined
    with the same body a whole loop further on."""
    along = places_of(graph).along
    around = int(along.max()) + 1
    endless = nx.Graph()
    for a, b in graph.links[list(links)].tolist():
        ahead = (int(along[b] - along[a]) + around // 2) % around - around // 2
        over = (int(along[a]) + ahead - int(along[b])) // around
        for turn in range(6):
            endless.add_edge((a, turn), (b, turn + over))
    return any(
        len({turn for body, turn in part if body == first}) > 1
        for part in nx.connected_components(endless)
        for first in [next(iter(part))[0]]
    )


def closing(order):
    return [number for number, step in enumerate(order.steps) if step.joins_ends]


@pytest.mark.parametrize("name", CHAINS)
def test_the_ends_of_a_loop_come_together_once(name):
    graph = weave_graph(find_weave(name), 9, closed=True)
    steps = ordered(graph).steps
    made = [[link for step in steps[: k + 1] for link in step.links] for k in range(len(steps))]
    first = next(k for k, links in enumerate(made) if goes_round(graph, links))
    assert closing(ordered(graph)) == [first]
    assert closing(ordered(weave_graph(find_weave(name), 9))) == []


@pytest.mark.parametrize("groups", [(side(2, RING),), (rosette(3, RING), join(1, RING))])
@pytest.mark.parametrize("repeat", [3, 4, 5, 12])
def test_a_run_is_closed_near_its_last_step(groups, repeat):
    order = ordered(piece_graph(Run(groups, repeat=repeat, closed=True)))
    (number,) = closing(order)
    assert number >= len(order.steps) - 2
    # It has a line of its own: what is made again never holds it.
    assert number in {line.step for line in order.instructions}


def test_a_part_begins_anew():
    graph = graph_of(9, [(0, 1), (1, 2), (3, 4), (6, 7), (7, 8)])
    assert [step.begins_anew for step in ordered(graph).steps] == [False, True, True]


@pytest.mark.parametrize("name", ["captive-ring", "helm-chain"])
def test_captives_of_the_catalogue_lie_round_what_is_closed(name):
    """As their weave files say in words."""
    weave = find_weave(name)
    graph, rings, _, _ = place_chain(Chain(weave, weave.usual, 6, False), enough=0.0)
    order = ordered(graph, rings)
    assert sum(len(step.laid) for step in order.steps) == len(order.loose) > 0
    assert all(step.round_it == step.laid for step in order.steps)


@pytest.mark.parametrize(
    ("centre", "normal", "radius", "told"),
    [
        # Round the wire of the closed ring on one side only it would be a link, and round nothing no more.
        ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 4.0, True),
        ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 1.9, False),
        ((1.5, 0.0, 0.0), (1.0, 0.0, 0.0), 4.0, True),
        ((0.0, 0.0, 1.0), (0.0, 0.0, 1.0), 4.0, False),
        ((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 4.0, False),
        ((2.5, 0.0, 0.0), (1.0, 0.0, 0.0), 4.0, False),
    ],
)
def test_a_ring_goes_round_another_when_that_passes_it_twice(centre, normal, radius, told):
    """The closed ring, of radius 2, lies in z = 0; the plane x = d meets it at y = +-sqrt(4 - d^2)."""
    graph = graph_of(3, [(0, 1)])
    at = somewhere(graph)
    rings = Bodies(
        np.array([(0.0, 0.0, 0.0), (9.0, 0.0, 0.0), centre]),
        np.array([(0.0, 0.0, 1.0), (0.0, 1.0, 0.0), normal]),
        np.array([2.0, 2.0, radius]),
        at.wire_radii,
    )
    (step,) = with_turns([Step(0, 0, (1,), (), True, (0,), (2,))], rings, places_of(graph))
    assert step.round_it == ((2,) if told else ())
