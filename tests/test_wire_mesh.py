"""Meshes of wire bodies against closed forms: a tube round a curve holds its section times its length."""

import functools
from collections import Counter
from math import acos, pi, tan

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from chaingen.findings.catalogue import KINDS
from chaingen.geometry.bodies import concatenate, shaped
from chaingen.geometry.centrelines import Arc, Bend, Straight, bent_wire, circle
from chaingen.geometry.shapes import Shape, Strand, ring_shape
from chaingen.model.mesh import shells_of, torus_mesh
from chaingen.model.templates import templates
from chaingen.model.wire_mesh import discs, shape_mesh, strand_mesh
from tests.conftest import rings_of
from tests.finding_sizes import SIZED, possible
from tests.test_mesh import points_on_facets, volume
from tests.test_stl import random_turn

WIRE = 0.4

bends = st.builds(
    lambda radius, angle, direction: Bend(radius=radius, angle=angle, direction=direction),
    st.floats(1.0, 6.0), st.floats(5.0, 300.0), st.floats(0.0, 360.0),
)  # fmt: skip
straights = st.builds(lambda length: Bend(length=length), st.floats(0.3, 9.0))
paths = st.lists(st.one_of(bends, straights), min_size=1, max_size=6)


def strand_of(*steps, wire=WIRE, part="wire"):
    return Strand(bent_wire(steps), wire, part)


def ball(radius, at=(0.0, 0.0, 0.0), part="wire"):
    return Strand((Straight(at, (1.0, 0.0, 0.0), 0.0),), radius, part)


def stadium(length=6.0, radius=1.5):
    half = (Bend(length=length), Bend(radius=radius, angle=180.0))
    return strand_of(*half, *half)


def rounded(points, radius):
    """A closed wire along a polygon whose corners are rounded."""
    points = np.array(points, dtype=float)
    ahead = np.roll(points, -1, axis=0) - points
    lengths = np.linalg.norm(ahead, axis=1)
    ahead /= lengths[:, None]
    cut = [radius * tan(0.5 * acos(ahead[k - 1] @ ahead[k])) for k in range(len(points))]
    curves = []
    for k, point in enumerate(points):
        before, after = ahead[k - 1], ahead[k]
        begin = point - cut[k] * before
        inwards = after - (after @ before) * before
        inwards /= np.linalg.norm(inwards)
        centre = begin + radius * inwards
        curves.append(Arc(tuple(centre), tuple(-inwards), tuple(before), radius, acos(before @ after)))
        curves.append(
            Straight(
                tuple(point + cut[k] * after), tuple(after), lengths[k] - cut[k] - cut[(k + 1) % len(points)]
            )
        )
    return Strand(tuple(curves), WIRE)


SKEW = [(0, 0, 0), (9, 1, 0), (8, 9, 3), (7, 5, 9), (1, 7, 6), (-3, 4, 1)]
"""A polygon round which a section carried along without twist comes back turned by no simple angle."""


def distance_to(strand, points):
    """Distance of points to a strand's centreline, curve by curve in closed form [mm]."""
    best = np.full(len(points), np.inf)
    for curve in strand.curves:
        if isinstance(curve, Straight):
            away = points - curve.begin
            t = np.clip(away @ curve.direction, 0.0, curve.length)
            nearest = np.array(curve.begin) + t[:, None] * np.array(curve.direction)
        else:
            away = points - curve.centre
            t = np.arctan2(away @ curve.ahead, away @ curve.start) % (2.0 * pi)
            # Beyond its ends, the nearer of the two.
            t = np.where(t <= curve.angle, t, np.where(t - curve.angle < 2.0 * pi - t, curve.angle, 0.0))
            nearest = np.array([curve.point(value) for value in t])
        best = np.minimum(best, np.linalg.norm(points - nearest, axis=1))
    return best


def assert_closed(mesh, shells=1, handles=0):
    """Every edge once each way, outside outside, and as many holes as there should be."""
    outwards = mesh.normals[mesh.faces].sum(axis=1)
    mesh = mesh.closed
    edges = Counter(pair for a, b, c in mesh.faces.tolist() for pair in ((a, b), (b, c), (c, a)))
    assert set(edges.values()) == {1}
    assert all((b, a) in edges for a, b in edges)
    assert sorted(set(mesh.faces.ravel().tolist())) == list(range(len(mesh.vertices)))
    assert len(mesh.vertices) - len(edges) // 2 + len(mesh.faces) == 2 * (shells - handles)
    assert ((mesh.facet_normals * outwards).sum(axis=1) > 0.0).all()
    assert np.linalg.norm(mesh.normals, axis=1) == pytest.approx(1.0, abs=1e-12)
    assert np.linalg.norm(mesh.facet_normals, axis=1) == pytest.approx(1.0, abs=1e-12)


