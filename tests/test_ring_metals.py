"""Metals ring by ring: where a ring stands, which metal it gets, what all weigh, and that pictures show it.

Grids are counted by hand on small pieces; weights are checked by other integrals than the program's.
"""

import colorsys
from dataclasses import replace
from math import pi, sqrt

import numpy as np
import pytest
from PIL import Image, ImageSequence
from scipy.integrate import quad

from chaingen.design.colouring import MetalPattern, PatternKind
from chaingen.design.design import Design
from chaingen.geometry.bodies import Bodies
from chaingen.make.counts import areal_weight, ring_counts, ring_weight
from chaingen.make.grid import chain_grid, grid_of
from chaingen.make.metals import RingMetals, cell_metals, ring_metals, worn_metals
from chaingen.pipeline import build
from chaingen.show import camera, film
from chaingen.show.camera import framed
from chaingen.show.drawing import require_drawing
from chaingen.show.film import draw_settling
from chaingen.show.look import look_of, plain_look
from chaingen.show.picture import draw_views
from chaingen.show.report import report_of
from chaingen.show.supple import draw_supple, shown_rings, supple_view
from chaingen.show.words import ring_lines
from chaingen.solve.place import place
from chaingen.solve.supple import supple
from chaingen.stock.metals import Metal, find_metal
from chaingen.weave.catalogue import find_weave
from chaingen.weave.graph import piece_graph
from chaingen.weave.groups import RingSize, Run
from chaingen.weave.outline import circle
from chaingen.weave.pieces import Chain, Sections, Sheet
from chaingen.weave.tiling import sheet_cells, tiled, weave_cell
from chaingen.weave.weave import Repeats, Role, Weave, WeaveRing
from tests.conftest import join, rings_of, rosette, side, size

SILVER, GOLD, COPPER = map(find_metal, ("sterling silver", "18k yellow gold", "copper"))
BLUE = Metal("harbour blue niobium", 8.57, "as niobium", (0.16, 0.30, 0.75), 0.28)
Y, Z = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])

STRIPES = MetalPattern(PatternKind.STRIPES, (SILVER, COPPER))
ALONG = MetalPattern(PatternKind.STRIPES, (SILVER, COPPER), across=False)


def design_of(piece, pattern=None, **more):
    return Design("Slipway", SILVER, piece, None, 0.0, 0.0, piece.sizes(), metal_pattern=pattern, **more)


def usual(name, kind, **more):
    weave = find_weave(name)
    return kind(weave, tuple((role.name, role.size) for role in weave.roles), **more)


def names_of(metals):
    return [metals.metals[k].name for k in metals.of_ring]


def grid_by_name(piece, placement):
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    return {name: (int(c), int(r)) for name, c, r in zip(placement.graph.names, columns, rows, strict=True)}


# --- runs -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def run():
    """2 side by side, join of 1, 2, 1, 2, 1, 2: a run of 7 groups, 11 rings."""
    piece = Run((side(2, size(5.0)), join(1, size(5.0, name="joint"))), repeat=4)
    return piece, place(piece)


def test_a_run_counts_groups_and_rings_in_them(run):
    piece, placement = run
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    assert columns.tolist() == [0, 0, 1, 2, 2, 3, 4, 4, 5, 6, 6]
    assert rows.tolist() == [0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1]


@pytest.mark.parametrize(
    ("pattern", "copper"),
    [
        (STRIPES, [2, 5, 8]),
        (replace(STRIPES, width=2), [3, 4, 5, 9, 10]),
        (ALONG, [1, 4, 7, 10]),
        (MetalPattern(PatternKind.CHECKS, (SILVER, COPPER)), [1, 2, 4, 5, 7, 8, 10]),
        # A bitmap of three columns and one row is repeated along and over both rows.
        (MetalPattern(PatternKind.BITMAP, (COPPER, SILVER), bitmap=((1, 1, 0),)), [3, 4, 8]),
    ],
    ids=["stripes", "wide stripes", "stripes along", "checks", "bitmap"],
)
def test_patterns_on_a_run(run, pattern, copper):
    piece, placement = run
    metals = ring_metals(design_of(piece, pattern), placement)
    assert [k for k, name in enumerate(names_of(metals)) if name == "copper"] == copper
    assert len(metals.metals) == 2


