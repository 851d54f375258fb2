"""What there is to choose from: everything parses and has a picture; wires against published tables."""

import io
from importlib.resources import files

import numpy as np
import pytest
from PIL import Image

from chaingen.design.load import parse_design
from chaingen.design.piece_starter import PIECES
from chaingen.design.starter import STARTERS
from chaingen.errors import BadInput
from chaingen.findings.catalogue import KINDS
from chaingen.page.catalogue import FIRST, GROUPS, entries, hexed, picture_name, session_data, starter
from chaingen.stock.gauges import parse_wire
from chaingen.stock.metals import METALS
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.pieces import Sheet

PICTURES = files("chaingen.page") / "assets" / "pictures"
WIDTH, HEIGHT = 240, 168


@pytest.fixture(scope="module")
def data():
    return session_data()


def test_everything_known_by_name_is_there_once():
    names = [entry.name for entry in entries()]
    assert len(set(names)) == len(names)
    assert set(names) == {*STARTERS, *PIECES, *weave_names()}
    assert [entry.group for entry in entries()] == sorted(
        (entry.group for entry in entries()), key=GROUPS.index
    )


@pytest.mark.parametrize("entry", entries(), ids=lambda entry: entry.name)
def test_an_entry_starts_a_design_of_its_form(entry):
    design = parse_design(starter(entry.name))
    assert isinstance(design.piece, Sheet) == (entry.form == "sheet")
    assert entry.about
    assert set(entry.words.split()) >= set(entry.name.split("-"))


def test_options_are_what_the_starters_take():
    assert parse_design(starter("two-in-one", {"repeat": 3, "metal": "copper"})).metal.name == "copper"
    assert starter("byzantine", {"wire": "1 mm", "closed": True}).count('"1 mm"') == 1
    assert parse_design(starter("european-4-in-1", {"columns": 3, "rows": 2})).piece.columns == 3
    assert starter("jens-pind", {"hand": None}) == starter("jens-pind")


@pytest.mark.parametrize(
    ("name", "options", "where"),
    [
        ("two-in-two-in-one", {}, "name"),
        ("two-in-one", {"columns": 3}, "columns"),
        ("linked-bracelet", {"inside": "3 mm"}, "inside"),
        ("byzantine", {"repeat": "three"}, "repeat"),
        ("byzantine", {"repeat": True}, "repeat"),
        ("byzantine", {"closed": 1}, "closed"),
        ("two-in-one", {"metal": 3}, "metal"),
        ("two-in-one", {"repeat": 3, "length": "180 mm"}, "repeat and length"),
        ("two-in-one", {"chain": "one-in-one"}, "chain"),
        ("japanese-4-in-1", {"inside": "3 mm"}, "inside and wire"),
        ("european-4-in-1", {"outline": "square:3 mm"}, "outline"),
        ("two-in-one", {"process": "sand"}, "process"),
    ],
)
def test_a_wrong_choice_is_told_by_its_name(name, options, where):
    with pytest.raises(BadInput) as told:
        starter(name, options)
    assert [problem.where.lstrip("-") for problem in told.value.problems] == [where]


def test_the_session_names_what_there_is(data):
    assert [metal["name"] for metal in data["metals"]] == [metal.name for metal in METALS]
    assert [kind["kind"] for kind in data["kinds"]] == list(KINDS)
    ends = {kind["kind"]: kind["ends"] for kind in data["kinds"]}
    assert ends["lobster clasp"] == ["start", "end"]
    assert ends["wire path"] == []
    assert data["first"] == {"text": starter(FIRST), "name": FIRST}
    assert {entry["picture"] for entry in data["catalogue"]} == {
        f"/assets/pictures/{picture_name(entry.name)}" for entry in entries()
    }
    assert find_weave("byzantine").title in [entry["title"] for entry in data["catalogue"]]


def test_wires_in_the_order_of_their_thickness(data):
    wires = data["wires"]
    assert [wire["mm"] for wire in wires] == sorted(wire["mm"] for wire in wires)
    assert len({wire["text"] for wire in wires}) == len(wires)
    for wire in wires:
        assert parse_wire(wire["text"]) == pytest.approx(wire["mm"], abs=5e-5)
    inch = {wire["text"]: wire["inch"] for wire in wires}
    # ASTM B258 (its rounded table); BS 3737:1964.
    assert (inch["18 AWG"], inch["20 AWG"], inch["10 AWG"]) == ("0.0403 in", "0.0320 in", "0.1019 in")
    assert (inch["18 SWG"], inch["20 SWG"], inch["30 SWG"]) == ("0.0480 in", "0.0360 in", "0.0124 in")
    assert {"0.3 mm", "1 mm", "1.2 mm", "2.5 mm"} <= set(inch)


def test_colours_as_digits():
    assert hexed((1.0, 0.5, 0.0)) == "#ff8000"


# --- pictures


def test_every_entry_has_its_picture_and_no_other_is_there():
    assert {path.name for path in PICTURES.iterdir()} == {picture_name(entry.name) for entry in entries()}
    assert sum(len(path.read_bytes()) for path in PICTURES.iterdir()) < 130_000


@pytest.mark.parametrize("entry", entries(), ids=lambda entry: entry.name)
def test_a_picture_is_metal_on_nothing_and_fills_its_frame(entry):
    content = (PICTURES / picture_name(entry.name)).read_bytes()
    assert len(content) < 5_000
    picture = Image.open(io.BytesIO(content))
    assert (picture.format, picture.size, picture.mode) == ("WEBP", (WIDTH, HEIGHT), "RGBA")
    pixels = np.asarray(picture)
    covered = pixels[:, :, 3] > 128
    corners = np.stack([pixels[y : y + 6, x : x + 6, 3] for y in (0, HEIGHT - 6) for x in (0, WIDTH - 6)])
    assert corners.max() == 0
    assert 0.04 < covered.mean() < 0.8
    rows, columns = (np.flatnonzero(covered.any(axis=axis)) for axis in (1, 0))
    # In frame all round, and as large as that allows.
    assert rows[0] > 0
    assert rows[-1] < HEIGHT - 1
    assert columns[0] > 0
    assert columns[-1] < WIDTH - 1
    assert max(np.ptp(rows) / HEIGHT, np.ptp(columns) / WIDTH) > 0.88
    # Lights and darks, as metal has them.
    grey = pixels[covered][:, :3].mean(axis=1)
    assert np.percentile(grey, 95) - np.percentile(grey, 5) > 80.0
