import itertools
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import chaingen
from chaingen.errors import BadInput
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.weave import Repeats
from chaingen.weave.weave_file import parse_weave, weave_text
from tests.oracles import circle_distance, solid_angle_linking

FOLDER = Path(chaingen.__file__).parent / "weave" / "catalogue_files"

EVERY = weave_names()


def test_names_are_those_of_the_files():
    assert list(EVERY) == sorted(path.stem for path in FOLDER.glob("*.toml"))
    assert {"one-in-one", "japanese-4-in-1"} <= set(EVERY)
    assert [find_weave(name).name for name in EVERY] == list(EVERY)
    titles = [find_weave(name).title for name in EVERY]
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize("name", EVERY)
def test_a_file_says_what_the_weave_is_like(name):
    weave = find_weave(name)
    assert weave.title != weave.name
    assert weave.about
    assert weave.wear
    assert weave.make
    assert (FOLDER / f"{name}.toml").read_text().startswith("# ")


@pytest.mark.parametrize("name", EVERY)
def test_a_weave_is_written_edited_and_read_back(name):
    weave = find_weave(name)
    text = weave_text(weave)
    assert parse_weave(text) == weave
    assert max(map(len, text.splitlines())) <= 300
    first = weave.roles[0]
    other = text.replace(f'name = "{name}"', 'name = "of-ones-own"', 1).replace(
        "inside = ", f'inside = "{2 * first.inside_diameter:.6f} mm"  # was ', 1
    )
    edited = parse_weave(other)
    assert edited.name == "of-ones-own"
    assert edited.roles[0].inside_diameter == pytest.approx(2.0 * first.inside_diameter, abs=1e-6)
    assert (edited.links, edited.rings, edited.roles[1:]) == (weave.links, weave.rings, weave.roles[1:])


@pytest.mark.parametrize("name", EVERY)
def test_degrees_add_up(name):
    """Each link is counted at its two ends; and a wrapped patch of cells, counted pair by pair, agrees."""
    weave = find_weave(name)
    degrees = weave.degrees()
    assert sum(degrees.values()) == 2 * len(weave.links)
    # Links reach at most 3 cells on, so in 7 cells that come round no two of them meet.
    rows = range(7) if weave.repeats is Repeats.SHEET else range(1)
    pairs = {
        frozenset(
            [
                (link.first, i, j),
                (link.second, (i + link.along) % 7, (j + link.across) % len(rows)),
            ]
        )
        for link in weave.links
        for i, j in itertools.product(range(7), rows)
    }
    counts = Counter(ring for pair in pairs for ring in pair)
    for ring in weave.rings:
        assert {counts[ring.name, i, j] for i, j in itertools.product(range(7), rows)} == {degrees[ring.name]}
        assert degrees[ring.name] or ring.caged_by


@pytest.mark.parametrize(
    ("name", "degrees"),
    [
        # Common practice: each ring of a plain chain holds its two neighbours.
        ("one-in-one", {"link": {2}}),
        # Common practice, and what the name counts: four small rings to a large one, each joining two.
        ("japanese-4-in-1", {"large": {4}, "small": {2}}),
    ],
)
def test_degrees_of_each_role(name, degrees):
    weave = find_weave(name)
    found = {role.name: set() for role in weave.roles}
    for ring in weave.rings:
        found[ring.role].add(weave.degrees()[ring.name])
    assert found == degrees


def placed(weave, along, across):
    """Circles (centre, normal, radius, wire radius) of one cell, by ring name, in the rough pose."""
    c, s = np.cos(along * weave.pose.twist), np.sin(along * weave.pose.twist)
    turn = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    step = np.array([weave.pose.period * along, 0.0, 0.0])
    step[:2] += across * np.array(weave.pose.across or (0.0, 0.0))
    return {
        ring.name: (
            turn @ np.array(ring.centre) + step,
            turn @ np.array(ring.axis) / np.linalg.norm(ring.axis),
            weave.role(ring.role).size.radius,
            weave.role(ring.role).size.wire_radius,
        )
        for ring in weave.rings
    }


@pytest.mark.parametrize("name", ["one-in-one", "japanese-4-in-1"])
def test_rough_poses_have_the_links_that_are_said_and_no_metal_in_metal(name):
    """Links by the Gauss integral of polygons, gaps by dense sampling: neither knows of links said."""
    weave = find_weave(name)
    said = {(a.first, a.second, a.along, a.across) for a in weave.links}
    said |= {(b, a, -i, -j) for a, b, i, j in said}
    here = placed(weave, 0, 0)
    rows = (-1, 0, 1) if weave.repeats is Repeats.SHEET else (0,)
    found = set()
    for i, j in itertools.product((-1, 0, 1), rows):
        there = placed(weave, i, j)
        for a, b in itertools.product(here, there):
            if (a, i, j) == (b, 0, 0):
                continue
            one, other = here[a], there[b]
            if abs(round(solid_angle_linking(one[:3], other[:3]))) == 1:
                found.add((a, b, i, j))
            assert circle_distance(one[:3], other[:3]) > one[3] + other[3]
    assert found == said


def test_finding():
    assert find_weave(" Japanese 4-in-1 ") is find_weave("japanese-4-in-1")
    with pytest.raises(BadInput) as refusal:
        find_weave("japanes 4-in-1", where="pattern.weave")
    (problem,) = refusal.value.problems
    assert (problem.where, problem.got) == ("pattern.weave", "'japanes 4-in-1'")
    assert problem.advice == "did you mean japanese-4-in-1?"
    assert all(name in problem.expected for name in EVERY)
    for name in ("", "../one-in-one", "zzzzzz"):
        with pytest.raises(BadInput):
            find_weave(name)
