"""Rings counted by size."""

from collections import Counter
from dataclasses import dataclass

from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import RingSize


@dataclass(frozen=True, slots=True)
class RingCount:
    """How many rings of one size a piece takes.

    Attributes:
        size: The ring size.
        count: How many.
    """

    size: RingSize
    count: int


def rings_by_size(graph: LinkGraph) -> tuple[RingCount, ...]:
    """Rings of each size, in order of first use."""
    counts = Counter(member.size for member in graph.members)
    return tuple(RingCount(size, count) for size, count in counts.items())
