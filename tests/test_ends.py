"""Findings in a design: among the groups, at the ends, what goes through their eyes; pairs."""

from dataclasses import replace
from itertools import pairwise
from math import pi

import numpy as np
import pytest

from chaingen.design.cautions import cautions
from chaingen.design.design import Design, Ends
from chaingen.design.fastenings import fastening_problems, lets_in, meetings
from chaingen.design.load import parse_design
from chaingen.errors import BadInput
from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import concatenate, wire_points
from chaingen.geometry.centrelines import Arc
from chaingen.geometry.shapes import Closure, Eye, Shape, Strand
from chaingen.stock.metals import find_metal
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from chaingen.weave.pieces import Chain, Sections, Strands

HEAD = """
title = "Saltmarsh drops"
metal = "sterling silver"

[rings.petal]
inside = "5 mm"
wire = "18 AWG"

[rings.jump]
inside = "4 mm"
wire = "1 mm"

[findings.hook]
kind = "ear wire"
metal = "brass"

[findings.bridge]
kind = "loop link"
inside = "3 mm"

[findings.catch]
kind = "closed ring"
"""

ENDS = """
[ends.start]
finding = "hook"
joins = [{ join = 1, ring = "jump" }, { side_by_side = 2, ring = "petal" }]

[ends.end]
finding = "catch"
joins = [{ join = 1, ring = "jump" }]
"""

PATTERN = """
[pattern]
repeat = 3
groups = [{ rosette = 3, ring = "petal" }, { join = 1, ring = "jump" }]
"""

WEAVE = """
[pattern]
repeat = 3
weave = "byzantine"
rings = { link = "petal" }
"""

FINDING, ROSETTE, JOIN, SIDE = (
    GroupKind.FINDING,
    GroupKind.ROSETTE,
    GroupKind.JOIN,
    GroupKind.SIDE_BY_SIDE,
)


def told(groups):
    return [(group.kind, group.count, group.size.name, group.turned) for group in groups]


def problems_of(text):
    with pytest.raises(BadInput) as refusal:
        parse_design(text)
    return refusal.value.problems


def one_problem(text):
    (problem,) = problems_of(text)
    assert problem.expected
    return problem


# What is read


def test_findings_among_groups():
    pattern = """
[pattern]
first = [{ finding = "bridge", turned = true }, { join = 1, ring = "jump" }]
groups = [{ rosette = 3, ring = "petal" }, { finding = "bridge" }]
"""
    run = parse_design(HEAD + pattern).piece
    assert told(run.first) == [(FINDING, 1, "bridge", True), (JOIN, 1, "jump", False)]
    assert told(run.cell) == [(ROSETTE, 3, "petal", False), (FINDING, 1, "bridge", False)]
    assert [one.name for one in run.findings()] == ["bridge"]
    # Turned, the eye that comes first is the outer one.
    turned, straight = run.first[0], run.cell[1]
    bridge = straight.size
    assert (turned.before, turned.after) == (bridge.outer, bridge.inner)
    assert (straight.before, straight.after) == (bridge.inner, bridge.outer)


def test_ends_of_a_run_are_its_outermost_groups():
    design = parse_design(HEAD + ENDS + PATTERN)
    run = design.piece
    start = [(FINDING, 1, "hook", True), (JOIN, 1, "jump", False), (SIDE, 2, "petal", False)]
    end = [(JOIN, 1, "jump", False), (FINDING, 1, "catch", False)]
    assert told(run.first) == told(design.ends.start) == start
    assert told(run.last) == told(design.ends.end) == end
    # The pattern's own last join has something to join now.
    assert told(run.groups())[-3:] == [(JOIN, 1, "jump", False), *end]
    assert design.middle is None
    assert design.repeating is run


def test_ends_go_outside_first_and_last():
    pattern = (
        PATTERN + 'first = [{ side_by_side = 1, ring = "petal" }]\nlast = [{ rosette = 4, ring = "jump" }]\n'
    )
    run = parse_design(HEAD + ENDS + pattern).piece
    assert [group.kind for group in run.first] == [FINDING, JOIN, SIDE, SIDE]
    assert [group.kind for group in run.last] == [ROSETTE, JOIN, FINDING]


def test_one_end_is_enough():
    text = HEAD + ENDS[: ENDS.index("[ends.end]")] + PATTERN
    design = parse_design(text)
    assert design.ends.end == ()
    assert design.ends
    assert not Ends()


def test_ends_of_a_weave_are_sections_beside_it():
    design = parse_design(HEAD + ENDS + WEAVE)
    start, weave, end = design.piece.parts
    # By itself a join at an open end would be left off.
    assert told(start.groups()) == [
        (FINDING, 1, "hook", True), (SIDE, 1, "jump", False), (SIDE, 2, "petal", False),
    ]  # fmt: skip
    assert told(end.groups()) == [(SIDE, 1, "jump", False), (FINDING, 1, "catch", False)]
    assert isinstance(weave, Chain)
    assert (design.middle, design.repeating, weave.repeat) == (1, weave, 3)
    longer = design.repeated(7)
    assert [part.repeat for part in longer.piece.parts] == [1, 7, 1]
    assert longer.repeating.repeat == 7


