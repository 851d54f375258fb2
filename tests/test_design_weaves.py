"""Weaves, sheets, sections and several metals in design files: what is read, what is refused and where."""

import json
from math import pi

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chaingen.design.colouring import PatternKind
from chaingen.design.design import MAX_RINGS
from chaingen.design.form import Form, form_of
from chaingen.design.load import load_design, parse_design
from chaingen.design.scene import SceneKind
from chaingen.design.schema import json_schema
from chaingen.design.weave_starter import starter_weave
from chaingen.errors import BadInput
from chaingen.stock.gauges import awg
from chaingen.stock.metals import find_metal
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.groups import Run
from chaingen.weave.outline import OutlineKind
from chaingen.weave.pieces import Chain, Sections, Sheet
from chaingen.weave.weave import Repeats
from chaingen.weave.weave_file import weave_text

HEAD = """
title = "Jetty piece"
metal = "sterling silver"

[rings.link]
inside = "4 mm"
wire = "18 AWG"
"""

TWO = HEAD + '\n[rings.small]\ninside = "3 mm"\nwire = "20 AWG"\n'

CHAIN = HEAD + '\n[pattern]\nweave = "byzantine"\nrepeat = 5\n'
SHEET = HEAD + '\n[pattern]\nweave = "european-4-in-1"\ncolumns = 6\nrows = 4\n'
TURNING = HEAD + '\n[pattern]\nweave = "spiral-4-in-1"\nrepeat = 8\n'
JAPANESE = TWO + '\n[pattern]\nweave = "japanese-4-in-1"\nrings = { large = "link", small = "small" }\n'
SECTIONS = (
    HEAD
    + """
[[pattern.sections]]
groups = [{ side_by_side = 1 }]
repeat = 3

[[pattern.sections]]
weave = "byzantine"
repeat = 2
"""
)

PLAIN_WEAVE = """
name = "plain"
repeats = "chain"
turning = true
links = [["a", "a", 1]]
roles.link = { inside = "4 mm", wire = "18 AWG" }
rings.a = {}
"""


def problems_of(text, **options):
    with pytest.raises(BadInput) as refusal:
        parse_design(text, **options)
    return refusal.value.problems


def one_problem(text, **options):
    (problem,) = problems_of(text, **options)
    assert problem.expected
    return problem


# --- chains ---------------------------------------------------------------------------------------


def test_a_chain():
    piece = parse_design(CHAIN).piece
    assert isinstance(piece, Chain)
    assert piece.weave == find_weave("byzantine")
    assert (piece.repeat, piece.closed) == (5, False)
    ((role, size),) = piece.chosen
    assert (role, size.name, size.inside_diameter, size.wire_diameter) == ("link", "link", 4.0, awg(18))


def test_a_closed_chain_of_a_length():
    design = parse_design(
        CHAIN.replace("repeat = 5", 'form = "closed loop"\nlength = "180 mm"\nrings = { link = "link" }')
    )
    assert design.piece.closed
    assert (design.length, design.piece.repeat) == (180.0, 1)
    assert design.repeated(9).piece.repeat == 9


def test_capitals_and_spaces_in_a_name_do_not_matter():
    assert (
        parse_design(SHEET.replace("european-4-in-1", "European 4-in-1")).piece == parse_design(SHEET).piece
    )


def test_hands():
    weave = find_weave("half-persian-3-in-1")
    text = CHAIN.replace("byzantine", "half-persian-3-in-1")
    assert weave.hand in ("left", "right")
    other = {"left": "right", "right": "left"}[weave.hand]
    assert parse_design(text).piece.weave == weave
    assert parse_design(f'{text}hand = "{weave.hand}"\n').piece.weave == weave
    mirrored = parse_design(f'{text}hand = "{other}"\n').piece.weave
    assert mirrored.hand == other
    assert mirrored == weave.mirrored()


# --- sizes of roles -------------------------------------------------------------------------------


def roles_of(text):
    return {role: size.name for role, size in parse_design(text + "columns = 3\nrows = 3\n").piece.chosen}


def test_sizes_of_roles():
    bare = JAPANESE.replace('rings = { large = "link", small = "small" }\n', "")
    assert roles_of(JAPANESE) == {"large": "link", "small": "small"}
    # A size of a role's own name serves it, whatever other sizes there are.
    assert roles_of(bare.replace("rings.link", "rings.large")) == {"large": "large", "small": "small"}
    # One named, the other found by its name.
    named = JAPANESE.replace('rings = { large = "link", small = "small" }', 'rings = { large = "link" }')
    assert roles_of(named) == {"large": "link", "small": "small"}
    # One size for all.
    single = HEAD + '\n[pattern]\nweave = "japanese-4-in-1"\n'
    assert roles_of(single) == {"large": "link", "small": "link"}


