"""Changing a design by sliders, boxes and buttons: the page says what the package says of the text."""

import pytest

from chaingen import build, parse_design
from chaingen.design.starter import starter_design
from chaingen.show.phrases import grams
from chaingen.show.words import called, headline
from chaingen.units import format_mm
from tests.page_driver import chromium, visiting

pytestmark = pytest.mark.browser

TEXT = starter_design("two-in-one", repeat=5)
INSIDE, WIRE = "Inside diameter of link", "Wire of link"


@pytest.fixture(scope="module")
def visit(server):
    with chromium() as browser, visiting(browser, server, size=(1000, 700)) as visit:
        yield visit.open()


@pytest.fixture(autouse=True)
def begun(visit):
    with visit.beginning(TEXT):
        yield


def assert_says(visit):
    """What is shown is what the package says of the text that is shown; that result."""
    visit.settled()
    built = build(parse_design(visit.text()))
    assert visit.headline() == headline(built)
    assert visit.number("rings") == sum(count.count for count in built.counts)
    assert visit.fact("weight") == grams(built.weight)
    assert visit.fact("gap") == gap_words(built.check.smallest_gap)
    return built


def gap_words(gap):
    """A gap as it is told: one below nothing is wires inside one another."""
    return format_mm(gap) if gap >= 0.0 else f"{format_mm(-gap)} into one another"


def test_slider_by_keyboard_first_at_a_glance_then_in_full(visit):
    before = visit.fact("gap")
    visit.watch()
    visit.nudge(INSIDE, "ArrowRight", 3)
    built = assert_says(visit)
    assert built.design.ring_sizes[0].inside_diameter == pytest.approx(3.15)
    assert visit.fact("gap") != before
    seen = visit.seen()
    # First at a glance, and marked as such; the full one is the last.
    assert seen[0] == "true"
    assert seen[-1] == "false"


def test_no_step_by_key_is_lost_to_an_answer_between(visit):
    """Answers to what was set three keys ago come between the keys."""
    slider = visit.slider(INSIDE)
    slider.focus()
    seen = []
    with visit.slow_answers(0.25):
        for _ in range(14):
            slider.press("ArrowRight")
            visit.page.wait_for_timeout(80)
            seen.append(float(slider.input_value()))
        built = assert_says(visit)
    assert seen == pytest.approx([3.0 + 0.05 * step for step in range(1, 15)])
    assert built.design.ring_sizes[0].inside_diameter == pytest.approx(3.7)
    assert float(slider.input_value()) == pytest.approx(3.7)


def test_no_answer_writes_over_what_is_being_typed(visit):
    """Neither the glance nor the full answer to the change before; nor over a stepper's count."""
    wire, count = visit.box(WIRE), visit.page.get_by_role("spinbutton", name="Groups repeated", exact=True)
    for box, typed in ((wire, "1.1 mm"), (count, "7")):
        visit.nudge(INSIDE, "ArrowRight", 2)
        before = visit.page.evaluate("window.page.full")
        box.fill(typed)
        visit.until("before => window.page.full > before", before)
        visit.settled()
        assert box.input_value() == typed
        box.press("Enter")
        visit.settled()
    assert 'wire = "1.1 mm"' in visit.text()
    assert "repeat = 7" in visit.text()


def test_slider_follows_undo_by_key_while_it_has_the_focus(visit):
    visit.nudge("Groups repeated", "ArrowRight", 2)
    visit.settled()
    visit.page.keyboard.press("Control+z")
    visit.settled()
    assert visit.text() == TEXT
    # It follows once the key is off it for a moment.
    slider = (
        "[...document.querySelectorAll('input[type=range]')].find(e => /^Groups repeated/.test(e.ariaLabel))"
    )
    visit.until(f"{slider}.value === '5'")


