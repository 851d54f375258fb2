"""Triangle meshes of beads with their holes: a ball or a flat disc with a half-round rim, drilled through.

Conventions: a profile lies in the plane of distance from the axis and height along it, and runs anticlockwise
there, up outside and down in the hole. Chords round the outside lie within the bead; those round the hole lie
within the bead as well, so that a pin as thick as the hole still goes through.
"""

from collections.abc import Sequence
from math import acos, ceil, cos, pi, sqrt

import numpy as np

from chaingen.geometry.bodies import axes_across
from chaingen.geometry.centrelines import Arc
from chaingen.geometry.shapes import Strand
from chaingen.geometry.types import Floats
from chaingen.model.mesh import TOLERANCE, Mesh, grid_faces, mesh_of, segment_counts


def bead_mesh(strands: Sequence[Strand], hole: float, tolerance: float = TOLERANCE) -> Mesh:
    """The mesh of a bead in its shape's frame.

    Args:
        strands: What stands for it: a point for a ball, or circles in one another for a disc.
        hole: Diameter of its hole, less than its own [mm].
        tolerance: Farthest any point of the mesh may lie from the true surface [mm].
    """
    curve, part = max(strands, key=_circle_radius).curves[0], strands[0].part
    thick = strands[0].wire_radius
    if isinstance(curve, Arc):
        rim = curve.radius
        centre, first, second = (np.array(v) for v in (curve.centre, curve.start, curve.ahead))
    else:
        rim, centre = 0.0, np.array(curve.point(0.0))
        first, second = (axes[0] for axes in axes_across(np.array(curve.direction)[None]))
    around, across = segment_counts(rim, thick, tolerance)
    inner = 0.5 * hole / cos(pi / around)
    assert inner < rim + thick, "the hole takes up all of the bead"
    reach, height, out, up = _profile(rim, thick, inner, across)
    t = 2.0 * pi * np.arange(around) / around
    axes = np.array([first, second, np.cross(first, second)])

    def lathed(far: Floats, high: Floats) -> Floats:
        turned = (far[:, None] * np.cos(t), far[:, None] * np.sin(t), high[:, None])
        return np.asarray(np.stack(np.broadcast_arrays(*turned), axis=2).reshape(-1, 3) @ axes)

    # From above down outside, then up in the hole: rows x columns points outwards, for columns run round.
    count = len(reach) * around
    wall = inner * np.ones(2)
    vertices = np.concatenate([lathed(reach, height), lathed(wall, height[[-1, 0]])]) + centre
    normals = np.concatenate([lathed(out, up), lathed(-np.ones(2), np.zeros(2))])
    faces = np.concatenate(
        [grid_faces(len(reach), around, closed=False), count + grid_faces(2, around, closed=False)]
    )
    mesh = mesh_of(vertices, normals, faces, part)
    column = np.arange(around)
    point_of = np.concatenate([np.arange(count), count - around + column, column])
    return Mesh(mesh.vertices, mesh.normals, mesh.faces, mesh.facet_normals, mesh.parts, point_of)


def _circle_radius(strand: Strand) -> float:
    curve = strand.curves[0]
    return curve.radius if isinstance(curve, Arc) else 0.0


def _profile(rim: float, thick: float, inner: float, across: int) -> tuple[Floats, Floats, Floats, Floats]:
    """The outside of a bead from the upper edge of its hole to the lower one.

    Args:
        rim: Distance of the middle of the half-round rim from the axis; 0 of a ball [mm].
        thick: Radius of the rim, or of the ball [mm].
        inner: Radius of the hole [mm].
        across: How many segments go round a whole rim.

    Returns:
        Distance from the axis and height of each point [mm], and the same of its normal, shape (p,) each.
    """
    # The hole may reach into the rim.
    most = 0.5 * pi if inner <= rim else acos((inner - rim) / thick)
    steps = 2 * max(1, ceil(most / pi * 0.5 * across - 1e-9))
    angles = most * np.linspace(1.0, -1.0, steps + 1)
    out, up = np.cos(angles), np.sin(angles)
    reach, height = rim + thick * out, thick * up
    if inner < rim:
        reach = np.concatenate([[inner], reach, [inner]])
        height = np.concatenate([[thick], height, [-thick]])
        out = np.concatenate([[0.0], out, [0.0]])
        up = np.concatenate([[1.0], up, [-1.0]])
    else:
        reach[[0, -1]] = inner
        height[[0, -1]] = np.array([1.0, -1.0]) * sqrt(thick**2 - (inner - rim) ** 2)
    return reach, height, out, up
