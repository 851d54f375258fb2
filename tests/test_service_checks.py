"""Checks against a service on the sizes of the pattern, and those of castings: against closed forms."""

import dataclasses
import itertools

import numpy as np
import pytest

from chaingen.design.load import load_design, parse_design
from chaingen.design.service import Layout, Route, Sprues
from chaingen.geometry.bodies import Bodies, axes_across, concatenate, shaped
from chaingen.geometry.shapes import Shape, Strand, ring_shape
from chaingen.make.metals import RingMetals
from chaingen.pipeline import build
from chaingen.prepare.casting_checks import FEEDS, WAX
from chaingen.prepare.checks import State, service_checks
from chaingen.prepare.sent import parts_of
from chaingen.show.service_words import service_lines
from chaingen.stock.metals import find_metal
from tests.oracles import circle_distance
from tests.test_examples import ROOT

WAX_PIECE = "wax pattern for casting"
LOOSE = "loose rings for casting"

PIECE = """
title = "Jetty"
metal = "sterling silver"
tolerance = "0.1 mm"

[rings.link]
inside = "9 mm"
wire = "1.6 mm"

[pattern]
form = "open run"
groups = [{{ side_by_side = 1 }}]
repeat = {repeat}

[service]
process = "{process}"
build = ["200 mm", "200 mm", "200 mm"]
"""


def design_of(process, repeat=3):
    return parse_design(PIECE.format(process=process, repeat=repeat))


@pytest.fixture(scope="module")
def placed():
    """Three rings of 9 mm inside in 1.6 mm wire, each through the next."""
    return {name: build(design_of(name)) for name in (WAX_PIECE, LOOSE, "resin")}


def changed(result, **service):
    """The same with another service, and nothing placed anew."""
    given = dataclasses.replace(result.design.service, **service)
    return dataclasses.replace(result, design=dataclasses.replace(result.design, service=given))


def of_metals(result, *names):
    """The same with a metal for each body, by name."""
    metals = tuple(dict.fromkeys(find_metal(name) for name in names))
    of_ring = np.array([metals.index(find_metal(name)) for name in names])
    return dataclasses.replace(result, metals=RingMetals(metals, of_ring))


def found(result):
    return {check.name: check for check in service_checks(result)}


# --- wires, gaps and sizes of the pattern ---------------------------------------------------------

SILVER = 1.0 / 0.98
"""Silver from wax to cast loses 0.01 to 0.03 (common practice), 0.02 in the middle."""

RUBBER = 1.0 / (1.0 - 0.0175)
"""Wax from a rubber mould loses 0.01 to 0.025 (common practice)."""


@pytest.mark.parametrize(
    ("service", "wire"),
    [
        ({}, 1.6 * SILVER),
        ({"finishing": 0.1}, 1.7 * SILVER),
        ({"finishing": 0.1, "route": Route.RUBBER_MOULD}, 1.7 * SILVER * RUBBER),
        # The least of the three axes holds for any place of the wire.
        ({"shrinkage": (("", (0.03, 0.01, 0.02)),)}, 1.6 / 0.99),
        ({"shrinkage": (("sterling silver", (0.0, 0.0, 0.0)),)}, 1.6),
    ],
)
def test_thinnest_wire_of_the_pattern(placed, service, wire):
    """The tolerance is 0.1 mm: what may come out too thin by that is warned of."""
    for over, state in (
        (-0.1001, State.PASS),
        (-0.0999, State.WARN),
        (-1e-4, State.WARN),
        (1e-4, State.FAIL),
    ):
        result = changed(placed[WAX_PIECE], smallest_wire=wire + over, **service)
        check = found(result)["thinnest wire"]
        assert check.state is state
        assert check.bodies == (0, 1, 2)
        assert check.text.startswith("1.6 mm")
        told = f"{wire:.3f}".rstrip("0")
        sent = f"1.6 mm finished, {told} mm in the pattern" in check.text.replace("at least ", "")
        assert sent == (wire != 1.6)
        assert ("at least" in check.text) == (
            service.get("shrinkage", (("", (0, 0, 0)),))[0][1] == (0.03, 0.01, 0.02)
        )


def gap_of(result, finishing=0.0, scale=1.0):
    """Smallest gap of the rings as cast and then as large as the pattern, by minimising over both circles."""
    bodies = result.placement.rings
    return min(
        circle_distance(
            *((scale * bodies.centres[k], bodies.normals[k], scale * bodies.radii[k]) for k in pair)
        )
        - scale * (bodies.wire_radii[list(pair)].sum() + finishing)
        for pair in itertools.combinations(range(len(bodies)), 2)
    )


