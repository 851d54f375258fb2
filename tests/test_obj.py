"""Wavefront OBJ and its materials, reopened by trimesh and by hand."""

import errno
import os
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from chaingen.errors import CannotWrite
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import oval_link
from chaingen.geometry.bodies import Bodies
from chaingen.make.metals import RingMetals
from chaingen.model.kinds import GLASS_ROUGHNESS, model_of
from chaingen.model.mesh import segment_counts
from chaingen.model.obj import highlight_exponent, write_obj
from chaingen.solve.place import place
from chaingen.stock.metals import METALS, Metal, find_metal
from chaingen.weave.graph import LinkGraph, Member
from chaingen.weave.groups import RingSize, Run
from tests.conftest import join, random_rings, side, size
from tests.test_mesh import faceted_volume
from tests.test_stl import BEADED, STRETCH, dangling

SILVER, COPPER = find_metal("sterling silver"), find_metal("copper")


def model_for(bodies, *, sizes=None, metals=(SILVER,), names=None, tolerance=0.01):
    """A model of unlinked bodies, named 1a, 2a and so on, of the metals in turn."""
    if sizes is None:
        inside = 2.0 * (bodies.radii - bodies.wire_radii)
        each = zip(inside.tolist(), (2.0 * bodies.wire_radii).tolist(), strict=True)
        sizes = [RingSize("link", hole, wire) for hole, wire in each]
    names = names or [f"{k + 1}a" for k in range(len(bodies))]
    members = [Member(name, "side by side", own, 0) for name, own in zip(names, sizes, strict=True)]
    none = np.empty((0, 2), dtype=np.int64)
    graph = LinkGraph(tuple(members), none, none, (), (), periodic=False)
    metals = RingMetals(metals, np.arange(len(bodies)) % len(metals))
    return model_of(bodies, graph, metals, tolerance=tolerance)


def dangling_model(rng, **options):
    """An ear wire, an oval link, a beaded pin and a ring, turned and apart."""
    sizes = [ear_wire(), oval_link(), BEADED, RingSize("link", 3.0, 1.0)]
    return model_for(dangling(rng), sizes=sizes, **options)


def placed_model(*, metals=(SILVER,), tolerance=0.01):
    """Seven rings in pairs with single joins, and their model."""
    ring = size(4.0)
    placed = place(Run((side(2, ring), join(1, ring)), repeat=3), starts=1)
    each = RingMetals(metals, np.arange(len(placed.rings)) % len(metals))
    return placed, model_of(placed.rings, placed.graph, each, tolerance=tolerance)


def none_at_all():
    return model_for(Bodies(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), np.empty(0)))


def objects_of(path):
    """Vertices and faces (counting from 0 in each object) by object name, read by hand."""
    objects, count = {}, 0
    for line in path.read_text().splitlines():
        key, *words = line.split()
        if key == "o":
            (name,) = words
            assert name not in objects
            objects[name] = ([], [])
            first = count
        elif key == "v":
            objects[name][0].append([float(word) for word in words])
            count += 1
        elif key == "f":
            objects[name][1].append([int(word) - 1 - first for word in words])
        else:
            assert key in ("#", "mtllib", "usemtl")
    return {name: (np.array(v), np.array(f)) for name, (v, f) in objects.items()}


def expected_volumes(rings, tolerance=0.01):
    return [
        faceted_volume(r, w, *segment_counts(r, w, tolerance))
        for r, w in zip(rings.radii, rings.wire_radii, strict=True)
    ]


def test_trimesh_finds_every_ring_whole(tmp_path, rng):
    rings = random_rings(rng, 8, spread=4.0)
    write_obj(tmp_path / "a.obj", model_for(rings))
    mesh = trimesh.load(tmp_path / "a.obj", force="mesh")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == len(rings)
    assert sorted(body.volume for body in mesh.split()) == pytest.approx(
        sorted(expected_volumes(rings)), rel=1e-3
    )
    low, high = mesh.bounds
    true_low, true_high = rings.bounds()
    assert (low >= true_low - 1e-5).all()
    assert (high <= true_high + 1e-5).all()
    assert (low <= true_low + 0.01).all()
    assert (high >= true_high - 0.01).all()


