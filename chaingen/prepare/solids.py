"""Closed meshes as solids that can be joined, measured and cut, by manifold3d.

Millimetres. Joining keeps the surfaces that there are: no point of the result lies off them.
"""

from collections.abc import Sequence
from typing import Any

import manifold3d
import numpy as np

from chaingen.geometry.types import Floats
from chaingen.model.mesh import Mesh, mesh_of

Solid = Any
"""A ``manifold3d.Manifold``; the library has no types."""


def solid_of(mesh: Mesh) -> Solid:
    """A mesh of closed shells as a solid; where they overlap, they are joined."""
    shells = [_shell(part) for part in _shells(mesh)]
    return shells[0] if len(shells) == 1 else joined(shells)


def _shells(mesh: Mesh) -> list[tuple[Floats, Any]]:
    """Vertices and faces of each shell of a mesh by itself: shells that overlap are no solid together."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count, faces = len(mesh.vertices), mesh.faces
    edges = np.concatenate([faces[:, :2], faces[:, 1:]])
    graph = coo_array((np.ones(len(edges), dtype=np.int8), (edges[:, 0], edges[:, 1])), shape=(count, count))
    number, shell_of = connected_components(graph, directed=False)
    if number == 1:
        return [(mesh.vertices, faces)]
    found = []
    for shell in range(number):
        own = shell_of == shell
        place = np.cumsum(own) - 1
        found.append((mesh.vertices[own], place[faces[own[faces[:, 0]]]]))
    return found


def _shell(part: tuple[Floats, Any]) -> Solid:
    vertices, faces = part
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(vertices, dtype=np.float64),
            tri_verts=np.ascontiguousarray(faces, dtype=np.uint64),
        )
    )
    assert solid.status() == manifold3d.Error.NoError, f"a mesh that is no solid: {solid.status()}"
    return solid


def placed(solid: Solid, rotation: Floats, centre: Floats) -> Solid:
    """A solid turned about its origin, shape (3, 3), and moved, shape (3,) [mm]."""
    return solid.transform(np.column_stack([rotation, centre]))


def joined(solids: Sequence[Solid]) -> Solid:
    """Solids as one; those that do not touch stay shells of their own."""
    return manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add)


def shell_count(solid: Solid) -> int:
    """How many closed shells a solid has, hollows counted with them."""
    return len(solid.decompose())


def mesh_of_solid(solid: Solid, part: str = "wire") -> Mesh:
    """The mesh of a solid; normals are means of the facets round a vertex by their angles there."""
    found = solid.to_mesh64()
    vertices = np.array(found.vert_properties[:, :3], dtype=np.float64)
    faces = np.array(found.tri_verts, dtype=np.int64)
    flat = mesh_of(vertices, np.zeros_like(vertices), faces, part)
    corner = vertices[faces]
    normals = np.zeros_like(vertices)
    for k in range(3):
        one, two = corner[:, (k + 1) % 3] - corner[:, k], corner[:, (k + 2) % 3] - corner[:, k]
        lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(two, axis=1)
        angle = np.arccos(np.clip((one * two).sum(axis=1) / np.maximum(lengths, 1e-300), -1.0, 1.0))
        np.add.at(normals, faces[:, k], angle[:, None] * flat.facet_normals)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    return Mesh(vertices, normals, flat.faces, flat.facet_normals, flat.parts)
