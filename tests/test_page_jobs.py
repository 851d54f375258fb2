"""Jobs of the page: what is asked as plain data, answered as plain data, the same as the command line's."""

import json
import pickle
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from chaingen.cli import main
from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.page import jobs
from chaingen.page.catalogue import starter
from chaingen.page.piece_files import GROUPS, what_for
from chaingen.stock.gauges import awg
from tests.page_numbers import floats, wholes

TEXT = starter_design("two-in-one", repeat=4)


def ask(text=TEXT, changes=(), *, quick=False, last=None, folder=".", with_read=False):
    told = []
    asked = {"text": text, "changes": list(changes), "quick": quick, "last": last, "folder": str(folder)}
    answer = jobs.look(asked, told.append)
    json.dumps({key: value for key, value in answer.items() if key != "_keep"}, allow_nan=False)
    read = [line["read"] for line in told if "read" in line]
    assert all(set(line) == {"progress", "seconds"} for line in told if "read" not in line)
    # What was read is told once, before anything is built.
    assert len(read) <= (0 if quick else 1)
    if read:
        assert "read" in told[0]
        assert list(read[0]) == ["text", "controls", "problems"]
        assert (read[0]["text"], read[0]["problems"]) == (answer["text"], [])
    return answer if not with_read else (answer, read)


def inside(text, *, to):
    return {"do": "size", "name": text, "inside": to}


@pytest.fixture(scope="module")
def built():
    return ask()


# --- look


def test_a_look_tells_all(built):
    assert built["look"]["numbers"]["rings"] == 11
    assert built["text"] == TEXT
    assert built["controls"]["extent"]["repeat"] == 4
    assert built["problems"] == []
    assert not built["look"]["quick"]


def test_changes_come_first(built):
    wider = ask(
        changes=[inside("link", to="3.4 mm"), {"do": "metal", "value": "copper"}], last=built["_keep"]
    )
    assert 'inside = "3.4 mm"' in wider["text"]
    assert wider["look"]["gap"]["mm"] > built["look"]["gap"]["mm"]
    assert wider["look"]["piece"]["materials"][0]["name"] == "copper"
    assert wider["controls"]["sizes"][0]["inside"]["mm"] == 3.4
    assert "_keep" in wider


def test_boxes_are_told_before_the_piece_is_built(built):
    answer, (read,) = ask(changes=[inside("link", to="3.4 mm")], with_read=True)
    assert read["controls"] == answer["controls"]
    assert read["controls"]["sizes"][0]["inside"]["mm"] == 3.4
    # How many repeats a length takes is known only once the piece is.
    answer, (read,) = ask(starter_design("one-in-one", length="40 mm"), with_read=True)
    assert read["controls"]["extent"]["repeat"] is None
    # Pulled straight, rings reach an inside diameter on, and the ends have a wire more each.
    assert answer["controls"]["extent"]["repeat"] == round((40.0 - 2.0 * awg(18)) / 4.0)
    # Nothing is built of what is bad, or the same.
    assert ask(starter_design("two-in-one", wire="18 gauge"), with_read=True)[1] == []
    assert ask(last=built["_keep"], with_read=True)[1] == []
    assert ask(quick=True, last=built["_keep"], with_read=True)[1] == []


def test_a_quick_look_is_near_the_full_one_and_keeps_nothing(built):
    changes = [inside("link", to="3.2 mm")]
    quick = ask(changes=changes, quick=True, last=built["_keep"])
    full = ask(changes=changes)
    assert quick["look"]["quick"]
    assert "_keep" not in quick
    assert quick["look"]["gap"]["mm"] == pytest.approx(full["look"]["gap"]["mm"], abs=0.005)
    assert quick["look"]["verdict"]["word"] == full["look"]["verdict"]["word"]
    assert quick["look"]["counts"] == full["look"]["counts"]
    assert quick["text"] == full["text"]


def test_nothing_near_gives_no_quick_look(built):
    assert ask(quick=True)["look"] is None
    other = ask(starter_design("three-in-three", repeat=4), quick=True, last=built["_keep"])
    assert other["look"] is None
    assert other["controls"]["form"] == "groups"
    assert other["problems"] == []