def test_a_finding_alone_at_the_end_of_a_weave():
    text = HEAD + '\n[ends.end]\nfinding = "catch"\n' + WEAVE
    design = parse_design(text)
    weave, end = design.piece.parts
    assert (design.middle, design.repeating) == (0, weave)
    assert told(end.groups()) == [(FINDING, 1, "catch", False)]


def test_ends_of_sections():
    pattern = """
[pattern]
[[pattern.sections]]
groups = [{ side_by_side = 1, ring = "petal" }]
repeat = 4
[[pattern.sections]]
weave = "byzantine"
rings = { link = "petal" }
"""
    design = parse_design(HEAD + ENDS + pattern)
    assert isinstance(design.piece, Sections)
    assert [len(part.findings()) if isinstance(part, Run) else 0 for part in design.piece.parts] == [
        1,
        0,
        0,
        1,
    ]
    assert design.middle is None


def test_a_length_beside_ends():
    assert parse_design(HEAD + ENDS + WEAVE.replace("repeat = 3", 'length = "180 mm"')).length == 180.0
    assert parse_design(HEAD + ENDS + PATTERN.replace("repeat = 3", 'length = "180 mm"')).length == 180.0


@pytest.mark.parametrize("pattern", [PATTERN, WEAVE])
def test_a_length_shorter_than_its_findings(pattern):
    long = HEAD.replace('inside = "3 mm"', 'inside = "3 mm"\nstem = "40 mm"')
    ends = ENDS.replace('finding = "catch"', 'finding = "bridge"')
    problem = one_problem(long + ends + pattern.replace("repeat = 3", 'length = "30 mm"'))
    assert problem.where == "pattern.length"
    assert "finding" in problem.expected


def test_metals_of_findings():
    design = parse_design(HEAD + ENDS + PATTERN)
    assert dict(design.size_metals) == {"hook": find_metal("brass")}
    assert [finding.name for finding in design.findings] == ["hook", "bridge", "catch"]


# What is refused


ONE = '{ rosette = 3, ring = "petal" }'


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ("hook", "hock", "ends.start.finding", ["'hock'", "hook, bridge, catch", "mean hook"]),
        ("hook", "jump", "ends.start.finding", ["is a ring size", "hook, bridge, catch"]),
    ],
)
def test_wrong_findings_at_an_end(old, new, where, words):
    text = (HEAD + ENDS + PATTERN).replace(f'finding = "{old}"', f'finding = "{new}"')
    problem = one_problem(text)
    assert problem.where == where
    for word in words:
        assert word in str(problem)


@pytest.mark.parametrize(
    ("group", "where", "words"),
    [
        ('{ rosette = 3, ring = "hook" }', ".ring", ["is a finding", "petal", "by itself"]),
        ('{ finding = "pin" }', ".finding", ["'pin'", "hook, bridge, catch"]),
        ('{ finding = "catch", ring = "petal" }', "", ["without ring"]),
        ('{ rosette = 3, ring = "petal", turned = true }', "", ["turned with a finding only"]),
        ('{ rosette = 3, finding = "catch" }', "", ["exactly one", "join and finding"]),
        ('{ ring = "petal" }', "", ["exactly one", "not none"]),
    ],
)
def test_wrong_groups(group, where, words):
    for place, text in (
        ("pattern.groups[1]", HEAD + ENDS + PATTERN.replace(ONE, group)),
        ("ends.start.joins[1]", HEAD + ENDS.replace('{ join = 1, ring = "jump" }', group, 1) + PATTERN),
    ):
        problem = one_problem(text)
        assert problem.where == place + where
        for word in words:
            assert word in str(problem)


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        ('finding = "hook"', "finding = 3", "ends.start.finding", ["3"]),
        ("[ends.end]", "[ends.finish]", "ends.finish", ["start, end"]),
        ("repeat = 3", 'repeat = 3\nform = "closed loop"', "ends", ["closed loop", "open run"]),
    ],
)
def test_wrong_ends(old, new, where, words):
    text = HEAD + ENDS + PATTERN
    assert text.count(old) == 1
    problem = one_problem(text.replace(old, new))
    assert problem.where == where
    for word in words:
        assert word in str(problem)


def test_one_name_for_ring_and_finding():
    problems = problems_of((HEAD + PATTERN).replace("[findings.catch]", "[findings.jump]"))
    assert [problem.where for problem in problems] == ["findings.jump"]
    assert "ring size already" in problems[0].got


