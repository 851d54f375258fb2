"""What a maker reads first and easily misreads: units in sentences, sizes, lengths, rings at hand, names."""

import re
from collections import Counter
from dataclasses import replace

import pypdfium2
import pypdfium2.raw as raw
import pytest

from chaingen.design.bench import Bench, OwnedRings, Units
from chaingen.design.load import parse_design
from chaingen.make.forming import MandrelChoice, MandrelPlan, Spring
from chaingen.make.owned import OwnedChoice, owned_choices
from chaingen.make.strength import strength_of
from chaingen.pipeline import build
from chaingen.show.sheet.document import Document, Instructions, Paragraph, Table
from chaingen.show.sheet.measures import Measures, inches
from chaingen.show.sheet.pdf import pdf_bytes
from chaingen.show.sheet.piece_words import name_line, pull_line, sizes_line
from chaingen.show.sheet.plan_tables import owned_table
from chaingen.show.sheet.ring_tables import mandrel_table, ring_table, spring_words, weight_table
from chaingen.solve.verdict import Fit
from chaingen.stock.mandrels import mandrel_sets, read_mandrel
from chaingen.stock.metals import find_metal
from chaingen.weave.groups import RingSize
from tests.test_sheet_content import PLAIN, RICH, in_units, made, sheet, tables, texts

METRIC, INCH, BOTH = (Measures(units) for units in (Units.METRIC, Units.INCH, Units.BOTH))

NET = """
title = "Skerry net"
metal = "platinum 950"
[rings.large]
inside = "6 mm"
wire = "16 AWG"
[rings.small]
inside = "3.5 mm"
wire = "18 AWG"
[pattern]
weave = "japanese-4-in-1"
columns = 4
rows = 3
"""


@pytest.fixture(scope="module")
def rich():
    return made(RICH)


@pytest.fixture(scope="module")
def plain():
    return build(parse_design(PLAIN))


@pytest.fixture(scope="module")
def net():
    return build(parse_design(NET))


def piece_rows(result):
    return dict(tables(sheet(in_units(result, Units.METRIC)))["The piece"].rows)


# --- hyphens --------------------------------------------------------------------------------------


def test_hyphens_of_words_are_narrow_and_figures_of_number_columns_alike_wide():
    """As the letters of a PDF lie: a hyphen of a word takes less than half of the type's size."""
    words = "two-in-one of 2-2a"
    blocks = (Paragraph(words), Table("t", ("Words", "Numbers"), ((words, "1111"), (words, "8888")), (1,)))
    pdf = pypdfium2.PdfDocument(pdf_bytes(Document("Title", "", blocks)))
    text = pdf[0].get_textpage()
    whole = text.get_text_range()

    def across(at):
        """How far it is from a letter to the next, in sizes of its type."""
        x, y, after = raw.c_double(), raw.c_double(), raw.c_double()
        raw.FPDFText_GetCharOrigin(text, at, x, y)
        raw.FPDFText_GetCharOrigin(text, at + 1, after, y)
        return (after.value - x.value) / raw.FPDFText_GetFontSize(text, at)

    hyphens = [hit.start() for hit in re.finditer("-", whole)]
    assert len(hyphens) == 9
    assert all(across(at) < 0.5 for at in hyphens)
    ones, eights = whole.index("1111"), whole.index("8888")
    assert across(ones) == pytest.approx(across(eights), abs=1e-3)
    pdf.close()


# --- units ----------------------------------------------------------------------------------------


def test_pulls_against_published_factors():
    """1 lbf = 4.448222 N, 1 kgf = 9.80665 N: NIST Special Publication 811, appendix B.8 (from memory)."""
    assert METRIC.pull(50.0) == "50 N (5.1 kg)"
    assert METRIC.pull(0.0245) == "0.025 N (2.5 g)"
    assert METRIC.pull(1234.0) == "1,200 N (130 kg)"
    assert BOTH.pull(4.448222) == "4.4 N (450 g, 1 lbf)"
    assert INCH.pull(44.48222) == "10 lbf (44 N, 4.5 kg)"
    assert INCH.pull(9.80665) == "2.2 lbf (9.8 N, 1 kg)"
    assert INCH.pull(None) == "not given"


