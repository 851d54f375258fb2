"""Whether the shells of a piece are apart, as true bodies and as the meshes that are written.

True bodies touch where their exact gap is nothing or less. Meshes stray from true bodies by up to their
tolerance, outwards too, in the holes of rings: a gap of more than twice that proves them apart, and where it
is less the meshes decide.
"""

from collections.abc import Sequence

import manifold3d
import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.near import near_pairs
from chaingen.geometry.types import Floats, Ints
from chaingen.model.mesh import frames
from chaingen.model.solids import Solid, placed, solid_of
from chaingen.model.templates import templates


class Shells:
    """The solids of bodies, each made when it is asked for, its template once for all of its kind."""

    def __init__(self, bodies: Bodies, tolerance: float) -> None:
        """Make the meshes.

        Args:
            bodies: The bodies.
            tolerance: Farthest any point of a mesh may lie from the true body [mm].
        """
        self._meshes, self._of_body = templates(bodies, tolerance)
        self._solids: dict[int, Solid] = {}
        self._frames: Floats = frames(bodies)
        self._centres = bodies.centres

    def __getitem__(self, body: int) -> Solid:
        """The solid of a body where it lies."""
        kind = int(self._of_body[body])
        if kind not in self._solids:
            self._solids[kind] = solid_of(self._meshes[kind])
        return placed(self._solids[kind], self._frames[body], self._centres[body])

    def together(self, bodies: Sequence[int]) -> Solid:
        """Rings as one solid; quicker than to join them.

        Args:
            bodies: Indices of round rings whose meshes do not touch one another.
        """
        points, faces, count = [], [], 0
        for body in bodies:
            mesh = self._meshes[int(self._of_body[body])]
            points.append(mesh.vertices @ self._frames[body].T + self._centres[body])
            faces.append(mesh.faces.astype(np.int64) + count)
            count += len(mesh.vertices)
        return manifold3d.Manifold(
            manifold3d.Mesh64(
                vert_properties=np.concatenate(points), tri_verts=np.concatenate(faces).astype(np.uint64)
            )
        )


def touching(bodies: Bodies, tolerance: float, cluster: Ints | None = None) -> tuple[tuple[int, int], ...]:
    """The pairs whose shells are not proven to be apart.

    Args:
        bodies: The bodies.
        tolerance: Farthest any point of a mesh may lie from the true body [mm].
        cluster: The cluster of each body, shape (n,); bodies of one are welded and may touch.

    Returns:
        Index pairs, the smaller first, sorted: those that touch as true bodies, and those whose meshes do.
    """
    pairs = near_pairs(bodies, margin=2.0 * tolerance)
    if cluster is not None:
        pairs = pairs[cluster[pairs[:, 0]] != cluster[pairs[:, 1]]]
    if not len(pairs):
        return ()
    gaps, _ = smallest_gaps(bodies, pairs)
    touch = gaps <= 0.0
    doubtful = np.flatnonzero(~touch & (gaps <= 2.0 * tolerance))
    if len(doubtful):
        shells = Shells(bodies, tolerance)
        for k in doubtful.tolist():
            a, b = pairs[k].tolist()
            touch[k] = shells[a].min_gap(shells[b], 4.0 * tolerance) <= 0.0
    return tuple((a, b) for a, b in pairs[touch].tolist())
