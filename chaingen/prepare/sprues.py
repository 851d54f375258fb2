"""Sprues as solids: feeders with fillets, rods, buttons.

Millimetres; directions are unit vectors. Common practice: a feeder meets the thickest section, its section is
0.7 to 1.5 times that of what it feeds, it is filleted, and the main is thicker than its feeders.

A feeder, and a rod that branches off another, meets a round bar with a *foot*: sections parallel to the bar,
wider towards it along a quarter circle, and laid round its surface, so that the fillet is tangent to feeder
and bar all round however the feeder leans. A foot is buried in its bar and stops short of the bar's middle:
the feeder of a ring never reaches into the ring's hole.
"""

from dataclasses import dataclass, replace
from math import acos, ceil, pi, sqrt

import numpy as np

from chaingen.geometry.types import Floats
from chaingen.model.mesh import TOLERANCE, grid_faces, mesh_of
from chaingen.model.solids import Solid, solid_of

FLARE = 0.5
"""Radius of the fillet where a feeder leaves its main, over the radius of the feeder."""

FLARE_AT_PIECE = 0.2
"""The same where it meets the piece: it is filed off there."""

WIDEST = 0.9
"""A foot is no wider across its bar than this part of the bar's diameter: a wider one would stick out."""

BURIED = 0.35
"""A foot ends this part of the bar's radius above the bar's middle."""

DRAWN_IN = 0.8
"""The buried end of a foot, over what shows."""

SUNK = 0.1
"""Part of a fillet's height by which it is sunk into the bar: tangent surfaces would meet nowhere sharply."""

LONGEST = 0.8
"""Fillets take no more than this part of a feeder's free length."""

FEWEST_ROUND = 8
"""Fewest segments round a rod."""

STEEPEST = 0.7
"""Lowest button, over the radius of its main, above 1/2: the main begins in it with a round end."""


@dataclass(frozen=True, eq=False)
class Bar:
    """A straight round bar, or the wire of a ring where a feeder meets it.

    Attributes:
        axis: Its direction, shape (3,).
        diameter: Its diameter [mm].
        bend: Radius of the circle that the middle of a ring's wire runs on [mm], where the feeder meets the
            ring square from outside; 0 for straight.
    """

    axis: Floats
    diameter: float
    bend: float = 0.0

    def drop(self, along: Floats, beside: Floats) -> Floats:
        """How far the surface lies below its highest line, at points along it and beside that line [mm]."""
        radius = 0.5 * self.diameter
        across = np.sqrt(np.maximum(radius**2 - beside**2, 0.0))
        if self.bend > 0.0:
            across = np.sqrt(np.maximum((self.bend + across) ** 2 - along**2, 0.0)) - self.bend
        return np.asarray(radius - across)


def feeder(
    start: Floats,
    end: Floats,
    diameter: float,
    *,
    main: Bar | None = None,
    wire: Bar | None = None,
    tolerance: float = TOLERANCE,
) -> Solid:
    """A straight feeder, filleted at both ends; where it is too short for that, plain.

    Args:
        start: Where it leaves the axis of the main [mm], shape (3,).
        end: The middle of the wire that it feeds [mm], shape (3,).
        diameter: Its diameter [mm].
        main: The main; when left out one square to the feeder and twice as thick.
        wire: The wire; when left out one as thick as the feeder, whose direction is not known: then the
            feeder goes into it without a fillet.
        tolerance: Farthest any point of the mesh may lie from the true surface [mm].
    """
    towards, length = _way(start, end)
    first, second = _across(towards)
    radius = 0.5 * diameter
    if main is None:
        main = Bar(first, 2.0 * diameter)
    at_main, at_wire = FLARE * radius, FLARE_AT_PIECE * radius if wire is not None else 0.0
    known = Bar(second, diameter) if wire is None else wire
    lean, lean_at_wire = _lean(main.axis, towards), _lean(known.axis, towards)
    # Sections parallel to a bar that the feeder leans on reach along the feeder, and must not meet.
    skew = radius * sqrt(1.0 / lean**2 - 1.0) + radius * sqrt(1.0 / lean_at_wire**2 - 1.0)
    free = length - 0.5 * main.diameter / lean - 0.5 * known.diameter / lean_at_wire - skew
    if free <= 0.0:
        return _plain(start, end, radius, 0.5 * main.diameter, 0.5 * known.diameter, tolerance)
    fits = min(1.0, LONGEST * free / (at_main + at_wire))
    at_main, at_wire = fits * at_main, fits * at_wire
    columns = _columns(radius + at_main, tolerance)
    ring = radius * (np.cos(columns)[:, None] * first - np.sin(columns)[:, None] * second)
    rows = _foot(start, main, towards, ring, radius, at_main, tolerance)
    if wire is None:
        last = np.stack([-0.5 * diameter, -0.5 * BURIED * diameter])[:, None, None] * towards
        narrow = np.array([1.0, WIDEST])[:, None, None] * ring
        return _loft(np.concatenate([rows, end + last + narrow]))
    other = _foot(end, wire, -towards, ring, radius, at_wire, tolerance)
    return _loft(np.concatenate([rows, other[::-1]]))