@pytest.mark.parametrize(("finishing", "times"), [(0.0, 1.0), (0.3, SILVER), (0.1, SILVER * RUBBER)])
def test_gap_of_the_pattern(placed, finishing, times):
    gap = gap_of(placed[WAX_PIECE], finishing, times)
    route = Route.RUBBER_MOULD if times > SILVER else Route.DIRECT
    shrinkage = (("", (0.0, 0.0, 0.0)),) if times == 1.0 else ()
    for least, safe, state in (
        (gap + 1e-4, gap + 1e-4, State.FAIL),
        (gap - 1e-4, gap + 1e-4, State.WARN),
        (gap - 1e-4, gap - 1e-4, State.PASS),
    ):
        result = changed(
            placed[WAX_PIECE], smallest_gap=least, safe_gap=safe, finishing=finishing, route=route,
            shrinkage=shrinkage,
        )  # fmt: skip
        check = found(result)["gap between moving parts"]
        assert check.state is state
        assert f"{gap:.3f}".rstrip("0") in check.text
        assert f"{gap_of(placed[WAX_PIECE]):.3f}".rstrip("0") in check.text


def test_gap_of_a_pattern_that_is_stretched_unevenly_is_told_too_small_rather_than_too_large(placed):
    result = changed(placed[WAX_PIECE], shrinkage=(("", (0.08, 0.0, 0.04)),), finishing=0.2)
    stretch = 1.0 / (1.0 - np.array([0.08, 0.0, 0.04]))
    bodies = result.placement.rings
    ones, twos = axes_across(bodies.normals)
    angle = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    surfaces = []
    for centre, normal, one, two, radius in zip(
        bodies.centres, bodies.normals, ones, twos, bodies.radii, strict=True
    ):
        out = np.cos(angle)[:, None] * one + np.sin(angle)[:, None] * two
        section = 0.9 * (np.cos(angle[::6])[:, None, None] * out + np.sin(angle[::6])[:, None, None] * normal)
        surfaces.append(((centre + radius * out + section) * stretch).reshape(-1, 3))
    # Points of surfaces are never nearer than the surfaces are.
    sampled = min(
        np.linalg.norm(one[:, None] - two[None, ::7], axis=2).min()
        for one, two in itertools.combinations([points[::3] for points in surfaces], 2)
    )
    check = found(result)["gap between moving parts"]
    told = float(check.text.split("at least ")[1].split(" mm in the pattern")[0])
    assert 0.9 * sampled < told < sampled + 1e-3


def test_size_of_the_pattern_is_stretched_along_each_axis(placed):
    rings = placed[WAX_PIECE].placement.rings
    # The extent of a ring along an axis that makes an angle with its normal is 2 (R sin(angle) + r).
    flat = np.sqrt(1.0 - rings.normals**2)
    reach = rings.radii[:, None] * flat + rings.wire_radii[:, None] + 0.1
    cast = (rings.centres + reach).max(axis=0) - (rings.centres - reach).min(axis=0)
    pattern = cast / (1.0 - np.array([0.05, 0.0, 0.02]))
    for room, state in ((1e-4, State.WARN), (-1e-4, State.FAIL)):
        result = changed(
            placed[WAX_PIECE], shrinkage=(("", (0.05, 0.0, 0.02)),), finishing=0.2,
            build=tuple((pattern + room).tolist()),
        )  # fmt: skip
        check = found(result)["size"]
        assert check.state is state
        assert " by ".join(f"{side:.1f}".removesuffix(".0") for side in pattern) in check.text
        assert " by ".join(f"{side:.1f}".removesuffix(".0") for side in cast - 0.2) in check.text


def test_a_print_is_told_as_a_model(placed):
    check = found(changed(placed["resin"], shrinkage=(("", (0.01,) * 3),)))["thinnest wire"]
    assert "in the model" in check.text
    assert "pattern" not in check.text
    # Of a print as of a casting, finished and sent sizes that are the same are told once.
    assert "1.6 mm (ring 1a" in found(placed["resin"])["thinnest wire"].text


