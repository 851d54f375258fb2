"""3MF (ISO/IEC 25422:2025), written through lib3mf: what a body is like once, and where there is one of it.

Sections named here are those of the 3MF Core Specification, version 1.2.4.

Conventions: millimetres. 3MF multiplies rows by matrices (section 3.3), ``v' = v M``; M is the transposed
rotation of a body with its centre as fourth row.

There is a mesh for each kind, an object for each body, which bears its name and has a component for each of
its parts, and one object for the piece, its components the bodies: a printer may rearrange objects but not
components against one another (section 3.4.3.1). Of pieces of very many bodies, a few that follow one another
share an object; see `MOST_OBJECTS`. The piece is moved into the positive octant as it is placed on the
platform (section 3.3); its own coordinates stay those of the placement.

lib3mf writes six digits of a transform. A body's place is therefore told in two: whole millimetres by the
piece, and what is left by the body. That is exact to nanometres, however long the piece.

A model's stretch is in the meshes by its largest part; what that leaves, no more than one along any axis, is
in the transforms of bodies, so that no number there is larger than one and its six digits are off by half a
millionth at most. Where that may move a vertex by more than `CLOSE`, far out on a large body, the mesh is
written as that body is turned.
"""

import ctypes
import datetime
import hashlib
import io
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any
from uuid import UUID, uuid5

import numpy as np
import numpy.typing as npt

from chaingen.errors import CannotWrite
from chaingen.files import whole_file
from chaingen.geometry.types import Floats
from chaingen.model.kinds import Kind, Model

MOST_OBJECTS = 4000
"""Most objects that a piece is made of. lib3mf looks through all of them whenever it writes or reads another:
10,000 take it 5 s, 4,000 less than one."""

STEP, LONGEST = 0.01, 9000.0
"""The piece is moved by hundredths of a millimetre, by whole ones if farther than this [mm]: six digits."""

CLOSE = 5e-5
"""Farthest a vertex may be moved by what is cut off the numbers of a turn [mm]."""

DIGITS = 6
"""Digits of a number in a transform."""

AT_ONCE = 250
"""Bodies whose vertices are looked at together: some megabytes."""

