"""What the maker's sheet says: every block, its words against the numbers of the plan, units, gaps in it."""

import re
import tomllib
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from chaingen.design.bench import Units
from chaingen.design.load import load_design, parse_design
from chaingen.make.planning import plan_of
from chaingen.pipeline import build
from chaingen.show.sheet.code import fits
from chaingen.show.sheet.content import SheetPictures, sheet_document, sheet_rows
from chaingen.show.sheet.design_text import without_comments
from chaingen.show.sheet.document import (
    Bullets,
    Code,
    Figure,
    Heading,
    Instructions,
    Paragraph,
    Table,
)
from chaingen.show.sheet.measures import Measures, duration, inches, money, weight
from chaingen.solve.placement import Answer
from chaingen.stock.gauges import awg

EXAMPLES = Path(__file__).parent.parent / "examples"

RICH = """# Harbour lights: invented, with all that a bench can say
title = "Harbour lights"
metal = "sterling silver"
tolerance = "0.05 mm"
pair = true

[rings.petal]
inside = "4 mm"
wire = "18 AWG"

[rings.jump]
inside = "3.5 mm"
wire = "20 AWG"
metal = "copper"

[findings.hook]
kind = "ear wire"

[findings.drop]
kind = "head pin"

[[findings.drop.beads]]
form = "ball"
diameter = "6 mm"
hole = "1 mm"
density = 2.5

[ends.start]
finding = "hook"
joins = [{ join = 1, ring = "jump" }]

[ends.end]
finding = "drop"
joins = [{ join = 1, ring = "jump" }]

[pattern]
repeat = 3
groups = [{ rosette = 3, ring = "petal" }, { join = 1, ring = "petal" }]

[bench]
temper = "half hard"
mandrels = ["knitting needles"]
kerf = "0.25 mm"
sold_in = "1 m"
bag = 50
spare = 10
open_seconds = 12
close_seconds = 20
finding_seconds = { hook = 300, drop = 240 }

[bench.metals.copper]
temper = "annealed"

[prices]
per_ring = { petal = "0.30 EUR", jump = "0.12 EUR" }
each = { hook = "1.50 EUR", drop = "0.80 EUR" }
bead = { drop = "0.45 EUR" }
per_hour = "24 EUR"
overhead = 15
markup = 1.8

[[owned]]
inside = "4 mm"
wire = "18 AWG"
count = 500

[[owned]]
inside = "3.5 mm"
wire = "20 AWG"
count = 100

[classroom]
students = 12
"""

PLAIN = """
title = "Tide line"
metal = "14k red gold"
[rings.link]
inside = "4 mm"
wire = "18 AWG"
[pattern]
repeat = 4
groups = [{ side_by_side = 2 }, { side_by_side = 1 }]
"""


def made(text):
    result = build(parse_design(text))
    return replace(result, plan=plan_of(result))


@pytest.fixture(scope="module")
def rich():
    return made(RICH)


@pytest.fixture(scope="module")
def plain():
    return made(PLAIN)


@pytest.fixture(scope="module")
def graduated():
    """Earrings of three sizes in one wire, at a bench where wire is sold by the metre."""
    design = load_design(
        EXAMPLES / "graduated-earring.toml", settings=EXAMPLES / "workshop" / "saltmarsh-lane.toml"
    )
    result = build(design)
    return replace(result, plan=plan_of(result))


@pytest.fixture(scope="module")
def unfit():
    return made(PLAIN.replace('inside = "4 mm"', 'inside = "1.5 mm"'))


def in_units(result, units):
    design = result.design
    return replace(result, design=replace(design, bench=replace(design.bench, units=units)))


def sheet(result, pictures=None):
    return sheet_document(result, pictures or SheetPictures())


def tables(document):
    return {block.caption: block for block in document.blocks if isinstance(block, Table)}


def headings(document):
    return [block.text for block in document.blocks if isinstance(block, Heading)]


