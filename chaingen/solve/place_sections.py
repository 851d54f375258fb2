"""Placing sections: each by itself, then each next one brought to the end of those before."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from math import pi

import numpy as np
import numpy.typing as npt

from chaingen.findings.finding import eye_normal
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.geometry.types import Ints
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion
from chaingen.solve.place_run import place_run
from chaingen.solve.place_weave import place_chain
from chaingen.solve.search import Search, evidence, is_sound, wrong_below
from chaingen.solve.slp import Found, widen
from chaingen.solve.spots import spots
from chaingen.solve.telling import tell
from chaingen.weave.graph import Arrangement, LinkGraph, part_of, piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sections, Strands
from chaingen.weave.tiling import with_places

Joint = tuple[tuple[int, ...], tuple[int, ...]]

Slots = tuple[tuple[tuple[int, int], ...], ...]
"""What is linked at an end: bodies, each by one of its eyes, together in one slot or apart in several."""

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
    left: LinkGraph, ends: Slots, right: LinkGraph, begins: Slots, number: int
) -> tuple[LinkGraph, Joint]:
    """Two finite graphs in a row: what is in each slot at the end of one links the same slot of the other."""
    count = len(left)
    if len(ends) == len(begins):
        pairs = [(a, b) for one, two in zip(ends, begins, strict=True) for a in one for b in two]
    else:
        pairs = [(a, b) for one in ends for a in one for two in begins for b in two]
    across = np.array([(a, count + b) for (a, _), (b, _) in pairs], dtype=np.int64)
    eyes = None
    if left.eyes is not None or right.eyes is not None:
        through = np.array([(one, two) for (_, one), (_, two) in pairs], dtype=np.int64)
        eyes = np.concatenate([left.link_eyes, through, right.link_eyes])
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
    return graph, (
        tuple(dict.fromkeys(across[:, 0].tolist())),
        tuple(dict.fromkeys(across[:, 1].tolist())),
    )


@dataclass(frozen=True, eq=False)
class _Section:
    """A section by itself.

    Attributes:
        graph: Its graph.
        rings: Its poses.
        searches: The evidence.
        gap: Its smallest signed gap [mm].
        begins: What the section before it links.
        ends: What the section after it links.
    """

    graph: LinkGraph
    rings: Bodies
    searches: list[Search]
    gap: float
    begins: Slots
    ends: Slots


def _alone(part: Run | Chain, starts: int, enough: float) -> _Section:
    if isinstance(part, Run):
        rings, searches, gap = place_run(part, starts=starts, enough=enough)
        graph = piece_graph(part)
        first, last = (_slots_of(graph, end) for end in (0, -1))
        return _Section(graph, rings, searches, gap, first, last)
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
    slots = [(tuple((int(ring), 0) for ring in own),) for own in (begins, ends)]
    return _Section(graph, rings, searches, gap, slots[0], slots[1])


def _slots_of(graph: LinkGraph, end: int) -> Slots:
    """What a run is linked by at its beginning, 0, or end, -1: all rings there, or each eye of an end bar."""
    group = graph.groups[end]
    eyes = group.before if end == 0 else group.after
    own = np.flatnonzero(graph.group_of == (0 if end == 0 else graph.group_of.max())).tolist()
    if len(eyes) > 1:
        return tuple(((own[0], eye),) for eye in eyes)
    return (tuple((body, eye) for body in own for eye in eyes),)


def _strands(part: Strands, starts: int, enough: float, bar: tuple[Bodies, Slots] | None) -> _Section:
    """A strand made several times side by side, as far apart as the eyes of the bar beside it.

    Args:
        part: The strands.
        starts: Seeded starts of each search of groups.
        enough: Gap beyond which nothing more is asked [mm].
        bar: The bodies with an end bar, and its eyes; None where there is none on either side.
    """
    one = _alone(part.part, starts, enough)
    rings, pitch = one.rings, 0.0
    if bar is not None:
        at, _ = spots(bar[0], *np.array([slot[0] for slot in bar[1]]).T)
        line = (at[-1] - at[0]) / (len(at) - 1)
        pitch = float(np.linalg.norm(line))
        first = one.begins[0][0][0]
        stands = abs(float(rings.normals[first, 1])) > np.sqrt(0.5)
        eye = bar[0].shape(bar[1][0][0][0])
        assert eye is not None
        frame = bar[0].frames()[bar[1][0][0][0]]
        along = abs(float(eye_normal(eye.eyes[bar[1][0][0][1]]) @ frame @ line)) > np.sqrt(0.5) * pitch
        # A ring in an eye stands across it: along the bar where the eyes lie in its plane.
        if stands == along:
            rings = rings.turned(rough.about_x(0.5 * pi))
    # Strands never touch one another.
    low, high = rings.bounds()
    pitch = max(pitch, float(high[1] - low[1]) + 2.0 * float(rings.thinnest.min())) if bar is None else pitch
    n, count = len(rings), part.count
    offsets = pitch * (np.arange(count) - 0.5 * (count - 1))
    bodies = concatenate([rings.moved(np.array([0.0, y, 0.0])) for y in offsets])
    graph = _side_by_side(one.graph, count)

    def of_strand(slots: Slots, k: int) -> tuple[tuple[int, int], ...]:
        return tuple((body + n * k, eye) for slot in slots for body, eye in slot)

    begins, ends = (tuple(of_strand(slots, k) for k in range(count)) for slots in (one.begins, one.ends))
    return _Section(graph, bodies, one.searches, min(one.gap, _apart(bodies, n)), begins, ends)


def _apart(bodies: Bodies, each: int) -> float:
    """Smallest gap between strands of so many bodies each [mm]."""
    pairs = near_pairs(bodies, margin=float(bodies.wire_radii.max()))
    pairs = pairs[pairs[:, 0] // each != pairs[:, 1] // each]
    return float(smallest_gaps(bodies, pairs)[0].min(initial=np.inf)) if len(pairs) else np.inf


def _side_by_side(graph: LinkGraph, count: int) -> LinkGraph:
    """So many of a row side by side, none linked with another."""
    n = len(graph)
    return replace(
        graph,
        members=tuple(
            replace(member, name=f"{k + 1}.{member.name}") for k in range(count) for member in graph.members
        ),
        links=np.concatenate([graph.links + n * k for k in range(count)]),
        offsets=np.tile(graph.offsets, (count, 1)),
        arrangements=tuple(
            replace(arrangement, rings=tuple(ring + n * k for ring in arrangement.rings))
            for k in range(count)
            for arrangement in graph.arrangements
        ),
        groups=(),
        eyes=None if graph.eyes is None else np.tile(graph.eyes, (count, 1)),
    )


def _matched(section: _Section, slots: int) -> tuple[Slots, Slots]:
    """The slots of a section beside one of several: if it has as many rings, each is one, across its row."""
    found = []
    for own in (section.begins, section.ends):
        if len(own) == 1 and len(own[0]) == slots > 1:
            at, _ = spots(section.rings, *np.array(own[0]).T)
            spread = at[:, 1:] - at[:, 1:].mean(axis=0)
            _, _, axes = np.linalg.svd(spread)
            own = tuple((own[0][k],) for k in np.argsort(spread @ axes[0], kind="stable"))
        found.append(own)
    return found[0], found[1]


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
    alone = [None if isinstance(part, Strands) else _alone(part, starts, enough) for part in sections.parts]
    made: list[_Section] = []
    for number, part in enumerate(sections.parts):
        own = alone[number]
        if isinstance(part, Strands):
            own = _strands(part, starts, enough, _bar_beside(alone, number, part.count))
        assert own is not None
        made.append(own)
    first = made[0]
    graph, rings, searches, gap = first.graph, first.rings, first.searches, first.gap
    named = tuple(replace(member, name=f"1-{member.name}") for member in graph.members)
    graph = replace(graph, members=named, groups=())
    ends = first.ends
    joints: list[Joint] = []
    rhythms = [max(1, first.graph.rhythm)]
    for number, (before, after) in enumerate(pairwise(made), start=2):
        tell(f"joining section {number} of {len(made)}")
        count = len(graph)
        if len(ends) == 1 and len(after.begins) == len(ends[0]) > 1:
            shift = count - len(before.graph)
            matched = _matched(before, len(after.begins))[1]
            ends = tuple(tuple((body + shift, eye) for body, eye in slot) for slot in matched)
        begins = _matched(after, len(ends))[0]
        graph, joint = _joined(graph, ends, after.graph, begins, number)
        rings, evidence_of_joint, width = _fitted(graph, rings, after.rings, joint, min(gap, after.gap))
        ends = tuple(tuple((body + count, eye) for body, eye in slot) for slot in after.ends)
        joints.append(joint)
        rhythms.append(after.graph.rhythm)
        searches = [*searches, *after.searches, evidence_of_joint]
        gap = min(gap, after.gap, width)
    order = np.unique(graph.group_of, return_inverse=True)[1]
    graph = replace(with_places(graph, order.tolist()), rhythm=max(rhythms))
    return graph, rings, searches, gap, tuple(joints)


def _bar_beside(alone: list[_Section | None], number: int, count: int) -> tuple[Bodies, Slots] | None:
    """The end bar before or after a section, if it has so many eyes."""
    before = alone[number - 1] if number else None
    after = alone[number + 1] if number + 1 < len(alone) else None
    for section, slots in ((before, before and before.ends), (after, after and after.begins)):
        if section is not None and slots and len(slots) == count:
            return section.rings, slots
    return None


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
    across = np.isin(graph.links[:, 0], joint[0]) & np.isin(graph.links[:, 1], joint[1])
    through, eyes = graph.links[across], graph.link_eyes[across]
    spots_left, holes_left = spots(left, through[:, 0], eyes[:, 0])
    spots_right, holes_right = spots(right, through[:, 1] - len(left), eyes[:, 1])
    middle = spots_left.mean(axis=0)
    inside = float(holes_left.min() + holes_right.min())
    # The next section turns about its own length, through the middle of what links along it.
    rings = right.is_ring
    sides = (right.centres[rings] if rings.any() else spots_right)[:, 1:].mean(axis=0)
    axis = np.array([spots_right[:, 0].mean(), *sides])
    reach = FREE_REACH * float(max(left.eye_radii.max(), right.eye_radii.max()))
    known: dict[tuple[int, ...], tuple[LinkGraph, Contacts]] = {}
    for part in OFFSETS:
        for k in range(ROLLS):
            turned = right.moved(-axis).turned(rough.about_x(2.0 * pi * k / ROLLS))
            whole = concatenate([left, turned.moved(middle + np.array([part * inside, 0.0, 0.0]))])
            low, high = (corner[:, 0] for corner in whole.extents())
            seam = middle[0] + 0.5 * part * inside
            away = np.where(
                whole.is_ring, np.abs(whole.centres[:, 0] - seam), np.maximum(low - seam, seam - high)
            )
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
