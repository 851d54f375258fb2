"""Wavefront OBJ: one named object a ring, in millimetres (the format has no unit; a comment says so)."""

from collections.abc import Sequence
from pathlib import Path

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.model.mesh import TOLERANCE, frames, templates

DECIMALS = 5
"""Digits after the point: 10 nanometres, so that equal vertices stay equal and nothing visible is lost."""


def write_obj(path: Path, rings: Bodies, names: Sequence[str], *, tolerance: float = TOLERANCE) -> int:
    """Write rings as OBJ in millimetres, whole or not at all.

    Args:
        path: The file.
        rings: The rings.
        names: A name for each ring's object.
        tolerance: Farthest the mesh may lie from the true surface [mm].

    Returns:
        Size of the file in bytes.

    Raises:
        CannotWrite: The file cannot be written.
    """
    assert len(names) == len(rings)
    meshes, of_ring = templates(rings, tolerance)
    vertex_lines = [f"v %.{DECIMALS}f %.{DECIMALS}f %.{DECIMALS}f\n" * len(mesh.vertices) for mesh in meshes]
    face_lines = ["f %d %d %d\n" * len(mesh.faces) for mesh in meshes]
    rotations = frames(rings)
    offset = 1
    size = 0
    with whole_file(path) as stream:
        size += stream.write(b"# chaingen rings, unit: millimetre\n")
        for k, name in enumerate(names):
            kind = of_ring[k]
            mesh = meshes[kind]
            points = mesh.vertices @ rotations[k].T + rings.centres[k]
            text = (
                f"o {name}\n"
                + vertex_lines[kind] % tuple(points.ravel().tolist())
                + face_lines[kind] % tuple((mesh.faces + offset).ravel().tolist())
            )
            size += stream.write(text.encode())
            offset += len(mesh.vertices)
    return size
