"""One mesh for each kind of body, which all bodies of that kind share."""

from collections.abc import Iterable, Mapping

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import Shape
from chaingen.geometry.types import Ints
from chaingen.model.mesh import TOLERANCE, Mesh, torus_mesh
from chaingen.model.wire_mesh import shape_mesh
from chaingen.weave.groups import BodySize

Holes = Mapping[Shape, Mapping[str, float]]
"""Of each shape with beads the diameters of their holes by their part [mm]."""

NO_HOLES: Holes = {}


def holes_of(sizes: Iterable[BodySize]) -> Holes:
    """The holes of all beads; shapes do not know them, for beads keep clear of the same with them.

    Args:
        sizes: Sizes of bodies: rings and findings.
    """
    found: dict[Shape, dict[str, float]] = {}
    for finding in dict.fromkeys(size for size in sizes if isinstance(size, Finding) and size.beads):
        holes = {bead.part: bead.hole for bead in finding.beads}
        # Bodies may be those of the mirror image.
        found |= {finding.shape: holes, finding.shape.mirrored(): holes}
    return found


def templates(bodies: Bodies, tolerance: float, holes: Holes = NO_HOLES) -> tuple[list[Mesh], Ints]:
    """One mesh for each size of ring and each shape.

    Args:
        bodies: The bodies.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        holes: Holes of beads; of shapes that are not there beads are without.

    Returns:
        The meshes, and for each body the index of its mesh, shape (n,).
    """
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
    shapes = [bodies.shapes[int(k)] for k in used]
    return meshes + [shape_mesh(shape, tolerance, holes.get(shape, {})) for shape in shapes], of_body


def triangle_count(bodies: Bodies, tolerance: float = TOLERANCE, holes: Holes = NO_HOLES) -> int:
    """Triangles of all bodies' meshes together; see `templates`."""
    meshes, of_body = templates(bodies, tolerance, holes)
    return int(np.array([len(mesh.faces) for mesh in meshes], dtype=np.int64)[of_body].sum())
