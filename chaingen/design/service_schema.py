"""The keys about a service that makes the piece from its model, and the limits that they say."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo

from chaingen.design.service import Service
from chaingen.stock.processes import PROCESSES
from chaingen.tables import WIRE_LIMITS, Table, length_in, wrong

MOST_GAP = 10.0
"""Largest gap that is asked for [mm]."""

BUILD_LIMITS = 1.0, 10_000.0
"""Sides of what can be built that are accepted [mm]."""


def _only_assembled(value: Any, info: ValidationInfo) -> Any:
    """Refuse a key that says nothing of rings that are made one by one."""
    process = PROCESSES.get(info.data.get("process", ""))
    if process is not None and not process.assembled:
        raise wrong(f"this key left out: {process.name} have no gap between them")
    return value


_ASSEMBLED = BeforeValidator(_only_assembled)


class ServiceTable(Table):
    """A print or casting process that makes the piece from its model; limits left out are the usual ones."""

    process: Literal[
        "resin", "powder", "filament", "wax pattern for casting", "loose rings for casting"
    ] = Field(
        description="What makes it: the first four make the piece with all its parts in their places, the "
        "last one rings to cut open and link by hand."
    )  # fmt: skip
    smallest_wire: Annotated[float, length_in(WIRE_LIMITS)] | None = Field(
        None,
        description="The thinnest wire that it makes; the usual one of the process when left out.",
        examples=["0.8 mm"],
    )
    smallest_gap: Annotated[float, length_in((0.0, MOST_GAP)), _ASSEMBLED] | None = Field(
        None,
        description="Gap of moving parts below which they fuse, the full distance between two surfaces; the "
        "usual one of the process when left out.",
        examples=["0.4 mm"],
    )
    build: list[Annotated[float, length_in(BUILD_LIMITS)]] | None = Field(
        None,
        min_length=3,
        max_length=3,
        description="Width, depth and height that it can build; the usual ones when left out.",
        examples=[["100 mm", "100 mm", "100 mm"]],
    )
    open_up: Annotated[bool, Field(strict=True), _ASSEMBLED] = Field(
        True, description="Whether rings are placed with that gap where they have the room; true by default."
    )


ServiceKey = Annotated[
    ServiceTable | None,
    Field(description="A print or casting process that makes the piece from its model."),
]


def service_of(table: ServiceTable) -> Service:
    """The service that a table says, with the usual limits of its process where it says none."""
    process = PROCESSES[table.process]
    said = {name: getattr(table, name) for name in ("smallest_wire", "smallest_gap", "build")}
    build = process.build
    if table.build is not None:
        width, depth, height = table.build
        build = width, depth, height
    return Service(
        process=process,
        smallest_wire=process.smallest_wire if table.smallest_wire is None else table.smallest_wire,
        smallest_gap=process.least_gap if table.smallest_gap is None else table.smallest_gap,
        # Whoever knows their service's own limit needs no reserve beyond it.
        safe_gap=process.safe_gap if table.smallest_gap is None else table.smallest_gap,
        build=build,
        open_up=table.open_up,
        assumed=tuple(
            name
            for name, value in said.items()
            if value is None and (process.assembled or name != "smallest_gap")
        ),
    )
