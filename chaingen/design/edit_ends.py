"""A finding at an end of a piece, chosen by its kind alone: its table, and the rings that join it.

What joins it is a ring that the design has, where that passes the finding's eye and holds the rings at the
end of the piece; else one is added that does. How much room such a ring needs beyond the smallest circle that
its wires fit in is common practice: a third.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

import numpy as np

from chaingen.design.edit_draft import Draft
from chaingen.design.edit_sizes import add_size
from chaingen.errors import BadInput, Problem
from chaingen.findings.catalogue import KINDS
from chaingen.findings.finding import Finding
from chaingen.geometry.packing import enclosing_radius
from chaingen.geometry.shapes import Eye
from chaingen.stock.gauges import awg, parse_wire
from chaingen.units import UnreadableLength, format_mm, parse_length
from chaingen.weave.catalogue import find_weave
from chaingen.weave.weave import Repeats, Weave

ROOM = 4.0 / 3.0
"""Inside diameter of a joining ring over that of the smallest circle that its wires fit in."""

THICKEST = 0.7
"""Wire of a joining ring over the inside of the eye that it passes, at most."""

STEP = 0.25
"""Inside diameters of rings that are added are whole multiples of this [mm], as mandrels come."""

SAME = 0.1
"""Rings of a rough pose are side by side when they are no farther apart along the chain, in radii."""

GAUGES = (16, 18, 20, 22, 24, 26)
"""Wires of rings that are added, AWG, thickest first."""

JUMP = "jump"
"""What a ring size is called that is added to join a finding."""

NAMES = {
    "closed ring": "catch",
    "spring ring": "clasp",
    "lobster clasp": "clasp",
    "toggle bar": "bar",
    "toggle ring": "toggle",
    "ear wire": "hook",
    "ear post": "post",
    "head pin": "drop",
    "loop link": "link",
    "wrapped link": "link",
    "oval link": "oval",
    "figure-eight link": "eight",
}
"""What a finding of a kind is called that is put to an end; others by their kind."""


def kinds_for_ends() -> dict[str, tuple[str, ...]]:
    """The kinds of findings that can be put to an end by their kind alone, by end.

    A wire path is none of them: its maker bends it step by step.
    """
    kinds = tuple(kind for kind in KINDS if kind != "wire path")
    return {"start": kinds, "end": kinds}


@dataclass(frozen=True, slots=True)
class _Meets:
    """What an end of the piece offers to a finding.

    Attributes:
        count: How many wires there a joining ring goes round.
        wire: Their diameter [mm].
        inside: Inside diameter of the rings there, the narrowest [mm].
        is_join: Whether they are a joining ring already, and no other rings.
        strands: How many strands the piece has there.
    """

    count: int
    wire: float
    inside: float
    is_join: bool = False
    strands: int = 1


def put_end(draft: Draft, which: str, kind: str) -> None:
    """Put a kind of finding to an end.

    Args:
        draft: The design.
        which: ``start`` or ``end``.
        kind: The kind.

    Raises:
        BadInput: The piece has no ends, or the kind cannot be put there.
    """
    if kind not in kinds_for_ends()[which]:
        got, wanted = f"a {kind}", "a kind that its name says all of"
        raise BadInput([Problem(f"ends.{which}", got, wanted, "write its steps in a table [findings.NAME]")])
    _refuse_endless(draft, which)
    old = draft.get("ends", which, "finding")
    if isinstance(old, str) and draft.get("findings", old, "kind") == kind:
        return
    meets = _meets(draft, which)
    table: dict[str, Any] = {"kind": kind}
    if kind == "end bar":
        table["strands"] = meets.strands
    sizes = {key: value for key, value in table.items() if key != "kind"}
    finding = KINDS[kind].build(kind, **sizes)
    kept = draft.get("ends", which, "joins")
    keeps = isinstance(kept, list) and bool(kept) and _takes(draft, kept[0], finding)
    name = _free(draft, NAMES.get(kind, kind.lower()))
    draft.set(("findings", name), table)
    if keeps:
        draft.set(("ends", which, "finding"), name)
    else:
        joins = _joins(draft, meets, finding, end_bar=kind == "end bar")
        if draft.has("ends", which):
            draft.set(("ends", which, "finding"), name)
            draft.set(("ends", which, "joins"), joins)
        else:
            draft.set(("ends", which), {"finding": name, **({"joins": joins} if joins else {})})
        _drop_jumps(draft, kept)
    _drop_finding(draft, old)


def take_off(draft: Draft, which: str) -> None:
    """Take off what is at an end; its finding and the ring size added for it go where nothing names them."""
    if not draft.has("ends", which):
        return
    finding, joins = (draft.get("ends", which, name) for name in ("finding", "joins"))
    draft.remove(("ends", which))
    if not draft.table("ends"):
        draft.remove(("ends",))
    _drop_finding(draft, finding)
    _drop_jumps(draft, joins)


def _refuse_endless(draft: Draft, which: str) -> None:
    form = draft.get("pattern", "form")
    weave = _weave(draft.table("pattern"))
    if form == "closed loop":
        got, advice = "an end of a closed loop", "an open run has two ends that a clasp closes"
    elif form == "sheet" or (weave is not None and weave.repeats is Repeats.SHEET):
        got, advice = "an end of a sheet", "a sheet has no two ends; sections or groups have"
    else:
        return
    raise BadInput([Problem(f"ends.{which}", got, "ends of an open run only", advice)])


def _free(draft: Draft, name: str) -> str:
    """A name that no ring size and no finding has."""
    taken = {*draft.table("rings"), *draft.table("findings")}
    number, free = 1, name
    while free in taken:
        number += 1
        free = f"{name}-{number}"
    return free


def _drop_finding(draft: Draft, name: object) -> None:
    if isinstance(name, str) and draft.has("findings", name) and not _is_named(draft, name):
        draft.remove(("findings", name))
        if draft.get("findings") == {}:
            draft.remove(("findings",))


def _drop_jumps(draft: Draft, joins: object) -> None:
    """Remove the ring size that was added for joins, where nothing else names it."""
    rows = joins if isinstance(joins, list) else []
    for name in dict.fromkeys(str(one.get("ring")) for one in rows if isinstance(one, dict)):
        ours = name.split("-")[0] == JUMP and len(draft.table("rings")) > 1
        if ours and draft.has("rings", name) and not _is_named(draft, name):
            draft.remove(("rings", name))


def _is_named(draft: Draft, name: str) -> bool:
    """Whether anything besides its own table may name a ring size or a finding."""

    def names(value: Any) -> bool:
        if isinstance(value, dict):
            return any(key == name or names(one) for key, one in value.items())
        if isinstance(value, list):
            return any(names(one) for one in value)
        return bool(value == name)

    rest = {key: value for key, value in draft.data.items() if key not in ("rings", "findings", "title")}
    return names(rest)


# What joins it


def _joins(draft: Draft, meets: _Meets, finding: Finding, *, end_bar: bool) -> list[dict[str, Any]]:
    """The groups between a finding and the piece, from the finding inwards."""
    eye = finding.shape.eyes[finding.inner[0]]
    ring = {"ring": ""}
    if meets.is_join and meets.count == 1 and _passes(meets.wire, meets.inside, eye, 1, meets.wire):
        # The piece ends with a ring that joins already.
        return []
    if meets.strands > 1:
        ring["ring"] = _ring_for(draft, 1, meets.wire, meets.inside, eye)
        abreast = meets.strands
        if end_bar:
            return [{"join": abreast, **ring}]
        size = draft.table("rings", ring["ring"])
        wire, inside = _size(size) or (meets.wire, meets.inside)
        outer = _ring_for(draft, abreast, wire, inside, eye)
        return [{"join": 1, "ring": outer}, {"side_by_side": abreast, **ring}]
    return [{"join": 1, "ring": _ring_for(draft, meets.count, meets.wire, meets.inside, eye)}]


def _passes(wire: float, inside: float, eye: Eye, count: int, others: float) -> bool:
    """Whether a joining ring passes an eye and has room for it and for wires of the piece [mm]."""
    radii = np.array([0.5 * others] * count + [eye.wire_radius])
    return wire <= THICKEST * eye.inside and inside >= ROOM * 2.0 * float(enclosing_radius(radii))


def _takes(draft: Draft, join: object, finding: Finding) -> bool:
    """Whether the ring of a join passes a finding's eye, and the finding has one eye there."""
    size = _size(draft.table("rings", str(join.get("ring")))) if isinstance(join, dict) else None
    if size is None or len(finding.inner) != 1 or join.get("finding") is not None:  # type: ignore[attr-defined]
        return False
    eye = finding.shape.eyes[finding.inner[0]]
    return size[0] <= THICKEST * eye.inside and 2.0 * eye.wire_radius <= 0.5 * size[1]


