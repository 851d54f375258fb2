"""Placing sections: each by itself, then each next one brought to the end of those before."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.types import Ints
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion
from chaingen.solve.place_run import place_run
from chaingen.solve.place_weave import place_chain
from chaingen.solve.search import Search, evidence, is_sound, wrong_below
from chaingen.solve.slp import Found, widen
from chaingen.weave.graph import Arrangement, LinkGraph, part_of, piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sections
from chaingen.weave.tiling import with_places

Joint = tuple[tuple[int, ...], tuple[int, ...]]

ROLLS = 8
"""Turns about the length in which the next section is tried."""

OFFSETS = (0.75, 0.9, 1.05)
"""Distances at which it is tried, in insides of the rings that shall link."""

QUICK_STEPS, FINALISTS, MOST_STEPS = 8, 3, 200
"""Steps of the first look at every turn and distance; how many of them are then followed further; and steps
of these at most."""

FREE_REACH = 2.2
"""Rings within so many largest radii of a joint give way to it."""


def _joined(
    left: LinkGraph, ends: Ints, right: LinkGraph, begins: Ints, number: int
) -> tuple[LinkGraph, Joint]:
    """Two finite graphs in a row: rings at the end of one link all at the beginning of the other."""
    count = len(left)
    begins = count + begins
    across = np.array([(a, b) for a in ends for b in begins], dtype=np.int64)
    eyes = None
    if left.eyes is not None or right.eyes is not None:
        outward, inward = _open_eyes(left, ends, True), _open_eyes(right, begins - count, False)
        through = [(one, two) for one in outward for two in inward]
        eyes = np.concatenate([left.link_eyes, np.array(through, dtype=np.int64), right.link_eyes])
    shift = int(left.group_of.max()) + 1
    members = [
        *left.members,
        *(
            replace(member, name=f"{number}-{member.name}", group=member.group + shift)
            for member in right.members
        ),
    ]
    links = np.concatenate([left.links, across, right.links + count])
    arrangements = [
        *left.arrangements,
        *(Arrangement(a.kind, tuple(ring + count for ring in a.rings)) for a in right.arrangements),
    ]
    graph = LinkGraph(
        members=tuple(members),
        links=links,
        offsets=np.zeros((len(links), 2), dtype=np.int64),
        arrangements=tuple(arrangements),
        groups=(),
        periodic=False,
        eyes=eyes,
    )
    return graph, (tuple(ends.tolist()), tuple(begins.tolist()))


def _open_eyes(graph: LinkGraph, bodies: Ints, after: bool) -> list[int]:
    """The eye of each body at the end of a row that what comes next links: of a finding one of its own."""
    eyes = []
    for body in bodies:
        group = graph.groups[graph.members[body].group] if graph.groups else None
        own = (0,) if group is None else group.after if after else group.before
        eyes.append(own[0])
    return eyes


@dataclass(frozen=True, eq=False)
class _Section:
    """A section by itself.

    Attributes:
        graph: Its graph.
        rings: Its poses.
        searches: The evidence.
        gap: Its smallest signed gap [mm].
        begins: Indices of the rings that what comes before it links.
        ends: Indices of the rings that what comes after it links.
    """

    graph: LinkGraph
    rings: Bodies
    searches: list[Search]
    gap: float
    begins: Ints
    ends: Ints


def _alone(part: Run | Chain, starts: int, enough: float) -> _Section:
    if isinstance(part, Run):
        rings, searches, gap = place_run(part, starts=starts, enough=enough)
        graph = piece_graph(part)
    else:
        graph, rings, searches, gap = place_chain(part, enough=enough)
    place = graph.group_of
    begins, ends = np.flatnonzero(place == place.min()), np.flatnonzero(place == place.max())
    if isinstance(part, Chain) and part.weave.finish:
        # What finishes the weave is what it can be linked by, and at the beginning its likes.
        number = {name: k for k, name in enumerate(graph.names)}
        finish = part.weave.finish
        begins = np.array([number[name] for ring in finish if (name := f"1{ring}") in number])
        ends = np.array([number[name] for ring in finish if (name := f"{part.repeat + 1}{ring}") in number])
    return _Section(graph, rings, searches, gap, begins, ends)


@lru_cache(maxsize=64)
def place_sections(
    sections: Sections, *, starts: int, enough: float
) -> tuple[LinkGraph, Bodies, list[Search], float, tuple[Joint, ...]]:
    """Poses of sections with their graph, the evidence, the smallest signed gap [mm] and the joints.

    Args:
        sections: The sections.
        starts: Seeded starts of each search of groups.
        enough: Gap beyond which nothing more is asked [mm].
    """
    first = _alone(sections.parts[0], starts, enough)
    graph, rings, searches, gap = first.graph, first.rings, first.searches, first.gap
    named = tuple(replace(member, name=f"1-{member.name}") for member in graph.members)
    graph = replace(graph, members=named, groups=())
    ends = first.ends
    joints: list[Joint] = []
    rhythms = [max(1, first.graph.rhythm)]
    for number, part in enumerate(sections.parts[1:], start=2):
        after = _alone(part, starts, enough)
        count = len(graph)
        graph, joint = _joined(graph, ends, after.graph, after.begins, number)
        rings, evidence_of_joint, width = _fitted(graph, rings, after.rings, joint, min(gap, after.gap))
        ends = count + after.ends
        joints.append(joint)
        rhythms.append(after.graph.rhythm)
        searches = [*searches, *after.searches, evidence_of_joint]
        gap = min(gap, after.gap, width)
    order = np.unique(graph.group_of, return_inverse=True)[1]
    graph = replace(with_places(graph, order.tolist()), rhythm=max(rhythms))
    return graph, rings, searches, gap, tuple(joints)


@dataclass(frozen=True, eq=False)
class _Seam:
    """The neighbourhood of a joint.

    Attributes:
        whole: All rings, left and right of the joint.
        graph: The graph of the rings near the joint.
        near: These rings' indices.
        free: Which of them give way, shape (len(near),).
        contacts: Their contacts.
    """

    whole: Bodies
    graph: LinkGraph
    near: Ints
    free: npt.NDArray[np.bool_]
    contacts: Contacts

    def widened(self, steps: int, enough: float) -> Found:
        """The rings near the joint with their smallest gap raised."""
        state = State(self.whole[self.near], Motion())
        return widen(self.contacts, state, free=self.free, most_steps=steps, enough=enough)

    def with_near(self, near: Bodies) -> Bodies:
        """All rings, those near the joint where they are now."""
        centres, normals, axes = self.whole.centres.copy(), self.whole.normals.copy(), self.whole.axes
        centres[self.near], normals[self.near] = near.centres, near.normals
        if axes is not None:
            axes = axes.copy()
            axes[self.near] = near.first_axes()
        return self.whole.posed(centres, normals, axes)


def _seams(graph: LinkGraph, left: Bodies, right: Bodies, joint: Joint) -> Iterator[_Seam]:
    """The right rings brought to the end of the left ones, at several distances and turned several ways."""
    ends, begins = np.array(joint[0]), np.array(joint[1]) - len(left)
    middle = left.centres[ends].mean(axis=0)
    holes = (left.radii - left.wire_radii)[ends], (right.radii - right.wire_radii)[begins]
    inside = float(holes[0].min() + holes[1].min())
    # The next section turns about its own length, through the middle of its first rings along it.
    axis = np.array([right.centres[begins, 0].mean(), *right.centres[:, 1:].mean(axis=0)])
    reach = FREE_REACH * float(max(left.radii.max(), right.radii.max()))
    known: dict[tuple[int, ...], tuple[LinkGraph, Contacts]] = {}
    for part in OFFSETS:
        for k in range(ROLLS):
            turned = right.moved(-axis).turned(rough.about_x(2.0 * pi * k / ROLLS))
            whole = concatenate([left, turned.moved(middle + np.array([part * inside, 0.0, 0.0]))])
            away = np.abs(whole.centres[:, 0] - (middle[0] + 0.5 * part * inside))
            near = np.flatnonzero(away < 2.0 * reach)
            free = (away[near] < reach) | np.isin(near, joint[0] + joint[1])
            key = tuple(near.tolist())
            if key not in known:
                local = part_of(graph, near)
                known[key] = local, Contacts(local)
            yield _Seam(whole, known[key][0], near, free, known[key][1])


def _fitted(
    graph: LinkGraph, left: Bodies, right: Bodies, joint: Joint, enough: float
) -> tuple[Bodies, Search, float]:
    """The right rings joined to the left ones, those near the joint given way.

    Args:
        graph: The graph of both.
        left: Rings before the joint.
        right: Rings after it, by themselves.
        joint: The rings that shall link.
        enough: Gap beyond which a joint is not widened [mm]: that of what it joins.
    """
    tried: list[tuple[float, _Seam]] = []
    for seam in _seams(graph, left, right, joint):
        found = seam.widened(QUICK_STEPS, enough)
        tried.append((found.value, seam))
        if found.value >= enough and is_sound(seam.graph, found.state):
            break
    tried.sort(key=lambda one: -round(one[0], 6))
    finished: list[tuple[bool, Found]] = []
    for _, seam in tried[:FINALISTS]:
        found = seam.widened(MOST_STEPS, enough)
        sound = found.value > wrong_below(seam.graph) and is_sound(seam.graph, found.state)
        finished.append((sound, found))
        if finished[-1][0] and found.value >= enough:
            break
    best = max(range(len(finished)), key=lambda k: (finished[k][0], round(finished[k][1].value, 6), -k))
    seam, found = tried[best][1], finished[best][1]
    return seam.with_near(found.state.rings), evidence("joint", seam.graph, finished, found), found.value
