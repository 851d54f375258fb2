"""What is wrong with keys and values by themselves, in plain words with their place in the file."""

import difflib
import re
from collections.abc import Iterable
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from chaingen.design.schema import DesignTable, RingTable
from chaingen.errors import Problem

MOST_PROBLEMS = 50
"""So many problems are told at once."""


def limited(problems: Iterable[Problem]) -> list[Problem]:
    """The problems, or the first of them with a word that there are more."""
    every = list(problems)
    if len(every) <= MOST_PROBLEMS:
        return every
    return [*every[:MOST_PROBLEMS], Problem("the design", "more problems than these", "these mended first")]


def _where(location: tuple[int | str, ...]) -> str:
    """``pattern.groups[2].ring`` for a pydantic location; places in lists count from 1."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            # Names that TOML has to quote are quoted here too.
            name = part if re.fullmatch(r"[\w-]{1,80}", part) else repr(part[:80])
            text += f".{name}" if text else name
    return text or "the design"


def shown(value: object) -> str:
    """What stands there, short enough for a message."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a number beyond all measure"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys_at(location: tuple[int | str, ...]) -> list[str]:
    """The keys that a table at this place may have."""
    model: Any = DesignTable
    for part in location:
        if isinstance(part, int):
            continue
        if model is DesignTable and part == "rings":
            model = "rings"
        elif model == "rings":
            model = RingTable
        elif isinstance(model, type) and issubclass(model, BaseModel) and part in model.model_fields:
            annotation = model.model_fields[part].annotation
            types = [arg for arg in (annotation, *get_args(annotation)) if isinstance(arg, type)]
            model = next((arg for arg in types if issubclass(arg, BaseModel)), None)
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []


def nearest(name: object, names: Iterable[str]) -> str | None:
    """The one of `names` whose spelling is nearest."""
    close = difflib.get_close_matches(str(name)[:80].lower(), list(names), n=1, cutoff=0.5)
    return close[0] if close else None


def value_problems(error: ValidationError) -> list[Problem]:
    """What is wrong with keys and values by themselves, in plain words."""
    entries = error.errors(include_url=False)
    # A key that is missing because it is misspelt is told once, as the misspelling.
    meant = {
        (*entry["loc"][:-1], nearest(entry["loc"][-1], _keys_at(entry["loc"][:-1])))
        for entry in entries[: 2 * MOST_PROBLEMS]
        if entry["type"] == "extra_forbidden"
    }
    told = [entry for entry in entries if not (entry["type"] == "missing" and tuple(entry["loc"]) in meant)]
    return [_problem(entry) for entry in told[: MOST_PROBLEMS + 1]]


def _problem(entry: Any) -> Problem:
    """A pydantic error in plain words."""
    location: tuple[int | str, ...] = entry["loc"]
    kind, value = entry["type"], entry["input"]
    where = _where(location)
    if kind == "expected":
        got = "" if isinstance(value, dict) else shown(value)
        return Problem(where, got, entry["ctx"]["expected"], entry["ctx"]["advice"])
    if kind == "extra_forbidden":
        keys = _keys_at(location[:-1])
        near = nearest(location[-1], keys)
        advice = f"did you mean {near}?" if near else ""
        return Problem(where, "an unknown key", f"one of {', '.join(keys)}", advice)
    if kind == "missing":
        return Problem(where, "nothing", "this key, which cannot be left out")
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return Problem(where, shown(value), "a table of keys")
    if kind == "list_type":
        lists = {"scenes": 'scenes as [[scenes]] with kind = "hang"'}
        such = lists.get(str(location[-1]), "a list of groups, such as [{ side_by_side = 2 }]")
        return Problem(where, shown(value), such)
    if kind == "bool_type":
        return Problem(where, shown(value), "true or false")
    if kind == "too_short":
        return Problem(where, shown(value) if value else "nothing in it", "at least one entry")
    if kind == "too_long":
        return Problem(where, "too many entries", f"at most {entry['ctx']['max_length']}")
    if kind == "literal_error":
        return Problem(where, shown(value), entry["ctx"]["expected"])
    if kind.startswith("string"):
        return Problem(where, shown(value), "text of 1 to 200 characters, in quotes")
    return Problem(where, shown(value), entry["msg"])


def table_of(value: object) -> dict[str, Any]:
    """The value if it is a table, else an empty one: what it should have been is told elsewhere."""
    return value if isinstance(value, dict) else {}
