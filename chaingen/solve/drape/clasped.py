"""Worn pieces with a clasp: the row that they are, its end linked with its beginning."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi

import numpy as np
from scipy.spatial.transform import Rotation

from chaingen.findings.closing import end_of_finding, end_of_ring, through_skin, why_not
from chaingen.findings.finding import Finding, eye_normal
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.shapes import Closure
from chaingen.geometry.types import Ints
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion
from chaingen.solve.search import is_sound, wrong_below
from chaingen.solve.slp import Found, widen
from chaingen.solve.spots import outward_eyes, spot
from chaingen.weave.graph import LinkGraph, part_of

ROLLS = 4
"""Turns about the length in which the two ends are brought together; eyes look alike from either side."""

OFFSETS = (0.0, -0.25, 0.25, -0.5)
"""Distances at which they are tried, from the rough one, in insides of the eyes that shall link."""

STEPS = 60
"""Steps of each try."""

ENOUGH = 0.1
"""A try that leaves this part of the eye's inside radius as gap is taken."""

TILTS = (0.25 * pi, -0.25 * pi, 0.4 * pi, -0.4 * pi)
"""How far what takes a bar is tilted at first [rad]."""

NEAR = 3
"""Groups at either end that see the closing; the outermost two of each give way to it."""


@dataclass(frozen=True, eq=False)
class Closing:
    """How a row along x closes by its clasp.

    Attributes:
        graph: The link graph of the closed piece.
        rings: The row, its ends as they are when closed.
        shift: How far along x its beginning comes again [mm].
        roll: By how much its beginning is turned about x then [rad].
    """

    graph: LinkGraph
    rings: Bodies
    shift: float
    roll: float


def closing_links(graph: LinkGraph) -> list[tuple[int, int, int, int]] | None:
    """The links that close an open piece by the finding at its end or beginning; None without one.

    Returns:
        First and last bodies that link, and the eye of each.
    """
    group = graph.group_of
    first, last = np.flatnonzero(group == 0).tolist(), np.flatnonzero(group == group.max()).tolist()
    if not any(isinstance(graph.members[k].size, Finding) for k in first + last) or group.max() < 2:
        return None
    # A ring at an end is held by the clasp as it is, whatever else it links.
    begin, end = ([(k, eye) for k in own for eye in outward_eyes(graph, k)[:1]] for own in (first, last))
    if not begin or not end:
        return None
    # A clasp takes all rings of the group at the other end.
    return [(a, b, one, two) for a, one in begin for b, two in end]


def why_not_closed(graph: LinkGraph) -> str | None:
    """Why a piece with a finding at an end cannot be worn closed, in words; None where it can."""
    links = closing_links(graph)
    assert links is not None
    a, b, one, two = links[0]
    sizes = [graph.members[body].size for body in (a, b)]
    if any(isinstance(size, Finding) and through_skin(size) for size in sizes):
        return "what goes through an ear closes nothing"
    ends = [
        end_of_finding(size, size.shape.eyes[eye])
        if isinstance(size, Finding)
        else end_of_ring(size.name, size.wire_diameter, size.inside_diameter)
        for size, eye in zip(sizes, (one, two), strict=True)
    ]
    return why_not(ends[0], ends[1])


def closed_graph(graph: LinkGraph) -> LinkGraph:
    """The graph of an open piece closed by its clasp."""
    links = closing_links(graph)
    assert links is not None
    pairs = np.array([(a, b) for a, b, _, _ in links], dtype=np.int64)
    eyes = np.array([(one, two) for _, _, one, two in links], dtype=np.int64)
    return replace(
        graph,
        links=np.concatenate([graph.links, pairs]),
        offsets=np.zeros((len(graph.links) + len(pairs), 2), dtype=np.int64),
        eyes=np.concatenate([graph.link_eyes, eyes]),
        closed=True,
    )


@lru_cache(maxsize=16)
def _closing(key: "_Key") -> Closing | None:
    graph, rings = key.graph, key.rings
    links = closing_links(graph)
    if links is None:
        return None
    whole = closed_graph(graph)
    a, _, one, _ = links[0]
    inside = spot(rings, a, one)[1]
    group, top = graph.group_of, int(graph.group_of.max())
    tail, head = np.flatnonzero(group > top - NEAR), np.flatnonzero(group < NEAR)
    seam = _seam_graph(graph, tail, head, links)
    free_group = np.concatenate([group[tail] > top - 2, group[head] < 2])
    contacts = Contacts(seam)
    best: tuple[bool, float, Found, float, float] | None = None
    for start, shift, roll in _starts(graph, rings, tail, head, links[0]):
        found = widen(
            contacts, State(start, Motion()), free=free_group, most_steps=STEPS, enough=0.25 * inside
        )
        sound = found.value > wrong_below(seam) and is_sound(seam, found.state)
        value = round(found.value, 6)
        if best is None or (sound, value) > best[:2]:
            best = (sound, value, found, shift, roll)
        if sound and value > ENOUGH * inside:
            break
    assert best is not None
    sound, _, found, shift, roll = best
    if not sound:
        return None
    near = found.state.rings
    back = (
        near[np.arange(len(tail), len(seam))].moved(np.array([-shift, 0.0, 0.0])).turned(rough.about_x(-roll))
    )
    rows = _with(_with(rings, tail, near[np.arange(len(tail))]), head, back)
    return Closing(whole, rows, shift, roll)


