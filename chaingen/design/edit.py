"""Changes of a design's text: whoever chooses and never types changes the same text as whoever types.

The text stays the maker's: comments, order, spacing and the way in which numbers are written are left as they
are, but for the lines that a change is about. `chaingen.design.edit_changes` says which changes there are.
"""

from collections.abc import Sequence

from chaingen.design.edit_changes import (
    Change,
    Closed,
    Extent,
    Insert,
    Move,
    PutEnd,
    PutGroup,
    PutMetal,
    PutSize,
    PutTitle,
    Remove,
    Set,
    change_from,
    changes_from,
    place_of,
)
from chaingen.design.edit_draft import Draft
from chaingen.design.edit_ends import kinds_for_ends, put_end, take_off
from chaingen.design.edit_sizes import add_size
from chaingen.design.edit_spans import Path
from chaingen.design.form import SCENES_OF, Form
from chaingen.design.load import parse_design_toml
from chaingen.design.pattern_schema import EXTENTS, GROUP_KINDS
from chaingen.design.scene import ROW_SCENES
from chaingen.errors import BadInput, Problem

__all__ = [
    "Change",
    "Closed",
    "Extent",
    "Insert",
    "Move",
    "PutEnd",
    "PutGroup",
    "PutMetal",
    "PutSize",
    "PutTitle",
    "Remove",
    "Set",
    "change_from",
    "changes_from",
    "edited",
    "kinds_for_ends",
]


def edited(text: str, changes: Sequence[Change]) -> str:
    r"""The text of a design with changes made to it, one after the other.

    The new text is TOML; whether it is a design that can be made is for `parse_design` to say.

    Args:
        text: TOML.
        changes: The changes.

    Raises:
        BadInput: The text is no TOML, or a change cannot be made in it.

    Example:
        >>> from chaingen.design.edit import PutSize, edited
        >>> text = '[rings.link]\ninside = "4 mm"  # by eye\nwire = "1 mm"\n'
        >>> edited(text, [PutSize("link", "5 mm")]).splitlines()
        ['[rings.link]', 'inside = "5 mm"  # by eye', 'wire = "1 mm"']
    """
    data = parse_design_toml(text)
    if not changes:
        return text
    returns = "\r\n" in text
    draft = Draft(text.replace("\r\n", "\n"), data)
    for change in changes:
        path = _path(change)
        try:
            _make(draft, change)
            draft.judge(parse_design_toml(draft.text), path)
        except BadInput as error:
            raise BadInput(_placed(problem, path) for problem in error.problems) from None
        except RecursionError:
            raise BadInput([Problem(place_of(path), "tables nested too deeply", "a design file")]) from None
    return draft.text.replace("\n", "\r\n") if returns else draft.text


def _placed(problem: Problem, path: Path) -> Problem:
    """A problem at the place of a change where it speaks of the whole design."""
    if not problem.where.startswith("the design") and not problem.where.startswith("design"):
        return problem
    return Problem(place_of(path), problem.got, problem.expected, problem.advice)


def _path(change: Change) -> Path:
    """What a change is about."""
    match change:
        case Set(at) | Remove(at) | Insert(at) | Move(at) | PutGroup(at):
            return at
        case Extent(kind):
            return ("pattern", kind)
        case Closed():
            return ("pattern", "form")
        case PutEnd(which):
            return ("ends", which)
        case PutSize(name):
            return ("rings", name)
        case PutMetal():
            return ("metal",)
    return ("title",)


def _make(draft: Draft, change: Change) -> None:
    match change:
        case Set(at, value):
            draft.set(at, value)
        case Remove(at):
            draft.remove(at)
        case Insert(at, value):
            draft.insert(at, value)
        case Move(at, to):
            draft.move(at, to)
        case PutGroup():
            _put_group(draft, change)
        case Extent(kind, value):
            _put_extent(draft, kind, value)
        case Closed(value):
            _close(draft) if value else _open(draft)
        case PutEnd(which, None):
            take_off(draft, which)
        case PutEnd(which, str(kind)):
            put_end(draft, which, kind)
        case PutSize():
            _put_size(draft, change)
        case PutMetal(value):
            draft.set(("metal",), value)
        case PutTitle(value):
            draft.set(("title",), value)


def _put_group(draft: Draft, change: PutGroup) -> None:
    at, kind = change.at, change.kind
    group = draft.get(*at)
    if not isinstance(group, dict):
        raise BadInput([Problem(place_of(at), "nothing", "a group that is there")])
    old = next((one for one in GROUP_KINDS if one in group), None)
    if old is not None and old != kind:
        draft.rename((*at, old), kind)
        draft.forget(at)
    for other in GROUP_KINDS:
        if other != kind:
            draft.remove((*at, other))
    if kind == "finding":
        name = change.finding
        if name is None and old == "finding":
            name = group["finding"]
        if name is None:
            name = next(iter(draft.table("findings")), None)
        if name is None:
            raise BadInput([Problem(place_of(at), "a finding without its name", "the name of a finding")])
        draft.remove((*at, "ring"))
        draft.set((*at, kind), name)
        return
    draft.remove((*at, "turned"))
    count = change.count
    if count is None:
        now = group.get(kind)
        count = now if isinstance(now, int) and not isinstance(now, bool) else 1
        if kind == "rosette":
            # A rosette of one is none; three is the least that holds together by itself.
            count = count if count >= 2 else 3
    draft.set((*at, kind), count)
    ring = change.ring
    if ring is None and "ring" not in group and len(draft.table("rings")) > 1:
        ring = next(iter(draft.table("rings")))
    if ring is not None:
        draft.set((*at, "ring"), ring)


def _put_extent(draft: Draft, kind: str, value: int | str) -> None:
    old = next((one for one in EXTENTS if draft.has("pattern", one)), None)
    if old is not None and old != kind and not draft.has("pattern", kind):
        draft.rename(("pattern", old), kind)
        draft.forget(("pattern", kind))
    for other in EXTENTS:
        if other != kind:
            draft.remove(("pattern", other))
    if kind not in ("wrist", "neck"):
        draft.remove(("pattern", "ease"))
    draft.set(("pattern", kind), value)


def _close(draft: Draft) -> None:
    for which in ("start", "end"):
        take_off(draft, which)
    draft.remove(("ends",))
    for name in ("first", "last"):
        if draft.get("pattern", name) not in (..., []):
            draft.set(("pattern", name), [])
    draft.remove(("pattern", "strands"))
    scenes = draft.get("scenes")
    for place in reversed(range(len(scenes) if isinstance(scenes, list) else 0)):
        kind = draft.get("scenes", place, "kind")
        if kind in ROW_SCENES and kind not in SCENES_OF[Form.CLOSED_LOOP]:
            draft.remove(("scenes", place))
    draft.set(("pattern", "form"), "closed loop")


def _open(draft: Draft) -> None:
    if draft.has("pattern", "form"):
        draft.set(("pattern", "form"), "open run")


def _put_size(draft: Draft, change: PutSize) -> None:
    at = ("rings", change.name)
    said = {"inside": change.inside, "wire": change.wire, "metal": change.metal}
    if not draft.has(*at):
        usual = next((one for one in draft.table("rings").values() if isinstance(one, dict)), {})
        fresh = {
            "inside": said["inside"] or usual.get("inside", "4 mm"),
            "wire": said["wire"] or usual.get("wire", "18 AWG"),
        }
        add_size(draft, change.name, fresh if change.metal is None else {**fresh, "metal": change.metal})
        return
    for name, value in said.items():
        if value is not None:
            draft.set((*at, name), value)
    if change.no_metal:
        draft.remove((*at, "metal"))