def test_a_pattern_goes_before_sizes_and_these_before_the_metal(run):
    piece, placement = run
    sizes = (("joint", GOLD), ("unused", BLUE))
    metals = ring_metals(design_of(piece, size_metals=sizes), placement)
    assert metals.metals == (SILVER, GOLD)
    assert np.flatnonzero(metals.of_ring == 1).tolist() == [2, 5, 8]
    assert ring_metals(design_of(piece), placement).metals == (SILVER,)
    both = ring_metals(
        design_of(piece, replace(STRIPES, metals=(COPPER, BLUE)), size_metals=sizes), placement
    )
    assert both.metals == (COPPER, BLUE)


def test_metals_that_no_ring_is_of_are_left_out(run):
    piece, placement = run
    bitmap = MetalPattern(PatternKind.BITMAP, (SILVER, GOLD, COPPER), bitmap=((2, 0),))
    metals = ring_metals(design_of(piece, bitmap), placement)
    assert metals.metals == (COPPER, SILVER)
    assert metals.of_ring.max() == 1
    # The same metal twice in a pattern is one metal.
    twice = replace(STRIPES, metals=(SILVER, COPPER, SILVER, GOLD))
    metals = ring_metals(design_of(piece, twice), placement)
    assert metals.metals == (SILVER, COPPER, GOLD)
    assert names_of(metals)[3:6] == ["sterling silver", "sterling silver", "18k yellow gold"]


def test_joins_that_come_back_on_a_worn_run_change_no_ring():
    """An open run drops the joins at its ends; closed round a wrist it has one of them again."""
    piece = Run((join(1, size(5.0)), side(2, size(5.0))), repeat=5)
    placement = place(piece)
    worn = piece_graph(replace(piece, closed=True))
    assert (len(placement.graph), len(worn)) == (14, 15)
    three = MetalPattern(PatternKind.STRIPES, (SILVER, COPPER, GOLD))
    for pattern in (three, ALONG):
        design = design_of(piece, pattern)
        before, after = ring_metals(design, placement), worn_metals(design, placement, worn)
        assert names_of(after)[1:] == names_of(before)
    # Counted backwards from column 0, the join stands in column -1: the last of three stripes.
    assert names_of(worn_metals(design_of(piece, three), placement, worn))[0] == "18k yellow gold"


def test_rings_of_repeated_cells_are_those_of_the_piece():
    piece = Run(
        (side(2, size(5.0)), join(1, size(5.0, name="joint"))), repeat=5, first=(rosette(3, size(6.0)),)
    )
    placement = place(piece)
    for pattern in (MetalPattern(PatternKind.STRIPES, (SILVER, COPPER, GOLD)), ALONG, None):
        design = design_of(piece, pattern, size_metals=(("joint", GOLD),))
        shown = names_of(cell_metals(design, placement, 11))
        assert shown == names_of(ring_metals(design, placement))[3:14]
    leading = Run((join(1, size(5.0)), side(2, size(5.0))), repeat=5)
    design = design_of(leading, MetalPattern(PatternKind.STRIPES, (SILVER, COPPER, GOLD)))
    placement = place(leading)
    assert names_of(cell_metals(design, placement, 20))[1:15] == names_of(ring_metals(design, placement))


# --- chains and sections --------------------------------------------------------------------------


def test_a_chain_counts_places_along_it():
    piece = usual("one-in-one", Chain, repeat=5)
    placement = place(piece)
    order = np.argsort(placement.rings.centres[:, 0])
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    assert columns[order].tolist() == list(range(len(order)))
    assert not rows.any()
    metals = ring_metals(design_of(piece, STRIPES), placement)
    assert [names_of(metals)[k] for k in order[:4]] == ["sterling silver", "copper"] * 2


@pytest.fixture(scope="module")
def helm():
    """Pairs lie flat, one above the other along z; between them pairs stand, with a loose ring round each."""
    piece = usual("helm-chain", Chain, repeat=3)
    return piece, place(piece)


