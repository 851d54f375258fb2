"""What holds a piece in a scene, as surfaces for pictures: pegs, a table or its edge, a forearm, a bust.

They are matt and of one calm tone each, so that nobody takes them for metal, and darker where wires keep the
light from them. The shade belongs to the surface, not to the camera: it does not flicker while the piece
turns.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from chaingen.findings.finding import loop_points
from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.solids import Solid, SolidKind, distances
from chaingen.geometry.types import Floats, Ints
from chaingen.show.camera import extent
from chaingen.show.shade import shade, shade_reach

Tone = tuple[float, float, float]

TONES: dict[SolidKind, Tone] = {
    SolidKind.PLANE: (0.93, 0.915, 0.89),
    SolidKind.BAR: (0.50, 0.52, 0.56),
    SolidKind.OVAL: (0.42, 0.45, 0.50),
    SolidKind.FORM: (0.42, 0.45, 0.50),
    SolidKind.LEDGE: (0.93, 0.915, 0.89),
}
"""sRGB of each kind of support before light and shade."""

ROUGHNESS = 0.9
"""Of all supports: matt."""

MOST_POINTS = 120_000
"""Points that a surface may have; its shade is coarser on a larger one."""

DARKEST = 0.75
"""Part of the light that wires can take away at most."""

FACETS = 96
"""Facets round a peg; a forearm has as many at least."""

BOARD = 0.12
"""Thickness of a table that is seen from its edge, as part of what is seen of its depth."""

FORM_POINTS = 700_000
"""Points of the grid in which the surface of a bust is found."""


@dataclass(frozen=True, eq=False)
class Surface:
    """A support's surface.

    Attributes:
        mesh: Its triangles with normals, a pyvista PolyData.
        tone: sRGB before shade.
    """

    mesh: Any
    tone: Tone

    def shaded(self, bodies: Bodies) -> None:
        """Set the surface's colours for bodies lying where they are."""
        light = 1.0 - DARKEST * shade(
            np.asarray(self.mesh.points, dtype=float),
            np.asarray(self.mesh.point_data.active_normals, dtype=float),
            bodies,
        )
        colours = np.round(255.0 * np.array(self.tone) * light[:, None]).astype(np.uint8)
        self.mesh.point_data["tone"] = colours

    def add_to(self, plotter: Any) -> None:
        """Add the surface to a plotter."""
        plotter.add_mesh(
            self.mesh, scalars="tone", rgb=True, pbr=True, metallic=0.0, roughness=ROUGHNESS,
            smooth_shading=True, split_sharp_edges=False,
        )  # fmt: skip


def surfaces(pv: Any, solids: Sequence[Solid], bodies: Bodies, *, finest: float = 0.0) -> list[Surface]:
    """The surfaces of solids as far as they matter for a piece, shaded by it.

    Args:
        pv: The pyvista module.
        solids: What holds the piece.
        bodies: The piece.
        finest: Distance of points below which nothing is gained [mm].
    """
    build = {
        SolidKind.PLANE: _table,
        SolidKind.BAR: _peg,
        SolidKind.OVAL: _forearm,
        SolidKind.FORM: _bust,
        SolidKind.LEDGE: _board,
    }
    made = []
    for solid in solids:
        surface = Surface(build[solid.kind](pv, solid, bodies, finest), TONES[solid.kind])
        surface.shaded(bodies)
        made.append(surface)
    return made


def _spacing(area: float, bodies: Bodies, finest: float) -> float:
    """Distance of points that shows the shade of the thinnest wire, as far as their number allows [mm]."""
    return max(0.5 * float(bodies.thinnest.min()), finest, float(np.sqrt(area / MOST_POINTS)))


def _grid(pv: Any, points: Floats, round_: bool) -> Any:
    """Points in rows (i) and columns (j), shape (m, n, 3), as triangles.

    Outside is where i x j points; `round_` joins the last column to the first.
    """
    rows, columns = points.shape[:2]
    places = np.meshgrid(np.arange(rows - 1), np.arange(columns if round_ else columns - 1), indexing="ij")
    i, j = (place.ravel() for place in places)
    next_j = (j + 1) % columns
    a, b, c, d = i * columns + j, (i + 1) * columns + j, (i + 1) * columns + next_j, i * columns + next_j
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    return _surface(pv, points.reshape(-1, 3), faces)


