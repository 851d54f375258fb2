"""STEP, read back by the library that wrote it, and by hand as the text that ISO 10303-21 defines."""

import datetime
import re
import sys
from dataclasses import replace
from math import pi

import numpy as np
import OCP
import pytest
from hypothesis import given, settings
from OCP.BRepAdaptor import BRepAdaptor_Surface
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.GeomAbs import GeomAbs_SurfaceType
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.Message import Message
from OCP.Quantity import Quantity_Color, Quantity_TypeOfColor
from OCP.STEPCAFControl import STEPCAFControl_Reader
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDataStd import TDataStd_Name
from OCP.TDF import TDF_Label
from OCP.TDocStd import TDocStd_Document
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS
from OCP.XCAFDoc import XCAFDoc_ColorType, XCAFDoc_DocumentTool, XCAFDoc_ShapeTool

from chaingen.errors import CannotWrite
from chaingen.findings.catalogue import KINDS
from chaingen.findings.pins import Threaded, head_pin
from chaingen.geometry.bodies import shaped
from chaingen.geometry.centrelines import circle
from chaingen.geometry.shapes import Shape, Strand
from chaingen.model import step
from chaingen.model.figures import figures_of
from chaingen.model.kinds import Kind, Model, model_of
from chaingen.model.mesh import frames
from chaingen.model.step import encoded, why_not, write_step
from chaingen.model.step_shapes import disc_solid, shape_solids, strand_solid
from chaingen.model.templates import templates
from chaingen.model.write import Placed, write_models
from chaingen.weave.groups import Group, GroupKind
from tests.conftest import random_rings, rings_of, side, size
from tests.finding_sizes import SIZED, possible
from tests.test_kinds import of_one, placed
from tests.test_threemf import BRASS, SILVER, row, two_kinds
from tests.test_wire_mesh import SKEW, WIRE, paths, rounded, stadium, strand_of

DAY = datetime.date(2031, 4, 5)
RED, BLUE = (0.8, 0.1, 0.1), (0.1, 0.1, 0.8)
BALL, DISC = Threaded("ball", 6.0, None, 1.0, RED), Threaded("disc", 6.0, 2.0, 1.2, BLUE)
TORUS, CYLINDER, SPHERE, PLANE, REVOLVED = (
    getattr(GeomAbs_SurfaceType, f"GeomAbs_{name}")
    for name in ("Torus", "Cylinder", "Sphere", "Plane", "SurfaceOfRevolution")
)


@pytest.fixture(scope="module")
def beaded():
    """A ring with a pin that carries a glass ball and a disc with a hole."""
    pin = Group(GroupKind.FINDING, 1, replace(head_pin(beads=(BALL, DISC)), name="drop"))
    graph, bodies = placed(side(1, size(4.0)), pin)
    return bodies, model_of(bodies, graph, of_one(graph)), graph


def parts_of(shape, kind):
    explorer = TopExp_Explorer(shape, getattr(TopAbs_ShapeEnum, f"TopAbs_{kind.upper()}"))
    found = []
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


def volume(shape):
    told = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, told)
    return told.Mass()


def surfaces(shape):
    return [BRepAdaptor_Surface(TopoDS.Face(face)) for face in parts_of(shape, "face")]


def surface_kinds(shape):
    return {surface.GetType() for surface in surfaces(shape)}


def vector(told):
    return np.array([told.X(), told.Y(), told.Z()])


