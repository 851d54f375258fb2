"""What the tables of findings have in common: keys with their defaults from the builders, and messages.

A table of one kind refuses keys that it does not have by naming the kinds that have them.
"""

import inspect
import re
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    ModelWrapValidatorHandler,
    ValidationError,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import InitErrorDetails, PydanticCustomError

from chaingen.findings.finding import Finding
from chaingen.stock.gauges import parse_wire
from chaingen.tables import Line, Table, length_in, meant, number_in, whole_in, within, wrong
from chaingen.units import UnreadableLength, format_mm

WIRES = 0.2, 6.0
"""Wire diameters of findings that are accepted [mm]."""

MOST_STEPS = 200
"""Most steps of a wire path."""

DEGREES = "degrees, without a unit"
"""How angles are written."""

SIZES = 0.2, 100.0
"""Other sizes of findings that are accepted [mm]."""


def _read_wire(value: object) -> float:
    if not isinstance(value, str):
        raise wrong('a wire such as "20 AWG" or "0.8 mm", in quotes')
    try:
        return within(parse_wire(value), WIRES)
    except UnreadableLength as error:
        raise wrong(str(error)) from None


Wire = Annotated[float, BeforeValidator(_read_wire, json_schema_input_type=str)]
"""A wire diameter [mm]."""

Size = Annotated[float, length_in(SIZES)]
"""A length [mm]."""

SizeOrNone = Annotated[float, length_in((0.0, SIZES[1]))]
"""A length that may be 0 [mm]."""


Yes = Annotated[bool, Field(strict=True)]
"""true or false."""

COLOURS = {
    "white": "#f4f2ec",
    "black": "#1d1d20",
    "grey": "#85898d",
    "red": "#b3202a",
    "orange": "#dd7a2b",
    "amber": "#d9982f",
    "yellow": "#e8c84a",
    "green": "#2f7d4f",
    "sea green": "#4f9a8f",
    "turquoise": "#45b3b8",
    "blue": "#2a5fa5",
    "violet": "#6b4a93",
    "pink": "#dd8ba3",
    "brown": "#6d4a33",
}
"""Colours that beads may be called by, chosen by eye."""


