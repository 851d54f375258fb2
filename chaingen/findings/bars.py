"""End bars: several strands brought to one.

Sizes left out are common practice. The bar runs along y; the eyes of the strands stand at -x, that of the
clasp at x.
"""

from chaingen.findings.finding import Cut, Finding
from chaingen.findings.links import wire_misfits
from chaingen.findings.parts import SUNK, Misfit, ring_eye, wired
from chaingen.geometry.centrelines import Straight
from chaingen.geometry.shapes import Strand
from chaingen.units import format_mm


def end_bar(
    name: str = "end bar",
    *,
    wire: float = 1.5,
    strands: int = 3,
    pitch: float = 6.0,
    eye_wire: float = 0.9,
    eye_inside: float = 2.0,
    outer_inside: float | None = None,
) -> Finding:
    """A bar with an eye for each strand on one side, and one eye on the other.

    Args:
        name: The name that the design gives it.
        wire: Thickness of the bar [mm].
        strands: How many eyes there are for strands.
        pitch: Distance of their middles [mm].
        eye_wire: Wire of all eyes [mm].
        eye_inside: Inside diameter of the eyes for strands [mm].
        outer_inside: That of the eye on the other side where it has its own [mm].
    """
    outer = eye_inside if outer_inside is None else outer_inside
    half = 0.5 * (strands - 1) * pitch + 0.5 * (eye_inside + eye_wire)
    bar = Straight((0.0, -half, 0.0), (0.0, 1.0, 0.0), 2.0 * half)
    apart = 0.5 * (wire + eye_wire) - SUNK * min(wire, eye_wire)
    parts = [
        ring_eye(
            f"strand {k + 1}",
            (-apart - 0.5 * (eye_inside + eye_wire), (k - 0.5 * (strands - 1)) * pitch, 0.0),
            inside=eye_inside, wire=eye_wire,
        )
        for k in range(strands)
    ]  # fmt: skip
    parts.append(ring_eye("eye", (apart + 0.5 * (outer + eye_wire), 0.0, 0.0), inside=outer, wire=eye_wire))
    pieces = [Strand((bar,), 0.5 * wire), *(ring for ring, _ in parts)]
    return Finding(
        name, "end bar", wired(pieces, [eye for _, eye in parts]), inner=tuple(range(strands)),
        outer=(strands,),
        cuts=(
            Cut("bar", wire, bar.length + wire),
            *(Cut(f"eye of {eye.name}" if eye.name != "eye" else "eye", eye_wire, ring.length)
              for ring, eye in parts),
        ),
    )  # fmt: skip


def end_bar_misfits(
    *,
    wire: float,
    strands: int,
    pitch: float,
    eye_wire: float,
    eye_inside: float,
    outer_inside: float | None,
) -> list[Misfit]:
    """What does not go together in an end bar."""
    found = wire_misfits(eye_wire, key="eye_inside", inside=eye_inside)
    if outer_inside is not None:
        found += wire_misfits(eye_wire, key="outer_inside", inside=outer_inside)
    if strands > 1 and pitch < eye_inside + 2.0 * eye_wire:
        found.append(
            Misfit("pitch", format_mm(pitch), f"at least {format_mm(eye_inside + 2.0 * eye_wire)}, the "
                   "outside of an eye")
        )  # fmt: skip
    return found
