"""Turns in the work that a maker is told of: where a loop closes, a part begins anew, a ring goes round."""

from dataclasses import replace

import numpy as np

from chaingen.geometry.bodies import Bodies, wire_points
from chaingen.make.order.places import Places
from chaingen.make.order.steps import Step

SAMPLES = 96
"""Points along a wire that is looked for in the hole of a loose ring."""

FEWEST_ROUND = 3
"""A piece of fewer places than this comes round without an end that could be told."""


def with_turns(steps: list[Step], bodies: Bodies, places: Places) -> list[Step]:
    """The steps with what is told of them beside what is closed.

    Args:
        steps: The steps, loose bodies laid in.
        bodies: All bodies as placed.
        places: Where they stand.
    """
    joining = _joins_ends(steps, places)
    return [
        replace(
            step,
            round_it=tuple(body for body in step.laid if _goes_round(body, step.body, bodies)),
            joins_ends=number == joining,
            begins_anew=number > 0 and step.new and not step.through,
        )
        for number, step in enumerate(steps)
    ]


def _joins_ends(steps: list[Step], places: Places) -> int | None:
    """The step at which the two ends of a closed piece come together; None in an open one.

    Each body is given its place as counted along the work, going on beyond the last one. The ends meet where
    two bodies are linked that stand further apart in this count than they lie.
    """
    if places.round < FEWEST_ROUND:
        return None
    counted: dict[int, int] = {}
    for number, step in enumerate(steps):
        others = np.array([*step.through, *step.added], dtype=np.int64)
        ahead = dict(zip(others.tolist(), places.ahead(step.body, others).tolist(), strict=True))
        if step.body not in counted:
            # It stands where most of what it goes through has it; that is what was made last.
            held = [counted[other] - ahead[other] for other in step.through]
            counted[step.body] = max(held, default=int(places.along[step.body]))
        for other, apart in ahead.items():
            there = counted[step.body] + apart
            if counted.setdefault(other, there) != there:
                return number
    return None


def _goes_round(loose: int, closed: int, bodies: Bodies) -> bool:
    """Whether a loose ring lies round the wire of another body: it passes the hole there and back."""
    if not bodies.is_ring[loose]:
        return False
    points, _, _ = wire_points(bodies[np.array([closed])], SAMPLES)
    away = points - bodies.centres[loose]
    above = away @ bodies.normals[loose]
    after = np.roll(above, -1)
    crossing = np.flatnonzero((above > 0.0) != (after > 0.0))
    part = above[crossing] / (above[crossing] - after[crossing])
    met = away[crossing] + part[:, None] * (np.roll(away, -1, axis=0)[crossing] - away[crossing])
    return int((np.linalg.norm(met, axis=1) < bodies.radii[loose]).sum()) >= 2
