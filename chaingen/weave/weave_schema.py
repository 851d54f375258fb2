"""The keys of a weave file, as pydantic models: what each means, and the limits of each value by itself."""

import math
import re
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema, model_validator

from chaingen.tables import MOST_LETTERS, Line, SizeTable, Table, json_schema_of, names_of, number_in, wrong

MOST_RINGS, MOST_ROLES, MOST_LINKS = 60, 12, 600
"""Most rings, roles and links of a cell."""

MOST_OFFSET = 3
"""A ring is linked with, or caged by, rings of at most so many cells further along or across."""

MOST_LINE = 300
"""Most letters of a line about a weave."""

MOST_MM = 10_000.0
"""Farthest that a rough pose reaches [mm]."""

LEAST_STEP = 0.01
"""Least distance from a cell to the next [mm]."""

LEAST_AXIS = 1e-3
"""Axes shorter than this say no direction once they are written to six decimals."""

Step = tuple[str, int, int]
"""A ring, and how many cells along and across it lies."""


def _weave_name(value: object) -> str:
    if (
        isinstance(value, str)
        and len(value) <= MOST_LETTERS
        and re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", value)
    ):
        return value
    raise wrong(
        f"a name of at most {MOST_LETTERS} lower-case letters a to z and digits, with single hyphens between "
        f'them, in quotes, such as "japanese-4-in-1"'
    )


def _line(value: object) -> str:
    if not isinstance(value, str) or len(value) > MOST_LINE or not value.isprintable():
        raise wrong(f"one line of at most {MOST_LINE} printable letters, in quotes")
    return value.strip()


def _ring_names(rings: dict[str, Any]) -> dict[str, Any]:
    # A piece names its rings by their cell's number and the ring's name.
    for name in rings:
        if not name[0].isalpha():
            raise wrong(f"rings whose names begin with a letter, not {name[:MOST_LETTERS]!r}")
    return rings


def is_step(row: object, rings: int) -> bool:
    """Whether a list names so many rings and then at most two whole numbers of cells, neither too large."""
    return (
        isinstance(row, list)
        and rings <= len(row) <= rings + 2
        and all(isinstance(name, str) for name in row[:rings])
        and all(
            isinstance(cells, int) and not isinstance(cells, bool) and abs(cells) <= MOST_OFFSET
            for cells in row[rings:]
        )
    )


def cells_of(row: list[Any], rings: int) -> tuple[int, int]:
    """How many cells along and across a list says that is one by `is_step`."""
    along, across = [*row[rings:], 0, 0][:2]
    return along, across


def _row_schema(rings: int) -> WithJsonSchema:
    cells = {"type": "integer", "minimum": -MOST_OFFSET, "maximum": MOST_OFFSET}
    return WithJsonSchema(
        {
            "type": "array",
            "prefixItems": [{"type": "string"}] * rings + [cells, cells],
            "items": False,
            "minItems": rings,
        }
    )


def _read_link(value: object) -> tuple[str, str, int, int]:
    if isinstance(value, list) and is_step(value, 2):
        return value[0], value[1], *cells_of(value, 2)
    raise wrong(
        f"two rings, and how many cells along and across the second lies (-{MOST_OFFSET} to {MOST_OFFSET}), "
        f'such as ["a", "b"], ["a", "b", 1] or ["a", "b", 1, -1]'
    )


def _read_cage(value: object) -> Step:
    if isinstance(value, list) and is_step(value, 1):
        return value[0], *cells_of(value, 1)
    raise wrong(
        f"a ring, and how many cells along and across it lies (-{MOST_OFFSET} to {MOST_OFFSET}), "
        f'such as ["b"], ["b", 1] or ["b", 1, -1]'
    )


def numbers_of(value: object, count: int) -> tuple[float, ...] | None:
    """The numbers of a list of so many, none beyond `MOST_MM`; None for anything else."""
    if not isinstance(value, list) or len(value) != count:
        return None
    if any(isinstance(x, bool) or not isinstance(x, int | float) for x in value):
        return None
    return tuple(float(x) for x in value) if all(abs(x) <= MOST_MM for x in value) else None


def _vector(count: int, example: str) -> Any:
    def read(value: object) -> tuple[float, ...]:
        numbers = numbers_of(value, count)
        if numbers is None:
            raise wrong(f"{count} numbers, each -{MOST_MM:g} to {MOST_MM:g}, such as {example}")
        return numbers

    such = Annotated[list[float], Field(min_length=count, max_length=count)]
    return BeforeValidator(read, json_schema_input_type=such)


def _direction(axis: tuple[float, float, float]) -> tuple[float, float, float]:
    if math.hypot(*axis) < LEAST_AXIS:
        raise wrong(f"a direction, whose length is at least {LEAST_AXIS:g}")
    return axis


