"""Whether a process can make a piece from its model: what is sent against what the process can do.

Limits are of the pattern that is sent, and so are the sizes held against them: wires thicker by what
finishing takes off, everything larger by what shrinks; of what shrinks unevenly the least along any axis is
taken for wires and gaps. What the process cannot make fails; what it makes as a rule but not always is warned
of.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chaingen.design.service import Service
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.make.metals import worn_metals
from chaingen.make.result import Result
from chaingen.model.open_ring import can_open, open_ring_extent
from chaingen.prepare.cast import cast_size
from chaingen.prepare.casting_checks import castable, cut, mould, one_metal, shrinkage, spacing, sprues
from chaingen.prepare.sent import FULL, Sent, ServiceCheck, State, both_words, by, model_word, state_of
from chaingen.prepare.weld_checks import try_welds
from chaingen.solve.check import ALIKE, ROUND_OFF
from chaingen.solve.drape.draped import Draped, scene_names
from chaingen.units import format_mm
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Sheet

__all__ = ["FULL", "ServiceCheck", "State", "by", "rest_checks", "service_checks"]


def service_checks(result: Result) -> tuple[ServiceCheck, ...]:
    """Every check of a piece against the process of its design; none where it names no process.

    Rings made by themselves have no gap to be asked for; their size is that of the largest ring. Where there
    are none of those nothing is made that could be checked.
    """
    service = result.design.service
    if service is None:
        return ()
    piece = Sent.of(result.placement.rings, result.placement.graph, result.metals, service)
    if not len(piece.made):
        return ()
    if service.process.assembled:
        whole = "one piece of the pair" if result.design.pair else "the piece as placed"
        welds, joins = try_welds(piece, service)
        if service.soldered and not welds.rods:
            # What is not joined moves.
            piece = replace(piece, cluster=np.arange(len(piece.cluster)))
        checks = [
            _wire(piece, service, result.design.tolerance),
            _gap("gap between moving parts", piece, service),
            _size("size", whole, piece, service, _shorter(result)),
            *castable(piece, service),
            *one_metal(piece, service),
            *joins,
        ]
    else:
        checks = [
            _wire(piece, service, result.design.tolerance),
            _ring_size(piece, service),
            *cut(piece, service),
            spacing(piece, service),
            *castable(piece, service),
        ]
    return (*checks, *shrinkage(piece, service), *mould(piece, service), *sprues(piece, service))


def rest_checks(result: Result) -> tuple[ServiceCheck, ...]:
    """Gap and size of a piece at rest in each scene it was draped in, for a piece that is made as it lies.

    Indices of bodies are those of the drape's graph.
    """
    service = result.design.service
    if service is None or not service.process.assembled:
        return ()
    checks: list[ServiceCheck] = []
    for drape, scene in zip(result.drapes, scene_names(result.drapes), strict=True):
        if not isinstance(drape, Draped):
            continue
        bodies = drape.rings.thickened(0.5 * drape.hair) if drape.hair else drape.rings
        metals = worn_metals(result.design, result.placement, drape.graph)
        piece = Sent.of(bodies, drape.graph, metals, service)
        checks.append(_gap(f"gap at rest, {scene}", piece, service))
        checks.append(_size(f"size at rest, {scene}", "the piece at rest", piece, service, "in parts"))
    return tuple(checks)


def _shorter(result: Result) -> str:
    """What could be done about a piece that is too long."""
    if isinstance(result.design.piece, Sheet):
        return "smaller, in parts, or as it lies at rest in a scene"
    if result.design.piece.closed:
        return "shorter, or in parts"
    return (
        "shorter, as a closed loop, in parts, or as it lies at rest in a scene, such as on a table in a curve"
    )


def _wire(piece: Sent, service: Service, off: float) -> ServiceCheck:
    """The thinnest wire, which may come out `off` [mm] thinner."""
    made = piece.made
    wires = 2.0 * piece.cast.thinnest[made] * piece.stretch[made].min(axis=1)
    thinnest = float(wires.min())
    own = made[wires <= thinnest + ALIKE].tolist()
    finished = 2.0 * float(piece.finished.thinnest[own].min())
    least = service.smallest_wire
    fails, warns = thinnest < least - ROUND_OFF, thinnest - off < least - ROUND_OFF
    what = f"{both_words(finished, thinnest, piece, service)} ({piece.several(own)})"
    limit = f"the process makes {format_mm(least)} at the thinnest"
    if fails:
        text = f"{what}, and {limit}: {format_mm(least - thinnest)} too thin"
    elif warns:
        text = f"{what}, and {limit}: too thin where it comes out {format_mm(off)} thinner"
    else:
        text = f"{what}; {limit}"
    return ServiceCheck("thinnest wire", state_of(fails, warns), text, tuple(own))


def _gap(name: str, piece: Sent, service: Service) -> ServiceCheck:
    """The smallest gap of parts that are not welded into one."""
    cast, pair = smallest_gap(piece)
    if pair is None:
        one = len(piece.cluster) > 1 and piece.cluster.max() == 0
        text = "all parts are welded into one" if one else "no two parts come near each other"
        return ServiceCheck(name, State.PASS, text)
    times = float(piece.stretch.min())
    gap, least, safe = times * cast, service.smallest_gap, service.safe_gap
    # A placement holds the gap it was asked for to within this.
    off = times * ROUND_OFF
    fails, warns = gap < least - off, gap < safe - off
    names = " and ".join(piece.called(body) for body in pair)
    what = f"{both_words(cast + service.finishing, gap, piece, service)} ({names})"
    if fails:
        text = f"{what}, and the process fuses what is nearer than {format_mm(least)}"
    elif warns:
        text = f"{what}, and the process may fuse what is nearer than {format_mm(safe)}"
    elif least == 0.0:
        text = f"{what}; the process asks for none"
    else:
        reserve = f"{format_mm(safe)} is safe, " if safe > least else ""
        text = f"{what}; {reserve}what is nearer than {format_mm(least)} fuses"
    return ServiceCheck(name, state_of(fails, warns), text, pair)


def smallest_gap(piece: Sent) -> tuple[float, tuple[int, int] | None]:
    """Smallest gap as cast [mm] of bodies that are not welded into one, and which have it first."""
    margin = 2.0 * float(piece.cast.wire_radii.max())
    while True:
        pairs = near_pairs(piece.cast, margin=margin)
        pairs = pairs[piece.cluster[pairs[:, 0]] != piece.cluster[pairs[:, 1]]]
        if not len(pairs):
            return np.inf, None
        gaps, _ = smallest_gaps(piece.cast, pairs)
        smallest = float(gaps.min())
        if smallest <= margin:
            first, second = pairs[np.flatnonzero(gaps <= smallest + ALIKE)[0]].tolist()
            return smallest, (first, second)
        # Others may be nearer than what was found by chance.
        margin = smallest


def _size(name: str, whole: str, piece: Sent, service: Service, advice: str) -> ServiceCheck:
    finished, cast = (np.ptp(bodies.bounds(), axis=0) for bodies in (piece.finished, piece.cast))
    sent = (cast * piece.stretch.max(axis=0)).tolist()
    return against_build(name, whole, finished.tolist(), sent, service, advice=advice)


def _ring_size(piece: Sent, service: Service) -> ServiceCheck:
    """The largest of what is made by itself: a ring as it lies, open."""
    outsides = (piece.cast.radii + piece.cast.wire_radii) * piece.stretch.max(axis=1)
    largest = int(piece.made[np.argmax(outsides[piece.made])])
    size, stretch = piece.graph.members[largest].size, piece.stretch[largest]
    outside = 2.0 * float(piece.finished.radii[largest] + piece.finished.wire_radii[largest])
    assert isinstance(size, RingSize), "only rings are made by themselves"
    finished, cast = (outside, outside, size.wire_diameter), cast_size(size, service.finishing)
    opens = can_open(cast, service.cut, service.opened)
    low, high = open_ring_extent(cast, *((service.cut, service.opened) if opens else (0.0, 0.0)))
    sides = np.subtract(high, low) * stretch
    return against_build("size", piece.called(largest), finished, sides.tolist(), service, bodies=(largest,))


def against_build(
    name: str,
    what: str,
    finished: Sequence[float],
    sides: Sequence[float],
    service: Service,
    *,
    bodies: tuple[int, ...] = (),
    advice: str = "",
    when: str = "finished",
) -> ServiceCheck:
    """Whether a box goes into what can be built, in whichever of the six ways it is laid.

    Args:
        name: What is checked.
        what: What has that box.
        finished: The sides of the box as finished, or as `when` says [mm].
        sides: The same as it is sent [mm].
        service: The service.
        bodies: The bodies that have it; none for the piece.
        advice: How it could be made instead, where it is too long.
        when: When it has the first sides.
    """
    # If any way of laying it does, the longest along the longest and the shortest along the shortest does.
    pairs = list(zip(sorted(sides), sorted(service.build), strict=True))
    over = max(side - room for side, room in pairs)
    fails = over > ROUND_OFF
    warns = any(side > FULL * room + ROUND_OFF for side, room in pairs)
    turned = any(side > room + ROUND_OFF for side, room in zip(sides, service.build, strict=True))
    takes, sent = by(finished), by(sides)
    told = [f"{what} takes {takes}"]
    if sent != takes:
        told = [f"{told[0]} {when}", f"{sent} in the {model_word(service)}"]
    builds = f"the process builds {by(service.build)}"
    if fails:
        found = f"{format_mm(over)} too long, along whichever side it is laid"
        builds = f"{builds}: {found}{f'; make it {advice}' if advice else ''}"
    elif warns:
        builds = f"{builds}: it fits{' turned' if turned else ''}, with little room"
    elif turned:
        builds = f"{builds}, where it fits turned"
    text = f"{', '.join(told)}{', and' if fails or warns else ';'} {builds}"
    return ServiceCheck(name, state_of(fails, warns), text, bodies, (*told, builds))
