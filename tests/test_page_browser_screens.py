"""The page on small and wide screens, light and dark: what is seen, what it weighs, how it is drawn.

PAGE_SHOTS names a folder to keep the screenshots and what was measured in.
"""

import numpy as np
import pytest

from chaingen.design.starter import starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.weave.catalogue import find_weave
from tests.page_driver import chromium, drawn, served, visiting

pytestmark = pytest.mark.browser

NARROW, WIDE = (390, 844), (1600, 1000)
MOST_BYTES = 400_000
TOO_SMALL = starter_design("two-in-one", inside="1.9 mm", repeat=4)


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_screen(browser, server, size, dark):
    with visiting(browser, server, size=size, dark=dark, touch=size == NARROW, sharp=True) as visit:
        visit.open()
        visit.settled()
        page = visit.page
        visit.shot(f"{size[0]}-{'dark' if dark else 'light'}")
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        for part in ("#view", "#headline", "#facts", "#choose", "#undo", "#save"):
            assert page.locator(part).is_visible()
            box = page.locator(part).bounding_box()
            assert box["x"] >= 0.0
            assert box["x"] + box["width"] <= size[0] + 0.5
        # The piece and the verdict are seen without scrolling.
        for part in ("#view", "#headline"):
            box = page.locator(part).bounding_box()
            assert box["y"] + box["height"] <= size[1]
        pixels = visit.pixels()
        shown = drawn(pixels)
        assert 0.01 < shown.mean() < 0.9
        # It fills the frame one way or the other, and is whole.
        high, wide = (np.flatnonzero(shown.any(axis=axis)) for axis in (1, 0))
        filled = max(np.ptp(high) / shown.shape[0], np.ptp(wide) / shown.shape[1])
        assert 0.6 < filled < 1.0
        assert (pixels.mean() < 128.0) == dark


def test_piece_that_does_not_fit_is_marked(browser, server):
    """Without any colour too: the marked picture differs in lightness, and words in the view say which."""
    with visiting(browser, server, size=(900, 700), sharp=True) as visit:
        visit.open()
        visit.write(TOO_SMALL)
        visit.settled()
        visit.shot("does-not-fit")
        assert len(visit.labels()) >= 1
        assert all("mm" in label for label in visit.labels())


def test_nothing_is_wider_than_a_small_screen_with_all_panels_open(browser, server):
    with visiting(browser, server, size=NARROW, touch=True) as visit:
        visit.open()
        visit.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= NARROW[0]
        wider = visit.page.evaluate(
            "[...document.querySelectorAll('body *')].filter(e => e.checkVisibility()"
            " && !e.closest('textarea, .editor, .sr, .skip')"
            " && e.getBoundingClientRect().right > innerWidth + 0.5).map(e => e.outerHTML.slice(0, 80))"
        )
        assert wider == []


def test_touch_targets_are_large_enough(browser, server):
    """At least 24 px either way, WCAG 2.2 criterion 2.5.8; on small screens this page keeps to 40."""
    with visiting(browser, server, size=NARROW, touch=True) as visit:
        visit.open()
        small = visit.page.evaluate(
            "[...document.querySelectorAll('button, summary, select')].filter(e => e.checkVisibility())"
            ".map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 80)])"
            ".filter(([box]) => box.width && Math.min(box.width, box.height) < 39.5).map(([, html]) => html)"
        )
        assert small == []


def test_first_opening(browser, tmp_path):
    """The first picture is drawn from the first full answer; all that came weighs less than 400 kB."""
    with served(tmp_path) as server:
        with visiting(browser, server) as warm:
            warm.open()
        with visiting(browser, server, size=(1280, 800)) as visit:
            visit.page.goto(server.address, wait_until="commit")
            visit.until("window.page && window.page.ready")
            after = visit.page.evaluate("performance.now()")
            visit.settled()
            total = sum(visit.weight.values())
            weights = dict(sorted(visit.weight.items(), key=lambda item: -item[1]))
            visit.note("first-opening", {"first picture, ms": after, "bytes": total, "of them": weights})
            paths = [url.removeprefix(server.address) for url in visit.urls]
            assert paths.index("api/session") < paths.index("api/look")
            assert {"assets/main.js", "assets/three.js", "assets/page.css"} <= visit_names(visit)
            assert total < MOST_BYTES


def visit_names(visit):
    return {url.removeprefix(visit.server.address) for url in visit.weight}


