"""The keys of a design file, as pydantic models: what each means, and the limits of each value by itself."""

import math
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)
from pydantic_core import PydanticCustomError

from chaingen.design.scene import FRICTION
from chaingen.stock.gauges import parse_wire
from chaingen.stock.metals import find_metal, metal_names, nearest_metal
from chaingen.units import LENGTHS, UnreadableLength, format_mm, parse_length

INSIDE_LIMITS = 0.2, 500.0
"""Inside diameters that are accepted [mm]."""

WIRE_LIMITS = 0.05, 50.0
"""Wire diameters that are accepted [mm]."""

MOST_CLEARANCE, MOST_TOLERANCE, MOST_LENGTH = 10.0, 1.0, 100_000.0
"""Largest clearance, tolerance and finished length accepted [mm]."""

MOST_IN_ROSETTE, MOST_SIDE_BY_SIDE, MOST_GROUPS = 12, 50, 200
"""Most rings of a rosette, most rings side by side, most groups in one list."""

MOST_SIZES, MOST_LETTERS = 200, 60
"""Most ring sizes, most letters in the name of one."""


MOST_SCENES = 12
"""Most scenes of one design."""


def _wrong(expected: str, advice: str = "") -> PydanticCustomError:
    # The message goes in as a value: braces in it are no template.
    return PydanticCustomError("expected", "{expected}", {"expected": expected, "advice": advice})


def _within(value: float, limits: tuple[float, float]) -> float:
    low, high = limits
    if not (math.isfinite(value) and low <= value <= high):
        raise _wrong(f"{format_mm(low)} to {format_mm(high)}")
    return value


def _length(limits: tuple[float, float]) -> Any:
    def read(value: object) -> float:
        if not isinstance(value, str):
            raise _wrong(f"{LENGTHS}, in quotes")
        try:
            return _within(parse_length(value), limits)
        except UnreadableLength as error:
            raise _wrong(str(error)) from None

    return BeforeValidator(read, json_schema_input_type=str)


def _read_wire(value: object) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = str(value)
    if not isinstance(value, str):
        raise _wrong('a wire such as "18 AWG" or "1.2 mm", in quotes')
    try:
        return _within(parse_wire(value), WIRE_LIMITS)
    except UnreadableLength as error:
        raise _wrong(str(error)) from None


