"""Quick answers for designs near one that is built: checked poses, no better than they are, or no answer."""

import pickle
from dataclasses import replace

import numpy as np
import pytest

from chaingen import build, parse_design
from chaingen.design.piece_starter import starter_piece
from chaingen.design.starter import starter_design
from chaingen.design.weave_starter import starter_weave
from chaingen.pipeline import glimpse
from chaingen.solve.check import check
from chaingen.solve.search import SAME
from chaingen.solve.verdict import Fit
from chaingen.weave.catalogue import find_weave


def weave(name, **options):
    return starter_weave(find_weave(name), **options)


TEXTS = {
    "pairs": starter_design("two-in-one", repeat=9),
    "long": starter_design("two-in-two"),
    "loop": starter_design("two-in-one", repeat=30, closed=True),
    "odd loop": starter_design("one-in-one", repeat=31, closed=True),
    "rosette": starter_design("rosette"),
    "roles": weave("helm-chain", repeat=6),
    "turning": weave("spiral-4-in-1", repeat=20),
    "ribbon": weave("european-4-in-1-ribbon", repeat=8),
    "ribbon loop": weave("european-4-in-1-ribbon", repeat=40, closed=True),
    "sheet": weave("japanese-4-in-1", columns=4, rows=3),
    "cut": weave("european-4-in-1", outline="circle:25 mm"),
    "earrings": starter_piece("graduated-earrings"),
}

KNOWN = {}


def built(name):
    if name not in KNOWN:
        KNOWN[name] = build(parse_design(TEXTS[name]))
    return KNOWN[name]


def resized(design, inside=1.0, wire=1.0, only=None):
    """The design with ring sizes changed by factors: all, or those of one name."""

    def change(size):
        if only is not None and size.name != only:
            return size
        return replace(
            size, inside_diameter=inside * size.inside_diameter, wire_diameter=wire * size.wire_diameter
        )

    return replace(
        design, piece=design.piece.resized(change), ring_sizes=tuple(map(change, design.ring_sizes))
    )


def judged_by_itself(result):
    """What glimpse says of its own poses, measured again by the check, which knows nothing of it."""
    report = check(result.placement.graph, result.placement.rings, clearance=result.design.clearance)
    assert result.fits == report.sound
    assert (result.fit is not Fit.DOES_NOT_FIT) == report.sound
    assert result.check.smallest_gap == report.smallest_gap
    assert result.check.binding_pair == report.binding_pair
    return report


@pytest.mark.parametrize("name", TEXTS)
def test_of_the_design_itself_it_is_what_was_built(name):
    last = built(name)
    near = glimpse(parse_design(TEXTS[name]), last)
    np.testing.assert_array_equal(near.placement.rings.centres, last.placement.rings.centres)
    assert near.check.smallest_gap == pytest.approx(last.check.smallest_gap, abs=SAME)
    assert (near.fit, near.slack, near.counts, near.weight) == (
        last.fit,
        last.slack,
        last.counts,
        last.weight,
    )
    assert (near.finished_length, near.design.piece) == (last.finished_length, last.design.piece)
    assert (near.band, near.nearest, near.exit_code) == (last.band, last.nearest, last.exit_code)


@pytest.mark.parametrize("name", [name for name in TEXTS if name != "earrings"])
@pytest.mark.parametrize(("inside", "wire"), [(1.05, 1.0), (0.96, 1.0), (1.0, 1.06), (1.02, 0.95)])
def test_gaps_are_those_of_a_build(name, inside, wire):
    design = resized(parse_design(TEXTS[name]), inside, wire)
    near = glimpse(design, built(name))
    whole = build(replace(design, tolerance=0.0))
    judged_by_itself(near)
    assert near.fits == whole.fits
    if near.design.repeating.repeat == whole.design.repeating.repeat:
        assert len(near.placement.graph) == len(whole.placement.graph)
        assert near.weight == pytest.approx(whole.weight, rel=1e-12)
        if near.finished_length is not None:
            assert near.finished_length == pytest.approx(whole.finished_length, rel=2e-2)
        # Short rows and sheets have none that a glimpse could tell.
        assert (near.finished_length is None) == (name in ("rosette", "sheet", "cut"))
    else:
        assert abs(near.design.repeating.repeat - whole.design.repeating.repeat) <= 1
    # A loop that is bent anew, not opened up, may have less room than a build finds; nothing has more.
    floor = 0.75 if name == "odd loop" else 0.97
    assert near.check.smallest_gap > floor * whole.check.smallest_gap - SAME
    assert near.check.smallest_gap < whole.check.smallest_gap / 0.94 + SAME


@pytest.mark.parametrize("factor", [0.97, 1.02, 1.04])
def test_one_of_several_sizes_is_followed(factor):
    design = resized(parse_design(TEXTS["roles"]), factor, only="small")
    near, whole = glimpse(design, built("roles")), build(replace(design, tolerance=0.0))
    judged_by_itself(near)
    assert near.check.smallest_gap == pytest.approx(whole.check.smallest_gap, abs=0.01)


def test_a_piece_with_findings_is_followed():
    design = resized(parse_design(TEXTS["earrings"]), 1.02)
    near = glimpse(design, built("earrings"))
    report = judged_by_itself(near)
    assert report.sound
    assert near.check.smallest_gap > built("earrings").check.smallest_gap


