"""Changes of a design's text: what they say, and what they leave as it is."""

import json
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen import build
from chaingen.design.edit import (
    Closed,
    Extent,
    Insert,
    Move,
    PutEnd,
    PutGroup,
    PutMetal,
    PutSize,
    PutTitle,
    Remove,
    Set,
    change_from,
    changes_from,
    edited,
    kinds_for_ends,
)
from chaingen.design.load import parse_design
from chaingen.design.piece_starter import PIECES, starter_piece
from chaingen.design.starter import STARTERS, starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.errors import BadInput
from chaingen.findings.catalogue import KINDS
from chaingen.solve.verdict import Fit
from chaingen.tables import quoted
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.weave import Repeats

EXAMPLES = sorted(Path(__file__).parent.parent.glob("examples/*.toml"))

TEXT = """\
# The groyne chain.
title = "Groyne"

# Silver, where nothing else is said.
metal = "sterling silver"  # from the tin

[rings.link]   # by eye
inside = "4 mm"  # the mandrel
wire='18 AWG'

# What it is made of.
[pattern]
length = "180 mm"  # pulled straight
groups = [  # repeated
  { side_by_side = 2, ring = "link" },  # a pair
  # between two pairs
  { join = 1,   ring = "link" },     # one
]

[[scenes]]
kind = "hang"  # first

[[scenes]]
kind = "swag"
span = "120 mm"
"""

GROUPS = ("pattern", "groups")


def lines_changed(new, text=TEXT):
    """The lines that are gone and those that are new, each without the others."""
    old, fresh = text.splitlines(), new.splitlines()
    while old and fresh and old[0] == fresh[0]:
        old, fresh = old[1:], fresh[1:]
    while old and fresh and old[-1] == fresh[-1]:
        old, fresh = old[:-1], fresh[:-1]
    return old, fresh


@pytest.mark.parametrize(
    ("change", "old", "new"),
    [
        (Set(("rings", "link", "inside"), "5 mm"), ['inside = "4 mm"  # the mandrel'],
         ['inside = "5 mm"  # the mandrel']),
        (Set(("rings", "link", "wire"), "16 AWG"), ["wire='18 AWG'"], ["wire='16 AWG'"]),
        (Set(("rings", "link", "metal"), "copper"), [], ['metal = "copper"']),
        (Set(("clearance",), "0.1 mm"), [], ['clearance = "0.1 mm"']),
        (Set((*GROUPS, 1, "join"), 2), ['  { join = 1,   ring = "link" },     # one'],
         ['  { join = 2,   ring = "link" },     # one']),
        (Set((*GROUPS, 1), {"join": 3, "ring": "link"}), ['  { join = 1,   ring = "link" },     # one'],
         ['  { join = 3,   ring = "link" },     # one']),
        (Set(("scenes", 1, "seed"), 3), [], ["seed = 3"]),
        (Set(("pattern", "form"), "open run"), [], ['form = "open run"']),
        (Set(("pattern", "outline", "circle"), "3 mm"), [], ['outline = { circle = "3 mm" }']),
        (Set(("sheet", "step"), 2), [], ["", "[sheet]", "step = 2"]),
        (Set(("date",), "2026-11-27"), [], ["date = 2026-11-27"]),
        (Remove(("metal",)), ['metal = "sterling silver"  # from the tin'], []),
        (Remove((*GROUPS, 0)), ['  { side_by_side = 2, ring = "link" },  # a pair'], []),
        (Remove((*GROUPS, 1)), ['  { join = 1,   ring = "link" },     # one'], []),
        (Remove((*GROUPS, 0, "ring")), ['  { side_by_side = 2, ring = "link" },  # a pair'],
         ["  { side_by_side = 2 },  # a pair"]),
        (Remove((*GROUPS, 0, "side_by_side")), ['  { side_by_side = 2, ring = "link" },  # a pair'],
         ['  { ring = "link" },  # a pair']),
        (Remove(("scenes", 1)), ["", "[[scenes]]", 'kind = "swag"', 'span = "120 mm"'], []),
        (Remove(("none", "there")), [], []),
        (Insert((*GROUPS, 2), {"rosette": 3}), [], ["  { rosette = 3 },"]),
        (Insert((*GROUPS, 1), {"rosette": 3}), [], ["  { rosette = 3 },"]),
        (Insert((*GROUPS, 0), {"rosette": 3}), [], ["  { rosette = 3 },"]),
        (Insert(("pattern", "last", 0), {"rosette": 3}), [], ["last = [{ rosette = 3 }]"]),
        (Insert(("scenes", 2), {"kind": "table"}), [], ["", "[[scenes]]", 'kind = "table"']),
        (PutGroup((*GROUPS, 0), "side_by_side", 3), ['  { side_by_side = 2, ring = "link" },  # a pair'],
         ['  { side_by_side = 3, ring = "link" },  # a pair']),
        # What is behind a group speaks of its kind, and goes with it.
        (PutGroup((*GROUPS, 1), "rosette"), ['  { join = 1,   ring = "link" },     # one'],
         ['  { rosette = 3,   ring = "link" },']),
        (PutGroup((*GROUPS, 1), "finding", finding="hook"), ['  { join = 1,   ring = "link" },     # one'],
         ['  { finding = "hook" },']),
        (Extent("length", "20 cm"), ['length = "180 mm"  # pulled straight'],
         ['length = "20 cm"  # pulled straight']),
        (Extent("repeat", 12), ['length = "180 mm"  # pulled straight'], ["repeat = 12"]),
        (Closed(False), [], []),
        (PutMetal("copper"), ['metal = "sterling silver"  # from the tin'],
         ['metal = "copper"  # from the tin']),
        (PutTitle('A "quoted" \\ title'), ['title = "Groyne"'], ['title = "A \\"quoted\\" \\\\ title"']),
        (PutSize("link", wire="20 AWG"), ["wire='18 AWG'"], ["wire='20 AWG'"]),
        (PutSize("link", no_metal=True), [], []),
        (PutEnd("start", None), [], []),
    ],
)  # fmt: skip
def test_one_change_and_nothing_else(change, old, new):
    text = edited(TEXT, [change])
    was, now = lines_changed(text)
    # A new line may be told after what is alike before it.
    assert sorted(was) == sorted(old)
    assert sorted(now) == sorted(new)
    # Places in a list stand for others once it has changed.
    if not isinstance(change, Insert) and not (isinstance(change, Remove) and change.at[-1] in (0, 1)):
        assert edited(text, [change]) == text


