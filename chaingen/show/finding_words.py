"""Findings in words: the list of kinds, one kind with its keys and usual sizes, and those of a piece."""

from collections.abc import Iterator
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from chaingen.design.finding_schema import TABLES
from chaingen.errors import BadInput, Problem
from chaingen.findings.catalogue import KINDS, finding_kinds
from chaingen.findings.finding import Finding
from chaingen.geometry.shapes import Closure, Eye
from chaingen.make.result import Result
from chaingen.show.phrases import after_colon, grams
from chaingen.stock.gauges import describe_wire
from chaingen.tables import meant
from chaingen.units import format_mm

LIST_HEAD = ("kind", "what it is")
"""Head of the list of kinds."""

KEYS_HEAD = ("key", "what it means")
"""Head of the list of a kind's keys."""

KIND = "kind"
"""The key that says the kind itself."""

COMES_APART = ("slips out", "does not close")
"""Kinds of cautions by which a piece that fits comes apart all the same."""


def list_rows() -> list[list[str]]:
    """The rows of the list of kinds, for `LIST_HEAD`."""
    return [[kind, KINDS[kind].line] for kind in finding_kinds()]


def find_kind(name: str, *, where: str = "KIND") -> str:
    """The kind of finding of a name, without regard to capitals and surplus spaces.

    Raises:
        BadInput: There is none.
    """
    known = {kind.lower(): kind for kind in finding_kinds()}
    spelt = " ".join(name.lower().split())
    if spelt not in known:
        choice = f"one of {', '.join(finding_kinds())}"
        raise BadInput([Problem(where, repr(name), choice, meant(spelt, known))])
    return known[spelt]


def key_rows(kind: str) -> list[list[str]]:
    """The keys of a kind with what they mean, for `KEYS_HEAD`; those of tables in it after a dot."""
    return [
        [name, (field.description or "") + (" Cannot be left out." if field.is_required() else "")]
        for name, field in _keys(TABLES[kind])
        if name != KIND
    ]


def _keys(table: type[BaseModel], before: str = "") -> Iterator[tuple[str, FieldInfo]]:
    for name, field in table.model_fields.items():
        yield before + name, field
        for inner in _tables_in(field.annotation):
            yield from _keys(inner, f"{before}{name}.")


def _tables_in(annotation: Any) -> list[type[BaseModel]]:
    """The tables that an annotation names, in its lists and alternatives."""
    if get_origin(annotation) is None and isinstance(annotation, type):
        return [annotation] if issubclass(annotation, BaseModel) else []
    found = [table for part in get_args(annotation) for table in _tables_in(part)]
    return list(dict.fromkeys(found))


def usual(kind: str) -> Finding | None:
    """A finding of the kind with its usual sizes; None where some size is to be said."""
    if any(field.is_required() for name, field in TABLES[kind].model_fields.items() if name != KIND):
        return None
    return KINDS[kind].build(kind)


def eye_words(eye: Eye) -> str:
    """An eye in words: what goes through it and how it is opened."""
    words = f"{eye.name}, {format_mm(eye.inside)} inside"
    if eye.closure is Closure.HOOK:
        return f"{words}, an open hook whose opening is {format_mm(eye.opening)}"
    if eye.gate is not None:
        return f"{words}, {eye.closure.value}, opens {format_mm(eye.gate)}"
    gap = f", open by {format_mm(eye.opening)}" if eye.opening > 0.0 else ""
    return f"{words}, {eye.closure.value}{gap}"


def eye_of(finding: Finding, eye: Eye) -> str:
    """An eye of a finding in words, as its kind has them."""
    if eye.closure is Closure.BAR:
        return "the bar, which lies across the ring that it went through"
    words = eye_words(eye)
    if finding.kind == "wrapped link":
        words = words.replace(Closure.SOLDERED.value, "closed by the coil below it")
    return words


