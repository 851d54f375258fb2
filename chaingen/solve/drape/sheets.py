"""How a sheet of rings starts in each scene: poses free of contact, and what holds it.

A sheet is placed about the xy plane, x along its rows and y across them. Upright, its y becomes up; gravity
pulls along -z, the viewer stands at -y.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from chaingen.design.scene import Scene
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import bar, ledge
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.drape.curves import Track, laid
from chaingen.solve.drape.peg import Peg, peg_through
from chaingen.solve.drape.settle import ring_weights
from chaingen.solve.drape.starts import OFF, CannotDrape, Start, levelled, turn_about_y
from chaingen.solve.placement import Placement

STIFFNESS = 0.05
"""Force that contacts are made for at first, as part of the whole sheet's weight."""

EDGE_ROUND = 5.0
"""Radius of the rounded edge of the table [mm]."""

OVERHANG = 0.5
"""Part of a sheet's length that hangs over the edge."""

BENDS = (3.0, 6.0, 12.0, 24.0)
"""Radii of the bend that a sheet starts over an edge with, in outside radii of its largest ring."""

MOST_PINS = 12
"""Pins that hold a sheet on the table at most."""

SAME_PLACE = 0.6
"""Rings whose middles are nearer than this part of the mean centreline radius stand in one row or column."""

LOOKED_AT = 8
"""Rings that are looked at for one that a peg goes through well."""

GOOD_PEG = 0.35
"""A peg of this part of the thinnest wire's radius is thick enough to be taken at once."""

PEG_TRIES = 6
"""Times that a sheet's bend is corrected for where its corner rings have room for the pegs."""

LEAST_BEND, MOST_BEND = 1e-3, 3.0
"""Half the angle [rad] that a sheet between two pegs is bent by, at least and at most."""

X, Y, Z = np.eye(3)


def _turned(rings: Bodies, turn: Floats) -> Bodies:
    return rings.turned(turn)


def _upright(rings: Bodies) -> Bodies:
    """The sheet stood up, its face to the viewer."""
    return _turned(rings, np.stack([X, -Z, Y]))


def _pegged(rings: Bodies, order: Ints, directions: tuple[Floats, ...]) -> Peg:
    """A level or upright peg through the first ring that takes one well, otherwise through the best."""
    good = GOOD_PEG * float(rings.wire_radii.min())
    best: Peg | None = None
    for ring in order[:LOOKED_AT]:
        for direction in directions:
            peg = peg_through(rings, np.array([ring]), direction)
            if peg is not None and (best is None or peg.radius > best.radius + 1e-9):
                best = peg
            if best is not None and best.radius >= good:
                return best
    if best is None:
        raise CannotDrape("no peg goes through the rings that should hold this sheet")
    return best


def _in_order(rings: Bodies, score: Floats, then: Floats) -> Ints:
    """Rings by largest score, those alike in it by largest `then`, and then by number."""
    step = SAME_PLACE * float(rings.radii.mean())
    behind = np.floor((score.max() - score) / step + 1e-6)
    return np.lexsort((np.arange(len(rings)), -then, behind))


def hang(placement: Placement) -> Start:
    """From its topmost ring on a level peg, turned in its plane so that its middle is below.

    Where the top row is long, as a rectangle's, a corner ring holds it; where it is short, the ring of it
    nearest to the middle.
    """
    rings = placement.rings
    x, y = rings.centres[:, 0], rings.centres[:, 1]
    weights = ring_weights(placement.graph)
    middle = weights @ rings.centres / weights.sum()
    top = y > y.max() - SAME_PLACE * float(rings.radii.mean())
    corner = np.ptp(x[top]) > 0.5 * np.ptp(x)
    order = _in_order(rings, y, -x if corner else -np.abs(x - middle[0]))
    upright = _upright(rings)
    # Most rings have room for a peg square to the sheet; one that stands upright in it, for one along it.
    peg = _pegged(upright, order, (Y, X))
    turn = np.eye(3) if abs(peg.direction[1]) > 0.5 else np.stack([-Y, X, Z])
    to = turn @ (np.array([middle[0], -middle[2], middle[1]]) - upright.centres[list(peg.rings)].mean(axis=0))
    turn = turn_about_y(float(np.arctan2(to[2], to[0])) + 0.5 * np.pi) @ turn
    held = replace(peg, point=turn @ peg.point, direction=turn @ peg.direction)
    solids = (bar(held.point, held.direction, held.radius),)
    return Start(_turned(upright, turn), solids, (held,), _even(placement))


