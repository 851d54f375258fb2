"""3MF, reopened by lib3mf's strict reader, by trimesh, and by hand with the standard library's zip and XML.

Sections are those of the 3MF Core Specification, version 1.2.4.
"""

import datetime
import io
import sys
import zipfile
from dataclasses import replace
from math import pi
from xml.etree import ElementTree

import lib3mf
import numpy as np
import pytest
import trimesh

from chaingen.errors import CannotWrite
from chaingen.findings.pins import Threaded, head_pin
from chaingen.model import threemf
from chaingen.model.kinds import Kind, Material, Model, model_of
from chaingen.model.mesh import frames, segment_counts, torus_mesh
from chaingen.model.threemf import onto_platform, write_3mf
from chaingen.weave.groups import Group, GroupKind
from tests.conftest import random_rings, rings_of, side, size
from tests.test_kinds import of_one, placed
from tests.test_mesh import faceted_volume

# The namespaces of the format (Core Specification, appendix C; Production Extension, appendix B).
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
PRODUCTION = "{http://schemas.microsoft.com/3dmanufacturing/production/2015/06}"

SILVER = Material("sterling silver", (0.9, 0.88, 0.85), 0.2)
BRASS = Material("Messing, „gelb“ <63/37> & geölt", (0.8, 0.6, 0.2), 0.3)
DAY = datetime.date(2031, 4, 5)
RED = (0.8, 0.1, 0.1)


def two_kinds(rings, tolerance=0.02):
    """Rings of one size, of silver and brass by turns."""
    mesh = torus_mesh(float(rings.radii[0]), float(rings.wire_radii[0]), tolerance)
    turn = np.arange(len(rings))
    kinds = tuple(
        Kind(f"ring link, {material.name}", mesh, k, turn[k::2])
        for k, material in enumerate((SILVER, BRASS))
        if len(turn[k::2])
    )
    names = tuple(f"link-{k + 1}" for k in range(len(rings)))
    return Model(kinds, (SILVER, BRASS), frames(rings), rings.centres, names)


def row(count, *, pitch=2.4):
    """Rings in two planes, each linked with the next."""
    return rings_of(
        *(((pitch * k, -7.0, 3.0), ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0))[k % 2], 2.0, 0.5) for k in range(count))
    )


@pytest.fixture(scope="module")
def beaded():
    """A ring with a pin that carries a glass ball."""
    ball = Threaded("ball", 6.0, None, 1.0, RED)
    pin = Group(GroupKind.FINDING, 1, replace(head_pin(beads=(ball,)), name="drop"))
    graph, bodies = placed(side(1, size(4.0)), pin)
    return model_of(bodies, graph, of_one(graph))


class Read:
    """What lib3mf's strict reader makes of a file."""

    def __init__(self, path):
        self.wrapper = lib3mf.get_wrapper()
        self.model = self.wrapper.CreateModel()
        reader = self.model.QueryReader("3mf")
        reader.SetStrictModeActive(True)
        reader.ReadFromFile(str(path))
        assert [reader.GetWarning(k) for k in range(reader.GetWarningCount())] == []
        self.meshes = list(self.each(self.model.GetMeshObjects(), "GetCurrentMeshObject"))
        self.objects = list(self.each(self.model.GetComponentsObjects(), "GetCurrentComponentsObject"))
        self.items = list(self.each(self.model.GetBuildItems(), "GetCurrent"))
        (self.materials,) = self.each(self.model.GetBaseMaterialGroups(), "GetCurrentBaseMaterialGroup")

    @staticmethod
    def each(iterator, current):
        while iterator.MoveNext():
            yield getattr(iterator, current)()

    def metadata(self):
        group = self.model.GetMetaDataGroup()
        every = [group.GetMetaData(k) for k in range(group.GetMetaDataCount())]
        return {one.GetName(): one.GetValue() for one in every}


def components(told):
    return [told.GetComponent(k) for k in range(told.GetComponentCount())]


def matrix(told):
    """A transform of lib3mf as it acts on rows, shape (4, 4)."""
    return np.column_stack([np.array([list(row) for row in told.Fields]), [0.0, 0.0, 0.0, 1.0]])


def volume(mesh):
    """Volume of a mesh that lib3mf read, by the divergence theorem."""
    vertices = np.array([list(one.Coordinates) for one in mesh.GetVertices()])
    faces = np.array([list(one.Indices) for one in mesh.GetTriangleIndices()])
    a, b, c = np.moveaxis(vertices[faces], 1, 0)
    return float((a * np.cross(b, c)).sum() / 6.0)


