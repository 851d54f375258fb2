"""Clasps: spring ring, claw clasp, and the two halves of a toggle.

Sizes left out are common practice. An eye for the piece, a soldered ring, stands at -x; the mouth opens
towards x. A gate is drawn shut, of thinner wire; `gate` is how wide it opens.
"""

from math import asin, cos, degrees, pi, radians, sin, sqrt, tau

from chaingen.findings.finding import Cut, Finding
from chaingen.findings.links import wire_misfits
from chaingen.findings.parts import SUNK, Misfit, path_length, ring_eye, wired
from chaingen.geometry.centrelines import Arc, Bend, Curve, Straight, bent_wire, segment
from chaingen.geometry.shapes import Closure, Eye, Strand
from chaingen.units import format_mm

GATE_WIRE = 0.65
"""Wire of a gate in parts of that of the body: it slides into a tube, or swings inside its outline."""

LEVER_WIRE = 0.6
"""Wire of the little lever by which a gate is opened, in parts of that of the body."""

GATE_AT = 70.0
"""Where the middle of a spring ring's gate lies from the side that the pull comes to [deg]."""

MOST_GATE = 100.0
"""A spring ring's gate takes at most so much of its round [deg]."""


def _eye_beside(x: float, wire: float, eye_inside: float, eye_wire: float) -> tuple[Strand, Eye]:
    """An eye for the piece, soldered to a wire whose centreline comes nearest to it at `x` [mm]."""
    apart = 0.5 * (wire + eye_wire) - SUNK * min(wire, eye_wire)
    middle = x - apart - 0.5 * (eye_inside + eye_wire)
    return ring_eye("eye", (middle, 0.0, 0.0), inside=eye_inside, wire=eye_wire)


def _eye_misfits(eye_inside: float, eye_wire: float) -> list[Misfit]:
    return wire_misfits(eye_wire, key="eye_inside", inside=eye_inside)


# Spring ring


def _gate_angle(inside: float, wire: float, gate: float) -> float:
    """How much of the round a gate takes that opens so wide [rad]; its ends are half round."""
    return 2.0 * asin(min((gate + wire) / (inside + wire), 1.0))


def spring_ring(
    name: str = "spring ring",
    *,
    wire: float = 1.3,
    inside: float = 3.6,
    gate: float = 1.4,
    eye_wire: float = 0.7,
    eye_inside: float = 1.6,
) -> Finding:
    """A ring of tube with a gate that a spring pushes shut, and an eye for the piece.

    Args:
        name: The name that the design gives it.
        wire: Diameter of the tube [mm].
        inside: Inside diameter of the ring [mm].
        gate: How wide it opens [mm].
        eye_wire: Wire of the eye [mm].
        eye_inside: Inside diameter of the eye [mm].
    """
    radius = 0.5 * (inside + wire)
    angle = _gate_angle(inside, wire, gate)
    begin = radians(GATE_AT) + 0.5 * angle

    def arc(start: float, span: float) -> Arc:
        return Arc(
            (0.0, 0.0, 0.0), (cos(start), sin(start), 0.0), (-sin(start), cos(start), 0.0), radius, span
        )

    body, shut = arc(begin, tau - angle), arc(begin - angle, angle)
    knob = begin + 0.8 * wire / radius
    out = (cos(knob), sin(knob), 0.0)
    lever = Straight((radius * out[0], radius * out[1], 0.0), out, 1.1 * wire)
    ring, eye = _eye_beside(-radius, wire, eye_inside, eye_wire)
    mouth = Eye("mouth", (body, shut), (), 0.5 * wire, inside, Closure.GATE, gate=gate)
    strands = [
        Strand((body,), 0.5 * wire),
        Strand((shut,), 0.5 * GATE_WIRE * wire),
        Strand((lever,), 0.5 * LEVER_WIRE * wire),
        ring,
    ]
    return Finding(
        name, "spring ring", wired(strands, [eye, mouth]), inner=(0,), outer=(1,),
        cuts=(
            Cut("ring of tube", wire, body.length),
            Cut("gate", GATE_WIRE * wire, shut.length),
            Cut("lever", LEVER_WIRE * wire, lever.length),
            Cut("eye", eye_wire, ring.length),
        ),
    )  # fmt: skip