def test_empty_ends():
    assert "start or end" in one_problem(HEAD + "\n[ends]\n" + PATTERN).expected


def test_ends_of_a_sheet():
    sheet = '[pattern]\nweave = "european-4-in-1"\nrings = { link = "petal" }\ncolumns = 3\nrows = 3\n'
    problem = one_problem(HEAD + ENDS + sheet)
    assert (problem.where, problem.got) == ("ends", "ends of a sheet")


def test_no_findings_at_all():
    text = HEAD[: HEAD.index("[findings.hook]")] + '[ends.end]\nfinding = "clasp"\n' + PATTERN
    assert "[findings.NAME]" in one_problem(text).expected


def test_several_problems_at_once():
    text = (HEAD + ENDS + PATTERN).replace('finding = "hook"', 'finding = "hock"')
    text = text.replace("rosette = 3", "rosette = 1").replace('"brass"', '"cheese"')
    assert {problem.where for problem in problems_of(text)} == {
        "ends.start.finding", "pattern.groups[1].rosette", "findings.hook.metal",
    }  # fmt: skip


def test_what_is_beside_a_weave_is_a_section():
    scene = '\n[[scenes]]\nkind = "{}"\n'
    assert parse_design(HEAD + ENDS + PATTERN + scene.format("wrist")).scenes
    assert parse_design(HEAD + ENDS + WEAVE + scene.format("hang")).scenes
    # By its clasp it can be worn closed.
    assert parse_design(HEAD + ENDS + WEAVE + scene.format("wrist")).scenes
    assert one_problem("supple = true\n" + HEAD + ENDS + WEAVE).where == "supple"


# Findings made by hand, so that every case can be had


def ring_eye(name, x, inside, *, wire=1.0, closure=Closure.PLIERS, opening=0.0, gate=None):
    """A round eye in the plane of x and y, its middle at x [mm]."""
    radius = 0.5 * (inside + wire)
    loop = (Arc((x, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), radius, 2.0 * pi),)
    return Eye(name, loop, (), 0.5 * wire, inside, closure, opening, gate)


def finding(name, kind, eyes, inner, outer):
    strands = tuple(Strand(eye.loop, eye.wire_radius) for eye in eyes)
    return Finding(name, kind, Shape(strands, tuple(eyes)), inner=inner, outer=outer)


JUMP = RingSize("jump", 4.0, 1.0)
THICK = RingSize("thick", 4.0, 1.6)
PIN = finding("pin", "head pin", [ring_eye("loop", 0.0, 2.0)], (0,), ())
CLASP = finding(
    "clasp", "lobster clasp",
    [ring_eye("bail", 0.0, 2.0, closure=Closure.SOLDERED),
     ring_eye("mouth", 6.0, 4.0, closure=Closure.GATE, gate=1.2)],
    (0,), (1,),
)  # fmt: skip
BAR = finding(
    "bar", "end bar",
    [*(ring_eye(f"loop {k + 1}", 4.0 * k, 2.0) for k in range(3)), ring_eye("eye", 12.0, 3.0)],
    (0, 1, 2), (3,),
)  # fmt: skip


def ring(count=1, kind=SIDE, size=JUMP):
    return Group(kind, count, size)


def of(one, *, turned=False):
    return Group(FINDING, 1, one, turned)


def design_of(piece, ends=None, **more):
    return Design(
        "bench", find_metal("sterling silver"), piece, None, 0.0, 0.05, (JUMP,), ends=ends or Ends(), **more
    )


def with_ends(start, cell, end):
    return design_of(Run(cell, repeat=2, first=start, last=end), Ends(start, end))


def test_the_meetings_of_a_run_and_their_places():
    start, end = (of(CLASP, turned=True), ring()), (ring(), of(CLASP))
    run = Run((ring(2), ring(kind=JOIN)), repeat=5, first=(*start, ring(3)), last=(ring(4), *end))
    places = [(here.where, there.where) for here, there in meetings(design_of(run, Ends(start, end)))]
    row = [
        "ends.start.finding", "ends.start.joins[1]", "pattern.first[1]",
        "pattern.groups[1]", "pattern.groups[2]", "pattern.groups[1]", "pattern.groups[2]",
        "pattern.last[1]", "ends.end.joins[1]", "ends.end.finding",
    ]  # fmt: skip
    # Mirrored: what joins the end is counted from the finding inwards, as it is written.
    assert places == list(pairwise(row))


def test_an_end_without_an_eye():
    (problem,) = fastening_problems(with_ends((of(PIN),), (ring(),), ()))
    assert problem.where == "ends.start.finding"
    assert "head pin" in problem.got
    assert fastening_problems(with_ends((of(PIN, turned=True),), (ring(),), (of(PIN),))) == []