def _surface(pv: Any, points: Floats, faces: Ints) -> Any:
    """Triangles with normals averaged at their corners by area."""
    corners = points[faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.stack(
        [
            np.bincount(faces.ravel(), weights=np.repeat(cross[:, axis], 3), minlength=len(points))
            for axis in range(3)
        ],
        axis=1,
    )
    normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-30)[:, None]
    cells = np.column_stack([np.full(len(faces), 3), faces]).ravel()
    mesh = pv.PolyData(points.astype(np.float32), cells)
    mesh.point_data.active_normals = normals.astype(np.float32)
    return mesh


def _table(pv: Any, solid: Solid, bodies: Bodies, finest: float) -> Any:
    """A level surface, fine about the piece and reaching far beyond any frame."""
    normal = solid.numbers[:3]
    right, ahead = (axis[0] for axis in axes_across(normal[None, :]))
    reach = shade_reach(bodies)
    spans = [(low - reach, high + reach) for low, high in (extent(bodies, axis) for axis in (right, ahead))]
    sizes = [high - low for low, high in spans]
    step = _spacing(sizes[0] * sizes[1], bodies, finest)
    far = 12.0 * max(sizes)
    lines = []
    for (low, high), size in zip(spans, sizes, strict=True):
        fine = np.linspace(low, high, max(2, round(size / step) + 1))
        lines.append(np.concatenate([[low - far], fine, [high + far]]))
    u, v = np.meshgrid(*lines, indexing="ij")
    points = u[:, :, None] * right + v[:, :, None] * ahead + solid.numbers[3] * normal
    return _grid(pv, points, False)


def _board(pv: Any, solid: Solid, bodies: Bodies, finest: float) -> Any:
    """The end of a table: a thick board, wider than the piece, that reaches back behind it.

    Its profile runs round the board from below the front over the rounded edge to the back; all its edges are
    rounded alike, and the two sides are closed.
    """
    end, height, edge = (float(value) for value in solid.numbers)
    low, high = bodies.bounds()
    wide = high[1] - low[1]
    reach = shade_reach(bodies)
    back = min(low[0] - reach, end - 4.0 * edge)
    thick = max(BOARD * (end - back), 3.0 * edge)
    sides = (low[1] - max(reach, 0.15 * wide), high[1] + max(reach, 0.15 * wide))
    step = _spacing((end - back + thick) * (sides[1] - sides[0]), bodies, finest)
    outline = _round_box(back, end, height - thick, height, edge, step)
    middle = np.array([0.5 * (back + end), height - 0.5 * thick])
    places = np.linspace(sides[0], sides[1], max(2, round((sides[1] - sides[0]) / step) + 1))
    # The sides' caps shrink towards the middle of the profile.
    rows = [(1e-3, sides[0]), *((1.0, y) for y in places), (1e-3, sides[1])]
    points = np.stack(
        [
            np.column_stack([at[:, 0], np.full(len(at), y), at[:, 1]])
            for at, y in ((middle + part * (outline - middle), y) for part, y in rows)
        ]
    )
    caps = [_grid(pv, points[part, ::-1], True) for part in (slice(0, 2), slice(1, -1), slice(-2, None))]
    return _joined(pv, caps)


def _round_box(left: float, right: float, low: float, high: float, edge: float, step: float) -> Floats:
    """A rectangle with rounded corners as points (x, z), clockwise as seen from -y [mm], shape (k, 2)."""
    bend = np.linspace(0.0, 0.5 * np.pi, max(7, round(0.5 * np.pi * edge / step) + 1))
    corners = (
        (right - edge, high - edge, 0.5 * np.pi),
        (right - edge, low + edge, 0.0),
        (left + edge, low + edge, -0.5 * np.pi),
        (left + edge, high - edge, np.pi),
    )
    parts = []
    for k, (x, z, begin) in enumerate(corners):
        arc = np.column_stack([x + edge * np.cos(begin - bend), z + edge * np.sin(begin - bend)])
        after_x, after_z, after = corners[(k + 1) % 4]
        to = np.array([after_x + edge * np.cos(after), after_z + edge * np.sin(after)])
        count = max(2, round(float(np.linalg.norm(to - arc[-1])) / step))
        parts += [arc, arc[-1] + np.linspace(0.0, 1.0, count + 1)[1:-1, None] * (to - arc[-1])]
    return np.concatenate(parts)


def _joined(pv: Any, meshes: Sequence[Any]) -> Any:
    """Several surfaces as one, each with its own normals."""
    points = np.concatenate([np.asarray(mesh.points) for mesh in meshes])
    starts = np.cumsum([0, *(mesh.n_points for mesh in meshes)])
    cells = np.concatenate(
        [
            np.asarray(mesh.faces).reshape(-1, 4) + np.array([0, start, start, start])
            for mesh, start in zip(meshes, starts, strict=False)
        ]
    )
    whole = pv.PolyData(points, cells.ravel())
    whole.point_data.active_normals = np.concatenate(
        [np.asarray(mesh.point_data.active_normals) for mesh in meshes]
    )
    return whole


