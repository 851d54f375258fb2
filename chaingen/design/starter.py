"""Starter designs: a commented design file for a chain chosen by name."""

from dataclasses import dataclass
from string import Template

from chaingen.design.service_starter import starter_service
from chaingen.errors import BadInput, Problem
from chaingen.tables import quoted


@dataclass(frozen=True, slots=True)
class Starter:
    """A chain to start from.

    Attributes:
        about: What it is, for a list.
        inside: Usual inside diameter (common practice).
        wire: Usual wire (common practice).
        groups: Lines of the pattern's groups; ``$n`` is the rosette count.
        repeat: Repeats when neither repeats nor a length are asked for; None for a length.
    """

    about: str
    inside: str
    wire: str
    groups: tuple[str, ...]
    repeat: int | None = None


STARTERS = {
    "one-in-one": Starter(
        "a plain chain of single rings", "4 mm", "18 AWG", ('{ side_by_side = 1, ring = "link" },',)
    ),
    "two-in-one": Starter(
        "pairs of rings, each pair joined to the next by a single ring", "3 mm", "18 AWG",
        ('{ side_by_side = 2, ring = "link" },  # a pair of rings side by side',
         '{ join = 1, ring = "link" },          # one ring that joins it to the next pair'),
    ),
    "two-in-two": Starter(
        "pairs of rings linked straight into the next pair", "4 mm", "18 AWG",
        ('{ side_by_side = 2, ring = "link" },',),
    ),
    "three-in-three": Starter(
        "threes of rings linked straight into the next three", "5 mm", "18 AWG",
        ('{ side_by_side = 3, ring = "link" },',),
    ),
    "rosette-chain": Starter(
        "rosettes joined by single rings", "4 mm", "18 AWG",
        ('{ rosette = $n, ring = "link" },  # $n rings, each linked with each',
         '{ join = 1, ring = "link" },     # one ring that joins it to the next rosette'),
    ),
    "rosette-pairs": Starter(
        "rosettes joined by pairs of rings that lie side by side", "4 mm", "18 AWG",
        ('{ rosette = $n, ring = "link" },  # $n rings, each linked with each',
         '{ join = 2, ring = "link" },     # two rings that join it to the next rosette and do not cross'),
    ),
    "rosette": Starter("one rosette by itself", "5 mm", "18 AWG", ('{ rosette = $n, ring = "link" },',), 1),
}  # fmt: skip

_TEXT = Template("""\
# $heading: $about.
# Everything after a # is a note for people. Lengths need a unit: mm, cm or in ("7 1/4 in").

title = $title

# What the rings are made of; `chaingen schema` lists the metals.
metal = $metal

# Gap asked for between any two wires; at 0 mm they may touch.
clearance = $clearance

# How far real rings are off, inside diameter and wire alike.
tolerance = "0.05 mm"

# Whether to find how far the piece bends and twists.
supple = false

# How it is let come to rest under its own weight: hang, swag, table, wrist, neck, such as
# [{ kind = "hang" }, { kind = "wrist", circumference = "165 mm" }].
scenes = []

# How you work, what things cost, rings at hand, a class: tables here or in a settings file, which
# `chaingen settings` writes and a line `settings = "workshop.toml"` names.

# A ring size; add another one as [rings.another] and name it in the groups.
[rings.link]
inside = $inside  # inside diameter: the mandrel it is wound on
wire = $wire  # AWG, SWG, mm or in; a bare "18 gauge" is ambiguous

[pattern]
form = $form  # "open run", or "closed loop": the last group links the first
$extent
first = []  # groups made once before the others; none in a closed loop
groups = [  # the groups that are repeated; neighbours are linked, every ring with every ring
$groups
]
last = []  # groups made once after the others; none in a closed loop
""")


def starter_design(
    chain: str,
    *,
    inside: str | None = None,
    wire: str | None = None,
    metal: str = "sterling silver",
    title: str | None = None,
    repeat: int | None = None,
    length: str | None = None,
    rosette: int = 3,
    clearance: str = "0 mm",
    closed: bool = False,
    process: str | None = None,
) -> str:
    """The text of a commented design file.

    Args:
        chain: One of `STARTERS`.
        inside: Inside diameter as in a design file; the chain's usual one by default.
        wire: Wire as in a design file; the chain's usual one by default.
        metal: A metal's name.
        title: Title of the piece.
        repeat: How many times the groups are made.
        length: Finished length instead, as in a design file; 180 mm by default for a chain.
        rosette: Rings in a rosette.
        clearance: Gap asked for between wires.
        closed: A closed loop instead of an open run.
        process: The process of a service that makes it from its model; none by default.

    Raises:
        BadInput: The chain or the process is not known, or both repeat and length are given. Values inside
            the text are judged when it is read.
    """
    if chain not in STARTERS:
        raise BadInput([Problem("chain", repr(chain), f"one of {', '.join(STARTERS)}")])
    if repeat is not None and length is not None:
        raise BadInput([Problem("repeat and length", "both", "one of the two")])
    title = title or f"A {chain} piece"
    if not title.isprintable():
        raise BadInput([Problem("title", repr(title), "one line of printable text")])
    starter = STARTERS[chain]
    if repeat is None and length is None:
        repeat, length = (starter.repeat, None) if starter.repeat else (None, "180 mm")
    if repeat is not None:
        extent = f'repeat = {repeat}  # how many times the groups are made; or instead: length = "180 mm"'
    else:
        note = 'finished, pulled straight, outside to outside; or: repeat = 12, or wrist = "165 mm"'
        extent = f"length = {quoted(str(length))}  # {note}"
    text = _TEXT.substitute(
        heading=title,
        title=quoted(title),
        about=starter.about,
        metal=quoted(metal),
        clearance=quoted(clearance),
        inside=quoted(starter.inside if inside is None else inside),
        wire=quoted(starter.wire if wire is None else wire),
        form=quoted("closed loop" if closed else "open run"),
        extent=extent,
        groups="\n".join(f"  {Template(line).substitute(n=rosette)}" for line in starter.groups),
    )
    return text if process is None else text + starter_service(process, metal)
