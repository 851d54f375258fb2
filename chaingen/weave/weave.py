"""Weaves: repeating cells of rings, said as data.

A weave says what groups in a row cannot: its rings by name, which links with which (in the same cell or in
one further along or across), the roles that its rings play, each with a size of its own, and, where the links
alone would let another shape come out, a rough pose to start from.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from chaingen.weave.groups import RingSize

Vector = tuple[float, float, float]


class Repeats(StrEnum):
    """How a weave's cell is repeated."""

    CHAIN = "chain"
    SHEET = "sheet"


@dataclass(frozen=True, slots=True)
class Role:
    """What some of a weave's rings are for; all rings of a role have one size.

    Attributes:
        name: Its name.
        inside_diameter: Inside diameter for which the pose is written, and usual for the weave [mm].
        wire_diameter: Wire diameter likewise [mm].
        least: Smallest aspect ratio of common practice; None where practice has no figure.
        comfortable: Range of aspect ratios that common practice finds comfortable; None likewise.
    """

    name: str
    inside_diameter: float
    wire_diameter: float
    least: float | None = None
    comfortable: tuple[float, float] | None = None

    @property
    def size(self) -> RingSize:
        """The usual size, named after the role."""
        return RingSize(self.name, self.inside_diameter, self.wire_diameter)


@dataclass(frozen=True, slots=True)
class WeaveRing:
    """One ring of a weave's cell.

    Attributes:
        name: Its name.
        role: Name of its role.
        centre: Rough centre [mm], for the usual sizes; None without a pose.
        axis: Rough direction of its axis, of any length; None without a pose.
        caged_by: Rings, with the cells on in which they lie (along, across), without which this one would
            fall out: it is linked with none, or too few, to be held by links.
    """

    name: str
    role: str
    centre: Vector | None = None
    axis: Vector | None = None
    caged_by: tuple[tuple[str, int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class WeaveLink:
    """Two rings that are linked.

    Attributes:
        first: Name of a ring.
        second: Name of the other.
        along: How many cells further along the second lies.
        across: How many cells further across it lies; 0 in a chain.
    """

    first: str
    second: str
    along: int = 0
    across: int = 0


@dataclass(frozen=True, slots=True)
class WeavePose:
    """Where the next cells lie when the rings are where their rough poses say.

    Attributes:
        period: The next cell along lies this much further along x [mm].
        twist: It is turned by this about x [rad]; only in a chain.
        across: The next cell across lies this much further along x and y [mm]; None in a chain.
    """

    period: float
    twist: float = 0.0
    across: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Weave:
    """A weave.

    Attributes:
        name: Its name, in lower case with hyphens.
        title: Its name as the trade writes it.
        about: What it is, in a line.
        wear: What it is like to wear, in a line.
        make: What it is like to make, in a line.
        repeats: Whether its cell makes a chain or a sheet.
        roles: Its roles.
        rings: The rings of a cell.
        links: Every link that starts in a cell, each once.
        side_by_side: Names of rings that lie side by side: a plane passes between any two.
        finish: Rings of one more cell that finish an open chain at its far end.
        pose: The rough pose; None when the solver has to find a shape from the links.
        turning: Whether each cell of a chain may turn about its length against the one before (a screw).
        hand: What the pose's hand is called, ``left`` or ``right``; empty when it equals its mirror image.
    """

    name: str
    title: str
    about: str
    wear: str
    make: str
    repeats: Repeats
    roles: tuple[Role, ...]
    rings: tuple[WeaveRing, ...]
    links: tuple[WeaveLink, ...]
    side_by_side: tuple[tuple[str, ...], ...] = ()
    finish: tuple[str, ...] = ()
    pose: WeavePose | None = None
    turning: bool = False
    hand: str = ""

    def role(self, name: str) -> Role:
        """The role of that name."""
        return next(role for role in self.roles if role.name == name)

    @property
    def usual(self) -> tuple[tuple[str, RingSize], ...]:
        """The usual size of every role, by the role's name."""
        return tuple((role.name, role.size) for role in self.roles)

    def degrees(self) -> dict[str, int]:
        """How many rings each ring of the cell is linked with, by its name."""
        counts = {ring.name: 0 for ring in self.rings}
        for link in self.links:
            counts[link.first] += 1
            counts[link.second] += 1
        return counts

    def mirrored(self) -> "Weave":
        """The weave of the other hand: its mirror image in the plane of x and z."""
        other = {"left": "right", "right": "left"}.get(self.hand, self.hand)
        rings = tuple(
            replace(
                ring,
                centre=None if ring.centre is None else (ring.centre[0], -ring.centre[1], ring.centre[2]),
                axis=None if ring.axis is None else (ring.axis[0], -ring.axis[1], ring.axis[2]),
            )
            for ring in self.rings
        )
        pose = self.pose
        if pose is not None:
            across = None if pose.across is None else (pose.across[0], -pose.across[1])
            pose = replace(pose, twist=-pose.twist, across=across)
        return replace(self, rings=rings, pose=pose, hand=other)
