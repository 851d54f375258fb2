import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.design.design import MAX_RINGS
from chaingen.design.load import load_design, parse_design
from chaingen.design.schema import json_schema
from chaingen.errors import BadInput
from chaingen.stock.gauges import awg
from chaingen.tables import MOST_BYTES, MOST_PROBLEMS
from chaingen.units import format_mm
from chaingen.weave.groups import GroupKind

GOOD = """
title = "Harbour bracelet"
metal = "sterling silver"
clearance = "0 mm"
tolerance = "0.05 mm"

[rings.link]
inside = "4 mm"
wire = "18 AWG"

[pattern]
form = "open run"
repeat = 12
first = []
groups = [{ side_by_side = 2, ring = "link" }, { join = 1, ring = "link" }]
last = []
"""

TWO_SIZES = GOOD.replace("[pattern]", '[rings.large]\ninside = "6 mm"\nwire = "16 AWG"\n\n[pattern]')
GROUPS = '[{ side_by_side = 2, ring = "link" }, { join = 1, ring = "link" }]'


def changed(old, new, text=GOOD):
    assert text.count(old) == 1
    return text.replace(old, new)


def problems_of(text):
    with pytest.raises(BadInput) as refusal:
        parse_design(text)
    return refusal.value.problems


def one_problem(text):
    (problem,) = problems_of(text)
    assert problem.expected
    assert str(problem).startswith(problem.where)
    return problem


def test_a_whole_design():
    design = parse_design(GOOD)
    assert design.title == "Harbour bracelet"
    assert design.metal.name == "sterling silver"
    assert (design.clearance, design.tolerance, design.length) == (0.0, 0.05, None)
    (size,) = design.ring_sizes
    assert (size.name, size.inside_diameter, size.wire_diameter) == ("link", 4.0, awg(18))
    assert [(g.kind, g.count, g.size) for g in design.piece.cell] == [
        (GroupKind.SIDE_BY_SIDE, 2, size),
        (GroupKind.JOIN, 1, size),
    ]
    assert (design.piece.repeat, design.piece.closed, design.piece.first, design.piece.last) == (
        12,
        False,
        (),
        (),
    )
    assert len(design.piece.groups()) == 23


def test_the_shortest_design():
    design = parse_design(
        'title="x"\nmetal="brass"\n[rings.a]\ninside="4 mm"\nwire="1 mm"\n[pattern]\ngroups=[{rosette=3}]\n'
    )
    assert (design.piece.repeat, design.length, design.clearance, design.tolerance) == (1, None, 0.0, 0.05)
    assert design.piece.cell[0].kind is GroupKind.ROSETTE


def test_length_instead_of_repeat():
    design = parse_design(changed("repeat = 12", 'length = "7 1/4 in"'))
    assert design.length == pytest.approx(184.15)
    assert design.piece.repeat == 1
    assert design.repeated(7).piece.repeat == 7
    assert design.repeated(7).length is None


def test_ring_sizes_that_are_not_used_are_kept():
    design = parse_design(TWO_SIZES)
    assert [size.name for size in design.ring_sizes] == ["link", "large"]
    assert [size.name for size in design.piece.sizes()] == ["link"]


def test_ring_may_be_left_out_when_there_is_one():
    assert parse_design(GOOD.replace(', ring = "link"', "")) == parse_design(GOOD)


def test_first_and_last():
    text = changed("first = []", 'first = [{ side_by_side = 1, ring = "large" }]', TWO_SIZES)
    run = parse_design(changed("last = []", 'last = [{ rosette = 3, ring = "large" }]', text)).piece
    assert [g.size.name for g in run.first + run.last] == ["large", "large"]
    assert run.last[0].kind is GroupKind.ROSETTE


def test_a_closed_loop():
    assert parse_design(changed('"open run"', '"closed loop"')).piece.closed


