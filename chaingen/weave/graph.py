"""The link graph: which rings and findings there are and which links with which.

A graph is either a finite piece or a repeating cell. In a cell a link names, besides its two rings, how many
cells further along and across the second one lies; in a finite piece these offsets are 0 everywhere. A ring
has one eye, its hole; a link with a finding says through which of its eyes it goes.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import networkx as nx
import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import Shape
from chaingen.geometry.types import Floats, Ints
from chaingen.weave.groups import BodySize, Group, GroupKind, Run


@dataclass(frozen=True, slots=True)
class Member:
    """One ring of a graph, or one finding.

    Attributes:
        name: Unique name, made of group number and place in the group, such as ``12b``.
        role: What the ring is for: ``side by side``, ``rosette``, ``join`` or ``finding``, or its role in a
            weave.
        size: Its size, or the finding.
        group: Index of its group, or of its place along a weave.
    """

    name: str
    role: str
    size: BodySize
    group: int


@dataclass(frozen=True, slots=True)
class Arrangement:
    """An intended shape that links alone do not fix.

    Attributes:
        kind: The kind of group that asks for it. Rings side by side (and joins) are kept apart by planes, so
            they do not cross; the rings of a rosette all turn the same way.
        rings: Indices of the rings, in order.
    """

    kind: GroupKind
    rings: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class LinkGraph:
    """Rings and links of a piece or of a repeating cell.

    Attributes:
        members: The rings.
        links: Index pairs of linked rings, shape (m, 2), the smaller index first where the offset is 0.
        offsets: How many cells further along and across the second ring of each link lies, shape (m, 2); all
            0 in a finite piece.
        arrangements: The shapes intended for groups of two or more rings.
        groups: The groups, in order; none in a weave.
        periodic: Whether this is a repeating cell.
        closed: Whether this is a finite piece whose last group links its first.
        rhythm: After how many places along a weave its pattern comes again; 0 for groups.
        eyes: The eye of either body that each link goes through, shape (m, 2); None where all are rings.
    """

    members: tuple[Member, ...]
    links: Ints
    offsets: Ints
    arrangements: tuple[Arrangement, ...]
    groups: tuple[Group, ...]
    periodic: bool
    closed: bool = False
    rhythm: int = 0
    eyes: Ints | None = None

    def __len__(self) -> int:
        return len(self.members)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Names of the rings."""
        return tuple(member.name for member in self.members)

    @cached_property
    def radii(self) -> Floats:
        """Centreline radii, and how far findings reach from their middle [mm], shape (n,)."""
        return np.array([member.size.radius for member in self.members])

    @cached_property
    def wire_radii(self) -> Floats:
        """Wire radii [mm], shape (n,)."""
        return np.array([member.size.wire_radius for member in self.members])

    @cached_property
    def link_eyes(self) -> Ints:
        """The eye of either body that each link goes through, shape (m, 2)."""
        return np.zeros_like(self.links) if self.eyes is None else self.eyes

    @cached_property
    def shapes(self) -> tuple[Shape, ...]:
        """The shapes of its findings, each once."""
        sizes = (member.size for member in self.members)
        return tuple(dict.fromkeys(size.shape for size in sizes if isinstance(size, Finding)))

    @cached_property
    def shape_of(self) -> Ints | None:
        """Which shape each body has, -1 for rings, shape (n,); None where all are rings."""
        if not self.shapes:
            return None
        place = {shape: k for k, shape in enumerate(self.shapes)}
        return np.array(
            [place[m.size.shape] if isinstance(m.size, Finding) else -1 for m in self.members], dtype=np.int64
        )

    def bodies(self, centres: Floats, normals: Floats, axes: Floats | None = None) -> Bodies:
        """Its bodies at some poses; see `Bodies`."""
        if self.shape_of is None:
            return Bodies(centres, normals, self.radii, self.wire_radii)
        assert axes is not None
        return Bodies(centres, normals, self.radii, self.wire_radii, axes, self.shapes, self.shape_of)

    @cached_property
    def group_of(self) -> Ints:
        """Index of each ring's group, shape (n,)."""
        return np.array([member.group for member in self.members], dtype=np.int64)

    @cached_property
    def degrees(self) -> Ints:
        """How many rings each ring is linked with, shape (n,)."""
        return np.bincount(self.links.ravel(), minlength=len(self)).astype(np.int64)

    def neighbours(self, ring: int) -> Ints:
        """Indices of the rings linked with `ring`; in a cell an index may come once for each image."""
        first, second = self.links.T
        return np.concatenate([second[first == ring], first[second == ring]])

    def network(self) -> "nx.Graph":
        """The graph for networkx.

        Nodes 0 to n-1 with ``name``, ``role``, ``size``; edges with ``offset``, a pair.
        """
        network = nx.MultiGraph() if self.periodic else nx.Graph()
        for index, member in enumerate(self.members):
            network.add_node(index, name=member.name, role=member.role, size=member.size)
        for (a, b), offset in zip(self.links.tolist(), self.offsets.tolist(), strict=True):
            network.add_edge(a, b, offset=tuple(offset))
        return network

    def components(self) -> list[tuple[int, ...]]:
        """Sets of rings that hang together, largest first; a sound piece has one."""
        parts = (tuple(sorted(part)) for part in nx.connected_components(self.network()))
        return sorted(parts, key=lambda part: (-len(part), part))

    def repeating_cell(self) -> tuple[int, int] | None:
        """The shortest run of groups that the piece repeats from its first group on.

        Returns:
            Number of groups and number of rings of the cell, or None when the piece never repeats at least
            twice.
        """
        row = self.groups
        for length in range(1, len(row) // 2 + 1):
            if all(row[k] == row[k + length] for k in range(len(row) - length)):
                return length, sum(group.count for group in row[:length])
        return None


def _letters(index: int) -> str:
    """a, b, ... z, aa, ab, ... for 0, 1, ..."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def _members(groups: tuple[Group, ...]) -> tuple[Member, ...]:
    return tuple(
        Member(f"{number + 1}{_letters(k)}", group.kind.value, group.size, number)
        for number, group in enumerate(groups)
        for k in range(group.count)
    )


def _graph(groups: tuple[Group, ...], *, wraps: bool, periodic: bool) -> LinkGraph:
    """Link each group with the next; `wraps` links the last with the first (of the next cell).

    All rings of a group link all rings of the next. A finding with several eyes there takes one ring in each.
    """
    starts = np.concatenate([[0], np.cumsum([group.count for group in groups])]).tolist()
    rows = [range(starts[k], starts[k + 1]) for k in range(len(groups))]
    links: list[tuple[int, int]] = []
    eyes: list[tuple[int, int]] = []
    for group, row in zip(groups, rows, strict=True):
        if group.kind is GroupKind.ROSETTE:
            links += [(a, b) for a in row for b in row if a < b]
    eyes += [(0, 0)] * len(links)
    for here, there in pairwise(range(len(groups))):
        between = _between(groups[here], rows[here], groups[there], rows[there])
        links += [(a, b) for a, b, _, _ in between]
        eyes += [(one, two) for _, _, one, two in between]
    inner = len(links)
    if wraps:
        for a, b, one, two in _between(groups[-1], rows[-1], groups[0], rows[0]):
            back = not periodic and b < a
            links.append((b, a) if back else (a, b))
            eyes.append((two, one) if back else (one, two))
    offsets = np.zeros((len(links), 2), dtype=np.int64)
    if periodic:
        offsets[inner:, 0] = 1
    arrangements = tuple(
        Arrangement(group.kind, tuple(row))
        for group, row in zip(groups, rows, strict=True)
        if group.count > 1
    )
    findings = any(group.kind is GroupKind.FINDING for group in groups)
    return LinkGraph(
        _members(groups),
        np.array(links, dtype=np.int64).reshape(-1, 2),
        offsets,
        arrangements,
        groups,
        periodic,
        closed=wraps and not periodic,
        eyes=np.array(eyes, dtype=np.int64).reshape(-1, 2) if findings else None,
    )


def _between(here: Group, own: range, there: Group, other: range) -> list[tuple[int, int, int, int]]:
    """Links of a group with the next: two bodies, and the eye of each."""
    left = [(body, eye) for body in own for eye in here.after]
    right = [(body, eye) for body in other for eye in there.before]
    if len(here.after) > 1 or len(there.before) > 1:
        # An end bar has an eye for each strand.
        assert len(left) == len(right), "every eye takes one ring"
        pairs = list(zip(left, right, strict=True))
    else:
        pairs = [(a, b) for a in left for b in right]
    return [(a, b, one, two) for (a, one), (b, two) in pairs]


def piece_graph(run: Run) -> LinkGraph:
    """The link graph of a whole run, joins at open ends left off."""
    groups = run.groups()
    return _graph(groups, wraps=run.closed and len(groups) > 2, periodic=False)


def cell_graph(groups: tuple[Group, ...]) -> LinkGraph:
    """The link graph of a repeating cell of groups.

    Neighbouring groups stand at right angles, so a row of an odd number of quarter turns is taken twice to
    come round to itself.
    """
    cell = groups if sum(group.quarters for group in groups) % 2 == 0 else groups * 2
    return _graph(cell, wraps=True, periodic=True)


def row_graph(groups: tuple[Group, ...]) -> LinkGraph:
    """The link graph of a finite open row of groups."""
    return _graph(groups, wraps=False, periodic=False)


def part_of(graph: LinkGraph, rings: Ints) -> LinkGraph:
    """The finite graph of some of the bodies of one, in ascending order, without its groups."""
    place = np.full(len(graph), -1)
    place[rings] = np.arange(len(rings))
    links = place[graph.links]
    inside = (links >= 0).all(axis=1)
    links = links[inside]
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
        eyes=None if graph.eyes is None else graph.eyes[inside],
    )