class Read:
    """What the library reads of a file."""

    def __init__(self, path):
        self.document = TDocStd_Document(TCollection_ExtendedString("BinXCAF"))
        reader = STEPCAFControl_Reader()
        reader.SetNameMode(True)
        reader.SetColorMode(True)
        assert reader.ReadFile(str(path)) == IFSelect_ReturnStatus.IFSelect_RetDone
        assert reader.Transfer(self.document)
        self.tool = XCAFDoc_DocumentTool.ShapeTool_s(self.document.Main())
        self.colours = XCAFDoc_DocumentTool.ColorTool_s(self.document.Main())
        roots = list(self.labels(self.tool.GetFreeShapes))
        (self.piece,) = roots

    @staticmethod
    def labels(fill):
        from OCP.collections import Sequence_TDF_Label

        told = Sequence_TDF_Label()
        fill(told)
        return list(told)

    @staticmethod
    def name(label):
        told = TDataStd_Name()
        assert label.FindAttribute(TDataStd_Name.GetID_s(), told)
        return told.Get().ToExtString()

    def components(self, label):
        return self.labels(lambda told: XCAFDoc_ShapeTool.GetComponents_s(label, told))

    @staticmethod
    def product(component):
        told = TDF_Label()
        assert XCAFDoc_ShapeTool.GetReferredShape_s(component, told)
        return told

    @staticmethod
    def shape(label):
        return XCAFDoc_ShapeTool.GetShape_s(label)

    def colour(self, label):
        """sRGB colour of a product, of which all solids are."""
        told = Quantity_Color()
        kind = XCAFDoc_ColorType.XCAFDoc_ColorSurf
        found = set()
        for solid in parts_of(self.shape(label), "solid"):
            assert self.colours.GetColor(solid, kind, told)
            found.add(told.Values(Quantity_TypeOfColor.Quantity_TOC_sRGB))
        (colour,) = found
        return colour


def statements(path):
    """The data of a file by number, each as its keyword and what is between its outer brackets."""
    text = path.read_bytes().decode("ascii")
    assert text.startswith("ISO-10303-21;\nHEADER;\n")
    assert text.endswith("ENDSEC;\nEND-ISO-10303-21;\n")
    data = text[text.index("DATA;\n") + 6 : text.rindex("ENDSEC;")]
    found = {}
    for line in data.splitlines():
        number, keyword, content = re.fullmatch(r"#(\d+) = (\w*) ?\((.*)\);", line).groups()
        assert int(number) not in found
        found[int(number)] = keyword, content
    return found


def of_keyword(told, keyword):
    return {number: content for number, (word, content) in told.items() if word == keyword}


def numbers_in(content):
    return [float(number) for number in content.rpartition("(")[2].strip("() ").split(",")]


def references(content):
    return [int(number) for number in re.findall(r"#(\d+)", content)]


def by_hand(path):
    """Name, product's name, matrix of axes as columns and centre of each instance, in the file's order."""
    told = statements(path)

    def first_word(number):
        return re.match(r"'((?:[^']|'')*)'", told[number][1])[1]

    found = []
    for content in of_keyword(told, "CONTEXT_DEPENDENT_SHAPE_REPRESENTATION").values():
        relation, of_product = references(content)
        (transform,) = re.findall(r"WITH_TRANSFORMATION\(#(\d+)\)", told[relation][1])
        _, place = references(told[int(transform)][1])
        centre, z, x = (np.array(numbers_in(told[k][1])) for k in references(told[place][1]))
        (usage,) = references(told[of_product][1])
        _, part = references(told[usage][1])
        (formation, _) = references(told[part][1])
        (product,) = references(told[formation][1])
        name = re.match(r"'\d+','((?:[^']|'')*)'", told[usage][1])[1]
        found.append((name, first_word(product), np.column_stack([x, np.cross(z, x), z]), centre))
    return found