@given(
    inside=st.floats(0.3, 400.0),
    wire=st.floats(0.06, 49.0),
    clearance=st.floats(0.0, 10.0),
    repeat=st.integers(1, 1000),
    counts=st.lists(st.integers(2, 7), min_size=1, max_size=4),
    kinds=st.lists(st.sampled_from(["side_by_side", "rosette"]), min_size=6, max_size=6),
    title=st.text(min_size=1, max_size=200).filter(lambda t: t.isprintable() and t.strip()),
)
def test_what_is_written_is_read(inside, wire, clearance, repeat, counts, kinds, title):
    wire = min(wire, 0.9 * inside)
    groups = ", ".join(f"{{ {kind} = {count} }}" for kind, count in zip(kinds, counts, strict=False))
    text = (
        f"title = {json.dumps(title, ensure_ascii=False)}\n"
        f'metal = "copper"\nclearance = "{format_mm(clearance, 9)}"\ntolerance = "0.02 mm"\n'
        f'[rings.link]\ninside = "{format_mm(inside, 9)}"\nwire = "{format_mm(wire, 9)}"\n'
        f"[pattern]\nrepeat = {repeat}\ngroups = [{groups}]\n"
    )
    design = parse_design(text)
    assert design.title == title.strip()
    assert design.ring_sizes[0].inside_diameter == pytest.approx(inside, abs=1e-8)
    assert design.ring_sizes[0].wire_diameter == pytest.approx(wire, abs=1e-8)
    assert design.clearance == pytest.approx(clearance, abs=1e-8)
    assert [(g.kind.value.replace(" ", "_"), g.count) for g in design.piece.cell] == list(
        zip(kinds, counts, strict=False)
    )
    assert design.piece.repeat == repeat


