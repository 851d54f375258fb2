"""Files of tables that people write: read whole, and every problem told at once in plain words.

What the files of this package have in common: a TOML file is read with a limit on its size; pydantic models
judge each key and value by itself; what they find is told as `Problem`s with their place in the file. Places
in lists count from 1. Lengths and wires become millimetres here.
"""

import difflib
import math
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Self, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
    model_validator,
)
from pydantic_core import PydanticCustomError

from chaingen.errors import BadInput, Problem
from chaingen.stock.gauges import parse_wire
from chaingen.units import LENGTHS, UnreadableLength, format_mm, parse_length

MOST_BYTES = 1_000_000
"""A longer file was not written by a person."""

MOST_PROBLEMS = 50
"""So many problems are told at once."""

MOST_ENTRIES = 6
"""Longer lists are not shown in a message."""

MOST_LETTERS = 60
"""Most letters in a name that a file gives to something."""

INSIDE_LIMITS = 0.2, 500.0
"""Inside diameters that are accepted [mm]."""

WIRE_LIMITS = 0.05, 50.0
"""Wire diameters that are accepted [mm]."""


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file, in the words of its messages.

    Attributes:
        whole: What a file says, such as ``the design``.
        file: What the file is called, such as ``a design file``.
        root: The model of its outermost table.
        lists: By the key of a list, what the list should be, for a value that is none.
        start: Advice when there is no such file nor one of a similar name; empty when there is none.
    """

    whole: str
    file: str
    root: type[BaseModel]
    lists: Mapping[str, str] = field(default_factory=dict)
    start: str = ""


# Files


def read_text(path: str | os.PathLike[str], kind: FileKind) -> str:
    """The text of a file.

    Raises:
        BadInput: There is none that can be read, it is longer than `MOST_BYTES`, or it is not UTF-8.
    """
    path = Path(path)
    wanted = f"{kind.file}: TOML in UTF-8"
    try:
        with path.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise BadInput(
                [Problem(str(path), f"over {MOST_BYTES:,} bytes", f"{kind.file}, which is far shorter")]
            )
        return content.decode("utf-8-sig")
    except FileNotFoundError:
        advice = _neighbour(path) or kind.start
        raise BadInput([Problem(str(path), "no such file", wanted, advice)]) from None
    except IsADirectoryError:
        raise BadInput([Problem(str(path), "a folder", wanted, _inside(path))]) from None
    except UnicodeDecodeError:
        raise BadInput(
            [Problem(str(path), "text that is not UTF-8", wanted, "save it again as UTF-8")]
        ) from None
    except (OSError, ValueError) as error:
        got = "a folder" if _is_folder(path) else str(getattr(error, "strerror", None) or error)
        raise BadInput([Problem(str(path), got, wanted)]) from None


def _is_folder(path: Path) -> bool:
    """Whether there is a folder at a path, which may be no path at all."""
    try:
        return path.is_dir()
    except OSError:
        return False


def _inside(folder: Path) -> str:
    """Advice naming a TOML file that a folder holds."""
    names = sorted(p.name for p in folder.glob("*.toml"))
    return f"such as {folder / names[0]}" if names else ""


def _neighbour(path: Path) -> str:
    """Advice naming the TOML file next to a missing one whose name is nearest."""
    folder = path.parent
    # Their common ending would make any two names alike.
    there = sorted(folder.glob("*.toml")) if _is_folder(folder) else []
    names = {p.name.removesuffix(".toml"): p for p in there}
    close = difflib.get_close_matches(path.name.removesuffix(".toml"), list(names), n=1)
    return f"did you mean {names[close[0]]}?" if close else ""


MOST_PARTS = 64
"""Most parts of a dotted key: those of a long one are looked up one within another, for minutes."""

_CHAINED = re.compile(
    rf"""(?<![\w-])(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){{{MOST_PARTS}}}""", re.ASCII
)


def has_endless_key(text: str) -> bool:
    """Whether a key in a TOML text has so many parts that to read it would take minutes."""
    return _CHAINED.search(text) is not None


def parse_toml(text: str, source: str, kind: FileKind) -> dict[str, Any]:
    """The outermost table of a TOML text.

    Raises:
        BadInput: It is not TOML; the problem names `source` with line and column.
    """
    if has_endless_key(text):
        raise BadInput([Problem(source, "a key of very many parts", f"keys of at most {MOST_PARTS} parts")])
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise BadInput([Problem(source, "tables nested too deeply", kind.file)]) from None
    except ValueError as error:
        raise BadInput([_broken(source, str(error))]) from None


def _broken(source: str, message: str) -> Problem:
    """TOML that cannot be read, with the line and column that the reader names."""
    place = re.fullmatch(r"(.*) \(at (line \d+, column \d+|end of document)\)", message, re.DOTALL)
    if place is None:
        return Problem(source, "", "valid TOML", message)
    return Problem(f"{source}, {place[2]}", "", "valid TOML", place[1])


# Words of messages


def limited(problems: Iterable[Problem], kind: FileKind) -> list[Problem]:
    """The problems, or the first of them with a word that there are more."""
    every = list(problems)
    if len(every) <= MOST_PROBLEMS:
        return every
    return [*every[:MOST_PROBLEMS], Problem(kind.whole, "more problems than these", "these mended first")]


def key(name: str) -> str:
    """A name as part of a place; names that TOML has to quote are quoted here too."""
    return name if re.fullmatch(r"[\w-]{1,80}", name) else repr(name[:80])


def _where(location: tuple[int | str, ...], kind: FileKind) -> str:
    """``pattern.groups[2].ring`` for a pydantic location."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{key(part)}" if text else key(part)
    return text or kind.whole


