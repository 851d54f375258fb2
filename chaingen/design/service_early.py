"""What is wrong between the keys of a service and a piece where other problems leave no design to judge.

It is judged on what was written, as far as that can be read: every problem of a file is told at once. Only
what stays wrong however the rest is mended is told: rings that cannot be read yet add to what is known.
"""

from collections.abc import Mapping
from typing import Any

from pydantic import TypeAdapter, ValidationError

from chaingen.design.design import MAX_RINGS
from chaingen.design.finding_schema import FindingTable, finding_of
from chaingen.design.metal_schema import COLOURS, ColourTable, MetalName, MetalPatternTable
from chaingen.design.metals import colour_names, metal_of, palette_of, pattern_of
from chaingen.design.pattern_schema import EXTENTS, MOST_GROUPS, EndsTable, PatternTable
from chaingen.design.pieces import ends_of, piece_of
from chaingen.design.problems import group_lists
from chaingen.design.schema import MOST_FINDINGS, MOST_SIZES
from chaingen.design.service import Layout
from chaingen.design.service_problems import Judged, judged_problems
from chaingen.design.service_schema import FEED_LIMITS, MOST_SOLDERED, ServiceTable, service_of
from chaingen.design.weaves import Weaves, size_of_role, weave_tables
from chaingen.errors import Problem
from chaingen.findings.finding import Finding
from chaingen.stock.metals import Metal
from chaingen.stock.processes import PROCESSES
from chaingen.tables import SizeTable, list_of, table_of
from chaingen.weave.groups import RingSize, Run

_METAL: TypeAdapter[str] = TypeAdapter(MetalName)

_FINDING: TypeAdapter[Any] = TypeAdapter(FindingTable)


def early_service_problems(data: Mapping[str, Any], weaves: Weaves, *, fits: bool) -> list[Problem]:
    """What is wrong between the keys of a service and the piece, as far as they can be read.

    Args:
        data: The design file.
        weaves: The weaves that it names and that are to be had.
        fits: Whether all names in its pattern, and at its ends, are those of rings, findings and weaves.
    """
    written = table_of(data.get("service"))
    if not written:
        return []
    context = {COLOURS: colour_names(data)}
    table = _readable(written, context)
    if table is None:
        return []
    known = written.get("process") == table.process
    service = service_of(table)
    sizes, findings = _sizes(data), _findings(data, context)
    return judged_problems(
        Judged(
            service,
            pairs={} if known and not service.process.assembled else _pairs(written),
            metals=_metals(data, context),
            sizes=tuple(sizes.values()),
            used=_used(data, weaves, sizes),
            # Of a process that cannot be read it is not known whether findings are made by it too.
            findings=tuple(findings.values()) if known and service.process.assembled else (),
            run=_run(data, sizes, findings) if fits else None,
        )
    )


def _readable(written: Mapping[str, Any], context: dict[str, Any]) -> ServiceTable | None:
    """What can be read of a service, the rest of it left out.

    Where the process cannot be read, it is the one with which most of the keys go.
    """
    name = written.get("process")
    names = [name] if isinstance(name, str) and name in PROCESSES else list(PROCESSES)
    tables = (_without_wrong({**written, "process": one}, context) for one in names)
    read = [table for table in tables if table is not None]
    return max(read, key=lambda table: len(table.model_fields_set), default=None)


def _without_wrong(written: Mapping[str, Any], context: dict[str, Any]) -> ServiceTable | None:
    """What is left of a service without the keys that are wrong by themselves."""
    left = {name: dict(value) if isinstance(value, dict) else value for name, value in written.items()}
    while True:
        try:
            return ServiceTable.model_validate(left, context=context)
        except ValidationError as error:
            dropped = [_drop(left, entry["loc"]) for entry in error.errors(include_url=False)]
            if not any(dropped):
                return None


def _drop(table: dict[str, Any], place: tuple[int | str, ...]) -> bool:
    """Leave out what is wrong, or put there what makes nothing else wrong; whether something was done."""
    name = place[0] if place else None
    if not isinstance(name, str) or name not in table:
        return False
    inner = table[name]
    if name == "layout" and inner != Layout.TREE:
        table[name] = str(Layout.TREE)  # sprues go with it, which have no place without a layout
    elif len(place) > 1 and isinstance(inner, dict) and place[1] in inner:
        key = place[1]
        if name == "sprues" and key == "feed" and inner[key] != FEED_LIMITS[0]:
            inner[key] = FEED_LIMITS[0]  # the thinnest feeders
            return True
        del inner[key]
        if name == "sprues" and key == "main":
            inner.pop("button", None)  # it is judged by the main
    else:
        del table[name]
    return True


