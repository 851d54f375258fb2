import doctest
import itertools
import json
import math
import re
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaingen.errors import BadInput
from chaingen.stock.gauges import awg
from chaingen.tables import MOST_PROBLEMS
from chaingen.weave.catalogue import find_weave
from chaingen.weave.weave import Repeats, Role, Weave, WeaveLink, WeavePose, WeaveRing
from chaingen.weave.weave_file import load_weave, parse_weave, weave_text
from chaingen.weave.weave_schema import MOST_LINKS, MOST_RINGS, MOST_ROLES, weave_json_schema
from tests.oracles import solid_angle_linking

CHAIN = """
name = "harbour-pairs"
title = "Harbour pairs"
about = "pairs of rings with a captive one"
repeats = "chain"
turning = true
hand = "left"
side_by_side = [["a", "b"]]
finish = ["a"]
links = [["a", "c"], ["b", "c"], ["c", "a", 1], ["c", "b", 1]]
[roles.link]
inside = "4 mm"
wire = "18 AWG"
least = 2.9
comfortable = [3.5, 4.0]
[roles.float]
inside = "7 mm"
wire = "1.2 mm"
[rings.a]
role = "link"
centre = [0.0, 0.6, 0]
axis = [0.0, 1.0, 0.0]
[rings.b]
role = "link"
centre = [0.0, -0.6, 0.0]
axis = [0.0, 1.0, 0.0]
[rings.c]
role = "link"
centre = [3.3, 0.0, 0.0]
axis = [0.0, 0.0, 2.5]
[rings.d]
role = "float"
centre = [3.3, 0.0, 0.0]
axis = [1.0, 0.0, 0.0]
caged_by = [["a"], ["b", 1]]
[pose]
period = 6.6
twist = 45.0
"""

SHEET = """
name = "slipway"
repeats = "sheet"
links = [["a", "b"], ["b", "a", 1], ["b", "a", 0, 1]]
[roles.link]
inside = "5 mm"
wire = "18 AWG"
[rings]
a = { centre = [0, 0, 0], axis = [0, 0, 1] }
b = { centre = [0, 3, 0], axis = [1, 0, 0] }
[pose]
period = 3.0
across = [0.0, 6.0]
"""

LINKS = '[["a", "c"], ["b", "c"], ["c", "a", 1], ["c", "b", 1]]'
FLAT = '[["a", "b"], ["b", "a", 1], ["b", "a", 0, 1]]'


def changed(old, new, text):
    assert text.count(old) == 1
    return text.replace(old, new)


def problems_of(text):
    with pytest.raises(BadInput) as refusal:
        parse_weave(text)
    return refusal.value.problems


def one_problem(text):
    (problem,) = problems_of(text)
    assert problem.expected
    assert len(str(problem)) < 500
    return problem


def test_a_whole_chain():
    link = Role("link", 4.0, awg(18), 2.9, (3.5, 4.0))
    assert parse_weave(CHAIN) == Weave(
        name="harbour-pairs",
        title="Harbour pairs",
        about="pairs of rings with a captive one",
        wear="",
        make="",
        repeats=Repeats.CHAIN,
        roles=(link, Role("float", 7.0, 1.2)),
        rings=(
            WeaveRing("a", "link", (0.0, 0.6, 0.0), (0.0, 1.0, 0.0)),
            WeaveRing("b", "link", (0.0, -0.6, 0.0), (0.0, 1.0, 0.0)),
            WeaveRing("c", "link", (3.3, 0.0, 0.0), (0.0, 0.0, 2.5)),
            WeaveRing("d", "float", (3.3, 0.0, 0.0), (1.0, 0.0, 0.0), (("a", 0, 0), ("b", 1, 0))),
        ),
        links=(
            WeaveLink("a", "c"),
            WeaveLink("b", "c"),
            WeaveLink("c", "a", 1),
            WeaveLink("c", "b", 1),
        ),
        side_by_side=(("a", "b"),),
        finish=("a",),
        pose=WeavePose(6.6, math.pi / 4),
        turning=True,
        hand="left",
    )


def test_a_whole_sheet():
    weave = parse_weave(SHEET)
    assert (weave.title, weave.repeats, weave.pose) == (
        "slipway",
        Repeats.SHEET,
        WeavePose(3.0, 0.0, (0.0, 6.0)),
    )
    assert [ring.role for ring in weave.rings] == ["link", "link"]
    assert weave.links == (WeaveLink("a", "b"), WeaveLink("b", "a", 1), WeaveLink("b", "a", 0, 1))
    assert weave.degrees() == {"a": 3, "b": 3}


def test_links_alone():
    weave = parse_weave(
        'name="x"\nrepeats="chain"\nturning=true\nlinks=[["a","a",1]]\n'
        'roles.link={inside="4 mm",wire="1 mm"}\nrings.a={}\n'
    )
    assert (weave.pose, weave.rings, weave.hand) == (None, (WeaveRing("a", "link"),), "")
    assert weave.degrees() == {"a": 2}