def test_what_ends_a_piece_cannot_stand_between_groups():
    (problem,) = fastening_problems(design_of(Run((ring(), of(PIN)), repeat=2)))
    assert problem.where == "pattern.groups[2]"
    assert "both ends" in problem.expected
    # Once, at the end, it can.
    assert fastening_problems(design_of(Run((ring(), of(PIN))))) == []
    assert len(fastening_problems(design_of(Run((ring(), of(PIN)), closed=True, repeat=2)))) == 1


@pytest.mark.parametrize(
    ("group", "wrong"),
    [(ring(3), False), (ring(3, JOIN), False), (ring(2), True), (ring(4), True), (ring(3, ROSETTE), True)],
)
def test_every_eye_of_an_end_bar_takes_a_ring(group, wrong):
    found = fastening_problems(with_ends((), (ring(), group), (of(BAR),)))
    assert len(found) == (1 if wrong else 0)
    if wrong:
        assert found[0].where == "ends.end.finding"
        assert "3 rings side by side" in found[0].expected


def test_an_end_bar_needs_rings_beside_a_weave():
    weave = parse_design(HEAD + WEAVE).piece
    end = (of(BAR),)
    (problem,) = fastening_problems(design_of(Sections((weave, Run(end))), Ends((), end), middle=0))
    assert "a weave" in problem.got


def test_wire_too_thick_for_an_eye():
    thick = RingSize("rope", 4.0, 2.1)
    (problem,) = fastening_problems(with_ends((), (ring(size=thick),), (of(PIN),)))
    assert "2 mm inside" in problem.got
    assert "'rope' of 2.1 mm" in problem.got


def test_eye_too_thick_for_a_ring():
    stout = finding("stout", "closed ring", [ring_eye("ring", 0.0, 9.0, wire=4.5)], (0,), (0,))
    (problem,) = fastening_problems(with_ends((), (ring(),), (of(stout),)))
    assert "4.5 mm of finding 'stout' for ring 'jump' of 4 mm inside" in problem.got


def test_two_soldered_eyes_cannot_be_linked():
    one, two = (
        finding(name, "closed ring", [ring_eye("ring", 0.0, 5.0, closure=Closure.SOLDERED)], (0,), (0,))
        for name in ("one", "two")
    )
    (problem,) = fastening_problems(design_of(Run((of(one), of(two)))))
    assert "neither of which opens" in problem.got
    link = finding("link", "oval link", [ring_eye("link", 0.0, 5.0)], (0,), (0,))
    assert fastening_problems(design_of(Run((of(one), of(link), of(two))))) == []
    # A clasp takes it by its gate, if that opens far enough.
    narrow = with_gate(0.9)
    assert fastening_problems(design_of(Run((of(one), of(CLASP, turned=True))))) == []
    assert len(fastening_problems(design_of(Run((of(one), of(narrow, turned=True)))))) == 1


def with_gate(gate):
    bail, mouth = CLASP.shape.eyes
    return replace(CLASP, shape=replace(CLASP.shape, eyes=(bail, replace(mouth, gate=gate))))


def test_what_an_eye_lets_in():
    assert lets_in(ring_eye("a", 0.0, 2.0), 2.0)
    assert not lets_in(ring_eye("a", 0.0, 2.0), 2.1)
    assert not lets_in(ring_eye("a", 0.0, 2.0, closure=Closure.SOLDERED), 0.5)
    gate = ring_eye("a", 0.0, 4.0, closure=Closure.GATE, gate=1.2)
    assert lets_in(gate, 1.2)
    assert not lets_in(gate, 1.3)
    hook = ring_eye("a", 0.0, 4.0, closure=Closure.HOOK, opening=2.1)
    assert lets_in(hook, 2.1)
    assert not lets_in(hook, 2.2)
    assert lets_in(ring_eye("a", 0.0, 4.0, closure=Closure.BAR), 3.9)


# What is told


def kinds_of(design):
    return [caution.kind for caution in cautions(design)]


def test_a_clasp_that_does_not_take_the_other_end():
    start = (of(CLASP, turned=True), ring())
    closes = with_ends(start, (ring(2),), (ring(),))
    assert kinds_of(closes) == []
    (caution,) = cautions(with_ends(start, (ring(2),), (ring(size=THICK),)))
    assert (caution.kind, caution.opening, caution.wire) == ("does not close", 1.2, 1.6)
    assert "opens 1.2 mm" in caution.text
    assert "ring 'thick' at the other end is 1.6 mm" in caution.text


def test_a_clasp_at_the_end_looks_at_the_start():
    (caution,) = cautions(with_ends((ring(size=THICK),), (ring(2),), (ring(), of(CLASP))))
    assert caution.kind == "does not close"


def test_two_clasps_without_a_partner():
    (caution,) = cautions(with_ends((of(CLASP, turned=True), ring()), (ring(2),), (ring(), of(CLASP))))
    assert "either end" in caution.text


