"""A finding bent step by step as its maker says: straights and bends, and the eyes along them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, degrees, isfinite

import numpy as np
from scipy.spatial import cKDTree

from chaingen.findings.finding import Cut, Finding
from chaingen.findings.parts import Misfit, Place, eye_between, path_length, stretch
from chaingen.geometry.centrelines import Bend, Curve, bent_wire
from chaingen.geometry.openings import inside_of, opening_of
from chaingen.geometry.shapes import Closure, Shape, Strand
from chaingen.units import format_mm

MEETS = 0.01
"""Ends this near [mm] meet; wire is cut no more exactly."""

MEETS_TURNED = 1.0
"""Ends that meet are in line to this angle [deg]."""

APART = 1.8
"""Places nearer than this along the wire, in wire diameters, may be as near as they like: the tightest bend
brings wire back to itself no sooner."""

TOUCHES = 0.97
"""Wires nearer than this part of their diameter run into one another; sampling takes up the rest."""

OPENED = {
    "pliers": Closure.PLIERS,
    "nothing": Closure.SOLDERED,
    "hook": Closure.HOOK,
    "gate": Closure.GATE,
}
"""How an eye is opened, in the words of a design."""


_AFTER = "a place after the one at which the eye begins"

_COUNT = "count along the wire, from its first step on"


@dataclass(frozen=True, slots=True)
class PathEye:
    """An eye along a wire.

    Attributes:
        name: What it is called.
        from_step: The step in which it begins, counted from 1.
        to_step: The step in which it ends.
        from_part: How much of its first step comes before it, 0 to 1.
        to_part: How much of its last step belongs to it, 0 to 1.
        end: At which end of the finding it is: ``inner``, ``outer`` or ``both``.
        opened_by: What opens it, a key of `OPENED`.
        gate: How wide a gate opens [mm].
    """

    name: str
    from_step: int
    to_step: int
    from_part: float = 0.0
    to_part: float = 1.0
    end: str = "inner"
    opened_by: str = "pliers"
    gate: float | None = None


def wire_path(
    name: str = "wire path",
    *,
    wire: float = 1.0,
    steps: Sequence[Bend] = (),
    closed: bool = False,
    eyes: Sequence[PathEye] = (),
) -> Finding:
    """A wire bent step by step, starting along x with y to its left and z up.

    An eye goes along the wire from one place to another and is closed by the straight between the two. How
    wide it is, and how wide open, is measured.

    Args:
        name: The name that the design gives it.
        wire: Wire diameter [mm].
        steps: Straights and bends.
        closed: Whether its ends meet and are soldered.
        eyes: Its eyes.
    """
    path = bent_wire(steps)
    shape = _shape(path, wire, eyes)
    measured = tuple(
        replace(
            eye,
            inside=inside_of(shape, number),
            opening=opening_of(shape, number),
            gate=opening_of(shape, number) if eye.closure is Closure.HOOK else eye.gate,
        )
        for number, eye in enumerate(shape.eyes)
    )
    shape = replace(shape, eyes=measured)
    inner = tuple(k for k, eye in enumerate(eyes) if eye.end in ("inner", "both"))
    outer = tuple(k for k, eye in enumerate(eyes) if eye.end in ("outer", "both"))
    return Finding(
        name, "wire path", shape.centred(), inner, outer, cuts=(Cut("wire", wire, path_length(path)),)
    )


def _shape(path: tuple[Curve, ...], wire: float, eyes: Sequence[PathEye]) -> Shape:
    """The shape with its eyes not yet measured."""
    return Shape(
        (Strand(path, 0.5 * wire),),
        tuple(
            eye_between(
                eye.name, path, *_places(path, eye),
                wire=wire, inside=0.0, closure=OPENED[eye.opened_by], gate=eye.gate,
            )
            for eye in eyes
        ),
    )  # fmt: skip


def _places(path: tuple[Curve, ...], eye: PathEye) -> tuple[Place, Place]:
    """Where an eye begins and where it ends."""
    begin, end = eye.from_step - 1, eye.to_step - 1
    return (begin, eye.from_part * path[begin].span), (end, eye.to_part * path[end].span)


def wire_path_misfits(
    *, wire: float, steps: Sequence[Bend], closed: bool, eyes: Sequence[PathEye]
) -> list[Misfit]:
    """What cannot be bent, and what is wrong with the eyes."""
    found = [
        Misfit(
            f"steps[{number}].radius", format_mm(step.radius), f"more than half the wire, "
            f"{format_mm(0.5 * wire)}", "the radius is that of the middle of the wire",
        )
        for number, step in enumerate(steps, start=1)
        if step.length == 0.0 and step.radius <= 0.505 * wire
    ]  # fmt: skip
    found += [misfit for k, eye in enumerate(eyes, start=1) for misfit in _eye_misfits(k, eye, len(steps))]
    names = [eye.name for eye in eyes]
    found += [
        Misfit(f"eyes[{k}].name", repr(name), "a name of its own")
        for k, name in enumerate(names, start=1)
        if name in names[: k - 1]
    ]
    if found:
        return found
    path = bent_wire(steps)
    if closed:
        found += _end_misfits(path)
    if not found and (met := _meeting(path, wire, closed)) is not None:
        one, two, gap = met
        found.append(
            Misfit("steps", f"step {two + 1} running into step {one + 1}", "wire that keeps clear of itself: "
                   f"at least {format_mm(wire)} between middles, here {format_mm(gap)}",
                   "bend it out of the plane by direction, or further round")
        )  # fmt: skip
    if found:
        return found
    found += [
        Misfit(f"eyes[{number}].to_step", str(eye.to_step), _AFTER, _COUNT)
        for number, eye in enumerate(eyes, start=1)
        if not stretch(path, *_places(path, eye))
    ]
    if found:
        return found
    shape = _shape(path, wire, eyes)
    return [
        Misfit(f"eyes[{number + 1}]", "no hole", "a stretch of wire that goes round something")
        for number in range(len(eyes))
        if not (inside_of(shape, number) > 0.0 and isfinite(opening_of(shape, number)))
    ]


def _eye_misfits(number: int, eye: PathEye, count: int) -> list[Misfit]:
    where = f"eyes[{number}]"
    found = [
        Misfit(f"{where}.{label}", str(step), f"the number of a step, 1 to {count}")
        for label, step in (("from_step", eye.from_step), ("to_step", eye.to_step))
        if not 1 <= step <= count
    ]
    if not found and (eye.to_step, eye.to_part) <= (eye.from_step, eye.from_part):
        found.append(
            Misfit(f"{where}.to_step", str(eye.to_step), _AFTER, _COUNT)
        )  # fmt: skip
    if (eye.gate is not None) != (eye.opened_by == "gate"):
        got = "nothing" if eye.gate is None else format_mm(eye.gate)
        expected = "how wide the gate opens" if eye.gate is None else 'a gate with opened_by = "gate" only'
        found.append(Misfit(f"{where}.gate", got, expected))
    return found


def _end_misfits(path: tuple[Curve, ...]) -> list[Misfit]:
    """Whether the ends of a closed wire meet."""
    first, last = path[0], path[-1]
    apart = float(np.linalg.norm(np.subtract(first.point(0.0), last.point(last.span))))
    if apart > MEETS:
        return [
            Misfit("closed", f"ends {format_mm(apart)} apart", "ends that meet, for closed = true",
                   "change a length, or leave closed out")
        ]  # fmt: skip
    along = np.dot(first.tangent(0.0), last.tangent(last.span))
    turned = degrees(float(np.arccos(np.clip(along, -1.0, 1.0))))
    if turned > MEETS_TURNED:
        return [
            Misfit("closed", f"ends that meet at {turned:.0f} degrees", "ends in line with each other, for "
                   "closed = true", "add a bend")
        ]  # fmt: skip
    return []


def _meeting(path: tuple[Curve, ...], wire: float, closed: bool) -> tuple[int, int, float] | None:
    """Two steps between which the wire runs into itself, and how near it comes [mm]; None if nowhere."""
    points, along, steps = [], [], []
    run = 0.0
    for number, curve in enumerate(path):
        count = max(ceil(curve.length / (0.15 * wire)), 1)
        for k in range(count):
            points.append(curve.point(curve.span * (k + 0.5) / count))
            along.append(run + curve.length * (k + 0.5) / count)
            steps.append(number)
        run += curve.length
    spots = np.array(points)
    pairs = cKDTree(spots).query_pairs(TOUCHES * wire, output_type="ndarray")
    between = np.abs(np.array(along)[pairs[:, 0]] - np.array(along)[pairs[:, 1]])
    if closed:
        between = np.minimum(between, run - between)
    pairs = pairs[between > APART * wire]
    if not len(pairs):
        return None
    gaps = np.linalg.norm(spots[pairs[:, 0]] - spots[pairs[:, 1]], axis=1)
    worst = int(gaps.argmin())
    one, two = sorted((steps[pairs[worst, 0]], steps[pairs[worst, 1]]))
    return one, two, float(gaps[worst])
