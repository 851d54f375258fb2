"""From a design file to a `Design`, or to every problem in it at once."""

import difflib
import os
import re
import tomllib
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from chaingen.design.design import MAX_CELL_RINGS, MAX_END_RINGS, MAX_RINGS, Design
from chaingen.design.schema import MOST_GROUPS, DesignTable, GroupTable, RingTable
from chaingen.errors import BadInput, Problem
from chaingen.stock.metals import find_metal
from chaingen.units import format_mm
from chaingen.weave.groups import Group, GroupKind, RingSize, Run

MOST_BYTES = 1_000_000
"""A longer file is not a design."""

MOST_PROBLEMS = 50
"""So many problems are told at once."""

_KINDS = (
    ("side_by_side", GroupKind.SIDE_BY_SIDE),
    ("rosette", GroupKind.ROSETTE),
    ("join", GroupKind.JOIN),
)

_LISTS = ("first", "groups", "last")
"""The lists of groups in a pattern."""


def load_design(path: str | os.PathLike[str]) -> Design:
    """Read a design file.

    Args:
        path: A TOML file.

    Raises:
        BadInput: With every problem found, each naming its place.

    Example:
        >>> from pathlib import Path
        >>> from tempfile import TemporaryDirectory
        >>> from chaingen import load_design
        >>> from chaingen.design.starter import starter_design
        >>> with TemporaryDirectory() as folder:
        ...     path = Path(folder) / "design.toml"
        ...     _ = path.write_text(starter_design("two-in-two", title="Slipway"))
        ...     load_design(path).title
        'Slipway'
    """
    path = Path(path)
    wanted = "a design file: TOML in UTF-8"
    try:
        with path.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise BadInput(
                [Problem(str(path), f"over {MOST_BYTES:,} bytes", "a design file, which is far shorter")]
            )
        text = content.decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput([Problem(str(path), "no such file", wanted, _neighbour(path))]) from None
    except IsADirectoryError:
        raise BadInput([Problem(str(path), "a folder", wanted, _inside(path))]) from None
    except UnicodeDecodeError:
        raise BadInput(
            [Problem(str(path), "text that is not UTF-8", wanted, "save it again as UTF-8")]
        ) from None
    except (OSError, ValueError) as error:
        got = "a folder" if path.is_dir() else str(getattr(error, "strerror", None) or error)
        raise BadInput([Problem(str(path), got, wanted)]) from None
    return parse_design(text, source=str(path))


def _inside(folder: Path) -> str:
    """Advice naming a design file that a folder holds."""
    names = sorted(p.name for p in folder.glob("*.toml"))
    return f"such as {folder / names[0]}" if names else ""


def _neighbour(path: Path) -> str:
    """Advice naming the design file next to a missing one whose name is nearest."""
    folder = path.parent
    names = sorted(p.name for p in folder.glob("*.toml")) if folder.is_dir() else []
    close = [
        name
        for tried in (path.name, f"{path.name}.toml")
        for name in difflib.get_close_matches(tried, names, n=1)
    ]
    return f"did you mean {folder / close[0]}?" if close else "chaingen new writes a design to start from"


def parse_design(text: str, *, source: str = "design") -> Design:
    """Read the text of a design file.

    Args:
        text: TOML.
        source: What to call the file in messages.

    Raises:
        BadInput: With every problem found.

    Example:
        >>> from chaingen import BadInput, parse_design
        >>> from chaingen.design.starter import starter_design
        >>> try:
        ...     parse_design(starter_design("two-in-one", wire="18 gauge"))
        ... except BadInput as error:
        ...     [problem.where for problem in error.problems]
        ['rings.link.wire']
    """
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise BadInput([Problem(source, "tables nested too deeply", "a design file")]) from None
    except ValueError as error:
        raise BadInput([_broken(source, str(error))]) from None
    try:
        table = DesignTable.model_validate(data)
    except ValidationError as error:
        problems = _value_problems(error) + _name_problems(data)
        raise BadInput(_limited(dict.fromkeys(problems))) from None
    problems = _name_problems(data)
    if not problems:
        design = _design(table)
        problems = _run_problems(design)
    if problems:
        raise BadInput(_limited(problems))
    return design


