"""Where each scene starts: poses free of contact, and what holds the piece. Gravity pulls along -z."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from chaingen.design.scene import Scene
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import Solid, bar, plane
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.curves import (
    Track,
    by_arc_length,
    catenary,
    catenary_parameter,
    laid,
    stadium,
    straight,
    wave,
)
from chaingen.solve.drape.peg import FILLED, Peg, holes_of, peg_through, room_along
from chaingen.solve.drape.rows import Row, turned_each, twisted
from chaingen.solve.placement import Placement
from chaingen.weave.graph import LinkGraph

OFF = 0.5
"""Pieces start this part of the thinnest wire clear of what they will rest on."""

LAID_ROLL = 0.25 * np.pi
"""A row is laid on the table turned about its length by this much: each ring then falls to its own side."""

LOOP_WIDTH = 2.5
"""Half the width that a hung loop starts with, in outside radii of its largest ring; at most it is round."""

PEG_TRIES = 12
"""Times that a swag's catenary is corrected for the room that its end rings leave the pegs."""

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


def rolled(row: Row, angle: float) -> Row:
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
    row = rolled(row, (0.5 * np.pi if row.closed else 0.0) - _roll_of(row, False))
    s = row.group_x - row.group_x.min()
    if row.closed:
        wide = LOOP_WIDTH * float((row.rings.radii + row.rings.wire_radii).max())
        # The peg holds the top; the curve runs to the right first.
        track = by_arc_length(stadium(row.length, wide), s, normal=-FRONT)
    else:
        track = straight(s, np.zeros(3), DOWN, -FRONT)
    rings = laid(row.rings, row.group_x, track)
    return hung(rings, _held(row, rings, False), weights, row.closed)


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
    return hung(upright, replace(peg, point=turn @ peg.point, direction=-FRONT), weights, True)


def hung(rings: Bodies, peg: Peg, weights: Floats, closed: bool) -> Start:
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
    row = twisted(rolled(row, -angles[0]), apart - np.pi * round(apart / np.pi))
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
