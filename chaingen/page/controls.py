"""What the page's controls show: the values of a design as its text has them, each with the way to it.

They are read from the text, so that they are there when the design has problems too; what only the design
knows, such as which sizes are used, is added where there is one.
"""

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from chaingen.design.design import Design
from chaingen.design.finding_keys import COLOURS
from chaingen.design.form import SCENES_OF, form_of
from chaingen.design.pattern_schema import (
    EXTENTS,
    GROUP_KINDS,
    MOST_GROUPS,
    MOST_JOINS,
    MOST_LENGTH,
    NECK_LIMITS,
    OUTLINE_LIMITS,
    WRIST_LIMITS,
)
from chaingen.design.scene import ROW_SCENES, SHEET_SCENES
from chaingen.design.schema import MOST_CLEARANCE, MOST_TOLERANCE, DesignTable
from chaingen.design.weaves import is_file, section_tables, size_of_role
from chaingen.errors import BadInput
from chaingen.page.boxes import (
    GAP_STEP,
    LENGTH_STEP,
    TOLERANCE_STEP,
    At,
    Data,
    box,
    inside_box,
    length_of,
    wire_box,
)
from chaingen.page.finding_boxes import finding_boxes
from chaingen.show.phrases import counted
from chaingen.stock.ease import EASES
from chaingen.stock.metals import find_metal, metal_names
from chaingen.tables import list_of, shown, table_of
from chaingen.weave.catalogue import find_weave
from chaingen.weave.pieces import weaves_of
from chaingen.weave.weave import Repeats, Weave

SLIDERS = {"length": (20.0, 600.0), "wrist": (100.0, 260.0), "neck": (280.0, 600.0)}
"""Where sliders of what says how long a chain is begin and end, unless it is longer [mm]."""

LIMITS = {"length": (0.0, MOST_LENGTH), "wrist": WRIST_LIMITS, "neck": NECK_LIMITS}
"""What is accepted of these [mm]."""

CLEARANCES, TOLERANCES = (0.0, 1.0), (0.0, 0.2)
"""Where sliders of clearance and tolerance begin and end [mm]."""


def controls_of(text: str, design: Design | None = None, repeat: int | None = None) -> Data | None:
    """What the controls show.

    Args:
        text: The text of a design.
        design: The design that it says; None where there are problems.
        repeat: The repeats that its length takes, where that is known.

    Returns:
        None where the text is no TOML.
    """
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError):
        return None
    pattern = table_of(data.get("pattern"))
    weave = _weave(pattern, design)
    form = _form(pattern, weave)
    metals = [*metal_names(), *table_of(data.get("colours"))]
    return {
        "title": {"at": ["title"], "value": _text(data.get("title"))},
        "metal": {"at": ["metal"], "value": _metal_name(_text(data.get("metal")))},
        "clearance": _gap_box(data, "clearance", MOST_CLEARANCE, CLEARANCES, GAP_STEP),
        "tolerance": _gap_box(data, "tolerance", MOST_TOLERANCE, TOLERANCES, TOLERANCE_STEP),
        "pair": data.get("pair") is True,
        "form": form,
        "closed": None if form in ("sheet", "sections") else pattern.get("form") == "closed loop",
        "weave": None if "weave" not in pattern else _weave_data(pattern, weave),
        "hand": _hand(pattern, weave),
        "sizes": _sizes(data, pattern, weave, design),
        "groups": list(_groups(data, pattern)),
        "extent": _extent(pattern, form, repeat),
        "sheet": _sheet(pattern) if form == "sheet" else None,
        "ends": _ends(data),
        "findings": _coloured(finding_boxes(table_of(data.get("findings")), metals)),
        "scenes": _scenes(form, design),
        "metal_names": metals,
        "roles": _roles(data, pattern, weave),
        "service": _text(table_of(data.get("service")).get("process")) or None,
    }  # fmt: skip


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _metal_name(said: str) -> str:
    """A metal by the name it has in the list to choose from, whatever the design calls it."""
    metal = find_metal(said)
    return said if metal is None else metal.name


def _coloured(findings: list[Data]) -> list[Data]:
    """Findings, each of their colours with the code that a picker of colours takes, where it is one."""
    for row in (row for finding in findings for row in finding["keys"] if row["at"][-1] == "colour"):
        said = " ".join(_text(row["value"]).lower().split())
        code = COLOURS.get(said, said)
        row["colour"] = code if re.fullmatch("#[0-9a-f]{6}", code) else "#000000"
    return findings