def test_new_tables_stand_where_people_write_them():
    text = edited(
        TEXT, [PutSize("large", "6 mm", metal="brass"), Set(("findings", "my drop", "kind"), "head pin")]
    )
    # Both before the comment that belongs to the pattern.
    assert lines_changed(text) == (
        [],
        ["[rings.large]", 'inside = "6 mm"', 'wire = "18 AWG"', 'metal = "brass"', "",
         '[findings."my drop"]', 'kind = "head pin"', ""],
    )  # fmt: skip
    assert edited(text, [Remove(("findings",)), Remove(("rings", "large"))]) == TEXT


def test_a_metal_goes_above_the_first_table():
    text = "\n".join(line for line in TEXT.splitlines() if not line.startswith("metal")) + "\n"
    new = edited(text, [PutMetal("brass")])
    assert new.splitlines()[2] == 'metal = "brass"'
    assert tomllib.loads(new)["metal"] == "brass"
    assert edited("# words\n\n# a\n[a]\nb = 1\n", [PutMetal("brass")]) == (
        '# words\n\nmetal = "brass"\n\n# a\n[a]\nb = 1\n'
    )
    assert edited("", [PutMetal("brass")]) == 'metal = "brass"\n'


def test_groups_move_with_what_is_behind_them():
    text = edited(TEXT, [Move((*GROUPS, 0), 1)])
    assert '  # between two pairs\n  { join = 1,   ring = "link" },     # one\n  { side_by' in text
    assert '{ side_by_side = 2, ring = "link" },  # a pair\n]' in text
    again = edited(text, [Move((*GROUPS, 1), 0)])
    assert tomllib.loads(again) == tomllib.loads(TEXT)
    assert sorted(again.splitlines()) == sorted(TEXT.splitlines())
    scenes = edited(TEXT, [Move(("scenes", 0), 1)])
    assert [one["kind"] for one in tomllib.loads(scenes)["scenes"]] == ["swag", "hang"]
    assert edited(scenes, [Move(("scenes", 1), 0)]) == TEXT


