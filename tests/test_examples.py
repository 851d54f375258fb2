"""Every example is read, built and checked, and has its picture."""

import json
import random
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from chaingen.design.load import load_design
from chaingen.geometry.centrelines import Arc
from chaingen.geometry.eye_linking import eye_links
from chaingen.geometry.linking import linked
from chaingen.geometry.near import near_pairs
from chaingen.geometry.shapes import ring_shape
from chaingen.pipeline import Draped, build, drape, export
from chaingen.weave.pieces import Sheet
from tests.oracles import circle_distance, distance_to_circle, outside_linking

ROOT = Path(__file__).parent.parent
EXAMPLES = sorted((ROOT / "examples").glob("*.toml"))


@pytest.fixture(scope="module")
def built():
    return {path.stem: build(load_design(path)) for path in EXAMPLES}


@pytest.mark.slow
@pytest.mark.parametrize("name", [path.stem for path in EXAMPLES])
def test_example_fits(built, name):
    result = built[name]
    assert result.fits
    assert result.check.sound
    if isinstance(result.design.piece, Sheet):
        assert result.finished_length is None
        assert result.areal_weight > 0.0
    else:
        assert result.finished_length > 0.0
    if result.asked_length is not None:
        per_repeat = result.finished_length / result.design.piece.repeat
        assert abs(result.finished_length - result.asked_length) <= 0.51 * per_repeat


@pytest.mark.slow
@pytest.mark.parametrize("name", [path.stem for path in EXAMPLES])
def test_outside_linking_number_agrees(built, name):
    """SnapPy's linking number of the polygons, for the pairs among the first rings of each example."""
    bodies = built[name].placement.rings
    rings = bodies[np.flatnonzero(bodies.is_ring)[:12]]
    pairs = near_pairs(rings)
    outside = [
        outside_linking(*((rings.centres[k], rings.normals[k], rings.radii[k]) for k in pair), segments=20)
        for pair in pairs
    ]
    assert linked(rings, pairs).tolist() == [number == 1 for number in outside]
    # Single rings between links of wire are linked with those alone.
    assert any(outside) or not bodies.all_rings


WITH_FINDINGS = [path.stem for path in EXAMPLES if load_design(path).findings]


@pytest.mark.slow
@pytest.mark.parametrize("name", WITH_FINDINGS)
def test_outside_linking_number_of_eyes_agrees(built, name):
    """The same for every eye of each kind of finding in a piece, with whatever is near it."""
    placement = built[name].placement
    bodies, graph = placement.rings, placement.graph
    kinds = {bodies.shape_of[k]: k for k in np.flatnonzero(~bodies.is_ring).tolist()}
    near = [pair for pair in near_pairs(bodies).tolist() if set(pair) & set(kinds.values())]
    lines = {
        (k, eye): eye_polygon(bodies, k, eye) for pair in near for k in pair for eye in eyes_of(bodies, k)
    }
    outside = {
        (i, j, one, two)
        for i, j in near
        for one in eyes_of(bodies, i)
        for two in eyes_of(bodies, j)
        if outside_number(lines[i, one], lines[j, two])
    }
    found = eye_links(bodies, np.array(near))
    assert {tuple(row) for row in found.tolist()} == outside
    # It is what the design asks for, and each finding is held by something.
    asked = {
        (*pair, *eyes) for pair, eyes in zip(graph.links.tolist(), graph.link_eyes.tolist(), strict=True)
    }
    assert outside == {row for row in asked if set(row[:2]) & set(kinds.values())}
    assert set(kinds.values()) <= {k for row in outside for k in row[:2]}


def eyes_of(bodies, k):
    shape = bodies.shape(k)
    return range(1 if shape is None else len(shape.eyes))


def eye_polygon(bodies, k, eye):
    """The closed line round an eye as a polygon [mm], shape (n, 3)."""
    shape = bodies.shape(k)
    loop = (ring_shape(bodies.radii[k], 0.5) if shape is None else shape).eyes[eye].loop
    frame = bodies.frames()[k]
    points = []
    for curve in loop:
        pieces = max(1, int(np.ceil(curve.span / 0.3))) if isinstance(curve, Arc) else 1
        points += [curve.point(curve.span * part / pieces) for part in range(pieces)]
    return bodies.centres[k] + np.array(points) @ frame


