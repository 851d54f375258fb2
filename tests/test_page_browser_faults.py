"""What goes wrong or comes too fast: nothing is lost, nothing old stands as if it were new."""

import json

import pytest

from chaingen import build, parse_design
from chaingen.design.starter import starter_design
from chaingen.show.words import headline
from tests.page_designs import own_design
from tests.page_driver import chromium, served, visiting

pytestmark = pytest.mark.browser

TEXT = starter_design("two-in-one", repeat=3)
INSIDE = "Inside diameter of link"


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def visit(browser, server):
    with visiting(browser, server, size=(900, 600)) as visit:
        yield visit.open()


@pytest.fixture(autouse=True)
def begun(visit):
    with visit.beginning(TEXT):
        yield


def make_models(visit):
    """Have the models made, and nothing else."""
    for tick in visit.page.locator("[id^=make-][type=checkbox]").all():
        tick.set_checked(tick.get_attribute("id") == "make-models")
    visit.page.locator("#make-files").click()
    visit.page.locator("#files-zip").wait_for()


def kinds(visit):
    """The kinds of the groups that are shown, in order."""
    return visit.page.evaluate(
        "[...document.querySelectorAll('select')].filter(e => /^Kind of group/.test(e.labels[0]?.textContent"
        " ?? e.getAttribute('aria-label'))).map(e => e.value)"
    )


@pytest.mark.parametrize("way", ["by key in the box", "by its button"])
def test_saved_is_what_was_typed_last(visit, tmp_path, way):
    with visit.slow_answers(0.6), visit.page.expect_download() as download:
        visit.box(INSIDE).fill("3.7 mm")
        if way == "by its button":
            visit.page.locator("#save").click()
        else:
            visit.page.keyboard.press("Control+s")
    download.value.save_as(tmp_path / "saved.toml")
    saved = parse_design((tmp_path / "saved.toml").read_text())
    assert saved.ring_sizes[0].inside_diameter == pytest.approx(3.7)


def test_groups_that_are_moved_twice_at_once_are_moved_once(visit):
    """The second press was made before the places after the first were shown."""
    assert kinds(visit) == ["side_by_side", "join"]
    visit.page.evaluate(
        """() => {
          const down = document.querySelector('[aria-label="Move group 1 down"]');
          down.click();
          down.click();
        }"""
    )
    visit.settled()
    assert kinds(visit) == ["join", "side_by_side"]
    assert visit.text().index("{ join = 1") < visit.text().index("{ side_by_side = 2")


def test_boxes_of_groups_follow_before_the_piece_is_worked_out(visit):
    visit.write(starter_design("rosette-pairs", repeat=4))
    visit.settled()
    count = len(kinds(visit))
    full = visit.page.evaluate("window.page.full")
    visit.press("rings side by side")
    visit.until("count => document.querySelectorAll('[data-key$=-remove]').length === count", count + 1)
    assert visit.page.evaluate("window.page.full") == full
    visit.settled()
    assert len(kinds(visit)) == count + 1


def test_a_choice_that_is_not_to_be_had_is_told_and_leaves_the_bench(visit):
    def refused(route):
        route.fulfill(content_type="application/json", body=json.dumps({"fault": "The worker has ended."}))

    visit.page.route("**/api/new", refused, times=1)
    with visit.catalogue() as catalogue:
        catalogue.card("one-in-one").click()
        wrong = visit.page.locator("#choose-wrong")
        wrong.wait_for(state="visible")
        assert wrong.inner_text() == "The worker has ended."
    assert visit.text() == TEXT
    assert visit.headline() == headline(build(parse_design(TEXT)))


def test_a_piece_that_was_stopped_is_not_being_worked_out(visit):
    visit.choose("linked-bracelet")
    visit.working()
    visit.press("Cancel")
    assert "Stopped" in visit.banner()
    assert visit.headline() == "Linked bracelet was not worked out."
    assert not visit.page.locator("#facts").is_visible()
    visit.press("Undo")
    visit.settled()
    assert visit.headline() == headline(build(parse_design(TEXT)))
    assert visit.page.locator("#facts").is_visible()