def test_comments_before_a_comma_move_with_their_entry():
    text = "a = [\n  1 # one\n  # more\n  , # and more\n  2 # two\n  , 3 # three\n]\n"
    for to, data in ((1, [2, 1, 3]), (2, [2, 3, 1])):
        moved = edited(text, [Move(("a", 0), to)])
        assert tomllib.loads(moved) == {"a": data}
        assert "  # one  # more # and more\n" in moved
        assert moved.count("#") == text.count("#")
        assert "# two" in moved
        assert "# three" in moved
    assert edited("a = [\n  1, # one\n  2, 3]\n", [Move(("a", 0), 1)]) == "a = [\n  2, 1, # one\n3]\n"
    assert edited("a = [\n  1, # one\n  2, 3]\n", [Move(("a", 0), 2)]) == "a = [\n  2, 3, 1 # one\n]\n"


@pytest.mark.parametrize(
    ("array", "at", "expected"),
    [
        ("[]", 0, "[9]"), ("[ ]", 0, "[9]"), ("[1]", 0, "[9, 1]"), ("[1]", 1, "[1, 9]"),
        ("[1,]", 1, "[1, 9,]"), ("[1, 2]", 1, "[1, 9, 2]"), ("[\n  1,\n  2\n]", 2, "[\n  1,\n  2,\n  9\n]"),
        ("[\n  1,\n  2 # b\n]", 2, "[\n  1,\n  2, # b\n  9\n]"),
        ("[\n  1,\n  2, # b\n  # c\n]", 2, "[\n  1,\n  2, # b\n  9,\n  # c\n]"),
        ("[1,\n 2]", 2, "[1,\n 2,\n 9]"), ("[1,\n 2,]", 2, "[1,\n 2,\n 9,]"),
        ("[\n # a\n 1,\n]", 0, "[\n 9,\n # a\n 1,\n]"), ("[ # a\n]", 0, "[\n  9, # a\n]"),
        ("[\n  1 # a\n  ,\n  2\n]", 1, "[\n  1 # a\n  ,\n  9,\n  2\n]"),
    ],
)  # fmt: skip
def test_lists_keep_their_layout(array, at, expected):
    assert edited(f"a = {array} # end\n", [Insert(("a", at), 9)]) == f"a = {expected} # end\n"
    back = edited(f"a = {expected} # end\n", [Remove(("a", at))])
    assert tomllib.loads(back) == tomllib.loads(f"a = {array}")
    if "#" not in array and array not in ("[ ]",) and "\n  1,\n  2\n]" not in array:
        assert back == f"a = {array} # end\n"


def test_tables_that_were_never_written():
    assert edited('rings.link.inside = "4 mm"\n', [Set(("rings", "link", "wire"), "1 mm")]) == (
        'rings.link.inside = "4 mm"\nrings.link.wire = "1 mm"\n'
    )
    assert edited("[a.b]\nc = 1\n", [Set(("a", "d"), 2)]) == "[a]\nd = 2\n\n[a.b]\nc = 1\n"
    assert edited("a = {}\n", [Set(("a", "b"), 1)]) == "a = { b = 1 }\n"
    assert edited("a = 1", [Set(("b",), 2)]) == "a = 1\nb = 2"
    assert edited("a = 1\r\n# x\r\n", [Set(("a",), 2)]) == "a = 2\r\n# x\r\n"


@pytest.mark.parametrize(
    "change",
    [
        Set(("title", "x"), 1), Set(("title", 0), 1), Set((*GROUPS, 7), {}), Set(("rings",), "x"),
        Set(("new", 1), 1), Insert((*GROUPS, 3), {}), Insert(("title", 0), 1), Insert(("new", 1), 1),
        Insert(("scenes", 0), "hang"), Move((*GROUPS, 2), 0), Move((*GROUPS, 0), 2), Move(("title", 0), 0),
        PutGroup((*GROUPS, 5), "join"), PutGroup((*GROUPS, 0), "finding"), PutEnd("start", "wire path"),
    ],
)  # fmt: skip
def test_changes_that_cannot_be_made(change):
    with pytest.raises(BadInput) as refusal:
        edited(TEXT, [change])
    assert all(problem.expected and problem.where for problem in refusal.value.problems)


