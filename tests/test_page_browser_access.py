"""For those who use no mouse or do not see the page: the way by the keyboard, and what axe finds.

AXE names the script of axe-core.
"""

import os
from pathlib import Path

import pytest

from chaingen import build, parse_design
from chaingen.design.starter import starter_design
from chaingen.show.words import headline
from tests.page_driver import chromium, visiting

pytestmark = pytest.mark.browser

TEXT = starter_design("two-in-one", repeat=5)
OTHER = starter_design("one-in-one", repeat=5)


@pytest.fixture(scope="module")
def axe():
    place = os.environ.get("AXE")
    assert place, "AXE names no script of axe-core"
    return Path(place).read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


def assert_accessible(visit, axe):
    """No rule of axe-core is broken seriously: its rules for WCAG 2.2 A and AA, and best practices."""
    visit.page.evaluate(axe)
    found = visit.page.evaluate("axe.run(document, { resultTypes: ['violations', 'passes'] })")
    assert len(found["passes"]) > 15
    grave = [one for one in found["violations"] if one["impact"] in ("serious", "critical")]
    assert not grave, [(one["id"], one["help"], [n["html"][:120] for n in one["nodes"]]) for one in grave]


@pytest.mark.parametrize("size", [(390, 844), (1280, 900)], ids=["narrow", "wide"])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_axe_on_the_first_page(browser, server, axe, size, dark):
    with visiting(browser, server, size=size, dark=dark) as visit:
        visit.open()
        visit.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert_accessible(visit, axe)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_axe_on_catalogue_errors_and_comparison(browser, server, axe, dark):
    with visiting(browser, server, size=(1280, 900), dark=dark) as visit:
        visit.open()
        with visit.catalogue():
            visit.shot(f"catalogue-{'dark' if dark else 'light'}")
            assert_accessible(visit, axe)
        visit.write(TEXT.replace('wire = "18 AWG"', 'wire = "18 gauge"'))
        assert visit.errors()
        visit.shot(f"errors-{'dark' if dark else 'light'}")
        assert_accessible(visit, axe)
        for text in (TEXT, OTHER):
            visit.write(text)
            visit.settled()
            visit.keep()
        with visit.compared():
            assert_accessible(visit, axe)
        visit.rest("hang")
        visit.shot(f"hung-{'dark' if dark else 'light'}")
        assert_accessible(visit, axe)


FOCUS = """() => {
  const seen = e => { const s = getComputedStyle(e);
    return (s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 1) || s.boxShadow !== 'none'; };
  const one = document.activeElement;
  const near = [one, one.nextElementSibling, one.closest('label')].filter(Boolean);
  return [near.some(seen), one.outerHTML.slice(0, 100)];
}"""


def tab_to(visit, selector, *, back=False, most=120):
    """Tab until something has the focus; wherever it stops on the way, that is seen."""
    for _ in range(most):
        if visit.page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
        visit.page.keyboard.press("Shift+Tab" if back else "Tab")
        seen, what = visit.page.evaluate(FOCUS)
        if not what.startswith(("<body", "<html")):
            assert seen, f"focus is not seen on {what}"
    raise AssertionError(f"no way by Tab to {selector}")


def test_all_of_it_by_the_keyboard(browser, server, tmp_path):
    """Choose a weave, change a size, read the verdict, let it hang, save: no mouse."""
    with visiting(browser, server, size=(1280, 900)) as visit:
        visit.open()
        keys = visit.page.keyboard
        tab_to(visit, "#choose")
        before = visit.text()
        keys.press("Enter")
        visit.until("document.activeElement.id === 'choose-search'")
        keys.type("captive")
        keys.press("ArrowDown")
        assert visit.page.evaluate("document.activeElement.dataset.choice") == "captive-ring"
        keys.press("Enter")
        visit.until("old => document.querySelector('#design-text').value !== old", before)
        visit.settled()
        chosen = visit.text()
        tab_to(visit, "[data-size] input[type=range]")
        keys.press("ArrowRight")
        visit.settled()
        assert visit.text() != chosen
        built = build(parse_design(visit.text()))
        assert visit.headline() == headline(built)
        # The verdict is spoken too.
        assert visit.page.locator("#announce").inner_text() == headline(built)
        tab_to(visit, "[data-scene=hang]")
        keys.press("Enter")
        visit.page.locator("#rest-words").wait_for()
        keys.press("Escape")
        with visit.page.expect_download() as download:
            keys.press("Control+s")
        download.value.save_as(tmp_path / "saved.toml")
        assert (tmp_path / "saved.toml").read_bytes().decode() == visit.text()


def test_focus_stays_in_a_dialog_and_comes_back(browser, server):
    with visiting(browser, server, size=(900, 700)) as visit:
        visit.open()
        visit.page.locator("#choose").focus()
        visit.page.keyboard.press("Enter")
        visit.page.locator("#choose-dialog").wait_for()
        for _ in range(60):
            visit.page.keyboard.press("Tab")
            inside = "document.activeElement === document.body || !!document.activeElement.closest('dialog')"
            assert visit.page.evaluate(inside)
        visit.page.keyboard.press("Escape")
        assert visit.page.evaluate("document.activeElement.id") == "choose"


def test_skip_link_leads_to_the_verdict(browser, server):
    with visiting(browser, server, size=(900, 700)) as visit:
        visit.open()
        visit.page.keyboard.press("Tab")
        assert visit.page.evaluate("document.activeElement.textContent") == "Skip to the verdict"
        visit.page.keyboard.press("Enter")
        assert visit.page.evaluate("document.activeElement.id") == "headline"
