"""Head pins with beads on them, and ear posts.

Sizes left out are common practice. A head pin hangs from its loop at -x; its head is at x, and the first
bead sits on the head.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import pi

from chaingen.findings.beads import (
    ball,
    bead_misfits,
    disc,
    disc_volume,
    length_along_hole,
    seat,
    strand_volume,
)
from chaingen.findings.finding import Bead, Cut, Finding
from chaingen.findings.links import wire_misfits
from chaingen.findings.parts import (
    SUNK,
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
from chaingen.geometry.centrelines import Bend, Curve, Straight, bent_wire, reversed_curve
from chaingen.geometry.shapes import Closure, Strand
from chaingen.units import format_mm

ALONG = (1.0, 0.0, 0.0)

FLAT_HEAD = 0.7
"""Thickness of a flat head in wire diameters."""

SPIRAL_GAP = 1.05
"""Pitch of a spiral in wire diameters."""

SPIRAL_CORE = 0.65
"""Centreline radius of the innermost half turn of a spiral in wire diameters."""


@dataclass(frozen=True, slots=True)
class Threaded:
    """A bead to be threaded on a pin.

    Attributes:
        form: ``ball``, ``disc`` or ``rondelle``.
        diameter: Its diameter [mm].
        thickness: Its length along the hole [mm]; None of a ball.
        hole: Diameter of its hole [mm].
        colour: Its colour as red, green and blue, 0 to 1.
        density: What it weighs [g/cm3]; None when that is not known.
    """

    form: str
    diameter: float
    thickness: float | None
    hole: float
    colour: tuple[float, float, float]
    density: float | None = None

    @property
    def along(self) -> float:
        """How much of the pin it takes [mm]."""
        return length_along_hole(self.form, self.diameter, self.thickness or self.diameter, self.hole)


def _beads(threaded: Sequence[Threaded], end: float) -> tuple[list[Strand], tuple[Bead, ...]]:
    """Beads in a row whose first one ends at `end` on the x axis [mm]."""
    strands: list[Strand] = []
    beads = []
    for number, bead in enumerate(threaded, start=1):
        part = f"bead {number}"
        at = (end - 0.5 * bead.along, 0.0, 0.0)
        end -= bead.along
        thickness = bead.diameter if bead.thickness is None else bead.thickness
        if bead.form == "ball":
            strands.append(ball(at, bead.diameter, part))
        else:
            strands += disc(at, ALONG, diameter=bead.diameter, thickness=thickness, hole=bead.hole, part=part)
        beads.append(Bead(part, bead.form, bead.diameter, thickness, bead.hole, bead.colour, bead.density))
    return strands, tuple(beads)


def _spiral(stem: Straight, wire: float, turns: float) -> tuple[Curve, ...]:
    """A flat spiral at the end of a stem, centred on it as a loop is, wound inwards by half turns."""
    step = 0.5 * SPIRAL_GAP * wire
    halves = max(round(2.0 * turns), 1)
    radius = SPIRAL_CORE * wire + (halves - 1) * step
    first = turned_loop(stem, inside=2.0 * radius - wire, wire=wire).path
    bend, arc = first[0], first[1]
    # The neck's bend meets the outermost half turn, which goes on to the far side of the stem's line.
    steps = [Bend(radius=radius - k * step, angle=180.0) for k in range(halves)]
    start = arc.point(0.0)
    return (bend, *bent_wire(steps, begin=start, heading=arc.tangent(0.0)))


def head_pin(
    name: str = "head pin",
    *,
    wire: float = 0.6,
    inside: float = 1.8,
    wraps: int = 0,
    bare: float = 0.5,
    head: str = "ball",
    head_size: float | None = None,
    turns: float = 2.0,
    beads: Sequence[Threaded] = (),
) -> Finding:
    """A pin with a head, beads threaded above it, and a loop to hang it by.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm]; bead holes often take no more than 0.6 mm (common practice).
        inside: Inside diameter of the loop [mm].
        wraps: Turns of wire wound round the stem below the loop; with none the loop can be opened.
        bare: Straight wire without beads or coils [mm].
        head: ``flat``, ``ball`` or ``spiral``.
        head_size: Diameter of a flat head or of a ball [mm]; three times, or two and a half times, the wire
            when left out.
        turns: Turns of a spiral, to the nearest half.
        beads: The beads, the one on the head first.
    """
    taken = sum(bead.along for bead in beads)
    stem = Straight((0.0, 0.0, 0.0), ALONG, bare + wraps * wire + taken)
    back = reversed_curve(stem)
    assert isinstance(back, Straight)
    loop = turned_loop(back, inside=inside, wire=wire)
    size = _head_size(wire, head, head_size)
    path: tuple[Curve, ...] = (*reversed_path(loop.path), stem)
    metal: tuple[Strand, ...] = ()
    molten = filling = 0.0
    if head == "spiral":
        path = (*path, *_spiral(stem, wire, turns))
    elif head == "ball":
        # The ball sits on the rim of the first bead's hole, or takes up the end of the bare wire.
        middle = stem.length + seat(size, beads[0].hole if beads else wire)
        metal = (ball((middle, 0.0, 0.0), size),)
        end = max(middle - seat(size, wire), 0.5 * stem.length)
        path = (*path[:-1], Straight(stem.begin, ALONG, end))
        molten = pi / 6.0 * size**3
    else:
        thick = FLAT_HEAD * wire
        metal = disc((stem.length + 0.5 * thick, 0.0, 0.0), ALONG, diameter=size, thickness=thick)
        molten = disc_volume(size, thick)
        filling = molten - strand_volume(metal)
    threaded, kept = _beads(beads, stem.length)
    closure = Closure.SOLDERED if wraps else Closure.PLIERS
    eye = loop_eye("loop", back, loop, inside=inside, wire=wire, closure=closure)
    coil = coils((0.0, 0.0, 0.0), ALONG, wire=wire, wraps=wraps)
    length = path_length(path) + coil_length(wire, wraps) + molten / (0.25 * pi * wire * wire)
    return Finding(
        name,
        "head pin",
        wired([Strand(path, 0.5 * wire), *coil, *metal, *threaded], [eye]),
        inner=(0,),
        beads=kept,
        cuts=(Cut("pin", wire, length),),
        filling=filling + coil_filling(wire, wraps),
    )


def _head_size(wire: float, head: str, head_size: float | None) -> float:
    """Diameter of a flat head or a ball [mm]."""
    return (3.0 if head == "flat" else 2.5) * wire if head_size is None else head_size


def _outside_above(wire: float, inside: float, wraps: int) -> float:
    """Outside diameter of what keeps the beads from coming off upwards [mm]: the coil, or else the loop."""
    return 3.0 * wire if wraps else inside + 2.0 * wire


def head_pin_misfits(
    *,
    wire: float,
    inside: float,
    wraps: int,
    bare: float,
    head: str,
    head_size: float | None,
    turns: float,
    beads: Sequence[Threaded],
) -> list[Misfit]:
    """What does not go together in a head pin."""
    found = wire_misfits(wire, inside=inside)
    for number, bead in enumerate(beads, start=1):
        found += bead_misfits(f"beads[{number}]", bead.form, bead.diameter, bead.thickness, bead.hole, wire)
    if found:
        return found
    size = _head_size(wire, head, head_size)
    if head == "spiral":
        if head_size is not None:
            found.append(
                Misfit("head_size", format_mm(head_size), "no size of a spiral: it follows from its turns")
            )
        size = 2.0 * (SPIRAL_CORE + 0.5 * SPIRAL_GAP * (max(round(2.0 * turns), 1) - 1)) * wire + wire
    elif size < 1.5 * wire:
        found.append(
            Misfit("head_size", format_mm(size), f"at least {format_mm(1.5 * wire)}, one and a half times "
                   "the wire")
        )  # fmt: skip
    if beads and size < beads[0].hole + 0.2:
        found.append(
            Misfit("beads[1].hole", format_mm(beads[0].hole), f"0.2 mm less than the head, {format_mm(size)}",
                   "a larger head, or a small bead next to it")
        )  # fmt: skip
    for number, (below, above) in enumerate(pairwise(beads), start=2):
        if above.hole >= below.diameter:
            found.append(
                Misfit(f"beads[{number}].hole", format_mm(above.hole), "less than the diameter of the bead "
                       f"below, {format_mm(below.diameter)}", "it would slip over that bead")
            )  # fmt: skip
    if beads and beads[-1].hole >= (outside := _outside_above(wire, inside, wraps)):
        what = "the coil" if wraps else "the loop"
        found.append(
            Misfit(f"beads[{len(beads)}].hole", format_mm(beads[-1].hole),
                   f"less than the outside of {what}, {format_mm(outside)}",
                   f"it would slip over {what}; a small bead above it holds it")
        )  # fmt: skip
    if not beads and not wraps and bare < 0.5 * wire:
        found.append(
            Misfit("bare", format_mm(bare), f"at least half the wire, {format_mm(0.5 * wire)}, on a pin "
                   "without beads")
        )  # fmt: skip
    return found


# Ear post


def ear_post(
    name: str = "ear post",
    *,
    wire: float = 0.8,
    post: float = 11.0,
    front: str = "ball",
    front_size: float = 3.0,
    front_thickness: float | None = None,
    eye_wire: float = 0.8,
    eye_inside: float = 1.8,
) -> Finding:
    """A post that goes through a pierced ear, a ball or a disc in front of it, and an eye below.

    The post runs along -z, square to the piece.

    Args:
        name: The name that the design gives it.
        wire: Diameter of the post [mm]; 0.8 mm is usual (memory).
        post: Its length behind the front [mm].
        front: ``ball`` or ``disc``.
        front_size: Diameter of the front [mm].
        front_thickness: Thickness of a disc [mm]; 1 mm when left out.
        eye_wire: Wire of the eye [mm].
        eye_inside: Inside diameter of the eye [mm].
    """
    thick = 1.0 if front_thickness is None else front_thickness
    metal: tuple[Strand, ...]
    discs: tuple[tuple[float, float], ...] = ()
    if front == "ball":
        metal, back, deep = (ball((0.0, 0.0, 0.0), front_size),), 0.5 * front_size, seat(front_size, wire)
        filling = 0.0
    else:
        metal = disc((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), diameter=front_size, thickness=thick)
        back = deep = 0.5 * thick
        filling = disc_volume(front_size, thick) - strand_volume(metal)
        discs = ((front_size, thick),)
    pin = Straight((0.0, 0.0, -deep), (0.0, 0.0, -1.0), post + back - deep)
    apart = 0.5 * (front_size + eye_wire) - SUNK * min(eye_wire, front_size)
    ring, eye = ring_eye(
        "eye", (-apart - 0.5 * (eye_inside + eye_wire), 0.0, 0.0), inside=eye_inside, wire=eye_wire
    )
    cuts = [Cut("post", wire, pin.length), Cut("eye", eye_wire, ring.length)]
    if front == "ball":
        molten = pi / 6.0 * front_size**3
        cuts.append(Cut("ball, melted", wire, molten / (0.25 * pi * wire * wire)))
    return Finding(
        name, "ear post", wired([Strand((pin,), 0.5 * wire), *metal, ring], [eye]), inner=(0,),
        cuts=tuple(cuts), discs=discs, filling=filling,
    )  # fmt: skip


def ear_post_misfits(
    *,
    wire: float,
    post: float,
    front: str,
    front_size: float,
    front_thickness: float | None,
    eye_wire: float,
    eye_inside: float,
) -> list[Misfit]:
    """What does not go together in an ear post."""
    found = wire_misfits(eye_wire, key="eye_inside", inside=eye_inside)
    if front_size < 1.5 * wire:
        found.append(
            Misfit("front_size", format_mm(front_size), f"at least {format_mm(1.5 * wire)}, one and a half "
                   "times the post", "a smaller front slips through the ear")
        )  # fmt: skip
    if front == "ball" and front_thickness is not None:
        found.append(
            Misfit("front_thickness", format_mm(front_thickness), "no thickness of a ball", 'front = "disc"')
        )
    thick = 1.0 if front_thickness is None else front_thickness
    if front == "disc" and not front_size / 12.0 <= thick <= 0.8 * front_size:
        found.append(
            Misfit("front_thickness", format_mm(thick), f"{format_mm(front_size / 12.0)} to "
                   f"{format_mm(0.8 * front_size)} at this size")
        )  # fmt: skip
    return found