def test_stretch_comes_after_all_else(tmp_path, rng):
    model = dangling_model(rng)
    write_obj(tmp_path / "a.obj", model)
    write_obj(tmp_path / "b.obj", replace(model, stretch=STRETCH))
    (plain, one), (stretched, other) = (groups_of(tmp_path / f"{name}.obj") for name in "ab")
    assert one == other
    assert stretched == pytest.approx(np.array(STRETCH) * plain, abs=1.6e-5)


def test_one_named_object_a_ring(tmp_path):
    placed, model = placed_model()
    path = tmp_path / "a.obj"
    write_obj(path, model)
    objects = objects_of(path)
    assert tuple(objects) == placed.graph.names
    for k, (vertices, faces) in enumerate(objects.values()):
        # Every object stands by itself: it uses its own vertices, and all of them.
        assert sorted(set(faces.ravel().tolist())) == list(range(len(vertices)))
        away = vertices - placed.rings.centres[k]
        height = away @ placed.rings.normals[k]
        from_axis = np.sqrt((away**2).sum(axis=1) - height**2)
        on_torus = np.hypot(from_axis - placed.rings.radii[k], height)
        assert on_torus == pytest.approx(placed.rings.wire_radii[k], abs=2e-5)
        body = trimesh.Trimesh(vertices, faces, process=False)
        assert body.is_watertight
        assert body.volume == pytest.approx(expected_volumes(placed.rings)[k], rel=1e-4)


def test_unit_and_size(tmp_path, rng):
    rings = random_rings(rng, 2)
    written = write_obj(tmp_path / "a.obj", model_for(rings, tolerance=0.05))
    content = (tmp_path / "a.obj").read_bytes()
    assert written == len(content)
    assert b"unit: millimetre" in content.splitlines()[0]
    assert content.isascii()
    assert content.endswith(b"\n")
    volumes = [trimesh.Trimesh(v, f).volume for v, f in objects_of(tmp_path / "a.obj").values()]
    assert volumes == pytest.approx(expected_volumes(rings, 0.05), rel=1e-3)


def test_no_rings(tmp_path):
    write_obj(tmp_path / "a.obj", none_at_all())
    assert objects_of(tmp_path / "a.obj") == {}
    assert materials_of(tmp_path / "a.mtl") == {}


def test_same_bytes_twice(tmp_path, rng):
    rings = random_rings(rng, 3)
    for name in ("a", "b"):
        write_obj(tmp_path / name / "piece.obj", model_for(rings))
    for ending in ("obj", "mtl"):
        one, two = (tmp_path / name / f"piece.{ending}" for name in ("a", "b"))
        assert one.read_bytes() == two.read_bytes()


@pytest.mark.parametrize("good", [0, 1])
def test_a_full_disk_leaves_the_old_model_and_materials(tmp_path, rng, monkeypatch, good):
    obj, mtl = tmp_path / "a.obj", tmp_path / "a.mtl"
    obj.write_bytes(b"old model")
    mtl.write_bytes(b"old materials")
    calls = []

    def full(_):
        calls.append(1)
        if len(calls) > good:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_obj(obj, model_for(random_rings(rng, 2)))
    assert len(calls) == good + 1
    assert obj.read_bytes() == b"old model"
    assert mtl.read_bytes() == b"old materials"
    assert sorted(tmp_path.iterdir()) == [mtl, obj]


def groups_of(path):
    """Objects of an OBJ file by name, and in each the faces of every group, read by hand."""
    vertices, objects = [], {}
    for line in path.read_text().splitlines():
        key, *words = line.split()
        if key == "o":
            body = objects.setdefault(" ".join(words), {})
        elif key == "g":
            group = body.setdefault(" ".join(words), [])
        elif key == "v":
            vertices.append([float(word) for word in words])
        elif key == "f":
            group.append([int(word) - 1 for word in words])
    return np.array(vertices), objects


