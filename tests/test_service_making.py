"""What sheet, table and words tell of a piece that a service makes: nothing of wire that nobody cuts."""

import math
import re
from dataclasses import replace

import pytest

from chaingen.design.load import parse_design
from chaingen.design.service import usual_service
from chaingen.make.planning import plan_of
from chaingen.pipeline import build
from chaingen.prepare.loose import loose_rings
from chaingen.show.making import IN_ONE, NO_PRICE, NOT_THE_PRINT, hands_of
from chaingen.show.phrases import counted
from chaingen.show.plan_words import plan_lines
from chaingen.show.sheet.cautions_words import caution_lines
from chaingen.show.sheet.content import SheetPictures, sheet_document, sheet_rows
from chaingen.show.sheet.document import Bullets, Figure, Heading, Instructions, Paragraph, Table
from chaingen.show.words import verdict_lines
from chaingen.solve.placement import Answer
from chaingen.stock.processes import PROCESSES
from tests.test_sheet_content import RICH

WAX, LOOSE = "wax pattern for casting", "loose rings for casting"
CAST_IN_ONE = "Cast metal: what it holds is not reckoned."

OF_WIRE = (
    "coil", "mandrel", "bag", "to open", "to close", "kit", "wind", "end to end", "pliers", "eur\\b",
    "rings at hand", "cut for",
)  # fmt: skip
"""Words that only a sheet for rings of wire has."""

SMALL = """
title = "Tide line"
metal = "{metal}"

[rings.link]
inside = "9 mm"
wire = "1.8 mm"

[pattern]
repeat = 3
groups = [{{ side_by_side = 1, ring = "link" }}]
"""


def planned(text):
    result = build(parse_design(text))
    return replace(result, plan=plan_of(result))


@pytest.fixture(scope="module")
def rich():
    return planned(RICH)


@pytest.fixture(scope="module", params=["brass", "stainless steel 316"])
def small(request):
    return planned(SMALL.format(metal=request.param))


def made_by(result, process, **changes):
    """The same piece, made by a service."""
    service = replace(usual_service(PROCESSES[process]), **changes)
    return replace(result, design=replace(result.design, service=service))


def own_blocks(result, pictures=SheetPictures()):  # noqa: B008
    """The sheet without what is sent to the service, which other tests look at."""
    blocks, kept, sent = sheet_document(result, pictures).blocks, [], False
    for block in blocks:
        if isinstance(block, Heading):
            sent = block.text == "To send to a service"
        if not sent:
            kept.append(block)
    return kept


def texts(blocks):
    """All that is told, without the code of the design."""
    told = []
    for block in blocks:
        if isinstance(block, Heading | Paragraph):
            told.append(block.text)
        elif isinstance(block, Bullets):
            told += block.items
        elif isinstance(block, Table):
            told += [block.caption, *block.head, *block.notes, *(cell for row in block.rows for cell in row)]
        elif isinstance(block, Instructions):
            told += [one.text for one in block.lines]
    return told


def tables(blocks):
    return {block.caption: block for block in blocks if isinstance(block, Table)}


def rows_of(table):
    return [dict(zip(table.head, row, strict=True)) for row in table.rows]


def csv_of(result):
    head, rows = sheet_rows(result)
    return [dict(zip(head, row, strict=True)) for row in rows]


def torus(inside, wire, density):
    """Weight of a ring [g]: by Pappus its volume is its section times the way of its middle."""
    return math.pi * (wire / 2) ** 2 * math.pi * (inside + wire) * density / 1000.0


# --- made in one ----------------------------------------------------------------------------------


def test_the_words_of_a_wire_worker_are_on_his_own_sheet(rich):
    told = "\n".join(texts(own_blocks(rich))).lower()
    assert [word for word in OF_WIRE if not re.search(rf"\b{word}", told)] == []
    assert IN_ONE not in texts(own_blocks(rich))


@pytest.mark.parametrize("process", ["resin", "powder", "filament", WAX])
def test_made_in_one_nothing_is_told_of_wire(rich, process):
    blocks = own_blocks(made_by(rich, process))
    told = texts(blocks)
    assert told.count(IN_ONE) == 1
    others = "\n".join(text for text in told if text != IN_ONE).lower()
    assert [word for word in OF_WIRE if re.search(rf"\b{word}", others)] == []
    assert not any(isinstance(block, Instructions) for block in blocks)
    headings = [block.text for block in blocks if isinstance(block, Heading)]
    assert headings == ["What it is made of", "Cautions", "Length", "The pull it holds", "Cost and time"]
    assert {"The piece", "Rings", "Findings", "Beads", "Lengths"} <= set(tables(blocks))
    assert NO_PRICE in told


