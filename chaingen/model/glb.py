"""GLB: glTF 2.0 in one binary file (ISO/IEC 12113:2022), each kind of body once and a node for every body.

glTF measures in metres with Y up and looks at a model from +Z; pieces are in millimetres with z up. Right of
the front stays right: x, y, z [mm] of a piece become x, z, -y [mm], over a thousand. This turn stands in the
rotation and translation of the nodes; meshes keep the frames of their bodies, in metres.

A model's stretch is the root's scale, in the axes of glTF. In the nodes it could not stand: what is stretched
after it is turned is skewed, and a node by itself must not skew (glTF 2.0, section 3.5.3); two together may.

A node below one root is the plainest form that viewers know. Instances as arrays (EXT_mesh_gpu_instancing)
would take a quarter of the bytes, but where a viewer does not know them it shows one body or none, and bodies
would lose their names. Ten thousand rings are 1.4 MB as nodes.

Written with json and numpy alone. What libraries for the format offer is the JSON, as classes or with poses
as 4 x 4 matrices; accessors and their bounds would be packed here all the same.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from chaingen.errors import CannotWrite
from chaingen.files import whole_file
from chaingen.geometry.types import Floats
from chaingen.model.kinds import Colour, Kind, Material, Model, kinds_of_bodies

METRES = 1e-3
"""Metres in a millimetre."""

TO_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""From a piece's axes to those of glTF."""

TRANSLATION_DECIMALS, ROTATION_DECIMALS = 9, 8
"""Digits of poses: a nanometre, and what 32-bit numbers hold of parts of a quaternion."""

MOST_BYTES = 2**32 - 1
"""The format counts its bytes in 32 bits."""

_MAGIC, _VERSION, _JSON_CHUNK, _BINARY_CHUNK = b"glTF", 2, b"JSON", b"BIN\0"
_ARRAY_BUFFER, _INDEX_BUFFER = 34962, 34963
_COMPONENTS = {"float32": 5126, "uint16": 5123, "uint32": 5125}

_Json = dict[str, Any]


class _Arrays:
    """The binary part of a file: accessors, each with a view of its own, equal arrays once."""

    def __init__(self) -> None:
        self.accessors: list[_Json] = []
        self.views: list[_Json] = []
        self.chunks: list[bytes] = []
        self.length = 0
        self._known: dict[tuple[str, str, bytes], int] = {}

    def add(self, array: npt.NDArray[Any], target: int, *, bounds: bool = False) -> int:
        """Number of the accessor of an array of shape (n,) or (n, 3)."""
        dtype, shape = array.dtype.name, "SCALAR" if array.ndim == 1 else "VEC3"
        content = np.ascontiguousarray(array, array.dtype.newbyteorder("<")).tobytes()
        key = (dtype, shape, content)
        if key in self._known:
            return self._known[key]
        accessor: _Json = {
            "bufferView": len(self.views),
            "componentType": _COMPONENTS[dtype],
            "count": len(array),
            "type": shape,
        }
        if bounds:
            accessor |= {"min": array.min(axis=0).tolist(), "max": array.max(axis=0).tolist()}
        view = {"buffer": 0, "byteOffset": self.length, "byteLength": len(content), "target": target}
        padded = content + bytes(-len(content) % 4)
        self.views.append(view)
        self.chunks.append(padded)
        self.length += len(padded)
        self.accessors.append(accessor)
        self._known[key] = len(self.accessors) - 1
        return self._known[key]