def _even(placement: Placement) -> Floats:
    """The same guess of the force everywhere [ring weights]."""
    return np.full(len(placement.rings), STIFFNESS * len(placement.rings))


def _bend(part: float) -> float:
    """Half the angle of an arc whose chord is this part of its length [rad]."""
    if part >= 1.0 - LEAST_BEND**2 / 6.0:
        return LEAST_BEND
    return float(brentq(lambda a: np.sin(a) - part * a, LEAST_BEND, np.pi))


def _arc(x: Floats, length: float, half: float) -> tuple[Floats, Floats]:
    """An arc of this length that turns by twice `half` [rad], seen from above: places (x, y) and headings.

    Args:
        x: Arc lengths from its middle [mm], shape (n,).
        length: Its length [mm].
        half: Half the angle that it turns by [rad].
    """
    radius = 0.5 * length / half
    heading = -x / radius
    return radius * np.column_stack([-np.sin(heading), np.cos(heading) - 1.0]), heading


def _fold(x: Floats, length: float, half: float) -> tuple[Floats, Floats]:
    """The same length in one fold of three arcs whose ends face the viewer as they go on; see `_arc`.

    A quarter of it turns by `half`, the middle back by twice as much and the last quarter as the first. Its
    chord is as long as that of `_arc`.
    """
    radius = 0.25 * length / half
    sign, far = np.sign(x), np.abs(x)
    inner = np.minimum(far, 0.25 * length) / radius
    outer = np.clip(far - 0.25 * length, 0.0, 0.25 * length) / radius
    turned = inner - outer
    beyond = np.maximum(far - 0.5 * length, 0.0)
    along = radius * (np.sin(inner) + np.sin(half) - np.sin(half - outer)) + beyond
    back = radius * (np.cos(inner) - 1.0 + np.cos(half) - np.cos(half - outer))
    return np.column_stack([sign * along, back]), -sign * turned


Bend = Callable[[Floats, float, float], tuple[Floats, Floats]]
"""A curve seen from above, see `_arc`."""

BOWS: tuple[Bend, ...] = (_fold, _arc)
"""Ways to bend a sheet backwards about the vertical, best first."""


def _bowed(rings: Bodies, middle: float, length: float, part: float, bow: Bend) -> Bodies:
    """An upright sheet bent backwards about the vertical.

    Args:
        rings: The sheet.
        middle: x of the middle of the bend [mm].
        length: Length of the curve between the pegs [mm].
        part: Its chord as part of that.
        bow: The curve.
    """
    places, heading = bow(rings.centres[:, 0] - middle, length, _bend(part))
    zero = np.zeros(len(rings))
    along = np.column_stack([np.cos(heading), np.sin(heading), zero])
    side = np.column_stack([-np.sin(heading), np.cos(heading), zero])
    return laid(rings, rings.centres[:, 0], Track(np.column_stack([places, zero]), along, side))


