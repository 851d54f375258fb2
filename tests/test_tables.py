import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import Field, ValidationError

from chaingen.design.load import load_design, parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput, Problem
from chaingen.tables import (
    MOST_PROBLEMS,
    FileKind,
    Table,
    key,
    limited,
    list_of,
    meant,
    one_of,
    parse_toml,
    quoted,
    quoted_key,
    read_text,
    shown,
    table_of,
    value_problems,
)


class Plank(Table):
    length: float = 1.0
    marks: list[str] = Field(default=[], min_length=2)


class Deck(Table):
    planks: list[Plank] = Field(default=[])
    named: dict[str, Plank] = Field(default={})
    best: Plank | None = None


KIND = FileKind("the deck", "a deck file", Deck, {"planks": "a list of planks"}, "ask the joiner")


def problems_of(data):
    with pytest.raises(ValidationError) as refusal:
        Deck.model_validate(data)
    return value_problems(refusal.value, KIND)


TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


@given(TEXTS, TEXTS)
def test_what_is_quoted_is_read(name, text):
    assert tomllib.loads(f"{quoted_key(name)} = {quoted(text)}") == {name: text}
    assert quoted(text).isprintable()


@pytest.mark.parametrize(
    ("data", "where"),
    [
        ({"planks": [{}, {"lenght": 2.0}]}, "planks[2].lenght"),
        ({"named": {"lower": {"lenght": 2.0}}}, "named.lower.lenght"),
        ({"named": {"the lower": {"lenght": 2.0}}}, "named.'the lower'.lenght"),
        ({"best": {"lenght": 2.0}}, "best.lenght"),
    ],
)
def test_keys_are_known_however_deep_they_lie(data, where):
    (problem,) = problems_of(data)
    assert problem == Problem(where, "an unknown key", "one of length, marks", "did you mean length?")


def test_lists():
    (problem,) = problems_of({"planks": 3})
    assert problem == Problem("planks", "3", "a list of planks")
    (problem,) = problems_of({"best": {"marks": "x"}})
    assert problem.expected == "a list"
    (problem,) = problems_of({"best": {"marks": ["x"]}})
    assert problem.expected == "at least 2 entries"


def test_a_list_is_shown_where_it_is_short():
    assert shown(["1a", "1a"]) == "['1a', '1a']"
    assert shown([["1a", 2], [True, 0.5]]) == "[['1a', 2], [true, 0.5]]"
    assert shown([]) == "an empty list"
    assert shown([1, []]) == "[1, an empty list]"
    # Tables in it, many entries and long ones are not for a message.
    for long in ([{}], [[{}]], [1, [2, {"a": 1}]], list(range(7)), ["x" * 40, "y" * 40]):
        assert shown(long) == "a list"
    deep = [1]
    for _ in range(200):
        deep = [deep]
    assert shown(deep) == "a list"
    (problem,) = problems_of({"best": {"marks": ["x"]}})
    assert problem.got == "['x']"


def test_names_to_choose_from():
    assert one_of(["brass"]) == "brass"
    assert one_of(iter(["brass", "copper"])) == "one of brass, copper"


def test_a_kind_of_file_speaks_of_itself(tmp_path):
    from chaingen.errors import BadInput

    with pytest.raises(BadInput) as refusal:
        read_text(tmp_path / "deck.toml", KIND)
    (problem,) = refusal.value.problems
    assert (problem.expected, problem.advice) == ("a deck file: TOML in UTF-8", "ask the joiner")
    with pytest.raises(BadInput) as refusal:
        parse_toml("x = " + "[" * 100_000, "deck", KIND)
    assert refusal.value.problems == (Problem("deck", "tables nested too deeply", "a deck file"),)
    every = [Problem(f"planks[{k}]", "", "another") for k in range(MOST_PROBLEMS + 5)]
    assert limited(every[:MOST_PROBLEMS], KIND) == every[:MOST_PROBLEMS]
    assert limited(every, KIND)[-1].where == "the deck"


def test_what_is_not_what_it_should_be_is_passed_over():
    assert table_of([1]) == {}
    assert table_of({"a": 1}) == {"a": 1}
    assert list_of({"a": 1}, 5) == []
    assert list_of([1, 2, 3], 2) == [1, 2]
    assert meant("zzz", ["harbour"]) == ""
    assert key("a" * 81) == repr("a" * 80)


@pytest.mark.parametrize("name", ["x" * 5000 + ".toml", ("y" * 300 + "/") * 20 + "a.toml", "a\0b.toml"])
def test_a_path_that_is_none_is_told(name):
    with pytest.raises(BadInput, match="settings"):
        parse_design(f"settings = {quoted(name)}\n{starter_design('two-in-one')}")
    with pytest.raises(BadInput):
        load_design(name)
