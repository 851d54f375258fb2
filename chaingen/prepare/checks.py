"""Whether a process can make a piece from its model: wires, gaps and size against its limits.

What the process cannot make fails; what it makes as a rule but not always is warned of.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from chaingen.design.service import Service
from chaingen.findings.finding import Finding
from chaingen.geometry.types import Ints
from chaingen.make.result import Result
from chaingen.solve.check import ALIKE, ROUND_OFF
from chaingen.units import format_mm

FULL = 0.95
"""What fills more of a side than this part of it is warned of: machines want room at their edges, casting a
wall of investment; from memory."""

MOST_NAMED = 3
"""Rings of the thinnest wire that are named one by one."""


class State(StrEnum):
    """What came of a check against a process."""

    PASS = "pass"
    WARN = "warn"
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class ServiceCheck:
    """One check against a process.

    Attributes:
        name: What is checked: ``thinnest wire``, ``gap between moving parts`` or ``size``.
        state: What came of it.
        text: The same in words, with bodies and values.
        bodies: Indices of the bodies it depends on; none for the size of the whole piece.
    """

    name: str
    state: State
    text: str
    bodies: tuple[int, ...] = ()


def service_checks(result: Result) -> tuple[ServiceCheck, ...]:
    """Every check of a piece against the process of its design; none where it names no process.

    Rings made by themselves have no gap to be asked for; their size is that of the largest ring.
    """
    service = result.design.service
    if service is None:
        return ()
    if service.process.assembled:
        return _wire(result, service), _gap(result, service), _size(result, service)
    return _wire(result, service), _ring_size(result, service)


def _made(result: Result, service: Service) -> Ints:
    """The bodies that the process makes: all, or the rings where it makes these by themselves."""
    bodies = result.placement.rings
    rings = np.flatnonzero(bodies.is_ring)
    return np.arange(len(bodies)) if service.process.assembled or not len(rings) else rings


def _wire(result: Result, service: Service) -> ServiceCheck:
    made = _made(result, service)
    wires = 2.0 * result.placement.rings.thinnest[made]
    thinnest = float(wires.min())
    own = made[wires <= thinnest + ALIKE].tolist()
    least, off = service.smallest_wire, result.design.tolerance
    fails, warns = thinnest < least - ROUND_OFF, thinnest - off < least - ROUND_OFF
    what = f"{format_mm(thinnest)} ({_several(result, own)})"
    limit = f"the process makes {format_mm(least)} at the thinnest"
    if fails:
        text = f"{what}, and {limit}: {format_mm(least - thinnest)} too thin"
    elif warns:
        text = f"{what}, and {limit}: too thin where it comes out {format_mm(off)} thinner"
    else:
        text = f"{what}; {limit}"
    return ServiceCheck("thinnest wire", _state(fails, warns), text, tuple(own))


def _gap(result: Result, service: Service) -> ServiceCheck:
    name, pair, gap = "gap between moving parts", result.check.binding_pair, result.check.smallest_gap
    least, safe = service.smallest_gap, service.safe_gap
    if pair is None:
        return ServiceCheck(name, State.PASS, "no two parts come near each other")
    # A placement holds the gap it was asked for to within this.
    fails, warns = gap < least - ROUND_OFF, gap < safe - ROUND_OFF
    what = f"{format_mm(gap)} ({' and '.join(_called(result, body) for body in pair)})"
    if fails:
        text = f"{what}, and the process fuses what is nearer than {format_mm(least)}"
    elif warns:
        text = f"{what}, and the process may fuse what is nearer than {format_mm(safe)}"
    else:
        text = f"{what}; the process needs {format_mm(safe)}"
    return ServiceCheck(name, _state(fails, warns), text, pair)


def _size(result: Result, service: Service) -> ServiceCheck:
    low, high = result.placement.rings.bounds()
    whole = "one piece of the pair" if result.design.pair else "the piece as placed"
    return _against_build(whole, (high - low).tolist(), service, ())


def _ring_size(result: Result, service: Service) -> ServiceCheck:
    bodies, made = result.placement.rings, _made(result, service)
    largest = int(made[np.argmax((bodies.radii + bodies.wire_radii)[made])])
    outside = 2.0 * float(bodies.radii[largest] + bodies.wire_radii[largest])
    # The ring as it lies; of another body the box round the ball that it can turn in.
    thick = 2.0 * float(bodies.wire_radii[largest]) if bodies.is_ring[largest] else outside
    return _against_build(_called(result, largest), (outside, outside, thick), service, (largest,))


def _against_build(
    what: str, sides: Sequence[float], service: Service, bodies: tuple[int, ...]
) -> ServiceCheck:
    """Whether a box goes into what can be built, in whichever of the six ways it is laid.

    Args:
        what: What has that box.
        sides: The sides of the box [mm].
        service: The service.
        bodies: The bodies that have it; none for the piece.
    """
    # If any way of laying it does, the longest along the longest and the shortest along the shortest does.
    pairs = list(zip(sorted(sides), sorted(service.build), strict=True))
    over = max(side - room for side, room in pairs)
    fails = over > ROUND_OFF
    warns = any(side > FULL * room + ROUND_OFF for side, room in pairs)
    turned = any(side > room + ROUND_OFF for side, room in zip(sides, service.build, strict=True))
    builds = f"the process builds {by(service.build)}"
    if fails:
        text = f"{what} takes {by(sides)}, and {builds}: {format_mm(over)} too long, however it is turned"
    elif warns:
        text = (
            f"{what} takes {by(sides)}, and {builds}: it fits{' turned' if turned else ''}, with little room"
        )
    else:
        text = f"{what} takes {by(sides)}; {builds}{', where it fits turned' if turned else ''}"
    return ServiceCheck("size", _state(fails, warns), text, bodies)


def _state(fails: bool, warns: bool) -> State:
    return State.FAIL if fails else State.WARN if warns else State.PASS


def by(sides: Sequence[float]) -> str:
    """Three sides in words: ``60 by 60 by 100 mm``."""
    return f"{' by '.join(format_mm(side, 1).removesuffix(' mm') for side in sides)} mm"


def _called(result: Result, body: int) -> str:
    graph = result.placement.graph
    size = graph.members[body].size
    return f"{size.kind if isinstance(size, Finding) else 'ring'} {graph.names[body]}"


def _several(result: Result, bodies: Sequence[int]) -> str:
    """Bodies by name, of many the first few and how many more."""
    names = [_called(result, body) for body in bodies[:MOST_NAMED]]
    more = len(bodies) - len(names)
    return f"{', '.join(names)}{f' and {more:,} more' if more else ''}"