def test_thousand_rings_are_one_draw_call_a_kind(browser, server):
    text = starter_weave(find_weave("european-4-in-1"), columns=30, rows=17)
    with visiting(browser, server, size=(900, 700), sharp=True) as visit:
        visit.open()
        visit.write(text)
        visit.settled()
        assert visit.number("rings") > 1000
        stats = visit.page.evaluate(
            """async text => {
              const headers = { 'Content-Type': 'application/json' };
              const ask = (path, body) =>
                fetch(path, { method: 'POST', body: JSON.stringify(body), headers });
              headers['X-Session'] = (await (await ask('/api/session', {})).json()).session;
              const said = await (await ask('/api/look', { text, changes: [], quick: false })).text();
              const { look } = JSON.parse(said.trim().split('\\n').at(-1));
              const { View } = await import('/assets/view.js');
              const canvas = Object.assign(document.createElement('canvas'), { id: 'another' });
              canvas.style.cssText = 'position: fixed; inset: 0; width: 400px; height: 300px';
              const labels = document.createElement('div');
              document.body.append(canvas, labels);
              const view = new View(canvas, labels, { dark: false, still: true });
              view.show(look.piece, { keepCamera: false });
              view.mark(look);
              await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
              const stats = { ...view.stats(), kinds: look.piece.kinds.length,
                bodies: look.piece.kinds.reduce((sum, one) => sum + atob(one.bodies).length / 4, 0) };
              view.dispose();
              canvas.remove();
              labels.remove();
              return stats;
            }""",
            text,
        )
        visit.note("thousand-rings", stats)
        assert stats["bodies"] == visit.number("rings")
        assert stats["calls"] == stats["kinds"] == 1
        assert 10 * stats["bodies"] < stats["triangles"] <= 600_000


def test_orbit_changes_the_picture(browser, server):
    """By hand, by wheel and by key, and Home shows the whole again."""
    with visiting(browser, server, size=(900, 700), sharp=True) as visit:
        visit.open()
        box = visit.page.locator("#view").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        pictures = [visit.pixels()]

        def drag():
            visit.page.mouse.move(x, y)
            visit.page.mouse.down()
            visit.page.mouse.move(x + 90, y + 40, steps=4)
            visit.page.mouse.up()

        for act in (
            drag,
            lambda: visit.page.mouse.wheel(0, -300),
            lambda: visit.page.locator("#view").press("ArrowLeft"),
            lambda: visit.page.locator("#view").press("Shift+ArrowLeft"),
            lambda: visit.page.locator("#view").press("+"),
            lambda: visit.page.locator("#view").press("t"),
            lambda: visit.page.locator("#view").press("Home"),
        ):
            act()
            visit.page.wait_for_timeout(600)
            pictures.append(visit.pixels())
            assert (pictures[-1] != pictures[-2]).any()
        shown = drawn(pictures[-1])
        assert not shown[0].any()
        assert not shown[-1].any()


def test_close_up_and_whole_again(browser, server):
    with visiting(browser, server, size=(900, 700), sharp=True) as visit:
        visit.open()
        whole = visit.pixels()
        visit.press("Close up")
        visit.page.wait_for_timeout(600)
        close = visit.pixels()
        # A few rings fill the frame: far more of it is metal.
        assert drawn(close).mean() > 1.5 * drawn(whole).mean()
        visit.press("Whole")
        visit.page.wait_for_timeout(600)
        assert np.abs(visit.pixels() - whole).mean() < 1.0
        visit.page.locator("#view").press("c")
        visit.page.wait_for_timeout(600)
        assert np.abs(visit.pixels() - close).mean() < 1.0


@pytest.mark.parametrize("width", [768, 920, 1280])
def test_piece_and_verdict_take_the_height_however_far_the_sizes_are_scrolled(browser, server, width):
    height = 760
    with visiting(browser, server, size=(width, height)) as visit:
        visit.open()
        top = visit.page.locator(".top").bounding_box()
        assert top["height"] < 64.0
        assert visit.page.evaluate("document.documentElement.scrollWidth") <= width
        for down in (0, 500, 1000):
            visit.page.evaluate("down => scrollTo(0, down)", down)
            visit.page.wait_for_timeout(100)
            assert visit.page.evaluate("scrollY") == down
            stage = visit.page.locator("#stage").bounding_box()
            assert stage["y"] == pytest.approx(top["height"] + 16.0, abs=1.0)
            assert stage["y"] + stage["height"] == pytest.approx(height - 16.0, abs=1.0)
            verdict = visit.page.locator("#verdict").bounding_box()
            assert verdict["y"] + verdict["height"] == pytest.approx(height - 16.0, abs=3.0)


def test_top_of_a_small_screen_takes_two_rows(browser, server):
    with visiting(browser, server, size=NARROW, touch=True) as visit:
        visit.open()
        rows = {
            round(visit.page.locator(part).bounding_box()["y"])
            for part in ("#title", "#undo", "#redo", "#choose", "#open", "#save", "#theme")
        }
        assert max(rows) - min(rows) < 60.0
        assert visit.page.locator(".top").bounding_box()["height"] < 112.0


def test_theme_is_switched_and_kept(browser, server):
    with visiting(browser, server, size=(900, 700), sharp=True) as visit:
        visit.open()
        assert visit.pixels().mean() > 128.0
        visit.page.locator("#theme").select_option("dark")
        visit.page.wait_for_timeout(400)
        assert visit.pixels().mean() < 128.0
        visit.open()
        assert visit.pixels().mean() < 128.0
