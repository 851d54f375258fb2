"""Hooks on a loop: ear wires, and the hook of a hook and eye.

Sizes left out are common practice. A hook's shank runs along x from its loop; the wire goes round its bend
to the left and comes back as the tail.
"""

from collections.abc import Sequence
from functools import partial
from math import cos, radians, sin

from chaingen.findings.finding import Cut, Finding
from chaingen.findings.links import wire_misfits
from chaingen.findings.parts import (
    PLANE_UP,
    QUARTER_UP,
    Misfit,
    crossing,
    eye_between,
    loop_eye,
    narrowest,
    nearest_on,
    path_end,
    path_length,
    reversed_path,
    turned_loop,
    wired,
)
from chaingen.geometry.centrelines import Bend, Curve, Straight, bent_wire, reversed_curve
from chaingen.geometry.shapes import Closure, Eye, Strand
from chaingen.units import format_mm

KICK_RADIUS = 3.0
"""Centreline radius of the bend at which a tail is kicked out, in wire diameters."""

MOST_LEAN = 80.0
"""A tail leans towards the shank by at most so much [deg]."""


ASIDE = 0.2
"""The straight that closes a hook leaves its wire at an angle of at least this sine."""


def _reach(wire: float, bend: float, tail: float, lean: float) -> float:
    """How near the tail's centreline comes to that of the shank when it leans by an angle [deg]; mm."""
    radius, angle = 0.5 * (bend + wire), radians(lean)
    return radius + radius * cos(angle) - tail * sin(angle) - KICK_RADIUS * wire * (1.0 - cos(angle))


def _lean(wire: float, bend: float, tail: float, mouth: float) -> float:
    """How far the tail leans towards the shank to leave a gap of `mouth` between them [deg]."""
    if mouth >= bend:
        return 0.0
    return crossing(lambda lean: _reach(wire, bend, tail, lean) - (mouth + wire), 0.0, MOST_LEAN)


def _hooked(
    name: str,
    kind: str,
    *,
    wire: float,
    inside: float,
    shank: float,
    bend: float,
    tail: float,
    mouth: float,
    kick: float,
    tip: float,
    quarter_turn: bool,
) -> Finding:
    straight = Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), shank)
    back = reversed_curve(straight)
    assert isinstance(back, Straight)
    loop = turned_loop(back, inside=inside, wire=wire, up=QUARTER_UP if quarter_turn else PLANE_UP)
    lean = _lean(wire, bend, tail, mouth)
    steps = [
        Bend(radius=0.5 * (bend + wire), angle=180.0 + lean),
        Bend(length=tail),
        Bend(radius=KICK_RADIUS * wire, angle=lean + kick, direction=180.0),
        Bend(length=tip),
    ]
    over = bent_wire(
        [step for step in steps if step.length or step.angle], begin=path_end((straight,)), up=PLANE_UP
    )
    front = (*reversed_path(loop.path), straight)
    path = (*front, *over)
    # A loop that stands square to the hook would draw the mouth's line out of the plane.
    flat = len(front) - 1 if quarter_turn else 0
    mouth_eye = _hook_eye(path, flat, len(front), wire=wire, inside=bend)
    eyes = [loop_eye("loop", back, loop, inside=inside, wire=wire, closure=Closure.PLIERS), mouth_eye]
    return Finding(
        name, kind, wired([Strand(path, 0.5 * wire)], eyes), inner=(0,), outer=(1,),
        cuts=(Cut("hook", wire, path_length(path)),),
    )  # fmt: skip


def _hook_eye(path: Sequence[Curve], flat: int, over: int, *, wire: float, inside: float) -> Eye:
    """The eye of a hook: its tip joined to the nearest place of what stands before its bend.

    Where the end is kicked out so far that this straight would cross the tail, it starts before the tip.

    Args:
        path: The wire.
        flat: The first of its curves to which the tip may be joined.
        over: The curve that is the bend.
        wire: Wire diameter [mm].
        inside: Inside diameter of the bend [mm].
    """
    front = path[flat:over]
    end = (len(path) - 1, path[-1].span)
    for k in range(len(path) - 1, over, -1):
        curve = path[k]
        if _inwards(curve, curve.span, front) > ASIDE:
            end = (k, curve.span)
            break
        if _inwards(curve, 0.0, front) > ASIDE:
            end = (k, crossing(partial(_aside, curve, front), 0.0, curve.span))
            break
    foot, _ = nearest_on(front, path[end[0]].point(end[1]))
    opening = narrowest(path[over + 1 :], path[:over]) - wire
    return eye_between(
        "hook", path, (flat + foot[0], foot[1]), end, wire=wire, inside=inside, closure=Closure.HOOK,
        opening=opening, gate=opening,
    )  # fmt: skip


def _inwards(curve: Curve, t: float, front: Sequence[Curve]) -> float:
    """How steeply the straight from a place of the tail to the nearest place in front leaves the wire.

    Returns:
        Sine of its angle with the wire; positive to the left, which is the inside of a hook.
    """
    at, (x, y, _) = curve.point(t), curve.tangent(t)
    (k, s), away = nearest_on(front, at)
    foot = front[k].point(s)
    return (x * (foot[1] - at[1]) - y * (foot[0] - at[0])) / away