# One wrong thing each: what is changed, what it becomes, where the problem is, words of the message.
BAD_CHAINS = [
    ('"harbour-pairs"', '"Harbour pairs"', "name", ["lower-case", "digits"]),
    ('"harbour-pairs"', '"a--b"', "name", ["single hyphens"]),
    ('"harbour-pairs"', '"' + "x" * 61 + '"', "name", ["at most 60"]),
    ('"harbour-pairs"', "7", "name", ["got 7", "in quotes"]),
    ('"Harbour pairs"', '""', "title", ["1 to 200"]),
    ('"pairs of rings with a captive one"', '"a\\nb"', "about", ["one line"]),
    ('"pairs of rings with a captive one"', '"' + "x" * 301 + '"', "about", ["at most 300"]),
    ('"chain"', '"ribbon"', "repeats", ["'chain' or 'sheet'"]),
    ("turning = true", "turning = 1", "turning", ["true or false"]),
    ("turning = true", "turnign = true", "turnign", ["unknown key", "did you mean turning?"]),
    ('hand = "left"', 'hand = "lft"', "hand", ["'left' or 'right'"]),
    ('[["a", "b"]]', '"a"', "side_by_side", ["a list of lists of rings"]),
    ('[["a", "b"]]', '["a"]', "side_by_side[1]", ["a list of lists"]),
    ('[["a", "b"]]', '[["a"]]', "side_by_side[1]", ["at least 2"]),
    ('[["a", "b"]]', '[["a", "z"]]', "side_by_side[1]", ["'z'", "one of a, b, c, d"]),
    ('[["a", "b"]]', '[["a", "a"]]', "side_by_side[1]", ["'a' more than once"]),
    ('[["a", "b"]]', '[["a", "b"], ["c", "a"]]', "side_by_side[2]", ["'a' and 'c'", "links[1]"]),
    ('finish = ["a"]', 'finish = ["cc"]', "finish", ["'cc'", "one of a, b, c, d"]),
    ('finish = ["a"]', 'finish = ["a", "a"]', "finish", ["'a' more than once"]),
    ('finish = ["a"]', 'finish = "a"', "finish", ["a list of rings"]),
    (LINKS, "[]", "links", ["at least one"]),
    (LINKS, '"a b"', "links", ["a list of links"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 1], ["c", "b", 4]]', "links[4]", ["-3 to 3"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 1], ["c", "b", true]]', "links[4]", ["-3 to 3"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 1], ["c", "b", 1.0]]', "links[4]", ["-3 to 3"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 1], ["c", "b", 1, 0, 0]]', "links[4]", ["two rings"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 1], ["c"]]', "links[4]", ["two rings"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 1], "cb"]', "links[4]", ["two rings"]),
    (LINKS, '[["a", "c"], ["b", "cc"], ["c", "a", 1], ["c", "b", 1]]', "links[2]",
     ['got ["b", "cc"]', "rings of the file, a, b", "there is no [rings.cc]", "did you mean c?"]),
    (LINKS, LINKS[:-1] + ', ["b", "b"]]', "links[5]", ["'b' linked with itself"]),
    (LINKS, LINKS[:-1] + ', ["a", "c"]]', "links[5]", ["the link of links[1] again"]),
    (LINKS, LINKS[:-1] + ', ["c", "a"]]', "links[5]", ["the link of links[1] again", "say one link"]),
    (LINKS, LINKS[:-1] + ', ["a", "c", -1]]', "links[5]", ["links[3] again", '["a", "c", -1] say one link']),
    (LINKS, LINKS[:-1] + ', ["a", "a", 2], ["a", "a", -2]]', "links[6]", ["links[5] again"]),
    (LINKS, LINKS[:-1] + ', ["a", "a", 1, 1]]', "links[5]", ["1 cells across in a chain"]),
    (LINKS, '[["a", "c"], ["b", "c"]]', "links", ["the next one along"]),
    (LINKS, '[["a", "c"], ["b", "c"], ["c", "a", 2]]', "links", ["the next one along"]),
    (LINKS, '[["a", "c"], ["a", "c", 1]]', "rings.b", ["linked with nothing", "caged_by"]),
    (LINKS, '[["a", "c"], ["a", "c", 1], ["b", "b", 1]]', "links", ["b not linked with the rest", "a or"]),
    ("least = 2.9", "least = 0.5", "roles.link.least", ["1 to 100"]),
    ("least = 2.9", 'least = "2.9"', "roles.link.least", ["1 to 100"]),
    ("least = 2.9", "least = 3.6", "roles.link", ["from the least, 3.6", "3.5 to 4"]),
    ("comfortable = [3.5, 4.0]", "comfortable = [4.0, 3.5]", "roles.link", ["rising", "4 to 3.5"]),
    ("comfortable = [3.5, 4.0]", "comfortable = 4.0", "roles.link.comfortable", ["2 numbers"]),
    ('inside = "7 mm"', 'inside = "1.1 mm"', "roles.float", ["wire no thicker than the inside"]),
    ('inside = "7 mm"', "inside = 7", "roles.float.inside", ["with its unit"]),
    ('wire = "18 AWG"', 'wire = "18 gauge"', "roles.link.wire", ["1.024 mm", "1.219 mm"]),
    ('role = "float"', 'role = "flaot"', "rings.d.role", ["did you mean float?"]),
    ('role = "float"\n', "", "rings.d.role", ["nothing", "link, float"]),
    ('role = "float"', 'role = "link"', "roles.float", ["a role of no ring"]),
    ('role = "float"', "role = 3", "rings.d.role", ["in quotes"]),
    ("centre = [0.0, 0.6, 0]", "centre = [0.0, 0.6]", "rings.a.centre", ["3 numbers"]),
    ("centre = [0.0, 0.6, 0]", "centre = [0.0, 0.6, nan]", "rings.a.centre", ["3 numbers"]),
    ("centre = [0.0, 0.6, 0]", "centre = [0.0, 0.6, 1e9]", "rings.a.centre", ["-10000 to 10000"]),
    ("centre = [0.0, 0.6, 0]", "centre = [0.0, 0.6, true]", "rings.a.centre", ["3 numbers"]),
    ("centre = [0.0, 0.6, 0]\n", "", "rings.a.centre", ["beside the axis"]),
    ("axis = [0.0, 0.0, 2.5]\n", "", "rings.c.axis", ["beside the centre"]),
    ("axis = [0.0, 0.0, 2.5]", "axis = [0.0, 0.0, 0.0]", "rings.c.axis", ["a direction"]),
    ("centre = [3.3, 0.0, 0.0]\naxis = [0.0, 0.0, 2.5]", "", "rings.c", ["neither centre nor axis"]),
    ('["b", 1]', '["b", 5]', "rings.d.caged_by[2]", ["-3 to 3"]),
    ('["b", 1]', '["e", 1]', "rings.d.caged_by[2]", ["'e'", "one of a, b, c, d"]),
    ('["b", 1]', '["d"]', "rings.d.caged_by[2]", ["'d' caged by itself"]),
    ('["b", 1]', '["a"]', "rings.d.caged_by[2]", ["a second time"]),
    ('["b", 1]', '["b", 0, 1]', "rings.d.caged_by[2]", ["across in a chain"]),
    ('caged_by = [["a"], ["b", 1]]', "caged_by = []", "rings.d", ["linked with nothing"]),
    ("[rings.d]", '[rings."1d"]', "rings", ["begin with a letter", "'1d'"]),
    ("[rings.d]", '[rings."d\\n"]', "rings", ["printable letters"]),
    ("period = 6.6", "", "pose.period", ["cannot be left out"]),
    ("period = 6.6", "period = 0", "pose.period", ["0.01 to 10000"]),
    ("period = 6.6", 'period = "6.6 mm"', "pose.period", ["a number"]),
    ("twist = 45.0", "twist = 400", "pose.twist", ["-360 to 360"]),
    ("twist = 45.0", "across = [1.0, 2.0]", "pose.across", ["in a chain", "sheet only"]),
    ("[pose]\nperiod = 6.6\ntwist = 45.0\n", "", "pose", ["nothing", "rings have centres"]),
]  # fmt: skip

