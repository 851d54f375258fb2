"""Where in a design's text everything stands: every key, value, list entry and table by its offsets.

Only for text that `tomllib` reads, so nothing is judged here. Offsets are in characters from the beginning of
the text; a span is half open. A line ends with a line feed.
"""

import re
import tomllib
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'",
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}#\r\n]*")

Path = tuple[str | int, ...]
"""Keys, and places in lists from 0."""


class Form(Enum):
    """How a thing is written."""

    VALUE = "a value"
    LIST = "a list"
    INLINE = "a table on one line"
    TABLE = "a table"
    TABLES = "tables one after the other"


@dataclass(slots=True)
class Spot:
    """Where a thing stands.

    Attributes:
        form: How it is written.
        at: Where its key, its header or the entry of a list begins.
        start: Where its value begins, of a table its header.
        end: Where that ends.
        key: The span of its key, the last part of it where there are several; empty of entries.
        own: Whether it is a line, or several, in the table that holds it: no table with a header.
        headed: Whether a table has a header, or is the outermost.
        prefix: How a table without header, made by keys with dots, is written before a dot.
        after: Where the last of its own lines ends, the line feed included; -1 where it has none.
        members: What is in a table.
        entries: What is in a list.
    """

    form: Form
    at: int
    start: int
    end: int
    key: tuple[int, int] = (0, 0)
    own: bool = False
    headed: bool = False
    prefix: str = ""
    after: int = -1
    members: dict[str, "Spot"] = field(default_factory=dict)
    entries: list["Spot"] = field(default_factory=list)


class Header(NamedTuple):
    """A header: where its line begins, and the table that it opens."""

    line: int
    path: Path


@dataclass(slots=True)
class Spots:
    """Everything in a text.

    Attributes:
        root: The outermost table.
        headers: All headers in order.
    """

    root: Spot
    headers: list[Header]

    def find(self, path: Path) -> Spot | None:
        """What stands at a path; None when nothing does."""
        spot: Spot | None = self.root
        for part in path:
            if spot is None:
                return None
            if isinstance(part, str):
                spot = spot.members.get(part)
            else:
                spot = spot.entries[part] if 0 <= part < len(spot.entries) else None
        return spot


def line_start(text: str, at: int) -> int:
    """Where the line begins that an offset is in."""
    return text.rfind("\n", 0, at) + 1


def line_end(text: str, at: int) -> int:
    """Where the line ends that an offset is in, its line feed included."""
    found = text.find("\n", at)
    return len(text) if found < 0 else found + 1


def spots_of(text: str) -> Spots:
    """Where everything stands in a text that is TOML."""
    reader = _Reader(text)
    reader.read()
    return Spots(reader.root, reader.headers)


class _Key(NamedTuple):
    name: str
    start: int
    end: int


class _Reader:
    def __init__(self, text: str) -> None:
        self.text = text
        self.root = Spot(Form.TABLE, 0, 0, 0, headed=True)
        self.headers: list[Header] = []

    def read(self) -> None:
        here, at = self.root, _BLANK.match(self.text, 0).end()  # type: ignore[union-attr]
        while at < len(self.text):
            if self.text[at] == "[":
                here, at = self._header(at)
            else:
                at = self._line(here, at)
            at = self._blank(at)

    def _blank(self, at: int) -> int:
        found = _BLANK.match(self.text, at)
        assert found is not None
        return found.end()

    def _space(self, at: int) -> int:
        found = _SPACE.match(self.text, at)
        assert found is not None
        return found.end()

    def _keys(self, at: int) -> tuple[list[_Key], int]:
        """The parts of a key with dots, and where what follows it begins."""
        keys = []
        while True:
            at = self._space(at)
            found = (_STRING if self.text[at] in "\"'" else _BARE).match(self.text, at)
            assert found is not None, "text that is TOML"
            name = found[0]
            if name[0] in "\"'":
                name = tomllib.loads(f"k = {name}")["k"]
            keys.append(_Key(name, at, found.end()))
            at = self._space(found.end())
            if self.text[at] != ".":
                return keys, at
            at += 1

    def _header(self, at: int) -> tuple[Spot, int]:
        double = self.text.startswith("[[", at)
        keys, stop = self._keys(at + (2 if double else 1))
        stop += 2 if double else 1
        spot = self.root
        path: list[str | int] = []
        for key in keys[:-1]:
            path.append(key.name)
            spot = spot.members.setdefault(key.name, Spot(Form.TABLE, at, at, stop, (key.start, key.end)))
            if spot.form is Form.TABLES:
                path.append(len(spot.entries) - 1)
                spot = spot.entries[-1]
        last = keys[-1]
        path.append(last.name)
        fresh = Spot(Form.TABLE, at, at, stop, (last.start, last.end), headed=True)
        if double:
            rows = spot.members.setdefault(last.name, Spot(Form.TABLES, at, at, stop, (last.start, last.end)))
            path.append(len(rows.entries))
            rows.entries.append(fresh)
        else:
            known = spot.members.get(last.name)
            if known is not None:
                # Tables below it came first.
                fresh.members = known.members
            spot.members[last.name] = fresh
        fresh.after = line_end(self.text, stop)
        self.headers.append(Header(line_start(self.text, at), tuple(path)))
        return fresh, stop

    def _line(self, here: Spot, at: int) -> int:
        spot, stop = self._pair(here, at)
        here.after = line_end(self.text, spot.end)
        return stop

    def _pair(self, here: Spot, at: int) -> tuple[Spot, int]:
        """A key with its value into a table; what stands there, and where it ends."""
        keys, equals = self._keys(at)
        spot = self._value(self._space(equals + 1))
        spot.at, spot.key, spot.own = at, (keys[-1].start, keys[-1].end), True
        after = line_end(self.text, spot.end)
        for key in keys[:-1]:
            inner = here.members.get(key.name)
            if inner is None:
                prefix = self.text[at : key.end]
                inner = Spot(Form.TABLE, at, at, key.end, (key.start, key.end), own=True, prefix=prefix)
                here.members[key.name] = inner
            inner.after = max(inner.after, after)
            here = inner
        here.members[keys[-1].name] = spot
        return spot, spot.end

    def _value(self, at: int) -> Spot:
        sign = self.text[at]
        if sign == "[":
            return self._list(at)
        if sign == "{":
            return self._inline(at)
        found = (_STRING if sign in "\"'" else _PLAIN).match(self.text, at)
        assert found is not None, "text that is TOML"
        return Spot(Form.VALUE, at, at, at + len(found[0].rstrip(" \t")))

    def _list(self, start: int) -> Spot:
        spot = Spot(Form.LIST, start, start, start)
        at = self._blank(start + 1)
        while self.text[at] != "]":
            entry = self._value(at)
            spot.entries.append(entry)
            at = self._blank(entry.end)
            if self.text[at] == ",":
                at = self._blank(at + 1)
        spot.end = at + 1
        return spot

    def _inline(self, start: int) -> Spot:
        spot = Spot(Form.INLINE, start, start, start)
        at = self._blank(start + 1)
        while self.text[at] != "}":
            _, at = self._pair(spot, at)
            at = self._blank(at)
            if self.text[at] == ",":
                at = self._blank(at + 1)
        spot.end = at + 1
        return spot