def shown(value: object) -> str:
    """What stands there, short enough for a message."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return _shown_list(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a number beyond all measure"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _shown_list(value: list[Any]) -> str:
    """A list as it stands there, if that is short and there are no tables in it."""
    if not value:
        return "an empty list"
    if len(value) > MOST_ENTRIES or any(isinstance(entry, dict) for entry in value):
        return "a list"
    text = f"[{', '.join(shown(entry) for entry in value)}]"
    return text if len(text) <= 60 and "a list" not in text and "a table" not in text else "a list"


def one_of(names: Iterable[str]) -> str:
    """The names to choose from, for a message: one by itself, several as ``one of``."""
    every = list(names)
    return every[0] if len(every) == 1 else f"one of {', '.join(every)}"


def nearest(name: object, names: Iterable[str]) -> str | None:
    """The one of `names` whose spelling is nearest."""
    close = difflib.get_close_matches(str(name)[:80].lower(), list(names), n=1, cutoff=0.5)
    return close[0] if close else None


def meant(name: object, names: Iterable[str]) -> str:
    """Advice naming the one of `names` whose spelling is nearest; empty when none is near."""
    near = nearest(name, names)
    return f"did you mean {near}?" if near else ""


def table_of(value: object) -> dict[str, Any]:
    """The value if it is a table, else an empty one: what it should have been is told elsewhere."""
    return value if isinstance(value, dict) else {}


def list_of(value: object, most: int) -> list[Any]:
    """The first entries of the value if it is a list, else none: what it should be is told elsewhere."""
    return value[:most] if isinstance(value, list) else []


# Keys and values by themselves

_NO_TABLE = ("model_type", "dict_type", "model_attributes_type")
"""Faults of what should be a table and is none."""


def _table_type(annotation: Any) -> Any:
    """The model, list or dictionary that an annotation names, without its limits and alternatives."""
    if get_origin(annotation) in (list, dict):
        return annotation
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for arg in get_args(annotation) if (found := _table_type(arg)) is not None), None)


def _keys_at(location: tuple[int | str, ...], root: type[BaseModel]) -> list[str]:
    """The keys that a table at this place may have."""
    here: Any = root
    for part in location:
        if get_origin(here) in (list, dict):
            here = get_args(here)[-1]
        elif here is not None and part in here.model_fields:
            here = here.model_fields[part].annotation
        else:
            here = None
        here = _table_type(here)
    return [] if here is None or get_origin(here) is not None else list(here.model_fields)


def value_problems(error: ValidationError, kind: FileKind) -> list[Problem]:
    """What is wrong with keys and values by themselves, in plain words."""
    entries = error.errors(include_url=False)
    # A key that is missing because it is misspelt, or stands elsewhere, is told once, where it stands.
    unknown = [
        entry["loc"]
        for entry in entries[: 2 * MOST_PROBLEMS]
        if entry["type"] == "extra_forbidden" or _on_top(entry, kind)
    ]
    known = {
        (*loc[:-1], near)
        for loc in unknown
        if (near := nearest(loc[-1], _keys_at(loc[:-1], kind.root))) is not None
    }
    known |= {entry["loc"][-1:] for entry in entries[: 2 * MOST_PROBLEMS] if _on_top(entry, kind)}
    told = [entry for entry in entries if not (entry["type"] == "missing" and entry["loc"] in known)]
    return [_problem(entry, kind) for entry in told[: MOST_PROBLEMS + 1]]


def _on_top(entry: Any, kind: FileKind) -> str:
    """Advice for a key below some table that is one of the outermost; empty for all else."""
    location, fault, value = entry["loc"], entry["type"], entry["input"]
    name = location[-1] if len(location) > 1 else None
    if not isinstance(name, str) or name not in kind.root.model_fields:
        return ""
    unknown = fault == "extra_forbidden" or (fault == "expected" and entry["ctx"]["unknown"])
    # Below a table of names a key is taken for one of them, and what it says for no table.
    if not unknown and (fault not in _NO_TABLE or isinstance(value, dict) or len(location) != 2):
        return ""
    inner = _table_type(kind.root.model_fields[name].annotation)
    if inner is None:
        return f"{name} goes at the top of the file, above the first [table]"
    if get_origin(inner) is list:
        return f"{name} goes at the top of the file, above the first [table]; or further down as [[{name}]]"
    return f"write a table of its own, [{name}.NAME]" if get_origin(inner) is dict else f"write [{name}]"


def _problem(entry: Any, kind: FileKind) -> Problem:
    """A pydantic error in plain words."""
    location: tuple[int | str, ...] = entry["loc"]
    fault, value = entry["type"], entry["input"]
    where = _where(location, kind)
    if fault == "expected":
        got = "" if isinstance(value, dict) else shown(value)
        return Problem(where, got, entry["ctx"]["expected"], _on_top(entry, kind) or entry["ctx"]["advice"])
    if fault == "extra_forbidden":
        keys = _keys_at(location[:-1], kind.root)
        advice = _on_top(entry, kind) or meant(location[-1], keys)
        return Problem(where, "an unknown key", one_of(keys), advice)
    if fault == "missing":
        return Problem(where, "nothing", "this key, which cannot be left out")
    if fault in _NO_TABLE:
        return Problem(where, shown(value), "a table of keys", _on_top(entry, kind))
    if fault == "list_type":
        name = next((part for part in reversed(location) if isinstance(part, str)), "")
        return Problem(where, shown(value), kind.lists.get(name, "a list"))
    if fault == "bool_type":
        return Problem(where, shown(value), "true or false")
    if fault == "too_short":
        least = entry["ctx"]["min_length"]
        expected = "at least one entry" if least == 1 else f"at least {least} entries"
        return Problem(where, shown(value) if value else "nothing in it", expected)
    if fault == "too_long":
        return Problem(where, "too many entries", f"at most {entry['ctx']['max_length']}")
    if fault == "literal_error":
        return Problem(where, shown(value), entry["ctx"]["expected"])
    if fault.startswith("string"):
        return Problem(where, shown(value), "text of 1 to 200 characters, in quotes")
    return Problem(where, shown(value), entry["msg"])


# Writing


def quoted(text: str) -> str:
    """A text as a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in escaped) + '"'