def test_rings_at_one_place_of_a_chain_are_counted_from_the_top(helm):
    piece, placement = helm
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    x, y, z = placement.rings.centres.T
    for place_ in range(int(columns.max()) + 1):
        here = np.flatnonzero(columns == place_)
        assert np.ptp(x[here]) < 0.5
        assert sorted(rows[here]) == list(range(len(here)))
        for above, below in zip(*(here[np.argsort(rows[here])][k:] for k in (0, 1)), strict=False):
            assert (round(y[above], 2), round(z[above], 2)) >= (round(y[below], 2), round(z[below], 2))
    assert rows.max() >= 1


def test_cells_beyond_a_chain_go_on_counting(helm):
    """A chain of three cells says what one of six says: the places go on alike."""
    short, placed = helm
    long = short.repeated(6)
    longer = place(long)
    known = grid_by_name(long, longer)
    found = chain_grid(placed.graph, grid_of(short, placed.graph, placed.rings), longer.graph.names)
    assert {name: (c, r) for name, c, r in zip(known, *np.array(found).tolist(), strict=True)} == known
    design = design_of(short, MetalPattern(PatternKind.STRIPES, (SILVER, COPPER, GOLD)))
    count = 4 * len(short.weave.rings)
    shown = names_of(cell_metals(design, placed, count))
    whole = dict(
        zip(longer.graph.names, names_of(ring_metals(replace(design, piece=long), longer)), strict=True)
    )
    expected = [whole[f"{k + 1}{ring.name}"] for k in range(4) for ring in short.weave.rings]
    assert shown == expected


def test_a_chain_worn_as_a_loop_keeps_its_metals(helm):
    """Its loop lacks the rings that finished the open chain, and has all others of the same metals."""
    chain = helm[0].repeated(8)
    placement, loop = place(chain), place(replace(chain, closed=True))
    design = design_of(chain, MetalPattern(PatternKind.STRIPES, (SILVER, COPPER, GOLD)))
    before = dict(zip(placement.graph.names, names_of(ring_metals(design, placement)), strict=True))
    after = dict(zip(loop.graph.names, names_of(worn_metals(design, placement, loop.graph)), strict=True))
    assert {name for name in before if name not in after} == {"9a", "9b"}
    shared = before.keys() & after.keys()
    assert len(shared) == len(before) - 2
    assert {name: before[name] for name in shared} == {name: after[name] for name in shared}
    assert set(after.values()) == {"sterling silver", "copper", "18k yellow gold"}


def test_sections_count_on_from_one_to_the_next():
    piece = Sections((Run((side(1, size(5.0)),), 3), usual("one-in-one", Chain, repeat=2)))
    placement = place(piece)
    order = np.argsort(placement.rings.centres[:, 0])
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    assert columns[order].tolist() == list(range(len(order)))
    assert not rows.any()


# --- sheets ---------------------------------------------------------------------------------------


def sheet_of(spots, along, across, columns, rows, twins=()):
    """A sheet made of bare places [mm], rings of radius 2.5 mm: no solver, no links."""
    weave = Weave(
        "net", "Net", "a", "b", "c", Repeats.SHEET, (Role("ring", 4.0, 1.0),),
        tuple(WeaveRing(name, "ring") for name in spots), (), side_by_side=twins,
    )  # fmt: skip
    cells = sheet_cells(columns, rows)
    graph, _ = tiled(weave_cell(weave), cells, sheet=True)
    places = [
        np.array([*at, 0.0]) + i * np.array([along, 0.0, 0.0]) + j * np.array([*across, 0.0])
        for i, j in cells
        for at in spots.values()
    ]
    rings = rings_of(*((at, Z, 2.5, 0.5) for at in places))
    piece = Sheet(weave, (("ring", RingSize("ring", 4.0, 1.0)),), columns, rows)
    return piece, graph, rings


def counted(piece, graph, rings):
    columns, rows = grid_of(piece, graph, rings)
    return {name: (int(c), int(r)) for name, c, r in zip(graph.names, columns, rows, strict=True)}


def test_a_square_grid():
    """Cells along are columns; the top row is the last cell across."""
    found = counted(*sheet_of({"a": (0.3, -7.0)}, 5.0, (0.0, 5.0), 3, 2))
    assert found == {
        "1.1a": (0, 1), "2.1a": (1, 1), "3.1a": (2, 1), "1.2a": (0, 0), "2.2a": (1, 0), "3.2a": (2, 0),
    }  # fmt: skip


