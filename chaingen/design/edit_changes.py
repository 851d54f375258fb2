"""The changes that can be made to a design's text, and their form as JSON.

A path names keys and places in lists that count from 0: ``("pattern", "groups", 0, "ring")``.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chaingen.design.edit_spans import Path
from chaingen.design.pattern_schema import EXTENTS, GROUP_KINDS
from chaingen.errors import BadInput, Problem
from chaingen.findings.catalogue import KINDS
from chaingen.tables import key, meant, one_of, shown

MOST_CHANGES = 100
"""Most changes at once."""

MOST_PARTS = 12
"""Most parts of a path."""

MOST_DEPTH, MOST_VALUES = 8, 3000
"""How deep a value may be nested, and how many values may be in it."""

MOST_TEXT = 4000
"""Most characters of one text."""

MOST_PLACE = 1_000_000
"""Highest place in a list."""

ENDS = ("start", "end")
"""The ends of a piece."""


@dataclass(frozen=True, slots=True)
class Set:
    """A key, or an entry of a list, says this; it is made where it is not there."""

    at: Path
    value: Any


@dataclass(frozen=True, slots=True)
class Remove:
    """A key, a table or an entry of a list goes; nothing happens where it is not there."""

    at: Path


@dataclass(frozen=True, slots=True)
class Insert:
    """A new entry of a list, before the one that has this place; the list is made where there is none."""

    at: Path
    value: Any


@dataclass(frozen=True, slots=True)
class Move:
    """An entry of a list goes to another place, counted after it is taken out."""

    at: Path
    to: int


@dataclass(frozen=True, slots=True)
class PutGroup:
    """A group says this; what is left out stays as it is.

    Attributes:
        at: The group.
        kind: One of ``side_by_side``, ``rosette``, ``join``, ``finding``.
        count: How many rings.
        ring: Name of the ring size.
        finding: Name of the finding, for that kind.
    """

    at: Path
    kind: str
    count: int | None = None
    ring: str | None = None
    finding: str | None = None


@dataclass(frozen=True, slots=True)
class Extent:
    """How long the piece is, in place of whatever says it so far: a number of repeats, or a length."""

    kind: str
    value: int | str


@dataclass(frozen=True, slots=True)
class Closed:
    """A closed loop or an open run.

    What cannot be in a closed loop goes: ends, first, last, strands, scenes that need two ends.
    """

    value: bool


@dataclass(frozen=True, slots=True)
class PutEnd:
    """A kind of finding at an end, with what joins it to the piece; None takes it off."""

    which: str
    kind: str | None


@dataclass(frozen=True, slots=True)
class PutSize:
    """Inside diameter, wire, metal of a ring size; what is None stays. It is made where there is none.

    Attributes:
        name: The ring size.
        inside: Inside diameter as written.
        wire: Wire as written.
        metal: A metal of its own.
        no_metal: Whether it loses a metal of its own, for that of the design.
    """

    name: str
    inside: str | None = None
    wire: str | None = None
    metal: str | None = None
    no_metal: bool = False


@dataclass(frozen=True, slots=True)
class PutMetal:
    """The metal of the design."""

    value: str


@dataclass(frozen=True, slots=True)
class PutTitle:
    """The title of the design."""

    value: str


Change = Set | Remove | Insert | Move | PutGroup | Extent | Closed | PutEnd | PutSize | PutMetal | PutTitle
"""A change of a design's text."""