def assert_order_one(strand, exact):
    """The volume comes to the exact one from below, in proportion to the tolerance."""
    tolerances = np.array([0.04, 0.01, 0.0025, 0.000625]) * strand.wire_radius / WIRE
    lost = np.array([1.0 - volume(strand_mesh(strand, t)) / exact for t in tolerances])
    assert (lost > 0.0).all()
    assert np.polyfit(np.log(tolerances), np.log(lost), 1)[0] == pytest.approx(1.0, abs=0.15)
    assert lost[-1] < 3e-3


@pytest.mark.parametrize("tolerance", [0.3, 0.01, 0.002])
def test_a_whole_arc_is_a_ring(tolerance):
    mesh, ring = shape_mesh(ring_shape(3.0, 0.5), tolerance), torus_mesh(3.0, 0.5, tolerance)
    for name in ("vertices", "normals", "faces", "facet_normals"):
        assert (getattr(mesh, name) == getattr(ring, name)).all()
    assert mesh.parts == ring.parts


def test_a_whole_arc_anywhere_is_a_ring_there():
    normal = np.array([0.36, -0.48, 0.8])
    mesh = strand_mesh(Strand((circle((3.0, -1.0, 2.0), tuple(normal), 3.0),), 0.5))
    away = mesh.vertices - [3.0, -1.0, 2.0]
    height = away @ normal
    assert np.hypot(np.sqrt((away**2).sum(axis=1) - height**2) - 3.0, height) == pytest.approx(0.5, abs=1e-12)
    assert_closed(mesh, handles=1)
    assert volume(mesh) == pytest.approx(volume(torus_mesh(3.0, 0.5)), rel=1e-12)


@given(path=paths, tolerance=st.floats(0.004, 0.2))
def test_open_wires_are_closed_tubes_with_round_ends(path, tolerance):
    assert_closed(strand_mesh(strand_of(*path), tolerance))


@given(
    radius=st.floats(0.8, 9.0),
    angle=st.floats(3.0, 180.0),
    direction=st.floats(0.0, 360.0),
    tolerance=st.floats(0.004, 0.2),
)
def test_no_point_is_farther_off_than_the_tolerance(radius, angle, direction, tolerance):
    # Up to half a turn a wire cannot run into itself.
    strand = strand_of(
        Bend(length=2.0), Bend(radius=radius, angle=angle, direction=direction), Bend(length=1.0)
    )
    assert_tolerance_kept(strand, tolerance)


def assert_tolerance_kept(strand, tolerance):
    """Vertices lie on the wire; facets inside it, or outside it where they span the inside of a bend."""
    mesh = strand_mesh(strand, tolerance)
    assert distance_to(strand, mesh.vertices) == pytest.approx(strand.wire_radius, abs=1e-9)
    off = distance_to(strand, points_on_facets(mesh, 3)) - strand.wire_radius
    assert np.abs(off).max() <= tolerance * (1.0 + 1e-9)


@pytest.mark.parametrize("tolerance", [0.05, 0.006])
@pytest.mark.parametrize("strand", [stadium(), rounded(SKEW, 1.2)], ids=["stadium", "skew loop"])
def test_the_tolerance_is_kept_all_round(strand, tolerance):
    assert_tolerance_kept(strand, tolerance)


def test_a_straight_needs_its_ends_only():
    short, long = (len(strand_mesh(strand_of(Bend(length=length))).faces) for length in (1.0, 100.0))
    assert short == long


def test_volume_of_an_open_wire():
    # Half a turn and two straights in a plane: pi r^2 (4 + 2 pi + 3), and a ball for its two round ends.
    strand = strand_of(Bend(length=4.0), Bend(radius=2.0, angle=180.0), Bend(length=3.0))
    exact = pi * WIRE**2 * (7.0 + 2.0 * pi) + 4.0 / 3.0 * pi * WIRE**3
    assert exact == pytest.approx(6.9448, abs=5e-4)
    assert_order_one(strand, exact)


