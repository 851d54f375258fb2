"""What is wrong with the names of findings, and with what a design says of the ends of its piece.

It is judged on what was written, so that it is told along with values that are wrong by themselves.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from chaingen.design.pattern_schema import MOST_GROUPS
from chaingen.design.problems import ENDS, group_lists, kind_of
from chaingen.design.weaves import MOST_SHOWN, Weaves
from chaingen.errors import Problem
from chaingen.tables import key, list_of, meant, shown, table_of


def finding_name_problems(data: Mapping[str, Any], weaves: Weaves) -> list[Problem]:
    """What is wrong with names of findings and with the ends of the piece.

    Args:
        data: The design file.
        weaves: The weaves that it names and that are to be had.
    """
    sizes, findings = list(table_of(data.get("rings"))), list(table_of(data.get("findings")))
    problems = [
        Problem(f"findings.{key(name)}", f"{shown(name)}, which is a ring size already", "a name of its own")
        for name in findings
        if name in sizes
    ]
    for where, name in _named(data):
        if isinstance(name, str) and name not in findings:
            problems.append(_unknown(where, name, sizes, findings))
    return problems + _end_problems(data, weaves)


def _named(data: Mapping[str, Any]) -> Iterator[tuple[str, object]]:
    """Every place that names a finding, with what it says."""
    for where, groups in group_lists(data):
        for number, table in enumerate(list_of(groups, MOST_GROUPS), start=1):
            if isinstance(table, dict) and "finding" in table:
                yield f"{where}[{number}].finding", table["finding"]
    for end in ENDS:
        table = table_of(table_of(data.get("ends")).get(end))
        if "finding" in table:
            yield f"ends.{end}.finding", table["finding"]


def _unknown(where: str, name: str, sizes: list[str], findings: list[str]) -> Problem:
    if not findings:
        choice = "the name of a finding, a table [findings.NAME]"
    else:
        choice = f"one of the findings {', '.join(findings[:MOST_SHOWN])}"
    if name in sizes:
        return Problem(
            where,
            f"{shown(name)}, which is a ring size",
            choice,
            "rings stand in groups: side_by_side, rosette or join with ring",
        )
    return Problem(where, shown(name), choice, meant(name, findings))


def _end_problems(data: Mapping[str, Any], weaves: Weaves) -> list[Problem]:
    """Whether the piece has ends where it says what is at them."""
    if not table_of(data.get("ends")):
        return []
    pattern = table_of(data.get("pattern"))
    if kind_of(pattern, weaves) == "sheet" or pattern.get("form") == "sheet":
        got, advice = "ends of a sheet", "a sheet has no two ends; sections or groups have"
    elif pattern.get("form") == "closed loop":
        got, advice = "ends of a closed loop", 'form = "open run" has two ends that a clasp closes'
    else:
        return []
    return [Problem("ends", got, "ends of an open run only", advice)]
