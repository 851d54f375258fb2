import builtins
import re

import numpy as np
import pypdfium2
import pytest
import segno
import typst

from chaingen.errors import CannotDraw
from chaingen.show.sheet.document import (
    Bullets,
    Document,
    Heading,
    Instruction,
    Instructions,
    Paragraph,
    Table,
)
from chaingen.show.sheet.pdf import pdf_bytes, write_pdf
from tests import sheet_paper
from tests.sample_sheet import CYRILLIC_TITLE, DESIGN, LONG_TITLE, SCRIPT_TITLE, TYPED, rings_picture, sample


@pytest.fixture(scope="module", params=["A4", "Letter"])
def made(request, tmp_path_factory):
    """The sample on one paper: its document and the PDF, opened by a library that did not write it."""
    folder = tmp_path_factory.mktemp("sheet")
    title = {"A4": CYRILLIC_TITLE, "Letter": LONG_TITLE}[request.param]
    document = sample(folder, title=title, paper=request.param)
    write_pdf(folder / "sheet.pdf", document)
    pdf = sheet_paper.opened(folder / "sheet.pdf")
    yield document, pdf
    pdf.close()


def test_paper(made):
    document, pdf = made
    sheet_paper.assert_paper(pdf, document.paper)


def test_every_page_is_drawn(made):
    sheet_paper.assert_renders(made[1])


def test_nothing_is_cut(made):
    sheet_paper.assert_nothing_cut(made[1])


def test_nothing_overlaps(made):
    sheet_paper.assert_nothing_overlaps(made[1])


def test_everything_is_said_as_typed(made):
    document, pdf = made
    sheet_paper.assert_all_said(pdf, document)


def test_pictures_are_fine(made):
    sheet_paper.assert_fine_pictures(made[1], 13)


def test_code_reads(made):
    sheet_paper.assert_code_reads(made[1], DESIGN, len(segno.make_qr(DESIGN, error="m").matrix))


def test_heads_repeat(made):
    document, pdf = made
    table = next(block for block in document.blocks if isinstance(block, Table) and len(block.rows) > 60)
    assert sheet_paper.assert_heads_repeat(pdf, table.head, table.rows) >= 2


def test_pages_are_numbered_and_have_the_foot(made):
    document, pdf = made
    for number, text in enumerate(sheet_paper.page_texts(pdf), 1):
        assert f"{number} / {len(pdf)}" in text
        assert document.foot in text


def test_title_language_and_tags(made):
    document, pdf = made
    assert pdf.get_metadata_dict()["Title"].replace("\u00a0", " ") == document.title
    assert pdf.is_tagged()


def test_same_bytes_each_time_and_no_date(tmp_path):
    first, second = (pdf_bytes(sample(tmp_path)) for _ in range(2))
    assert first == second
    assert b"CreationDate" not in first
    # PDF/UA-1 asks for its mark, a language and tags (ISO 14289-1).
    assert b"<pdfuaid:part>1</pdfuaid:part>" in first
    assert re.search(rb"/Lang\s*\(en\)", first)


@pytest.mark.parametrize("title", [SCRIPT_TITLE, TYPED, "é ß ½ € Ø", "W" * 200, "鎖", "a\nb", ""])
def test_any_title(tmp_path, title):
    document = Document(title, "", (Paragraph("Words enough to fill a line of the page, and a few more."),))
    write_pdf(tmp_path / "sheet.pdf", document)
    pdf = sheet_paper.opened(tmp_path / "sheet.pdf")
    assert pdf.get_metadata_dict()["Title"] == (title.replace("\n", " ") or "Sheet")
    sheet_paper.assert_nothing_cut(pdf)
    if title != "鎖":  # no letter of our own: another on the machine's stands for it, or a blank
        assert sheet_paper.squeezed(title) in sheet_paper.squeezed(sheet_paper.page_texts(pdf)[0])
    pdf.close()


@pytest.mark.parametrize(
    "typed", [*TYPED.split(" "), "#panic()", '#read("/etc/passwd")', "\\u{41}", "= Heading", "'it's'"]
)
def test_typed_signs_stay_as_they_are_everywhere(tmp_path, typed):
    blocks = (
        Heading(typed),
        Paragraph(typed, strong=True),
        Table(typed, (typed, "b"), ((typed, typed),), notes=(typed,)),
        Instructions((Instruction(1, typed),)),
        Bullets((typed,)),
        Paragraph("A line of words so that the page is not all but empty."),
    )
    pdf = pypdfium2.PdfDocument(pdf_bytes(Document(typed, typed, blocks, foot=typed)))
    said = sheet_paper.squeezed(sheet_paper.page_texts(pdf)[0])
    # Title, subtitle, heading, paragraph, caption, head, two cells, note, instruction, bullet, foot.
    assert said.count(sheet_paper.squeezed(typed)) >= 12
    pdf.close()


