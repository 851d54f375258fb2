"""What the page tells of a piece: the package's own words, places on the wires meant, sizes that do fit."""

import json
from dataclasses import replace

import numpy as np
import pytest

from chaingen.design.edit import change_from, edited
from chaingen.design.load import parse_design
from chaingen.design.piece_starter import starter_piece
from chaingen.design.starter import starter_design
from chaingen.page.looks import MOST_COLLISIONS, inches, look_of_result
from chaingen.page.piece import shown_of
from chaingen.pipeline import build
from chaingen.show.words import headline, verdict_lines
from tests.page_numbers import away_from_ring

TIGHT = {"inside": "2.2 mm", "wire": "18 AWG", "repeat": 4}


@pytest.fixture(scope="module")
def fitting():
    return build(parse_design(starter_design("two-in-one", repeat=4)))


@pytest.fixture(scope="module")
def failing():
    return build(parse_design(starter_design("two-in-one", **TIGHT)))


def test_the_words_are_those_of_the_command_line(fitting):
    look = look_of_result(fitting)
    first, *rest = verdict_lines(fitting)
    assert look["verdict"] == {"word": "comfortable", "fits": True, "headline": first, "lines": rest}
    assert look["exit_code"] == 0
    assert not look["quick"]
    assert look["title"] == "A two-in-one piece"


def test_numbers_of_a_small_chain(fitting):
    numbers = look_of_result(fitting)["numbers"]
    # Four pairs and the three rings between them.
    assert numbers["rings"] == 11
    assert (numbers["findings"], numbers["pieces"], numbers["repeat"]) == (0, 1, 4)
    # Pappus: 2 pi^2 R r^2 of silver at 10.36 g/cm3, for rings of 3 mm inside of 1.0237 mm wire.
    each = 2.0 * np.pi**2 * (1.5 + 0.51184) * 0.51184**2 * 10.36e-3
    assert numbers["weight"] == f"{11 * each:.2f} g"
    assert look_of_result(fitting)["counts"] == [
        {"what": "3 mm inside in 1.024 mm (18 AWG)", "count": 11, "weight": f"{11 * each:.2f} g"}
    ]


def test_the_tightest_pair_is_where_it_is_told(fitting):
    look = look_of_result(fitting)
    bodies, tightest = shown_of(fitting).bodies, look["tightest"]
    for body in tightest["bodies"]:
        away = away_from_ring(
            np.array([tightest["place"]]), bodies.centres[body], bodies.normals[body], bodies.radii[body]
        )
        # The middle of the gap is half of it from either wire.
        assert away[0] - bodies.wire_radii[body] == pytest.approx(0.5 * look["gap"]["mm"], abs=1e-3)
    assert look["gap"]["text"] == tightest["gap"]
    assert look["gap"]["inch"] == inches(look["gap"]["mm"])
    assert look["collided"] == look["collisions"] == []


def test_inches_by_their_definition():
    # The international inch is 25.4 mm (1959).
    assert inches(25.4) == "1.000 in"
    assert inches(-0.00001) == "0.000 in"


def test_a_piece_that_does_not_fit_marks_what_collides(failing):
    look = look_of_result(failing)
    assert (look["exit_code"], look["verdict"]["fits"]) == (1, False)
    assert look["collisions"]
    bodies = shown_of(failing).bodies
    for collision in look["collisions"]:
        for body in collision["bodies"]:
            assert body in look["collided"]
            away = away_from_ring(
                np.array([collision["place"]]), bodies.centres[body], bodies.normals[body], bodies.radii[body]
            )
            assert away[0] < bodies.wire_radii[body] + 1e-3


def test_sizes_that_fit_instead_do_fit_when_they_are_taken(failing):
    look = look_of_result(failing)
    assert [offer["words"].split()[1] for offer in look["nearest"]] == ["inside", "wires"]
    for offer in look["nearest"]:
        text = edited(starter_design("two-in-one", **TIGHT), [change_from(one) for one in offer["changes"]])
        taken = build(parse_design(text))
        assert taken.fits, offer["words"]
        (change,) = offer["changes"]
        assert len(set(change) - {"do", "name"}) == 1


def test_many_collisions_are_told_in_part():
    result = build(parse_design(starter_design("two-in-one", inside="2.2 mm", repeat=80)))
    look = look_of_result(result)
    assert len(look["collisions"]) == MOST_COLLISIONS < len(result.check.collisions)
    assert len(look["collided"]) > MOST_COLLISIONS


def test_a_glimpse_tells_nothing_that_it_does_not_know(failing):
    glimpsed = replace(failing, nearest=(), band=None)
    look = look_of_result(glimpsed, quick=True)
    assert look["quick"]
    assert look["verdict"]["headline"] == headline(glimpsed)
    assert look["verdict"]["lines"] == []
    # In full the same would be told that there are no other sizes, which nobody has looked for.
    assert any("No sizes near" in line for line in look_of_result(glimpsed)["verdict"]["lines"])


def test_a_single_ring_has_no_gap():
    look = look_of_result(build(parse_design(starter_design("one-in-one", repeat=1))))
    assert look["gap"] == {"mm": None, "text": "", "inch": ""}
    assert look["tightest"] is None
    json.dumps(look, allow_nan=False)


def test_of_a_pair_both_are_counted_and_marked():
    text = starter_piece("graduated-earrings").replace('inside = "3.25 mm"', 'inside = "2.4 mm"')
    result = build(parse_design(text))
    look = look_of_result(result)
    count = len(result.placement.graph)
    assert look["numbers"]["pieces"] == 2
    assert sum(line["count"] for line in look["counts"][:-1]) == 2 * count
    assert not look["verdict"]["fits"]
    own = [body for body in look["collided"] if body < count]
    assert look["collided"] == own + [body + count for body in own]
    assert len(look["piece"]["names"]) == 2 * count
    bodies = shown_of(result).bodies
    collision = look["collisions"][0]
    for body in collision["bodies"]:
        away = away_from_ring(
            np.array([collision["place"]]), bodies.centres[body], bodies.normals[body], bodies.radii[body]
        )
        assert away[0] < bodies.wire_radii[body] + 1e-3
    json.dumps(look, allow_nan=False)


def test_what_comes_apart_stands_with_the_fit_at_a_glance_too():
    text = starter_piece("linked-bracelet", repeat=1).replace(
        'kind = "lobster clasp"', 'kind = "lobster clasp"\ngate = "0.4 mm"'
    )
    result = build(parse_design(text))
    assert result.fits
    for quick in (False, True):
        verdict = look_of_result(result, quick=quick)["verdict"]
        assert verdict["lines"][0].startswith("But: ")


def test_a_service_that_cannot_make_it_is_told_right_after_the_verdict():
    text = starter_design("two-in-one", inside="6 mm", wire="1 mm", repeat=3)
    text += '[service]\nprocess = "loose rings for casting"\nsmallest_wire = "2 mm"\n'
    for quick in (False, True):
        lines = look_of_result(build(parse_design(text)), quick=quick)["verdict"]["lines"]
        assert lines[0].startswith("But: not for casting of loose rings as it is")
