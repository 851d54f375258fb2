"""GLB, reopened by trimesh, by hand and by the official validator of glTF.

GLTF_VALIDATOR names the folder of the validator's package; else node looks for ``gltf-validator``.
"""

import errno
import json
import os
import subprocess
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from chaingen.errors import CannotWrite
from chaingen.geometry.bodies import Bodies
from chaingen.model import glb
from chaingen.model.glb import linear, write_glb
from chaingen.model.kinds import Kind, Material, Model
from chaingen.model.mesh import frames, grid_faces, mesh_of, segment_counts, torus_mesh
from chaingen.stock.metals import METALS
from tests.conftest import random_rings, rings_of
from tests.test_mesh import faceted_volume
from tests.test_obj import COPPER, SILVER, dangling_model, model_for, none_at_all, placed_model
from tests.test_stl import STRETCH, chain, dangling, random_turn


def opened(path):
    """The JSON and the binary part of a GLB file, read by hand."""
    content = path.read_bytes()
    assert content[:4] == b"glTF"
    version, length, json_length = np.frombuffer(content, "<u4", 3, 4).tolist()
    assert (version, length) == (2, len(content))
    assert content[16:20] == b"JSON"
    assert json_length % 4 == 0
    binary = content[20 + json_length :]
    if binary:
        assert int.from_bytes(binary[:4], "little") == len(binary) - 8
        assert binary[4:8] == b"BIN\0"
        assert len(binary) % 4 == 0
    return json.loads(content[20 : 20 + json_length]), binary[8:]


def array_of(head, binary, accessor):
    """An accessor's numbers, read by hand."""
    said = head["accessors"][accessor]
    view = head["bufferViews"][said["bufferView"]]
    dtype = {5126: "<f4", 5123: "<u2", 5125: "<u4"}[said["componentType"]]
    columns = {"SCALAR": 1, "VEC3": 3}[said["type"]]
    assert view["byteLength"] == said["count"] * columns * np.dtype(dtype).itemsize
    assert view["byteOffset"] % 4 == 0
    array = np.frombuffer(binary, dtype, said["count"] * columns, view["byteOffset"])
    return array.reshape(-1, columns) if columns > 1 else array


def closed(mesh):
    """The mesh with facets joined that meet in an edge with a normal on either side."""
    mesh = mesh.copy()
    mesh.merge_vertices(merge_norm=True, merge_tex=True)
    return mesh


def z_up_mm(points):
    """From glTF's metres with Y up, front towards +Z, to millimetres with z up, front towards -y."""
    x, y, z = 1e3 * np.asarray(points).T
    return np.column_stack([x, -z, y])


def bodies_in(path):
    """The posed meshes [mm, z up] of each node for a body, by their material, as trimesh finds them."""
    names = [node["name"] for node in opened(path)[0]["nodes"][1:]]
    found = {name: {} for name in names}
    scene = trimesh.load_scene(path, process=False)
    for node in scene.graph.nodes_geometry:
        pose, geometry = scene.graph[node]
        mesh = scene.geometry[geometry].copy()
        mesh.apply_transform(pose)
        mesh.vertices = z_up_mm(mesh.vertices)
        # Where a body has several parts, trimesh puts a node for each below that of the body.
        own = found[node if node in found else scene.graph.transforms.parents[node]]
        assert mesh.visual.material.name not in own
        own[mesh.visual.material.name] = mesh
    return found


def written(tmp_path, model, title="harbour chain"):
    path = tmp_path / "a.glb"
    assert write_glb(path, model, title=title) == path.stat().st_size
    return path


def test_trimesh_finds_every_ring_whole_and_in_its_place(tmp_path):
    rings = chain(12)
    found = bodies_in(written(tmp_path, model_for(rings)))
    assert list(found) == [f"{k + 1}a" for k in range(12)]
    for k, parts in enumerate(found.values()):
        (mesh,) = parts.values()
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        counts = segment_counts(rings.radii[k], rings.wire_radii[k], 0.01)
        expected = faceted_volume(rings.radii[k], rings.wire_radii[k], *counts)
        assert mesh.volume == pytest.approx(expected, rel=1e-5)
        away = mesh.vertices - rings.centres[k]
        height = away @ rings.normals[k]
        from_axis = np.sqrt((away**2).sum(axis=1) - height**2)
        on_torus = np.hypot(from_axis - rings.radii[k], height)
        assert on_torus == pytest.approx(rings.wire_radii[k], abs=2e-6)


