"""Links of wire that are no round rings, and the soldered ring.

Sizes left out are common practice for a bracelet of 1 mm wire.
"""

from chaingen.findings.finding import Cut, Finding
from chaingen.findings.parts import (
    PLANE_UP,
    QUARTER_UP,
    Misfit,
    coil_filling,
    coil_length,
    coils,
    loop_eye,
    path_length,
    reversed_path,
    ring_eye,
    turned_loop,
    wired,
)
from chaingen.geometry.centrelines import Bend, Straight, bent_wire, reversed_curve
from chaingen.geometry.shapes import Closure, Eye, Strand
from chaingen.units import format_mm


def wire_misfits(wire: float, *, key: str = "inside", inside: float) -> list[Misfit]:
    """A hole through which not even its own wire passes is too small to be bent or linked."""
    if inside >= wire:
        return []
    return [Misfit(key, format_mm(inside), f"at least the wire, {format_mm(wire)}", "the loop is too small")]


def _looped(
    name: str,
    kind: str,
    *,
    wire: float,
    inside: float,
    outer_inside: float | None,
    stem: float,
    loops: int,
    quarter_turn: bool,
    wraps: int,
) -> Finding:
    closure = Closure.SOLDERED if wraps else Closure.PLIERS
    middle = Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), stem)
    back = reversed_curve(middle)
    assert isinstance(back, Straight)
    one = turned_loop(back, inside=inside, wire=wire)
    path = (*reversed_path(one.path), middle)
    eyes = [loop_eye("inner loop", back, one, inside=inside, wire=wire, closure=closure)]
    strands = list(coils((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), wire=wire, wraps=wraps))
    if loops == 2:
        size = inside if outer_inside is None else outer_inside
        two = turned_loop(middle, inside=size, wire=wire, up=QUARTER_UP if quarter_turn else PLANE_UP)
        path = (*path, *two.path)
        eyes.append(loop_eye("outer loop", middle, two, inside=size, wire=wire, closure=closure))
        strands += coils((stem, 0.0, 0.0), (-1.0, 0.0, 0.0), wire=wire, wraps=wraps)
    length = path_length(path) + loops * coil_length(wire, wraps)
    return Finding(
        name,
        kind,
        wired([Strand(path, 0.5 * wire), *strands], eyes),
        inner=(0,),
        outer=(1,) if loops == 2 else (),
        cuts=(Cut("link", wire, length),),
        filling=loops * coil_filling(wire, wraps),
    )


def loop_link(
    name: str = "loop link",
    *,
    wire: float = 1.0,
    inside: float = 2.5,
    outer_inside: float | None = None,
    stem: float = 8.0,
    loops: int = 2,
    quarter_turn: bool = False,
) -> Finding:
    """A straight stem with a loop turned at one end or at both.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter of the loops [mm].
        outer_inside: That of the outer loop where it has its own [mm].
        stem: Length of the straight wire between the small bends at its ends [mm].
        loops: 1 or 2.
        quarter_turn: Whether the second loop stands at right angles to the first.
    """
    return _looped(
        name, "loop link", wire=wire, inside=inside, outer_inside=outer_inside, stem=stem, loops=loops,
        quarter_turn=quarter_turn, wraps=0,
    )  # fmt: skip


def loop_link_misfits(
    *, wire: float, inside: float, outer_inside: float | None, stem: float, loops: int, quarter_turn: bool
) -> list[Misfit]:
    """What does not go together in a loop link."""
    found = wire_misfits(wire, inside=inside)
    if outer_inside is not None:
        found += wire_misfits(wire, key="outer_inside", inside=outer_inside)
    if loops == 1:
        if outer_inside is not None:
            found.append(Misfit("outer_inside", format_mm(outer_inside), "no outer loop with loops = 1"))
        if quarter_turn:
            found.append(Misfit("quarter_turn", "true", "two loops to be turned to one another"))
    return found


def wrapped_link(
    name: str = "wrapped link",
    *,
    wire: float = 0.8,
    inside: float = 2.5,
    outer_inside: float | None = None,
    stem: float = 8.0,
    loops: int = 2,
    wraps: int = 3,
    quarter_turn: bool = False,
) -> Finding:
    """A stem with loops whose wire is wound round the stem; they cannot be opened again.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter of the loops [mm].
        outer_inside: That of the outer loop where it has its own [mm].
        stem: Length of the straight wire between the small bends at its ends, coils included [mm].
        loops: 1 or 2.
        wraps: Turns of wire round the stem at each loop.
        quarter_turn: Whether the second loop stands at right angles to the first.
    """
    return _looped(
        name, "wrapped link", wire=wire, inside=inside, outer_inside=outer_inside, stem=stem, loops=loops,
        quarter_turn=quarter_turn, wraps=wraps,
    )  # fmt: skip


def wrapped_link_misfits(
    *,
    wire: float,
    inside: float,
    outer_inside: float | None,
    stem: float,
    loops: int,
    wraps: int,
    quarter_turn: bool,
) -> list[Misfit]:
    """What does not go together in a wrapped link."""
    found = loop_link_misfits(
        wire=wire, inside=inside, outer_inside=outer_inside, stem=stem, loops=loops, quarter_turn=quarter_turn
    )
    if stem < loops * wraps * wire:
        coil = f"at least {format_mm(loops * wraps * wire)}, as long as its coils"
        found.append(Misfit("stem", format_mm(stem), coil, "fewer wraps or a longer stem"))
    return found


def oval_link(
    name: str = "oval link",
    *,
    wire: float = 1.0,
    inside_length: float = 6.0,
    inside_width: float = 3.5,
    soldered: bool = False,
) -> Finding:
    """A link with straight sides and half-round ends.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside_length: Its hole along the piece [mm].
        inside_width: Its hole across the piece, up to its length [mm].
        soldered: Whether it is soldered shut; else it is opened with pliers.
    """
    radius, side = 0.5 * (inside_width + wire), inside_length - inside_width
    half = Bend(radius=radius, angle=180.0)
    steps = [Bend(length=side), half, Bend(length=side), half] if side > 1e-9 else [half, half]
    path = bent_wire(steps, begin=(-0.5 * side, -radius, 0.0))
    closure = Closure.SOLDERED if soldered else Closure.PLIERS
    eye = Eye("link", path, (), 0.5 * wire, inside_width, closure)
    return Finding(
        name, "oval link", wired([Strand(path, 0.5 * wire)], [eye]), inner=(0,), outer=(0,),
        cuts=(Cut("link", wire, path_length(path)),),
    )  # fmt: skip


def oval_link_misfits(
    *, wire: float, inside_length: float, inside_width: float, soldered: bool
) -> list[Misfit]:
    """What does not go together in an oval link."""
    found = wire_misfits(wire, key="inside_width", inside=inside_width)
    if inside_length < inside_width:
        found.append(
            Misfit(
                "inside_length", format_mm(inside_length),
                f"at least the inside width, {format_mm(inside_width)}", "swap the two",
            )
        )  # fmt: skip
    return found


def closed_ring(name: str = "closed ring", *, wire: float = 1.0, inside: float = 4.0) -> Finding:
    """A round ring that is soldered shut.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter [mm].
    """
    strand, eye = ring_eye("ring", (0.0, 0.0, 0.0), inside=inside, wire=wire)
    return Finding(
        name, "closed ring", wired([strand], [eye]), inner=(0,), outer=(0,),
        cuts=(Cut("ring", wire, strand.length),),
    )  # fmt: skip


def closed_ring_misfits(*, wire: float, inside: float) -> list[Misfit]:
    """What does not go together in a closed ring."""
    return wire_misfits(wire, inside=inside)
