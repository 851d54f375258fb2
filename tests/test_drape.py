"""Pieces at rest in scenes: against the catenary, the taut length, the weight, and the promises made."""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from chaingen.design.scene import ROW_SCENES, Scene
from chaingen.geometry.bodies import centreline_points
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.linking import linked
from chaingen.geometry.near import near_pairs
from chaingen.geometry.solids import distances
from chaingen.solve.check import check
from chaingen.solve.drape.drape import HAIR, cleared, drape
from chaingen.solve.drape.rows import closing_run
from chaingen.solve.drape.starts import CannotDrape, TooShort
from chaingen.solve.length import taut_lengths
from chaingen.solve.place import place
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size
from tests.oracles import outside_linking

RING = size(4.0, 1.0)
HANG, SWAG, TABLE, WRIST, NECK = ROW_SCENES

SINGLE, PAIRS = (side(1, RING),), (side(2, RING),)
ROSETTES = (rosette(3, size(4.0)), join(2, size(4.0)))


@cache
def placed(run):
    return place(run), taut_lengths(run).at(run.repeat)


def rest(run, **scene):
    placement, taut = placed(run)
    return drape(run, placement, Scene(**scene), taut=taut)


def assert_sound(draped):
    """At rest, free of contact, links as designed, held up by what holds it."""
    assert draped.reached, draped.why
    assert draped.unbalanced <= 1e-3
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    assert draped.check.smallest_gap > 0.0
    # Newton's third law: supports carry the weight, to the force that is left unbalanced on each ring.
    assert draped.support == pytest.approx(1.0, abs=1e-3)
    for solid in draped.solids:
        clear = distances(solid, centreline_points(draped.rings, 180).reshape(-1, 3))[:, 0].reshape(
            len(draped.rings), -1
        )
        assert (clear.min(axis=1) > draped.rings.wire_radii).all()


CASES = {
    "hang-single": (Run(SINGLE, 12), {"kind": HANG}),
    "hang-rosettes": (Run(ROSETTES, 4), {"kind": HANG}),
    "hang-loop": (Run(SINGLE, 24, closed=True), {"kind": HANG}),
    "hang-odd-loop": (Run(SINGLE, 21, closed=True), {"kind": HANG}),
    "swag-pairs": (Run(PAIRS, 14), {"kind": SWAG}),
    "swag-even-single": (Run(SINGLE, 16), {"kind": SWAG, "span_fraction": 0.5}),
    "table-single": (Run(SINGLE, 12), {"kind": TABLE}),
    "table-curved": (Run((side(2, RING), join(1, RING)), 8), {"kind": TABLE, "curved": True}),
    "table-shaken": (Run(PAIRS, 10), {"kind": TABLE, "disorder": 1.0, "seed": 3}),
    "wrist-open-run": (Run(PAIRS, 36), {"kind": WRIST, "circumference": 110.0}),
    "wrist-loop": (Run(SINGLE, 40, closed=True), {"kind": WRIST}),
    "no-friction": (Run(PAIRS, 8), {"kind": HANG, "friction": 0.0}),
}


@pytest.mark.parametrize("name", CASES)
def test_comes_to_rest(name):
    run, scene = CASES[name]
    assert_sound(rest(run, **scene))


@pytest.mark.slow
def test_neck():
    draped = rest(Run((side(1, size(6.0, 1.2)),), 76, closed=True), kind=NECK)
    assert_sound(draped)
    assert draped.circumference == 360.0
    # It goes round: seen from above, the middles turn once about the neck.
    angle = np.unwrap(np.arctan2(draped.rings.centres[:, 1], draped.rings.centres[:, 0]))
    assert abs(angle[-1] - angle[0]) == pytest.approx(2.0 * np.pi, abs=0.2)
    # The front hangs lower than the nape: the wearer looks towards -y.
    front, nape = draped.rings.centres[:, 1].argmin(), draped.rings.centres[:, 1].argmax()
    assert draped.rings.centres[front, 2] < draped.rings.centres[nape, 2] - 10.0


def catenary_sag(slack, span):
    """Sag of a catenary `slack` times as long as its span: sinh(x) / x = slack, a = span / 2 x (textbook)."""
    low, high = 1e-6, 20.0
    for _ in range(200):
        x = 0.5 * (low + high)
        low, high = (x, high) if np.sinh(x) / x < slack else (low, x)
    return 0.5 * span / x * (np.cosh(x) - 1.0)


