"""The line that a problem speaks of, judged by an oracle that marks each value and looks for the mark."""

import contextlib
import itertools
import re
import tomllib
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from chaingen.design.edit_spans import Form, spots_of
from chaingen.design.lines import line_of, lines_of, path_of
from chaingen.design.load import parse_design
from chaingen.design.piece_starter import PIECES, starter_piece
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.tables import key

EXAMPLES = sorted(Path(__file__).parent.parent.glob("examples/**/*.toml"))

MARK = 987654321987654321


def said(spot, text):
    """What a text says by its spots alone."""
    if spot.form is Form.VALUE:
        return tomllib.loads(f"k = {text[spot.start : spot.end]}")["k"]
    if spot.form in (Form.LIST, Form.TABLES):
        return [said(entry, text) for entry in spot.entries]
    return {name: said(member, text) for name, member in spot.members.items()}


def leaves(value, path=()):
    """The path of every value that is neither table nor list."""
    if isinstance(value, dict):
        for name, one in value.items():
            yield from leaves(one, (*path, name))
    elif isinstance(value, list):
        for place, one in enumerate(value):
            yield from leaves(one, (*path, place))
    else:
        yield path


def where_of(path):
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{key(part)}" if text else key(part)
    return text


def marked_line(text, path):
    """The line of a value as tomlkit writes it, where it is replaced by a mark."""
    document = tomlkit.parse(text)
    here = document
    for part in path[:-1]:
        here = here[part]
    here[path[-1]] = MARK
    marked = tomlkit.dumps(document)
    return marked.count("\n", 0, marked.index(str(MARK))) + 1


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_spots_say_what_the_text_says(path):
    text = path.read_text(encoding="utf-8")
    assert said(spots_of(text).root, text) == tomllib.loads(text)


@pytest.mark.parametrize("name", ["all-keys", "all-keys-findings", "all-keys-bench", "three-tides"])
def test_every_value_is_on_the_line_of_its_mark(name):
    (path,) = (one for one in EXAMPLES if one.stem == name)
    text = path.read_text(encoding="utf-8")
    every = [one for one in leaves(tomllib.loads(text)) if "\n" not in str(one)]
    assert len(every) > 5
    # Every seventh by the oracle, which reads the whole text each time.
    for one in itertools.islice(every, 0, None, 7):
        assert line_of(text, where_of(one)) == marked_line(text, one), one


names = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=6)
values = st.recursive(
    st.integers(-9, 9)
    | st.booleans()
    | st.text(max_size=8)
    | st.floats(allow_nan=False, allow_infinity=False),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(names, values, max_size=5))
def test_spots_of_anything(data):
    text = tomlkit.dumps(data)
    assert said(spots_of(text).root, text) == tomllib.loads(text)


LINES = """\
title = "Groyne"
scenes = [
  { kind = "hang" },  # by one end
  # and
  { kind = "swag",
    },
]
pattern.form = "open run"
"sea glass".a.'b c' = 1

[rings.link]
inside = "4 mm"
note = \"\"\"
wire = no key
[header]\"\"\"
wire = '18 AWG'

[rings."odd ] name"]
wire = 1

[[findings.drop.beads]]
form = "ball"

[[findings.drop.beads]]
form = "disc"

[findings.drop]
kind = "head pin"
""".replace("    },", "    span = 1 },").replace('"swag",\n    span = 1 }', '"swag", span = 1 }')


@pytest.mark.parametrize(
    ("where", "line"),
    [
        ("title", 1), ("scenes", 2), ("scenes[1]", 3), ("scenes[1].kind", 3), ("scenes[2].span", 5),
        ("scenes[3]", 2), ("scenes[1].none", 3), ("pattern.form", 7), ("pattern", 7), ("pattern.groups", 7),
        ("'sea glass'.a.'b c'", 8), ('"sea glass".a', 8), ("rings", 10), ("rings.link", 10),
        ("rings.link.inside", 11), ("rings.link.wire", 15), ("rings.link.metal", 10),
        ("rings.'odd ] name'.wire", 18), ("findings.drop.beads[1]", 20), ("findings.drop.beads[1].form", 21),
        ("findings.drop.beads[2].form", 24), ("findings.drop.beads[2].hole", 23),
        ("findings.drop.kind", 27), ("findings.drop.head", 26), ("pattern.groups and title", 7),
        ("columns, title and rows", 1), ("none", None), ("the design", None), ("--settings", None),
        ("mine.toml: rings.a", None), ("", None), ("[1]", None), ("title]", None), ("title.", None),
        ("rings.'link", None), ("scenes[99999999999999999999]", None),
    ],
)  # fmt: skip
def test_lines_told(where, line):
    assert line_of(LINES, where) == line
    assert line_of(LINES.replace("\n", "\r\n"), where) == line


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = = 2\n", 2),
        ("a = 1\n\nb =", 3),
        ("a = 1\na = 2\n", 2),
        ("a = [1,\n2,\n\n\n", 2),
        ("\x00", 1),
    ],
)
def test_lines_of_text_that_is_no_toml(text, line):
    with pytest.raises(BadInput) as refusal:
        parse_design(text, source="the design")
    (problem,) = refusal.value.problems
    assert line_of(text, problem.where) == line


def test_a_design_that_is_called_by_a_line():
    # Where the text is TOML a place says no line.
    assert line_of('title = "x"\n', "the design, line 1, column 1") is None


def bad_designs():
    """Designs in which one value after the other is replaced by a wrong one, or goes, or is misspelt."""
    texts = [starter_design("two-in-one"), *map(starter_piece, PIECES)]
    texts += [p.read_text(encoding="utf-8") for p in EXAMPLES if p.stem in ("all-keys", "all-keys-findings")]
    for text in texts:
        lines = text.splitlines(keepends=True)
        for number, line in enumerate(lines):
            if not re.match(r"\s*([\w-]+ = |\{ )", line):
                continue
            for worse in (
                re.sub(r"(= )(\"[^\"]*\"|\d+)", r"\1-7", line, count=1),
                re.sub(r"(= )(\"[^\"]*\"|\d+|true|false)", r'\1"no such thing"', line, count=1),
                re.sub(r"(\w) =", r"\1x =", line, count=1),
                "\n",
            ):
                if worse != line:
                    yield "".join([*lines[:number], worse, *lines[number + 1 :]])


def test_every_problem_of_bad_designs_has_a_line():
    told = 0
    # Every third of them: to read each takes its time.
    for text in itertools.islice(bad_designs(), 0, None, 3):
        try:
            parse_design(text)
        except BadInput as error:
            data = None
            with contextlib.suppress(ValueError):
                data = tomllib.loads(text)
            places = [problem.where for problem in error.problems]
            for where, line in zip(places, lines_of(text, places), strict=True):
                path = path_of(where)
                if data is not None and path is not None and path[0] not in data:
                    # What should be there and is not, such as a missing title, has no line.
                    continue
                if where == "the design":
                    continue
                assert line is not None, where
                assert 1 <= line <= text.count("\n") + 1
                told += 1
                if data is not None and path is not None:
                    shown = text.splitlines()[line - 1]
                    keys = [part for part in path if isinstance(part, str)]
                    assert any(part in shown for part in keys) or isinstance(path[-1], int) or "{" in shown
    assert told > 150