def spring_ring_misfits(
    *, wire: float, inside: float, gate: float, eye_wire: float, eye_inside: float
) -> list[Misfit]:
    """What does not go together in a spring ring."""
    found = wire_misfits(wire, inside=inside) + _eye_misfits(eye_inside, eye_wire)
    widest = min((inside + wire) * sin(0.5 * radians(MOST_GATE)) - wire, inside)
    if not found and gate > widest:
        found.append(
            Misfit("gate", format_mm(gate), f"at most {format_mm(widest)} in a ring of this size",
                   "a gate takes no more than its side of the ring")
        )  # fmt: skip
    return found


# Claw clasp


def _claw(wire: float, inside_width: float, inside_length: float) -> tuple[float, float, float]:
    """Radii of a claw's base and nose, and how far their middles are apart [mm]."""
    nose = 0.5 * (inside_width + wire)
    base = max(0.6 * nose, 0.75 * wire)
    return base, nose, inside_length + wire - nose - base


def lobster_clasp(
    name: str = "lobster clasp",
    *,
    wire: float = 1.3,
    inside_width: float = 3.4,
    inside_length: float = 6.2,
    gate: float = 2.0,
    eye_wire: float = 0.9,
    eye_inside: float = 1.8,
) -> Finding:
    """A claw whose gate swings inwards, and an eye for the piece; drawn as its outline in wire.

    Args:
        name: The name that the design gives it.
        wire: Thickness of the claw [mm].
        inside_width: Width of its mouth where it is widest [mm].
        inside_length: Length of its mouth [mm].
        gate: How wide it opens [mm].
        eye_wire: Wire of the eye [mm].
        eye_inside: Inside diameter of the eye [mm].
    """
    base, nose, apart = _claw(wire, inside_width, inside_length)
    lean = asin((nose - base) / apart)
    side = apart * cos(lean)
    outline = bent_wire(
        [
            Bend(radius=base, angle=180.0 - 2.0 * degrees(lean)),
            Bend(length=side),
            Bend(radius=nose, angle=180.0 + 2.0 * degrees(lean)),
            Bend(length=side),
        ],
        begin=(-base * sin(lean), base * cos(lean), 0.0),
        heading=(-cos(lean), -sin(lean), 0.0),
    )
    body, shut = outline[:3], outline[3]
    hinge = shut.point(0.72 * side)
    x, y, _ = shut.tangent(0.0)
    slant = (x * cos(0.9) + y * sin(0.9), y * cos(0.9) - x * sin(0.9), 0.0)
    lever = Straight(hinge, slant, 1.3 * wire)
    ring, eye = _eye_beside(-base, wire, eye_inside, eye_wire)
    mouth = Eye("mouth", outline, (), 0.5 * wire, inside_width, Closure.GATE, gate=gate)
    strands = [
        Strand(body, 0.5 * wire),
        Strand((shut,), 0.5 * GATE_WIRE * wire),
        Strand((lever,), 0.5 * LEVER_WIRE * wire),
        ring,
    ]
    return Finding(
        name, "lobster clasp", wired(strands, [eye, mouth]), inner=(0,), outer=(1,),
        cuts=(
            Cut("claw", wire, path_length(body)),
            Cut("gate", GATE_WIRE * wire, shut.length),
            Cut("lever", LEVER_WIRE * wire, lever.length),
            Cut("eye", eye_wire, ring.length),
        ),
    )  # fmt: skip


def lobster_clasp_misfits(
    *,
    wire: float,
    inside_width: float,
    inside_length: float,
    gate: float,
    eye_wire: float,
    eye_inside: float,
) -> list[Misfit]:
    """What does not go together in a claw clasp."""
    found = wire_misfits(wire, key="inside_width", inside=inside_width) + _eye_misfits(eye_inside, eye_wire)
    base, nose, apart = _claw(wire, inside_width, inside_length)
    if apart < nose:
        shortest = format_mm(inside_length + nose - apart)
        found.append(
            Misfit("inside_length", format_mm(inside_length), f"at least {shortest} at this width",
                   "a claw is longer than it is wide")
        )  # fmt: skip
        return found
    # The gate swings inwards about its hinge until it meets the other side.
    widest = min(inside_width, sqrt(apart**2 - (nose - base) ** 2) - 0.5 * wire)
    if gate > widest:
        found.append(
            Misfit("gate", format_mm(gate), f"at most {format_mm(widest)} in a claw of this size",
                   "a gate swings no farther than across the mouth")
        )  # fmt: skip
    return found


# Toggle