_UNWRITABLE = re.compile("[^\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML cannot hold (XML 1.0, section 2.2), and what ends or shifts a line in an attribute."""


def write_3mf(path: Path, model: Model, *, title: str, date: datetime.date | None) -> int:
    """Write a piece as 3MF in millimetres, whole or not at all; the same model gives the same bytes.

    Args:
        path: The file.
        model: The piece.
        title: What it is called.
        date: The day it was made, for the file to tell; None tells none.

    Returns:
        Size of the file in bytes.

    Raises:
        CannotWrite: lib3mf is not there, or the file cannot be written.
    """
    library, wrapper = _library(path)
    title = _writable(title)
    told = wrapper.CreateModel()
    told.SetUnit(library.ModelUnit.MilliMeter)
    # Names are the user's own: "und" is for when their language is not known (section 2.3.5).
    told.SetLanguage("und")
    about = told.GetMetaDataGroup()
    for name, value in (
        ("Title", title),
        ("CreationDate", date.isoformat() if date else ""),
        ("Application", "chaingen"),
    ):
        if value:
            about.AddMetaData("", name, value, "xs:string", False)
    identities = _identities(model, title, date)
    told.SetBuildUUID(next(identities))
    if len(model.centres):
        piece = _add_piece(library, wrapper, told, model, identities)
        piece.SetName(title)
        item = told.AddBuildItem(piece, _transform(library, np.eye(3), onto_platform(model)))
        item.SetUUID(next(identities))
    content = _content(library, told)
    with whole_file(path) as stream:
        stream.write(content)
    return len(content)


def onto_platform(model: Model) -> Floats:
    """How far a piece is moved so that it begins at the platform's corner [mm], shape (3,).

    Between 0 and `STEP` more than what would have it touch; see there.
    """
    low = np.full(3, np.inf)
    stretch = np.array(model.stretch)
    for kind in model.kinds:
        corners = kind.mesh.vertices.T
        for start in range(0, len(kind.bodies), AT_ONCE):
            bodies = kind.bodies[start : start + AT_ONCE]
            least = (model.rotations[bodies] @ corners).min(axis=2) + model.centres[bodies]
            low = np.minimum(low, stretch * least.min(axis=0))
    # A hair more than needed, for the last digits of what is written.
    far = 1e-5 - low
    step = np.where(np.abs(far) < LONGEST, STEP, 1.0)
    return np.ceil(far / step) * step


def _add_piece(library: ModuleType, wrapper: Any, told: Any, model: Model, identities: Iterator[str]) -> Any:
    """Add materials, a mesh for each kind, an object for each body, and the piece.

    Returns:
        The piece's object.
    """
    group = told.AddBaseMaterialGroup()
    materials = [
        group.AddMaterial(_writable(one.name), wrapper.FloatRGBAToColor(*one.colour, 1.0))
        for one in model.materials
    ]
    group_number = group.GetUniqueResourceID()

    def add_mesh(kind: Kind, vertices: Floats, faces: npt.NDArray[np.int32]) -> Any:
        shape = told.AddMeshObject()
        shape.SetName(_writable(kind.name))
        shape.SetUUID(next(identities))
        _set_geometry(library, wrapper, shape, vertices, faces)
        assert shape.IsManifoldAndOriented(), f"the mesh of {kind.name} is not closed"
        shape.SetObjectLevelProperty(group_number, materials[kind.material])
        return shape

    largest = max(model.stretch)
    turns = (np.array(model.stretch) / largest)[:, None] * model.rotations
    centres = np.array(model.stretch) * model.centres
    parts_of: list[list[tuple[Any, Floats]]] = [[] for _ in model.names]
    for kind in model.kinds:
        mesh = kind.mesh.closed
        vertices = largest * mesh.vertices
        told_well = _told_well(turns[kind.bodies], vertices)
        shape = add_mesh(kind, vertices, mesh.faces) if told_well.any() else None
        for body, well in zip(kind.bodies.tolist(), told_well.tolist(), strict=True):
            if well:
                parts_of[body].append((shape, turns[body]))
            else:
                parts_of[body].append((add_mesh(kind, vertices @ turns[body].T, mesh.faces), np.eye(3)))
    many = -(-len(model.names) // MOST_OBJECTS)
    firsts = range(0, len(model.names), many)
    millimetres = np.floor(centres[::many])
    objects = []
    for first, millimetre in zip(firsts, millimetres, strict=True):
        bodies = range(first, min(first + many, len(model.names)))
        share = told.AddComponentsObject()
        name = (
            model.names[first] if len(bodies) == 1 else f"{model.names[first]} to {model.names[bodies[-1]]}"
        )
        share.SetName(_writable(name))
        share.SetPartNumber(_writable(name))
        share.SetUUID(next(identities))
        for body in bodies:
            for part, turn in parts_of[body]:
                posed = _transform(library, turn, centres[body] - millimetre)
                share.AddComponent(part, posed).SetUUID(next(identities))
        objects.append(share)
    piece = told.AddComponentsObject()
    piece.SetUUID(next(identities))
    for share, millimetre in zip(objects, millimetres, strict=True):
        piece.AddComponent(share, _transform(library, np.eye(3), millimetre)).SetUUID(next(identities))
    return piece


def _told_well(turns: Floats, vertices: Floats) -> npt.NDArray[np.bool_]:
    """Whether turns may be written so short.

    Args:
        turns: The turns, which may stretch, shape (k, 3, 3).
        vertices: Vertices of the mesh that is turned [mm], shape (v, 3).

    Returns:
        For each, shape (k,), whether no vertex is moved by more than `CLOSE`.
    """
    short = turns.round(9).astype(np.float32).astype(np.float64)
    unit = 10.0 ** (np.floor(np.log10(np.maximum(np.abs(short), 1e-9))) + 1 - DIGITS)
    moved = np.abs(turns - np.round(short / unit) * unit) @ np.abs(vertices).max(axis=0)
    return np.asarray(np.linalg.norm(moved, axis=1) <= CLOSE)


def why_not() -> str:
    """Why no 3MF can be written here; empty when it can."""
    try:
        _library(Path("piece.3mf"))
    except CannotWrite as error:
        return str(error).partition(": ")[2]
    return ""


def _library(path: Path) -> tuple[ModuleType, Any]:
    """The library's module and its entry."""
    try:
        import lib3mf
    except (ImportError, OSError) as error:
        raise CannotWrite(
            f"cannot write {path}: 3MF needs lib3mf, which has no wheel for this machine"
        ) from error
    try:
        # Not by get_wrapper, which prints what goes wrong.
        return lib3mf, lib3mf.Wrapper(lib3mf.get_library_path_for_wrapper())
    except lib3mf.ELib3MFException as error:
        raise CannotWrite(f"cannot write {path}: lib3mf does not run on this machine: {error}") from error


def _set_geometry(
    library: ModuleType, wrapper: Any, shape: Any, vertices: Floats, faces: npt.NDArray[np.int32]
) -> None:
    """Give an object its mesh; the library's own way takes vertices one by one."""
    points = np.ascontiguousarray(vertices, dtype=np.float32)
    corners = np.ascontiguousarray(faces, dtype=np.uint32)
    result = wrapper.lib.lib3mf_meshobject_setgeometry(
        shape._handle,
        ctypes.c_uint64(len(points)),
        points.ctypes.data_as(ctypes.POINTER(library.Position)),
        ctypes.c_uint64(len(corners)),
        corners.ctypes.data_as(ctypes.POINTER(library.Triangle)),
    )
    wrapper.checkError(shape, result)


def _transform(library: ModuleType, rotation: Floats, place: Floats) -> Any:
    """The library's transform: turned and stretched, shape (3, 3), and moved to `place` [mm], shape (3,)."""
    # Rounded, for what should be 0 to be written so; adding 0 makes a minus zero a zero.
    rows = np.vstack([rotation.T, place]).round(9) + 0.0
    return library.Transform.from_buffer_copy(rows.astype(np.float32).tobytes())


def _identities(model: Model, title: str, date: datetime.date | None) -> Iterator[str]:
    """Identities for whatever asks for one, of this very content (RFC 9562, version 5).

    The library draws them at random otherwise, and no two files would be the same.
    """
    content = hashlib.sha256(repr((title, date, model.names, model.materials, model.stretch)).encode())
    for kind in model.kinds:
        content.update(repr((kind.name, kind.material)).encode())
        for numbers in (kind.mesh.vertices, kind.mesh.faces, kind.bodies):
            content.update(np.ascontiguousarray(numbers).tobytes())
    for numbers in (model.rotations, model.centres):
        content.update(np.ascontiguousarray(numbers).tobytes())
    whole = UUID(bytes=content.digest()[:16], version=5)
    number = 0
    while True:
        yield str(uuid5(whole, str(number)))
        number += 1


def _content(library: ModuleType, told: Any) -> bytes:
    """The file as bytes; the library's own way writes twice and makes a list of numbers."""
    buffer = io.BytesIO()

    def write(address: int, count: int, _: Any) -> None:
        buffer.write(ctypes.string_at(address, count))

    def seek(place: int, _: Any) -> None:
        buffer.seek(place)

    told.QueryWriter("3mf").WriteToCallback(library.WriteCallback(write), library.SeekCallback(seek), None)
    return buffer.getvalue()


def _writable(text: str) -> str:
    """The text with a space for each letter that the file cannot hold."""
    return _UNWRITABLE.sub(" ", text)