# One wrong thing each: what is changed, what it becomes, where the problem is, words of the message.
BAD_VALUES = [
    ('"4 mm"', '"0 mm"', "rings.link.inside", ["'0 mm'", "0.2 mm to 500 mm"]),
    ('"4 mm"', '"-4 mm"', "rings.link.inside", ["'-4 mm'", "0.2 mm to 500 mm"]),
    ('"4 mm"', '"4 m"', "rings.link.inside", ["0.2 mm to 500 mm"]),
    ('"4 mm"', '"nan mm"', "rings.link.inside", ["a length with its unit"]),
    ('"4 mm"', '"4"', "rings.link.inside", ["a length with its unit"]),
    ('"4 mm"', "4", "rings.link.inside", ["got 4", "with its unit", "in quotes"]),
    ('"4 mm"', "4.5", "rings.link.inside", ["got 4.5", "with its unit", "in quotes"]),
    ('"4 mm"', "nan", "rings.link.inside", ["with its unit"]),
    ('"4 mm"', "inf", "rings.link.inside", ["with its unit"]),
    ('"4 mm"', "true", "rings.link.inside", ["got true", "with its unit"]),
    ('"4 mm"', "[]", "rings.link.inside", ["an empty list", "with its unit"]),
    ('"4 mm"', "2026-01-01", "rings.link.inside", ["2026-01-01", "with its unit"]),
    ('"18 AWG"', '"18 gauge"', "rings.link.wire", ["1.024 mm", "1.219 mm", "18 AWG", "18 SWG"]),
    ('"18 AWG"', "18", "rings.link.wire", ["1.024 mm", "1.219 mm"]),
    ('"18 AWG"', '"99 AWG"', "rings.link.wire", ["AWG from 4/0 to 40"]),
    ('"18 AWG"', "1.2", "rings.link.wire", ["a wire such as"]),
    ('"18 AWG"', '"0 mm"', "rings.link.wire", ["0.05 mm to 50 mm"]),
    ('"18 AWG"', '"-1 mm"', "rings.link.wire", ["0.05 mm to 50 mm"]),
    ('"18 AWG"', "true", "rings.link.wire", ["got true", "a wire such as"]),
    ('"18 AWG"', '"4.1 mm"', "rings.link", ["wire no thicker than the inside diameter"]),
    ('"sterling silver"', '"sterlin silver"', "metal", ["did you mean sterling silver?"]),
    ('"sterling silver"', '"gold"', "metal", ["did you mean", "14k yellow gold", "18k yellow gold"]),
    ('"sterling silver"', "925", "metal", ["one of the metals"]),
    ('"0 mm"', '"-0.1 mm"', "clearance", ["0 mm to 10 mm"]),
    ('"0 mm"', '"11 mm"', "clearance", ["0 mm to 10 mm"]),
    ('"0 mm"', "0", "clearance", ["with its unit"]),
    ('"0.05 mm"', '"1.1 mm"', "tolerance", ["0 mm to 1 mm"]),
    ('"0.05 mm"', '"0.6 mm"', "tolerance", ["less than 0.512 mm", "half the thinnest wire"]),
    ('"Harbour bracelet"', '""', "title", ["1 to 200 characters"]),
    ('"Harbour bracelet"', '"  "', "title", ["1 to 200 characters"]),
    ('"Harbour bracelet"', '"' + "x" * 201 + '"', "title", ["1 to 200 characters"]),
    ('"Harbour bracelet"', '"a\\u0007b"', "title", ["printable"]),
    ('"Harbour bracelet"', '"a\\nb"', "title", ["one line"]),
    ('"Harbour bracelet"', "7", "title", ["1 to 200 characters, in quotes"]),
    ('"open run"', '"open"', "pattern.form", ["'open run', 'closed loop' or 'sheet'"]),
    ("repeat = 12", "repeat = 0", "pattern.repeat", ["got 0", "1 to 200,000"]),
    ("repeat = 12", "repeat = -3", "pattern.repeat", ["got -3", "1 to 200,000"]),
    ("repeat = 12", "repeat = 10_000_000", "pattern.repeat", ["got 10000000", "1 to 200,000"]),
    ("repeat = 12", "repeat = 100_000", "pattern.repeat", ["300,000 rings", f"{MAX_RINGS:,}"]),
    ("repeat = 12", 'repeat = "12"', "pattern.repeat", ["'12'", "a whole number"]),
    ("repeat = 12", "repeat = 1.5", "pattern.repeat", ["1.5", "a whole number"]),
    ("repeat = 12", "repeat = 12.0", "pattern.repeat", ["12.0", "a whole number"]),
    ("repeat = 12", "repeat = true", "pattern.repeat", ["true", "a whole number"]),
    ("repeat = 12", "repeat = 0x" + "f" * 5000, "pattern.repeat", ["beyond all measure"]),
    ("repeat = 12", 'length = "5 mm"', "pattern.length", ["5 mm", "at least one group", "6.047 mm"]),
    ("repeat = 12", 'length = "0 mm"', "pattern.length", ["more than 0 mm, up to 100,000 mm"]),
    ("repeat = 12", 'length = "-180 mm"', "pattern.length", ["more than 0 mm, up to 100,000 mm"]),
    ("repeat = 12", 'length = "101 m"', "pattern.length", ["more than 0 mm, up to 100,000 mm"]),
    ("repeat = 12", "length = 180", "pattern.length", ["with its unit"]),
    ("repeat = 12", 'repeat = 12\nlength = "180 mm"', "pattern", ["both repeat and length"]),
    (GROUPS, "[]", "pattern.groups", ["at least one"]),
    (GROUPS, "{}", "pattern.groups", ["a list of groups"]),
    (GROUPS, "[7]", "pattern.groups[1]", ["a table"]),
    (GROUPS, "[{}]", "pattern.groups[1]", ["exactly one of side_by_side, rosette, join and finding"]),
    (GROUPS, "[{ join = 1, rosette = 3 }]", "pattern.groups[1]", ["exactly one", "rosette and join"]),
    (GROUPS, "[{ rosette = 1 }]", "pattern.groups[1].rosette", ["got 1", "2 to 12", "side_by_side = 1"]),
    (GROUPS, "[{ rosette = 13 }]", "pattern.groups[1].rosette", ["got 13", "2 to 12"]),
    (GROUPS, "[{ side_by_side = 0 }]", "pattern.groups[1].side_by_side", ["got 0", "1 to 50"]),
    (GROUPS, "[{ side_by_side = 51 }]", "pattern.groups[1].side_by_side", ["got 51", "1 to 50"]),
    (GROUPS, "[{ side_by_side = true }]", "pattern.groups[1].side_by_side", ["a whole number"]),
    (GROUPS, "[{ side_by_side = 2, ring = 3 }]", "pattern.groups[1].ring", ["in quotes"]),
    (GROUPS, '[{ side_by_side = 2, ring = "lnk" }]', "pattern.groups[1].ring", ["did you mean link?"]),
    (GROUPS, '[{ side_by_side = 2, ring = "hook" }]', "pattern.groups[1].ring", ["link, the only ring size"]),
    (GROUPS, "[{ join = 1 }]", "pattern.groups", ["joins only", "side_by_side"]),
    (GROUPS, "[{ side_by_side = 2 }, { join = 1 }, { join = 1 }]", "pattern.groups", ["two joins in a row"]),
    (GROUPS, "[{ join = 1 }, { side_by_side = 2 }, { join = 1 }]", "pattern.groups", ["two joins in a row"]),
    (GROUPS, "[" + "{ side_by_side = 1 }," * 201 + "]", "pattern.groups", ["too many", "200"]),
    ("first = []", 'first = "none"', "pattern.first", ["a list of groups"]),
    ("first = []", "first = [{ side_by_side = 2 }, { rosette = 0 }]", "pattern.first[2].rosette", ["got 0"]),
    ("last = []", "lst = []", "pattern.lst", ["unknown key", "did you mean last?"]),
    ("[rings.link]", "[rings]\n[rings.link]\ngauge = 18", "rings.link.gauge", ["inside, wire"]),
    ("tolerance =", "tolerence =", "tolerence", ["unknown key", "did you mean tolerance?"]),
    ('metal = "sterling silver"\n', "", "metal", ["cannot be left out"]),
    ('inside = "4 mm"', 'insid = "4 mm"', "rings.link.insid", ["did you mean inside?"]),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "where", "words"), BAD_VALUES)
