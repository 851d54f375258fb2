"""Wavefront OBJ: one named object a body, in millimetres (the format has no unit; a comment says so).

Where some body has beads, each object's parts, its wire and its beads, are groups of their own, named after
the body and the part. Materials stand in a file beside it (MTL). It gives colours as sRGB, as most viewers
take them; what they need is said twice, for older ways of shading (Kd, Ks, Ns) and, in the keys that have
become common practice, for surfaces with a roughness that are of metal or not (Pr, Pm).
"""

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from chaingen.files import staged, whole_file, write_text
from chaingen.model.kinds import Material, Model, kinds_of_bodies

DECIMALS = 5
"""Digits after the point: 10 nanometres, so that equal vertices stay equal and nothing visible is lost."""

SHARPEST = 1000.0
"""Highest exponent Ns of a highlight that the format foresees."""

GLINT = 0.5
"""Ks of what is not metal: half, as is common practice for glass."""


def write_obj(path: Path, model: Model) -> int:
    """Write a piece as OBJ in millimetres and its materials beside it as MTL, both whole or neither.

    Args:
        path: The file; that of the materials has the same name with the ending ``.mtl``.
        model: The piece.

    Returns:
        Size of the OBJ file in bytes.

    Raises:
        CannotWrite: A file cannot be written.
    """
    materials = _material_names(model.materials)
    of_body = kinds_of_bodies(model)
    groups = any(len(kinds) > 1 for kinds in of_body)
    stretch = np.array(model.stretch)
    meshes, vertex_lines, face_lines, heads = [], [], [], []
    for kind in model.kinds:
        mesh = kind.mesh.closed
        meshes.append(mesh)
        vertex_lines.append(f"v %.{DECIMALS}f %.{DECIMALS}f %.{DECIMALS}f\n" * len(mesh.vertices))
        face_lines.append("f %d %d %d\n" * len(mesh.faces))
        part = "_".join(kind.mesh.parts[0][0].split())
        heads.append((f"-{part}" if groups else "", f"usemtl {materials[kind.material]}\n"))
    offset = 1
    size = 0
    library = path.with_suffix(".mtl").name
    with staged(path.parent) as stage, whole_file(stage / path.name) as stream:
        write_text(stage / library, _mtl(model.materials, materials))
        size += stream.write(f"# chaingen, unit: millimetre\nmtllib {library}\n".encode())
        for body, numbers in enumerate(of_body):
            name, rotation, centre = model.names[body], model.rotations[body].T, model.centres[body]
            text = f"o {name}\n"
            for number in numbers:
                mesh = meshes[number]
                suffix, material = heads[number]
                points = stretch * (mesh.vertices @ rotation + centre)
                text += vertex_lines[number] % tuple(points.ravel().tolist())
                text += f"g {name}{suffix}\n{material}" if suffix else material
                text += face_lines[number] % tuple((mesh.faces + offset).ravel().tolist())
                offset += len(mesh.vertices)
            size += stream.write(text.encode())
    return size


def _material_names(materials: Sequence[Material]) -> list[str]:
    """Names of materials, each once, of letters, digits and dots: the format is ASCII, without blanks."""
    names: list[str] = []
    for material in materials:
        plain = re.sub(r"[^a-zA-Z0-9.]+", "_", material.name).strip("_") or "material"
        name, again = plain, 1
        while name in names:
            again += 1
            name = f"{plain}_{again}"
        names.append(name)
    return names


def _mtl(materials: Sequence[Material], names: Sequence[str]) -> str:
    text = "# chaingen, colours: sRGB\n"
    for material, name in zip(materials, names, strict=True):
        colour = " ".join(f"{part:.4f}" for part in material.colour)
        glint = colour if material.metallic else f"{GLINT:.4f} {GLINT:.4f} {GLINT:.4f}"
        text += (
            f"\nnewmtl {name}\nKd {colour}\nKs {glint}\nNs {highlight_exponent(material.roughness):.4f}\n"
            f"d 1\nillum 2\nPr {material.roughness:.4f}\nPm {1 if material.metallic else 0}\n"
        )
    return text


def highlight_exponent(roughness: float) -> float:
    """Exponent of the highlight that is as wide as that of a rough surface.

    The exponent of cosines that goes with a Beckmann width a is ``2 / a^2 - 2`` (Walter and others,
    Microfacet models for refraction through rough surfaces, 2007, from memory); the width is the square of
    the roughness, as in glTF 2.0. No sharper than the format foresees.

    Args:
        roughness: Surface roughness, 0 (mirror) to 1.
    """
    squared_width = roughness**4
    return SHARPEST if squared_width * (SHARPEST + 2.0) <= 2.0 else 2.0 / squared_width - 2.0