def test_sentences_get_their_units():
    said = "It lacks 0.254 mm of 25.4 mm; 'my 3 mm hook' and 1,270 mm, 3 mmm, -0.0254 mm."
    assert METRIC.in_text(said) == said
    assert BOTH.in_text(said) == (
        "It lacks 0.254 mm (0.01 in) of 25.4 mm (1 in); 'my 3 mm hook' and 1,270 mm (50 in), 3 mmm, "
        "-0.0254 mm (-0.001 in)."
    )
    assert INCH.in_text("the maker's 5.08 mm") == "the maker's 0.2 in (5.08 mm)"
    # What is rounded to 0.306 mm is 0.0121 in, not 0.0120.
    assert INCH.in_text("gap 0.306 mm", [0.3064]) == "gap 0.0121 in (0.306 mm)"


def test_a_gap_too_small_to_be_told_is_not_nothing():
    assert METRIC.small(0.0004) == "under 0.001 mm"
    assert BOTH.small(0.001) == "0.001 mm\nunder 0.0001 in"
    assert BOTH.small(0.0) == "0 mm\n0 in"


@pytest.mark.parametrize("units", [Units.INCH, Units.BOTH])
def test_nothing_is_told_in_millimetres_alone(rich, units):
    document = sheet(in_units(rich, units))
    if units is Units.BOTH:
        # Steps tell rings apart by one unit; tables have all of it.
        blocks = tuple(block for block in document.blocks if not isinstance(block, Instructions))
        document = replace(document, blocks=blocks)
    told = [text for text in texts(document) if re.search(r"\d mm\b", text)]
    assert len(told) > 4
    for text in told:
        assert re.search(r"\d in\b|\d ft\b", text), text
    verdict = document.blocks[0].text
    first, second = (
        verdict.index(unit) for unit in ((" in", " mm") if units is Units.INCH else (" mm", " in"))
    )
    assert 0 <= verdict.index("fits") < first < second


@pytest.mark.parametrize("units", list(Units))
def test_a_gauge_never_stands_without_millimetres(rich, units):
    told = [text for text in texts(sheet(in_units(rich, units))) if "AWG" in text]
    assert len(told) > 5
    assert all(" mm" in text for text in told)


# --- mandrels -------------------------------------------------------------------------------------


def at_hand(name, diameter, measures, **told):
    size = RingSize("link", 4.0, 1.0)
    spring = Spring("half hard", 76.0, 300.0, "memory")
    choice = MandrelChoice(name, diameter, 4.0, **told)
    plan = MandrelPlan(size, find_metal("sterling silver"), spring, 3.9, (choice,))
    return mandrel_table((plan,), Bench(mandrels=("inch rods",)), measures)


def test_a_mandrels_diameter_is_told_once():
    """Of every mandrel of every set: its millimetres stand in its name, its inches there or below it."""
    for mandrels in mandrel_sets().values():
        for mandrel in mandrels:
            cell = at_hand(mandrel.name, mandrel.diameter, BOTH, gap=0.1, fit=Fit.TIGHT).rows[0][3]
            assert cell.count(" mm") == 1
            assert cell.count(" in") == 1
            assert at_hand(mandrel.name, mandrel.diameter, METRIC, gap=0.1, fit=Fit.TIGHT).rows[0][3] == (
                mandrel.name
            )
    cells = []
    for text in ("1/8 in", '3/8"', "0.2in", "1 cm"):
        (mandrel,) = read_mandrel(text)
        cells.append(at_hand(mandrel.name, mandrel.diameter, INCH).rows[0][3])
    assert cells == [
        "1/8 in mandrel (3.175 mm)", '3/8" mandrel (9.525 mm)', "0.2in mandrel (5.08 mm)",
        "1 cm mandrel (10 mm)\n0.394 in",
    ]  # fmt: skip


def test_why_a_mandrel_is_not_reckoned_is_told():
    for told, there in (({}, True), ({"gap": 0.1, "fit": Fit.TIGHT}, False)):
        table = at_hand("4 mm rod", 4.0, METRIC, **told)
        assert ("not reckoned" in table.rows[0]) == there
        assert any("search of its own" in note for note in table.notes) == there
    table = at_hand("4 mm rod", 4.0, BOTH, gap=-0.0008, fit=Fit.DOES_NOT_FIT)
    assert table.rows[0][5:] == ("none", "does not fit")
    table = at_hand("4 mm rod", 4.0, METRIC, gap=-0.08, fit=Fit.DOES_NOT_FIT)
    assert table.rows[0][5:] == ("-0.08 mm", "does not fit")