def test_catenary_oracle():
    """Published values of sag over span (references of any textbook on catenaries; computed twice)."""
    for slack, value in ((1.05, 0.139304), (1.2, 0.292344), (1.5, 0.502633), (2.0, 0.796388)):
        assert catenary_sag(slack, 1.0) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(("slack", "most"), [(1.2, 0.005), (1.5, 0.0025), (2.0, 0.0015)])
def test_sag_of_a_hundred_rings(slack, most):
    span = 100 * 4.0 / slack
    draped = rest(Run(SINGLE, 100), kind=SWAG, span=span, friction=0.0)
    assert draped.span == pytest.approx(span, abs=1e-9)
    assert draped.sag == pytest.approx(catenary_sag(slack, span), rel=most)


def test_sag_comes_nearer_to_the_catenary_with_more_rings():
    """A chain of N rigid links differs from it by 1/N^2; wires have a thickness, which adds a part of 1/N."""
    off = []
    for count in (25, 50, 100, 200):
        span = count * 4.0 / 1.2
        draped = rest(Run(SINGLE, count), kind=SWAG, span=span, friction=0.0)
        off.append(abs(draped.sag / catenary_sag(1.2, span) - 1.0))
    assert all(later < 0.7 * earlier for earlier, later in pairwise(off))


@pytest.mark.parametrize("count", [5, 20])
@pytest.mark.parametrize("friction", [0.0, 0.2])
def test_hung_chain_is_as_long_as_taut(count, friction):
    """N ID + 2 WD, the length of a taut chain of equal single rings (closed form)."""
    draped = rest(Run(SINGLE, count), kind=HANG, friction=friction)
    assert draped.length == pytest.approx(count * 4.0 + 2.0 * 1.0, rel=0.002)
    pitch = np.linalg.norm(np.diff(draped.rings.centres, axis=0), axis=1)
    assert pitch == pytest.approx(np.full(count - 1, 4.0), rel=0.002)


def test_length_never_exceeds_taut():
    for name in ("hang-rosettes", "swag-pairs", "table-single"):
        run, scene = CASES[name]
        assert rest(run, **scene).length < placed(run)[1] * (1.0 + 1e-3)


def test_equal_seeds_give_equal_rest_and_others_do_not():
    run = Run(SINGLE, 10)
    one, same, other = (rest(run, kind=TABLE, disorder=1.0, seed=seed) for seed in (5, 5, 6))
    assert (one.rings.centres == same.rings.centres).all()
    assert (one.rings.normals == same.rings.normals).all()
    assert np.abs(one.rings.centres - other.rings.centres).max() > 0.1


def test_friction_holds_what_slides_without():
    """A ring leaning on the table slides flat without friction, and less with a lot of it (Coulomb)."""
    run = Run(SINGLE, 8)
    slippery, rough = (rest(run, kind=TABLE, friction=mu) for mu in (0.0, 1.0))
    lying = [np.abs(draped.rings.normals[:, 2]).mean() for draped in (slippery, rough)]
    assert lying[0] > lying[1] + 0.02


def test_no_slack_is_draped_with_a_hair_less_wire():
    """A chain of single rings with an inside of two wires has no gap at all when closed up (packing)."""
    tight = size(2.0, 1.0)
    draped = rest(Run((side(1, tight),), 6), kind=HANG)
    assert draped.reached
    assert 0.0 < draped.hair <= 1.05 * HAIR * 1.0
    assert draped.rings.wire_diameters == pytest.approx(np.full(6, 1.0 - draped.hair))
    assert draped.check.links_as_designed


@pytest.mark.parametrize("name", ["table-shaken", "hang-odd-loop"])
def test_no_frame_has_wires_through_each_other(name):
    run, scene = CASES[name]
    draped = rest(run, **scene, settling=True)
    assert len(draped.frames) > 5
    wanted = {tuple(pair) for pair in draped.graph.links.tolist()}
    for frame in draped.frames:
        pairs = near_pairs(frame)
        gaps, _ = smallest_gaps(frame, pairs)
        assert gaps.min() > 0.0
        assert {tuple(pair) for pair in pairs[linked(frame, pairs)].tolist()} == wanted
    assert (draped.frames[-1].centres == draped.rings.centres).all()