def outside_number(p, q):
    """Linking number of two polygons without its sign by SnapPy, from an exact rational diagram.

    A flat line that crosses itself, such as one that runs out and back, is drawn apart by a little.
    """
    from snappy.exterior_to_link.link_projection import project_to_diagram
    from snappy.exterior_to_link.rational_linear_algebra import QQ, Vector3

    random.seed(1)
    loops = []
    for line in (p, q):
        apart = np.linspace(0.0, 0.02, len(line))[:, None] * np.linalg.svd(line - line.mean(axis=0))[2][2]
        loops.append(
            [Vector3([QQ(round(float(x) * 10**6)) / 10**6 for x in point]) for point in line + apart]
        )
    matrix = project_to_diagram(loops).linking_matrix()
    # A diagram without crossings between the two is of a split pair.
    return abs(int(matrix[0][1])) if len(matrix) == 2 else 0


SCENIC = [path.stem for path in EXAMPLES if load_design(path).scenes]


@pytest.mark.slow
@pytest.mark.parametrize("name", SCENIC)
def test_scenes_of_examples_come_to_rest(built, name):
    result = drape(built[name])
    assert len(result.drapes) == len(result.design.scenes)
    for draped in result.drapes:
        assert isinstance(draped, Draped)
        assert draped.reached
        assert draped.check.links_as_designed
        assert not draped.check.collisions
        assert draped.support == pytest.approx(1.0, abs=1e-3)


def test_every_example_has_a_picture():
    for path in EXAMPLES:
        design = load_design(path)
        # An example has one scene of a kind at most.
        names = [
            "",
            *(f"-{scene.kind.value}" for scene in design.scenes),
            *(["-supple"] if design.supple else []),
        ]
        for name in names:
            assert (ROOT / "renders" / f"{path.stem}{name}.png").stat().st_size > 50_000


def test_all_keys_shows_every_key():
    """The examples whose names begin so show every key between them."""
    from chaingen.design.bench_schema import (
        BenchTable,
        ClassroomTable,
        OwnedTable,
        PricesTable,
        SheetTable,
        TrialTable,
        WireTable,
    )
    from chaingen.design.finding_keys import BeadTable, PathEyeTable, StepTable
    from chaingen.design.finding_schema import TABLES
    from chaingen.design.metal_schema import ColourTable, MetalPatternTable
    from chaingen.design.pattern_schema import (
        EndsTable,
        EndTable,
        GroupTable,
        OutlineTable,
        PatternTable,
        SectionTable,
    )
    from chaingen.design.schema import DesignTable, RingTable, SceneTable
    from chaingen.design.service_schema import ServiceTable, SpruesTable

    text = "".join(path.read_text() for path in EXAMPLES if path.stem.startswith("all-keys"))
    for table in (
        DesignTable, ColourTable, MetalPatternTable, GroupTable, OutlineTable, PatternTable, RingTable,
        SceneTable, SectionTable, EndsTable, EndTable, BeadTable, StepTable, PathEyeTable, BenchTable,
        ClassroomTable, OwnedTable, PricesTable, SheetTable, TrialTable, WireTable,
        ServiceTable, SpruesTable,
    ):  # fmt: skip
        for key in table.model_fields:
            assert re.search(rf"\b{key} =|\[(pattern\.|ends\.|bench\.|service\.)?{key}\b", text), key
    # Of findings each kind has its own table, and all keys in it.
    text = (ROOT / "examples" / "all-keys-findings.toml").read_text()
    tables = re.split(r"^\[findings\.\w+\]$", text, flags=re.MULTILINE)[1:]
    for kind, table in TABLES.items():
        (own,) = (part for part in tables if re.search(rf'^kind = "{kind}"', part, re.MULTILINE))
        for key in table.model_fields:
            # Every finding may say its metal; one shows how.
            assert key == "metal" or re.search(rf"\b{key} =|\[findings\.\w+\.{key}\]", own), (kind, key)
    assert 'metal = "brass"' in "".join(tables)


