"""Sheets at rest: hung from a ring, held by two corners, laid flat and over an edge."""

import functools

import numpy as np
import pytest
from scipy.optimize import minimize

from chaingen.design.scene import ROW_SCENES, SHEET_SCENES, Scene, SceneKind
from chaingen.geometry.bodies import Bodies, centreline_points
from chaingen.geometry.distance import smallest_gaps
from chaingen.geometry.linking import linked
from chaingen.geometry.solids import distances
from chaingen.solve.check import check
from chaingen.solve.drape.drape import drape
from chaingen.solve.drape.drape_sheet import drape_sheet
from chaingen.solve.drape.linear import Ordering
from chaingen.solve.drape.settle import BALANCED
from chaingen.solve.drape.sheets import BOWS, EDGE_ROUND, LEAST_BEND
from chaingen.solve.drape.starts import CannotDrape
from chaingen.solve.place import place
from chaingen.solve.placement import Answer, Placement
from chaingen.weave.graph import LinkGraph, Member
from chaingen.weave.groups import Run
from tests.conftest import side, size

RING = size(5.0, 1.2)


def lattice(p, q, tilt, columns, rows, *, mirrored=False):
    """European 4-in-1 by hand: rings a in rows, rings b between them tilted the other way.

    b(i, j) links a(i, j), a(i + 1, j), a(i, j + 1) and a(i + 1, j + 1); rings with fewer than two links are
    left off. A mirrored sheet ends in rings a on either side, so that it equals its mirror image.

    Returns:
        Rings and index pairs of links.
    """
    keys = [
        (kind, i, j)
        for i in range(columns)
        for j in range(rows)
        for kind in range(2)
        if not (mirrored and kind and i == columns - 1)
    ]
    at = {key: number for number, key in enumerate(keys)}
    links = np.array(
        [
            sorted((at[0, i + along, j + across], at[1, i, j]))
            for kind, i, j in keys
            for along in range(2)
            for across in range(2)
            if kind and (0, i + along, j + across) in at
        ]
    )
    keep = np.bincount(links.ravel(), minlength=len(keys)) >= 2
    links = (np.cumsum(keep) - 1)[links[keep[links].all(axis=1)]]
    kind, i, j = np.array(keys)[keep].T
    n = len(kind)
    centres = np.column_stack([p * (i + 0.5 * kind), q * (j + 0.5 * kind), np.zeros(n)])
    normals = np.column_stack([np.zeros(n), np.sin(tilt) * (2 * kind - 1), np.full(n, np.cos(tilt))])
    return Bodies(centres, normals, np.full(n, RING.radius), np.full(n, RING.wire_radius)), links


@functools.cache
def widest():
    """Row, column and tilt with the largest smallest gap, by search on a small patch."""

    def gap(x):
        rings, links = lattice(*x, 4, 4)
        n = len(rings)
        pairs = np.column_stack(np.triu_indices(n, 1))
        wanted = np.isin(pairs[:, 0] * n + pairs[:, 1], links[:, 0] * n + links[:, 1])
        found, _ = smallest_gaps(rings, pairs)
        apart = found + 2.0 * RING.wire_radius
        return float(np.where(linked(rings, pairs) == wanted, apart, -apart).min()) - 2.0 * RING.wire_radius

    x = np.array([2.5 * RING.radius, 1.25 * RING.radius, 0.6])
    for _ in range(2):
        x = minimize(lambda x: -gap(x), x, method="Nelder-Mead", options={"xatol": 1e-5, "fatol": 1e-7}).x
    return *(float(value) for value in x), gap(x)


def sheet(columns, rows, *, mirrored=False, keep=None):
    """A placed sheet; `keep` picks rings by their centres."""
    *cell, gap = widest()
    rings, links = lattice(*cell, columns, rows, mirrored=mirrored)
    if keep is not None:
        rings, links = cut(rings, links, keep(rings.centres))
    members = tuple(Member(f"r{k}", "a", RING, 0) for k in range(len(rings)))
    graph = LinkGraph(
        members=members, links=links, offsets=np.zeros((len(links), 2), dtype=np.int64), arrangements=(),
        groups=(), periodic=False,
    )  # fmt: skip
    return Placement(
        graph=graph, rings=rings, answer=Answer.FITS, gap=gap, clearance=0.0, proof=None, searches=()
    )


