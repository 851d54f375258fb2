"""What a service is sent of a piece, as checks see it: bodies as cast, and how much larger the pattern is.

Beads are not made by a service, and not looked at.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from chaingen.design.service import Service
from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.make.metals import RingMetals
from chaingen.prepare.cast import cast_bodies
from chaingen.prepare.clusters import clusters_of
from chaingen.stock.metals import Metal
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import RingSize

FULL = 0.95
"""What fills more of a side than this part of it is warned of, and layouts keep to it: machines want room at
their edges, casting a wall of investment; from memory."""

MOST_NAMED = 3
"""Bodies of a check that are named one by one."""


class State(StrEnum):
    """What came of a check against a process."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class ServiceCheck:
    """One check against a process.

    Attributes:
        name: What is checked: ``thinnest wire``, ``gap between moving parts``, ``size`` and others.
        state: What came of it.
        text: The same in words, with bodies and values.
        bodies: Indices of the bodies it depends on; none for what the whole piece has.
        lines: The text in parts that read better a line each, where there is room for that.
    """

    name: str
    state: State
    text: str
    bodies: tuple[int, ...] = ()
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Sent:
    """A piece as placed, or at rest, and what the process makes of it.

    Attributes:
        finished: The bodies as finished, without beads.
        cast: The same as cast.
        graph: Their link graph.
        metals: Their metals.
        made: Indices of the bodies that the process makes; none where it makes rings and there are none.
        stretch: How many times larger than as cast each body is sent along x, y and z, shape (n, 3).
        cluster: Number of the welded part that each body is of, shape (n,).
    """

    finished: Bodies
    cast: Bodies
    graph: LinkGraph
    metals: RingMetals
    made: Ints
    stretch: Floats
    cluster: Ints

    @classmethod
    def of(cls, bodies: Bodies, graph: LinkGraph, metals: RingMetals, service: Service) -> "Sent":
        """What a service is sent of some bodies, and of their graph and metals."""
        rings = np.flatnonzero(bodies.is_ring)
        made = np.arange(len(bodies)) if service.process.assembled else rings
        stretch = np.array([service.stretch(metal) for metal in metals.metals])[metals.of_ring]
        cast = cast_bodies(bodies, service.finishing)
        return cls(cast_bodies(bodies, 0.0), cast, graph, metals, made, stretch, parts_of(graph, service))

    @property
    def metals_made(self) -> list[Metal]:
        """The metals of what the process makes, in order of first use."""
        index = dict.fromkeys(self.metals.of_ring[self.made].tolist())
        return [self.metals.metals[k] for k in index]

    def bodies_of(self, metals: Sequence[Metal]) -> tuple[int, ...]:
        """What the process makes of some metals."""
        return tuple(k for k in self.made.tolist() if self.metals.metals[self.metals.of_ring[k]] in metals)

    def sizes_made(self) -> list[tuple[int, RingSize]]:
        """Each ring size of each metal that is made, with the first ring of it."""
        first: dict[tuple[RingSize, int], int] = {}
        for body in self.made.tolist():
            size = self.graph.members[body].size
            if isinstance(size, RingSize):
                first.setdefault((size, int(self.metals.of_ring[body])), body)
        return [(body, size) for (size, _), body in first.items()]

    def called(self, body: int) -> str:
        """A body by what it is and its name."""
        size = self.graph.members[body].size
        return f"{size.kind if isinstance(size, Finding) else 'ring'} {self.graph.names[body]}"

    def several(self, bodies: Sequence[int]) -> str:
        """Bodies by name, of many the first few and how many more, or that it is all of them."""
        if len(bodies) > MOST_NAMED:
            if len(bodies) == len(self.made):
                return "all rings" if self.finished.is_ring[self.made].all() else "all parts"
            if self.finished.is_ring[list(bodies)].sum() == len(bodies) == self.finished.is_ring.sum():
                return "all rings"
        return named([self.called(body) for body in bodies], MOST_NAMED)


def parts_of(graph: LinkGraph, service: Service) -> Ints:
    """Number of the part that each body is of once pairs are welded, shape (n,)."""
    place = {name: body for body, name in enumerate(graph.names)}
    # A piece at rest may lack bodies that it has as placed.
    pairs = [
        [place[name] for name in names] for names in service.soldered if all(name in place for name in names)
    ]
    return clusters_of(len(graph), np.array(pairs, dtype=np.int64).reshape(-1, 2))


def state_of(fails: bool, warns: bool) -> State:
    """What comes of a check that fails, only warns, or neither."""
    return State.FAIL if fails else State.WARN if warns else State.PASS


def by(sides: Sequence[float]) -> str:
    """Three sides in words: ``60 by 60 by 100 mm``."""
    return f"{' by '.join(format_mm(side, 1).removesuffix(' mm') for side in sides)} mm"


def model_word(service: Service) -> str:
    """What is sent: a pattern where it is cast from, else the model of the piece."""
    return "pattern" if service.process.casts else "model"


def both_words(finished: float, sent: float, piece: Sent, service: Service) -> str:
    """A length as finished, and as it is sent where that is not the same."""
    own, other = format_mm(finished), format_mm(sent)
    least = "" if (np.ptp(piece.stretch, axis=1) == 0.0).all() else "at least "
    return own if own == other else f"{own} finished, {least}{other} in the {model_word(service)}"


def named(names: Sequence[str], most: int) -> str:
    """Names in a row, of many the first few and how many more."""
    more = len(names) - most
    return f"{', '.join(names[:most])}{f' and {more:,} more' if more > 0 else ''}"


def not_made(reason: object) -> ServiceCheck:
    """That nothing goes to the service, and why."""
    return ServiceCheck("preparation", State.FAIL, f"nothing is made for the service: {reason}")


def listed(names: Sequence[str]) -> str:
    """Names in a row: ``brass, copper and bronze``."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last
