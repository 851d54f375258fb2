"""Triangle meshes of wire bodies: a closed tube along every strand.

A tube has a section at each joint of curves and between them along arcs, by the chord rule that rings have;
a straight needs its two ends only. Sections are carried along without twist; where a closed strand comes
round turned against its beginning, the turn is spread over its length. Open ends are half-round, as they are
for distances.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil, pi
from types import MappingProxyType

import numpy as np

from chaingen.geometry.bodies import axes_across
from chaingen.geometry.centrelines import FULL_TURN, Arc, Curve
from chaingen.geometry.distance import rows_gap
from chaingen.geometry.shapes import Shape, Strand
from chaingen.geometry.types import Floats
from chaingen.geometry.wire_distance import MOST_NEAREST
from chaingen.model.bead_mesh import bead_mesh
from chaingen.model.mesh import (
    TOLERANCE,
    Mesh,
    grid_faces,
    joined_meshes,
    mesh_of,
    segment_counts,
    torus_mesh,
)
from chaingen.model.solids import filled, joined, mesh_of_solid, solid_of

SMOOTH = 1e-6
"""Curves of a strand that meet farther apart [mm], or at a larger angle [rad], make a corner."""

THICKER, FINER = 0.75, 0.5
"""How much thicker a wire is made to be joined with another, and how fine its mesh is, in tolerances: chords
round it cut off a quarter, those round the other wire a half; inside a bend chords stand out by a quarter."""

SINK = 0.16
"""Most that a wire is made thicker to be joined with another, in wire radii: what chords of the coarsest
meshes of both cut off."""

TIDY = 0.01
"""Where strands are joined, the surface may be moved by this part of the tolerance to have fewer facets."""


def shape_mesh(
    shape: Shape, tolerance: float = TOLERANCE, holes: Mapping[str, float] = MappingProxyType({})
) -> Mesh:
    """The mesh of a shape in its own frame, parts in order of first use.

    Circles about one axis whose wires run into one another, which stand for a disc, make one shell: the disc
    with half-round rims. So do strands of one part that run into one another, as soldered wires do.

    Args:
        shape: The shape.
        tolerance: Farthest any point of the mesh may lie from the true surface [mm].
        holes: Diameters of the holes of beads by their part [mm]; others have none.
    """
    parts = tuple(dict.fromkeys(strand.part for strand in shape.strands))
    meshes: list[Mesh] = []
    for part in parts:
        strands = [strand for strand in shape.strands if strand.part == part]
        if part in holes:
            meshes.append(bead_mesh(strands, holes[part], tolerance))
            continue
        own = []
        for row in discs(_sunk(strands, tolerance)):
            # A circle that its own wire fills is a disc by itself.
            if len(row) > 1 or 0.0 < _circle_radius(row[0]) <= row[0].wire_radius:
                own.append(_disc(row, tolerance))
            else:
                own.append(strand_mesh(row[0], tolerance if row[0] in strands else FINER * tolerance))
        meshes += own if len(own) == 1 else _one_piece(own, tolerance, part)
    return joined_meshes(meshes)


def _sunk(strands: Sequence[Strand], tolerance: float) -> list[Strand]:
    """The strands of one part, whole circles that just touch others a little thicker, to be joined.

    Turns of a coil touch one another and the stem in lines, where meshes would join at some places by chance
    and share single points at others. Thicker by `THICKER` and with finer meshes, they reach through what
    chords cut off everywhere, and still keep to the tolerance.
    """
    rows = [Shape((strand,), ()).primitives for strand in strands]
    found, nearest = np.empty((MOST_NEAREST, 2, 3)), np.empty((2, 3))
    sunk = list(strands)
    for k, strand in enumerate(strands):
        if not _circle_radius(strand):
            continue
        gaps = (rows_gap(rows[k], other, found, nearest) for m, other in enumerate(rows) if m != k)
        if any(-2.0 * tolerance <= gap <= SMOOTH for gap in gaps):
            more = min(THICKER * tolerance, SINK * strand.wire_radius)
            sunk[k] = replace(strand, wire_radius=strand.wire_radius + more)
    return sunk


def _one_piece(meshes: Sequence[Mesh], tolerance: float, part: str) -> list[Mesh]:
    """Meshes of one part, joined where they overlap and solid where they shut something in.

    What turns of a coil shut in, in lines between them and the stem, is open along the coil in truth; a print
    would hold resin there. Meshes that are apart stay as they are.
    """
    solids = [solid_of(mesh) for mesh in meshes]
    whole = joined(solids)
    volume, count = (
        sum(measure) for measure in zip(*((s.volume(), s.num_tri()) for s in solids), strict=True)
    )
    if whole.num_tri() == count and abs(whole.volume() - volume) <= 1e-12 * volume:
        return list(meshes)
    return [mesh_of_solid(filled(whole.simplify(TIDY * tolerance)), part)]


def strand_mesh(strand: Strand, tolerance: float = TOLERANCE) -> Mesh:
    """The mesh of one strand in its shape's frame; see `shape_mesh`."""
    wire_radius = strand.wire_radius
    first = strand.curves[0]
    if isinstance(first, Arc) and first.angle >= FULL_TURN:
        return _posed(torus_mesh(first.radius, wire_radius, tolerance), first, strand.part)
    _, across = segment_counts(wire_radius, wire_radius, tolerance)
    if strand.length == 0.0:
        tangent = np.array(first.tangent(0.0))[None]
        ups = axes_across(tangent)[0]
        return _capped(np.array(first.point(0.0))[None], tangent, ups, wire_radius, across, strand.part)
    points, tangents, ups, along = _sections(strand.curves, wire_radius, tolerance)
    if not strand.closed:
        return _capped(points, tangents, ups, wire_radius, across, strand.part)
    # Come round, a section is turned by so much against the first one.
    side = np.cross(ups[0], tangents[0])
    turn = float(np.arctan2(ups[-1] @ side, ups[-1] @ ups[0]))
    shift = round(turn * across / (2.0 * pi))
    spread = (turn - shift * 2.0 * pi / across) * along / along[-1]
    sides = np.cross(ups, tangents)
    ups = np.cos(spread)[:, None] * ups - np.sin(spread)[:, None] * sides
    arms = _arms(ups, np.cross(ups, tangents), across)[:-1]
    vertices = points[:-1, None] + wire_radius * arms
    faces = grid_faces(len(arms), across, shift=shift)
    return mesh_of(vertices.reshape(-1, 3), arms.reshape(-1, 3), faces, strand.part)


