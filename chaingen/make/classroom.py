"""A class: kits, shared spare parts, and what to order in all."""

from dataclasses import dataclass

from chaingen.make.counts import RingCount
from chaingen.make.finding_counts import BeadCount, FindingCount
from chaingen.make.wire_plan import RingPlan


@dataclass(frozen=True, slots=True)
class ClassOrder:
    """What a class takes.

    Attributes:
        students: How many students.
        kits: How many kits, those for who teaches included.
        kit_rings: Rings of one kit, spare ones not counted.
        spare_rings: Shared spare rings, for each entry of `kit_rings`.
        order: All kits and shared spares: wire, coils and bags, for each size and metal.
        findings: All findings.
        beads: All beads.
        spare_findings: Shared spare findings, for each entry of `findings`.
    """

    students: int
    kits: int
    kit_rings: tuple[RingCount, ...]
    spare_rings: tuple[int, ...]
    order: tuple[RingPlan, ...]
    findings: tuple[FindingCount, ...]
    beads: tuple[BeadCount, ...]
    spare_findings: tuple[int, ...]