@pytest.mark.parametrize("count", [1, 7])
def test_every_ring_is_a_torus_where_it_should_be(tmp_path, count):
    rings = row(count)
    model = two_kinds(rings)
    length = write_step(tmp_path / "a.step", rings, model, title="Ebb", date=DAY)
    assert length == (tmp_path / "a.step").stat().st_size
    read = Read(tmp_path / "a.step")
    assert read.name(read.piece) == "Ebb"
    components = read.components(read.piece)
    assert [read.name(component) for component in components] == list(model.names)
    solids = parts_of(read.shape(read.piece), "solid")
    assert len(solids) == count
    assert BRepCheck_Analyzer(read.shape(read.piece)).IsValid()
    for k, (component, solid) in enumerate(zip(components, solids, strict=True)):
        assert read.name(read.product(component)) == model.kinds[k % 2].name
        # Pappus: the wire's section times the way of its middle.
        assert volume(solid) == pytest.approx(2.0 * pi**2 * 2.0 * 0.5**2, rel=1e-9)
        (surface,) = surfaces(solid)
        assert surface.GetType() == TORUS
        torus = surface.Torus()
        assert (torus.MajorRadius(), torus.MinorRadius()) == pytest.approx((2.0, 0.5), abs=1e-12)
        assert vector(torus.Location()) == pytest.approx(rings.centres[k], abs=1e-9)
        assert abs(vector(torus.Axis().Direction()) @ rings.normals[k]) == pytest.approx(1.0, abs=1e-12)


def test_by_hand_each_kind_is_once_and_every_body_is_placed(tmp_path, rng):
    rings = replace(random_rings(rng, 40, spread=60.0), radii=np.full(40, 2.0), wire_radii=np.full(40, 0.5))
    model = two_kinds(rings)
    write_step(tmp_path / "a.step", rings, model, title="a", date=None)
    told = statements(tmp_path / "a.step")
    tori = [content.split(",")[2:] for content in of_keyword(told, "TOROIDAL_SURFACE").values()]
    assert [[float(radius) for radius in radii] for radii in tori] == [[2.0, 0.5], [2.0, 0.5]]
    placed_there = by_hand(tmp_path / "a.step")
    assert [name for name, _, _, _ in placed_there] == list(model.names)
    assert [product for _, product, _, _ in placed_there] == [
        encoded(model.kinds[k % 2].name).decode() for k in range(40)
    ]
    for k, (_, _, turn, centre) in enumerate(placed_there):
        assert turn == pytest.approx(model.rotations[k], abs=1e-11)
        assert centre == pytest.approx(rings.centres[k], abs=1e-9)


def test_lengths_are_millimetres(tmp_path):
    write_step(tmp_path / "a.step", row(2), two_kinds(row(2)), title="a", date=None)
    units = [content for _, content in statements(tmp_path / "a.step").values() if "LENGTH_UNIT" in content]
    assert units
    assert all("SI_UNIT(.MILLI.,.METRE.)" in content for content in units if "MEASURE" not in content)


def test_colours_are_those_of_the_metals(tmp_path):
    write_step(tmp_path / "a.step", row(4), two_kinds(row(4)), title="a", date=None)
    read = Read(tmp_path / "a.step")
    for k, component in enumerate(read.components(read.piece)):
        assert read.colour(read.product(component)) == pytest.approx((SILVER, BRASS)[k % 2].colour, abs=1e-6)


def test_wire_and_beads_of_a_finding_are_one_body(tmp_path, beaded):
    bodies, model, graph = beaded
    write_step(tmp_path / "a.step", bodies, model, title="a", date=None)
    read = Read(tmp_path / "a.step")
    assert BRepCheck_Analyzer(read.shape(read.piece)).IsValid()
    ring, drop = read.components(read.piece)
    assert [read.name(ring), read.name(drop)] == list(graph.names)
    parts = read.components(read.product(drop))
    own = [kind for kind in model.kinds if 1 in kind.bodies]
    assert [read.name(part) for part in parts] == [kind.name for kind in own]
    for part, kind in zip(parts, own, strict=True):
        assert read.colour(read.product(part)) == pytest.approx(
            model.materials[kind.material].colour, abs=1e-6
        )
    finding = graph.members[1].size
    wire, ball, disc = (volume(read.shape(part)) for part in parts)
    # A bead's wire goes through its hole: drawn, the ball has none.
    assert ball == pytest.approx(4.0 / 3.0 * pi * 3.0**3, rel=1e-9)
    # The edge of a disc's hole is drawn half round: what lies round it, up to a straight hole, is missing.
    half = 0.5 * DISC.thickness
    out = 0.5 * DISC.hole + half
    straight = pi * (out**2 - (out - half) ** 2) * 2.0 * half
    rounded_edge = 2.0 * pi * (out - 4.0 * half / (3.0 * pi)) * 0.5 * pi * half**2
    assert disc == pytest.approx(finding.beads[1].volume - straight + rounded_edge, rel=1e-9)
    # Half-round ends of the one wire, which are more than is cut.
    (strand,) = (s for s in finding.shape.strands if s.part == "wire" and s.length)
    ends = 4.0 / 3.0 * pi * strand.wire_radius**3
    assert wire == pytest.approx(finding.wire_volume - finding.filling + ends, rel=1e-9)
    # It lies where the body does.
    middle = GProp_GProps()
    BRepGProp.VolumeProperties_s(read.shape(drop), middle)
    low, high = (corner[1] for corner in bodies.extents())
    assert (vector(middle.CentreOfMass()) > low).all()
    assert (vector(middle.CentreOfMass()) < high).all()


