"""Pieces: what a design asks to be made of groups and weaves, before any ring has a place.

Every kind of piece answers the same questions, so that what follows need not know them apart: which ring
sizes it uses (`sizes`), what it is with others (`resized`), and with another number of repeats (`repeated`).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from chaingen.findings.finding import Finding
from chaingen.weave.groups import RingSize, Run
from chaingen.weave.outline import Outline
from chaingen.weave.weave import Weave

Change = Callable[[RingSize], RingSize]

Chosen = tuple[tuple[str, RingSize], ...]
"""The ring size of each role of a weave, by the role's name."""


def _sizes(weave: Weave, chosen: Chosen) -> tuple[RingSize, ...]:
    by_role = dict(chosen)
    return tuple(dict.fromkeys(by_role[ring.role] for ring in weave.rings))


@dataclass(frozen=True, slots=True)
class Chain:
    """A weave that runs along a line.

    Attributes:
        weave: The weave, one that makes a chain.
        chosen: The ring size of every role.
        repeat: How many cells, 1 or more.
        closed: Whether its end links its beginning.
    """

    weave: Weave
    chosen: Chosen
    repeat: int = 1
    closed: bool = False

    def sizes(self) -> tuple[RingSize, ...]:
        """The ring sizes used, each once, in order of first use."""
        return _sizes(self.weave, self.chosen)

    def most_rings(self) -> int:
        """How many rings it takes at most."""
        return self.repeat * len(self.weave.rings) + len(self.weave.finish)

    def resized(self, change: Change) -> "Chain":
        """The same with every ring size changed."""
        return replace(self, chosen=tuple((role, change(size)) for role, size in self.chosen))

    def repeated(self, repeat: int) -> "Chain":
        """The same with another number of cells."""
        return replace(self, repeat=repeat)


@dataclass(frozen=True, slots=True)
class Sheet:
    """A weave that fills a rectangle of cells, or an outline.

    Attributes:
        weave: The weave, one that makes a sheet.
        chosen: The ring size of every role.
        columns: Cells along; 0 with an outline.
        rows: Cells across; 0 with an outline.
        outline: What the sheet is cut to; None for a rectangle of cells.
    """

    weave: Weave
    chosen: Chosen
    columns: int = 0
    rows: int = 0
    outline: Outline | None = None

    closed = False
    repeat = 1

    def sizes(self) -> tuple[RingSize, ...]:
        """The ring sizes used, each once, in order of first use."""
        return _sizes(self.weave, self.chosen)

    def most_rings(self) -> int:
        """How many rings it takes at most; for an outline as many as would fill it and its rim, roughly."""
        if self.outline is None:
            return self.columns * self.rows * len(self.weave.rings)
        pose = self.weave.pose
        outline = self.outline.polygon()
        by_role = dict(self.chosen)
        radii = [by_role[ring.role].radius for ring in self.weave.rings]
        if pose is None or pose.across is None:
            # Without a pose nothing is known of the cell but that its rings need room.
            cell = 2.0 * min(radii) ** 2
        else:
            scale = sum(radii) / sum(self.weave.role(ring.role).size.radius for ring in self.weave.rings)
            cell = scale**2 * abs(pose.period * pose.across[1])
        rim = outline.length * 2.0 * max(radii)
        return int((outline.area + rim) / cell + 1.0) * len(self.weave.rings)

    def resized(self, change: Change) -> "Sheet":
        """The same with every ring size changed."""
        return replace(self, chosen=tuple((role, change(size)) for role, size in self.chosen))

    def repeated(self, repeat: int) -> "Sheet":
        """The same: a sheet has columns and rows instead."""
        return self


@dataclass(frozen=True, slots=True)
class Strands:
    """A run or chain made several times side by side, as between two end bars.

    Attributes:
        part: One strand.
        count: How many, 2 or more.
    """

    part: Run | Chain
    count: int

    closed = False

    @property
    def repeat(self) -> int:
        """How often every strand repeats its groups or cells."""
        return self.part.repeat

    def sizes(self) -> tuple[RingSize, ...]:
        """The ring sizes used, each once, in order of first use."""
        return self.part.sizes()

    def findings(self) -> tuple[Finding, ...]:
        """The findings used, each once, in order of first use."""
        return self.part.findings() if isinstance(self.part, Run) else ()

    def most_rings(self) -> int:
        """How many rings it takes at most."""
        return self.count * self.part.most_rings()

    def resized(self, change: Change) -> "Strands":
        """The same with every ring size changed."""
        return replace(self, part=self.part.resized(change))

    def repeated(self, repeat: int) -> "Strands":
        """The same with another number of repeats in every strand."""
        return replace(self, part=self.part.repeated(repeat))


Section = Run | Chain | Strands
"""What sections are made of."""


def _joined(part: Section, before: bool, after: bool) -> Section:
    """A section that something else links before it, and after it."""
    if isinstance(part, Run):
        return replace(part, joined=(before, after))
    if isinstance(part, Strands) and isinstance(part.part, Run):
        return replace(part, part=replace(part.part, joined=(before, after)))
    return part


@dataclass(frozen=True, slots=True)
class Sections:
    """Runs of groups, chains and strands that follow one another, each linked to the next end to end.

    All rings at the end of one section link all rings at the beginning of the next: of a run the rings of its
    last or first group, of a chain those that finish its weave, or else those at its last or first place. An
    end bar takes one strand, or one ring, in each of its eyes.

    Attributes:
        parts: The sections, open all of them.
    """

    parts: tuple[Section, ...]

    closed = False
    repeat = 1

    def __post_init__(self) -> None:
        """Joins where one section meets the next have something to join."""
        last = len(self.parts) - 1
        joined = tuple(_joined(part, k > 0, k < last) for k, part in enumerate(self.parts))
        object.__setattr__(self, "parts", joined)

    def sizes(self) -> tuple[RingSize, ...]:
        """The ring sizes used, each once, in order of first use."""
        return tuple(dict.fromkeys(size for part in self.parts for size in part.sizes()))

    def most_rings(self) -> int:
        """How many rings it takes at most."""
        return sum(part.most_rings() for part in self.parts)

    def resized(self, change: Change) -> "Sections":
        """The same with every ring size changed."""
        return replace(self, parts=tuple(part.resized(change) for part in self.parts))

    def repeated(self, repeat: int) -> "Sections":
        """The same: every section has repeats of its own."""
        return self


Piece = Run | Chain | Sheet | Sections
"""Anything that can be made."""


def findings_of(piece: Piece) -> tuple[Finding, ...]:
    """The findings that a piece is made of, each once, in order."""
    parts = piece.parts if isinstance(piece, Sections) else (piece,)
    found = (finding for part in parts if isinstance(part, Run | Strands) for finding in part.findings())
    return tuple(dict.fromkeys(found))


def weaves_of(piece: Piece) -> tuple[Weave, ...]:
    """The weaves that a piece is made of, each once, in order; none of groups."""
    parts = piece.parts if isinstance(piece, Sections) else (piece,)
    own = (part.part if isinstance(part, Strands) else part for part in parts)
    return tuple(dict.fromkeys(part.weave for part in own if isinstance(part, Chain | Sheet)))
