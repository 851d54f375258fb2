"""One finding of every kind: of its usual sizes, or as an example of ours says where some are to be said."""

import tomllib
from functools import lru_cache

from pydantic import TypeAdapter

from chaingen.design.finding_schema import FindingKeys, FindingTable, finding_of
from chaingen.findings.catalogue import finding_kinds
from chaingen.findings.finding import Finding
from chaingen.show.finding_words import usual

EXAMPLES = {
    "head pin": """\
[findings.buoy]
kind = "head pin"
head = "ball"

[[findings.buoy.beads]]         # the one on the head first
form = "rondelle"
diameter = "4.5 mm"
thickness = "2.6 mm"
colour = "amber"

[[findings.buoy.beads]]
form = "ball"
diameter = "6 mm"
colour = "sea green"

[[findings.buoy.beads]]
form = "disc"
diameter = "5 mm"
thickness = "1.4 mm"
colour = "white"
""",
    "wire path": """\
[findings.hourglass]
kind = "wire path"
wire = "1 mm"
closed = true
steps = [                       # from the middle of one long side, along the piece
  { radius = "2.5 mm", angle = 45, direction = 180 },  # to the right: outwards from the waist
  { radius = "2.25 mm", angle = 270 },                 # to the left: round the outer loop
  { radius = "2.5 mm", angle = 90, direction = 180 },  # the waist on the other side
  { radius = "2.25 mm", angle = 270 },                 # round the inner loop
  { radius = "2.5 mm", angle = 45, direction = 180 },  # and back
]
eyes = [
  { name = "outer loop", from_step = 2, to_step = 2, end = "outer", opened_by = "nothing" },
  { name = "inner loop", from_step = 4, to_step = 4, end = "inner", opened_by = "nothing" },
]
""",
}
"""Parts of a design file with a finding of a kind; kinds without one have usual sizes for all."""


@lru_cache(maxsize=1)
def samples() -> tuple[Finding, ...]:
    """A finding of every kind, in the order in which they are listed."""
    return tuple(_sample(kind) for kind in finding_kinds())


def _sample(kind: str) -> Finding:
    if kind in EXAMPLES:
        return _read(EXAMPLES[kind])
    made = usual(kind)
    assert made is not None, f"{kind} needs an example"
    return made


def _read(text: str) -> Finding:
    """The finding that a part of a design file says."""
    ((name, table),) = tomllib.loads(text)["findings"].items()
    read: FindingKeys = TypeAdapter(FindingTable).validate_python(table)
    made = finding_of(name, read)
    assert isinstance(made, Finding), made
    return made
