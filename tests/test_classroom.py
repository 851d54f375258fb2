"""Kits, shared spares and what to order, by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaingen.design.bench import Bench, Classroom
from chaingen.findings.finding import Bead, Finding
from chaingen.make.classroom import class_order
from chaingen.make.counts import RingCount, ring_counts, ring_weight
from chaingen.make.finding_counts import bead_counts, finding_counts
from chaingen.make.metals import RingMetals
from chaingen.make.wire_plan import ring_plans
from chaingen.stock.metals import find_metal
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from tests.test_ends import PIN

COPPER = find_metal("copper")
LINK, SMALL = RingSize("link", 3.0, 1.0), RingSize("small", 2.5, 0.8)
BENCH = Bench(kerf=0.25, bag=100, spare=0.5, sold_in=5000.0, classroom=Classroom(students=20))


def counted(count, size=LINK):
    return RingCount(size, COPPER, count, count * ring_weight(size, COPPER))


def test_class_of_twenty_in_bags_of_a_hundred():
    """A bracelet of 92 rings, worked by hand in test_wire_plan, with 7 small ones at its clasp."""
    order = class_order((counted(92), counted(7, SMALL)), (), (), BENCH)
    assert (order.students, order.kits, order.made) == (20, 21, 1)
    assert [count.count for count in order.kit_rings] == [92, 7]
    # 21 kits hold 1932 and 147 rings; 5 % of these are 96.6 and 7.35. The maker's own half is not added.
    assert [plan.rings.count for plan in order.order] == [1932, 147]
    assert order.spare_rings == (97, 8)
    assert [plan.count for plan in order.order] == [2029, 155]
    assert [plan.bags for plan in order.order] == [21, 2]
    assert order.order[0].rings.weight == pytest.approx(1932 * ring_weight(LINK, COPPER), rel=1e-12)


def test_the_order_is_wound_like_any_rings():
    """The same wire as one maker's who needs as many rings in all."""
    order = class_order((counted(92),), (), (), BENCH)
    (alone,) = ring_plans((counted(2029),), replace(BENCH, spare=0.0))
    (plan,) = order.order
    for field in ("turns", "coils", "coil_length", "wire_length", "wire_weight", "lengths", "bags"):
        assert getattr(plan, field) == getattr(alone, field)


def test_a_pair_with_pins_and_beads():
    ball = Bead("bead 1", "ball", 6.0, 6.0, 1.0, (0.2, 0.4, 0.6), 2.5)
    pin = replace(PIN, beads=(ball, replace(ball, part="bead 2")))
    graph = piece_graph(Run((Group(GroupKind.SIDE_BY_SIDE, 3, LINK), Group(GroupKind.FINDING, 1, pin))))
    metals = RingMetals(
        (COPPER,), np.array([0 for member in graph.members if isinstance(member.size, (RingSize, Finding))])
    )
    rings, pins = ring_counts(graph, metals, 2), finding_counts(graph, metals, 2)
    room = Classroom(students=8, for_teacher=2, shared_spare=0.125)
    order = class_order(rings, pins, bead_counts(pins), replace(BENCH, classroom=room), 2)
    # Ten kits of a pair each: 60 rings and 8 spare, 20 pins and 3 spare, 23 pins' beads.
    assert (order.kits, order.made) == (10, 2)
    assert [plan.count for plan in order.order] == [68]
    assert [count.count for count in order.findings] == [20]
    assert order.spare_findings == (3,)
    assert [count.count for count in order.beads] == [46]
    assert order.findings[0].weight == pytest.approx(10 * pins[0].weight, rel=1e-12)
    assert order.beads[0].weight == pytest.approx(46 * ball.volume * 2.5e-3, rel=1e-12)


def test_no_class_no_order():
    assert class_order((counted(92),), (), (), replace(BENCH, classroom=None)) is None


def test_no_shared_spares_and_no_teacher():
    room = Classroom(students=3, shared_spare=0.0, for_teacher=0)
    order = class_order((counted(10),), (), (), replace(BENCH, classroom=room))
    assert (order.kits, order.spare_rings, order.order[0].count) == (3, (0,), 30)


def test_beads_that_are_on_no_finding_are_a_mistake():
    pins = finding_counts(
        piece_graph(Run((Group(GroupKind.SIDE_BY_SIDE, 1, LINK), Group(GroupKind.FINDING, 1, PIN)))),
        RingMetals((COPPER,), np.array([0, 0])),
    )
    ball = Bead("bead 1", "ball", 6.0, 6.0, 1.0, (0.2, 0.4, 0.6), 2.5)
    beaded = tuple(replace(count, finding=replace(PIN, beads=(ball,))) for count in pins)
    with pytest.raises(AssertionError):
        class_order((), pins, bead_counts(beaded), BENCH)


@given(
    each=st.integers(1, 400),
    students=st.integers(1, 60),
    teachers=st.integers(0, 3),
    hundredths=st.integers(0, 100),
    bag=st.integers(1, 500),
)
def test_bags_hold_every_kit_and_the_spares(each, students, teachers, hundredths, bag):
    room = Classroom(students, hundredths / 100.0, teachers)
    order = class_order((counted(each),), (), (), replace(BENCH, classroom=room, bag=bag))
    (plan,), (spare,) = order.order, order.spare_rings
    in_kits = each * (students + teachers)
    # In whole numbers: the fewest spare rings of which a hundred are no fewer than the hundredths of all.
    assert 100 * spare >= hundredths * in_kits > 100 * (spare - 1)
    assert plan.bags * bag >= in_kits + spare > (plan.bags - 1) * bag