def root_of(path):
    with zipfile.ZipFile(path) as package:
        assert package.testzip() is None
        return ElementTree.fromstring(package.read("3D/3dmodel.model"))


def by_hand(path):
    """Each part's mesh and matrix on rows, and the item's matrix, which is left out of the parts'."""
    root = root_of(path)
    objects = {told.get("id"): told for told in root.iter(f"{CORE}object")}
    (item,) = root.iter(f"{CORE}item")

    def of(told):
        text = told.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0")
        numbers = np.array(text.split(), dtype=float).reshape(4, 3)
        return np.column_stack([numbers, [0.0, 0.0, 0.0, 1.0]])

    def walk(number, whole):
        parts = list(objects[number].iter(f"{CORE}component"))
        if not parts:
            return [(number, whole)]
        return [found for part in parts for found in walk(part.get("objectid"), of(part) @ whole)]

    return walk(item.get("objectid"), np.eye(4)), of(item)


def test_strict_reader_finds_each_kind_once_and_every_body(tmp_path):
    model = two_kinds(row(7))
    length = write_3mf(tmp_path / "a.3mf", model, title="Ebb", date=DAY)
    assert length == (tmp_path / "a.3mf").stat().st_size
    read = Read(tmp_path / "a.3mf")
    assert read.model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert read.model.GetLanguage() == "und"
    assert [mesh.GetName() for mesh in read.meshes] == [kind.name for kind in model.kinds]
    assert all(mesh.IsManifoldAndOriented() for mesh in read.meshes)
    assert [mesh.GetTriangleCount() for mesh in read.meshes] == [len(kind.mesh.faces) for kind in model.kinds]
    # An object for each body, and the piece, which alone is built.
    *bodies, piece = read.objects
    assert [body.GetName() for body in bodies] == list(model.names)
    assert [body.GetPartNumber() for body in bodies] == list(model.names)
    assert [body.GetComponentCount() for body in bodies] == [1] * 7
    assert piece.GetName() == "Ebb"
    assert piece.GetComponentCount() == 7
    (item,) = read.items
    assert item.GetObjectResourceID() == piece.GetResourceID()


def test_transforms_are_those_of_the_placement(tmp_path, rng):
    rings = random_rings(rng, 40, spread=60.0)
    model = two_kinds(rings)
    write_3mf(tmp_path / "a.3mf", model, title="a", date=None)
    *bodies, piece = Read(tmp_path / "a.3mf").objects
    for k, (whole, body) in enumerate(zip(components(piece), bodies, strict=True)):
        assert whole.GetObjectResourceID() == body.GetResourceID()
        (part,) = components(body)
        told = matrix(part.GetTransform()) @ matrix(whole.GetTransform())
        assert np.allclose(told[:3, :3], model.rotations[k].T, rtol=0.0, atol=1e-6)
        # 32-bit numbers of some tens of millimetres.
        assert np.allclose(told[3, :3], model.centres[k], rtol=0.0, atol=1e-5)
        # A ring's axis is its mesh's z.
        assert np.allclose(np.array([0.0, 0.0, 1.0]) @ told[:3, :3], rings.normals[k], atol=1e-6)


def test_places_are_exact_far_from_the_origin(tmp_path):
    # 24 m of chain; six digits of 23,998 mm alone would be wrong by up to 0.05 mm.
    rings = row(6, pitch=4799.7123456)
    model = two_kinds(rings)
    write_3mf(tmp_path / "a.3mf", model, title="a", date=None)
    placed_parts, _ = by_hand(tmp_path / "a.3mf")
    told = np.array([whole[3, :3] for _, whole in placed_parts])
    assert np.abs(told - rings.centres).max() < 1e-6


def test_volume_of_every_mesh_by_closed_form(tmp_path):
    write_3mf(tmp_path / "a.3mf", two_kinds(row(2), 0.005), title="a", date=None)
    expected = faceted_volume(2.0, 0.5, *segment_counts(2.0, 0.5, 0.005))
    for mesh in Read(tmp_path / "a.3mf").meshes:
        assert volume(mesh) == pytest.approx(expected, rel=1e-5)


