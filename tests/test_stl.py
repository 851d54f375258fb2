"""Binary STL, reopened by trimesh and by hand."""

import tracemalloc
from contextlib import contextmanager

import numpy as np
import pytest
import trimesh

from chaingen.errors import CannotWrite
from chaingen.findings.hooks import ear_wire
from chaingen.findings.links import oval_link
from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.shapes import ring_shape
from chaingen.model import stl
from chaingen.model.kinds import Kind, Material, Model
from chaingen.model.mesh import TOLERANCE, frames, segment_counts, torus_mesh
from chaingen.model.stl import write_stl
from chaingen.model.templates import templates, triangle_count
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


def plain_model(bodies, tolerance=TOLERANCE, stretch=(1.0, 1.0, 1.0)):
    """Bodies of one material, beads and all, named by their numbers."""
    meshes, of_body = templates(bodies, tolerance)
    kinds = tuple(
        Kind(f"{number}, {part}", mesh.part(part), 0, np.flatnonzero(of_body == number))
        for number, mesh in enumerate(meshes)
        for part, _, _ in mesh.parts
    )
    names = tuple(str(k) for k in range(len(bodies)))
    silver = Material("silver", (0.9, 0.9, 0.9), 0.2)
    return Model(kinds, (silver,), frames(bodies), bodies.centres, names, stretch)


def random_turn(rng):
    """A rotation matrix, shape (3, 3)."""
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return q * np.linalg.det(q)


BEADED = head_pin(
    beads=(
        Threaded("ball", 4.0, None, 1.0, (0.1, 0.45, 0.5)),
        Threaded("disc", 5.0, 1.2, 1.0, (0.8, 0.2, 0.1)),
    )
)
"""Wire with a loop and a ball of metal as its head, a glass ball and a disc: three shells."""


def dangling(rng):
    """An ear wire, a ring, an oval link and a beaded pin, turned and apart."""
    parts = [shaped(finding.shape) for finding in (ear_wire(), oval_link(), BEADED)] + [chain(1)]
    turned = [part.turned(random_turn(rng)) for part in parts]
    return concatenate([part.moved(np.array([30.0 * k, 5.0, -4.0])) for k, part in enumerate(turned)])


def facets_of(path):
    content = path.read_bytes()
    count = int.from_bytes(content[80:84], "little")
    assert len(content) == 84 + 50 * count
    return np.frombuffer(content, dtype=RECORD, offset=84)


def test_trimesh_finds_every_ring_whole(tmp_path):
    rings = chain(12)
    write_stl(tmp_path / "a.stl", plain_model(rings))
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
    write_stl(tmp_path / "a.stl", plain_model(rings))
    low, high = trimesh.load(tmp_path / "a.stl").bounds
    true_low, true_high = rings.bounds()
    # Inside the true wires, and no farther in than the tolerance; a micrometre for 32-bit numbers.
    assert (low >= true_low - 1e-5).all()
    assert (high <= true_high + 1e-5).all()
    assert (low <= true_low + 0.01).all()
    assert (high >= true_high - 0.01).all()


def test_header_says_millimetres_and_binary(tmp_path):
    rings = chain(3)
    size = write_stl(tmp_path / "a.stl", plain_model(rings))
    content = (tmp_path / "a.stl").read_bytes()
    # A file that begins with "solid" is taken for the text form of the format.
    assert not content[:80].lower().startswith(b"solid")
    assert b"unit: millimetre" in content[:80]
    assert int.from_bytes(content[80:84], "little") == triangle_count(rings)
    assert size == len(content) == 84 + 50 * triangle_count(rings)


def test_every_facet_by_hand(tmp_path, rng):
    rings = random_rings(rng, 5, spread=4.0)
    write_stl(tmp_path / "a.stl", plain_model(rings, tolerance=0.02))
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
        assert write_stl(tmp_path / "a.stl", plain_model(rings, tolerance=tolerance)) == 84 + 50 * sum(
            len(torus_mesh(r, w, tolerance).faces) for r, w in zip(rings.radii, rings.wire_radii, strict=True)
        )


def test_chunks_leave_no_trace(tmp_path, monkeypatch):
    rings = chain(40)
    write_stl(tmp_path / "a.stl", plain_model(rings))
    whole = (tmp_path / "a.stl").read_bytes()
    for chunk in (1, 3000, 7001):
        monkeypatch.setattr(stl, "CHUNK_FACETS", chunk)
        write_stl(tmp_path / "b.stl", plain_model(rings))
        assert (tmp_path / "b.stl").read_bytes() == whole


def test_no_rings(tmp_path):
    none = Bodies(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), np.empty(0))
    assert write_stl(tmp_path / "a.stl", plain_model(none)) == 84
    assert len(facets_of(tmp_path / "a.stl")) == 0


