"""Springback: how far a close-wound coil of round wire opens when it leaves its mandrel.

Wire bent round a mandrel is taken as elastic up to its yield strength and perfectly plastic beyond. While it
is wound the middle of the wire lies on the radius Rn = mandrel radius + wire radius; the part of the section
nearer to the middle than c = Y Rn / E stays elastic. Let go, the wire unbends elastically until it carries no
moment, so that its curvature falls by M / (E I). Derived; the tests hold it against the stress integrated
over the section.

Limitations: hardening while the wire bends, the pull it is wound with and the coil's pitch are left out. Real
coils open somewhat more; a factor f on the change of curvature, found from one trial coil, takes that in.
Without a trial coil the answer is an estimate.

Lengths are in mm, moments in N mm, Young's modulus in GPa, yield strength in MPa, curvature in 1/mm.
"""

from math import asin, pi, sqrt

from scipy.optimize import brentq

from chaingen.design.bench import Trial
from chaingen.make.forming import Spring

MPA_PER_GPA = 1000.0

MOST_OPENING = 10.0
"""A trial coil this many times as wide as its mandrel was not wound on it, or was unwound."""


def bending_moment(radius: float, wire: float, spring: Spring) -> float:
    """Moment that holds wire bent to a radius for the first time [N mm].

    Args:
        radius: Radius of the middle of the wire [mm].
        wire: Wire diameter [mm].
        spring: How the wire springs.
    """
    a = 0.5 * wire
    core = elastic_part(radius, wire, spring)
    if core >= 1.0:
        return spring.youngs_modulus * MPA_PER_GPA * _second_moment(wire) / radius
    rest = 1.0 - core**2
    shape = asin(core) / (8.0 * core) - (1.0 - 2.0 * core**2) * sqrt(rest) / 8.0 + rest**1.5 / 3.0
    return float(4.0 * spring.yield_strength * a**3 * shape)


def elastic_part(radius: float, wire: float, spring: Spring) -> float:
    """Half height of the part of the section that stays elastic over the wire radius; 1 and more is all.

    Args:
        radius: Radius of the middle of the wire [mm].
        wire: Wire diameter [mm].
        spring: How the wire springs.
    """
    return spring.yield_strength * radius / (spring.youngs_modulus * MPA_PER_GPA * 0.5 * wire)


def _second_moment(wire: float) -> float:
    """Second moment of area of a round section [mm4]."""
    return pi * wire**4 / 64.0


def _kept(curvature: float, wire: float, spring: Spring) -> float:
    """Curvature that is left of one bent in [1/mm]; zero and less where the factor takes all of it."""
    stiffness = spring.youngs_modulus * MPA_PER_GPA * _second_moment(wire)
    return curvature - spring.calibration * bending_moment(1.0 / curvature, wire, spring) / stiffness


def inside_off(mandrel: float, wire: float, spring: Spring) -> float | None:
    """Inside diameter of a coil off its mandrel [mm]; None when it takes no set.

    Args:
        mandrel: Diameter of the mandrel [mm].
        wire: Wire diameter [mm].
        spring: How the wire springs.
    """
    radius = 0.5 * (mandrel + wire)
    if elastic_part(radius, wire, spring) >= 1.0:
        return None
    left = _kept(1.0 / radius, wire, spring)
    # A set a thousand times wider than the mandrel is none: it is what is left of rounding.
    return 2.0 / left - wire if left * radius > 1e-3 else None


def mandrel_for(inside: float, wire: float, spring: Spring) -> float | None:
    """Diameter of the mandrel off which a coil has an inside diameter [mm].

    The curvature k bent in leaves g(k) = k - f M(k)/(E I). M grows with k by E times the second moment of the
    elastic core, which shrinks as k grows: g is convex, and g(0) = 0, so that wherever g is positive it
    grows. There is therefore one k at most with the curvature wanted. g(k) <= k bounds it from below by that
    curvature itself, or by that of first yield, and a mandrel of no thickness from above.

    Args:
        inside: Inside diameter of the coil wanted [mm].
        wire: Wire diameter [mm].
        spring: How the wire springs.

    Returns:
        The diameter; None where wire this springy takes no such set on any mandrel.
    """
    wanted = 2.0 / (inside + wire)
    first_yield = 2.0 * spring.yield_strength / (spring.youngs_modulus * MPA_PER_GPA * wire)
    low, high = max(wanted, first_yield), 2.0 / wire
    if low >= high or _kept(low, wire, spring) > wanted or _kept(high, wire, spring) <= wanted:
        return None
    bent = brentq(lambda k: _kept(k, wire, spring) - wanted, low, high, xtol=1e-14, rtol=1e-13)
    return float(2.0 / bent - wire)


def calibration(trial: Trial, spring: Spring) -> float:
    """Factor on the change of curvature that a trial coil tells: 1 where it opened just as computed.

    Args:
        trial: The coil.
        spring: How its wire springs; its own factor does not count.

    Raises:
        ValueError: The coil cannot be: narrower than its mandrel, over `MOST_OPENING` times as wide, or of
            wire that by its figures takes no set there; in words for its maker.
    """
    if trial.inside < trial.mandrel:
        raise ValueError("a coil at least as wide inside as its mandrel: coils open, they do not close up")
    if trial.inside > MOST_OPENING * trial.mandrel:
        raise ValueError(f"a coil at most {MOST_OPENING:.0f} times as wide inside as its mandrel")
    radius = 0.5 * (trial.mandrel + trial.wire)
    if elastic_part(radius, trial.wire, spring) >= 1.0:
        raise ValueError(
            "a coil of wire that takes a set on its mandrel: wire of this temper or yield strength would not"
        )
    kept = (trial.mandrel + trial.wire) / (trial.inside + trial.wire)
    stiffness = spring.youngs_modulus * MPA_PER_GPA * _second_moment(trial.wire)
    return (1.0 - kept) * stiffness / (bending_moment(radius, trial.wire, spring) * radius)
