"""The keys about a service that makes the piece from its model: its limits, and what is prepared for it."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo

from chaingen.design.metal_schema import COLOURS, spelt
from chaingen.design.service import Axes, Layout, Route, Service, Sprues, usual_service
from chaingen.design.service_names import process_advice, process_choice
from chaingen.stock.metals import find_metal
from chaingen.stock.processes import PROCESSES, Process
from chaingen.tables import WIRE_LIMITS, Line, Table, length_in, number_in, shown, wrong

MOST_GAP = 10.0
"""Largest gap that is asked for [mm]."""

BUILD_LIMITS = 1.0, 10_000.0
"""Sides of what can be built that are accepted [mm]."""

MOST_SHRINKAGE = 20.0
"""Largest shrinkage that is accepted [percent]."""

MOST_FINISHING = 1.0
"""Most that finishing takes off the thickness of a wire [mm]."""

MOST_CUT = 100.0
"""Widest cut, and opening, that are read [mm]; the rings set a narrower limit."""

MOST_SPACING = 20.0
"""Most room between loose rings [mm]."""

MOST_SPARE = 200.0
"""Most spare loose rings [percent]."""

FEED_LIMITS = 0.3, 3.0
"""A feeder's section over that of its wire."""

FEEDER_LIMITS = 0.2, 30.0
"""Free lengths of feeders [mm]."""

ANGLE_LIMITS = 20.0, 90.0
"""Angles between feeder and main [degrees]."""

MAIN_LIMITS, BUTTON_LIMITS = (0.5, 100.0), (1.0, 200.0)
"""Diameters of a main and of a button [mm]."""

MOST_SOLDERED = 1000
"""Most pairs of bodies that are soldered."""

MOST_METALS = 60
"""Most metals that have a shrinkage."""


def _only(goes: Callable[[Process], bool], reason: str) -> BeforeValidator:
    """The validator that refuses a key which says nothing of a process; `reason` follows its name."""

    def read(value: Any, info: ValidationInfo) -> Any:
        process = PROCESSES.get(info.data.get("process", ""))
        if process is not None and not goes(process):
            raise wrong(f"this key left out: {process.name} {reason}")
        return value

    return BeforeValidator(read)


_ASSEMBLED = _only(lambda process: process.assembled, "have no gap between them")
_IN_ONE = _only(lambda process: process.assembled, "are made one by one")
_CASTING = _only(lambda process: process.casts, "is no casting process")
_LOOSE = _only(lambda process: not process.assembled, "makes the piece with all parts in their places")


def _read_process(value: object) -> object:
    """The name of a process."""
    if isinstance(value, str) and value in PROCESSES:
        return value
    raise wrong(process_choice(), process_advice(value))


def _read_build(value: object) -> object:
    """Three lengths; what each says is judged with it."""
    if isinstance(value, list) and len(value) != 3:
        raise wrong('width, depth and height, such as ["100 mm", "100 mm", "100 mm"]')
    return value


# Shrinkage

_SHRINKAGE = f"a percentage, 0 to {MOST_SHRINKAGE:g}"

_PerCent = Annotated[float, Field(ge=0.0, le=MOST_SHRINKAGE)]
_PerAxis = Annotated[list[_PerCent], Field(min_length=3, max_length=3)]


def _read_axes(value: object) -> Axes:
    """Shrinkage along x, y and z as parts, from one percentage or three."""
    if isinstance(value, tuple):
        return value  # it has been read already
    every: list[Any] = value if isinstance(value, list) else [value] * 3
    for one in every:
        if isinstance(one, bool) or not isinstance(one, int | float) or not 0.0 <= one <= MOST_SHRINKAGE:
            got = f", not {shown(one)}" if isinstance(value, list) else ""
            raise wrong(f"{_SHRINKAGE}, such as 2, or three of x, y and z, such as [2, 2, 2.5]{got}")
    if len(every) != 3:
        raise wrong(f"one percentage or three, of x, y and z, such as [2, 2, 2.5], not {len(every)}")
    x, y, z = (float(one) / 100.0 for one in every)
    return x, y, z


_AxesField = Annotated[Axes, BeforeValidator(_read_axes, json_schema_input_type=_PerCent | _PerAxis)]


def _by_metal(value: object) -> object:
    """A shrinkage of all metals as one by metals, under the empty name."""
    if not isinstance(value, dict):
        return {"": _read_axes(value)}
    if not value or "" in value:
        raise wrong(f'{_SHRINKAGE}, or a table by names of metals, such as {{ "sterling silver" = 2 }}')
    return value


