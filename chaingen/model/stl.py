"""Binary STL: 80-byte header, number of facets, 50 bytes a facet.

STL has no unit; the header says millimetres. Bodies come in their order, of each its kinds in theirs. Every
ring is its own closed shell, and so is every bead and what is one piece of wire of another body.

A model's stretch comes last: points are stretched, normals by its inverse (the transposed inverse of a
diagonal matrix), and made unit vectors again.
"""

from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numba
import numpy as np
import numpy.typing as npt

from chaingen.errors import CannotWrite
from chaingen.files import whole_file
from chaingen.model.kinds import Model, kinds_of_bodies

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
    turn: npt.NDArray[np.float32],
    normal_turn: npt.NDArray[np.float32],
    centre: npt.NDArray[np.float32],
    even: bool,
    posed: npt.NDArray[np.float32],
) -> None:
    """Write one mesh into `facets` from `start` on.

    Args:
        facets: Where to.
        start: The first facet that is written.
        vertices: Points in the body's frame [mm], shape (v, 3).
        facet_normals: Unit normals there, shape (f, 3).
        faces: Vertices of each facet, shape (f, 3).
        turn: From the body's frame to the file's, stretch included, shape (3, 3).
        normal_turn: The same for normals; those need not come out of length one, shape (3, 3).
        centre: Where the body is, stretch included [mm], shape (3,).
        even: Whether normals come out of length one.
        posed: Room for the vertices.
    """
    for k in range(len(vertices)):
        for a in range(3):
            posed[k, a] = (
                centre[a]
                + turn[a, 0] * vertices[k, 0]
                + turn[a, 1] * vertices[k, 1]
                + turn[a, 2] * vertices[k, 2]
            )
    for k in range(len(faces)):
        facet = facets[start + k]
        i, j, m = faces[k, 0], faces[k, 1], faces[k, 2]
        scale = np.float32(1.0)
        if not even:
            length = np.float32(0.0)
            for a in range(3):
                part = (
                    normal_turn[a, 0] * facet_normals[k, 0]
                    + normal_turn[a, 1] * facet_normals[k, 1]
                    + normal_turn[a, 2] * facet_normals[k, 2]
                )
                length += part * part
            # A facet of no area has no normal.
            if length > 0.0:
                scale = np.float32(1.0) / np.sqrt(length)
        for a in range(3):
            facet.floats[a] = scale * (
                normal_turn[a, 0] * facet_normals[k, 0]
                + normal_turn[a, 1] * facet_normals[k, 1]
                + normal_turn[a, 2] * facet_normals[k, 2]
            )
            facet.floats[3 + a] = posed[i, a]
            facet.floats[6 + a] = posed[j, a]
            facet.floats[9 + a] = posed[m, a]
        facet.attribute = 0


def write_stl(path: Path, model: Model) -> int:
    """Write a model as binary STL in millimetres, whole or not at all.

    Args:
        path: The file.
        model: The model.

    Returns:
        Size of the file in bytes: 84 + 50 for each facet.

    Raises:
        CannotWrite: The file cannot be written, or would have more facets than the format can count.
    """
    meshes = [kind.mesh for kind in model.kinds]
    total = sum(len(kind.mesh.faces) * len(kind.bodies) for kind in model.kinds)
    if total > MOST_FACETS:
        raise CannotWrite(
            f"cannot write {path}: {total:,} facets are more than STL can count; use a larger tolerance"
        )
    parts = [(m.vertices.astype(np.float32), m.facet_normals.astype(np.float32), m.faces) for m in meshes]
    largest = max((len(m.faces) for m in meshes), default=0)
    most_vertices = max((len(m.vertices) for m in meshes), default=0)
    posed = np.empty((most_vertices, 3), dtype=np.float32)
    stretch = np.array(model.stretch)
    even = bool((stretch == stretch[0]).all())
    turns = (stretch[:, None] * model.rotations).astype(np.float32)
    normal_turns = model.rotations if even else model.rotations / stretch[:, None]
    normal_turns = normal_turns.astype(np.float32)
    centres = (stretch * model.centres).astype(np.float32)
    # One buffer is filled while the other is written.
    buffers = [np.empty(max(CHUNK_FACETS, largest), dtype=FACET) for _ in range(2)]
    with whole_file(path) as stream, ThreadPoolExecutor(max_workers=1) as writer:
        stream.write(HEADER.ljust(80, b" "))
        stream.write(np.uint32(total).tobytes())
        facets = buffers[0]
        filled = 0
        pending: Future[int] | None = None
        for body, own in enumerate(kinds_of_bodies(model)):
            turn, normal_turn, centre = turns[body], normal_turns[body], centres[body]
            for kind in own:
                vertices, normals, faces = parts[kind]
                if filled + len(faces) > len(facets):
                    if pending is not None:
                        pending.result()
                    pending = writer.submit(stream.write, facets[:filled].view(np.uint8).data)
                    facets = buffers[1] if facets is buffers[0] else buffers[0]
                    filled = 0
                _fill(facets, filled, vertices, normals, faces, turn, normal_turn, centre, even, posed)
                filled += len(faces)
        if pending is not None:
            pending.result()
        stream.write(facets[:filled].view(np.uint8).data)
    return 84 + 50 * total