BRICKS = {
    "1.1a": (0, 3), "2.1a": (1, 3), "1.1b": (0, 2), "2.1b": (1, 2),
    "1.2a": (0, 1), "2.2a": (1, 1), "1.2b": (0, 0), "2.2b": (1, 0),
}  # fmt: skip


@pytest.mark.parametrize(
    ("b", "across"),
    [
        ((2.5, 2.0), (0.0, 4.0)),
        ((2.6, 2.1), (0.2, 4.0)),  # a little askew
        ((2.5, 2.0), (-0.3, 4.0)),
        ((2.5, 2.0), (0.0, 4.4)),
    ],
)
def test_rows_offset_by_half_a_ring_have_the_same_columns(b, across):
    assert counted(*sheet_of({"a": (0.0, 0.0), "b": b}, 5.0, across, 2, 2)) == BRICKS


def test_rows_that_lean_are_counted_straight_up():
    """One ring a cell, each row half a ring further: every second row begins a column on."""
    found = counted(*sheet_of({"a": (0.0, 0.0)}, 5.0, (2.5, 2.0), 2, 5))
    left = [found[f"1.{row}a"] for row in range(1, 6)]
    assert left == [(0, 4), (0, 3), (1, 2), (1, 1), (2, 0)]
    found = counted(*sheet_of({"a": (0.0, 0.0)}, 5.0, (-2.5, 2.0), 2, 5))
    assert [found[f"2.{row}a"][0] - found[f"1.{row}a"][0] for row in range(1, 6)] == [1] * 5
    assert min(column for column, _ in found.values()) == 0
    # A sheet whose next cell lies below counts from the top all the same.
    found = counted(*sheet_of({"a": (0.0, 0.0)}, 5.0, (0.0, -4.0), 1, 3))
    assert [found[f"1.{row}a"][1] for row in (1, 2, 3)] == [0, 1, 2]


def test_rows_with_fewer_rings_stand_under_the_fullest():
    """Two rings a cell in one row; the row above has one, over the second of them."""
    spots = {"a": (0.0, 0.0), "b": (4.0, 0.1), "c": (4.1, 4.0)}
    found = counted(*sheet_of(spots, 8.0, (0.0, 8.0), 2, 1))
    assert [found[name][0] for name in ("1.1a", "1.1b", "2.1a", "2.1b")] == [0, 1, 2, 3]
    assert [found[name] for name in ("1.1c", "2.1c")] == [(1, 0), (3, 0)]
    assert {found[name][1] for name in ("1.1a", "1.1b", "2.1a", "2.1b")} == {1}


def test_rings_side_by_side_stand_in_one_place():
    spots = {"a": (0.0, 0.9), "b": (0.0, -0.9), "c": (3.0, 3.0)}
    piece, graph, rings = sheet_of(spots, 6.0, (0.0, 6.0), 2, 2, twins=(("a", "b"),))
    found = counted(piece, graph, rings)
    assert found["1.1a"] == found["1.1b"] == (0, 3)
    assert found["2.2a"] == found["2.2b"] == (1, 1)
    assert found["2.2c"] == (1, 0)
    alone = counted(replace(piece, weave=replace(piece.weave, side_by_side=())), graph, rings)
    assert alone["1.1a"][1] != alone["1.1b"][1]


def test_moving_a_sheet_or_naming_its_rings_otherwise_counts_alike():
    piece, graph, rings = sheet_of({"a": (0.0, 0.0), "b": (2.5, 2.0)}, 5.0, (0.0, 4.0), 3, 3)
    moved = Bodies(rings.centres + np.array([31.7, -4.9, 2.0]), rings.normals, rings.radii, rings.wire_radii)
    assert counted(piece, graph, moved) == counted(piece, graph, rings)
    other, graph_, rings_ = sheet_of({"b": (2.5, 2.0), "a": (0.0, 0.0)}, 5.0, (0.0, 4.0), 3, 3)
    assert counted(other, graph_, rings_) == counted(piece, graph, rings)
    # The cell's second ring taken from the cell below: the same net, but for the edges.
    below, graph_, rings_ = sheet_of({"a": (0.0, 0.0), "b": (-2.5, -2.0)}, 5.0, (0.0, 4.0), 3, 3)
    x, y = rings_.centres[:, :2].T
    columns, rows = grid_of(below, graph_, rings_)
    assert np.array_equal(rows, np.round((y.max() - y) / 2.0))
    assert np.array_equal(columns, np.floor((x - x.min()) / 5.0 + 1e-9))


