"""What is wrong between the keys of a design file: names, what goes with what; told all at once.

It is judged on what was written, so that it is told along with values that are wrong by themselves.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from chaingen.design.form import SCENES_OF, Form, scene_choice, scene_problem, supple_problem
from chaingen.design.pattern_schema import EXTENTS, MOST_GROUPS, PatternTable, SectionTable
from chaingen.design.scene import SceneKind
from chaingen.design.schema import MOST_SCENES
from chaingen.design.weaves import Weaves, section_tables, size_choice, weave_table_problems
from chaingen.errors import Problem
from chaingen.tables import list_of, meant, nearest, quoted, shown, table_of
from chaingen.weave.weave import Repeats

_LISTS = ("first", "groups", "last")
"""The lists of groups in a pattern."""

ENDS = ("start", "end")
"""The ends of a piece."""

_CONTENTS = ("groups", "weave", "sections")
"""What a pattern can be made of."""

_KEYS = {
    "groups": {"form", *EXTENTS, "ease", "first", "groups", "last", "strands"},
    "chain": {"form", *EXTENTS, "ease", "weave", "rings", "hand", "strands"},
    "sheet": {"form", "columns", "rows", "outline", "weave", "rings", "hand"},
    "sections": {"form", "sections"},
}
"""The keys that go with what a pattern is made of."""

_SECTION_KEYS = {
    "groups": {"groups", "repeat", "strands"},
    "weave": {"weave", "rings", "hand", "repeat", "strands"},
}
"""Likewise for a section."""

_OF = {
    "groups": "a pattern of groups",
    "chain": "a weave that makes a chain",
    "sheet": "a weave that makes a sheet",
    "sections": "a pattern of sections",
    "weave": "a section of a weave",
}

_INSTEAD = {
    ("repeat", "sheet"): "a sheet has columns and rows, or an outline",
    ("length", "sheet"): "a sheet has columns and rows, or an outline",
    ("wrist", "sheet"): "a sheet has columns and rows, or an outline",
    ("neck", "sheet"): "a sheet has columns and rows, or an outline",
    ("columns", "chain"): "a chain has repeat or length",
    ("rows", "chain"): "a chain has repeat or length",
    ("columns", "groups"): "groups have repeat or length",
    ("rows", "groups"): "groups have repeat or length",
    ("repeat", "sections"): "every section has a repeat of its own",
    ("length", "sections"): "every section has a repeat of its own",
    ("wrist", "sections"): "every section has a repeat of its own",
    ("neck", "sections"): "every section has a repeat of its own",
    ("strands", "sections"): "every section has strands of its own",
    ("first", "sections"): "write it as a section",
    ("last", "sections"): "write it as a section",
    ("first", "chain"): "sections put groups before a weave",
    ("last", "chain"): "sections put groups after a weave",
    ("rings", "groups"): "each group names its ring",
}
"""What to write instead of a key that does not go with a pattern."""

_FORMS = {
    "groups": ("open run", "closed loop"),
    "chain": ("open run", "closed loop"),
    "sheet": ("sheet",),
    "sections": ("open run",),
}
"""The forms that each can have."""

_BELONGS = {
    "span": ("swag", "corners"),
    "span_fraction": ("swag", "corners"),
    "circumference": ("wrist", "neck"),
    "laid": ("table",),
}
"""Keys of a scene that go with some kinds only."""


def name_problems(data: dict[str, Any], weaves: Weaves) -> list[Problem]:
    """What is wrong between the keys of rings and pattern.

    Args:
        data: The design file.
        weaves: The weaves that it names and that are to be had.
    """
    problems = []
    sizes = list(table_of(data.get("rings")))
    findings = list(table_of(data.get("findings")))
    pattern = table_of(data.get("pattern"))
    for where, groups in group_lists(data):
        problems += _group_problems(groups, where, sizes, findings)
    for where, section in section_tables(pattern):
        problems += _one_of(section, ("groups", "weave"), where, "a section", SectionTable)
        kind = next((kind for kind in ("groups", "weave") if kind in section), "")
        if kind:
            problems += _foreign(section, kind, _SECTION_KEYS, where, SectionTable)
        if isinstance(section.get("weave"), str) and (weave := weaves.get(section["weave"])):
            problems += weave_table_problems(where, section, weave, sizes)
    extents = [name for name in EXTENTS if name in pattern]
    if len(extents) > 1:
        both = f"both {extents[0]} and {extents[1]}" if len(extents) == 2 else f"{', '.join(extents)} at once"
        problems.append(Problem("pattern", both, "one of the two" if len(extents) == 2 else "one of them"))
    if "ease" in pattern and not {"wrist", "neck"} & set(extents):
        problems.append(Problem("pattern.ease", "ease alone", "ease beside a wrist or a neck"))
    if isinstance(data.get("pattern"), dict):
        problems += _one_of(pattern, _CONTENTS, "pattern", "a pattern", PatternTable)
    kind = kind_of(pattern, weaves)
    if kind:
        problems += _foreign(pattern, kind, _KEYS, "pattern", PatternTable)
        problems += _form_problems(pattern, kind)
    if kind in ("chain", "sheet"):
        problems += weave_table_problems("pattern", pattern, weaves[pattern["weave"]], sizes)
    if kind == "sheet":
        problems += _extent_problems(pattern)
    return problems


def kind_of(pattern: Mapping[str, Any], weaves: Weaves) -> str:
    """What a pattern is made of: groups, chain, sheet or sections; empty where that cannot be told."""
    given = [kind for kind in _CONTENTS if kind in pattern]
    if len(given) != 1:
        return ""
    if given != ["weave"]:
        return given[0]
    name = pattern["weave"]
    weave = weaves.get(name) if isinstance(name, str) else None
    if weave is None:
        return ""
    return "sheet" if weave.repeats is Repeats.SHEET else "chain"


def _one_of(
    table: Mapping[str, Any],
    kinds: tuple[str, ...],
    where: str,
    what: str,
    model: type[PatternTable | SectionTable],
) -> list[Problem]:
    """Whether a table says exactly one of some keys."""
    given = [kind for kind in kinds if kind in table]
    if len(given) == 1:
        return []
    known = list(model.model_fields)
    if not given and any(nearest(name, known) in kinds for name in table if name not in known):
        return []  # it is misspelt, which is told already
    got = f"both {' and '.join(given)}" if given else f"none of {', '.join(kinds)}"
    return [Problem(where, got, f"exactly one of {', '.join(kinds[:-1])} and {kinds[-1]} in {what}")]


def _foreign(
    table: Mapping[str, Any],
    kind: str,
    keys: Mapping[str, set[str]],
    where: str,
    model: type[PatternTable | SectionTable],
) -> list[Problem]:
    """Known keys that do not go with what a table is made of."""
    problems = []
    for name in model.model_fields:
        if name not in table or name in keys[kind] or name in _CONTENTS:
            continue
        homes = [_OF[home] for home, own in keys.items() if name in own]
        expected = f"{name} in {' or '.join(homes)} only"
        advice = _INSTEAD.get((name, kind), "")
        problems.append(Problem(f"{where}.{name}", f"{name} in {_OF[kind]}", expected, advice))
    return problems


def _form_problems(pattern: Mapping[str, Any], kind: str) -> list[Problem]:
    form = pattern.get("form")
    if form == "closed loop" and (pattern.get("first") or pattern.get("last")):
        return [
            Problem(
                "pattern.form", "'closed loop' with first or last", "groups alone: a closed loop has no ends"
            )
        ]
    if form == "closed loop" and pattern.get("strands", 1) != 1:
        reason = "strands have two ends, which end bars hold"
        return [Problem("pattern.form", "'closed loop' of strands", "'open run'", reason)]
    if form not in ("open run", "closed loop", "sheet") or form in _FORMS[kind]:
        return []
    reason = {
        "groups": "groups stand in a row; a weave fills a sheet",
        "chain": "its cell repeats along a line only",
        "sheet": "its cell repeats both along and across",
        "sections": "the last section is not made to link the first",
    }[kind]
    choice = " or ".join(repr(one) for one in _FORMS[kind])
    return [Problem("pattern.form", f"{form!r} of {_OF[kind]}", choice, reason)]


def _extent_problems(pattern: Mapping[str, Any]) -> list[Problem]:
    """Whether a sheet says how large it is, and once."""
    given = [name for name in ("columns", "rows") if name in pattern]
    if "outline" in pattern:
        if given:
            got = f"outline and {' and '.join(given)}"
            return [Problem("pattern", got, "columns and rows, or an outline")]
        return []
    if len(given) == 2:
        return []
    got = f"{given[0]} alone" if given else "neither"
    return [Problem("pattern", got, "columns and rows, or an outline", "a sheet has a size")]


def group_lists(data: Mapping[str, Any]) -> Iterator[tuple[str, object]]:
    """Every list of groups of a design file with its place."""
    pattern = table_of(data.get("pattern"))
    for place in _LISTS:
        yield f"pattern.{place}", pattern.get(place)
    for where, section in section_tables(pattern):
        yield f"{where}.groups", section.get("groups")
    for end, table in table_of(data.get("ends")).items():
        if end in ENDS:
            yield f"ends.{end}.joins", table_of(table).get("joins")


def _group_problems(groups: object, where: str, sizes: list[str], findings: list[str]) -> list[Problem]:
    problems = []
    for number, table in enumerate(list_of(groups, MOST_GROUPS), start=1):
        if isinstance(table, dict) and sizes:
            problems += _ring_problems(table, f"{where}[{number}].ring", sizes, findings)
    return problems


def _ring_problems(table: dict[str, Any], where: str, sizes: list[str], findings: list[str]) -> list[Problem]:
    """Whether the ring that a group names is there."""
    choice = size_choice(sizes)
    if "finding" in table:
        return []
    if "ring" not in table:
        if len(sizes) == 1:
            return []
        return [Problem(where, "nothing", choice, "with several ring sizes each group names its own")]
    name = table["ring"]
    if not isinstance(name, str) or name in sizes:
        return []
    if name in findings:
        advice = f"a finding is a group by itself: {{ finding = {quoted(name)} }}"
        return [Problem(where, f"{shown(name)}, which is a finding", choice, advice)]
    return [Problem(where, shown(name), choice, meant(name, sizes))]


def rest_problems(data: dict[str, Any], weaves: Weaves) -> list[Problem]:
    """What is wrong between the keys of scenes, and between them and the pattern.

    Args:
        data: The design file.
        weaves: See `name_problems`.
    """
    problems = []
    pattern = table_of(data.get("pattern"))
    kind = kind_of(pattern, weaves)
    form = {"": None, "sheet": Form.SHEET, "sections": Form.SECTIONS}.get(kind, Form.OPEN_RUN)
    if form is Form.OPEN_RUN and pattern.get("form") == "closed loop":
        form = Form.CLOSED_LOOP
    strands = pattern.get("strands", 1) != 1
    if form is Form.OPEN_RUN and (strands or (kind == "chain" and table_of(data.get("ends")))):
        # Findings beside a weave, and beside strands, are sections of their own.
        form = Form.SECTIONS
    if form is Form.SECTIONS and _is_fastened(data, pattern):
        form = Form.FASTENED
    if data.get("supple") is True and form is not None:
        turning = kind == "chain" and weaves[pattern["weave"]].turning
        if problem := supple_problem(form, turning, "supple"):
            problems.append(problem)
    for number, table in enumerate(list_of(data.get("scenes"), MOST_SCENES), start=1):
        problems += _scene_problems(table_of(table), f"scenes[{number}]", form)
    return problems


def _is_fastened(data: dict[str, Any], pattern: dict[str, Any]) -> bool:
    """Whether sections have a finding at an end, by which they can be closed."""
    if table_of(data.get("ends")):
        return True
    sections = [section for _, section in section_tables(pattern)]
    outermost = [(sections[end].get("groups"), end) for end in (0, -1)] if sections else []
    return any(
        isinstance(groups, list) and groups and "finding" in table_of(groups[end])
        for groups, end in outermost
    )


def _scene_problems(table: dict[str, Any], where: str, form: Form | None) -> list[Problem]:
    problems = []
    kind = table.get("kind")
    known = SceneKind(kind) if isinstance(kind, str) and kind in list(SceneKind) else None
    if known is None and form is not None and "kind" in table:
        kinds = [one.value for one in SCENES_OF[form]]
        problems.append(Problem(f"{where}.kind", shown(kind), scene_choice(form), meant(kind, kinds)))
    for name, homes in _BELONGS.items():
        if known and name in table and known not in homes:
            # Only scenes that the piece can rest in are offered.
            fit = [home for home in homes if form is None or SceneKind(home) in SCENES_OF[form]]
            expected = f"{name} in {' or '.join(fit)} only" if fit else f"no {name} in scenes of {form}"
            problems.append(Problem(f"{where}.{name}", f"in a scene of kind {kind!r}", expected))
    if known and "span" in table and "span_fraction" in table and kind in _BELONGS["span"]:
        problems.append(Problem(where, "both span and span_fraction", "one of the two"))
    if known and form is not None and (problem := scene_problem(form, known, f"{where}.kind")):
        problems.append(problem)
    if form is Form.SHEET and kind == "table" and table.get("laid") == "in a curve":
        problems.append(Problem(f"{where}.laid", "'in a curve' of a sheet", "'straight': a sheet lies flat"))
    if "seed" in table and not table.get("disorder"):
        problems.append(Problem(f"{where}.seed", "a seed without disorder", "disorder over 0 beside it"))
    return problems