def kind_lines(kind: str) -> list[str]:
    """What is told of a kind besides its keys."""
    lines = [f"{kind}: {KINDS[kind].line}."]
    made = usual(kind)
    if made is None:
        return lines
    eyes = made.shape.eyes
    inner = "; ".join(eye_of(made, eyes[k]) for k in made.inner)
    outer = "; ".join(eye_of(made, eyes[k]) for k in made.outer if k not in made.inner)
    lines.append(f"With its usual sizes: towards the piece {inner or 'no eye'}.")
    if outer:
        lines.append(f"At its other end {outer}.")
    lines.append(f"It is {outer_size(made)}; {making_words(made)}.")
    return lines


def outer_size(finding: Finding) -> str:
    """How long and wide a finding is from outside to outside."""
    low, high = finding.shape.box
    long, wide = (format_mm(float(extent), 1) for extent in (high - low)[:2])
    return f"{long} long and {wide} wide"


def making_words(finding: Finding) -> str:
    """The wire to cut for a finding, or that it is bought."""
    if KINDS[finding.kind].bought:
        return "mostly bought ready made (common practice)"
    pieces = finding.cutting_list
    # There is no need to say of what a single one is.
    cuts = (
        ("" if len(pieces) == 1 else f"{cut.what}, ")
        + f"{format_mm(cut.length, 1)} of {describe_wire(cut.wire)}"
        for cut in pieces
    )
    return f"cut {'; '.join(cuts)}"


def finding_lines(result: Result) -> list[str]:
    """Findings and beads with the wire to cut, and what is to be known of them besides `parting_lines`."""
    several = len(result.metals.metals) > 1
    lines = []
    for entry in result.findings:
        finding = entry.finding
        metal = f", {entry.metal.name}, {grams(entry.weight)}" if several else ""
        named = f"{entry.count:,} x {finding.kind} {finding.name!r}{metal}"
        if KINDS[finding.kind].bought:
            lines.append(f"{named}: {outer_size(finding)}, {making_words(finding)}.")
        else:
            each = "" if entry.count == 1 else "for each "
            lines.append(f"{named}: {each}{making_words(finding)}.")
    for beads in result.beads:
        bead = beads.bead
        size = format_mm(bead.diameter)
        if bead.form != "ball":
            size += f" x {format_mm(bead.thickness)}"
        weight = f", {grams(beads.weight)}" if beads.weight is not None else ""
        lines.append(f"{beads.count:,} x bead, {bead.form}, {size}, hole {format_mm(bead.hole)}{weight}.")
    return [*lines, *(caution.text for caution in result.cautions if caution.kind not in COMES_APART)]


def parting_lines(result: Result) -> list[str]:
    """How a piece comes apart although it may fit; told with the verdict."""
    word = "But" if result.fits else "Also"
    return [
        f"{word}: {after_colon(caution.text)}" for caution in result.cautions if caution.kind in COMES_APART
    ]


def kind_data(kind: str) -> dict[str, Any]:
    """A kind for JSON; lengths in mm."""
    made = usual(kind)
    return {
        "kind": kind,
        "about": KINDS[kind].line,
        "keys": [
            {"key": name, "about": field.description or "", "required": field.is_required()}
            for name, field in _keys(TABLES[kind])
            if name != KIND
        ],
        "usual": None
        if made is None
        else {
            "eyes": [
                {
                    "name": eye.name,
                    "towards_piece": k in made.inner,
                    "inside_mm": round(eye.inside, 6),
                    "closure": eye.closure.value,
                    "opening_mm": round(eye.opening, 6),
                    "opens_to_mm": None if eye.gate is None else round(eye.gate, 6),
                }
                for k, eye in enumerate(made.shape.eyes)
            ],
            "cut": [
                {
                    "part": cut.what,
                    "wire_diameter_mm": round(cut.wire, 6),
                    "length_mm": round(cut.length, 6),
                }
                for cut in made.cutting_list
            ],
        },
    }