def _ring_for(draft: Draft, count: int, wire: float, inside: float, eye: Eye) -> str:
    """The name of a ring size that joins an eye to rings; one is added where the design has none.

    Args:
        draft: The design.
        count: How many rings.
        wire: Their wire [mm].
        inside: Their inside diameter [mm].
        eye: The eye.
    """
    # A ring at the end lacks a neighbour on one side, so it has room for a wire as thick as its own.
    for name, table in draft.table("rings").items():
        size = _size(table)
        if size is not None and size[0] <= wire and _passes(*size, eye, count, wire):
            return str(name)
    limit = min(wire, THICKEST * eye.inside, 0.4 * inside)
    gauge = next((number for number in GAUGES if awg(number) <= limit * 1.0001), GAUGES[-1])
    radii = np.array([0.5 * wire] * count + [eye.wire_radius])
    wanted = ROOM * 2.0 * float(enclosing_radius(radii))
    least = STEP * ceil(max(wanted, 2.5 * awg(gauge)) / STEP)
    name = _free(draft, JUMP)
    add_size(draft, name, {"inside": format_mm(least), "wire": f"{gauge} AWG"})
    return name


def _size(table: object) -> tuple[float, float] | None:
    """Wire and inside diameter of a ring size [mm]; None where they cannot be read."""
    if not isinstance(table, dict):
        return None
    try:
        return parse_wire(str(table["wire"])), parse_length(str(table["inside"]))
    except (KeyError, UnreadableLength):
        return None