def test_a_row_longer_than_a_page_is_not_lost(tmp_path):
    long = " ".join(f"word{k}" for k in range(3000))
    pdf = pypdfium2.PdfDocument(pdf_bytes(Document("t", "", (Table("c", ("a", "b"), ((long, "x"),)),))))
    said = sheet_paper.squeezed("".join(sheet_paper.page_texts(pdf)))
    assert "word0word1" in said
    assert "word2999" in said
    sheet_paper.assert_nothing_cut(pdf)
    pdf.close()


def test_many_columns_stay_on_the_paper():
    rows = tuple(tuple(f"{1000 * r + c}.25" for c in range(16)) for r in range(5))
    heads = tuple(f"Measurement {c}" for c in range(16))
    document = Document("Many", "", (Table("Sixteen columns", heads, rows, numbers=tuple(range(16))),))
    pdf = pypdfium2.PdfDocument(pdf_bytes(document))
    sheet_paper.assert_nothing_cut(pdf)
    sheet_paper.assert_nothing_overlaps(pdf)
    pdf.close()


def test_numbers_are_flush_right(made):
    """Weights of a long table end at one place, to the breadth of a hair."""
    _, pdf = made
    page = pdf[1]
    text = page.get_textpage()
    found = text.get_text_range()
    ends = []
    for hit in re.finditer(r"(\d\.\d\d).g", found):
        ends.append(text.get_charbox(hit.end() - 1)[2])
    assert len(ends) > 10
    assert np.ptp(ends) < 0.05


def test_without_the_typesetter_the_message_says_what_to_install(tmp_path, monkeypatch):
    real = builtins.__import__

    def without(name, *args, **kwargs):
        if name == "typst":
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(CannotDraw, match=r"pip install typst"):
        write_pdf(tmp_path / "sheet.pdf", Document("t", "", ()))
    assert not (tmp_path / "sheet.pdf").exists()


BROKEN = {
    "cut": "#place(dx: 165mm)[Words that run off the paper]",
    "overlap at": "#place(dy: 30mm)[HHHHHHHHH] #place(dy: 32mm)[MMMMMMMMMM]",
    "words on a picture": '#place(dy: 40mm, image("p.png", width: 40mm)) #place(dx: 5mm, dy: 50mm)[Words]',
    "pictures overlap": '#for y in (20mm, 30mm) { place(dy: y, image("p.png", width: 40mm)) }',
}


@pytest.mark.parametrize("fault", BROKEN)
def test_faults_are_found(tmp_path, fault):
    """What the checks above look for, set wrong on purpose."""
    rings_picture(tmp_path / "p.png", 300, 300, 1)
    source = '#set page(paper: "a4", margin: 18mm)\nWords enough that this page is not all but empty.\n'
    (tmp_path / "sheet.typ").write_text(source + BROKEN[fault])
    pdf = pypdfium2.PdfDocument(typst.compile(tmp_path / "sheet.typ"))
    check = sheet_paper.assert_nothing_cut if fault == "cut" else sheet_paper.assert_nothing_overlaps
    with pytest.raises(AssertionError, match=fault):
        check(pdf)
    pdf.close()


def test_missing_and_coarse_are_found(tmp_path):
    rings_picture(tmp_path / "p.png", 300, 300, 1)
    (tmp_path / "sheet.typ").write_text('#image("p.png", width: 40mm)\nTitle\n\nfirst\n\nlast')
    pdf = pypdfium2.PdfDocument(typst.compile(tmp_path / "sheet.typ"))
    with pytest.raises(AssertionError, match="pixels to the inch"):
        sheet_paper.assert_fine_pictures(pdf, 1)
    with pytest.raises(AssertionError, match="'lost' of 'lost' is missing"):
        sheet_paper.assert_all_said(pdf, Document("Title", "", (Paragraph("lost"),)))
    with pytest.raises(AssertionError, match="'first' is missing, or out of order"):
        sheet_paper.assert_all_said(pdf, Document("Title", "", (Paragraph("last"), Paragraph("first"))))
    pdf.close()
