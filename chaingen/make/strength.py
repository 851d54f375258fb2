"""The pull at which butt-closed rings open: an estimate with a wide band.

A ring closed butt to butt and not soldered is pulled at two opposite places. Its seam carries nothing. With
the seam at the side, midway between these places, and likewise anywhere but under them, the section opposite
carries the whole pull P and, about its middle, the moment P R, for the line of pull passes it at the
centreline radius R. It is a hook.

It begins to bend for good when the inner fibre yields: P / A + P R (rn - ri) / (A e ri) = Y, the theory of
curved bars of Winkler and Bach (Timoshenko, Strength of Materials, part II, chapter on curved bars; from
memory, held against the stress integrated over the section in the tests), where A is the section's area, ri
the inner radius of the ring, rn the radius of the neutral fibre, A over the integral of dA / r, which for a
round section of radius c is (R + sqrt(R^2 - c^2)) / 2, and e = R - rn.

It opens when that section yields all through: in compression in a segment on the outer side that spans the
angle 2 a about the wire's middle, in tension in the rest. The pull is then Y c^2 (pi - 2 a + sin 2 a), the
moment 4/3 Y c^3 sin^3 a, and the second is R times the first (derived). Of a thin ring that is Y d^3 / (6 R).

Limitations: wire is taken as elastic and perfectly plastic, without stresses left by winding; friction, how
neighbours share a pull, and that an opening ring changes its shape are left out. Findings and soldered eyes
are taken not to open; what a hook, a clasp or a bar holds is not told.
"""

from dataclasses import dataclass
from math import pi, sin, sqrt

import numpy as np
from scipy.optimize import brentq

from chaingen.design.bench import Bench
from chaingen.geometry.types import Floats, Ints
from chaingen.make.abreast import NEVER, fewest_to_open
from chaingen.make.forming import Spring
from chaingen.make.mandrels import spring_of
from chaingen.make.result import Result
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize
from chaingen.weave.pieces import Chain, Sheet

GRAVITY = 9.80665
"""Standard gravity [m/s2]."""

STEPS = 500_000
"""Steps into which the strongest ring's pull is divided, for a flow of whole numbers."""

ADVICE = (
    "Rings closed butt to butt may open at this pull. Soldering them, thicker wire, smaller rings or a "
    "harder temper is the usual answer (common practice)."
)


@dataclass(frozen=True, slots=True)
class RingStrength:
    """The pull that opens one ring that is closed butt to butt and not soldered.

    Attributes:
        size: The ring size.
        metal: The metal.
        spring: What is known of its wire; None where nothing is, and then nothing else is known.
        begins: Pull at which it begins to bend for good, with the seam at the worst place [N].
        opens: Pull at which it opens, fully plastic [N].
    """

    size: RingSize
    metal: Metal
    spring: Spring | None
    begins: float | None
    opens: float | None


@dataclass(frozen=True, slots=True)
class Strength:
    """The pull that a piece holds.

    Attributes:
        rings: Ring by ring size and metal.
        abreast: How many rings have to open at least before the piece comes apart, see `abreast`; of a closed
            loop one way round. None for a sheet, and where no ring has to open: soldered links all the way.
        weakest: The pull at which the weakest place opens, if it falls on one ring alone and begins to bend:
            the low end of the band [N]; None where nothing is known of a metal.
        strongest: The same if all rings abreast share it and bend fully: the high end [N]. A closed loop,
            caught at two opposite places, has both ways round to share it. None for a sheet, whose rings
            share a pull in ways that depend on where it is held.
        weight: What one piece's own weight pulls with [N].
        tug: The pull that it should hold [N].
        holds: Whether it holds that, or its weight if that is more: ``yes``, ``perhaps`` or ``no``; None
            where nothing is known.
        advice: What is usually done about it; empty where it holds.
    """

    rings: tuple[RingStrength, ...]
    abreast: int | None
    weakest: float | None
    strongest: float | None
    weight: float
    tug: float
    holds: str | None
    advice: str


def ring_strength(size: RingSize, metal: Metal, spring: Spring | None) -> RingStrength:
    """The pull that opens a ring.

    Args:
        size: Its size.
        metal: Its metal.
        spring: What is known of its wire; None where nothing is.
    """
    if spring is None:
        return RingStrength(size, metal, None, None, None)
    begins, opens = (pull(size, spring.yield_strength) for pull in (first_yield, fully_plastic))
    return RingStrength(size, metal, spring, begins, opens)