def quoted_key(name: str) -> str:
    """A name as a TOML key, quoted where it has to be."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else quoted(name)


# Fields of models


class Table(BaseModel):
    """A table that refuses keys it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def wrong(expected: str, advice: str = "", *, unknown: bool = False) -> PydanticCustomError:
    """The error to raise in a validator: what would be accepted, and what to try.

    Args:
        expected: What would be accepted.
        advice: What to try; empty when there is nothing to add.
        unknown: Whether it is the key that is wrong, and not what it says.
    """
    # The message goes in as a value: braces in it are no template.
    told = {"expected": expected, "advice": advice, "unknown": unknown}
    return PydanticCustomError("expected", "{expected}", told)


def within(value: float, limits: tuple[float, float]) -> float:
    """The length [mm] if it lies within its limits [mm]; otherwise the error is raised."""
    low, high = limits
    if not (math.isfinite(value) and low <= value <= high):
        raise wrong(f"{format_mm(low)} to {format_mm(high)}")
    return value


def length_in(limits: tuple[float, float], *, above: bool = False) -> Any:
    """The validator of a length with its unit, within limits [mm].

    Args:
        limits: The lowest and the highest.
        above: Whether it has to be more than the lowest.
    """

    def read(value: object) -> float:
        if not isinstance(value, str):
            raise wrong(f"{LENGTHS}, in quotes")
        try:
            length = parse_length(value)
        except UnreadableLength as error:
            raise wrong(str(error)) from None
        if above and not limits[0] < length <= limits[1]:
            raise wrong(f"more than {format_mm(limits[0])}, up to {limits[1]:,.0f} mm")
        return within(length, limits)

    return BeforeValidator(read, json_schema_input_type=str)