BAD_SHEETS = [
    ('repeats = "sheet"', 'repeats = "sheet"\nturning = true', "turning", ["chain only"]),
    ('repeats = "sheet"', 'repeats = "sheet"\nfinish = ["a"]', "finish", ["chain only"]),
    ("period = 3.0", "period = 3.0\ntwist = 0", "pose.twist", ["chain only"]),
    ("across = [0.0, 6.0]", "", "pose.across", ["where the next cell across lies"]),
    ("across = [0.0, 6.0]", "across = [6.0, 0.0]", "pose.across", ["second number"]),
    ("across = [0.0, 6.0]", "across = [6.0]", "pose.across", ["2 numbers"]),
    (FLAT, '[["a", "b"], ["b", "a", 0, 1]]', "links", ["the next one along"]),
    (FLAT, '[["a", "b"], ["b", "a", 1]]', "links", ["the next one across"]),
    (FLAT, '[["a", "b"], ["b", "a", 0, 1], ["b", "a", 2]]', "links", ["the next one along"]),
    (FLAT, '[["a", "b"], ["b", "a", 1], ["b", "a", 0, -3]]', "links", ["the next one across"]),
    (FLAT, '[["a", "b"], ["b", "a", 1, 1], ["b", "a", 1, 3]]', "links", ["along", "across"]),
    (FLAT, '[["a", "b"], ["b", "a", 1], ["b", "a", 1, 4]]', "links[3]", ["-3 to 3"]),
    (FLAT, FLAT[:-1] + ', ["a", "b", 0, -1]]', "links[4]", ["the link of links[3] again"]),
    (FLAT, FLAT[:-1] + ', ["a", "b", 2, -3], ["b", "a", -2, 3]]', "links[5]", ["links[4] again"]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("good", "old", "new", "where", "words"),
    [(CHAIN, *bad) for bad in BAD_CHAINS] + [(SHEET, *bad) for bad in BAD_SHEETS],
)
def test_one_wrong_thing(good, old, new, where, words):
    found = problems_of(changed(old, new, good))
    # Only neighbours along and across may be told as two.
    assert len(found) == (2 if words == ["along", "across"] else 1), [str(problem) for problem in found]
    assert {problem.where for problem in found} == {where}
    text = " ".join(map(str, found))
    for word in words:
        assert word in text
    assert all(len(str(problem)) < 500 and problem.expected for problem in found)


def test_a_pose_without_centres():
    bare = re.sub(r"(centre|axis) = .*\n", "", CHAIN)
    problem = one_problem(bare)
    assert (problem.where, problem.got) == ("pose", "a pose of rings that have no centres")
    without = bare[: bare.index("[pose]")]
    assert one_problem(without).where == "hand"
    assert parse_weave(without.replace('hand = "left"\n', "")).pose is None


def test_every_problem_at_once():
    text = """
name = "Quay"
repeats = "chain"
side_by_side = [["a", "q"]]
finish = ["x"]
links = [["a", "b"], ["a", "a"], ["b", "a", 0, 1], ["b", "z", 1], ["b", "a", 9]]
[roles.link]
inside = 4
wire = "18 AWG"
[roles.other]
inside = "4 mm"
wire = "5 mm"
[rings.a]
role = "lnk"
centre = [0, 0]
axis = [0, 0, 0]
[rings.b]
"""
    assert [problem.where for problem in problems_of(text)] == [
        "name",
        "links[5]",
        "roles.link.inside",
        "roles.other",
        "rings.a.centre",
        "rings.a.axis",
        "links[2]",
        "links[3]",
        "links[4]",
        "rings.a.role",
        "rings.b.role",
        "side_by_side[1]",
        "finish",
        "rings.b",
        "pose",
    ]


def test_loose_rings_are_told_beside_wrong_values():
    text = changed('inside = "4 mm"', "inside = 4", changed(LINKS, '[["a", "c"], ["a", "c", 1]]', CHAIN))
    assert [problem.where for problem in problems_of(text)] == ["roles.link.inside", "rings.b"]


def test_a_finish_that_hangs_on_nothing():
    text = changed(LINKS, '[["a", "c"], ["b", "c"], ["c", "c", 1]]', CHAIN)
    problem = one_problem(text)
    assert (problem.where, problem.got) == ("finish", "'a', which no link holds there")
    assert parse_weave(changed('finish = ["a"]', 'finish = ["c"]', text)).finish == ("c",)
    assert parse_weave(changed('finish = ["a"]', 'finish = ["a", "c"]', text)).finish == ("a", "c")
    # Two cells back is still before.
    far = changed(LINKS, '[["a", "c"], ["c", "c", 1], ["c", "b", 2]]', CHAIN)
    assert parse_weave(changed('finish = ["a"]', 'finish = ["b"]', far)).finish == ("b",)
    # A caged ring is held by its cage.
    assert parse_weave(changed('finish = ["a"]', 'finish = ["c", "d"]', text)).finish == ("c", "d")


# A ring and its own copy in another cell.
PARALLEL = "expected two rings that are not parallel"
ITSELF = """
name = "x"
repeats = "chain"
links = [["a", "a", 1]]
roles.link = { inside = "4 mm", wire = "1 mm" }
"""
BARE, POSED = "rings.a = {}\n", "rings.a = { centre = [0, 0, 0], axis = [0, 1, 1] }\n"


@pytest.mark.parametrize(
    ("links", "number", "mended"),
    [
        ('[["a", "b"], ["a", "a", 1]]', 2, '[["a", "b"], ["b", "a", 1]]'),
        ('[["a", "a", -3], ["a", "b"], ["b", "a", 2]]', 1, '[["a", "b", -3], ["a", "b"], ["b", "a", 2]]'),
    ],
)
def test_a_chain_that_does_not_turn_links_no_ring_with_itself(links, number, mended):
    text = changed('[["a", "a", 1]]', links, ITSELF) + "rings = { a = {}, b = {} }\n"
    problem = one_problem(text)
    assert problem.where == f"links[{number}]"
    assert problem.got == "'a' linked with itself in another cell"
    assert PARALLEL in str(problem)
    assert problem.advice == "turning = true, or a second ring in the cell"
    assert one_problem(f"turning = false\n{text}") == problem
    # Its advice helps: another ring in place of the copy, or a chain that turns.
    assert parse_weave(changed(links, mended, text)).turning is False
    assert parse_weave(f"turning = true\n{text}").turning is True


@pytest.mark.parametrize("cells", ["1", "0, 1", "-2, 1"])
def test_a_sheet_links_no_ring_with_itself(cells):
    text = changed(FLAT, f'{FLAT[:-1]}, ["b", "b", {cells}]]', SHEET)
    problem = one_problem(text)
    assert (problem.where, problem.got) == ("links[4]", "'b' linked with itself in another cell")
    assert PARALLEL in str(problem)
    # A sheet never turns, so that is no advice; saying that it turns does not help either.
    assert problem.advice == "a second ring in the cell"
    turned = problems_of(changed('"sheet"', '"sheet"\nturning = true', text))
    assert [found.where for found in turned] == ["links[4]", "turning"]


def test_a_pose_with_a_twist_lets_a_ring_link_its_copy():
    assert one_problem(ITSELF + POSED + "pose = { period = 4.0 }\n").where == "links[1]"
    weave = parse_weave(ITSELF + POSED + "pose = { period = 4.0, twist = 90 }\n")
    assert (weave.turning, weave.degrees()) == (False, {"a": 2})
    assert weave.pose.twist == pytest.approx(math.pi / 2)
    assert parse_weave(weave_text(weave)) == weave
    turning = parse_weave("turning = true\n" + ITSELF + POSED + "pose = { period = 4.0 }\n")
    assert (turning.turning, turning.pose.twist) == (True, 0.0)


@pytest.mark.parametrize(
    ("twist", "along", "parallel"),
    [
        (0, 1, True),
        (-0.0, 2, True),
        (360, 1, True),
        (-360.0, 3, True),
        (180, 1, False),
        (180, 2, True),
        (-120, 3, True),
        (-120, 2, False),
        (240, -3, True),
        (90.0, 3, False),
        (0.5, -1, False),
    ],
)
def test_whole_turns_leave_a_ring_parallel_to_its_copy(twist, along, parallel):
    # Turns as matrices, apart from how the file is judged: a ring is parallel to its copy in all its
    # positions when the turn changes no direction.
    c, s = math.cos(math.radians(twist * along)), math.sin(math.radians(twist * along))
    assert np.allclose([[c, -s], [s, c]], np.eye(2), atol=1e-9) == parallel
    # Two other rings hold the cells together whatever becomes of the link.
    text = changed('"a", "a", 1]', f'"a", "a", {along}], ["a", "b"], ["b", "a", 1]', ITSELF) + POSED
    text += "rings.b = { centre = [2, 0, 0], axis = [0, 1, 0] }\n"
    text += f"pose = {{ period = 4.0, twist = {twist} }}\n"
    if parallel:
        assert PARALLEL in str(one_problem(text))
    else:
        assert parse_weave(text).degrees() == {"a": 4, "b": 2}
    # Where the twist is free, it does not stay what the pose says.
    assert parse_weave("turning = true\n" + text).degrees() == {"a": 4, "b": 2}


@pytest.mark.parametrize("shift", [(0.0, 0.0, 0.5), (1.0, 0.0, 2.0), (3.0, 1.0, -0.2), (0.5, 4.8, 0.1)])
def test_only_a_turned_copy_of_a_ring_links_it(shift):
    """What the refusal stands on, by the Gauss integral: parallel circles have linking number 0."""
    ring = (np.zeros(3), np.array([0.0, 0.0, 1.0]), 2.5)
    assert solid_angle_linking(ring, (np.array(shift), ring[1], 2.5)) == pytest.approx(0.0, abs=0.01)
    turned = (np.array([4.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), 2.5)
    assert abs(solid_angle_linking(ring, turned)) == pytest.approx(1.0, abs=0.01)


def test_a_parallel_link_hides_nothing_else():
    # Each place once, however the link is said again; what hangs on nothing is told beside it.
    text = changed("turning = true\n", "", changed("twist = 45.0\n", "", CHAIN))
    links = '[["a", "c"], ["c", "a", 1], ["c", "c", 2], ["c", "c", -2], ["c", "c", 0, 1], ["c", "c"]]'
    found = problems_of(changed(LINKS, links, text))
    assert [(problem.where, problem.got) for problem in found] == [
        ("links[4]", "the link of links[3] again"),
        ("links[5]", "1 cells across in a chain"),
        ("links[6]", "'c' linked with itself"),
        ("links[3]", "'c' linked with itself in another cell"),
    ]
    found = problems_of(changed(LINKS, '[["a", "c"], ["c", "a", 1], ["c", "c", 2]]', text))
    assert [problem.where for problem in found] == ["links[3]", "rings.b"]
    found = problems_of(changed(FLAT, '[["a", "a", 1], ["a", "a", 0, 1], ["b", "b", 1, 1]]', SHEET))
    assert [problem.where for problem in found] == ["links[1]", "links[2]", "links[3]", "links"]
    assert found[-1].got == "b not linked with the rest"


@pytest.mark.parametrize("turning", ["1", '"yes"'])
def test_a_turn_that_cannot_be_read_is_not_judged(turning):
    assert one_problem(f"turning = {turning}\n" + ITSELF + BARE).where == "turning"
    twisted = ITSELF + POSED + f"pose = {{ period = 4.0, twist = {'true' if turning == '1' else turning} }}\n"
    assert one_problem(twisted).where == "pose.twist"
    assert "links[1]" not in [
        problem.where for problem in problems_of(ITSELF + POSED + f"pose = {turning}\n")
    ]


def test_two_sheets_beside_one_another():
    rings = "".join(f"{name} = {{}}\n" for name in "abcd")
    rows = [*json.loads(FLAT), ["c", "d"], ["d", "c", 1], ["d", "c", 0, 1]]
    text = SHEET[: SHEET.index("[rings]")] + f"[rings]\n{rings}"
    problem = one_problem(changed(FLAT, json.dumps(rows), text))
    assert (problem.where, problem.got) == ("links", "c, d not linked with the rest")
    joined = changed(FLAT, json.dumps([*rows, ["b", "c"]]), text)
    assert parse_weave(joined).degrees() == {"a": 3, "b": 4, "c": 4, "d": 3}


@pytest.mark.parametrize(
    ("links", "advised"),
    [
        ('[["a", "b"]]', ['["a", "b", 1]', '["a", "b", 0, 1]']),
        ('[["a", "b", 1]]', ['["a", "b"]', '["a", "b", 1, 1]']),
        ('[["b", "a", 3]]', ['["a", "b", -2]', '["a", "b", -3, 1]']),
        ('[["a", "b", 3, 3]]', ['["a", "b", 2, 3]', '["a", "b", 3, 2]']),
    ],
)
def test_following_the_advice_makes_cells_hang_together(links, advised):
    text = changed(FLAT, links, SHEET)
    assert [problem.advice for problem in problems_of(text)] == [f"such as {link}" for link in advised]
    assert parse_weave(changed(FLAT, f"{links[:-1]}, {', '.join(advised)}]", SHEET)).degrees() == {
        "a": 3,
        "b": 3,
    }


def test_a_link_that_could_not_be_made_is_no_advice():
    found = problems_of(ITSELF.replace("chain", "sheet") + BARE)
    assert [(problem.where, problem.advice) for problem in found] == [
        ("links[1]", "a second ring in the cell"),
        ("links", ""),
    ]
    problem = one_problem("turning = true\n" + changed('"a", 1', '"a", 2', ITSELF) + BARE)
    assert (problem.where, problem.advice) == ("links", 'such as ["a", "a", 1]')


def test_too_many():
    rings = "".join(f"r{k} = {{}}\n" for k in range(MOST_RINGS + 1))
    links = ", ".join(f'["r{k}", "r{k + 1}"]' for k in range(MOST_RINGS))
    text = f'name = "x"\nrepeats = "chain"\nlinks = [{links}, ["r0", "r1", 1]]\n'
    text += f'[roles.link]\ninside = "4 mm"\nwire = "18 AWG"\n[rings]\n{rings}'
    problem = one_problem(text)
    assert (problem.where, problem.expected) == ("rings", f"at most {MOST_RINGS}")
    fewer = text.replace(f"r{MOST_RINGS} = {{}}\n", "").replace(
        f', ["r{MOST_RINGS - 1}", "r{MOST_RINGS}"]', ""
    )
    assert len(parse_weave(fewer).rings) == MOST_RINGS
    roles = "".join(f'r{k} = {{ inside = "4 mm", wire = "1 mm" }}\n' for k in range(MOST_ROLES + 1))
    problem = one_problem('name="x"\nrepeats="chain"\nlinks=[["a","a",1]]\nrings.a={}\n[roles]\n' + roles)
    assert (problem.where, problem.expected) == ("roles", f"at most {MOST_ROLES}")
    many = ", ".join(['["a", "b", 1]'] * (MOST_LINKS + 1))
    problems = problems_of(changed(LINKS, f"[{many}]", CHAIN))
    assert problems[0].where == "links"
    assert len(problems) == MOST_PROBLEMS + 1


def test_an_empty_file_names_what_is_missing():
    assert [problem.where for problem in problems_of("")] == ["name", "repeats", "links", "roles", "rings"]


def test_things_of_the_wrong_kind():
    for key, word in (
        ("roles", "a table"),
        ("rings", "a table"),
        ("links", "a list of links"),
        ("pose", "a table"),
    ):
        text = re.sub(rf"\[{key}[^\]]*\]\n([^\[].*\n)*", "", CHAIN.replace(f"links = {LINKS}\n", ""))
        found = {problem.where: problem.expected for problem in problems_of(f"{key} = 3\n{text}")}
        assert word in found[key]


@given(st.text(max_size=60))
def test_any_text_is_answered(text):
    with pytest.raises(BadInput):
        parse_weave(text)


SOMETHING = st.recursive(
    st.sampled_from(["a", "b", "z", "chain", "sheet", "4 mm", 1, -1, 0.5, True, math.nan]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("abcz"), inner, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from([CHAIN, SHEET]), st.data())
@settings(deadline=None)
def test_any_value_anywhere_is_answered(good, data):
    """Whatever stands in place of a value, there is a weave or there are problems, never anything else."""
    lines = good.strip().splitlines()
    number = data.draw(st.sampled_from([k for k, line in enumerate(lines) if " = " in line]))

    def written(value):
        if isinstance(value, dict):
            return "{ " + ", ".join(f"{key} = {written(entry)}" for key, entry in value.items()) + " }"
        if isinstance(value, list):
            return "[" + ", ".join(map(written, value)) + "]"
        return "nan" if value != value else json.dumps(value)

    lines[number] = f"{lines[number].split(' = ')[0]} = {written(data.draw(SOMETHING))}"
    problems = ()
    try:
        weave = parse_weave("\n".join(lines))
    except BadInput as refusal:
        problems = refusal.problems
    assert problems or parse_weave(weave_text(weave)) == weave
    assert all(problem.where and problem.expected for problem in problems)


OFFSETS = st.integers(-2, 2)


@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from("abc"), OFFSETS, OFFSETS), max_size=6),
    st.booleans(),
)
@settings(deadline=None, max_examples=150)
def test_what_hangs_together_is_what_a_patch_of_cells_shows(links, sheet):
    """Against a slow way: many cells written out, and whether those in the middle are joined."""
    chosen = {("a", "b", 0, 0)}
    for first, second, along, across in links:
        across = across if sheet else 0
        # A ring and its own copy are linked in a chain that turns, never in a sheet.
        if first != second or (along and not sheet):
            chosen.add(
                max(
                    (first, second, along, across),
                    (second, first, -along, -across),
                    key=lambda w: (w[2:], w[1]),
                )
            )
    links = sorted(chosen)
    text = f'name = "x"\nrepeats = "{"sheet" if sheet else "chain"}"\nlinks = {json.dumps(links)}\n'
    text += f"turning = {json.dumps(not sheet)}\n"
    text += 'roles.link = { inside = "4 mm", wire = "1 mm" }\nrings = { a = {}, b = {}, c = {} }\n'
    half = 14
    span = range(-half, half + 1)
    patch = nx.Graph()
    cells = list(itertools.product(span, span if sheet else [0]))
    patch.add_nodes_from((name, cell) for name in "abc" for cell in cells)
    for first, second, along, across in links:
        for i, j in cells:
            other = (second, (i + along, j + across))
            if other in patch:
                patch.add_edge((first, (i, j)), other)
    whole = nx.node_connected_component(patch, ("a", (0, 0)))
    wanted = [(name, cell) for name in "abc" for cell in ((0, 0), (1, 0), *([(0, 1)] if sheet else []))]
    if all(node in whole for node in wanted):
        assert parse_weave(text).degrees()["a"] >= 1
    else:
        assert {problem.where for problem in problems_of(text)} <= {"links", "rings.c"}