def test_volume_of_a_closed_wire_in_a_plane():
    # Two straights of 6 and a whole circle of 1.5 mm: pi r^2 (12 + 3 pi).
    assert_order_one(stadium(), pi * WIRE**2 * (12.0 + 3.0 * pi))


def test_volume_of_a_closed_wire_in_space():
    # Weyl's tube formula: section times length, whatever way the wire bends.
    strand = rounded(SKEW, 1.2)
    assert strand.closed
    assert_order_one(strand, pi * WIRE**2 * sum(curve.length for curve in strand.curves))


@pytest.mark.parametrize("tolerance", [0.3, 0.05, 0.02, 0.01, 0.004])
def test_a_closed_wire_has_no_seam(tolerance):
    for strand in (stadium(), rounded(SKEW, 1.2)):
        mesh = strand_mesh(strand, tolerance)
        assert_closed(mesh, handles=1)
        # Across a seam, facets would cut through the wire instead of lying along it.
        along = np.einsum("fka,fa->fk", mesh.normals[mesh.faces], mesh.facet_normals)
        assert along.min() > 0.75


def test_a_ball():
    assert_order_one(ball(1.7), 4.0 / 3.0 * pi * 1.7**3)
    mesh = strand_mesh(ball(1.7, (1.0, 2.0, 3.0)))
    assert_closed(mesh)
    assert np.linalg.norm(mesh.vertices - [1.0, 2.0, 3.0], axis=1) == pytest.approx(1.7, abs=1e-12)
    assert np.linalg.norm(points_on_facets(mesh) - [1.0, 2.0, 3.0], axis=1).min() >= 1.7 - 0.01


def disc(radii, wire=0.5, part="drift"):
    return Shape(tuple(Strand((circle((1.0, 2.0, 3.0), (0.0, 0.6, 0.8), r),), wire, part) for r in radii), ())


def test_a_disc_of_circles_is_one_body():
    # A flat ring from 1.0 to 2.6 mm, 1 mm thick; rims by Pappus: a half disc has its centroid at
    # 4 w / 3 pi.
    w, inner, outer = 0.5, 1.0, 2.6
    lever = 4.0 * w / (3.0 * pi)
    exact = 2.0 * w * pi * (outer**2 - inner**2) + pi**2 * w**2 * (outer + lever + inner - lever)
    shape = disc((1.7, 2.6, 1.0))
    mesh = shape_mesh(shape, 1e-3)
    assert_closed(mesh, handles=1)
    assert mesh.parts == (("drift", len(mesh.vertices), len(mesh.faces)),)
    assert exact * (1.0 - 5e-3) < volume(mesh) < exact
    low, high = shaped(shape).bounds()
    assert mesh.vertices.min(axis=0) == pytest.approx(low, abs=1e-3)
    assert mesh.vertices.max(axis=0) == pytest.approx(high, abs=1e-3)


def test_a_disc_whose_wires_fill_its_middle_has_no_hole():
    mesh = shape_mesh(disc((0.4, 1.2)), 1e-3)
    assert_closed(mesh)
    exact = pi * 1.2**2 + 2.0 * pi * (1.2 + 2.0 / (3.0 * pi)) * pi * 0.125
    assert exact * (1.0 - 5e-3) < volume(mesh) < exact


def test_a_circle_that_its_wire_fills_is_a_disc():
    mesh = shape_mesh(disc((0.3,)), 1e-3)
    assert_closed(mesh)
    exact = pi * 0.3**2 + 2.0 * pi * (0.3 + 2.0 / (3.0 * pi)) * pi * 0.125
    assert exact * (1.0 - 5e-3) < volume(mesh) < exact


def test_circles_apart_stay_rings():
    mesh = shape_mesh(disc((1.0, 2.1)), 0.01)
    assert_closed(mesh, shells=2, handles=2)
    both = volume(torus_mesh(1.0, 0.5)) + volume(torus_mesh(2.1, 0.5))
    assert volume(mesh) == pytest.approx(both, rel=1e-12)


def beaded():
    pin = strand_of(Bend(length=8.0), Bend(radius=1.2, angle=270.0))
    return Shape(
        (pin, ball(2.0, (3.0, 0.0, 0.0), "sea glass"), ball(0.9), ball(1.0, (6.0, 0.0, 0.0), "seed")), ()
    )