def _whole(low: int, high: int, what: str, advice: str = "") -> Any:
    def read(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise _wrong(f"{what}, {low} to {high:,}", advice)
        return value

    return BeforeValidator(read, json_schema_input_type=Annotated[int, Field(ge=low, le=high)])


def _number(low: float, high: float) -> Any:
    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise _wrong(f"a number, {low:g} to {high:g}")
        return float(value)

    return BeforeValidator(read, json_schema_input_type=Annotated[float, Field(ge=low, le=high)])


def _one_line(title: str) -> str:
    if not title.isprintable():
        raise _wrong("one line of printable text")
    return title


def _ring_names(rings: "dict[str, RingTable]") -> "dict[str, RingTable]":
    for name in rings:
        if not (name.isprintable() and 0 < len(name.strip()) <= MOST_LETTERS):
            raise _wrong(f"ring sizes named in 1 to {MOST_LETTERS} printable letters, not {name[:60]!r}")
    return rings


def _read_metal(value: object) -> str:
    if isinstance(value, str) and (metal := find_metal(value)):
        return metal.name
    near = nearest_metal(value) if isinstance(value, str) else None
    advice = f"did you mean {near}?" if near else ""
    raise _wrong(f"one of the metals {', '.join(metal_names())}", advice)


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class RingTable(_Table):
    """A ring size."""

    inside: Annotated[float, _length(INSIDE_LIMITS)] = Field(
        description='Inside diameter, which is the mandrel\'s: "4 mm", "5/32 in".', examples=["4 mm"]
    )
    wire: Annotated[float, BeforeValidator(_read_wire, json_schema_input_type=str)] = Field(
        description='Wire: "18 AWG", "18 SWG", "1.2 mm", "0.048 in".', examples=["18 AWG"]
    )

    @model_validator(mode="after")
    def _one_wire_passes(self) -> "RingTable":
        if self.wire > self.inside:
            raise _wrong(
                f"wire no thicker than the inside diameter, for not even one such wire passes a ring of "
                f"{format_mm(self.inside)} made from {format_mm(self.wire)} wire"
            )
        return self


_ROSETTES = (
    "a single ring is side_by_side = 1; more are not tried, "
    "for each ring of a rosette carries all the others in its hole"
)


class GroupTable(_Table):
    """A group: exactly one of side_by_side, rosette and join."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": [kind]} for kind in ("side_by_side", "rosette", "join")]}
    )

    side_by_side: Annotated[int, _whole(1, MOST_SIDE_BY_SIDE, "a whole number of rings")] | None = Field(
        None, description="This many rings lying side by side, not linked with one another."
    )
    rosette: Annotated[int, _whole(2, MOST_IN_ROSETTE, "a whole number of rings", _ROSETTES)] | None = Field(
        None,
        description="This many rings, each linked with each about a common centre, all turning the same way.",
    )
    join: Annotated[int, _whole(1, MOST_SIDE_BY_SIDE, "a whole number of rings")] | None = Field(
        None, description="This many rings side by side that join two groups; left off at an open end."
    )
    ring: str | None = Field(
        None, description="Name of the ring size; may be left out when there is only one."
    )

    @model_validator(mode="after")
    def _one_kind(self) -> "GroupTable":
        given = [kind for kind in ("side_by_side", "rosette", "join") if getattr(self, kind) is not None]
        if len(given) != 1:
            got = " and ".join(given) if given else "none of them"
            raise _wrong(f"exactly one of side_by_side, rosette and join in a group, not {got}")
        return self


class PatternTable(_Table):
    """The pattern: a run of groups."""

    model_config = ConfigDict(json_schema_extra={"not": {"required": ["repeat", "length"]}})

    form: Literal["open run", "closed loop"] = Field(
        "open run", description="An open run has two ends; in a closed loop the last group links the first."
    )
    repeat: Annotated[int, _whole(1, 200_000, "a whole number of repeats")] | None = Field(
        None, description="How many times the groups are made."
    )
    length: Annotated[float, _length((0.0, MOST_LENGTH))] | None = Field(
        None,
        description="Finished length, not repeat: pulled straight, outside to outside; or round the loop.",
        examples=["180 mm", "7 1/4 in"],
    )
    first: list[GroupTable] = Field(
        default=[],
        max_length=MOST_GROUPS,
        description="Groups made once before the others; not in a closed loop.",
    )
    groups: list[GroupTable] = Field(
        min_length=1,
        max_length=MOST_GROUPS,
        description="The groups that are repeated; neighbours are linked all with all.",
    )
    last: list[GroupTable] = Field(
        default=[],
        max_length=MOST_GROUPS,
        description="Groups made once after the others; not in a closed loop.",
    )


class SceneTable(_Table):
    """A scene: how the piece is let come to rest under its own weight."""

    kind: Literal["hang", "swag", "table", "wrist", "neck"] = Field(
        description="hang from one end, swag between two pegs, lie on a table, go round a wrist or a neck."
    )
    span: Annotated[float, _length((1.0, MOST_LENGTH))] | None = Field(
        None, description="Distance of a swag's pegs.", examples=["120 mm"]
    )
    span_fraction: Annotated[float, _number(0.05, 0.999)] | None = Field(
        None, description="The same as part of the taut length; 0.8 when neither is given."
    )
    circumference: Annotated[float, _length((60.0, 2000.0))] | None = Field(
        None,
        description="Of the wrist (by default one that suits the piece) or neck (360 mm).",
        examples=["165 mm"],
    )
    laid: Literal["straight", "in a curve"] = Field("straight", description="How it is laid on the table.")
    friction: Annotated[float, _number(0.0, 2.0)] = Field(
        FRICTION,
        description="Coefficient of friction, wire on wire and wire on support; 0.2 by default, 0 for none.",
    )
    disorder: Annotated[float, _number(0.0, 1.0)] = Field(
        0.0, description="How far the piece is shaken before it is let go: 0 (by default) to 1."
    )
    seed: Annotated[int, _whole(0, 2**31 - 1, "a whole number")] = Field(
        0, description="Which disorder; the same seed gives the same rest."
    )
    settling: bool = Field(False, strict=True, description="Whether to make a film of the way to rest.")


class DesignTable(_Table):
    """A chain of wire rings."""

    title: Annotated[
        str,
        StringConstraints(strict=True, strip_whitespace=True, min_length=1, max_length=200),
        AfterValidator(_one_line),
    ] = Field(description="What the piece is called.")
    metal: Annotated[str, BeforeValidator(_read_metal, json_schema_input_type=str)] = Field(
        description=f"What the rings are made of: {', '.join(metal_names())}."
    )
    clearance: Annotated[float, _length((0.0, MOST_CLEARANCE))] = Field(
        0.0,
        description="Gap asked for between any two wires; none by default.",
        examples=["0.1 mm"],
        json_schema_extra={"default": "0 mm"},  # as the file writes it
    )
    tolerance: Annotated[float, _length((0.0, MOST_TOLERANCE))] = Field(
        0.05,
        description="How far real rings are off, inside diameter and wire alike; 0.05 mm by default.",
        json_schema_extra={"default": "0.05 mm"},
    )
    rings: Annotated[dict[str, RingTable], AfterValidator(_ring_names)] = Field(
        min_length=1, max_length=MOST_SIZES, description="Ring sizes by name."
    )
    pattern: PatternTable = Field(description="The run of groups.")
    supple: bool = Field(
        False, strict=True, description="Whether to find how far the piece bends and twists."
    )
    scenes: list[SceneTable] = Field(
        default=[], max_length=MOST_SCENES, description="How the finished piece is let come to rest."
    )


def json_schema() -> dict[str, Any]:
    """The JSON Schema of a design file, as editors use it."""
    schema = DesignTable.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
