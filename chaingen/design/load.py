"""From a design file to a `Design`, or to every problem in it at once."""

import difflib
import os
import re
import tomllib
from pathlib import Path

from pydantic import ValidationError

from chaingen.design.design import Design
from chaingen.design.messages import limited, value_problems
from chaingen.design.problems import name_problems, run_problems, scene_problems
from chaingen.design.scene import SPAN_FRACTION, Scene, SceneKind
from chaingen.design.schema import DesignTable, GroupTable, SceneTable
from chaingen.errors import BadInput, Problem
from chaingen.stock.metals import find_metal
from chaingen.weave.groups import Group, GroupKind, RingSize, Run

MOST_BYTES = 1_000_000
"""A longer file is not a design."""

_KINDS = (
    ("side_by_side", GroupKind.SIDE_BY_SIDE),
    ("rosette", GroupKind.ROSETTE),
    ("join", GroupKind.JOIN),
)


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
        problems = value_problems(error) + name_problems(data) + scene_problems(data)
        raise BadInput(limited(dict.fromkeys(problems))) from None
    problems = name_problems(data) + scene_problems(data)
    if not problems:
        design = _design(table)
        problems = run_problems(design)
    if problems:
        raise BadInput(limited(problems))
    return design


def _broken(source: str, message: str) -> Problem:
    """TOML that cannot be read, with the line and column that the reader names."""
    place = re.fullmatch(r"(.*) \(at (line \d+, column \d+|end of document)\)", message, re.DOTALL)
    if place is None:
        return Problem(source, "", "valid TOML", message)
    return Problem(f"{source}, {place[2]}", "", "valid TOML", place[1])


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
        supple=table.supple,
        scenes=tuple(_scene(entry) for entry in table.scenes),
    )


def _scene(table: SceneTable) -> Scene:
    """The scene that a table says."""
    return Scene(
        kind=SceneKind(table.kind),
        span=table.span,
        span_fraction=SPAN_FRACTION if table.span_fraction is None else table.span_fraction,
        circumference=table.circumference,
        curved=table.laid == "in a curve",
        friction=table.friction,
        disorder=table.disorder,
        seed=table.seed,
        settling=table.settling,
    )