def texts(document):
    """Every text of a sheet but its code."""
    found = [document.title, document.subtitle, document.foot]
    for block in document.blocks:
        if isinstance(block, Heading | Paragraph):
            found.append(block.text)
        elif isinstance(block, Bullets):
            found += block.items
        elif isinstance(block, Instructions):
            found += [line.text for line in block.lines]
        elif isinstance(block, Table):
            found += [block.caption, *block.head, *block.notes, *(cell for row in block.rows for cell in row)]
    return found


def column(table, head):
    k = next(k for k, one in enumerate(table.head) if one.startswith(head))
    return [row[k] for row in table.rows]


# --- every block ----------------------------------------------------------------------------------


def test_a_rich_design_has_every_block(rich, tmp_path):
    steps = tuple(tmp_path / f"step-{k}.png" for k in range(len(rich.plan.order.distinct)))
    document = sheet(rich, SheetPictures(tmp_path / "three-quarter.png", steps))
    assert document.title == "Harbour lights"
    assert "a pair" in document.subtitle
    assert document.paper == "A4"
    assert headings(document) == [
        "What to prepare", "Order of work", "Cautions", "Length", "The pull it holds", "Rings at hand",
        "For a class", "Cost and time",
    ]  # fmt: skip
    assert list(tables(document)) == [
        "The piece", "Rings", "Rings to have", "Wire and coils", "Wire to buy",
        "Wire to buy: coils off each length", "Mandrels", "Findings", "Beads",
        "Weight of the piece", "Lengths", "One ring, pulled at two opposite places", "Made of rings at hand",
        "Rings of a class", "To order for a class: rings", "Or, for a class, wire to wind",
        "Wire to buy for a class", "Wire to buy for a class: coils off each length",
        "Findings of a class", "Material for a class", "Cost, time and price",
    ]  # fmt: skip
    kinds = [type(block) for block in document.blocks]
    assert kinds.count(Figure) == 1
    assert kinds.count(Instructions) == 1
    assert kinds.count(Code) == 1
    for table in tables(document).values():
        assert table.rows, table.caption
        assert all(table.head), table.caption
        assert all(len(row) == len(table.head) for row in table.rows), table.caption
        assert all(0 <= k < len(table.head) for k in table.numbers), table.caption
        # A column with nothing in it is left out.
        assert all(any(row[k] for row in table.rows) for k in range(len(table.head))), table.caption


def test_no_text_is_broken(rich, plain, unfit):
    for result in (rich, plain, unfit):
        for text in texts(sheet(result)):
            assert text.strip() == text
            for wrong in ("None", "nan", "inf ", "  ", "..", "{", "}", "<", "Fit.", "Units."):
                assert wrong not in text.replace("...", ""), text


# --- numbers --------------------------------------------------------------------------------------


def test_rings_to_open_and_to_close_are_those_of_the_order_of_both(rich):
    table = tables(sheet(rich))["Rings"]
    assert column(table, "Ring") == [count.size.name for count in rich.counts]
    assert [int(n) for n in column(table, "Needed")] == [count.count for count in rich.counts]
    opened, closed = ([int(n) for n in column(table, head)] for head in ("To open", "To close"))
    members = rich.placement.graph.members
    for name, one in zip(column(table, "Ring"), opened, strict=True):
        own = [k for k in rich.plan.order.opened.opened if members[k].size.name == name]
        assert one == 2 * len(own)
    needed = [count.count for count in rich.counts]
    assert [a + b for a, b in zip(opened, closed, strict=True)] == needed


def test_wire_bags_and_spare_rings_are_those_of_the_plan(rich):
    document = sheet(in_units(rich, Units.METRIC))
    stock, wire = tables(document)["Rings to have"], tables(document)["Wire and coils"]
    for plan, spare, total, bags in zip(
        rich.plan.rings,
        column(stock, "Spare"),
        column(stock, "In all"),
        column(stock, "Bags of 50"),
        strict=True,
    ):
        assert (int(spare), int(total), int(bags)) == (plan.spare, plan.count, plan.bags)
    for plan, cut, wound in zip(
        rich.plan.rings,
        column(wire, "Wire in a ring"),
        column(wire, "To wind"),
        strict=True,
    ):
        assert float(cut.removesuffix(" mm")) == pytest.approx(plan.cut_length, abs=0.006)
        assert wound.split()[0] == str(plan.turns)
        assert wound.split("\n")[1].split()[0] == str(plan.coils)
    assert set(column(wire, "Lost at a cut")) == {"0.25 mm"}