def test_a_changed_file_beside_makes_the_piece_and_its_files_old(visit, tmp_path):
    design, beside = own_design(tmp_path, "wicker")
    visit.open_files(beside, design)
    visit.until("text => document.querySelector('#design-text').value === text", design.read_text())
    visit.settled()
    before = visit.number("rings")
    make_models(visit)
    visit.rest("hang")
    assert not visit.page.locator("#files-old").is_visible()
    beside.write_text(
        beside.read_text()
        .replace('["a", "q"], ', '["a", "q"], ["a", "r"], ')
        .replace('["q", "a", 1]', '["q", "a", 1], ["r", "a", 1]')
        + 'r = { role = "small" }\n'
    )
    visit.open_files(beside)
    visit.until("window.page && document.querySelector('#at-rest').hidden")
    visit.settled()
    assert visit.number("rings") == before + 4
    assert visit.page.locator("#files-old").is_visible()
    assert visit.page.locator("[aria-pressed=true][data-scene]").count() == 0
    assert visit.headline() == headline(build(parse_design(visit.text(), folder=tmp_path)))


def test_files_of_another_piece_go(visit):
    make_models(visit)
    assert visit.files_listed()
    visit.choose("one-in-one")
    visit.settled()
    assert visit.files_listed() == []


def test_files_are_given_up_while_the_piece_is_worked_out(visit):
    with visit.slow_answers(1.0):
        visit.nudge(INSIDE, "ArrowRight", 1)
        visit.page.locator("#make-files").click()
        visit.page.locator("#files-cancel").click()
        assert visit.page.locator("#files-state").inner_text() == ""
        assert visit.page.locator("#make-files").is_enabled()
    visit.settled()
    assert visit.files_listed() == []
    visit.page.locator("#make-files").click()
    visit.page.locator("#files-zip").wait_for()


def test_a_scene_that_cannot_be_says_why_and_shows_the_piece_as_placed(visit):
    visit.write(TEXT.replace('inside = "3 mm"', 'inside = "1.9 mm"'))
    visit.settled()
    placed = visit.pixels()
    words = visit.rest("hang")
    assert "does not fit" in words
    assert not visit.page.locator("#at-rest").is_visible()
    assert visit.page.locator("[aria-pressed=true][data-scene]").count() == 0
    assert (visit.pixels() == placed).all()


def test_a_ring_size_of_a_name_that_is_there_is_not_written_over(visit):
    visit.page.locator("summary", has_text="Another ring size").click()
    visit.page.locator("#size-name").fill("link")
    visit.press("Add it")
    assert "named link already" in visit.page.locator("#size-name").evaluate("box => box.validationMessage")
    visit.idle()
    assert visit.text() == TEXT
    visit.page.locator("#size-name").fill("knot")
    visit.press("Add it")
    visit.settled()
    assert "[rings.knot]" in visit.text()


def test_two_designs_at_once_are_not_opened(visit, tmp_path):
    for name in ("one", "two"):
        (tmp_path / f"{name}.toml").write_text(TEXT)
    visit.open_files(tmp_path / "one.toml", tmp_path / "two.toml")
    assert "Only one design" in visit.banner()


def test_goes_on_once_the_server_is_there_again(browser, tmp_path):
    """At the same place, as the words across the page say; they are in sight on a small screen too."""
    with visiting(browser, None, size=(390, 844), allowed="ERR_|failed|404") as visit:
        with served(tmp_path) as server:
            visit.server = server
            visit.open()
            visit.write(TEXT)
            visit.settled()
            server.kill()
        port = server.address.rstrip("/").rpartition(":")[2]
        visit.type(INSIDE, "3.4 mm")
        assert f"chaingen page --port {port}" in visit.banner()
        box = visit.page.locator("#banner").bounding_box()
        assert 0.0 <= box["y"] <= box["y"] + box["height"] <= 844.5
        visit.press("Try again")
        visit.page.get_by_text("It still does not answer.").wait_for()
        with served(tmp_path, port=port):
            visit.press("Try again")
            visit.page.locator("#banner").wait_for(state="hidden")
            visit.settled()
            assert 'inside = "3.4 mm"' in visit.text()
            assert visit.headline() == headline(build(parse_design(visit.text())))
