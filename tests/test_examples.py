"""Every example is read, built and checked, and has its picture."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest

from chaingen.design.load import load_design
from chaingen.geometry.linking import linked
from chaingen.geometry.near import near_pairs
from chaingen.pipeline import Draped, build, drape, export
from chaingen.weave.pieces import Sheet
from tests.oracles import outside_linking

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
    rings = built[name].placement.rings[slice(0, 12)]
    pairs = near_pairs(rings)
    outside = [
        outside_linking(*((rings.centres[k], rings.normals[k], rings.radii[k]) for k in pair), segments=20)
        for pair in pairs
    ]
    assert linked(rings, pairs).tolist() == [number == 1 for number in outside]
    assert any(outside)


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
    """The three examples whose names begin so show every key between them."""
    from chaingen.design.metal_schema import ColourTable, MetalPatternTable
    from chaingen.design.pattern_schema import GroupTable, OutlineTable, PatternTable, SectionTable
    from chaingen.design.schema import DesignTable, RingTable, SceneTable

    text = "".join(path.read_text() for path in EXAMPLES if path.stem.startswith("all-keys"))
    for table in (
        DesignTable, ColourTable, MetalPatternTable, GroupTable, OutlineTable, PatternTable, RingTable,
        SceneTable, SectionTable,
    ):  # fmt: skip
        for key in table.model_fields:
            assert re.search(rf"\b{key} =|\[(pattern\.)?{key}\b", text), key


def test_report_and_placement_are_complete_and_true(tmp_path, built):
    result = built["graduated-earring"]
    files = export(result, tmp_path, pictures=False)
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["files"] == [path.relative_to(tmp_path).as_posix() for path in files.paths]
    assert all((tmp_path / name).exists() for name in report["files"])
    assert report["verdict"] in ("tight", "comfortable", "loose")
    assert report["ring_count"] == sum(entry["count"] for entry in report["rings_by_size"]) == 15
    assert report["links_as_designed"] is True
    placement = json.loads((tmp_path / "placement.json").read_text())
    assert placement["unit"] == "mm"
    assert len(placement["bodies"]) == 15
    # Rosettes of 3 have 3 links each, and each join links 3 and 3 rings: 4 * 3 + 3 * 6.
    assert len(placement["links"]) == 30
    # Reopened by hand, it has the gap that the report says.
    from tests.oracles import circle_distance

    rings = [
        (
            np.array(b["centre"]),
            np.array(b["normal"]),
            0.5 * (b["inside_diameter"] + b["wire_diameter"]),
            0.5 * b["wire_diameter"],
        )
        for b in placement["bodies"]
    ]
    gaps = [circle_distance(a[:3], b[:3]) - a[3] - b[3] for k, a in enumerate(rings) for b in rings[:k]]
    assert min(gaps) == pytest.approx(report["smallest_gap_mm"], abs=1e-5)


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