def test_memory_does_not_grow_with_the_file(tmp_path):
    rings = chain(250)
    write_stl(tmp_path / "a.stl", plain_model(chain(1)))
    model = plain_model(rings)
    tracemalloc.start()
    try:
        size = write_stl(tmp_path / "a.stl", model)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert size > 20e6
    assert peak < 5e6


def test_memory_of_ten_thousand_rings(tmp_path, monkeypatch):
    """What is taken besides the model: places in short numbers and two buffers, not the file's 500 MB."""
    model = plain_model(chain(10_000), 0.02)
    assert 50 * sum(len(kind.mesh.faces) * len(kind.bodies) for kind in model.kinds) > 500e6
    seen = []

    @contextmanager
    def nowhere(_):
        class Stream:
            def write(self, content):
                seen.append(len(content))
                return len(content)

        yield Stream()

    write_stl(tmp_path / "a.stl", plain_model(chain(1)))
    monkeypatch.setattr(stl, "whole_file", nowhere)
    tracemalloc.start()
    try:
        size = write_stl(tmp_path / "b.stl", model)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert sum(seen) == size > 500e6
    assert peak < 20e6


def test_more_facets_than_the_format_counts(tmp_path, monkeypatch):
    assert stl.MOST_FACETS == 0xFFFFFFFF
    monkeypatch.setattr(stl, "MOST_FACETS", triangle_count(chain(2)) - 1)
    with pytest.raises(CannotWrite, match="more than STL can count; use a larger tolerance"):
        write_stl(tmp_path / "a.stl", plain_model(chain(2)))
    assert list(tmp_path.iterdir()) == []
    write_stl(tmp_path / "a.stl", plain_model(chain(1)))


@pytest.mark.parametrize("room", [0, 100, 500_000, 2_500_000])
def test_a_disk_that_fills_up_leaves_the_old_model(tmp_path, disk_with, room):
    path = tmp_path / "a.stl"
    path.write_bytes(b"old")
    disk_with(room)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_stl(path, plain_model(chain(40)))
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_trimesh_finds_every_wire_and_bead_whole(tmp_path, rng):
    bodies = dangling(rng)
    write_stl(tmp_path / "a.stl", plain_model(bodies, tolerance=0.002))
    mesh = trimesh.load(tmp_path / "a.stl")
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    # A wire has two ends, one of the pin's in its head; an oval link, a ring and a disc have one hole each.
    assert mesh.body_count == 6
    assert sorted(body.euler_number for body in mesh.split()) == [0, 0, 0, 2, 2, 2]
    # Section times length and two round ends for a wire; a disc 1.2 thick has a half-round rim, and its
    # hole of 1 mm is half-round too.
    exact = [ring_volume(2.5, 0.5), disc_volume(0.6, 1.1, 1.9)]
    for finding in (ear_wire(), oval_link()):
        for strand in finding.shape.strands:
            r, ends = strand.wire_radius, 0.0 if strand.closed else ball_volume(strand.wire_radius)
            exact.append(np.pi * r * r * strand.length + ends)
    pin, head, glass = BEADED.shape.strands[:3]
    exact.append(ball_volume(glass.wire_radius))
    # The pin ends where the ball of its head is as wide as it is: what lies before is common to both.
    r, ball = pin.wire_radius, head.wire_radius
    height = ball - np.sqrt(ball * ball - r * r)
    common = np.pi * height**2 * (3.0 * ball - height) / 3.0
    exact.append(np.pi * r * r * pin.length + 0.5 * ball_volume(r) + ball_volume(ball) - common)
    volumes = np.sort([body.volume for body in mesh.split()])
    assert volumes == pytest.approx(np.sort(exact), rel=8e-3)
    assert (volumes < np.sort(exact)).all()
    low, high = mesh.bounds
    true_low, true_high = bodies.bounds()
    assert (low >= true_low - 1e-4).all()
    assert (high <= true_high + 1e-4).all()
    assert low == pytest.approx(true_low, abs=2.1e-3)
    assert high == pytest.approx(true_high, abs=2.1e-3)


def ball_volume(radius):
    return 4.0 / 3.0 * np.pi * radius**3


def ring_volume(radius, wire_radius):
    return 2.0 * np.pi**2 * radius * wire_radius**2


def disc_volume(w, inner, outer):
    """A flat disc between two circles with half-round rims of radius w (Pappus)."""
    return 2.0 * w * np.pi * (outer**2 - inner**2) + np.pi**2 * w**2 * (outer + inner)