def _pairs(written: Mapping[str, Any]) -> dict[int, tuple[str, str]]:
    """The pairs of bodies to solder that can be read, by their number."""
    pairs = {}
    for number, pair in enumerate(list_of(written.get("soldered"), MOST_SOLDERED), start=1):
        if isinstance(pair, list) and len(pair) == 2 and all(isinstance(name, str) for name in pair):
            first, second = (name.strip() for name in pair)
            if first and second and first != second:
                pairs[number] = first, second
    return pairs


def _metals(data: Mapping[str, Any], context: dict[str, Any]) -> tuple[Metal, ...] | None:
    """The metals that the design names; None where one of them cannot be read."""
    tables = [*table_of(data.get("rings")).values(), *table_of(data.get("findings")).values()]
    names = [data.get("metal"), *(table_of(table).get("metal", data.get("metal")) for table in tables)]
    try:
        colours = {
            name: ColourTable.model_validate(colour) for name, colour in table_of(data.get("colours")).items()
        }
        palette = palette_of(colours)
        known = dict.fromkeys(_METAL.validate_python(name, context=context) for name in names)
        pattern = None
        if "metal_pattern" in data:
            table = MetalPatternTable.model_validate(data["metal_pattern"], context=context)
            pattern = pattern_of(table, palette)
    except ValidationError:
        return None
    metals = [metal_of(name, palette) for name in known]
    return tuple(dict.fromkeys([*metals, *(() if pattern is None else pattern.metals)]))


def _sizes(data: Mapping[str, Any]) -> dict[str, RingSize]:
    """The ring sizes that can be read, by name."""
    sizes = {}
    for name, written in list(table_of(data.get("rings")).items())[:MOST_SIZES]:
        own = {key: value for key, value in table_of(written).items() if key in SizeTable.model_fields}
        try:
            size = SizeTable.model_validate(own)
        except ValidationError:
            continue
        sizes[name] = RingSize(name, size.inside, size.wire)
    return sizes


def _findings(data: Mapping[str, Any], context: dict[str, Any]) -> dict[str, Finding]:
    """The findings that can be read and made, by name."""
    findings = {}
    for name, written in list(table_of(data.get("findings")).items())[:MOST_FINDINGS]:
        own = {key: value for key, value in table_of(written).items() if key != "metal"}
        try:
            made = finding_of(name, _FINDING.validate_python(own, context=context))
        except ValidationError:
            continue
        if isinstance(made, Finding):
            findings[name] = made
    return findings


def _used(data: Mapping[str, Any], weaves: Weaves, sizes: Mapping[str, RingSize]) -> tuple[RingSize, ...]:
    """The ring sizes that the pattern and the ends name."""
    every = list(table_of(data.get("rings")))
    only = every[0] if len(every) == 1 else None
    named: list[object] = []
    for _, groups in group_lists(data):
        tables = (table for table in list_of(groups, MOST_GROUPS) if isinstance(table, dict))
        named += [table.get("ring", only) for table in tables if "finding" not in table]
    for _, table in weave_tables(data):
        if weave := weaves.get(table["weave"]):
            chosen = table_of(table.get("rings"))
            named += [size_of_role(role.name, chosen, every) for role in weave.roles]
    return tuple(size for name, size in sizes.items() if name in named)


def _run(data: Mapping[str, Any], sizes: dict[str, RingSize], findings: dict[str, Finding]) -> Run | None:
    """The run that the design says, where its bodies are known already."""
    pattern = table_of(data.get("pattern"))
    # Without any ring size its names were not judged.
    unread = not sizes or len(sizes) != len(table_of(data.get("rings")))
    if unread or len(findings) != len(table_of(data.get("findings"))):
        return None
    if "groups" not in pattern or any(name in pattern for name in EXTENTS if name != "repeat"):
        return None
    try:
        table = PatternTable.model_validate(pattern)
        ends = EndsTable.model_validate(data["ends"]) if "ends" in data else None
    except ValidationError:
        return None
    piece, _ = piece_of(table, sizes, findings, {}, ends_of(ends, sizes, findings))
    return piece if isinstance(piece, Run) and piece.most_rings() <= MAX_RINGS else None
