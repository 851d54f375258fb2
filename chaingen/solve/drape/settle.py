"""From a start to rest: making it clear of contact, then one barrier after another."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from chaingen.design.scene import Scene
from chaingen.geometry.bodies import Bodies, wire_points
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.geometry.solids import Solid, distances
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.check import ROUND_OFF, check
from chaingen.solve.drape.disorder import shaken_up
from chaingen.solve.drape.draped import Draped
from chaingen.solve.drape.energy import Poses
from chaingen.solve.drape.masses import mass_arms, weights
from chaingen.solve.drape.rest import Settling, unbalanced_force
from chaingen.solve.drape.setting import Barrier, Setting, poses_of, thinnest_wire
from chaingen.solve.drape.starts import CannotDrape, Start, TooShort
from chaingen.solve.placement import Placement
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph

REACHES = (0.1, 0.03, 0.01, 0.004)
"""Reach of the barrier as part of the thinnest wire's radius, from first to last. Gaps at rest are about half
of it, so that the last one sets how near to touching the wires come."""

PULLED_REACHES, LONG_REACHES = REACHES[1:], REACHES[2:]
"""The same for a piece that starts pulled nearly straight, whose contacts are about where they will be, and
for a long one: what a shorter reach adds to its length moves it far."""

BALANCED = 1e-3
"""A piece is at rest when no ring is pushed by more than this part of its own weight."""

ROUGHLY = 0.05
"""The same between barriers [ring weights]."""

MOST_STEPS = 1500
"""Newton steps at one barrier after which a drape gives up."""

MOST_GROWTHS = 120
"""Times that thin wires may grow before a start is given up."""

SOLID_NODES = 256
"""Points of each ring at which its distance from solids is measured while room is made."""

MOST_SHARES = 20
"""Times that the share of room of bodies with several wires is sought; it is mostly found by the second."""

GROWN = 0.97
"""Thin wires grow to this part of what there is room for."""

HAIR = 0.005
"""Wires with less room than this part of their diameter are draped thinner by what is missing to it."""

NO_ROOM = 0.2
"""Wires with less room than this part of a hair have none."""

LEAST_STIFFNESS = 0.3
"""Least stiffness of a contact [ring weights]."""

FRAME_APART = 0.1
"""Frames of the way to rest differ by this part of the thinnest wire's radius in the place of some ring."""

MOST_FRAMES = 160
"""Frames of the way to rest that are kept."""

Progress = Callable[[str], None]

OnPose = Callable[[Bodies, tuple[Solid, ...], LinkGraph], None]
"""Given the bodies where they are on their way to rest, and the solids that hold them."""


class Film:
    """Keeps poses on the way that differ by more than a little, whatever the number of steps."""

    def __init__(self, apart: float) -> None:
        self.frames: list[Poses] = []
        self._apart = apart

    def add(self, poses: Poses) -> None:
        """Keep these poses, if they differ."""
        if self.frames:
            moved = np.linalg.norm(poses.centres - self.frames[-1].centres, axis=1).max()
            if moved < self._apart:
                return
        self.frames.append(poses)
        if len(self.frames) > MOST_FRAMES:
            self.frames = self.frames[::2]
            self._apart *= 2.0


def _wires_apart(rings: Bodies, pairs: Ints) -> float:
    """Least distance of centrelines over the sum of the wire radii, of all pairs."""
    if rings.all_rings:
        gaps, _ = smallest_gaps(rings, pairs)
        both = rings.wire_radii[pairs].sum(axis=1)
        return float(((gaps + both) / both).min(initial=np.inf))
    # Where wires of a body differ, that of the smallest gap need not be that of the least share: the share is
    # the factor of all wires at which the smallest gap is nothing (Dinkelbach 1967, "On nonlinear fractional
    # programming", Management Science 13(7)).
    factor, least = 1.0, np.inf
    for _ in range(MOST_SHARES):
        gaps, points = smallest_gaps(rings.scaled_wires(factor), pairs)
        distances = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
        both = (distances - gaps) / factor
        before, least = least, float((distances / both).min(initial=np.inf))
        if not 1e-9 < least < before - 1e-9:
            break
        factor = least
    return least


