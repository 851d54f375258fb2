"""What is wrong between the values of a weave file: names, links, poses, what hangs together; all at once.

Everything is judged on what was written, so that it is told along with values that are wrong by themselves;
what cannot be read is passed over here.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import gcd
from typing import Any

import networkx as nx

from chaingen.errors import Problem
from chaingen.tables import key, list_of, meant, quoted, shown, table_of
from chaingen.weave.weave import WeaveLink
from chaingen.weave.weave_schema import MOST_LINKS, MOST_OFFSET, MOST_RINGS, MOST_ROLES, cells_of, is_step

_MOST_SHOWN = 20
"""Most names in a message."""


_MOST_LETTERS = 100
"""Most letters of a link in a message."""


@dataclass(slots=True)
class _Written:
    """What a weave file says, as far as it can be read.

    Attributes:
        rings: Its rings' tables by name.
        roles: Names of its roles.
        repeats: ``chain``, ``sheet``, or something else.
        turn: By how much a cell is turned against the one before [degrees]; None when that is free or cannot
            be read.
        links: The links that can be read and are sound by themselves, by their number from 1.
    """

    rings: dict[str, dict[str, Any]]
    roles: list[str]
    repeats: object
    turn: float | None
    links: dict[int, WeaveLink] = field(default_factory=dict)


def weave_problems(data: dict[str, Any]) -> list[Problem]:
    """What is wrong between the values of a weave file.

    Args:
        data: Its outermost table.
    """
    rings, roles = table_of(data.get("rings")), table_of(data.get("roles"))
    # With far too many, which is told elsewhere, nothing between them is looked at.
    if not 0 < len(rings) <= MOST_RINGS or len(roles) > MOST_ROLES:
        return []
    written = _Written(
        rings={name: table_of(table) for name, table in rings.items()},
        roles=list(roles),
        repeats=data.get("repeats"),
        turn=_turn(data),
    )
    every = _link_problems(written, data) + _cage_problems(written)
    # Where links are amiss, what they hold together is not known.
    readable = not every and 0 < len(list_of(data.get("links"), MOST_LINKS)) == len(written.links)
    # Links of parallel rings hold once they are mended, so they hide nothing that is wrong besides.
    every += _parallel_problems(written)
    every += _role_problems(written)
    every += _side_by_side_problems(written, data)
    every += _finish_problems(written, data)
    every += _pose_problems(written, data)
    return every + _hold_problems(written, data) if readable else every


def _turn(data: dict[str, Any]) -> float | None:
    """By how much a cell is turned against the one before [degrees]; None when free or not to be read."""
    if data.get("repeats") == "sheet":
        return 0.0
    pose = data.get("pose", {})
    twist = pose.get("twist", 0.0) if isinstance(pose, dict) else None
    if data.get("turning", False) is not False or isinstance(twist, bool):
        return None
    return twist if isinstance(twist, int | float) else None


# Names


def _unknown(where: str, name: str, names: Iterable[str]) -> list[Problem]:
    """Whether a name is none of `names`."""
    known = list(names)
    if name in known:
        return []
    choice = ", ".join(known[:_MOST_SHOWN])
    return [Problem(where, shown(name), f"one of {choice}", meant(name, known))]


def _names(where: str, names: list[str], rings: Iterable[str]) -> list[Problem]:
    """Whether a list names rings, each once."""
    problems = []
    for name in dict.fromkeys(names):
        problems += _unknown(where, name, rings)
        if names.count(name) > 1:
            problems.append(Problem(where, f"{shown(name)} more than once", "each ring once"))
    return problems


def _role_problems(written: _Written) -> list[Problem]:
    if not written.roles:
        return []
    problems, named = [], set()
    rings = written.rings.values()
    for name, table in written.rings.items():
        where, role = f"rings.{key(name)}.role", table.get("role")
        if "role" not in table and len(written.roles) > 1:
            choice = ", ".join(written.roles[:_MOST_SHOWN])
            advice = "with several roles each ring names its own"
            problems.append(Problem(where, "nothing", f"one of {choice}", advice))
        if isinstance(role, str):
            problems += _unknown(where, role, written.roles)
            named.add(role)
    # A ring whose role cannot be read may have meant any of them.
    if len(written.roles) > 1 and not problems and all(isinstance(t.get("role"), str) for t in rings):
        problems = [
            Problem(f"roles.{key(role)}", "a role of no ring", "roles that rings have")
            for role in written.roles
            if role not in named
        ]
    return problems


# Links


def _canonical(link: WeaveLink) -> WeaveLink:
    """Of the two ways in which a link can be said, always the same one."""
    other = WeaveLink(link.second, link.first, -link.along, -link.across)
    return max(link, other, key=lambda said: (said.along, said.across, said.second, said.first))


def _link_problems(written: _Written, data: dict[str, Any]) -> list[Problem]:
    """What is wrong with single links and pairs of them; sound ones are kept."""
    problems = []
    told: dict[WeaveLink, tuple[int, WeaveLink]] = {}
    for number, row in enumerate(list_of(data.get("links"), MOST_LINKS), start=1):
        if not is_step(row, 2):
            continue
        where = f"links[{number}]"
        link = WeaveLink(row[0], row[1], *cells_of(row, 2))
        found = [
            problem
            for name in dict.fromkeys((link.first, link.second))
            for problem in _unknown_end(where, link, name, written.rings)
        ]
        found += _step_problems(where, link, written, "linked with")
        canonical = _canonical(link)
        if canonical in told:
            before, said = told[canonical]
            advice = "" if said == link else f"{_text(said)} and {_text(link)} say one link"
            found.append(Problem(where, f"the link of links[{before}] again", "each link once", advice))
        told.setdefault(canonical, (number, link))
        problems += found
        if not found:
            written.links[number] = link
    return problems


def _step_problems(where: str, link: WeaveLink, written: _Written, how: str) -> list[Problem]:
    """Whether a link, or a cage told as one, leads from a ring to itself or across a chain."""
    problems = []
    if link.first == link.second and link.along == link.across == 0:
        got = f"{shown(link.first)} {how} itself"
        problems.append(Problem(where, got, "another ring, or the same one in another cell"))
    if link.across and written.repeats == "chain":
        problems.append(Problem(where, f"{link.across} cells across in a chain", "cells along only"))
    return problems


def _unknown_end(where: str, link: WeaveLink, name: str, rings: Iterable[str]) -> list[Problem]:
    """Whether a ring that a link names is none of the file."""
    known = list(rings)
    if name in known:
        return []
    text = _text(link)
    got = text if len(text) <= _MOST_LETTERS else f"{text[: _MOST_LETTERS - 3]}..."
    expected = f"rings of the file, {', '.join(known[:_MOST_SHOWN])}: there is no [rings.{key(name)}]"
    return [Problem(where, got, expected, meant(name, known))]


def _parallel(link: WeaveLink, written: _Written) -> bool:
    """Whether a link joins a ring and its copy shifted without a turn, or by whole turns.

    They lie in parallel planes, or in one, where two round rings never link.
    """
    return link.first == link.second and written.turn is not None and written.turn * link.along % 360 == 0


def _parallel_problems(written: _Written) -> list[Problem]:
    """What is wrong with links that are sound but for the rings being parallel."""
    advice = "a second ring in the cell"
    if written.repeats == "chain":
        advice = f"turning = true, or {advice}"
    said, expected = "linked with itself in another cell", "two rings that are not parallel"
    return [
        Problem(f"links[{number}]", f"{shown(link.first)} {said}", expected, advice)
        for number, link in written.links.items()
        if _parallel(link, written)
    ]


def _text(link: WeaveLink) -> str:
    """A link as a file says it."""
    cells = [link.along, link.across] if link.across else [link.along] if link.along else []
    return f"[{', '.join([quoted(link.first), quoted(link.second), *map(str, cells)])}]"


def _cage_problems(written: _Written) -> list[Problem]:
    problems = []
    for name, table in written.rings.items():
        seen = set()
        for number, row in enumerate(list_of(table.get("caged_by"), MOST_RINGS), start=1):
            if not is_step(row, 1):
                continue
            where = f"rings.{key(name)}.caged_by[{number}]"
            cage = WeaveLink(name, row[0], *cells_of(row, 1))
            problems += _unknown(where, cage.second, written.rings)
            problems += _step_problems(where, cage, written, "caged by")
            if cage in seen:
                problems.append(Problem(where, f"{shown(row[0])} a second time", "each ring once"))
            seen.add(cage)
    return problems


def _side_by_side_problems(written: _Written, data: dict[str, Any]) -> list[Problem]:
    problems = []
    for number, row in enumerate(list_of(data.get("side_by_side"), MOST_RINGS), start=1):
        where = f"side_by_side[{number}]"
        names = [name for name in list_of(row, MOST_RINGS) if isinstance(name, str)]
        problems += _names(where, names, written.rings)
        problems += [
            Problem(
                where,
                f"{shown(link.first)} and {shown(link.second)}, which links[{place}] links",
                "rings that are not linked in their cell",
            )
            for place, link in written.links.items()
            if link.along == link.across == 0 and link.first in names and link.second in names
        ]
    return problems


def _finish_problems(written: _Written, data: dict[str, Any]) -> list[Problem]:
    """What is wrong with keys that only a chain has, but for its pose."""
    problems = []
    finish = [name for name in list_of(data.get("finish"), MOST_RINGS) if isinstance(name, str)]
    problems += _names("finish", finish, written.rings)
    if written.repeats == "sheet":
        if data.get("finish"):
            problems.append(Problem("finish", "rings that finish a sheet", "finish in a chain only"))
        if data.get("turning") is True:
            problems.append(Problem("turning", "true in a sheet", "turning in a chain only"))
    return problems


# Poses


def _pose_problems(written: _Written, data: dict[str, Any]) -> list[Problem]:
    problems = []
    posed = [name for name, table in written.rings.items() if "centre" in table or "axis" in table]
    for name, table in written.rings.items() if posed else ():
        where = f"rings.{key(name)}"
        if name not in posed:
            expected = f"both, for rings.{key(posed[0])} has a place: all rings have one or none has"
            problems.append(Problem(where, "neither centre nor axis", expected))
        elif "axis" not in table:
            problems.append(Problem(f"{where}.axis", "nothing", "an axis beside the centre"))
        elif "centre" not in table:
            problems.append(Problem(f"{where}.centre", "nothing", "a centre beside the axis"))
    if posed and "pose" not in data:
        expected = "a table [pose] with its period, for the rings have centres"
        problems.append(Problem("pose", "nothing", expected))
    if not posed and "pose" in data:
        expected = "centre and axis of every ring, or no pose"
        problems.append(Problem("pose", "a pose of rings that have no centres", expected))
    if data.get("hand") in ("left", "right") and not posed and "pose" not in data:
        expected = "a hand beside a pose only, for links alone have no hand"
        problems.append(Problem("hand", f"{shown(data['hand'])} without a pose", expected))
    pose = table_of(data.get("pose"))
    if written.repeats == "sheet":
        if pose and "across" not in pose:
            expected = "where the next cell across lies [mm], such as [3.0, 4.0]"
            problems.append(Problem("pose.across", "nothing", expected))
        if "twist" in pose:
            problems.append(Problem("pose.twist", "a twist in a sheet", "a twist in a chain only"))
    if written.repeats == "chain" and "across" in pose:
        problems.append(Problem("pose.across", "a next cell across in a chain", "across in a sheet only"))
    return problems


# What hangs together


def _hold_problems(written: _Written, data: dict[str, Any]) -> list[Problem]:
    """What does not hang together over the repeats; links and cages are sound."""
    caged = {name for name, table in written.rings.items() if table.get("caged_by")}
    network = nx.Graph()
    network.add_nodes_from(written.rings)
    network.add_edges_from((link.first, link.second) for link in written.links.values())
    # Python's max keeps the first of equals, and the parts come in the order of their first rings.
    parts = [sorted(part, key=list(written.rings).index) for part in nx.connected_components(network)]
    body = max(parts, key=len)
    problems = []
    for part in parts:
        loose = [name for name in part if name not in caged]
        if loose and network.degree(part[0]) == 0:
            expected = "a link, or caged_by with the rings that keep it in"
            problems.append(Problem(f"rings.{key(part[0])}", "a ring linked with nothing", expected))
        elif loose and part is not body:
            names = ", ".join(loose[:_MOST_SHOWN])
            expected = "rings that all hang together over the repeats"
            advice = f"link one with {body[0]} or another ring of the rest"
            problems.append(Problem("links", f"{names} not linked with the rest", expected, advice))
    if network.degree(body[0]) > 0:
        problems += _repeat_problems(written, body[0])
    if not problems and written.repeats == "chain":
        finish = [name for name in written.rings if name in list_of(data.get("finish"), MOST_RINGS)]
        problems += _loose_finish(written, finish, caged)
    return problems


def _repeat_problems(written: _Written, start: str) -> list[Problem]:
    """Whether the part of the weave with the ring `start` hangs together with the next cells.

    Going round a loop of links and coming back to the same ring leads some cells on. All cells hang together
    when such ways add up to one cell along, and in a sheet also to one cell across.
    """
    links = list(written.links.values())
    links += [WeaveLink(link.second, link.first, -link.along, -link.across) for link in links]
    places, waiting = {start: (0, 0)}, [start]
    while waiting:
        ring = waiting.pop()
        for link in links:
            if link.first == ring and link.second not in places:
                along, across = places[ring]
                places[link.second] = (along + link.along, across + link.across)
                waiting.append(link.second)
    ways = [
        (
            places[link.first][0] + link.along - places[link.second][0],
            places[link.first][1] + link.across - places[link.second][1],
        )
        for link in links
        if link.first in places
    ]
    first, second = _basis(ways)
    problems = []
    # A loop through this ring, which a link joins with the first, may be made to lead one cell on.
    other = next((name for name in places if name != start), start)
    along, across = places[other]
    ahead = WeaveLink(start, other, along - 1 if along > 0 else along + 1, across)
    aside = WeaveLink(start, other, along, across - 1 if across > 0 else across + 1)
    # In whole numbers, (1, 0) = x * first + y * second has an answer only for x = 1.
    if not (first[0] == 1 and (first[1] % second == 0 if second else first[1] == 0)):
        got = "cells that do not hang together with the next one along"
        problems.append(Problem("links", got, "links from cell to cell along", _such(ahead, written)))
    if written.repeats == "sheet" and second != 1:
        got = "cells that do not hang together with the next one across"
        problems.append(Problem("links", got, "links from cell to cell across", _such(aside, written)))
    return problems


def _such(link: WeaveLink, written: _Written) -> str:
    """A link as advice; nothing when it could not be made."""
    return "" if _parallel(link, written) else f"such as {_text(link)}"


def _basis(vectors: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], int]:
    """All whole-number sums of some vectors as those of two: the first, and (0, the second)."""
    (a, b), d = (0, 0), 0
    for x, y in vectors:
        # Euclid's algorithm on the first numbers; what is left over lies across.
        while x:
            turns = a // x
            (a, b), (x, y) = (x, y), (a - turns * x, b - turns * y)
        d = gcd(d, y)
    return (-a, -b) if a < 0 else (a, b), d


def _loose_finish(written: _Written, finish: list[str], caged: set[str]) -> list[Problem]:
    """Whether rings that finish a chain hang on the cells before them."""
    cells = 2 * MOST_OFFSET + 1
    rings = [(name, cell) for cell in range(cells) for name in written.rings]
    rings += [(name, cells) for name in finish]
    network = nx.Graph()
    network.add_nodes_from(rings)
    for link in written.links.values():
        for cell in range(cells + 1):
            ends = (link.first, cell), (link.second, cell + link.along)
            if ends[0] in network and ends[1] in network:
                network.add_edge(*ends)
    body = max(nx.connected_components(network), key=len)
    return [
        Problem("finish", f"{shown(name)}, which no link holds there", "rings that hang on the cells before")
        for name in finish
        if name not in caged and (name, cells) not in body
    ]
