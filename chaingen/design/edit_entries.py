"""Entries of lists in a design's text: put in and taken out with the lines and commas that go with them.

Where entries have lines of their own a new one gets one too, and comments stay with the entry that they are
behind.
"""

import re

from chaingen.design.edit_spans import Spot, line_end, line_start

_COMMA = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*,")


def above(text: str, line: int) -> int:
    """Where the comments begin that stand directly above a line; the line itself without them."""
    while line > 0:
        before = line_start(text, line - 1)
        if not text[before:line].lstrip(" \t").startswith("#"):
            break
        line = before
    return line


def insert_entry(text: str, holder: Spot, place: int, raw: str, tail: str) -> str:
    """The text with the characters of an entry in a list, on a line of its own where entries have that.

    Args:
        text: The text.
        holder: The list.
        place: Its place.
        raw: The entry.
        tail: The comment behind it.
    """
    entries = holder.entries
    # What follows on the same line goes to the next, for a comment ends with its line.
    ended = f"{tail}\n" if tail else ""
    if not entries:
        inner = text[holder.start + 1 : holder.end - 1]
        if "#" in inner or tail:
            return text[: holder.start + 1] + f"\n  {raw},{tail}" + (inner or "\n") + text[holder.end - 1 :]
        return text[: holder.start] + f"[{raw}]" + text[holder.end :]
    if place < len(entries):
        at = entries[place].start
        line = line_start(text, at)
        if text[line:at].strip():
            return text[:at] + f"{raw}," + (ended or " ") + text[at:]
        return text[: (top := above(text, line))] + f"{text[line:at]}{raw},{tail}\n" + text[top:]
    last = entries[-1]
    line, comma = line_start(text, last.start), comma_after(text, last.end)
    if text[line : last.start].strip():
        return text[: last.end] + f", {raw}{ended}" + text[last.end :]
    indent = text[line : last.start]
    if comma is None:
        at = line_end(text, last.end)
        if text[last.end : at].strip() and text[last.end : at].lstrip()[0] != "#":
            return text[: last.end] + f",\n{indent}{raw}{ended}" + text[last.end :]
        return text[: last.end] + "," + text[last.end : at] + f"{indent}{raw}{tail}\n" + text[at:]
    at = line_end(text, comma)
    if text[comma + 1 : at].strip() and text[comma + 1 : at].lstrip()[0] != "#":
        return text[: comma + 1] + f"\n{indent}{raw},{ended}" + text[comma + 1 :]
    return text[:at] + f"{indent}{raw},{tail}\n" + text[at:]


def comma_after(text: str, at: int) -> int | None:
    """Where the comma is behind an entry; None when there is none before the next thing."""
    found = _COMMA.match(text, at)
    return None if found is None else found.end() - 1


def comments_of(text: str, entry: Spot) -> str:
    """The comments behind an entry that has lines of its own, on one line; empty where it has none.

    Where the comma begins the next line the comments before it are the entry's too.
    """
    if text[line_start(text, entry.start) : entry.start].strip():
        return ""
    comma = comma_after(text, entry.end)
    stop = entry.end if comma is None else comma + 1
    early = [] if comma is None else text[entry.end : comma].splitlines()
    behind = text[stop : line_end(text, stop)].rstrip("\n")
    found = [f"  {line.strip()}" for line in early if line.strip()]
    return "".join([*found, behind if behind.lstrip().startswith("#") else ""])


def without_entry(text: str, holder: Spot, place: int) -> str:
    """The text without an entry of a list; a line of its own goes with it, the comment behind it included."""
    entries, entry = holder.entries, holder.entries[place]
    comma = comma_after(text, entry.end)
    line, stop = line_start(text, entry.start), line_end(text, entry.end if comma is None else comma)
    behind = text[(entry.end if comma is None else comma + 1) : stop].strip()
    if not text[line : entry.start].strip() and (not behind or behind[0] == "#"):
        text = text[:line] + text[stop:]
        if comma is None and place:
            before = comma_after(text, entries[place - 1].end)
            assert before is not None, "a comma between two entries"
            text = text[:before] + text[before + 1 :]
        return text
    if place + 1 < len(entries):
        assert comma is not None, "a comma between two entries"
        spaces = len(text[comma + 1 :]) - len(text[comma + 1 :].lstrip(" \t"))
        return text[: entry.start] + text[comma + 1 + spaces :]
    if place:
        between = text[entries[place - 1].end : entry.start]
        if "#" not in between:
            return text[: entries[place - 1].end] + text[entry.end :]
        return text[: entry.start] + text[(entry.end if comma is None else comma + 1) :]
    inner = (
        text[holder.start + 1 : entry.start]
        + text[(entry.end if comma is None else comma + 1) : holder.end - 1]
    )
    return text[: holder.start] + (f"[{inner}]" if inner.strip() else "[]") + text[holder.end :]
