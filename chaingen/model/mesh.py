"""Triangle meshes of rings.

A ring's mesh has its vertices on the torus; no point of its facets lies farther than the tolerance from the
true surface. Half of the tolerance is spent round the ring and half round the wire, which for a given sum
gives the fewest triangles, since either count goes with one over the square root of its share.
"""

from dataclasses import dataclass
from math import acos, ceil, pi

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.types import Floats

TOLERANCE = 0.01
"""Default distance allowed between mesh and true torus [mm]: a tenth of what fine printing resolves."""

FEWEST_ROUND_RING, FEWEST_ROUND_WIRE = 12, 8
"""Coarsest mesh that still looks like a ring."""


@dataclass(frozen=True, eq=False)
class TorusMesh:
    """A ring about the origin with its axis along z.

    Attributes:
        vertices: Points on the torus [mm], shape (v, 3).
        normals: Outward unit normals of the torus there, shape (v, 3).
        faces: Vertex indices of each triangle, anticlockwise seen from outside, shape (f, 3).
        facet_normals: Outward unit normals of the triangles, shape (f, 3).
    """

    vertices: Floats
    normals: Floats
    faces: npt.NDArray[np.int32]
    facet_normals: Floats


def segment_counts(radius: float, wire_radius: float, tolerance: float) -> tuple[int, int]:
    """How many segments round the ring and round the wire keep the mesh within `tolerance` [mm] of the torus.

    A chord of a circle of radius q that spans 2 pi / n lies q (1 - cos(pi / n)) inside it.
    """

    def count(q: float, fewest: int) -> int:
        share = 0.5 * tolerance
        return fewest if share >= 2.0 * q else max(fewest, ceil(pi / acos(1.0 - share / q)))

    return count(radius + wire_radius, FEWEST_ROUND_RING), count(wire_radius, FEWEST_ROUND_WIRE)


def torus_mesh(radius: float, wire_radius: float, tolerance: float = TOLERANCE) -> TorusMesh:
    """The mesh of one ring.

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
    i, j = (a.ravel() for a in np.meshgrid(np.arange(around), np.arange(across), indexing="ij"))
    i1, j1 = (i + 1) % around, (j + 1) % across
    a, b, c, d = i * across + j, i1 * across + j, i1 * across + j1, i * across + j1
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    corner = vertices[faces]
    facet = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    facet /= np.linalg.norm(facet, axis=1)[:, None]
    return TorusMesh(vertices, normals, faces, facet)


def frames(rings: Bodies) -> Floats:
    """Rotation matrices that take the z axis to each ring's normal, shape (n, 3, 3)."""
    return np.stack([*axes_across(rings.normals), rings.normals], axis=2)


def templates(rings: Bodies, tolerance: float) -> tuple[list[TorusMesh], npt.NDArray[np.int64]]:
    """One mesh for each size of ring, and for each ring the index of its mesh, shape (n,)."""
    sizes, of_ring = np.unique(np.column_stack([rings.radii, rings.wire_radii]), axis=0, return_inverse=True)
    return [torus_mesh(float(r), float(w), tolerance) for r, w in sizes], of_ring.reshape(-1)


def triangle_count(rings: Bodies, tolerance: float = TOLERANCE) -> int:
    """Triangles of all rings' meshes together."""
    meshes, of_ring = templates(rings, tolerance)
    return int(np.array([len(mesh.faces) for mesh in meshes])[of_ring].sum())