def test_a_clasp_takes_an_eye():
    catch = finding(
        "catch", "closed ring", [ring_eye("ring", 0.0, 5.0, closure=Closure.SOLDERED)], (0,), (0,)
    )
    assert kinds_of(with_ends((of(CLASP, turned=True),), (ring(2),), (of(catch),))) == []
    stout = finding("stout", "closed ring", [ring_eye("ring", 0.0, 5.0, wire=1.5)], (0,), (0,))
    (caution,) = cautions(with_ends((of(CLASP, turned=True),), (ring(2),), (of(stout),)))
    assert "closed ring 'stout'" in caution.text


def test_a_bar_is_longer_than_its_ring_is_wide():
    from chaingen.findings.clasps import toggle_bar, toggle_ring

    start = (of(toggle_bar("spar", length=18.0), turned=True),)
    assert kinds_of(with_ends(start, (ring(2),), (of(toggle_ring("porthole", inside=10.0)),))) == []
    (caution,) = cautions(with_ends(start, (ring(2),), (of(toggle_ring("porthole", inside=18.5)),)))
    assert "18 mm long" in caution.text
    assert "18.5 mm inside: it slips out" in caution.text


def test_a_ring_that_slips_out_is_told():
    gaping = finding("pin", "head pin", [ring_eye("loop", 0.0, 2.5, opening=1.4)], (0,), ())
    (caution,) = cautions(with_ends((), (ring(),), (of(gaping),)))
    assert (caution.kind, caution.eye, caution.opening, caution.wire) == ("slips out", "loop", 1.4, 1.0)
    assert "1.4 mm" in caution.text
    assert "'jump'" in caution.text
    assert kinds_of(with_ends((), (ring(size=THICK),), (of(gaping),))) == []


def test_open_hooks_and_skin_are_told():
    hook = finding(
        "hook", "ear wire",
        [ring_eye("loop", 0.0, 2.0), ring_eye("hook", 6.0, 4.0, closure=Closure.HOOK, opening=2.1)],
        (0,), (1,),
    )  # fmt: skip
    found = cautions(with_ends((of(hook, turned=True),), (ring(),), ()))
    assert [caution.kind for caution in found] == ["open hook", "through skin"]
    assert "its opening is 2.1 mm" in found[0].text
    assert "local rules" in found[1].text


# Strands


def strands_of(count, start=(), end=()):
    part = Strands(Run((ring(),), repeat=3), count)
    runs = [(Run(groups),) if groups else () for groups in (start, end)]
    return design_of(Sections((*runs[0], part, *runs[1])), Ends(start, end), middle=1 if start else 0)


BAR_TURNED = of(BAR, turned=True)


@pytest.mark.parametrize(
    ("start", "count", "wrong"),
    [
        ((BAR_TURNED,), 3, ""),
        ((BAR_TURNED,), 2, "3 eyes there"),
        ((BAR_TURNED, ring(3)), 3, ""),
        ((ring(2),), 2, ""),
        ((ring(3),), 2, "3 rings"),
        ((ring(3, ROSETTE),), 3, "a rosette of 3"),
        ((of(CLASP, turned=True),), 2, "with 1 eye there"),
        ((), 2, "nothing at their ends"),
    ],
)
def test_every_strand_has_its_eye_or_its_ring(start, count, wrong):
    found = fastening_problems(strands_of(count, start))
    assert [problem.where for problem in found] == (["pattern.strands"] if wrong else [])
    assert all(wrong in problem.got for problem in found)


def test_strands_of_a_design():
    head = HEAD + '[findings.boom]\nkind = "end bar"\nstrands = 2\npitch = "8 mm"\n'
    ends = '[ends.start]\nfinding = "boom"\n[ends.end]\nfinding = "boom"\n'
    for pattern, kind in ((PATTERN, Run), (WEAVE, Chain)):
        design = parse_design(head + ends + pattern.replace("repeat = 3", "repeat = 3\nstrands = 2"))
        _, middle, _ = design.piece.parts
        assert (middle.count, middle.repeat) == (2, 3)
        assert isinstance(design.repeating, kind)
        assert design.repeated(5).repeating.repeat == 5
        assert design.repeated(5).piece.parts[1].count == 2
    assert isinstance(parse_design(HEAD + PATTERN + "strands = 1\n").piece, Run)


def test_strands_in_sections():
    pattern = """
[pattern]
[[pattern.sections]]
groups = [{ side_by_side = 2, ring = "jump" }]
[[pattern.sections]]
groups = [{ side_by_side = 1, ring = "petal" }]
repeat = 4
strands = 2
"""
    first, second = parse_design(HEAD + pattern).piece.parts
    assert isinstance(first, Run)
    assert (second.count, second.repeat) == (2, 4)
    problem = one_problem(HEAD + pattern.replace("strands = 2", "strands = 3"))
    assert (problem.where, problem.got) == ("pattern.sections[2].strands", "3 strands beside 2 rings")


