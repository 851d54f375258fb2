"""One mesh for each kind of body, which all bodies of that kind share."""

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Ints
from chaingen.model.mesh import TOLERANCE, Mesh, torus_mesh
from chaingen.model.wire_mesh import shape_mesh


def templates(bodies: Bodies, tolerance: float) -> tuple[list[Mesh], Ints]:
    """One mesh for each size of ring and each shape, and for each body the index of its mesh, shape (n,)."""
    rings = bodies.is_ring
    sizes, of_ring = np.unique(
        np.column_stack([bodies.radii, bodies.wire_radii])[rings], axis=0, return_inverse=True
    )
    meshes = [torus_mesh(float(r), float(w), tolerance) for r, w in sizes]
    if bodies.shape_of is None:
        return meshes, of_ring.reshape(-1)
    of_body = np.empty(len(bodies), dtype=np.int64)
    of_body[rings] = of_ring.reshape(-1)
    used, of_shaped = np.unique(bodies.shape_of[~rings], return_inverse=True)
    of_body[~rings] = len(meshes) + of_shaped.reshape(-1)
    return meshes + [shape_mesh(bodies.shapes[int(k)], tolerance) for k in used], of_body


def triangle_count(bodies: Bodies, tolerance: float = TOLERANCE) -> int:
    """Triangles of all bodies' meshes together."""
    meshes, of_body = templates(bodies, tolerance)
    return int(np.array([len(mesh.faces) for mesh in meshes])[of_body].sum())