def test_materials_keep_names_and_colours(tmp_path):
    model = two_kinds(row(4))
    write_3mf(tmp_path / "a.3mf", model, title="a", date=None)
    read = Read(tmp_path / "a.3mf")
    numbers = read.materials.GetAllPropertyIDs()
    assert [read.materials.GetName(k) for k in numbers] == [SILVER.name, BRASS.name]
    for k, material in zip(numbers, model.materials, strict=True):
        colour = read.materials.GetDisplayColor(k)
        told = np.array([colour.Red, colour.Green, colour.Blue, colour.Alpha])
        assert np.abs(told - 255.0 * np.array([*material.colour, 1.0])).max() <= 0.51
    for mesh, kind in zip(read.meshes, model.kinds, strict=True):
        group, number = mesh.GetObjectLevelProperty()[:2]
        assert group == read.materials.GetUniqueResourceID()
        assert read.materials.GetName(number) == model.materials[kind.material].name


def test_wire_and_bead_of_a_finding_are_one_body(tmp_path, beaded):
    write_3mf(tmp_path / "a.3mf", beaded, title="a", date=None)
    read = Read(tmp_path / "a.3mf")
    assert all(mesh.IsManifoldAndOriented() for mesh in read.meshes)
    *bodies, piece = read.objects
    assert piece.GetComponentCount() == len(beaded.names) == 2
    parts = {body.GetName(): components(body) for body in bodies}
    drop = beaded.names[1]
    names = {mesh.GetResourceID(): mesh.GetName() for mesh in read.meshes}
    told = [names[part.GetObjectResourceID()] for part in parts[drop]]
    assert told == [kind.name for kind in beaded.kinds if 1 in kind.bodies]
    assert len(told) == 2
    first, second = (matrix(part.GetTransform()) for part in parts[drop])
    assert np.array_equal(first, second)
    # The glass ball of 6 mm with a hole of 1 mm: within the tolerance of its sphere, and never outside.
    (ball,) = (mesh for mesh in read.meshes if mesh.GetName() == told[1])
    assert pi / 6.0 * (5.98**2 - 1.02**2) ** 1.5 < volume(ball) < pi / 6.0 * (6.0**2 - 1.0**2) ** 1.5
    number = ball.GetObjectLevelProperty()[1]
    assert read.materials.GetName(number) == "bead #cc1a1a"


def test_metadata(tmp_path):
    write_3mf(tmp_path / "a.3mf", two_kinds(row(2)), title="Ebb", date=DAY)
    assert Read(tmp_path / "a.3mf").metadata() == {
        "Title": "Ebb",
        "CreationDate": "2031-04-05",
        "Application": "chaingen",
    }
    write_3mf(tmp_path / "a.3mf", two_kinds(row(2)), title="", date=None)
    assert Read(tmp_path / "a.3mf").metadata() == {"Application": "chaingen"}


UNUSUAL = "„Ebbe & Flut“ <№ 3> 'ƀ' \"潮\" עֹגֶן ⚓ 🐟 ]]>"


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (UNUSUAL, UNUSUAL),
        ("bell\x07, line\nand\ttab", "bell , line and tab"),
        ("half \ud83d, none \ufffe", "half  , none  "),
    ],
)
def test_titles_and_names_of_unusual_letters(tmp_path, typed, told):
    model = two_kinds(row(2))
    first, second = model.names
    model = replace(
        model,
        names=(f"{first} {typed}", second),
        materials=(replace(SILVER, name=typed), BRASS),
        kinds=(replace(model.kinds[0], name=typed), model.kinds[1]),
    )
    write_3mf(tmp_path / "a.3mf", model, title=typed, date=DAY)
    read = Read(tmp_path / "a.3mf")
    assert read.metadata()["Title"] == told
    assert read.objects[0].GetName() == read.objects[0].GetPartNumber() == f"{first} {told}"
    assert read.meshes[0].GetName() == told
    assert read.materials.GetName(read.materials.GetAllPropertyIDs()[0]) == told
    root = root_of(tmp_path / "a.3mf")
    assert next(root.iter(f"{CORE}metadata")).text == told
    assert next(root.iter(f"{CORE}base")).get("name") == told


