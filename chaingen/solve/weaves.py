"""Weaves: the shape of a cell from its rough pose, or from its links alone."""

from functools import lru_cache
from math import pi

import numpy as np

from chaingen.geometry.rings import Rings
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion, MotionKind
from chaingen.solve.search import Search, evidence, is_sound, wrong_below
from chaingen.solve.slp import Found, widen
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import RingSize
from chaingen.weave.tiling import weave_cell
from chaingen.weave.weave import Repeats, Weave

Sizes = tuple[tuple[str, RingSize], ...]
"""The ring size of each role, by its name."""

SHAKES = (0.0, 0.01, 0.02)
"""How far starts from a rough pose are shaken, in radii and radians: little, for the same links may have
other shapes too."""

LOOKS = 24
"""Starts from the links alone."""

ENOUGH_FOUND = 3
"""Starts from the links alone that fit, after which no further one is made."""


def rough_state(weave: Weave, graph: LinkGraph) -> State:
    """The weave's rough pose, scaled to the sizes of the graph's rings."""
    assert weave.pose is not None
    usual = sum(weave.role(ring.role).size.radius for ring in weave.rings)
    scale = float(graph.radii.sum()) / usual
    centres = scale * np.array([ring.centre for ring in weave.rings], dtype=float)
    normals = np.array([ring.axis for ring in weave.rings], dtype=float)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    pose = weave.pose
    mean = float(graph.radii.mean())
    if weave.repeats is Repeats.SHEET:
        assert pose.across is not None
        across = (scale * pose.across[0], scale * pose.across[1])
        motion = Motion(MotionKind.SHEET, scale * pose.period, across=across)
    else:
        motion = Motion(
            MotionKind.SHIFT, scale * pose.period, twist=pose.twist, turning=weave.turning, pitch=mean
        )
    return State(Rings(centres, normals, graph.radii, graph.wire_radii), motion)


def _random_state(weave: Weave, graph: LinkGraph, rng: np.random.Generator) -> State:
    """Rings thrown anywhere near one another."""
    n, mean = len(graph), float(graph.radii.mean())
    spread = mean * max(1.0, 0.5 * n**0.5)
    centres = spread * rng.uniform(-1.0, 1.0, size=(n, 3))
    normals = rng.normal(size=(n, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    period = mean * rng.uniform(0.6, 1.4) * max(1.0, n**0.5)
    if weave.repeats is Repeats.SHEET:
        width = mean * rng.uniform(0.6, 1.4) * max(1.0, n**0.5)
        motion = Motion(MotionKind.SHEET, period, across=(0.5 * period * rng.uniform(-1.0, 1.0), width))
    else:
        twist = rng.uniform(-pi, pi) if weave.turning else 0.0
        motion = Motion(MotionKind.SHIFT, period, twist=twist, turning=weave.turning, pitch=mean)
    return State(Rings(centres, normals, graph.radii, graph.wire_radii), motion)


@lru_cache(maxsize=256)
def solve_weave(
    weave: Weave, sizes: Sizes = (), *, enough: float = 0.0
) -> tuple[LinkGraph, State, Search, float]:
    """The best placement found of a weave's cell.

    Args:
        weave: The weave.
        sizes: The ring size of each role; the usual ones where left out.
        enough: Further starts are made only while the room is less than this [mm].

    Returns:
        The cell's graph, its state, the evidence, and the smallest signed gap [mm].
    """
    graph = weave_cell(weave, dict(sizes))
    contacts = Contacts(graph)
    rng = np.random.default_rng(0)
    tried: list[tuple[bool, Found]] = []
    floor = wrong_below(graph)
    for number in range(len(SHAKES) if weave.pose else LOOKS):
        if weave.pose:
            start = rough_state(weave, graph)
            if SHAKES[number]:
                start = State(rough.shaken(start.rings, rng, SHAKES[number]), start.motion)
        else:
            start = _random_state(weave, graph, rng)
        found = widen(contacts, start)
        right = found.value > floor and is_sound(graph, found.state)
        tried.append((right, found))
        fitting = sum(sound and one.value >= max(enough, 0.0) for sound, one in tried)
        if fitting >= (1 if weave.pose else ENOUGH_FOUND):
            break
    best = max(tried, key=lambda one: (one[0], round(one[1].value, 6), one[1].converged))
    return graph, best[1].state, evidence("weave", graph, tried, best[1]), best[1].value
