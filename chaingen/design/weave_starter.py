"""Starter designs for weaves: a commented design file with a ring size for every role."""

from string import Template

from chaingen.design.service_starter import starter_service
from chaingen.errors import BadInput, Problem
from chaingen.stock.gauges import gauge_name, parse_wire
from chaingen.tables import quoted, quoted_key
from chaingen.units import UnreadableLength, format_mm, parse_length
from chaingen.weave.weave import Repeats, Role, Weave

LENGTH = "180 mm"
"""Finished length of a chain unless told otherwise."""

COLUMNS, ROWS = 8, 6
"""Cells of a sheet unless told otherwise."""

_TEXT = Template("""\
# $heading
# Everything after a # is a note for people. Lengths need a unit: mm, cm or in ("7 1/4 in").

title = $title

# What the rings are made of, where nothing else is said; `chaingen schema` lists the metals.
metal = $metal

# Gap asked for between any two wires; at 0 mm they may touch.
clearance = $clearance

# How far real rings are off, inside diameter and wire alike.
tolerance = "0.05 mm"

$supple# How it is let come to rest under its own weight: $scenes, such as
# [{ kind = "hang" }, { kind = "table" }].
scenes = []

# A ring size for every role of the weave; it may have a metal of its own, such as metal = "copper".
$rings

[pattern]
weave = $weave  # `chaingen weaves` lists them; or a weave file beside this one
rings = { $roles }  # the ring size of each role
$extent
""")

_SUPPLE = """\
# Whether to find how far the piece bends and twists.
supple = false

"""


def starter_weave(
    weave: Weave,
    *,
    name: str | None = None,
    inside: str | None = None,
    wire: str | None = None,
    metal: str = "sterling silver",
    title: str | None = None,
    repeat: int | None = None,
    length: str | None = None,
    columns: int | None = None,
    rows: int | None = None,
    outline: str | None = None,
    hand: str | None = None,
    clearance: str = "0 mm",
    closed: bool = False,
    process: str | None = None,
) -> str:
    """The text of a commented design file for a weave.

    Args:
        weave: The weave.
        name: What the design calls it: its name by default, or the path of its file.
        inside: Inside diameter as in a design file; the usual one by default. For a weave of one role.
        wire: Wire likewise.
        metal: A metal's name.
        title: Title of the piece.
        repeat: Cells of a chain.
        length: Finished length of a chain instead, as in a design file; `LENGTH` by default.
        columns: Cells of a sheet along; `COLUMNS` by default.
        rows: Cells of a sheet across; `ROWS` by default.
        outline: What a sheet is cut to instead: ``circle:30 mm`` or ``drop:20 mm,34 mm``.
        hand: ``left`` or ``right``, for a weave that has a hand.
        clearance: Gap asked for between wires.
        closed: A closed loop instead of an open run.
        process: The process of a service that makes it from its model; none by default.

    Raises:
        BadInput: Options that do not go with the weave, or a process that is not known. Values inside the
            text are judged when it is read.

    Example:
        >>> from chaingen import parse_design
        >>> from chaingen.design.weave_starter import starter_weave
        >>> from chaingen.weave.catalogue import find_weave
        >>> sheet = parse_design(starter_weave(find_weave("japanese-4-in-1"), columns=5, rows=3)).piece
        >>> sheet.columns, sheet.rows, [size.inside_diameter for size in sheet.sizes()]
        (5, 3, [6.0, 3.5])
    """
    title = title or f"A piece of {weave.title}"
    if not title.isprintable():
        raise BadInput([Problem("title", repr(title), "one line of printable text")])
    chain = weave.repeats is Repeats.CHAIN
    given = {
        "repeat": repeat,
        "length": length,
        "columns": columns,
        "rows": rows,
        "outline": outline,
        "closed": closed or None,
    }
    foreign = ("columns", "rows", "outline") if chain else ("repeat", "length", "closed")
    what = "chain" if chain else "sheet"
    problems = [
        Problem(key, f"{key} for {weave.title}, which makes a {what}", f"options of a {what}")
        for key in foreign
        if given[key] is not None
    ]
    if repeat is not None and length is not None:
        problems.append(Problem("repeat and length", "both", "one of the two"))
    if outline is not None and (columns is not None or rows is not None):
        problems.append(Problem("outline", "outline with columns or rows", "one or the other"))
    if (inside is not None or wire is not None) and len(weave.roles) > 1:
        roles = ", ".join(role.name for role in weave.roles)
        problems.append(
            Problem(
                "inside and wire",
                "one size for several roles",
                f"usual sizes for {roles}",
                "change them in the file",
            )
        )
    if problems:
        raise BadInput(problems)
    lines = []
    if hand is not None or weave.hand:
        lines.append(f"hand = {quoted(hand or weave.hand)}  # or the other one, its mirror image")
    lines += _chain_lines(repeat, length, closed) if chain else _sheet_lines(columns, rows, outline)
    text = _TEXT.substitute(
        heading=f"{title}: {weave.about.rstrip('.')}." if weave.about else f"{title}.",
        title=quoted(title),
        metal=quoted(metal),
        clearance=quoted(clearance),
        supple=_SUPPLE if chain and not weave.turning else "",
        scenes="hang, swag, table, wrist, neck" if chain else "hang, table, corners, edge",
        rings="\n\n".join(_ring_lines(role, inside, wire) for role in weave.roles),
        weave=quoted(weave.name if name is None else name),
        roles=", ".join(f"{quoted_key(role.name)} = {quoted(role.name)}" for role in weave.roles),
        extent="\n".join(lines),
    )
    return text if process is None else text + starter_service(process, metal)