def test_one_wrong_thing(old, new, where, words):
    text = changed(old, new)
    problem = one_problem(text)
    assert problem.where == where
    for word in words:
        assert word in str(problem)
    assert len(str(problem)) < 500


ON_TOP = "goes at the top of the file, above the first [table]"
PIN = '[findings.pin]\nkind = "head pin"\n'


@pytest.mark.parametrize(
    ("text", "where", "advice"),
    [
        (GOOD + 'scenes = [{ kind = "hang" }]', "pattern.scenes", f"scenes {ON_TOP}; or further down"),
        (GOOD + "pair = true", "pattern.pair", f"pair {ON_TOP}"),
        (GOOD + '[[scenes]]\nkind = "hang"\nsupple = true', "scenes[1].supple", f"supple {ON_TOP}"),
        (GOOD + PIN + "pair = true", "findings.pin.pair", f"pair {ON_TOP}"),
        (GOOD + PIN + '[[findings.pin.beads]]\nform = "ball"\ndiameter = "6 mm"\npair = true',
         "findings.pin.beads[1].pair", f"pair {ON_TOP}"),
        (GOOD + '[[pattern.scenes]]\nkind = "hang"', "pattern.scenes", "[[scenes]]"),
        (GOOD + '[pattern.ends.start]\nfinding = "pin"', "pattern.ends", "write [ends]"),
        (GOOD + "[pattern.findings.pin]", "pattern.findings", "[findings.NAME]"),
        (GOOD + "[findings]\npair = true", "findings.pair", f"pair {ON_TOP}"),
    ],
)  # fmt: skip
def test_keys_of_the_file_below_a_table(text, where, advice):
    problem = one_problem(text)
    assert problem.where == where
    assert advice in problem.advice