def _aside(curve: Curve, front: Sequence[Curve], t: float) -> float:
    return _inwards(curve, t, front) - ASIDE


def _hook_misfits(
    *,
    wire: float,
    inside: float,
    shank: float,
    bend: float,
    tail: float,
    mouth: float,
    kick: float,
    tip: float,
    quarter_turn: bool,
) -> list[Misfit]:
    found = wire_misfits(wire, inside=inside) + wire_misfits(wire, key="bend", inside=bend)
    if found:
        return found
    if mouth > bend:
        found.append(
            Misfit(
                "mouth", format_mm(mouth), f"at most the inside of the bend, {format_mm(bend)}",
                "a hook is no wider at its mouth",
            )
        )  # fmt: skip
    elif _reach(wire, bend, tail, MOST_LEAN) > mouth + wire:
        found.append(
            Misfit("tail", format_mm(tail), f"long enough to come to the mouth of {format_mm(mouth)}")
        )
    return found


def ear_wire(
    name: str = "ear wire",
    *,
    wire: float = 0.8,
    inside: float = 1.8,
    shank: float = 6.0,
    bend: float = 8.0,
    tail: float = 11.0,
    kick: float = 18.0,
    tip: float = 2.5,
    quarter_turn: bool = False,
) -> Finding:
    """A hook that hangs in a pierced ear: a loop at the front, up, over and down behind the ear.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm]; 0.8 mm, 20 AWG, or thinner goes through most ears (common practice).
        inside: Inside diameter of the loop [mm].
        shank: Length of the straight wire at the front [mm].
        bend: Inside diameter of the bend over the ear [mm].
        tail: Length of the straight wire behind the ear [mm].
        kick: How far the end is bent out [deg].
        tip: Length of that end [mm].
        quarter_turn: Whether the loop stands at right angles to the hook.
    """
    return _hooked(
        name, "ear wire", wire=wire, inside=inside, shank=shank, bend=bend, tail=tail, mouth=bend, kick=kick,
        tip=tip, quarter_turn=quarter_turn,
    )  # fmt: skip


def ear_wire_misfits(
    *,
    wire: float,
    inside: float,
    shank: float,
    bend: float,
    tail: float,
    kick: float,
    tip: float,
    quarter_turn: bool,
) -> list[Misfit]:
    """What does not go together in an ear wire."""
    found = _hook_misfits(
        wire=wire, inside=inside, shank=shank, bend=bend, tail=tail, mouth=bend, kick=kick, tip=tip,
        quarter_turn=quarter_turn,
    )  # fmt: skip
    # The loop is centred on the shank and reaches half its outside towards the tail.
    room = bend + 0.5 * wire - (0.5 * inside + wire)
    if not found and not quarter_turn and room < wire:
        found.append(
            Misfit(
                "bend", format_mm(bend), f"more than {format_mm(0.5 * inside + 1.5 * wire)}, so that the "
                "tail is clear of the loop", "a wider bend or a smaller loop",
            )
        )  # fmt: skip
    return found


def hook(
    name: str = "hook",
    *,
    wire: float = 1.2,
    inside: float = 2.5,
    shank: float = 11.0,
    bend: float = 4.0,
    tail: float = 5.0,
    mouth: float = 1.5,
    kick: float = 35.0,
    tip: float = 1.0,
    quarter_turn: bool = False,
) -> Finding:
    """The hook of a hook and eye: its tail comes back towards the shank, and its end is bent out.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        inside: Inside diameter of the loop [mm].
        shank: Length of the straight wire between loop and bend [mm].
        bend: Inside diameter of the bend [mm].
        tail: Length of the straight wire after the bend [mm].
        mouth: Gap between tail and shank where it is narrowest, up to the bend's inside diameter [mm].
        kick: How far the end is bent out from the line of the shank [deg].
        tip: Length of that end [mm].
        quarter_turn: Whether the loop stands at right angles to the hook.
    """
    return _hooked(
        name, "hook", wire=wire, inside=inside, shank=shank, bend=bend, tail=tail, mouth=mouth, kick=kick,
        tip=tip, quarter_turn=quarter_turn,
    )  # fmt: skip


def hook_misfits(
    *,
    wire: float,
    inside: float,
    shank: float,
    bend: float,
    tail: float,
    mouth: float,
    kick: float,
    tip: float,
    quarter_turn: bool,
) -> list[Misfit]:
    """What does not go together in a hook."""
    found = _hook_misfits(
        wire=wire, inside=inside, shank=shank, bend=bend, tail=tail, mouth=mouth, kick=kick, tip=tip,
        quarter_turn=quarter_turn,
    )  # fmt: skip
    if found:
        return found
    made = hook(
        wire=wire, inside=inside, shank=shank, bend=bend, tail=tail, mouth=mouth, kick=kick, tip=tip,
        quarter_turn=quarter_turn,
    )  # fmt: skip
    least = made.shape.eyes[1].opening
    if least < mouth - 1e-6:
        found.append(
            Misfit(
                "shank", format_mm(shank), f"long enough that the tail is clear of the loop: there are "
                f"{format_mm(least)} between them, the mouth is {format_mm(mouth)}",
                "a longer shank or a shorter tail",
            )
        )  # fmt: skip
    return found