@pytest.fixture(scope="module")
def mail():
    piece = usual("european-4-in-1", Sheet, columns=6, rows=4)
    return piece, place(piece)


def test_a_placed_sheet_counted_row_by_row(mail):
    """Every row sorted by eye: heights told apart by their steps, columns by order within the row."""
    piece, placement = mail
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    x, y, _ = placement.rings.centres.T
    levels = sorted({round(float(v), 3) for v in y}, reverse=True)
    assert [levels.index(round(float(v), 3)) for v in y] == rows.tolist()
    period = min(np.diff(np.sort(x[rows == 1])))
    assert np.array_equal(columns, np.floor((x - x.min()) / period + 1e-6))
    for row in range(len(levels)):
        assert np.diff(np.sort(columns[rows == row])).tolist() == [1] * (np.sum(rows == row) - 1)


def test_patterns_on_a_placed_sheet(mail):
    piece, placement = mail
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    of = {(int(c), int(r)): k for k, (c, r) in enumerate(zip(columns, rows, strict=True))}
    assert len(of) == len(placement.graph)
    picture = ((0, 1, 1), (1, 0, 2))
    bitmap = MetalPattern(PatternKind.BITMAP, (SILVER, COPPER, GOLD), bitmap=picture)
    metals = ring_metals(design_of(piece, bitmap), placement)
    for (column, row), ring in of.items():
        assert metals.metals[metals.of_ring[ring]] == (SILVER, COPPER, GOLD)[picture[row % 2][column % 3]]
    checks = MetalPattern(PatternKind.CHECKS, (SILVER, COPPER), width=2)
    metals = ring_metals(design_of(piece, checks), placement)
    copper = {place for place, ring in of.items() if names_of(metals)[ring] == "copper"}
    assert {(2, 0), (3, 1), (0, 2), (1, 3)} <= copper
    assert not {(0, 1), (1, 1), (2, 2), (3, 3), (4, 0)} & copper
    stripes = ring_counts(placement.graph, ring_metals(design_of(piece, STRIPES), placement))
    assert [c.count for c in stripes] == [np.sum(columns % 2 == k) for k in (0, 1)]


def test_an_outline_changes_no_count_of_rings_that_stay(mail):
    """Against the whole sheet: the same steps between any two rings, by their places."""
    piece = usual("european-4-in-1", Sheet, outline=circle(45.0))
    placement = place(piece)
    columns, rows = grid_of(piece, placement.graph, placement.rings)
    assert (columns.min(), rows.min()) == (0, 0)
    whole, placed = mail
    period, step = sheet_steps(placed, grid_of(whole, placed.graph, placed.rings)[1])
    x, y, _ = placement.rings.centres.T
    assert np.array_equal(rows, np.round((y.max() - y) / step))
    # Within a row columns count rings; from row to row they shift by half a ring at most.
    origin = np.round(x / period - columns, 3)
    assert np.ptp(origin) == pytest.approx(0.5, abs=0.01)
    for row in range(int(rows.max()) + 1):
        assert np.ptp(origin[rows == row]) < 0.01


def sheet_steps(placement, rows):
    x, y, _ = placement.rings.centres.T
    return min(np.diff(np.sort(x[rows == 1]))), y[rows == 0].mean() - y[rows == 1].mean()


# --- weights --------------------------------------------------------------------------------------