@pytest.mark.parametrize("kind", SIZED)
def test_solids_of_findings_hold_what_their_strands_do(kind):
    for sizes in possible(kind, 3):
        finding = KINDS[kind].build("x", **sizes)
        for part in dict.fromkeys(strand.part for strand in finding.shape.strands):
            shape = shape_solids(finding.shape, part)
            assert BRepCheck_Analyzer(shape).IsValid()
            # The rim of a disc smaller than it is thick is no torus.
            assert surface_kinds(shape) <= {TORUS, CYLINDER, SPHERE, PLANE, REVOLVED}
            assert all(volume(solid) > 0.0 for solid in parts_of(shape, "solid"))
        wires = [strand for strand in finding.shape.strands if strand.part == "wire"]
        if finding.discs or sizes.get("head") == "flat":
            continue
        solids = parts_of(shape_solids(finding.shape, "wire"), "solid")
        assert len(solids) == len(wires)
        # By Pappus, with half-round ends; the strands' order is that of their circles' size.
        expected = [
            pi * s.wire_radius**2 * s.length + (0.0 if s.closed else 4.0 / 3.0 * pi * s.wire_radius**3)
            for s in wires
        ]
        assert sorted(volume(solid) for solid in solids) == pytest.approx(sorted(expected), rel=1e-9)


@pytest.mark.parametrize(("kind", "sizes"), [("head pin", {"head": "flat"}), ("ear post", {"front": "disc"})])
def test_discs_of_metal_hold_what_the_finding_weighs(kind, sizes):
    sizes = {**sizes, "wraps": 0} if kind == "head pin" else sizes
    finding = KINDS[kind].build("x", **sizes)
    shape = shape_solids(finding.shape, "wire")
    ends = sum(
        4.0 / 3.0 * pi * strand.wire_radius**3
        for strand in finding.shape.strands
        if strand.part == "wire" and strand.length and not strand.closed
    )
    assert {PLANE, TORUS} <= surface_kinds(shape)
    assert volume(shape) == pytest.approx(finding.wire_volume + ends, rel=1e-6)


@settings(max_examples=25, deadline=None)
@given(paths)
def test_a_bent_wire_is_its_section_times_its_length_and_a_ball(steps):
    strand = strand_of(*steps)
    solid = strand_solid(strand)
    assert surface_kinds(solid) <= {TORUS, CYLINDER, SPHERE}
    expected = pi * WIRE**2 * strand.length + 4.0 / 3.0 * pi * WIRE**3
    assert volume(solid) == pytest.approx(expected, rel=1e-9)
    assert len(parts_of(solid, "face")) == len(strand.curves) + 2


@pytest.mark.parametrize(
    "strand", [stadium(), rounded(SKEW, 1.2), rounded(SKEW, 0.7)], ids=["flat", "skew", "tight"]
)
def test_closed_wires_are_closed_whatever_turn_their_seam_makes(strand):
    solid = strand_solid(strand)
    assert BRepCheck_Analyzer(solid).IsValid()
    assert surface_kinds(solid) <= {TORUS, CYLINDER}
    assert volume(solid) == pytest.approx(pi * strand.wire_radius**2 * strand.length, rel=1e-9)


