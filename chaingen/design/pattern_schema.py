"""The keys of a design file about its pattern: groups, weaves, sections, and what a sheet is cut to."""

from itertools import combinations
from typing import Annotated, Literal

import numpy as np
from pydantic import BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator

from chaingen.stock.ease import EASES
from chaingen.tables import Table, length_in, meant, whole_in, within, wrong
from chaingen.units import LENGTHS, UnreadableLength, parse_length
from chaingen.weave.outline import meeting_sides, polygon

MOST_LENGTH = 100_000.0
"""Longest finished length accepted [mm]."""

MOST_IN_ROSETTE, MOST_SIDE_BY_SIDE, MOST_GROUPS = 12, 50, 200
"""Most rings of a rosette, most rings side by side, most groups in one list."""

MOST_REPEATS = 200_000
"""Most repeats, columns or rows."""

MOST_SECTIONS = 12
"""Most sections of one piece."""

MOST_STRANDS = 20
"""Most strands side by side."""

MOST_JOINS = 12
"""Most groups between the piece and the finding at its end."""

WRIST_LIMITS, NECK_LIMITS, EASE_LIMITS = (60.0, 400.0), (150.0, 1000.0), (-20.0, 1000.0)
"""Wrists, necks and eases that are accepted [mm]."""

OUTLINE_LIMITS = 1.0, 10_000.0
"""Sizes of outlines that are accepted [mm]."""

MOST_CORNERS = 500
"""Most corners of a polygon."""

LEAST_AREA = 1.0
"""Smallest area of a polygon [mm2]."""

_RINGS = "a whole number of rings"

_ROSETTES = (
    "a single ring is side_by_side = 1; more are not tried, "
    "for each ring of a rosette carries all the others in its hole"
)

Point = tuple[float, float]


EXTENTS = ("repeat", "length", "wrist", "neck")
"""The keys of which a pattern has at most one: each says how long a chain is."""

GROUP_KINDS = ("side_by_side", "rosette", "join", "finding")
"""The keys of which a group has exactly one."""


class GroupTable(Table):
    """A group: exactly one of side_by_side, rosette, join and finding."""

    model_config = ConfigDict(json_schema_extra={"oneOf": [{"required": [kind]} for kind in GROUP_KINDS]})

    side_by_side: Annotated[int, whole_in(1, MOST_SIDE_BY_SIDE, _RINGS)] | None = Field(
        None, description="This many rings lying side by side, not linked with one another."
    )
    rosette: Annotated[int, whole_in(2, MOST_IN_ROSETTE, _RINGS, _ROSETTES)] | None = Field(
        None,
        description="This many rings, each linked with each about a common centre, all turning the same way.",
    )
    join: Annotated[int, whole_in(1, MOST_SIDE_BY_SIDE, _RINGS)] | None = Field(
        None, description="This many rings side by side that join two groups; left off at an open end."
    )
    ring: str | None = Field(
        None, description="Name of the ring size; may be left out when there is only one."
    )
    finding: str | None = Field(
        None, description="Name of a finding that stands here by itself, linked by its eyes."
    )
    turned: bool = Field(
        False,
        strict=True,
        description="Whether the finding comes the other way round, the eyes at its outer end first; false "
        "when left out.",
    )

    @model_validator(mode="after")
    def _one_kind(self) -> "GroupTable":
        given = [kind for kind in GROUP_KINDS if getattr(self, kind) is not None]
        if len(given) != 1:
            got = " and ".join(given) if given else "none of them"
            raise wrong(
                f"exactly one of {', '.join(GROUP_KINDS[:-1])} and {GROUP_KINDS[-1]} in a group, not {got}"
            )
        if self.finding is not None and self.ring is not None:
            raise wrong("a finding without ring: it is no ring size", "rings stand in a group of their own")
        if self.finding is None and self.turned:
            raise wrong("turned with a finding only: rings look alike from both ends")
        return self


def _read_ease(value: object) -> float:
    choice = f"{', '.join(EASES)}, or {LENGTHS}"
    if not isinstance(value, str):
        raise wrong(choice)
    if (named := EASES.get(" ".join(value.lower().split()))) is not None:
        return named
    try:
        return within(parse_length(value), EASE_LIMITS)
    except UnreadableLength:
        raise wrong(choice, meant(value, EASES)) from None


_LENGTHS_SCHEMA = {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}


