import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from chaingen.cli.new import CHAINS, new
from chaingen.cli.new import PIECES as OFFERED
from chaingen.design.cautions import cautions
from chaingen.design.fastenings import fastening_problems
from chaingen.design.load import load_design, parse_design
from chaingen.design.piece_starter import PIECES, starter_piece
from chaingen.design.schema import DesignTable
from chaingen.design.service import Layout, Sprues, usual_service
from chaingen.design.service_starter import starter_service
from chaingen.design.starter import STARTERS, starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.errors import BadInput
from chaingen.pipeline import build
from chaingen.stock.gauges import awg
from chaingen.stock.metals import METALS, find_metal
from chaingen.stock.processes import PROCESSES
from chaingen.stock.shrinkage import casting_shrinkage
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.groups import GroupKind

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("*.toml"))


@pytest.mark.parametrize("chain", STARTERS)
def test_every_chain_reads_back(chain):
    design = parse_design(starter_design(chain))
    assert chain in design.title
    assert design.metal.name == "sterling silver"
    assert (design.piece.repeat == 1) or design.length is None
    assert design.length == (None if STARTERS[chain].repeat else 180.0)
    assert design.ring_sizes[0].wire_diameter == awg(18)


def test_the_command_offers_every_chain():
    assert set(CHAINS) == set(STARTERS)
    assert tuple(PIECES) == OFFERED
    assert not set(OFFERED) & set(CHAINS)


@pytest.mark.parametrize("piece", PIECES)
def test_every_piece_reads_back(piece):
    text = starter_piece(
        piece, metal="copper", title='The "Gull", a $ample \\ of {braces}', clearance="0.1 mm"
    )
    design = parse_design(text)
    assert design.title == 'The "Gull", a $ample \\ of {braces}'
    assert (design.metal.name, design.clearance) == ("copper", 0.1)
    data = tomllib.loads(text)
    assert set(data) == keys_of(DesignTable) - METAL_KEYS - BENCH_KEYS
    assert fastening_problems(design) == []
    assert not [caution for caution in cautions(design) if caution.kind in ("slips out", "does not close")]


def test_a_linked_bracelet():
    design = parse_design(starter_piece("linked-bracelet"))
    kinds = [group.size.kind for group in design.piece.cell if group.kind is GroupKind.FINDING]
    assert kinds == ["loop link"]
    assert design.length == 180.0
    assert [row[k].size.kind for row, k in ((design.ends.start, 0), (design.ends.end, -1))] == [
        "lobster clasp", "closed ring",
    ]  # fmt: skip
    counted = parse_design(starter_piece("linked-bracelet", repeat=4, rosette=4)).piece
    assert (counted.repeat, counted.cell[0].count) == (4, 4)
    assert parse_design(starter_piece("linked-bracelet", length="7 in")).length == pytest.approx(177.8)


def test_a_linked_bracelet_is_alike_from_both_ends():
    """Between clasp and catch, a joining ring each: rosettes first and last, and as long as it is asked."""
    result = build(parse_design(starter_piece("linked-bracelet")))
    assert result.fits
    assert result.cautions == ()
    row = [(group.kind, group.count, group.size.name) for group in result.design.piece.groups()]
    assert [name for _, _, name in (row[0], row[-1])] == ["clasp", "catch"]
    assert row[1:-1] == row[-2:0:-1]
    assert row[1] == (GroupKind.JOIN, 1, "jump")
    assert row[2] == (GroupKind.ROSETTE, 3, "petal")
    assert result.finished_length == pytest.approx(180.0, abs=1.0)


def test_the_length_of_a_linked_bracelet():
    """Pulled straight, longer stems make it longer by as much."""
    text = starter_piece("linked-bracelet", repeat=2)
    two = build(parse_design(text)).finished_length
    longer = build(parse_design(text.replace('stem = "4.5 mm"', 'stem = "7 mm"'))).finished_length
    # A link hangs up to a few degrees aslant between its rings.
    assert longer - two == pytest.approx(2 * 2.5, rel=0.01)


def test_graduated_earrings():
    design = parse_design(starter_piece("graduated-earrings", rosette=4))
    assert design.pair
    rosettes = [group for group in design.piece.cell if group.kind is GroupKind.ROSETTE]
    assert {group.count for group in rosettes} == {4}
    insides = [group.size.inside_diameter for group in rosettes]
    assert insides == sorted(set(insides))
    assert design.ends.start[0].size.kind == "ear wire"
    assert len(design.ends.end[-1].size.beads) == 1


@pytest.mark.parametrize(
    ("piece", "options", "words"),
    [
        ("tiara", {}, "linked-bracelet"),
        ("graduated-earrings", {"length": "5 cm"}, "bracelet only"),
        ("graduated-earrings", {"repeat": 3}, "bracelet only"),
        ("linked-bracelet", {"repeat": 3, "length": "18 cm"}, "one of the two"),
        ("linked-bracelet", {"title": "a\nb"}, "one line"),
    ],
)
def test_pieces_with_wrong_options(piece, options, words):
    with pytest.raises(BadInput, match=words):
        starter_piece(piece, **options)