def test_an_odd_trial_coil_is_told_as_one():
    spring = Spring("half hard", 76.0, 300.0, "memory", calibration=1.2)
    assert "measure it again" not in spring_words(spring)
    assert "by a factor 1.20" in spring_words(spring)
    for calibration, words in ((4.0, "springs 4 times"), (0.25, "springs 0.25 times")):
        odd = spring_words(replace(spring, calibration=calibration))
        assert words in odd
        assert "measure it again" in odd
    assert "from memory" in spring_words(spring)


def test_what_is_remembered_is_told_as_such(net):
    assert "Density of platinum 950: from memory, 950 Pt 50 Ru." in weight_table(net).notes


# --- the piece ------------------------------------------------------------------------------------


def test_a_sheet_has_width_and_height(net):
    rows = piece_rows(net)
    low, high = net.placement.rings.bounds()
    for k, what in enumerate(("width as placed", "height as placed")):
        assert float(rows[what].removesuffix(" mm")) == pytest.approx((high - low)[k], abs=0.06)
    assert rows["width as placed"] != rows["height as placed"]
    assert not any(what.startswith("length") for what in rows)


@pytest.mark.parametrize(
    ("length", "name"),
    [(250.0, None), (310.0, "collar"), (380.0, "choker"), (457.0, "princess"), (560.0, "matinee")],
)
def test_long_pieces_are_called_as_necklaces_are(plain, length, name):
    """Lengths that shops sell by these names: 12, 15, 18 and 22 in (common practice)."""
    result = replace(plain, finished_length=length)
    assert piece_rows(result).get("as necklaces go") == name
    notes = " ".join(tables(sheet(result))["The piece"].notes)
    assert ("differ from shop to shop" in notes) == (name is not None)


def test_the_ease_asked_for_is_told(plain):
    assert "ease asked for" not in piece_rows(plain)
    design = replace(plain.design, measure=165.0, length=187.0)
    rows = piece_rows(replace(plain, design=design, asked_length=187.0))
    assert rows["wrist or neck"] == "165 mm"
    assert rows["ease asked for"] == "22 mm"


def test_sizes_are_told_with_the_verdict(rich, plain):
    assert (
        sizes_line(plain, METRIC) == "Rings (inside, wire, aspect ratio): link 4 mm, 1.024 mm (18 AWG), 3.91."
    )
    assert sizes_line(rich, METRIC) == (
        "Rings (inside, wire, aspect ratio): jump 3.5 mm, 0.812 mm (20 AWG), 4.31; "
        "petal 4 mm, 1.024 mm (18 AWG), 3.91."
    )
    first = [
        block.text for block in sheet(in_units(rich, Units.METRIC)).blocks[:4] if isinstance(block, Paragraph)
    ]
    assert sizes_line(rich, METRIC) in first


def test_many_sizes_are_not_all_told(plain):
    (count,) = plain.counts
    many = tuple(replace(count, size=RingSize(f"r{k}", 4.0 + k, 1.0)) for k in range(11))
    line = sizes_line(replace(plain, counts=many), METRIC)
    assert line.count("; ") == 8
    assert line.endswith("; 3 more in the table of rings.")


def test_a_ratio_alone_is_promised_nothing_where_there_are_several(rich, plain):
    assert any(
        "same ratio in another wire fits alike" in note for note in ring_table(plain, None, METRIC).notes
    )
    (note,) = ring_table(rich, None, METRIC).notes
    assert "only if all sizes, findings too, are changed together" in note


def test_a_tug_that_is_not_held_is_told_with_the_verdict(rich):
    """Half-hard copper rings of 0.8 mm wire open at a few newtons; at 0.5 N nothing happens to them."""
    for tug, told in ((20.0, True), (0.5, False)):
        bench = replace(rich.design.bench, tug=tug)
        strength = strength_of(rich, bench)
        assert (strength.strongest < tug) == told
        plan = replace(rich.plan, strength=strength)
        assert bool(pull_line(plan, METRIC)) == told
        first = [block.text for block in sheet(replace(rich, plan=plan)).blocks[:3]]
        assert any("not reckoned to hold a tug of 20 N" in text for text in first) == told
    heavy = replace(rich.plan, strength=replace(rich.plan.strength, weight=30.0, tug=20.0, holds="no"))
    assert "its own weight, 30 N (3.1 kg)" in pull_line(heavy, METRIC)


