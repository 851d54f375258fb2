import numpy as np
import pytest

from chaingen.solve.check import check
from chaingen.solve.length import taut_lengths
from chaingen.solve.place import place
from chaingen.solve.place_weave import NothingLeft, closing_twist, places_along
from chaingen.solve.placement import Answer
from chaingen.solve.sizes import tightest
from chaingen.weave.catalogue import find_weave
from chaingen.weave.groups import Group, GroupKind, RingSize, Run
from chaingen.weave.outline import circle, drop, polygon
from chaingen.weave.pieces import Chain, Sections, Sheet
from chaingen.weave.tiling import fewest_round


def usual(weave):
    return tuple((role.name, role.size) for role in weave.roles)


def chain(name, repeat, **more):
    weave = find_weave(name)
    return Chain(weave, usual(weave), repeat, **more)


def sheet(name, **more):
    weave = find_weave(name)
    return Sheet(weave, usual(weave), **more)


def test_a_plain_chain_is_the_same_said_as_groups_and_as_a_weave():
    weave = chain("one-in-one", 6)
    size = weave.sizes()[0]
    run = Run((Group(GroupKind.SIDE_BY_SIDE, 1, size),), repeat=12)
    as_weave, as_groups = place(weave), place(run)
    assert as_weave.answer is as_groups.answer is Answer.FITS
    assert as_weave.gap == pytest.approx(as_groups.gap, abs=1e-4)
    assert len(as_weave.graph) >= len(as_groups.graph)
    # Reference: a taut chain of N equal rings is N inside diameters and two wires long (closed form).
    count = len(as_weave.graph)
    lengths = taut_lengths(weave)
    assert lengths.at(6) == pytest.approx(count * size.inside_diameter + 2 * size.wire_diameter, rel=1e-3)
    assert tightest(weave).aspect_ratios[0][1] == pytest.approx(2.0, abs=0.01)


@pytest.mark.parametrize("name", ["one-in-one", "spiral-4-in-1", "box-chain", "half-persian-3-in-1"])
def test_closed_loops(name):
    placement = place(chain(name, 30, closed=True))
    assert placement.answer is Answer.FITS
    assert placement.graph.closed
    # Every ring has its full count of links: there is no end.
    degrees = list(find_weave(name).degrees().values())
    assert placement.graph.degrees.tolist() == degrees * 30
    angle = np.sort(np.arctan2(placement.rings.centres[:, 1], placement.rings.centres[:, 0]))
    assert np.diff(angle).max() < 0.5


def test_a_twist_is_changed_as_little_as_closes_the_loop():
    twist = closing_twist(2.1, 30)
    assert twist * 30 / (2 * np.pi) == pytest.approx(round(2.1 * 30 / (2 * np.pi)))
    assert abs(twist - 2.1) * 30 <= np.pi + 1e-9


def test_places_are_counted_along():
    assert places_along(np.array([5.0, 0.0, 0.05, 2.0, 5.05]), 1.0).tolist() == [2, 0, 0, 1, 2]


@pytest.mark.parametrize(
    "outline", [circle(40.0), drop(26.0, 40.0), polygon(np.array([[0, 0], [50, 0], [20, 45]]))]
)
def test_sheets_cut_to_an_outline(outline):
    placement = place(sheet("european-4-in-1", outline=outline))
    assert placement.answer is Answer.FITS
    graph, rings = placement.graph, placement.rings
    assert len(graph.components()) == 1
    assert graph.degrees.min() >= 2
    low, high = rings.bounds()
    left, foot, right, top = outline.polygon().bounds
    assert ((high - low)[:2] <= np.array([right - left, top - foot]) + 1e-9).all()
    # As many rings as the area takes: centres lie at least half a ring within, and few a whole one are lost.
    each = placement.cell_area / 2
    reach = float((rings.radii + rings.wire_radii).max())
    most, least = (outline.polygon().buffer(-part * reach).area / each for part in (0.5, 2.0))
    assert least < len(graph) < most


@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.37, 0.23), (-120.0, 71.3)])
def test_what_an_outline_keeps_does_not_hang_on_where_it_is_drawn(shift):
    corners = np.array([[0.0, 0.0], [22.0, 3.0], [20.0, 20.0], [3.0, 17.0]])
    here = place(sheet("european-4-in-1", outline=polygon(corners)))
    there = place(sheet("european-4-in-1", outline=polygon(corners + shift)))
    assert there.graph.names == here.graph.names


