"""How supple a weave is: the tightest circle it bends to in each plane, and how far it twists while taut."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.solve import rough
from chaingen.solve.cells import cell_of
from chaingen.solve.contacts import Contacts, State
from chaingen.solve.motion import Motion, MotionKind, repeat_cell
from chaingen.solve.place_weave import places_along
from chaingen.solve.search import is_sound
from chaingen.solve.slp import stretch, widen
from chaingen.solve.taut import period_aim, taut_cell
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain
from chaingen.weave.tiling import with_places

LOOSEST_CELLS = 80.0
"""A circle of so many cells counts as straight."""

FEWEST_GROUPS, FEWEST_CELLS = 6, 1.5
"""No circle of fewer groups or cells is tried."""

CLOSE_CELLS = 0.01
"""The number of cells of the tightest circle is found to this part of itself."""

STILL_TAUT = 0.999
"""A twisted chain counts as taut while it keeps this part of its taut length."""

TWIST_STEP = pi / 36.0
"""Twist of one group against the next is raised by this much at a time [rad]: a chain twisted in one go may
come out as another one of the same look."""

MOST_TWIST_STEPS = 17
"""Steps of it that are tried: a quarter turn of every group is the next shape alike."""

HALVINGS = 6
"""Halvings of the step that was too much."""

SHOWN_CELLS = 6
"""Cells shown of a twisted chain."""


@dataclass(frozen=True, eq=False)
class Bend:
    """The tightest circle in one plane.

    Attributes:
        plane: Which plane, in words.
        radius: Its radius to the middle of the chain [mm].
        groups: Groups that would go round it; a broken number mostly.
        binds: Whether wires bind there; False when even the smallest circle tried leaves them room.
        rings: A part of the chain bent so.
    """

    plane: str
    radius: float
    groups: float
    binds: bool
    rings: Bodies


@dataclass(frozen=True, eq=False)
class Supple:
    """How supple a chain is.

    Attributes:
        bends: The tightest circle in either plane.
        twist: Twist of each group against the next while taut [rad], one way and the other.
        twisted: A part of the chain twisted so, the first way.
    """

    bends: tuple[Bend, Bend]
    twist: tuple[float, float]
    twisted: Bodies


def steps_of(graph: LinkGraph) -> int:
    """How many groups, or places along a weave, a cell has."""
    return int(graph.group_of.max()) + 1


def _bend(graph: LinkGraph, straight: State, tilt: float, plane: str) -> Bend:
    contacts = Contacts(graph)
    group = graph.group_of
    sums = np.bincount(group, weights=straight.rings.centres[:, 0])
    along = np.asarray((sums / np.bincount(group))[group])

    def closed(cells: float) -> State | None:
        """A sound circle of so many cells without overlaps, or None."""
        for slack in (1.0, 0.92, 1.06):
            length = slack * straight.motion.period * cells
            bent = rough.bent(straight.rings, slack * along, length, tilt=tilt)
            found = widen(contacts, State(bent, Motion(MotionKind.TURN, cells=cells)), enough=1e-6)
            if found.value >= 0.0 and is_sound(graph, found.state):
                return found.state
        return None

    fewest = max(FEWEST_GROUPS / steps_of(graph), FEWEST_CELLS)
    good, state = LOOSEST_CELLS, closed(LOOSEST_CELLS)
    bad = 0.0
    while state is not None and good > fewest:
        trial = max(fewest, 0.6 * good)
        found = closed(trial)
        if found is None:
            bad = trial
            break
        good, state = trial, found
    while state is not None and bad and good - bad > CLOSE_CELLS * good:
        middle = 0.5 * (good + bad)
        found = closed(middle)
        if found is None:
            bad = middle
        else:
            good, state = middle, found
    if state is None:
        rings = repeat_cell(straight.rings, straight.motion, SHOWN_CELLS)
        return Bend(plane, np.inf, np.inf, True, rings)
    middles = np.stack(
        [np.bincount(group, weights=state.rings.centres[:, axis]) / np.bincount(group) for axis in (0, 1)]
    )
    radius = float(np.linalg.norm(middles, axis=0).mean())
    count = int(min(max(2.0, good / 2.0), 12.0))
    return Bend(
        plane, radius, good * steps_of(graph), bad > 0.0, repeat_cell(state.rings, state.motion, count)
    )


def _twist(graph: LinkGraph, taut: State, way: float) -> tuple[float, State]:
    """The largest twist of a cell that leaves it taut [rad], and the chain twisted so."""
    contacts = Contacts(graph)
    groups = steps_of(graph)

    def twisted(angle: float, start: State) -> State | None:
        motion = replace(start.motion, twist=way * angle)
        turned = _twisted_cell(graph, start.rings, way * angle - start.motion.twist, start.motion.period)
        found = stretch(contacts, State(turned, motion), period_aim())
        right = found.gap > -1e-6 and is_sound(graph, found.state)
        return found.state if right and found.value >= STILL_TAUT * taut.motion.period else None

    good, state = 0.0, taut
    width = TWIST_STEP * groups
    for _ in range(MOST_TWIST_STEPS):
        found = twisted(good + width, state)
        if found is None:
            break
        good, state = good + width, found
    else:
        return good, state
    for _ in range(HALVINGS):
        width *= 0.5
        found = twisted(good + width, state)
        if found is not None:
            good, state = good + width, found
    return good, state


def _twisted_cell(graph: LinkGraph, rings: Bodies, more: float, period: float) -> Bodies:
    """A cell twisted by `more` [rad] over its period, group by group."""
    group = graph.group_of
    along = np.asarray((np.bincount(group, weights=rings.centres[:, 0]) / np.bincount(group))[group])
    parts = [
        rings[k : k + 1].turned(rough.about_x(more * float(along[k] - along[0]) / period))
        for k in range(len(rings))
    ]
    return concatenate(parts)


def supple(piece: Run | Chain, on_progress: Callable[[str], None] | None = None) -> Supple | None:
    """How supple the repeating cell of a run or a chain is.

    Args:
        piece: The piece; a chain whose cells do not turn against one another.
        on_progress: Told in words what is being done.

    Returns:
        None when the cell does not fit, or has links with none but itself.
    """
    say = on_progress or (lambda _: None)
    cell = cell_of(piece)
    graph, state = cell.graph, cell.state
    if cell.gap <= 0.0:
        return None
    if isinstance(piece, Chain):
        rings = state.rings
        graph = with_places(graph, places_along(rings.centres[:, 0], float(rings.radii.min())).tolist())
    say("bending it in one plane")
    first = _bend(graph, state, 0.0, "in the plane of its first rings")
    say("bending it in the other plane")
    second = _bend(graph, state, 0.5 * pi, "across the plane of its first rings")
    say("twisting it")
    taut = taut_cell(graph, state.rings, state.motion)
    start = State(taut.rings, replace(state.motion, period=taut.length))
    (one, shown), (other, _) = (_twist(graph, start, way) for way in (1.0, -1.0))
    groups = steps_of(graph)
    return Supple(
        (first, second), (one / groups, other / groups), repeat_cell(shown.rings, shown.motion, SHOWN_CELLS)
    )