def test_wire_to_buy_is_told_by_metal_and_wire(graduated):
    document = sheet(in_units(graduated, Units.METRIC))
    table = tables(document)["Wire to buy"]
    assert column(table, "Metal") == ["sterling silver"] * 3
    assert column(table, "For rings") == ["jump", "tiny, small, middle", "large"]
    assert column(table, "Lengths of 1 m") == ["1", "1", "1"]
    for order, used, weighed in zip(
        graduated.plan.wire, column(table, "Used"), column(table, "Weight"), strict=True
    ):
        assert float(used.removesuffix(" mm")) == pytest.approx(order.wire_length, abs=0.6)
        assert float(weighed.removesuffix(" g")) == pytest.approx(order.weight, abs=0.006)
    assert table.notes == ("For rings; wire for findings comes on top of it.",)
    uses = tables(document)["Wire to buy: coils off each length"]
    # Six, twelve and six rings and a tenth spare, and a turn more of each coil.
    assert uses.rows[1] == (
        "sterling silver\n1.024 mm (18 AWG)", "1",
        "tiny: 1 coil of 8 turns\nsmall: 1 coil of 15 turns\nmiddle: 1 coil of 8 turns", "376 mm",
    )  # fmt: skip
    assert any("must not go on from one length to the next" in note for note in uses.notes)
    # Wire is charged by the gram here: of a length only what is used.
    note = "Wire is charged as it is used: what is left over of a length is not charged."
    assert note in tables(document)["Cost, time and price"].notes
    assert not any("lengths" in row[1] for row in tables(document)["Cost, time and price"].rows)


def test_coils_off_lengths_add_up_to_what_is_wound(rich):
    """For the piece and for a class; `2 coils of 40 turns` off each of three lengths are 240 turns."""
    found = tables(sheet(in_units(rich, Units.METRIC)))
    for wound, buy in (
        ("Wire and coils", "Wire to buy"),
        ("Or, for a class, wire to wind", "Wire to buy for a class"),
    ):
        uses, turns, coils = found[f"{buy}: coils off each length"], {}, {}
        for row in uses.rows:
            for line in row[2].split("\n"):
                name, words = line.split(": ")
                for number, each in re.findall(r"(\d+) coils? of (\d+) turns?", words):
                    turns[name] = turns.get(name, 0) + int(row[1]) * int(number) * int(each)
                    coils[name] = coils.get(name, 0) + int(row[1]) * int(number)
        for row in found[wound].rows:
            name = row[0]
            told = [int(line.split(" ")[0].replace(",", "")) for line in row[4].split("\n")]
            assert told == [turns[name], coils[name]]
        lengths = sum(int(n) for n in column(found[buy], "Lengths of 1 m"))
        assert lengths == sum(int(row[1]) for row in uses.rows)
    # Rings are charged by the ring here, no wire.
    assert not any("Wire is charged" in text for text in texts(sheet(rich)))


def test_mandrels_at_hand_with_what_they_give(rich):
    table = tables(sheet(in_units(rich, Units.METRIC)))["Mandrels"]
    rows = iter(table.rows)
    for plan in rich.plan.mandrels:
        for k, choice in enumerate(plan.choices):
            row = next(rows)
            assert row[:2] == ((plan.size.name, plan.metal.name) if k == 0 else ("", ""))
            if k == 0:
                assert float(row[2].removesuffix(" mm")) == pytest.approx(plan.wanted, abs=0.006)
            assert choice.name in row[3]
            assert float(row[4].removesuffix(" mm")) == pytest.approx(choice.inside, abs=0.006)
            assert row[6] == ("not reckoned" if choice.fit is None else choice.fit.value)
    assert next(rows, None) is None
    # The name of a mandrel tells its millimetres: once is enough.
    at_hand = column(tables(sheet(in_units(rich, Units.BOTH)))["Mandrels"], "At hand")
    assert all(cell.count(" mm") == 1 and cell.count(" in") == 1 for cell in at_hand)
    notes = " ".join(table.notes)
    assert "half hard" in notes
    assert "annealed" in notes
    assert "assumed" not in notes


