"""Wavefront OBJ, reopened by trimesh and by hand."""

import errno
import os

import numpy as np
import pytest
import trimesh

from chaingen.errors import CannotWrite
from chaingen.geometry.bodies import Bodies
from chaingen.model.mesh import segment_counts
from chaingen.model.obj import write_obj
from chaingen.solve.place import place
from chaingen.weave.groups import Run
from tests.conftest import join, random_rings, side, size
from tests.test_mesh import faceted_volume
from tests.test_stl import BEADED, dangling


def names_of(rings):
    return [f"{k + 1}a" for k in range(len(rings))]


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
            assert key == "#"
    return {name: (np.array(v), np.array(f)) for name, (v, f) in objects.items()}


def expected_volumes(rings, tolerance=0.01):
    return [
        faceted_volume(r, w, *segment_counts(r, w, tolerance))
        for r, w in zip(rings.radii, rings.wire_radii, strict=True)
    ]


def test_trimesh_finds_every_ring_whole(tmp_path, rng):
    rings = random_rings(rng, 8, spread=4.0)
    write_obj(tmp_path / "a.obj", rings, names_of(rings))
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


def test_one_named_object_a_ring(tmp_path):
    ring = size(4.0)
    placed = place(Run((side(2, ring), join(1, ring)), repeat=3), starts=1)
    path = tmp_path / "a.obj"
    write_obj(path, placed.rings, placed.graph.names)
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
    written = write_obj(tmp_path / "a.obj", rings, ["1a", "1b"], tolerance=0.05)
    content = (tmp_path / "a.obj").read_bytes()
    assert written == len(content)
    assert b"unit: millimetre" in content.splitlines()[0]
    assert content.isascii()
    assert content.endswith(b"\n")
    volumes = [trimesh.Trimesh(v, f).volume for v, f in objects_of(tmp_path / "a.obj").values()]
    assert volumes == pytest.approx(expected_volumes(rings, 0.05), rel=1e-3)


def test_no_rings(tmp_path):
    none = Bodies(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), np.empty(0))
    write_obj(tmp_path / "a.obj", none, [])
    assert objects_of(tmp_path / "a.obj") == {}


def test_same_bytes_twice(tmp_path, rng):
    rings = random_rings(rng, 3)
    for name in ("a.obj", "b.obj"):
        write_obj(tmp_path / name, rings, names_of(rings))
    assert (tmp_path / "a.obj").read_bytes() == (tmp_path / "b.obj").read_bytes()


def test_a_full_disk_leaves_the_old_model(tmp_path, rng, monkeypatch):
    path = tmp_path / "a.obj"
    path.write_bytes(b"old")

    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_obj(path, random_rings(rng, 2), ["1a", "1b"])
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


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
    bodies = dangling(rng)
    write_obj(tmp_path / "a.obj", bodies, ["1a", "2a", "3a", "4a"])
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
    # The glass ball by itself: 4 mm across.
    ball = trimesh.Trimesh(vertices, objects["3a"][f"3a-{parts[0]}"], process=False)
    assert ball.volume == pytest.approx(4.0 / 3.0 * np.pi * 8.0, rel=2e-2)


def test_trimesh_reads_a_piece_with_findings(tmp_path, rng):
    bodies = dangling(rng)
    write_obj(tmp_path / "a.obj", bodies, ["1a", "2a", "3a", "4a"])
    mesh = trimesh.load(tmp_path / "a.obj", force="mesh")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 7
    true_low, true_high = bodies.bounds()
    assert mesh.bounds[0] == pytest.approx(true_low, abs=0.01)
    assert mesh.bounds[1] == pytest.approx(true_high, abs=0.01)
