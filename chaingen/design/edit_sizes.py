"""A ring size more in a design: what is made of its only one so far names that from then on."""

from collections.abc import Iterator, Mapping
from typing import Any

from chaingen.design.edit_draft import Draft
from chaingen.design.edit_spans import Path
from chaingen.design.weaves import is_file
from chaingen.errors import BadInput
from chaingen.weave.catalogue import find_weave

LISTS: tuple[Path, ...] = (
    ("ends", "start", "joins"),
    ("pattern", "first"),
    ("pattern", "groups"),
    ("pattern", "last"),
    ("ends", "end", "joins"),
)
"""Where groups are, but for those of sections."""


def add_size(draft: Draft, name: str, size: Mapping[str, Any]) -> None:
    """Add a ring size to those that there are.

    Groups and the roles of a weave need not name the only one; with another beside it they must.

    Args:
        draft: The design.
        name: The new ring size, of a name that none has.
        size: What it says.
    """
    names = list(draft.table("rings"))
    if len(names) == 1:
        _name_only(draft, names[0])
    draft.set(("rings", name), dict(size))


def _name_only(draft: Draft, only: str) -> None:
    """Write the name of the only ring size wherever it is meant without being said."""
    for groups in _lists(draft):
        entries = draft.get(*groups)
        for place, group in enumerate(entries if isinstance(entries, list) else []):
            if isinstance(group, dict) and "ring" not in group and "finding" not in group:
                draft.set((*groups, place, "ring"), only)
    for table in (("pattern",), *_sections(draft)):
        chosen = draft.get(*table, "rings")
        for role in _roles(draft.get(*table, "weave")):
            if role != only and (chosen is ... or (isinstance(chosen, dict) and role not in chosen)):
                draft.set((*table, "rings", role), only)


def _sections(draft: Draft) -> Iterator[Path]:
    sections = draft.get("pattern", "sections")
    for place, section in enumerate(sections if isinstance(sections, list) else []):
        if isinstance(section, dict):
            yield ("pattern", "sections", place)


def _lists(draft: Draft) -> Iterator[Path]:
    yield from LISTS
    for section in _sections(draft):
        yield (*section, "groups")


def _roles(weave: object) -> list[str]:
    """The roles of a weave by its name; none of one that is not known, or in a file of its own."""
    if not isinstance(weave, str) or is_file(weave):
        return []
    try:
        return [role.name for role in find_weave(weave).roles]
    except BadInput:
        return []