def test_parts_by_themselves():
    shape = beaded()
    mesh = shape_mesh(shape)
    assert [part for part, _, _ in mesh.parts] == ["wire", "sea glass", "seed"]
    assert mesh.part("drift") is None
    for part, strands in (("wire", (0, 2)), ("sea glass", (1,)), ("seed", (3,))):
        alone = mesh.part(part)
        assert_closed(alone)
        own = sum(volume(strand_mesh(shape.strands[k])) for k in strands)
        if part == "wire":
            # The ball at its beginning holds the wire up to where it is as thick as that, and its round end.
            r, ball = WIRE, 0.9
            seat = np.sqrt(ball**2 - r**2)
            own -= pi * r**2 * seat + pi * (ball - seat) ** 2 * (3.0 * ball - ball + seat) / 3.0
            own -= 2.0 / 3.0 * pi * r**3
        assert volume(alone) == pytest.approx(own, rel=1e-12 if part != "wire" else 4e-3)
    assert sum(len(mesh.part(part).faces) for part, _, _ in mesh.parts) == len(mesh.faces)


FINDINGS = [(kind, number) for kind in SIZED for number in range(3)]


@functools.cache
def finding(kind, number):
    return KINDS[kind].build(**possible(kind, 3)[number])


def shells_alone(mesh):
    """Each shell of a mesh by itself, as a solid."""
    count, shell_of = shells_of(mesh)
    faces_of = shell_of[mesh.faces[:, 0]]
    return [
        manifold3d.Manifold(
            manifold3d.Mesh64(
                vert_properties=mesh.vertices, tri_verts=mesh.faces[faces_of == k].astype(np.uint64)
            )
        )
        for k in range(count)
    ]


@pytest.mark.parametrize("tolerance", [0.3, 0.02, 0.004])
@pytest.mark.parametrize(("kind", "number"), FINDINGS)
def test_soldered_wires_are_one_shell(kind, number, tolerance):
    """Every part of every finding: shells that neither overlap nor hold others; of wire, one."""
    shape = finding(kind, number).shape
    mesh = shape_mesh(shape, tolerance)
    for part, _, _ in mesh.parts:
        alone = mesh.part(part).closed
        shells = shells_alone(alone)
        assert len(shells) == 1
        assert all(shell.volume() > 0.0 for shell in shells)
        whole = manifold3d.Manifold.batch_boolean(shells, manifold3d.OpType.Add)
        assert whole.volume() == pytest.approx(sum(shell.volume() for shell in shells), rel=1e-12)
        assert volume(alone) == pytest.approx(whole.volume(), rel=1e-9)
        assert sorted(set(alone.faces.ravel().tolist())) == list(range(len(alone.vertices)))
        # As a file holds it, far out and turned, still closed for one who joins equal points.
        turn = random_turn(np.random.default_rng(number))
        points = (alone.vertices @ turn + (150.0, -80.0, 120.0)).astype(np.float32)
        reopened = trimesh.Trimesh(
            points[alone.faces].reshape(-1, 3), np.arange(3 * len(alone.faces)).reshape(-1, 3)
        )
        assert reopened.is_watertight


@pytest.mark.parametrize("tolerance", [0.05, 0.01])
@pytest.mark.parametrize(("kind", "number"), FINDINGS)
def test_soldered_wires_keep_to_the_true_surface(kind, number, tolerance):
    """No point of a facet is outside any wire by more than the tolerance, nor deeper in all of them."""
    shape = finding(kind, number).shape
    strands = [strand for strand in shape.strands if strand.part == "wire"]
    if any(len(row) > 1 for row in discs(strands)):
        # Circles that stand for a disc: their wires are not its surface.
        strands = [strand for row in discs(strands) if len(row) == 1 for strand in row]
        flat = True
    else:
        flat = False
    mesh = shape_mesh(shape, tolerance).part("wire")
    points = points_on_facets(mesh, 2)
    depth = np.min([distance_to(s, points) - s.wire_radius for s in strands], axis=0)
    if not flat:
        assert depth.max() <= tolerance * 1.02
    # In a hollow that coils shut in there is no surface, and none within any wire.
    assert depth.min() >= -tolerance * 1.02


