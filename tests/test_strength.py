"""The pull at which rings open, and how many have to."""

from dataclasses import replace
from itertools import combinations
from math import pi

import networkx as nx
import numpy as np
import pytest

from chaingen.design.bench import Bench, WireData
from chaingen.design.load import parse_design
from chaingen.design.starter import starter_design
from chaingen.make.abreast import NEVER, fewest_to_open
from chaingen.make.forming import Spring
from chaingen.make.strength import first_yield, fully_plastic, ring_strength, strength_of
from chaingen.pipeline import build
from chaingen.stock.metals import find_metal
from chaingen.weave.graph import LinkGraph, Member, piece_graph
from chaingen.weave.groups import Run
from tests.conftest import join, rosette, side, size

SILVER = find_metal("sterling silver")
BENCH = Bench(wires=(("sterling silver", WireData("half hard", 76.0, 300.0)),))
RATIOS = [1.2, 2.0, 3.0, 5.0, 10.0, 50.0]


def section(c, count=4000):
    """Distances from the middle of a round section and the widths there, by Gauss and Chebyshev's nodes."""
    k = np.arange(1, count + 1)
    angle = k * pi / (count + 1)
    # Integral of f(y) 2 sqrt(c2 - y2) dy.
    return c * np.cos(angle), 2.0 * c * c * pi / (count + 1) * np.sin(angle) ** 2


@pytest.mark.parametrize("ratio", RATIOS)
def test_the_inner_fibre_yields_by_stress_integrated_over_the_section(ratio):
    """Stress E (e0 + (w - e0) y / r) of a bar whose plane sections stay plane, from its two balances."""
    ring = size(ratio, 1.0)
    big = ring.radius
    y, area = section(0.5)
    r = big + y
    # Stress s = p + q (r - big) / r; pull = sum s dA, moment that straightens about the middle = -sum s y dA.
    forces = np.array([[area.sum(), (area * y / r).sum()], [-(area * y).sum(), -(area * y * y / r).sum()]])
    p, q = np.linalg.solve(forces, [1.0, big])
    inner = p - q * 0.5 / (big - 0.5)
    assert first_yield(ring, 200.0) == pytest.approx(200.0 / inner, rel=1e-6)


@pytest.mark.parametrize("ratio", RATIOS)
def test_neutral_radius_of_a_round_section(ratio):
    """Pull through the centre of curvature: stress P rn (R - r) / (A e r), nothing at the middle."""
    ring = size(ratio, 1.0)
    big = ring.radius
    y, area = section(0.5)
    neutral = area.sum() / (area / (big + y)).sum()
    inner = neutral * 0.5 / (area.sum() * (big - neutral) * (big - 0.5))
    assert first_yield(ring, 1.0) == pytest.approx(1.0 / inner, rel=1e-5)


@pytest.mark.parametrize("ratio", RATIOS)
def test_fully_plastic_by_search_over_the_chord(ratio):
    """Both parts of the section integrated; the chord whose moment is R times the pull."""
    ring = size(ratio, 1.0)
    y, area = section(0.5, 1_000_000)
    order = np.argsort(y)
    y, area = y[order], area[order]
    below = np.cumsum(area)
    pull = 2.0 * below - area.sum()
    moment = -2.0 * np.cumsum(area * y)
    at = np.flatnonzero((pull > 0) & (moment <= ring.radius * pull))[0]
    assert fully_plastic(ring, 300.0) == pytest.approx(300.0 * pull[at], rel=3e-3)


def test_thin_rings_bend_like_straight_bars():
    """Fully plastic moment Y d3/6, first yield pi d3 Y/32, over R (references on round wire: closed form)."""
    ring = size(4000.0, 1.0)
    assert fully_plastic(ring, 300.0) == pytest.approx(300.0 / (6.0 * ring.radius), rel=1e-3)
    assert first_yield(ring, 300.0) == pytest.approx(300.0 * pi / 32.0 / ring.radius, rel=1e-3)


@pytest.mark.parametrize("pull", [first_yield, fully_plastic])
def test_thicker_smaller_and_harder_holds_more(pull):
    wires = [pull(size(5.0, wire), 300.0) for wire in (0.5, 0.8, 1.0, 1.6, 3.0)]
    insides = [pull(size(inside, 1.0), 300.0) for inside in (9.0, 5.0, 3.0, 1.1)]
    assert wires == sorted(wires)
    assert insides == sorted(insides)
    assert pull(size(5.0, 1.0), 600.0) == pytest.approx(2.0 * pull(size(5.0, 1.0), 300.0))
    # Twice as large all over: four times the section.
    assert pull(size(10.0, 2.0), 300.0) == pytest.approx(4.0 * pull(size(5.0, 1.0), 300.0))