def test_a_role_without_a_size():
    bare = JAPANESE.replace('rings = { large = "link", small = "small" }\n', "columns = 3\nrows = 3\n")
    problem = one_problem(bare)
    assert problem.where == "pattern.rings.large"
    assert "link, small" in problem.expected


# --- sheets ---------------------------------------------------------------------------------------


def test_a_sheet():
    piece = parse_design(SHEET).piece
    assert isinstance(piece, Sheet)
    assert (piece.columns, piece.rows, piece.outline) == (6, 4, None)
    assert parse_design(SHEET + 'form = "sheet"\n').piece == piece
    assert piece.most_rings() == 6 * 4 * len(find_weave("european-4-in-1").rings)


@pytest.mark.parametrize(
    ("outline", "kind", "area"),
    [
        ('circle = "30 mm"', OutlineKind.CIRCLE, pi * 15.0**2),
        # A disc, and beyond the points of touch two right triangles less two sectors of half the angle each.
        (
            'drop = ["20 mm", "40 mm"]',
            OutlineKind.DROP,
            pi * 100.0 + 10.0 * (30.0**2 - 10.0**2) ** 0.5 - 100.0 * np.arccos(1.0 / 3.0),
        ),
        ('polygon = [["0 mm", "0 mm"], ["30 mm", "0 mm"], ["0 mm", "-20 mm"]]', OutlineKind.POLYGON, 300.0),
        ('polygon = [["0 in", "0 in"], ["1 in", "0 in"], ["1 in", "1 in"]]', OutlineKind.POLYGON, 322.58),
    ],
)
def test_outlines(outline, kind, area):
    piece = parse_design(SHEET.replace("columns = 6\nrows = 4", f"outline = {{ {outline} }}")).piece
    assert piece.outline.kind is kind
    assert (piece.columns, piece.rows) == (0, 0)
    assert piece.outline.polygon().area == pytest.approx(area, rel=1e-3)


# --- sections -------------------------------------------------------------------------------------


def test_sections():
    piece = parse_design(SECTIONS).piece
    assert isinstance(piece, Sections)
    run, chain = piece.parts
    assert isinstance(run, Run)
    assert isinstance(chain, Chain)
    assert (run.repeat, chain.repeat, run.closed, chain.closed) == (3, 2, False, False)
    assert parse_design(SECTIONS.replace("repeat = 3\n", "")).piece.parts[0].repeat == 1
    assert form_of(piece) is Form.SECTIONS


# --- weave files ----------------------------------------------------------------------------------


def test_a_weave_file_beside_the_design(tmp_path):
    (tmp_path / "weaves").mkdir()
    (tmp_path / "weaves" / "mine.toml").write_text(weave_text(find_weave("byzantine")))
    text = CHAIN.replace('"byzantine"', '"weaves/mine.toml"')
    (tmp_path / "jetty.toml").write_text(text)
    assert load_design(tmp_path / "jetty.toml").piece == parse_design(CHAIN).piece
    assert parse_design(text, folder=tmp_path).piece == parse_design(CHAIN).piece
    absolute = CHAIN.replace('"byzantine"', json.dumps((tmp_path / "weaves" / "mine.toml").as_posix()))
    assert parse_design(absolute).piece == parse_design(CHAIN).piece


