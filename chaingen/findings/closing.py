"""Whether what is at one end of a piece closes on what is at the other."""

from dataclasses import dataclass

import numpy as np

from chaingen.findings.finding import OPEN, Finding
from chaingen.geometry.shapes import Closure, Eye
from chaingen.units import format_mm

THROUGH_SKIN = "ear"
"""How the kinds of findings begin that go through skin and take no partner."""


@dataclass(frozen=True, slots=True)
class End:
    """What is at an end of a piece, and meets the other end.

    Attributes:
        what: What it is called in a sentence.
        wire: Thickness of what must pass the hole of the other [mm].
        hole: Diameter of its own hole [mm].
        opens: Whether it opens at all, by pliers, hand or spring.
        width: How wide it opens [mm]; infinite where pliers open it.
        bar: Length of a toggle's bar [mm]; None of all else.
        is_clasp: Whether it is made to be opened and closed as it is worn.
    """

    what: str
    wire: float
    hole: float
    opens: bool
    width: float
    bar: float | None = None
    is_clasp: bool = False


def end_of_ring(name: str, wire_diameter: float, inside_diameter: float) -> End:
    """A round ring at an end, which pliers open."""
    return End(f"ring {name!r}", wire_diameter, inside_diameter, True, np.inf)


def end_of_finding(finding: Finding, eye: Eye) -> End:
    """A finding at an end, by the eye that meets the other end."""
    bar = None
    wire = 2.0 * eye.wire_radius
    if eye.closure is Closure.BAR:
        low, high = finding.shape.box
        bar = float((high - low).max())
        wire = 2.0 * finding.shape.wire_radius
    width = np.inf if eye.closure is Closure.PLIERS else opens_to(eye)
    opens = eye.closure is not Closure.SOLDERED
    return End(f"{finding.kind} {finding.name!r}", wire, eye.inside, opens, width, bar, eye.closure in OPEN)


def why_not(one: End, other: End) -> str | None:
    """Why two ends do not close on one another, in words; None when they do."""
    if one.is_clasp and other.is_clasp and one.bar is None and other.bar is None:
        return f"there is a clasp at either end, {one.what} and {other.what}: one end wants a ring or an eye"
    for bar, ring in ((one, other), (other, one)):
        if bar.bar is not None:
            if bar.bar <= ring.hole:
                return (
                    f"{bar.what} is {format_mm(bar.bar)} long, and {ring.what} at the other end "
                    f"{format_mm(ring.hole)} inside: it slips out"
                )
            if bar.wire >= ring.hole:
                return (
                    f"{bar.what} is {format_mm(bar.wire)} thick, and {ring.what} at the other end "
                    f"{format_mm(ring.hole)} inside: it does not go in"
                )
            return None
    for thick, hole in ((one, other), (other, one)):
        if thick.wire > hole.hole:
            return (
                f"{thick.what} is of {format_mm(thick.wire)}, and {hole.what} at the other end "
                f"{format_mm(hole.hole)} inside: it does not go through"
            )
    takers = [(a, b) for a, b in ((one, other), (other, one)) if a.opens]
    # A clasp is what is opened each time; rings and links are opened when nothing else is.
    takers = [pair for pair in takers if pair[0].is_clasp] or takers
    if not takers:
        return f"nothing opens at either end: {one.what} and {other.what} are closed for good"
    if any(b.wire <= a.width for a, b in takers):
        return None
    taker, taken = takers[0]
    return (
        f"{taker.what} opens {format_mm(min(taker.width, taker.hole))}, and the wire of {taken.what} at the "
        f"other end is {format_mm(taken.wire)}: it does not close"
    )


def opens_to(eye: Eye) -> float:
    """How wide a hook, gate or bar opens for a wire [mm]."""
    if eye.gate is not None:
        return max(eye.gate, eye.opening)
    return eye.opening if eye.closure is Closure.HOOK else eye.inside


def through_skin(finding: Finding) -> bool:
    """Whether a finding goes through skin."""
    return finding.kind.startswith(THROUGH_SKIN)
