"""A design's text while it is changed, together with what it says: each step is done to both.

What the text says in the end is compared with what the steps made of its data, so a change never does
anything else than it was asked to.
"""

import copy
import datetime
from typing import Any

from chaingen.design import edit_text
from chaingen.design.edit_changes import place_of
from chaingen.design.edit_spans import Path, spots_of
from chaingen.errors import BadInput, Problem

_NOTHING: Any = ...


class Draft:
    """A text and what it says.

    Attributes:
        text: The text, with line feeds alone.
        data: What it says.
    """

    def __init__(self, text: str, data: dict[str, Any]) -> None:
        self.text, self.data = text, data

    def get(self, *path: str | int) -> Any:
        """What stands at a path; `...` when nothing does."""
        here: Any = self.data
        for part in path:
            if isinstance(part, str):
                here = here.get(part, _NOTHING) if isinstance(here, dict) else _NOTHING
            else:
                there = isinstance(here, list) and 0 <= part < len(here)
                here = here[part] if there else _NOTHING
        return here

    def has(self, *path: str | int) -> bool:
        """Whether anything stands at a path."""
        return self.get(*path) is not _NOTHING

    def table(self, *path: str | int) -> dict[str, Any]:
        """The table at a path; an empty one where there is none."""
        value = self.get(*path)
        return value if isinstance(value, dict) else {}

    def set(self, path: Path, value: Any) -> None:
        """Put a value at a path."""
        if path == ("date",) and isinstance(value, str):
            value = _day(value)
        now = self.get(*path)
        self.text = edit_text.set_value(self.text, path, value, now)
        here: Any = self.data
        for part, following in zip(path, [*path[1:], _NOTHING], strict=True):
            fresh: Any = copy.deepcopy(value) if following is _NOTHING else [] if _whole(following) else {}
            if isinstance(part, int):
                if part == len(here):
                    here.append(fresh)
                elif following is _NOTHING:
                    here[part] = fresh
            elif following is _NOTHING:
                here[part] = fresh
            else:
                here.setdefault(part, fresh)
            here = here[part]

    def remove(self, path: Path) -> None:
        """Take away what stands at a path."""
        if not self.has(*path):
            return
        self.text = edit_text.remove(self.text, path)
        holder = self.get(*path[:-1])
        del holder[path[-1]]
        if holder == [] and spots_of(self.text).find(path[:-1]) is None:
            # The list was there by its tables alone.
            del self.get(*path[:-2])[path[-2]]

    def insert(self, path: Path, value: Any) -> None:
        """Put an entry into a list."""
        self.text = edit_text.insert(self.text, path, value)
        if not self.has(*path[:-1]):
            if path[-1] != 0:
                raise edit_text.refused(path, "nothing", "a list that is there, with its entries before it")
            return self._set_data(path[:-1], [copy.deepcopy(value)])
        self.get(*path[:-1]).insert(path[-1], copy.deepcopy(value))
        return None

    def _set_data(self, path: Path, value: Any) -> None:
        here: Any = self.data
        for part in path[:-1]:
            here = here.setdefault(part, {}) if isinstance(here, dict) else here[part]
        here[path[-1]] = value

    def move(self, path: Path, to: int) -> None:
        """Move an entry of a list."""
        self.text = edit_text.move(self.text, path, to)
        rows = self.get(*path[:-1])
        rows.insert(to, rows.pop(path[-1]))

    def rename(self, path: Path, name: str) -> None:
        """Give a key that is there another name."""
        if path[-1] == name:
            return
        self.text = edit_text.rename(self.text, path, name)
        holder = self.get(*path[:-1])
        left = {(name if key == path[-1] else key): value for key, value in holder.items()}
        holder.clear()
        holder.update(left)

    def forget(self, path: Path) -> None:
        """Drop the comment behind a value or entry."""
        self.text = edit_text.forget(self.text, path)

    def judge(self, read: dict[str, Any], path: Path) -> None:
        """Compare with what the text says when it is read anew.

        Raises:
            BadInput: They differ: this text is written in a way in which the change cannot be made.
        """
        if _plain(read) != _plain(self.data):
            got = "a change that cannot be made in the way in which this is written"
            raise BadInput([Problem(place_of(path), got, "it changed in the text by hand")])
        self.data = read


def _whole(part: object) -> bool:
    return isinstance(part, int)


def _day(value: str) -> Any:
    """A day, which TOML writes without quotes; what is none stays as it is, to be told of when it is read."""
    try:
        return datetime.date.fromisoformat(value.strip())
    except ValueError:
        return value


def _plain(value: Any) -> Any:
    """A value with its kind, without empty tables: without a header they go with the last thing in them."""
    if isinstance(value, dict):
        inner = {name: _plain(one) for name, one in value.items()}
        return {name: one for name, one in inner.items() if one != {}}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return type(value), repr(value)