def test_problems_of_a_weave_file_are_passed_on_with_its_path(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(PLAIN_WEAVE.replace('["a", "a", 1]', '["a", "b", 1]').replace("4 mm", "4 m"))
    text = CHAIN.replace("byzantine", "mine.toml").replace("sterling silver", "slate")
    places = [problem.where for problem in problems_of(text, folder=tmp_path)]
    assert places[0] == "metal"
    assert f"{path}: links[1]" in places
    assert f"{path}: roles.link.inside" in places
    path.write_text("name = x\n")
    assert one_problem(CHAIN.replace("byzantine", "mine.toml"), folder=tmp_path).where.startswith(
        f"{path}, line 1"
    )
    missing = one_problem(CHAIN.replace("byzantine", "mien.toml"), folder=tmp_path)
    assert missing.where == "pattern.weave"
    assert f"{tmp_path / 'mien.toml'}, no such file" in missing.got
    assert "mine.toml" in missing.advice
    far = one_problem(CHAIN.replace("byzantine", "nowhere.toml"), folder=tmp_path)
    assert "did you mean" not in str(far)
    assert "chaingen weaves" in far.advice


def test_a_weave_file_of_two_sections_is_told_once(tmp_path):
    text = SECTIONS.replace("groups = [{ side_by_side = 1 }]", 'weave = "no.toml"')
    text = text.replace("byzantine", "no.toml")
    # That there is none is told where it is named, what is wrong in it once.
    missing = problems_of(text, folder=tmp_path)
    assert [problem.where for problem in missing] == [f"pattern.sections[{k}].weave" for k in (1, 2)]
    (tmp_path / "no.toml").write_text("name = x\n")
    assert one_problem(text, folder=tmp_path).where.startswith(f"{tmp_path / 'no.toml'}, line 1")


# --- metals ---------------------------------------------------------------------------------------

BLUE = '\n[colours."tide blue"]\nmetal = "aluminium"\ncolour = "#2A6F97"\n'


def test_metals_of_ring_sizes():
    text = (
        JAPANESE.replace('wire = "20 AWG"', 'wire = "20 AWG"\nmetal = "Copper"') + "columns = 3\nrows = 3\n"
    )
    design = parse_design(text)
    assert design.size_metals == (("small", find_metal("copper")),)
    assert design.metal == find_metal("sterling silver")
    assert parse_design(CHAIN).size_metals == ()


def test_a_coloured_wire_weighs_as_its_metal():
    text = (CHAIN + BLUE).replace('metal = "sterling silver"', 'metal = "Tide  Blue"')
    metal, aluminium = parse_design(text).metal, find_metal("aluminium")
    assert metal.name == "tide blue"
    assert (metal.density, metal.source) == (aluminium.density, aluminium.source)
    assert metal.colour == (0x2A / 255, 0x6F / 255, 0x97 / 255)


def pattern(text):
    return parse_design(CHAIN + BLUE + "\n[metal_pattern]\n" + text).metal_pattern


def test_patterns_of_metals():
    stripes = pattern('stripes = ["silver", "tide blue", "copper"]\nwidth = 2\n')
    assert (stripes.kind, stripes.width, stripes.across) == (PatternKind.STRIPES, 2, True)
    assert [metal.name for metal in stripes.metals] == ["sterling silver", "tide blue", "copper"]
    columns, rows = np.arange(8), np.zeros(8, dtype=np.int64)
    assert stripes.index(columns, rows).tolist() == [0, 0, 1, 1, 2, 2, 0, 0]
    along = pattern('stripes = ["brass", "copper"]\ndirection = "along"\n')
    assert along.index(rows, columns).tolist() == [0, 1] * 4
    assert along.index(columns, rows).tolist() == [0] * 8
    checks = pattern('checks = ["brass", "copper"]\n')
    assert checks.index(np.array([0, 1, 0, 1]), np.array([0, 0, 1, 1])).tolist() == [0, 1, 1, 0]
    assert parse_design(CHAIN).metal_pattern is None


def test_a_bitmap_of_metals():
    made = pattern('bitmap = ["..#", "#.."]\nkey = { "." = "brass", "#" = "tide blue" }\n')
    columns, rows = (axis.ravel() for axis in np.meshgrid(np.arange(6), np.arange(2)))
    names = [made.metals[k].name[0] for k in made.index(columns, rows)]
    assert "".join(names) == "bbtbbt" + "tbbtbb"


BAD_METALS = [
    ('stripes = ["brass"]', "metal_pattern.stripes", ["at least 2"]),
    ('stripes = "brass"', "metal_pattern.stripes", ["a list of metals"]),
    ('stripes = ["brass", "coper"]', "metal_pattern.stripes[2]", ["did you mean copper?"]),
    ('stripes = ["brass", "tide blu"]', "metal_pattern.stripes[2]", ["did you mean tide blue?"]),
    ('stripes = ["brass", 3]', "metal_pattern.stripes[2]", ["of this design's colours tide blue"]),
    ('stripes = ["brass", "copper"]\nwidth = 0', "metal_pattern.width", ["1 to 10,000"]),
    ('stripes = ["brass", "copper"]\ndirection = "up"', "metal_pattern.direction", ["'along' or 'across'"]),
    ('checks = ["brass", "copper"]\ndirection = "along"', "metal_pattern", ["direction with stripes only"]),
    ('checks = ["brass", "copper"]\nkey = { "." = "brass" }', "metal_pattern", ["key with a bitmap only"]),
    ("width = 2", "metal_pattern", ["exactly one of stripes, checks and bitmap"]),
    ('checks = ["brass", "copper"]\nstripes = ["brass", "copper"]', "metal_pattern", ["stripes and checks"]),
    ('bitmap = ["..", "."]\nkey = { "." = "brass" }', "metal_pattern.bitmap", ["row 2 has 1"]),
    ('bitmap = []\nkey = { "." = "brass" }', "metal_pattern.bitmap", ["at most 200"]),
    ('bitmap = [""]\nkey = { "." = "brass" }', "metal_pattern.bitmap", ["at most 200"]),
    (f'bitmap = ["{"." * 201}"]\nkey = {{ "." = "brass" }}', "metal_pattern.bitmap", ["the longest 201"]),
    ('bitmap = "..#"\nkey = { "." = "brass" }', "metal_pattern.bitmap", ["rows of letters"]),
    ('bitmap = [".#"]\nkey = { "." = "brass" }', "metal_pattern.bitmap[1]", ["got '#',"]),
    ('bitmap = ["..", ".#"]\nkey = { "." = "brass" }', "metal_pattern.bitmap[2]", ["got '#', which the key"]),
    ('bitmap = ["..", ".#."]\nkey = { "." = "brass" }', "metal_pattern.bitmap[2]", ["got '#'"]),
    ('bitmap = [".#"]', "metal_pattern.bitmap[1]", ["got '.', '#',"]),
    ('bitmap = ["."]\nkey = { "ab" = "brass", "." = "brass" }', "metal_pattern", ["not 'ab'"]),
    ('bitmap = ["."]\nkey = { "." = "cheese" }', "metal_pattern.key.'.'", ["one of the metals"]),
    ('bitmap = ["."]\nkey = { "." = "brass" }\nwidth = 2', "metal_pattern", ["width with stripes or checks"]),
    ('chequers = ["brass", "copper"]', "metal_pattern.chequers", ["did you mean checks?"]),
]  # fmt: skip


@pytest.mark.parametrize(("table", "where", "words"), BAD_METALS)
def test_bad_patterns_of_metals(table, where, words):
    problem = problems_of(CHAIN + BLUE + "\n[metal_pattern]\n" + table + "\n")[-1]
    assert problem.where == where
    for word in words:
        assert word in str(problem)


@pytest.mark.parametrize(
    ("table", "where", "words"),
    [
        ('[colours.copper]\nmetal = "brass"\ncolour = "#000000"', "colours.copper", "a metal already"),
        ('[colours.Silver]\nmetal = "brass"\ncolour = "#000000"', "colours.Silver", "silver already"),
        ('[colours.sea]\nmetal = "brass"\ncolour = "blue"', "colours.sea.colour", '"#2a6f97"'),
        ('[colours.sea]\nmetal = "brass"\ncolour = "#12345"', "colours.sea.colour", "six digits"),
        ('[colours.sea]\nmetal = "brass"\ncolour = 7', "colours.sea.colour", "six digits"),
        ('[colours.sea]\nmetal = "sea"\ncolour = "#123456"', "colours.sea.metal", "one of the metals"),
        ('[colours.sea]\ncolour = "#123456"', "colours.sea.metal", "cannot be left out"),
        ('[colours.sea]\nmetal = "brass"\ncolour = "#123456"\n[colours."SEA "]\nmetal = "brass"\ncolour = '
         '"#123456"', "colours.'SEA '", "capitals or spaces"),
        ("[colours]\nsea = 3", "colours.sea", "a table of keys"),
    ],
)  # fmt: skip
def test_bad_colours(table, where, words):
    problem = one_problem(CHAIN + "\n" + table + "\n")
    assert problem.where == where
    assert words in str(problem)


def test_without_colours_none_are_offered():
    assert "colours" not in one_problem(CHAIN.replace("sterling silver", "cheese")).expected


@pytest.mark.parametrize(
    "text",
    [
        CHAIN.replace("sterling silver", "tide blue"),
        CHAIN.replace("[pattern]", 'metal = "tide blue"\n[pattern]'),
        CHAIN + '\n[metal_pattern]\nstripes = ["brass", "tide blue"]\n',
        CHAIN + '\n[metal_pattern]\nchecks = ["brass", "tide blue"]\n',
        CHAIN + '\n[metal_pattern]\nbitmap = ["."]\nkey = { "." = "tide blue" }\n',
    ],
)
def test_an_unknown_metal_may_be_meant_as_a_coloured_wire(text):
    assert "[colours.NAME]" in one_problem(text).advice


def test_unequal_rows_hide_no_letter_without_a_metal():
    table = '\n[metal_pattern]\nbitmap = ["..", ".#x.", "#"]\nkey = { "." = "brass" }\n'
    rows, letters = problems_of(CHAIN + table)
    assert "row 2 has 4" in rows.expected
    assert letters.where == "metal_pattern.bitmap[2]"
    assert "'#', 'x'" in letters.got


# --- what is refused ------------------------------------------------------------------------------

FIRST = "[[pattern.sections]]\ngroups"

BAD = [
    # (text, what is replaced, by what, place, words)
    (CHAIN, '"byzantine"', '"byzantin"', "pattern.weave", ["did you mean byzantine?"]),
    (CHAIN, '"byzantine"', '""', "pattern.weave", ["one of the weaves"]),
    (CHAIN, '"byzantine"', "7", "pattern.weave", ["in quotes"]),
    (CHAIN, "repeat = 5", "repeat = 0", "pattern.repeat", ["1 to 200,000"]),
    (CHAIN, "repeat = 5", "repeat = 200_000", "pattern.repeat", [f"at most {MAX_RINGS:,} rings"]),
    (CHAIN, "repeat = 5", 'repeat = 5\nlength = "18 cm"', "pattern", ["both repeat and length"]),
    (CHAIN, "repeat = 5", 'length = "2 mm"', "pattern.length", ["at least one ring", "6.047 mm"]),
    (CHAIN, "repeat = 5", "columns = 5", "pattern.columns", ["makes a sheet only", "a chain has repeat"]),
    (CHAIN, "repeat = 5", 'repeat = 5\noutline = { circle = "30 mm" }', "pattern.outline", ["sheet only"]),
    (CHAIN, "repeat = 5", "repeat = 5\nfirst = [{ side_by_side = 1 }]", "pattern.first", ["sections put"]),
    (CHAIN, "repeat = 5", 'form = "sheet"', "pattern.form", ["'open run' or 'closed loop'", "along a line"]),
    (CHAIN, "repeat = 5", 'form = "closed loop"\nrepeat = 2', "pattern", ["2 cells", "at least 3 cells"]),
    (CHAIN, "repeat = 5", 'hand = "left"', "pattern.hand", ["this weave has none"]),
    (CHAIN, "repeat = 5", 'hand = "both"', "pattern.hand", ["'left' or 'right'"]),
    (CHAIN, "repeat = 5", 'rings = { link = "lnk" }', "pattern.rings.link", ["did you mean link?"]),
    (CHAIN, "repeat = 5", 'rings = { link = "hook" }', "pattern.rings.link", ["d link, the only ring size"]),
    (CHAIN, "repeat = 5", 'rings = { lonk = "link" }', "pattern.rings.lonk", ["did you mean link?"]),
    (CHAIN, "repeat = 5", "rings = { link = 4 }", "pattern.rings.link", ["in quotes"]),
    (CHAIN, "repeat = 5", 'rings = "link"', "pattern.rings", ["a table of keys"]),
    (CHAIN, "repeat = 5", "groups = [{ rosette = 3 }]", "pattern", ["both groups and weave", "exactly one"]),
    (CHAIN, 'weave = "byzantine"', "", "pattern", ["none of groups, weave, sections"]),
    (CHAIN, "weave =", "weav =", "pattern.weav", ["did you mean weave?"]),
    (SHEET, "columns = 6\n", "", "pattern", ["rows alone", "columns and rows, or an outline"]),
    (SHEET, "columns = 6\nrows = 4\n", "", "pattern", ["neither", "columns and rows, or an outline"]),
    (SHEET, "columns = 6", "columns = 0", "pattern.columns", ["1 to 200,000"]),
    (SHEET, "columns = 6", "columns = 200_000", "pattern.columns", ["at most 200,000 rings"]),
    (SHEET, "columns = 6", "columns = 6\nrepeat = 4", "pattern.repeat", ["a sheet has columns and rows"]),
    (SHEET, "rows = 4", 'rows = 4\nlength = "18 cm"', "pattern.length", ["a sheet has columns and rows"]),
    (SHEET, "rows = 4", 'rows = 4\nform = "open run"', "pattern.form", ["'sheet'", "along and across"]),
    (SHEET, "rows = 4", 'rows = 4\noutline = { circle = "30 mm" }', "pattern", ["outline and columns and"]),
    (HEAD + "[pattern]\ngroups = [{ side_by_side = 1 }]\n", "groups", 'form = "sheet"\ngroups',
     "pattern.form", ["a weave fills a sheet"]),
    (HEAD + "[pattern]\ngroups = [{ side_by_side = 1 }]\n", "groups", 'rings = { link = "link" }\ngroups',
     "pattern.rings", ["each group names its ring"]),
    (SECTIONS, FIRST, '[pattern]\nform = "closed loop"\n' + FIRST,
     "pattern.form", ["'open run'", "not made to link the first"]),
    (SECTIONS, FIRST, '[pattern]\nlength = "18 cm"\n' + FIRST,
     "pattern.length", ["a repeat of its own"]),
    (SECTIONS, FIRST, "[pattern]\nrepeat = 3\n" + FIRST,
     "pattern.repeat", ["a repeat of its own"]),
    (SECTIONS, "byzantine", "european-4-in-1", "pattern.sections[2].weave", ["a weave that makes a chain"]),
    (SECTIONS, "byzantine", "byzntine", "pattern.sections[2].weave", ["did you mean byzantine?"]),
    (SECTIONS, "repeat = 2", 'hand = "left"', "pattern.sections[2].hand", ["this weave has none"]),
    (SECTIONS, "repeat = 2", 'rings = { lnk = "link" }', "pattern.sections[2].rings.lnk", ["did you mean"]),
    (SECTIONS, "repeat = 3", 'hand = "left"', "pattern.sections[1].hand", ["a section of a weave only"]),
    (SECTIONS, "repeat = 3", 'weave = "byzantine"', "pattern.sections[1]", ["both groups and weave"]),
    (SECTIONS, "groups = [{ side_by_side = 1 }]", "", "pattern.sections[1]", ["none of groups, weave"]),
    (SECTIONS, "side_by_side = 1", "join = 1", "pattern.sections[1].groups", ["joins only"]),
    (SECTIONS, "side_by_side = 1", "rosette = 1", "pattern.sections[1].groups[1].rosette", ["2 to 12"]),
    (SECTIONS, "side_by_side = 1", 'rosette = 3, ring = "lin"', "pattern.sections[1].groups[1].ring",
     ["did you mean link?"]),
    (SECTIONS, "repeat = 2", "repeat = 150_000", "pattern.sections", ["at most 200,000 rings"]),
    (SECTIONS, "repeat = 2", "columns = 2", "pattern.sections[2].columns", ["unknown key"]),
    (HEAD + "[pattern]\n", "[pattern]", "[pattern]\nsections = []", "pattern.sections", ["at least one"]),
    (HEAD + "[pattern]\n", "[pattern]", "[pattern]\nsections = 3", "pattern.sections", ["[[pattern."]),
    (HEAD + "[[pattern.sections]]\n" * 13, 'title = "Jetty piece"', 'title = "Jetty"', "pattern.sections",
     ["at most 12"]),
    (HEAD + "[pattern]\n", "[pattern]", "[pattern]\nsections = [3]", "pattern.sections[1]", ["a table"]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "old", "new", "where", "words"), BAD)
def test_one_wrong_thing(text, old, new, where, words):
    assert text.count(old) == 1
    problems = problems_of(text.replace(old, new))
    problem = next(one for one in problems if one.where == where)
    for word in words:
        assert word in str(problem)
    assert len(problems) == 1 or "sections" in where
    assert len(str(problem)) < 1000


@pytest.mark.parametrize(
    ("outline", "where", "words"),
    [
        ("3", "pattern.outline", "a table"),
        ("{}", "pattern.outline", "exactly one of circle, drop and polygon"),
        ('{ circle = "30 mm", drop = ["2 mm", "4 mm"] }', "pattern.outline", "circle and drop"),
        ('{ circle = "0.5 mm" }', "pattern.outline.circle", "1 mm to 10000 mm"),
        ("{ circle = 30 }", "pattern.outline.circle", "with its unit"),
        ('{ drop = ["20 mm", "20 mm"] }', "pattern.outline.drop", "higher than wide"),
        ('{ drop = ["20 mm", "12 mm"] }', "pattern.outline.drop", "higher than wide"),
        ('{ drop = ["20 mm"] }', "pattern.outline.drop", "width and height"),
        ('{ drop = ["20", "40"] }', "pattern.outline.drop", "with its unit"),
        ('{ drop = ["0 mm", "40 mm"] }', "pattern.outline.drop", "1 mm to 10000 mm"),
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"]] }', "pattern.outline.polygon", "3 to 500 corners"),
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["9 mm"]] }', "pattern.outline.polygon",
         "corner 3"),
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["9", "9"]] }', "pattern.outline.polygon", "unit"),
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["9 mm", "11 m"]] }', "pattern.outline.polygon",
         "-10000 mm to 10000 mm"),
        # A bow: its sides cross in the middle.
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "9 mm"], ["9 mm", "0 mm"], ["0 mm", "9 mm"]] }',
         "pattern.outline.polygon", "neither cross nor touch"),
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "9 mm"], ["9 mm", "0 mm"], ["0 mm", "9 mm"]] }',
         "pattern.outline.polygon", "side from corner 1 to 2 meets that from 3 to 4 at (4.5, 4.5) mm"),
        # The tip of a notch touches the side below; a corner said twice beside it changes nothing.
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["9 mm", "0 mm"], ["9 mm", "9 mm"], '
         '["5 mm", "0 mm"], ["0 mm", "9 mm"]] }',
         "pattern.outline.polygon", "side from corner 1 to 2 meets that from 4 to 5 at (5, 0) mm"),
        # A side that runs back over the one before.
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["5 mm", "0 mm"], ["5 mm", "9 mm"]] }',
         "pattern.outline.polygon", "side from corner 1 to 2 meets that from 2 to 3 at (7, 0) mm"),
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["18 mm", "0 mm"]] }', "pattern.outline.polygon",
         "lie in a line"),
        # Two thin arms at a right angle: 0.01 x 9 + 0.01 x 8.99 mm2.
        ('{ polygon = [["0 mm", "0 mm"], ["9 mm", "0 mm"], ["9 mm", "0.01 mm"], ["0.01 mm", "0.01 mm"], '
         '["0.01 mm", "9 mm"], ["0 mm", "9 mm"]] }', "pattern.outline.polygon", "this one has 0.18 mm²"),
        ('{ polygon = [["0 mm", "0 mm"], ["1 mm", "0 mm"], ["1 mm", "1 mm"]] }', "pattern.outline.polygon",
         "at least 1 mm²"),
        ('{ polygon = "triangle" }', "pattern.outline.polygon", "3 to 500 corners"),
        ('{ circle = "9 m" }', "pattern.outline", "at most 200,000 rings"),
        ('{ circl = "30 mm" }', "pattern.outline.circl", "did you mean circle?"),
    ],
)  # fmt: skip
def test_bad_outlines(outline, where, words):
    problem = problems_of(SHEET.replace("columns = 6\nrows = 4", f"outline = {outline}"))[-1]
    assert problem.where == where
    assert words in str(problem)


