"""The page as a real browser shows and prints it, and as a validator of HTML sees it.

CHROMIUM names the browser, HTML_VALIDATE the validator; else they are taken from the path.
"""

import json
import os
import shutil
import subprocess

import pytest
import segno
from PIL import Image

from chaingen.show.sheet import code
from chaingen.show.sheet.document import Code, Document, Paragraph, Table
from chaingen.show.sheet.page import write_page
from tests import sheet_paper
from tests.sample_sheet import CYRILLIC_TITLE, DESIGN, LONG_TITLE, SCRIPT_TITLE, sample

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    place = os.environ.get("CHROMIUM") or shutil.which("chromium")
    assert place, "no chromium on the path"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=place, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def page(browser, tmp_path_factory):
    """The sample in a browser, its document, and all that the browser asked for or complained of."""
    folder = tmp_path_factory.mktemp("page")
    document = sample(folder, title=LONG_TITLE)
    write_page(folder / "sheet.html", document)
    page = browser.new_page()
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto((folder / "sheet.html").as_uri())
    page.evaluate("document.fonts.ready")
    return page, document, folder, asked, said


@pytest.fixture(scope="module", params=["A4", "Letter"])
def printed(request, page):
    tab, document, folder, _, _ = page
    tab.pdf(path=folder / f"{request.param}.pdf", format=request.param)
    pdf = sheet_paper.opened(folder / f"{request.param}.pdf")
    yield document, pdf, request.param
    pdf.close()


def test_paper(printed):
    sheet_paper.assert_paper(printed[1], printed[2])


def test_every_page_is_drawn(printed):
    sheet_paper.assert_renders(printed[1])


def test_nothing_is_cut(printed):
    sheet_paper.assert_nothing_cut(printed[1])


def test_nothing_overlaps(printed):
    sheet_paper.assert_nothing_overlaps(printed[1])


def test_everything_is_said_as_typed(printed):
    document, pdf, _ = printed
    sheet_paper.assert_all_said(pdf, document)


def test_pictures_are_fine(printed):
    sheet_paper.assert_fine_pictures(printed[1], 13)


def test_code_reads(printed):
    sheet_paper.assert_code_reads(printed[1], DESIGN, len(segno.make_qr(DESIGN, error="m").matrix))


def test_heads_repeat(printed):
    document, pdf, _ = printed
    table = next(block for block in document.blocks if isinstance(block, Table) and len(block.rows) > 60)
    assert sheet_paper.assert_heads_repeat(pdf, table.head, table.rows) >= 2


def test_pages_are_numbered_and_have_the_foot(printed):
    document, pdf, _ = printed
    for number, text in enumerate(sheet_paper.page_texts(pdf), 1):
        assert f"{number} / {len(pdf)}" in text
        assert document.foot in text


def test_nothing_else_is_asked_for(page):
    _, _, folder, asked, said = page
    assert [url for url in asked if not url.startswith("data:")] == [(folder / "sheet.html").as_uri()]
    assert not said


def test_own_letters_are_used(page):
    tab = page[0]
    assert tab.evaluate("[...document.fonts].map(font => font.status)") == ["loaded", "loaded"]


@pytest.mark.parametrize("width", [390, 1600])
def test_screen_needs_no_scrolling_sideways(page, width, tmp_path):
    tab = page[0]
    tab.set_viewport_size({"width": width, "height": 900})
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    # Only a table may be wider than the screen, and scrolls within its own frame.
    wider = tab.evaluate(
        "[...document.querySelectorAll('main *')].filter(e => !e.closest('table')"
        " && e.getBoundingClientRect().right > innerWidth + 0.5).map(e => e.outerHTML.slice(0, 80))"
    )
    assert wider == []
    reached = tab.evaluate(
        "[...document.querySelectorAll('.table')].map(box => { box.scrollLeft = 1e6;"
        " const [table, frame] = [box.firstElementChild, box].map(e => e.getBoundingClientRect().right);"
        " const most = box.scrollLeft; box.scrollLeft = 0; return [most, table - frame]; })"
    )
    # Scrolled as far as it goes, the end of every table is in its frame.
    assert all(beyond <= 1.0 for _, beyond in reached)
    assert any(most > 50.0 for most, _ in reached) == (width == 390)
    tab.screenshot(path=tmp_path / "screen.png", full_page=True)
    with Image.open(tmp_path / "screen.png") as picture:
        assert picture.width == width


def test_code_beside_a_table_is_as_large_on_a_small_screen(browser, tmp_path):
    table = Table("c", ("What", "How much"), (("rings", "12"),), (1,))
    write_page(tmp_path / "sheet.html", Document("t", "", (table, Code(DESIGN, "The text of the design."))))
    tab = browser.new_page(viewport={"width": 390, "height": 900})
    tab.goto((tmp_path / "sheet.html").as_uri())
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    across = tab.evaluate("document.querySelector('.beside .code svg').getBoundingClientRect().width")
    # 96 pixels to the inch, as style sheets have it.
    assert across == pytest.approx(round(code.across(DESIGN)) / 25.4 * 96.0, abs=1.0)
    tab.close()


def test_figures_are_of_one_width_in_columns_of_numbers_alone(browser, tmp_path):
    table = Table("c", ("What", "How much"), (("two-in-one", "12"),), (1,))
    write_page(tmp_path / "sheet.html", Document("t", "", (Paragraph("two-in-one"), table)))
    tab = browser.new_page()
    tab.goto((tmp_path / "sheet.html").as_uri())
    tab.evaluate("document.fonts.ready")

    def wide(letter, within):
        return tab.evaluate(
            "([letter, within]) => { const e = document.createElement('i');"
            " e.style.cssText = 'font-style: normal; font-size: 100px'; e.textContent = letter;"
            " document.querySelector(within).append(e); const w = e.getBoundingClientRect().width;"
            " e.remove(); return w; }",
            [letter, within],
        )

    for within in ("p", "td:not(.number)"):
        assert wide("-", within) < 50.0
    assert wide("1", "td.number") == pytest.approx(wide("8", "td.number"), abs=0.1)
    tab.close()


@pytest.mark.parametrize("title", ["Harbour bracelet", CYRILLIC_TITLE, SCRIPT_TITLE])
def test_validator_finds_nothing(tmp_path, title):
    """html-validate, its recommended rules."""
    place = os.environ.get("HTML_VALIDATE") or shutil.which("html-validate")
    assert place, "no html-validate on the path"
    write_page(tmp_path / "sheet.html", sample(tmp_path, title=title))
    # A title is as long as its maker wants; the rule is for how search engines show it.
    rules = {"root": True, "extends": ["html-validate:recommended"], "rules": {"long-title": "off"}}
    (tmp_path / ".htmlvalidate.json").write_text(json.dumps(rules))
    done = subprocess.run(
        [place, "--max-warnings", "0", "sheet.html"], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
