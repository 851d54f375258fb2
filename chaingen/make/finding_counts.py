"""Findings and beads counted, with the wire to cut for them and what they weigh.

Weights are of the finished wire, without what is cut off in making or added by solder. A bead is weighed
where its density is known; where it is not, the weight is told as one without beads.
"""

from collections import Counter
from dataclasses import dataclass, replace

from chaingen.findings.finding import Bead, Finding
from chaingen.make.metals import RingMetals
from chaingen.stock.metals import Metal
from chaingen.weave.graph import LinkGraph


@dataclass(frozen=True, slots=True)
class FindingCount:
    """How many findings of one kind, name and metal a piece takes.

    Attributes:
        finding: The finding.
        metal: Its metal.
        count: How many.
        weight: What their wires weigh together [g].
    """

    finding: Finding
    metal: Metal
    count: int
    weight: float


@dataclass(frozen=True, slots=True)
class BeadCount:
    """How many beads of one form, size and colour a piece takes.

    Attributes:
        bead: One of them.
        count: How many.
        weight: What they weigh together [g]; None where their density is not known.
    """

    bead: Bead
    count: int
    weight: float | None


def finding_weight(finding: Finding, metal: Metal) -> float:
    """Weight of a finding's wires [g]."""
    return finding.wire_volume * metal.density / 1000.0


def finding_counts(graph: LinkGraph, metals: RingMetals, pieces: int = 1) -> tuple[FindingCount, ...]:
    """Findings of each name and metal, in order of first use.

    Args:
        graph: The link graph of a piece.
        metals: The metals of its bodies.
        pieces: How many such pieces are made.
    """
    kinds = Counter(
        (member.size, index)
        for member, index in zip(graph.members, metals.of_ring.tolist(), strict=True)
        if isinstance(member.size, Finding)
    )
    counts = []
    for (finding, index), each in kinds.items():
        metal, count = metals.metals[index], each * pieces
        counts.append(FindingCount(finding, metal, count, count * finding_weight(finding, metal)))
    return tuple(counts)


def bead_counts(findings: tuple[FindingCount, ...]) -> tuple[BeadCount, ...]:
    """Beads of each form, size and colour on counted findings, in order of first use."""
    beads: Counter[Bead] = Counter()
    for entry in findings:
        for bead in entry.finding.beads:
            # Two beads on one pin differ in the part that they are, and in nothing a maker buys by.
            beads[replace(bead, part="")] += entry.count
    return tuple(
        BeadCount(bead, count, None if bead.density is None else count * bead.volume * bead.density / 1000.0)
        for bead, count in beads.items()
    )
