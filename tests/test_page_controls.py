"""What the controls show: each value as the text has it, at the place it says, whatever is wrong with it."""

import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.design.edit import change_from, edited
from chaingen.design.finding_schema import TABLES
from chaingen.design.load import load_design, parse_design
from chaingen.design.schema import DesignTable
from chaingen.design.starter import starter_design
from chaingen.findings.catalogue import KINDS
from chaingen.page.boxes import box, inside_box, length_of, wire_box
from chaingen.page.catalogue import entries, starter
from chaingen.page.controls import controls_of
from chaingen.stock.processes import PROCESSES

EXAMPLES = Path(__file__).parent.parent / "examples"


def boxes(value):
    """Every box in some controls."""
    if isinstance(value, dict):
        if "slider" in value:
            yield value
        for inner in value.values():
            yield from boxes(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from boxes(inner)


def at(data, path):
    for part in path:
        data = data[part]
    return data


def there(data, path):
    try:
        return at(data, path)
    except (KeyError, IndexError):
        return None


def agree(text, controls):
    """That boxes show what the text says where they say that it is, and lie on their sliders."""
    data = tomllib.loads(text)
    json.dumps(controls, allow_nan=False)
    for one in boxes(controls):
        said = there(data, one["at"])
        assert said is None or said == one["text"], one
        if one["mm"] is not None:
            assert one["low"] <= one["slider"]["low"] <= one["mm"] <= one["slider"]["high"] <= one["high"], (
                one
            )
            assert one["inch"] == f"{one['mm'] / 25.4:z.3f} in"


@pytest.mark.parametrize("entry", entries(), ids=lambda entry: entry.name)
def test_controls_of_every_entry_show_its_text(entry):
    text = starter(entry.name)
    design = parse_design(text)
    controls = controls_of(text, design, 7)
    agree(text, controls)
    assert controls["title"]["value"] == design.title
    assert controls["metal"]["value"] == design.metal.name
    assert [size["name"] for size in controls["sizes"]] == [size.name for size in design.ring_sizes]
    for size, own in zip(controls["sizes"], design.ring_sizes, strict=True):
        assert size["inside"]["mm"] == pytest.approx(own.inside_diameter, abs=1e-6)
        assert size["wire"]["mm"] == pytest.approx(own.wire_diameter, abs=1e-6)
        assert size["ratio"] == f"{own.aspect_ratio:.2f}"
        assert size["used"]
    assert (controls["sheet"] is None) == (entry.form != "sheet")
    assert (controls["extent"] is None) == (entry.form == "sheet")
    assert controls["weave"] == (
        {"name": entry.name, "title": entry.title} if entry.kind == "weave" else None
    )
    # Without the design nothing else is shown than with it.
    bare = controls_of(text)
    assert {key: bare[key] for key in bare if key not in ("scenes", "extent")} == {
        key: controls[key] for key in controls if key not in ("scenes", "extent")
    }


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_controls_of_every_example_show_its_text(path):
    text = path.read_text(encoding="utf-8")
    agree(text, controls_of(text, load_design(path)))
    agree(text, controls_of(text))


def test_groups_in_the_order_of_the_piece():
    controls = controls_of(starter("linked-bracelet"))
    assert [(group["where"], group["words"]) for group in controls["groups"]] == [
        ("ends", "1 ring that joins"),
        ("groups", "a rosette of 3 rings"),
        ("groups", "1 ring that joins"),
        ("groups", "loop link 'bridge'"),
        ("groups", "1 ring that joins"),
        ("last", "a rosette of 3 rings"),
        ("ends", "1 ring that joins"),
    ]
    data = tomllib.loads(starter("linked-bracelet"))
    for group in controls["groups"]:
        assert at(data, group["at"])[group["kind"]] in (group["count"], group["finding"])
    assert controls["ends"] == {
        "start": {"finding": "clasp", "kind": "lobster clasp"},
        "end": {"finding": "catch", "kind": "closed ring"},
    }


def test_a_ring_that_is_left_out_is_the_only_one():
    text = starter_design("two-in-one").replace(', ring = "link"', "")
    assert {group["ring"] for group in controls_of(text)["groups"]} == {"link"}
    agree(text, controls_of(text))


def test_sizes_that_nothing_is_made_of():
    text = starter_design("two-in-one") + '\n[rings.spare]\ninside = "5 mm"\nwire = "1 mm"\n'
    for design in (None, parse_design(text)):
        assert [size["used"] for size in controls_of(text, design)["sizes"]] == [True, False]


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_of_a_finding_has_a_control(kind):
    text = starter_design("two-in-one") + f'\n[findings.it]\nkind = "{kind}"\n'
    (finding,) = controls_of(text)["findings"]
    assert (finding["name"], finding["kind"]) == ("it", kind)
    lists = {"beads", "path", "steps", "eyes"}
    keys = [row["at"][-1] for row in finding["keys"]]
    assert set(keys) == set(TABLES[kind].model_fields) - {"kind"} - lists
    for row in finding["keys"]:
        assert row["at"][:2] == ["findings", "it"]
        assert row["about"].endswith(".")
        assert row["type"] in ("length", "wire", "number", "choice", "text", "flag")
        assert ("box" in row) == (row["type"] in ("length", "wire"))
        assert not row["given"]
        if row["value"] is not None:
            # What goes when nothing is written may be written.
            changed = edited(text, [change_from({"do": "set", "at": row["at"], "value": row["value"]})])
            assert TABLES[kind].model_fields[row["at"][-1]] is not None
            assert at(tomllib.loads(changed), row["at"]) == row["value"]
            assert row["type"] != "wire" or length_of(row["value"], wire=True) == row["box"]["mm"]


def test_beads_have_controls_of_their_own():
    controls = controls_of(starter("graduated-earrings"))
    drop = next(finding for finding in controls["findings"] if finding["name"] == "drop")
    diameter = next(row for row in drop["keys"] if row["key"] == "bead 1, diameter")
    assert diameter["at"] == ["findings", "drop", "beads", 0, "diameter"]
    assert (diameter["value"], diameter["box"]["mm"], diameter["given"]) == ("6 mm", 6.0, True)
    colour = next(row for row in drop["keys"] if row["key"] == "bead 1, colour")
    assert colour["type"] == "text"
    assert "sea green" in colour["choices"]


def test_how_long_it_is():
    text = starter_design("two-in-one")
    extent = controls_of(text, None, 31)["extent"]
    assert (extent["kind"], extent["value"], extent["repeat"]) == ("length", "180 mm", 31)
    wrist = text.replace('length = "180 mm"', 'wrist = "6 1/2 in"')
    box_of = controls_of(wrist)["extent"]["box"]
    assert box_of["mm"] == pytest.approx(165.1)
    assert (box_of["low"], box_of["high"]) == (60.0, 400.0)
    assert controls_of(starter_design("two-in-one", repeat=12))["extent"]["repeat"] == 12


def test_an_outline_has_boxes():
    sheet = controls_of(starter("european-4-in-1", {"outline": "drop:20 mm,34 mm"}))["sheet"]
    assert (sheet["shape"], sheet["outline"]) == ("drop", "drop:20 mm,34 mm")
    assert [(one["at"], one["mm"]) for one in sheet["boxes"]] == [
        (["pattern", "outline", "drop", 0], 20.0),
        (["pattern", "outline", "drop", 1], 34.0),
    ]


# --- sliders


def test_inside_slides_from_what_the_wire_lets_through():
    one = inside_box(["rings", "link", "inside"], "3 mm", 1.0)
    assert one["slider"] == {"low": 1.2, "high": 12.0, "step": 0.05}
    # What is written lies on its slider, however odd.
    assert inside_box([], "1 mm", 2.0)["slider"]["low"] == 1.0
    assert wire_box([], "6 mm")["slider"]["high"] == 6.0
    assert wire_box([], "18 AWG")["gauge"] == "18 AWG"
    assert wire_box([], "1.1 mm")["gauge"] is None


def test_what_is_no_length_is_shown_as_it_stands():
    one = box(["x"], "thick", (0.0, 10.0), (0.0, 1.0), 0.1)
    assert (one["text"], one["mm"], one["inch"]) == ("thick", None, "")
    assert wire_box([], 18)["text"] == "18"
    assert wire_box([], None)["text"] == ""


# --- with problems


def test_text_that_is_no_toml_has_no_controls():
    assert controls_of("title = ") is None
    assert controls_of("x = " + "[" * 5000) is None


def test_a_design_with_problems_keeps_its_controls():
    text = starter_design("two-in-one", wire="18 gauge", inside="wide")
    controls = controls_of(text)
    (size,) = controls["sizes"]
    assert (size["wire"]["text"], size["wire"]["mm"]) == ("18 gauge", None)
    assert (size["inside"]["text"], size["ratio"]) == ("wide", None)
    assert len(controls["groups"]) == 2


KEYS = sorted(
    {*DesignTable.model_fields, "inside", "wire", "link", "groups", "weave", "sections", "kind", "ring"}
)
WORDS = ["", "3 mm", "18 AWG", "byzantine", "european-4-in-1", "link", "head pin", "mine.toml"]
VALUES = st.recursive(
    st.one_of(
        st.booleans(), st.integers(-5, 10**19), st.floats(allow_nan=False, allow_infinity=False),
        st.sampled_from(WORDS),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


def toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=8))
def test_whatever_a_table_says_there_are_controls(table):
    text = "\n".join(f"{key} = {toml(value)}" for key, value in table.items())
    try:
        tomllib.loads(text)
    except ValueError:
        assert controls_of(text) is None
        return
    json.dumps(controls_of(text))


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(["two-in-one", "byzantine", "european-4-in-1", "graduated-earrings"]),
    st.lists(
        st.tuples(st.sampled_from(["pattern", "rings", "findings", "ends", "title"]), VALUES), max_size=3
    ),
)
def test_a_starter_with_anything_in_it_has_controls(name, changes):
    data = tomllib.loads(starter(name))
    for key, value in changes:
        data[key] = value
    text = "\n".join(f"{key} = {toml(value)}" for key, value in data.items() if key != "date")
    controls = controls_of(text)
    assert controls is not None
    json.dumps(controls)