@pytest.mark.parametrize("text", ["a = ", "a = 1\na = 2", "[" * 3000, "x = " + "[" * 900 + "]" * 900, "\x00"])
def test_text_that_cannot_be_changed(text):
    with pytest.raises(BadInput):
        edited(text, [PutMetal("brass")])
    with pytest.raises(BadInput):
        edited(text, [])


def paths(value, path=()):
    if isinstance(value, dict | list):
        for part, one in value.items() if isinstance(value, dict) else enumerate(value):
            yield (*path, part)
            yield from paths(one, (*path, part))


def at(data, path):
    for part in path:
        data = data[part]
    return data


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_every_value_can_be_set_and_set_back(path):
    text = path.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    for place in list(paths(data))[::4]:
        value = at(data, place)
        if isinstance(value, dict | list):
            assert edited(text, [Set(place, value)]) == text
            continue
        other = edited(text, [Set(place, "another")])
        assert at(tomllib.loads(other), place) == "another"
        assert tomlkit.parse(other).unwrap() == tomllib.loads(other)
        back = edited(other, [Set(place, value)])
        assert tomllib.loads(back) == data
        written = text[len(text) - len(back) :] if isinstance(value, float) else text
        if isinstance(value, str) and "'" not in text and '"""' not in text:
            assert back == written


@pytest.mark.parametrize("path", EXAMPLES[::3], ids=lambda path: path.stem)
def test_whatever_is_removed_is_gone_and_nothing_else(path):
    text = path.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    for place in list(paths(data))[::3]:
        gone = tomllib.loads(edited(text, [Remove(place)]))
        left = json.loads(json.dumps(data, default=str))
        holder = at(left, place[:-1])
        del holder[place[-1]]
        if holder == [] and place[0] not in gone:
            # A list of tables with headers is gone with its last.
            del left[place[0]]
        assert without_empty(json.loads(json.dumps(gone, default=str))) == without_empty(left), place


def without_empty(value):
    if isinstance(value, dict):
        inner = {name: without_empty(one) for name, one in value.items()}
        return {name: one for name, one in inner.items() if one != {}}
    return [without_empty(one) for one in value] if isinstance(value, list) else value


scalars = st.integers(-(2**62), 2**62) | st.booleans() | st.text(st.characters(codec="utf-8"), max_size=9)
names = st.sampled_from(["title", "rings", "link", "groups", "pattern", "a b", "", "é", "wire", "ends"])
nested = st.recursive(
    scalars | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=3),
    max_leaves=6,
)
places = st.lists(names | st.integers(0, 4), max_size=4).map(tuple)
any_change = st.one_of(
    st.builds(Set, st.tuples(names, places).map(lambda p: (p[0], *p[1])), nested),
    st.builds(Remove, st.tuples(names, places).map(lambda p: (p[0], *p[1]))),
    st.builds(Insert, st.tuples(names, places, st.integers(0, 3)).map(lambda p: (p[0], *p[1], p[2])), nested),
    st.builds(Move, st.tuples(names, places, st.integers(0, 3)).map(lambda p: (p[0], *p[1], p[2])),
              st.integers(0, 3)),
    st.builds(PutGroup, st.sampled_from([(*GROUPS, 0), (*GROUPS, 1), ("pattern", "groups", 0, "ring")]),
              st.sampled_from(["side_by_side", "rosette", "join", "finding"]), st.none() | st.integers(1, 5),
              st.none() | names, st.none() | names),
    st.builds(Extent, st.sampled_from(["repeat", "length", "wrist", "neck"]), st.integers(1, 9) | st.text()),
    st.builds(Closed, st.booleans()),
    st.builds(PutEnd, st.sampled_from(["start", "end"]), st.none() | st.sampled_from(list(KINDS))),
    st.builds(PutSize, names, st.none() | st.text(max_size=5), st.none() | st.just("1 mm"),
              st.none() | st.just("copper"), st.booleans()),
)  # fmt: skip
BASES = [TEXT, starter_design("two-in-one"), starter_piece("linked-bracelet"), "", "ends = 3\nrings = []\n",
         "rings = { link = { inside = 3 } }\npattern.groups = [1]\nends.start.finding = 4\n"]  # fmt: skip