def first_yield(size: RingSize, yield_strength: float) -> float:
    """The pull at which a ring's inner fibre yields [N], from its yield strength [MPa]."""
    radius, c = size.radius, size.wire_radius
    # R - rn, without the difference of two large numbers.
    off = c * c / (2.0 * (radius + sqrt(radius * radius - c * c)))
    neutral, inner = radius - off, radius - c
    return yield_strength * pi * c * c / (1.0 + radius * (neutral - inner) / (off * inner))


def fully_plastic(size: RingSize, yield_strength: float) -> float:
    """The pull at which a ring's section yields all through [N], from its yield strength [MPa]."""
    radius, c = size.radius, size.wire_radius

    def pull(a: float) -> float:
        return c * c * (pi - 2.0 * a + sin(2.0 * a))

    def lacking(a: float) -> float:
        return 4.0 / 3.0 * c**3 * sin(a) ** 3 - radius * pull(a)

    # From all tension (a = 0) to no pull at all (a = pi/2) the moment grows and the pull falls: one root.
    return yield_strength * pull(brentq(lacking, 0.0, 0.5 * pi, xtol=1e-14))


def strength_of(result: Result, bench: Bench) -> Strength:
    """The pull that a piece holds.

    Args:
        result: The built piece.
        bench: How its maker works.

    Raises:
        BadInput: The bench names a temper that nothing is known of.
    """
    main = result.design.metal.name
    springs = {
        metal: spring_of(metal.name, bench, base=metal.under or None, design_metal=main)
        for metal in {count.metal: None for count in result.counts}
    }
    rings = tuple(ring_strength(count.size, count.metal, springs[count.metal]) for count in result.counts)
    sheet = isinstance(result.design.piece, Sheet)
    weight = result.weight / result.design.made / 1000.0 * GRAVITY
    abreast = None if sheet else _fewest(result, np.ones(len(result.placement.graph), dtype=np.int64))
    weakest = strongest = None
    known = all(ring.begins is not None for ring in rings)
    if known and rings and (sheet or abreast is not None):
        begins, opens = _by_ring(result, rings)
        pulled = (result.placement.graph.degrees > 0) | (len(begins) == 1)
        weakest = float(begins[pulled].min())
        if not sheet:
            scale = STEPS / float(opens[np.isfinite(opens)].max())
            worth = np.where(np.isfinite(opens), np.maximum(1.0, np.round(opens * scale)), NEVER)
            shared = _fewest(result, worth.astype(np.int64))
            assert shared is not None, "what parts a piece parts it whatever it is worth"
            strongest = shared / scale * (2.0 if result.placement.graph.closed else 1.0)
    tug = bench.tug
    holds = None if weakest is None else _holds(weakest, strongest, max(tug, weight))
    advice = ADVICE if holds in ("no", "perhaps") else ""
    return Strength(rings, abreast, weakest, strongest, weight, tug, holds, advice)


def _holds(weakest: float, strongest: float | None, pull: float) -> str:
    if weakest >= pull:
        return "yes"
    return "no" if strongest is not None and strongest < pull else "perhaps"


def _fewest(result: Result, worth: Ints) -> int | None:
    graph = result.placement.graph
    opens = np.array([isinstance(member.size, RingSize) for member in graph.members])
    return fewest_to_open(graph, np.where(opens, worth, NEVER), bare=isinstance(result.design.piece, Chain))


def _by_ring(result: Result, rings: tuple[RingStrength, ...]) -> tuple[Floats, Floats]:
    """Where each body begins to bend and where it opens [N], infinite of findings, shape (n,) each."""
    held = {(ring.size, ring.metal): (ring.begins, ring.opens) for ring in rings}
    metals = result.metals
    never = (np.inf, np.inf)
    found = [
        held[member.size, metals.metals[index]] if isinstance(member.size, RingSize) else never
        for member, index in zip(result.placement.graph.members, metals.of_ring.tolist(), strict=True)
    ]
    begins, opens = np.array(found, dtype=np.float64).T
    return begins, opens