def test_made_in_one_no_picture_of_a_step_or_of_a_finding_to_bend_is_shown(rich, tmp_path):
    steps = [tmp_path / f"step-{k}.png" for k in range(20)]
    findings = {entry.finding.name: tmp_path / "finding.png" for entry in rich.findings}
    whole = tmp_path / "whole.png"
    pictures = SheetPictures(whole, steps, findings)
    shown = [block.path for block in own_blocks(made_by(rich, WAX), pictures) if isinstance(block, Figure)]
    assert shown == [whole]
    of_wire = own_blocks(rich, pictures)
    assert len([block for block in of_wire if isinstance(block, Figure)]) == 1 + len(rich.findings)


def test_made_in_one_the_table_has_nothing_of_wire(rich):
    rows = csv_of(made_by(rich, WAX))
    assert {row["kind"] for row in csv_of(rich)} - {row["kind"] for row in rows} == {"wire"}
    for row in rows:
        of_wire = [row[name] for name in ("bags", "cut_length_mm", "wire_length_m", "gauge")]
        assert of_wire == ["", "", "", ""], row["name"]
        assert row["spare"] == 0
        assert row["total"] == row["needed"]
        # Beads are bought as before.
        assert bool(row["cost"]) == row["kind"].startswith("bead")
    petal = next(row for row in rows if row["name"] == "petal")
    wire = 25.4 * 0.005 * 92 ** ((36 - 18) / 39)  # ASTM B258
    # Sterling silver has 10.36 g/cm3.
    assert petal["weight_g"] == pytest.approx(petal["needed"] * torus(4.0, wire, 10.36), rel=1e-4)


@pytest.mark.parametrize("process", ["resin", "powder", "filament"])
def test_a_print_has_no_weight_of_metal(rich, process):
    made = made_by(rich, process)
    assert not any(row["weight_g"] for row in csv_of(made) if not row["kind"].startswith("bead"))
    blocks = own_blocks(made)
    assert "Weight of the piece" not in tables(blocks)
    assert not any(what.startswith("weight") for what, _ in tables(blocks)["The piece"].rows)
    assert "Weight" not in tables(blocks)["Findings"].head
    assert NOT_THE_PRINT in tables(blocks)["What it would weigh in metal"].notes[0]
    note = next(note for note in tables(blocks)["The piece"].notes if NOT_THE_PRINT in note)
    assert f"would weigh {rich.weight:.2f} g" in note
    assert sheet_document(made, SheetPictures()).subtitle.endswith(f"printed ({process})")
    lines = verdict_lines(made)
    (line,) = (line for line in lines if "would weigh" in line)
    assert f"would weigh {rich.weight:.2f} g in sterling silver and copper" in line
    assert line.endswith(f"; {NOT_THE_PRINT}.")
    # Nor are rings of each metal weighed by themselves, as they are of wire.
    (own,), (of_wire,) = (
        [line for line in told if " rings: " in line] for told in (lines, verdict_lines(rich))
    )
    assert of_wire.count(" g") == len(rich.counts)
    assert " g" not in own


def test_a_casting_is_weighed_as_before(rich):
    wire, cast = tables(own_blocks(rich)), tables(own_blocks(made_by(rich, WAX)))
    assert wire["Weight of the piece"].rows == cast["Weight of the piece"].rows
    assert dict(wire["The piece"].rows)["weight"] == dict(cast["The piece"].rows)["weight"]
    assert not any("would weigh" in line for line in verdict_lines(made_by(rich, WAX)))


def test_made_in_one_no_last_ring_is_threaded_and_no_wire_cut(rich):
    of_wire, in_one = (verdict_lines(own) for own in (rich, made_by(rich, WAX)))
    gone = [line for line in of_wire if line not in in_one]
    assert [line for line in in_one if line not in of_wire] == [
        line for line in in_one if re.match(r"\d+ x (ear wire|head pin) .* long and .* wide\.", line)
    ]
    assert len(gone) == 3
    assert "thread" in gone[0]
    assert all("cut " in line for line in gone[1:])
    tight = replace(rich, threading=replace(rich.threading, margin=-0.1))
    assert any("may not pass" in text for text in texts(own_blocks(tight)))
    assert not any("may not pass" in text for text in texts(own_blocks(made_by(tight, WAX))))
    # Loose rings are threaded by hand.
    assert any("may not pass" in text for text in texts(own_blocks(made_by(tight, LOOSE))))


def test_made_in_one_the_plan_is_short(rich):
    lines = plan_lines(rich.plan, made_by(rich, WAX).design.service)
    assert lines[0] == IN_ONE
    assert lines[-2:] == [CAST_IN_ONE, NO_PRICE]
    assert all(line.startswith("Lengths next") for line in lines[1:-2])
    printed = plan_lines(rich.plan, made_by(rich, "resin").design.service)
    assert "A print: what it holds is not reckoned." in printed