@pytest.mark.parametrize("axis", [*np.eye(3), *-np.eye(3), (1, 1, 0), (-1, 0, 1), (0, -1, -1)])
def test_rings_of_every_direction(tmp_path, axis):
    ring = rings_of(((7.0, -2.0, 3.0), axis, 2.0, 0.5))
    mesh = bodies_in(written(tmp_path, model_for(ring)))["1a"][SILVER.name]
    height = (mesh.vertices - (7.0, -2.0, 3.0)) @ np.array(axis) / np.linalg.norm(axis)
    assert abs(height).max() == pytest.approx(0.5, abs=1e-2)


def test_findings_stand_as_their_axes_say(tmp_path, rng):
    model = dangling_model(rng)
    found = bodies_in(written(tmp_path, model))
    bodies = dangling(np.random.default_rng(20))
    assert list(found) == ["1a", "2a", "3a", "4a"]
    assert [len(parts) for parts in found.values()] == [1, 1, 3, 1]
    for kind in model.kinds:
        (body,) = kind.bodies
        x, y, z = bodies.frames()[body]
        one, two, three = kind.mesh.vertices.T[:, :, None]
        expected = bodies.centres[body] + one * x + two * y + three * z
        mesh = found[f"{body + 1}a"][model.materials[kind.material].name]
        assert mesh.vertices == pytest.approx(expected, abs=2e-6)
    for parts in found.values():
        for mesh in parts.values():
            assert closed(mesh).is_watertight
            assert closed(mesh).is_winding_consistent
            assert mesh.volume > 0.0


def test_beads_have_the_volumes_of_a_ball_and_a_disc(tmp_path, rng):
    parts = bodies_in(written(tmp_path, dangling_model(rng)))["3a"]
    ball, disc = parts["bead #1a7380"], parts["bead #cc331a"]
    # A hole of 1 mm leaves of a ball of 4 mm as much as a ball has that is as high as the hole is long.
    assert ball.volume == pytest.approx(np.pi / 6.0 * (16.0 - 1.0) ** 1.5, rel=1.5e-2)
    # A flat part 1.2 mm thick from 0.5 to 1.9 mm, half a circle round it, its centroid 4 r / 3 pi out.
    rim = 2.0 * np.pi * (1.9 + 4.0 * 0.6 / (3.0 * np.pi)) * 0.5 * np.pi * 0.36
    assert disc.volume == pytest.approx(np.pi * 1.2 * (1.9**2 - 0.5**2) + rim, rel=1.5e-2)


def test_sizes_are_in_metres_with_y_up(tmp_path):
    # A standing row: 60 mm high along z, 30 mm to the front (-y), 4 mm to the right.
    rows = (((0.0, 0.0, 0.0), (0, 1, 0), 2.0, 0.5), ((4.0, -30.0, 60.0), (0, 1, 0), 2.0, 0.5))
    scene = trimesh.load_scene(written(tmp_path, model_for(rings_of(*rows))))
    low, high = scene.bounds
    assert low == pytest.approx([-0.0025, -0.0025, -0.0005], abs=1e-5)
    assert high == pytest.approx([0.0065, 0.0625, 0.0305], abs=1e-5)
    head, _ = opened(tmp_path / "a.glb")
    assert head["nodes"][2]["translation"] == [0.004, 0.06, 0.03]
    assert "metre" in head["asset"]["extras"]["unit"]