def test_size_of_an_open_ring_is_larger_by_its_cut(placed):
    """A closed ring takes pi (d + w) of wire; open by a cut its middle goes round that and the cut."""
    across = 9.0 + 1.6 + 0.6 / np.pi + 1.6
    for room, state in ((1e-4, State.WARN), (-1e-4, State.FAIL)):
        side = across * SILVER + room
        result = changed(placed[LOOSE], cut=0.6, build=(side, side, side))
        check = found(result)["size"]
        assert check.state is state
        assert check.text.startswith("ring 1a takes 12.2 by 12.2 by 1.6 mm finished, ")
        # A line each for the ring, its pattern and the room.
        assert [line.count(" by ") for line in check.lines] == [2, 2, 2]
        assert all(line in check.text for line in check.lines)


def test_beads_are_not_made():
    """Of a finding with a bead only the wire is sent: what a bead reaches beyond it takes no room."""
    result = build(load_design(ROOT / "examples" / "graduated-earring.toml"))
    assert result.beads
    service = design_of("resin").service
    served = dataclasses.replace(result, design=dataclasses.replace(result.design, service=service))
    bare = [
        tuple(strand for strand in shape.strands if strand.part == "wire")
        for shape in result.placement.rings.shapes
    ]
    thinnest = min(
        [strand.wire_radius for strands in bare for strand in strands]
        + result.placement.rings.wire_radii[result.placement.rings.is_ring].tolist()
    )
    assert f"{2.0 * thinnest:g} mm" in found(served)["thinnest wire"].text


# --- welded pairs ---------------------------------------------------------------------------------


def thicker(result, more=1.0):
    """The same in thicker wire, so near that it can be soldered: 3.6 mm, with gaps of 0.9 mm."""
    rings = result.placement.rings.thickened(more)
    return dataclasses.replace(result, placement=dataclasses.replace(result.placement, rings=rings))


def test_a_welded_pair_keeps_no_gap(placed):
    result = thicker(placed["resin"])
    names = result.placement.graph.names
    first = found(result)["gap between moving parts"].bodies
    welded = changed(result, soldered=((names[first[0]], names[first[1]]),))
    other = found(welded)["gap between moving parts"]
    assert set(other.bodies) != set(first)
    assert len(other.bodies) == 2
    # Welded to one another by way of the middle ring, nothing moves.
    whole = changed(result, soldered=((names[0], names[1]), (names[2], names[1])))
    check = found(whole)["gap between moving parts"]
    assert (check.state, check.bodies, check.text) == (State.PASS, (), "all parts are welded into one")
    assert "by necks of 3.06 mm, clear of all else" in found(whole)["soldered joins"].text


def test_pairs_that_are_too_far_apart_to_solder_fail_and_stay_apart(placed):
    """Wire of 1.6 mm with gaps of more: nothing is welded, the gap is that of moving parts."""
    plain = placed["resin"]
    names = plain.placement.graph.names
    result = changed(plain, soldered=((names[0], names[1]), (names[1], names[2])))
    gap = gap_of(plain)
    assert gap > 1.6
    checks = found(result)
    joins = checks["soldered joins"]
    assert (joins.state, joins.bodies) == (State.FAIL, (0, 1))
    assert joins.text.startswith("1a and 2a are ")
    assert "too far to solder, for their wire is 1.6 mm" in joins.text
    assert checks["gap between moving parts"] == found(plain)["gap between moving parts"]
    assert not any("Welded" in line for line in service_lines(result))
    near = changed(thicker(plain), soldered=((names[0], names[1]),), smallest_gap=0.1, safe_gap=0.2)
    assert found(near)["soldered joins"].text == "1a with 2a, by a neck of 3.06 mm, clear of all else"
    assert "Welded into one, as if soldered: 1a with 2a." in service_lines(near)
    assert "soldered joins" not in found(plain)


@pytest.mark.parametrize("process", [WAX_PIECE, "resin"])
def test_a_neck_of_a_body_that_is_joined_where_it_is_thin_is_warned_of(placed, process):
    """A body of a thick and a thin wire, joined at the thin one: by hand 0.85 of it, over the thick ones."""
    result = placed[process]
    thick, thin = ring_shape(2.0, 0.8).strands[0], ring_shape(5.3, 0.6).strands[0]
    body = shaped(Shape((Strand(thick.curves, 0.8), Strand(thin.curves, 0.6)), ()))
    ring = Bodies(np.zeros((1, 3)), np.array([[0.0, 0, 1]]), np.array([5.3]), np.array([0.8]))
    apart = 2 * 5.3 + 0.6 + 0.8 + 0.2
    bodies = concatenate([body, ring.moved(np.array([apart, 0, 0])), ring.moved(np.array([50.0, 0, 0]))])
    placement = dataclasses.replace(result.placement, rings=bodies)
    names = placement.graph.names
    joined = changed(dataclasses.replace(result, placement=placement), soldered=((names[0], names[1]),))
    if process == "resin":
        assert "necks of joins" not in found(joined)
        return
    check = found(joined)["necks of joins"]
    assert (check.state, check.bodies) == (State.WARN, (0, 1))
    assert f"by a neck of 1.02 mm as cast: {(0.85 * 0.6 / 0.8) ** 2:.2f} of the section" in check.text
    other = changed(thicker(result), soldered=((names[0], names[1]),))
    assert "necks of joins" not in found(other)