def _turned(
    pv: Any, along: Floats, rims: Floats, origin: Floats, axis: Floats, across: Floats, up: Floats
) -> Any:
    """A closed body of ovals about an axis.

    Args:
        pv: The pyvista module.
        along: Places of the ovals along the axis [mm], shape (m,).
        rims: Their half widths along `across` and `up` [mm], shape (m, 2).
        origin: Where the axis starts [mm].
        axis: Its unit direction, across x up.
        across: Unit vector square to it.
        up: Unit vector square to both.
    """
    size = float(rims.max())
    step = float(np.abs(np.diff(along)).max())
    count = max(FACETS, round(2.0 * np.pi * size / max(step, 1e-3 * size)))
    angle = 2.0 * np.pi * np.arange(min(count, 1200)) / min(count, 1200)
    x, y = (rims[:, k, None] * f(angle) for k, f in ((0, np.cos), (1, np.sin)))
    points = (
        origin
        + x[:, :, None] * across
        + y[:, :, None] * up
        + np.broadcast_to(along[:, None, None], (*x.shape, 1)) * axis
    )
    return _grid(pv, points[:, ::-1], True)


def _rounded(
    length: float, half_width: float, half_height: float, edge: float, step: float
) -> tuple[Floats, Floats]:
    """Places along a body of this length with rounded edges and its rims there; see `_turned`."""
    bend = np.linspace(0.0, 0.5 * np.pi, 12)
    cap = np.linspace(0.0, 1.0, 6)[:-1]
    side = np.linspace(edge, length - edge, max(2, round((length - 2.0 * edge) / step) + 1))[1:-1]
    first = np.concatenate([0.0 * cap, edge * (1.0 - np.cos(bend))])
    along = np.concatenate([first, side, length - first[::-1]])
    rims = []
    for half in (half_width, half_height):
        rim = np.concatenate([(half - edge) * cap, half - edge * (1.0 - np.sin(bend))])
        rims.append(np.concatenate([rim, np.full(len(side), half), rim[::-1]]))
    return along, np.stack(rims, axis=1)


def _along(bodies: Bodies, origin: Floats, axis: Floats) -> tuple[float, float]:
    """Extent of bodies along a unit vector, from `origin` [mm]."""
    low, high = extent(bodies, axis)
    return low - float(origin @ axis), high - float(origin @ axis)


def held_by(bodies: Bodies, solid: Solid) -> Ints:
    """The bodies that a bar goes through: rings by their hole, others by any of their eyes."""
    return np.flatnonzero(_holes_round(bodies, solid) > 0.0)


def _holes_round(bodies: Bodies, solid: Solid) -> Floats:
    """Outer radius of the hole of each body that a bar goes through [mm], 0 of the others, shape (n,)."""
    point, axis = solid.numbers[:3], solid.numbers[3:6]
    slope = bodies.normals @ axis
    slope = np.where(np.abs(slope) < 1e-9, 1e-9, slope)
    away = bodies.centres - point
    off = np.linalg.norm((np.einsum("ka,ka->k", away, bodies.normals) / slope)[:, None] * axis - away, axis=1)
    round_it = np.where(off < bodies.radii, bodies.radii + bodies.wire_radii, 0.0)
    if bodies.all_rings:
        return round_it
    across, up = (v[0] for v in axes_across(axis[None, :]))
    frames = bodies.frames()
    for k in np.flatnonzero(~bodies.is_ring).tolist():
        shape = bodies.shape(k)
        assert shape is not None
        round_it[k] = 0.0
        for eye in shape.eyes:
            # How often the loop goes round the bar, seen along it.
            places = away[k] + loop_points(eye) @ frames[k]
            angle = np.arctan2(places @ up, places @ across)
            step = (np.diff(np.append(angle, angle[0])) + np.pi) % (2.0 * np.pi) - np.pi
            if round(float(step.sum()) / (2.0 * np.pi)):
                round_it[k] = max(round_it[k], 0.5 * eye.inside + 2.0 * eye.wire_radius)
    return round_it