@pytest.mark.parametrize("text", [CHAIN, SHEET])
def test_what_is_written_is_read(text):
    weave = parse_weave(text)
    assert parse_weave(weave_text(weave)) == weave
    assert parse_weave(weave_text(weave.mirrored())) == weave.mirrored()


def test_the_written_file_is_for_people():
    text = weave_text(parse_weave(CHAIN), heading="Harbour pairs,\nfor the quay.")
    assert text.startswith("# Harbour pairs,\n# for the quay.\n\nname =")
    assert 'wire = "18 AWG"' in text
    assert 'inside = "7 mm"' in text
    assert "twist = 45.0 " in text
    assert '  ["c", "a", 1],\n' in text
    assert max(map(len, text.splitlines())) <= 110
    long = replace(parse_weave(CHAIN), about="rings " * 40)
    assert parse_weave(weave_text(long)).about == long.about.strip()
    assert max(map(len, weave_text(long).split("\n\n")[0].splitlines())) <= 110
    plain = weave_text(parse_weave(SHEET))
    assert plain.startswith("# slipway: a sheet of wire rings.\n")
    assert not re.search("turning|twist|hand|finish", plain)


NUMBERS = st.floats(-50.0, 50.0)
NAMES = st.text(
    st.characters(categories=["Lu", "Ll", "Nd", "Zs", "Po", "Sm"]).filter(str.isprintable),
    min_size=1,
    max_size=8,
).filter(lambda name: name[0].isalpha())