def _read_colour(value: object) -> tuple[float, float, float]:
    code = COLOURS.get(" ".join(value.lower().split()), value) if isinstance(value, str) else ""
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", code):
        raise wrong(
            f"a colour: {', '.join(COLOURS)}; or # and six digits 0 to 9 and a to f: red, green, blue, such "
            'as "#4f9a8f"',
            meant(value, COLOURS),
        )
    red, green, blue = (int(code[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    return red, green, blue


Colour = Annotated[
    tuple[float, float, float],
    BeforeValidator(_read_colour),
    WithJsonSchema({"anyOf": [{"type": "string", "pattern": "^#[0-9a-fA-F]{6}$"}, {"enum": list(COLOURS)}]}),
]
"""A colour as red, green and blue, 0 to 1."""


def own(build: Callable[..., Finding], name: str, text: str, *, unit: str = "mm") -> Any:
    """The field of a key whose default is the builder's.

    Args:
        build: The builder.
        name: The key, which is a keyword of the builder.
        text: What it means, without its default.
        unit: Unit of its numbers.
    """
    default = inspect.signature(build).parameters[name].default
    if default is None:
        return Field(None, description=f"{text}.")
    if isinstance(default, bool):
        written: Any = default
        told = "true" if default else "false"
    elif isinstance(default, float) and unit == "mm":
        written = told = format_mm(default)
    else:
        written, told = default, f"{default:g} {unit}" if isinstance(default, float) else str(default)
    return Field(
        default, description=f"{text}; {told} by default.", json_schema_extra={"default": written}
    )  # as the file writes it


def words(*choice: str) -> Any:
    """The validator of one word of a few."""

    def read(value: object) -> str:
        said = " ".join(value.lower().split()) if isinstance(value, str) else ""
        if said not in choice:
            raise wrong(" or ".join(f'"{word}"' for word in choice), meant(value, choice))
        return said

    return BeforeValidator(read)


class KeyTable(Table):
    """A table that tells of unknown keys in its own words, along with all else that is wrong in it."""

    @classmethod
    def unknown_key(cls, name: str) -> PydanticCustomError:
        """The error for a key that it does not have."""
        keys = [key for key in cls.model_fields if key != "kind"]
        return wrong(f"only the keys {', '.join(keys)} here", meant(name, keys), unknown=True)

    @model_validator(mode="wrap")
    @classmethod
    def _read(cls, value: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        if not isinstance(value, dict):
            return handler(value)
        known = {name: entry for name, entry in value.items() if name in cls.model_fields}
        errors = [
            InitErrorDetails(type=cls.unknown_key(str(name)), loc=(name,), input={})
            for name in value
            if name not in known
        ]
        try:
            read = handler(known)
        except ValidationError as error:
            errors += [_again(entry) for entry in error.errors(include_url=False)]
        if errors:
            raise ValidationError.from_exception_data(cls.__name__, errors)
        return read


def _again(entry: Any) -> InitErrorDetails:
    """An error that was found, to be raised again with others."""
    ours = entry["type"] == "expected"
    fault = PydanticCustomError("expected", "{expected}", entry["ctx"]) if ours else entry["type"]
    return InitErrorDetails(type=fault, loc=entry["loc"], input=entry["input"], ctx=entry.get("ctx", {}))


class BeadTable(KeyTable):
    """A bead."""

    form: Annotated[Literal["ball", "disc", "rondelle"], words("ball", "disc", "rondelle")] = Field(
        description="ball; disc, flat with a rounded rim; or rondelle, a thicker one."
    )
    diameter: Size = Field(description="Its diameter.", examples=["6 mm"])
    thickness: Size | None = Field(
        None, description="Its length along the hole; of a disc or a rondelle, and none of a ball."
    )
    hole: Size = Field(
        1.0,
        description="Diameter of its hole; 1 mm by default.",
        json_schema_extra={"default": "1 mm"},
    )
    colour: Colour = Field(
        "sea green",
        description="Its colour: a plain name, or red, green and blue; sea green by default.",
        validate_default=True,
        json_schema_extra={"default": "sea green"},
    )
    density: Annotated[float, number_in(0.5, 25.0)] | None = Field(
        None, description="What it weighs in g/cm3; its weight is not told when left out."
    )


class StepTable(KeyTable):
    """A step of a wire path: a straight by its length, or a bend by its radius and angle."""

    length: Size | None = Field(None, description="Length of a straight.", examples=["8 mm"])
    radius: Size | None = Field(
        None, description="Radius of a bend, to the middle of the wire.", examples=["2 mm"]
    )
    angle: Annotated[float, number_in(0.1, 360.0, DEGREES)] | None = Field(
        None, description="How far a bend turns in degrees.", examples=[180.0]
    )
    direction: Annotated[float, number_in(-360.0, 360.0, DEGREES)] = Field(
        0.0,
        description="Which way a bend turns, seen along the wire, in degrees: 0 to the left (by default), 90 "
        "up, 180 to the right, 270 down.",
    )

    @model_validator(mode="after")
    def _one_kind(self) -> "StepTable":
        bend = self.radius is not None and self.angle is not None
        if (self.length is not None) == bend or (self.radius is None) != (self.angle is None):
            raise wrong("a straight with length, or a bend with radius and angle")
        if self.length is not None and self.direction != 0.0:
            raise wrong("direction with a bend only")
        return self


class PathEyeTable(KeyTable):
    """An eye of a wire path: from one place along it to another, closed by a straight between them."""

    name: Line = Field(description="What it is called.")
    from_step: Annotated[int, whole_in(1, MOST_STEPS, "the number of a step")] = Field(
        description="The step in which it begins, counted from 1."
    )
    to_step: Annotated[int, whole_in(1, MOST_STEPS, "the number of a step")] = Field(
        description="The step in which it ends."
    )
    from_part: Annotated[float, number_in(0.0, 1.0)] = Field(
        0.0, description="How much of its first step comes before it; 0 by default."
    )
    to_part: Annotated[float, number_in(0.0, 1.0)] = Field(
        1.0, description="How much of its last step belongs to it; 1 by default."
    )
    end: Annotated[Literal["inner", "outer", "both"], words("inner", "outer", "both")] = Field(
        "inner",
        description="At which end it is: inner, towards the piece (by default); outer; or both, as in a link "
        "of one eye.",
    )
    opened_by: Annotated[
        Literal["pliers", "nothing", "hook", "gate"], words("pliers", "nothing", "hook", "gate")
    ] = Field(
        "pliers",
        description="What lets a ring in: pliers (by default); nothing, for it is soldered; hook, for it is "
        "open as it is worn; or a gate.",
    )
    gate: Size | None = Field(None, description="How wide a gate opens.")