def test_xml_by_hand(tmp_path, rng):
    rings = random_rings(rng, 9, spread=20.0)
    model = two_kinds(rings)
    write_3mf(tmp_path / "a.3mf", model, title="Ebb", date=DAY)
    with zipfile.ZipFile(tmp_path / "a.3mf") as package:
        assert set(package.namelist()) == {"3D/3dmodel.model", "[Content_Types].xml", "_rels/.rels"}
        assert b"/3D/3dmodel.model" in package.read("_rels/.rels")
    root = root_of(tmp_path / "a.3mf")
    assert root.tag == f"{CORE}model"
    assert root.get("unit") == "millimeter"
    # Nothing that a reader of the core format must know besides.
    assert "requiredextensions" not in root.attrib
    seen = set()
    for told in root.iter(f"{CORE}object"):
        parts = list(told.iter(f"{CORE}component"))
        # Defined before it is used (section 3.4); no material of its own where there are parts (chapter 4).
        assert {part.get("objectid") for part in parts} <= seen
        assert bool(parts) != ("pid" in told.attrib)
        seen.add(told.get("id"))
    parts, item = by_hand(tmp_path / "a.3mf")
    assert len(parts) == len(rings)
    meshes = {told.get("id"): told for told in root.iter(f"{CORE}object") if told.get("pid")}
    for k, (number, whole) in enumerate(parts):
        vertices = np.array(
            [[float(one.get(axis)) for axis in "xyz"] for one in meshes[number].iter(f"{CORE}vertex")]
        )
        away = vertices @ whole[:3, :3] + whole[3, :3] - rings.centres[k]
        height = away @ rings.normals[k]
        from_axis = np.sqrt((away**2).sum(axis=1) - height**2)
        # On the torus of the first ring, whose size all have here.
        from_wire = np.hypot(from_axis - rings.radii[0], height)
        assert from_wire == pytest.approx(rings.wire_radii[0], abs=1e-5)
    assert np.array_equal(item[:3, :3], np.eye(3))


def test_identities_are_unique(tmp_path):
    write_3mf(tmp_path / "a.3mf", two_kinds(row(30)), title="a", date=None)
    told = [one.get(f"{PRODUCTION}UUID") for one in root_of(tmp_path / "a.3mf").iter()]
    told = [one for one in told if one is not None]
    # Meshes, bodies and their components, the piece and its components, the build and its item.
    assert len(told) == 2 + 2 * 30 + 1 + 30 + 2
    assert len(set(told)) == len(told)


def test_trimesh_finds_every_body_whole(tmp_path):
    rings = row(11)
    write_3mf(tmp_path / "a.3mf", two_kinds(rings), title="a", date=DAY)
    scene = trimesh.load(tmp_path / "a.3mf")
    assert scene.units == "millimeter"
    whole = scene.to_mesh()
    assert whole.is_watertight
    assert whole.is_winding_consistent
    assert whole.body_count == 11
    expected = faceted_volume(2.0, 0.5, *segment_counts(2.0, 0.5, 0.02))
    assert whole.volume == pytest.approx(11 * expected, rel=1e-5)
    low, high = rings.bounds()
    assert whole.extents == pytest.approx(high - low, abs=0.04)


def test_trimesh_finds_wire_and_bead(tmp_path, beaded):
    write_3mf(tmp_path / "a.3mf", beaded, title="a", date=DAY)
    whole = trimesh.load(tmp_path / "a.3mf").to_mesh()
    assert whole.is_watertight
    shells = sum(kind.mesh.faces.shape[0] * len(kind.bodies) for kind in beaded.kinds)
    assert len(whole.faces) == shells
    # Where the placement says, but for the move onto the platform.
    corners = np.concatenate(
        [
            kind.mesh.vertices @ beaded.rotations[body].T + beaded.centres[body]
            for kind in beaded.kinds
            for body in kind.bodies
        ]
    )
    moved = corners + onto_platform(beaded)
    assert whole.bounds == pytest.approx(np.array([moved.min(axis=0), moved.max(axis=0)]), abs=2e-5)


@pytest.mark.parametrize("away", [(0.0, 0.0, 0.0), (-812.345, 77.7, 8123.4)])
def test_piece_begins_at_the_corner_of_the_platform(tmp_path, rng, away):
    rings = random_rings(rng, 600, spread=40.0).moved(np.array(away))
    write_3mf(tmp_path / "a.3mf", two_kinds(rings, 0.1), title="a", date=None)
    box = Read(tmp_path / "a.3mf").model.GetOutbox()
    low = np.array(list(box.MinCoordinate))
    # "Should be located in the positive octant" (section 3.3), and no farther off than a hundredth; the rest
    # is 32-bit numbers of some metres.
    assert (low >= -1e-3).all()
    assert (low <= 0.011 + 1e-3).all()