def test_linked_rings_one_of_which_is_thicker_than_the_other_is_wide():
    text = JAPANESE.replace('wire = "18 AWG"', 'wire = "3.5 mm"') + "columns = 3\nrows = 3\n"
    problem = one_problem(text)
    assert problem.where == "pattern.rings"
    assert "3.5 mm for large, linked with small of 3 mm inside" in problem.got


FITS = {
    CHAIN: {"hang", "swag", "table", "wrist", "neck"},
    CHAIN.replace("repeat = 5", 'repeat = 5\nform = "closed loop"'): {"hang", "table", "wrist", "neck"},
    SHEET: {"hang", "table", "corners", "edge"},
    SECTIONS: {"hang", "swag", "table"},
}


@pytest.mark.parametrize("text", FITS)
@pytest.mark.parametrize("kind", [kind.value for kind in SceneKind])
def test_scenes_that_go_with_a_piece(text, kind):
    text += f'\n[[scenes]]\nkind = "{kind}"\n'
    if kind in FITS[text.partition("\n[[scenes]]")[0]]:
        assert parse_design(text).scenes[0].kind.value == kind
    else:
        problem = one_problem(text)
        assert problem.where == "scenes[1].kind"
        assert kind in problem.got
        assert problem.advice


def test_scenes_of_sheets():
    corners = SHEET + '\n[[scenes]]\nkind = "corners"\n'
    assert parse_design(corners + 'span = "20 mm"\n').scenes[0].span == 20.0
    assert parse_design(corners).scenes[0].part_apart == 0.9
    assert one_problem(corners + 'span = "20 mm"\nspan_fraction = 0.5\n').where == "scenes[1]"
    hanging = SHEET + '\n[[scenes]]\nkind = "hang"\n'
    # What a chain alone can rest in is not offered.
    assert one_problem(hanging + 'span = "20 mm"\n').expected == "span in corners only"
    assert (
        one_problem(hanging + 'circumference = "20 cm"\n').expected == "no circumference in scenes of a sheet"
    )
    stand = one_problem(SHEET + '\n[[scenes]]\nkind = "stand"\n')
    assert (stand.where, stand.expected) == ("scenes[1].kind", "'hang', 'table', 'corners' or 'edge'")
    laid = SHEET + '\n[[scenes]]\nkind = "table"\nlaid = "in a curve"\n'
    assert one_problem(laid).where == "scenes[1].laid"


