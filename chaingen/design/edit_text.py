"""Steps on the text of a design: each changes the characters that it has to and no others.

Text goes in with line feeds alone and comes out so. A step takes a text that is TOML; what it cannot do there
it refuses with a `Problem`.
"""

import datetime
import re
from collections.abc import Mapping
from typing import Any

from chaingen.design.edit_changes import place_of
from chaingen.design.edit_entries import above, comments_of, insert_entry, without_entry
from chaingen.design.edit_spans import Form, Path, Spot, Spots, line_end, line_start, spots_of
from chaingen.design.finding_schema import TABLES
from chaingen.design.pattern_schema import EndTable, PatternTable, SectionTable
from chaingen.design.schema import DesignTable, RingTable, SceneTable
from chaingen.errors import BadInput, Problem
from chaingen.tables import Table, quoted, quoted_key

NAMED = ("rings", "findings", "colours", "ends")
"""The outermost tables whose entries have headers of their own, where people write them."""

_COMMENT = re.compile(r"([ \t]*,|)[ \t]*#[^\n]*")

WIDE = 100
"""Longer lists of tables are written a table a line."""


def refused(path: Path, got: str, expected: str, advice: str = "") -> BadInput:
    """The error of a change that cannot be made at a path."""
    return BadInput([Problem(place_of(path), got, expected, advice)])


# Values