def test_slider_says_its_value_in_words(visit):
    visit.nudge(INSIDE, "ArrowLeft", 2)
    assert visit.slider(INSIDE).get_attribute("aria-valuetext") == "2.90 mm, 0.114 in"
    assert visit.box(INSIDE).input_value() == "2.9 mm"
    assert_says(visit)


def test_fraction_of_an_inch_is_typed(visit):
    visit.type(INSIDE, "5/32 in")
    built = assert_says(visit)
    # 5/32 of 25.4 mm.
    assert built.design.ring_sizes[0].inside_diameter == pytest.approx(3.96875)
    assert 'inside = "5/32 in"' in visit.text()


def test_value_that_cannot_be_is_told_at_its_box_and_mended(visit):
    visit.type(INSIDE, "-3 mm")
    visit.page.locator("#text-wrong li").first.wait_for()
    box = visit.box(INSIDE)
    assert box.get_attribute("aria-invalid") == "true"
    told = visit.page.locator(f"#{box.get_attribute('id')}-wrong")
    assert told.is_visible()
    assert told.inner_text()
    visit.type(INSIDE, "3.4 mm")
    built = assert_says(visit)
    assert built.design.ring_sizes[0].inside_diameter == pytest.approx(3.4)


def test_gauge_is_chosen_by_the_slider(visit):
    """One step thicker than 18 AWG is 17 AWG, 0.0453 in (ASTM B258)."""
    visit.nudge(WIRE, "ArrowRight", 1)
    built = assert_says(visit)
    assert 'wire = "17 AWG"' in visit.text()
    assert built.design.ring_sizes[0].wire_diameter == pytest.approx(0.0453 * 25.4, abs=0.0005 * 25.4)


def test_bare_gauge_is_refused_with_both(visit):
    visit.type(WIRE, "18 gauge")
    visit.page.locator("#text-wrong li").first.wait_for()
    words = visit.errors()[0][1]
    assert "1.024 mm" in words
    assert "1.219 mm" in words


def test_metal_of_the_piece(visit):
    light = visit.fact("weight")
    visit.pick("Metal", "copper")
    built = assert_says(visit)
    assert [metal.name for metal in built.metals.metals] == ["copper"]
    assert visit.fact("weight") != light


def test_metal_of_one_size_of_two(visit):
    joined = TEXT.replace('join = 1, ring = "link"', 'join = 1, ring = "jump"')
    visit.write(joined.replace("[pattern]", '[rings.jump]\ninside = "3.2 mm"\nwire = "18 AWG"\n\n[pattern]'))
    visit.settled()
    visit.pick("Metal of jump", "brass")
    built = assert_says(visit)
    assert {metal.name for metal in built.metals.metals} == {"sterling silver", "brass"}
    assert 'metal = "sterling silver"' in visit.text()


def test_groups_come_and_go(visit):
    visit.write(starter_design("two-in-one", repeat=2))
    visit.settled()
    before = visit.number("rings")
    visit.press("rings side by side")
    built = assert_says(visit)
    assert visit.text().count("side_by_side = 2") == 2
    assert built.counts[0].count > before
    visit.press("Take group 3 away")
    assert_says(visit)
    assert visit.text().count("side_by_side = 2") == 1
    assert visit.number("rings") == before


def test_rings_of_a_join(visit):
    visit.press("More: Rings in group 2")
    built = assert_says(visit)
    assert "{ join = 2" in visit.text()
    assert built.counts[0].count == 5 * 2 + 4 * 2


def test_kind_of_a_group(visit):
    visit.pick("Kind of group 1", "rosette")
    assert_says(visit)
    assert "{ rosette = 3" in visit.text()


def test_finished_length(visit):
    visit.tick("a length")
    assert_says(visit)
    visit.type("Finished length", "90 mm")
    built = assert_says(visit)
    assert built.asked_length == pytest.approx(90.0)
    assert visit.fact("length") == format_mm(built.finished_length, 1)


