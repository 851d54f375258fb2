"""What a model is made of: each kind of body once, its materials, and where bodies of that kind are.

Formats that can say "the same again, there" are small because of it. A kind is a mesh of one material: a ring
of one size and metal, a finding's wire, a bead.
"""

from dataclasses import dataclass

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.make.metals import RingMetals
from chaingen.model.mesh import TOLERANCE, Mesh, frames
from chaingen.model.templates import holes_of, templates
from chaingen.weave.graph import LinkGraph
from chaingen.weave.groups import BodySize

Colour = tuple[float, float, float]

GLASS_ROUGHNESS = 0.1
"""Roughness of beads."""


@dataclass(frozen=True, slots=True)
class Material:
    """A material as model formats know them.

    Attributes:
        name: Its name: a metal's, a coloured wire's, or ``bead`` with its colour.
        colour: sRGB colour, each part 0 to 1.
        roughness: Surface roughness, 0 (mirror) to 1.
        metallic: Whether it is a metal; beads are not.
    """

    name: str
    colour: Colour
    roughness: float
    metallic: bool = True


@dataclass(frozen=True, eq=False)
class Kind:
    """Bodies, or parts of bodies, that are alike.

    Attributes:
        name: What they are, such as ``ring link, sterling silver`` or ``hook, bead 1``; each once.
        mesh: The mesh of one in its own frame [mm].
        material: Which of the model's materials it is of.
        bodies: Which bodies are of it, shape (k,).
    """

    name: str
    mesh: Mesh
    material: int
    bodies: Ints


@dataclass(frozen=True, eq=False)
class Model:
    """A piece as kinds and places.

    Attributes:
        kinds: Each kind of body, or of part of a body.
        materials: The materials, each once.
        rotations: Rotation from each body's frame, shape (n, 3, 3).
        centres: Where each body is [mm], shape (n, 3).
        names: The name of each body.
        stretch: How many times as large the whole is along x, y and z, after all else; patterns are larger
            than what is cast from them.
    """

    kinds: tuple[Kind, ...]
    materials: tuple[Material, ...]
    rotations: Floats
    centres: Floats
    names: tuple[str, ...]
    stretch: tuple[float, float, float] = (1.0, 1.0, 1.0)


def model_of(bodies: Bodies, graph: LinkGraph, metals: RingMetals, *, tolerance: float = TOLERANCE) -> Model:
    """A piece as kinds and places.

    Args:
        bodies: The bodies as placed, or at rest.
        graph: Their link graph.
        metals: Their metals.
        tolerance: Farthest the meshes may lie from the true surface [mm].
    """
    meshes, of_body = templates(bodies, tolerance, holes_of(member.size for member in graph.members))
    materials: dict[Material, int] = {}
    kinds: list[Kind] = []
    for mesh_number, mesh in enumerate(meshes):
        alike: dict[tuple[BodySize, int], list[int]] = {}
        for body in np.flatnonzero(of_body == mesh_number).tolist():
            # Findings of one shape may differ in their beads.
            alike.setdefault((graph.members[body].size, int(metals.of_ring[body])), []).append(body)
        for (size, metal_number), own in alike.items():
            metal = metals.metals[metal_number]
            for part in dict.fromkeys(name for name, _, _ in mesh.parts):
                piece = mesh.part(part)
                assert piece is not None
                if part == "wire":
                    material = Material(metal.name, metal.colour, metal.roughness)
                else:
                    assert isinstance(size, Finding), "beads are on findings"
                    material = _bead_material(size, part)
                number = materials.setdefault(material, len(materials))
                kinds.append(Kind(_called(size, part, metal.name), piece, number, np.array(own)))
    return Model(_named_once(kinds), tuple(materials), frames(bodies), bodies.centres, graph.names)


def kinds_of_bodies(model: Model) -> list[tuple[int, ...]]:
    """Which of a model's kinds each body, or each of its parts, is of, in their order."""
    found: list[list[int]] = [[] for _ in model.names]
    for number, kind in enumerate(model.kinds):
        for body in kind.bodies.tolist():
            found[body].append(number)
    return [tuple(own) for own in found]


def _bead_material(finding: Finding, part: str) -> Material:
    colour = next(bead.colour for bead in finding.beads if bead.part == part)
    hexed = "".join(f"{round(255 * one):02x}" for one in colour)
    return Material(f"bead #{hexed}", colour, GLASS_ROUGHNESS, metallic=False)


def _called(size: BodySize, part: str, metal: str) -> str:
    if not isinstance(size, Finding):
        return f"ring {size.name}, {metal}"
    return f"{size.kind} {size.name}, {metal if part == 'wire' else part}"


def _named_once(kinds: list[Kind]) -> tuple[Kind, ...]:
    """The kinds with a number behind names that come again: ring sizes of two names but one mesh do not."""
    seen: dict[str, int] = {}
    named = []
    for kind in kinds:
        seen[kind.name] = seen.get(kind.name, 0) + 1
        again = "" if seen[kind.name] == 1 else f" ({seen[kind.name]})"
        named.append(Kind(f"{kind.name}{again}", kind.mesh, kind.material, kind.bodies))
    return tuple(named)