def corners(placement: Placement, scene: Scene, bow: Bend) -> Start:
    """By its two top corners on level pegs, bent backwards where these are nearer than as placed."""
    rings = _upright(placement.rings)
    x, z = rings.centres[:, 0], rings.centres[:, 2]
    orders = [_in_order(rings, sign * x + z, z) for sign in (-1.0, 1.0)]
    pegs = [_pegged(rings, order, (Y,)) for order in orders]
    if _apart(pegs) < 2.5 * float((rings.radii + rings.wire_radii).max()):
        raise CannotDrape("it is too narrow to be held by two corners")
    flat, level = levelled(rings, pegs, _apart(pegs))
    whole = _apart(list(level))
    span = scene.span if scene.span is not None else scene.part_apart * whole
    if span > whole + 1e-6:
        raise CannotDrape(f"pegs {span:.2f} mm apart are farther than its corners as it lies, {whole:.2f} mm")
    part = span / whole
    if part < np.sin(MOST_BEND) / MOST_BEND:
        raise CannotDrape(f"pegs {span:.2f} mm apart are too near each other for this sheet")
    held_by = [np.array(peg.rings) for peg in level]
    middle = 0.5 * float(level[0].point[0] + level[1].point[0])
    for _ in range(PEG_TRIES):
        bent = _bowed(flat, middle, whole, part, bow)
        found = [peg_through(bent, own, Y) for own in held_by]
        if found[0] is None or found[1] is None:
            raise CannotDrape("no level peg goes through the corners of this sheet when it is bent")
        now = [found[0], found[1]]
        off = span - _apart(now)
        if abs(off) < 0.05 * min(peg.radius for peg in now):
            break
        part = float(np.clip(part + off / whole, 0.05, 1.0))
    placed, held = levelled(bent, now, span)
    return Start(placed, tuple(bar(p.point, p.direction, p.radius) for p in held), held, _even(placement))


def _apart(pegs: list[Peg]) -> float:
    """Distance of two pegs along y [mm]."""
    across = pegs[1].point - pegs[0].point
    return float(np.hypot(across[0], across[2]))


def edge(placement: Placement, bend: float) -> Start:
    """Over the rounded edge of a table, half of it hanging, its far end held on the table by upright pins.

    Friction of metal on a table holds much less than half of a sheet: without pins it would slide off.

    Args:
        placement: The sheet.
        bend: Radius of the bend that it starts with [mm].
    """
    rings = placement.rings
    half = rings.half_extents()[:, 2]
    under = float((half - rings.centres[:, 2]).max()) + OFF * float(rings.wire_radii.min())
    x = rings.centres[:, 0]
    length = float(np.ptp(x))
    bend = max(bend, EDGE_ROUND + under)
    # The middle of the bend stands as far off the round edge as the rest off the table, or farther.
    centre = -EDGE_ROUND + (EDGE_ROUND + under - bend) * np.sqrt(0.5)
    s = x - (x.max() - OVERHANG * length) + 0.25 * np.pi * bend
    angle = np.clip(s / bend, 0.0, 0.5 * np.pi)
    before, beyond = np.minimum(s, 0.0), np.maximum(s - 0.5 * np.pi * bend, 0.0)
    zero = np.zeros_like(s)
    points = np.column_stack(
        [centre + bend * np.sin(angle) + before, zero, centre + bend * np.cos(angle) - beyond]
    )
    along = np.column_stack([np.cos(angle), zero, -np.sin(angle)])
    bent = laid(rings, x, Track(points, along, np.tile(Y, (len(x), 1))))
    pins = _pins(bent, np.flatnonzero(x < x.min() + SAME_PLACE * float(rings.radii.mean())))
    solids = (ledge(EDGE_ROUND), *(bar(pin.point, pin.direction, pin.radius) for pin in pins))
    return Start(bent, solids, (), _even(placement))


def _pins(rings: Bodies, column: Ints) -> list[Peg]:
    """Upright pins through rings of a column, evenly chosen where there are many."""
    column = column[np.argsort(rings.centres[column, 1], kind="stable")]
    chosen = np.unique(np.linspace(0, len(column) - 1, min(MOST_PINS, len(column))).round().astype(int))
    pins = [peg_through(rings, column[k : k + 1], Z) for k in chosen]
    found = [pin for pin in pins if pin is not None]
    if not found:
        raise CannotDrape("no pin goes through the far end of this sheet, so that it would slide off")
    return found
