"""The metals that a design file names: coloured wires, metals of ring sizes, patterns of metals."""

from collections.abc import Mapping
from typing import Any

from chaingen.design.colouring import MetalPattern, PatternKind
from chaingen.design.metal_schema import MOST_BITMAP, ColourTable, MetalPatternTable, spelt
from chaingen.errors import Problem
from chaingen.stock.metals import Metal, find_metal
from chaingen.tables import key, list_of, shown, table_of

_MOST_LETTERS = 10
"""Most letters in a message."""

Palette = Mapping[str, Metal]
"""The coloured wires of a design by name."""


def colour_names(data: Mapping[str, Any]) -> tuple[str, ...]:
    """The names of the coloured wires that a design file says."""
    return tuple(table_of(data.get("colours")))


def colour_problems(data: Mapping[str, Any]) -> list[Problem]:
    """What is wrong with names of coloured wires."""
    problems = []
    seen: dict[str, str] = {}
    for name in colour_names(data):
        where = f"colours.{key(name)}"
        metal = find_metal(name)
        if metal is not None:
            got = f"{shown(name)}, which is {metal.name if spelt(name) != metal.name else 'a metal'} already"
            problems.append(Problem(where, got, "a name of its own, such as 'harbour blue'"))
        elif spelt(name) in seen:
            got = f"{shown(name)}, which is spelt like {shown(seen[spelt(name)])} but for capitals or spaces"
            problems.append(Problem(where, got, "a name of its own"))
        seen.setdefault(spelt(name), name)
    return problems


def bitmap_problems(data: Mapping[str, Any]) -> list[Problem]:
    """Rows of a bitmap with letters that have no metal; judged on what is written, so beside unequal rows."""
    table = table_of(data.get("metal_pattern"))
    known = table_of(table.get("key"))
    problems = []
    told: set[str] = set()
    for number, row in enumerate(list_of(table.get("bitmap"), MOST_BITMAP), start=1):
        if not isinstance(row, str):
            continue
        missing = [letter for letter in dict.fromkeys(row[:MOST_BITMAP]) if letter not in {*known, *told}]
        if missing:
            letters = ", ".join(repr(letter) for letter in missing[:_MOST_LETTERS])
            got = f"{letters}, which the key has no metal for"
            expected = "letters that metal_pattern.key gives a metal"
            problems.append(Problem(f"metal_pattern.bitmap[{number}]", got, expected))
        # A letter is told by the first row that has it.
        told.update(missing)
    return problems


def palette_of(colours: Mapping[str, ColourTable]) -> dict[str, Metal]:
    """The coloured wires as metals: their own name and colour, the weight of the metal beneath."""
    palette = {}
    for name, table in colours.items():
        under = metal_of(table.metal, {})
        palette[name] = Metal(
            name, under.density, under.source, table.colour, under.roughness, under=under.name
        )
    return palette


def metal_of(name: str, palette: Palette) -> Metal:
    """The metal or coloured wire of a name that the schema let through."""
    metal = palette.get(name) or find_metal(name)
    assert metal is not None, "the schema lets known metals through only"
    return metal


def pattern_of(table: MetalPatternTable | None, palette: Palette) -> MetalPattern | None:
    """The pattern of metals that a table says."""
    if table is None:
        return None
    if table.bitmap is not None:
        metals = tuple(dict.fromkeys(metal_of(name, palette) for name in (table.key or {}).values()))
        number = {letter: metals.index(metal_of(name, palette)) for letter, name in (table.key or {}).items()}
        rows = tuple(tuple(number[letter] for letter in row) for row in table.bitmap)
        return MetalPattern(PatternKind.BITMAP, metals, bitmap=rows)
    kind = PatternKind.STRIPES if table.stripes is not None else PatternKind.CHECKS
    names = table.stripes if table.stripes is not None else table.checks
    return MetalPattern(
        kind,
        tuple(metal_of(name, palette) for name in names or ()),
        width=table.width or 1,
        across=table.direction != "along",
    )