def test_weight_of_a_hundred_rings():
    """26.503 g, and its volume ring by ring in slices rather than by the way of the middle.

    A flat slice of a torus at height z is an annulus of area 4 pi R sqrt(r^2 - z^2) (common geometry).
    """
    ring = RingSize("link", 6.0, 1.2)
    volume, _ = quad(lambda z: 4.0 * pi * 3.6 * sqrt(0.36 - z * z), -0.6, 0.6)
    assert ring_weight(ring, SILVER) == pytest.approx(volume * 10.36 / 1000.0, rel=1e-8)
    assert 100.0 * ring_weight(ring, SILVER) == pytest.approx(26.503, abs=5e-4)
    # As straight wire of the length of its middle: 22.6195 mm by a section of 1.13097 mm2.
    assert ring_weight(ring, COPPER) == pytest.approx(22.6195 * 1.13097 * 8.94e-3, rel=1e-5)


def test_counts_go_by_size_and_metal(run):
    piece, placement = run
    counts = ring_counts(placement.graph, ring_metals(design_of(piece, ALONG), placement))
    assert [(c.size.name, c.metal.name, c.count) for c in counts] == [
        ("link", "sterling silver", 4), ("link", "copper", 4), ("joint", "sterling silver", 3),
    ]  # fmt: skip
    for count in counts:
        volume = 2.0 * pi**2 * 0.5 * (5.0 + 1.0237) * (0.5 * 1.0237) ** 2
        assert count.weight == pytest.approx(count.count * volume * count.metal.density / 1000.0)


def test_areal_weight_by_counting_and_weighing():
    """European 4-in-1, 40 by 40 cells: rings counted in a window and weighed by the formula."""
    piece = usual("european-4-in-1", Sheet, columns=40, rows=40)
    placement = place(piece)
    graph, centres = placement.graph, placement.rings.centres
    metals = ring_metals(design_of(piece), placement)
    found = areal_weight(piece, graph, metals, placement.cell_area)
    ring = piece.sizes()[0]
    each = 2.0 * pi**2 * ring.radius * ring.wire_radius**2 * 10.36e-3
    # A window 30 cells wide and high, spanned by three rings of one name, has 30 x 30 x 2 rings in it.
    name = piece.weave.rings[0].name
    corner, right, top = (centres[graph.names.index(f"{cell}{name}")] for cell in ("5.5", "35.5", "5.35"))
    steps = np.linalg.solve(np.column_stack([right - corner, top - corner])[:2], (centres - corner)[:, :2].T)
    inside = ((steps > -1e-9) & (steps < 1.0 - 1e-9)).all(axis=0)
    assert inside.sum() == 1800
    area = float(np.linalg.norm(np.cross(right - corner, top - corner)))
    assert found == pytest.approx(inside.sum() * each / (area / 100.0), rel=1e-9)
    # All of it on the scales and under the ruler: edges are ragged, so that it is lighter by a few per cent.
    low, high = placement.rings.bounds()
    whole = len(graph) * each / (float(np.prod((high - low)[:2])) / 100.0)
    assert 0.93 * found < whole < found


def test_areal_weight_of_several_metals(mail):
    piece, placement = mail
    graph, area = placement.graph, placement.cell_area
    alone = [
        areal_weight(piece, graph, ring_metals(design_of(piece), placement), area) * metal.density / 10.36
        for metal in (SILVER, COPPER)
    ]
    mixed = areal_weight(piece, graph, ring_metals(design_of(piece, STRIPES), placement), area)
    assert mixed == pytest.approx(np.mean(alone), rel=0.01)
    # Exactly so where each of the cell's two rings is of one metal throughout.
    _, rows = grid_of(piece, graph, placement.rings)
    levels = areal_weight(piece, graph, RingMetals((SILVER, COPPER), rows % 2), area)
    assert levels == pytest.approx(np.mean(alone), rel=1e-12)


def test_no_areal_weight_where_a_kind_of_ring_is_missing(mail):
    piece, placement = mail
    first = np.array([k for k, name in enumerate(placement.graph.names) if name.endswith("a")])
    members = tuple(m for k, m in enumerate(placement.graph.members) if k in first)
    part = replace(placement.graph, members=members)
    metals = RingMetals((SILVER,), np.zeros(len(members), dtype=np.int64))
    assert areal_weight(piece, part, metals, placement.cell_area) is None


# --- the result in words and for programs ---------------------------------------------------------


