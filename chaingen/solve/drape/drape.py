"""Drape: a placed piece brought to rest in a scene."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from chaingen.design.scene import Scene, SceneKind
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.geometry.rings import Floats, Ints, Rings, centreline_points
from chaingen.geometry.solids import Solid, distances
from chaingen.solve.check import CheckReport, check
from chaingen.solve.drape import starts
from chaingen.solve.drape.curves import hairpin
from chaingen.solve.drape.disorder import shaken_up
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.model import Barrier, Bodies, poses_of
from chaingen.solve.drape.rest import Settling, unbalanced_force
from chaingen.solve.drape.rows import Row, closing_run, middles, straight_row, twisted
from chaingen.solve.drape.starts import CannotDrape, Start, TooShort
from chaingen.solve.place import Placement
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import Run

REACHES = (0.1, 0.03, 0.01, 0.004)
"""Reach of the barrier as part of the thinnest wire's radius, from first to last. Gaps at rest are about half
of it, so that the last one sets how near to touching the wires come."""

PULLED_REACHES, LONG_REACHES = REACHES[1:], REACHES[2:]
"""The same for a piece that starts pulled nearly straight, whose contacts are about where they will be, and
for a long one: what a shorter reach adds to its length moves it far."""

LONG = 2000
"""Pulled pieces of more rings than this are long. They come to rest without friction, as if shaken out, and
are then held by it: friction would hand every small slip on from ring to ring all along them."""

RESTING_GAP = 0.45
"""Gap of crossing wires at rest as part of the barrier's reach, when that is as stiff as the force."""

PULLS = (0.3, 0.1, 0.03)
"""Parts of a placement's gap that are left when a worn piece is pulled to go round."""

BALANCED = 1e-3
"""A piece is at rest when no ring is pushed by more than this part of its own weight."""

ROUGHLY = 0.05
"""The same between barriers [ring weights]."""

MOST_STEPS = 1500
"""Newton steps at one barrier after which a drape gives up."""

TURNS = (2.0 * np.pi / 3.0, np.pi / 3.0, np.pi / 6.0, 0.0)
"""Turns of the arcs of an S that a row may be laid in [rad]."""

MOST_GROWTHS = 120
"""Times that thin wires may grow before a start is given up."""

SOLID_NODES = 256
"""Points of each ring at which its distance from solids is measured while room is made."""

GROWN = 0.97
"""Thin wires grow to this part of what there is room for."""

HAIR = 0.005
"""Wires with less room than this part of their diameter are draped thinner by what is missing to it."""

LEAST_STIFFNESS = 0.3
"""Least stiffness of a contact [ring weights]."""

FRAME_APART = 0.1
"""Frames of the way to rest differ by this part of the thinnest wire's radius in the place of some ring."""

MOST_FRAMES = 160
"""Frames of the way to rest that are kept."""

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class Draped:
    """A piece in a scene.

    Attributes:
        scene: The scene.
        graph: The link graph; for a worn open run the closed loop's.
        rings: Poses at the end, free of contact.
        solids: What holds the piece.
        reached: Whether it is at rest.
        why: Why not, in words; empty when it is.
        unbalanced: Largest unbalanced force on a ring, in its own weight.
        check: Gaps and links at the end.
        hair: How much thinner the wires were taken [mm]; 0 when there was room.
        steps: Newton steps taken.
        support: Upward force of all supports over the piece's weight.
        drop: From the top of the pegs to the lowest wire [mm]; None without pegs.
        sag: From the top of the pegs to the middle of the lowest group of a swag [mm]; None for others.
        length: Length at rest, along the middles of the groups from outside to outside, or round [mm].
        span: Distance of the pegs of a swag [mm].
        circumference: Of the wrist or neck [mm].
        frames: Poses on the way, first and last included; empty unless asked for.
        energies: Energy after each step, as (number of the barrier, energy [ring weights mm]).
    """

    scene: Scene
    graph: LinkGraph
    rings: Rings
    solids: tuple[Solid, ...]
    reached: bool
    why: str
    unbalanced: float
    check: CheckReport
    hair: float
    steps: int
    support: float
    drop: float | None
    sag: float | None
    length: float
    span: float | None
    circumference: float | None
    frames: tuple[Rings, ...]
    energies: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class NotDraped:
    """A scene that was not started.

    Attributes:
        scene: The scene.
        why: Why, in words.
    """

    scene: Scene
    why: str