def test_report_and_placement_are_complete_and_true(tmp_path, built):
    result = built["graduated-earring"]
    files = export(result, tmp_path, pictures=False)
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["files"] == [path.relative_to(tmp_path).as_posix() for path in files.paths]
    assert all((tmp_path / name).exists() for name in report["files"])
    assert report["verdict"] in ("tight", "comfortable", "loose")
    # A pair: the placement is of one, the numbers of parts are of both.
    assert report["pieces"] == 2
    assert report["ring_count"] == sum(entry["count"] for entry in report["rings_by_size"]) == 2 * 17
    assert report["finding_count"] == 2 * 2
    assert report["links_as_designed"] is True
    placement = json.loads((tmp_path / "placement.json").read_text())
    assert placement["unit"] == "mm"
    assert len(placement["bodies"]) == 19
    # Rosettes of 3 have 3 links each, and each join links 3 and 3 rings, or 3 and a finding.
    assert len(placement["links"]) == len(placement["eyes"]) == 4 * 3 + 3 * 6 + 2 * 4
    # Reopened by hand, it has the gap that the report says.
    rings = [
        (
            np.array(b["centre"]),
            np.array(b["normal"]),
            0.5 * (b["inside_diameter"] + b["wire_diameter"]),
            0.5 * b["wire_diameter"],
        )
        for b in placement["bodies"]
        if b["kind"] == "ring"
    ]
    assert len(rings) == 17
    gaps = [circle_distance(a[:3], b[:3]) - a[3] - b[3] for k, a in enumerate(rings) for b in rings[:k]]
    spots = [reopened_points(b, placement["shapes"]) for b in placement["bodies"] if b["kind"] != "ring"]
    gaps += [
        float((distance_to_circle(points, *ring[:3]) - wires).min()) - ring[3]
        for points, wires in spots
        for ring in rings
    ]
    assert min(gaps) == pytest.approx(report["smallest_gap_mm"], abs=1e-5)


def reopened_points(body, shapes):
    """Points along the wires of a finding in placement.json [mm], shape (n, 3), and the wire radii there."""
    shape = shapes[body["shape"]]
    x, z = np.array(body["axis"]), np.array(body["normal"])
    frame = np.array([x, np.cross(z, x), z])
    points, wires = [], []
    for strand in shape["strands"]:
        for curve in strand["curves"]:
            t = np.linspace(0.0, 1.0, 400)[:, None]
            if curve["curve"] == "straight":
                along = np.array(curve["begin"]) + curve["length"] * t * np.array(curve["direction"])
            else:
                turn = curve["angle"] * t
                arm = np.cos(turn) * np.array(curve["start"]) + np.sin(turn) * np.array(curve["ahead"])
                along = np.array(curve["centre"]) + curve["radius"] * arm
            points.append(np.array(body["centre"]) + along @ frame)
            wires.append(np.full(len(along), 0.5 * strand["wire_diameter"]))
    return np.concatenate(points), np.concatenate(wires)


def test_a_piece_that_does_not_fit_gets_report_and_pictures_but_no_models(tmp_path):
    from chaingen.design.load import parse_design
    from chaingen.design.starter import starter_design

    result = build(parse_design(starter_design("two-in-two", inside="2 mm", repeat=6)))
    assert result.exit_code == 1
    assert len(result.collided)
    assert result.nearest
    (tmp_path / "models").mkdir()
    keep = tmp_path / "models" / "mine.txt"
    keep.write_text("stays")
    export(result, tmp_path, pictures=False)
    assert keep.read_text() == "stays"
    assert not (tmp_path / "models" / "piece.stl").exists()
    export(result, tmp_path, pictures=False, models_anyway=True)
    assert (tmp_path / "models" / "piece.stl").exists()
    shutil.rmtree(tmp_path)
