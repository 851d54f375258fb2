"""Weave files: from a TOML file to a `Weave`, or to every problem in it at once; and back to a file."""

import os
from collections.abc import Iterable
from math import degrees, radians
from textwrap import wrap

from pydantic import ValidationError

from chaingen.errors import BadInput
from chaingen.stock.gauges import gauge_name, parse_wire
from chaingen.tables import FileKind, limited, parse_toml, quoted, quoted_key, read_text, value_problems
from chaingen.units import format_mm
from chaingen.weave.weave import Repeats, Role, Weave, WeaveLink, WeavePose, WeaveRing
from chaingen.weave.weave_problems import weave_problems
from chaingen.weave.weave_schema import WeaveTable

DIGITS = 6
"""Decimals of the numbers that are written: a millionth of a millimetre."""

COLUMNS = 106
"""Where the lines of a heading are broken that is made here."""

_FILE = FileKind(
    whole="the weave",
    file="a weave file",
    root=WeaveTable,
    lists={
        "links": 'a list of links, such as [["a", "b"], ["a", "b", 1]]',
        "caged_by": 'a list of rings, such as [["b"], ["b", 1]]',
        "side_by_side": 'a list of lists of rings, such as [["a", "b"]]',
        "finish": 'a list of rings, such as ["a"]',
    },
    start="chaingen weaves lists the weaves that are known by name",
)


def load_weave(path: str | os.PathLike[str]) -> Weave:
    """Read a weave file.

    Args:
        path: A TOML file.

    Raises:
        BadInput: With every problem found, each naming its place.
    """
    return parse_weave(read_text(path, _FILE), source=str(path))


def parse_weave(text: str, *, source: str = "weave") -> Weave:
    """Read the text of a weave file.

    Args:
        text: TOML.
        source: What to call the file in messages.

    Raises:
        BadInput: With every problem found.

    Example:
        >>> from chaingen.weave.weave_file import parse_weave
        >>> weave = parse_weave('''
        ...     name = "plain"
        ...     repeats = "chain"
        ...     links = [["a", "b"], ["b", "a", 1]]
        ...     roles.link = { inside = "4 mm", wire = "18 AWG" }
        ...     rings = { a = {}, b = {} }
        ... ''')
        >>> weave.degrees()
        {'a': 2, 'b': 2}
    """
    data = parse_toml(text, source, _FILE)
    problems = weave_problems(data)
    try:
        table = WeaveTable.model_validate(data)
    except ValidationError as error:
        problems = value_problems(error, _FILE) + problems
        raise BadInput(limited(dict.fromkeys(problems), _FILE)) from None
    if problems:
        raise BadInput(limited(problems, _FILE))
    return _weave(table)


def _weave(table: WeaveTable) -> Weave:
    """The weave that a table says which is right in itself."""
    only = next(iter(table.roles))
    pose = table.pose
    return Weave(
        name=table.name,
        title=table.name if table.title is None else table.title,
        about=table.about,
        wear=table.wear,
        make=table.make,
        repeats=Repeats(table.repeats),
        roles=tuple(
            Role(name, role.inside, role.wire, role.least, role.comfortable)
            for name, role in table.roles.items()
        ),
        rings=tuple(
            WeaveRing(
                name, only if ring.role is None else ring.role, ring.centre, ring.axis, tuple(ring.caged_by)
            )
            for name, ring in table.rings.items()
        ),
        links=tuple(WeaveLink(*link) for link in table.links),
        side_by_side=tuple(tuple(names) for names in table.side_by_side),
        finish=tuple(table.finish),
        pose=None if pose is None else WeavePose(pose.period, radians(pose.twist or 0.0), pose.across),
        turning=table.turning,
        hand=table.hand,
    )


def weave_text(weave: Weave, *, heading: str = "") -> str:
    """A commented weave file.

    Numbers are rounded to a millionth, so a weave that was read from such a file reads back equal.

    Args:
        weave: A weave that a file can say: one that `parse_weave` gave, or like it.
        heading: Lines for the comment at the top; by default the title and what the weave is.

    Example:
        >>> from chaingen.weave.catalogue import find_weave
        >>> from chaingen.weave.weave_file import parse_weave, weave_text
        >>> weave = find_weave("one-in-one")
        >>> parse_weave(weave_text(weave)) == weave
        True
    """
    parts = [_head(weave, heading), _cell(weave)]
    parts += _noted(
        "A ring size for each role; least and comfortable are common practice in inside diameter over wire.",
        [_role(role) for role in weave.roles],
    )
    posed = "" if weave.pose is None else "; centre [mm] and axis are a rough pose to start from"
    parts += _noted(f"The rings of a cell{posed}.", [_ring(ring) for ring in weave.rings])
    if weave.pose is not None:
        parts += _noted("Where the next cell lies.", [_pose(weave.pose)])
    return "\n\n".join(parts) + "\n"