@pytest.mark.parametrize(
    ("text", "words"),
    [(SHEET, "a sheet"), (SECTIONS, "sections"), (TURNING, "a weave whose cells turn")],
)
def test_pieces_whose_suppleness_is_not_found(text, words):
    problem = one_problem("supple = true" + text)
    assert problem.where == "supple"
    assert words in problem.got
    assert problem.advice
    assert not parse_design(text).supple
    assert parse_design("supple = true" + CHAIN).supple


def test_every_problem_at_once(tmp_path):
    text = """
title = "x"
metal = "tide blu"
supple = true
[rings.link]
inside = "4"
wire = "18 AWG"
metal = "cheese"
[rings.other]
inside = "4 mm"
wire = "18 AWG"
[colours."tide blue"]
metal = "aluminium"
colour = "blue"
[metal_pattern]
stripes = ["brass"]
[pattern]
weave = "japanese-4-in-1"
rings = { large = "lnk", samll = "link" }
hand = "left"
form = "open run"
repeat = 3
columns = 2
[[scenes]]
kind = "wrist"
"""
    assert [problem.where for problem in problems_of(text)] == [
        "metal",
        "rings.link.inside",
        "rings.link.metal",
        "colours.'tide blue'.colour",
        "metal_pattern.stripes",
        "pattern.repeat",
        "pattern.form",
        "pattern.rings.large",
        "pattern.rings.samll",
        "pattern.rings.small",
        "pattern.hand",
        "pattern",
        "supple",
        "scenes[1].kind",
    ]