def _solids_apart(rings: Bodies, solids: tuple[Solid, ...]) -> float:
    """Least distance of centrelines from solids over the wire radii."""
    points, wires, _ = wire_points(rings, SOLID_NODES)
    least = np.inf
    for solid in solids:
        least = min(least, float((distances(solid, points)[:, 0] / wires).min()))
    return least


def cleared(
    graph: LinkGraph, rings: Bodies, solids: tuple[Solid, ...], clearance: float = 0.0
) -> Bodies | None:
    """Poses whose wires overlap a little brought clear: thin wires grow back and push one another apart.

    Args:
        graph: What links with what.
        rings: Poses with the right links, some wires overlapping.
        solids: What the rings are clear of.
        clearance: Gap that wires keep from one another [mm]; it grows as they do.

    Returns:
        Poses free of contact, or None when none were found.
    """
    thinnest = thinnest_wire(rings)
    reach = REACHES[0] * thinnest
    factor = 0.0
    poses = poses_of(rings)
    for _ in range(MOST_GROWTHS):
        now = rings.posed(poses.centres, poses.frames[:, 2], poses.frames[:, 0])
        kept = _apart(now, clearance)
        pairs = near_pairs(kept, margin=reach)
        apart = min(_wires_apart(kept, pairs), _solids_apart(now, solids))
        if apart > 1.0 + 0.1 * reach / float(rings.wire_radii.max()):
            report = check(graph, now, clearance=clearance)
            return now if report.links_as_designed and not report.collisions else None
        grown = GROWN * apart
        if grown < factor + 1e-4:
            return None
        factor = grown
        bodies = Setting.of(
            rings.scaled_wires(factor), np.zeros((len(rings), 3)), solids, 0.0, clearance=factor * clearance
        )
        # Thin wires may be very near each other: what pushes them apart must not reach much farther.
        near = min(2.0 * reach, 10.0 * (1.0 - GROWN) * apart * 2.0 * thinnest)
        settling = Settling(bodies, poses, Barrier(near, 1.0, np.empty(0, dtype=np.int64), np.empty(0)))
        settling.relax(0.05, 12)
        poses = settling.poses
    return None


def _apart(rings: Bodies, clearance: float) -> Bodies:
    """Bodies as they are for one another: with their part of the clearance."""
    return rings.thickened(0.5 * clearance) if clearance else rings