@pytest.mark.parametrize(("kind", "number"), FINDINGS)
def test_normals_of_soldered_wires_are_those_of_the_wires(kind, number):
    """Along a seam each surface keeps its own: light runs on up to it, and no facet is dark."""
    shape = finding(kind, number).shape
    strands = [strand for strand in shape.strands if strand.part == "wire"]
    if any(len(row) > 1 for row in discs(strands)):
        return
    mesh = shape_mesh(shape, 0.004).part("wire")
    middles = mesh.vertices[mesh.faces].mean(axis=1)
    told = mesh.normals[mesh.faces].mean(axis=1)
    told /= np.linalg.norm(told, axis=1)[:, None]
    step = 1e-5

    def outside(points):
        return np.min([distance_to(s, points) - s.wire_radius for s in strands], axis=0)

    slope = np.column_stack(
        [
            (outside(middles + step * axis) - outside(middles - step * axis)) / (2.0 * step)
            for axis in np.eye(3)
        ]
    )
    away = np.linalg.norm(slope, axis=1)
    areas = np.linalg.norm(np.cross(*np.moveaxis(np.diff(mesh.vertices[mesh.faces], axis=1), 1, 0)), axis=1)
    cosines = (told * slope).sum(axis=1) / np.maximum(away, 1e-9)
    # By area: next to a seam the nearest wire may be the other one.
    assert areas[cosines < 0.97].sum() < 0.01 * areas.sum()
    assert (mesh.normals[mesh.faces] * mesh.facet_normals[:, None]).sum(axis=2).min() > 0.5


def test_turns_of_a_coil_are_one_with_the_stem():
    """Circles that touch a straight wire and one another: one solid without hollows, whatever the mesh."""
    wire = 0.5
    stem = strand_of(Bend(length=8.0), wire=0.5 * wire)
    turns = [
        Strand((circle((2.0 + k * wire, 0.0, 0.0), (1.0, 0.0, 0.0), wire),), 0.5 * wire) for k in range(4)
    ]
    shape = Shape((stem, *turns), ())
    apart = volume(strand_mesh(stem)) + 4.0 * 2.0 * pi**2 * wire * (0.5 * wire) ** 2
    # What four turns shut in: between circles in a row and the stem, about the middle of the gaps (Pappus).
    gap = (0.5 * wire) ** 2 * (2.0 - pi / 2.0)
    for tolerance in (0.1, 0.03, 0.01, 0.003, 0.001):
        mesh = shape_mesh(shape, tolerance)
        assert_shut(mesh)
        assert shells_of(mesh)[0] == 1
        assert volume(mesh) == pytest.approx(apart + 3.0 * 2.0 * pi * 0.35 * gap, rel=0.06)


def assert_shut(mesh):
    edges = Counter(pair for a, b, c in mesh.closed.faces.tolist() for pair in ((a, b), (b, c), (c, a)))
    assert set(edges.values()) == {1}
    assert all((b, a) in edges for a, b in edges)


def test_vertices_reach_as_far_as_the_wire():
    for shape in (beaded(), Shape((stadium(),), ()), Shape((rounded(SKEW, 1.2),), ())):
        mesh = shape_mesh(shape, 0.005)
        low, high = shape.box
        assert (mesh.vertices.min(axis=0) >= low - 1e-9).all()
        assert (mesh.vertices.max(axis=0) <= high + 1e-9).all()
        assert mesh.vertices.min(axis=0) == pytest.approx(low, abs=0.005)
        assert mesh.vertices.max(axis=0) == pytest.approx(high, abs=0.005)


def test_a_corner_in_a_wire_is_a_fault():
    bent = Strand(
        (Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 2.0), Straight((2.0, 0.0, 0.0), (0.0, 1.0, 0.0), 2.0)),
        0.3,
    )
    with pytest.raises(AssertionError, match="a corner"):
        strand_mesh(bent)
    torn = Strand(
        (Straight((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 2.0), Straight((2.1, 0.0, 0.0), (1.0, 0.0, 0.0), 2.0)),
        0.3,
    )
    with pytest.raises(AssertionError, match="a gap"):
        strand_mesh(torn)


def test_one_mesh_for_each_shape():
    ring = rings_of(((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 2.0, 0.5))
    bodies = concatenate([ring, shaped(beaded()), ring, shaped(Shape((stadium(),), ())), shaped(beaded())])
    meshes, of_body = templates(bodies, 0.02)
    assert len(meshes) == 3
    assert of_body[0] == of_body[2]
    assert of_body[1] == of_body[4]
    assert len(set(of_body.tolist())) == 3
    assert len(meshes[of_body[1]].parts) == 3
