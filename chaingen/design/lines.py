"""The line of a design's text that a problem speaks of.

The place of a `Problem` is a path of keys and of numbers that count from 1, such as
``pattern.groups[2].ring`` or ``findings.'sea glass'.beads[1]``; it may name several keys ("inside and wire")
or, where the text is no TOML, say the line itself. Lines count from 1.
"""

import ast
import re
import tomllib

from chaingen.design.edit_spans import Form, Path, Spots, spots_of

_SAID = re.compile(r", (?:line (\d+), column \d+|end of document)$")
_PART = re.compile(r"\.?(?:([\w-]+)|('(?:\\.|[^'\\])*'|\"(?:\\.|[^\"\\])*\")|\[(\d{1,9})\])")
_SEVERAL = re.compile(r",? and |, ")


def line_of(text: str, where: str) -> int | None:
    r"""The line that a problem's place is on, or that of the nearest table or list around it.

    Args:
        text: The text of a design file.
        where: The place of a problem with it.

    Returns:
        The line, from 1; None when the place is in no part of the text, such as in another file.

    Example:
        >>> from chaingen.design.lines import line_of
        >>> line_of('metal = "brass"\n[rings.link]\nwire = "18 gauge"\n', "rings.link.wire")
        3
        >>> line_of("metal = brass\n", "the design, line 1, column 9")
        1
    """
    return lines_of(text, [where])[0]


def lines_of(text: str, places: list[str]) -> list[int | None]:
    """The same of several places in one text, which is read once."""
    said = [_SAID.search(where) for where in places]
    try:
        # What tomllib refuses has no places but those that it tells itself.
        tomllib.loads(text)
        spots = spots_of(text.replace("\r\n", "\n"))
    except (ValueError, RecursionError):
        return [_told(text, match) if match else None for match in said]
    return [_line(text, where, spots) for where in places]


def _told(text: str, match: re.Match[str]) -> int:
    """The line that a message of the reader says; for the end of the text the last one with words on it."""
    if match[1]:
        return int(match[1])
    return text.rstrip().count("\n") + 1


def _line(text: str, where: str, spots: Spots) -> int | None:
    lines = text.replace("\r\n", "\n")
    for place in dict.fromkeys([where, *_SEVERAL.split(where)]):
        path = path_of(place)
        if path is None:
            continue
        at = _offset(path, spots)
        if at is not None:
            return lines.count("\n", 0, at) + 1
    return None


def path_of(where: str) -> Path | None:
    """The keys and the places in lists, from 0, that a problem's place names; None when it is no path."""
    path: list[str | int] = []
    at = 0
    while at < len(where):
        part = _PART.match(where, at)
        if part is None or (bool(path) == (where[at] not in ".[")):
            return None
        if part[1] is not None:
            path.append(part[1])
        elif part[2] is not None:
            try:
                path.append(str(ast.literal_eval(part[2])))
            except (ValueError, SyntaxError):
                return None
        else:
            path.append(int(part[3]) - 1)
        at = part.end()
    return tuple(path) or None


def _offset(path: Path, spots: Spots) -> int | None:
    """Where a path's last part stands, or the nearest around it that does; None when not even its first."""
    for length in range(len(path), 0, -1):
        spot = spots.find(path[:length])
        if spot is not None:
            # An entry of a list begins with itself, all else with its key.
            return spot.at if spot.form is Form.TABLE or not spot.own else spot.key[0]
    return None
