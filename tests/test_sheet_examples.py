"""Sheets of unlike examples on paper: rich and small, with findings, in many metals; whoever prints them.

Pictures are drawn here, so that no graphics are needed; the words are those of the examples.
"""

import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from chaingen.design.bench import Paper
from chaingen.design.load import load_design
from chaingen.make.planning import plan_of
from chaingen.pipeline import build
from chaingen.show.sheet.content import SheetPictures, sheet_document
from chaingen.show.sheet.page import write_page
from chaingen.show.sheet.pdf import write_pdf
from tests import sheet_paper
from tests.sample_sheet import rings_picture

EXAMPLES = Path(__file__).parent.parent / "examples"
UNLIKE = ("all-keys-bench", "graduated-earring", "all-keys-sheet")


@pytest.fixture(scope="module", params=UNLIKE)
def shown(request, tmp_path_factory):
    """An example with its plan, pictures for it, and a folder."""
    folder = tmp_path_factory.mktemp(request.param)
    result = build(load_design(EXAMPLES / f"{request.param}.toml"))
    result = replace(result, plan=plan_of(result))
    assert result.plan.order is not None
    whole = rings_picture(folder / "whole.png", 1600, 1000, 3)
    step = rings_picture(folder / "step.png", 700, 500, 2)
    return result, SheetPictures(whole, (step,) * len(result.plan.order.distinct)), folder


def document_of(shown, paper):
    result, pictures, _ = shown
    bench = replace(result.design.bench, paper=Paper(paper))
    return sheet_document(replace(result, design=replace(result.design, bench=bench)), pictures)


def assert_good_paper(path, document, paper):
    pdf = sheet_paper.opened(path)
    try:
        sheet_paper.assert_paper(pdf, paper)
        sheet_paper.assert_renders(pdf)
        sheet_paper.assert_nothing_cut(pdf)
        sheet_paper.assert_nothing_overlaps(pdf)
        sheet_paper.assert_all_said(pdf, document)
        for text in sheet_paper.page_texts(pdf)[1:]:
            # A page of its own for a line or two is not paid for.
            assert len(sheet_paper.squeezed(text)) > 150
    finally:
        pdf.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_pdf(shown, paper):
    document = document_of(shown, paper)
    write_pdf(shown[2] / f"{paper}.pdf", document)
    assert_good_paper(shown[2] / f"{paper}.pdf", document, paper)


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_page_as_a_browser_prints_it(shown, paper):
    from playwright.sync_api import sync_playwright

    place = os.environ.get("CHROMIUM") or shutil.which("chromium")
    assert place, "no chromium on the path"
    document = document_of(shown, paper)
    page, printed = shown[2] / "sheet.html", shown[2] / f"{paper}-printed.pdf"
    write_page(page, document)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=place, args=["--no-sandbox"])
        tab = browser.new_page()
        tab.goto(page.as_uri())
        tab.evaluate("document.fonts.ready")
        tab.pdf(path=printed, format=paper)
        browser.close()
    assert_good_paper(printed, document, paper)
