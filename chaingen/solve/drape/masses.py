"""What bodies weigh against one another in a drape, and where their centres of mass are.

All wire counts as of one metal, as for rings: a drape asks for proportions only.
"""

from math import pi

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.centrelines import FULL_TURN, Arc, Curve, Straight
from chaingen.geometry.shapes import Strand
from chaingen.geometry.types import Floats
from chaingen.weave.graph import LinkGraph

METAL = 10.36
"""Density that beads are weighed against [g/cm3]: that of sterling silver (`stock.metals`)."""

UNKNOWN_BEAD = 2.5
"""Density of a bead of which none is told [g/cm3], about that of glass. In a drape only: no weight that is
told is made with it."""


def weights(graph: LinkGraph) -> Floats:
    """Weights of the bodies by the volume of their wire, 1 on average, shape (n,)."""
    if not graph.shapes:
        whole = graph.radii * graph.wire_radii**2
    else:
        # In the unit of what is said of rings: volume over 2 pi^2.
        findings = {
            finding: sum(mass for mass, _ in _parts(finding)) / (2.0 * pi * pi) for finding in _all_of(graph)
        }
        whole = np.array(
            [
                findings[m.size] if isinstance(m.size, Finding) else m.size.radius * m.size.wire_radius**2
                for m in graph.members
            ]
        )
    return np.asarray(whole / whole.mean())


def mass_arms(graph: LinkGraph) -> Floats | None:
    """From each body's origin to its centre of mass in its own frame [mm], shape (n, 3); None for rings."""
    if not graph.shapes:
        return None
    arms = {finding: centre_of_mass(finding) for finding in _all_of(graph)}
    middle = np.zeros(3)
    return np.array([arms[m.size] if isinstance(m.size, Finding) else middle for m in graph.members])


def centre_of_mass(finding: Finding) -> Floats:
    """Centre of mass of a finding in its shape's frame [mm], shape (3,)."""
    parts = _parts(finding)
    whole = sum(mass for mass, _ in parts)
    return np.asarray(sum(mass * centre for mass, centre in parts) / whole)


def _all_of(graph: LinkGraph) -> set[Finding]:
    return {member.size for member in graph.members if isinstance(member.size, Finding)}


def _parts(finding: Finding) -> list[tuple[float, Floats]]:
    """Mass [mm3 of metal] and centre [mm] of each strand of wire and of each bead."""
    strands = finding.shape.strands
    wires = [strand for strand in strands if strand.part == "wire"]
    masses = np.array([_volume(strand) for strand in wires])
    if finding.filling:
        # What a disc drawn as circles has more or less than its tubes.
        disc = _largest_disc(wires)
        masses[disc] += finding.filling * masses[disc] / masses[disc].sum()
    parts = list(zip(masses.tolist(), map(_middle, wires), strict=True))
    for bead in finding.beads:
        own = [_middle(strand) for strand in strands if strand.part == bead.part]
        assert own, "a bead is made of strands"
        density = UNKNOWN_BEAD if bead.density is None else bead.density
        parts.append((bead.volume * density / METAL, np.mean(own, axis=0)))
    return parts


def _volume(strand: Strand) -> float:
    r = strand.wire_radius
    return pi * r * r * strand.length if strand.length else 4.0 / 3.0 * pi * r**3


def _largest_disc(strands: list[Strand]) -> list[int]:
    """The whole circles that share a centre, most of them; all strands where no two do."""
    discs: dict[tuple[float, ...], list[int]] = {}
    for number, strand in enumerate(strands):
        curve = strand.curves[0]
        if len(strand.curves) == 1 and isinstance(curve, Arc) and curve.angle >= FULL_TURN:
            discs.setdefault(tuple(round(x, 6) for x in curve.centre), []).append(number)
    best = max(discs.values(), key=len, default=[])
    return best if len(best) > 1 else list(range(len(strands)))


def _middle(strand: Strand) -> Floats:
    """Centroid of a strand's centreline [mm]."""
    if not strand.length:
        return np.array(strand.curves[0].point(0.0))
    return np.asarray(sum(curve.length * _centroid(curve) for curve in strand.curves) / strand.length)


def _centroid(curve: Curve) -> Floats:
    if isinstance(curve, Straight):
        return np.array(curve.point(0.5 * curve.length))
    # Of an arc it lies on the line to its middle, sin(half the angle) / (half the angle) of the radius out.
    half = 0.5 * curve.angle
    centre = np.array(curve.centre)
    return np.asarray(centre + np.sin(half) / half * (np.array(curve.point(half)) - centre))
