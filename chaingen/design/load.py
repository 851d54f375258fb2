"""From a design file to a `Design`, or to every problem in it at once."""

import difflib
import tomllib
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from chaingen.design.design import MAX_RINGS, Design
from chaingen.design.schema import DesignTable, GroupTable, PatternTable, RingTable
from chaingen.errors import BadInput, Problem
from chaingen.stock.metals import find_metal
from chaingen.units import format_mm
from chaingen.weave.groups import Group, GroupKind, RingSize, Run

MOST_BYTES = 1_000_000
"""A longer file is not a design."""

_KINDS = (
    ("side_by_side", GroupKind.SIDE_BY_SIDE),
    ("rosette", GroupKind.ROSETTE),
    ("join", GroupKind.JOIN),
)


def load_design(path: Path) -> Design:
    """Read a design file.

    Args:
        path: A TOML file.

    Raises:
        BadInput: With every problem found, each naming its place.
    """
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise BadInput([Problem(str(path), "a folder", "a design file (TOML)")])
        if size > MOST_BYTES:
            raise BadInput([Problem(str(path), f"{size:,} bytes", f"a design file of at most {MOST_BYTES:,} bytes")])
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise BadInput([Problem(str(path), "no such file", "a design file (TOML)", _neighbour(path))]) from None
    except (OSError, ValueError) as error:
        got = "text that is not UTF-8" if isinstance(error, UnicodeDecodeError) else getattr(error, "strerror", str(error))
        raise BadInput([Problem(str(path), str(got), "a design file (TOML in UTF-8)")]) from None
    return parse_design(text, source=str(path))


def _neighbour(path: Path) -> str:
    """Advice naming the design file next to a missing one whose name is nearest."""
    folder = path.parent
    names = sorted(p.name for p in folder.glob("*.toml")) if folder.is_dir() else []
    close = difflib.get_close_matches(path.name, names, n=1) or difflib.get_close_matches(f"{path.name}.toml", names, n=1)
    return f"did you mean {folder / close[0]}?" if close else "chaingen new writes a design to start from"


def parse_design(text: str, *, source: str = "design") -> Design:
    """Read the text of a design file.

    Args:
        text: TOML.
        source: What to call the file in messages.

    Raises:
        BadInput: With every problem found.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput([Problem(source, "", "valid TOML", str(error))]) from None
    except RecursionError:
        raise BadInput([Problem(source, "tables nested too deeply", "a design file")]) from None
    try:
        table = DesignTable.model_validate(data)
    except ValidationError as error:
        problems = [_problem(entry, data) for entry in error.errors(include_url=False)]
        raise BadInput(dict.fromkeys(problems)) from None
    return _design(table)


def _where(location: tuple[int | str, ...]) -> str:
    """``pattern.groups[2].ring`` for a pydantic location; places in lists count from 1."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else part
    return text or "the design"


