"""Where bodies are linked: the middle of a ring, or of an eye of a finding."""

import numpy as np

from chaingen.findings.finding import Finding, eye_centre
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import Closure
from chaingen.geometry.types import Floats, Ints
from chaingen.weave.graph import LinkGraph


def free_eyes(graph: LinkGraph, body: int) -> list[int]:
    """The eyes of a body that nothing links."""
    size = graph.members[body].size
    count = len(size.shape.eyes) if isinstance(size, Finding) else 1
    taken = set(graph.link_eyes[graph.links == body].tolist())
    return [eye for eye in range(count) if eye not in taken]


def outward_eyes(graph: LinkGraph, body: int) -> list[int]:
    """The eyes by which a body at an end can be linked further: those that are free, or else take more."""
    size = graph.members[body].size
    if not isinstance(size, Finding):
        return [0]
    return free_eyes(graph, body) or list(size.outer[:1])


def spot(bodies: Bodies, body: int, eye: int) -> tuple[Floats, float]:
    """Where an eye of a body is [mm], shape (3,), and its inside radius [mm]."""
    shape = bodies.shape(body)
    if shape is None:
        return bodies.centres[body], float(bodies.radii[body] - bodies.wire_radii[body])
    own = shape.eyes[eye]
    centre = eye_centre(own)
    if own.closure is Closure.BAR:
        # What takes the bar goes round what hangs on it, half-way along the first wire of the line.
        wire = next(curve for k, curve in enumerate(own.loop) if k not in own.closing)
        ends = np.array([wire.point(0.0), wire.point(wire.span)])
        centre = ends.mean(axis=0) * np.array([1.0, 0.0, 0.0]) + ends[0] * np.array([0.0, 1.0, 1.0])
    middle = centre @ bodies[np.array([body])].frames()[0]
    return np.asarray(bodies.centres[body] + middle), 0.5 * own.inside


def spots(bodies: Bodies, which: Ints, eyes: Ints) -> tuple[Floats, Floats]:
    """The same of several, shapes (k, 3) and (k,)."""
    found = [spot(bodies, int(body), int(eye)) for body, eye in zip(which, eyes, strict=True)]
    return np.array([at for at, _ in found]), np.array([inside for _, inside in found])
