"""The keys of a design file, as pydantic models: what each means, and the limits of each value by itself.

What is said of metals is in `metal_schema`, the pattern in `pattern_schema`.
"""

import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from chaingen.design.bench_schema import BenchKey, ClassroomKey, OwnedKey, PricesKey, SheetKey
from chaingen.design.finding_schema import TABLES, FindingTable
from chaingen.design.metal_schema import MOST_COLOURS, ColourTable, MetalName, MetalPatternTable
from chaingen.design.pattern_schema import MOST_LENGTH, EndsTable, PatternTable
from chaingen.design.scene import FRICTION
from chaingen.design.service_schema import ServiceKey
from chaingen.findings.catalogue import KINDS
from chaingen.stock.metals import metal_names
from chaingen.tables import (
    Line,
    SizeTable,
    Table,
    json_schema_of,
    length_in,
    names_of,
    number_in,
    whole_in,
    wrong,
)

MOST_CLEARANCE, MOST_TOLERANCE = 10.0, 1.0
"""Largest clearance and tolerance accepted [mm]."""

MOST_SIZES = 200
"""Most ring sizes."""

MOST_FINDINGS = 60
"""Most findings of one design."""

MOST_SCENES = 12
"""Most scenes of one design."""


class RingTable(SizeTable):
    """A ring size."""

    metal: MetalName | None = Field(
        None, description="What rings of this size are made of; the design's metal when left out."
    )


class SceneTable(Table):
    """A scene: how the piece is let come to rest under its own weight."""

    kind: Literal["hang", "swag", "table", "wrist", "neck", "corners", "edge"] = Field(
        description="hang from one end, swag between two pegs, lie on a table, go round a wrist or a neck; a "
        "sheet hangs, lies on a table, hangs by two corners, or lies over a table's edge."
    )
    span: Annotated[float, length_in((1.0, MOST_LENGTH))] | None = Field(
        None, description="Distance of the pegs of a swag or of a sheet's corners.", examples=["120 mm"]
    )
    span_fraction: Annotated[float, number_in(0.05, 0.999)] | None = Field(
        None,
        description="The same as part of the taut length, or of a sheet's corners as placed; 0.8, or 0.9 for "
        "corners, when neither is given.",
    )
    circumference: Annotated[float, length_in((60.0, 2000.0))] | None = Field(
        None,
        description="Of the wrist (by default the one that the pattern is made for, else one that suits the "
        "piece) or neck (likewise, else 360 mm).",
        examples=["165 mm"],
    )
    laid: Literal["straight", "in a curve"] = Field(
        "straight", description="How a chain is laid on the table."
    )
    friction: Annotated[float, number_in(0.0, 2.0)] = Field(
        FRICTION,
        description="Coefficient of friction, wire on wire and wire on support; 0.2 by default, 0 for none.",
    )
    disorder: Annotated[float, number_in(0.0, 1.0)] = Field(
        0.0, description="How far the piece is shaken before it is let go: 0 (by default) to 1."
    )
    seed: Annotated[int, whole_in(0, 2**31 - 1, "a whole number")] = Field(
        0, description="Which disorder; the same seed gives the same rest."
    )
    settling: bool = Field(False, strict=True, description="Whether to make a film of the way to rest.")


def _read_date(value: object) -> datetime.date:
    # A time of day is a date too, to Python.
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    raise wrong("a day as year, month and day without quotes, such as 2026-11-27")


class DesignTable(Table):
    """A chain, or a sheet, of wire rings, with the findings that finish it."""

    title: Line = Field(description="What the piece is called.")
    date: (
        Annotated[datetime.date, BeforeValidator(_read_date, json_schema_input_type=datetime.date)] | None
    ) = Field(
        None,
        description="The day it is made, which model files tell: 2026-11-27, without quotes. None when "
        "left out, so that the same design gives the same files.",
    )
    metal: MetalName = Field(
        description=f"What the rings are made of, where nothing else is said: {', '.join(metal_names())}; or "
        "one of the colours."
    )
    clearance: Annotated[float, length_in((0.0, MOST_CLEARANCE))] = Field(
        0.0,
        description="Gap asked for between any two wires; none by default.",
        examples=["0.1 mm"],
        json_schema_extra={"default": "0 mm"},  # as the file writes it
    )
    tolerance: Annotated[float, length_in((0.0, MOST_TOLERANCE))] = Field(
        0.05,
        description="How far real rings are off, inside diameter and wire alike; 0.05 mm by default.",
        json_schema_extra={"default": "0.05 mm"},
    )
    rings: Annotated[dict[str, RingTable], names_of("ring sizes")] = Field(
        min_length=1, max_length=MOST_SIZES, description="Ring sizes by name."
    )
    findings: Annotated[dict[str, FindingTable], names_of("findings")] = Field(
        default={},
        max_length=MOST_FINDINGS,
        description="Findings and links of wire by name: clasps, ear wires, pins with beads, links.",
    )
    colours: Annotated[dict[str, ColourTable], names_of("colours")] = Field(
        default={},
        max_length=MOST_COLOURS,
        description="Coloured wires, anodised or enamelled, by name: names to use wherever a metal is named.",
    )
    metal_pattern: MetalPatternTable | None = Field(
        None, description="Which ring is of which metal by its place; it comes before metals of ring sizes."
    )
    pattern: PatternTable = Field(description="What is made of the rings.")
    ends: EndsTable | None = Field(
        None, description="Findings at the ends of an open run, with the rings that join them to it."
    )
    bench: BenchKey = None
    prices: PricesKey = None
    owned: OwnedKey = None
    classroom: ClassroomKey = None
    sheet: SheetKey = None
    service: ServiceKey = None
    settings: Line | None = Field(
        None,
        description="A settings file beside this one that says how you work, for all your designs; what the "
        "design says goes first.",
        examples=["workshop.toml"],
    )
    pair: bool = Field(
        False,
        strict=True,
        description="Whether two are made, mirror images of one another, such as earrings; counts and weight "
        "are then of both.",
    )
    supple: bool = Field(False, strict=True, description="Whether to find how far a chain bends and twists.")
    scenes: list[SceneTable] = Field(
        default=[], max_length=MOST_SCENES, description="How the finished piece is let come to rest."
    )


def json_schema() -> dict[str, Any]:
    """The JSON Schema of a design file, as editors use it."""
    schema = json_schema_of(DesignTable)
    for kind, table in TABLES.items():
        schema["$defs"][table.__name__]["properties"]["kind"]["description"] = f"{kind}: {KINDS[kind].line}."
    return schema