def _gap_box(
    data: Mapping[str, Any], name: str, most: float, slider: tuple[float, float], step: float
) -> Data:
    """Clearance or tolerance; where it is left out, what goes then."""
    extra = DesignTable.model_fields[name].json_schema_extra
    assert isinstance(extra, dict)
    return box([name], data.get(name, extra["default"]), (0.0, most), slider, step)


# Form and weave


def _weave(pattern: Mapping[str, Any], design: Design | None) -> Weave | None:
    """The weave that the pattern names, where it is known."""
    name = pattern.get("weave")
    if not isinstance(name, str):
        return None
    if design is not None and (found := weaves_of(design.piece)):
        return found[0]
    try:
        return None if is_file(name) else find_weave(name)
    except BadInput:
        return None


def _weave_data(pattern: Mapping[str, Any], weave: Weave | None) -> Data:
    name = _text(pattern["weave"])
    return {"name": name, "title": name if weave is None else weave.title}


def _form(pattern: Mapping[str, Any], weave: Weave | None) -> str:
    if "sections" in pattern:
        return "sections"
    if "weave" not in pattern:
        return "groups"
    sheet = pattern.get("form") == "sheet" if weave is None else weave.repeats is Repeats.SHEET
    return "sheet" if sheet else "chain"


def _hand(pattern: Mapping[str, Any], weave: Weave | None) -> str | None:
    """The hand of a weave that has one."""
    said = pattern.get("hand")
    if said in ("left", "right"):
        return str(said)
    return (weave.hand or None) if weave is not None else None


def _scenes(form: str, design: Design | None) -> list[str]:
    if design is not None:
        return [kind.value for kind in SCENES_OF[form_of(design.piece)]]
    return [kind.value for kind in (SHEET_SCENES if form == "sheet" else ROW_SCENES)]


# Ring sizes


def _sizes(
    data: Mapping[str, Any], pattern: Mapping[str, Any], weave: Weave | None, design: Design | None
) -> list[Data]:
    used = _used(data, pattern, weave, design)
    found = []
    for name, entry in table_of(data.get("rings")).items():
        table = table_of(entry)
        at: At = ["rings", name]
        inside, wire = length_of(table.get("inside")), length_of(table.get("wire"), wire=True)
        found.append(
            {
                "name": name,
                "inside": inside_box([*at, "inside"], table.get("inside"), wire),
                "wire": wire_box([*at, "wire"], table.get("wire")),
                "metal": _metal_name(_text(table.get("metal"))) or None,
                "used": name in used,
                "ratio": f"{inside / wire:.2f}" if inside and wire else None,
            }
        )
    return found


def _used(
    data: Mapping[str, Any], pattern: Mapping[str, Any], weave: Weave | None, design: Design | None
) -> set[str]:
    """The names of the ring sizes that something is made of."""
    if design is not None:
        return {size.name for size in design.piece.sizes()}
    names = {group["ring"] for group in _groups(data, pattern) if group["ring"] is not None}
    return names | {role["size"] for role in _roles(data, pattern, weave) if role["size"] is not None}


def _roles(data: Mapping[str, Any], pattern: Mapping[str, Any], weave: Weave | None) -> list[Data]:
    """The roles of the pattern's weave, each with the name of its ring size."""
    if weave is None:
        return []
    sizes = list(table_of(data.get("rings")))
    chosen = table_of(pattern.get("rings"))
    found = []
    for role in weave.roles:
        size = size_of_role(role.name, chosen, sizes)
        found.append(
            {
                "at": ["pattern", "rings", role.name],
                "name": role.name,
                "size": size if isinstance(size, str) else None,
            }
        )
    return found


# Groups


def _groups(data: Mapping[str, Any], pattern: Mapping[str, Any]) -> Iterator[Data]:
    """Every group of the design, in the order in which the piece has them."""
    sizes = list(table_of(data.get("rings")))
    only = sizes[0] if len(sizes) == 1 else None
    ends = table_of(data.get("ends"))
    lists: list[tuple[str, At, object, int]] = [
        ("ends", ["ends", "start", "joins"], table_of(ends.get("start")).get("joins"), MOST_JOINS)
    ]
    lists += [(key, ["pattern", key], pattern.get(key), MOST_GROUPS) for key in ("first", "groups")]
    for number, (_, section) in enumerate(section_tables(pattern)):
        lists.append(
            ("groups", ["pattern", "sections", number, "groups"], section.get("groups"), MOST_GROUPS)
        )
    lists.append(("last", ["pattern", "last"], pattern.get("last"), MOST_GROUPS))
    lists.append(("ends", ["ends", "end", "joins"], table_of(ends.get("end")).get("joins"), MOST_JOINS))
    kinds = {name: table_of(entry).get("kind") for name, entry in table_of(data.get("findings")).items()}
    for where, at, entries, most in lists:
        for number, entry in enumerate(list_of(entries, most)):
            yield _group(where, [*at, number], table_of(entry), only, kinds)


