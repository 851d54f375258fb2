"""Starter designs of finished pieces: commented design files with findings at the ends."""

from dataclasses import dataclass
from string import Template

from chaingen.design.service_starter import starter_service
from chaingen.errors import BadInput, Problem
from chaingen.tables import quoted


@dataclass(frozen=True, slots=True)
class FinishedPiece:
    """A finished piece to start from.

    Attributes:
        about: What it is, for a list.
        options: What of it can be chosen besides metal, title and clearance.
        body: Its rings, findings, ends and pattern; ``$n`` is the rosette count, ``$extent`` its length.
    """

    about: str
    options: tuple[str, ...]
    body: str


_BRACELET = """\
# Ring sizes; add another one as [rings.another] and name it in the groups.
[rings.petal]
inside = "5 mm"  # inside diameter: the mandrel it is wound on
wire = "18 AWG"  # AWG, SWG, mm or in; a bare "18 gauge" is ambiguous

[rings.jump]
inside = "4 mm"
wire = "18 AWG"

# Findings by name; `chaingen findings` lists the kinds, `chaingen findings "loop link"` the keys of one.
[findings.bridge]
kind = "loop link"  # a straight wire with a loop at each end
wire = "1 mm"
inside = "3 mm"  # inside diameter of its loops
stem = "4.5 mm"  # straight wire between them

[findings.clasp]
kind = "lobster clasp"

[findings.catch]
kind = "closed ring"  # soldered; the clasp closes on it
wire = "1 mm"
inside = "5 mm"

# What is at the ends: a finding, and from it inwards the rings that join it to the piece, often one or two.
[ends.start]
finding = "clasp"
joins = [{ join = 1, ring = "jump" }]

[ends.end]
finding = "catch"
joins = [{ join = 1, ring = "jump" }]

[pattern]
form = "open run"
$extent
groups = [  # the groups that are repeated; neighbours are linked
  { rosette = $n, ring = "petal" },  # $n rings, each linked with each
  { join = 1, ring = "jump" },      # one ring that joins the rosette to the link
  { finding = "bridge" },           # a finding is a group by itself, linked by its eyes
  { join = 1, ring = "jump" },
]
last = [{ rosette = $n, ring = "petal" }]  # once more, so that both ends are alike
"""

_EARRINGS = """\
# Ring sizes; add another one as [rings.another] and name it in the groups.
[rings.tiny]
inside = "3.25 mm"  # inside diameter: the mandrel it is wound on
wire = "18 AWG"  # AWG, SWG, mm or in; a bare "18 gauge" is ambiguous

[rings.small]
inside = "4 mm"
wire = "18 AWG"

[rings.middle]
inside = "5 mm"
wire = "18 AWG"

[rings.large]
inside = "5.5 mm"
wire = "16 AWG"

[rings.jump]  # thinner, so that the smallest rosette has room for it
inside = "3.5 mm"
wire = "20 AWG"

# Findings by name; `chaingen findings` lists the kinds, `chaingen findings "head pin"` the keys of one.
[findings.hook]
kind = "ear wire"

[findings.drop]
kind = "head pin"

[[findings.drop.beads]]  # beads in order from the head
form = "ball"
diameter = "6 mm"
hole = "1 mm"
colour = "#2f6f8f"

# What is at the ends: a finding, and from it inwards the rings that join it to the piece, often one or two.
[ends.start]  # on top where it hangs
finding = "hook"
joins = [{ join = 1, ring = "jump" }]

[ends.end]
finding = "drop"
joins = [{ join = 1, ring = "jump" }]

[pattern]
groups = [
  { rosette = $n, ring = "tiny" },  # $n rings, each linked with each
  { join = 1, ring = "small" },    # one ring that joins it to the next rosette
  { rosette = $n, ring = "small" },
  { join = 1, ring = "small" },
  { rosette = $n, ring = "middle" },
  { join = 1, ring = "small" },
  { rosette = $n, ring = "large" },
]
"""

PIECES = {
    "linked-bracelet": FinishedPiece(
        "a bracelet of rosettes joined by links with loops, with a clasp",
        ("repeat", "length", "rosette"),
        _BRACELET,
    ),
    "graduated-earrings": FinishedPiece(
        "a pair of earrings: rosettes that grow downwards, ear wires, and a bead that dangles",
        ("rosette",),
        _EARRINGS,
    ),
}
"""The finished pieces by name; their sizes are common practice."""

LENGTH = "180 mm"
"""Finished length of a bracelet unless told otherwise, its clasp included."""

_HEAD = Template("""\
# $heading: $about.
# Everything after a # is a note for people. Lengths need a unit: mm, cm or in ("7 1/4 in").

title = $title

# What rings and findings are made of, where they name no metal of their own; `chaingen schema` lists metals.
metal = $metal

# Gap asked for between any two wires; at 0 mm they may touch.
clearance = $clearance

# How far real rings are off, inside diameter and wire alike.
tolerance = "0.05 mm"

# Whether two are made, mirror images of one another: counts and weight are then of both.
pair = $pair

# Whether to find how far the piece bends and twists.
supple = false

# How it is let come to rest under its own weight: hang, swag, table, wrist, neck, such as
# [{ kind = "hang" }].
scenes = []

""")


def starter_piece(
    piece: str,
    *,
    metal: str = "sterling silver",
    title: str | None = None,
    repeat: int | None = None,
    length: str | None = None,
    rosette: int = 3,
    clearance: str = "0 mm",
    process: str | None = None,
) -> str:
    """The text of a commented design file of a finished piece.

    Args:
        piece: One of `PIECES`.
        metal: A metal's name.
        title: Title of the piece.
        repeat: How many times the groups of a bracelet are made.
        length: Finished length of a bracelet instead, as in a design file; `LENGTH` by default.
        rosette: Rings in a rosette.
        clearance: Gap asked for between wires.
        process: The process of a service that makes it from its model; none by default.

    Raises:
        BadInput: The piece or the process is not known, an option does not go with the piece, or both
            repeat and length are given. Values inside the text are judged when it is read.
    """
    if piece not in PIECES:
        raise BadInput([Problem("piece", repr(piece), f"one of {', '.join(PIECES)}")])
    starter = PIECES[piece]
    given = {"repeat": repeat, "length": length}
    foreign = [key for key, value in given.items() if value is not None and key not in starter.options]
    if foreign:
        raise BadInput([Problem(key, f"{key} of {piece}", "options of a bracelet only") for key in foreign])
    if repeat is not None and length is not None:
        raise BadInput([Problem("repeat and length", "both", "one of the two")])
    title = title or piece.replace("-", " ").capitalize()
    if not title.isprintable():
        raise BadInput([Problem("title", repr(title), "one line of printable text")])
    if repeat is not None:
        extent = f'repeat = {repeat}  # how many times the groups are made; or instead: length = "{LENGTH}"'
    else:
        note = 'finished, clasp included, pulled straight; or: repeat = 6, or wrist = "165 mm"'
        extent = f"length = {quoted(LENGTH if length is None else length)}  # {note}"
    head = _HEAD.substitute(
        heading=title,
        about=starter.about,
        title=quoted(title),
        metal=quoted(metal),
        clearance=quoted(clearance),
        pair="true" if piece == "graduated-earrings" else "false",
    )
    text = head + Template(starter.body).substitute(n=rosette, extent=extent)
    return text if process is None else text + starter_service(process, metal)