def test_findings_are_objects_with_a_group_a_part(tmp_path, rng):
    write_obj(tmp_path / "a.obj", dangling_model(rng))
    bodies = dangling(np.random.default_rng(20))
    vertices, objects = groups_of(tmp_path / "a.obj")
    parts = ["_".join(bead.part.split()) for bead in BEADED.beads]
    assert {name: list(groups) for name, groups in objects.items()} == {
        "1a": ["1a-wire"],
        "2a": ["2a-wire"],
        "3a": ["3a-wire", *(f"3a-{part}" for part in parts)],
        "4a": ["4a-wire"],
    }
    names = [name for groups in objects.values() for name in groups]
    assert len(set(names)) == len(names)
    for k, groups in enumerate(objects.values()):
        for faces in groups.values():
            body = trimesh.Trimesh(vertices, faces, process=False)
            assert body.is_watertight
            assert body.is_winding_consistent
            assert body.volume > 0.0
        used = vertices[np.unique(np.concatenate(list(groups.values())))]
        low, high = bodies[k : k + 1].bounds()
        assert used.min(axis=0) == pytest.approx(low, abs=0.01)
        assert used.max(axis=0) == pytest.approx(high, abs=0.01)
    # The glass ball by itself: 4 mm across, its hole 1 mm.
    ball = trimesh.Trimesh(vertices, objects["3a"][f"3a-{parts[0]}"], process=False)
    assert ball.volume == pytest.approx(np.pi / 6.0 * 15.0**1.5, rel=2e-2)
    assert ball.euler_number == 0


def test_trimesh_reads_a_piece_with_findings(tmp_path, rng):
    model = dangling_model(rng)
    write_obj(tmp_path / "a.obj", model)
    bodies = dangling(np.random.default_rng(20))
    mesh = trimesh.load(tmp_path / "a.obj", force="mesh")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 6
    true_low, true_high = bodies.bounds()
    assert mesh.bounds[0] == pytest.approx(true_low, abs=0.01)
    assert mesh.bounds[1] == pytest.approx(true_high, abs=0.01)


def materials_of(path):
    """The materials of an MTL file by name, each the numbers of its keys, read by hand."""
    assert path.read_bytes().isascii()
    materials = {}
    for line in path.read_text().splitlines():
        key, *words = line.split() or ["#"]
        if key == "newmtl":
            (name,) = words
            assert name not in materials
            materials[name] = {}
        elif key != "#":
            assert key not in materials[name]
            materials[name][key] = [float(word) for word in words]
    return materials


def faces_by_material(path):
    """Of each object in a file the number of faces of each material, read by hand."""
    objects = {}
    for line in path.read_text().splitlines():
        key, *words = line.split()
        if key == "o":
            own = objects.setdefault(" ".join(words), {})
            material = None
        elif key == "usemtl":
            (material,) = words
        elif key == "f":
            own[material] = own.get(material, 0) + 1
    return objects


def test_every_ring_names_its_metal(tmp_path):
    placed, model = placed_model(metals=(SILVER, COPPER))
    write_obj(tmp_path / "a.obj", model)
    # The file of materials is named as it is beside the model, with no folder.
    assert (tmp_path / "a.obj").read_text().splitlines()[1] == "mtllib a.mtl"
    objects = faces_by_material(tmp_path / "a.obj")
    assert [list(own) for own in objects.values()] == [
        [("sterling_silver", "copper")[k % 2]] for k in range(len(placed.rings))
    ]
    materials = materials_of(tmp_path / "a.mtl")
    assert list(materials) == ["sterling_silver", "copper"]
    for metal, values in zip((SILVER, COPPER), materials.values(), strict=True):
        assert values["Kd"] == values["Ks"] == pytest.approx(list(metal.colour), abs=5e-5)
        assert values["Pr"] == [metal.roughness]
        assert values["Pm"] == [1.0]
        assert values["d"] == [1.0]


