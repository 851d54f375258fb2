"""A piece as numbers for drawing: the mesh of each kind of body once, and where every body is.

What is sent stands upright: x is to the right, z up, and the viewer of the front stands at -y. Placed pieces
lie about the plane of x and y instead, so that they are turned by `STAND`: the front of the page is the front
of the pictures. Scenes have z up by themselves.

Arrays go as base64 of little-endian numbers: 32-bit floats, unsigned 32-bit integers, bytes.
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import Solid
from chaingen.geometry.types import Floats, Ints
from chaingen.make.metals import RingMetals
from chaingen.make.pair import both, mirrored_graph
from chaingen.make.result import Result
from chaingen.model.kinds import model_of
from chaingen.model.mesh import frames
from chaingen.model.templates import holes_of, triangle_count
from chaingen.show.supports import surfaces
from chaingen.weave.graph import LinkGraph

STAND = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""What turns a placed piece upright: its y becomes up, its z comes towards the viewer."""

MOST_TRIANGLES = 600_000
"""Triangles of a whole piece; only one whose coarsest meshes have more gets more."""

FINEST = 0.02
"""Farthest a mesh lies from the true surface, in thinnest wires, where triangles allow: half a pixel or so
when a ring fills a third of the window."""

COARSER = 1.15
"""Least factor from one tolerance to the next that is tried."""

SUPPORT_POINTS = 120
"""Points of a support along the longest way through a piece, about."""


@dataclass(frozen=True, eq=False)
class Shown:
    """What of a result is drawn.

    Attributes:
        bodies: All bodies, upright; of a pair those of the first piece and then those of the other.
        graph: A graph with their members; of a pair its links are those of the first piece.
        metals: Their metals.
        turn: What bodies of the first piece were turned by about the origin, shape (3, 3).
    """

    bodies: Bodies
    graph: LinkGraph
    metals: RingMetals
    turn: Floats


def shown_of(result: Result) -> Shown:
    """What is drawn of a built piece, as placed: of a pair both."""
    graph, rings = result.placement.graph, result.placement.rings
    if not result.design.pair:
        return Shown(rings.turned(STAND), graph, result.metals, STAND)
    pair = both(graph, rings, result.metals)
    other = (replace(member, name=f"{member.name} mirrored") for member in mirrored_graph(graph).members)
    whole = replace(graph, members=(*graph.members, *other))
    return Shown(pair.bodies.turned(STAND), whole, pair.metals, STAND @ pair.turn)


def piece_of(shown: Shown, *, most_triangles: int = MOST_TRIANGLES) -> dict[str, Any]:
    """The numbers of a piece.

    Args:
        shown: Bodies with their graph and metals.
        most_triangles: Triangles of all bodies together; coarse meshes that still look round may have more.

    Returns:
        ``materials``, ``kinds`` with their meshes (each a single draw), ``names`` of the bodies, ``poses``
        and the corners ``low`` and ``high`` of the box that holds them [mm].
    """
    bodies, graph = shown.bodies, shown.graph
    model = model_of(bodies, graph, shown.metals, tolerance=fineness(bodies, graph, most_triangles))
    low, high = bodies.bounds()
    return {
        "materials": [
            {
                "name": material.name,
                "colour": [round(part, 4) for part in material.colour],
                "roughness": material.roughness,
                "metallic": material.metallic,
            }
            for material in model.materials
        ],
        "kinds": [
            {
                "name": kind.name,
                "material": kind.material,
                "vertices": floats(kind.mesh.vertices),
                "normals": floats(kind.mesh.normals),
                "faces": wholes(kind.mesh.faces),
                "bodies": wholes(kind.bodies),
            }
            for kind in model.kinds
        ],
        "names": list(model.names),
        "poses": poses_of(bodies),
        "low": low.tolist(),
        "high": high.tolist(),
    }


def poses_of(bodies: Bodies) -> str:
    """Where bodies are: of each 7 numbers, its centre [mm] and the quaternion x, y, z, w from its frame."""
    turns = Rotation.from_matrix(frames(bodies)).as_quat()
    return floats(np.column_stack([bodies.centres, turns]))


def fineness(bodies: Bodies, graph: LinkGraph, most_triangles: int = MOST_TRIANGLES) -> float:
    """Farthest the meshes may lie from the true surface [mm]: as fine as can be seen, or as is allowed."""
    holes = holes_of(member.size for member in graph.members)
    tolerance = FINEST * 2.0 * float(bodies.thinnest.min())
    # From here on every ring has the fewest segments with which it still looks like one.
    coarsest = 4.0 * float((bodies.radii + bodies.wire_radii).max())
    count = triangle_count(bodies, tolerance, holes)
    while count > most_triangles and tolerance < coarsest:
        # Triangles go with one over the tolerance, as long as no count of segments is at its least.
        tolerance = min(tolerance * max(COARSER, count / most_triangles), coarsest)
        count = triangle_count(bodies, tolerance, holes)
    return tolerance


def supports_of(solids: Sequence[Solid], bodies: Bodies) -> list[dict[str, Any]]:
    """What holds a piece, as surfaces with the shade that the piece casts on them.

    Args:
        solids: What holds the piece.
        bodies: The piece, with z up.

    Returns:
        For each its ``kind``, ``vertices`` [mm], ``normals``, ``faces`` and ``colours`` (sRGB, a byte each).
    """
    # Its surfaces need no screen and no OpenGL.
    import pyvista

    finest = float(np.linalg.norm(np.subtract(*bodies.bounds()))) / SUPPORT_POINTS
    return [
        {"kind": solid.kind.name.lower(), **_surface(surface.mesh)}
        for solid, surface in zip(solids, surfaces(pyvista, solids, bodies, finest=finest), strict=True)
    ]


def _surface(mesh: Any) -> dict[str, Any]:
    """A surface with its colours, all triangles anticlockwise as seen from where its normals point."""
    points, normals = np.asarray(mesh.points), np.asarray(mesh.point_data.active_normals)
    faces = np.asarray(mesh.faces).reshape(-1, 4)[:, 1:]
    a, b, c = np.moveaxis(points[faces], 1, 0)
    inwards = np.einsum("fa,fa->f", np.cross(b - a, c - a), normals[faces].sum(axis=1)) < 0.0
    return {
        "vertices": floats(points),
        "normals": floats(normals),
        "faces": wholes(np.where(inwards[:, None], faces[:, ::-1], faces)),
        "colours": _packed(np.asarray(mesh.point_data["tone"], dtype=np.uint8)),
    }


def floats(values: Floats | npt.NDArray[np.float32]) -> str:
    """Numbers as base64 of little-endian 32-bit floats."""
    return _packed(np.asarray(values, dtype="<f4"))


def wholes(values: Ints | npt.NDArray[np.int32]) -> str:
    """Whole numbers, none below 0, as base64 of little-endian 32-bit integers."""
    return _packed(np.asarray(values, dtype="<u4"))


def _packed(values: npt.NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")
