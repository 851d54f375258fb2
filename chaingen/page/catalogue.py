"""What the page offers to choose from: chains, pieces and weaves in pictures, metals, wires, findings."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from typing import Any

from chaingen.design.piece_starter import PIECES, starter_piece
from chaingen.design.starter import STARTERS, starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.errors import BadInput, Problem
from chaingen.findings.catalogue import KINDS
from chaingen.stock.gauges import awg_table, gauge_name, parse_wire, swg_table
from chaingen.stock.metals import METALS
from chaingen.stock.processes import PROCESSES
from chaingen.tables import meant, shown
from chaingen.units import MM_PER_INCH, format_mm
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.weave import Repeats

Data = dict[str, Any]

CHAIN, SHEET = "chain", "sheet"
"""The forms that entries make."""

GROUPS = (
    "Chains of groups",
    "Finished pieces",
    "Weaves that make a chain",
    "Weaves that make a sheet",
)
"""What the entries are listed under, in this order."""

THINNEST, THICKEST = 0.25, 4.2
"""Wires that are offered [mm]; others are typed."""

FINE_STEP, COARSE_STEP, FINE_UP_TO = 0.1, 0.25, 2.0
"""Steps of the round millimetre sizes among them, and up to where the finer one goes [mm]."""

FIRST = "two-in-one"
"""What the page opens with when no design is given."""


@dataclass(frozen=True, slots=True)
class Entry:
    """Something to start from.

    Attributes:
        name: Its name, each once.
        kind: ``chain`` of groups, finished ``piece`` or ``weave``.
        title: Its name as people write it.
        about: What it is, in a line.
        form: ``chain`` or ``sheet``.
        group: What it is listed under.
    """

    name: str
    kind: str
    title: str
    about: str
    form: str
    group: str

    @property
    def words(self) -> str:
        """Words to find it by."""
        found = re.findall(r"[a-z0-9]+", f"{self.name} {self.title} {self.about} {self.form}".lower())
        return " ".join(dict.fromkeys(found))


@cache
def entries() -> tuple[Entry, ...]:
    """Everything to start from; weaves that are chains of groups are listed as those."""
    found = [
        Entry(name, "chain", _title(name), starter.about, CHAIN, GROUPS[0])
        for name, starter in STARTERS.items()
    ]
    found += [
        Entry(name, "piece", _title(name), piece.about, CHAIN, GROUPS[1]) for name, piece in PIECES.items()
    ]
    weaves = [find_weave(name) for name in weave_names() if name not in STARTERS]
    for form, repeats, group in ((CHAIN, Repeats.CHAIN, GROUPS[2]), (SHEET, Repeats.SHEET, GROUPS[3])):
        found += [
            Entry(weave.name, "weave", weave.title, weave.about, form, group)
            for weave in weaves
            if weave.repeats is repeats
        ]
    return tuple(found)


def _title(name: str) -> str:
    """The title of a starter: of a chain that is known as a weave too the weave's."""
    return find_weave(name).title if name in weave_names() else name.replace("-", " ").capitalize()


def picture_name(name: str) -> str:
    """The file that an entry's picture is in, among the page's pictures."""
    return f"{name}.webp"


def session_data() -> Data:
    """What a page is told once, when it opens."""
    return {
        "version": version("chaingen"),
        "catalogue": [
            {
                "name": entry.name,
                "kind": entry.kind,
                "title": entry.title,
                "about": entry.about,
                "form": entry.form,
                "group": entry.group,
                "picture": f"/assets/pictures/{picture_name(entry.name)}",
                "words": entry.words,
            }
            for entry in entries()
        ],
        "metals": [{"name": metal.name, "colour": hexed(metal.colour)} for metal in METALS],
        "wires": wires(),
        "kinds": kinds(),
        "processes": [
            {"name": process.name, "assembled": process.assembled, "casts": process.casts}
            for process in PROCESSES.values()
        ],
        "first": {"text": starter(FIRST), "name": FIRST},
    }