def test_a_piece_of_many_metres_is_moved_by_whole_millimetres():
    model = two_kinds(row(3).moved(np.array([-23456.789, 0.0, 0.0])))
    moved = onto_platform(model)
    assert moved[0] == 23460.0
    assert moved[1:] == pytest.approx(np.round(moved[1:], 2), abs=1e-9)


def test_ten_thousand_rings_are_small_and_all_there(tmp_path):
    rings = row(10_000)
    model = two_kinds(rings, 0.02)
    assert write_3mf(tmp_path / "a.3mf", model, title="a", date=DAY) < 2_000_000
    root = root_of(tmp_path / "a.3mf")
    objects = list(root.iter(f"{CORE}object"))
    assert len(objects) <= len(model.kinds) + threemf.MOST_OBJECTS + 1
    assert [told.get("name") for told in objects[2:4]] == ["link-1 to link-3", "link-4 to link-6"]
    assert objects[-2].get("name") == "link-10000"
    parts, _ = by_hand(tmp_path / "a.3mf")
    told = np.array([whole[3, :3] for _, whole in parts])
    assert np.abs(told - rings.centres).max() < 1e-5
    first, second = objects[0].get("id"), objects[1].get("id")
    assert [number for number, _ in parts] == [first, second] * 5000


def test_bodies_that_share_an_object_are_the_same(tmp_path, monkeypatch, beaded):
    write_3mf(tmp_path / "a.3mf", beaded, title="a", date=None)
    monkeypatch.setattr(threemf, "MOST_OBJECTS", 1)
    write_3mf(tmp_path / "b.3mf", beaded, title="a", date=None)
    *bodies, piece = Read(tmp_path / "b.3mf").objects
    (body,) = bodies
    assert body.GetName() == " to ".join(beaded.names)
    assert body.GetComponentCount() == 3
    assert piece.GetComponentCount() == 1
    apart, _ = by_hand(tmp_path / "a.3mf")
    together, _ = by_hand(tmp_path / "b.3mf")
    assert [number for number, _ in apart] == [number for number, _ in together]
    for (_, one), (_, other) in zip(apart, together, strict=True):
        # Six digits of what is less than 10 mm.
        assert np.allclose(one, other, rtol=0.0, atol=5.1e-6)


def test_the_same_model_gives_the_same_bytes(tmp_path):
    def written(model, **told):
        write_3mf(tmp_path / "a.3mf", model, **{"title": "a", "date": DAY, **told})
        return (tmp_path / "a.3mf").read_bytes()

    def build(content):
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            root = ElementTree.fromstring(package.read("3D/3dmodel.model"))
        return next(root.iter(f"{CORE}build")).get(f"{PRODUCTION}UUID")

    model = two_kinds(row(5))
    first = written(model)
    assert written(two_kinds(row(5))) == first
    # Another content is another thing, and says so.
    moved = replace(model, centres=model.centres + 1e-9)
    others = [
        written(model, title="b"),
        written(model, date=None),
        written(moved),
        written(replace(model, names=tuple(reversed(model.names)))),
        written(replace(model, materials=(BRASS, SILVER))),
        written(two_kinds(row(5), 0.03)),
    ]
    assert len({build(content) for content in (first, *others)}) == 7


def test_moving_a_piece_leaves_it_as_it_is_on_the_platform(tmp_path, rng):
    rings = random_rings(rng, 12, spread=10.0)
    write_3mf(tmp_path / "a.3mf", two_kinds(rings), title="a", date=None)
    write_3mf(tmp_path / "b.3mf", two_kinds(rings.moved(np.array([31.0, -7.0, 2.5]))), title="a", date=None)
    first, second = (trimesh.load(tmp_path / f"{name}.3mf").to_mesh() for name in "ab")
    assert second.vertices == pytest.approx(first.vertices, abs=2e-5)


def corners_of(path):
    """Where every vertex of every part is, without the move onto the platform [mm], by hand, shape (n, 3)."""
    root = root_of(path)
    meshes = {
        told.get("id"): np.array(
            [[float(one.get(axis)) for axis in "xyz"] for one in told.iter(f"{CORE}vertex")]
        )
        for told in root.iter(f"{CORE}object")
        if told.get("pid")
    }
    parts, _ = by_hand(path)
    return [meshes[number] @ whole[:3, :3] + whole[3, :3] for number, whole in parts]


def expected_corners(model):
    """The same from the model, a part for each kind of each body."""
    return [
        np.array(model.stretch) * (kind.mesh.closed.vertices @ model.rotations[body].T + model.centres[body])
        for body in range(len(model.names))
        for kind in model.kinds
        if body in kind.bodies
    ]