@pytest.mark.parametrize("stretch", [(1.0204, 1.0204, 1.0204), STRETCH])
def test_stretch_comes_after_all_else(tmp_path, rng, stretch):
    model = dangling_model(rng)
    plain = bodies_in(written(tmp_path, model))
    stretched = bodies_in(written(tmp_path, replace(model, stretch=stretch)))
    for name, parts in plain.items():
        assert list(stretched[name]) == list(parts)
        for part, mesh in parts.items():
            expected = np.array(stretch) * mesh.vertices
            assert stretched[name][part].vertices == pytest.approx(expected, abs=2e-5)
    head, _ = opened(tmp_path / "a.glb")
    # glTF's axes: what is z here is its y.
    x, y, z = stretch
    assert head["nodes"][0]["scale"] == [x, z, y]
    # No node skews: each is a rotation and a translation, or the one scale.
    assert not any("matrix" in node or "scale" in node for node in head["nodes"][1:])


def test_each_kind_once_and_a_node_a_body(tmp_path):
    placed, model = placed_model(metals=(SILVER, COPPER))
    head, binary = opened(written(tmp_path, model))
    root, *nodes = head["nodes"]
    assert head["scenes"] == [{"name": "harbour chain", "nodes": [0]}]
    assert root == {"name": "harbour chain", "children": list(range(1, len(nodes) + 1))}
    assert [node["name"] for node in nodes] == list(placed.graph.names)
    assert [mesh["name"] for mesh in head["meshes"]] == [kind.name for kind in model.kinds]
    for kind in model.kinds:
        own = [k for k, node in enumerate(nodes) if head["meshes"][node["mesh"]]["name"] == kind.name]
        assert own == kind.bodies.tolist()
    # Rings of two metals are of one size: its numbers are in the file once.
    one, two = (mesh["primitives"][0] for mesh in head["meshes"])
    assert one["attributes"] == two["attributes"]
    assert one["indices"] == two["indices"]
    assert {one["material"], two["material"]} == {0, 1}
    assert len(head["accessors"]) == 3
    assert head["buffers"] == [{"byteLength": len(binary)}]


def test_arrays_are_what_the_format_asks_for(tmp_path, rng):
    model = dangling_model(rng)
    head, binary = opened(written(tmp_path, model))
    primitives = [primitive for mesh in head["meshes"] for primitive in mesh["primitives"]]
    assert [primitive["extras"]["name"] for primitive in primitives] == [
        model.kinds[kind].name for body in range(4) for kind in range(6) if body in model.kinds[kind].bodies
    ]
    for primitive in primitives:
        points = array_of(head, binary, primitive["attributes"]["POSITION"])
        normals = array_of(head, binary, primitive["attributes"]["NORMAL"])
        faces = array_of(head, binary, primitive["indices"]).reshape(-1, 3)
        said = head["accessors"][primitive["attributes"]["POSITION"]]
        assert said["min"] == points.min(axis=0).tolist()
        assert said["max"] == points.max(axis=0).tolist()
        assert len(normals) == len(points) == faces.max() + 1
        assert np.linalg.norm(normals.astype(float), axis=1) == pytest.approx(1.0, abs=1e-6)
        # Normals point out where the facets do.
        corners = points[faces].astype(float)
        facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        assert ((facing[:, None] * normals[faces]).sum(axis=2) > 0.0).mean() > 0.99
    for view in head["bufferViews"]:
        assert view["target"] in (34962, 34963)
    for node in head["nodes"][1:]:
        assert np.linalg.norm(node["rotation"]) == pytest.approx(1.0, abs=2e-8)


@pytest.mark.parametrize(("rows", "columns", "width"), [(255, 257, 5123), (256, 256, 5125)])
def test_indices_are_as_wide_as_they_need_to_be(tmp_path, rows, columns, width):
    """The highest 16-bit index, 65535, must not be used (glTF 2.0, 3.7.2.1)."""
    t, p = np.meshgrid(
        2.0 * np.pi * np.arange(rows) / rows, 2.0 * np.pi * np.arange(columns) / columns, indexing="ij"
    )
    normals = np.stack([np.cos(t) * np.cos(p), np.sin(t) * np.cos(p), np.sin(p)], axis=2).reshape(-1, 3)
    circle = np.stack([np.cos(t), np.sin(t), 0.0 * t], axis=2).reshape(-1, 3)
    mesh = mesh_of(30.0 * circle + 10.0 * normals, normals, grid_faces(rows, columns))
    kind = Kind("hoop", mesh, 0, np.array([0]))
    model = Model(
        (kind,), (Material("copper", COPPER.colour, 0.2),), np.eye(3)[None], np.zeros((1, 3)), ("a",)
    )
    head, _ = opened(written(tmp_path, model))
    assert head["accessors"][head["meshes"][0]["primitives"][0]["indices"]]["componentType"] == width
    reopened = bodies_in(tmp_path / "a.glb")["a"]["copper"]
    assert reopened.is_watertight
    assert reopened.volume == pytest.approx(faceted_volume(30.0, 10.0, rows, columns), rel=1e-5)