def test_clusters(placed):
    graph = placed["resin"].placement.graph
    service = placed["resin"].design.service
    names = graph.names

    def of(*pairs):
        return parts_of(graph, dataclasses.replace(service, soldered=pairs)).tolist()

    assert of() == [0, 1, 2]
    assert of((names[2], names[0])) == [0, 1, 0]
    assert of((names[2], names[1]), (names[1], names[0])) == [0, 0, 0]
    assert of((names[2], "no such body")) == [0, 1, 2]


# --- castings -------------------------------------------------------------------------------------


def test_a_casting_in_one_piece_is_of_one_metal(placed):
    assert "one metal" not in found(placed[WAX_PIECE])
    mixed = ("sterling silver", "brass", "sterling silver")
    check = found(of_metals(placed[WAX_PIECE], *mixed))["one metal"]
    assert (check.state, check.bodies) == (State.FAIL, (1,))
    assert "sterling silver and brass" in check.text
    assert "one metal" not in found(of_metals(placed[LOOSE], *mixed))
    assert "one metal" not in found(of_metals(placed["resin"], *mixed))
    material = found(of_metals(placed["resin"], *mixed))["one material"]
    assert material.state is State.WARN
    assert "this piece is of sterling silver and brass" in material.text
    assert "one material" not in found(placed["resin"])
    assert "one material" not in found(of_metals(placed[LOOSE], *mixed))


def test_a_print_of_what_shrinks_differently(placed):
    mixed = of_metals(placed["resin"], "copper", "copper", "brass")
    check = found(changed(mixed, shrinkage=(("brass", (0.01,) * 3),)))["one metal"]
    assert (check.state, check.bodies) == (State.FAIL, (2,))
    assert "shrink differently" in check.text


@pytest.mark.parametrize("process", [WAX_PIECE, LOOSE])
def test_shrinkage_that_nobody_knows(placed, process):
    assert "shrinkage" not in found(placed[process])
    copper = of_metals(placed[process], "copper", "copper", "copper")
    check = found(copper)["shrinkage"]
    assert (check.state, check.bodies) == (State.WARN, (0, 1, 2))
    assert "copper" in check.text
    assert "shrinkage" not in found(changed(copper, shrinkage=(("copper", (0.0, 0.0, 0.0)),)))
    assert "shrinkage" not in found(of_metals(placed["resin"], "copper", "copper", "copper"))


def test_linked_parts_do_not_come_out_of_a_rubber_mould(placed):
    assert "rubber mould" not in found(placed[WAX_PIECE])
    moulded = changed(thicker(placed[WAX_PIECE]), route=Route.RUBBER_MOULD)
    names = moulded.placement.graph.names
    check = found(moulded)["rubber mould"]
    assert check.state is State.FAIL
    assert "3 parts" in check.text
    some = found(changed(moulded, soldered=((names[0], names[1]),)))["rubber mould"]
    assert some.state is State.FAIL
    whole = changed(moulded, soldered=((names[0], names[1]), (names[1], names[2])))
    assert found(whole)["rubber mould"].state is State.PASS
    # Rings each by itself come out; on a tree or a comb they are one body of many.
    for layout, state in ((Layout.FLAT, State.PASS), (Layout.COMB, State.FAIL), (Layout.TREE, State.FAIL)):
        loose = changed(placed[LOOSE], layout=layout)
        assert "rubber mould" not in found(loose)
        check = found(changed(loose, route=Route.RUBBER_MOULD))["rubber mould"]
        assert check.state is state
        assert (f"a {layout.value} is one body" in check.text) == (state is State.FAIL)


def ends_apart(cut):
    """The ends of a ring of 9 mm in 1.6 mm wire at its inside: a chord of the inside's circle."""
    radius = 5.3 + cut / (2.0 * np.pi)
    return 2.0 * (radius - 0.8) * np.sin(cut / (2.0 * radius)) * SILVER