def _shown(value: object) -> str:
    """What stands there, short enough for a message."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list" if value else "an empty list"
    text = "true" if value is True else "false" if value is False else repr(value) if isinstance(value, str) else str(value)
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
            inner = [arg for arg in (annotation, *get_args(annotation)) if isinstance(arg, type) and issubclass(arg, BaseModel)]
            model = inner[0] if inner else None
    return list(model.model_fields) if isinstance(model, type) else []


def _problem(entry: Any, data: dict[str, Any]) -> Problem:
    """A pydantic error in plain words."""
    location: tuple[int | str, ...] = entry["loc"]
    kind, value = entry["type"], entry["input"]
    where = _where(location)
    if kind == "expected":
        if isinstance(value, dict):
            return Problem(where, "", entry["ctx"]["expected"])
        return Problem(where, _shown(value), entry["ctx"]["expected"])
    if kind == "extra_forbidden":
        keys = _keys_at(location[:-1])
        close = difflib.get_close_matches(str(location[-1]), keys, n=1, cutoff=0.5)
        advice = f"did you mean {close[0]}?" if close else ""
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


def _groups(
    tables: list[GroupTable], place: str, sizes: dict[str, RingSize], problems: list[Problem]
) -> tuple[Group, ...]:
    groups = []
    for number, table in enumerate(tables, start=1):
        where = f"pattern.{place}[{number}].ring"
        name = table.ring
        if name is None and len(sizes) == 1:
            name = next(iter(sizes))
        if name is None:
            problems.append(Problem(where, "nothing", f"one of {', '.join(sizes)}", "name the ring size of this group"))
        elif name not in sizes:
            close = difflib.get_close_matches(name, sizes, n=1, cutoff=0.5)
            advice = f"did you mean {close[0]}?" if close else ""
            problems.append(Problem(where, repr(name), f"one of {', '.join(sizes)}", advice))
        else:
            kind, count = next((k, n) for key, k in _KINDS if (n := getattr(table, key)) is not None)
            groups.append(Group(kind, count, sizes[name]))
    return tuple(groups)


def _design(table: DesignTable) -> Design:
    """What goes beyond single values: names that must exist, sums and neighbours."""
    problems: list[Problem] = []
    sizes = {name: RingSize(name, ring.inside, ring.wire) for name, ring in table.rings.items()}
    pattern = table.pattern
    first = _groups(pattern.first, "first", sizes, problems)
    cell = _groups(pattern.groups, "groups", sizes, problems)
    last = _groups(pattern.last, "last", sizes, problems)
    closed = pattern.form == "closed loop"
    thinnest = min(size.wire_diameter for size in sizes.values())
    if table.tolerance >= 0.5 * thinnest:
        problems.append(
            Problem("tolerance", format_mm(table.tolerance), f"less than half the thinnest wire, {format_mm(thinnest)}")
        )
    if not table.title.isprintable():
        problems.append(Problem("title", _shown(table.title), "one line of printable text"))
    if pattern.repeat is not None and pattern.length is not None:
        problems.append(Problem("pattern", "both repeat and length", "one of the two"))
    if closed and (first or last):
        problems.append(Problem("pattern.form", "'closed loop' with first or last", "groups alone: a closed loop has no ends"))
    if problems:
        raise BadInput(problems)
    metal = find_metal(table.metal)
    assert metal is not None
    run = Run(cell, pattern.repeat or 1, first, last, closed)
    problems = _run_problems(run, pattern)
    if problems:
        raise BadInput(problems)
    return Design(table.title, metal, run, pattern.length, table.clearance, table.tolerance, tuple(sizes.values()))


def _run_problems(run: Run, pattern: PatternTable) -> list[Problem]:
    problems = []
    rings = sum(g.count for g in run.first + run.last) + run.repeat * sum(g.count for g in run.cell)
    if rings > MAX_RINGS:
        problems.append(Problem("pattern.repeat", f"a piece of {rings:,} rings", f"at most {MAX_RINGS:,} rings"))
        return problems
    # Two repeats show every pair of neighbours that there can be.
    row = run.first + run.cell * min(run.repeat if pattern.length is None else 2, 2) + run.last
    joins = [group.kind is GroupKind.JOIN for group in row]
    around = joins + joins[:1] if run.closed else joins
    if all(joins):
        problems.append(Problem("pattern.groups", "joins only", "groups between the joins", "write side_by_side instead of join"))
    elif any(a and b for a, b in zip(around, around[1:], strict=False)):
        problems.append(
            Problem("pattern.groups", "two joins in a row", "a group between any two joins", "write side_by_side instead of join")
        )
    if run.closed and pattern.length is None and len(run.groups()) < 3:
        problems.append(Problem("pattern", f"a closed loop of {len(run.groups())}", "at least 3 groups in a closed loop"))
    if pattern.length is not None:
        size = (run.first + run.cell)[0].size
        outside = size.inside_diameter + 2.0 * size.wire_diameter
        if pattern.length < outside:
            problems.append(
                Problem(
                    "pattern.length", format_mm(pattern.length),
                    f"at least one group, which is {format_mm(outside)} from outside to outside",
                )
            )  # fmt: skip
    return problems