def _further_across(across: tuple[float, float]) -> tuple[float, float]:
    if abs(across[1]) < LEAST_STEP:
        raise wrong(
            f"a next cell across whose second number is at least {LEAST_STEP:g} or at most -{LEAST_STEP:g}"
        )
    return across


Names = Annotated[list[str], Field(min_length=2, max_length=MOST_RINGS)]


class RoleTable(SizeTable):
    """What some of the rings are for, with their usual size."""

    least: Annotated[float, number_in(1.0, 100.0)] | None = Field(
        None, description="Smallest aspect ratio of common practice; may be left out."
    )
    comfortable: Annotated[tuple[float, float], _vector(2, "[3.5, 4.0]")] | None = Field(
        None, description="Range of aspect ratios that common practice finds comfortable; may be left out."
    )

    @model_validator(mode="after")
    def _in_order(self) -> "RoleTable":
        if self.comfortable is not None:
            low, high = self.comfortable
            if not (self.least or 1.0) <= low <= high <= 100.0:
                least = "" if self.least is None else f"from the least, {self.least:g}, "
                raise wrong(
                    f"comfortable aspect ratios {least}in rising order and within 1 to 100, "
                    f"not {low:g} to {high:g}"
                )
        return self


class RingTable(Table):
    """A ring of the cell."""

    role: Annotated[str, Field(strict=True)] | None = Field(
        None, description="Its role; may be left out when there is one."
    )
    centre: Annotated[tuple[float, float, float], _vector(3, "[0.0, 1.2, 0.0]")] | None = Field(
        None, description="Rough centre [mm]; either all rings have one or none."
    )
    axis: (
        Annotated[tuple[float, float, float], _vector(3, "[0.3, 0.0, 1.0]"), AfterValidator(_direction)]
        | None
    ) = Field(None, description="Rough direction of its axis, of any length; goes with the centre.")
    caged_by: list[Annotated[Step, BeforeValidator(_read_cage), _row_schema(1)]] = Field(
        default=[],
        max_length=MOST_RINGS,
        description="Rings that keep it in where links do not, each with the cells along and across.",
    )


class PoseTable(Table):
    """Where the next cells lie when the rings are where their rough centres say."""

    period: Annotated[float, number_in(LEAST_STEP, MOST_MM)] = Field(
        description="The next cell along lies this much further along x [mm]."
    )
    twist: Annotated[float, number_in(-360.0, 360.0)] | None = Field(
        None, description="In a chain: the next cell is turned by this about x [degrees]; 0 by default."
    )
    across: (
        Annotated[tuple[float, float], _vector(2, "[3.0, 4.0]"), AfterValidator(_further_across)] | None
    ) = Field(None, description="In a sheet: the next cell across lies this much further along x and y [mm].")


class WeaveTable(Table):
    """A weave: a repeating cell of rings."""

    name: Annotated[str, BeforeValidator(_weave_name, json_schema_input_type=str)] = Field(
        description="Its name, in lower case with digits and hyphens."
    )
    title: Line | None = Field(None, description="Its name as the trade writes it; the name by default.")
    about: Annotated[str, BeforeValidator(_line)] = Field("", description="What it is, in a line.")
    wear: Annotated[str, BeforeValidator(_line)] = Field(
        "", description="What it is like to wear, in a line."
    )
    make: Annotated[str, BeforeValidator(_line)] = Field(
        "", description="What it is like to make, in a line."
    )
    repeats: Literal["chain", "sheet"] = Field(
        description="A chain repeats the cell along, a sheet along and across."
    )
    turning: bool = Field(
        False,
        strict=True,
        description="In a chain: whether each cell may turn about the length against the one before.",
    )
    hand: Literal["", "left", "right"] = Field(
        "", description="What the pose's hand is called, for a weave that differs from its mirror image."
    )
    side_by_side: list[Names] = Field(
        default=[],
        max_length=MOST_RINGS,
        description="Rings of a cell that lie side by side: a plane passes between any two.",
    )
    finish: list[str] = Field(
        default=[],
        max_length=MOST_RINGS,
        description="In a chain: rings of one more cell that finish it when it is open.",
    )
    links: list[Annotated[tuple[str, str, int, int], BeforeValidator(_read_link), _row_schema(2)]] = Field(
        min_length=1,
        max_length=MOST_LINKS,
        description="Every link once: two rings, and how many cells along and across the second lies.",
    )
    roles: Annotated[dict[str, RoleTable], names_of("roles")] = Field(
        min_length=1, max_length=MOST_ROLES, description="Roles by name, each with its ring size."
    )
    rings: Annotated[dict[str, RingTable], names_of("rings"), AfterValidator(_ring_names)] = Field(
        min_length=1, max_length=MOST_RINGS, description="The rings of a cell by name."
    )
    pose: PoseTable | None = Field(
        None, description="Where the next cells lie; there when the rings have centres."
    )


def weave_json_schema() -> dict[str, Any]:
    """The JSON Schema of a weave file, as editors use it."""
    return json_schema_of(WeaveTable)