@pytest.fixture(scope="module")
def striped():
    return build(design_of(Run((side(2, size(5.0)), join(1, size(5.0, name="joint"))), repeat=4), ALONG))


def test_the_report_weighs_every_metal(striped):
    report = report_of(striped)
    assert [(e["name"], e["metal"], e["count"]) for e in report["rings_by_size"]] == [
        ("link", "sterling silver", 4), ("link", "copper", 4), ("joint", "sterling silver", 3),
    ]  # fmt: skip
    assert [(e["name"], e["count"]) for e in report["metals"]] == [("sterling silver", 7), ("copper", 4)]
    volume = 2.0 * pi**2 * 0.5 * (5.0 + 1.0237) * (0.5 * 1.0237) ** 2
    weights = [7 * volume * 10.36e-3, 4 * volume * 8.94e-3]
    assert [e["weight_g"] for e in report["metals"]] == pytest.approx(weights, abs=1e-6)
    assert report["weight_g"] == pytest.approx(sum(weights), abs=1e-6)
    assert report["areal_weight_g_per_cm2"] is None
    assert report["form"] == "open run"


def test_the_words_name_metals_where_there_are_several(striped):
    counts, weight = ring_lines(striped)
    assert counts.startswith("11 rings: 4 of 5 mm inside in 1.024 mm (18 AWG), sterling silver, ")
    assert counts.count("sterling silver") == 2
    assert counts.count("copper") == 1
    assert weight == f"Closed and solid they weigh {striped.weight:.3g} g."
    plain = build(design_of(Run((side(1, size(5.0)),), repeat=3)))
    counts, weight = ring_lines(plain)
    assert "silver" not in counts
    assert weight == f"Closed and solid they weigh {plain.weight:.3g} g in sterling silver."


def test_a_sheet_tells_its_areal_weight():
    result = build(design_of(usual("european-4-in-1", Sheet, columns=5, rows=4)))
    report = report_of(result)
    assert report["form"] == "sheet"
    area = result.placement.cell_area
    weights = [ring_weight(ring, SILVER) for ring in result.design.piece.sizes()]
    assert report["areal_weight_g_per_cm2"] == pytest.approx(200.0 * weights[0] / area, abs=1e-6)
    assert f"{result.areal_weight:.3g} g/cm²" in ring_lines(result)[1]


# --- pictures -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def can_draw():
    """Pictures need EGL, as the README says: without it these tests fail, telling what to install."""
    require_drawing()


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setattr(camera, "LONG_SIDE", 480)
    monkeypatch.setattr(camera, "SHORT_SIDE", (200, 480))
    monkeypatch.setattr(film, "LONG_SIDE", 240)


def row_of(count):
    """Rings that lie flat in a row, apart from one another."""
    return rings_of(*(((7.0 * k, 0.0, 0.0), Z, 2.5, 0.5) for k in range(count)))


def hues(image):
    """Hue of each pixel [degrees], and where there is colour enough to speak of one."""
    flat = np.asarray(image.convert("RGB")).reshape(-1, 3) / 255.0
    hsv = np.array([colorsys.rgb_to_hsv(*pixel) for pixel in flat]).reshape(*image.size[::-1], 3)
    return 360.0 * hsv[..., 0], (hsv[..., 1] > 0.3) & (hsv[..., 2] > 0.15)


def test_a_look_is_cut_along_with_its_rings():
    look = look_of(RingMetals((SILVER, COPPER, GOLD), np.array([0, 1, 0, 1, 0])))
    assert len(look) == 5
    parts = {colour: own.tolist() for colour, _, own in look.parts()}
    assert parts == {SILVER.colour: [0, 2, 4], COPPER.colour: [1, 3]}
    parts = {colour: own.tolist() for colour, _, own in look[np.array([3, 4])].parts()}
    assert parts == {SILVER.colour: [1], COPPER.colour: [0]}
    assert [own.tolist() for _, _, own in plain_look(GOLD, 3).parts()] == [[0, 1, 2]]