def test_common_practice_sizes():
    # Inside diameters for 18 AWG wire that are usual in the trade (common practice, no published source).
    usual = {"two-in-one": 3.0, "two-in-two": 4.0, "three-in-three": 5.0, "rosette-chain": 4.0}
    for chain, inside in usual.items():
        assert parse_design(starter_design(chain)).ring_sizes[0].inside_diameter == inside


@pytest.mark.parametrize(
    ("chain", "cell"),
    [
        ("one-in-one", [(GroupKind.SIDE_BY_SIDE, 1)]),
        ("two-in-one", [(GroupKind.SIDE_BY_SIDE, 2), (GroupKind.JOIN, 1)]),
        ("two-in-two", [(GroupKind.SIDE_BY_SIDE, 2)]),
        ("three-in-three", [(GroupKind.SIDE_BY_SIDE, 3)]),
        ("rosette-chain", [(GroupKind.ROSETTE, 3), (GroupKind.JOIN, 1)]),
        ("rosette-pairs", [(GroupKind.ROSETTE, 3), (GroupKind.JOIN, 2)]),
        ("rosette", [(GroupKind.ROSETTE, 3)]),
    ],
)
def test_patterns(chain, cell):
    assert [(group.kind, group.count) for group in parse_design(starter_design(chain)).piece.cell] == cell


@pytest.mark.parametrize("chain", STARTERS)
def test_every_option(chain):
    text = starter_design(
        chain,
        inside='1/4"',
        wire="1.2 mm",
        metal="copper",
        title='The "Gull", a $ample \\ of {braces}',
        repeat=9,
        rosette=5,
        clearance="0.1 mm",
        closed=True,
    )
    design = parse_design(text)
    assert design.title == 'The "Gull", a $ample \\ of {braces}'
    assert design.metal.name == "copper"
    assert (design.ring_sizes[0].inside_diameter, design.ring_sizes[0].wire_diameter) == (6.35, 1.2)
    assert (design.piece.repeat, design.length, design.clearance, design.piece.closed) == (9, None, 0.1, True)
    assert all(group.count == 5 for group in design.piece.cell if group.kind is GroupKind.ROSETTE)


def test_length_option():
    assert parse_design(starter_design("two-in-one", length="7 1/4 in")).length == pytest.approx(184.15)


def keys_of(model):
    return set(model.model_fields)


RUN_KEYS = {"form", "repeat", "length", "first", "groups", "last"}
"""The keys of a pattern of groups."""

METAL_KEYS = {"colours", "metal_pattern"}
"""Tables for several metals in one piece, which a piece to start from does without."""

BENCH_KEYS = {"bench", "prices", "owned", "classroom", "sheet", "settings", "date", "service"}
"""What is said of the bench, which often stands in a settings file; the day; who makes it from a model."""

FINDING_KEYS = {"findings", "ends", "pair"}
"""What finishes a piece, which a chain to start from does without."""


@pytest.mark.parametrize("chain", STARTERS)
def test_every_key_is_shown(chain):
    text = starter_design(chain)
    data = tomllib.loads(text)
    assert set(data) == keys_of(DesignTable) - METAL_KEYS - FINDING_KEYS - BENCH_KEYS
    # Repeat and length exclude one another: the other one stands in the note.
    assert set(data["pattern"]) | {"repeat", "length"} == RUN_KEYS
    assert "repeat =" in text
    assert "length =" in text


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_examples_say_what_they_are(path):
    design = load_design(path)
    assert path.read_text(encoding="utf-8").startswith("# ")
    assert design.piece.most_rings() >= 1


def test_examples_use_different_metals():
    assert len({load_design(path).metal.name for path in EXAMPLES}) >= 5


def test_unknown_chain():
    with pytest.raises(BadInput, match="two-in-one"):
        starter_design("two-in-won")


def test_repeat_and_length():
    with pytest.raises(BadInput, match="one of the two"):
        starter_design("two-in-one", repeat=3, length="18 cm")


@pytest.mark.parametrize("title", ["a\nb", "a\x07b", "\udcff", "x\n[rings.other]"])
def test_titles_of_one_line(title):
    with pytest.raises(BadInput, match="one line"):
        starter_design("two-in-one", title=title)


@pytest.mark.parametrize(
    ("options", "where"),
    [
        ({"inside": "4"}, "rings.link.inside"),
        ({"wire": "18 gauge"}, "rings.link.wire"),
        ({"metal": "cheese"}, "metal"),
        ({"repeat": 0}, "pattern.repeat"),
        ({"length": "1 mm"}, "pattern.length"),
        ({"rosette": 1}, "pattern.groups[1].rosette"),
        ({"clearance": "lots"}, "clearance"),
        ({"inside": '4 mm"\nwire = "1 mm'}, "rings.link.inside"),
    ],
)
def test_wrong_options_are_found_when_read(options, where):
    with pytest.raises(BadInput) as refusal:
        parse_design(starter_design("rosette-chain", **options))
    assert [problem.where for problem in refusal.value.problems] == [where]