@pytest.mark.parametrize(("least", "faces"), [(2.0, 4), (0.1, 3)])
@pytest.mark.parametrize("normal", [(0.0, 0.0, 1.0), (0.36, -0.48, 0.8)])
def test_circles_that_stand_for_a_disc_are_one_solid(least, faces, normal):
    at, half, rim = (1.0, -2.0, 0.5), 0.5, 4.0
    radii = np.linspace(least, rim, 12).tolist()
    strands = tuple(Strand((circle(at, normal, radius),), half) for radius in radii)
    solid = disc_solid(strands)
    assert BRepCheck_Analyzer(solid).IsValid()
    assert surface_kinds(solid) == {TORUS, PLANE}
    assert len(parts_of(solid, "face")) == faces
    # Pappus: a rectangle, half a circle outside it and, round a hole, another within.
    area, off = 0.5 * pi * half**2, 4.0 * half / (3.0 * pi)
    inner = least if least > half else 0.0
    expected = pi * (rim**2 - inner**2) * 2.0 * half + 2.0 * pi * (rim + off) * area
    expected += 2.0 * pi * (inner - off) * area if inner else 0.0
    assert volume(solid) == pytest.approx(expected, rel=1e-9)
    (whole,) = parts_of(shape_solids(Shape(strands, ()), "wire"), "solid")
    assert volume(whole) == pytest.approx(expected, rel=1e-9)


