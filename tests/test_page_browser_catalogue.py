"""Everything in the catalogue, chosen from its picture, against what the package says of it by itself."""

import pytest

from chaingen import build, parse_design
from chaingen.design.piece_starter import PIECES
from chaingen.design.starter import STARTERS
from chaingen.show.words import headline
from chaingen.weave.catalogue import weave_names
from tests.page_driver import chromium, visiting

pytestmark = pytest.mark.browser

# A chain that is also known as a weave of that name is offered once.
NAMES = [*dict.fromkeys([*STARTERS, *PIECES, *weave_names()])]


@pytest.fixture(scope="module")
def visit(server):
    with chromium() as browser, visiting(browser, server, size=(480, 420)) as visit:
        yield visit.open()


@pytest.mark.parametrize("name", NAMES)
def test_chosen_from_its_picture(visit, name):
    visit.choose(name)
    text = visit.text()
    # Built here while the server builds it.
    built = build(parse_design(text))
    visit.settled()
    assert visit.headline() == headline(built)
    assert visit.number("rings") == sum(count.count for count in built.counts)
    visit.assert_clean()


def test_all_are_offered_with_their_pictures(visit):
    with visit.catalogue() as catalogue:
        assert sorted(catalogue.entries()) == sorted(NAMES)
        assert catalogue.pictures_missing() == []


def test_search_finds_by_word(visit):
    with visit.catalogue() as catalogue:
        catalogue.search("persian")
        assert set(catalogue.entries()) == {name for name in weave_names() if "persian" in name}
        catalogue.search("no such weave")
        assert catalogue.entries() == []