@pytest.mark.parametrize(
    ("line", "where", "words"),
    [
        ("strands = 0", "pattern.strands", "1 to 20"),
        ("strands = 2.5", "pattern.strands", "1 to 20"),
        ('strands = 2\nform = "closed loop"', "pattern.form", "end bars"),
    ],
)
def test_wrong_strands(line, where, words):
    problem = one_problem(HEAD + PATTERN.replace("repeat = 3", f"repeat = 3\n{line}"))
    assert problem.where == where
    assert words in str(problem)


def test_strands_of_a_sheet():
    sheet = '[pattern]\nweave = "european-4-in-1"\nrings = { link = "petal" }\ncolumns = 3\nrows = 3\n'
    assert one_problem(HEAD + sheet + "strands = 2\n").where == "pattern.strands"


# Pairs


def test_a_pair():
    assert parse_design(HEAD + PATTERN).made == 1
    design = parse_design("pair = true\n" + HEAD + PATTERN)
    assert design.pair
    assert design.made == 2


def test_the_second_of_a_pair_is_the_mirror_image():
    from chaingen.make.metals import RingMetals
    from chaingen.make.pair import both, mirrored_graph
    from chaingen.weave.graph import piece_graph

    # An eye off the plane: its mirror image is another shape.
    skew = replace(PIN, shape=PIN.shape.moved(np.array([0.3, 0.4, 0.5])))
    graph = piece_graph(Run((ring(), of(skew))))
    bodies = graph.bodies(
        np.array([[0.0, 0.0, 0.0], [4.0, 1.0, 0.5]]),
        np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]),
        np.array([[1.0, 0.0, 0.0], [1.0, 0.0, 0.0]]),
    )
    second, image = mirrored_graph(graph), bodies.mirrored()
    assert second.names == graph.names
    assert second.shapes == image.shapes
    assert second.shapes != graph.shapes
    again = mirrored_graph(second)
    assert again.members == graph.members
    low, high = bodies.bounds()
    flipped = image.bounds()
    np.testing.assert_allclose(flipped[0], [low[0], -high[1], low[2]])
    np.testing.assert_allclose(flipped[1], [high[0], -low[1], high[2]])
    two = both(graph, bodies, RingMetals((find_metal("brass"),), np.zeros(2, dtype=np.int64)))
    assert len(two.bodies) == len(two.metals.of_ring) == 4
    upper, lower = two.bodies[slice(0, 2)], two.bodies[slice(2, 4)]
    np.testing.assert_array_equal(upper.centres, bodies.centres)
    assert lower.bounds()[1][1] < upper.bounds()[0][1]
    # From the front one looks like the other: mirrored in the plane of the picture.
    down = upper.bounds()[0][1] - lower.bounds()[0][1]
    np.testing.assert_allclose(lower.bounds()[0], [low[0], low[1] - down, -high[2]], atol=1e-9)
    np.testing.assert_allclose(lower.bounds()[1], [high[0], high[1] - down, -low[2]], atol=1e-9)
    points, there = (wire_points(each, 60)[0] for each in (upper, lower))
    np.testing.assert_allclose(there, points * [1.0, 1.0, -1.0] + [0.0, -down, 0.0], atol=1e-9)
    assert len(concatenate([bodies, image]).shapes) == 2


@pytest.mark.parametrize("start", [True, False])
def test_earrings_hang_side_by_side_and_look_at_one_another(start):
    """However the hook came to lie, its flat is to the front, and it is up."""
    from chaingen.findings.hooks import ear_wire
    from chaingen.findings.pins import head_pin
    from chaingen.make.metals import RingMetals
    from chaingen.make.pair import APART, both
    from chaingen.weave.graph import piece_graph

    hook, groups = ear_wire(), (ring(), of(head_pin()))
    graph = piece_graph(Run((of(hook, turned=True), *groups) if start else (*groups[::-1], of(hook))))
    (at,) = (k for k, member in enumerate(graph.members) if member.size == hook)
    along = 1.0 if start else -1.0
    for angle in (0.0, 0.7, 2.0, 4.5):
        # About x: the hook's flat is square to `up`.
        up = np.array([0.0, np.sin(angle), np.cos(angle)])
        bodies = graph.bodies(
            np.array([[0.0, 0.0, 0.0], [12.0, 0.0, 0.0], [24.0, 0.0, 0.0]]),
            np.tile(up, (3, 1)),
            np.tile([-along, 0.0, 0.0], (3, 1)),
        )
        two = both(graph, bodies, RingMetals((find_metal("brass"),), np.zeros(3, dtype=np.int64)))
        left, right = two.bodies[slice(0, 3)], two.bodies[slice(3, 6)]
        assert np.linalg.det(two.turn) == pytest.approx(1.0)
        np.testing.assert_allclose(left.centres, bodies.centres @ two.turn.T, atol=1e-9)
        np.testing.assert_allclose(np.abs(left.normals[at]), [0.0, 0.0, 1.0], atol=1e-9)
        assert left.centres[at][1] == left.centres[:, 1].max()
        # Points of a ring begin anywhere on it.
        points, there = (wire_points(each[~each.is_ring], 60)[0] for each in (left, right))
        apart = np.mean(there - points * [-1.0, 1.0, 1.0], axis=0)
        np.testing.assert_allclose(there, points * [-1.0, 1.0, 1.0] + apart, atol=1e-9)
        np.testing.assert_allclose(apart[1:], 0.0, atol=1e-9)
        np.testing.assert_allclose(right.centres, left.centres * [-1.0, 1.0, 1.0] + apart, atol=1e-9)
        assert left.is_ring.sum() == right.is_ring.sum() == 1
        between = right.bounds()[0][0] - left.bounds()[1][0]
        wide = left.bounds()[1][0] - left.bounds()[0][0]
        assert between == pytest.approx(APART * wide)