def test_a_circle_that_its_wire_fills_is_a_disc():
    lens = Shape((Strand((circle((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 0.4),), 0.5),), ())
    solid = shape_solids(lens, "wire")
    assert BRepCheck_Analyzer(solid).IsValid()
    rim = 2.0 * pi * (0.4 + 4.0 * 0.5 / (3.0 * pi)) * 0.5 * pi * 0.25
    assert volume(solid) == pytest.approx(pi * 0.4**2 + rim, rel=1e-9)


def one_of(shape):
    """A body of a shape at the origin, and its model."""
    body = shaped(shape)
    (mesh,), _ = templates(body, 0.1)
    kind = Kind("one", mesh, 0, np.zeros(1, dtype=np.int64))
    return body, Model((kind,), (SILVER,), frames(body), body.centres, ("it",))


def test_a_stretched_model_is_refused(tmp_path):
    body, model = one_of(Shape((rounded(SKEW, 1.2),), ()))
    with pytest.raises(AssertionError, match="no stretched surfaces"):
        write_step(tmp_path / "a.step", body, replace(model, stretch=(1.0, 1.0, 1.02)), title="a", date=None)
    assert list(tmp_path.iterdir()) == []


def test_a_mirrored_piece_is_the_mirror_image(tmp_path):
    # A screw of wire has no symmetry: a point that is on one is not on the other.
    screw = rounded(SKEW, 1.2)
    body, model = one_of(Shape((screw,), ()))
    write_step(tmp_path / "a.step", body, model, title="a", date=None)
    other = body.mirrored()
    _, mirrored = one_of(other.shapes[0])
    mirrored = replace(mirrored, rotations=frames(other), centres=other.centres)
    write_step(tmp_path / "b.step", other, mirrored, title="a", date=None)
    moments = []
    for name in "ab":
        told = GProp_GProps()
        read = Read(tmp_path / f"{name}.step")
        BRepGProp.VolumeProperties_s(read.shape(read.piece), told)
        inertia = told.MatrixOfInertia()
        tensor = np.array([[inertia.Value(i, j) for j in (1, 2, 3)] for i in (1, 2, 3)])
        moments.append((vector(told.CentreOfMass()), tensor))
    (centre, tensor), (centre_there, tensor_there) = moments
    flip = np.diag([1.0, -1.0, 1.0])
    assert centre_there == pytest.approx(flip @ centre, abs=1e-7)
    assert tensor_there == pytest.approx(flip @ tensor @ flip, abs=1e-5)
    assert abs(tensor[0, 1]) > 1.0


def test_header_tells_the_title_and_the_day_and_nobody(tmp_path):
    write_step(tmp_path / "a.step", row(1), two_kinds(row(1)), title="Ebb", date=DAY)
    _, _, _, name, schema, end, _ = (tmp_path / "a.step").read_text("ascii").split("\n", 6)
    assert name == (
        "FILE_NAME('Ebb','2031-04-05T00:00:00',(''),(''),'Open CASCADE Technology','chaingen','');"
    )
    assert schema == "FILE_SCHEMA(('AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }'));"
    assert end == "ENDSEC;"
    write_step(tmp_path / "a.step", row(1), two_kinds(row(1)), title="", date=None)
    assert "FILE_NAME('','1970-01-01T00:00:00',(''),(''),'" in (tmp_path / "a.step").read_text("ascii")


UNUSUAL = "„Ebbe & Flut“ <№ 3> 'ƀ' \"潮\" עֹגֶן ⚓ 🐟 \\X\\ =0= ;" + " und noch ein langer Name" * 8


@pytest.mark.parametrize(
    ("typed", "told"),
    [(UNUSUAL, UNUSUAL), ("bell\x07, line\nand\ttab", "bell , line and tab"), ("half \ud83d.", "half  .")],
)
def test_titles_and_names_of_unusual_letters(tmp_path, typed, told):
    model = two_kinds(row(2))
    first, second = model.names
    model = replace(
        model,
        names=(f"{first} {typed}", second),
        kinds=(replace(model.kinds[0], name=f"ring {typed}"), model.kinds[1]),
    )
    write_step(tmp_path / "a.step", row(2), model, title=typed, date=DAY)
    # Characters 32 to 126 only: the rest is told by codes (ISO 10303-21:2016, section 6.4.3).
    assert all(line.isprintable() for line in (tmp_path / "a.step").read_text("ascii").splitlines())
    read = Read(tmp_path / "a.step")
    component, _ = read.components(read.piece)
    assert read.name(read.piece) == told
    assert read.name(component) == f"{first} {told}"
    assert read.name(read.product(component)) == f"ring {told}"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ('see 1/4"', b'see 1/4"'),
        ("it's", b"it''s"),
        ("a\\b", b"a\\\\b"),
        # The example of buildingSMART's guide to the format, "String Encoding & Decoding".
        ("Ä", b"\\X2\\00C4\\X0\\"),
        # Unicode numbers of the letters, four digits each, or eight where one is above U+FFFF.
        ("aäöb", b"a\\X2\\00E400F6\\X0\\b"),
        ("🐟", b"\\X4\\0001F41F\\X0\\"),
        ("潮🐟", b"\\X4\\00006F6E0001F41F\\X0\\"),
    ],
)
def test_codes_of_letters(text, code):
    assert encoded(text) == code


def test_the_same_piece_gives_the_same_bytes(tmp_path):
    def written(rings, **told):
        write_step(tmp_path / "a.step", rings, two_kinds(rings), **{"title": "a", "date": DAY, **told})
        return (tmp_path / "a.step").read_bytes()

    first = written(row(12))
    # The library counts on between files.
    written(row(150))
    assert written(row(12)) == first
    assert written(row(12), title="b") != first
    assert written(row(12), date=None) != first
    assert written(row(12).moved(np.array([1e-6, 0.0, 0.0]))) != first


def test_colours_come_in_the_order_of_what_they_colour(beaded, tmp_path):
    bodies, model, _ = beaded
    write_step(tmp_path / "a.step", bodies, model, title="a", date=None)
    told = statements(tmp_path / "a.step")
    assert list(told) == list(range(1, len(told) + 1))
    assert all(other in told for _, content in told.values() for other in references(content))
    coloured = [references(content)[-1] for content in of_keyword(told, "STYLED_ITEM").values()]
    assert coloured == sorted(coloured)
    assert len(coloured) == len(of_keyword(told, "MANIFOLD_SOLID_BREP"))