def test_weight_by_metal_adds_up(rich):
    table = tables(sheet(rich))["Weight of the piece"]
    assert [row[0] for row in table.rows] == ["sterling silver", "copper", "beads", "in all"]
    parts = [float(cell.removesuffix(" g")) for cell in column(table, "In all")]
    assert sum(parts[:-1]) == pytest.approx(parts[-1], abs=0.02)
    assert parts[-1] == pytest.approx(rich.weight, abs=0.006)


def test_cost_follows_from_the_prices_given(rich):
    table = tables(sheet(rich))["Cost, time and price"]
    amounts = {row[0]: row[2] for row in table.rows}
    plan = rich.plan
    for line in plan.money.lines:
        assert amounts[line.what] == f"{line.amount} EUR"
    # By hand: what the rings cost, from the price of one.
    petals = next(one for one in plan.rings if one.rings.size.name == "petal")
    assert amounts["rings 'petal', sterling silver"] == f"{Decimal('0.30') * petals.count:.2f} EUR"
    assert amounts["price to ask"] == f"{plan.money.price:,} EUR"
    assert amounts["cost"] == f"{plan.money.cost:,} EUR"


def test_a_class_is_ordered_in_all(rich):
    document, order = sheet(rich), rich.plan.classroom
    table = tables(document)["Rings of a class"]
    assert order.kits == 13
    for k, (kit, plan) in enumerate(zip(order.kit_rings, order.order, strict=True)):
        assert int(table.rows[k][4]) == kit.count
        assert int(table.rows[k][5].replace(",", "")) == 13 * kit.count
        assert int(table.rows[k][7].replace(",", "")) == plan.count
    told = " ".join(block.text for block in document.blocks if isinstance(block, Paragraph))
    assert "13 kits: 12 for students and 1 for who teaches." in told
    assert "A kit makes both of the pair." in told


def test_strength_is_told_as_an_estimate_with_its_band(rich):
    document, strength = sheet(rich), rich.plan.strength
    table = tables(document)["One ring, pulled at two opposite places"]
    assert any("wide band" in note for note in table.notes)
    for one, row in zip(strength.rings, table.rows, strict=True):
        assert float(row[2].split()[0]) == pytest.approx(one.begins, rel=0.06)
        assert float(row[3].split()[0]) == pytest.approx(one.opens, rel=0.06)


def test_what_hangs_in_an_ear_is_worn_round_nothing(rich, plain):
    assert "Inside, worn" not in tables(sheet(rich))["Lengths"].head
    table = tables(sheet(in_units(plain, Units.METRIC)))["Lengths"]
    (here,) = (row for row in table.rows if row[0] == "this piece")
    assert here[1] == str(plain.design.repeating.repeat) == "4"
    assert float(here[4].removesuffix(" mm")) == pytest.approx(plain.finished_length, abs=0.06)
    # Nor is a chain that has nothing to close it by, and no wrist or neck to go round.
    assert "Inside, worn" not in table.head


# --- order of work --------------------------------------------------------------------------------


def test_instructions_with_their_pictures_each_once(rich, tmp_path):
    order = rich.plan.order
    steps = tuple(tmp_path / f"step-{k}.png" for k in range(len(order.distinct)))
    document = sheet(rich, SheetPictures(None, steps))
    lines = next(block.lines for block in document.blocks if isinstance(block, Instructions))
    assert [line.number for line in lines] == [one.number for one in order.instructions]
    shown = [line.picture for line in lines if line.picture is not None]
    assert sorted(shown) == sorted(steps)
    for line, instruction in zip(lines, order.instructions, strict=True):
        if line.picture is not None:
            assert line.picture == steps[instruction.picture]
            step = order.steps[instruction.step]
            assert rich.placement.graph.names[step.body] in line.alt
        elif instruction.picture is not None:
            assert "(See the picture of step" in line.text
    told = " ".join(texts(document))
    assert "dark blue" in told
    assert "For one piece of the pair; make it twice" in told