# --- anything at all ------------------------------------------------------------------------------

LEAVES = st.one_of(
    st.none().map(lambda _: "true"),
    st.integers(-5, 10**20).map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(lambda x: repr(float(x))),
    st.sampled_from(
        ["4 mm", "18 AWG", "byzantine", "japanese-4-in-1", "spiral-4-in-1", "no.toml", "link", "large",
         "copper", "left", "sheet", "closed loop", "open run", "#123456", ".", "along", "hang", "wrist", "",
         "\x00.toml"]
    ).map(lambda text: json.dumps(text)),
)  # fmt: skip
NAMES = st.sampled_from(
    ["groups", "weave", "sections", "rings", "hand", "repeat", "length", "columns", "rows", "outline", "form",
     "first", "circle", "drop", "polygon", "stripes", "checks", "bitmap", "key", "width", "direction", "link",
     "large", "small", "side_by_side", "join", "ring", "kind", "laid", "span", "metal", "colour", "tide"]
)  # fmt: skip
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(NAMES, inner, max_size=5).map(
            lambda table: "{ " + ", ".join(f"{name} = {value}" for name, value in table.items()) + " }"
        ),
    ),
    max_leaves=12,
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    pattern=st.dictionaries(NAMES, VALUES, max_size=6),
    colours=VALUES,
    metal_pattern=VALUES,
    scenes=VALUES,
)
def test_any_tables_are_answered(pattern, colours, metal_pattern, scenes):
    """Read or refused with places: no other error, whatever stands where."""
    table = ", ".join(f"{name} = {value}" for name, value in pattern.items())
    text = (
        f"supple = true\ncolours = {colours}\nmetal_pattern = {metal_pattern}\nscenes = {scenes}\n"
        f"pattern = {{ {table} }}\n{HEAD}"
    )
    problems = ()
    try:
        assert parse_design(text).piece.most_rings() > 0
    except BadInput as refusal:
        problems = refusal.problems
    assert all(problem.where and problem.expected for problem in problems)


