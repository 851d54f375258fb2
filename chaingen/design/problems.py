"""What is wrong between the values of a design file: names, sums, neighbours; told all at once."""

from itertools import pairwise
from typing import Any

from chaingen.design.design import MAX_CELL_RINGS, MAX_END_RINGS, MAX_RINGS, Design
from chaingen.design.messages import nearest, shown, table_of
from chaingen.design.scene import SceneKind
from chaingen.design.schema import MOST_GROUPS, MOST_SCENES
from chaingen.errors import Problem
from chaingen.units import format_mm
from chaingen.weave.groups import GroupKind

_LISTS = ("first", "groups", "last")
"""The lists of groups in a pattern."""


_BELONGS = {
    "span": ("swag",),
    "span_fraction": ("swag",),
    "circumference": ("wrist", "neck"),
    "laid": ("table",),
}
"""Keys of a scene that go with some kinds only."""


def name_problems(data: dict[str, Any]) -> list[Problem]:
    """What is wrong between keys; judged on what was written, so that it is told along with wrong values."""
    problems = []
    sizes = list(table_of(data.get("rings")))
    pattern = table_of(data.get("pattern"))
    for place in _LISTS:
        tables = pattern.get(place)
        for number, table in enumerate(tables[:MOST_GROUPS] if isinstance(tables, list) else [], start=1):
            if isinstance(table, dict) and sizes:
                problems += _ring_problems(table, f"pattern.{place}[{number}].ring", sizes)
    if "repeat" in pattern and "length" in pattern:
        problems.append(Problem("pattern", "both repeat and length", "one of the two"))
    if pattern.get("form") == "closed loop" and (pattern.get("first") or pattern.get("last")):
        problems.append(
            Problem(
                "pattern.form", "'closed loop' with first or last", "groups alone: a closed loop has no ends"
            )
        )
    return problems


def _ring_problems(table: dict[str, Any], where: str, sizes: list[str]) -> list[Problem]:
    """Whether the ring that a group names is there."""
    choice = ", ".join(sizes[:20])
    if "ring" not in table:
        if len(sizes) == 1:
            return []
        return [
            Problem(where, "nothing", f"one of {choice}", "with several ring sizes each group names its own")
        ]
    name = table["ring"]
    if not isinstance(name, str) or name in sizes:
        return []
    near = nearest(name, sizes)
    return [Problem(where, shown(name), f"one of {choice}", f"did you mean {near}?" if near else "")]


def scene_problems(data: dict[str, Any]) -> list[Problem]:
    """What is wrong between the keys of scenes."""
    problems = []
    tables = data.get("scenes")
    closed = table_of(data.get("pattern")).get("form") == "closed loop"
    for number, table in enumerate(tables[:MOST_SCENES] if isinstance(tables, list) else [], start=1):
        kind = table_of(table).get("kind")
        where = f"scenes[{number}]"
        for key, kinds in _BELONGS.items():
            if kind in list(SceneKind) and key in table_of(table) and kind not in kinds:
                problems.append(
                    Problem(
                        f"{where}.{key}",
                        f"in a scene of kind {kind!r}",
                        f"{key} in {' or '.join(kinds)} only",
                    )
                )
        if kind == "swag" and "span" in table and "span_fraction" in table:
            problems.append(Problem(where, "both span and span_fraction", "one of the two"))
        if kind == "swag" and closed:
            problems.append(
                Problem(
                    f"{where}.kind",
                    "'swag' of a closed loop",
                    "an open run, which has two ends",
                    "a loop can hang",
                )
            )
        if "seed" in table_of(table) and not table.get("disorder"):
            problems.append(Problem(f"{where}.seed", "a seed without disorder", "disorder over 0 beside it"))
    return problems


def run_problems(design: Design) -> list[Problem]:
    """What is wrong with the piece as a whole."""
    run, problems = design.run, []
    thinnest = min(size.wire_diameter for size in design.ring_sizes)
    if design.tolerance >= 0.5 * thinnest:
        limit = f"less than {format_mm(0.5 * thinnest)}, half the thinnest wire"
        problems.append(Problem("tolerance", format_mm(design.tolerance), limit))
    rings = sum(g.count for g in run.first + run.last) + run.repeat * sum(g.count for g in run.cell)
    if rings > MAX_RINGS:
        problems.append(
            Problem("pattern.repeat", f"a piece of {rings:,} rings", f"at most {MAX_RINGS:,} rings")
        )
        return problems
    cell = sum(g.count for g in run.cell) * (2 if len(run.cell) % 2 else 1)
    repeats = run.closed or run.repeat > 2 or design.length is not None
    if repeats and cell > MAX_CELL_RINGS:
        problems.append(
            Problem(
                "pattern.groups",
                f"{cell} rings to be repeated as one (an odd number of groups counts twice)",
                f"at most {MAX_CELL_RINGS}, more take too long to place",
                "repeat fewer groups, or write an open run out with neither repeat nor length",
            )
        )
    ends = sum(g.count for g in run.first + run.last)
    if design.length is not None and ends > MAX_END_RINGS:
        problems.append(
            Problem(
                "pattern.length",
                f"{ends} rings in first and last",
                f"at most {MAX_END_RINGS} beside a length, more take too long to pull straight",
                "write repeat instead",
            )
        )
    # Two repeats show every pair of neighbours that there can be.
    row = run.first + run.cell * (2 if design.length is not None else min(run.repeat, 2)) + run.last
    joins = [group.kind is GroupKind.JOIN for group in row]
    advice = "write side_by_side instead of join"
    if all(joins):
        problems.append(Problem("pattern.groups", "joins only", "a join between two groups", advice))
        return problems
    if any(a and b for a, b in pairwise(joins + joins[:1] if run.closed else joins)):
        problems.append(
            Problem(
                "pattern.groups",
                "two joins in a row, or in a row when repeated",
                "a group between any two joins",
                advice,
            )
        )
    count = len(run.groups())
    if run.closed and design.length is None and count < 3:
        got = f"a closed loop of {count} group{'s' if count > 1 else ''}"
        problems.append(Problem("pattern", got, "at least 3 groups in a closed loop", "raise repeat"))
    if design.length is not None:
        size = next(group for group in row if group.kind is not GroupKind.JOIN).size
        outside = size.inside_diameter + 2.0 * size.wire_diameter
        if design.length < outside:
            limit = f"at least one group, which is {format_mm(outside)} from outside to outside"
            problems.append(Problem("pattern.length", format_mm(design.length), limit))
    return problems