def _known_names(table: Mapping[str, Axes], info: ValidationInfo) -> dict[str, Axes]:
    """Each metal under the name that it is known by; whether the design names it is told with the piece."""
    coloured = {spelt(name): name for name in (info.context or {}).get(COLOURS, ())}
    found: dict[str, Axes] = {}
    for name, axes in table.items():
        metal = find_metal(name)
        known = metal.name if metal else coloured.get(spelt(name), name)
        if known in found:
            raise wrong(f"each metal once: {name[:60]!r} is {known}, which is there already")
        found[known] = axes
    return found


def _only_mould(value: Any, info: ValidationInfo) -> Any:
    """Refuse what shrinks in a mould where there is none."""
    if info.data.get("route", Route.RUBBER_MOULD) != Route.RUBBER_MOULD:
        raise wrong('this key left out, or route = "rubber mould" above it: the pattern itself is burnt out')
    return value


# Soldered bodies and sprues


def _read_pair(value: object) -> object:
    """Two names of bodies; that they are text is judged with each."""
    if isinstance(value, list) and len(value) != 2:
        raise wrong('two bodies, such as ["1a", "1b"]')
    return value


def _two_bodies(pair: list[str]) -> list[str]:
    if pair[0] == pair[1]:
        raise wrong(f'two different bodies, such as ["1a", "1b"], not {pair[0]} twice')
    return pair


class SpruesTable(Table):
    """Sprues: the channels through which metal flows to the pieces."""

    feed: Annotated[float, number_in(*FEED_LIMITS)] | None = Field(
        None,
        description="The section of a feeder over that of the wire it feeds, by area; 1 when left out, 0.7 "
        "to 1.5 is common practice.",
    )
    length: Annotated[float, length_in(FEEDER_LIMITS)] | None = Field(
        None,
        description="Free length of a feeder between main and piece; of an assembled piece the least. 3 mm "
        "when left out.",
        examples=["3 mm"],
    )
    angle: Annotated[float, number_in(*ANGLE_LIMITS, "degrees, without a unit")] | None = Field(
        None,
        description="Of a tree: between a feeder and the main, away from the button, in degrees; 60 when "
        "left out.",
    )
    main: Annotated[float, length_in(MAIN_LIMITS)] | None = Field(
        None,
        description="Diameter of the main, or of the runners of a sheet, thicker than any feeder; twice the "
        "thickest feeder, and 4 mm at the least, when left out.",
        examples=["5 mm"],
    )
    button: Annotated[float, length_in(BUTTON_LIMITS)] | None = Field(
        None,
        description="Diameter of the button that the main stands on, thicker than the main; two and a half "
        "times the main when left out.",
        examples=["12 mm"],
    )


def _has_sprues(value: Any, info: ValidationInfo) -> Any:
    """Refuse sprues of rings that lie on a sheet each by itself."""
    process = PROCESSES.get(info.data.get("process", ""))
    if process is None or process.assembled or "layout" not in info.data:
        return value
    if info.data["layout"] in (None, Layout.FLAT):
        raise wrong('this key left out, or layout = "flat sheet with sprues" or "tree" above it')
    return value


# The table