@given(st.text(min_size=1, max_size=100))
def test_any_metal_text_stays_inside_its_quotes(metal):
    # Known or refused as a metal: in no case does the text break the file or reach another key.
    places = {"metal"}
    try:
        parse_design(starter_design("two-in-one", metal=metal))
    except BadInput as refusal:
        places = {problem.where for problem in refusal.problems}
    assert places == {"metal"}


# --- with a service -------------------------------------------------------------------------------


def starts():
    """A starter of each kind, as a function of its options."""
    yield from ((f"chain {name}", starter_design, name) for name in STARTERS)
    yield from ((f"piece {name}", starter_piece, name) for name in PIECES)
    yield from ((f"weave {name}", starter_weave, find_weave(name)) for name in weave_names())


STARTS = [pytest.param(make, what, id=name) for name, make, what in starts()]


def uncommented(text):
    """A table of a service with every key in a comment turned into one."""
    return re.sub(r"^# (\[service\.sprues\]|\w+ = )", r"\1", text, flags=re.M)


@pytest.mark.parametrize("process", PROCESSES)
@pytest.mark.parametrize(("make", "what"), STARTS)
def test_a_service_stands_below_what_is_written_without(make, what, process):
    text = make(what, process=process)
    without = make(what)
    assert text.startswith(without)
    assert make(what, process=None) == without
    design, plain = parse_design(text), parse_design(without)
    assert (design.piece, design.metal, plain.service) == (plain.piece, plain.metal, None)
    own, usual = design.service, usual_service(PROCESSES[process])
    for metal in design.named_metals:
        assert own.shrinks(metal) == usual.shrinks(metal)
    # Whatever is said is what it is when left out, so that nothing depends on whether it is written.
    assert own.stretch(design.metal) == usual.stretch(design.metal)
    assert replace(own, shrinkage=()) == usual


@pytest.mark.parametrize("process", PROCESSES)
def test_what_stands_in_comments_can_be_said(process):
    """The limits there are the usual ones; the keys of sprues and soldered bodies are right as they stand."""
    text = uncommented(starter_service(process, "sterling silver"))
    text = text.replace('layout = "flat sheet"', 'layout = "tree"')
    own = parse_design(f"{starter_design('two-in-one', repeat=3)}{text}").service
    usual = usual_service(PROCESSES[process])
    assert own.assumed == ()
    for name in ("smallest_wire", "smallest_gap", "build"):
        assert getattr(own, name) == getattr(usual, name)
    assert own.soldered == ((("1a", "1b"),) if usual.process.assembled else ())
    if not usual.process.casts:
        assert own.sprues is None
        return
    kept = Sprues(main=own.sprues.main, button=own.sprues.button)
    assert own.sprues == kept
    assert own.sprues.button == 2.5 * own.sprues.main
    assert own.layout is (Layout.FLAT if usual.process.assembled else Layout.TREE)


@pytest.mark.parametrize("process", PROCESSES)
def test_every_line_of_a_service_is_short_and_told(process):
    for metal in METALS:
        lines = starter_service(process, metal.name).splitlines()
        assert max(map(len, lines)) <= 110
        keys = [line for line in lines if re.match(r"(# )?\w+ = ", line)]
        assert len(keys) >= 7
        assert all("  # " in line for line in keys)


@pytest.mark.parametrize("metal", METALS, ids=lambda metal: metal.name)
def test_shrinkage_is_said_where_it_is_known(metal):
    table = tomllib.loads(starter_service("wax pattern for casting", metal.name))["service"]
    usual = casting_shrinkage(metal)
    assert table.get("shrinkage") == (None if usual is None else pytest.approx(100.0 * usual))
    assert tomllib.loads(starter_service("resin", metal.name))["service"]["shrinkage"] == 0


def test_a_process_that_is_none():
    for make, what in ((starter_design, "two-in-one"), (starter_piece, "linked-bracelet")):
        with pytest.raises(BadInput, match="did you mean wax pattern for casting"):
            make(what, process="wax")
    assert find_metal("cheese") is None
    with pytest.raises(BadInput, match="cheese") as refusal:
        parse_design(
            starter_design("two-in-one", metal='cheese"\n[rings.x]', process="wax pattern for casting")
        )
    assert [problem.where for problem in refusal.value.problems] == ["metal"]


@pytest.mark.parametrize(
    "start", [["--chain", "two-in-one"], ["--weave", "box-chain"], ["--piece", "linked-bracelet"]]
)
def test_the_command_writes_a_service(start):
    for process in PROCESSES:
        ran = CliRunner().invoke(new, ["-", *start, "--process", process])
        assert ran.exit_code == 0, ran.output
        assert parse_design(ran.output).service.process == PROCESSES[process]
    ran = CliRunner().invoke(new, ["-", *start])
    assert parse_design(ran.output).service is None
    ran = CliRunner().invoke(new, ["-", *start, "--process", "lost wax"])
    assert ran.exit_code == 2
    assert "did you mean wax pattern for casting?" in ran.output