@pytest.mark.parametrize("key", ["title", "metal", "clearance", "tolerance"])
def test_a_key_below_a_table_is_not_missing_as_well(key):
    (line,) = (line for line in GOOD.splitlines() if line.startswith(f"{key} ="))
    problem = one_problem(changed(f"{line}\n", "") + line)
    assert (problem.where, problem.advice) == (f"pattern.{key}", f"{key} {ON_TOP}")


def test_a_metal_of_its_own_is_no_key_of_the_file():
    problem = one_problem(changed('metal = "sterling silver"\n', "") + PIN + 'metal = "copper"')
    assert (problem.where, problem.got) == ("metal", "nothing")
    problem = one_problem(GOOD + PIN + "metal = 3")
    assert problem.where == "findings.pin.metal"
    assert ON_TOP not in problem.advice


def test_rings_that_are_no_rings():
    head, tail = GOOD[: GOOD.index("[rings.link]")], GOOD[GOOD.index("[pattern]") :]
    for rings, words in (
        ("", "cannot be left out"),
        ("rings = 4\n", "a table"),
        ("[rings]\n", "at least one"),
    ):
        problem = one_problem(head + rings + tail)
        assert problem.where == "rings"
        assert words in problem.expected


def test_with_several_sizes_each_group_names_its_own():
    problem = one_problem(changed('{ join = 1, ring = "link" }', "{ join = 1 }", TWO_SIZES))
    assert problem.where == "pattern.groups[2].ring"
    assert "link, large" in problem.expected


def test_ring_names_are_printable():
    names = ('""', '"a\\nb"', f'"{"x" * 61}"')
    for name in names:
        problem = one_problem(GOOD.replace("[rings.link]", f"[rings.{name}]").replace(', ring = "link"', ""))
        assert problem.where == "rings"
        assert "printable letters" in problem.expected


def test_small_closed_loops():
    loop = changed('"open run"', '"closed loop"')
    problem = one_problem(changed("repeat = 12", "repeat = 1", loop))
    assert (problem.where, problem.got) == ("pattern", "a closed loop of 2 groups")
    assert "at least 3" in problem.expected
    assert parse_design(changed("repeat = 12", "repeat = 2", loop)).piece.closed


def test_a_closed_loop_has_no_ends():
    loop = changed('"open run"', '"closed loop"')
    problem = one_problem(changed("last = []", "last = [{ rosette = 3 }]", loop))
    assert problem.where == "pattern.form"


def test_joins_that_meet_when_a_loop_closes():
    text = changed(GROUPS, "[{ join = 1 }, { side_by_side = 2 }, { rosette = 3 }, { join = 1 }]")
    open_once = changed("repeat = 12", "repeat = 1", text)
    assert len(parse_design(open_once).piece.groups()) == 2
    assert "two joins" in one_problem(changed('"open run"', '"closed loop"', open_once)).got


def test_length_of_a_run_that_begins_with_a_join():
    text = changed(
        GROUPS, '[{ join = 1, ring = "large" }, { side_by_side = 2, ring = "link" }]', TWO_SIZES
    ).replace("repeat = 12", 'length = "7 mm"')
    assert parse_design(text).length == 7.0


def test_every_problem_at_once():
    text = """
title = ""
metal = "sterlin silver"
clearence = "0 mm"
tolerance = 0.05
[rings.small]
inside = 4
wire = "18 gauge"
[rings.large]
inside = "1 mm"
wire = "2 mm"
[pattern]
repeat = 0
length = "180"
groups = [{ side_by_side = 2, ring = "smal" }, { rosette = 1, ring = "large" }, { join = 1 }]
"""
    assert [problem.where for problem in problems_of(text)] == [
        "title",
        "metal",
        "tolerance",
        "rings.small.inside",
        "rings.small.wire",
        "rings.large",
        "pattern.repeat",
        "pattern.length",
        "pattern.groups[2].rosette",
        "clearence",
        "pattern.groups[1].ring",
        "pattern.groups[3].ring",
        "pattern",
    ]


