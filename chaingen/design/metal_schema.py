"""The keys of a design file about metals: names of metals, coloured wires, patterns of metals."""

import re
from typing import Annotated, Literal

from pydantic import BeforeValidator, ConfigDict, Field, ValidationInfo, WithJsonSchema, model_validator
from pydantic_core import PydanticCustomError

from chaingen.stock.metals import find_metal, metal_names, nearest_metal
from chaingen.tables import Table, nearest, shown, whole_in, wrong

COLOURS = "colours"
"""Key of the names of coloured wires in a validation's context."""

MOST_COLOURS = 60
"""Most coloured wires."""

MOST_METALS = 40
"""Most metals of one pattern."""

MOST_WIDTH = 10_000
"""Widest stripe or check in rings."""

MOST_BITMAP = 200
"""Most rows and most letters of a row of a bitmap."""


def spelt(name: str) -> str:
    """A name without regard to capitals and surplus spaces."""
    return " ".join(name.lower().split())


def _read_metal(value: object, info: ValidationInfo) -> str:
    """The name of a metal, or of a coloured wire of the design."""
    coloured = {spelt(name): name for name in (info.context or {}).get(COLOURS, ())}
    if isinstance(value, str):
        if metal := find_metal(value):
            return metal.name
        if own := coloured.get(spelt(value)):
            return str(own)
    raise _unknown(value, tuple(coloured.values()), "a coloured wire is named by a table [colours.NAME]")


def _read_bare_metal(value: object) -> str:
    """The name of a metal, not of a coloured wire."""
    if isinstance(value, str) and (metal := find_metal(value)):
        return metal.name
    raise _unknown(value, ())


def _unknown(value: object, coloured: tuple[str, ...], advice: str = "") -> PydanticCustomError:
    choice = f"one of the metals {', '.join(metal_names())}"
    if coloured:
        choice += f", or of this design's colours {', '.join(coloured[:20])}"
    near = (nearest(value, coloured) or nearest_metal(value)) if isinstance(value, str) else None
    return wrong(choice, " ".join(part for part in (f"did you mean {near}?" if near else "", advice) if part))


MetalName = Annotated[str, BeforeValidator(_read_metal, json_schema_input_type=str)]
"""The name of a metal or of a coloured wire."""


def _read_colour(value: object) -> tuple[float, float, float]:
    if not isinstance(value, str) or not re.fullmatch(r"#[0-9a-fA-F]{6}", value):
        raise wrong('a colour as # and six digits 0 to 9 and a to f: red, green, blue, such as "#2a6f97"')
    red, green, blue = (int(value[k : k + 2], 16) / 255.0 for k in (1, 3, 5))
    return red, green, blue


class ColourTable(Table):
    """A coloured wire, anodised or enamelled: a name to use wherever a metal is named."""

    metal: Annotated[str, BeforeValidator(_read_bare_metal, json_schema_input_type=str)] = Field(
        description="The metal under the colour: it gives the weight."
    )
    colour: Annotated[
        tuple[float, float, float],
        BeforeValidator(_read_colour),
        WithJsonSchema({"type": "string", "pattern": "^#[0-9a-fA-F]{6}$"}),
    ] = Field(description='Its colour in pictures: red, green and blue, such as "#2a6f97".')


Metals = Annotated[list[MetalName], Field(min_length=2, max_length=MOST_METALS)]


def _read_bitmap(value: object) -> list[str]:
    expected = f"rows of letters, all equally long, at most {MOST_BITMAP} of {MOST_BITMAP}"
    if not isinstance(value, list) or not all(isinstance(row, str) for row in value):
        raise wrong(f'{expected}, such as ["..#.", ".##."]')
    if not 1 <= len(value) <= MOST_BITMAP or not all(1 <= len(row) <= MOST_BITMAP for row in value):
        raise wrong(f"{expected}; there are {len(value):,}, the longest {max(map(len, value), default=0):,}")
    if len({len(row) for row in value}) > 1:
        odd = next(number for number, row in enumerate(value, start=1) if len(row) != len(value[0]))
        raise wrong(f"{expected}; row 1 has {len(value[0])} letters, row {odd} has {len(value[odd - 1])}")
    return value


class MetalPatternTable(Table):
    """Which ring is of which metal, by its place: exactly one of stripes, checks and bitmap."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": [kind]} for kind in ("stripes", "checks", "bitmap")]}
    )

    stripes: Metals | None = Field(None, description="Metals of stripes, in order; they come round again.")
    checks: Metals | None = Field(None, description="Metals of checks, in order; they come round again.")
    bitmap: (
        Annotated[
            list[str],
            BeforeValidator(_read_bitmap),
            WithJsonSchema(
                {
                    "type": "array",
                    "items": {"type": "string", "minLength": 1, "maxLength": MOST_BITMAP},
                    "minItems": 1,
                    "maxItems": MOST_BITMAP,
                }
            ),
        ]
        | None
    ) = Field(
        None,
        description="Rows of letters, the top row first, each letter a ring's metal by the key; repeated.",
    )
    width: Annotated[int, whole_in(1, MOST_WIDTH, "a whole number of rings")] | None = Field(
        None, description="Width of a stripe or a check in rings; 1 when left out. Not with a bitmap."
    )
    direction: Literal["along", "across"] | None = Field(
        None,
        description="How stripes run: across the piece (the metal changes along it) when left out, or along.",
    )
    key: dict[str, MetalName] | None = Field(
        None, min_length=1, description="With a bitmap: the metal of each of its letters."
    )

    @model_validator(mode="after")
    def _one_kind(self) -> "MetalPatternTable":
        given = [kind for kind in ("stripes", "checks", "bitmap") if getattr(self, kind) is not None]
        if len(given) != 1:
            got = " and ".join(given) if given else "none of them"
            raise wrong(f"exactly one of stripes, checks and bitmap in a pattern of metals, not {got}")
        if self.direction is not None and self.stripes is None:
            raise wrong("direction with stripes only")
        if self.width is not None and self.bitmap is not None:
            raise wrong("width with stripes or checks only: a bitmap says every ring")
        if self.key is not None and self.bitmap is None:
            raise wrong("key with a bitmap only")
        if long := [letter for letter in self.key or {} if len(letter) != 1]:
            raise wrong(f"single letters in the key, not {', '.join(shown(name) for name in long[:5])}")
        return self