# --- names ----------------------------------------------------------------------------------------


def test_names_of_rings_of_a_sheet_are_explained(net):
    name, ring, column, row = re.fullmatch(
        r"How rings are named: ([\w.]+) is ring (\w+) of the cell in column (\d+), row (\d+)\.",
        name_line(net),
    ).groups()
    assert name == f"{column}.{row}{ring}"
    assert name in net.placement.graph.names
    assert column != row
    assert ring in {one.name for one in net.design.piece.weave.rings}
    # Along is across the page: of that column no ring lies left of one of the first column's likes.
    number = {one: k for k, one in enumerate(net.placement.graph.names)}
    centres = net.placement.rings.centres
    assert centres[number[f"2.1{ring}"], 0] > centres[number[f"1.1{ring}"], 0]


def test_names_of_groups_need_no_words(plain, rich):
    assert name_line(plain) == name_line(rich) == ""


# --- rings at hand --------------------------------------------------------------------------------


def pieces_by_trying(needed, owned, spare):
    """How many pieces rings of one size make, spare ones of all of them kept back, one after another."""
    pieces = 0
    while (pieces + 1) * needed * (100 + spare) <= 100 * owned:
        pieces += 1
    return pieces


@pytest.mark.parametrize("count", [13, 14, 26, 27, 79, 80, 200])
def test_rings_at_hand_make_so_many_pieces(plain, count):
    """Twelve rings a piece and a tenth spare: 13.2, so 14, 27, 40 rings for one, two, three pieces."""
    size = plain.counts[0].size
    owned = OwnedRings(size, count)
    bench = replace(plain.design.bench, owned=(owned,))
    result = replace(plain, design=replace(plain.design, bench=bench))
    choices = owned_choices(result, bench)
    (row,) = owned_table(choices, result, METRIC).rows
    pieces = pieces_by_trying(plain.counts[0].count, count, 10)
    cells = dict(zip(owned_table(choices, result, METRIC).head, row, strict=True))
    if pieces == 0:
        assert cells["They reach"] == f"{choices[0].repeat} of 4 repeats"
        assert cells["Length then"] == f"{choices[0].length:.1f} mm".replace(".0 mm", " mm")
    else:
        assert cells["They reach"] == ("the whole piece" if pieces == 1 else f"{pieces} such pieces")
        # The length of several pieces made as one says nothing.
        assert "Length then" not in cells
    assert "Of rings at hand 10 % more than are needed are kept back as spare ones." in (
        owned_table(choices, result, METRIC).notes
    )


def test_rings_at_hand_of_a_pair_and_of_one_stock_for_two_sizes(rich):
    """Two sizes that share a stock take of it together."""
    needed = Counter({count.size.name: count.count for count in rich.counts})
    shared = OwnedRings(RingSize("box", 4.0, 1.0), 10 * sum(needed.values()))
    sizes = [count.size for count in rich.counts]
    choice = OwnedChoice(tuple((size, shared) for size in sizes), 0.1, Fit.TIGHT, 30, 500.0, True, ())
    table = owned_table((choice,), rich, METRIC)
    pieces = max(
        n
        for n in range(1, 30)
        if sum(n * count + -(-n * count // 10) for count in needed.values()) <= shared.count
    )
    assert table.rows[0][3] == f"{pieces} such pairs"
    assert "Length then" not in table.head


def test_rings_that_do_not_fit_reach_nothing(plain):
    own = OwnedRings(RingSize("box", 2.0, 1.0), 90)
    choice = OwnedChoice(((plain.counts[0].size, own),), 0.0002, Fit.DOES_NOT_FIT, 9, None, True, ())
    table = owned_table((choice,), plain, BOTH)
    assert table.rows[0][1:] == ("does not fit", "none")
    assert not any("kept back" in note for note in table.notes)


def test_fractions_are_those_of_the_size_itself():
    """A drill number 28 is 0.1405 in, as good as 9/64 in; number 29 is 0.136 in, another (from memory)."""
    assert inches(0.1405 * 25.4).endswith("(9/64)")
    assert inches(0.136 * 25.4) == "0.136 in"
    assert inches(4.0) == "0.157 in"
    assert inches(3.175) == "0.125 in (1/8)"