@settings(deadline=None)
@given(st.sampled_from(BASES), st.lists(any_change, min_size=1, max_size=4))
def test_what_comes_out_is_toml_or_a_problem(base, changes):
    try:
        text = edited(base, changes)
    except BadInput:
        return
    assert tomlkit.parse(text).unwrap() == tomllib.loads(text)
    # A whole comment line of the maker's never goes but with the table that it is in.
    if all(isinstance(change, PutSize | Extent | PutMetal) for change in changes):
        kept = [line for line in text.splitlines() if line.startswith("#")]
        assert kept == [line for line in base.splitlines() if line.startswith("#")]


@settings(deadline=None)
@given(st.sampled_from(BASES[:3]), st.sampled_from(["rings", "pattern", "findings", ""]), names, scalars)
def test_what_is_made_can_be_unmade(base, table, name, value):
    place = (table, f"{name}!") if table else (f"{name}!",)
    made = edited(base, [Set(place, value if table == "pattern" else {"a": value, "b": {"c": [value]}})])
    assert made != base
    assert edited(made, [Remove(place)]) == base


# Ends


def chains():
    for name in STARTERS:
        yield name, starter_design(name, repeat=3)
    for name in weave_names():
        if find_weave(name).repeats is Repeats.CHAIN:
            yield name, starter_weave(find_weave(name), repeat=3)
    for name in PIECES:
        yield name, starter_piece(name)


CHAINS = dict(chains())


def test_kinds_for_ends():
    kinds = kinds_for_ends()
    assert kinds["start"] == kinds["end"]
    assert set(KINDS) - set(kinds["start"]) == {"wire path"}


@pytest.mark.parametrize("name", CHAINS)
def test_every_kind_at_every_end_of_every_chain(name):
    text = CHAINS[name]
    kinds = kinds_for_ends()["start"]
    for place, kind in enumerate(kinds):
        other = kinds[(place + 5) % len(kinds)]
        design = parse_design(edited(text, [PutEnd("start", kind), PutEnd("end", other)]))
        assert design.ends.start[0].size.kind == kind
        assert design.ends.end[-1].size.kind == other


@pytest.mark.parametrize("name", [name for name in CHAINS if name not in PIECES])
def test_what_is_put_to_an_end_comes_off_without_a_trace(name):
    text = CHAINS[name]
    on = edited(text, [PutEnd("end", "closed ring"), PutEnd("start", "lobster clasp")])
    assert edited(on, [PutEnd("start", "lobster clasp")]) == on
    assert edited(on, [PutEnd("start", None), PutEnd("end", None)]) == text
    closed = edited(on, [Closed(True)])
    assert "ends" not in tomllib.loads(closed)
    assert "clasp" not in closed


@pytest.mark.parametrize(
    "pattern",
    [
        """repeat = 6
first = [{ side_by_side = 2 }]
groups = [
  { join = 1 },  # one
  { rosette = 3 },
]
""",
        'repeat = 6\nweave = "jens-pind"\n',
        "sections = [{ groups = [{ side_by_side = 1 }], repeat = 4 }]\n",
    ],
)
def test_a_second_ring_size_leaves_the_first_where_it_was_the_only_one(pattern):
    text = 'title = "Quay"\nmetal = "copper"\n\n[rings.only]\ninside = "8 mm"\nwire = "1 mm"\n\n'
    text = f"{text}[pattern]\n{pattern}"
    before = parse_design(text)
    more = edited(text, [PutSize("jump", "3 mm", "20 AWG")])
    assert parse_design(more).piece == before.piece
    assert [size.name for size in parse_design(more).ring_sizes] == ["only", "jump"]
    # Wire too thick for the eye, which then has a ring of its own.
    thick = text.replace("1 mm", "2.4 mm")
    clasped = parse_design(edited(thick, [PutEnd("start", "spring ring")]))
    assert [size.name for size in clasped.ring_sizes] == ["only", "jump"]
    assert clasped.ends.start[0].size.kind == "spring ring"
    if "# one" in pattern:
        assert '{ join = 1, ring = "only" },  # one' in more


def test_a_closed_loop_says_so_and_keeps_the_rest():
    closed = edited(TEXT, [Closed(True)])
    swag = '\n[[scenes]]\nkind = "swag"\nspan = "120 mm"\n'
    assert closed.replace('form = "closed loop"\n', "") == TEXT.replace(swag, "")
    assert closed.count('form = "closed loop"\n') == 1