def _read_wire(value: object) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = str(value)
    if not isinstance(value, str):
        raise wrong('a wire such as "18 AWG" or "1.2 mm", in quotes')
    try:
        return within(parse_wire(value), WIRE_LIMITS)
    except UnreadableLength as error:
        raise wrong(str(error)) from None


def whole_in(low: int, high: int, what: str, advice: str = "") -> Any:
    """The validator of a whole number within limits; `what` it counts begins the message."""

    def read(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise wrong(f"{what}, {low} to {high:,}", advice)
        return value

    return BeforeValidator(read, json_schema_input_type=Annotated[int, Field(ge=low, le=high)])


def number_in(low: float, high: float, what: str = "a number") -> Any:
    """The validator of a number within limits; `what` it is begins the message."""

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise wrong(f"{what}, {low:g} to {high:g}")
        return float(value)

    return BeforeValidator(read, json_schema_input_type=Annotated[float, Field(ge=low, le=high)])


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise wrong("one line of printable text")
    return text


Line = Annotated[
    str,
    StringConstraints(strict=True, strip_whitespace=True, min_length=1, max_length=200),
    AfterValidator(_one_line),
]
"""One line of text."""


def names_of(what: str) -> Any:
    """The validator of a table whose keys are names; `what` they name begins the message."""

    def read(tables: dict[str, Any]) -> dict[str, Any]:
        for name in tables:
            if not (name.isprintable() and 0 < len(name.strip()) <= MOST_LETTERS):
                raise wrong(f"{what} named in 1 to {MOST_LETTERS} printable letters, not {name[:60]!r}")
        return tables

    return AfterValidator(read)


class SizeTable(Table):
    """A ring size."""

    inside: Annotated[float, length_in(INSIDE_LIMITS)] = Field(
        description='Inside diameter, which is the mandrel\'s: "4 mm", "5/32 in".', examples=["4 mm"]
    )
    wire: Annotated[float, BeforeValidator(_read_wire, json_schema_input_type=str)] = Field(
        description='Wire: "18 AWG", "18 SWG", "1.2 mm", "0.048 in".', examples=["18 AWG"]
    )

    @model_validator(mode="after")
    def _one_wire_passes(self) -> Self:
        if self.wire > self.inside:
            raise wrong(
                f"wire no thicker than the inside diameter, for not even one such wire passes a ring of "
                f"{format_mm(self.inside)} made from {format_mm(self.wire)} wire"
            )
        return self


def json_schema_of(root: type[BaseModel]) -> dict[str, Any]:
    """The JSON Schema of a kind of file, as editors use it."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **root.model_json_schema()}
