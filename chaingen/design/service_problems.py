"""What is wrong between the keys of a service and the piece: metals, sizes of rings, names of bodies."""

from collections.abc import Sequence
from math import pi

from chaingen.design.design import MAX_RINGS, Design
from chaingen.design.service import Service
from chaingen.errors import Problem
from chaingen.tables import key, meant, shown
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import RingSize, Run

MOST_OF_ROUND = 3
"""A cut, or an opening, is less than this part of the way round a ring, or it leaves no ring."""

MOST_COMPARED = 2000
"""Names that the spelling of an unknown one is compared with; more take too long."""


def service_problems(design: Design) -> list[Problem]:
    """What is wrong with the service of a design, as far as it can be told before the piece is placed.

    Names of bodies are judged where they are known already: those of a run of groups without a length. For
    all others `soldered_problems` judges them once the piece is placed.
    """
    service = design.service
    if service is None:
        return []
    problems = [
        *_metal_problems(design, service),
        *_finishing_problems(design, service),
        *_cut_problems(design.piece.sizes(), service),
        *_sprue_problems(design, service),
        *_twice(service),
    ]
    piece = design.piece
    counted = isinstance(piece, Run) and design.length is None and piece.most_rings() <= MAX_RINGS
    if service.soldered and counted and isinstance(piece, Run):
        problems += soldered_problems(piece_graph(piece), service)
    return problems


def soldered_problems(graph: LinkGraph, service: Service) -> list[Problem]:
    """Bodies that are to be soldered and are none of the piece.

    Args:
        graph: The link graph of the piece.
        service: Its service.
    """
    if not service.soldered:
        return []
    names = graph.names
    known = set(names)
    problems = []
    for number, pair in enumerate(service.soldered, start=1):
        for place, name in enumerate(pair, start=1):
            if name not in known:
                where = f"service.soldered[{number}][{place}]"
                expected = f"a body of the piece, {names[0]} to {names[-1]}"
                problems.append(Problem(where, shown(name), expected, meant(name, _like(name, names))))
    return problems


def _like(name: str, names: Sequence[str]) -> Sequence[str]:
    """The names that one may have been meant for: of many those that begin as it does."""
    if len(names) <= MOST_COMPARED:
        return names
    return [one for one in names if one[:2] == name[:2]][:MOST_COMPARED]


def _twice(service: Service) -> list[Problem]:
    """Pairs that are to be soldered and stand there already."""
    seen: dict[frozenset[str], int] = {}
    problems = []
    for number, pair in enumerate(service.soldered, start=1):
        first = seen.setdefault(frozenset(pair), number)
        if first != number:
            got = f"{pair[0]} and {pair[1]}, which are pair {first} already"
            problems.append(Problem(f"service.soldered[{number}]", got, "each pair once"))
    return problems


def _metal_problems(design: Design, service: Service) -> list[Problem]:
    """Shrinkage of metals that the design does not name."""
    used = design.named_metals
    known = list(dict.fromkeys([*(metal.name for metal in used), *(metal.base for metal in used)]))
    return [
        Problem(
            f"service.shrinkage.{key(name)}",
            "a metal that the design does not name",
            f"one of {', '.join(known)}",
            meant(name, known),
        )
        for name, _ in service.shrinkage
        if name and name not in known
    ]


def _finishing_problems(design: Design, service: Service) -> list[Problem]:
    """Finishing that leaves no hole in a ring as it is cast, for it is narrower by that."""
    holes = [(size.inside_diameter, size.name) for size in design.ring_sizes]
    if service.process.assembled:
        holes += [(eye.inside, finding.name) for finding in design.findings for eye in finding.shape.eyes]
    narrowest, name = min(holes)
    if service.finishing < narrowest:
        return []
    expected = f"less than {format_mm(narrowest)}, the inside of {name!r}"
    advice = "what is taken off makes the casting's wire thicker and its inside narrower"
    return [Problem("service.finishing", format_mm(service.finishing), expected, advice)]


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


def _sprue_problems(design: Design, service: Service) -> list[Problem]:
    """Mains no thicker than their feeders, and buttons no thicker than the main: they would freeze first."""
    sprues = service.sprues
    wires = [size.wire_diameter for size in design.piece.sizes()]
    if service.process.assembled:
        wires += [wire for finding in design.findings for wire, _ in finding.wires]
    if sprues is None or not wires:
        return []
    problems = []
    wire = max(wires) + service.finishing
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