def test_what_to_open_is_told_by_name_for_one_piece_and_without_its_sizes(rich):
    lines = [text for text in texts(sheet(rich)) if re.match(r"(Open|Close) \d", text)]
    members, opened = rich.placement.graph.members, rich.plan.order.opened
    assert len(lines) == 2
    for line, bodies in zip(lines, (opened.opened, opened.closed), strict=True):
        told = dict(re.findall(r"(?:: |, )[\d,]+ (\w+) of ([\w ]+?)(?=[.,])", line))
        assert told == {
            members[k].size.name: {"petal": "sterling silver", "jump": "copper"}[members[k].size.name]
            for k in bodies
            if members[k].size.name in {"petal", "jump"}
        }
        numbers = [int(n) for n in re.findall(r"(?:: |, )(\d+) \w+ of", line)]
        assert sum(numbers) == int(line.split()[1])
        assert " mm" not in line


def test_steps_beyond_the_pictures_are_told(rich, tmp_path):
    count = len(rich.plan.order.distinct)
    steps = (tmp_path / "step-1.png", *([None] * (count - 1)))
    told = " ".join(texts(sheet(rich, SheetPictures(None, steps))))
    assert f"{count - 1} steps without a picture" in told
    assert "Without pictures: no EGL here." in " ".join(
        texts(sheet(rich, SheetPictures(not_drawn="no EGL here")))
    )
    assert "dark blue" not in " ".join(texts(sheet(rich)))


# --- what is not given, and what does not fit -----------------------------------------------------


def test_what_nobody_said_is_not_given(plain):
    document = sheet(plain)
    told = " ".join(texts(document))
    for what in (
        "How many rings a bag has: not given.",
        "How wire is sold: not given.",
        "Prices and times: not given. Nothing is guessed.",
        "Wrist or neck: not given.",
        "What a cut takes was not given: assumed.",
    ):
        assert what in told, what
    # No temper of this gold is in the tables: no mandrel and no pull is told.
    assert "No mandrel is told" in told
    assert "so no pull can be told" in told
    assert "Mandrels" not in tables(document)
    assert "Cost, time and price" not in tables(document)
    assert not {"Findings", "Beads", "Made of rings at hand", "Rings of a class"} & set(tables(document))


def test_an_assumed_temper_is_told_as_one():
    document = sheet(made(PLAIN.replace("14k red gold", "sterling silver")))
    notes = " ".join(tables(document)["Mandrels"].notes)
    assert "(assumed: not given)" in notes
    assert "Mandrels at hand: not given." in notes


def test_some_prices_are_told_and_what_is_missing(plain):
    document = sheet(made(PLAIN + '[prices]\nper_gram = { "14k red gold" = "31.50 EUR" }\n'))
    table = tables(document)["Cost, time and price"]
    amounts = {row[0]: row[2] for row in table.rows}
    assert amounts["rings 'link', 14k red gold"].endswith(" EUR")
    assert amounts["work"] == amounts["cost"] == amounts["price to ask"] == "not given"
    assert any("a rate for an hour of work" in note for note in table.notes)


def test_a_piece_that_does_not_fit_says_so_first(unfit):
    document = sheet(unfit)
    first, second = document.blocks[:2]
    assert first.strong
    assert first.text.startswith("DO NOT MAKE IT FROM THIS SHEET: it does not go together")
    assert second.strong
    assert not any(isinstance(block, Instructions) for block in document.blocks)
    assert "Order of work" not in headings(document)
    assert "Cautions" in headings(document)
    assert set(tables(document)) == {"The piece", "Rings"}
    assert "To open" not in tables(document)["Rings"].head
    told = " ".join(texts(document))
    assert unfit.nearest
    assert "Nearest inside diameters that fit" in told
    # Nor is anything bought by it.
    assert sheet_rows(unfit)[1] == ()