def test_ends_of_cut_rings_that_may_fuse(placed):
    """Gaps that waxes are printed with are 0.4 mm at the least (common practice)."""
    assert WAX.least_gap == 0.4
    low, high = 0.3, 0.7
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if ends_apart(middle) < 0.4 else (low, middle)
    for over, state in ((1e-4, State.PASS), (-1e-4, State.WARN)):
        check = found(changed(placed[LOOSE], cut=low + over))["cut"]
        assert check.state is state
        assert f"{ends_apart(low + over):.3f}".rstrip("0") in check.text
        assert check.bodies == (0,)


def test_rings_that_are_cast_closed_must_be_sawn(placed):
    check = found(changed(placed[LOOSE], cut=0.0))["cut"]
    assert (check.state, check.bodies) == (State.WARN, ())
    assert "every ring that is to be opened must be sawn" in check.text
    assert "sawn" not in found(changed(placed[LOOSE], cut=1e-6))["cut"].text


@pytest.mark.parametrize("layout", Layout)
def test_rings_that_are_laid_so_near_that_they_may_fuse(placed, layout):
    """Waxes that are nearer than 0.4 mm may fuse (common practice); the pattern has more than the casting."""
    assert WAX.least_gap == 0.4
    for shrinkage, times in (((), SILVER), ((("", (0.04, 0.0, 0.02)),), 1.0)):
        for over, state in ((1e-4, State.PASS), (-1e-4, State.WARN), (-0.4 / times, State.WARN)):
            spacing = 0.4 / times + over
            result = changed(placed[LOOSE], layout=layout, spacing=spacing, shrinkage=shrinkage)
            check = found(result)["spacing"]
            assert (check.state, check.bodies) == (state, ())
            assert f"{round(spacing * times, 3):g} mm or more from one another in the pattern" in check.text
            assert ("less than 0.4 mm (common practice)" in check.text) == (state is State.WARN)
    for process in (WAX_PIECE, "resin"):
        assert "spacing" not in found(changed(placed[process], spacing=0.0))


def test_ends_that_are_opened_sideways_do_not_fuse(placed):
    """Beside one another, ends are apart by the opening less the wire, but for the slope of the wire."""
    closed = changed(placed[LOOSE], cut=0.1)
    assert found(closed)["cut"].state is State.WARN
    assert found(changed(closed, opened=1.6 + 0.5))["cut"].state is State.PASS
    assert found(changed(closed, opened=1.6 + 0.2))["cut"].state is State.WARN
    # Opened by less than the wire and hardly cut, the ends run into one another.
    assert found(changed(closed, cut=0.0, opened=0.5))["cut"].state is State.FAIL
    assert found(changed(closed, cut=30.0))["cut"].state is State.FAIL


def test_feeders_and_main(placed):
    assert FEEDS == (0.7, 1.5)
    loose, piece = placed[LOOSE], placed[WAX_PIECE]
    assert "feed" not in found(piece)
    assert "feed" not in found(changed(loose, layout=Layout.FLAT, sprues=Sprues()))
    for result in (changed(loose, layout=Layout.TREE), changed(loose, layout=Layout.COMB), piece):
        for feed, state in ((0.69, State.WARN), (0.7, State.PASS), (1.5, State.PASS), (1.51, State.WARN)):
            checks = found(changed(result, sprues=Sprues(feed=feed)))
            assert checks["feed"].state is state
            assert f"section is {feed:g} of" in checks["feed"].text
            # By area: a feeder's diameter goes as the square root.
            wire = 1.6
            assert f"({round(feed**0.5 * wire, 3):g} mm for the thickest wire, 1.6 mm" in checks["feed"].text
            assert checks["main"].state is State.PASS
        # A feeder of the same section as the cast wire is as thick: 1.7 mm with 0.1 mm for finishing.
        for main, state in ((1.71, State.PASS), (1.7, State.FAIL), (1.0, State.FAIL)):
            check = found(changed(result, sprues=Sprues(main=main), finishing=0.1))["main"]
            assert check.state is state
            assert "1.7 mm" in check.text
    # Trees have sprues also where the design says nothing of them; what is printed has none.
    assert found(changed(loose, layout=Layout.TREE))["feed"].state is State.PASS
    assert "feed" not in found(changed(placed["resin"], sprues=Sprues()))
