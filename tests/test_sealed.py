"""Designs from elsewhere read no file but those beside them."""

import os
import socket

import pytest

from chaingen.design.beside import MOST_SEALED_BYTES, base_name
from chaingen.design.load import MOST_LEVELS, load_design, parse_design
from chaingen.design.starter import starter_design
from chaingen.errors import BadInput
from chaingen.weave.catalogue import find_weave
from chaingen.weave.weave_file import weave_text

WEAVE = """\
title = "Groyne"
metal = "brass"

[rings.link]
inside = "4 mm"
wire = "18 AWG"

[pattern]
weave = {name}
repeat = 3
"""

SETTINGS = "settings = {name}\n" + starter_design("two-in-two", repeat=3).replace("{", "{{").replace(
    "}", "}}"
)

OUTSIDE = (
    "../{}",
    "../../{}",
    "inner/../../{}",
    "..\\{}",
    "C:\\{}",
    "\\\\host\\share\\{}",
    "/tmp/{}",
    "./{}",
    "~/{}",
)


@pytest.fixture
def place(tmp_path):
    """A session's folder with files outside it that would be read if anything led there."""
    folder = tmp_path / "here"
    (folder / "inner").mkdir(parents=True)
    for away in (tmp_path, folder / "inner"):
        away.joinpath("canary.toml").write_text(weave_text(find_weave("one-in-one")))
        away.joinpath("bench.toml").write_text('[bench]\ntemper = "half hard"\n')
    return folder


def problem_of(text, folder, **options):
    with pytest.raises(BadInput) as refusal:
        parse_design(text, folder=folder, sealed=True, **options)
    (problem,) = refusal.value.problems
    return problem


def literal(name):
    return f"'{name}'"


@pytest.mark.parametrize("way", OUTSIDE)
def test_no_name_leads_out_of_the_folder(place, way):
    # Each file is there, and reading that is not sealed finds the first of them.
    for text, file in ((WEAVE, "canary.toml"), (SETTINGS, "bench.toml")):
        if way == "../{}":
            parse_design(text.format(name=literal(way.format(file))), folder=place)
        problem = problem_of(text.format(name=literal(way.format(file))), place)
        assert problem.got == f"'{file}', which is not here"
        assert "add the file" in problem.advice
        assert str(place) not in str(problem)


@pytest.mark.parametrize("way", OUTSIDE)
def test_the_last_part_of_a_path_is_found_in_the_folder(place, way):
    place.joinpath("mine.toml").write_text(weave_text(find_weave("two-in-two")))
    design = parse_design(WEAVE.format(name=literal(way.format("mine.toml"))), folder=place, sealed=True)
    assert design.piece.weave == find_weave("two-in-two")
    place.joinpath("mine.toml").write_text('[bench]\ntemper = "half hard"\n')
    told = parse_design(SETTINGS.format(name=literal(way.format("mine.toml"))), folder=place, sealed=True)
    assert told.bench.temper == "half hard"


@pytest.mark.parametrize("target", ["../canary.toml", "inner/canary.toml"])
def test_links_are_not_followed(place, target):
    place.joinpath("link.toml").symlink_to(target)
    assert problem_of(WEAVE.format(name="'link.toml'"), place).got == "'link.toml', which is not here"


def test_what_is_no_file_is_not_waited_for(place):
    os.mkfifo(place / "pipe.toml")
    (place / "folder.toml").mkdir()
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(place / "socket.toml"))
        for name in ("pipe.toml", "folder.toml", "socket.toml"):
            assert problem_of(WEAVE.format(name=literal(name)), place).got == f"'{name}', which is not here"


@pytest.mark.parametrize(
    "name",
    ["..", ".", "", "inner/", "a\x00.toml", "CON.toml", "nul", "com1.toml", "Lpt9.toml", "aux.x.toml",
     "a:b.toml", ".hidden.toml", "a.toml.", "x" * 300 + ".toml", "\u00e9" * 150 + ".toml", "a\n.toml"],
)  # fmt: skip
def test_names_that_are_those_of_no_file(name):
    assert base_name(name) is None


@pytest.mark.parametrize("name", ["con.toml", "x" * 300 + ".toml", ".hidden.toml"])
def test_such_names_are_told_at_their_place(place, name):
    problem = problem_of(WEAVE.format(name=literal(name)), place)
    assert (problem.where, problem.expected) == (
        "pattern.weave",
        "the name of a weave file beside the design",
    )


def test_problems_of_a_file_name_it_without_its_folder(place):
    place.joinpath("mine.toml").write_text('name = "x"\nrepeats = "chain"\n')
    with pytest.raises(BadInput) as refusal:
        parse_design(WEAVE.format(name="'mine.toml'"), folder=place, sealed=True)
    assert {problem.where.split(":")[0] for problem in refusal.value.problems} == {"mine.toml"}
    place.joinpath("mine.toml").write_text("bench = 3\n")
    assert problem_of(SETTINGS.format(name="'mine.toml'"), place).where == "mine.toml: bench"


def test_a_long_file_beside_a_design(place):
    place.joinpath("long.toml").write_text("#" * (MOST_SEALED_BYTES + 1))
    for text in (WEAVE, SETTINGS):
        problem = problem_of(text.format(name="'long.toml'"), place)
        assert (problem.where, problem.got) == ("long.toml", "over 200,000 bytes")
    place.joinpath("long.toml").write_bytes(b"\xff\xfe")
    assert problem_of(WEAVE.format(name="'long.toml'"), place).got == "text that is not UTF-8"


def test_a_long_design(place):
    good = starter_design("two-in-two", repeat=3)
    room = MOST_SEALED_BYTES - len(good.encode()) - 2
    assert parse_design(f"{good}\n#{'x' * room}", sealed=True).title == "A two-in-two piece"
    long = f"{good}\n#{'x' * (room + 1)}"
    assert problem_of(long, place).got == "over 200,000 bytes"
    # Bytes count, not letters.
    assert problem_of(f"{good}\n#{'é' * (room // 2 + 2)}", place).got == "over 200,000 bytes"
    # One's own file may be longer.
    path = place / "own.toml"
    path.write_text(long)
    assert load_design(path).title == "A two-in-two piece"


@pytest.mark.parametrize("sealed", [True, False])
@pytest.mark.parametrize(
    "deep",
    ["x = " + "[" * 2000 + "]" * 2000, "x = " + "{a=" * 2000 + "1" + "}" * 2000,
     "x = " + "[" * (MOST_LEVELS + 1) + "]" * (MOST_LEVELS + 1), f"[{'.'.join('a' * 5000)}]",
     f"{'.'.join('a' * 5000)} = 1"],
)  # fmt: skip
def test_tables_nested_too_deeply(deep, sealed):
    with pytest.raises(BadInput, match=r"tables nested too deeply|a key of very many parts"):
        parse_design(deep, sealed=sealed)


def test_halves_of_characters():
    with pytest.raises(BadInput, match="not Unicode"):
        parse_design('title = "\ud800"', sealed=True)


def test_sealed_reading_reads_weaves_of_the_catalogue(place):
    design = parse_design(WEAVE.format(name="'one-in-one'"), folder=place / "not there", sealed=True)
    assert design.piece.weave == find_weave("one-in-one")
    assert problem_of(WEAVE.format(name="'../one-in-one'"), place).where == "pattern.weave"
