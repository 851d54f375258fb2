"""From the pattern of a design file, once it is known to be right, to the piece it says."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from chaingen.design.design import Ends
from chaingen.design.pattern_schema import EndsTable, GroupTable, OutlineTable, PatternTable, SectionTable
from chaingen.design.weaves import Weaves, size_of_role
from chaingen.findings.finding import Finding
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from chaingen.weave.outline import Outline, circle, drop, polygon
from chaingen.weave.pieces import Chain, Chosen, Piece, Section, Sections, Sheet, Strands
from chaingen.weave.weave import Repeats, Weave

Sizes = Mapping[str, RingSize]
"""All ring sizes by name."""

Findings = Mapping[str, Finding]
"""All findings by name."""

_KINDS = (
    ("side_by_side", GroupKind.SIDE_BY_SIDE),
    ("rosette", GroupKind.ROSETTE),
    ("join", GroupKind.JOIN),
)


def ends_of(table: EndsTable | None, sizes: Sizes, findings: Findings) -> Ends:
    """What a design says of the ends of its piece, in the order of the piece."""
    if table is None:
        return Ends()
    start: tuple[Group, ...] = ()
    end: tuple[Group, ...] = ()
    if table.start is not None:
        finding = Group(GroupKind.FINDING, 1, findings[table.start.finding], turned=True)
        # A finding among the joins has its inner eyes towards the piece at either end.
        joins = _groups(table.start.joins, sizes, findings)
        start = (
            finding,
            *(replace(g, turned=not g.turned) if g.kind is GroupKind.FINDING else g for g in joins),
        )
    if table.end is not None:
        finding = Group(GroupKind.FINDING, 1, findings[table.end.finding])
        end = (*reversed(_groups(table.end.joins, sizes, findings)), finding)
    return Ends(start, end)


def piece_of(
    pattern: PatternTable, sizes: Sizes, findings: Findings, weaves: Weaves, ends: Ends
) -> tuple[Piece, int | None]:
    """The piece that a pattern says.

    Args:
        pattern: The pattern.
        sizes: The ring sizes.
        findings: The findings.
        weaves: The weaves that it names.
        ends: What is at its ends.

    Returns:
        The piece; and the place among its sections of the weave, or of the strands, that findings were put to
        the ends of, None for other pieces.
    """
    closed = pattern.form == "closed loop"
    strands = pattern.strands or 1
    if pattern.sections is not None:
        parts = tuple(_section(section, sizes, findings, weaves) for section in pattern.sections)
        return _with_ends(parts, ends), None
    if pattern.groups is not None:
        cell, first, last = (
            _groups(tables, sizes, findings) for tables in (pattern.groups, pattern.first, pattern.last)
        )
        if strands > 1:
            row = Run(cell, repeat=pattern.repeat or 1, first=first, last=last)
            return _with_ends((Strands(row, strands),), ends), 1 if ends.start else 0
        run = Run(
            cell,
            repeat=pattern.repeat or 1,
            first=ends.start + first,
            last=last + ends.end,
            closed=closed,
        )
        return run, None
    weave, chosen = _weave(pattern, sizes, weaves)
    if weave.repeats is Repeats.CHAIN:
        chain = Chain(weave, chosen, repeat=pattern.repeat or 1, closed=closed)
        if ends or strands > 1:
            part = Strands(chain, strands) if strands > 1 else chain
            return _with_ends((part,), ends), 1 if ends.start else 0
        return chain, None
    if pattern.outline is not None:
        return Sheet(weave, chosen, outline=_outline(pattern.outline)), None
    return Sheet(weave, chosen, columns=pattern.columns or 1, rows=pattern.rows or 1), None


def _with_ends(parts: tuple[Section, ...], ends: Ends) -> Sections:
    """Sections with what is at their ends as further ones."""

    def alone(groups: tuple[Group, ...]) -> tuple[Run, ...]:
        # What ends with a join would lose it, for by itself it hangs on an open end.
        kept = (replace(g, kind=GroupKind.SIDE_BY_SIDE) if g.kind is GroupKind.JOIN else g for g in groups)
        return (Run(tuple(kept)),) if groups else ()

    return Sections((*alone(ends.start), *parts, *alone(ends.end)))


def _section(section: SectionTable, sizes: Sizes, findings: Findings, weaves: Weaves) -> Section:
    part: Run | Chain
    if section.groups is not None:
        part = Run(_groups(section.groups, sizes, findings), repeat=section.repeat or 1)
    else:
        weave, chosen = _weave(section, sizes, weaves)
        part = Chain(weave, chosen, repeat=section.repeat or 1)
    strands = section.strands or 1
    return Strands(part, strands) if strands > 1 else part


def _weave(table: PatternTable | SectionTable, sizes: Sizes, weaves: Weaves) -> tuple[Weave, Chosen]:
    """The weave of the hand asked for, and the ring size of each of its roles."""
    assert table.weave is not None, "a pattern has groups, sections or a weave"
    weave = weaves[table.weave]
    if table.hand is not None and table.hand != weave.hand:
        weave = weave.mirrored()
    names = list(sizes)
    return weave, tuple(
        (role.name, sizes[size_of_role(role.name, table.rings or {}, names)]) for role in weave.roles
    )


def _groups(tables: Sequence[GroupTable], sizes: Sizes, findings: Findings) -> tuple[Group, ...]:
    made = []
    for entry in tables:
        if entry.finding is not None:
            made.append(Group(GroupKind.FINDING, 1, findings[entry.finding], turned=entry.turned))
            continue
        kind, count = next((k, n) for key, k in _KINDS if (n := getattr(entry, key)) is not None)
        made.append(Group(kind, count, sizes[entry.ring if entry.ring is not None else next(iter(sizes))]))
    return tuple(made)


def _outline(table: OutlineTable) -> Outline:
    if table.circle is not None:
        return circle(table.circle)
    if table.drop is not None:
        return drop(*table.drop)
    assert table.polygon is not None, "the schema lets one shape through"
    return polygon(np.array(table.polygon))
