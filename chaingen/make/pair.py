"""The second piece of a pair: the mirror image of the first."""

from dataclasses import replace

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.make.metals import RingMetals
from chaingen.weave.graph import LinkGraph

APART = 0.25
"""Pictures show the two of a pair apart by this part of how high one is."""


def mirrored_graph(graph: LinkGraph) -> LinkGraph:
    """The link graph of the mirror image: the same links, of mirrored findings."""
    members = tuple(
        replace(member, size=member.size.mirrored()) if isinstance(member.size, Finding) else member
        for member in graph.members
    )
    groups = tuple(
        replace(group, size=group.size.mirrored()) if isinstance(group.size, Finding) else group
        for group in graph.groups
    )
    return replace(graph, members=members, groups=groups)


def both(bodies: Bodies, metals: RingMetals) -> tuple[Bodies, RingMetals]:
    """A piece and below it, apart, its mirror image, with the metals of both."""
    low, high = bodies.bounds()
    down = 2.0 * low[1] - APART * (high[1] - low[1])
    second = bodies.mirrored().moved(np.array([0.0, down, 0.0]))
    of_both = np.concatenate([metals.of_ring, metals.of_ring])
    return concatenate([bodies, second]), RingMetals(metals.metals, of_both)
