"""The keys about the bench: how a maker works, prices, rings at hand, a class, the sheet.

They may stand in a design, in a settings file that serves many designs, or in both: what the design says goes
before what the settings say.
"""

import math
import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, PlainValidator, ValidationInfo, WithJsonSchema

from chaingen.design.bench import Price
from chaingen.design.metal_schema import COLOURS, MetalName, spelt
from chaingen.stock.gauges import parse_wire
from chaingen.stock.mandrels import MANDREL_LIMITS, UnreadableMandrel, read_mandrels
from chaingen.stock.metals import find_metal, nearest_metal
from chaingen.stock.saws import BLADES
from chaingen.stock.tempers import spelt_temper, temper_names
from chaingen.tables import (
    WIRE_LIMITS,
    FileKind,
    SizeTable,
    Table,
    length_in,
    nearest,
    number_in,
    shown,
    whole_in,
    within,
    wrong,
)
from chaingen.units import UnreadableLength, parse_length

MOST_KERF = 5.0
"""Widest cut [mm]."""

MOST_WIRE = 10_000_000.0
"""Longest wire that is sold as one [mm]."""

MOST_ENTRIES = 200
"""Most entries of a list of mandrels, trials, rings at hand or prices."""

_PRICE = re.compile(r"(-?)(\d{1,12}(?:\.\d{1,6})?)")
PRICES = 'a price with its currency as three letters, such as "1.20 EUR"'
"""What a price looks like, for messages."""