@cache
def _wires() -> tuple[tuple[float, str], ...]:
    """Wires by diameter [mm] and as a design file writes them, thinnest first."""
    fine = round(FINE_UP_TO / FINE_STEP)
    coarse = round((THICKEST - FINE_UP_TO) / COARSE_STEP)
    round_sizes = [FINE_STEP * k for k in range(1, fine + 1)]
    round_sizes += [FINE_UP_TO + COARSE_STEP * k for k in range(1, coarse + 1)]
    texts = [f"{number} AWG" for number in awg_table() if number > 0]
    texts += [f"{number} SWG" for number in swg_table()]
    texts += [format_mm(size) for size in round_sizes]
    found = ((parse_wire(text), text) for text in texts)
    return tuple(sorted((mm, text) for mm, text in found if THINNEST <= mm <= THICKEST))


def wires() -> list[Data]:
    """Gauges and round millimetre sizes in the order of their thickness."""
    return [
        {
            "text": text,
            "mm": round(mm, 4),
            "inch": f"{mm / MM_PER_INCH:.4f} in",
            "gauge": gauge_name(mm) or None,
        }
        for mm, text in _wires()
    ]


def kinds() -> list[Data]:
    """The kinds of findings, and at which ends of a piece each can be."""
    from chaingen.design.edit import kinds_for_ends

    at_ends = kinds_for_ends()
    return [
        {
            "kind": kind.name,
            "about": kind.line,
            "ends": [end for end in ("start", "end") if kind.name in at_ends[end]],
        }
        for kind in KINDS.values()
    ]


OPTIONS = {
    "chain": (
        "inside", "wire", "metal", "title", "repeat", "length", "rosette", "clearance", "closed", "process",
    ),
    "piece": ("metal", "title", "repeat", "length", "rosette", "clearance", "process"),
    "weave": (
        "inside", "wire", "metal", "title", "repeat", "length", "columns", "rows", "outline", "hand",
        "clearance", "closed", "process",
    ),
}  # fmt: skip
"""What can be said with each kind of entry; the page says it by these names."""

_WHOLE, _FLAGS = ("repeat", "rosette", "columns", "rows"), ("closed",)
"""Options that are whole numbers, and those that are true or false; others are text."""


def starter(name: str, options: Mapping[str, Any] | None = None) -> str:
    """The text of a design to start from.

    Args:
        name: The name of an entry.
        options: What `OPTIONS` names; what is None counts as not given.

    Raises:
        BadInput: There is no such entry, or an option does not go with it, or is not of its type. Lengths and
            wires are judged when the text is read.
    """
    entry = next((entry for entry in entries() if entry.name == name), None)
    if entry is None:
        known = [entry.name for entry in entries()]
        raise BadInput([Problem("name", shown(name), f"one of {', '.join(known)}", meant(name, known))])
    given = {key: value for key, value in (options or {}).items() if value is not None}
    problems = [_option_problem(entry, key, value) for key, value in given.items()]
    if found := [problem for problem in problems if problem is not None]:
        raise BadInput(found)
    if entry.kind == "chain":
        return starter_design(name, **given)
    if entry.kind == "piece":
        return starter_piece(name, **given)
    return starter_weave(find_weave(name), **given)


def _option_problem(entry: Entry, key: str, value: Any) -> Problem | None:
    """What is wrong with an option by itself."""
    allowed = OPTIONS[entry.kind]
    if key not in allowed:
        return Problem(key, f"{key} for {entry.title}", f"one of {', '.join(allowed)}", meant(key, allowed))
    if key in _WHOLE:
        right, wanted = isinstance(value, int) and not isinstance(value, bool), "a whole number"
    elif key in _FLAGS:
        right, wanted = isinstance(value, bool), "true or false"
    else:
        right, wanted = isinstance(value, str), "text"
    return None if right else Problem(key, shown(value), wanted)


def hexed(colour: tuple[float, float, float]) -> str:
    """An sRGB colour, parts 0 to 1, as # and six digits."""
    return "#" + "".join(f"{round(255 * part):02x}" for part in colour)