@pytest.fixture(scope="module")
def earrings():
    from chaingen.pipeline import build

    text = """
title = "Shingle drops"
metal = "sterling silver"
pair = true
tolerance = "0 mm"
[rings.link]
inside = "4 mm"
wire = "1 mm"
[findings.hook]
kind = "ear wire"
metal = "14k yellow gold"
[findings.drop]
kind = "head pin"
beads = [{ form = "ball", diameter = "6 mm", density = 2.5 }, { form = "ball", diameter = "4 mm" }]
[ends.start]
finding = "hook"
[ends.end]
finding = "drop"
[pattern]
groups = [{ side_by_side = 1 }]
"""
    return build(parse_design(text))


def test_a_pair_is_counted_twice(earrings):
    (rings,) = earrings.counts
    assert rings.count == 2
    assert [(one.finding.name, one.count) for one in earrings.findings] == [("hook", 2), ("drop", 2)]
    assert [one.count for one in earrings.beads] == [2, 2]
    assert earrings.beads_not_weighed == 2
    weighed = [one.weight for one in (*earrings.counts, *earrings.findings, earrings.beads[0])]
    assert earrings.weight == pytest.approx(sum(weighed))
    assert [metal.name for metal in earrings.metals.metals] == ["14k yellow gold", "sterling silver"]


def test_the_words_of_a_pair(earrings):
    from chaingen.show.words import verdict_lines

    text = "\n".join(verdict_lines(earrings))
    for words in (
        "It fits", "Pieces: 2, mirrored", "2 x ear wire 'hook', 14k yellow gold", "2 x head pin 'drop'",
        "without 2 beads whose density is not known", "open as it is worn", "local rules",
        "ear wire and head pin included", "2 x bead, ball, 6 mm",
    ):  # fmt: skip
        assert words in text
    assert "rings 1a" not in text


def test_the_report_of_a_pair(earrings):
    from chaingen.show.report import report_of

    report = report_of(earrings)
    assert (report["pieces"], report["mirrored"]) == (2, True)
    assert (report["ring_count"], report["finding_count"]) == (2, 4)
    hook, drop = report["findings"]
    assert (hook["kind"], hook["metal"], hook["count"]) == ("ear wire", "14k yellow gold", 2)
    assert [cut["wire_diameter_mm"] for cut in hook["cut_each"]] == [0.8]
    assert drop["beads_each"] == 2
    assert [eye["closure"] for eye in hook["eyes"]] == ["opened with pliers", "hook"]
    assert [bead["count"] for bead in report["beads"]] == [2, 2]
    assert report["beads"][1]["weight_g"] is None
    assert report["beads_not_weighed"] == 2
    assert {caution["kind"] for caution in report["cautions"]} == {"open hook", "through skin"}
    gold, silver = report["metals"]
    assert (gold["count"], gold["findings"], silver["count"], silver["findings"]) == (0, 2, 2, 2)
    assert report["weight_g"] == pytest.approx(
        gold["weight_g"] + silver["weight_g"] + report["beads"][0]["weight_g"], abs=2e-6
    )