def _two_lengths(value: object, limits: tuple[float, float], what: str) -> Point:
    """Two lengths [mm]; `what` they are, with an example, begins the message."""
    if not isinstance(value, list) or len(value) != 2 or not all(isinstance(part, str) for part in value):
        raise wrong(what)
    try:
        one, two = (parse_length(part) for part in value)
    except UnreadableLength as error:
        raise wrong(f"{what}: {error}") from None
    return within(one, limits), within(two, limits)


def _read_drop(value: object) -> Point:
    width, height = _two_lengths(value, OUTLINE_LIMITS, 'width and height, such as ["20 mm", "34 mm"]')
    if height <= width:
        raise wrong("a drop that is higher than wide: its width first, then its height")
    return width, height


def _read_polygon(value: object) -> list[Point]:
    expected = (
        f'3 to {MOST_CORNERS} corners, such as [["0 mm", "0 mm"], ["30 mm", "0 mm"], ["15 mm", "20 mm"]]'
    )
    if not isinstance(value, list) or not 3 <= len(value) <= MOST_CORNERS:
        raise wrong(expected)
    far = OUTLINE_LIMITS[1]
    points = [
        _two_lengths(corner, (-far, far), f'for corner {number} two lengths, such as ["30 mm", "0 mm"]')
        for number, corner in enumerate(value, start=1)
    ]
    shape = polygon(np.array(points)).polygon()
    if shape.convex_hull.area < LEAST_AREA:
        raise wrong(f"a polygon of at least {LEAST_AREA:g} mm²; these corners enclose less, or lie in a line")
    if not shape.is_valid:
        where = meeting_sides(points)
        told = f"; {where}" if where else ""
        raise wrong(f"a polygon whose sides neither cross nor touch one another{told}")
    if shape.area < LEAST_AREA:
        raise wrong(f"a polygon of at least {LEAST_AREA:g} mm²; this one has {shape.area:.2g} mm²")
    return points


class OutlineTable(Table):
    """What a sheet is cut to, whole rings only: exactly one of circle, drop and polygon."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": [kind]} for kind in ("circle", "drop", "polygon")]}
    )

    circle: Annotated[float, length_in(OUTLINE_LIMITS)] | None = Field(
        None, description="The diameter of a circle.", examples=["30 mm"]
    )
    drop: Annotated[Point, BeforeValidator(_read_drop), WithJsonSchema(_LENGTHS_SCHEMA)] | None = Field(
        None, description="Width and height of a drop with its tip up.", examples=[["20 mm", "34 mm"]]
    )
    polygon: (
        Annotated[
            list[Point],
            BeforeValidator(_read_polygon),
            WithJsonSchema(
                {"type": "array", "items": _LENGTHS_SCHEMA, "minItems": 3, "maxItems": MOST_CORNERS}
            ),
        ]
        | None
    ) = Field(
        None,
        description="The corners of a polygon in order, each with its place along and up.",
        examples=[[["0 mm", "0 mm"], ["30 mm", "0 mm"], ["15 mm", "20 mm"]]],
    )

    @model_validator(mode="after")
    def _one_shape(self) -> "OutlineTable":
        given = [kind for kind in ("circle", "drop", "polygon") if getattr(self, kind) is not None]
        if len(given) != 1:
            got = " and ".join(given) if given else "none of them"
            raise wrong(f"exactly one of circle, drop and polygon in an outline, not {got}")
        return self


Strands = Annotated[int, whole_in(1, MOST_STRANDS, "a whole number of strands")]
Repeat = Annotated[int, whole_in(1, MOST_REPEATS, "a whole number of repeats")]
WeaveName = Annotated[str, Field(strict=True)]
Hand = Literal["left", "right"]
RoleSizes = dict[str, Annotated[str, Field(strict=True)]]

_WEAVE = 'A weave by name (`chaingen weaves` lists them), or a weave file beside this one, "mine.toml".'
_SIZES = (
    "The ring size of each role of the weave; a role may be left out where a ring size has its name, or "
    "where there is one ring size for all."
)
_STRANDS = (
    "How many times this is made side by side, each in an eye of an end bar or in a ring of its own; 1 when "
    "left out."
)
_HAND = "The hand of a weave that differs from its mirror image; its own when left out."


class EndTable(Table):
    """A finding at an end of the piece."""

    finding: str = Field(
        description="Name of the finding; its eyes towards the piece are linked, the others are outside."
    )
    joins: list[GroupTable] = Field(
        default=[],
        max_length=MOST_JOINS,
        description="Groups between the finding and the piece, from the finding inwards: often one or two "
        "joining rings.",
    )


class EndsTable(Table):
    """The findings at the ends of an open run."""

    start: EndTable | None = Field(None, description="Where the piece starts: on top where it hangs.")
    end: EndTable | None = Field(None, description="Where the piece ends.")

    @model_validator(mode="after")
    def _some_end(self) -> "EndsTable":
        if self.start is None and self.end is None:
            raise wrong("start or end, or both")
        return self


class SectionTable(Table):
    """A section: groups or a weave that makes a chain, so many times."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": [kind]} for kind in ("groups", "weave")]}
    )

    groups: list[GroupTable] | None = Field(
        None,
        min_length=1,
        max_length=MOST_GROUPS,
        description="The groups that are repeated; neighbours are linked all with all.",
    )
    weave: WeaveName | None = Field(None, description=_WEAVE)
    rings: RoleSizes | None = Field(None, description=_SIZES)
    hand: Hand | None = Field(None, description=_HAND)
    repeat: Repeat | None = Field(
        None, description="How many times the groups or cells are made; 1 by default."
    )
    strands: Strands | None = Field(None, description=_STRANDS)