def _starts(
    graph: LinkGraph, rings: Bodies, tail: Ints, head: Ints, link: tuple[int, int, int, int]
) -> Iterator[tuple[Bodies, float, float]]:
    """The end of a row followed by its beginning: poses, how far along x that comes, and its turn about x."""
    a, b, one, two = link
    bar = [_is_bar(rings, body, eye) for body, eye in ((a, one), (b, two))]
    if any(bar):
        yield from _round_a_bar(rings, tail, head, link, bar[0])
        return
    begin, inside = spot(rings, a, one)
    end, other = spot(rings, b, two)
    for offset in OFFSETS:
        shift = float(end[0] - begin[0]) + (0.7 + offset) * (inside + other)
        for k in range(ROLLS):
            roll = pi * k / ROLLS
            copy = rings[head].turned(rough.about_x(roll)).moved(np.array([shift, 0.0, 0.0]))
            yield concatenate([rings[tail], copy]), shift, roll


def _round_a_bar(
    rings: Bodies, tail: Ints, head: Ints, link: tuple[int, int, int, int], at_begin: bool
) -> Iterator[tuple[Bodies, float, float]]:
    """The same where a bar lies across what takes it, which is tilted and goes round what hangs on it."""
    a, b, one, two = link
    taking, mouth = (b, two) if at_begin else (a, one)
    for tilt in TILTS:
        for k in range(ROLLS):
            roll = pi * k / ROLLS
            # What takes the bar keeps its other end where it is.
            row = _tilted(rings, taking, mouth, tilt, 1.0 if at_begin else -1.0)
            begin, _ = spot(row[np.array([a])].turned(rough.about_x(roll)), 0, one)
            end, _ = spot(row, b, two)
            shift = float(end[0] - begin[0])
            copy = row[head].turned(rough.about_x(roll)).moved(np.array([shift, 0.0, 0.0]))
            own = _place_of(head, a)
            aside = end - begin - np.array([shift, 0.0, 0.0])
            start = concatenate([row[tail], copy])
            # The bar itself goes where it is taken; what holds it follows.
            moving = np.zeros((len(start), 3))
            if at_begin:
                moving[len(tail) + own] = aside
            else:
                moving[_place_of(tail, b)] = -aside
            yield start.moved(moving), shift, roll


def _place_of(index: Ints, body: int) -> int:
    """The place of a body among some."""
    return int(np.flatnonzero(index == body)[0])


def _is_bar(rings: Bodies, body: int, eye: int) -> bool:
    shape = rings.shape(body)
    return shape is not None and shape.eyes[eye].closure is Closure.BAR


def _tilted(rings: Bodies, body: int, eye: int, angle: float, outward: float) -> Bodies:
    """A body turned about its inward end, so that its eye looks along x by `angle` [rad] more."""
    shape = rings.shape(body)
    frame = rings.frames()[body]
    centre, reach = spot(rings, body, eye)
    normal = rings.normals[body] if shape is None else eye_normal(shape.eyes[eye]) @ frame
    hinge = centre - np.array([outward * reach, 0.0, 0.0])
    axis = np.cross([1.0, 0.0, 0.0], normal)
    size = float(np.linalg.norm(axis))
    if size < 1e-6:
        return rings
    turn = Rotation.from_rotvec(angle * axis / size).as_matrix()
    one = rings[np.array([body])].moved(-hinge).turned(turn).moved(hinge)
    return _with(rings, np.array([body]), one)


@dataclass(frozen=True, eq=False)
class _Key:
    """A row and its graph; the same objects are closed once."""

    graph: LinkGraph
    rings: Bodies

    def __hash__(self) -> int:
        return hash((id(self.graph), id(self.rings)))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and self.graph is other.graph and self.rings is other.rings


def closing_of(graph: LinkGraph, rings: Bodies) -> Closing | None:
    """An open row along x closed by its clasp.

    Args:
        graph: Its link graph.
        rings: Its poses.

    Returns:
        None where it has no finding at an end, or its ends could not be linked.
    """
    return _closing(_Key(graph, rings))


def _with(rings: Bodies, index: Ints, some: Bodies) -> Bodies:
    """All bodies, those at `index` where `some` are."""
    centres, normals = rings.centres.copy(), rings.normals.copy()
    centres[index], normals[index] = some.centres, some.normals
    axes = rings.axes
    if axes is not None:
        axes = axes.copy()
        axes[index] = some.first_axes()
    return rings.posed(centres, normals, axes)


def _seam_graph(
    graph: LinkGraph, tail: Ints, head: Ints, closing: list[tuple[int, int, int, int]]
) -> LinkGraph:
    """The graph of the end of a piece followed by its beginning."""
    left, right = part_of(graph, tail), part_of(graph, head)
    across = np.array(
        [(np.searchsorted(tail, b), len(tail) + np.searchsorted(head, a)) for a, b, _, _ in closing]
    )
    through = np.array([(two, one) for _, _, one, two in closing])
    shifted = (
        replace(arrangement, rings=tuple(k + len(tail) for k in arrangement.rings))
        for arrangement in right.arrangements
    )
    links = np.concatenate([left.links, right.links + len(tail), across]).astype(np.int64)
    return LinkGraph(
        members=left.members + right.members,
        links=links,
        offsets=np.zeros((len(links), 2), dtype=np.int64),
        arrangements=(*left.arrangements, *shifted),
        groups=(),
        periodic=False,
        eyes=np.concatenate([left.link_eyes, right.link_eyes, through]).astype(np.int64),
    )