@given(
    names=st.lists(NAMES, min_size=3, max_size=3, unique=True),
    role=NAMES,
    title=st.text(min_size=1, max_size=50).map(str.strip).filter(lambda t: t and t.isprintable()),
    inside=st.floats(2.0, 400.0),
    wire=st.floats(0.06, 1.9),
    numbers=st.lists(NUMBERS, min_size=18, max_size=18),
    twist=st.floats(-3.0, 3.0),
    turning=st.booleans(),
    sheet=st.booleans(),
)
@settings(deadline=None)
def test_any_weave_survives_its_file(names, role, title, inside, wire, numbers, twist, turning, sheet):
    a, b, c = names
    rows = [tuple(numbers[k : k + 3]) for k in range(0, 18, 3)]
    axes = [(x, y, z + math.copysign(1.0, z)) for x, y, z in rows[3:]]
    weave = Weave(
        name="any-1",
        title=title,
        about='said "so" \\ and so',
        wear="",
        make="",
        repeats=Repeats.SHEET if sheet else Repeats.CHAIN,
        roles=(Role(role, inside, wire, 1.0),),
        rings=tuple(
            WeaveRing(name, role, centre, axis, ((c, -1, 0),) if name == a else ())
            for name, centre, axis in zip(names, rows, axes, strict=False)
        ),
        links=(WeaveLink(a, b, 1), WeaveLink(b, c, -2), WeaveLink(c, a), WeaveLink(a, c, 1, int(sheet))),
        pose=WeavePose(1.0 + abs(numbers[0]), 0.0, (numbers[1], 3.0))
        if sheet
        else WeavePose(abs(numbers[0]) + 1.0, twist),
        turning=turning and not sheet,
    )
    if sheet:
        weave = replace(weave, links=(*weave.links, WeaveLink(b, c, 0, 1)))
    elif turning or abs(twist) > 1e-6:
        # Only a chain whose cells turn links a ring with its own copy.
        weave = replace(weave, links=(*weave.links, WeaveLink(b, b, 1)))
    else:
        weave = replace(weave, links=(*weave.links, WeaveLink(b, c, 1)))
    read = parse_weave(weave_text(weave))
    assert (read.name, read.title, read.about, read.links) == (
        weave.name,
        weave.title,
        weave.about,
        weave.links,
    )
    assert read.turning == weave.turning
    assert [ring.name for ring in read.rings] == names
    assert read.rings[0].caged_by == ((c, -1, 0),)
    for now, then in zip(read.rings, weave.rings, strict=True):
        assert now.centre == pytest.approx(then.centre, abs=1e-6)
        assert now.axis == pytest.approx(then.axis, abs=1e-6)
    assert (read.roles[0].inside_diameter, read.roles[0].wire_diameter) == pytest.approx(
        (inside, wire), abs=1e-6
    )
    assert read.pose.twist == pytest.approx(0.0 if sheet else twist, abs=1e-7)
    # Once rounded, nothing changes any more.
    assert parse_weave(weave_text(read)) == read


