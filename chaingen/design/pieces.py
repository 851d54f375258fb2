"""From the pattern of a design file, once it is known to be right, to the piece it says."""

from collections.abc import Mapping, Sequence

import numpy as np

from chaingen.design.pattern_schema import GroupTable, OutlineTable, PatternTable, SectionTable
from chaingen.design.weaves import Weaves, size_of_role
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from chaingen.weave.outline import Outline, circle, drop, polygon
from chaingen.weave.pieces import Chain, Chosen, Piece, Sections, Sheet
from chaingen.weave.weave import Repeats, Weave

Sizes = Mapping[str, RingSize]
"""All ring sizes by name."""

_KINDS = (
    ("side_by_side", GroupKind.SIDE_BY_SIDE),
    ("rosette", GroupKind.ROSETTE),
    ("join", GroupKind.JOIN),
)


def piece_of(pattern: PatternTable, sizes: Sizes, weaves: Weaves) -> Piece:
    """The piece that a pattern says.

    Args:
        pattern: The pattern.
        sizes: The ring sizes.
        weaves: The weaves that it names.
    """
    closed = pattern.form == "closed loop"
    if pattern.sections is not None:
        return Sections(tuple(_section(section, sizes, weaves) for section in pattern.sections))
    if pattern.groups is not None:
        return Run(
            _groups(pattern.groups, sizes),
            repeat=pattern.repeat or 1,
            first=_groups(pattern.first, sizes),
            last=_groups(pattern.last, sizes),
            closed=closed,
        )
    weave, chosen = _weave(pattern, sizes, weaves)
    if weave.repeats is Repeats.CHAIN:
        return Chain(weave, chosen, repeat=pattern.repeat or 1, closed=closed)
    if pattern.outline is not None:
        return Sheet(weave, chosen, outline=_outline(pattern.outline))
    return Sheet(weave, chosen, columns=pattern.columns or 1, rows=pattern.rows or 1)


def _section(section: SectionTable, sizes: Sizes, weaves: Weaves) -> Run | Chain:
    if section.groups is not None:
        return Run(_groups(section.groups, sizes), repeat=section.repeat or 1)
    weave, chosen = _weave(section, sizes, weaves)
    return Chain(weave, chosen, repeat=section.repeat or 1)


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


def _groups(tables: Sequence[GroupTable], sizes: Sizes) -> tuple[Group, ...]:
    made = []
    for entry in tables:
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
