"""Binary STL, reopened by trimesh and by hand."""

import errno
import io
import os
import tracemalloc

import numpy as np
import pytest
import trimesh

from chaingen import files
from chaingen.errors import CannotWrite
from chaingen.geometry.bodies import Bodies
from chaingen.model import stl
from chaingen.model.mesh import segment_counts, torus_mesh
from chaingen.model.stl import write_stl
from chaingen.model.templates import triangle_count
from tests.conftest import random_rings, rings_of
from tests.test_mesh import faceted_volume

# The facet of the format, written down once more: normal, three corners, attribute.
RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def chain(count):
    """Rings of two sizes in two planes, each linked with the next."""
    return rings_of(
        *(
            ((2.4 * k, 0.0, 0.0), ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0))[k % 2], (2.0, 2.5)[k % 3 == 0], 0.5)
            for k in range(count)
        )
    )


def facets_of(path):
    content = path.read_bytes()
    count = int.from_bytes(content[80:84], "little")
    assert len(content) == 84 + 50 * count
    return np.frombuffer(content, dtype=RECORD, offset=84)


def test_trimesh_finds_every_ring_whole(tmp_path):
    rings = chain(12)
    write_stl(tmp_path / "a.stl", rings)
    mesh = trimesh.load(tmp_path / "a.stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    # Every ring is its own shell: as many bodies, each with the volume of the faceted torus.
    assert mesh.body_count == len(rings)
    expected = [
        faceted_volume(r, w, *segment_counts(r, w, 0.01))
        for r, w in zip(rings.radii, rings.wire_radii, strict=True)
    ]
    assert sorted(body.volume for body in mesh.split()) == pytest.approx(sorted(expected), rel=1e-4)
    assert mesh.volume == pytest.approx(sum(expected), rel=1e-5)
    assert mesh.euler_number == 0


def test_it_lies_where_the_rings_lie(tmp_path, rng):
    rings = random_rings(rng, 20, spread=30.0)
    write_stl(tmp_path / "a.stl", rings)
    low, high = trimesh.load(tmp_path / "a.stl").bounds
    true_low, true_high = rings.bounds()
    # Inside the true wires, and no farther in than the tolerance; a micrometre for 32-bit numbers.
    assert (low >= true_low - 1e-5).all()
    assert (high <= true_high + 1e-5).all()
    assert (low <= true_low + 0.01).all()
    assert (high >= true_high - 0.01).all()


def test_header_says_millimetres_and_binary(tmp_path):
    rings = chain(3)
    size = write_stl(tmp_path / "a.stl", rings)
    content = (tmp_path / "a.stl").read_bytes()
    # A file that begins with "solid" is taken for the text form of the format.
    assert not content[:80].lower().startswith(b"solid")
    assert b"unit: millimetre" in content[:80]
    assert int.from_bytes(content[80:84], "little") == triangle_count(rings)
    assert size == len(content) == 84 + 50 * triangle_count(rings)


def test_every_facet_by_hand(tmp_path, rng):
    rings = random_rings(rng, 5, spread=4.0)
    write_stl(tmp_path / "a.stl", rings, tolerance=0.02)
    facets = facets_of(tmp_path / "a.stl")
    assert (facets["attribute"] == 0).all()
    a, b, c = np.moveaxis(facets["corners"].astype(float), 1, 0)
    normals = np.cross(b - a, c - a)
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    assert facets["normal"] == pytest.approx(normals, abs=2e-3)
    # Ring by ring in the order given, each on its own torus.
    start = 0
    for k in range(len(rings)):
        count = 2 * int(np.prod(segment_counts(rings.radii[k], rings.wire_radii[k], 0.02)))
        away = facets["corners"][start : start + count].reshape(-1, 3) - rings.centres[k]
        height = away @ rings.normals[k]
        from_axis = np.sqrt((away**2).sum(axis=1) - height**2)
        assert np.hypot(from_axis - rings.radii[k], height) == pytest.approx(rings.wire_radii[k], abs=1e-5)
        start += count
    assert start == len(facets)


def test_a_finer_tolerance_is_kept(tmp_path):
    rings = chain(2)
    for tolerance in (0.1, 0.001):
        assert write_stl(tmp_path / "a.stl", rings, tolerance=tolerance) == 84 + 50 * sum(
            len(torus_mesh(r, w, tolerance).faces) for r, w in zip(rings.radii, rings.wire_radii, strict=True)
        )


def test_chunks_leave_no_trace(tmp_path, monkeypatch):
    rings = chain(40)
    write_stl(tmp_path / "a.stl", rings)
    whole = (tmp_path / "a.stl").read_bytes()
    for chunk in (1, 3000, 7001):
        monkeypatch.setattr(stl, "CHUNK_FACETS", chunk)
        write_stl(tmp_path / "b.stl", rings)
        assert (tmp_path / "b.stl").read_bytes() == whole


def test_no_rings(tmp_path):
    none = Bodies(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), np.empty(0))
    assert write_stl(tmp_path / "a.stl", none) == 84
    assert len(facets_of(tmp_path / "a.stl")) == 0


def test_memory_does_not_grow_with_the_file(tmp_path):
    rings = chain(250)
    write_stl(tmp_path / "a.stl", chain(1))
    tracemalloc.start()
    try:
        size = write_stl(tmp_path / "a.stl", rings)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert size > 20e6
    assert peak < 5e6


def test_more_facets_than_the_format_counts(tmp_path, monkeypatch):
    assert stl.MOST_FACETS == 0xFFFFFFFF
    monkeypatch.setattr(stl, "MOST_FACETS", triangle_count(chain(2)) - 1)
    with pytest.raises(CannotWrite, match="more than STL can count; use a larger tolerance"):
        write_stl(tmp_path / "a.stl", chain(2))
    assert list(tmp_path.iterdir()) == []
    write_stl(tmp_path / "a.stl", chain(1))


@pytest.mark.parametrize("room", [0, 100, 500_000, 2_500_000])
def test_a_disk_that_fills_up_leaves_the_old_model(tmp_path, monkeypatch, room):
    class Filling(io.FileIO):
        def write(self, data):
            if self.tell() + len(data) > room:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            return super().write(data)

    path = tmp_path / "a.stl"
    path.write_bytes(b"old")
    monkeypatch.setattr(files.os, "fdopen", lambda handle, mode: Filling(handle, mode))
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_stl(path, chain(40))
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
