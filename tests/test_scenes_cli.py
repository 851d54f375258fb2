"""Scenes from the command line to the report: what is asked, what is told, and what is refused."""

import json

import pytest

from chaingen.cli.make import SCENES
from chaingen.design.load import parse_design
from chaingen.design.scene import MAX_DRAPED_RINGS, SceneKind
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.pipeline import build, drape, export
from chaingen.show.report import report_of
from chaingen.show.words import rest_lines
from chaingen.solve.drape.draped import scene_names

SMALL = starter_design("one-in-one", title="Quay sample", repeat=5)
HUNG = SMALL.replace("scenes = []", 'scenes = [{ kind = "hang" }, { kind = "table", friction = 0.4 }]')


@pytest.fixture
def run(run, tmp_path):
    (tmp_path / "quay.toml").write_text(HUNG)
    return run


@pytest.fixture(scope="module")
def draped():
    return drape(build(parse_design(HUNG.replace("supple = false", "supple = true"))))


def test_scenes_of_the_command_are_those_there_are():
    assert tuple(kind.value for kind in SceneKind) == SCENES


def test_make_with_the_scenes_of_the_design(run, tmp_path):
    output = run("make", "quay.toml", "--no-pictures").output
    assert "hang: at rest" in output
    assert "table: at rest" in output
    folder = tmp_path / "out" / "quay" / "scenes"
    for name in ("hang", "table"):
        models = {f"piece.{ending}" for ending in ("stl", "obj", "mtl", "glb", "3mf", "step")}
        assert {path.name for path in (folder / name).iterdir()} == {"placement.json", *models}
        placement = json.loads((folder / name / "placement.json").read_text())
        assert placement["format"] == "chaingen placement"
        assert len(placement["bodies"]) == 5
    report = json.loads((tmp_path / "out" / "quay" / "report.json").read_text())
    assert [scene["kind"] for scene in report["scenes"]] == ["hang", "table"]
    assert [scene["friction"] for scene in report["scenes"]] == [0.2, 0.4]
    assert "scenes/hang/piece.stl" in report["files"]
    # The placement at rest is the report's: reopened, its length is told.
    hang = report["scenes"][0]
    heights = [
        body["centre"][2] for body in json.loads((folder / "hang/placement.json").read_text())["bodies"]
    ]
    body = placement["bodies"][0]
    outside = body["inside_diameter"] + 2.0 * body["wire_diameter"]
    assert hang["length_at_rest_mm"] == pytest.approx(max(heights) - min(heights) + outside, abs=0.05)


def test_scenes_by_option(run):
    output = run("make", "quay.toml", "--no-pictures", "--scene", "hang", "--friction", "0", "--json").output
    (scene,) = json.loads(output)["scenes"]
    assert (scene["kind"], scene["friction"], scene["at_rest"]) == ("hang", 0.0, True)
    # A kind that the design has keeps its settings.
    output = run(
        "make", "quay.toml", "--no-pictures", "--scene", "table", "--disorder", "0.3", "--seed", "4", "--json"
    )
    (scene,) = json.loads(output.output)["scenes"]
    assert (scene["friction"], scene["disorder"], scene["seed"]) == (0.4, 0.3, 4)
    assert (
        json.loads(run("make", "quay.toml", "--no-pictures", "--no-scenes", "--json").output)["scenes"] == []
    )


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--scene", "hung"], "hang"),
        (["--no-scenes", "--scene", "hang"], "one or the other"),
        (["--no-scenes", "--friction", "0.1"], "one or the other"),
        (["--friction", "3"], "0.0<=x<=2.0"),
        (["--scene", "hang", "--seed", "-1"], "0<=x"),
    ],
)
def test_bad_options_of_scenes(run, tmp_path, options, words):
    assert words in run("make", "quay.toml", *options, code=2).output
    assert not (tmp_path / "out").exists()


def test_options_without_a_scene(run, tmp_path):
    (tmp_path / "bare.toml").write_text(SMALL)
    assert "no scene" in run("make", "bare.toml", "--settling", code=2).output
    closed = SMALL.replace('form = "open run"', 'form = "closed loop"').replace("repeat = 5", "repeat = 12")
    (tmp_path / "loop.toml").write_text(closed)
    assert "two ends" in run("make", "loop.toml", "--scene", "swag", code=2).output


def test_check_drapes_nothing(run, monkeypatch):
    monkeypatch.setattr("chaingen.pipeline.drape_in", lambda *_, **__: pytest.fail("draped"))
    assert "hang" not in run("check", "quay.toml").output


def test_large_pieces_are_refused_before_anything_is_placed(monkeypatch):
    monkeypatch.setattr("chaingen.pipeline.place", lambda *_, **__: pytest.fail("placed"))
    text = HUNG.replace("repeat = 5", f"repeat = {MAX_DRAPED_RINGS + 1}")
    with pytest.raises(BadInput, match="10,000"):
        build(parse_design(text))


def test_a_piece_that_does_not_fit_is_not_draped():
    text = starter_design("two-in-two", inside="2 mm", repeat=3)
    result = drape(build(parse_design(text.replace("scenes = []", 'scenes = [{ kind = "hang" }]'))))
    assert "does not fit" in result.drapes[0].why
    assert any("not draped" in line for line in rest_lines(result))
    (scene,) = report_of(result)["scenes"]
    assert (scene["draped"], scene["at_rest"]) == (False, False)
    assert "does not fit" in scene["why_not"]


def test_a_scene_that_cannot_start_says_why():
    text = SMALL.replace("scenes = []", 'scenes = [{ kind = "neck" }, { kind = "hang" }]')
    neck, hang = drape(build(parse_design(text))).drapes
    assert "too short" in neck.why
    assert hang.reached


def test_words_and_report(draped):
    lines = rest_lines(draped)
    assert lines[0].startswith("From slack to taut it stretches by ")
    assert "drop" in lines[1]
    assert "links unchanged" in lines[1]
    assert any(line.startswith("Bent in the plane") for line in lines)
    assert any("twists freely" in line for line in lines)
    report = report_of(draped)
    # A single chain: slack at 2/3 of its taut pitch and more.
    slack, taut = report["length_as_placed_mm"], report["finished_length_mm"]
    assert report["stretch_percent"] == pytest.approx(100.0 * (taut / slack - 1.0), abs=0.01)
    hang = report["scenes"][0]
    assert hang["links_unchanged"] is True
    assert hang["collision_count"] == 0
    assert hang["support_over_weight"] == pytest.approx(1.0, abs=1e-3)
    assert hang["unbalanced_ring_weights"] <= 1e-3
    assert hang["drop_mm"] < hang["length_at_rest_mm"] <= taut * 1.0005
    assert report["supple"]["twist_per_group_degrees"][0] > 10.0
    json.dumps(report)


def test_scene_folders_are_numbered(draped):
    hang, table = draped.drapes
    assert scene_names([hang, table, hang, hang]) == ["hang", "table", "hang-2", "hang-3"]


@pytest.mark.slow
def test_pictures_of_scenes(draped, tmp_path):
    files = export(draped, tmp_path)
    names = {path.relative_to(tmp_path).as_posix() for path in files.paths}
    assert {"scenes/hang/front.png", "scenes/hang/turning.gif", "scenes/table/above.png"} <= names
    assert "pictures/supple.png" in names
    assert "scenes/hang/settling.gif" not in names
    for path in files.paths:
        assert path.stat().st_size > (100 if path.suffix == ".mtl" else 500)
