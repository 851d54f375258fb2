"""A small design with a finding of each kind in its place; with a title and a metal it is a design file."""

import tomllib

from chaingen.show.finding_samples import EXAMPLES
from chaingen.tables import quoted

BETWEEN = ("loop link", "wrapped link", "oval link", "figure-eight link", "wire path")
"""Kinds that stand among groups; the others are at an end."""

PARTNERS = {"hook": "eye", "eye": "hook", "toggle ring": "toggle bar", "toggle bar": "toggle ring"}
"""What is at the other end of a piece that closes by a finding of a kind."""

SPREADS = "end bar"
"""The kind that strands hang in."""

_RING = """\
[rings.link]
inside = "4 mm"
wire = "20 AWG"
"""

_JOINS = 'joins = [{ join = 1, ring = "link" }]  # the rings between it and the piece, from it inwards'

_GROUPS = """\
[pattern]
repeat = 3
groups = [{ side_by_side = 1, ring = "link" }]
"""

_LINKS = """\
[pattern]
repeat = 3
groups = [
  {{ side_by_side = 1, ring = "link" }},
  {{ finding = {name} }},  # a finding is a group by itself, linked by its eyes
]
"""

_STRANDS = """\
[pattern]
strands = 3  # one for each of its eyes
repeat = 3
groups = [{ side_by_side = 1, ring = "link" }]
"""


def design_of(kind: str) -> str:
    """A small design that has a finding of a kind, without title and metal."""
    finding, name = _finding(kind)
    if kind in BETWEEN:
        return "\n".join([_RING, finding, _LINKS.format(name=quoted(name))])
    parts = [_RING, finding]
    if kind == SPREADS:
        return "\n".join([*parts, _end("end", name, ""), _STRANDS])
    if kind in PARTNERS:
        partner, partner_name = _finding(PARTNERS[kind])
        parts += [partner, _end("start", partner_name, _JOINS)]
    end = "start" if kind.startswith("ear") else "end"
    return "\n".join([*parts, _end(end, name, _JOINS), _GROUPS])


def _finding(kind: str) -> tuple[str, str]:
    """The table of a finding of a kind, and its name."""
    if kind in EXAMPLES:
        (name,) = tomllib.loads(EXAMPLES[kind])["findings"]
        return EXAMPLES[kind], name
    # Named after its kind: two kinds never have one name.
    name = kind.lower().replace(" ", "-")
    return f"[findings.{name}]\nkind = {quoted(kind)}\n", name


def _end(end: str, name: str, joins: str) -> str:
    return "\n".join([f"[ends.{end}]", f"finding = {quoted(name)}", *([joins] if joins else []), ""])