def _group(where: str, at: At, table: Mapping[str, Any], only: str | None, kinds: Mapping[str, Any]) -> Data:
    kind = next((kind for kind in GROUP_KINDS if kind in table), None)
    count = table.get(kind) if kind is not None and kind != "finding" else None
    count = count if isinstance(count, int) and not isinstance(count, bool) else None
    finding = _text(table.get("finding")) or None
    ring = None if kind == "finding" else _text(table.get("ring")) or only
    return {
        "at": at,
        "where": where,
        "kind": kind,
        "count": count,
        "ring": ring,
        "finding": finding,
        "turned": table.get("turned") is True,
        "words": _words(kind, count, finding, kinds),
    }


def _words(kind: str | None, count: int | None, finding: str | None, kinds: Mapping[str, Any]) -> str:
    """A group in words; empty where it is none."""
    if kind == "finding":
        of = kinds.get(finding or "")
        return f"{of} {finding!r}" if isinstance(of, str) else shown(finding)
    if kind is None or count is None:
        return ""
    if kind == "rosette":
        return f"a rosette of {counted(count, 'ring')}"
    if kind == "join":
        return f"{counted(count, 'ring')} that {'joins' if count == 1 else 'join'}"
    return counted(count, "ring") if count == 1 else f"{counted(count, 'ring')} side by side"


def _ends(data: Mapping[str, Any]) -> Data:
    """The findings at the ends."""
    kinds = table_of(data.get("findings"))
    found: Data = {}
    for end in ("start", "end"):
        name = table_of(table_of(data.get("ends")).get(end)).get("finding")
        kind = table_of(kinds.get(name)).get("kind") if isinstance(name, str) else None
        found[end] = (
            {"finding": name, "kind": kind if isinstance(kind, str) else None}
            if isinstance(name, str)
            else None
        )
    return found


# How long, how wide


def _extent(pattern: Mapping[str, Any], form: str, repeat: int | None) -> Data | None:
    """What says how long a chain is; nothing of sheets and sections."""
    if form in ("sheet", "sections"):
        return None
    kind = next((kind for kind in EXTENTS if kind in pattern), "repeat")
    at: At = ["pattern", kind]
    value = pattern.get(kind, 1)
    if kind == "repeat":
        number = value if isinstance(value, int) and not isinstance(value, bool) else None
        return {"kind": kind, "at": at, "value": value, "box": None, "repeat": number, "ease": None}
    low, high = SLIDERS[kind]
    mm = length_of(value) or 0.0
    slider = box(at, value, LIMITS[kind], (low, max(high, 2.0 * mm)), LENGTH_STEP)
    ease = _ease(pattern) if kind in ("wrist", "neck") else None
    return {"kind": kind, "at": at, "value": value, "box": slider, "repeat": repeat, "ease": ease}


def _ease(pattern: Mapping[str, Any]) -> Data:
    """How much longer than a wrist or neck, as written: a name or a length; empty where nothing is."""
    said = _text(pattern.get("ease"))
    name = " ".join(said.lower().split())
    return {"at": ["pattern", "ease"], "value": name if name in EASES else said, "choices": list(EASES)}


def _sheet(pattern: Mapping[str, Any]) -> Data:
    """Columns and rows of a sheet, or what it is cut to."""
    outline = pattern.get("outline")
    said = table_of(outline)
    shape = next((kind for kind in ("circle", "drop", "polygon") if kind in said), None)
    boxes = []
    if shape in ("circle", "drop"):
        lengths = [said[shape]] if shape == "circle" else list_of(said[shape], 2)
        for number, length in enumerate(lengths):
            at: At = ["pattern", "outline", shape, *([] if shape == "circle" else [number])]
            mm = length_of(length) or 20.0
            boxes.append(box(at, length, OUTLINE_LIMITS, (5.0, max(100.0, 2.0 * mm)), LENGTH_STEP))
    return {
        "columns": pattern.get("columns"),
        "rows": pattern.get("rows"),
        "outline": _outline(shape, said) if outline is not None else None,
        "shape": shape,
        "boxes": boxes,
    }


def _outline(shape: str | None, said: Mapping[str, Any]) -> str:
    """An outline in a word."""
    if shape is None:
        return ""
    if shape == "polygon":
        return f"polygon of {len(list_of(said[shape], 10_000))} corners"
    lengths = [said[shape]] if shape == "circle" else list_of(said[shape], 2)
    return f"{shape}:{','.join(str(length) for length in lengths)}"