def changed(text, *changes):
    return edited(text, [change_from(change) for change in changes])


def test_ease_goes_with_a_wrist_or_a_neck_and_can_be_chosen():
    text = starter("byzantine", {"length": "180 mm"})
    assert controls_of(text)["extent"]["ease"] is None
    text = changed(text, {"do": "extent", "kind": "wrist", "value": "165 mm"})
    ease = controls_of(text)["extent"]["ease"]
    assert (ease["value"], ease["choices"]) == ("", ["snug", "comfort", "loose"])
    # Left out it is comfort, 7/8 in (common practice, see the stock's table).
    usual = parse_design(text).length
    assert usual == pytest.approx(165.0 + 22.225)
    for said, shown, more in (
        ("comfort", "comfort", 22.225),
        ("SNUG", "snug", 9.525),
        ("20 mm", "20 mm", 20.0),
        ("baggy", "baggy", None),
    ):
        put = changed(text, {"do": "set", "at": ease["at"], "value": said})
        assert controls_of(put)["extent"]["ease"]["value"] == shown
        if more is not None:
            assert parse_design(put).length == pytest.approx(165.0 + more)
        assert changed(put, {"do": "remove", "at": ease["at"]}) == text
    # It goes with what it was more than.
    put = changed(text, {"do": "set", "at": ease["at"], "value": "snug"})
    longer = changed(put, {"do": "extent", "kind": "length", "value": "180 mm"})
    assert "ease" not in longer.partition("[pattern]")[2]
    assert controls_of(longer)["extent"]["ease"] is None


def test_a_service_can_be_chosen_and_left_again():
    text = starter("two-in-one", {"inside": "6 mm"})
    assert controls_of(text)["service"] is None
    for process in PROCESSES:
        put = changed(text, {"do": "set", "at": ["service", "process"], "value": process})
        assert controls_of(put)["service"] == process
        assert parse_design(put).service.process.name == process
        other = changed(put, {"do": "set", "at": ["service", "process"], "value": "resin"})
        assert parse_design(other).service.process.name == "resin"
        assert changed(put, {"do": "remove", "at": ["service"]}) == text