def rod(
    begin: Floats, end: Floats, diameter: float, *, main: Bar | None = None, tolerance: float = TOLERANCE
) -> Solid:
    """A straight rod with round ends about `begin` and `end`; it reaches half of its diameter beyond them.

    Args:
        begin: Middle of its first round end [mm], shape (3,); with a main, where it leaves the main's axis.
        end: Middle of its last round end [mm], shape (3,).
        diameter: Its diameter [mm].
        main: The bar that it branches off, with a fillet.
        tolerance: Farthest any point of the mesh may lie from the true surface [mm].
    """
    towards, length = _way(begin, end)
    first, second = _across(towards)
    radius = 0.5 * diameter
    flare = 0.0
    if main is not None:
        free = length - 0.5 * main.diameter / _lean(main.axis, towards)
        flare = min(FLARE * radius, LONGEST * free)
        assert free > 0.0, "a rod that does not leave its main"
    columns = _columns(radius + flare, tolerance)
    ring = radius * (np.cos(columns)[:, None] * first - np.sin(columns)[:, None] * second)
    # The poles are left to the fans that close the ends.
    t = 0.5 * pi * np.arange(len(columns) // 4 + 1) / (len(columns) // 4 + 1)
    cap = np.cos(t)[:, None, None] * ring + radius * np.sin(t)[:, None, None] * towards
    if main is None:
        mirrored = np.cos(t)[::-1, None, None] * ring - radius * np.sin(t)[::-1, None, None] * towards
        return _loft(
            np.concatenate([begin + mirrored, end + cap]), begin - radius * towards, end + radius * towards
        )
    rows = _foot(begin, main, towards, ring, radius, flare, tolerance)
    return _loft(np.concatenate([rows, end + cap]), None, end + radius * towards)


def button_height(diameter: float, main_diameter: float) -> float:
    """Height of a button [mm]: its flank leans by 45 degrees, but is as high as a round end takes."""
    return max(0.5 * (diameter - main_diameter), STEEPEST * main_diameter)


def button(
    centre: Floats, axis: Floats, diameter: float, main_diameter: float, *, tolerance: float = TOLERANCE
) -> Solid:
    """A button: a truncated cone on a flat foot, as wide at its top as the main that stands there.

    A main may begin with a round end at its top, `button_height` above its foot.

    Args:
        centre: Middle of its foot [mm], shape (3,).
        axis: From its foot to the main, shape (3,).
        diameter: Diameter of its foot [mm].
        main_diameter: Diameter of the main [mm].
        tolerance: Farthest any point of the mesh may lie from the true surface [mm].
    """
    first, second = _across(axis)
    height = button_height(diameter, main_diameter)
    # The flank goes on into the main: a rim on the main's surface would meet it nowhere sharply.
    top = WIDEST * main_diameter
    rise = height * (diameter - top) / (diameter - main_diameter) if diameter > main_diameter else height
    columns = _columns(0.5 * diameter, tolerance)
    ring = np.cos(columns)[:, None] * first - np.sin(columns)[:, None] * second
    return _loft(
        np.stack([centre + 0.5 * diameter * ring, centre + rise * np.asarray(axis) + 0.5 * top * ring]),
        sharp=True,
    )


def _foot(
    point: Floats, bar: Bar, away: Floats, ring: Floats, radius: float, flare: float, tolerance: float
) -> Floats:
    """Rows of a foot from its buried end outwards, shape (rows, columns, 3) [mm].

    With h the height above the bar, a section is wider than the feeder by ``flare (1 - cos t)`` where
    ``h = flare (1 - sin t)``.

    Args:
        point: Where the feeder's axis meets that of the bar [mm], shape (3,).
        bar: The bar.
        away: Direction of the feeder from the bar, shape (3,).
        ring: The feeder's section square to it, about its axis [mm], shape (columns, 3).
        radius: The feeder's radius [mm].
        flare: Radius of the fillet [mm].
        tolerance: Chord tolerance [mm].
    """
    lean = _lean(bar.axis, away)
    axis = np.asarray(bar.axis, dtype=np.float64)
    out = (away - (away @ axis) * axis) / lean
    side = np.cross(out, axis)
    # Each point of the section is moved along the feeder into the plane parallel to the bar.
    level = ring - ((ring @ out) / lean)[:, None] * away
    along, beside = level @ axis, level @ side
    bar_radius = 0.5 * bar.diameter
    widest = min(radius + flare, WIDEST * bar_radius)

    def row(height: float, wider: float, size: float, laid: float) -> Floats:
        u = size * (radius + wider * flare) / radius * along
        v = size * (radius + wider * (widest - radius)) / radius * beside
        rise = (bar_radius + height - laid * bar.drop(u, v)) / lean
        return np.asarray(point + u[:, None] * axis + v[:, None] * side + rise[:, None] * away)

    rows = [row((BURIED - 1.0) * bar_radius, 1.0, DRAWN_IN, 0.0)]
    for t in np.linspace(0.5 * pi, 0.0, _steps(flare, tolerance) + 1):
        wider = 1.0 - float(np.cos(t))
        rows.append(row(flare * (1.0 - float(np.sin(t)) - SUNK), wider, 1.0, wider))
    return np.stack(rows)


def _plain(
    start: Floats, end: Floats, radius: float, main_radius: float, wire_radius: float, tolerance: float
) -> Solid:
    """A feeder without fillets, from within the main to within the wire."""
    towards, length = _way(start, end)
    first, second = _across(towards)
    columns = _columns(radius, tolerance)
    ring = radius * (np.cos(columns)[:, None] * first - np.sin(columns)[:, None] * second)
    begin, stop = BURIED * main_radius, length - BURIED * wire_radius
    if begin >= stop:
        begin, stop = 0.25 * length, 0.75 * length
    narrow = min(1.0, WIDEST * wire_radius / radius)
    return _loft(np.stack([start + begin * towards + ring, start + stop * towards + narrow * ring]))


def _loft(
    rows: Floats, below: Floats | None = None, above: Floats | None = None, *, sharp: bool = False
) -> Solid:
    """The solid through rows of points, closed by a fan at either end.

    Args:
        rows: Points [mm], shape (rows, columns, 3), that run clockwise seen from the last row.
        below: Middle of the first fan [mm]; when left out that of the first row.
        above: Middle of the last fan, likewise.
        sharp: Whether the first fan meets the sides in a crease, not round.
    """
    count, columns = rows.shape[:2]
    low = rows[0].mean(axis=0) if below is None else below
    high = rows[-1].mean(axis=0) if above is None else above
    grid = rows.reshape(-1, 3)
    along = rows[-1].mean(axis=0) - rows[0].mean(axis=0)
    along /= np.linalg.norm(along)
    ends = [low[None], high[None]]
    normals = [_normals(rows, below, above).reshape(-1, 3), -along[None], along[None]]
    if sharp:
        ends.append(rows[0])
        normals.append(np.repeat(-along[None], columns, axis=0))
    column = np.arange(columns)
    beside, last = (column + 1) % columns, (count - 1) * columns
    first, final = np.full(columns, len(grid)), np.full(columns, len(grid) + 1)
    rim = len(grid) + 2 if sharp else 0
    faces = np.concatenate(
        [
            grid_faces(count, columns, closed=False),
            np.column_stack([first, rim + column, rim + beside]),
            np.column_stack([last + column, final, last + beside]),
        ]
    )
    mesh = mesh_of(np.concatenate([grid, *ends]), np.concatenate(normals), faces)
    if sharp:
        mesh = replace(mesh, point_of=np.concatenate([np.arange(rim), column]))
    return solid_of(mesh)


def _normals(rows: Floats, below: Floats | None, above: Floats | None) -> Floats:
    """Outward unit normals of a loft, whose surface is round along rows and columns, shape (r, c, 3)."""
    before = [] if below is None else [np.broadcast_to(below, rows[:1].shape)]
    after = [] if above is None else [np.broadcast_to(above, rows[:1].shape)]
    steps = np.diff(np.concatenate([*before, rows, *after]), axis=0)
    steps /= np.maximum(np.linalg.norm(steps, axis=2), 1e-300)[:, :, None]
    first, last = steps[:1], steps[-1:]
    up = np.concatenate([*([] if before else [first]), steps, *([] if after else [last])])
    up = up[:-1] + up[1:]
    round_it = np.roll(rows, -1, axis=1) - np.roll(rows, 1, axis=1)
    normals = np.cross(up, round_it)
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=2), 1e-300)[:, :, None])