class _Film:
    """Keeps poses on the way that differ by more than a little, whatever the number of steps."""

    def __init__(self, apart: float) -> None:
        self.frames: list[Poses] = []
        self._apart = apart

    def add(self, poses: Poses) -> None:
        if self.frames:
            moved = np.linalg.norm(poses.centres - self.frames[-1].centres, axis=1).max()
            if moved < self._apart:
                return
        self.frames.append(poses)
        if len(self.frames) > MOST_FRAMES:
            self.frames = self.frames[::2]
            self._apart *= 2.0


def _wires_apart(rings: Rings, pairs: Ints) -> float:
    """Least distance of centrelines over the sum of the wire radii, of all pairs."""
    gaps, _ = smallest_gaps(rings, pairs)
    both = rings.wire_radii[pairs].sum(axis=1)
    return float(((gaps + both) / both).min(initial=np.inf))


def _solids_apart(rings: Rings, solids: tuple[Solid, ...]) -> float:
    """Least distance of centrelines from solids over the wire radii."""
    points = centreline_points(rings, SOLID_NODES)
    least = np.inf
    for solid in solids:
        away = distances(solid, points.reshape(-1, 3))[:, 0].reshape(points.shape[:2])
        least = min(least, float((away.min(axis=1) / rings.wire_radii).min()))
    return least


def cleared(graph: LinkGraph, rings: Rings, solids: tuple[Solid, ...]) -> Rings | None:
    """Poses whose wires overlap a little brought clear: thin wires grow back and push one another apart.

    Args:
        graph: What links with what.
        rings: Poses with the right links, some wires overlapping.
        solids: What the rings are clear of.

    Returns:
        Poses free of contact, or None when none were found.
    """
    reach = REACHES[0] * float(rings.wire_radii.min())
    factor = 0.0
    poses = poses_of(rings)
    for _ in range(MOST_GROWTHS):
        now = replace(rings, centres=poses.centres, normals=poses.frames[:, 2])
        pairs = near_pairs(now, margin=reach)
        apart = min(_wires_apart(now, pairs), _solids_apart(now, solids))
        if apart > 1.0 + 0.1 * reach / float(rings.wire_radii.max()):
            report = check(graph, now)
            return now if report.links_as_designed and not report.collisions else None
        grown = GROWN * apart
        if grown < factor + 1e-4:
            return None
        factor = grown
        bodies = Bodies(rings.radii, factor * rings.wire_radii, np.zeros((len(rings), 3)), solids, 0.0)
        # Thin wires may be very near each other: what pushes them apart must not reach much farther.
        near = min(2.0 * reach, 10.0 * (1.0 - GROWN) * apart * 2.0 * float(rings.wire_radii.min()))
        settling = Settling(bodies, poses, Barrier(near, 1.0, np.empty(0, dtype=np.int64), np.empty(0)))
        settling.relax(0.05, 12)
        poses = settling.poses
    return None


def _reaches(rings: int, pulled: bool) -> tuple[float, ...]:
    """The barriers of a drape."""
    return (LONG_REACHES if rings > LONG else PULLED_REACHES) if pulled else REACHES


def _attempts(
    run: Run, placement: Placement, scene: Scene, weights: Floats, taut: float | None
) -> Iterator[Callable[[], tuple[Start, bool]]]:
    """Ways to start a scene, best first: the start, and whether the piece was pulled straight for it."""
    reach = RESTING_GAP * _reaches(len(placement.graph), True)[0] * float(placement.graph.wire_radii.min())

    def row(left: float | None) -> Row:
        found = straight_row(run, placement, left=left)
        return twisted(found, 0.5 * np.pi) if run.closed and len(found.graph.groups) % 2 else found

    def curved(turn: float) -> tuple[Start, bool]:
        return starts.table(row(None), turn), False

    def worn(begin: Callable[..., Start], left: float | None) -> tuple[Start, bool]:
        loop = row(left)
        return begin(loop, scene, weights, taut or loop.length), False

    if scene.kind is SceneKind.SWAG:
        yield lambda: (starts.swag(row(reach), scene, weights, taut), True)
        yield lambda: (starts.swag(row(None), scene, weights, taut), False)
        # A narrow catenary is sharp at its foot; two strands joined by half a circle are bent less.
        yield lambda: (starts.swag(row(None), scene, weights, taut, hairpin), False)
    elif scene.kind is SceneKind.HANG and not run.closed:
        yield lambda: (starts.hang(row(reach), weights), True)
        yield lambda: (starts.hang(row(None), weights), False)
    elif scene.kind is SceneKind.HANG:
        yield lambda: (starts.hang(row(None), weights), False)
        # A small loop is bent hard: its placement has found how.
        yield lambda: (starts.hang_placed(placement, weights), False)
    elif scene.kind is SceneKind.TABLE and run.closed:
        yield lambda: (starts.table(row(None), 0.0), False)
        yield lambda: (starts.laid_down(placement.rings), False)
    elif scene.kind is SceneKind.TABLE and scene.curved:
        for turn in TURNS:
            yield partial(curved, turn)
    elif scene.kind is SceneKind.TABLE:
        yield lambda: (starts.table(row(reach), 0.0), True)
        yield lambda: (starts.table(row(None), 0.0), False)
    else:
        begin = starts.wrist if scene.kind is SceneKind.WRIST else starts.neck
        # A worn piece keeps the slack it has; where it is too short then, it is pulled taut bit by bit.
        for left in (None, *(part * placement.gap for part in PULLS)):
            yield partial(worn, begin, left)