def test_an_outline_is_laid_where_most_rings_stay():
    """A circle about a ring of a square grid holds the grid points within its room (Gauss circle problem)."""
    weave = find_weave("japanese-8-in-2")
    sizes = (("large", RingSize("large", 7.0, 1.29)), ("small", RingSize("small", 4.0, 1.29)))
    placement = place(Sheet(weave, sizes, outline=circle(75.0)))
    period = placement.cell_area**0.5
    room = (37.5 - sizes[0][1].radius - sizes[0][1].wire_radius) / period
    steps = np.arange(-9, 10)
    about_a_ring = int((np.hypot(*np.meshgrid(steps, steps)) <= room).sum())
    between = int((np.hypot(*np.meshgrid(steps + 0.5, steps + 0.5)) <= room).sum())
    kept = sum(member.role == "large" for member in placement.graph.members)
    assert kept == 2 * max(about_a_ring, between) == 74


def test_an_outline_that_holds_no_ring():
    with pytest.raises(NothingLeft):
        place(sheet("european-4-in-1", outline=circle(5.0)))


def test_a_piece_too_short_for_all_contacts_has_its_own_gap():
    """Two hooked rings fit at any aspect ratio over 1, whatever the endless weave needs (derived)."""
    weave = find_weave("half-persian-4-in-1")
    sizes = (("link", RingSize("link", 3.4, 1.0)),)
    short = place(Chain(weave, sizes, repeat=1))
    assert len(short.graph) == 2
    assert short.answer is Answer.FITS
    assert short.gap == pytest.approx(check(short.graph, short.rings).smallest_gap, abs=1e-6)
    assert place(Chain(weave, sizes, repeat=12)).answer is Answer.NO_FIT_FOUND


def test_a_single_ring_is_a_chain_too():
    placement = place(chain("jens-pind", 1))
    assert len(placement.graph) == 1
    assert placement.answer is Answer.FITS


@pytest.mark.parametrize(
    ("name", "fewest"), [("jens-pind", 5), ("one-in-one", 3), ("half-persian-4-in-1", 4)]
)
def test_fewest_cells_of_a_closed_chain(name, fewest):
    """With fewer, two links would be one: a ring of Jens Pind links two before and two after (count)."""
    assert fewest_round(find_weave(name)) == fewest


@pytest.mark.parametrize("repeat", [12, 14, 60])
def test_places_round_a_loop_are_as_many_as_along(repeat):
    loop, row = place(chain("byzantine", repeat, closed=True)), place(chain("byzantine", repeat))
    each = (int(row.graph.group_of.max()) + 1 - 1) // repeat
    assert np.bincount(loop.graph.group_of).tolist() == [2] * (each * repeat)


def test_sections_link_end_to_end():
    weave = chain("byzantine", 2)
    size = weave.sizes()[0]
    pair = Group(GroupKind.SIDE_BY_SIDE, 2, size)
    sections = Sections((Run((pair,), repeat=4), weave, Run((pair,), repeat=4)))
    placement = place(sections)
    assert placement.answer is Answer.FITS
    assert check(placement.graph, placement.rings).sound
    assert len(placement.joints) == 2
    for ends, begins in placement.joints:
        links = {tuple(link) for link in placement.graph.links.tolist()}
        assert {(a, b) for a in ends for b in begins} <= links
    along = placement.graph.group_of
    assert (
        np.diff([placement.rings.centres[along == k, 0].mean() for k in range(along.max() + 1)]) > 0
    ).mean() > 0.9
    assert taut_lengths(sections) is not None


def test_too_small_rings_are_told_with_a_proof():
    weave = find_weave("european-4-in-1")
    sizes = (("link", RingSize("link", 2.0, 1.0)),)
    placement = place(Sheet(weave, sizes, columns=3, rows=3))
    assert placement.answer is Answer.CANNOT_FIT
    # Reference: four wires through a hole need 1 + sqrt 2 wires of room (packing of four discs).
    assert placement.proof.needed == pytest.approx(1.0 + np.sqrt(2.0), abs=1e-4)