def read_price(value: object) -> Price:
    """A price from its text.

    Args:
        value: A number and a currency of three letters (ISO 4217), in either order.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise wrong(f"{PRICES}: {shown(value)} of what?")
    words = value.split() if isinstance(value, str) else []
    codes = [word for word in words if re.fullmatch(r"[A-Za-z]{3}", word)]
    numbers = [match for word in words if (match := _PRICE.fullmatch(word))]
    if len(words) != 2 or len(codes) != 1 or len(numbers) != 1:
        comma = isinstance(value, str) and re.search(r"\d,\d", value)
        raise wrong(f"{PRICES}{', with a point for decimals' if comma else ''}")
    (number,) = numbers
    if number[1] and Decimal(number[2]) > 0:
        raise wrong("a price of 0 or more", "leave it out where it is not known")
    return Price(Decimal(number[2]), codes[0].upper())


PriceField = Annotated[Price, PlainValidator(read_price), WithJsonSchema({"type": "string"})]
"""A price with its currency."""


def _read_metals(table: dict[str, Any], info: ValidationInfo) -> dict[str, Any]:
    """A table by names of metals, each under the name that the metal is known by."""
    coloured = {spelt(name): name for name in (info.context or {}).get(COLOURS, ())}
    found = {}
    for name, entry in table.items():
        metal = find_metal(name)
        known = metal.name if metal else coloured.get(spelt(name))
        if known is None:
            near = nearest(name, coloured.values()) or nearest_metal(name)
            raise wrong(f"names of metals, not {name[:60]!r}", f"did you mean {near}?" if near else "")
        if known in found:
            raise wrong(f"each metal once: {name[:60]!r} is {known}, which is there already")
        found[known] = entry
    return found


_BY_METAL = AfterValidator(_read_metals)


def _quantity(units: Mapping[str, float], limits: tuple[float, float], example: str) -> Any:
    """The validator of a number with its unit, in the first of `units`."""
    first = next(iter(units))

    def read(value: object) -> float:
        expected = f'a number with its unit, such as "{example}"'
        pattern = r"\s*(-?\d+(?:\.\d+)?)\s*([A-Za-z]+)\s*"
        match = re.fullmatch(pattern, value) if isinstance(value, str) else None
        if match is None or match[2] not in units:
            raise wrong(f"{expected}, in {' or '.join(units)}")
        found: float = float(match[1]) * units[match[2]]
        if not (math.isfinite(found) and limits[0] <= found <= limits[1]):
            raise wrong(f"{limits[0]:g} to {limits[1]:g} {first}")
        return found

    return BeforeValidator(read, json_schema_input_type=str)


def _read_temper(value: object) -> str:
    names = temper_names()
    if not isinstance(value, str) or not 0 < len(value.strip()) <= 60 or not value.isprintable():
        raise wrong(f"a temper such as {', '.join(names)}")
    # A temper of the maker's own goes with figures of their own.
    return spelt_temper(value)


Temper = Annotated[str, BeforeValidator(_read_temper, json_schema_input_type=str)]
"""A temper by its name."""


def _read_mandrels(value: object) -> list[str]:
    expected = 'a list of sets and diameters, such as ["knitting needles", "3.25 mm"]'
    if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
        raise wrong(expected)
    if not 1 <= len(value) <= MOST_ENTRIES:
        raise wrong(f"1 to {MOST_ENTRIES} entries")
    try:
        read_mandrels(value)
    except UnreadableMandrel as error:
        raise wrong(str(error), f"{shown(error.text)} is none") from None
    return value


def _read_kerf(value: object, info: ValidationInfo) -> float:
    expected = f'what a cut takes, such as "0.25 mm", or a saw blade: {", ".join(BLADES)}'
    if not isinstance(value, str):
        raise wrong(f"{expected}, in quotes")
    if value.strip() in BLADES:
        if info.data.get("cut") == "flush cutters":
            raise wrong('what a cut takes, such as "0.5 mm": flush cutters have no saw blade')
        return BLADES[value.strip()]
    try:
        return within(parse_length(value), (0.0, MOST_KERF))
    except UnreadableLength:
        raise wrong(expected) from None


def _read_wire(value: object) -> float:
    if not isinstance(value, str):
        raise wrong('a wire such as "18 AWG" or "1.2 mm", in quotes')
    try:
        return within(parse_wire(value), WIRE_LIMITS)
    except UnreadableLength as error:
        raise wrong(str(error)) from None


Percent = Annotated[float, number_in(0.0, 1000.0, "a percentage")]
Seconds = Annotated[float, number_in(0.0, 100_000.0, "seconds")]


class WireTable(Table):
    """What is known of the wire of one metal; it goes before the tables of the program."""

    temper: Temper | None = Field(None, description="Its temper.")
    youngs_modulus: Annotated[float, _quantity({"GPa": 1.0, "MPa": 1e-3}, (1.0, 1000.0), "76 GPa")] | None = (
        Field(None, description="Its Young's modulus.", examples=["76 GPa"])
    )
    yield_strength: (
        Annotated[float, _quantity({"MPa": 1.0, "GPa": 1000.0}, (1.0, 5000.0), "124 MPa")] | None
    ) = Field(None, description="The stress at which it yields.", examples=["124 MPa"])


class TrialTable(Table):
    """A coil wound to see how far the wire springs open: it calibrates the reckoning for its metal."""

    metal: MetalName | None = Field(
        None, description="Its metal; the design's when left out, which a settings file cannot."
    )
    temper: Temper | None = Field(None, description="Its temper; the bench's when left out.")
    wire: Annotated[float, BeforeValidator(_read_wire, json_schema_input_type=str)] = Field(
        description="Its wire.", examples=["18 AWG"]
    )
    mandrel: Annotated[float, length_in(MANDREL_LIMITS)] = Field(
        description="Diameter of the mandrel it was wound on."
    )
    inside: Annotated[float, length_in(MANDREL_LIMITS)] = Field(
        description="Inside diameter of the coil off the mandrel, measured."
    )


class BenchTable(Table):
    """How rings are made at this bench."""

    temper: Temper | None = Field(
        None,
        description="Temper of wire whose metal says none; the usual one for winding rings when left out, "
        "and said so. Of a metal without data of it nothing is then known.",
    )
    metals: Annotated[dict[str, WireTable], _BY_METAL] = Field(
        default={}, max_length=MOST_ENTRIES, description="What you know of the wire of a metal."
    )
    mandrels: Annotated[list[str], PlainValidator(_read_mandrels), WithJsonSchema(
        {"type": "array", "items": {"type": "string"}, "minItems": 1, "maxItems": MOST_ENTRIES}
    )] | None = Field(
        None,
        description="Mandrels at hand: sets by name, and diameters.",
        examples=[["knitting needles", "3.25 mm"]],
    )  # fmt: skip
    trials: list[TrialTable] = Field(
        default=[], max_length=MOST_ENTRIES, description="Trial coils as [[bench.trials]]."
    )
    cut: Literal["saw", "flush cutters"] | None = Field(
        None, description="How rings are cut off the coil; with a saw when left out."
    )
    kerf: Annotated[float, BeforeValidator(_read_kerf, json_schema_input_type=str)] | None = Field(
        None,
        description="What each cut takes of the wire: a length, or a saw blade; 0.25 mm for a saw, half "
        "the wire for flush cutters when left out, and said so.",
        examples=["0.25 mm", "4/0"],
    )
    mandrel_length: Annotated[float, length_in((10.0, 10_000.0))] | None = Field(
        None, description="How long a coil is wound at once; 100 mm when left out."
    )
    tail: Annotated[float, length_in((0.0, 1000.0))] | None = Field(
        None, description="Wire at both ends of a coil together that makes no rings; 40 mm when left out."
    )
    sold_in: Annotated[float, length_in((10.0, MOST_WIRE))] | None = Field(
        None, description="Length of wire as it is sold, in lengths or coils.", examples=["1 m"]
    )
    bag: Annotated[int, whole_in(1, 1_000_000, "a whole number of rings")] | None = Field(
        None, description="Rings in a bag as they are sold."
    )
    spare: Percent | None = Field(None, description="Spare rings in percent; 10 when left out.")
    open_seconds: Seconds | None = Field(None, description="Time to open a ring.")
    close_seconds: Seconds | None = Field(None, description="Time to link a ring and close it.")
    finding_seconds: dict[str, Seconds] = Field(
        default={}, max_length=MOST_ENTRIES, description="Time to make a finding, by its name."
    )
    tug: Annotated[float, _quantity({"N": 1.0, "lbf": 4.4482216152605}, (0.1, 10_000.0), "20 N")] | None = (
        Field(
            None,
            description="The pull that the piece should hold, in N or lbf; 20 N when left out, a firm tug.",
            examples=["20 N"],
        )
    )


PricesBy = Annotated[dict[str, PriceField], Field(max_length=MOST_ENTRIES)]


class PricesTable(Table):
    """Prices, all of one currency; what is not given stays blank."""

    per_gram: Annotated[PricesBy, _BY_METAL] = Field(
        default={}, description="Wire by the gram, by its metal."
    )
    per_metre: PricesBy = Field(default={}, description="Wire by the metre, by the name of a ring size.")
    per_ring: PricesBy = Field(default={}, description="Ready rings, by the name of a ring size.")
    per_bag: PricesBy = Field(
        default={}, description="Bags of ready rings, by the name of a ring size; bench.bag says how many."
    )
    each: PricesBy = Field(default={}, description="Findings by name, without their beads.")
    bead: PricesBy = Field(default={}, description="A bead, by the name of the finding that it is on.")
    per_hour: PriceField | None = Field(None, description="What an hour of work is worth.")
    overhead: Percent | None = Field(None, description="Added to material and work, in percent.")
    markup: Annotated[float, number_in(0.1, 100.0, "a factor")] | None = Field(
        None, description="From cost to price, as a factor."
    )


class OwnedTable(SizeTable):
    """Ready rings at hand."""

    count: Annotated[int, whole_in(0, 10_000_000, "a whole number of rings")] = Field(
        description="How many there are."
    )
    metal: MetalName | None = Field(None, description="Their metal; any when left out.")


class ClassroomTable(Table):
    """A class that makes the piece: a kit for each student."""

    students: Annotated[int, whole_in(1, 10_000, "a whole number of students")] = Field(
        description="How many students."
    )
    spare: Percent | None = Field(None, description="Spare parts shared by all, in percent; 5 when left out.")
    for_teacher: Annotated[int, whole_in(0, 1000, "a whole number of kits")] | None = Field(
        None, description="Kits for those who teach; 1 when left out."
    )


class SheetTable(Table):
    """The maker's sheet."""

    units: Literal["metric", "inch", "both"] | None = Field(
        None, description="Its units; both when left out."
    )
    hand_out: bool | None = Field(
        None,
        strict=True,
        description="Whether it is for others, a class or who buys a kit: then without prices, rings at "
        "hand and the order of a class; false when left out.",
    )
    paper: Literal["A4", "Letter"] | None = Field(None, description="Its paper; A4 when left out.")


BenchKey = Annotated[BenchTable | None, Field(description="How you make rings.")]
PricesKey = Annotated[PricesTable | None, Field(description="What material and work cost.")]
OwnedKey = Annotated[
    list[OwnedTable] | None, Field(max_length=MOST_ENTRIES, description="Ready rings at hand, as [[owned]].")
]
ClassroomKey = Annotated[ClassroomTable | None, Field(description="A class that makes the piece.")]
SheetKey = Annotated[SheetTable | None, Field(description="The maker's sheet.")]


class SettingsTable(Table):
    """Settings of a bench: what does not change from design to design."""

    bench: BenchKey = None
    prices: PricesKey = None
    owned: OwnedKey = None
    classroom: ClassroomKey = None
    sheet: SheetKey = None


SETTINGS = FileKind(
    whole="the settings",
    file="a settings file",
    root=SettingsTable,
    lists={
        "trials": "trial coils as [[bench.trials]]",
        "owned": "rings at hand as [[owned]] with count = 100",
    },
)
"""The settings file in messages."""
