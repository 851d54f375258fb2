"""The order of work: which rings to open, the steps from one end to the other, the lines that say them."""

from collections.abc import Hashable
from dataclasses import replace

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies
from chaingen.make.metals import RingMetals
from chaingen.make.order.cover import cover_of, opened_of
from chaingen.make.order.folding import instructions_of
from chaingen.make.order.nodes import nodes_of
from chaingen.make.order.places import Places, places_of
from chaingen.make.order.replay import replay
from chaingen.make.order.sequence import laid_in, steps_of
from chaingen.make.order.steps import Order, Step
from chaingen.make.order.turns import with_turns
from chaingen.weave.graph import LinkGraph


def order_of(graph: LinkGraph, metals: RingMetals, bodies: Bodies, *, seconds: float = 20.0) -> Order:
    """The order of work of a whole piece.

    Args:
        graph: Its links.
        metals: The metal of each of its bodies.
        bodies: Its bodies as placed.
        seconds: For how long the least number of opened rings is looked for where no quick way is exact [s].

    Raises:
        BadInput: Two soldered eyes are linked.
    """
    places = places_of(graph)
    nodes = nodes_of(graph)
    cover = cover_of(nodes, places, seconds=seconds)
    loose = np.setdiff1d(np.arange(len(graph)), nodes.body)
    steps = steps_of(nodes, cover.taken, places)
    for number, laid in laid_in(steps, loose, bodies, places).items():
        steps[number] = replace(steps[number], laid=tuple(laid))
    steps = with_turns(steps, bodies, places)
    signs = signs_of(graph, metals, places, steps)
    standing = [int(places.standing[step.body]) for step in steps]
    instructions, distinct = instructions_of(signs, standing, places.round)
    order = Order(
        opened=opened_of(nodes, cover, len(graph)),
        steps=tuple(steps),
        instructions=instructions,
        distinct=distinct,
        loose=tuple(loose.tolist()),
    )
    replay(graph, order)
    return order


def signs_of(graph: LinkGraph, metals: RingMetals, places: Places, steps: list[Step]) -> list[int]:
    """A number for each step, equal for those in which a maker does the same.

    That is: what is closed, of which size and metal; what is taken up with it; what it goes through, by size,
    metal and where that lies from it. Where the ends of a loop are brought together, or a part begins anew,
    more is done.
    """
    sizes: dict[object, int] = {}
    kinds: dict[Hashable, int] = {}
    kind = []
    for member, metal in zip(graph.members, metals.of_ring.tolist(), strict=True):
        size = sizes.setdefault(member.size, len(sizes))
        kind.append(kinds.setdefault((size, member.role, metal), len(kinds)))
    eye_kind = _EyeKinds(graph)
    ends, eyes = graph.links.tolist(), graph.link_eyes.tolist()
    around = places.round
    section, lane, along = places.section.tolist(), places.lane.tolist(), places.along.tolist()

    def lies(body: int, other: int) -> tuple[int, ...]:
        lanes = lane[other] - lane[body] if section[body] == section[other] else 0
        ahead = along[other] - along[body]
        if around:
            # The shorter way round a closed piece.
            ahead = (ahead + around // 2) % around - around // 2
        return kind[other], section[other] - section[body], lanes, ahead

    known: dict[Hashable, int] = {}
    signs = []
    for step in steps:
        through_eye: dict[int, list[int]] = {}
        for number in step.links:
            (a, b), (one, two) = ends[number], eyes[number]
            other, eye = (b, two) if a == step.body else (a, one)
            through_eye.setdefault(other, []).append(eye_kind(other, eye))
        sign = (
            kind[step.body],
            eye_kind(step.body, step.eye),
            step.new,
            step.joins_ends,
            step.begins_anew,
            *(
                tuple(sorted((*lies(step.body, other), *through_eye.get(other, ())) for other in row))
                for row in (step.added, step.through, step.laid)
            ),
        )
        signs.append(known.setdefault(sign, len(known)))
    return signs


class _EyeKinds:
    """Eyes of findings that are alike: an end bar's are all one to a maker."""

    def __init__(self, graph: LinkGraph) -> None:
        self.members = graph.members
        self.known: dict[Hashable, int] = {}

    def __call__(self, body: int, eye: int) -> int:
        """A number for an eye, equal for those of like use; 0 for a ring's."""
        size = self.members[body].size
        if not isinstance(size, Finding):
            return 0
        own = size.shape.eyes[eye]
        sort = size, eye in size.inner, eye in size.outer, own.closure, round(own.inside, 6)
        return self.known.setdefault(sort, 1 + len(self.known))