class PatternTable(Table):
    """The pattern: a run of groups, a weave, or sections; exactly one of groups, weave and sections."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [{"required": [kind]} for kind in ("groups", "weave", "sections")],
            "not": {
                "anyOf": [{"required": list(two)} for two in combinations(EXTENTS, 2)],
            },
        }
    )

    form: Literal["open run", "closed loop", "sheet"] | None = Field(
        None,
        description="An open run has two ends; in a closed loop the last group or cell links the first. An "
        "open run when left out; a weave that makes a sheet is always a sheet.",
    )
    repeat: Repeat | None = Field(None, description="How many times the groups or cells are made.")
    length: Annotated[float, length_in((0.0, MOST_LENGTH), above=True)] | None = Field(
        None,
        description="Finished length, not repeat: pulled straight, outside to outside; or round the loop.",
        examples=["180 mm", "7 1/4 in"],
    )
    wrist: Annotated[float, length_in(WRIST_LIMITS)] | None = Field(
        None,
        description="Circumference of the wrist, not length or repeat: the length is this and the ease.",
        examples=["165 mm", "6 1/2 in"],
    )
    neck: Annotated[float, length_in(NECK_LIMITS)] | None = Field(
        None, description="Circumference of the neck likewise.", examples=["360 mm"]
    )
    ease: Annotated[float, BeforeValidator(_read_ease, json_schema_input_type=str)] | None = Field(
        None,
        description="How much longer than the wrist or neck: snug, comfort or loose (3/8, 7/8, 1 1/8 in; "
        "common practice for wrists), or a length; comfort when left out for a wrist, nothing for a neck.",
        examples=["comfort", "20 mm"],
    )
    first: list[GroupTable] = Field(
        default=[],
        max_length=MOST_GROUPS,
        description="Groups made once before the others; not in a closed loop.",
    )
    groups: list[GroupTable] | None = Field(
        None,
        min_length=1,
        max_length=MOST_GROUPS,
        description="The groups that are repeated; neighbours are linked all with all.",
    )
    last: list[GroupTable] = Field(
        default=[],
        max_length=MOST_GROUPS,
        description="Groups made once after the others; not in a closed loop.",
    )
    weave: WeaveName | None = Field(None, description=_WEAVE)
    rings: RoleSizes | None = Field(None, description=_SIZES)
    hand: Hand | None = Field(None, description=_HAND)
    strands: Strands | None = Field(None, description=_STRANDS)
    columns: Annotated[int, whole_in(1, MOST_REPEATS, "a whole number of columns")] | None = Field(
        None, description="Cells of a sheet along."
    )
    rows: Annotated[int, whole_in(1, MOST_REPEATS, "a whole number of rows")] | None = Field(
        None, description="Cells of a sheet across."
    )
    outline: OutlineTable | None = Field(
        None, description="What a sheet is cut to instead: whole rings within it are kept, and no loose ones."
    )
    sections: list[SectionTable] | None = Field(
        None,
        min_length=1,
        max_length=MOST_SECTIONS,
        description="Sections that follow one another in an open run: all rings at the end of one link all "
        "rings at the beginning of the next.",
    )