@pytest.mark.parametrize("ratio", RATIOS)
def test_opens_after_it_begins_and_before_the_wire_tears(ratio):
    ring = size(ratio, 1.0)
    assert first_yield(ring, 300.0) < fully_plastic(ring, 300.0) < 300.0 * 0.25 * pi


def test_nothing_is_known_without_a_spring():
    held = ring_strength(size(5.0), SILVER, None)
    assert (held.begins, held.opens) == (None, None)
    held = ring_strength(size(5.0), SILVER, Spring("half hard", 76.0, 300.0, "given"))
    assert held.begins == first_yield(size(5.0), 300.0)
    assert held.opens == fully_plastic(size(5.0), 300.0)


def drawn_graph(rng, places, most, over):
    """A piece of one to `most` rings a place, linked at random with places up to `over` on."""
    group = np.repeat(np.arange(places), rng.integers(1, most + 1, places))
    links = [
        (a, b)
        for a in range(len(group))
        for b in range(a + 1, len(group))
        if group[b] - group[a] <= over and (rng.random() < 0.6 or group[b] - group[a] == 1)
    ]
    members = tuple(Member(str(k), "link", size(5.0), int(g)) for k, g in enumerate(group))
    pairs = np.array(links, dtype=np.int64)
    return LinkGraph(members, pairs, np.zeros_like(pairs), (), (), False)


def parted_by_trying(graph, worth, first, last):
    """The least worth of bodies without which no path leads from the first ones to the last."""
    network = graph.network()
    best = NEVER
    for count in range(len(graph)):
        for gone in combinations(np.flatnonzero(worth < NEVER).tolist(), count):
            rest = network.copy()
            rest.remove_nodes_from(gone)
            reached = {b for a in first if a in rest for b in nx.node_connected_component(rest, a)}
            if not reached & set(last):
                best = min(best, int(worth[list(gone)].sum()))
    return best


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("worths", [False, True])
def test_fewest_to_open_by_trying_all(seed, worths):
    rng = np.random.default_rng(seed)
    graph = drawn_graph(rng, 5, 3, 1 + seed % 2)
    worth = rng.integers(1, 9, len(graph)) if worths else np.ones(len(graph), dtype=np.int64)
    if worths:
        worth[rng.integers(len(graph))] = NEVER
    over = np.abs(np.diff(graph.group_of[graph.links], axis=1))[:, 0]
    first, last = (max(over[(graph.group_of[graph.links] == end).any(axis=1)].max(), 1) for end in (0, 4))
    begins = np.flatnonzero(graph.group_of < min(first, 2)).tolist()
    ends = np.flatnonzero(graph.group_of > 4 - min(last, 2)).tolist()
    expected = parted_by_trying(graph, worth, begins, ends)
    assert fewest_to_open(graph, worth, bare=False) == (None if expected >= NEVER else expected)


def abreast(run):
    graph = piece_graph(run)
    return fewest_to_open(graph, np.ones(len(graph), dtype=np.int64), bare=False)


RING = size(5.0, 1.0)


@pytest.mark.parametrize(
    ("cell", "count"),
    [
        ((side(1, RING),), 1),
        ((side(2, RING), join(1, RING)), 1),
        ((side(2, RING),), 2),
        ((side(3, RING),), 3),
        ((rosette(3, RING), join(1, RING)), 1),
        ((rosette(3, RING), join(2, RING)), 2),
        ((rosette(3, RING), side(4, RING)), 3),
    ],
)
@pytest.mark.parametrize("closed", [False, True])
@pytest.mark.parametrize("repeat", [4, 1000])
def test_rows_of_groups_hold_by_their_smallest_group(cell, count, closed, repeat):
    """All rings of a group link all of the next: the smallest group is the only cut (common practice: the
    weakest place is where fewest rings carry)."""
    assert abreast(Run(cell, repeat, closed=closed)) == count


def test_a_weak_place_far_inside_a_long_piece_is_found():
    long = (side(3, RING),) * 700
    assert abreast(Run((side(3, RING),), 900, first=(*long, side(2, RING)))) == 2
    assert abreast(Run((side(3, RING),), 900, first=(*long, side(2, RING)), closed=True)) == 2
    assert abreast(Run((side(3, RING),), 900, first=long, last=(side(1, RING),))) == 1


def weave_result(name, repeat, extra="", **rings):
    sizes = "".join(f'[rings.{r}]\ninside = "{i} mm"\nwire = "{w} mm"\n' for r, (i, w) in rings.items())
    extent = f"repeat = {repeat}" if isinstance(repeat, int) else repeat
    text = f'title = "T"\nmetal = "sterling silver"\n{sizes}[pattern]\nweave = "{name}"\n{extent}\n{extra}'
    return build(parse_design(text))


