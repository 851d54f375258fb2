"""Binary STL: 80-byte header, number of facets, 50 bytes a facet.

STL has no unit; the header says millimetres. Every ring is its own closed shell, and so is every length of
wire and every bead of another body.
"""

from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numba
import numpy as np
import numpy.typing as npt

from chaingen.errors import CannotWrite
from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.model.mesh import TOLERANCE, frames
from chaingen.model.templates import templates

HEADER = b"chaingen, binary STL, unit: millimetre"

MOST_FACETS = 2**32 - 1
"""The format counts facets in 32 bits."""

CHUNK_FACETS = 20_000
"""Facets written at a time: a megabyte, small enough to stay in cache."""


FACET = np.dtype([("floats", "<f4", (12,)), ("attribute", "<u2")])
"""A facet as the file holds it: normal, three corners, and two bytes that mean nothing."""


@numba.njit(cache=True, nogil=True)
def _fill(
    facets: npt.NDArray[np.void],
    start: int,
    vertices: npt.NDArray[np.float32],
    facet_normals: npt.NDArray[np.float32],
    faces: npt.NDArray[np.int32],
    rotation: npt.NDArray[np.float32],
    centre: npt.NDArray[np.float32],
    posed: npt.NDArray[np.float32],
) -> None:
    """Write one body into `facets` from `start` on; `posed` is room for its vertices."""
    for k in range(len(vertices)):
        for a in range(3):
            posed[k, a] = (
                centre[a]
                + rotation[a, 0] * vertices[k, 0]
                + rotation[a, 1] * vertices[k, 1]
                + rotation[a, 2] * vertices[k, 2]
            )
    for k in range(len(faces)):
        facet = facets[start + k]
        i, j, m = faces[k, 0], faces[k, 1], faces[k, 2]
        for a in range(3):
            facet.floats[a] = (
                rotation[a, 0] * facet_normals[k, 0]
                + rotation[a, 1] * facet_normals[k, 1]
                + rotation[a, 2] * facet_normals[k, 2]
            )
            facet.floats[3 + a] = posed[i, a]
            facet.floats[6 + a] = posed[j, a]
            facet.floats[9 + a] = posed[m, a]
        facet.attribute = 0


def write_stl(path: Path, bodies: Bodies, *, tolerance: float = TOLERANCE) -> int:
    """Write bodies as binary STL in millimetres, whole or not at all.

    Args:
        path: The file.
        bodies: The bodies.
        tolerance: Farthest the mesh may lie from the true surface [mm].

    Returns:
        Size of the file in bytes: 84 + 50 for each facet.

    Raises:
        CannotWrite: The file cannot be written, or would have more facets than the format can count.
    """
    meshes, of_body = templates(bodies, tolerance)
    total = int(np.array([len(mesh.faces) for mesh in meshes], dtype=np.int64)[of_body].sum())
    if total > MOST_FACETS:
        raise CannotWrite(
            f"cannot write {path}: {total:,} facets are more than STL can count; use a larger tolerance"
        )
    parts = [(m.vertices.astype(np.float32), m.facet_normals.astype(np.float32), m.faces) for m in meshes]
    largest = max((len(m.faces) for m in meshes), default=0)
    most_vertices = max((len(m.vertices) for m in meshes), default=0)
    posed = np.empty((most_vertices, 3), dtype=np.float32)
    rotations = frames(bodies).astype(np.float32)
    centres = bodies.centres.astype(np.float32)
    # One buffer is filled while the other is written.
    buffers = [np.empty(max(CHUNK_FACETS, largest), dtype=FACET) for _ in range(2)]
    with whole_file(path) as stream, ThreadPoolExecutor(max_workers=1) as writer:
        stream.write(HEADER.ljust(80, b" "))
        stream.write(np.uint32(total).tobytes())
        facets = buffers[0]
        filled = 0
        pending: Future[int] | None = None
        for k in range(len(bodies)):
            vertices, normals, faces = parts[of_body[k]]
            if filled + len(faces) > len(facets):
                if pending is not None:
                    pending.result()
                pending = writer.submit(stream.write, facets[:filled].view(np.uint8).data)
                facets = buffers[1] if facets is buffers[0] else buffers[0]
                filled = 0
            _fill(facets, filled, vertices, normals, faces, rotations[k], centres[k], posed)
            filled += len(faces)
        if pending is not None:
            pending.result()
        stream.write(facets[:filled].view(np.uint8).data)
    return 84 + 50 * total