def test_made_in_one_rings_at_hand_are_no_way_out(rich):
    placement = replace(rich.placement, answer=Answer.NO_FIT_FOUND)
    unfit = replace(rich, placement=placement)
    assert "Made of rings at hand" in tables(own_blocks(unfit))
    assert "Made of rings at hand" not in tables(own_blocks(made_by(unfit, "resin")))
    assert IN_ONE not in texts(own_blocks(made_by(unfit, "resin")))


# --- loose rings ----------------------------------------------------------------------------------


def test_loose_rings_are_linked_by_hand_as_rings_of_wire_are(rich):
    of_wire, cast = own_blocks(rich), own_blocks(made_by(rich, LOOSE))
    (one,), (other,) = ([b for b in blocks if isinstance(b, Instructions)] for blocks in (of_wire, cast))
    assert one == other
    gone = set(tables(of_wire)) - set(tables(cast))
    assert {"Rings to have", "Wire and coils", "Wire to buy", "Mandrels", "Material for a class"} <= gone
    assert set(tables(cast)) - set(tables(of_wire)) == {"Rings to have made", "Cost and time by hand"}
    told = "\n".join(texts(cast)).lower()
    assert [w for w in ("coil", "mandrel", "bag", "end to end", "bought closed") if w in told] == []
    assert "The pull it holds" in texts(cast)
    assert any(text.startswith(CAST_IN_ONE) for text in texts(cast))


def test_findings_of_loose_rings_are_still_bent_of_wire(rich):
    of_wire, cast = (tables(own_blocks(own))["Findings"] for own in (rich, made_by(rich, LOOSE)))
    assert of_wire == cast
    assert "Cut for each" in cast.head


@pytest.mark.parametrize("spare", [0.0, 0.05, 0.1, 0.33])
def test_spare_rings_are_those_that_are_sent(rich, spare):
    made = made_by(rich, LOOSE, spare=spare)
    sent = {(own.size.name, own.metal.name): own.count for own in loose_rings(made)}
    rows = rows_of(tables(own_blocks(made))["Rings to have made"])
    assert {(row["Ring"], row["Metal"]): int(row["In all"]) for row in rows} == sent
    for row in rows:
        # Up to the next whole ring: 5 % of 18 are 1.
        assert int(row["Spare"]) == math.ceil(round(int(row["Needed"]) * spare, 9))
    table = {(row["name"], row["metal"]): row["total"] for row in csv_of(made) if row["kind"] == "ring"}
    assert table == sent
    (line,) = (
        line for line in plan_lines(made.plan, made.design.service) if line.startswith("Rings to have")
    )
    assert [int(number) for number in re.findall(r"(\d+) '", line)] == list(sent.values())
    wanted = {row["name"]: row["needed"] for row in csv_of(rich) if row["kind"] == "ring"}
    assert {row["Ring"]: int(row["Needed"]) for row in rows} == wanted


def test_the_table_of_loose_rings_has_nothing_of_wire(rich):
    before, rows = csv_of(rich), csv_of(made_by(rich, LOOSE))
    for row in rows:
        if row["kind"] == "ring":
            assert [row[n] for n in ("bags", "cut_length_mm", "wire_length_m", "cost", "currency")] == [
                ""
            ] * 5
            assert row["weight_g"] > 0.0
        else:
            assert row in before
    assert "wire" not in {row["kind"] for row in rows}


@pytest.mark.parametrize(
    ("changes", "linked", "closed"),
    [
        ({"cut": 0.5, "opened": 0.0}, "To open", "Closed first"),
        ({"cut": 0.5, "opened": 3.0}, "Left open", "Closed first"),
        ({"cut": 0.0, "opened": 0.0}, "To cut open", "Stay closed"),
    ],
)
def test_what_is_done_first_goes_by_how_rings_are_sent(rich, changes, linked, closed):
    made = made_by(rich, LOOSE, **changes)
    order, members = rich.plan.order, rich.placement.graph.members
    rings, others = (
        [body for body in own if members[body].size.name in ("petal", "jump")]
        for own in (order.opened.opened, order.opened.closed)
    )
    told = texts(own_blocks(made))
    assert any(text.startswith(f"{linked}: {counted(len(rings), 'ring')} (") for text in told)
    assert any(text.startswith(f"{closed}: {counted(len(others), 'ring')} (") for text in told)
    rows = rows_of(tables(own_blocks(made))["Rings"])
    # Of both pieces of the pair.
    assert sum(int(row[linked]) for row in rows) == 2 * len(rings)
    assert sum(int(row[closed]) for row in rows) == 2 * len(others)
    words = "\n".join(plan_lines(made.plan, made.design.service))
    assert (
        f"{linked}: {order.opened.count}, {closed[0].lower()}{closed[1:]}: {len(order.opened.closed)};"
        in words
    )
    assert hands_of(made.design.service).note in tables(own_blocks(made))["Rings"].notes