def test_an_empty_file_names_what_is_missing():
    assert {problem.where for problem in problems_of("")} == {"title", "metal", "rings", "pattern"}


def test_thousands_of_problems_are_cut_short():
    problems = problems_of(GOOD + "".join(f"k{i} = 1\n" for i in range(20_000)))
    assert len(problems) == MOST_PROBLEMS + 1
    assert "more problems" in problems[-1].got


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("title = \n", "line 1, column 9"),
        ('title = "x"\nmetal = brass\n', "line 2, column 9"),
        ('title = "x"\ntitle = "y"\n', "line 2, column 12"),
        ("[pattern", "end of document"),
        ('title = "x', "end of document"),
    ],
)
def test_broken_toml_names_the_place(text, place):
    with pytest.raises(BadInput) as refusal:
        parse_design(text, source="bench.toml")
    (problem,) = refusal.value.problems
    assert problem.where == f"bench.toml, {place}"
    assert problem.advice


@pytest.mark.parametrize("text", ["x = " + "[" * 100_000, "x = " + "9" * 5000, "x = 2026-13-45", "\x00"])
def test_unreadable_toml(text):
    assert one_problem(text).where.startswith("design")


@given(st.text(max_size=60))
def test_any_text_is_answered(text):
    with pytest.raises(BadInput):
        parse_design(text)


def test_load(tmp_path):
    path = tmp_path / "harbour.toml"
    path.write_bytes(GOOD.encode())
    assert load_design(path) == load_design(str(path)) == parse_design(GOOD)
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_design(path) == parse_design(GOOD)


def refused(path):
    with pytest.raises(BadInput) as refusal:
        load_design(path)
    (problem,) = refusal.value.problems
    assert problem.where.startswith(str(path))
    return problem


def test_missing_file_names_its_neighbour(tmp_path):
    assert "chaingen new" in refused(tmp_path / "harbour.toml").advice
    (tmp_path / "harbour.toml").write_text(GOOD)
    assert str(tmp_path / "harbour.toml") in refused(tmp_path / "harbor.toml").advice
    assert str(tmp_path / "harbour.toml") in refused(tmp_path / "harbour").advice
    assert refused(tmp_path / "no" / "where.toml").got == "no such file"
    # The ending that all have in common makes no two names alike.
    assert "chaingen new" in refused(tmp_path / "nowhere.toml").advice


def test_a_folder_names_what_it_holds(tmp_path):
    assert refused(tmp_path).got == "a folder"
    (tmp_path / "harbour.toml").write_text(GOOD)
    assert "harbour.toml" in refused(tmp_path).advice


def test_files_that_cannot_be_read(tmp_path):
    path = tmp_path / "latin.toml"
    path.write_bytes(GOOD.replace("Harbour", "Méduse").encode("latin-1"))
    assert "UTF-8" in refused(path).got
    path.write_bytes(b"#" * (MOST_BYTES + 1))
    assert "1,000,000 bytes" in refused(path).got
    loop = tmp_path / "loop.toml"
    loop.symlink_to(loop)
    assert refused(loop).got
    assert refused(tmp_path / "nul\x00.toml").got
    assert refused(path / "below.toml").got


def test_schema_describes_every_key():
    schema = json_schema()
    assert schema["$schema"].startswith("https://json-schema.org/")
    tables = [schema, *schema["$defs"].values()]
    for table in tables:
        assert table["additionalProperties"] is False
        for entry in table["properties"].values():
            assert entry["description"]
    assert set(schema["required"]) == {"title", "metal", "rings", "pattern"}
    assert json.loads(json.dumps(schema)) == schema


def test_schema_defaults_are_as_a_file_writes_them():
    properties = json_schema()["properties"]
    for key in ("clearance", "tolerance"):
        default = properties[key]["default"]
        assert getattr(
            parse_design(re.sub(rf'{key} = "[^"]*"', f'{key} = "{default}"', GOOD)), key
        ) == getattr(parse_design(re.sub(rf'{key} = "[^"]*"\n', "", GOOD)), key)


