"""A piece as numbers for drawing: the mesh of each kind of body once, and where every body is.

What is sent stands upright: x is to the right, z up, and the viewer of the front stands at -y. Placed pieces
lie about the plane of x and y instead, so that they are turned by `STAND`: the front of the page is the front
of the pictures. Scenes have z up by themselves.

Arrays go as base64 of little-endian numbers: 32-bit floats, unsigned 32-bit integers, bytes.
"""

import base64
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies, shaped
from chaingen.geometry.shapes import Shape
from chaingen.geometry.solids import Solid
from chaingen.geometry.types import Floats, Ints
from chaingen.make.metals import RingMetals
from chaingen.make.pair import both, mirrored_graph
from chaingen.make.result import Result
from chaingen.model.kinds import Material, Model, model_of
from chaingen.model.mesh import frames
from chaingen.model.templates import triangle_count
from chaingen.show.supports import surfaces
from chaingen.stock.metals import Metal
from chaingen.weave.graph import LinkGraph, Member, part_of

STAND = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""What turns a placed piece upright: its y becomes up, its z comes towards the viewer."""

MOST_TRIANGLES = 600_000
"""Triangles of a whole piece; only one whose coarsest meshes have more gets more."""

FINEST = 0.02
"""Farthest a mesh lies from the true surface, in thinnest wires, where triangles allow: half a pixel or so
when a ring fills a third of the window."""

COARSER = 1.15
"""Factor from one tolerance to the next."""

MOST_KEPT = 48
"""Meshes of findings that are kept."""

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
    bodies = shown.bodies
    drawn, materials = _drawn(shown, fineness(shown, most_triangles))
    low, high = bodies.bounds()
    return {
        "materials": [
            {
                "name": material.name,
                "colour": [round(part, 4) for part in material.colour],
                "roughness": material.roughness,
                "metallic": material.metallic,
            }
            for material in materials
        ],
        "kinds": [
            {
                "name": one.part.name,
                "material": materials[one.part.material],
                "vertices": one.part.vertices,
                "normals": one.part.normals,
                "faces": one.part.faces,
                "bodies": wholes(one.bodies),
            }
            for one in drawn
        ],
        "names": list(shown.graph.names),
        "poses": poses_of(bodies),
        "low": low.tolist(),
        "high": high.tolist(),
    }


def poses_of(bodies: Bodies) -> str:
    """Where bodies are: of each 7 numbers, its centre [mm] and the quaternion x, y, z, w from its frame."""
    turns = Rotation.from_matrix(frames(bodies)).as_quat()
    return floats(np.column_stack([bodies.centres, turns]))


@dataclass(frozen=True, slots=True)
class _Part:
    """The mesh of a kind of bodies, ready to be sent.

    Attributes:
        name: What they are.
        material: What they are made of.
        vertices, normals, faces: The mesh, see the module.
        triangles: How many it has.
    """

    name: str
    material: Material
    vertices: str
    normals: str
    faces: str
    triangles: int


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A kind of bodies.

    Attributes:
        part: Its mesh.
        bodies: Which bodies are of it, shape (k,).
    """

    part: _Part
    bodies: Ints


def _parts_of(model: Model) -> tuple[_Part, ...]:
    return tuple(
        _Part(
            kind.name,
            model.materials[kind.material],
            floats(kind.mesh.vertices),
            floats(kind.mesh.normals),
            wholes(kind.mesh.faces),
            len(kind.mesh.faces),
        )
        for kind in model.kinds
    )


@lru_cache(maxsize=MOST_KEPT)
def _finding_parts(finding: Finding, shape: Shape, metal: Metal, tolerance: float) -> tuple[_Part, ...]:
    """The wire and the beads of a finding: they take long to join, and stay as rings change.

    Args:
        finding: The finding.
        shape: Its shape, or the mirror image of that.
        metal: What its wire is made of.
        tolerance: Farthest the meshes may lie from the true surface [mm].
    """
    alone = LinkGraph(
        members=(Member("1a", "finding", finding, 0),),
        links=np.empty((0, 2), dtype=np.int64),
        offsets=np.empty((0, 2), dtype=np.int64),
        arrangements=(),
        groups=(),
        periodic=False,
    )
    metals = RingMetals((metal,), np.zeros(1, dtype=np.int64))
    return _parts_of(model_of(shaped(shape), alone, metals, tolerance=tolerance))