def test_materials(tmp_path, rng):
    model = dangling_model(rng, metals=(COPPER,))
    head, _ = opened(written(tmp_path, model))
    assert [material["name"] for material in head["materials"]] == [one.name for one in model.materials]
    for said, material in zip(head["materials"], model.materials, strict=True):
        surface = said["pbrMetallicRoughness"]
        *colour, opacity = surface["baseColorFactor"]
        assert opacity == 1.0
        # trimesh knows the way back.
        assert trimesh.visual.color.linear_to_srgb(np.array(colour)) == pytest.approx(
            np.array(material.colour), abs=1e-5
        )
        assert surface["metallicFactor"] == (0.0 if "bead" in material.name else 1.0)
        assert surface["roughnessFactor"] == material.roughness
    scene = trimesh.load_scene(tmp_path / "a.glb")
    named = {mesh.visual.material.name: mesh.visual.material for mesh in scene.geometry.values()}
    assert set(named) == {one.name for one in model.materials}
    for material in model.materials:
        assert named[material.name].baseColorFactor[:3] == pytest.approx(
            255.0 * np.array(linear(material.colour)), abs=1.0
        )
        assert named[material.name].metallicFactor == float(material.metallic)


@pytest.mark.parametrize("metal", METALS, ids=lambda metal: metal.name)
def test_linear_colours_encode_to_srgb_again(metal):
    """The standard's other direction: IEC 61966-2-1, from linear to sRGB."""
    encoded = [
        12.92 * part if part <= 0.0031308 else 1.055 * part ** (1.0 / 2.4) - 0.055
        for part in linear(metal.colour)
    ]
    assert encoded == pytest.approx(list(metal.colour), abs=1e-12)


def test_linear_of_known_values():
    # Ends and middle: half of sRGB is 21.4 % of the light, a share well known (from memory).
    assert linear((0.0, 0.5, 1.0)) == pytest.approx((0.0, 0.21404, 1.0), abs=5e-6)
    # The two branches meet.
    low, high, _ = linear((0.04045, 0.0404501, 0.0))
    assert 0.0 < high - low < 1e-7


