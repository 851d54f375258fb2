"""Findings and beads counted and weighed, by hand from their sizes."""

from dataclasses import replace
from math import pi

import pytest

from chaingen.findings.finding import Bead, Finding
from chaingen.geometry.centrelines import Straight
from chaingen.geometry.shapes import Shape, Strand
from chaingen.make.counts import ring_counts
from chaingen.make.finding_counts import bead_counts, finding_counts, finding_weight
from chaingen.make.metals import RingMetals
from chaingen.stock.metals import find_metal
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from tests.test_ends import finding, ring_eye

SILVER, BRASS = find_metal("sterling silver"), find_metal("brass")
JUMP = RingSize("jump", 4.0, 1.0)
BLUE = Bead("bead 1", "ball", 6.0, 6.0, 1.0, (0.2, 0.4, 0.6), 2.5)
GREY = Bead("bead 2", "disc", 5.0, 2.0, 1.0, (0.5, 0.5, 0.5))


def pin_of(*beads):
    link = finding("pin", "head pin", [ring_eye("loop", 0.0, 2.0)], (0,), ())
    stem = Strand((Straight((2.0, 0.0, 0.0), (1.0, 0.0, 0.0), 20.0),), 0.5)
    ball = Strand((Straight((8.0, 0.0, 0.0), (1.0, 0.0, 0.0), 0.0),), 3.0, "bead 1")
    return replace(link, shape=Shape((*link.shape.strands, stem, ball), link.shape.eyes), beads=beads)


def piece(*groups):
    graph = piece_graph(Run(groups))
    of_ring = [1 if isinstance(member.size, Finding) else 0 for member in graph.members]
    import numpy as np

    return graph, RingMetals((SILVER, BRASS), np.array(of_ring))


def test_rings_and_findings_are_counted_apart():
    pin = pin_of(BLUE)
    graph, metals = piece(Group(GroupKind.SIDE_BY_SIDE, 2, JUMP), Group(GroupKind.FINDING, 1, pin))
    (rings,) = ring_counts(graph, metals)
    (pins,) = finding_counts(graph, metals)
    assert (rings.count, rings.size, rings.metal) == (2, JUMP, SILVER)
    assert (pins.count, pins.finding, pins.metal) == (1, pin, BRASS)


def test_weight_of_a_pin_by_hand():
    # A loop of 2 mm inside in 1 mm wire, and 20 mm of stem; the bead is no wire. mm3 times g/cm3 are mg.
    volume = pi * 0.25 * (pi * 3.0 + 20.0)
    assert finding_weight(pin_of(BLUE), BRASS) == pytest.approx(volume * BRASS.density / 1000.0, rel=1e-12)


def test_a_pair_takes_two_of_everything():
    graph, metals = piece(Group(GroupKind.SIDE_BY_SIDE, 2, JUMP), Group(GroupKind.FINDING, 1, pin_of(BLUE)))
    once, twice = ([ring_counts(graph, metals, n), finding_counts(graph, metals, n)] for n in (1, 2))
    for (one,), (two,) in zip(once, twice, strict=True):
        assert (two.count, two.weight) == (2 * one.count, pytest.approx(2.0 * one.weight))
    (beads,) = bead_counts(finding_counts(graph, metals, 2))
    assert beads.count == 2


def test_beads_alike_are_counted_together():
    pin = pin_of(BLUE, replace(BLUE, part="bead 2"), replace(GREY, part="bead 3"))
    graph, metals = piece(Group(GroupKind.SIDE_BY_SIDE, 1, JUMP), Group(GroupKind.FINDING, 1, pin))
    blue, grey = bead_counts(finding_counts(graph, metals))
    assert (blue.count, grey.count) == (2, 1)
    # A ball with a hole through its middle: the ball less the cylinder and the two caps at its ends.
    radius, hole = 3.0, 0.5
    cap = radius - (radius**2 - hole**2) ** 0.5
    lost = pi * hole**2 * 2.0 * (radius - cap) + 2.0 * pi * cap**2 * (3.0 * radius - cap) / 3.0
    each = 4.0 / 3.0 * pi * radius**3 - lost
    assert blue.weight == pytest.approx(2.0 * each * 2.5 / 1000.0, rel=1e-9)
    assert grey.weight is None