def _sections(
    curves: Sequence[Curve], wire_radius: float, tolerance: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Sections along curves.

    Returns:
        Their middles [mm], tangents and first axes, shape (s, 3) each; the length to each [mm], shape (s,).
    """
    curves = [curve for curve in curves if curve.length > 0.0]
    begin = np.array(curves[0].tangent(0.0))
    # The first axis points out of the first bend, so that vertices lie where the wire reaches farthest.
    out = next((np.array(curve.start) for curve in curves if isinstance(curve, Arc)), None)
    up = axes_across(begin[None])[0][0] if out is None else out
    points, tangents, ups, along = (
        [np.array([curves[0].point(0.0)])],
        [begin[None]],
        [up[None]],
        [np.zeros(1)],
    )
    for curve in curves:
        assert np.abs(points[-1][-1] - curve.point(0.0)).max() < SMOOTH * max(1.0, curve.length), "a gap"
        assert np.abs(tangents[-1][-1] - curve.tangent(0.0)).max() < SMOOTH, "a corner"
        if isinstance(curve, Arc):
            start, ahead = np.array(curve.start), np.array(curve.ahead)
            around, _ = segment_counts(curve.radius, wire_radius, tolerance)
            steps = max(1, ceil(curve.angle / (2.0 * pi) * around - 1e-9))
            t = curve.angle * np.arange(1, steps + 1)[:, None] / steps
            cos, sin = np.cos(t), np.sin(t)
            axis = np.cross(start, ahead)
            level = float(up @ axis) * axis
            points.append(np.array(curve.centre) + curve.radius * (cos * start + sin * ahead))
            tangents.append(cos * ahead - sin * start)
            ups.append(level + cos * (up - level) + sin * np.cross(axis, up))
            lengths = curve.radius * t[:, 0]
        else:
            points.append(np.array([curve.point(curve.length)]))
            tangents.append(np.array([curve.direction]))
            ups.append(up[None])
            lengths = np.array([curve.length])
        along.append(along[-1][-1] + lengths)
        up = ups[-1][-1]
    return np.concatenate(points), np.concatenate(tangents), np.concatenate(ups), np.concatenate(along)


def _arms(ups: Floats, sides: Floats, across: int) -> Floats:
    """Unit vectors round sections, from their first axes towards their second, shape (s, across, 3)."""
    p = 2.0 * pi * np.arange(across) / across
    return np.asarray(np.cos(p)[:, None] * ups[:, None] + np.sin(p)[:, None] * sides[:, None])


def _capped(
    points: Floats, tangents: Floats, ups: Floats, wire_radius: float, across: int, part: str
) -> Mesh:
    """A tube with half-round ends; of one section a ball."""
    arms = _arms(ups, np.cross(ups, tangents), across)
    count = max(2, ceil(across / 4))
    rise = 0.5 * pi * np.arange(1, count)[:, None, None] / count
    begin = np.cos(rise) * arms[0] - np.sin(rise) * tangents[0]
    end = np.cos(rise) * arms[-1] + np.sin(rise) * tangents[-1]
    normals = np.concatenate([begin[::-1], arms, end])
    middles = np.concatenate(
        [np.repeat(points[:1], count - 1, axis=0), points, np.repeat(points[-1:], count - 1, axis=0)]
    )
    poles = np.stack([-tangents[0], tangents[-1]])
    vertices = middles[:, None] + wire_radius * normals
    return _poled(vertices, normals, points[[0, -1]] + wire_radius * poles, poles, part)


def _poled(rows: Floats, normals: Floats, poles: Floats, pole_normals: Floats, part: str) -> Mesh:
    """A grid of vertices, shape (rows, columns, 3), closed by a pole at its first row and one at its last."""
    count, columns = rows.shape[:2]
    column = np.arange(columns)
    beside, last = (column + 1) % columns, (count - 1) * columns
    begin, end = np.full(columns, count * columns), np.full(columns, count * columns + 1)
    faces = np.concatenate(
        [
            grid_faces(count, columns, closed=False),
            np.column_stack([begin, column, beside]),
            np.column_stack([last + column, end, last + beside]),
        ]
    )
    return mesh_of(
        np.concatenate([rows.reshape(-1, 3), poles]),
        np.concatenate([normals.reshape(-1, 3), pole_normals]),
        faces,
        part,
    )


def discs(strands: Sequence[Strand]) -> list[list[Strand]]:
    """Strands of one part, circles that make up a disc together, the smallest first."""
    rows: list[list[Strand]] = []
    for strand in sorted(strands, key=_circle_radius):
        home = next((row for row in rows if _same_disc(row[-1], strand)), None)
        if home is None:
            rows.append([strand])
        else:
            home.append(strand)
    return rows


def _circle_radius(strand: Strand) -> float:
    curve = strand.curves[0]
    return curve.radius if isinstance(curve, Arc) and curve.angle >= FULL_TURN else 0.0


def _same_disc(inner: Strand, outer: Strand) -> bool:
    """Whether two circles have one axis and plane and their wires run into one another."""
    if not _circle_radius(inner) or not _circle_radius(outer) or inner.wire_radius != outer.wire_radius:
        return False
    one, two = inner.curves[0], outer.curves[0]
    assert isinstance(one, Arc)
    assert isinstance(two, Arc)
    first, second = (np.cross(arc.start, arc.ahead) for arc in (one, two))
    return bool(
        np.abs(np.subtract(one.centre, two.centre)).max() < SMOOTH
        and np.abs(np.cross(first, second)).max() < SMOOTH
        and two.radius - one.radius < 2.0 * inner.wire_radius - SMOOTH
    )


def _disc(circles: Sequence[Strand], tolerance: float) -> Mesh:
    """A flat disc with half-round rims outside and round its hole; without a hole if its wires fill that."""
    inner, outer = circles[0].curves[0], circles[-1].curves[0]
    assert isinstance(inner, Arc)
    assert isinstance(outer, Arc)
    wire_radius = circles[0].wire_radius
    around, across = segment_counts(outer.radius, wire_radius, tolerance)
    steps = -(-across // 2)
    angles = pi * np.arange(steps + 1) / steps - 0.5 * pi
    reach = np.full(steps + 1, outer.radius)
    if hole := inner.radius > wire_radius + SMOOTH:
        # Round the section: up the outer rim and down the inner one.
        angles = np.concatenate([angles, angles + pi])
        reach = np.repeat([outer.radius, inner.radius], steps + 1)
    t = 2.0 * pi * np.arange(around)[:, None] / around
    normals = np.stack(
        np.broadcast_arrays(np.cos(t) * np.cos(angles), np.sin(t) * np.cos(angles), np.sin(angles)), axis=2
    )
    reach = reach + wire_radius * np.cos(angles)
    vertices = np.stack(
        np.broadcast_arrays(np.cos(t) * reach, np.sin(t) * reach, wire_radius * np.sin(angles)), axis=2
    )
    part = circles[0].part
    if hole:
        faces = grid_faces(around, len(angles))
        return _posed(mesh_of(vertices.reshape(-1, 3), normals.reshape(-1, 3), faces), outer, part)
    # From the lower face to the upper one, the other way round, so that outside is outside.
    rows, row_normals = (np.swapaxes(grid[::-1], 0, 1) for grid in (vertices, normals))
    poles = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])
    return _posed(_poled(rows, row_normals, wire_radius * poles, poles, part), outer, part)


def _posed(mesh: Mesh, arc: Arc, part: str) -> Mesh:
    """A mesh about z as one about an arc's axis."""
    turn = np.array([arc.start, arc.ahead, np.cross(arc.start, arc.ahead)])
    return Mesh(
        mesh.vertices @ turn + np.array(arc.centre),
        mesh.normals @ turn,
        mesh.faces,
        mesh.facet_normals @ turn,
        ((part, len(mesh.vertices), len(mesh.faces)),),
    )