def begun(
    graph: LinkGraph,
    attempts: Iterator[Callable[[], tuple[Start, bool]]],
    say: Progress,
    clearance: float = 0.0,
) -> tuple[Start, Bodies, bool]:
    """The first start that is free of contact or can be made so, and its rings.

    Args:
        graph: What links with what.
        attempts: Ways to start: the start, and whether the piece was pulled straight for it.
        say: Told in words what is being done.
        clearance: Gap that wires keep from one another [mm].

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
        thinnest = thinnest_wire(start.rings)
        clear_of_solids = _solids_apart(start.rings, start.solids) > 1.0
        # Where there is no room, wires may be draped a hair thinner; but no gap asked for is let go.
        least = clearance + NO_ROOM * HAIR * 2.0 * thinnest if clearance else -0.5 * HAIR * thinnest
        if report.links_as_designed and report.smallest_gap >= least and clear_of_solids:
            return start, start.rings, pulled
        say("making room")
        clear = cleared(graph, start.rings, start.solids, clearance)
        if clear is not None:
            return start, clear, pulled
        why = (
            f"that keeps wires {format_mm(clearance)} apart"
            if clearance
            else "without wires through one another"
        )
        reasons.append(CannotDrape(f"no start {why} was found"))
    raise next((reason for reason in reasons if not isinstance(reason, TooShort)), reasons[-1])


def check_room(placement: Placement, clearance: float) -> None:
    """See to it that wires are as far apart as they are to keep in a scene.

    Raises:
        CannotDrape: They are not.
    """
    if clearance and placement.gap < clearance - ROUND_OFF:
        have = format_mm(placement.gap)
        raise CannotDrape(f"wires shall keep {format_mm(clearance)} apart, and as placed they have {have}")


def come_to_rest(
    scene: Scene,
    graph: LinkGraph,
    start: Start,
    rings: Bodies,
    shares: Floats,
    reaches: tuple[float, ...],
    say: Progress,
    clearance: float = 0.0,
    on_pose: OnPose | None = None,
) -> Draped:
    """Let rings go from where a scene starts them.

    Args:
        scene: The scene.
        graph: The piece's link graph.
        start: What holds it.
        rings: Its poses, free of contact.
        shares: A guess of the force in each link [ring weights], shape (m,).
        reaches: The barriers, see `REACHES`.
        say: Told in words what is being done.
        clearance: Gap that wires keep from one another, but not from what holds them [mm].
        on_pose: Shown the start and every step that is taken.

    Returns:
        The piece at rest, not yet measured but for the distance of its pegs.

    Raises:
        CannotDrape: It falls off what it lies on, or has no room beyond the clearance.
    """
    thinnest = thinnest_wire(rings)
    hair = 0.0
    room = check(graph, rings).smallest_gap - clearance
    wanted = HAIR * 2.0 * thinnest
    if room < NO_ROOM * wanted and clearance:
        raise CannotDrape(f"its wires have no room to move beyond the {format_mm(clearance)} that they keep")
    if room < NO_ROOM * wanted:
        hair = wanted - room
        rings = rings.thickened(-0.5 * hair)
    loads = np.zeros((len(rings), 3))
    loads[:, 2] = -ring_weights(graph)
    bodies = Setting.of(rings, loads, start.solids, scene.friction, mass_arms(graph), clearance)
    poses = poses_of(rings)
    if scene.disorder > 0.0:
        poses = shaken_up(bodies, poses, scene.disorder, scene.seed)
    film = Film(FRAME_APART * thinnest)
    film.add(poses)
    if on_pose is not None:
        on_pose(bodies.at(poses), start.solids, graph)
    barrier = _first_barrier(graph, start, shares, reaches[0] * bodies.thin)
    return _settled(scene, graph, bodies, poses, start, barrier, hair, reaches, film, say, on_pose)


def ring_weights(graph: LinkGraph) -> Floats:
    """Weights of the bodies, 1 on average, as if all wire were of one metal, shape (n,); see `masses`."""
    return weights(graph)


def _first_barrier(graph: LinkGraph, start: Start, shares: Floats, reach: float) -> Barrier:
    """A barrier as stiff as the force that the start expects in each link."""
    floor = max(float(start.tension.max()), LEAST_STIFFNESS)
    i, j = graph.links.T
    keys = i * (len(graph) + len(start.solids)) + j
    order = np.argsort(keys)
    return Barrier(reach, floor, keys[order], np.maximum(shares[order], LEAST_STIFFNESS))


def _settled(
    scene: Scene,
    graph: LinkGraph,
    bodies: Setting,
    poses: Poses,
    start: Start,
    barrier: Barrier,
    hair: float,
    reaches: tuple[float, ...],
    film: Film,
    say: Progress,
    on_pose: OnPose | None,
) -> Draped:
    thinnest = bodies.thin

    def watch(now: Poses) -> None:
        if scene.settling:
            film.add(now)
        if on_pose is not None:
            on_pose(bodies.at(now), start.solids, graph)

    shaken_out = reaches is LONG_REACHES
    settling = Settling(
        replace(bodies, friction=0.0) if shaken_out else bodies,
        poses,
        barrier,
        watch=watch if scene.settling or on_pose is not None else None,
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
    rings = bodies.at(final)
    report = check(graph, rings, clearance=bodies.clearance)
    frames = tuple(bodies.at(poses) for poses in [*film.frames, final]) if scene.settling else ()
    span = None
    if len(start.pegs) == 2:
        span = float(start.pegs[1].point[0] - start.pegs[0].point[0])
    return Draped(
        scene, graph, rings, bodies.solids, reached, why, unbalanced_force(terms.gradient, bodies), report,
        hair, settling.steps, settling.support(), None, None, None, span,
        start.circumference, frames,
        tuple(settling.energies),
    )  # fmt: skip