def test_a_ring_shape_makes_the_file_of_a_ring(tmp_path, rng):
    rings = random_rings(rng, 4, spread=3.0)
    shapes = concatenate(
        [
            shaped(ring_shape(float(r), float(w))).posed(c[None], n[None], a[None])
            for r, w, c, n, a in zip(
                rings.radii, rings.wire_radii, rings.centres, rings.normals, rings.first_axes(), strict=True
            )
        ]
    )
    assert not shapes.all_rings
    write_stl(tmp_path / "a.stl", plain_model(rings))
    write_stl(tmp_path / "b.stl", plain_model(shapes))
    one, two = (facets_of(tmp_path / name)["corners"] for name in ("a.stl", "b.stl"))
    assert one == pytest.approx(two, abs=1e-5)
    assert one.shape == two.shape


STRETCH = (1.0204, 1.013, 1.027)
"""Invented: patterns larger by different parts along x, y and z."""


def fitted_circle(points):
    """Middle and radius of the circle nearest to points in a plane, shape (n, 2), by least squares."""
    sums = np.column_stack([2.0 * points, np.ones(len(points))])
    (x, y, rest), *_ = np.linalg.lstsq(sums, (points**2).sum(axis=1), rcond=None)
    return np.array([x, y]), np.sqrt(rest + x * x + y * y)


@pytest.mark.parametrize("turn", ["flat", "standing"])
@pytest.mark.parametrize("stretch", [(1.0204, 1.0204, 1.0204), STRETCH])
def test_a_stretched_ring_measured_back(tmp_path, stretch, turn):
    """What a calliper finds: the ring's inside and its wire, larger by the stretch along each axis."""
    axis = (0.0, 0.0, 1.0) if turn == "flat" else (1.0, 0.0, 0.0)
    ring = rings_of(((40.0, -30.0, 20.0), axis, 5.0, 0.75))
    write_stl(tmp_path / "a.stl", plain_model(ring, 0.002, stretch))
    points = facets_of(tmp_path / "a.stl")["corners"].reshape(-1, 3).astype(float)
    along = 2 if turn == "flat" else 0
    across = [k for k in range(3) if k != along]
    middle = np.array(stretch) * (40.0, -30.0, 20.0)
    assert np.ptp(points[:, along]) == pytest.approx(1.5 * stretch[along], abs=4e-3)
    # Innermost points lie on the waist, an ellipse; made round again by the stretches, a circle.
    flat = (points - middle)[:, across] / np.array(stretch)[across]
    inside = flat[np.linalg.norm(flat, axis=1) < 4.25 + 2e-3]
    assert len(inside) > 50
    centre, radius = fitted_circle(inside)
    assert centre == pytest.approx([0.0, 0.0], abs=1e-4)
    assert 2.0 * radius == pytest.approx(8.5, abs=4e-3)
    # And by the widest and narrowest of it: diameters along the axes themselves.
    waist = (points - middle)[:, across][np.linalg.norm(flat, axis=1) < 4.25 + 2e-3]
    for k, axis_number in enumerate(across):
        assert np.ptp(waist[:, k]) == pytest.approx(8.5 * stretch[axis_number], abs=6e-3)


@pytest.mark.parametrize("stretch", [(1.5, 1.5, 1.5), (1.3, 0.8, 1.1)])
def test_stretch_comes_after_all_else(tmp_path, rng, stretch):
    bodies = dangling(rng)
    write_stl(tmp_path / "a.stl", plain_model(bodies, 0.02))
    write_stl(tmp_path / "b.stl", plain_model(bodies, 0.02, stretch))
    plain, stretched = (facets_of(tmp_path / f"{name}.stl") for name in "ab")
    corners = stretched["corners"].astype(float)
    assert corners == pytest.approx(np.array(stretch) * plain["corners"], abs=4e-5)
    assert trimesh.load(tmp_path / "b.stl").is_watertight
    # Normals are those of the facets as they are there, not of the ones before.
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(normals, axis=1)
    large = areas > np.median(areas)
    cosines = (stretched["normal"] * normals)[large].sum(axis=1) / areas[large]
    assert cosines.min() > 1.0 - 1e-5
    assert np.linalg.norm(stretched["normal"].astype(float), axis=1) == pytest.approx(1.0, abs=1e-5)


def test_chunks_leave_no_trace_of_findings(tmp_path, rng, monkeypatch):
    bodies = dangling(rng)
    write_stl(tmp_path / "a.stl", plain_model(bodies))
    monkeypatch.setattr(stl, "CHUNK_FACETS", 5000)
    write_stl(tmp_path / "b.stl", plain_model(bodies))
    assert (tmp_path / "b.stl").read_bytes() == (tmp_path / "a.stl").read_bytes()
