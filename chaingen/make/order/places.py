"""Where each body stands as a maker works along a piece: by the names that bodies have."""

import re
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from chaingen.geometry.types import Ints
from chaingen.weave.graph import LinkGraph

_SECTION = re.compile(r"(\d+)-(.+)")
_TWO = re.compile(r"(\d+)\.(\d+)(\D.*)")
_ONE = re.compile(r"(\d+)(\D.*)")


@dataclass(frozen=True, eq=False)
class Places:
    """Where every body of a piece stands.

    Attributes:
        section: The section of each body; 0 in a piece without, shape (n,).
        lane: Its row across a sheet, or its strand; 0 where there is but one, shape (n,).
        cell: Its cell, or group, along the piece, shape (n,).
        along: Its place along the piece, in a sheet its column, shape (n,).
        round: After how many places a closed piece comes round; 0 for an open one.
        ring: Which ring of its cell it is: equal for rings that are alike in every cell, shape (n,).
        sheet: Whether the piece is a sheet, made column by column.
    """

    section: Ints
    lane: Ints
    cell: Ints
    along: Ints
    ring: Ints
    round: int
    sheet: bool

    @cached_property
    def order(self) -> Ints:
        """The bodies from one end to the other, shape (n,)."""
        index = np.arange(len(self.cell))
        if self.sheet:
            return np.lexsort((index, self.lane, self.cell))
        # A strand is made from end to end before the next one.
        return np.lexsort((index, self.cell, self.lane, self.section))

    @cached_property
    def rank(self) -> Ints:
        """The place of each body in that order, shape (n,)."""
        rank = np.empty(len(self.cell), dtype=np.int64)
        rank[self.order] = np.arange(len(rank))
        return rank

    @cached_property
    def standing(self) -> Ints:
        """Section, lane and place along in one number: equal ways have equal differences, shape (n,)."""
        if self.round:
            # Only the way along comes round, and a closed piece has nothing beside it.
            return self.along
        along, lanes = 2 * int(np.ptp(self.along)) + 1, 2 * int(np.ptp(self.lane)) + 1
        return np.asarray((self.section * lanes + self.lane) * along + self.along)

    def ahead(self, body: int, others: Ints) -> Ints:
        """How many places further along other bodies stand, the shorter way round, shape (k,)."""
        ahead = self.along[others] - self.along[body]
        if self.round:
            ahead = (ahead + self.round // 2) % self.round - self.round // 2
        return np.asarray(ahead)


def places_of(graph: LinkGraph) -> Places:
    """Where every body of a finite piece stands.

    Names tell: of a run group and letter, of a chain cell and ring, of a sheet cell along, cell across and
    ring; strands have their number before, sections likewise. A body named otherwise is like no other.
    """
    section, lane, cell = (np.zeros(len(graph), dtype=np.int64) for _ in range(3))
    rings: list[object] = []
    lanes = sections = False
    for k, member in enumerate(graph.members):
        name = member.name
        if found := _SECTION.fullmatch(name):
            sections = True
            section[k], name = int(found[1]), found[2]
        if found := _TWO.fullmatch(name):
            lanes = True
            first, second = int(found[1]), int(found[2])
            (cell[k], lane[k]) = (second, first) if sections else (first, second)
            rings.append((found[3], member.role, member.size))
        elif found := _ONE.fullmatch(name):
            cell[k] = int(found[1])
            rings.append((found[2], member.role, member.size))
        else:
            cell[k] = member.group
            rings.append(k)
    sheet = lanes and not sections
    known: dict[object, int] = {}
    ring = np.zeros(len(graph), dtype=np.int64)
    for k, own in enumerate(rings):
        ring[k] = known.setdefault((int(section[k]), own), len(known))
    along = cell if sheet else graph.group_of
    around = int(along.max()) + 1 if graph.closed else 0
    return Places(section, lane, cell, along, ring, around, sheet)