def _noted(note: str, tables: list[str]) -> list[str]:
    """Tables, the first of them under a note."""
    return [f"# {note}\n{tables[0]}", *tables[1:]]


def _head(weave: Weave, heading: str) -> str:
    about = weave.about or f"a {weave.repeats} of wire rings"
    lines = heading.strip().splitlines() or wrap(f"{weave.title}: {about.rstrip('.')}.", COLUMNS)
    comment = "".join(f"# {line}".rstrip() + "\n" for line in lines)
    keys = [("name", weave.name), ("title", weave.title)]
    keys += [(name, text) for name in ("about", "wear", "make") if (text := getattr(weave, name))]
    return comment + "\n" + "\n".join(f"{name} = {quoted(text)}" for name, text in keys)


def _cell(weave: Weave) -> str:
    """The keys that say how rings and cells hang together."""
    chain = weave.repeats is Repeats.CHAIN
    further = "along" if chain else "along and across"
    entries = [
        (
            "How the cell repeats: a chain along, a sheet along and across.",
            f"repeats = {quoted(weave.repeats)}",
        )
    ]
    if chain:
        note = "Whether each cell may turn about the length of the chain against the one before."
        entries.append((note, f"turning = {str(weave.turning).lower()}"))
    if weave.hand:
        note = "The hand of the rough pose: the weave differs from its mirror image."
        entries.append((note, f"hand = {quoted(weave.hand)}"))
    if weave.side_by_side:
        rows = ", ".join(_list(map(quoted, names)) for names in weave.side_by_side)
        note = "Rings that lie side by side: a plane passes between any two."
        entries.append((note, f"side_by_side = [{rows}]"))
    if weave.finish:
        note = "Rings of one more cell that finish an open chain."
        entries.append((note, f"finish = {_list(map(quoted, weave.finish))}"))
    rows = "".join(
        f"  {_list([quoted(link.first), quoted(link.second), *_cells(link.along, link.across)])},\n"
        for link in weave.links
    )
    note = f"Every link once: two rings, and how many cells {further} the second one lies."
    entries.append((note, f"links = [\n{rows}]"))
    return "\n\n".join(f"# {note}\n{text}" for note, text in entries)


def _role(role: Role) -> str:
    gauge = gauge_name(role.wire_diameter)
    exact = bool(gauge) and parse_wire(gauge) == role.wire_diameter
    lines = [
        f"[roles.{quoted_key(role.name)}]",
        f"inside = {quoted(format_mm(role.inside_diameter, DIGITS))}",
        f"wire = {quoted(gauge if exact else format_mm(role.wire_diameter, DIGITS))}",
    ]
    if role.least is not None:
        lines.append(f"least = {_number(role.least)}")
    if role.comfortable is not None:
        lines.append(f"comfortable = {_list(map(_number, role.comfortable))}")
    return "\n".join(lines)


def _ring(ring: WeaveRing) -> str:
    lines = [f"[rings.{quoted_key(ring.name)}]", f"role = {quoted(ring.role)}"]
    if ring.centre is not None:
        lines.append(f"centre = {_list(map(_number, ring.centre))}")
    if ring.axis is not None:
        lines.append(f"axis = {_list(map(_number, ring.axis))}")
    if ring.caged_by:
        rows = [_list([quoted(name), *_cells(along, across)]) for name, along, across in ring.caged_by]
        lines.append(f"caged_by = {_list(rows)}  # the rings that keep it in")
    return "\n".join(lines)


def _pose(pose: WeavePose) -> str:
    lines = ["[pose]", f"period = {_number(pose.period)}  # this much further along x [mm]"]
    if pose.across is None:
        lines.append(f"twist = {_number(degrees(pose.twist))}  # turned by this about x [degrees]")
    else:
        lines.append(f"across = {_list(map(_number, pose.across))}  # the next across, along x and y [mm]")
    return "\n".join(lines)


def _cells(along: int, across: int) -> list[str]:
    """How many cells further, as short as can be."""
    return [str(along), str(across)] if across else [str(along)] if along else []


def _list(entries: Iterable[str]) -> str:
    return f"[{', '.join(entries)}]"


def _number(value: float) -> str:
    """A TOML float of one to six decimals."""
    digits = f"{round(value, DIGITS) + 0.0:.{DIGITS}f}".rstrip("0")  # the sum makes -0.0 plain
    return f"{digits}0" if digits.endswith(".") else digits