def _broken(source: str, message: str) -> Problem:
    """TOML that cannot be read, with the line and column that the reader names."""
    place = re.fullmatch(r"(.*) \(at (line \d+, column \d+|end of document)\)", message, re.DOTALL)
    if place is None:
        return Problem(source, "", "valid TOML", message)
    return Problem(f"{source}, {place[2]}", "", "valid TOML", place[1])


def _limited(problems: Iterable[Problem]) -> list[Problem]:
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


def _shown(value: object) -> str:
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


def _nearest(name: object, names: Iterable[str]) -> str | None:
    """The one of `names` whose spelling is nearest."""
    close = difflib.get_close_matches(str(name)[:80].lower(), list(names), n=1, cutoff=0.5)
    return close[0] if close else None


def _value_problems(error: ValidationError) -> list[Problem]:
    """What is wrong with keys and values by themselves, in plain words."""
    entries = error.errors(include_url=False)
    # A key that is missing because it is misspelt is told once, as the misspelling.
    meant = {
        (*entry["loc"][:-1], _nearest(entry["loc"][-1], _keys_at(entry["loc"][:-1])))
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
        got = "" if isinstance(value, dict) else _shown(value)
        return Problem(where, got, entry["ctx"]["expected"], entry["ctx"]["advice"])
    if kind == "extra_forbidden":
        keys = _keys_at(location[:-1])
        near = _nearest(location[-1], keys)
        advice = f"did you mean {near}?" if near else ""
        return Problem(where, "an unknown key", f"one of {', '.join(keys)}", advice)
    if kind == "missing":
        return Problem(where, "nothing", "this key, which cannot be left out")
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        return Problem(where, _shown(value), "a table of keys")
    if kind == "list_type":
        return Problem(where, _shown(value), "a list of groups, such as [{ side_by_side = 2 }]")
    if kind == "too_short":
        return Problem(where, _shown(value) if value else "nothing in it", "at least one entry")
    if kind == "too_long":
        return Problem(where, "too many entries", f"at most {entry['ctx']['max_length']}")
    if kind == "literal_error":
        return Problem(where, _shown(value), entry["ctx"]["expected"])
    if kind.startswith("string"):
        return Problem(where, _shown(value), "text of 1 to 200 characters, in quotes")
    return Problem(where, _shown(value), entry["msg"])


def _table(value: object) -> dict[str, Any]:
    """The value if it is a table, else an empty one: what it should have been is told elsewhere."""
    return value if isinstance(value, dict) else {}


def _name_problems(data: dict[str, Any]) -> list[Problem]:
    """What is wrong between keys; judged on what was written, so that it is told along with wrong values."""
    problems = []
    sizes = list(_table(data.get("rings")))
    pattern = _table(data.get("pattern"))
    for place in _LISTS:
        tables = pattern.get(place)
        for number, table in enumerate(tables[:MOST_GROUPS] if isinstance(tables, list) else [], start=1):
            if isinstance(table, dict) and sizes:
                problems += _ring_problems(table, f"pattern.{place}[{number}].ring", sizes)
    if "repeat" in pattern and "length" in pattern:
        problems.append(Problem("pattern", "both repeat and length", "one of the two"))
    if pattern.get("form") == "closed loop" and (pattern.get("first") or pattern.get("last")):
        problems.append(
            Problem(
                "pattern.form", "'closed loop' with first or last", "groups alone: a closed loop has no ends"
            )
        )
    return problems


def _ring_problems(table: dict[str, Any], where: str, sizes: list[str]) -> list[Problem]:
    """Whether the ring that a group names is there."""
    shown = ", ".join(sizes[:20])
    if "ring" not in table:
        if len(sizes) == 1:
            return []
        return [
            Problem(where, "nothing", f"one of {shown}", "with several ring sizes each group names its own")
        ]
    name = table["ring"]
    if not isinstance(name, str) or name in sizes:
        return []
    near = _nearest(name, sizes)
    return [Problem(where, _shown(name), f"one of {shown}", f"did you mean {near}?" if near else "")]


def _design(table: DesignTable) -> Design:
    """The design that a table says whose keys and values are right."""
    sizes = {name: RingSize(name, ring.inside, ring.wire) for name, ring in table.rings.items()}
    pattern = table.pattern

    def groups(tables: list[GroupTable]) -> tuple[Group, ...]:
        made = []
        for entry in tables:
            kind, count = next((k, n) for key, k in _KINDS if (n := getattr(entry, key)) is not None)
            made.append(
                Group(kind, count, sizes[entry.ring if entry.ring is not None else next(iter(sizes))])
            )
        return tuple(made)

    metal = find_metal(table.metal)
    assert metal is not None, "the schema lets known metals through only"
    run = Run(
        groups(pattern.groups),
        repeat=pattern.repeat or 1,
        first=groups(pattern.first),
        last=groups(pattern.last),
        closed=pattern.form == "closed loop",
    )
    return Design(
        title=table.title,
        metal=metal,
        run=run,
        length=pattern.length,
        clearance=table.clearance,
        tolerance=table.tolerance,
        ring_sizes=tuple(sizes.values()),
    )


def _run_problems(design: Design) -> list[Problem]:
    """What is wrong with the piece as a whole."""
    run, problems = design.run, []
    thinnest = min(size.wire_diameter for size in design.ring_sizes)
    if design.tolerance >= 0.5 * thinnest:
        limit = f"less than {format_mm(0.5 * thinnest)}, half the thinnest wire"
        problems.append(Problem("tolerance", format_mm(design.tolerance), limit))
    rings = sum(g.count for g in run.first + run.last) + run.repeat * sum(g.count for g in run.cell)
    if rings > MAX_RINGS:
        problems.append(
            Problem("pattern.repeat", f"a piece of {rings:,} rings", f"at most {MAX_RINGS:,} rings")
        )
        return problems
    cell = sum(g.count for g in run.cell) * (2 if len(run.cell) % 2 else 1)
    repeats = run.closed or run.repeat > 2 or design.length is not None
    if repeats and cell > MAX_CELL_RINGS:
        problems.append(
            Problem(
                "pattern.groups",
                f"{cell} rings to be repeated as one (an odd number of groups counts twice)",
                f"at most {MAX_CELL_RINGS}, more take too long to place",
                "repeat fewer groups, or write an open run out with neither repeat nor length",
            )
        )
    ends = sum(g.count for g in run.first + run.last)
    if design.length is not None and ends > MAX_END_RINGS:
        problems.append(
            Problem(
                "pattern.length",
                f"{ends} rings in first and last",
                f"at most {MAX_END_RINGS} beside a length, more take too long to pull straight",
                "write repeat instead",
            )
        )
    # Two repeats show every pair of neighbours that there can be.
    row = run.first + run.cell * (2 if design.length is not None else min(run.repeat, 2)) + run.last
    joins = [group.kind is GroupKind.JOIN for group in row]
    advice = "write side_by_side instead of join"
    if all(joins):
        problems.append(Problem("pattern.groups", "joins only", "a join between two groups", advice))
        return problems
    if any(a and b for a, b in pairwise(joins + joins[:1] if run.closed else joins)):
        problems.append(
            Problem(
                "pattern.groups",
                "two joins in a row, or in a row when repeated",
                "a group between any two joins",
                advice,
            )
        )
    count = len(run.groups())
    if run.closed and design.length is None and count < 3:
        got = f"a closed loop of {count} group{'s' if count > 1 else ''}"
        problems.append(Problem("pattern", got, "at least 3 groups in a closed loop", "raise repeat"))
    if design.length is not None:
        size = next(group for group in row if group.kind is not GroupKind.JOIN).size
        outside = size.inside_diameter + 2.0 * size.wire_diameter
        if design.length < outside:
            limit = f"at least one group, which is {format_mm(outside)} from outside to outside"
            problems.append(Problem("pattern.length", format_mm(design.length), limit))
    return problems
