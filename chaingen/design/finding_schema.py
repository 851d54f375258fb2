"""The keys of findings in a design file (first slice; more kinds follow)."""

from typing import Annotated, Literal

from pydantic import Field

from chaingen.design.metal_schema import MetalName
from chaingen.errors import Problem
from chaingen.findings.finding import Finding
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import closed_ring, loop_link
from chaingen.tables import WIRE_LIMITS, Table, length_in

Length = Annotated[float, length_in(WIRE_LIMITS)]


class LoopLinkTable(Table):
    """A link with loops."""

    kind: Literal["loop link"]
    metal: MetalName | None = None
    wire: Length = 1.0
    inside: Length = 2.5
    stem: Length = 8.0


class EarWireTable(Table):
    """An ear wire."""

    kind: Literal["ear wire"]
    metal: MetalName | None = None


class ClosedRingTable(Table):
    """A soldered ring."""

    kind: Literal["closed ring"]
    metal: MetalName | None = None
    wire: Length = 1.0
    inside: Length = 4.0


FindingTable = Annotated[LoopLinkTable | EarWireTable | ClosedRingTable, Field(discriminator="kind")]


def finding_of(name: str, table: LoopLinkTable | EarWireTable | ClosedRingTable) -> Finding | list[Problem]:
    """The finding that a table says."""
    sizes = table.model_dump(exclude={"kind", "metal"})
    make = {"loop link": loop_link, "ear wire": ear_wire, "closed ring": closed_ring}[table.kind]
    return make(name, **sizes)
