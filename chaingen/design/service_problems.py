"""What is wrong between the keys of a service and the piece: metals, sizes of rings, names of bodies."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi

from chaingen.design.design import MAX_RINGS, Design
from chaingen.design.service import Service
from chaingen.errors import Problem
from chaingen.findings.finding import Finding
from chaingen.stock.metals import Metal
from chaingen.tables import key, meant, one_of, shown
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import RingSize, Run

MOST_OF_ROUND = 3
"""A cut, or an opening, is less than this part of the way round a ring, or it leaves no ring."""

MOST_FINISHED = 3
"""Finishing takes off at most this part of the thickness of a wire, or the figure is a slip of the pen."""

ROUND_OFF = 1e-9
"""So much more, as a part, is still that part of a wire: 0.4 mm is a third of 1.2 mm."""

MOST_COMPARED = 2000
"""Names that the spelling of an unknown one is compared with; more take too long."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What is judged together: of a design with other problems as much of it as can be read.

    Attributes:
        service: The service.
        pairs: The pairs of bodies to solder by their number, which starts with 1.
        metals: The metals that the design names; None where that is not known.
        sizes: All ring sizes that it names.
        used: Those that the piece is made of.
        findings: The findings that the service makes.
        run: The piece, where its bodies are known already; None for others.
    """

    service: Service
    pairs: Mapping[int, tuple[str, str]]
    metals: tuple[Metal, ...] | None
    sizes: Sequence[RingSize]
    used: Sequence[RingSize]
    findings: Sequence[Finding]
    run: Run | None


def service_problems(design: Design) -> list[Problem]:
    """What is wrong with the service of a design, as far as it can be told before the piece is placed.

    Names of bodies are judged where they are known already: those of a run of groups without a length. For
    all others `soldered_problems` judges them once the piece is placed.
    """
    service = design.service
    if service is None:
        return []
    piece = design.piece
    counted = isinstance(piece, Run) and design.length is None and piece.most_rings() <= MAX_RINGS
    return judged_problems(
        Judged(
            service,
            pairs=dict(enumerate(service.soldered, start=1)),
            metals=design.named_metals,
            sizes=design.ring_sizes,
            used=piece.sizes(),
            # Those of loose rings are made by hand.
            findings=design.findings if service.process.assembled else (),
            run=piece if counted and isinstance(piece, Run) else None,
        )
    )


def judged_problems(judged: Judged) -> list[Problem]:
    """What is wrong between a service and what is known of the rest of its design."""
    metals, finishing = _metal_problems(judged), _finishing_problems(judged)
    if finishing:
        # All else is judged without it: what is told then stays wrong when it is mended.
        judged = replace(judged, service=replace(judged.service, finishing=0.0))
    problems = [
        *metals,
        *finishing,
        *_cut_problems(judged.used, judged.service),
        *_sprue_problems(judged),
        *_twice(judged.pairs),
    ]
    if judged.pairs and judged.run is not None:
        problems += _unknown_bodies(piece_graph(judged.run), judged.pairs)
    return problems


def soldered_problems(graph: LinkGraph, service: Service) -> list[Problem]:
    """Bodies that are to be soldered and are none of the piece.

    Args:
        graph: The link graph of the piece.
        service: Its service.
    """
    return _unknown_bodies(graph, dict(enumerate(service.soldered, start=1)))


def _unknown_bodies(graph: LinkGraph, pairs: Mapping[int, tuple[str, str]]) -> list[Problem]:
    if not (pairs and len(graph)):
        return []
    names = graph.names
    known = set(names)
    problems = []
    for number, pair in pairs.items():
        for place, name in enumerate(pair, start=1):
            if name not in known:
                where = f"service.soldered[{number}][{place}]"
                expected = f"a body of the piece, {names[0]} to {names[-1]}"
                if len(names) == 1:
                    expected = f"{names[0]}, the only body of the piece"
                problems.append(Problem(where, shown(name), expected, meant(name, _like(name, names))))
    return problems


def _like(name: str, names: Sequence[str]) -> Sequence[str]:
    """The names that one may have been meant for: of many those that begin as it does."""
    if len(names) <= MOST_COMPARED:
        return names
    return [one for one in names if one[:2] == name[:2]][:MOST_COMPARED]


def _twice(pairs: Mapping[int, tuple[str, str]]) -> list[Problem]:
    """Pairs that are to be soldered and stand there already."""
    seen: dict[frozenset[str], int] = {}
    problems = []
    for number, pair in pairs.items():
        first = seen.setdefault(frozenset(pair), number)
        if first != number:
            got = f"{pair[0]} and {pair[1]}, which are pair {first} already"
            problems.append(Problem(f"service.soldered[{number}]", got, "each pair once"))
    return problems


def _metal_problems(judged: Judged) -> list[Problem]:
    """Shrinkage of metals that the design does not name."""
    used = judged.metals
    if used is None:
        return []
    known = list(dict.fromkeys([*(metal.name for metal in used), *(metal.base for metal in used)]))
    return [
        Problem(
            f"service.shrinkage.{key(name)}",
            "a metal that the design does not name",
            one_of(known),
            meant(name, known),
        )
        for name, _ in judged.service.shrinkage
        if name and name not in known
    ]


def _finishing_problems(judged: Judged) -> list[Problem]:
    """Finishing that takes off more of a wire than any does, or leaves no hole in an eye as it is cast.

    The hole of a ring is wider than a third of its wire always, for the wire is no thicker than it.
    """
    finishing = judged.service.finishing
    wires = [(size.wire_diameter, size.name) for size in judged.sizes]
    wires += [(wire, finding.name) for finding in judged.findings for wire, _ in finding.wires]
    holes = [(eye.inside, finding.name) for finding in judged.findings for eye in finding.shape.eyes]
    got = format_mm(finishing)
    if holes and finishing >= min(holes)[0]:
        narrowest, name = min(holes)
        expected = f"less than {format_mm(narrowest)}, the inside of {name!r}"
        advice = "what is taken off makes the wire as made thicker and its inside narrower"
        return [Problem("service.finishing", got, expected, advice)]
    if wires and finishing * MOST_FINISHED > min(wires)[0] * (1.0 + ROUND_OFF):
        thinnest, name = min(wires)
        most = format_mm(thinnest / MOST_FINISHED)
        expected = f"at most {most}, a third of the wire of {name!r}, {format_mm(thinnest)}"
        return [Problem("service.finishing", got, expected, "it is taken off the thickness, in all")]
    return []


def _cut_problems(sizes: Sequence[RingSize], service: Service) -> list[Problem]:
    """Cuts and openings that leave no ring, or no gap."""
    if service.process.assembled or not sizes:
        return []
    problems = []
    shortest = min(sizes, key=lambda size: size.radius)
    most = 2.0 * pi * shortest.radius / MOST_OF_ROUND
    for name, width in (("cut", service.cut), ("opened", service.opened)):
        if width >= most:
            expected = f"less than {format_mm(most)}, a third of the way round {shortest.name!r}"
            problems.append(Problem(f"service.{name}", format_mm(width), expected))
    thickest = max(sizes, key=lambda size: size.wire_diameter)
    wire = thickest.wire_diameter + service.finishing
    if service.cut == 0.0 and 0.0 < service.opened <= wire:
        got = f"{format_mm(service.opened)} without a cut"
        expected = f"a cut over 0 mm, or opened over {format_mm(wire)}, the wire of {thickest.name!r} as cast"
        problems.append(Problem("service.opened", got, expected, "else the ends touch and fuse"))
    return problems


def _sprue_problems(judged: Judged) -> list[Problem]:
    """Mains no thicker than their feeders, and buttons no thicker than the main: they would freeze first."""
    sprues = judged.service.sprues
    if sprues is None:
        return []
    wires = [size.wire_diameter for size in judged.used]
    wires += [wire for finding in judged.findings for wire, _ in finding.wires]
    problems = []
    wire = max(wires) + judged.service.finishing if wires else 0.0
    feeder, main = sprues.feeder(wire), sprues.main_diameter(wire)
    if main <= feeder:
        expected = f"more than {format_mm(feeder)}, the feeder of wire of {format_mm(wire)} as cast"
        advice = "the main stays molten longest if it is the thicker one"
        problems.append(Problem("service.sprues.main", format_mm(main), expected, advice))
    if sprues.button is not None and sprues.button <= main:
        usual = " where main is left out" if sprues.main is None else ""
        expected = f"more than {format_mm(main)}, the main{usual}"
        problems.append(Problem("service.sprues.button", format_mm(sprues.button), expected))
    return problems