def test_outside_linking_number_at_rest():
    """SnapPy's linking numbers of polygons inscribed in the rings at rest."""
    draped = rest(*[CASES["table-shaken"][0]], **CASES["table-shaken"][1])
    rings = draped.rings[slice(0, 8)]
    for i, j in near_pairs(rings).tolist():
        number = outside_linking(
            *((rings.centres[k], rings.normals[k], rings.radii[k]) for k in (i, j)), segments=24
        )
        assert (number == 1) == ([i, j] in draped.graph.links.tolist())


def test_bracelet_hangs_on_top_of_the_wrist():
    draped = rest(Run(SINGLE, 40, closed=True), kind=WRIST, circumference=110.0)
    half_height = draped.solids[0].numbers[4]
    low, high = draped.rings.bounds()
    # The lowest wire hangs free, the highest rests on top: its inside touches the arm.
    assert high[2] < half_height + 2.0 * 3.0 + 0.1
    assert low[2] < -half_height - 2.0 * 3.0 - 0.5
    angle = np.unwrap(np.arctan2(draped.rings.centres[:, 2], draped.rings.centres[:, 0]))
    assert abs(angle[-1] - angle[0]) == pytest.approx(2.0 * np.pi, abs=0.3)


def test_default_wrist_suits_the_bracelet():
    draped = rest(Run(SINGLE, 40, closed=True), kind=WRIST)
    assert 60.0 < draped.circumference < 160.0
    assert draped.circumference == pytest.approx(160.0 - 2.0 * np.pi * 3.0 - 15.0, abs=1.0)


def test_worn_open_run_is_closed_into_its_regular_loop():
    run = Run((side(2, RING), join(1, RING)), 12)
    closed = closing_run(run)
    assert closed.closed
    # The join that hangs on no open end joins the last group to the first.
    assert len(closed.groups()) == 24
    assert len(run.groups()) == 23
    assert closing_run(Run((side(2, RING),), 2)) is None
    assert closing_run(Run((join(1, RING), side(2, RING), join(1, RING)))) is None
    ended = closing_run(Run(SINGLE, 4, first=(side(2, RING),)))
    assert len(ended.groups()) == 5


def test_what_cannot_be_draped_says_why():
    with pytest.raises(TooShort, match="too short"):
        rest(Run(SINGLE, 40, closed=True), kind=WRIST, circumference=150.0)
    with pytest.raises(TooShort, match="too short"):
        rest(Run(SINGLE, 40, closed=True), kind=NECK)
    with pytest.raises(CannotDrape, match="too short for any wrist"):
        rest(Run(SINGLE, 10, closed=True), kind=WRIST)
    with pytest.raises(CannotDrape, match="two ends"):
        rest(Run(SINGLE, 10, closed=True), kind=SWAG)
    with pytest.raises(CannotDrape, match="three groups"):
        rest(Run(SINGLE, 2), kind=SWAG)
    with pytest.raises(CannotDrape, match="farther than the piece reaches"):
        rest(Run(SINGLE, 10), kind=SWAG, span=41.0)
    with pytest.raises(CannotDrape, match="its end cannot link its beginning"):
        rest(Run(SINGLE, 2), kind=WRIST)


def test_cleared_opens_a_bent_row_that_overlaps():
    placement, _ = placed(Run(SINGLE, 30, closed=True))
    rings = placement.rings
    squeezed = replace(rings, centres=rings.centres * np.array([0.8, 0.8, 1.0]))
    report = check(placement.graph, squeezed)
    assert report.links_as_designed
    assert report.collisions
    opened = cleared(placement.graph, squeezed, ())
    after = check(placement.graph, opened)
    assert after.links_as_designed
    assert not after.collisions
    assert after.smallest_gap > 0.0


def test_cleared_gives_up_where_there_is_no_room():
    placement, _ = placed(Run(SINGLE, 30, closed=True))
    thick = replace(placement.rings, wire_radii=placement.rings.wire_radii * 1.9)
    assert cleared(placement.graph, thick, ()) is None


def test_steps_that_do_not_suffice_are_told_and_harm_nothing(monkeypatch):
    monkeypatch.setattr("chaingen.solve.drape.settle.MOST_STEPS", 4)
    draped = rest(Run(PAIRS, 10), kind=TABLE, disorder=1.0)
    assert not draped.reached
    assert "still pushed" in draped.why
    assert draped.check.links_as_designed
    assert draped.check.smallest_gap > 0.0


