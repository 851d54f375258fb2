"""The text of a design made short enough to be printed as a code: without comments and blank lines."""

import re
import tomllib
from collections.abc import Collection

_QUOTES = ('"""', "'''", '"', "'")
"""What a string of TOML begins and ends with, the long ones first."""


_NAME = r"([\w-]+|\"[^\"]*\"|'[^']*')"
_HEADER = re.compile(rf"\s*\[\[?\s*{_NAME}\s*[.\]]")
_KEY = re.compile(rf"\s*{_NAME}\s*[.=]")
"""The outermost name that the header of a table, and a key, begin with."""


def without_comments(text: str) -> str | None:
    """A design's text without its comments, spaces at ends of lines and blank lines.

    Texts within quotes stay as they are, whatever is in them. What comes out is read again and has to say the
    same as what went in.

    Args:
        text: A text of TOML.

    Returns:
        The shorter text; None when it is no TOML or would not say the same.
    """
    pieces: list[str] = []
    k = 0
    while k < len(text):
        if text[k] == "#":
            while k < len(text) and text[k] not in "\r\n":
                k += 1
            continue
        quote = next((mark for mark in _QUOTES if text.startswith(mark, k)), None)
        if quote is None:
            if text[k] == "\n":
                _end_line(pieces)
            else:
                pieces.append(text[k])
            k += 1
            continue
        end = _end_of(text, k, quote)
        if end is None:
            return None
        pieces.append(text[k:end])
        k = end
    _end_line(pieces)
    short = "".join(pieces)
    try:
        same = tomllib.loads(short) == tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None
    return short if same else None


def says_any(text: str, names: Collection[str]) -> bool:
    """Whether a text of TOML has one of these among its outermost tables and keys."""
    try:
        return bool(set(tomllib.loads(text)) & set(names))
    except tomllib.TOMLDecodeError:
        return False


def without_keys(text: str, names: Collection[str]) -> str | None:
    """A design's text without comments and without some of its outermost tables and keys.

    What comes out is read again and has to say the same as what went in, but for these.

    Args:
        text: A text of TOML.
        names: The names of the tables and keys.

    Returns:
        The shorter text; None when it is no TOML, or would not say the same.
    """
    short = without_comments(text)
    if short is None:
        return None
    lines: list[str] = []
    dropped, on_top = False, True
    for line in short.splitlines(keepends=True):
        if header := _HEADER.match(line):
            on_top, dropped = False, header[1].strip("\"'") in names
        elif on_top and (key := _KEY.match(line)):
            dropped = key[1].strip("\"'") in names
        if not dropped:
            lines.append(line)
    kept = "".join(lines)
    try:
        wanted = {name: value for name, value in tomllib.loads(text).items() if name not in names}
        same = tomllib.loads(kept) == wanted
    except tomllib.TOMLDecodeError:
        return None
    return kept if same else None


def _end_line(pieces: list[str]) -> None:
    """End a line that has something on it; take away spaces, and lines of nothing else."""
    while pieces and pieces[-1] in (" ", "\t", "\r"):
        pieces.pop()
    if pieces and pieces[-1] != "\n":
        pieces.append("\n")


def _end_of(text: str, begin: int, quote: str) -> int | None:
    """Place after a string that begins somewhere; None when it does not end."""
    k = begin + len(quote)
    escapes = quote[0] == '"'
    while k < len(text):
        if escapes and text[k] == "\\":
            k += 2
            continue
        if text.startswith(quote, k):
            k += len(quote)
            # A long string may end in one or two quotes of its own.
            while len(quote) == 3 and k < len(text) and text[k] == quote[0] and k - begin >= 6:
                k += 1
            return k
        k += 1
    return None