def test_load(tmp_path):
    path = tmp_path / "harbour-pairs.toml"
    path.write_bytes(b"\xef\xbb\xbf" + CHAIN.replace("\n", "\r\n").encode())
    assert load_weave(path) == load_weave(str(path)) == parse_weave(CHAIN)
    with pytest.raises(BadInput, match="did you mean") as refusal:
        load_weave(tmp_path / "harbor-pairs.toml")
    assert "a weave file: TOML" in refusal.value.problems[0].expected
    with pytest.raises(BadInput, match=r"chaingen weaves"):
        load_weave(tmp_path / "none" / "x.toml")
    path.write_text("links = [")
    with pytest.raises(BadInput) as refusal:
        load_weave(path)
    assert refusal.value.problems[0].where.startswith(str(path))


def test_schema_describes_every_key():
    schema = weave_json_schema()
    assert schema["$schema"].startswith("https://json-schema.org/")
    for table in (schema, *schema["$defs"].values()):
        assert table["additionalProperties"] is False
        for entry in table["properties"].values():
            assert entry["description"]
    assert set(schema["required"]) == {"name", "repeats", "links", "roles", "rings"}
    rows = schema["properties"]["links"]["items"]
    assert (rows["minItems"], len(rows["prefixItems"])) == (2, 4)
    assert json.loads(json.dumps(schema)) == schema


@pytest.mark.parametrize("function", [parse_weave, weave_text, find_weave])
def test_the_example_in_a_docstring_runs(function):
    (test,) = doctest.DocTestFinder(recurse=False).find(function, function.__name__, globs={})
    assert test.examples
    runner = doctest.DocTestRunner()
    runner.run(test)
    assert runner.failures == 0