def test_wrist(visit):
    visit.tick("a wrist")
    visit.settled()
    visit.type("Round the wrist", "120 mm")
    built = assert_says(visit)
    assert 'wrist = "120 mm"' in visit.text()
    assert built.finished_length > 120.0


def test_ease_of_a_wrist(visit):
    """Comfort is 7/8 in, loose 1 1/8 in more than the wrist (common practice); comfort is usual."""
    visit.tick("a wrist")
    visit.settled()
    visit.type("Round the wrist", "120 mm")
    assert_says(visit)
    assert visit.page.get_by_role("combobox", name="Ease").input_value() == ""
    asked = {}
    for ease in ("snug", "comfort", "loose"):
        visit.pick("Ease", ease)
        asked[ease] = assert_says(visit).asked_length
        assert f'ease = "{ease}"' in visit.text()
        assert visit.page.get_by_role("combobox", name="Ease").input_value() == ease
    assert asked["comfort"] == pytest.approx(120.0 + 7.0 / 8.0 * 25.4)
    assert asked["loose"] == pytest.approx(120.0 + 9.0 / 8.0 * 25.4)
    assert asked["snug"] < asked["comfort"]
    visit.pick("Ease", "usual")
    assert assert_says(visit).asked_length == pytest.approx(asked["comfort"])
    assert "ease" not in visit.text()


def test_closed_loop_and_open_again(visit):
    visit.nudge("Groups repeated", "ArrowRight", 7)
    assert_says(visit)
    visit.tick("closed loop")
    built = assert_says(visit)
    assert built.design.piece.closed
    assert built.counts[0].count == 12 * 3
    visit.tick("open run")
    built = assert_says(visit)
    assert built.counts[0].count == 12 * 3 - 1


def test_clasp_is_put_on_and_taken_off(visit):
    visit.pick("At the end", "lobster clasp")
    built = assert_says(visit)
    assert [count.finding.kind for count in built.findings] == ["lobster clasp"]
    assert visit.fact("findings") == "1"
    assert built.fits
    visit.pick("At the end", "nothing")
    built = assert_says(visit)
    assert not built.findings
    assert visit.fact("findings") == ""


def test_undo_and_redo(visit):
    texts = [visit.text()]
    for press in (
        lambda: visit.type(INSIDE, "3.6 mm"),
        lambda: visit.pick("Metal", "brass"),
        lambda: visit.press("More: Rings in group 2"),
    ):
        press()
        visit.settled()
        texts.append(visit.text())
    assert len(set(texts)) == 4
    for text in texts[-2::-1]:
        visit.press("Undo")
        assert_says(visit)
        assert visit.text() == text
    for text in texts[1:]:
        visit.press("Redo")
        assert_says(visit)
        assert visit.text() == text
    assert visit.page.locator("#redo").is_disabled()
    # By the keyboard too, where no box has an undo of its own.
    visit.page.locator("#view").focus()
    visit.page.keyboard.press("Control+z")
    visit.settled()
    assert visit.text() == texts[-2]


def test_slider_is_one_step_to_undo(visit):
    visit.nudge(INSIDE, "ArrowRight", 6)
    visit.settled()
    assert visit.text() != TEXT
    visit.press("Undo")
    visit.settled()
    assert visit.text() == TEXT


def test_sizes_that_fit_are_taken(visit):
    """Too small to fit: it is marked which rings collide, and the nearest sizes make it fit."""
    visit.type(INSIDE, "1.9 mm")
    built = assert_says(visit)
    assert not built.fits
    assert visit.page.locator("#verdict").get_attribute("data-state") == "bad"
    # In the view the worst are told by their names, those of the package.
    worst = called(built.placement.graph, built.check.binding_pair)
    assert f"{gap_words(built.check.smallest_gap)}, {worst}" in visit.labels()
    visit.page.get_by_role("button", name="Take these sizes").first.click()
    after = assert_says(visit)
    assert after.fits
    assert visit.page.locator("#verdict").get_attribute("data-state") != "bad"