def wire_text(diameter: float) -> str:
    """A wire [mm] as a design file writes it: by its gauge where that is exact."""
    gauge = gauge_name(diameter)
    return gauge if gauge and parse_wire(gauge) == diameter else format_mm(diameter, 6)


def practice_text(role: Role) -> str:
    """What common practice says of a role's aspect ratio; empty when nothing."""
    said = []
    if role.least is not None:
        said.append(f"least {role.least:g}")
    if role.comfortable is not None:
        low, high = role.comfortable
        said.append(f"comfortable {low:g}" + (f" to {high:g}" if high > low else ""))
    return ", ".join(said)


def _ring_lines(role: Role, inside: str | None, wire: str | None) -> str:
    practice = practice_text(role)
    note = f"  # aspect ratios of common practice: {practice}" if practice else ""
    return "\n".join(
        [
            f"[rings.{quoted_key(role.name)}]{note}",
            f"inside = {quoted(inside or format_mm(role.inside_diameter, 6))}  # the mandrel's diameter",
            f"wire = {quoted(wire or wire_text(role.wire_diameter))}  # AWG, SWG, mm or in",
        ]
    )


def _chain_lines(repeat: int | None, length: str | None, closed: bool) -> list[str]:
    form = "closed loop" if closed else "open run"
    lines = [f'form = {quoted(form)}  # "open run", or "closed loop": the last cell links the first']
    if repeat is not None:
        note = f'how many times the cell is made; or instead: length = "{LENGTH}"'
        return [*lines, f"repeat = {repeat}  # {note}"]
    note = 'finished, pulled straight, outside to outside; or: repeat = 12, or wrist = "165 mm"'
    return [*lines, f"length = {quoted(LENGTH if length is None else length)}  # {note}"]


def _sheet_lines(columns: int | None, rows: int | None, outline: str | None) -> list[str]:
    lines = ['form = "sheet"']
    if outline is not None:
        return [
            *lines,
            f"outline = {{ {outline_text(outline)} }}  # whole rings within it; or instead: columns, rows",
        ]
    return [
        *lines,
        f"columns = {COLUMNS if columns is None else columns}  # cells along",
        f"rows = {ROWS if rows is None else rows}  # cells across",
        '# or instead of both: outline = { circle = "30 mm" }, whole rings within it',
    ]


def outline_text(outline: str) -> str:
    """An outline said in a word, as a design file writes it: ``circle:30 mm`` as ``circle = "30 mm"``.

    Raises:
        BadInput: It is none.
    """
    shape, colon, rest = outline.partition(":")
    shape = shape.strip()
    lengths = [part.strip() for part in rest.split(",")]
    expected = '"circle:30 mm" or "drop:20 mm,34 mm" (width, height)'
    count = {"circle": 1, "drop": 2}.get(shape)
    if not colon or len(lengths) != count:
        raise BadInput(
            [Problem("outline", repr(outline), expected, "a polygon is written in the design file")]
        )
    try:
        for length in lengths:
            parse_length(length)
    except UnreadableLength as error:
        raise BadInput([Problem("outline", repr(outline), str(error))]) from None
    if shape == "circle":
        return f"circle = {quoted(lengths[0])}"
    return f"drop = [{', '.join(map(quoted, lengths))}]"