def test_a_search_without_an_end_is_not_called_a_misfit(unfit):
    lost = replace(unfit, placement=replace(unfit.placement, answer=Answer.NOT_CONVERGED, proof=None))
    first = sheet(lost).blocks[0]
    assert first.text.startswith("DO NOT MAKE IT FROM THIS SHEET: whether it goes together is not known")


def test_what_collides_is_told_below_the_picture(unfit, plain, tmp_path):
    for result, told in ((unfit, True), (plain, False)):
        blocks = sheet(result, SheetPictures(tmp_path / "three-quarter.png")).blocks
        (figure,) = (block for block in blocks if isinstance(block, Figure))
        assert ("magenta" in figure.caption) == told == bool(len(result.collided))


def test_without_a_plan_what_is_known_is_told(plain):
    document = sheet(replace(plain, plan=None))
    assert list(tables(document)) == ["The piece"]
    assert sheet_rows(replace(plain, plan=None))[1] == ()


# --- cautions -------------------------------------------------------------------------------------


def cautions(result):
    blocks = sheet(result).blocks
    k = next(k for k, block in enumerate(blocks) if isinstance(block, Heading) and block.text == "Cautions")
    return " ".join(blocks[k + 1].items)


def test_usual_cautions(plain):
    told = cautions(plain)
    for word in (
        "eye protection", "never wear gloves", "loose hair", "extractor", "small parts", "local rules",
        "licensed laboratory",
    ):  # fmt: skip
        assert word in told, word
    assert "Nickel:" not in told
    assert "Pierced" not in told
    assert "Round a neck" not in told


def test_nickel_and_zinc_are_told_where_they_are():
    told = cautions(made(PLAIN.replace("14k red gold", "nickel silver")))
    assert "Nickel: nickel silver has nickel" in told
    assert "nickel silver gives off zinc fume" in told


def test_pierced_skin_and_necklaces(rich):
    assert "Pierced skin: ear wire goes through skin." in cautions(rich)
    long = made(PLAIN.replace("repeat = 4", 'length = "400 mm"'))
    assert "a clasp that breaks away" in cautions(long)


def test_how_to_open_rings_is_told_with_the_work(plain):
    told = " ".join(texts(sheet(plain)))
    assert "twist sideways" in told
    assert "Never pull the ends apart" in told


# --- units ----------------------------------------------------------------------------------------


def test_units(rich):
    metric, inch, both = (
        " ".join(
            cell
            for table in tables(sheet(in_units(rich, units))).values()
            for row in table.rows
            for cell in row
        )
        for units in (Units.METRIC, Units.INCH, Units.BOTH)
    )
    # Inches after a number, not the word.
    assert not re.search(r"\d in\b(?! \d+ length)", metric)
    assert re.search(r"\d in\b", inch)
    assert "4 mm" in metric
    assert "0.157 in" in inch
    assert "4 mm\n0.157 in" in both
    # 4 mm are 5/32 in and 0.0012 in more.
    assert "5/32" not in inch + both
    # A gauge is told with its millimetres in every system.
    for text in (metric, inch, both):
        assert "18 AWG" in text
        assert "1.024 mm" in text


def test_inches_with_fractions_against_exact_ones():
    """The inch is 25.4 mm (international inch of 1959): every 64th comes out as itself in lowest terms."""
    for k in range(1, 64 * 3):
        part = Fraction(k, 64)
        text = inches(float(part * Fraction("25.4")))
        if part.denominator == 1:
            assert text == f"{part} in"
            continue
        whole, rest = divmod(part, 1)
        assert text.endswith(f" in ({f'{whole} ' if whole else ''}{rest})"), text
        assert float(text.split()[0]) == pytest.approx(float(part), abs=6e-4)
    # 0.0006 in beside a 64th is too far, 0.0004 in near enough: of 0.139 to 0.142 in only one is 9/64.
    assert "(" not in inches((0.25 + 0.0006) * 25.4)
    assert inches((0.25 + 0.0004) * 25.4) == "0.25 in (1/4)"
    assert [inches(k / 1000.0 * 25.4) for k in range(139, 143)] == [
        "0.139 in", "0.14 in", "0.141 in (9/64)", "0.142 in",
    ]  # fmt: skip
    assert inches(7.25 * 25.4) == "7.25 in (7 1/4)"
    assert inches(0.0) == "0 in"