def _begun(
    graph: LinkGraph, attempts: Iterator[Callable[[], tuple[Start, bool]]], say: Progress
) -> tuple[Start, Rings, bool]:
    """The first start that is free of contact or can be made so, and its rings.

    Raises:
        CannotDrape: None is; the first reason is told, or, when all are too short, the last.
    """
    reasons: list[CannotDrape] = []
    for attempt in attempts:
        try:
            start, pulled = attempt()
        except CannotDrape as reason:
            reasons.append(reason)
            continue
        report = check(graph, start.rings)
        thinnest = float(graph.wire_radii.min())
        clear_of_solids = _solids_apart(start.rings, start.solids) > 1.0
        if report.links_as_designed and report.smallest_gap >= -0.5 * HAIR * thinnest and clear_of_solids:
            return start, start.rings, pulled
        say("making room")
        clear = cleared(graph, start.rings, start.solids)
        if clear is not None:
            return start, clear, pulled
        reasons.append(CannotDrape("no start without wires through one another was found"))
    raise next((reason for reason in reasons if not isinstance(reason, TooShort)), reasons[-1])


def drape(
    run: Run,
    placement: Placement,
    scene: Scene,
    *,
    taut: float | None = None,
    on_progress: Progress | None = None,
) -> Draped:
    """Bring a placed piece to rest in a scene.

    Args:
        run: The run, its repeats settled.
        placement: Its placement.
        scene: The scene.
        taut: The piece's taut length [mm], for the span of a swag.
        on_progress: Told in words what is being done.

    Raises:
        CannotDrape: The scene cannot be started with this piece; the message says why.
    """
    say = on_progress or (lambda _: None)
    say("laying the piece out")
    worn = scene.kind in (SceneKind.WRIST, SceneKind.NECK)
    graph = placement.graph
    if worn and not run.closed:
        closing = closing_run(run)
        if closing is None:
            raise CannotDrape("its last group cannot link its first, so that it cannot be worn closed")
        run, graph = closing, piece_graph(closing)
        placement = replace(placement, graph=graph)
    thinnest = float(graph.wire_radii.min())
    weights = graph.radii * graph.wire_radii**2
    weights = weights / weights.mean()
    start, rings, pulled = _begun(graph, _attempts(run, placement, scene, weights, taut), say)
    hair = 0.0
    room = check(graph, rings)
    wanted = HAIR * 2.0 * thinnest
    if room.smallest_gap < 0.2 * wanted:
        hair = wanted - room.smallest_gap
        rings = replace(rings, wire_radii=rings.wire_radii - 0.5 * hair)
    loads = np.zeros((len(rings), 3))
    loads[:, 2] = -weights
    bodies = Bodies(rings.radii, rings.wire_radii, loads, start.solids, scene.friction)
    poses = poses_of(rings)
    if scene.disorder > 0.0:
        poses = shaken_up(bodies, poses, scene.disorder, scene.seed)
    film = _Film(FRAME_APART * thinnest)
    film.add(poses)
    reaches = _reaches(len(graph), pulled and not scene.disorder)
    return _settled(scene, graph, bodies, poses, start, hair, reaches, film, say)


def _first_barrier(graph: LinkGraph, start: Start, reach: float) -> Barrier:
    """A barrier as stiff as the tension that the start expects at each link."""
    tension = np.maximum(start.tension, LEAST_STIFFNESS)
    floor = float(tension.max())
    i, j = graph.links.T
    group = np.sort(graph.group_of[graph.links], axis=1)
    _, side, count = np.unique(group, axis=0, return_inverse=True, return_counts=True)
    # The links between two groups share the tension.
    share = 0.5 * (tension[i] + tension[j]) / count[side.ravel()]
    keys = i * (len(graph) + len(start.solids)) + j
    order = np.argsort(keys)
    return Barrier(reach, floor, keys[order], np.maximum(share[order], LEAST_STIFFNESS))


