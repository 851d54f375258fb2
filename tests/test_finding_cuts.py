"""What is cut for findings, and what they weigh."""

from itertools import pairwise
from math import pi, tau

import numpy as np
import pytest

from chaingen.findings.bars import end_bar
from chaingen.findings.beads import disc, disc_volume
from chaingen.findings.clasps import lobster_clasp, spring_ring, toggle_bar, toggle_ring
from chaingen.findings.eights import eye as eye_of_hook
from chaingen.findings.eights import figure_eight_link, s_hook
from chaingen.findings.hooks import ear_wire, hook
from chaingen.findings.links import closed_ring, loop_link, oval_link, wrapped_link
from chaingen.findings.pins import Threaded, ear_post, head_pin
from tests.finding_sizes import (
    polyline_length,
)

SEA = (0.3, 0.6, 0.55)


def strands_of(made):
    return [strand for strand in made.shape.strands if strand.part == "wire" and strand.length]


SUMMED = [
    loop_link(loops=1), loop_link(quarter_turn=True), oval_link(), figure_eight_link(), closed_ring(),
    hook(), eye_of_hook(), s_hook(shut=False), ear_wire(), spring_ring(), lobster_clasp(), toggle_ring(),
    head_pin(head="spiral"),
]  # fmt: skip


@pytest.mark.parametrize("made", SUMMED, ids=lambda made: made.kind)
def test_what_is_cut_is_as_long_as_the_centrelines(made):
    longest = [polyline_length(strand.curves) for strand in strands_of(made)]
    assert [cut.length for cut in made.cutting_list] == pytest.approx(longest, rel=1e-6)
    assert [cut.wire for cut in made.cutting_list] == pytest.approx(
        [2.0 * strand.wire_radius for strand in strands_of(made)]
    )


def test_bars_are_cut_from_end_to_end():
    for made in (toggle_bar(), end_bar(strands=2)):
        lengths = [polyline_length(strand.curves) for strand in strands_of(made)]
        lengths[0] += 2.0 * made.shape.strands[0].wire_radius
        assert [cut.length for cut in made.cutting_list] == pytest.approx(lengths, rel=1e-6)


def helix_length(radius, pitch, turns):
    t = np.linspace(0.0, turns, 20_001)
    points = np.stack([radius * np.cos(tau * t), radius * np.sin(tau * t), pitch * t], axis=1)
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


@pytest.mark.parametrize("loops", [1, 2])
def test_coils_are_cut_as_helices(loops):
    made = wrapped_link(wire=0.8, wraps=4, loops=loops)
    plain = loop_link(wire=0.8, inside=2.5, stem=8.0, loops=loops)
    extra = made.cutting_list[0].length - plain.cutting_list[0].length
    assert extra == pytest.approx(loops * (helix_length(0.8, 0.8, 4) + 0.8), rel=1e-6)
    assert len(made.cutting_list) == 1


@pytest.mark.parametrize(
    "made",
    [*SUMMED[:9], wrapped_link(wraps=5), head_pin(wraps=3), head_pin(head="flat", wraps=2), ear_post()],
    ids=lambda made: made.kind,
)
def test_what_is_cut_is_what_it_weighs(made):
    metal = sum(0.25 * pi * cut.wire**2 * cut.length for cut in made.cutting_list)
    assert made.wire_volume == pytest.approx(metal, rel=1e-9)


def test_a_ball_is_melted_of_its_own_wire():
    made = head_pin(wire=0.5, head="ball", head_size=1.5)
    bare = sum(polyline_length(strand.curves) for strand in strands_of(made))
    # Archimedes: a ball fills two thirds of the cylinder round it.
    melted = (2.0 / 3.0) * 1.5**3 / 0.5**2
    assert made.cutting_list[0].length == pytest.approx(bare + melted, rel=1e-6)


def rotated_volume(diameter, thickness, hole):
    """Volume of a disc with a half-round rim, ring by ring."""
    r = np.linspace(0.5 * hole, 0.5 * diameter, 200_001)
    rim = 0.5 * (diameter - thickness)
    beyond = np.clip((0.5 * thickness) ** 2 - np.clip(r - rim, 0.0, None) ** 2, 0.0, None)
    height = np.where(r <= rim, thickness, 2.0 * np.sqrt(beyond))
    return float(np.trapezoid(tau * r * height, r))


@pytest.mark.parametrize(
    ("diameter", "thickness", "hole"), [(6.0, 1.0, 0.0), (5.0, 3.0, 1.2), (8.0, 0.8, 1.0)]
)
def test_the_volume_of_a_disc(diameter, thickness, hole):
    assert disc_volume(diameter, thickness, hole) == pytest.approx(
        rotated_volume(diameter, thickness, hole), rel=1e-6
    )
    bead = Threaded("disc", diameter, thickness, hole, SEA)
    if hole:
        kept = head_pin(wire=0.5, head="flat", head_size=2.5, beads=(bead,)).beads[0]
        assert kept.volume == pytest.approx(rotated_volume(diameter, thickness, hole), rel=1e-6)


def test_metal_of_discs_is_counted_once():
    made = ear_post(front="disc", front_size=6.0, front_thickness=1.0, post=11.0, wire=0.8)
    pin = 0.25 * pi * 0.8**2 * (11.0)
    ring = 0.25 * pi * 0.8**2 * pi * (1.8 + 0.8)
    assert made.wire_volume == pytest.approx(rotated_volume(6.0, 1.0, 0.0) + pin + ring, rel=1e-6)
    assert made.discs == ((6.0, 1.0),)
    pinned = head_pin(wire=0.6, head="flat", head_size=2.0, bare=10.0)
    assert pinned.wire_volume == pytest.approx(0.25 * pi * 0.6**2 * pinned.cutting_list[0].length, rel=1e-6)


def test_a_disc_is_even_and_has_its_size():
    for diameter, thickness, hole in ((8.0, 0.8, 1.0), (5.0, 3.0, 1.2), (4.0, 1.0, 0.0)):
        circles = disc((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), diameter=diameter, thickness=thickness, hole=hole)
        radii = sorted(strand.curves[0].radius for strand in circles)
        assert radii[-1] + 0.5 * thickness == pytest.approx(0.5 * diameter)
        assert all(strand.wire_radius == 0.5 * thickness for strand in circles)
        if not hole:
            assert radii[0] < 0.5 * thickness
        elif len(radii) > 1:
            assert radii[0] - 0.5 * thickness == pytest.approx(0.5 * hole)
        assert all(0.5 * (b - a) < 0.31 * 0.5 * thickness for a, b in pairwise(radii))


def test_a_ring_is_cut_by_pi_times_inside_and_wire():
    """Common practice: a ring blank is pi times the sum of inside diameter and thickness."""
    assert closed_ring(wire=1.2, inside=16.5).cutting_list[0].length == pytest.approx(pi * 17.7)