def cut(rings, links, kept):
    """The rings kept, without those that have fewer than two links then."""
    while True:
        inside = kept[links].all(axis=1)
        degree = np.bincount(links[inside].ravel(), minlength=len(rings))
        if (degree[kept] >= 2).all():
            return rings[np.flatnonzero(kept)], (np.cumsum(kept) - 1)[links[inside]]
        kept = kept & (degree >= 2)


def test_the_sheets_made_by_hand_are_sound():
    for placement in (sheet(5, 4), sheet(5, 4, mirrored=True), sheet(9, 12, keep=disc)):
        report = check(placement.graph, placement.rings)
        assert report.links_as_designed
        assert report.smallest_gap == pytest.approx(placement.gap, abs=1e-3)
        assert placement.gap > 0.3
        assert (placement.graph.degrees >= 2).all()
    # Inner rings of European 4-in-1 link four (the weave's name).
    assert sheet(5, 4).graph.degrees.max() == 4


def disc(centres):
    middle = 0.5 * (centres.min(axis=0) + centres.max(axis=0))
    return np.linalg.norm(centres - middle, axis=1) < 0.5 * np.ptp(centres[:, 1])


@pytest.mark.parametrize("bow", BOWS)
@pytest.mark.parametrize("half", [0.01, 0.7, 1.6, 2.3])
def test_bent_sheets_keep_their_length_and_have_the_chord_asked(bow, half):
    """Unit speed along the heading, and the chord of arcs: sin(a) / a of their length (closed form)."""
    length = 30.0
    s = np.linspace(-20.0, 20.0, 40_001)
    places, heading = bow(s, length, half)
    speed = np.gradient(places, s, axis=0)
    along = np.column_stack([np.cos(heading), np.sin(heading)])
    assert np.abs(speed - along)[2:-2].max() < 1e-3
    ends = [np.argmin(np.abs(s - at)) for at in (-0.5 * length, 0.5 * length)]
    across = places[ends[1]] - places[ends[0]]
    assert across[0] == pytest.approx(length * np.sin(half) / half, abs=1e-6)
    assert across[1] == pytest.approx(0.0, abs=1e-9)
    # It bows away from the viewer or not at all, and mirrors itself.
    assert places[len(s) // 2] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert places[::-1, 0] == pytest.approx(-places[:, 0], abs=1e-9)
    assert places[ends[0], 1] < 0.0
    if bow is BOWS[0]:
        assert heading[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-12)


def test_a_sheets_systems_are_solved_by_sparse_factors():
    """A wide band that is mostly empty; a chain's narrow one and a full one are not."""
    grid = np.arange(600).reshape(30, 20)
    mesh = np.concatenate(
        [np.column_stack([grid[1:].ravel(), grid[:-1].ravel()]),
         np.column_stack([grid[:, 1:].ravel(), grid[:, :-1].ravel()])]
    )  # fmt: skip
    assert Ordering(600, mesh).thin
    assert not Ordering(600, np.column_stack([np.arange(599), np.arange(1, 600)])).thin
    full = np.array([(a, b) for a in range(200) for b in range(a + 1, min(a + 20, 200))])
    assert not Ordering(200, full).thin


def rest(placement, kind, **more):
    draped = drape_sheet(placement, Scene(kind, settling=True, **more))
    assert draped.reached, draped.why
    assert draped.unbalanced <= BALANCED
    assert draped.check.links_as_designed
    assert not draped.check.collisions
    return draped


def height(rings):
    """Potential energy of equal rings over their number of ring weights [mm]."""
    return float(rings.centres[:, 2].mean())


@functools.cache
def at_rest(name):
    """Sheets at rest that several tests look at."""
    kind, shape, more = {
        "hang": (SceneKind.HANG, {"columns": 6, "rows": 5}, {}),
        "smooth hang": (SceneKind.HANG, {"columns": 6, "rows": 5}, {"friction": 0.0}),
        "hung disc": (SceneKind.HANG, {"columns": 6, "rows": 9, "keep": disc}, {}),
        "corners": (SceneKind.CORNERS, {"columns": 8, "rows": 5}, {}),
        "near corners": (SceneKind.CORNERS, {"columns": 8, "rows": 4}, {"span_fraction": 0.5}),
        "mirrored": (SceneKind.CORNERS, {"columns": 7, "rows": 5, "mirrored": True}, {"friction": 0.0}),
        "table": (SceneKind.TABLE, {"columns": 6, "rows": 5}, {}),
        "edge": (SceneKind.EDGE, {"columns": 12, "rows": 5}, {}),
        "smooth edge": (SceneKind.EDGE, {"columns": 8, "rows": 5}, {"friction": 0.0}),
    }[name]
    return rest(sheet(**shape), kind, **more)


NAMES = (
    "hang",
    "smooth hang",
    "hung disc",
    "corners",
    "near corners",
    "mirrored",
    "table",
    "edge",
    "smooth edge",
)


@pytest.mark.parametrize("name", NAMES)
def test_supports_carry_the_whole_weight(name):
    """Newton's first law: what holds the sheet pushes up as much as it weighs."""
    assert at_rest(name).support == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_comes_down_and_stays_clear(name):
    draped = at_rest(name)
    assert height(draped.rings) < height(draped.frames[0])
    # At one barrier no step raises the energy, but for what springs of friction give back.
    stages = np.array([stage for stage, _ in draped.energies])
    energies = np.array([energy for _, energy in draped.energies])
    steps = np.diff(energies)[np.diff(stages) == 0]
    assert steps.max() <= (5e-4 if draped.scene.friction else 1e-9) * np.abs(energies).max()
    assert steps.min() < -1.0
    assert 0.0 < draped.check.smallest_gap < 0.1 * RING.wire_radius
    for solid in draped.solids:
        points = centreline_points(draped.rings, 720).reshape(-1, 3)
        assert distances(solid, points)[:, 0].min() > 0.99 * RING.wire_radius
    # The first pose has the links too, and each ring keeps its size.
    assert check(draped.graph, draped.frames[0]).links_as_designed
    assert draped.rings.radii == pytest.approx(RING.radius)
    assert draped.length is None
    assert draped.hair == 0.0


@pytest.mark.parametrize(("name", "off"), [("smooth hang", 0.01), ("hang", 0.5 * RING.radius)])
def test_a_rectangle_hangs_from_a_corner_with_its_middle_below(name, off):
    """Without friction the one peg's push goes through its axis, and so does the weight (statics)."""
    draped = at_rest(name)
    (peg,) = draped.solids
    (held,) = held_rings(draped.rings, peg)
    middle = draped.rings.centres.mean(axis=0)
    assert middle[0] == pytest.approx(peg.numbers[0], abs=off)
    assert middle[1] == pytest.approx(draped.rings.centres[held, 1], abs=0.5 * RING.radius)
    assert middle[2] < peg.numbers[2] - 10.0
    top = peg.numbers[2] + peg.numbers[6]
    assert draped.drop == pytest.approx(top - draped.rings.bounds()[0][2], abs=1e-12)
    # From a corner of a rectangle that can shear it is more than its longer side to the lowest ring.
    assert draped.drop > np.ptp(sheet(6, 5).rings.centres[:, 0])


def test_a_disc_hangs_from_the_middle_of_its_top():
    draped = at_rest("hung disc")
    (peg,) = draped.solids
    (held,) = held_rings(draped.rings, peg)
    placed = sheet(6, 9, keep=disc).rings.centres
    assert placed[held, 1] > placed[:, 1].max() - RING.radius
    assert abs(placed[held, 0] - placed[:, 0].mean()) < 0.2 * np.ptp(placed[:, 0])


def held_rings(rings, peg):
    """The rings whose discs the axis of a peg crosses."""
    point, along = peg.numbers[:3], peg.numbers[3:6]
    part = ((rings.centres - point) * rings.normals).sum(axis=1) / (rings.normals @ along)
    at = point + part[:, None] * along
    return np.flatnonzero(np.linalg.norm(at - rings.centres, axis=1) < rings.radii)


@pytest.mark.parametrize(("name", "part"), [("corners", 0.9), ("near corners", 0.5), ("mirrored", 0.9)])
def test_corners_hang_on_level_pegs_as_far_apart_as_asked(name, part):
    draped = at_rest(name)
    left, right = draped.solids
    assert left.numbers[2] == pytest.approx(right.numbers[2], abs=1e-9)
    assert left.numbers[3:6] == pytest.approx([0.0, 1.0, 0.0])
    assert right.numbers[3:6] == pytest.approx([0.0, 1.0, 0.0])
    assert draped.span == pytest.approx(right.numbers[0] - left.numbers[0], abs=1e-9)
    one, other = held_rings(draped.rings, left), held_rings(draped.rings, right)
    assert len(one) == len(other) == 1
    shape = {"corners": (8, 5), "near corners": (8, 4), "mirrored": (7, 5)}[name]
    placed = sheet(*shape, mirrored=name == "mirrored").rings.centres
    # The pegs have some room in their rings.
    apart = np.linalg.norm(placed[one[0]] - placed[other[0]])
    assert draped.span == pytest.approx(part * apart, abs=2.0 * RING.radius)
    # They are the corners: no ring is farther out that way.
    for ring, sign in ((one[0], -1.0), (other[0], 1.0)):
        score = sign * placed[:, 0] + placed[:, 1]
        assert score[ring] > score.max() - RING.radius


def test_a_span_in_millimetres_is_met():
    draped = rest(sheet(5, 4), SceneKind.CORNERS, span=26.0, friction=0.0)
    assert draped.span == pytest.approx(26.0, abs=1e-6)


def test_without_friction_a_sheet_equal_to_its_mirror_image_hangs_so():
    """Symmetry: the mirror image of the sheet at rest is the sheet at rest."""
    draped = at_rest("mirrored")
    left, right = draped.solids
    middle = 0.5 * (left.numbers[0] + right.numbers[0])
    placed = sheet(7, 5, mirrored=True).rings.centres
    image = placed * [-1.0, 1.0, 1.0] + [placed[:, 0].max() + placed[:, 0].min(), 0.0, 0.0]
    partner = np.linalg.norm(placed[:, None] - image[None], axis=2).argmin(axis=1)
    assert (partner[partner] == np.arange(len(placed))).all()
    mirrored = draped.rings.centres[partner] * [-1.0, 1.0, 1.0] + [2.0 * middle, 0.0, 0.0]
    assert np.abs(mirrored - draped.rings.centres).max() < 0.1 * RING.wire_radius


def test_nothing_holds_a_sheet_lower_than_without_friction():
    """The frictionless rest is a minimum of potential energy: friction can only keep it higher."""
    placement = sheet(7, 5, mirrored=True)
    rough = rest(placement, SceneKind.CORNERS)
    assert height(rough.rings) > height(at_rest("mirrored").rings) - 0.05


def test_on_a_table_every_ring_is_within_reach_of_it():
    draped = at_rest("table")
    low, high = draped.rings.bounds()
    assert low[2] == pytest.approx(0.0, abs=0.1 * RING.wire_radius)
    # No higher than it was placed: it lies flat.
    placed = np.subtract(*sheet(6, 5).rings.bounds()[::-1])
    assert high[2] - low[2] < placed[2] + 0.5
    assert draped.drop is None
    assert draped.span is None


@pytest.mark.parametrize("name", ["edge", "smooth edge"])
def test_what_hangs_over_an_edge_hangs_upright(name):
    """Far below the edge nothing pushes sideways: forces are upright, so that middles of columns are below
    one another (statics)."""
    draped = at_rest(name)
    centres = draped.rings.centres
    placed = sheet(12 if name == "edge" else 8, 5).rings.centres
    column = np.round(2.0 * placed[:, 0] / widest()[0]).astype(int)
    middles = np.array([centres[column == k].mean(axis=0) for k in np.unique(column)])
    hanging = middles[middles[:, 2] < -2.5 * RING.radius]
    assert len(hanging) >= 4
    # Friction between wires holds a little of the bend.
    assert np.ptp(hanging[:, 0]) < (1.5 if name == "edge" else 0.2) * RING.wire_radius
    assert (np.diff(hanging[:, 2]) < 0.0).all()
    # Half of it is over, and the rest lies on the table.
    assert 0.3 < (centres[:, 2] < 0.0).mean() < 0.7
    lying = centres[:, 0] < -2.0 * EDGE_ROUND
    assert np.abs(centres[lying, 2]).max() < RING.radius + 2.0 * RING.wire_radius
    assert draped.drop == pytest.approx(-draped.rings.bounds()[0][2], abs=1e-12)


def test_equal_sheets_come_to_equal_rest():
    first, second = (rest(sheet(4, 4), SceneKind.HANG, disorder=0.5, seed=3) for _ in range(2))
    assert first.rings.centres.tolist() == second.rings.centres.tolist()
    other = rest(sheet(4, 4), SceneKind.HANG, disorder=0.5, seed=4)
    assert other.rings.centres.tolist() != first.rings.centres.tolist()


@pytest.mark.parametrize("kind", [SceneKind.SWAG, SceneKind.WRIST, SceneKind.NECK])
def test_a_sheet_is_not_worn(kind):
    with pytest.raises(CannotDrape, match="held by two corners"):
        drape_sheet(sheet(4, 4), Scene(kind))


@pytest.mark.parametrize("kind", [SceneKind.CORNERS, SceneKind.EDGE])
def test_a_chain_has_no_corners(kind):
    run = Run((side(1, RING),), 5)
    with pytest.raises(CannotDrape, match="for sheets"):
        drape(run, place(run), Scene(kind))


def test_a_sheet_that_cannot_be_bent_is_held_as_placed(monkeypatch):
    """Without a distance asked for; with one, it is told instead."""

    def stiff(s, length, half):
        assert half >= LEAST_BEND
        if half > LEAST_BEND:
            raise CannotDrape("it does not bend")
        return BOWS[0](s, length, half)

    monkeypatch.setattr("chaingen.solve.drape.sheets.BOWS", (stiff,))
    placement = sheet(4, 4)
    draped = rest(placement, SceneKind.CORNERS)
    held = [held_rings(draped.rings, peg)[0] for peg in draped.solids]
    apart = np.linalg.norm(np.subtract(*placement.rings.centres[held]))
    assert draped.span == pytest.approx(apart, abs=RING.radius)
    with pytest.raises(CannotDrape, match="does not bend"):
        drape_sheet(placement, Scene(SceneKind.CORNERS, span_fraction=0.9))


def test_pegs_too_far_apart_or_too_near_are_refused():
    with pytest.raises(CannotDrape, match=r"500\.00 mm apart are farther than its corners"):
        drape_sheet(sheet(5, 4), Scene(SceneKind.CORNERS, span=500.0))
    with pytest.raises(CannotDrape, match="too near each other"):
        drape_sheet(sheet(5, 4), Scene(SceneKind.CORNERS, span=0.5))


def test_a_narrow_strip_has_no_two_corners():
    with pytest.raises(CannotDrape, match="too narrow"):
        drape_sheet(sheet(1, 8), Scene(SceneKind.CORNERS))


def test_usual_distances_of_pegs():
    assert Scene(SceneKind.SWAG).part_apart == 0.8
    assert Scene(SceneKind.CORNERS).part_apart == 0.9
    assert Scene(SceneKind.CORNERS, span_fraction=0.5).part_apart == 0.5
    assert set(ROW_SCENES) | set(SHEET_SCENES) == set(SceneKind)