class ServiceTable(Table):
    """A print or casting process that makes the piece from its model; limits left out are the usual ones."""

    process: Annotated[
        Literal["resin", "powder", "filament", "wax pattern for casting", "loose rings for casting"],
        BeforeValidator(_read_process),
    ] = Field(
        description="What makes it: the first four make the piece with all its parts in their places, the "
        "last one rings to link by hand."
    )
    smallest_wire: Annotated[float, length_in(WIRE_LIMITS)] | None = Field(
        None,
        description="The thinnest wire that it makes; the usual one of the process when left out.",
        examples=["0.8 mm"],
    )
    smallest_gap: Annotated[float, length_in((0.0, MOST_GAP)), _ASSEMBLED] | None = Field(
        None,
        description="Gap of moving parts below which they fuse, the full distance between two surfaces; the "
        "usual one of the process when left out. Not of loose rings.",
        examples=["0.4 mm"],
    )
    build: (
        Annotated[
            list[Annotated[float, length_in(BUILD_LIMITS)]],
            Field(min_length=3, max_length=3),
            BeforeValidator(_read_build),
        ]
        | None
    ) = Field(
        None,
        description="Width, depth and height that it can build; the usual ones when left out.",
        examples=[["100 mm", "100 mm", "100 mm"]],
    )
    open_up: Annotated[bool, Field(strict=True), _ASSEMBLED] = Field(
        True,
        description="Whether parts are placed with that gap where they have the room; true by default. Not "
        "of loose rings.",
    )
    route: Annotated[Literal["direct", "rubber mould"], _CASTING] = Field(
        "direct",
        description="Of casting, how a pattern becomes metal: itself burnt out (direct, by default), or "
        "moulded in rubber, waxes from which are burnt out.",
    )
    shrinkage: (
        Annotated[
            dict[str, _AxesField],
            Field(max_length=MOST_METALS),
            AfterValidator(_known_names),
            BeforeValidator(
                _by_metal,
                json_schema_input_type=_PerCent | _PerAxis | dict[str, _PerCent | _PerAxis],
            ),
        ]
        | None
    ) = Field(
        None,
        description="What is smaller than what it is made from, in percent of that: one number, three of x, "
        "y and z, or either by names of metals and colours. When left out, the usual one of the metal in "
        "casting, where one is known, and none in printing.",
        examples=[2.0, [2.0, 2.0, 2.5], {"sterling silver": 2.0}],
    )
    mould_shrinkage: Annotated[_AxesField, BeforeValidator(_only_mould), _CASTING] | None = Field(
        None,
        description="With a rubber mould: what a wax from it is smaller than the pattern, in percent, one "
        "number or three of x, y and z; 1.75 when left out.",
        examples=[1.75],
    )
    finishing: Annotated[float, length_in((0.0, MOST_FINISHING))] | None = Field(
        None,
        description="What filing and polishing take off the thickness of a wire, for which it is made "
        "thicker; nothing when left out.",
        examples=["0.1 mm"],
    )
    cut: Annotated[float, length_in((0.0, MOST_CUT)), _LOOSE] | None = Field(
        None,
        description="Of loose rings: width of the cut along the middle of the wire, which is narrower at the "
        'inside of the ring; 0.6 mm when left out, "0 mm" for closed rings.',
        examples=["0.6 mm"],
    )
    opened: Annotated[float, length_in((0.0, MOST_CUT)), _LOOSE] | None = Field(
        None,
        description="Of loose rings: how far their ends are twisted apart, sideways, from middle to middle "
        "of the wire; not at all when left out.",
        examples=["1.5 mm"],
    )
    layout: Annotated[Literal["flat sheet", "flat sheet with sprues", "tree"], _LOOSE] | None = Field(
        None,
        description="Of loose rings: each by itself on a flat sheet (when left out), on a flat sheet along "
        "runners that end in a button, or round a main that stands on a button.",
    )
    spacing: Annotated[float, length_in((0.0, MOST_SPACING)), _LOOSE] | None = Field(
        None,
        description="Of loose rings: the least room between them as laid out; 1 mm when left out.",
        examples=["1 mm"],
    )
    spare: Annotated[float, number_in(0.0, MOST_SPARE, "a percentage"), _LOOSE] | None = Field(
        None, description="Of loose rings: how many more than needed, in percent; 5 when left out."
    )
    soldered: (
        Annotated[
            list[
                Annotated[
                    list[Line],
                    Field(min_length=2, max_length=2),
                    AfterValidator(_two_bodies),
                    BeforeValidator(_read_pair),
                ]
            ],
            Field(max_length=MOST_SOLDERED),
            _IN_ONE,
        ]
        | None
    ) = Field(
        None,
        description="Of a piece in one: pairs of bodies by name that are joined where they are nearest; none "
        "when left out.",
        examples=[[["1a", "1b"]]],
    )
    sprues: Annotated[SpruesTable, BeforeValidator(_has_sprues), _CASTING] | None = Field(
        None,
        description="Of casting: the channels through which metal flows. Usual ones when left out of a "
        "layout with sprues; none when left out of a piece in one.",
    )


ServiceKey = Annotated[
    ServiceTable | None,
    Field(description="A print or casting process that makes the piece from its model."),
]

_AS_IS = ("smallest_wire", "open_up", "mould_shrinkage", "finishing", "cut", "opened", "spacing")
"""Keys whose value goes into the record as it is."""


def service_of(table: ServiceTable) -> Service:
    """The service that a table says, with the usual limits of its process where it says none."""
    said: dict[str, Any] = {name: value for name in _AS_IS if (value := getattr(table, name)) is not None}
    if table.smallest_gap is not None:
        # Whoever knows their service's own limit needs no reserve beyond it.
        said |= {"smallest_gap": table.smallest_gap, "safe_gap": table.smallest_gap}
    if table.build is not None:
        said["build"] = tuple(table.build)
    if table.shrinkage is not None:
        said["shrinkage"] = tuple(table.shrinkage.items())
    if table.layout is not None:
        said["layout"] = Layout(table.layout)
    if table.spare is not None:
        # As it is written in decimals: as floats 1.1 / 100 is a little more than 0.011.
        said["spare"] = float(Decimal(repr(table.spare)) / 100)
    if table.soldered is not None:
        said["soldered"] = tuple((first, second) for first, second in table.soldered)
    if table.sprues is not None:
        own = {name: value for name, value in table.sprues if value is not None}
        said["sprues"] = Sprues(**own)
    elif said.get("layout", Layout.FLAT) is not Layout.FLAT:
        said["sprues"] = Sprues()
    usual = usual_service(PROCESSES[table.process])
    assumed = tuple(name for name in usual.assumed if name not in said)
    return replace(usual, **said, route=Route(table.route), assumed=assumed)
