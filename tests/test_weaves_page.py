"""The page of weaves and the table of the tightest are what the program says today."""

import re

import pytest
from PIL import Image

from chaingen.show.weave_page import usual_piece, weaves_page
from chaingen.solve.sizes import tightest
from chaingen.weave.catalogue import find_weave, weave_names
from tests.test_examples import ROOT

PAGE = ROOT / "renders" / "weaves"
ROW = re.compile(r"^\| ([\w-]+) \| (\w+) \| ([\d.]+) \| ([\d.]+) \| ([+-][\d.]+)(.*)\|$", re.MULTILINE)
TABLE = ROW.findall((ROOT / "DEVELOPERS.md").read_text())


def test_the_page_is_current():
    assert (PAGE / "README.md").read_text(encoding="utf-8") == weaves_page()


@pytest.mark.parametrize("name", weave_names())
def test_every_weave_has_a_picture(name):
    with Image.open(PAGE / f"{name}.png") as picture:
        assert max(picture.size) == 900


@pytest.mark.parametrize(("name", "role", "computed", "practice", "difference", "reason"), TABLE)
def test_the_table_of_the_tightest(name, role, computed, practice, difference, reason):
    """Reference: the least aspect ratios are common practice, as the weave files state them."""
    weave = find_weave(name)
    found = dict(tightest(usual_piece(weave)).aspect_ratios)[role]
    assert found == pytest.approx(float(computed), abs=0.011)
    assert float(practice) == weave.role(role).least
    assert float(computed) - float(practice) == pytest.approx(float(difference), abs=0.011)
    # A difference over 0.3 is explained.
    assert (len(reason) > 40) == (abs(found - float(practice)) > 0.3)


def test_the_table_has_every_weave_with_a_figure_of_practice():
    told = {(name, role) for name, role, *_ in TABLE}
    known = {
        (name, role.name)
        for name in weave_names()
        for role in find_weave(name).roles
        if role.least is not None
    }
    ribbons = {(name, role) for name, role in known if name.endswith("-ribbon")}
    assert told == known - ribbons


def test_european_4_in_1_is_as_tight_as_practice_says():
    """Reference: common practice, 2.9; sources agree on it within 0.2."""
    weave = find_weave("european-4-in-1")
    assert tightest(usual_piece(weave)).aspect_ratios[0][1] == pytest.approx(2.9, abs=0.2)