def _way(start: Floats, end: Floats) -> tuple[Floats, float]:
    way = np.asarray(end, dtype=np.float64) - start
    length = float(np.linalg.norm(way))
    assert length > 0.0, "a feeder of no length"
    return way / length, length


def _across(direction: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors square to a direction and to one another, right-handed with it, shape (3,) each."""
    helper = np.zeros(3)
    helper[int(np.argmin(np.abs(direction)))] = 1.0
    first = np.cross(direction, helper)
    first /= np.linalg.norm(first)
    return first, np.cross(direction, first)


def _lean(axis: Floats, away: Floats) -> float:
    """Sine of the angle between a bar and what leaves it."""
    # Rounding may make it a little more than 1.
    return min(1.0, float(np.linalg.norm(np.cross(axis, away))))


def _columns(radius: float, tolerance: float) -> Floats:
    """Angles of the columns of a rod [rad]; half of the tolerance is spent round it."""
    share = 0.5 * tolerance
    count = FEWEST_ROUND if share >= radius else max(FEWEST_ROUND, ceil(pi / acos(1.0 - share / radius)))
    return np.asarray(2.0 * pi * np.arange(count) / count)


def _steps(flare: float, tolerance: float) -> int:
    """Segments of a fillet's quarter circle."""
    share = 0.5 * tolerance
    return 2 if share >= flare else max(2, ceil(0.25 * pi / acos(1.0 - share / flare)))