def test_what_is_the_same_piece_is_not_built_again(built, monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("built again")

    monkeypatch.setattr(jobs, "build", refuse)
    monkeypatch.setattr(jobs, "glimpse", refuse)
    retitled = [{"do": "title", "value": "Harbour lights"}]
    for quick in (False, True):
        again = ask("# a note\n" + TEXT, retitled, quick=quick, last=built["_keep"])
        assert again["look"]["title"] == "Harbour lights"
        # All is known of it, so that nothing better will come.
        assert not again["look"]["quick"]
        assert again["look"]["verdict"]["lines"] == built["look"]["verdict"]["lines"]
    with pytest.raises(AssertionError, match="built again"):
        ask(changes=[inside("link", to="3.1 mm")], last=built["_keep"])
    with pytest.raises(AssertionError, match="built again"):
        ask(TEXT.replace('tolerance = "0.05 mm"', 'tolerance = "0.1 mm"'), last=built["_keep"])


def test_the_length_asked_is_still_told_of_what_is_kept():
    text = starter_design("one-in-one", length="40 mm")
    first = ask(text)
    again = ask(text, [{"do": "title", "value": "Short"}], last=first["_keep"])
    assert again["look"]["numbers"] == first["look"]["numbers"]
    assert again["look"]["numbers"]["length_asked"] == "40 mm"
    assert again["controls"]["extent"]["repeat"] == again["look"]["numbers"]["repeat"]


def test_a_bad_text_is_told_with_its_lines():
    answer = ask(starter_design("two-in-one", wire="18 gauge"))
    assert answer["look"] is None
    (problem,) = answer["problems"]
    assert problem["where"] == "rings.link.wire"
    assert answer["text"].splitlines()[problem["line"] - 1].startswith("wire = ")
    assert answer["controls"]["sizes"][0]["wire"]["text"] == "18 gauge"


def test_text_that_is_no_toml_is_told_with_its_line():
    answer = ask("title = \n")
    assert (answer["look"], answer["controls"]) == (None, None)
    assert answer["problems"][0]["line"] == 1


def test_a_change_that_cannot_be_made_leaves_the_text():
    answer = ask(changes=[{"do": "remove", "at": []}])
    assert answer["problems"]
    assert answer["text"] == TEXT


def test_what_only_building_finds_is_told_too():
    answer = ask(starter_design("two-in-one", inside="0.6 mm", wire="0.2 mm", length="100 m"))
    assert answer["look"] is None
    assert answer["problems"][0]["where"] == "pattern.length"
    assert answer["problems"][0]["line"] is not None


def test_files_are_read_from_the_folder_alone(tmp_path):
    weave = (Path(__file__).parent.parent / "examples" / "weaves" / "lobster-pot.toml").read_text("utf-8")
    (tmp_path / "outside.toml").write_text(weave, encoding="utf-8")
    folder = tmp_path / "beside"
    folder.mkdir()
    text = (Path(__file__).parent.parent / "examples" / "lobster-pot.toml").read_text("utf-8")
    assert "weaves/lobster-pot.toml" in text
    outside = ask(text.replace("weaves/lobster-pot.toml", "../outside.toml"), folder=folder)
    assert outside["look"] is None
    assert "lobster" not in json.dumps(outside["problems"])
    (folder / "lobster-pot.toml").write_text(weave, encoding="utf-8")
    assert ask(text, folder=folder)["look"] is not None


def test_what_is_kept_is_small(built):
    kept = pickle.loads(built["_keep"])
    assert kept.design == parse_design(TEXT)
    assert len(built["_keep"]) < 100_000


# --- rest


def settle(text, scene, last=None):
    told = []
    answer = jobs.rest({"text": text, "scene": scene, "last": last, "folder": "."}, told.append)
    json.dumps([answer, *told], allow_nan=False)
    return answer["rest"], [line for line in told if "progress" not in line]


def test_a_chain_hangs_and_is_seen_to(built):
    rest, told = settle(TEXT, {"kind": "hang"}, built["_keep"])
    assert rest["reached"]
    assert rest["kind"] == "hang"
    assert rest["words"][-1].startswith("hang: at rest")
    first, *poses = told
    assert set(first) == {"piece", "supports"}
    assert [support["kind"] for support in first["supports"]] == ["bar"]
    assert all(set(line) == {"poses"} for line in poses)
    begun, end = floats(first["piece"]["poses"], 7), floats(rest["poses"], 7)
    assert begun.shape == end.shape == (11, 7)
    # Gravity pulls along -z: it hangs down from its peg, longest that way.
    assert np.ptp(end[:, 2]) > 3.0 * np.ptp(end[:, :2], axis=0).max()
    # No wire runs through another: the piece's own circles keep their distance.
    assert rest["smallest_gap"]["mm"] > 0.0


def test_an_open_run_is_worn_with_the_join_that_closes_it():
    text = starter_design("two-in-one", repeat=20)
    rest, (first, *_) = settle(text, {"kind": "wrist"})
    assert rest["reached"], rest["why"]
    # Twenty pairs, and as many joins where it is closed.
    assert len(first["piece"]["names"]) == 60
    bodies = np.concatenate([wholes(kind["bodies"]) for kind in first["piece"]["kinds"]])
    assert sorted(bodies.tolist()) == list(range(60))
    assert [support["kind"] for support in first["supports"]] == ["oval"]
    assert len(floats(rest["poses"], 7)) == 60


def test_a_scene_that_does_not_suit_is_a_problem():
    with pytest.raises(BadInput) as told:
        settle(TEXT, {"kind": "corners"})
    assert "scenes" in told.value.problems[0].where


def test_a_piece_that_does_not_fit_is_not_let_go():
    rest, told = settle(starter_design("two-in-one", inside="2.2 mm", repeat=3), {"kind": "hang"})
    assert told == []
    assert (rest["reached"], rest["poses"]) == (False, None)
    assert "does not fit" in rest["why"]


def test_a_kept_piece_too_large_to_be_draped_is_refused_like_another(monkeypatch, built):
    monkeypatch.setattr(jobs, "MAX_DRAPED_RINGS", 10)
    monkeypatch.setattr("chaingen.pipeline.MAX_DRAPED_RINGS", 10)
    with pytest.raises(BadInput, match="at most 10 rings"):
        settle(TEXT, {"kind": "hang"}, built["_keep"])


# --- files


def write(folder, text, **wanted):
    told = []
    asked = {"text": text, "last": None, "folder": ".", "out": str(folder)}
    flags = {"models": True, "pictures": False, "sheet": True, "scenes": True, "service": True}
    return jobs.files({**asked, **flags, **wanted}, told.append)["files"]


def test_files_are_those_of_the_command_line(tmp_path):
    text = starter_design("two-in-one", inside="6 mm", wire="1 mm", repeat=3, title="Slipway")
    text = text.replace("scenes = []", 'date = 2026-11-27\nscenes = [{ kind = "table" }]')
    text += '[service]\nprocess = "loose rings for casting"\n'
    path = tmp_path / "slipway.toml"
    path.write_text(text, encoding="utf-8")
    made = CliRunner().invoke(main, ["make", str(path), "--out", str(tmp_path / "made"), "--no-pictures"])
    assert made.exit_code == 0, made.output
    files = write(tmp_path / "page", text)
    there = {file.relative_to(tmp_path / "made").as_posix() for file in (tmp_path / "made").rglob("*.*")}
    assert {entry["path"] for entry in files["list"]} == there | {"design.toml"}
    assert (tmp_path / "page" / "design.toml").read_text(encoding="utf-8") == text
    groups = [entry["group"] for entry in files["list"]]
    assert groups == sorted(groups, key=GROUPS.index)
    assert groups[:2] == ["The design", "Maker's sheet"]
    assert {"sheet.html", "report.json", "models/piece.stl", "service/rings-1.stl"} <= there
    for name in there:
        page = (tmp_path / "page" / name).read_bytes()
        if name != "sheet.pdf":
            assert page == (tmp_path / "made" / name).read_bytes(), name
    for entry in files["list"]:
        assert entry["bytes"] == (tmp_path / "page" / entry["path"]).stat().st_size
        assert entry["what"]


def test_what_is_not_wanted_is_left_out(tmp_path):
    text = starter_design("one-in-one", repeat=3).replace("scenes = []", 'scenes = [{ kind = "hang" }]')
    files = write(tmp_path / "page", text, sheet=False, scenes=False)
    names = {entry["path"] for entry in files["list"]}
    assert "models/piece.stl" in names
    assert not any(name.startswith(("scenes", "sheet", "pictures")) for name in names)


def test_models_can_be_left_out(tmp_path):
    """The placement stays, as placed and at rest; what goes to a service is asked for by itself."""
    text = starter_design("two-in-one", inside="6 mm", wire="1 mm", repeat=3)
    text = text.replace("scenes = []", 'scenes = [{ kind = "hang" }]')
    text += '[service]\nprocess = "loose rings for casting"\n'
    files = write(tmp_path / "page", text, models=False, sheet=False)
    names = {entry["path"] for entry in files["list"]}
    assert {"placement.json", "report.json", "scenes/hang/placement.json", "service/rings-1.stl"} <= names
    assert not [name for name in names if name.startswith(("models/", "scenes/hang/piece"))]
    listed = json.loads((tmp_path / "page" / "report.json").read_text("utf-8"))["files"]
    assert set(listed) == names - {"design.toml"}
    assert files["notes"] == []
    text = starter_design("two-in-one", inside="2.2 mm", repeat=3)
    cannot = write(tmp_path / "cannot", text, models=False, scenes=False, service=False)
    assert cannot["notes"] == []


def test_what_the_design_does_not_name_is_told(tmp_path):
    files = write(tmp_path / "page", starter_design("one-in-one", repeat=3), models=False, sheet=False)
    assert [note.partition(":")[0] for note in files["notes"]] == ["Nothing for a service", "Nothing at rest"]


def test_a_piece_that_does_not_fit_says_why_there_are_no_models(tmp_path):
    text = starter_design("two-in-one", inside="2.2 mm", repeat=3)
    files = write(tmp_path / "page", text, scenes=False, service=False)
    assert files["notes"] == ["No models were written, since it does not fit."]
    assert not any(entry["path"].endswith(".stl") for entry in files["list"])


def test_every_file_says_what_it_is_for():
    told = {name: what_for(name) for name in (
        "models/piece.3mf", "scenes/hang/piece.stl", "scenes/hang/turning.gif", "pictures/front.png",
        "pictures/steps/1.png", "service/tree-1.png", "service/tree-1.3mf", "scenes/hang/service/pattern.stl",
        "placement-mirrored.json", "sheet.pdf",
    )}  # fmt: skip
    assert len(set(told.values())) == len(told)
    assert told["pictures/front.png"] == "a picture, front"
    assert told["scenes/hang/turning.gif"] == "a picture that moves, a full turn, at rest: hang"
    assert told["service/tree-1.3mf"] == "to send to the service"


# --- new


def test_a_new_design_is_a_starter():
    given = {"name": "byzantine", "metal": "brass", "repeat": 5, "wire": None}
    assert jobs.new(given, lambda _: None) == {"text": starter("byzantine", {"metal": "brass", "repeat": 5})}


@pytest.mark.parametrize(
    "given",
    [{"name": "byzantine", "wire": "18 gauge"}, {"name": "nothing"}, {"name": "two-in-one", "rows": 3}],
)
def test_a_new_design_with_problems_is_told(given):
    with pytest.raises(BadInput):
        jobs.new(given, lambda _: None)


def test_what_is_made_ready_is_a_piece_with_a_finding(monkeypatch):
    asked = []
    monkeypatch.setattr(jobs, "look", lambda arguments, _: asked.append(arguments) or {})
    assert jobs.ready_findings({}, print) == {}
    monkeypatch.undo()
    (arguments,) = asked
    said = jobs.look(arguments, lambda _: None)
    assert said["problems"] == []
    assert said["look"]["numbers"]["findings"] == 1
