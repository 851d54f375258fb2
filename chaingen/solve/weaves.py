"""Weaves: the shape of a cell from its rough pose, or from its links alone."""

from functools import lru_cache

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.solve import rough
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.link_starts import start_from_links
from chaingen.solve.motion import Motion, MotionKind
from chaingen.solve.search import Search, evidence, is_sound, wrong_below
from chaingen.solve.slp import Found, widen
from chaingen.solve.telling import tell
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import RingSize
from chaingen.weave.tiling import weave_cell
from chaingen.weave.weave import Repeats, Weave

Sizes = tuple[tuple[str, RingSize], ...]
"""The ring size of each role, by its name."""

SHAKES = (0.0, 0.01, 0.02)
"""How far starts from a rough pose are shaken, in radii and radians: little, for the same links may have
other shapes too."""

LOOKS, FIRST_STEPS, FOLLOWED, ROUNDS = 16, 10, 6, 3
"""Starts from the links alone in one round, steps that each is followed first, how many of them are followed
to the end, and rounds at most: a further one is made only when nothing that fits was found."""

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
    return State(Bodies(centres, normals, graph.radii, graph.wire_radii), motion)


def _promising(begun: list[Found]) -> list[Found]:
    """The best starts of either kind, in turn: axes turned to hook, and axes anyhow."""
    kinds = [sorted(begun[kind::2], key=lambda found: -round(found.value, 6)) for kind in (0, 1)]
    return [found for pair in zip(*kinds, strict=True) for found in pair][:FOLLOWED]


def _from_links(weave: Weave, graph: LinkGraph, enough: float) -> list[tuple[bool, Found]]:
    """Searches from the links alone: many starts followed a little, the best of them to the end."""
    contacts, rng = Contacts(graph), np.random.default_rng(0)
    tried: list[tuple[bool, Found]] = []
    for turn in range(ROUNDS):
        tell(f"finding a shape from the links, round {turn + 1} of at most {ROUNDS}")
        begun = [
            widen(contacts, start_from_links(weave, graph, rng, number), most_steps=FIRST_STEPS)
            for number in range(LOOKS)
        ]
        for found in _promising(begun):
            followed = widen(contacts, found.state)
            right = followed.value > wrong_below(graph) and is_sound(graph, followed.state)
            tried.append((right, followed))
            if sum(sound and one.value >= max(enough, 0.0) for sound, one in tried) >= ENOUGH_FOUND:
                return tried
        if any(sound and one.value >= max(enough, 0.0) for sound, one in tried):
            return tried
    return tried


def _from_pose(weave: Weave, graph: LinkGraph, enough: float) -> list[tuple[bool, Found]]:
    """Searches from the rough pose, shaken a little where it does not fit."""
    contacts, rng = Contacts(graph), np.random.default_rng(0)
    tried: list[tuple[bool, Found]] = []
    for number, shake in enumerate(SHAKES):
        if number:
            tell(f"placing rings, start {number + 1} of {len(SHAKES)}")
        start = rough_state(weave, graph)
        found = widen(
            contacts, State(rough.shaken(start.rings, rng, shake), start.motion) if shake else start
        )
        right = found.value > wrong_below(graph) and is_sound(graph, found.state)
        tried.append((right, found))
        if right and found.value >= max(enough, 0.0):
            break
    return tried


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
    tried = _from_pose(weave, graph, enough) if weave.pose else _from_links(weave, graph, enough)
    best = max(tried, key=lambda one: (one[0], round(one[1].value, 6), one[1].converged))
    return graph, best[1].state, evidence("weave", graph, tried, best[1]), best[1].value