def place_of(path: Path) -> str:
    """A path in the words of a `Problem`: places in lists count from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{key(part)}" if text else key(part)
    return text or "the design"


# From JSON

_FIELDS: dict[str, tuple[set[str], set[str]]] = {
    "set": ({"at", "value"}, set()),
    "remove": ({"at"}, set()),
    "insert": ({"at", "value"}, set()),
    "move": ({"at", "to"}, set()),
    "group": ({"at", "kind"}, {"count", "ring", "finding"}),
    "extent": ({"kind", "value"}, set()),
    "closed": ({"value"}, set()),
    "end": ({"which", "kind"}, set()),
    "size": ({"name"}, {"inside", "wire", "metal"}),
    "metal": ({"value"}, set()),
    "title": ({"value"}, set()),
}
"""The fields that each change must have, and those that it may have."""


def changes_from(data: object) -> list[Change]:
    """Several changes from their JSON form.

    Raises:
        BadInput: It is no list of changes, with every problem; or there are more than `MOST_CHANGES`.
    """
    if not isinstance(data, list):
        raise _bad("changes", shown(data), "a list of changes")
    if len(data) > MOST_CHANGES:
        raise _bad("changes", f"{len(data):,} changes", f"at most {MOST_CHANGES}")
    return [change_from(entry, where=f"changes[{number}]") for number, entry in enumerate(data, start=1)]


def change_from(data: object, *, where: str = "change") -> Change:
    """A change from its JSON form, a table whose ``do`` says which it is.

    Args:
        data: What JSON said.
        where: What to call it in messages.

    Raises:
        BadInput: It is no change, or too deep or too long.

    Example:
        >>> from chaingen.design.edit_changes import change_from
        >>> change_from({"do": "set", "at": ["rings", "link", "wire"], "value": "18 AWG"})
        Set(at=('rings', 'link', 'wire'), value='18 AWG')
    """
    if not isinstance(data, dict):
        raise _bad(where, shown(data), "a change, which is a table")
    do = data.get("do")
    if not isinstance(do, str) or do not in _FIELDS:
        raise _bad(f"{where}.do", shown(do), one_of(_FIELDS), meant(do, _FIELDS))
    needed, more = _FIELDS[do]
    for name in data:
        if name not in needed | more | {"do"}:
            known = [*sorted(needed | more)]
            raise _bad(f"{where}.{key(str(name))}", "an unknown key", one_of(known), meant(name, known))
    for name in sorted(needed - set(data)):
        raise _bad(f"{where}.{name}", "nothing", "this key, which cannot be left out")
    return _change(do, data, where)


def _change(do: str, data: Mapping[str, Any], where: str) -> Change:
    at = _path(data["at"], f"{where}.at") if "at" in data else ()

    def text(name: str) -> str:
        return _text(data[name], f"{where}.{name}")

    def maybe(name: str) -> str | None:
        return None if data.get(name) is None else text(name)

    match do:
        case "set" | "insert":
            _judge_value(data["value"], f"{where}.value")
            if do == "set":
                return Set(at, data["value"])
            if not isinstance(at[-1], int):
                raise _bad(f"{where}.at", shown(at[-1]), "a path that ends with a place in a list")
            return Insert(at, data["value"])
        case "remove":
            return Remove(at)
        case "move":
            if not isinstance(at[-1], int):
                raise _bad(f"{where}.at", shown(at[-1]), "a path that ends with a place in a list")
            return Move(at, _whole(data["to"], f"{where}.to", MOST_PLACE))
        case "group":
            kind = _choice(data["kind"], GROUP_KINDS, f"{where}.kind")
            count = None if data.get("count") is None else _whole(data["count"], f"{where}.count", MOST_PLACE)
            return PutGroup(at, kind, count, maybe("ring"), maybe("finding"))
        case "extent":
            kind = _choice(data["kind"], EXTENTS, f"{where}.kind")
            if kind == "repeat":
                return Extent(kind, _whole(data["value"], f"{where}.value", MOST_PLACE))
            return Extent(kind, text("value"))
        case "closed":
            if not isinstance(data["value"], bool):
                raise _bad(f"{where}.value", shown(data["value"]), "true or false")
            return Closed(data["value"])
        case "end":
            which = _choice(data["which"], ENDS, f"{where}.which")
            if data["kind"] is None:
                return PutEnd(which, None)
            return PutEnd(which, _choice(data["kind"], tuple(KINDS), f"{where}.kind"))
        case "size":
            gone = "metal" in data and data["metal"] is None
            return PutSize(text("name"), maybe("inside"), maybe("wire"), maybe("metal"), gone)
        case "metal":
            return PutMetal(text("value"))
    return PutTitle(text("value"))


def _bad(where: str, got: str, expected: str, advice: str = "") -> BadInput:
    return BadInput([Problem(where, got, expected, advice)])


def _path(value: object, where: str) -> Path:
    if not isinstance(value, list) or not 0 < len(value) <= MOST_PARTS:
        raise _bad(where, shown(value), f"a path, which is a list of 1 to {MOST_PARTS} keys and places")
    parts: list[str | int] = []
    for number, part in enumerate(value, start=1):
        if isinstance(part, str):
            parts.append(_text(part, f"{where}[{number}]"))
        else:
            parts.append(_whole(part, f"{where}[{number}]", MOST_PLACE))
    if not isinstance(parts[0], str):
        raise _bad(f"{where}[1]", shown(value[0]), "a key of the design")
    return tuple(parts)


def _text(value: object, where: str) -> str:
    if not isinstance(value, str) or len(value) > MOST_TEXT or not _encodes(value):
        raise _bad(where, shown(value), f"text of up to {MOST_TEXT:,} characters")
    return value


def _encodes(text: str) -> bool:
    """Whether a text is one that a file can hold: JSON can say halves of characters."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


def _whole(value: object, where: str, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= most:
        raise _bad(where, shown(value), f"a whole number, 0 to {most:,}")
    return value


def _choice(value: object, choices: Sequence[str], where: str) -> str:
    if not isinstance(value, str) or value not in choices:
        raise _bad(where, shown(value), one_of(choices), meant(value, choices))
    return value


def _judge_value(value: object, where: str) -> None:
    """Whether a value can stand in a design: texts, numbers, true and false, lists and tables of them."""
    count, level = 0, [value]
    for _ in range(MOST_DEPTH):
        deeper: list[object] = []
        for one in level:
            count += 1
            if isinstance(one, dict):
                deeper += one.values()
                for name in one:
                    _text(name, where)
            elif isinstance(one, list):
                deeper += one
            elif isinstance(one, str):
                _text(one, where)
            elif isinstance(one, float) and not math.isfinite(one):
                raise _bad(where, str(one), "a number that is finite")
            elif isinstance(one, int) and abs(one) >= 2**63:
                raise _bad(where, shown(one), "a smaller number")
            elif not isinstance(one, bool | int | float):
                raise _bad(where, shown(one), "text, a number, true or false, or a list or table of them")
            if count > MOST_VALUES:
                raise _bad(where, "too many values", f"at most {MOST_VALUES:,}")
        level = deeper
        if not level:
            return
    raise _bad(where, "values nested too deeply", f"at most {MOST_DEPTH} levels")