def test_the_library_prints_nothing_and_is_left_as_it_was(tmp_path, capfd):
    printers = list(Message.DefaultMessenger_s().Printers())
    settings_before = [
        Interface_Static.IVal_s(f"write.{name}") for name in ("surfacecurve.mode", "step.unit")
    ]
    write_step(tmp_path / "a.step", row(3), two_kinds(row(3)), title="a", date=None)
    assert capfd.readouterr() == ("", "")
    assert len(list(Message.DefaultMessenger_s().Printers())) == len(printers) > 0
    assert settings_before == [
        Interface_Static.IVal_s(f"write.{name}") for name in ("surfacecurve.mode", "step.unit")
    ]


def test_a_thousand_rings_are_small(tmp_path):
    rings = row(1000)
    assert write_step(tmp_path / "a.step", rings, two_kinds(rings, 0.1), title="a", date=DAY) < 700_000
    placed_there = by_hand(tmp_path / "a.step")
    assert np.array([centre for *_, centre in placed_there]) == pytest.approx(rings.centres, abs=1e-8)


def test_only_so_many_bodies(tmp_path, monkeypatch):
    monkeypatch.setattr(step, "MOST_BODIES", 2)
    assert why_not(2) == ""
    assert why_not(3) == "STEP is for 1 to 2 bodies, not 3"
    with pytest.raises(CannotWrite, match=r"a\.step: STEP is for 1 to 2 bodies, not 3"):
        write_step(tmp_path / "a.step", row(3), two_kinds(row(3)), title="a", date=None)
    assert list(tmp_path.iterdir()) == []


def test_no_bodies(tmp_path):
    none = Model((), (), np.empty((0, 3, 3)), np.empty((0, 3)), ())
    with pytest.raises(CannotWrite, match="not 0"):
        write_step(
            tmp_path / "a.step", rings_of(((0, 0, 0), (0, 0, 1), 2.0, 0.5))[:0], none, title="", date=None
        )


def test_without_the_library(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "OCP.STEPCAFControl", None)
    assert why_not(1).startswith("STEP needs cadquery-ocp-novtk: ")
    with pytest.raises(CannotWrite, match=r"a\.step: STEP needs cadquery-ocp-novtk"):
        write_step(tmp_path / "a.step", row(1), two_kinds(row(1)), title="a", date=None)
    assert list(tmp_path.iterdir()) == []


def test_models_are_written_with_and_without_it(tmp_path, monkeypatch, beaded):
    bodies, _, graph = beaded

    def suffixes():
        placed = Placed(bodies, graph, of_one(graph), "a", DAY)
        models = write_models(tmp_path, "piece", placed, tolerance=0.1)
        assert all(path.is_file() for path in models.paths)
        assert models.figures == figures_of(model_of(bodies, graph, of_one(graph), tolerance=0.1))
        return {path.suffix for path in models.paths}

    with_it = suffixes()
    monkeypatch.setattr(step, "MOST_BODIES", 1)
    assert with_it - suffixes() == {".step"}
    monkeypatch.undo()
    monkeypatch.setitem(sys.modules, "OCP.STEPCAFControl", None)
    assert with_it - suffixes() == {".step"}


def test_with_an_old_library(monkeypatch):
    monkeypatch.setattr(OCP, "__version__", "7.9.3")
    assert why_not(1) == "STEP needs cadquery-ocp-novtk 8.0 or newer, not 7.9.3"


def test_a_disk_that_fills_up_leaves_the_old_model(tmp_path, disk_with):
    path = tmp_path / "a.step"
    path.write_bytes(b"old")
    disk_with(0)
    with pytest.raises(CannotWrite, match="No space left on device"):
        write_step(path, row(3), two_kinds(row(3)), title="a", date=None)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
