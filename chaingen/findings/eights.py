"""Wires bent to an S or an eight: links, the eye of a hook and eye, and S-hooks.

The wire goes round one circle, crosses over, and goes round a second one the other way. The circles touch at
the crossing. Sizes left out are common practice.
"""

from dataclasses import replace
from math import pi, tau

from chaingen.findings.finding import Cut, Finding
from chaingen.findings.links import wire_misfits
from chaingen.findings.parts import Misfit, crossing, eye_between, nearest_on, path_length, wired
from chaingen.geometry.centrelines import Arc, Curve, reversed_curve
from chaingen.geometry.shapes import Closure, Strand
from chaingen.units import format_mm


def _short(radius: float, other: float, side: float, away: float) -> Arc:
    """An arc from the crossing round a circle that stops short of the wire it set out from.

    Args:
        radius: Radius of the circle [mm].
        other: Radius of the circle on the other side of the crossing [mm].
        side: -1 for the circle on the side of -x, 1 for the other.
        away: Distance of its end from that wire, centrelines [mm].
    """
    whole = Arc((side * radius, 0.0, 0.0), (-side, 0.0, 0.0), (0.0, side, 0.0), radius, tau)
    onward = Arc((-side * other, 0.0, 0.0), (side, 0.0, 0.0), (0.0, -side, 0.0), other, pi)
    before = (onward, replace(whole, angle=0.5 * pi))
    return replace(whole, angle=crossing(lambda t: nearest_on(before, whole.point(t))[1] - away, pi, tau))


def _eight(
    name: str,
    kind: str,
    *,
    wire: float,
    insides: tuple[float, float],
    gaps: tuple[float, float],
    closures: tuple[Closure, Closure],
) -> Finding:
    radii = tuple(0.5 * (inside + wire) for inside in insides)
    one = _short(radii[0], radii[1], -1.0, wire + gaps[0])
    two = _short(radii[1], radii[0], 1.0, wire + gaps[1])
    path: tuple[Curve, ...] = (reversed_curve(one), two)
    eyes = [
        eye_between(
            f"{label} loop", path, (k, 0.0), (k, path[k].span), wire=wire, inside=insides[k],
            closure=closures[k], opening=gaps[k], gate=gaps[k] if closures[k] is Closure.HOOK else None,
        )
        for k, label in enumerate(("inner", "outer"))
    ]  # fmt: skip
    return Finding(
        name, kind, wired([Strand(path, 0.5 * wire)], eyes), inner=(0,), outer=(1,),
        cuts=(Cut(kind, wire, path_length(path)),),
    )  # fmt: skip


def figure_eight_link(
    name: str = "figure-eight link",
    *,
    wire: float = 1.0,
    inside: float = 3.0,
    outer_inside: float | None = None,
    soldered: bool = False,
) -> Finding:
    """A link of two loops side by side, each end brought back to the wire where it crosses over.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter of the loops [mm].
        outer_inside: That of the outer loop where it has its own [mm].
        soldered: Whether its ends are soldered; else they are opened with pliers.
    """
    closure = Closure.SOLDERED if soldered else Closure.PLIERS
    return _eight(
        name, "figure-eight link", wire=wire, insides=(inside, outer_inside or inside), gaps=(0.0, 0.0),
        closures=(closure, closure),
    )  # fmt: skip


def figure_eight_link_misfits(
    *, wire: float, inside: float, outer_inside: float | None, soldered: bool
) -> list[Misfit]:
    """What does not go together in a figure-eight link."""
    found = wire_misfits(wire, inside=inside)
    return found if outer_inside is None else found + wire_misfits(
        wire, key="outer_inside", inside=outer_inside
    )  # fmt: skip


def eye(
    name: str = "eye",
    *,
    wire: float = 1.2,
    inside: float = 2.5,
    outer_inside: float = 5.0,
    soldered: bool = True,
) -> Finding:
    """The eye of a hook and eye: a loop for the piece, and a larger one for the hook.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter of the loop for the piece [mm].
        outer_inside: Inside diameter of the loop that the hook takes [mm].
        soldered: Whether its ends are soldered; else they are opened with pliers.
    """
    closure = Closure.SOLDERED if soldered else Closure.PLIERS
    return _eight(
        name, "eye", wire=wire, insides=(inside, outer_inside), gaps=(0.0, 0.0), closures=(closure, closure)
    )


def eye_misfits(*, wire: float, inside: float, outer_inside: float, soldered: bool) -> list[Misfit]:
    """What does not go together in an eye."""
    return wire_misfits(wire, inside=inside) + wire_misfits(wire, key="outer_inside", inside=outer_inside)


def s_hook(
    name: str = "S-hook",
    *,
    wire: float = 1.2,
    inside: float = 4.5,
    outer_inside: float | None = None,
    mouth: float = 1.6,
    shut: bool = True,
) -> Finding:
    """A hook bent to an S, one end for the piece and one to hook in.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter of the two bends [mm].
        outer_inside: That of the outer bend where it has its own [mm].
        mouth: Gap between an open end and the middle of the S [mm].
        shut: Whether the end at the piece is bent shut; else both are open.
    """
    closures = (Closure.PLIERS if shut else Closure.HOOK, Closure.HOOK)
    return _eight(
        name, "S-hook", wire=wire, insides=(inside, outer_inside or inside),
        gaps=(0.0 if shut else mouth, mouth), closures=closures,
    )  # fmt: skip


def s_hook_misfits(
    *, wire: float, inside: float, outer_inside: float | None, mouth: float, shut: bool
) -> list[Misfit]:
    """What does not go together in an S-hook."""
    found = figure_eight_link_misfits(wire=wire, inside=inside, outer_inside=outer_inside, soldered=False)
    narrow = (outer_inside or inside) if shut else min(inside, outer_inside or inside)
    if not found and mouth > 0.8 * narrow:
        found.append(
            Misfit(
                "mouth", format_mm(mouth), f"at most {format_mm(0.8 * narrow)}, four fifths of the bend's "
                "inside", "what hooks in slips out of a wider mouth",
            )
        )  # fmt: skip
    return found