def test_cost_is_only_what_the_service_has_no_part_in(rich):
    table = tables(own_blocks(made_by(rich, LOOSE)))["Cost and time by hand"]
    rows = {row["What"]: row["Amount"] for row in rows_of(table)}
    # Two of each: at 1.50, 0.80 and a bead at 0.45 EUR.
    assert [rows[name] for name in rows if "hook" in name] == ["3.00 EUR"]
    assert [rows[name] for name in rows if "drop" in name] == ["1.60 EUR", "0.90 EUR"]
    order, rings = rich.plan.order, sum(count.count for count in rich.counts)
    members = rich.placement.graph.members
    own = 2 * sum(members[body].size.name in ("petal", "jump") for body in order.opened.opened)
    linked = 2 * order.opened.count
    seconds = 12 * linked + 20 * (linked + rings - own) + 2 * 300 + 2 * 240
    assert rows["work"] == f"{seconds * 24 / 3600:.2f} EUR"
    assert NO_PRICE in table.notes
    assert not any("petal" in what or "price" in what or "overhead" in what for what in rows)
    last = plan_lines(rich.plan, made_by(rich, LOOSE).design.service)[-1]
    assert last == f"Work by hand: {seconds / 60:.0f} min, {rows['work'].split()[0]} EUR. {NO_PRICE}"


def test_without_prices_no_cost_is_told_of_what_a_service_makes(small):
    for process in (WAX, LOOSE, "resin"):
        made = made_by(small, process)
        told = texts(own_blocks(made))
        assert "Cost and time" not in told
        assert "Prices and times: not given. Nothing is guessed." in told
        assert not any(NO_PRICE in line for line in plan_lines(made.plan, made.design.service))


def test_a_class_shares_spare_rings_by_the_services_rule(rich):
    made = made_by(rich, LOOSE, spare=0.2)
    table = tables(own_blocks(made))["Rings of a class"]
    for row, kit in zip(rows_of(table), rich.plan.classroom.kit_rings, strict=True):
        every = 13 * kit.count  # 12 students and who teaches
        assert int(row["In all kits"].replace(",", "")) == every
        assert int(row["Shared spare"].replace(",", "")) == -(-every // 5)
        assert int(row["In all"].replace(",", "")) == every + -(-every // 5)
    total = sum(int(row["In all"].replace(",", "")) for row in rows_of(table))
    assert any(f"{total:,} rings with shared" in line for line in plan_lines(made.plan, made.design.service))
    assert any("for one kit" in note for note in table.notes)


def test_for_others_no_cost_of_a_service_is_told(rich):
    bench = replace(rich.design.bench, hand_out=True)
    for process in (WAX, LOOSE):
        made = made_by(replace(rich, design=replace(rich.design, bench=bench)), process)
        told = texts(own_blocks(made))
        assert not {NO_PRICE, "Cost and time", "Rings at hand", "For a class"} & set(told)
        assert not any("EUR" in text for text in told)


def test_a_piece_that_does_not_hold_is_told_of_wire_only(rich):
    weak = replace(rich.plan, strength=replace(rich.plan.strength, weight=30.0, tug=20.0, holds="no"))
    made = replace(rich, plan=weak)
    assert any("not reckoned to hold" in text for text in texts(own_blocks(made)))
    for process in (WAX, LOOSE, "filament"):
        assert not any("not reckoned to hold" in text for text in texts(own_blocks(made_by(made, process))))


# --- cautions -------------------------------------------------------------------------------------


def test_cautions_are_of_what_is_done(small):
    def heads(result):
        return [line.split(":")[0] for line in caution_lines(result)]

    has = {"brass": "Fumes", "stainless steel 316": "Nickel"}[small.metals.metals[0].name]
    own = heads(small)
    assert {"Eyes", "Hands", "Winding", "Heat", has, "Small children", "Rules"} == set(own)
    for process in (WAX, LOOSE):
        assert heads(made_by(small, process)) == [head for head in own if head != "Winding"]
    printed = heads(made_by(small, "powder"))
    metal = ["Nickel, where it is printed in metal"] if has == "Nickel" else []
    assert printed == ["Eyes", "Hands", *metal, "Small children", "Rules"]


def test_through_skin_is_told_of_prints_too(rich):
    assert any(line.startswith("Pierced skin") for line in caution_lines(made_by(rich, "resin")))
