"""How a piece comes about, where a service makes it: what of a wire worker's plan still holds, in words.

A piece that is made in one has no wire to cut, no steps and no rings to open. Loose rings come as castings,
and are linked and closed by hand. What a service asks nobody but it knows.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from chaingen.design.service import Service
from chaingen.make.counts import RingCount
from chaingen.make.result import Result
from chaingen.make.wire_plan import part_of
from chaingen.show.finding_words import finding_lines, outer_size
from chaingen.show.service_words import sent_open

IN_ONE = "A service makes it in one: no wire is cut and no ring opened."
"""Told in place of wire, coils, mandrels and the order of work."""

NOT_THE_PRINT = "that is not the weight of the print, which its own material decides"
"""Told with what the metal that is named would weigh."""

NO_PRICE = "What the service asks is not known here, so no cost and no price is told."
"""Told in place of cost and price."""


@dataclass(frozen=True, slots=True)
class Hands:
    """What rings are called that the steps link in, and those that are closed before them.

    Attributes:
        linked: Those that the steps link in.
        closed: The others.
        note: What both mean, where they head columns of a table.
    """

    linked: str
    closed: str
    note: str


_WIRE = Hands(
    "To open",
    "To close",
    "To close: closed before the work begins, or bought closed. To open: opened before it.",
)
_CUT = Hands(
    "To open", "Closed first",
    "Rings come with a cut. Closed first: before the work begins. To open: opened before it.",
)  # fmt: skip
_APART = Hands(
    "Left open", "Closed first",
    "Rings come open. Closed first: before the work begins. Left open: closed as they are linked, and opened "
    "further only where they must be.",
)  # fmt: skip
_WHOLE = Hands(
    "To cut open", "Stay closed", "Rings come closed. To cut open: cut and opened before the work begins."
)


def hands_of(service: Service | None) -> Hands:
    """What rings are called by what is to be done to them before the first step."""
    if service is None or service.process.assembled:
        return _WIRE
    if not sent_open(service):
        return _WHOLE
    return _APART if service.opened else _CUT


def in_one(service: Service | None) -> bool:
    """Whether a service makes the piece with all its parts in their places."""
    return service is not None and service.process.assembled


def printed(service: Service | None) -> bool:
    """Whether a print is the piece itself, so that the metal that is named is not what it weighs."""
    return service is not None and not service.process.casts


def strength_words(service: Service) -> str:
    """That the pull is not reckoned: tempers and figures are those of drawn wire."""
    what = "A print" if printed(service) else "Cast metal"
    return f"{what}: what it holds is not reckoned."


def spares(counts: Iterable[RingCount], service: Service) -> Iterator[tuple[RingCount, int]]:
    """Loose rings of each size and metal with their spare ones, as they are sent."""
    return ((count, part_of(count.count, service.spare)) for count in counts)


def finding_lines_of(result: Result) -> list[str]:
    """Findings, beads and cautions, of a piece in one without the wire that a maker would cut."""
    if not in_one(result.design.service):
        return finding_lines(result)
    made = [
        f"{entry.count:,} x {entry.finding.kind} {entry.finding.name!r}: {outer_size(entry.finding)}."
        for entry in result.findings
    ]
    return [*made, *finding_lines(replace(result, findings=()))]