def test_the_files_of_a_pair(earrings, tmp_path):
    import json

    import trimesh

    from chaingen.pipeline import export
    from chaingen.solve.check import check

    files = export(earrings, tmp_path, pictures=False)
    assert [path.relative_to(tmp_path).as_posix() for path in files.paths] == [
        "placement.json", "placement-mirrored.json",
        *(
            f"models/piece{mirrored}.{ending}"
            for mirrored in ("", "-mirrored")
            for ending in ("stl", "obj", "mtl", "glb", "3mf", "step")
        ),
        "report.json",
    ]  # fmt: skip
    one, two = (trimesh.load(tmp_path / "models" / f"piece{end}.stl") for end in ("", "-mirrored"))
    assert two.volume == pytest.approx(one.volume, rel=1e-6)
    np.testing.assert_allclose(two.center_mass, one.center_mass * [1.0, -1.0, 1.0], atol=1e-5)
    first, second = (json.loads((tmp_path / f"placement{end}.json").read_text()) for end in ("", "-mirrored"))
    assert [body["name"] for body in first["bodies"]] == [body["name"] for body in second["bodies"]]
    for own, image in zip(first["bodies"], second["bodies"], strict=True):
        np.testing.assert_allclose(image["centre"], np.array(own["centre"]) * [1.0, -1.0, 1.0], atol=1e-6)

    from chaingen.make.pair import mirrored_graph

    # The image is linked as the first and has the same gaps.
    placement = earrings.placement
    report = check(mirrored_graph(placement.graph), placement.rings.mirrored())
    assert report.links_as_designed
    assert report.smallest_gap == pytest.approx(earrings.check.smallest_gap, abs=1e-9)


def test_the_pictures_of_a_pair_show_both(earrings, tmp_path, monkeypatch):
    from chaingen.pipeline import export

    shown = []
    monkeypatch.setattr(
        "chaingen.show.export.draw_pictures",
        lambda folder, bodies, look, **_: shown.append((bodies, look)) or [],
    )
    export(earrings, tmp_path)
    ((bodies, look),) = shown
    assert len(bodies) == len(look) == 6
    # Beads of both pieces have their own colour.
    (beads,) = look.beads
    assert look.beads_of.tolist() == [-1, -1, 0] * 2
    assert set(beads) == {strand.part for strand in bodies.shape(5).strands} - {"wire"}


@pytest.mark.slow
def test_length_of_a_weave_between_findings_is_sought():
    from chaingen.pipeline import build
    from chaingen.solve.length import MODEL_REPEATS

    weave = WEAVE.replace("repeat = 3", 'length = "90 mm"').replace("byzantine", "one-in-one")
    head = HEAD.replace('inside = "5 mm"', 'inside = "4 mm"')
    ends = ENDS.replace(', { side_by_side = 2, ring = "petal" }', "").replace('"hook"', '"bridge"')
    result = build(parse_design(head + ends + weave))
    count = result.design.repeating.repeat
    assert count > MODEL_REPEATS + 1
    # Cells of two single rings; pulled straight, each ring adds its inside.
    assert abs(result.finished_length - 90.0) <= 4.0 + 1e-3
    shorter = build(parse_design(head + ends + weave.replace('length = "90 mm"', f"repeat = {count - 1}")))
    assert shorter.finished_length == pytest.approx(result.finished_length - 8.0, abs=1e-3)


def test_sizes_of_a_piece_without_rings():
    from chaingen.pipeline import size_overview

    design = parse_design(HEAD + '[pattern]\nrepeat = 3\ngroups = [{ finding = "bridge" }]\n')
    with pytest.raises(BadInput, match="findings alone"):
        size_overview(design)


def test_links_alone_pulled_straight():
    """Links hooked into each other lie their inside apart: five of 6 mm, and the wire of both ends."""
    from chaingen.pipeline import build
    from chaingen.show.words import verdict_lines

    text = HEAD.replace("[findings.catch]", '[findings.oval]\nkind = "oval link"\n[findings.catch]')
    result = build(parse_design(text + '[pattern]\nrepeat = 5\ngroups = [{ finding = "oval" }]\n'))
    assert result.finished_length == pytest.approx(5 * 6.0 + 2 * 1.0, abs=0.02)
    lines = verdict_lines(result)
    assert any("oval links" in line for line in lines)
    assert not any(" ring" in line for line in lines)


# The example of all keys


def test_the_example_has_every_key_of_every_kind():
    import re
    import tomllib
    from pathlib import Path

    from chaingen.design.finding_schema import TABLES

    path = Path(__file__).parent.parent / "examples" / "all-keys-findings.toml"
    text = path.read_text(encoding="utf-8")
    tables = tomllib.loads(text)["findings"]
    assert sorted(table["kind"] for table in tables.values()) == sorted(TABLES)
    for table in tables.values():
        model = TABLES[table["kind"]]
        assert set(table) | {"metal"} == set(model.model_fields)
        for name in ("beads", "steps", "eyes"):
            if name in model.model_fields:
                (inner,) = set(model.model_fields[name].annotation.__args__)
                said = {key for entry in table[name] for key in entry}
                commented = set(re.findall(r"^# (\w+) =", text, re.MULTILINE))
                assert said | commented >= set(inner.model_fields)
    assert "\nmetal = " in text[text.index("[findings.") :]
    for key in ("pair =", "[ends.start]", "[ends.end]", "joins =", "finding =", "turned ="):
        assert key in text
