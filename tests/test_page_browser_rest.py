"""How a piece rests, played as it settles; variants side by side."""

import pytest

from chaingen import build, drape, parse_design
from chaingen.design.starter import starter_design
from chaingen.show.words import headline
from chaingen.units import format_mm
from tests.page_driver import chromium, drawn, visiting

pytestmark = pytest.mark.browser

TEXT = starter_design("one-in-one", repeat=12)
VARIANTS = [
    starter_design("one-in-one", repeat=6),
    starter_design("two-in-one", repeat=4, metal="copper"),
    starter_design("one-in-one", inside="5 mm", repeat=5, metal="brass"),
    starter_design("two-in-one", inside="4 mm", repeat=3),
    starter_design("one-in-one", inside="6 mm", repeat=3),
]


@pytest.fixture(scope="module")
def browser():
    with chromium() as browser:
        yield browser


@pytest.fixture
def visit(browser, server):
    with visiting(browser, server, size=(1100, 700)) as visit:
        yield visit.open()


def test_hangs_as_the_package_says(visit):
    visit.write(TEXT)
    visit.settled()
    placed = visit.pixels()
    words = visit.rest("hang")
    (hung,) = drape(build(parse_design(TEXT.replace("scenes = []", 'scenes = [{ kind = "hang" }]')))).drapes
    assert hung.reached
    assert f"Drop\n{format_mm(hung.drop, 1)}" in words
    rested = visit.pixels()
    assert (placed != rested).any()
    # Back as it was placed, from the same side.
    visit.press("As placed")
    assert visit.headline() == headline(build(parse_design(TEXT)))


def test_pressed_while_the_piece_is_worked_out(visit):
    """It waits for the piece as it was changed; being replaced by the maker's own doing is no fault."""
    visit.write(TEXT)
    visit.settled()
    visit.nudge("Inside diameter of link", "ArrowRight", 4)
    with visit.slow_answers(0.4):
        visit.page.locator("[data-scene='swag']").click()
        words = visit.rest("hang")
    text = visit.text()
    assert text != TEXT
    (hung,) = drape(build(parse_design(text.replace("scenes = []", 'scenes = [{ kind = "hang" }]')))).drapes
    assert f"Drop\n{format_mm(hung.drop, 1)}" in words
    assert not visit.page.locator("#banner").is_visible()
    assert visit.page.locator("[aria-pressed=true][data-scene]").get_attribute("data-scene") == "hang"
    # A slider that moves meanwhile puts it back as placed.
    visit.page.locator("[data-scene='swag']").click()
    visit.nudge("Inside diameter of link", "ArrowLeft", 1)
    visit.settled()
    assert visit.page.locator("[aria-pressed=true][data-scene]").count() == 0
    assert not visit.page.locator("#at-rest").is_visible()
    assert not visit.page.locator("#banner").is_visible()


def test_plays_as_it_settles(visit):
    """Poses come one after another, and each is drawn: the picture is not the same all the way."""
    visit.write(starter_design("two-in-one", repeat=30))
    visit.settled()
    lines = visit.lines_of("/api/rest", lambda: visit.rest("swag"))
    poses = [line["poses"] for line in lines if "poses" in line]
    assert len(poses) >= 3
    assert len(set(poses)) == len(poses)
    assert "rest" in lines[-1]
    assert lines[-1]["rest"]["reached"]


def test_table_has_its_support_in_the_picture(visit):
    visit.write(TEXT)
    visit.settled()
    lines = visit.lines_of("/api/rest", lambda: visit.rest("table"))
    begun = next(line for line in lines if "piece" in line)
    assert [one["kind"] for one in begun["supports"]] == ["plane"]


def test_four_variants_side_by_side_and_no_fifth(visit):
    for text in VARIANTS[:4]:
        visit.write(text)
        visit.settled()
        visit.keep()
    visit.write(VARIANTS[4])
    visit.settled()
    assert visit.page.locator("#keep").is_disabled()
    assert "Four are kept" in visit.page.locator("#keep-words").inner_text()
    with visit.compared() as variants:
        assert variants.count() == 4
        for number, text in enumerate(VARIANTS[:4], 1):
            built = build(parse_design(text))
            words = variants.nth(number - 1).inner_text()
            assert built.fit.value in words
            assert f"Rings\n{sum(count.count for count in built.counts)}\n" in words
            assert format_mm(built.check.smallest_gap) in words
            shown = drawn(visit.pixels(f".variant:nth-child({number}) canvas"))
            assert 0.01 < shown.mean() < 0.9
        visit.shot("compare")


def test_turning_one_turns_all(visit):
    for text in VARIANTS[:2]:
        visit.write(text)
        visit.settled()
        visit.keep()
    with visit.compared() as variants:
        canvases = [f".variant:nth-child({number}) canvas" for number in (1, 2)]
        before = [visit.pixels(canvas) for canvas in canvases]
        variants.first.locator("canvas").press("ArrowRight")
        visit.page.wait_for_timeout(700)
        after = [visit.pixels(canvas) for canvas in canvases]
        for one, other in zip(before, after, strict=True):
            assert (one != other).any()


def test_variant_is_taken_up_again_or_removed(visit):
    for text in VARIANTS[:3]:
        visit.write(text)
        visit.settled()
        visit.keep()
    with visit.compared() as variants:
        variants.nth(1).get_by_role("button", name="Remove").click()
        visit.until("document.querySelectorAll('.variant').length === 2")
        variants.first.get_by_role("button", name="Take this one up").click()
    visit.settled()
    assert visit.text() == VARIANTS[0]
    assert visit.headline() == headline(build(parse_design(VARIANTS[0])))
