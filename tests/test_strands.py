"""Strands between end bars, and sections joined by eyes."""

from itertools import pairwise

import numpy as np
import pytest

from chaingen.design.scene import Scene, SceneKind
from chaingen.findings.bars import end_bar
from chaingen.findings.clasps import lobster_clasp
from chaingen.findings.links import closed_ring
from chaingen.solve.check import check
from chaingen.solve.drape.drape import drape
from chaingen.solve.length import taut_lengths
from chaingen.solve.place import place
from chaingen.solve.placement import Answer
from chaingen.weave.catalogue import find_weave
from chaingen.weave.groups import Group, GroupKind, Run
from chaingen.weave.pieces import Chain, Sections, Strands, findings_of, weaves_of
from tests.conftest import side, size

RING, JUMP = size(4.0, 1.0), size(3.5, 0.9, "jump")


def finding(one, *, turned=False):
    return Group(GroupKind.FINDING, 1, one, turned)


def stranded(count, *, repeat=7, strand=None, pitch=8.0):
    bar = end_bar(strands=count, pitch=pitch)
    begin = Run((finding(lobster_clasp(), turned=True), side(1, JUMP), finding(bar, turned=True)))
    end = Run((finding(bar), side(1, JUMP), finding(closed_ring(inside=5.0, wire=1.0))))
    part = Run((side(1, RING),), repeat=repeat) if strand is None else strand
    return Sections((begin, Strands(part, count), end))


@pytest.mark.parametrize("count", [2, 3, 5])
def test_every_strand_is_linked_by_its_own_eye(count):
    piece = stranded(count)
    placement = place(piece)
    assert placement.answer is Answer.FITS
    graph = placement.graph
    assert len(graph) == 3 + 7 * count + 3
    for bar in (2, 3 + 7 * count):
        own = (graph.links == bar).any(axis=1)
        eyes = graph.link_eyes[graph.links == bar].tolist()
        # An eye for each strand, and one for the other side.
        assert sorted(eyes) == list(range(count + 1))
        assert own.sum() == count + 1
    # Strands hang together through the bars only.
    strand_of = np.full(len(graph), -1)
    strand_of[3 : 3 + 7 * count] = np.repeat(np.arange(count), 7)
    for a, b in graph.links.tolist():
        assert strand_of[a] == strand_of[b] or -1 in (strand_of[a], strand_of[b])
    assert len(graph.components()) == 1
    report = check(graph, placement.rings)
    assert report.sound
    # Side by side in order, about as far apart as the eyes.
    middles = [placement.rings.centres[strand_of == k].mean(axis=0) for k in range(count)]
    apart = [np.linalg.norm((b - a)[1:]) for a, b in pairwise(middles)]
    np.testing.assert_allclose(apart, 8.0, atol=0.5)


def test_strands_by_hand():
    """Length by hand: each ring adds its inside; what is at the ends is as long whatever is between."""
    lengths = [taut_lengths(stranded(3, repeat=repeat)).base for repeat in (5, 9)]
    assert lengths[1] - lengths[0] == pytest.approx(4 * 4.0, abs=0.02)


def test_strands_too_near_one_another_do_not_fit():
    # Rings of 4 mm inside in 1 mm wire are 6 mm wide: eyes 5 mm apart leave them a millimetre short.
    placement = place(stranded(2, pitch=5.0))
    assert placement.answer is not Answer.FITS
    assert placement.gap < 0.0


def test_joins_where_sections_meet_have_something_to_join():
    three = Group(GroupKind.ROSETTE, 3, size(5.0, 1.0))
    row = Run((three, Group(GroupKind.JOIN, 1, RING)), repeat=2)
    graph = place(Sections((row, row))).graph
    # The last join of all hangs on an open end and is left off.
    assert len(graph) == 8 + 7
    assert len(place(Sections((Strands(row, 2), Run((side(1, size(8.0, 1.0)),))))).graph) == 16 + 1


def test_names_tell_section_strand_and_ring():
    graph = place(stranded(2, repeat=2)).graph
    assert graph.names[:3] == ("1-1a", "1-2a", "1-3a")
    assert graph.names[3:7] == ("2-1.1a", "2-1.2a", "2-2.1a", "2-2.2a")
    assert len(set(graph.names)) == len(graph)


def test_rings_side_by_side_take_an_eye_each():
    bar = end_bar(strands=2, pitch=3.0, eye_inside=1.8, eye_wire=0.8)
    piece = Sections((Run((finding(bar, turned=True),)), Run((side(2, JUMP), side(1, RING), side(1, RING)))))
    placement = place(piece)
    graph = placement.graph
    links = [
        (a, b, *eyes)
        for (a, b), eyes in zip(graph.links.tolist(), graph.link_eyes.tolist(), strict=True)
        if a == 0
    ]
    assert sorted(row[2] for row in links) == [0, 1]
    assert sorted(row[1] for row in links) == [1, 2]


def test_what_strands_tell_of_themselves():
    weave = find_weave("byzantine")
    chain = Chain(weave, tuple((role, RING) for role, _ in weave.usual), repeat=2)
    piece = stranded(3, strand=chain)
    strands = piece.parts[1]
    assert strands.most_rings() == 3 * chain.most_rings()
    assert strands.sizes() == (RING,)
    assert weaves_of(piece) == (weave,)
    assert [one.kind for one in findings_of(piece)] == ["lobster clasp", "end bar", "closed ring"]
    wider = strands.resized(lambda one: size(one.inside_diameter + 1.0, one.wire_diameter))
    assert wider.sizes()[0].inside_diameter == 5.0
    assert strands.repeated(5).part.repeat == 5


@pytest.mark.slow
def test_strands_are_worn_closed():
    piece = stranded(3, repeat=33)
    placement = place(piece)
    draped = drape(piece, placement, Scene(SceneKind.WRIST))
    assert draped.reached
    assert draped.check.links_as_designed
    assert not draped.check.collisions


@pytest.mark.slow
def test_a_weave_with_a_clasp_is_worn_closed():
    weave = find_weave("byzantine")
    chain = Chain(weave, tuple((role, RING) for role, _ in weave.usual), repeat=16)
    jump = side(1, size(4.0, 0.8, "jump"))
    piece = Sections(
        (
            Run((finding(lobster_clasp(), turned=True), jump)),
            chain,
            Run((jump, finding(closed_ring(inside=5.0, wire=1.0)))),
        )
    )
    placement = place(piece)
    assert placement.answer is Answer.FITS
    draped = drape(piece, placement, Scene(SceneKind.WRIST))
    assert draped.reached
    assert draped.check.links_as_designed
    assert not draped.check.collisions