# --- starters and schema --------------------------------------------------------------------------


@pytest.mark.parametrize("name", weave_names())
def test_every_weave_has_a_starter(name):
    weave = find_weave(name)
    text = starter_weave(weave)
    design = parse_design(text)
    assert design.piece.weave == weave
    assert [size for _, size in design.piece.chosen] == [role.size for role in weave.roles]
    assert (design.length == 180.0) == (weave.repeats is Repeats.CHAIN)
    for role in weave.roles:
        assert f"[rings.{role.name}]" in text


def test_options_of_starters():
    chain, sheet = find_weave("half-persian-3-in-1"), find_weave("european-4-in-1")
    made = parse_design(
        starter_weave(
            chain, inside="5 mm", wire="1 mm", metal="copper", title='The "Gull"', repeat=9, closed=True,
            hand="left", clearance="0.1 mm",
        )
    )  # fmt: skip
    assert (made.title, made.metal.name, made.clearance) == ('The "Gull"', "copper", 0.1)
    assert (made.piece.repeat, made.piece.closed, made.piece.weave.hand) == (9, True, "left")
    assert [(s.inside_diameter, s.wire_diameter) for s in made.ring_sizes] == [(5.0, 1.0)]
    assert parse_design(starter_weave(chain, length="7 in")).length == pytest.approx(177.8)
    cut = parse_design(starter_weave(sheet, outline="drop: 20 mm, 34 mm")).piece
    assert cut.outline.kind is OutlineKind.DROP
    whole = parse_design(starter_weave(sheet, columns=3, rows=2)).piece
    assert (whole.columns, whole.rows) == (3, 2)