def test_measures():
    metric, inch, both = (Measures(units) for units in (Units.METRIC, Units.INCH, Units.BOTH))
    assert metric.length(4.0) == "4 mm"
    assert both.length(4.0, said=True) == "4 mm (0.157 in)"
    assert both.long(2000.0) == "2 m\n6.56 ft"
    assert inch.long(254.0) == "10 in"
    assert metric.long(254.0) == "254 mm"
    assert both.small(0.25) == "0.25 mm\n0.0098 in"
    assert metric.wire(awg(18)) == "1.024 mm\n18 AWG"
    assert inch.wire(awg(18)) == "0.0403 in\n18 AWG\n(1.024 mm)"
    assert both.wire(1.1, said=True) == "1.1 mm (0.0433 in)"
    assert metric.length(None) == metric.long(None) == metric.small(None) == "not given"


def test_other_measures():
    assert (weight(0.0123456), weight(1234.5), weight(0.0), weight(None)) == (
        "0.0123 g", "1,234.50 g", "0.00 g", "not given",
    )  # fmt: skip
    assert (money(Decimal("1234.50"), "EUR"), money(None, "EUR"), money(Decimal("120"), "JPY")) == (
        "1,234.50 EUR", "not given", "120 JPY",
    )  # fmt: skip
    assert (duration(45.0), duration(90.0), duration(3599.0), duration(3720.0), duration(None)) == (
        "45 s", "2 min", "1 h 00 min", "1 h 02 min", "not given",
    )  # fmt: skip


# --- the design as a code -------------------------------------------------------------------------


def test_the_design_is_printed_whole_where_it_fits(plain):
    code = next(block for block in sheet(plain).blocks if isinstance(block, Code))
    assert code.text == PLAIN
    assert parse_design(code.text).title == "Tide line"


def test_comments_go_where_they_are_too_much(plain):
    long = "".join(f"# a remark that is much too long for a code, number {k}\n" for k in range(200)) + PLAIN
    assert not fits(long)
    result = replace(plain, design=replace(plain.design, source=long))
    code = next(block for block in sheet(result).blocks if isinstance(block, Code))
    assert "without its comments" in code.caption
    assert parse_design(code.text) == parse_design(PLAIN)


def test_a_text_too_long_is_told(plain):
    result = replace(plain, design=replace(plain.design, source=f'title = "{"x" * 5000}"'))
    document = sheet(result)
    assert not any(isinstance(block, Code) for block in document.blocks)
    assert "too long to be printed here" in " ".join(texts(document))
    none = sheet(replace(plain, design=replace(plain.design, source="")))
    assert "too long to be printed here" not in " ".join(texts(none))
    assert not any(isinstance(block, Code) for block in none.blocks)


@pytest.mark.parametrize(
    ("text", "short"),
    [
        ("# all\na = 1 # one\n\n\nb = 2\n", "a = 1\nb = 2\n"),
        ('a = "# no remark" # one\n', 'a = "# no remark"\n'),
        ("a = '# \\' # b\n", "a = '# \\'\n"),
        ('a = "say \\" # \\"" # c\n', 'a = "say \\" # \\""\n'),
        ('a = """one # two\n\n  three"" # four"""  # five\n', 'a = """one # two\n\n  three"" # four"""\n'),
        ('a = """ends in two"""""\n# x\n', 'a = """ends in two"""""\n'),
        ("a = '''x # y\n\\'''\r\n# z\r\n", "a = '''x # y\n\\'''\n"),
        ('a = "" # empty\nb = ""\n', 'a = ""\nb = ""\n'),
        ("a = [ # list\n  1, # one\n  2,\n]\n", "a = [\n  1,\n  2,\n]\n"),
        ('"a # b" = 1 # c\n', '"a # b" = 1\n'),
    ],
)
def test_comments_are_taken_out_and_nothing_else(text, short):
    assert without_comments(text) == short
    assert tomllib.loads(short) == tomllib.loads(text)


