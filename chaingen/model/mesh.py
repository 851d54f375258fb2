"""Triangle meshes of rings, and what meshes of all bodies share.

A ring's mesh has its vertices on the torus; no point of its facets lies farther than the tolerance from the
true surface. Half of the tolerance is spent round the ring and half round the wire, which for a given sum
gives the fewest triangles, since either count goes with one over the square root of its share.

A mesh stands in the frame of its body. A grid of vertices has a row for each section of a wire; outside is
where rows x columns points.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import acos, ceil, pi

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

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
        point_of: For each vertex the first one that stands at the same point, shape (v,); None where each
            stands alone. Along a crease a point has a vertex for each of its normals.
    """

    vertices: Floats
    normals: Floats
    faces: npt.NDArray[np.int32]
    facet_normals: Floats
    parts: tuple[tuple[str, int, int], ...]
    point_of: Ints | None = None

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
                    None if self.point_of is None else self.point_of[vertices] - vertex,
                )
            vertex, face = vertex + vertex_count, face + face_count
        return None

    @property
    def closed(self) -> "Mesh":
        """The same with one vertex at a point, so that facets that meet share vertices.

        The normal there is that of one of the facets.
        """
        if self.point_of is None:
            return self
        kept, place = np.unique(self.point_of, return_inverse=True)
        faces = place.reshape(-1)[self.faces].astype(np.int32)
        parts, begin = [], 0
        for part, vertex_count, face_count in self.parts:
            own = np.searchsorted(kept, [begin, begin + vertex_count])
            parts.append((part, int(own[1] - own[0]), face_count))
            begin += vertex_count
        return Mesh(self.vertices[kept], self.normals[kept], faces, self.facet_normals, tuple(parts))


def joined_meshes(meshes: Sequence[Mesh]) -> Mesh:
    """Meshes of one part each as one, neighbours of one part as one part."""
    parts: dict[str, tuple[int, int]] = {}
    faces, points, offset = [], [], 0
    for mesh in meshes:
        ((part, vertex_count, face_count),) = mesh.parts
        before = parts.get(part, (0, 0))
        parts[part] = before[0] + vertex_count, before[1] + face_count
        faces.append(mesh.faces + np.int32(offset))
        points.append(offset + (np.arange(vertex_count) if mesh.point_of is None else mesh.point_of))
        offset += vertex_count
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.normals for mesh in meshes]),
        np.concatenate(faces),
        np.concatenate([mesh.facet_normals for mesh in meshes]),
        tuple((part, *counts) for part, counts in parts.items()),
        None if all(mesh.point_of is None for mesh in meshes) else np.concatenate(points),
    )


def shells_of(mesh: Mesh) -> tuple[int, Ints]:
    """How many shells a mesh has, and which of them each vertex is of, shape (v,)."""
    count, faces = len(mesh.vertices), mesh.faces
    edges = np.concatenate([faces[:, :2], faces[:, 1:]])
    if mesh.point_of is not None:
        edges = np.concatenate([edges, np.column_stack([np.arange(count), mesh.point_of])])
    graph = coo_array((np.ones(len(edges), dtype=np.int8), (edges[:, 0], edges[:, 1])), shape=(count, count))
    number, shell_of = connected_components(graph, directed=False)
    return int(number), np.asarray(shell_of)


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