def _settled(
    scene: Scene,
    graph: LinkGraph,
    bodies: Bodies,
    poses: Poses,
    start: Start,
    hair: float,
    reaches: tuple[float, ...],
    film: _Film,
    say: Progress,
) -> Draped:
    thinnest = float(bodies.wire_radii.min())
    shaken_out = reaches is LONG_REACHES
    settling = Settling(
        replace(bodies, friction=0.0) if shaken_out else bodies,
        poses,
        _first_barrier(graph, start, reaches[0] * thinnest),
        watch=film.add if scene.settling else None,
    )
    reached = False
    why = ""
    for number, part in enumerate(reaches):
        say(f"settling, barrier {number + 1} of {len(reaches)}")
        last = number == len(reaches) - 1
        if number and not settling.shrink(part * thinnest, ROUGHLY, MOST_STEPS):
            reached = settling.model.barrier.reach <= 1.001 * part * thinnest
        else:
            reached = True
        if not reached:
            why = f"wires could not be brought nearer than {settling.model.barrier.reach:.2g} mm"
            break
        terms, reached = settling.relax(BALANCED if last else ROUGHLY, MOST_STEPS)
        if not reached and settling.lost(terms):
            raise CannotDrape("it slides off what it lies on")
        if not reached:
            why = (
                f"after {settling.steps:,} steps a ring is still pushed by "
                f"{unbalanced_force(terms.gradient, bodies):.2g} times its own weight"
            )
            break
        if not last:
            settling.change(settling.following_load(terms, LEAST_STIFFNESS))
            settling.relax(ROUGHLY, MOST_STEPS)
    if shaken_out and reached:
        settling.bodies = bodies
        settling.change(settling.model.barrier)
        _, reached = settling.relax(BALANCED, MOST_STEPS)
    terms = settling.terms()
    final = settling.poses
    rings = Rings(final.centres, final.frames[:, 2], bodies.radii, bodies.wire_radii)
    report = check(graph, rings)
    frames = (
        tuple(
            Rings(p.centres, p.frames[:, 2], bodies.radii, bodies.wire_radii) for p in [*film.frames, final]
        )
        if scene.settling
        else ()
    )
    low = float(rings.bounds()[0][2])
    group_middles = middles(graph, rings.centres)
    drop = sag = span = None
    if start.pegs:
        top = max(float(peg.point[2]) + peg.radius for peg in start.pegs)
        drop = top - low
        if len(start.pegs) == 2:
            span = float(start.pegs[1].point[0] - start.pegs[0].point[0])
            sag = top - float(group_middles[:, 2].min())
    return Draped(
        scene, graph, rings, bodies.solids, reached, why, unbalanced_force(terms.gradient, bodies), report,
        hair, settling.steps, settling.support(), drop, sag, _length(graph, rings, _is_closed(graph)), span,
        start.circumference, frames,
        tuple(settling.energies),
    )  # fmt: skip


def _is_closed(graph: LinkGraph) -> bool:
    """Whether the last group links the first."""
    count = len(graph.groups)
    group = graph.group_of[graph.links]
    return count > 2 and bool(((group.min(axis=1) == 0) & (group.max(axis=1) == count - 1)).any())


def _length(graph: LinkGraph, rings: Rings, closed: bool) -> float:
    """Length along the middles of the groups, for an open run to the outsides of its ends [mm]."""
    first = np.concatenate([[0], np.flatnonzero(np.diff(graph.group_of)) + 1])
    points = middles(graph, rings.centres)[first]
    if len(points) == 1:
        low, high = rings.bounds()
        return float((high - low).max())
    steps = np.diff(points, axis=0)
    whole = float(np.linalg.norm(steps, axis=1).sum())
    if closed:
        return whole + float(np.linalg.norm(points[0] - points[-1]))
    for end, outward in ((0, -steps[0]), (len(points) - 1, steps[-1])):
        along = outward / np.linalg.norm(outward)
        own = rings[np.flatnonzero(graph.group_of == end)]
        tilt = np.sqrt(np.clip(1.0 - (own.normals @ along) ** 2, 0.0, 1.0))
        reach = (own.centres - points[end]) @ along + own.radii * tilt + own.wire_radii
        whole += float(reach.max())
    return whole