@pytest.mark.parametrize("name", ["pairs", "ribbon", "sheet", "loop"])
def test_rings_scaled_alike_are_the_same_piece_scaled(name):
    """Closed form: poses, gaps and lengths are in proportion where every size is."""
    last = built(name)
    near = glimpse(resized(parse_design(TEXTS[name]), 1.25, 1.25), last)
    assert near.check.smallest_gap == pytest.approx(1.25 * last.check.smallest_gap, rel=1e-6)
    assert near.slack == pytest.approx(last.slack, rel=1e-6)
    assert near.weight == pytest.approx(1.25**3 * last.weight, rel=1e-9)
    if last.finished_length is not None:
        assert near.finished_length == pytest.approx(1.25 * last.finished_length, rel=2e-3)


def test_a_sweep_never_fits_where_the_check_says_otherwise():
    last, answers = built("pairs"), []
    for inside in np.linspace(1.1, 0.72, 16):
        near = glimpse(resized(parse_design(TEXTS["pairs"]), float(inside)), last)
        if near is not None:
            answers.append(judged_by_itself(near).sound)
    # It fits first and does not at the end, changing over once.
    assert answers[0] is True
    assert answers[-1] is False
    assert answers == sorted(answers, reverse=True)


def test_too_small_a_hole_is_still_proven():
    near = glimpse(resized(parse_design(TEXTS["pairs"]), 0.5), built("pairs"))
    assert near is None or (near.placement.proof is not None and not near.fits)


@pytest.mark.parametrize("repeat", [3, 8, 14])
def test_other_repeats_take_no_search(repeat):
    text = starter_design("two-in-one", repeat=repeat)
    near, whole = glimpse(parse_design(text), built("pairs")), build(parse_design(text))
    assert near.check.smallest_gap == pytest.approx(whole.check.smallest_gap, abs=SAME)
    assert near.counts == whole.counts
    assert near.finished_length == pytest.approx(whole.finished_length, abs=1e-2)


@pytest.mark.parametrize("length", ["150 mm", "181 mm", "8 in"])
def test_other_lengths_take_the_repeats_that_a_build_takes(length):
    design = parse_design(starter_design("two-in-two", length=length))
    near, whole = glimpse(design, built("long")), build(design)
    assert near.design.repeating.repeat == whole.design.repeating.repeat
    assert near.finished_length == pytest.approx(whole.finished_length, abs=1e-6)
    assert near.asked_length == whole.asked_length


def test_metals_clearance_and_title_keep_the_poses():
    last = built("pairs")
    text = (
        TEXTS["pairs"]
        .replace("sterling silver", "copper")
        .replace('clearance = "0 mm"', 'clearance = "0.1 mm"')
    )
    near = glimpse(parse_design(text), last)
    np.testing.assert_array_equal(near.placement.rings.centres, last.placement.rings.centres)
    assert near.weight < last.weight
    assert near.slack == pytest.approx(last.slack - 0.1 / 1.024, abs=1e-3)
    assert near.design.metal.name == "copper"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("pairs", starter_design("two-in-two", repeat=9)),
        ("pairs", starter_design("two-in-one", repeat=9, closed=True)),
        ("pairs", weave("two-in-one", repeat=9)),
        ("rosette", starter_design("rosette", rosette=4)),
        ("turning", weave("spiral-4-in-1", repeat=20, hand="left")),
        ("turning", weave("spiral-4-in-1", repeat=20, hand="right")),
        ("sheet", weave("japanese-8-in-2", columns=4, rows=3)),
    ],
)
def test_other_links_are_not_near(name, text):
    design = parse_design(text)
    if design.piece == built(name).design.piece:
        assert glimpse(design, built(name)) is not None
    else:
        assert glimpse(design, built(name)) is None


@pytest.mark.parametrize("name", ["pairs", "loop", "earrings", "sheet"])
def test_it_starts_from_a_result_that_was_sent(name):
    """A result goes from one process to another as bytes; what is seen is the same, twice over."""
    sent = pickle.dumps(built(name))
    assert len(sent) < 200_000
    design = resized(parse_design(TEXTS[name]), 1.03)
    first, second, own = (
        glimpse(design, last) for last in (pickle.loads(sent), pickle.loads(sent), built(name))
    )
    for other in (second, own):
        np.testing.assert_array_equal(first.placement.rings.centres, other.placement.rings.centres)
        assert first.finished_length == other.finished_length
    again = pickle.loads(pickle.dumps(first))
    np.testing.assert_array_equal(again.placement.rings.normals, first.placement.rings.normals)


def test_a_glimpse_can_be_followed_by_the_next():
    last = built("ribbon")
    for step in range(1, 6):
        last = glimpse(resized(parse_design(TEXTS["ribbon"]), 1.0 + 0.01 * step), last)
    whole = build(replace(last.design, tolerance=0.0))
    assert last.check.smallest_gap == pytest.approx(whole.check.smallest_gap, abs=SAME)


def test_what_it_does_is_told():
    told = []
    glimpse(resized(parse_design(TEXTS["pairs"]), 1.03), built("pairs"), on_progress=told.append)
    assert told == ["placing rings", "pulling the cell straight", "checking the whole piece"]


def test_starts_of_a_search_are_told():
    told = []
    build(parse_design(starter_design("two-in-one", inside="3.017 mm", repeat=4)), on_progress=told.append)
    assert "placing rings, start 2 of 5" in told