def test_energy_falls_at_each_barrier_without_friction():
    draped = rest(Run(PAIRS, 8), kind=TABLE, friction=0.0)
    stage, energy = (np.array(column) for column in zip(*draped.energies, strict=True))
    assert len(energy) > 20
    same = np.diff(stage) == 0
    assert (np.diff(energy)[same] <= 1e-9 * np.abs(energy[1:][same])).all()


UNEVEN = {
    "few": Run(SINGLE, 3),
    "pairs-and-a-ring": Run((side(2, RING), side(1, size(5.0, 1.0, "big"))), 5),
    "graduated": Run(tuple(side(1, size(3.0 + 0.5 * k, 1.0, f"r{k}")) for k in range(7))),
    "ends-unlike": Run(SINGLE, 8, first=(side(1, size(7.0, 1.2, "ring")),)),
    "thick-joins": Run((side(2, size(9.18, 1.36)), join(1, size(8.99, 2.0, "join"))), 6),
}


@pytest.mark.parametrize("name", UNEVEN)
def test_swag_of_unlike_ends(name):
    draped = rest(UNEVEN[name], kind=SWAG)
    assert_sound(draped)
    left, right = (solid.numbers for solid in draped.solids)
    assert right[0] - left[0] == pytest.approx(draped.span, abs=1e-9)
    assert left[2] == right[2]
    # Both pegs are level.
    assert np.abs([left[3:6], right[3:6]]) == pytest.approx(np.array([[0, 1, 0], [0, 1, 0]]), abs=1e-12)


@pytest.mark.parametrize("kind", [HANG, TABLE])
@pytest.mark.parametrize("count", [1, 3])
def test_small_closed_loops(kind, count):
    run = Run((side(count, size(4.0 + 2.5 * (count - 1), 1.0 + 0.2 * (count - 1))),), 4, closed=True)
    assert_sound(rest(run, kind=kind))


def test_a_short_row_in_a_curve():
    two_sizes = (rosette(2, size(5.92, 1.38, "a")), side(3, size(7.85, 1.05, "b")))
    assert_sound(rest(Run(two_sizes, 2), kind=TABLE, curved=True))


def test_a_slippery_loop_slides_off_the_shoulders():
    with pytest.raises(CannotDrape, match="slides off"):
        rest(Run((side(1, size(12.0, 2.0)),), 116, closed=True), kind=NECK, friction=0.0)


def test_light_rings_are_at_rest_by_their_own_weight():
    """Tiny rings below large ones: what is next to nothing for these may be their whole weight."""
    tiny = (side(1, size(7.0, 0.3, "a")), side(1, size(1.5, 0.3, "b")), side(1, size(1.5, 0.3, "c")))
    draped = rest(
        Run((side(1, size(60.0, 6.0)),), 2, last=tiny), kind=HANG, friction=0.0, disorder=0.5, seed=3
    )
    assert_sound(draped)
    # Hung by one line, the chain is plumb: each middle is below the one before it, to the play of the wires.
    below = np.diff(draped.rings.centres[-3:], axis=0)
    assert (below[:, 2] < 0.0).all()
    assert np.abs(below[:, 0]).max() < 0.05 * np.abs(below[:, 2]).max()


def test_length_goes_to_the_outsides_of_the_ends():
    """Seen from the side, a hung chain of rosettes is as long as the box round it is high."""
    draped = rest(Run((rosette(3, size(4.0, 0.8)),), 8), kind=HANG, friction=0.0)
    low, high = draped.rings.bounds()
    assert draped.length == pytest.approx(high[2] - low[2], rel=0.01)


def test_a_long_swag():
    """Thousands of rings: on the catenary to 0.15 %, with friction as without."""
    span = 2200 * 4.0 / 1.2
    held = rest(Run(SINGLE, 2200), kind=SWAG, span=span)
    assert_sound(held)
    assert held.sag == pytest.approx(catenary_sag(1.2, span), rel=0.0015)
    free = rest(Run(SINGLE, 2200), kind=SWAG, span=span, friction=0.0)
    assert np.abs(held.rings.centres - free.rings.centres).max() < 0.1


def test_a_narrow_swag_hangs_in_two_strands():
    draped = rest(Run(SINGLE, 40), kind=SWAG, span=8.0)
    assert_sound(draped)
    # Each strand is about half of the chain long.
    assert draped.sag == pytest.approx(80.0, rel=0.06)