ALONG_EYE = 5.0 / 6.0 * pi
"""How far round its eye the line of a toggle's bar goes [rad]: short of the far end, where what hangs in it
lies."""


def toggle_ring(
    name: str = "toggle ring",
    *,
    wire: float = 1.6,
    inside: float = 10.0,
    eye_wire: float = 1.0,
    eye_inside: float = 2.0,
) -> Finding:
    """The ring of a toggle, with an eye for the piece.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter of the ring [mm].
        inside: Its inside diameter [mm].
        eye_wire: Wire of the eye [mm].
        eye_inside: Inside diameter of the eye [mm].
    """
    strand, mouth = ring_eye("mouth", (0.0, 0.0, 0.0), inside=inside, wire=wire)
    ring, eye = _eye_beside(-0.5 * (inside + wire), wire, eye_inside, eye_wire)
    return Finding(
        name, "toggle ring", wired([strand, ring], [eye, mouth]), inner=(0,), outer=(1,),
        cuts=(Cut("ring", wire, strand.length), Cut("eye", eye_wire, ring.length)),
    )  # fmt: skip


def toggle_ring_misfits(*, wire: float, inside: float, eye_wire: float, eye_inside: float) -> list[Misfit]:
    """What does not go together in the ring of a toggle."""
    return wire_misfits(wire, inside=inside) + _eye_misfits(eye_inside, eye_wire)


def toggle_bar(
    name: str = "toggle bar",
    *,
    wire: float = 1.8,
    length: float = 18.0,
    eye_wire: float = 1.0,
    eye_inside: float = 2.0,
) -> Finding:
    """The bar of a toggle, with an eye for the piece at its middle.

    What it is hooked in, the ring of the toggle, goes round its eye, behind both halves of the bar. The
    closed line that says so goes twice down the eye, and back once over either half of the bar, farther out
    than any ring is wide that holds it. A ring threaded on one half, which would come off, is gone round
    once only; what hangs in the eye is not gone round at all.

    Args:
        name: The name that the design gives it.
        wire: Thickness of the bar [mm].
        length: Its length from end to end [mm].
        eye_wire: Wire of the eye [mm].
        eye_inside: Inside diameter of the eye [mm].
    """
    half = 0.5 * (length - wire)
    bar = Straight((0.0, -half, 0.0), (0.0, 1.0, 0.0), 2.0 * half)
    ring, eye = _eye_beside(0.0, wire, eye_inside, eye_wire)
    around = ring.curves[0]
    assert isinstance(around, Arc)
    middle, radius = around.centre[0], around.radius
    loop: list[Curve] = []
    for side in (1.0, -1.0):
        along_eye = Arc(around.centre, (1.0, 0.0, 0.0), (0.0, side, 0.0), radius, ALONG_EYE)
        leaves = along_eye.point(ALONG_EYE)
        loop += [
            segment((0.0, 0.0, 0.0), along_eye.point(0.0)),
            along_eye,
            segment(leaves, (leaves[0], side * length, 0.0)),
            segment((leaves[0], side * length, 0.0), (0.0, side * length, 0.0)),
            segment((0.0, side * length, 0.0), (0.0, side * half, 0.0)),
            segment((0.0, side * half, 0.0), (0.0, 0.0, 0.0)),
        ]
    # From the bar to the far end of the eye: so thick a wire goes round behind the bar.
    room = radius - middle - 0.5 * (wire + eye_wire)
    closing = (0, 2, 3, 4, 6, 8, 9, 10)
    mouth = Eye("bar", tuple(loop), closing, 0.5 * eye_wire, room, Closure.BAR, opening=room, turns=2)
    return Finding(
        name, "toggle bar", wired([Strand((bar,), 0.5 * wire), ring], [eye, mouth]), inner=(0,), outer=(1,),
        cuts=(Cut("bar", wire, length), Cut("eye", eye_wire, ring.length)),
    )  # fmt: skip


def toggle_bar_misfits(*, wire: float, length: float, eye_wire: float, eye_inside: float) -> list[Misfit]:
    """What does not go together in the bar of a toggle."""
    found = _eye_misfits(eye_inside, eye_wire)
    shortest = 2.0 * (eye_inside + 2.0 * eye_wire) + wire
    if length < shortest:
        found.append(
            Misfit("length", format_mm(length), f"at least {format_mm(shortest)}, twice the outside of its "
                   "eye and the wire", "a bar that is hardly longer than its eye holds nothing")
        )  # fmt: skip
    return found