def _peg(pv: Any, solid: Solid, bodies: Bodies, finest: float) -> Any:
    """A round bar that stands out on either side of what it holds, by a ring or so where it is level."""
    point, axis, radius = solid.numbers[:3], solid.numbers[3:6], float(solid.numbers[6])
    round_it = _holes_round(bodies, solid)
    held, size = np.flatnonzero(round_it > 0.0), float(round_it.max())
    if not len(held):
        held = np.argsort(np.linalg.norm(bodies.centres - point, axis=1), kind="stable")[:1]
        size = float((bodies.radii + bodies.wire_radii)[held[0]])
    low, high = _along(bodies[held], point, axis)
    # A pin that stands in a table shows no more than its head.
    upright = abs(axis[2]) > 0.5
    over = (0.5 if upright else 2.0) * size
    low, high = low - over, high + over
    across, up = (v[0] for v in axes_across(axis[None, :]))
    step = _spacing(2.0 * np.pi * radius * (high - low), bodies, finest)
    along, rims = _rounded(high - low, radius, radius, 0.15 * radius, step)
    return _turned(pv, along, rims, point + low * axis, axis, across, up)


def _forearm(pv: Any, solid: Solid, bodies: Bodies, finest: float) -> Any:
    """An oval bar along y that reaches a little beyond the piece."""
    origin, (half_width, half_height) = solid.numbers[:3], solid.numbers[3:5]
    axis = np.array([0.0, 1.0, 0.0])
    low, high = _along(bodies, origin, axis)
    over = 0.5 * half_height + 0.3 * (high - low)
    low, high = low - over, high + over
    girth = 2.0 * np.pi * half_width
    step = _spacing(girth * (high - low), bodies, finest)
    along, rims = _rounded(high - low, half_width, half_height, 0.4 * half_height, step)
    # across x up is the axis: -x and z.
    return _turned(
        pv, along, rims, origin + low * axis, axis, np.array([-1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
    )


def _bust(pv: Any, solid: Solid, bodies: Bodies, finest: float) -> Any:
    """A blended form cut like a display bust: flat at the neck, below the piece and at the shoulders."""
    low, high = bodies.bounds()
    size = high - low
    neck = float(solid.numbers[7])
    body = solid.numbers[1:].reshape(-1, 7)
    top = min(high[2] + 1.3 * neck, float(body[:, [2, 5]].max()))
    half_wide = 0.5 * size[0] + 0.9 * neck
    middle = 0.5 * (low[0] + high[0])
    deep = float((np.abs(body[:, [1, 4]]) + body[:, [6]]).max())
    base = low[2] - 1.2 * neck
    box_low = np.array([middle - half_wide, -1.1 * deep, base])
    box_high = np.array([middle + half_wide, 1.1 * deep, top])
    step = max(float(np.cbrt(np.prod(box_high - box_low) / FORM_POINTS)), finest)
    lines = [np.arange(a - 3.0 * step, b + 4.0 * step, step) for a, b in zip(box_low, box_high, strict=True)]
    counts = [len(line) for line in lines]
    grid = pv.ImageData(dimensions=counts, spacing=(step,) * 3, origin=tuple(line[0] for line in lines))
    points = np.asarray(grid.points, dtype=float)
    away = np.concatenate([distances(solid, part)[:, 0] for part in np.array_split(points, 16)])
    x, _, z = points.T
    edge = 0.06 * neck
    # Cuts with rounded edges: the largest distance, smoothed.
    cuts = np.stack([away, base - z, z - top, np.abs(x - middle) - half_wide])
    grid.point_data["away"] = _smooth_largest(cuts, edge)[0]
    contour = grid.contour([0.0], scalars="away", compute_normals=False, compute_scalars=False)
    # Contours run so that the larger values lie inside.
    faces = np.asarray(contour.faces).reshape(-1, 4)[:, [0, 3, 2, 1]]
    mesh = pv.PolyData(np.asarray(contour.points), faces.ravel())
    at = np.asarray(mesh.points, dtype=float)
    # Normals by the distances' own slopes: those of the triangles would show the grid.
    found = distances(solid, at)
    x, _, z = at.T
    _, shares = _smooth_largest(
        np.stack([found[:, 0], base - z, z - top, np.abs(x - middle) - half_wide]), edge
    )
    normals = shares[0][:, None] * found[:, 1:4]
    normals[:, 2] += shares[2] - shares[1]
    normals[:, 0] += shares[3] * np.sign(x - middle)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    mesh.point_data.active_normals = normals.astype(np.float32)
    return mesh


def _smooth_largest(values: Floats, edge: float) -> tuple[Floats, Floats]:
    """The largest of values along the first axis, blended over `edge`, and the share of each in it."""
    most = values.max(axis=0)
    parts = np.exp((values - most) / edge)
    total = parts.sum(axis=0)
    return np.asarray(most + edge * np.log(total)), np.asarray(parts / total)
