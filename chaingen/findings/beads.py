"""Beads, and metal discs, as strands: a ball is one point, a disc is circles that lie in one another.

A disc has a half-round rim. Its circles overlap so far that its faces look flat.
"""

from math import ceil, pi, sqrt

from chaingen.findings.parts import Misfit
from chaingen.geometry.centrelines import Straight, Vector, circle
from chaingen.geometry.shapes import Strand
from chaingen.units import format_mm

STEP = 0.6
"""Distance of a disc's circles in wire radii: its faces are then even to a twentieth of that."""

THINNEST_DISC = 12.0
"""A disc is at least its diameter over this thick, or it would take too many circles."""


def ball(at: Vector, diameter: float, part: str = "wire") -> Strand:
    """A ball."""
    return Strand((Straight(at, (1.0, 0.0, 0.0), 0.0),), 0.5 * diameter, part)


def disc(
    at: Vector, axis: Vector, *, diameter: float, thickness: float, hole: float = 0.0, part: str = "wire"
) -> tuple[Strand, ...]:
    """A disc with a half-round rim.

    Args:
        at: Its middle [mm].
        axis: Unit vector along its hole.
        diameter: Its diameter [mm].
        thickness: Its thickness, less than its diameter [mm].
        hole: Diameter of its hole [mm].
        part: What it is part of, see `Strand`.
    """
    wire = 0.5 * thickness
    rim = 0.5 * diameter - wire
    # Without a hole the innermost circle still has a radius; its wire closes the middle.
    least = min(0.5 * hole + wire if hole else 0.5 * STEP * wire, rim)
    steps = ceil((rim - least) / (STEP * wire) - 1e-9)
    radii = [rim - (rim - least) * k / steps for k in range(steps + 1)] if steps else [rim]
    return tuple(Strand((circle(at, axis, radius),), wire, part) for radius in radii)


def disc_volume(diameter: float, thickness: float, hole: float = 0.0) -> float:
    """Volume of a disc with a half-round rim [mm3] (Pappus)."""
    flat = diameter - thickness
    rim = 2.0 * pi * (0.5 * flat + 2.0 * thickness / (3.0 * pi)) * (pi * thickness * thickness / 8.0)
    return pi / 4.0 * (flat * flat - hole * hole) * thickness + rim


def strand_volume(strands: tuple[Strand, ...]) -> float:
    """Volume of tubes, each counted by itself [mm3]."""
    return sum(pi * strand.wire_radius**2 * strand.length for strand in strands)


def seat(diameter: float, hole: float) -> float:
    """How far the middle of a ball lies from the plane of the rim of a hole that it sits on [mm]."""
    return 0.5 * sqrt(max(diameter * diameter - hole * hole, 0.0))


def length_along_hole(form: str, diameter: float, thickness: float, hole: float) -> float:
    """How much of a pin a bead takes [mm]; of a ball what its hole leaves."""
    return 2.0 * seat(diameter, hole) if form == "ball" else thickness


def bead_misfits(
    where: str, form: str, diameter: float, thickness: float | None, hole: float, wire: float
) -> list[Misfit]:
    """What does not go together in a bead, and with the wire that it is threaded on.

    Args:
        where: The place of its sizes, such as ``beads[1]``.
        form: ``ball``, ``disc`` or ``rondelle``.
        diameter: Its diameter [mm].
        thickness: Its length along the hole [mm]; None of a ball.
        hole: Diameter of its hole [mm].
        wire: Wire that it is threaded on [mm].
    """
    found = []
    if hole < wire:
        found.append(
            Misfit(f"{where}.hole", format_mm(hole), f"at least the wire, {format_mm(wire)}",
                   "the pin does not go through")
        )  # fmt: skip
    if form == "ball":
        if thickness is not None:
            found.append(
                Misfit(f"{where}.thickness", format_mm(thickness), "no thickness of a ball",
                       "leave it out, or form = \"rondelle\"")
            )  # fmt: skip
        if hole > 0.8 * diameter:
            found.append(
                Misfit(f"{where}.hole", format_mm(hole), f"at most {format_mm(0.8 * diameter)}, four fifths "
                       "of the diameter")
            )  # fmt: skip
        return found
    if thickness is None:
        found.append(Misfit(f"{where}.thickness", "nothing", f"the thickness of a {form}"))
        return found
    if thickness + hole > diameter:
        found.append(
            Misfit(f"{where}.thickness", format_mm(thickness), f"at most {format_mm(diameter - hole)}, for "
                   "its rim is half round", "a thicker bead is a ball")
        )  # fmt: skip
    if thickness * THINNEST_DISC < diameter:
        found.append(
            Misfit(f"{where}.thickness", format_mm(thickness),
                   f"at least {format_mm(diameter / THINNEST_DISC)}, a twelfth of the diameter")
        )  # fmt: skip
    return found
