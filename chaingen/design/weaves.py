"""The weaves that a design file names, and what is wrong with what it says about them."""

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from chaingen.design.beside import text_beside
from chaingen.design.pattern_schema import MOST_SECTIONS
from chaingen.errors import BadInput, Problem
from chaingen.tables import key, list_of, meant, shown, table_of
from chaingen.weave.catalogue import find_weave
from chaingen.weave.weave import Repeats, Weave
from chaingen.weave.weave_file import load_weave, parse_weave

ENDING = ".toml"
"""How the name of a weave file ends; other names are looked up in the catalogue."""

MOST_SHOWN = 20
"""Most ring sizes in a message."""

Weaves = Mapping[str, Weave]
"""Weaves by the name that a design gives them."""


def is_file(name: str) -> bool:
    """Whether a weave's name is that of a weave file."""
    return name.lower().endswith(ENDING)


def named_weave(
    name: str, folder: str | os.PathLike[str] = ".", *, where: str = "weave", sealed: bool = False
) -> Weave:
    """A weave of the catalogue or of a weave file.

    Args:
        name: A name of the catalogue, or a path that ends in ``.toml``.
        folder: Where relative paths start.
        where: The place in the user's own terms that names it.
        sealed: Whether a file is looked for in the folder alone, by the last part of its path.

    Raises:
        BadInput: With every problem found; those of a file with its path.
    """
    if not is_file(name):
        return find_weave(name, where=where)
    if sealed:
        base, text = text_beside(name, folder, where=where, what="a weave file")
        try:
            return parse_weave(text, source=base)
        except BadInput as error:
            raise BadInput(in_file(problem, base, where) for problem in error.problems) from None
    path = Path(folder) / name
    try:
        return load_weave(path)
    except BadInput as error:
        raise BadInput(in_file(problem, str(path), where) for problem in error.problems) from None


def in_file(problem: Problem, path: str, named: str) -> Problem:
    """A problem of a file that a design names by its place there; without such a file, by who names it."""
    if problem.where == path and problem.got:
        return Problem(named, f"{path}, {problem.got}", problem.expected, problem.advice)
    where = problem.where if problem.where.startswith(path) else f"{path}: {problem.where}"
    return Problem(where, problem.got, problem.expected, problem.advice)


def weave_tables(data: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """The tables of a design that name a weave, each with its place."""
    pattern = table_of(data.get("pattern"))
    if isinstance(pattern.get("weave"), str):
        yield "pattern", pattern
    for where, section in section_tables(pattern):
        if isinstance(section.get("weave"), str):
            yield where, section


def section_tables(pattern: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """The sections of a pattern, each with its place."""
    for number, section in enumerate(list_of(pattern.get("sections"), MOST_SECTIONS), start=1):
        if isinstance(section, dict):
            yield f"pattern.sections[{number}]", section


def find_weaves(
    data: Mapping[str, Any], folder: str | os.PathLike[str], *, sealed: bool = False
) -> tuple[dict[str, Weave], list[Problem]]:
    """All weaves that a design names, and what is wrong with those that are not to be had.

    Args:
        data: The design file.
        folder: Where relative paths start.
        sealed: See `named_weave`.
    """
    found: dict[str, Weave] = {}
    problems: list[Problem] = []
    for where, table in weave_tables(data):
        name = table["weave"]
        if name in found:
            continue
        try:
            found[name] = named_weave(name, folder, where=f"{where}.weave", sealed=sealed)
        except BadInput as error:
            problems += error.problems
    return found, problems


def size_of_role(role: str, chosen: Mapping[str, Any], sizes: list[str]) -> Any:
    """The name of the ring size that a role has; None when none is said.

    Args:
        role: The role.
        chosen: What the pattern says for its roles.
        sizes: The names of all ring sizes.
    """
    if role in chosen:
        return chosen[role]
    if role in sizes:
        return role
    return sizes[0] if len(sizes) == 1 else None


def size_choice(sizes: list[str]) -> str:
    """The ring sizes to choose from, for a message."""
    if len(sizes) == 1:
        return f"{sizes[0]}, the only ring size"
    return f"one of the ring sizes {', '.join(sizes[:MOST_SHOWN])}"


def weave_table_problems(
    where: str, table: Mapping[str, Any], weave: Weave, sizes: list[str]
) -> list[Problem]:
    """What is wrong between a weave and the roles and the hand that a table says for it."""
    problems = []
    roles = [role.name for role in weave.roles]
    chosen = table_of(table.get("rings"))
    choice = size_choice(sizes)
    for role, size in chosen.items():
        place = f"{where}.rings.{key(role)}"
        if role not in roles:
            names = f"one of the roles of {weave.title}: {', '.join(roles)}"
            problems.append(Problem(place, "an unknown role", names, meant(role, roles)))
        elif isinstance(size, str) and sizes and size not in sizes:
            problems.append(Problem(place, shown(size), choice, meant(size, sizes)))
    for role in roles:
        if sizes and size_of_role(role, chosen, sizes) is None:
            advice = "with several ring sizes each role names its own, or a ring size has its name"
            problems.append(Problem(f"{where}.rings.{key(role)}", "nothing", choice, advice))
    if table.get("hand") in ("left", "right") and not weave.hand:
        got = f"{shown(table['hand'])} of {weave.title}"
        problems.append(Problem(f"{where}.hand", got, "no hand: this weave has none"))
    if where != "pattern" and weave.repeats is Repeats.SHEET:
        got = f"{shown(table['weave'])}, which makes a sheet"
        problems.append(Problem(f"{where}.weave", got, "a weave that makes a chain"))
    return problems