@pytest.mark.parametrize("text", ['a = "open', "a = '''open # x", "a = ", "a 1"])
def test_what_is_no_toml_is_not_shortened(text):
    assert without_comments(text) is None


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_examples_say_the_same_without_comments(path):
    text = path.read_text()
    short = without_comments(text)
    assert short is not None
    assert tomllib.loads(short) == tomllib.loads(text)
    assert "\n\n" not in short
    assert len(short) < len(text)


# --- sheet.csv ------------------------------------------------------------------------------------


def test_rows_of_a_rich_design(rich):
    head, rows = sheet_rows(rich)
    assert head == (
        "kind", "name", "metal", "inside_mm", "wire_mm", "gauge", "aspect_ratio", "needed", "spare", "total",
        "bags", "cut_length_mm", "wire_length_m", "weight_g", "cost", "currency",
    )  # fmt: skip
    named = [dict(zip(head, row, strict=True)) for row in rows]
    assert [(row["kind"], row["name"]) for row in named] == [
        *(("ring", plan.rings.size.name) for plan in rich.plan.rings),
        ("ear wire", "hook"),
        ("head pin", "drop"),
        ("bead, ball, 6 mm", "drop"),
        *(("wire", plan.rings.size.name) for plan in rich.plan.rings),
    ]
    by_name = {(row["kind"], row["name"]): row for row in named}
    petal = by_name["ring", "petal"]
    plan = next(one for one in rich.plan.rings if one.rings.size.name == "petal")
    assert (petal["needed"], petal["spare"], petal["total"], petal["bags"]) == (
        plan.rings.count, plan.spare, plan.count, plan.bags,
    )  # fmt: skip
    assert petal["gauge"] == "18 AWG"
    assert petal["cost"] == f"{Decimal('0.30') * plan.count:.2f}"
    assert petal["weight_g"] == pytest.approx(plan.rings.weight * plan.count / plan.rings.count, abs=1e-4)
    bead = by_name["bead, ball, 6 mm", "drop"]
    assert (bead["needed"], bead["cost"], bead["currency"]) == (2, "0.90", "EUR")
    assert by_name["ear wire", "hook"]["cost"] == "3.00"
    wire = by_name["wire", "petal"]
    order = next(one for one in rich.plan.wire if one.sizes == (plan.rings.size,))
    assert wire["total"] == order.lengths == plan.lengths
    assert wire["wire_length_m"] == pytest.approx(plan.wire_length / 1000.0, abs=1e-4)
    assert wire["cost"] == ""
    costs = [Decimal(row["cost"]) for row in named if row["cost"]]
    assert sum(costs) == rich.plan.money.material


def test_rows_without_prices_have_no_money(plain):
    head, rows = sheet_rows(plain)
    for row in rows:
        named = dict(zip(head, row, strict=True))
        assert named["cost"] == named["currency"] == named["bags"] == ""


def test_wire_of_one_metal_and_diameter_is_one_row(graduated):
    head, rows = sheet_rows(graduated)
    wires = [dict(zip(head, row, strict=True)) for row in rows if row[0] == "wire"]
    assert {row["gauge"] for row in wires} == {"18 AWG", "20 AWG", "16 AWG"}
    assert len(wires) == 3
    assert [(row["name"], row["total"]) for row in wires] == [
        ("jump", 1), ("tiny, small, middle", 1), ("large", 1),
    ]  # fmt: skip
    total = sum(plan.wire_length for plan in graduated.plan.rings) / 1000.0
    assert sum(row["wire_length_m"] for row in wires) == pytest.approx(total, abs=1e-3)
    weights = sum(plan.wire_weight for plan in graduated.plan.rings)
    assert sum(row["weight_g"] for row in wires) == pytest.approx(weights, abs=1e-3)
