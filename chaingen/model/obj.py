"""Wavefront OBJ: one named object a body, in millimetres (the format has no unit; a comment says so).

Where there are other bodies than rings, each object's parts, its wire and its beads, are groups of their own,
named after the body and the part.
"""

from collections.abc import Sequence
from itertools import islice
from pathlib import Path

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.model.mesh import TOLERANCE, Mesh, frames
from chaingen.model.templates import templates

DECIMALS = 5
"""Digits after the point: 10 nanometres, so that equal vertices stay equal and nothing visible is lost."""


def write_obj(path: Path, bodies: Bodies, names: Sequence[str], *, tolerance: float = TOLERANCE) -> int:
    """Write bodies as OBJ in millimetres, whole or not at all.

    Args:
        path: The file.
        bodies: The bodies.
        names: A name for each body's object.
        tolerance: Farthest the mesh may lie from the true surface [mm].

    Returns:
        Size of the file in bytes.

    Raises:
        CannotWrite: The file cannot be written.
    """
    assert len(names) == len(bodies)
    meshes, of_body = templates(bodies, tolerance)
    vertex_lines = [f"v %.{DECIMALS}f %.{DECIMALS}f %.{DECIMALS}f\n" * len(mesh.vertices) for mesh in meshes]
    face_lines = [_face_lines(mesh, groups=not bodies.all_rings) for mesh in meshes]
    rotations = frames(bodies)
    offset = 1
    size = 0
    with whole_file(path) as stream:
        size += stream.write(b"# chaingen, unit: millimetre\n")
        for k, name in enumerate(names):
            kind = of_body[k]
            mesh = meshes[kind]
            points = mesh.vertices @ rotations[k].T + bodies.centres[k]
            faces = iter((mesh.faces + offset).ravel().tolist())
            text = f"o {name}\n" + vertex_lines[kind] % tuple(points.ravel().tolist())
            for part, lines, count in face_lines[kind]:
                text += f"g {name}-{part}\n" if part else ""
                text += lines % tuple(islice(faces, 3 * count))
            size += stream.write(text.encode())
            offset += len(mesh.vertices)
    return size


def _face_lines(mesh: Mesh, *, groups: bool) -> list[tuple[str, str, int]]:
    """Name of each part, blanks replaced, or none without groups; lines of its faces, and their number."""
    return [
        ("_".join(part.split()) if groups else "", "f %d %d %d\n" * count, count)
        for part, _, count in mesh.parts
    ]