def _findings(shown: Shown) -> dict[tuple[Finding, Shape, Metal], list[int]]:
    """The findings that are alike: which bodies they are, in the order of their shapes."""
    bodies, metals = shown.bodies, shown.metals
    found: dict[tuple[Finding, Shape, Metal], list[int]] = {}
    if bodies.shape_of is None:
        return found
    own = np.flatnonzero(~bodies.is_ring)
    for body in own[np.argsort(bodies.shape_of[own], kind="stable")].tolist():
        finding, shape = shown.graph.members[body].size, bodies.shape(body)
        assert isinstance(finding, Finding)
        assert shape is not None
        found.setdefault((finding, shape, metals.metals[metals.of_ring[body]]), []).append(body)
    return found


def _drawn(shown: Shown, tolerance: float) -> tuple[list[_Drawn], dict[Material, int]]:
    """What is drawn, rings first, and the number of each material."""
    drawn: list[_Drawn] = []
    rings = np.flatnonzero(shown.bodies.is_ring)
    if len(rings):
        metals = replace(shown.metals, of_ring=shown.metals.of_ring[rings])
        graph = shown.graph if shown.bodies.all_rings else part_of(shown.graph, rings)
        model = model_of(shown.bodies[rings], graph, metals, tolerance=tolerance)
        drawn += [
            _Drawn(part, rings[kind.bodies]) for part, kind in zip(_parts_of(model), model.kinds, strict=True)
        ]
    seen: Counter[str] = Counter()
    for (finding, shape, metal), own in _findings(shown).items():
        for part in _finding_parts(finding, shape, metal, tolerance):
            seen[part.name] += 1
            again = seen[part.name]
            named = part if again == 1 else replace(part, name=f"{part.name} ({again})")
            drawn.append(_Drawn(named, np.array(own)))
    materials = dict.fromkeys(one.part.material for one in drawn)
    return drawn, {material: number for number, material in enumerate(materials)}


def fineness(shown: Shown, most_triangles: int = MOST_TRIANGLES) -> float:
    """Farthest the meshes may lie from the true surface [mm]: as fine as can be seen, or as is allowed.

    It goes by steps of `COARSER`, so that it mostly stays the same while wires change a little.
    """
    bodies = shown.bodies
    rings, findings = bodies[bodies.is_ring], _findings(shown)

    def count(tolerance: float) -> int:
        whole = triangle_count(rings, tolerance) if len(rings) else 0
        for (finding, shape, metal), own in findings.items():
            parts = _finding_parts(finding, shape, metal, tolerance)
            whole += len(own) * sum(part.triangles for part in parts)
        return whole

    def step(tolerance: float) -> int:
        return math.floor(math.log(tolerance, COARSER) + 1e-9)

    now = step(FINEST * 2.0 * float(bodies.thinnest.min()))
    # From here on every ring has the fewest segments with which it still looks like one.
    coarsest = step(4.0 * float((bodies.radii + bodies.wire_radii).max())) + 1
    while (triangles := count(COARSER**now)) > most_triangles and now < coarsest:
        # Triangles go with one over the tolerance, as long as no count of segments is at its least.
        now = min(now + max(1, step(triangles / most_triangles)), coarsest)
    return float(COARSER**now)


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
    """A surface with its colours."""
    return {
        "vertices": floats(np.asarray(mesh.points)),
        "normals": floats(np.asarray(mesh.point_data.active_normals)),
        "faces": wholes(np.asarray(mesh.faces).reshape(-1, 4)[:, 1:]),
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