def by_ring(image, view, count):
    """Mean hue over each ring of `row_of`, None where it is grey."""
    hue, coloured = hues(image)
    found = []
    for k in range(count):
        middle = image.width / 2 + (7.0 * k - view.focus[0]) / view.mm_per_pixel * image.width / view.width
        reach = 3.2 / view.mm_per_pixel * image.width / view.width
        columns = slice(max(0, int(middle - reach)), int(middle + reach) + 1)
        own = hue[:, columns][coloured[:, columns]]
        found.append(float(np.median(own)) if own.size > 40 else None)
    return found


def test_each_ring_is_drawn_in_its_metal(can_draw, tmp_path, small):
    rings = row_of(4)
    look = look_of(RingMetals((GOLD, BLUE, SILVER), np.array([0, 1, 2, 1])))
    view = framed("front", rings, Z, Y)
    (path,) = draw_views(tmp_path, rings, [view], look=look)
    gold, blue, grey, other = by_ring(Image.open(path), view, 4)
    assert 30.0 < gold < 55.0
    assert 205.0 < blue < 245.0
    assert grey is None
    assert other == pytest.approx(blue, abs=3.0)


def test_a_ring_in_collision_keeps_its_own_colour_and_the_others_theirs(can_draw, tmp_path, small):
    rings = row_of(3)
    look = look_of(RingMetals((GOLD, BLUE), np.array([0, 1, 0])))
    view = framed("front", rings, Z, Y)
    (path,) = draw_views(tmp_path, rings, [view], look=look, collided=np.array([2]))
    gold, blue, bad = by_ring(Image.open(path), view, 3)
    assert 30.0 < gold < 55.0
    assert 205.0 < blue < 245.0
    assert 290.0 < bad < 335.0


def test_what_is_out_of_sight_takes_no_metal_with_it(can_draw, tmp_path, small):
    """A close-up of the last rings: looks are cut as the rings are."""
    rings = row_of(9)
    look = look_of(RingMetals((GOLD, BLUE), np.array([0] * 7 + [1, 0])))
    view = framed("close-up", rings, Z, Y, rings[7:])
    (path,) = draw_views(tmp_path, rings, [view], look=look)
    *_, blue, gold = by_ring(Image.open(path), view, 9)
    assert 205.0 < blue < 245.0
    assert 30.0 < gold < 55.0


def test_a_film_keeps_metals_apart_while_rings_move(can_draw, tmp_path, small):
    """Five metals at once: the few colours of a film have room for all, on the first frame and the last."""
    green = Metal("weed green niobium", 8.57, "as niobium", (0.10, 0.50, 0.25), 0.28)
    rings = row_of(5)
    look = look_of(RingMetals((GOLD, BLUE, SILVER, COPPER, green), np.arange(5)))
    frames = [
        Bodies(rings.centres + lift * Z, rings.normals, rings.radii, rings.wire_radii)
        for lift in np.linspace(6.0, 0.0, 8)
    ]
    path = tmp_path / "settling.gif"
    draw_settling(path, frames, (), (0.0, -0.05, 1.0), look=look)
    view = film.settling_view(frames, np.array([0.0, -0.05, 1.0]))
    with Image.open(path) as image:
        images = [frame.convert("RGB") for frame in ImageSequence.Iterator(image)]
    assert len(images) == 8
    for image in (images[0], images[-1]):
        gold, blue, grey, copper, leaf = by_ring(image, view, 5)
        assert 30.0 < gold < 55.0
        assert 205.0 < blue < 245.0
        assert grey is None
        assert 8.0 < copper < 28.0
        assert 130.0 < leaf < 165.0


def test_the_picture_of_bends_shows_the_metals_of_the_chain(can_draw, tmp_path, small):
    piece = Run((side(1, size(5.0)),), repeat=6)
    design = design_of(piece, MetalPattern(PatternKind.STRIPES, (BLUE, COPPER)))
    placement, found = place(piece), supple(piece)
    look = look_of(cell_metals(design, placement, max(shown_rings(found))))
    (path,) = draw_supple(tmp_path, found, look=look)
    hue, coloured = hues(Image.open(path))
    blue = (coloured & (hue > 205.0) & (hue < 245.0)).sum()
    copper = (coloured & (hue > 8.0) & (hue < 28.0)).sum()
    assert blue > 1000
    assert 0.4 < blue / copper < 2.5
    assert len(supple_view(found)[0]) == sum(shown_rings(found))
