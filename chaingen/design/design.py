"""The design: what a design file says, in millimetres and checked."""

import datetime
from dataclasses import dataclass, field, replace

from chaingen.design.bench import Bench
from chaingen.design.colouring import MetalPattern
from chaingen.design.scene import Scene
from chaingen.design.service import Service
from chaingen.findings.finding import Finding
from chaingen.stock.metals import Metal
from chaingen.weave.groups import Group, RingSize
from chaingen.weave.pieces import Piece, Sections, Strands

MAX_CELL_RINGS = 60
"""The most rings of the groups that are repeated."""

MAX_END_RINGS = 60
"""The most rings before and after the repeated groups when a finished length is asked for."""

NO_BENCH = Bench()
"""A bench of which nothing is said."""

MAX_RINGS = 200_000
"""The largest piece that is accepted."""


@dataclass(frozen=True, slots=True)
class Ends:
    """What is at the ends of an open run: a finding and what joins it to the piece.

    Attributes:
        start: The groups that come first, the finding the first of them; none where there is no finding.
        end: The groups that come last, the finding the last of them; none likewise.
    """

    start: tuple[Group, ...] = ()
    end: tuple[Group, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.start or self.end)


@dataclass(frozen=True, slots=True)
class Design:
    """A piece as its maker asks for it.

    Attributes:
        title: What the piece is called.
        metal: What its rings are made of, where nothing else is said.
        piece: Its groups or weaves; repeated as given, once when a length is given instead.
        length: Finished length asked for [mm], pulled straight and outside to outside; None when repeats
            are given.
        clearance: Gap asked for between any two wires, by the design or its service [mm].
        tolerance: How far real rings are off in inside diameter and wire [mm].
        ring_sizes: All ring sizes that the file names.
        supple: Whether to find how far the piece bends and twists.
        scenes: How the piece is let come to rest.
        size_metals: Metals of ring sizes that name their own.
        metal_pattern: Which ring is of which metal, where that goes by place; it comes before the others.
        findings: All findings that the file names.
        ends: Those at its ends, with their joins; the piece has them already.
        middle: Which section of the piece is the weave, or the strands, that findings were put to the ends
            of; None for other pieces.
        pair: Whether two are made, mirror images of one another.
        measure: The wrist or neck that a length was asked for [mm]; the length has the ease already.
        date: The day it is made, told in model files; None when not given.
        bench: How its maker works, with prices, rings at hand, a class.
        service: The print or casting process that makes it from its model; None when not given.
        own_clearance: The gap that the design itself asks for, whatever its service [mm].
        source: The text of the design file.
    """

    title: str
    metal: Metal
    piece: Piece
    length: float | None
    clearance: float
    tolerance: float
    ring_sizes: tuple[RingSize, ...]
    supple: bool = False
    scenes: tuple[Scene, ...] = ()
    size_metals: tuple[tuple[str, Metal], ...] = ()
    metal_pattern: MetalPattern | None = None
    findings: tuple[Finding, ...] = ()
    ends: Ends = Ends()
    middle: int | None = None
    pair: bool = False
    measure: float | None = None
    date: datetime.date | None = None
    bench: Bench = NO_BENCH
    service: Service | None = None
    own_clearance: float = 0.0
    source: str = field(default="", compare=False, repr=False)

    @property
    def named_metals(self) -> tuple[Metal, ...]:
        """Every metal that the design names, each once."""
        pattern = () if self.metal_pattern is None else self.metal_pattern.metals
        return tuple(dict.fromkeys([self.metal, *(metal for _, metal in self.size_metals), *pattern]))

    @property
    def process_gap(self) -> float:
        """The gap that the placement is asked for because of the service's process [mm]; 0 for none."""
        return 0.0 if self.service is None else self.service.gap_for(self.named_metals)

    @property
    def safe_gap(self) -> float:
        """The same from which parts come free as a rule, where there is room for that [mm]."""
        if self.service is None:
            return 0.0
        return replace(self.service, smallest_gap=self.service.safe_gap).gap_for(self.named_metals)

    @property
    def made(self) -> int:
        """How many pieces are made."""
        return 2 if self.pair else 1

    @property
    def repeating(self) -> Piece:
        """What its repeats and length are of: the piece, or one strand or weave between its ends."""
        if self.middle is None or not isinstance(self.piece, Sections):
            return self.piece
        part = self.piece.parts[self.middle]
        return part.part if isinstance(part, Strands) else part

    def served_by(self, service: Service) -> "Design":
        """The same piece made by a service, whose gap is asked for where it is more than the design's own."""
        served = replace(self, service=service)
        return replace(served, clearance=max(self.own_clearance, served.process_gap))

    def repeated(self, repeat: int) -> "Design":
        """The same piece with a number of repeats instead of a length."""
        return replace(self, piece=self.piece_of(repeat), length=None)

    def piece_of(self, repeat: int) -> Piece:
        """The piece with another number of repeats."""
        if self.middle is None or not isinstance(self.piece, Sections):
            return self.piece.repeated(repeat)
        parts = list(self.piece.parts)
        parts[self.middle] = parts[self.middle].repeated(repeat)
        return Sections(tuple(parts))

    def bare(self) -> "Design":
        """The same piece without scenes and without asking how supple it is."""
        return replace(self, scenes=(), supple=False)