def test_ten_thousand_rings_are_small(tmp_path, rng):
    normals = rng.normal(size=(10_000, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    many = Bodies(
        rng.uniform(-300.0, 300.0, (10_000, 3)), normals, np.full(10_000, 2.5), np.full(10_000, 0.5)
    )
    kind = Kind("ring link", torus_mesh(2.5, 0.5, 0.02), 0, np.arange(10_000))
    silver = Material(SILVER.name, SILVER.colour, SILVER.roughness)
    names = tuple(f"{k}a" for k in range(10_000))
    path = written(tmp_path, Model((kind,), (silver,), frames(many), many.centres, names))
    assert path.stat().st_size < 2_000_000
    scene = trimesh.load_scene(path)
    assert len(scene.graph.nodes_geometry) == 10_000
    assert len(scene.geometry) == 1
    poses = np.array([scene.graph[name][0] for name in names])
    assert z_up_mm(poses[:, :3, 3]) == pytest.approx(many.centres, abs=1e-6)
    axes = z_up_mm(poses[:, :3, 2]) / 1e3
    assert axes == pytest.approx(normals, abs=1e-7)


def test_moving_a_piece_moves_nodes_only(tmp_path, rng):
    rings = random_rings(rng, 4)
    before, meshes = opened(written(tmp_path, model_for(rings)))
    turn = random_turn(rng)
    moved = rings.turned(turn).moved(np.array([3.0, -40.0, 1.0]))
    after, same = opened(written(tmp_path, model_for(moved)))
    assert same == meshes
    assert {**before, "nodes": 0} == {**after, "nodes": 0}
    assert before["nodes"] != after["nodes"]


@pytest.mark.parametrize("title", ['the "net", 3 \\ 4', "", "R\u00e9seau d'\u00e9t\u00e9, \u6d77", "a\tb"])
def test_titles_come_back(tmp_path, title):
    head, _ = opened(written(tmp_path, model_for(chain(1)), title))
    assert head["asset"]["extras"]["title"] == head["nodes"][0]["name"] == title
    assert head["asset"]["generator"] == "chaingen"
    assert head["asset"]["version"] == "2.0"


def test_no_bodies(tmp_path):
    head, binary = opened(written(tmp_path, none_at_all()))
    assert binary == b""
    assert head["nodes"] == [{"name": "harbour chain"}]
    assert not {"meshes", "materials", "accessors", "bufferViews", "buffers"} & set(head)


def test_same_bytes_twice(tmp_path):
    contents = [written(tmp_path, dangling_model(np.random.default_rng(4))).read_bytes() for _ in range(2)]
    assert contents[0] == contents[1]


def test_a_full_disk_leaves_the_old_model(tmp_path, monkeypatch):
    path = tmp_path / "a.glb"
    path.write_bytes(b"old")

    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_glb(path, model_for(chain(2)), title="")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_more_than_the_format_counts_is_refused(tmp_path, monkeypatch):
    model = model_for(chain(2))
    size = write_glb(tmp_path / "a.glb", model, title="")
    monkeypatch.setattr(glb, "MOST_BYTES", size)
    assert write_glb(tmp_path / "b.glb", model, title="") == size
    monkeypatch.setattr(glb, "MOST_BYTES", size - 1)
    with pytest.raises(CannotWrite, match="more than 4 GB"):
        write_glb(tmp_path / "c.glb", model, title="")
    assert not (tmp_path / "c.glb").exists()


VALIDATE = """
const validator = require(process.argv[1]);
const content = new Uint8Array(require("fs").readFileSync(process.argv[2]));
validator.validateBytes(content, {maxIssues: 100, writeTimestamp: false}).then(
  report => console.log(JSON.stringify(report)));
"""


def validated(path):
    """The report of glTF's official validator (The Khronos Group)."""
    package = os.environ.get("GLTF_VALIDATOR", "gltf-validator")
    done = subprocess.run(["node", "-e", VALIDATE, package, str(path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.browser
@pytest.mark.parametrize("what", ["rings", "findings", "two metals", "moved far", "stretched"])
def test_validator_finds_nothing(tmp_path, rng, what):
    model = {
        "rings": lambda: model_for(random_rings(rng, 20)),
        "findings": lambda: dangling_model(rng),
        "two metals": lambda: placed_model(metals=(SILVER, COPPER))[1],
        "stretched": lambda: replace(dangling_model(rng), stretch=STRETCH),
        "moved far": lambda: model_for(chain(3).moved(np.array([1e4, -1e4, 1e4]))),
    }[what]()
    report = validated(written(tmp_path, model))
    assert report["issues"]["messages"] == []
    assert report["mimeType"] == "model/gltf-binary"
    info = report["info"]
    assert info["materialCount"] == len(model.materials)
    # It counts what there is to draw, not how often.
    assert info["drawCallCount"] == len(model.kinds)
    assert info["totalTriangleCount"] == sum(len(kind.mesh.faces) for kind in model.kinds)


@pytest.mark.browser
def test_validator_takes_no_bodies(tmp_path):
    issues = validated(written(tmp_path, none_at_all()))["issues"]
    assert (issues["numErrors"], issues["numWarnings"]) == (0, 0)


@pytest.mark.browser
def test_validator_sees_faults(tmp_path):
    path = written(tmp_path, model_for(chain(2)))
    content = bytearray(path.read_bytes())
    # The last index becomes one that there is no vertex for.
    content[-2:] = b"\xf0\xff"
    path.write_bytes(content)
    assert validated(path)["issues"]["numErrors"] > 0