# What the piece has at an end


def _meets(draft: Draft, which: str) -> _Meets:
    pattern = draft.table("pattern")
    sections = pattern.get("sections")
    if isinstance(sections, list) and sections:
        part = sections[0 if which == "start" else -1]
        pattern = part if isinstance(part, dict) else {}
    strands = pattern.get("strands")
    count = strands if isinstance(strands, int) and not isinstance(strands, bool) and 1 < strands <= 20 else 1
    usual = _narrowest(draft, draft.table("rings"))
    group = _group_at(pattern, which)
    if group is not None:
        kind = next((one for one in ("side_by_side", "rosette", "join") if one in group), None)
        wire, inside = _size(draft.table("rings", str(group.get("ring")))) or usual
        rings = group.get(kind) if kind is not None else 1
        rings = rings if isinstance(rings, int) and not isinstance(rings, bool) and 0 < rings <= 50 else 1
        return _Meets(rings, wire, inside, kind == "join" and count == 1, count)
    weave = _weave(pattern)
    if weave is None:
        return _Meets(2, *usual, strands=count)
    chosen = pattern.get("rings")
    names = [chosen.get(role.name, role.name) for role in weave.roles] if isinstance(chosen, dict) else []
    sizes = {name: draft.table("rings", str(name)) for name in names}
    wire, inside = _narrowest(draft, sizes or draft.table("rings"))
    return _Meets(_rings_at_ends(weave), wire, inside, strands=count)


def _narrowest(draft: Draft, tables: dict[str, Any]) -> tuple[float, float]:
    """The thickest wire and the narrowest inside of ring sizes [mm]."""
    sizes = [size for table in tables.values() if (size := _size(table)) is not None]
    if not sizes:
        return awg(18), 4.0
    return max(wire for wire, _ in sizes), min(inside for _, inside in sizes)


def _group_at(pattern: dict[str, Any], which: str) -> dict[str, Any] | None:
    """The outermost group of a pattern at an end; None of a weave."""
    lists: Sequence[object] = [pattern.get(name) for name in ("first", "groups", "last")]
    for groups in lists if which == "start" else reversed(lists):
        if isinstance(groups, list) and groups:
            group = groups[0 if which == "start" else -1]
            return group if isinstance(group, dict) else None
    return None


def _weave(pattern: dict[str, Any]) -> Weave | None:
    """The weave of the catalogue that a pattern names; None of others."""
    name = pattern.get("weave")
    try:
        return find_weave(name) if isinstance(name, str) else None
    except BadInput:
        return None


def _rings_at_ends(weave: Weave) -> int:
    """How many rings a weave that makes a chain has at an end, by its rough pose; at most its cell."""
    if weave.finish:
        return len(weave.finish)
    along = sorted(ring.centre[0] for ring in weave.rings if ring.centre is not None)
    if weave.pose is None or len(along) < len(weave.rings):
        return len(weave.rings)
    radius = min(0.5 * (role.inside_diameter + role.wire_diameter) for role in weave.roles)
    places = [[along[0]]]
    for x in along[1:]:
        if x - places[-1][-1] > SAME * radius:
            places.append([])
        places[-1].append(x)
    return max(len(places[0]), len(places[-1]))
