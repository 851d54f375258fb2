"""The design as text: errors beside their line, mending, opening files of one's own."""

from pathlib import Path

import pytest

from chaingen import build, parse_design
from chaingen.design.starter import starter_design
from chaingen.show.words import headline
from tests.page_driver import chromium, served, visiting

pytestmark = pytest.mark.browser

EXAMPLES = Path(__file__).parents[1] / "examples"
TEXT = starter_design("two-in-one", repeat=5)


@pytest.fixture(scope="module")
def visit(tmp_path_factory):
    folder = tmp_path_factory.mktemp("text")
    with served(folder) as server, chromium() as browser, visiting(browser, server, size=(900, 700)) as visit:
        yield visit.open()


@pytest.fixture(autouse=True)
def begun(visit):
    """Each test begins with the same design; nothing may have gone wrong in any."""
    visit.write(TEXT)
    visit.settled()
    yield
    visit.assert_clean()


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


def test_own_design_with_the_weave_file_beside_it(visit, tmp_path):
    """The weave of an example, under names of its own; as on the command line."""
    (tmp_path / "weaves").mkdir()
    weave, design = tmp_path / "weaves" / "creel.toml", tmp_path / "creel-chain.toml"
    weave.write_text((EXAMPLES / "weaves" / "lobster-pot.toml").read_text())
    text = (EXAMPLES / "lobster-pot.toml").read_text().replace("weaves/lobster-pot.toml", "weaves/creel.toml")
    design.write_text(text)
    visit.open_files(weave, design)
    visit.settled()
    assert visit.text() == text
    built = build(parse_design(text, folder=tmp_path))
    assert visit.headline() == headline(built)
    assert visit.number("rings") == sum(count.count for count in built.counts)


def test_own_design_without_the_weave_file_is_told_which(visit, tmp_path):
    text = (EXAMPLES / "lobster-pot.toml").read_text().replace("weaves/lobster-pot.toml", "weaves/withy.toml")
    (tmp_path / "alone.toml").write_text(text)
    visit.open_files(tmp_path / "alone.toml")
    visit.page.locator("#text-wrong li").first.wait_for()
    ((line, words),) = visit.errors()
    assert line == line_with(text, "weave = ")
    assert "withy.toml" in words