def write_glb(path: Path, model: Model, *, title: str) -> int:
    """Write a piece as GLB in metres with Y up, whole or not at all; the same model gives the same bytes.

    Args:
        path: The file.
        model: The piece.
        title: What the piece is called; its root node has this name.

    Returns:
        Size of the file in bytes.

    Raises:
        CannotWrite: The file cannot be written, or holds more than the format can count.
    """
    arrays = _Arrays()
    of_body = kinds_of_bodies(model)
    made: dict[tuple[int, ...], int] = {}
    meshes: list[_Json] = []
    for kinds in dict.fromkeys(of_body):
        made[kinds] = len(meshes)
        parts = [model.kinds[kind] for kind in kinds]
        meshes.append({"name": parts[0].name, "primitives": [_primitive(part, arrays) for part in parts]})
    nodes = _nodes(model, [made[kinds] for kinds in of_body])
    root: _Json = {"name": title}
    if model.stretch != (1.0, 1.0, 1.0):
        right, back, up = model.stretch
        root["scale"] = [right, up, back]
    if nodes:
        root["children"] = list(range(1, len(nodes) + 1))
    content: _Json = {
        "asset": {
            "version": "2.0",
            "generator": "chaingen",
            "extras": {"title": title, "unit": "metre, Y up; from millimetres, z up"},
        },
        "scene": 0,
        "scenes": [{"name": title, "nodes": [0]}],
        "nodes": [root, *nodes],
        "meshes": meshes,
        "materials": [_material(material) for material in model.materials],
        "accessors": arrays.accessors,
        "bufferViews": arrays.views,
        "buffers": [{"byteLength": arrays.length}] if arrays.length else [],
    }
    # The format has no empty arrays: what there is none of is left out.
    text = json.dumps({key: value for key, value in content.items() if value != []}, separators=(",", ":"))
    encoded = text.encode()
    encoded += b" " * (-len(encoded) % 4)
    chunks = [_head(len(encoded), _JSON_CHUNK), encoded]
    if arrays.length:
        chunks += [_head(arrays.length, _BINARY_CHUNK), *arrays.chunks]
    size = 12 + sum(len(chunk) for chunk in chunks)
    if size > MOST_BYTES:
        raise CannotWrite(f"cannot write {path}: more than 4 GB, the most GLB holds; use a coarser mesh")
    with whole_file(path) as stream:
        stream.write(_MAGIC + _VERSION.to_bytes(4, "little") + size.to_bytes(4, "little"))
        for chunk in chunks:
            stream.write(chunk)
    return size


def linear(colour: Colour) -> Colour:
    """Linear parts of an sRGB colour, each 0 to 1 (IEC 61966-2-1)."""
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in colour
    )
    return red, green, blue


def _head(length: int, kind: bytes) -> bytes:
    # A length past the format's is refused before anything is written.
    return min(length, MOST_BYTES).to_bytes(4, "little") + kind


def _primitive(kind: Kind, arrays: _Arrays) -> _Json:
    mesh = kind.mesh
    # The highest 16-bit index means a restart, so that no vertex may have it.
    index = np.uint16 if len(mesh.vertices) <= np.iinfo(np.uint16).max else np.uint32
    return {
        "attributes": {
            "POSITION": arrays.add((METRES * mesh.vertices).astype(np.float32), _ARRAY_BUFFER, bounds=True),
            "NORMAL": arrays.add(mesh.normals.astype(np.float32), _ARRAY_BUFFER),
        },
        "indices": arrays.add(mesh.faces.ravel().astype(index), _INDEX_BUFFER),
        "material": kind.material,
        "extras": {"name": kind.name},
    }


def _nodes(model: Model, mesh_of: list[int]) -> list[_Json]:
    if not model.names:
        return []
    # Plus zero, for minus zero would be written as such.
    places = np.round(METRES * model.centres @ TO_Y_UP.T, TRANSLATION_DECIMALS) + 0.0
    turns = np.round(_quaternions(TO_Y_UP @ model.rotations), ROTATION_DECIMALS) + 0.0
    each = zip(model.names, mesh_of, turns.tolist(), places.tolist(), strict=True)
    return [
        {"name": name, "mesh": mesh, "rotation": turn, "translation": place}
        for name, mesh, turn, place in each
    ]


def _quaternions(rotations: Floats) -> Floats:
    """Unit quaternions x, y, z, w with w not below 0, shape (n, 4), of rotations, shape (n, 3, 3)."""
    return np.asarray(Rotation.from_matrix(rotations).as_quat(canonical=True))


def _material(material: Material) -> _Json:
    return {
        "name": material.name,
        "pbrMetallicRoughness": {
            "baseColorFactor": [*(round(part, 6) for part in linear(material.colour)), 1.0],
            "metallicFactor": 1.0 if material.metallic else 0.0,
            "roughnessFactor": material.roughness,
        },
    }