SCENE = '\n[[scenes]]\nkind = "swag"\n'


def test_scenes():
    from chaingen.design.scene import Scene, SceneKind

    text = (
        GOOD
        + SCENE
        + 'span = "40 mm"\nfriction = 0\ndisorder = 0.5\nseed = 3\nsettling = true\n'
        + '[[scenes]]\nkind = "table"\nlaid = "in a curve"\n'
        + '[[scenes]]\nkind = "wrist"\ncircumference = "15 cm"\n'
    )
    swag, table, wrist = parse_design(text).scenes
    assert swag == Scene(SceneKind.SWAG, span=40.0, friction=0.0, disorder=0.5, seed=3, settling=True)
    assert table == Scene(SceneKind.TABLE, curved=True)
    assert wrist == Scene(SceneKind.WRIST, circumference=150.0)
    assert parse_design(text).bare().scenes == ()
    assert parse_design(GOOD).scenes == ()
    assert not parse_design(GOOD).supple
    assert parse_design(GOOD.replace('title = "', 'supple = true\ntitle = "')).supple


@pytest.mark.parametrize(
    ("addition", "where", "words"),
    [
        ('span = "40 mm"\nspan_fraction = 0.5', "scenes[1]", "one of the two"),
        ('circumference = "16 cm"', "scenes[1].circumference", "wrist or neck"),
        ('laid = "in a curve"', "scenes[1].laid", "table only"),
        ("friction = -0.1", "scenes[1].friction", "0 to 2"),
        ("friction = true", "scenes[1].friction", "0 to 2"),
        ("disorder = 2", "scenes[1].disorder", "0 to 1"),
        ("seed = 4", "scenes[1].seed", "disorder"),
        ("seed = 1.5\ndisorder = 1", "scenes[1].seed", "whole"),
        ("span_fraction = 1.0", "scenes[1].span_fraction", "0.05 to 0.999"),
        ('span = "40"', "scenes[1].span", "unit"),
        ("settling = 1", "scenes[1].settling", "true or false"),
        ("frictoin = 0.1", "scenes[1].frictoin", "friction"),
    ],
)
def test_bad_scenes(addition, where, words):
    problem = one_problem(GOOD + SCENE + addition + "\n")
    assert problem.where == where
    assert words in str(problem)


def test_scenes_of_no_kind_and_no_list():
    assert one_problem(GOOD + "[[scenes]]\n").where == "scenes[1].kind"
    assert "'hang', 'swag'" in str(one_problem(GOOD + '[[scenes]]\nkind = "hung"\n'))
    assert "did you mean hang?" in str(one_problem(GOOD + '[[scenes]]\nkind = "hung"\n'))
    assert "corners" not in str(one_problem(GOOD + '[[scenes]]\nkind = "hung"\n'))
    assert "[[scenes]]" in str(one_problem('scenes = "hang"\n' + GOOD))
    assert "a table of keys" in str(one_problem('scenes = ["hang"]\n' + GOOD))
    assert "true or false" in str(one_problem('supple = "yes"\n' + GOOD))


def test_a_closed_loop_has_no_ends_for_a_swag():
    closed = GOOD.replace('form = "open run"', 'form = "closed loop"')
    assert "two ends" in str(one_problem(closed + SCENE))


def test_a_date():
    import datetime

    assert parse_design(GOOD).date is None
    assert parse_design(f"date = 2026-11-27\n{GOOD}").date == datetime.date(2026, 11, 27)
    for wrong in ('"2026-11-27"', "2026-11-27T10:00:00", "20261127", "true"):
        with pytest.raises(BadInput, match="year, month and day"):
            parse_design(f"date = {wrong}\n{GOOD}")


def test_a_key_of_very_many_parts_is_refused_at_once():
    with pytest.raises(BadInput) as caught:
        parse_design("a" + ".a" * 60_000 + " = 1")
    (problem,) = caught.value.problems
    assert "very many parts" in problem.got