@pytest.mark.parametrize("kinds", [["swag"], ["swag", "hang", "swag"]])
def test_a_closed_loop_loses_the_scenes_that_need_two_ends(kinds):
    text = starter_design("one-in-one", repeat=6)
    assert "scenes = []" in text
    rows = ", ".join(f'{{ kind = "{kind}" }}' for kind in kinds)
    closed = edited(text.replace("scenes = []", f"scenes = [{rows}]"), [Closed(True)])
    assert [scene.kind for scene in parse_design(closed).scenes] == [kind for kind in kinds if kind != "swag"]


def test_another_kind_keeps_the_rings_that_join_it():
    text = starter_piece("linked-bracelet")
    text = text.replace(
        'joins = [{ join = 1, ring = "jump" }]',
        'joins = [{ join = 1, ring = "jump" }, { join = 1, ring = "petal" }]',
        1,
    )
    new = edited(text, [PutEnd("start", "spring ring")])
    data = tomllib.loads(new)
    assert [one["ring"] for one in data["ends"]["start"]["joins"]] == ["jump", "petal"]
    assert data["findings"]["clasp-2"] == {"kind": "spring ring"}
    assert "clasp" not in data["findings"]
    parse_design(new)


def test_findings_that_something_else_names_stay():
    text = starter_piece("linked-bracelet") + '\n[prices.each]\nclasp = "4 EUR"\n'
    assert "clasp" in tomllib.loads(edited(text, [PutEnd("start", None)]))["findings"]


@pytest.mark.parametrize("strands", [2, 3])
@pytest.mark.parametrize("kind", ["end bar", "lobster clasp", "closed ring"])
def test_strands_are_brought_together(strands, kind):
    text = starter_weave(find_weave("byzantine"), repeat=3)
    text = edited(
        text, [Set(("pattern", "strands"), strands), PutEnd("start", kind), PutEnd("end", "end bar")]
    )
    assert parse_design(text).ends.end[-1].size.kind == "end bar"


@pytest.mark.parametrize("text", [edited(TEXT, [Closed(True)]), starter_weave(find_weave("european-4-in-1"))])
def test_pieces_without_ends(text):
    with pytest.raises(BadInput, match="ends of an open run only"):
        edited(text, [PutEnd("start", "lobster clasp")])


@pytest.mark.parametrize("name", ["two-in-one", "two-in-two", "byzantine"])
def test_a_clasp_fits(name):
    text = edited(CHAINS[name], [PutEnd("start", "lobster clasp"), PutEnd("end", "closed ring")])
    result = build(parse_design(text))
    assert result.fit in (Fit.COMFORTABLE, Fit.LOOSE, Fit.TIGHT)


# JSON

FORMS = [
    ({"do": "set", "at": ["a", 0], "value": {"b": [1, 2.5, True, "x"]}},
     Set(("a", 0), {"b": [1, 2.5, True, "x"]})),
    ({"do": "remove", "at": ["a"]}, Remove(("a",))),
    ({"do": "insert", "at": ["a", 1], "value": 1}, Insert(("a", 1), 1)),
    ({"do": "move", "at": ["a", 1], "to": 0}, Move(("a", 1), 0)),
    ({"do": "group", "at": ["pattern", "groups", 0], "kind": "join", "count": 2, "ring": "link"},
     PutGroup((*GROUPS, 0), "join", 2, "link")),
    ({"do": "group", "at": ["pattern", "groups", 0], "kind": "finding", "finding": "x", "ring": None},
     PutGroup((*GROUPS, 0), "finding", finding="x")),
    ({"do": "extent", "kind": "repeat", "value": 12}, Extent("repeat", 12)),
    ({"do": "extent", "kind": "wrist", "value": "165 mm"}, Extent("wrist", "165 mm")),
    ({"do": "closed", "value": True}, Closed(True)),
    ({"do": "end", "which": "start", "kind": "lobster clasp"}, PutEnd("start", "lobster clasp")),
    ({"do": "end", "which": "end", "kind": None}, PutEnd("end", None)),
    ({"do": "size", "name": "link", "inside": "3 mm"}, PutSize("link", "3 mm")),
    ({"do": "size", "name": "link", "wire": "1 mm", "metal": "copper"},
     PutSize("link", None, "1 mm", "copper")),
    ({"do": "size", "name": "link", "metal": None}, PutSize("link", no_metal=True)),
    ({"do": "metal", "value": "copper"}, PutMetal("copper")),
    ({"do": "title", "value": "x"}, PutTitle("x")),
]  # fmt: skip