def written(value: Any, *, literal: bool = False) -> str:
    """A value as TOML on one line.

    Args:
        value: Texts, numbers, true and false, dates, and lists and tables of them.
        literal: Whether to put a text in single quotes where it can be.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        if literal and "'" not in value and value.isprintable():
            return f"'{value}'"
        return quoted(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, Mapping):
        pairs = [f"{quoted_key(name)} = {written(one)}" for name, one in value.items()]
        return f"{{ {', '.join(pairs)} }}" if pairs else "{}"
    return f"[{', '.join(written(one) for one in value)}]"


def _line(name: str, value: Any) -> str:
    """A key with its value; a long list of tables has a line for each."""
    text = written(value)
    if isinstance(value, list) and len(text) > WIDE and any(isinstance(one, dict) for one in value):
        text = "[\n" + "".join(f"  {written(one)},\n" for one in value) + "]"
    return f"{name} = {text}\n"


# Setting


def set_value(text: str, path: Path, value: Any, now: Any) -> str:
    """The text with a value at a path.

    Args:
        text: The text.
        path: Where; what is missing on the way there is made.
        value: The value.
        now: What the text says there; `...` when nothing.
    """
    spot = spots_of(text).find(path)
    if spot is None:
        return _made(text, path, value)
    if _same(now, value):
        return text
    if isinstance(value, dict) and isinstance(now, dict):
        for name in now:
            if name not in value:
                text = remove(text, (*path, name))
        for name, one in value.items():
            text = set_value(text, (*path, name), one, now.get(name, ...))
        return text
    if isinstance(value, list) and isinstance(now, list) and value and now:
        for place in range(len(now) - 1, len(value) - 1, -1):
            text = remove(text, (*path, place))
        for place, one in enumerate(value):
            if place < len(now):
                text = set_value(text, (*path, place), one, now[place])
            else:
                text = insert(text, (*path, place), one)
        return text
    if spot.form in (Form.TABLE, Form.TABLES):
        if isinstance(value, dict | list) or spot.form is Form.TABLES:
            return _made(remove(text, path), path, value)
        raise refused(path, "a table", "a table of keys there, or none")
    literal = text[spot.start] == "'"
    return text[: spot.start] + written(value, literal=literal) + text[spot.end :]


def _same(one: Any, other: Any) -> bool:
    """Whether two values are the same in kind too: 1, 1.0 and true are three."""
    if type(one) is not type(other):
        return False
    if isinstance(one, dict):
        return list(one) == list(other) and all(_same(one[name], other[name]) for name in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(_same, one, other))
    return bool(one == other)


def _made(text: str, path: Path, value: Any) -> str:
    """The text with something new at a path."""
    spots = spots_of(text)
    depth = next(k for k in range(len(path) - 1, -1, -1) if spots.find(path[:k]) is not None)
    for part in reversed(path[depth + 1 :]):
        if isinstance(part, int):
            if part:
                raise refused(path, "nothing", "a list that is there, with its entries before it")
            value = [value]
        else:
            value = {part: value}
    return _put(text, spots, path[: depth + 1], value)


def _put(text: str, spots: Spots, path: Path, value: Any) -> str:
    """The text with something new in a table or list that is there."""
    holder, name = spots.find(path[:-1]), path[-1]
    assert holder is not None, "it is there"
    if isinstance(name, int):
        if holder.form not in (Form.LIST, Form.TABLES) or name != len(holder.entries):
            raise refused(path, "nothing", "an entry that is there, or the next one of a list")
        return insert(text, path, value)
    if holder.form is Form.INLINE:
        return _put_inline(text, holder, f"{quoted_key(name)} = {written(value)}")
    if holder.form is not Form.TABLE:
        raise refused(path, "nothing", f"a key in a table; {place_of(path[:-1])} is none")
    if isinstance(value, dict) and not holder.own and _has_header(path, holder):
        return _put_blocks(text, spots, path, value)
    line = _line(f"{holder.prefix}.{quoted_key(name)}" if holder.own else quoted_key(name), value)
    if holder.after < 0 and not holder.headed and not holder.own:
        first = next(h.line for h in spots.headers if h.path[: len(path) - 1] == path[:-1])
        header = ".".join(quoted_key(str(part)) for part in path[:-1])
        at = above(text, first)
        return text[:at] + f"[{header}]\n{line}\n" + text[at:]
    return _put_line(text, spots, holder, path, line)


def _has_header(path: Path, holder: Spot) -> bool:
    """Whether a new table gets a header: an outermost one, one of a table of names, one among its likes."""
    likes = any(one.form is Form.TABLE and not one.own for one in holder.members.values())
    return len(path) == 1 or (len(path) == 2 and path[0] in NAMED) or likes


def _put_inline(text: str, holder: Spot, pair: str) -> str:
    if not holder.members:
        return text[: holder.start] + f"{{ {pair} }}" + text[holder.end :]
    end = max(_last(one) for one in holder.members.values())
    return text[:end] + f", {pair}" + text[end:]


def _last(spot: Spot) -> int:
    """Where a member of a table on one line ends, keys with dots included."""
    if spot.form is Form.TABLE:
        return max(_last(one) for one in spot.members.values())
    return spot.end


def _order(path: Path, text: str, spots: Spots) -> list[str]:
    """The order in which people write the keys of a table."""
    if not path:
        return list(DesignTable.model_fields)
    if path == ("pattern",):
        return list(PatternTable.model_fields)
    if path[:2] == ("pattern", "sections"):
        return list(SectionTable.model_fields)
    tables: dict[str, type[Table]] = {"rings": RingTable, "ends": EndTable, "scenes": SceneTable}
    if len(path) == 2 and path[0] in tables:
        return list(tables[str(path[0])].model_fields)
    if len(path) == 2 and path[0] == "findings":
        kind = spots.find((*path, "kind"))
        table = None if kind is None else TABLES.get(text[kind.start : kind.end].strip("\"'"))
        keys = [] if table is None else [name for name in table.model_fields if name != "kind"]
        return ["kind", *(name for name in keys if name != "metal"), "metal"]
    return []


def _put_line(text: str, spots: Spots, holder: Spot, path: Path, line: str) -> str:
    """The text with a new line in a table, after those that people write before it."""
    own = [(name, one) for name, one in holder.members.items() if one.own]
    order = _order(path[:-1], text, spots)
    before = own
    if path[-1] in order:
        early = order[: order.index(str(path[-1]))]
        before = [(name, one) for name, one in own if name in early]
    if before:
        at = max(_line_after(text, one) for _, one in before)
    elif own:
        at = min(line_start(text, one.at) for _, one in own)
    elif not path[:-1]:
        if not spots.headers:
            return _ended(text) + line
        at = above(text, spots.headers[0].line)
        line += "\n"
    else:
        at = holder.after
    return _at_line(text, at, line)


def _at_line(text: str, at: int, lines: str) -> str:
    """The text with whole lines put in where a line begins, or after the last one."""
    if at == len(text) and text and not text.endswith("\n"):
        return f"{text}\n{lines.removesuffix(chr(10))}"
    return text[:at] + lines + text[at:]


def _line_after(text: str, spot: Spot) -> int:
    """Where the line after a thing in a table begins."""
    return spot.after if spot.form is Form.TABLE else line_end(text, spot.end)


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else f"{text}\n"


# Tables with headers


def _put_blocks(text: str, spots: Spots, path: Path, value: dict[str, Any]) -> str:
    """The text with a new table that has a header; of one that holds tables alone those have them."""
    if len(path) == 1 and path[0] in NAMED and value and all(isinstance(one, dict) for one in value.values()):
        for name, one in value.items():
            text = _put_blocks(text, spots_of(text), (*path, name), one)
        return text
    header = ".".join(quoted_key(str(part)) for part in path)
    block = f"[{header}]\n" + "".join(_line(quoted_key(name), one) for name, one in value.items())
    return _put_block(text, _block_place(text, spots, path), block)


def _block_place(text: str, spots: Spots, path: Path) -> int:
    """Where a new table with a header goes: after its likes, or after what people write before it."""
    order = list(DesignTable.model_fields)

    def rank(name: str | int) -> int:
        return order.index(str(name)) if name in order else len(order)

    likes = [k for k, h in enumerate(spots.headers) if h.path[: len(path) - 1] == path[:-1] and len(path) > 1]
    early = [k for k, h in enumerate(spots.headers) if rank(h.path[0]) <= rank(path[0])]
    following = max(likes or early, default=-1) + 1
    if following == len(spots.headers):
        return len(text)
    return above(text, spots.headers[following].line)


def _put_block(text: str, at: int, block: str) -> str:
    """The text with a header and its lines where another header, or the end, is; spaced as its neighbours."""
    if at == len(text):
        text = _ended(text)
        return text + ("\n" if text else "") + block
    spaced = not at or text[:at].endswith("\n\n")
    return text[:at] + block + ("\n" if spaced else "") + text[at:]


def _without_block(text: str, start: int, end: int) -> str:
    """The text without a header and its lines, nor the empty lines that set it off."""
    after = end
    while after < len(text) and not text[after : line_end(text, after)].strip():
        after = line_end(text, after)
    before = text[:start]
    if after >= len(text) and before.endswith("\n\n"):
        before = before.rstrip("\n") + "\n"
    return before + text[after:]


# Removing


def remove(text: str, path: Path) -> str:
    """The text without what stands at a path; unchanged when nothing does."""
    spots = spots_of(text)
    spot, holder = spots.find(path), spots.find(path[:-1])
    if spot is None or holder is None:
        return text
    if isinstance(path[-1], int) and holder.form is Form.LIST:
        return without_entry(text, holder, path[-1])
    if holder.form is Form.INLINE:
        return _without_pair(text, holder, spot)
    if not _in_lines(spots, path):
        raise refused(path, "keys with dots in a table on one line", "them changed in the text by hand")
    found = _regions(text, spot)
    for start, end, header in sorted(found, reverse=True):
        if header:
            text = _without_block(text, start, end)
        elif end == len(text) and not text.endswith("\n"):
            text = text[: max(start - 1, 0)]
        else:
            text = text[:start] + text[end:]
    return text


def _in_lines(spots: Spots, path: Path) -> bool:
    """Whether something stands in lines of its own: no table on one line is around it."""
    around = (spots.find(path[:k]) for k in range(len(path)))
    return all(spot is not None and spot.form in (Form.TABLE, Form.TABLES) for spot in around)


def _regions(text: str, spot: Spot) -> list[tuple[int, int, bool]]:
    """The lines of all that is in a thing, from and to, and whether they begin with a header."""
    if spot.form is Form.TABLES:
        return [one for entry in spot.entries for one in _regions(text, entry)]
    if spot.form is not Form.TABLE:
        return [(line_start(text, spot.at), line_end(text, spot.end), False)]
    below = [one for member in spot.members.values() for one in _regions(text, member)]
    if not spot.headed:
        return below
    start = line_start(text, spot.start)
    inner = [one for one in below if start <= one[0] < spot.after]
    return [(start, spot.after, True), *(one for one in below if one not in inner)]


def _without_pair(text: str, holder: Spot, spot: Spot) -> str:
    """The text without a key of a table on one line."""
    if spot.form is Form.TABLE:
        raise refused((), "keys with dots in a table on one line", "them changed in the text by hand")
    pairs = sorted(holder.members.values(), key=lambda one: one.at)
    if any(one.form is Form.TABLE for one in pairs):
        raise refused((), "keys with dots in a table on one line", "them changed in the text by hand")
    place = pairs.index(spot)
    if len(pairs) == 1:
        return text[: holder.start] + "{}" + text[holder.end :]
    if place + 1 < len(pairs):
        return text[: spot.at] + text[pairs[place + 1].at :]
    return text[: pairs[place - 1].end] + text[spot.end :]


# Lists


def insert(text: str, path: Path, value: Any) -> str:
    """The text with a new entry of a list, before the one that has its place so far."""
    spots, place = spots_of(text), path[-1]
    assert isinstance(place, int), "a place in a list"
    holder = spots.find(path[:-1])
    if holder is None:
        return _made(text, path, value)
    if holder.form not in (Form.LIST, Form.TABLES) or place > len(holder.entries):
        raise refused(path, "nothing", "a place in a list that is there, or the one after its last")
    if holder.form is Form.TABLES:
        return _insert_table(text, spots, path, place, value)
    return insert_entry(text, holder, place, written(value), "")


def _insert_table(text: str, spots: Spots, path: Path, place: int, value: Any) -> str:
    if not isinstance(value, dict):
        raise refused(path, "a value among tables", "a table of keys")
    name = ".".join(quoted_key(part) for part in path[:-1] if isinstance(part, str))
    block = f"[[{name}]]\n" + "".join(_line(quoted_key(key), one) for key, one in value.items())
    return _put_block(text, _table_place(text, spots, path, place), block)


def _table_place(text: str, spots: Spots, path: Path, place: int) -> int:
    """Where the header goes of an entry of tables one after the other."""
    for header in spots.headers:
        if header.path == (*path[:-1], place):
            return above(text, header.line)
    last = max(k for k, h in enumerate(spots.headers) if h.path[: len(path) - 1] == path[:-1])
    if last + 1 == len(spots.headers):
        return len(text)
    return above(text, spots.headers[last + 1].line)


def move(text: str, path: Path, to: int) -> str:
    """The text with an entry of a list at another place, its comment behind it with it."""
    spots, place = spots_of(text), path[-1]
    assert isinstance(place, int), "a place in a list"
    holder = spots.find(path[:-1])
    if holder is None or holder.form not in (Form.LIST, Form.TABLES) or place >= len(holder.entries):
        raise refused(path, "nothing", "an entry of a list that is there")
    if to >= len(holder.entries):
        raise refused((*path[:-1], to), "nothing", f"a place from 1 to {len(holder.entries)}")
    if to == place:
        return text
    entry = holder.entries[place]
    if holder.form is Form.TABLES:
        block = "".join(text[start:end] for start, end, _ in sorted(_regions(text, entry)))
        text = remove(text, path)
        return _put_block(text, _table_place(text, spots_of(text), path, to), _ended(block))
    tail = comments_of(text, entry)
    raw = text[entry.start : entry.end]
    text = without_entry(text, holder, place)
    left = spots_of(text).find(path[:-1])
    assert left is not None, "the list is there"
    return insert_entry(text, left, to, raw, tail)


# Keys


def rename(text: str, path: Path, name: str) -> str:
    """The text with another name for a key that is there."""
    spot = spots_of(text).find(path)
    assert spot is not None, "a key that is there"
    return text[: spot.key[0]] + quoted_key(name) + text[spot.key[1] :]


def forget(text: str, path: Path) -> str:
    """The text without the comment behind a value or an entry, for it spoke of what is there no more."""
    spot = spots_of(text).find(path)
    assert spot is not None, "a thing that is there"
    found = _COMMENT.match(text, spot.end)
    return text if found is None else text[: found.end(1)] + text[found.end() :]
