"""Where the camera stands for a picture of a step: near it, and so that the hole of what is closed is seen.

Directions point from the piece to the camera. An open run lies along x, so that work goes on to the right.
"""

import numpy as np

from chaingen.findings.finding import eye_normal
from chaingen.geometry.bodies import Bodies, wire_points
from chaingen.geometry.types import Floats, Ints
from chaingen.make.order.steps import Step
from chaingen.show.camera import STAND_OFF, View, extent

WIDTH, HEIGHT = 900, 640
"""Pixels of a picture. Printed 70 mm wide it has 326 to the inch."""

PRINTED_WIDTH = 70.0
"""How wide a picture is printed at most [mm]."""

ACROSS = 5.0
"""How many outer diameters of the largest ring in the step a picture is wide at least."""

MARGIN = 1.35
"""How much wider than the step itself a picture is at least, so that names have room beside it."""

STANDARD = np.array([0.15, 0.45, 1.0]) / np.linalg.norm([0.15, 0.45, 1.0])
"""Direction that pictures are taken from where nothing speaks against it."""

OPEN_ENOUGH, NOT_ON_EDGE = 0.6, 0.3
"""Cosine of the view to the axis of the hole that is closed, and of the others of the step, at least."""

STEPS_ALIKE = 0.5
"""How much of the closed wire may be hidden rather than turn the view by a right angle."""

_DIRECTIONS, _SAMPLES, _NEAR = 90, 48, 40
"""Directions tried, points looked at on a ring, other bodies looked at."""


def _directions() -> Floats:
    """Unit vectors spread evenly over the side that the standard view looks at, that one first."""
    k = np.arange(2 * _DIRECTIONS) + 0.5
    z, turn = 1.0 - k / _DIRECTIONS, np.pi * (1.0 + np.sqrt(5.0)) * k
    r = np.sqrt(1.0 - z * z)
    sphere = np.column_stack([r * np.cos(turn), r * np.sin(turn), z])
    # From straight above or below nothing would be up in the picture.
    kept = sphere[(sphere @ STANDARD > 0.25) & (np.abs(sphere[:, 1]) < 0.9)]
    return np.concatenate([STANDARD[None], kept])


def _hole_axis(bodies: Bodies, body: int, eye: int) -> Floats:
    """Unit vector square to an eye, its sign meaning nothing, shape (3,)."""
    shape = bodies.shape(body)
    if shape is None:
        return np.asarray(bodies.normals[body])
    return np.asarray(eye_normal(shape.eyes[eye]) @ bodies.frames()[body])


def _hidden(directions: Floats, points: Floats, other: Floats, wires: Floats) -> Floats:
    """Part of some points that other wires hide, for each direction, shape (k,).

    Args:
        directions: Unit vectors to the camera, shape (k, 3).
        points: What should be seen [mm], shape (m, 3).
        other: Points along other wires [mm], shape (n, 3).
        wires: Their wire radii [mm], shape (n,).
    """
    apart = other[None, :, :] - points[:, None, :]
    squared = np.einsum("mna,mna->mn", apart, apart)
    hidden = []
    for towards in directions:
        before = apart @ towards
        covered = (squared - before * before < wires[None, :] ** 2) & (before > 0.0)
        hidden.append(covered.any(axis=1).mean())
    return np.array(hidden)


def step_view(name: str, bodies: Bodies, made: Ints, step: Step) -> View:
    """The view of a step.

    Args:
        name: File name without its ending.
        bodies: All bodies of the piece.
        made: Indices of those that are there once the step is made, its own included.
        step: The step.
    """
    own = np.array([step.body, *step.added, *step.laid, *step.through], dtype=np.int64)
    centre = bodies.centres[own].mean(axis=0)
    away = np.linalg.norm(bodies.centres[made] - centre, axis=1)
    near = made[np.argsort(away, kind="stable")[:_NEAR]]
    others = near[near != step.body]
    closed, _, _ = wire_points(bodies[own[:1]], _SAMPLES)
    directions = _directions()
    cost = 2.0 / np.pi * STEPS_ALIKE * np.arccos(np.clip(directions @ STANDARD, -1.0, 1.0))
    if len(others):
        points, wires, owners = wire_points(bodies[others], _SAMPLES)
        cost = cost + _hidden(directions, closed, points, wires)
        linked = np.isin(others[owners], own)
        if linked.any():
            # Of what it goes through less needs to be seen.
            cost = cost + 0.5 * _hidden(directions, points[linked][::3], points[~linked], wires[~linked])
    open_to = np.abs(directions @ _hole_axis(bodies, step.body, step.eye))
    cost = cost + 3.0 * np.maximum(0.0, OPEN_ENOUGH - open_to)
    for body in own[1:]:
        on_edge = np.abs(directions @ _hole_axis(bodies, int(body), 0))
        cost = cost + 1.0 / len(own) * np.maximum(0.0, NOT_ON_EDGE - on_edge)
    return _framed(name, bodies, made, own, directions[int(np.argmin(cost))])


def _framed(name: str, bodies: Bodies, made: Ints, own: Ints, towards: Floats) -> View:
    right = np.cross([0.0, 1.0, 0.0], towards)
    right /= np.linalg.norm(right)
    up = np.cross(towards, right)
    shown = bodies[own]
    (x0, x1), (y0, y1) = extent(shown, right), extent(shown, up)
    z0, z1 = extent(bodies[made], towards)
    rings = own[bodies.is_ring[own]]
    # Beside a large clasp a step of findings alone would look lost in a frame of so many of them.
    size = 2.0 * float((bodies.radii + bodies.wire_radii)[rings].max()) if len(rings) else 0.0
    wide = max(ACROSS * size, MARGIN * (x1 - x0), MARGIN * (y1 - y0) * WIDTH / HEIGHT)
    focus = 0.5 * (x0 + x1) * right + 0.5 * (y0 + y1) * up + 0.5 * (z0 + z1) * towards
    depth = (z1 - z0) + STAND_OFF * wide
    return View(name, focus, towards, up, WIDTH, HEIGHT, 0.5 * wide * HEIGHT / WIDTH, depth)
