"""Ring sizes, groups and runs: the words in which a chain of rings is said.

A run is a row of groups. Neighbouring groups are linked ring by ring, all with all. A join is a side-by-side
group that stands only between two others: at an open end of a run it has nothing to join and is left off.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    # Only named here: lists of weaves are to be had without what findings need.
    from chaingen.findings.finding import Finding


class GroupKind(StrEnum):
    """How the rings of one group stand to each other."""

    SIDE_BY_SIDE = "side by side"
    ROSETTE = "rosette"
    JOIN = "join"
    FINDING = "finding"


@dataclass(frozen=True, slots=True)
class RingSize:
    """A named ring size.

    Attributes:
        name: The name that the design gives it.
        inside_diameter: Inside diameter [mm].
        wire_diameter: Wire diameter [mm].
    """

    name: str
    inside_diameter: float
    wire_diameter: float

    @property
    def radius(self) -> float:
        """Centreline radius [mm]."""
        return 0.5 * (self.inside_diameter + self.wire_diameter)

    @property
    def wire_radius(self) -> float:
        """Wire radius [mm]."""
        return 0.5 * self.wire_diameter

    @property
    def aspect_ratio(self) -> float:
        """Inside diameter over wire diameter."""
        return self.inside_diameter / self.wire_diameter


BodySize: TypeAlias = "RingSize | Finding"
"""What a body is: a ring of some size, or a finding; both tell their `radius` and `wire_radius`."""


@dataclass(frozen=True, slots=True)
class Group:
    """Rings that act together, or one finding.

    Attributes:
        kind: How they stand to each other: side by side (not linked, a plane passes between any two), a
            rosette (each linked with each, all turning the same way), or a join (side by side, and only
            between two groups). A finding stands alone.
        count: How many rings, 1 or more.
        size: The size of every ring of the group, or the finding.
        turned: Whether a finding comes with its outer eyes first, as one at the start of a piece does.
    """

    kind: GroupKind
    count: int
    size: BodySize
    turned: bool = False

    @property
    def before(self) -> tuple[int, ...]:
        """Eyes that the group before links with: of each ring its hole, 0."""
        return self._eyes(self.turned)

    @property
    def after(self) -> tuple[int, ...]:
        """Eyes that the group after links with."""
        return self._eyes(not self.turned)

    def _eyes(self, outer: bool) -> tuple[int, ...]:
        if isinstance(self.size, RingSize):
            return (0,)
        return self.size.outer if outer else self.size.inner

    @property
    def quarters(self) -> int:
        """Quarter turns about the row from the group before it to the one after it."""
        return 2 if not isinstance(self.size, RingSize) and self.size.quarter_turned else 1


@dataclass(frozen=True, slots=True)
class Run:
    """A row of groups: `first` once, `cell` `repeat` times, `last` once.

    Attributes:
        first: Groups made once before the repeated ones.
        cell: The groups that are repeated; at least one.
        last: Groups made once after them.
        repeat: How many times the cell is made, 1 or more.
        closed: Whether the last group links the first.
        joined: Whether something else links its beginning, and its end: joins there have something to join.
    """

    cell: tuple[Group, ...]
    repeat: int = 1
    first: tuple[Group, ...] = ()
    last: tuple[Group, ...] = ()
    closed: bool = False
    joined: tuple[bool, bool] = (False, False)

    def groups(self) -> tuple[Group, ...]:
        """All groups in order, without the joins that would hang on an open end."""
        row = self.first + self.cell * self.repeat + self.last
        if self.closed:
            return row
        begin, end = 0, len(row)
        while not self.joined[0] and begin < end and row[begin].kind is GroupKind.JOIN:
            begin += 1
        while not self.joined[1] and end > begin and row[end - 1].kind is GroupKind.JOIN:
            end -= 1
        return row[begin:end]

    def repeated(self, repeat: int) -> "Run":
        """The same run with its cell made `repeat` times."""
        return replace(self, repeat=repeat)

    def most_rings(self) -> int:
        """How many rings it takes at most."""
        ends = sum(group.count for group in self.first + self.last)
        return ends + self.repeat * sum(group.count for group in self.cell)

    def resized(self, change: Callable[[RingSize], RingSize]) -> "Run":
        """The same run with every ring size changed."""

        def groups(row: tuple[Group, ...]) -> tuple[Group, ...]:
            return tuple(
                replace(group, size=change(group.size)) if isinstance(group.size, RingSize) else group
                for group in row
            )

        return replace(self, first=groups(self.first), cell=groups(self.cell), last=groups(self.last))

    def sizes(self) -> tuple[RingSize, ...]:
        """The ring sizes used, each once, in order of first use."""
        used = (group.size for group in self.first + self.cell + self.last)
        return tuple(dict.fromkeys(size for size in used if isinstance(size, RingSize)))

    def findings(self) -> "tuple[Finding, ...]":
        """The findings used, each once, in order of first use."""
        used = (group.size for group in self.first + self.cell + self.last)
        return tuple(dict.fromkeys(size for size in used if not isinstance(size, RingSize)))
