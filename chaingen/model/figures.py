"""Figures of a model: how many triangles and shells, how large, how much space and surface.

They are exact for the meshes as files hold them, but for the rounding of these, and are found kind by kind:
of thousands of like bodies there is one mesh.

Stretching along the axes by the diagonal matrix S multiplies volumes by det S; a facet's area vector a
becomes det S S^-1 a, so that its new area depends on how its body is turned.
"""

from dataclasses import dataclass

import numba
import numpy as np

from chaingen.geometry.types import Floats
from chaingen.model.kinds import Kind, Model
from chaingen.model.mesh import shells_of

AT_ONCE = 250
"""Bodies whose vertices are looked at together: some megabytes."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Figures of a model.

    Attributes:
        triangles: Triangles of all its meshes.
        shells: Closed shells, hollows and shells in one another counted with them.
        size: How far it extends along x, y and z, stretched [mm].
        volume: What its shells hold, each counted by itself [mm3].
        area: Surface of its shells, each counted by itself [mm2].
    """

    triangles: int
    shells: int
    size: tuple[float, float, float]
    volume: float
    area: float


def figures_of(model: Model) -> Figures:
    """Figures of a model; of one without bodies all are 0."""
    triangles = shells = 0
    volume = area = 0.0
    stretch = np.array(model.stretch)
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for kind in model.kinds:
        count = len(kind.bodies)
        triangles += count * len(kind.mesh.faces)
        shells += count * shells_of(kind.mesh)[0]
        corners = kind.mesh.vertices[kind.mesh.faces]
        # From a point of the mesh, so that a mesh far from its origin loses no digits.
        a, b, c = np.moveaxis(corners - corners[0, 0], 1, 0)
        volume += count * float(np.einsum("fa,fa->", a, np.cross(b, c))) / 6.0 * float(stretch.prod())
        area += _area(model, kind, 0.5 * np.cross(b - a, c - a))
        for start in range(0, count, AT_ONCE):
            bodies = kind.bodies[start : start + AT_ONCE]
            points = model.rotations[bodies] @ kind.mesh.vertices.T + model.centres[bodies][:, :, None]
            low = np.minimum(low, points.min(axis=(0, 2)))
            high = np.maximum(high, points.max(axis=(0, 2)))
    x, y, z = (stretch * (high - low)).tolist() if triangles else (0.0, 0.0, 0.0)
    return Figures(triangles, shells, (x, y, z), volume, area)


def _area(model: Model, kind: Kind, facets: Floats) -> float:
    """Surface of all bodies of a kind [mm2], from the area vectors of its facets, shape (f, 3)."""
    stretch = np.array(model.stretch)
    if (stretch == stretch[0]).all():
        return float(len(kind.bodies) * stretch[0] ** 2 * np.linalg.norm(facets, axis=1).sum())
    turns = (stretch.prod() / stretch)[:, None] * model.rotations[kind.bodies]
    return float(_turned_area(facets, np.ascontiguousarray(turns)))


@numba.njit(cache=True)
def _turned_area(facets: Floats, turns: Floats) -> float:
    """Sum of the lengths of vectors, shape (f, 3), multiplied by each of some matrices, shape (k, 3, 3)."""
    total = 0.0
    for k in range(len(turns)):
        own = 0.0
        for f in range(len(facets)):
            squared = 0.0
            for a in range(3):
                part = (
                    turns[k, a, 0] * facets[f, 0]
                    + turns[k, a, 1] * facets[f, 1]
                    + turns[k, a, 2] * facets[f, 2]
                )
                squared += part * part
            own += np.sqrt(squared)
        total += own
    return total
