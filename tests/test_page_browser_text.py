"""The design as text: errors beside their line, mending, opening files of one's own."""

import pytest

from chaingen import build, parse_design
from chaingen.design.starter import starter_design
from chaingen.show.words import headline
from tests.page_designs import own_design
from tests.page_driver import EXAMPLES, chromium, visiting

pytestmark = pytest.mark.browser

TEXT = starter_design("two-in-one", repeat=5)


@pytest.fixture(scope="module")
def visit(server):
    with chromium() as browser, visiting(browser, server, size=(900, 700)) as visit:
        yield visit.open()


@pytest.fixture(autouse=True)
def begun(visit):
    with visit.beginning(TEXT):
        yield


def line_with(text, words):
    return next(number for number, line in enumerate(text.splitlines(), 1) if words in line)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('metal = "sterling silver"', 'metal = "sterling silver', ""),
        ('metal = "sterling silver"', 'metal = "tin foil"', "tin foil"),
        ('wire = "18 AWG"', 'wire = "18 gauge"', "AWG"),
        ('inside = "3 mm"', 'inside = "3"', "unit"),
        ('{ join = 1, ring = "link" }', '{ join = 1, ring = "lnk" }', "lnk"),
        ("repeat = 5", "repeat = -5", "-5"),
    ],
)
def test_error_beside_its_line_and_mended(visit, old, new, said):
    assert TEXT.count(old) == 1
    broken = TEXT.replace(old, new)
    visit.write(broken)
    errors = visit.errors()
    assert [line for line, _ in errors] == [line_with(broken, new)]
    assert said in errors[0][1]
    assert visit.marked_lines() == [line_with(broken, new)]
    visit.write(TEXT)
    visit.settled()
    assert visit.no_errors()
    assert visit.headline() == headline(build(parse_design(TEXT)))


def test_several_errors_each_at_its_line(visit):
    broken = TEXT.replace('inside = "3 mm"', 'inside = "0 mm"').replace("repeat = 5", 'repeat = "many"')
    visit.write(broken)
    lines = [line for line, _ in visit.errors()]
    assert sorted(lines) == [line_with(broken, 'inside = "0 mm"'), line_with(broken, 'repeat = "many"')]


def test_controls_follow_what_is_typed(visit):
    visit.write(TEXT.replace('inside = "3 mm"', 'inside = "4.5 mm"'))
    visit.settled()
    assert visit.box("Inside diameter of link").input_value() == "4.5 mm"


def test_comments_of_ones_own_stay_when_a_slider_moves(visit):
    mine = TEXT.replace('metal = "sterling silver"', 'metal = "sterling silver"  # from the blue drawer')
    visit.write(mine)
    visit.settled()
    visit.nudge("Inside diameter of link", "ArrowRight", 2)
    visit.settled()
    text = visit.text()
    assert "# from the blue drawer" in text
    changed = [line for line in text.splitlines() if line not in mine.splitlines()]
    assert len(changed) == 1
    assert changed[0].startswith("inside = ")


@pytest.mark.parametrize("way", ["chosen", "dropped"])
def test_own_design_with_the_weave_file_beside_it(visit, tmp_path, way):
    """As on the command line."""
    design, beside = own_design(tmp_path, f"creel-{way}")
    (visit.open_files if way == "chosen" else visit.drop_files)(beside, design)
    text = design.read_text()
    visit.until("text => document.querySelector('#design-text').value === text", text)
    visit.settled()
    built = build(parse_design(text, folder=tmp_path))
    assert visit.headline() == headline(built)
    assert visit.number("rings") == sum(count.count for count in built.counts)


def test_long_line_is_seen_whole_and_numbers_stand_at_their_lines(visit):
    long = "# " + "every ring is closed by hand and tumbled for two hours " * 4
    visit.write(f"{long}\n{TEXT}")
    visit.settled()
    lines = visit.page.locator("#design-text").evaluate(
        """area => {
          const top = row => row.getBoundingClientRect().top;
          const tops = name => Array.from(document.querySelector(name).children, top);
          const whole = area.scrollHeight - parseFloat(getComputedStyle(area).paddingTop);
          const marks = document.querySelector('.line-marks');
          const last = marks.lastElementChild;
          return { wider: area.scrollWidth - area.clientWidth, gutter: tops('.gutter'),
            marks: tops('.line-marks'), row: parseFloat(getComputedStyle(area).lineHeight),
            high: [whole, last.offsetTop + last.offsetHeight], wide: [area.clientWidth, marks.clientWidth] };
        }"""
    )
    assert lines["wider"] <= 0
    assert lines["wide"][0] == lines["wide"][1]
    assert lines["gutter"] == pytest.approx(lines["marks"], abs=0.51)
    # The first takes several rows; the text as typed is as high as its copy that the numbers are laid out by.
    assert lines["marks"][1] - lines["marks"][0] > 3 * lines["row"]
    assert lines["high"][0] == pytest.approx(lines["high"][1], abs=2.0)


def test_own_design_without_the_weave_file_is_told_which(visit, tmp_path):
    text = (EXAMPLES / "lobster-pot.toml").read_text().replace("weaves/lobster-pot.toml", "weaves/withy.toml")
    (tmp_path / "alone.toml").write_text(text)
    visit.open_files(tmp_path / "alone.toml")
    visit.page.locator("#text-wrong li").first.wait_for()
    ((line, words),) = visit.errors()
    assert line == line_with(text, "weave = ")
    assert "withy.toml" in words