@pytest.mark.parametrize(("data", "change"), FORMS)
def test_changes_from_json(data, change):
    assert change_from(data) == change
    assert changes_from([data, data]) == [change, change]


def deep(levels):
    return [deep(levels - 1)] if levels else 1


@pytest.mark.parametrize(
    ("data", "where"),
    [
        (None, "change"), ([], "change"), ({}, "change.do"), ({"do": "eat"}, "change.do"),
        ({"do": ["set"]}, "change.do"), ({"do": "set", "at": ["a"]}, "change.value"),
        ({"do": "remove", "at": ["a"], "more": 1}, "change.more"), ({"do": "remove", "at": []}, "change.at"),
        ({"do": "remove", "at": "a"}, "change.at"), ({"do": "remove", "at": [0]}, "change.at[1]"),
        ({"do": "remove", "at": ["a", -1]}, "change.at[2]"),
        ({"do": "remove", "at": ["a", True]}, "change.at[2]"),
        ({"do": "remove", "at": ["a", 1.0]}, "change.at[2]"),
        ({"do": "remove", "at": ["a"] * 13}, "change.at"),
        ({"do": "set", "at": ["a"], "value": None}, "change.value"),
        ({"do": "set", "at": ["a"], "value": float("nan")}, "change.value"),
        ({"do": "set", "at": ["a"], "value": 2**63}, "change.value"),
        ({"do": "set", "at": ["a"], "value": "\ud800"}, "change.value"),
        ({"do": "set", "at": ["\ud800"], "value": 1}, "change.at[1]"),
        ({"do": "set", "at": ["a"], "value": deep(9)}, "change.value"),
        ({"do": "set", "at": ["a"], "value": [0] * 4000}, "change.value"),
        ({"do": "set", "at": ["a"], "value": "x" * 5000}, "change.value"),
        ({"do": "insert", "at": ["a"], "value": 1}, "change.at"),
        ({"do": "move", "at": ["a"], "to": 1}, "change.at"),
        ({"do": "move", "at": ["a", 0], "to": -1}, "change.to"),
        ({"do": "group", "at": ["a"], "kind": "ring"}, "change.kind"),
        ({"do": "group", "at": ["a"], "kind": "join", "count": "2"}, "change.count"),
        ({"do": "extent", "kind": "repeat", "value": "2"}, "change.value"),
        ({"do": "extent", "kind": "length", "value": 2}, "change.value"),
        ({"do": "extent", "kind": "width", "value": 2}, "change.kind"),
        ({"do": "closed", "value": 1}, "change.value"),
        ({"do": "end", "which": "top", "kind": None}, "change.which"),
        ({"do": "end", "which": "end", "kind": "rope"}, "change.kind"),
        ({"do": "size", "inside": "1 mm"}, "change.name"),
        ({"do": "size", "name": 1}, "change.name"), ({"do": "metal", "value": 1}, "change.value"),
    ],
)  # fmt: skip
def test_what_is_no_change(data, where):
    with pytest.raises(BadInput) as refusal:
        change_from(data)
    (problem,) = refusal.value.problems
    assert problem.where == where
    assert problem.expected


def test_too_many_changes():
    with pytest.raises(BadInput, match="at most 100"):
        changes_from([FORMS[1][0]] * 101)
    with pytest.raises(BadInput, match="a list of changes"):
        changes_from({})


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
)


@settings(deadline=None)
@given(
    st.sampled_from([one for one, _ in FORMS]),
    st.sampled_from(["at", "value", "kind", "to", "count", "which", "name", "ring", "do", "x"]),
    json_values,
)
def test_json_of_any_kind_is_a_change_or_a_problem(data, name, value):
    try:
        change = change_from({**data, name: value})
    except BadInput:
        return
    try:
        tomllib.loads(edited(TEXT, [change]))
    except BadInput:
        return


def test_texts_are_quoted_as_everywhere():
    assert quoted("a\n") in edited("", [PutTitle("a\n")])
