"""Long solves, newer changes, two tabs, and what happens when the server or one of its workers dies."""

import os
import re
import signal
import time

import pytest

from chaingen import build, parse_design
from chaingen.design.piece_starter import starter_piece
from chaingen.design.starter import starter_design
from chaingen.page.sessions import MOST_SESSIONS
from chaingen.show.words import headline
from tests.page_designs import own_design
from tests.page_driver import chromium, served, visiting
from tests.page_server import PATIENCE

pytestmark = pytest.mark.browser

SHORT = starter_design("one-in-one", repeat=6)
OTHER = starter_design("two-in-one", repeat=4, metal="copper")


def long_one(title):
    """A design that takes several seconds; of another title, so that no answer is known already."""
    return starter_piece("linked-bracelet", title=title)


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture
def visit(browser, server):
    with visiting(browser, server, size=(700, 500)) as visit:
        yield visit.open()


def test_long_solve_says_what_it_does_and_is_cancelled(visit):
    visit.write(SHORT)
    visit.settled()
    before = visit.headline()
    visit.write(long_one("Cancelled"))
    working = visit.working()
    words, doing = [], set()
    # What is done, by the words of the package that come one after another, and for how long by now.
    end = time.monotonic() + PATIENCE
    while len(words) < 20 or len(doing) < 2:
        assert time.monotonic() < end, words
        words.append(working.inner_text())
        what = words[-1].partition(" …")[0]
        doing |= {what[0].lower() + what[1:]} - {"getting ready"}
        visit.page.wait_for_timeout(100)
    seconds = [float(re.search(r"([\d.]+) s$", one)[1]) for one in words]
    assert seconds == sorted(seconds)
    assert seconds[-1] > seconds[0]
    visit.press("Cancel")
    assert "Stopped" in visit.banner()
    visit.idle()
    # What is still shown is told to be of before, and the next change is answered as ever.
    visit.write(OTHER)
    visit.settled()
    assert visit.headline() == headline(build(parse_design(OTHER))) != before
    with pytest.raises(AllTold):
        build(parse_design(long_one("Cancelled")), on_progress=telling(doing))


class AllTold(Exception):
    """The package has told all that was shown."""


def telling(shown):
    """Hears what the package tells, until that is all that was shown."""
    told = set()

    def tell(words):
        told.add(words)
        if shown <= told:
            raise AllTold

    return tell


def test_newer_change_replaces_a_long_solve(visit):
    visit.write(long_one("Replaced"))
    visit.working()
    visit.write(OTHER)
    visit.settled()
    built = build(parse_design(OTHER))
    assert visit.headline() == headline(built)
    assert visit.number("rings") == built.counts[0].count
    # The long one would have been there by now, had it not been given up.
    visit.page.wait_for_timeout(3000)
    assert visit.headline() == headline(built)
    assert visit.text() == OTHER


def test_worker_that_dies_is_told_and_the_next_solve_works(visit, server):
    visit.write(SHORT)
    visit.settled()
    visit.write(long_one("Killed"))
    visit.working()
    os.kill(server.busiest(), signal.SIGKILL)
    words = visit.banner()
    assert "Killed" not in words
    assert "Traceback" not in words
    visit.write(OTHER)
    visit.settled()
    assert visit.headline() == headline(build(parse_design(OTHER)))
    assert server.process.poll() is None


def test_two_tabs_do_not_mix(browser, server):
    with (
        visiting(browser, server, size=(600, 450)) as one,
        visiting(browser, server, size=(600, 450)) as two,
    ):
        one.open()
        two.open()
        one.write(SHORT)
        two.write(OTHER)
        one.settled()
        two.settled()
        for visit, text in ((one, SHORT), (two, OTHER), (one, SHORT)):
            built = build(parse_design(text))
            assert visit.text() == text
            assert visit.headline() == headline(built)
            assert visit.number("rings") == sum(count.count for count in built.counts)
        # A slider of one follows the piece of that one.
        one.nudge("Inside diameter of link", "ArrowRight", 3)
        one.settled()
        assert one.headline() == headline(build(parse_design(one.text())))
        assert two.text() == OTHER


def test_server_that_ends_is_told_in_words(browser, tmp_path):
    with served(tmp_path) as server, visiting(browser, server, allowed="ERR_|failed") as visit:
        visit.open()
        assert not visit.page.locator("#banner").is_visible()
        server.kill()
        visit.nudge("Inside diameter of link", "ArrowRight", 1)
        banner = visit.page.locator("#banner")
        banner.wait_for(state="visible")
        assert "chaingen page" in banner.inner_text()


def test_files_beside_the_design_come_along_into_a_new_session(browser, tmp_path):
    """So many other pages are opened that the server lets the session go; two requests find it so at once."""
    design, beside = own_design(tmp_path, "keepnet")
    with (
        served(tmp_path) as server,
        visiting(browser, server, size=(900, 700), allowed="40[0-9]") as visit,
    ):
        visit.open()
        visit.open_files(beside, design)
        visit.until("text => document.querySelector('#design-text').value === text", design.read_text())
        visit.settled()
        statuses = visit.page.evaluate(
            """async most => {
              const found = [];
              for (let k = 0; k < most; k++) {
                const asked = { method: 'POST', body: '{}', headers: { 'Content-Type': 'application/json' } };
                const answer = await fetch('/api/session', asked);
                await answer.text();
                found.push(answer.status);
              }
              return found;
            }""",
            MOST_SESSIONS,
        )
        assert set(statuses) == {200}
        visit.pick("Metal", "copper")
        visit.settled()
        assert 'metal = "copper"' in visit.text()
        assert visit.headline() == headline(build(parse_design(visit.text(), folder=tmp_path)))
        # It was let go indeed.
        assert [line for line in visit.wrong if "/api/look" in line]
        assert not visit.page.locator("#banner").is_visible()