@pytest.mark.parametrize(
    ("name", "options", "words"),
    [
        ("byzantine", {"columns": 3}, "makes a chain"),
        ("byzantine", {"outline": "circle:30 mm"}, "makes a chain"),
        ("byzantine", {"repeat": 3, "length": "18 cm"}, "one of the two"),
        ("european-4-in-1", {"repeat": 3}, "makes a sheet"),
        ("european-4-in-1", {"closed": True}, "makes a sheet"),
        ("european-4-in-1", {"columns": 3, "outline": "circle:30 mm"}, "one or the other"),
        ("european-4-in-1", {"outline": "circle"}, "circle:30 mm"),
        ("european-4-in-1", {"outline": "square:30 mm"}, "circle:30 mm"),
        ("european-4-in-1", {"outline": "drop:30 mm"}, "width, height"),
        ("european-4-in-1", {"outline": "circle:30"}, "with its unit"),
        ("japanese-4-in-1", {"wire": "18 AWG"}, "large, small"),
        ("byzantine", {"title": "two\nlines"}, "one line"),
    ],
)
def test_options_that_do_not_go_with_a_weave(name, options, words):
    with pytest.raises(BadInput, match=words):
        starter_weave(find_weave(name), **options)


def test_schema_describes_every_key():
    schema = json_schema()
    assert {"ColourTable", "MetalPatternTable", "OutlineTable", "SectionTable"} <= set(schema["$defs"])
    for table in schema["$defs"].values():
        assert table["additionalProperties"] is False
        assert table["description"]
        for entry in table["properties"].values():
            assert entry["description"]
    joints = schema["$defs"]["PatternTable"]["properties"]["sections"]["description"]
    assert "all rings at the end of one link all rings at the beginning of the next" in joints
