"""Triangle meshes of rings, and what meshes of all bodies share.

A ring's mesh has its vertices on the torus; no point of its facets lies farther than the tolerance from the
true surface. Half of the tolerance is spent round the ring and half round the wire, which for a given sum
gives the fewest triangles, since either count goes with one over the square root of its share.

A mesh stands in the frame of its body. A grid of vertices has a row for each section of a wire; outside is
where rows x columns points.
"""

from dataclasses import dataclass
from math import acos, ceil, pi

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.types import Floats, Ints

TOLERANCE = 0.01
"""Default distance allowed between mesh and true torus [mm]: a tenth of what fine printing resolves."""

FEWEST_ROUND_RING, FEWEST_ROUND_WIRE = 12, 8
"""Coarsest mesh that still looks like a ring."""


@dataclass(frozen=True, eq=False)
class Mesh:
    """Closed shells of triangles.

    Attributes:
        vertices: Points on the true surface [mm], shape (v, 3).
        normals: Outward unit normals of the true surface there, shape (v, 3).
        faces: Vertex indices of each triangle, anticlockwise seen from outside, shape (f, 3).
        facet_normals: Outward unit normals of the triangles, shape (f, 3).
        parts: What it is made of, in the order of its vertices and faces: the name of each part as in
            `Strand`, and its number of vertices and of faces.
    """

    vertices: Floats
    normals: Floats
    faces: npt.NDArray[np.int32]
    facet_normals: Floats
    parts: tuple[tuple[str, int, int], ...]

    def part(self, name: str) -> "Mesh | None":
        """One part by itself; None if there is no such part."""
        vertex = face = 0
        for part, vertex_count, face_count in self.parts:
            if part == name:
                vertices, faces = slice(vertex, vertex + vertex_count), slice(face, face + face_count)
                return Mesh(
                    self.vertices[vertices],
                    self.normals[vertices],
                    self.faces[faces] - np.int32(vertex),
                    self.facet_normals[faces],
                    ((part, vertex_count, face_count),),
                )
            vertex, face = vertex + vertex_count, face + face_count
        return None


def mesh_of(vertices: Floats, normals: Floats, faces: Ints, part: str = "wire") -> Mesh:
    """A mesh of one part, its facets' normals worked out; see `Mesh`."""
    corner = vertices[faces]
    facet = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    # A facet of no area, of a curve shorter than numbers resolve, has no normal; any will do.
    facet /= np.maximum(np.linalg.norm(facet, axis=1), 1e-300)[:, None]
    return Mesh(vertices, normals, faces.astype(np.int32), facet, ((part, len(vertices), len(faces)),))


def grid_faces(rows: int, columns: int, *, closed: bool = True, shift: int = 0) -> Ints:
    """Triangles of a grid of vertices whose last column meets its first, shape (f, 3).

    Args:
        rows: Rows of vertices.
        columns: Vertices of a row.
        closed: Whether the last row meets the first.
        shift: Column of the first row that column 0 of the last meets.
    """
    places = np.meshgrid(np.arange(rows if closed else rows - 1), np.arange(columns), indexing="ij")
    i, j = (place.ravel() for place in places)
    turned = np.where(i == rows - 1, shift, 0)
    i1, j1 = (i + 1) % rows, (j + 1) % columns
    a, d = i * columns + j, i * columns + j1
    b, c = i1 * columns + (j + turned) % columns, i1 * columns + (j1 + turned) % columns
    return np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])


def segment_counts(radius: float, wire_radius: float, tolerance: float) -> tuple[int, int]:
    """How many segments round the ring and round the wire keep the mesh within `tolerance` [mm] of the torus.

    A chord of a circle of radius q that spans 2 pi / n lies q (1 - cos(pi / n)) inside it.
    """

    def count(q: float, fewest: int) -> int:
        share = 0.5 * tolerance
        return fewest if share >= 2.0 * q else max(fewest, ceil(pi / acos(1.0 - share / q)))

    return count(radius + wire_radius, FEWEST_ROUND_RING), count(wire_radius, FEWEST_ROUND_WIRE)


def torus_mesh(radius: float, wire_radius: float, tolerance: float = TOLERANCE) -> Mesh:
    """The mesh of one ring about the origin with its axis along z.

    Args:
        radius: Centreline radius [mm].
        wire_radius: Wire radius [mm].
        tolerance: Farthest any point of the mesh may lie from the true torus [mm].
    """
    around, across = segment_counts(radius, wire_radius, tolerance)
    t = 2.0 * pi * np.arange(around) / around
    p = 2.0 * pi * np.arange(across) / across
    cos_t, sin_t = np.cos(t)[:, None], np.sin(t)[:, None]
    cos_p, sin_p = np.cos(p)[None, :], np.sin(p)[None, :]
    normals = np.stack(np.broadcast_arrays(cos_t * cos_p, sin_t * cos_p, sin_p), axis=2).reshape(-1, 3)
    reach = radius + wire_radius * cos_p
    vertices = np.stack(
        np.broadcast_arrays(reach * cos_t, reach * sin_t, wire_radius * sin_p), axis=2
    ).reshape(-1, 3)
    return mesh_of(vertices, normals, grid_faces(around, across))


def frames(bodies: Bodies) -> Floats:
    """Rotation matrices from each body's frame, of a ring one whose z is its normal, shape (n, 3, 3)."""
    if bodies.axes is None:
        return np.stack([*axes_across(bodies.normals), bodies.normals], axis=2)
    return np.swapaxes(bodies.frames(), 1, 2)
