"""Binary STL: 80-byte header, number of facets, 50 bytes a facet (normal and three corners as float32, two empty bytes).

STL has no unit; the header says millimetres. Every ring is its own closed shell.
"""

from pathlib import Path

import numba
import numpy as np
import numpy.typing as npt

from chaingen.errors import CannotWrite
from chaingen.files import whole_file
from chaingen.geometry.rings import Floats, Rings
from chaingen.model.mesh import TOLERANCE, frames, templates, triangle_count

HEADER = b"chaingen rings, binary STL, unit: millimetre"

MOST_FACETS = 2**32 - 1
"""The format counts facets in 32 bits."""

CHUNK_FACETS = 20_000
"""Facets written at a time: a megabyte, small enough to stay in cache."""


@numba.njit(cache=True)
def _fill(
    words: npt.NDArray[np.uint16],
    start: int,
    vertices: npt.NDArray[np.float32],
    facet_normals: npt.NDArray[np.float32],
    faces: npt.NDArray[np.int32],
    rotation: Floats,
    centre: Floats,
    posed: npt.NDArray[np.float32],
    facet: npt.NDArray[np.float32],
    facet_words: npt.NDArray[np.uint16],
) -> None:
    """Write one ring's facets into `words` (25 words a facet) from facet `start` on; `facet_words` is a view of `facet`."""
    for k in range(len(vertices)):
        for a in range(3):
            posed[k, a] = (
                centre[a]
                + rotation[a, 0] * vertices[k, 0]
                + rotation[a, 1] * vertices[k, 1]
                + rotation[a, 2] * vertices[k, 2]
            )
    at = start * 25
    for k in range(len(faces)):
        for a in range(3):
            facet[a] = (
                rotation[a, 0] * facet_normals[k, 0]
                + rotation[a, 1] * facet_normals[k, 1]
                + rotation[a, 2] * facet_normals[k, 2]
            )
            facet[3 + a] = posed[faces[k, 0], a]
            facet[6 + a] = posed[faces[k, 1], a]
            facet[9 + a] = posed[faces[k, 2], a]
        for a in range(24):
            words[at + a] = facet_words[a]
        words[at + 24] = 0
        at += 25


def write_stl(path: Path, rings: Rings, *, tolerance: float = TOLERANCE) -> int:
    """Write rings as binary STL in millimetres, whole or not at all.

    Args:
        path: The file.
        rings: The rings.
        tolerance: Farthest the mesh may lie from the true surface [mm].

    Returns:
        Size of the file in bytes: 84 + 50 for each facet.

    Raises:
        CannotWrite: The file cannot be written, or would have more facets than the format can count.
    """
    total = triangle_count(rings, tolerance)
    if total > MOST_FACETS:
        raise CannotWrite(f"cannot write {path}: {total:,} facets are more than STL can count; use a larger tolerance")
    meshes, of_ring = templates(rings, tolerance)
    parts = [(m.vertices.astype(np.float32), m.facet_normals.astype(np.float32), m.faces) for m in meshes]
    largest = max((len(m.faces) for m in meshes), default=0)
    most_vertices = max((len(m.vertices) for m in meshes), default=0)
    words = np.empty(25 * max(CHUNK_FACETS, largest), dtype=np.uint16)
    posed = np.empty((most_vertices, 3), dtype=np.float32)
    facet = np.empty(12, dtype=np.float32)
    facet_words = facet.view(np.uint16)
    rotations = frames(rings)
    with whole_file(path) as stream:
        stream.write(HEADER.ljust(80, b" "))
        stream.write(np.uint32(total).tobytes())
        filled = 0
        for k in range(len(rings)):
            vertices, normals, faces = parts[of_ring[k]]
            if 25 * (filled + len(faces)) > len(words):
                stream.write(words[: 25 * filled].data)
                filled = 0
            _fill(
                words, filled, vertices, normals, faces, rotations[k], rings.centres[k], posed, facet, facet_words
            )
            filled += len(faces)
        stream.write(words[: 25 * filled].data)
    return 84 + 50 * total
