"""Placing sections: each by itself, then each next one brought to the end of those before."""

from dataclasses import replace
from functools import lru_cache
from math import pi

import numpy as np

from chaingen.geometry.rings import Ints, Rings, concatenate
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion
from chaingen.solve.place_run import place_run
from chaingen.solve.place_weave import Placed, place_chain
from chaingen.solve.search import Search, evidence, is_sound
from chaingen.solve.slp import Found, widen
from chaingen.weave.graph import Arrangement, LinkGraph, piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sections
from chaingen.weave.tiling import with_places

Joint = tuple[tuple[int, ...], tuple[int, ...]]

ROLLS = 8
"""Turns about the length in which the next section is tried."""

OFFSETS = (0.75, 0.9, 1.05)
"""Distances at which it is tried, in insides of the rings that shall link."""

QUICK_STEPS, FINALISTS = 12, 3
"""Steps of the first look at every turn and distance, and how many of them are then followed to the end."""

FREE_REACH = 2.2
"""Rings within so many largest radii of a joint give way to it."""


def _joined(left: LinkGraph, right: LinkGraph, number: int) -> tuple[LinkGraph, Joint]:
    """Two finite graphs in a row: rings at the end of one link all at the beginning of the other."""
    count = len(left)
    ends = np.flatnonzero(left.group_of == left.group_of.max())
    begins = count + np.flatnonzero(right.group_of == right.group_of.min())
    across = np.array([(a, b) for a in ends for b in begins], dtype=np.int64)
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
    )
    return graph, (tuple(ends.tolist()), tuple(begins.tolist()))


def _part(graph: LinkGraph, rings: Ints) -> LinkGraph:
    """The graph of some of the rings, in ascending order."""
    place = np.full(len(graph), -1)
    place[rings] = np.arange(len(rings))
    links = place[graph.links]
    links = links[(links >= 0).all(axis=1)]
    return LinkGraph(
        members=tuple(graph.members[k] for k in rings),
        links=links,
        offsets=np.zeros((len(links), 2), dtype=np.int64),
        arrangements=tuple(
            Arrangement(a.kind, tuple(place[list(a.rings)].tolist()))
            for a in graph.arrangements
            if (place[list(a.rings)] >= 0).all()
        ),
        groups=(),
        periodic=False,
    )


def _alone(part: Run | Chain, starts: int, enough: float) -> Placed:
    if isinstance(part, Chain):
        return place_chain(part, enough=enough)
    rings, searches, gap = place_run(part, starts=starts, enough=enough)
    return piece_graph(part), rings, searches, gap


@lru_cache(maxsize=64)
def place_sections(
    sections: Sections, *, starts: int, enough: float
) -> tuple[LinkGraph, Rings, list[Search], float, tuple[Joint, ...]]:
    """Poses of sections with their graph, the evidence, the smallest signed gap [mm] and the joints.

    Args:
        sections: The sections.
        starts: Seeded starts of each search of groups.
        enough: Gap beyond which nothing more is asked [mm].
    """
    graph, rings, searches, gap = _alone(sections.parts[0], starts, enough)
    graph = replace(
        graph,
        members=tuple(replace(member, name=f"1-{member.name}") for member in graph.members),
        groups=(),
    )
    joints: list[Joint] = []
    for number, part in enumerate(sections.parts[1:], start=2):
        right, more, found, least = _alone(part, starts, enough)
        graph, joint = _joined(graph, right, number)
        rings, evidence_of_joint, width = _fitted(graph, rings, more, joint)
        joints.append(joint)
        searches = [*searches, *found, evidence_of_joint]
        gap = min(gap, least, width)
    order = np.unique(graph.group_of, return_inverse=True)[1]
    return with_places(graph, order.tolist()), rings, searches, gap, tuple(joints)


def _fitted(graph: LinkGraph, left: Rings, right: Rings, joint: Joint) -> tuple[Rings, Search, float]:
    """The right rings brought to the end of the left ones, those near the joint given way."""
    ends, begins = np.array(joint[0]), np.array(joint[1]) - len(left)
    middle = left.centres[ends].mean(axis=0)
    holes = (left.radii - left.wire_radii)[ends], (right.radii - right.wire_radii)[begins]
    inside = float(holes[0].min() + holes[1].min())
    start = right.centres[begins].mean(axis=0)
    biggest = float(max(left.radii.max(), right.radii.max()))
    tried: list[tuple[float, State, LinkGraph, Ints, np.ndarray]] = []
    contacts: dict[tuple[int, ...], Contacts] = {}
    for part in OFFSETS:
        for k in range(ROLLS):
            at = np.array([middle[0] + part * inside, middle[1], middle[2]])
            turn = rough.about_x(2.0 * pi * k / ROLLS)
            # The next section turns about its own first rings' line.
            axis = np.array([start[0], *right.centres[:, 1:].mean(axis=0)])
            moved = rough.moved(rough.turned(rough.moved(right, -axis), turn), at)
            whole = concatenate([left, moved])
            seam = middle[0] + 0.5 * part * inside
            away = np.abs(whole.centres[:, 0] - seam)
            near = np.flatnonzero(away < 2.0 * FREE_REACH * biggest)
            free = away[near] < FREE_REACH * biggest
            free |= np.isin(near, joint[0] + joint[1])
            key = tuple(near.tolist())
            local = _part(graph, near)
            if key not in contacts:
                contacts[key] = Contacts(local)
            found = widen(contacts[key], State(whole[near], Motion()), free=free, most_steps=QUICK_STEPS)
            tried.append((found.value, State(whole, Motion()), local, near, free))
    tried.sort(key=lambda one: -round(one[0], 6))
    finished: list[tuple[bool, Found]] = []
    poses: list[Rings] = []
    for _, state, local, near, free in tried[:FINALISTS]:
        found = widen(contacts[tuple(near.tolist())], State(state.rings[near], Motion()), free=free)
        sound = found.value > -2.0 * float(local.wire_radii.min()) and is_sound(local, found.state)
        finished.append((sound, found))
        whole = state.rings
        centres, normals = whole.centres.copy(), whole.normals.copy()
        centres[near], normals[near] = found.state.rings.centres, found.state.rings.normals
        poses.append(Rings(centres, normals, whole.radii, whole.wire_radii))
    best = max(range(len(finished)), key=lambda k: (finished[k][0], round(finished[k][1].value, 6), -k))
    local = tried[best][2]
    return poses[best], evidence("joint", local, finished, finished[best][1]), finished[best][1].value
