"""Where each scene starts: poses free of contact, and what holds the piece. Gravity pulls along -z."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chaingen.design.scene import EASE, NECK, Scene
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import Solid, bar, distances, form, oval, plane
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.curves import (
    Track,
    by_arc_length,
    catenary,
    catenary_parameter,
    laid,
    round_oval,
    stadium,
    straight,
    wave,
)
from chaingen.solve.drape.peg import FILLED, Peg, holes_of, peg_through, room_along
from chaingen.solve.drape.rows import Row, turned_each, twisted
from chaingen.solve.placement import Placement
from chaingen.weave.graph import LinkGraph

FOREARM_RATIO = 1.35
"""Width of a forearm at the wrist over its thickness (memory; adults' are 1.2 to 1.5)."""

LEAST_WRIST = 60.0
"""No wrist is smaller [mm]: a newborn's is more (memory)."""

OFF = 0.5
"""Pieces start this part of the thinnest wire clear of what they will rest on."""

LAID_ROLL = 0.25 * np.pi
"""A row is laid on the table turned about its length by this much: each ring then falls to its own side."""

LOOP_WIDTH = 2.5
"""Half the width that a hung loop starts with, in outside radii of its largest ring; at most it is round."""

PEG_TRIES = 12
"""Times that a swag's catenary is corrected for the room that its end rings leave the pegs."""

FLAT_TURNS = 8
"""Parts of half a turn in which the flattest way to lie is sought."""

DOWN, FRONT, RIGHT = np.array([0.0, 0.0, -1.0]), np.array([0.0, -1.0, 0.0]), np.array([1.0, 0.0, 0.0])


class CannotDrape(Exception):
    """A scene cannot be started with this piece; the message says why."""


class TooShort(CannotDrape):
    """The piece, as it lies, is too short for what it shall go round."""


@dataclass(frozen=True, eq=False)
class Start:
    """Where a drape starts.

    Attributes:
        rings: Poses.
        solids: What holds the piece.
        pegs: The pegs among them.
        tension: A guess of the tension at each ring [ring weights], shape (n,).
        circumference: Of the wrist or neck [mm].
    """

    rings: Bodies
    solids: tuple[Solid, ...]
    pegs: tuple[Peg, ...]
    tension: Floats
    circumference: float | None = None


def _end(row: Row, last: bool) -> Ints:
    return np.flatnonzero(row.group == (row.group.max() if last else 0))


def turn_about_y(angle: float) -> Floats:
    """Rotation matrix that brings a direction `angle` [rad] above the x axis level."""
    c, s = float(np.cos(angle)), float(np.sin(angle))
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def _rolled(row: Row, angle: float) -> Row:
    """The row turned about x."""
    return replace(row, rings=turned_each(row.rings, np.full(len(row.rings), angle)))


def _roll_of(row: Row, last: bool) -> float:
    """Turn about x from y to the peg that goes most easily through an end of a row [rad]."""
    peg = peg_through(row.rings, _end(row, last), graph=row.graph)
    return 0.0 if peg is None else float(np.arctan2(peg.direction[2], peg.direction[1]))


def _inner_reach(row: Row, last: bool) -> float:
    """From the middle of a row's end group along the row to where it lies on a peg [mm]."""
    own = _end(row, last)
    holes = holes_of(row.rings, own, row.graph)
    outward = (holes.centres[:, 0] - row.group_x[own]) * (1.0 if last else -1.0)
    outward = np.where(row.rings.is_ring[own], 0.0, outward)
    return float(np.median(outward + holes.radii - holes.wire_radii))


def _held(row: Row, rings: Bodies, last: bool) -> Peg:
    """The peg along y that holds an end of a piece."""
    peg = peg_through(rings, _end(row, last), -FRONT, graph=row.graph)
    if peg is None:
        raise CannotDrape("no level peg goes through the end of this piece")
    return peg


def hang(row: Row, weights: Floats) -> Start:
    """From one end, or from one group of a closed loop, on a level peg."""
    # The peg shall run along y: along the row's y when it hangs straight, along its z when it goes round.
    row = _rolled(row, (0.5 * np.pi if row.closed else 0.0) - _roll_of(row, False))
    s = row.group_x - row.group_x.min()
    if row.closed:
        wide = LOOP_WIDTH * float((row.rings.radii + row.rings.wire_radii).max())
        # The peg holds the top; the curve runs to the right first.
        track = by_arc_length(stadium(row.length, wide), s, normal=-FRONT)
    else:
        track = straight(s, np.zeros(3), DOWN, -FRONT)
    rings = laid(row.rings, row.group_x, track)
    return _hung(rings, _held(row, rings, False), weights, row.closed)


def hang_placed(placement: Placement, weights: Floats) -> Start:
    """A closed loop as placed, turned upright so that a peg through its first group is level and on top."""
    rings = placement.rings
    own = np.flatnonzero(placement.graph.group_of == 0)
    peg = peg_through(rings, own, graph=placement.graph)
    if peg is None:
        raise CannotDrape("no peg goes through this piece")
    up = rings.centres[own].mean(axis=0)
    up = up - (up @ peg.direction) * peg.direction
    up /= np.linalg.norm(up)
    turn = np.stack([np.cross(peg.direction, up), peg.direction, up])
    upright = rings.turned(turn)
    return _hung(upright, replace(peg, point=turn @ peg.point, direction=-FRONT), weights, True)


def _hung(rings: Bodies, peg: Peg, weights: Floats, closed: bool) -> Start:
    """Rings that hang on a peg; what hangs below pulls, shared by both strands of a loop."""
    order = np.argsort(rings.centres[:, 2], kind="stable")
    below = np.empty(len(rings))
    below[order] = np.cumsum(weights[order])
    tension = 0.5 * below if closed else below
    return Start(rings, (bar(peg.point, peg.direction, peg.radius),), (peg,), tension)


Curve = Callable[[Floats, float, float], Track]
"""A curve from one peg to the other by arc length, the whole length and the span [mm]."""


def swag(row: Row, scene: Scene, weights: Floats, taut: float | None, curve: Curve = catenary) -> Start:
    """Between two level pegs at one height."""
    if row.closed:
        raise CannotDrape("a closed loop has no two ends to be held by; it can hang")
    if row.graph.group_of.max() < 2:
        raise CannotDrape("a swag takes at least three groups")
    # Both pegs shall run along y: the row is rolled for the first and twisted for the second.
    angles = [_roll_of(row, last) for last in (False, True)]
    apart = angles[0] - angles[1]
    row = twisted(_rolled(row, -angles[0]), apart - np.pi * round(apart / np.pi))
    # The row is held where its end rings will lie on the pegs: at their insides.
    ends = [_inner_reach(row, last) for last in (False, True)]
    reach = row.length + sum(ends)
    whole = reach if taut is None else taut
    span = scene.span if scene.span is not None else min(scene.part_apart * whole, 0.98 * reach)
    if span >= 0.999 * reach:
        raise CannotDrape(
            f"pegs {span:.2f} mm apart are farther than the piece reaches with room to move, "
            f"{0.999 * reach:.2f} mm"
        )
    rings, held = _between(row, curve, reach, ends[0], span)
    x = catenary_parameter(reach / span)
    # Horizontal force everywhere, and half of the weight at each end.
    along = (row.group_x - row.group_x.min() + ends[0] - 0.5 * reach) * 2.0 * x / span
    tension = 0.5 * float(weights.sum()) / np.sinh(x) * np.cosh(np.arcsinh(along))
    return Start(rings, tuple(bar(p.point, p.direction, p.radius) for p in held), held, tension)


def _between(
    row: Row, curve: Curve, reach: float, first: float, span: float
) -> tuple[Bodies, tuple[Peg, ...]]:
    """A row on a curve whose end groups are held by pegs that far apart at one height."""
    tried = span
    for _ in range(PEG_TRIES):
        rings = laid(row.rings, row.group_x, curve(row.group_x - row.group_x.min() + first, reach, tried))
        pegs = [_held(row, rings, last) for last in (False, True)]
        across = pegs[1].point - pegs[0].point
        off = span - float(np.hypot(across[0], across[2]))
        if abs(off) < 0.05 * min(peg.radius for peg in pegs):
            break
        tried = float(np.clip(tried + off, 0.02 * reach, 0.9995 * reach))
    return levelled(rings, pegs, span, row.graph)


def levelled(
    rings: Bodies, pegs: list[Peg], span: float, graph: LinkGraph | None = None
) -> tuple[Bodies, tuple[Peg, ...]]:
    """A piece with its two pegs along y brought to one height and this far apart.

    Args:
        rings: The piece.
        pegs: The left and the right peg.
        span: Their distance [mm], near what it is.
        graph: The piece's link graph; None will do where all are rings.

    Raises:
        CannotDrape: The rings that they go through have no room for that.
    """
    across = pegs[1].point - pegs[0].point
    # Unlike ends come to unlike heights: the whole piece is turned until they are level.
    level = turn_about_y(float(np.arctan2(across[2], across[0])))
    rings = rings.turned(level)
    points = [level @ peg.point for peg in pegs]
    # What is left of the distance is taken up by the pegs, as far as they have room.
    rooms = [room_along(rings, point, -FRONT) for point in points]
    off = span - float(points[1][0] - points[0][0])
    height = 0.5 * float(points[0][2] + points[1][2])
    held = []
    for side, point, room, peg in zip((-1.0, 1.0), points, rooms, pegs, strict=True):
        place = np.array([point[0] + side * off * room / sum(rooms), point[1], height])
        left = room_along(rings, place, -FRONT)
        if left <= 0.1 * room or not _through(rings, peg.rings, place, graph):
            raise CannotDrape(f"its ends do not take pegs at one height {span:.2f} mm apart")
        held.append(replace(peg, point=place, radius=min(peg.radius, FILLED * left)))
    return rings, tuple(held)


def _through(rings: Bodies, through: tuple[int, ...], point: Floats, graph: LinkGraph | None) -> bool:
    """Whether a level peg through `point` passes the holes of these bodies."""
    own = holes_of(rings, np.array(through), graph)
    along = ((own.centres - point) * own.normals).sum(axis=1) / (own.normals @ -FRONT)
    away = np.linalg.norm(point - along[:, None] * FRONT - own.centres, axis=1)
    return bool((away < own.radii).all())


def _raised(rings: Bodies) -> Bodies:
    """The rings with the lowest wire a little above z = 0."""
    low = float(rings.bounds()[0][2])
    return rings.moved(np.array([0.0, 0.0, OFF * rings.thinnest.min() - low]))


def table(row: Row, turn: float) -> Start:
    """Laid down on a table: straight, in an S of two arcs of `turn` [rad], or, a closed loop, in a round."""
    row = replace(row, rings=turned_each(row.rings, np.full(len(row.rings), LAID_ROLL)))
    s = row.group_x - row.group_x.min()
    up = -DOWN
    if row.closed:
        angle = np.linspace(0.0, 2.0 * np.pi, 4097)
        radius = row.length / (2.0 * np.pi)
        circle = radius * np.column_stack([np.sin(angle), -np.cos(angle), np.zeros_like(angle)])
        track = by_arc_length(circle, s, normal=up)
    elif turn:
        track = by_arc_length(wave(max(row.length, 1e-6), turn), s, normal=up)
    else:
        track = straight(s, np.array([-0.5 * row.length, 0.0, 0.0]), RIGHT, np.array([0.0, 1.0, 0.0]))
    return laid_down(laid(row.rings, row.group_x, track))


def laid_down(rings: Bodies) -> Start:
    """Rings a little above a table."""
    return Start(_raised(rings), (plane(0.0),), (), np.full(len(rings), 2.0))


def _flattest(row: Row) -> Row:
    """A row with findings turned about its length so that it lies as flat as it can on what it goes round."""
    if row.rings.all_rings:
        return row
    turns = [_rolled(row, np.pi * k / FLAT_TURNS) for k in range(2 * FLAT_TURNS)]
    return min(turns, key=lambda turned: round(_thickness(turned), 6))


def _thickness(row: Row) -> float:
    """How far the row reaches from its axis towards the inside of a loop [mm]: its -y side."""
    return -float(row.rings.bounds()[0][1])


def _worn(weights: Floats) -> Floats:
    """The tension that a worn piece may come to: a quarter of its weight."""
    return np.full(len(weights), 0.25 * float(weights.sum()))


def wrist(row: Row, scene: Scene, weights: Floats, taut: float) -> Start:
    """Round a level forearm, an oval bar along y."""
    row = _flattest(row)
    thick = _thickness(row)
    circumference = scene.circumference or taut - 2.0 * np.pi * thick - EASE
    if circumference < LEAST_WRIST:
        raise CannotDrape(f"{taut:.1f} mm round is too short for any wrist")
    off = (row.length - circumference) / (2.0 * np.pi)
    if off - thick <= 0.0:
        need = circumference + 2.0 * np.pi * thick
        raise TooShort(
            f"it is too short: {need:.1f} mm along its middle go round {circumference:.1f} mm, "
            f"and it has {row.length:.1f} mm; a length of about {need * taut / row.length:.0f} mm would do"
        )
    arm = oval(circumference, FOREARM_RATIO)
    half_width, half_height = arm.numbers[3:5]
    curve = round_oval(float(half_width), float(half_height), off)
    # The first group lies at the bottom, where a clasp would.
    half = np.argmin(curve[:, 2])
    curve = np.concatenate([curve[half:-1], curve[: half + 1]])
    track = by_arc_length(curve, row.group_x - row.group_x.min(), normal=FRONT)
    rings = laid(row.rings, row.group_x, track)
    return Start(rings, (arm,), (), _worn(weights), circumference)


def neck_form(circumference: float) -> Solid:
    """A neck with shoulders and chest for a given circumference of the neck [mm], looking towards -y."""
    s = circumference / (2.0 * np.pi)
    bars = np.array(
        [
            [0.0, 0.10, -1.6, 0.0, -0.30, 3.2, 1.0],
            [0.55, 0.15, -1.15, 2.75, 0.25, -2.15, 0.80],
            [-0.55, 0.15, -1.15, -2.75, 0.25, -2.15, 0.80],
            [1.15, -0.35, -2.7, 1.25, -0.75, -6.0, 1.45],
            [-1.15, -0.35, -2.7, -1.25, -0.75, -6.0, 1.45],
        ]
    )
    return form(s * bars, 0.28 * s)


def neck(row: Row, scene: Scene, weights: Floats, taut: float) -> Start:
    """Round a neck, in the slanting plane where a round loop hangs lowest clear of neck and shoulders."""
    circumference = scene.circumference or NECK
    body = neck_form(circumference)
    radius = row.length / (2.0 * np.pi)
    row = _flattest(row)
    if row.rings.all_rings:
        thick = float(np.abs(row.rings.centres[:, 1:]).max() + (row.rings.radii + row.rings.wire_radii).max())
    else:
        # Seen along the row, nothing reaches farther from its axis to any side.
        low, high = (np.abs(corner[:, 1:]).max() for corner in row.rings.extents())
        thick = float(np.hypot(low, high))
    need = circumference + 2.0 * np.pi * thick
    if row.length <= need:
        raise TooShort(
            f"it is too short: {need:.1f} mm along its middle go round {circumference:.1f} mm, "
            f"and it has {row.length:.1f} mm; a length of about {need * taut / row.length:.0f} mm would do"
        )
    angle = np.linspace(0.0, 2.0 * np.pi, 361)
    # The first group lies at the nape.
    ring = np.column_stack([np.sin(angle), np.cos(angle), np.zeros_like(angle)])
    off = thick + OFF * float(row.rings.thinnest.min())
    best: tuple[float, Floats] | None = None
    for tilt in np.linspace(0.0, 1.1, 23):
        slant = np.column_stack([ring[:, 0], ring[:, 1] * np.cos(tilt), ring[:, 1] * np.sin(tilt)])
        for forward in np.linspace(-1.0, 0.6, 33):
            flat = radius * slant + np.array([0.0, forward * radius, 0.0])
            low, high = -3.0 * radius, 6.0 * radius
            for _ in range(18):
                middle = 0.5 * (low + high)
                clear = distances(body, flat + np.array([0.0, 0.0, middle]))[:, 0].min() > off
                low, high = (low, middle) if clear else (middle, high)
            # It has to lie round the neck, not beside it.
            if best is None or high < best[0] - 1e-6:
                at = flat + np.array([0.0, 0.0, high])
                if _goes_round(at, body):
                    best = high, at
    if best is None:
        raise TooShort("it is too short to lie round this neck and on the shoulders")
    fine = np.linspace(0.0, len(angle) - 1.0, 4097)
    curve = np.stack([np.interp(fine, np.arange(len(angle)), best[1][:, axis]) for axis in range(3)], axis=1)
    curve[-1] = curve[0]
    across = np.cross(best[1][90] - best[1][0], best[1][180] - best[1][0])
    normal = across / np.linalg.norm(across)
    track = by_arc_length(curve, row.group_x - row.group_x.min(), normal=normal)
    rings = laid(row.rings, row.group_x, track)
    return Start(rings, (body,), (), _worn(weights), circumference)


def _goes_round(loop: Floats, body: Solid) -> bool:
    """Whether a loop in a plane goes round the neck's bar."""
    foot, head = body.numbers[1:4], body.numbers[4:7]
    across = np.cross(loop[90] - loop[0], loop[180] - loop[0])
    along = head - foot
    part = ((loop[0] - foot) @ across) / (along @ across)
    return bool(
        np.linalg.norm(foot + part * along - loop.mean(axis=0))
        < 0.9 * np.linalg.norm(loop[0] - loop.mean(axis=0))
        and part > 0.0
    )
