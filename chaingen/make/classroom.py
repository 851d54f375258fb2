"""A class: kits, shared spare parts, and what to order in all.

A kit is all that the design makes, both pieces of a pair. Shared spare parts are for all kits together and
come in place of a maker's own spare rings; of each ring size and each finding they are a part of what all
kits hold, up to the next whole one: a part of one ring is one ring.
"""

from dataclasses import dataclass, replace

from chaingen.design.bench import Bench
from chaingen.make.counts import RingCount
from chaingen.make.finding_counts import BeadCount, FindingCount, bead_counts
from chaingen.make.wire_plan import RingPlan, part_of, plans_with


@dataclass(frozen=True, slots=True)
class ClassOrder:
    """What a class takes.

    Attributes:
        students: How many students.
        kits: How many kits, those for who teaches included.
        kit_rings: Rings of one kit, spare ones not counted.
        spare_rings: Shared spare rings, for each entry of `kit_rings`.
        order: All kits and shared spares: wire, coils and bags, for each size and metal.
        findings: Findings of all kits, spare ones not counted.
        beads: All beads, those on spare findings included.
        spare_findings: Shared spare findings, for each entry of `findings`.
        made: How many pieces a kit makes: 2 of a pair.
    """

    students: int
    kits: int
    kit_rings: tuple[RingCount, ...]
    spare_rings: tuple[int, ...]
    order: tuple[RingPlan, ...]
    findings: tuple[FindingCount, ...]
    beads: tuple[BeadCount, ...]
    spare_findings: tuple[int, ...]
    made: int = 1


def scaled(entry: FindingCount, count: int) -> FindingCount:
    """The same findings in another number."""
    return replace(entry, count=count, weight=entry.weight / entry.count * count)


def class_order(
    rings: tuple[RingCount, ...],
    findings: tuple[FindingCount, ...],
    beads: tuple[BeadCount, ...],
    bench: Bench,
    made: int = 1,
) -> ClassOrder | None:
    """What the bench's class takes.

    Args:
        rings: Rings of a built design, both pieces of a pair together.
        findings: Its findings likewise.
        beads: The beads on these.
        bench: How the maker works, and the class.
        made: How many pieces the design makes: 2 of a pair, both counted in the numbers above.

    Returns:
        The order; None without a class.

    Raises:
        BadInput: A mandrel or a length of wire is too short for a ring.
    """
    room = bench.classroom
    if room is None:
        return None
    assert beads == bead_counts(findings), "beads are those on the findings"
    kits = room.students + room.for_teacher
    all_rings = tuple(replace(c, count=c.count * kits, weight=c.weight * kits) for c in rings)
    all_findings = tuple(replace(c, count=c.count * kits, weight=c.weight * kits) for c in findings)
    spare_rings = tuple(part_of(count.count, room.shared_spare) for count in all_rings)
    spare_findings = tuple(part_of(count.count, room.shared_spare) for count in all_findings)
    with_spares = tuple(
        scaled(count, count.count + more) for count, more in zip(all_findings, spare_findings, strict=True)
    )
    return ClassOrder(
        students=room.students,
        kits=kits,
        kit_rings=rings,
        spare_rings=spare_rings,
        order=plans_with(all_rings, spare_rings, bench),
        findings=all_findings,
        beads=bead_counts(with_spares),
        spare_findings=spare_findings,
        made=made,
    )