def test_beads_have_materials_of_their_own(tmp_path, rng):
    write_obj(tmp_path / "a.obj", dangling_model(rng))
    objects = faces_by_material(tmp_path / "a.obj")
    ball, disc = "bead_1a7380", "bead_cc331a"
    assert [list(own) for own in objects.values()] == [
        ["sterling_silver"],
        ["sterling_silver"],
        ["sterling_silver", ball, disc],
        ["sterling_silver"],
    ]
    materials = materials_of(tmp_path / "a.mtl")
    for bead, name in zip(BEADED.beads, (ball, disc), strict=True):
        assert materials[name]["Kd"] == pytest.approx(list(bead.colour))
        assert materials[name]["Pm"] == [0.0]
        assert materials[name]["Pr"] == [GLASS_ROUGHNESS]
        assert len(set(materials[name]["Ks"])) == 1


def test_trimesh_finds_the_materials(tmp_path, rng):
    model = dangling_model(rng)
    write_obj(tmp_path / "a.obj", model)
    scene = trimesh.load_scene(tmp_path / "a.obj")
    found = {mesh.visual.material.name: mesh for mesh in scene.geometry.values()}
    assert set(found) == {"sterling_silver", "bead_1a7380", "bead_cc331a"}
    for material in model.materials:
        mesh = found[material.name.replace(" #", "_").replace(" ", "_")]
        assert mesh.is_watertight
        assert mesh.visual.material.diffuse[:3] == pytest.approx(255.0 * np.array(material.colour), abs=1.0)
    # Wires: four bodies; the head of the pin is one with its wire.
    assert {name: mesh.body_count for name, mesh in found.items()} == {
        "sterling_silver": 4,
        "bead_1a7380": 1,
        "bead_cc331a": 1,
    }


def test_materials_whose_names_fall_together_stay_apart(tmp_path, rng):
    colours = ((0.1, 0.2, 0.9), (0.9, 0.2, 0.1), (0.2, 0.8, 0.2), (0.5, 0.5, 0.5))
    called = ("sea blue", "sea#blue", "\u6d77", "mer \u00e9t\u00e9")
    metals = tuple(Metal(name, 2.7, "invented", colour) for name, colour in zip(called, colours, strict=True))
    write_obj(tmp_path / "a.obj", model_for(random_rings(rng, 4), metals=metals))
    materials = materials_of(tmp_path / "a.mtl")
    assert set(materials) == {"sea_blue", "sea_blue_2", "material", "mer_t"}
    used = [list(own) for own in faces_by_material(tmp_path / "a.obj").values()]
    assert [materials[name]["Kd"] for (name,) in used] == [list(colour) for colour in colours]


@pytest.mark.parametrize("roughness", [0.22, 0.24, 0.3, 0.5, 0.8, 1.0])
def test_highlights_are_as_wide_as_trimesh_takes_them(roughness):
    """trimesh turns exponents of highlights into roughness by itself."""
    old = trimesh.visual.material.SimpleMaterial(glossiness=highlight_exponent(roughness))
    assert old.to_pbr().roughnessFactor == pytest.approx(roughness, rel=1e-12)


def test_highlights_stay_within_the_format():
    # Ns from 0 to 1000: the format's description of 1995, from memory.
    exponents = [highlight_exponent(roughness) for roughness in np.linspace(0.0, 1.0, 101)]
    assert exponents[0] == 1000.0
    assert exponents[-1] == 0.0
    assert (np.diff(exponents) <= 0.0).all()


def test_every_metal_of_the_tables_can_be_written(tmp_path, rng):
    write_obj(tmp_path / "a.obj", model_for(random_rings(rng, len(METALS)), metals=METALS))
    materials = materials_of(tmp_path / "a.mtl")
    assert len(materials) == len(METALS)
    for values in materials.values():
        assert set(values) == {"Kd", "Ks", "Ns", "d", "illum", "Pr", "Pm"}
        assert 0.0 < values["Ns"][0] <= 1000.0