@pytest.mark.parametrize("repeat", [3, 4, 12])
@pytest.mark.parametrize(("name", "count"), [("jens-pind", 2), ("byzantine", 2), ("box-chain", 2)])
def test_weaves_hold_by_what_runs_side_by_side(name, count, repeat):
    """Jens Pind: every ring links the next two, so that two neighbours part it; Byzantine and box chain are
    of pairs (common practice)."""
    inside = 3.2 if name == "jens-pind" else 4.6
    assert strength_of(weave_result(name, repeat, link=(inside, 1.0)), BENCH).abreast == count


def test_a_closed_weave_counts_one_way_and_shares_a_pull_between_two():
    ring = (4.6, 1.0)
    loop = strength_of(weave_result("byzantine", 12, 'form = "closed loop"\n', link=ring), BENCH)
    chain = strength_of(weave_result("byzantine", 12, link=ring), BENCH)
    assert loop.abreast == chain.abreast == 2
    assert loop.weakest == chain.weakest
    assert loop.strongest == pytest.approx(2.0 * chain.strongest, rel=1e-5)


def test_a_sheet_is_told_ring_by_ring():
    held = strength_of(weave_result("european-4-in-1", "columns = 4\nrows = 4", link=(4.0, 1.0)), BENCH)
    assert held.abreast is None
    assert held.strongest is None
    assert held.weakest == pytest.approx(first_yield(size(4.0, 1.0), 300.0))
    assert held.holds == "perhaps"


def chain_strength(chain, tug, **keys):
    result = build(parse_design(starter_design(chain, inside="4 mm", wire="1 mm", repeat=5, **keys)))
    return result, strength_of(result, replace(BENCH, tug=tug))


def test_a_chain_holds_perhaps_or_not():
    ring = size(4.0, 1.0)
    begins, opens = first_yield(ring, 300.0), fully_plastic(ring, 300.0)
    result, held = chain_strength("two-in-two", 0.99 * begins)
    assert (held.abreast, held.holds, held.advice) == (2, "yes", "")
    assert held.weakest == pytest.approx(begins)
    assert held.strongest == pytest.approx(2.0 * opens)
    assert held.weight == pytest.approx(result.weight * 9.80665e-3)
    for tug, holds in ((1.01 * begins, "perhaps"), (1.99 * opens, "perhaps"), (2.01 * opens, "no")):
        _, held = chain_strength("two-in-two", tug)
        assert held.holds == holds
        assert "older" in held.advice
    _, held = chain_strength("two-in-one", 1.01 * opens)
    assert (held.abreast, held.holds) == (1, "no")


def test_a_piece_of_unknown_wire_says_nothing():
    _, held = chain_strength("two-in-two", 50.0, metal="niobium")
    assert held.rings[0].spring is None
    assert (held.abreast, held.weakest, held.strongest, held.holds) == (2, None, None, None)
    assert held.advice == ""


MIXED = """
title = "Two strengths"
metal = "sterling silver"
{pair}
[rings.thin]
inside = "5 mm"
wire = "0.8 mm"
[rings.thick]
inside = "5 mm"
wire = "1.2 mm"
{rest}
[pattern]
repeat = 4
groups = [{groups}]
"""


def mixed(groups, rest="", pair=""):
    return build(parse_design(MIXED.format(groups=groups, rest=rest, pair=pair)))


def test_the_weaker_way_through_is_the_one_that_gives():
    """Two thin rings hold less than one thick one: the fewest to open is not the weakest place."""
    held = strength_of(
        mixed('{ side_by_side = 2, ring = "thin" }, { side_by_side = 1, ring = "thick" }'), BENCH
    )
    thin, thick = fully_plastic(size(5.0, 0.8), 300.0), fully_plastic(size(5.0, 1.2), 300.0)
    assert 2.0 * thin < thick
    assert held.abreast == 1
    assert held.strongest == pytest.approx(2.0 * thin, rel=1e-4)
    assert held.weakest == pytest.approx(first_yield(size(5.0, 0.8), 300.0))


def test_findings_do_not_open_and_a_pair_weighs_as_one():
    groups = '{ finding = "oval" }, { side_by_side = 1, ring = "thick" }'
    oval = '[findings.oval]\nkind = "oval link"\nsoldered = true\n'
    one, two = (mixed(groups, oval, pair) for pair in ("", "pair = true\n"))
    held, paired = strength_of(one, BENCH), strength_of(two, BENCH)
    assert held.abreast == 1
    assert held.strongest == pytest.approx(fully_plastic(size(5.0, 1.2), 300.0), rel=1e-4)
    assert paired.weight == pytest.approx(held.weight)
    assert two.weight == pytest.approx(2.0 * one.weight)


def test_what_never_opens_is_told_as_none():
    graph = piece_graph(Run((side(1, RING),), 5))
    assert fewest_to_open(graph, np.full(5, NEVER), bare=False) is None
    assert fewest_to_open(piece_graph(Run((side(1, RING),))), np.array([1]), bare=False) == 1