@pytest.mark.parametrize("stretch", [(1.0204, 1.0204, 1.0204), (1.0204, 1.013, 1.027), (0.31, 2.7, 1.0)])
@pytest.mark.parametrize("what", ["rings", "findings", "large rings"])
def test_stretched_vertices_are_right_to_a_ten_thousandth(tmp_path, rng, beaded, what, stretch):
    if what == "findings":
        model = beaded
    else:
        rings = random_rings(rng, 9, spread=80.0)
        if what == "large rings":
            rings = rings_of(*((c, n, 130.0, 1.0) for c, n in zip(rings.centres, rings.normals, strict=True)))
        model = two_kinds(rings, 0.05)
    model = replace(model, stretch=stretch)
    write_3mf(tmp_path / "a.3mf", model, title="a", date=None)
    read = Read(tmp_path / "a.3mf")
    assert all(mesh.IsManifoldAndOriented() for mesh in read.meshes)
    for told, expected in zip(corners_of(tmp_path / "a.3mf"), expected_corners(model), strict=True):
        assert np.abs(told - expected).max() < 1e-4
    low = np.array(list(read.model.GetOutbox().MinCoordinate))
    assert (low >= -1e-4).all()
    assert (low <= 0.0105).all()
    volumes = [
        np.prod(stretch) * faceted_volume(130.0, 1.0, *segment_counts(130.0, 1.0, 0.05))
        for _ in range(9) if what == "large rings"
    ]  # fmt: skip
    if volumes:
        whole = trimesh.load(tmp_path / "a.3mf").to_mesh()
        assert whole.volume == pytest.approx(sum(volumes), rel=1e-4)
        # Six digits would not do: each has a mesh of its own, unless all axes stretch alike.
        assert len(read.meshes) > 2


def test_alike_bodies_share_a_mesh_however_they_are_stretched(tmp_path, rng):
    model = replace(two_kinds(random_rings(rng, 40, spread=80.0)), stretch=(1.0204, 1.013, 1.027))
    write_3mf(tmp_path / "a.3mf", model, title="a", date=None)
    assert len(Read(tmp_path / "a.3mf").meshes) == 2


@pytest.mark.parametrize("harm", ["hole", "turned"])
def test_a_mesh_that_is_not_closed_is_never_written(tmp_path, harm):
    model = two_kinds(row(1))
    (kind,) = model.kinds
    faces = kind.mesh.faces[1:] if harm == "hole" else kind.mesh.faces.copy()
    if harm == "turned":
        faces[0] = faces[0, ::-1]
    broken = replace(model, kinds=(replace(kind, mesh=replace(kind.mesh, faces=faces)),))
    with pytest.raises(AssertionError, match="the mesh of ring link, sterling silver is not closed"):
        write_3mf(tmp_path / "a.3mf", broken, title="a", date=None)
    assert list(tmp_path.iterdir()) == []


def test_no_bodies(tmp_path):
    none = Model((), (), np.empty((0, 3, 3)), np.empty((0, 3)), ())
    write_3mf(tmp_path / "a.3mf", none, title="Ebb", date=None)
    root = root_of(tmp_path / "a.3mf")
    assert list(root.iter(f"{CORE}object")) == list(root.iter(f"{CORE}item")) == []


def test_without_the_library(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "lib3mf", None)
    with pytest.raises(CannotWrite, match=r"a\.3mf: 3MF needs lib3mf, which has no wheel"):
        write_3mf(tmp_path / "a.3mf", two_kinds(row(1)), title="a", date=None)
    assert list(tmp_path.iterdir()) == []


def test_where_the_library_does_not_run(tmp_path, monkeypatch, capfd):
    monkeypatch.setattr(lib3mf, "get_library_path_for_wrapper", lambda: str(tmp_path / "missing"))
    with pytest.raises(CannotWrite, match=r"lib3mf does not run on this machine: .*missing"):
        write_3mf(tmp_path / "a.3mf", two_kinds(row(1)), title="a", date=None)
    assert list(tmp_path.iterdir()) == []
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("room", [0, 1000])
def test_a_disk_that_fills_up_leaves_the_old_model(tmp_path, disk_with, room):
    path = tmp_path / "a.3mf"
    path.write_bytes(b"old")
    disk_with(room)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_3mf(path, two_kinds(row(3)), title="a", date=None)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
