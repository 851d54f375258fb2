"""A sheet for others: what it leaves out, in its text, its code and its table; and pictures of findings."""

import csv
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from chaingen.cli import main
from chaingen.design.load import load_design, parse_design
from chaingen.pipeline import build, export, plan
from chaingen.show.sheet.content import PRIVATE, SheetPictures, sheet_document
from chaingen.show.sheet.design_text import says_any, without_comments, without_keys
from chaingen.show.sheet.document import Code, Figure, Table
from chaingen.show.sheet.finding_figures import draw_findings, made_by_hand, size_words
from chaingen.show.sheet.measures import Measures
from tests.test_examples import EXAMPLES, ROOT


@pytest.fixture(scope="module")
def classy():
    return plan(build(load_design(ROOT / "examples" / "all-keys-bench.toml")))


def for_others(result):
    return replace(result, design=replace(result.design, bench=replace(result.design.bench, hand_out=True)))


def captions(result):
    return [
        block.caption for block in sheet_document(result, SheetPictures()).blocks if isinstance(block, Table)
    ]


def code_of(result):
    (code,) = (block for block in sheet_document(result, SheetPictures()).blocks if isinstance(block, Code))
    return code


def test_a_sheet_for_others_leaves_the_makers_own_out(classy):
    own, theirs = captions(classy), captions(for_others(classy))
    gone = [caption for caption in own if caption not in theirs]
    assert {
        "Made of rings at hand",
        "Rings of a class",
        "Material for a class",
        "Cost, time and price",
    } <= set(gone)
    assert {"Rings", "Wire and coils", "Mandrels", "Findings", "Lengths"} <= set(theirs)
    assert not [caption for caption in theirs if caption not in own]


def test_nothing_of_money_is_in_what_is_handed_out(classy, tmp_path):
    export(for_others(classy), tmp_path, pictures=False)
    page = (tmp_path / "sheet.html").read_text()
    text = re.sub(r"data:[^\"')]*", "", page)
    for secret in ("EUR", "32.13", "an hour", "markup", "12 students"):
        assert secret not in text
    with (tmp_path / "sheet.csv").open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert rows
    assert not any(row["cost"] or row["currency"] for row in rows)
    export(classy, tmp_path / "own", pictures=False)
    assert "32.13" in (tmp_path / "own" / "sheet.html").read_text()


def test_the_code_of_a_design_can_be_read_elsewhere(classy, tmp_path):
    """With a settings file named it would not be, and prices are nobody's business."""
    own, theirs = code_of(classy), code_of(for_others(classy))
    assert "settings" not in own.text
    assert "prices" in own.text
    design = parse_design(own.text, folder=tmp_path)
    whole = load_design(ROOT / "examples" / "all-keys-bench.toml")
    assert (design.piece, design.ends, design.length) == (whole.piece, whole.ends, whole.length)
    assert not set(tomllib.loads(theirs.text)) & set(PRIVATE)
    parse_design(theirs.text, folder=tmp_path)
    assert "comments and what is said of the bench" in theirs.caption


def test_the_code_is_in_the_pdf(classy, tmp_path):
    import pypdfium2

    export(classy, tmp_path, pictures=False)
    document = pypdfium2.PdfDocument(tmp_path / "sheet.pdf")
    found = [
        code.text
        for number in range(len(document))
        for code in zxingcpp.read_barcodes(document[number].render(scale=3).to_pil())
    ]
    document.close()
    assert [text.replace("\r\n", "\n") for text in found] == [code_of(classy).text]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_examples_without_what_is_private(path):
    text = path.read_text(encoding="utf-8")
    short = without_keys(text, PRIVATE)
    assert short is not None
    assert not says_any(short, PRIVATE)
    kept = parse_design(short, folder=path.parent)
    whole = load_design(path)
    assert (kept.piece, kept.ends, kept.title) == (whole.piece, whole.ends, whole.title)


@given(
    st.lists(
        st.sampled_from(
            (
                'settings = "a.toml"', 'title = "[prices]"', 'note = """\n[prices]\nx = 1\n"""',
                "[prices]\nper_hour = 3", '["prices".each]\nhook = 1', "[[owned]]\ncount = 1",
                "[bench]\nbag = 3",
                "[rings.link]\nwire = 1", "# [prices]", "prices.per_hour = 2",
                "[a]\nlist = [\n  [1],\n  [2],\n]",
            )
        ),
        max_size=6, unique=True,
    )
)  # fmt: skip
def test_what_is_left_says_the_rest(lines):
    text = "\n".join(lines) + "\n"
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assert without_keys(text, PRIVATE) is None
        return
    short = without_keys(text, PRIVATE)
    # Where a text within quotes looks like a table, nothing is printed rather than something wrong.
    if short is not None:
        assert tomllib.loads(short) == {name: said[name] for name in said if name not in PRIVATE}
    elif '"""' not in text and "list" not in text:
        pytest.fail(text)
    assert without_keys(text, ()) == without_comments(text)


def test_the_command_line_makes_a_sheet_for_others(tmp_path):
    design = ROOT / "examples" / "two-in-one.toml"
    run = CliRunner().invoke(
        main, ["make", str(design), "--out", str(tmp_path), "--no-pictures", "--hand-out"]
    )
    assert run.exit_code == 0, run.output
    assert "EUR" not in re.sub(r"data:[^\"')]*", "", (tmp_path / "sheet.html").read_text())


def test_findings_made_by_hand_are_drawn_with_their_sizes(tmp_path):
    result = build(load_design(ROOT / "examples" / "lantern-bracelet.toml"))
    by_hand = [entry.finding for entry in made_by_hand(result)]
    # A lobster clasp is bought.
    assert [finding.kind for finding in by_hand] == ["loop link", "closed ring"]
    pictures = draw_findings(tmp_path, result)
    assert list(pictures) == [finding.name for finding in by_hand]
    assert all(np.asarray(Image.open(path)).std() > 5.0 for path in pictures.values())
    bench = result.design.bench
    words = [size_words(finding, Measures(bench.units)) for finding in by_hand]
    assert "3 mm" in words[0]
    assert "loop" in words[0]
    # As the design says: inside = "5 mm".
    assert words[1].startswith("Closed ring 'catch'")
    assert "5 mm" in words[1]
    document = sheet_document(plan(result), SheetPictures(findings=pictures))
    figures = [block for block in document.blocks if isinstance(block, Figure)]
    assert [Path(figure.path).name for figure in figures] == ["finding-1.png", "finding-2.png"]
