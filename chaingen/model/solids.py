"""Closed meshes as solids that can be joined, measured and cut, by manifold3d.

Millimetres. Joining keeps the surfaces that there are: no point of the result lies off them by more than
`NEAR`, and each keeps its normals, so that round wire looks round up to where it meets another.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import manifold3d
import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from chaingen.geometry.types import Floats, Ints
from chaingen.model.mesh import Mesh, mesh_of, shells_of

Solid = Any
"""A ``manifold3d.Manifold``; the library has no types."""

NEAR, MOST_PARTINGS = 8e-5, 20
"""Points of a solid's mesh are no nearer to each other [mm] than 32-bit numbers, as files hold them, can tell
apart some hundred millimetres from the origin; and how often that is tried."""

NORMALS = 3
"""Numbers that a vertex has besides its place: its normal."""


def solid_of(mesh: Mesh) -> Solid:
    """A mesh of closed shells as a solid; where they overlap, they are joined."""
    count, shell_of = shells_of(mesh)
    shells = [_shell(mesh, shell_of == number) for number in range(count)]
    return shells[0] if len(shells) == 1 else joined(shells)


def _shell(mesh: Mesh, own: npt.NDArray[np.bool_]) -> Solid:
    """The shell of some of a mesh's vertices by itself, for shells that overlap are no solid together."""
    place = np.cumsum(own) - 1
    faces = place[mesh.faces[own[mesh.faces[:, 0]]]]
    vertices = np.column_stack([mesh.vertices, mesh.normals])[own]
    split = np.zeros(0, dtype=np.int64)
    points = split
    if mesh.point_of is not None:
        points = place[mesh.point_of[own]]
        split = np.flatnonzero(points != np.arange(len(points)))
        points = points[split]
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(vertices, dtype=np.float64),
            tri_verts=np.ascontiguousarray(faces, dtype=np.uint64),
            merge_from_vert=split.astype(np.uint64),
            merge_to_vert=points.astype(np.uint64),
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


def filled(solid: Solid) -> Solid:
    """A solid without its hollows."""
    shells = solid.decompose()
    outer = [shell for shell in shells if shell.volume() > 0.0]
    return solid if len(outer) == len(shells) else manifold3d.Manifold.compose(outer)


def mesh_of_solid(solid: Solid, part: str = "wire") -> Mesh:
    """The mesh of a solid.

    A solid made of meshes has their normals, and along a crease a vertex for each surface; of what has none
    they are means of the facets round a vertex by their angles there.
    """
    has_normals = solid.num_prop() >= NORMALS
    found = solid.to_mesh64(0) if has_normals else solid.to_mesh64()
    told = np.array(found.vert_properties, dtype=np.float64)
    vertices = np.ascontiguousarray(told[:, :3])
    faces = np.array(found.tri_verts, dtype=np.int64)
    point_of = np.arange(len(vertices))
    point_of[np.array(found.merge_from_vert, dtype=np.int64)] = np.array(found.merge_to_vert, dtype=np.int64)
    point_of = _first_of_each(point_of)
    flat = mesh_of(vertices, np.zeros_like(vertices), faces, part)
    normals = told[:, 3:6] if has_normals else np.zeros_like(vertices)
    lengths = np.linalg.norm(normals, axis=1)
    without = lengths < 1e-9
    if without.any():
        normals = np.where(without[:, None], _normals_by_angle(flat), normals)
        lengths = np.linalg.norm(normals, axis=1)
    normals = normals / np.maximum(lengths, 1e-300)[:, None]
    alone = bool((point_of == np.arange(len(point_of))).all())
    return _parted(
        Mesh(vertices, normals, flat.faces, flat.facet_normals, flat.parts, None if alone else point_of)
    )


def _parted(mesh: Mesh) -> Mesh:
    """The mesh with points nearer than `NEAR` moved that far apart, equal ones each towards its facets."""
    vertices = mesh.vertices
    point_of = np.arange(len(vertices)) if mesh.point_of is None else mesh.point_of
    points = np.unique(point_of)
    for _ in range(MOST_PARTINGS):
        pairs = points[cKDTree(vertices[points]).query_pairs(NEAR, output_type="ndarray")]
        away = vertices[pairs[:, 0]] - vertices[pairs[:, 1]]
        if not len(pairs):
            break
        lengths = np.linalg.norm(away, axis=1)
        equal = lengths < 1e-9
        for k in np.flatnonzero(equal).tolist():
            one, other = (
                vertices[mesh.faces[(point_of[mesh.faces] == point).any(axis=1)]].mean(axis=(0, 1))
                for point in pairs[k]
            )
            away[k] = one - other
        away /= np.maximum(np.linalg.norm(away, axis=1), 1e-9)[:, None]
        push = away * (0.5 * (1.01 * NEAR - lengths))[:, None]
        moved = np.zeros_like(vertices)
        np.add.at(moved, pairs[:, 0], push)
        np.subtract.at(moved, pairs[:, 1], push)
        vertices = vertices + moved[point_of]
    return replace(mesh, vertices=vertices)


def _first_of_each(point_of: Ints) -> Ints:
    """The first vertex at the point of each, from any vertex there, shape (v,)."""
    while (point_of != (further := point_of[point_of])).any():
        point_of = further
    first = np.full(len(point_of), len(point_of))
    np.minimum.at(first, point_of, np.arange(len(point_of)))
    return np.asarray(first[point_of])


def _normals_by_angle(mesh: Mesh) -> Floats:
    """Means of the facets' normals round each vertex by their angles there, of any length, shape (v, 3)."""
    corner = mesh.vertices[mesh.faces]
    normals = np.zeros_like(mesh.vertices)
    for k in range(3):
        one, two = corner[:, (k + 1) % 3] - corner[:, k], corner[:, (k + 2) % 3] - corner[:, k]
        lengths = np.linalg.norm(one, axis=1) * np.linalg.norm(two, axis=1)
        angle = np.arccos(np.clip((one * two).sum(axis=1) / np.maximum(lengths, 1e-300), -1.0, 1.0))
        np.add.at(normals, mesh.faces[:, k], angle[:, None] * mesh.facet_normals)
    return normals
