"""Rings on their feeders: distances by sampling, shifts, and sizes of what they are made of."""

from math import pi, radians

import numpy as np
import pytest
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from chaingen.design.service import Service, Sprues
from chaingen.model.solids import mesh_of_solid, shell_count
from chaingen.prepare.fed_ring import (
    CIRCLE,
    CLOSE,
    FEEDER,
    FILLET,
    fed_ring,
    least_shift,
    placed_rows,
    room_beside,
    tightest,
)
from chaingen.prepare.loose import CannotPrepare
from chaingen.stock.processes import PROCESSES
from tests.conftest import size

LOOSE = PROCESSES["loose rings for casting"]


def service(**more):
    return Service(LOOSE, 0.8, 0.0, 0.0, LOOSE.build, **more)


def fed(inside=5.0, wire=1.0, *, main=4.0, angle=60.0, sprues=None, **more):
    return fed_ring(size(inside, wire), service(**more), sprues or Sprues(), main, radians(angle))


def sampled(row, count=1500):
    """Points along a curve of a row."""
    t = np.linspace(0.0, row[10], count)[:, None]
    if row[9] == 0.0:
        return row[:3] + t * row[3:6]
    return row[:3] + row[9] * (np.cos(t) * row[3:6] + np.sin(t) * row[6:9])


def sampled_gap(a, b):
    return cKDTree(sampled(a)).query(sampled(b))[0].min() - a[11] - b[11]


def sampled_room(a, b, spacing):
    pairs = ((CIRCLE, CIRCLE), (CIRCLE, FEEDER), (FEEDER, CIRCLE), (CIRCLE, FILLET), (FILLET, CIRCLE))
    return min(*(sampled_gap(a[i], b[j]) - spacing for i, j in pairs), sampled_gap(a[3], b[3]))


def test_room_of_two_rings_by_sampling(rng):
    """Every distance that counts, of rings thrown anywhere, as densely sampled curves have it."""
    kinds = [fed(), fed(3.0, 0.8, opened=1.0), fed(9.0, 2.0, angle=90.0)]
    for _ in range(25):
        one, two = (kinds[k] for k in rng.integers(0, 3, 2))
        turns = Rotation.random(2, random_state=rng).as_matrix()
        centres = rng.uniform(-8.0, 8.0, (2, 3))
        rows = placed_rows(np.stack([one.rows(), two.rows()]), turns, centres)
        found, first, second = tightest(rows, 1.3)
        assert (first, second) == (0, 1)
        assert found == pytest.approx(sampled_room(*rows, 1.3), abs=0.01)


def test_the_tightest_pair_of_many(rng):
    kind = fed()
    turns = Rotation.random(7, random_state=rng).as_matrix()
    rows = placed_rows(kind.rows(), turns, rng.uniform(-15.0, 15.0, (7, 3)))
    rooms = {(i, j): sampled_room(rows[i], rows[j], 1.0) for j in range(7) for i in range(j)}
    best = min(rooms, key=rooms.get)
    found, one, two = tightest(rows, 1.0)
    assert (one, two) == best
    assert found == pytest.approx(rooms[best], abs=0.01)


def test_room_beside_bars_by_sampling(rng):
    kind = fed()
    for _ in range(10):
        rows = placed_rows(
            kind.rows(), Rotation.random(2, random_state=rng).as_matrix(), rng.uniform(-8.0, 8.0, (2, 3))
        )
        bars = np.column_stack([rng.uniform(-9.0, 9.0, (3, 6)), rng.uniform(0.5, 2.0, 3)])
        t = np.linspace(0.0, 1.0, 1500)[:, None]
        true = min(
            cKDTree(sampled(row[CIRCLE])).query(bar[:3] + t * (bar[3:6] - bar[:3]))[0].min() - 0.5 - bar[6]
            for row in rows
            for bar in bars
        )
        assert room_beside(rows, bars, 1.3) == pytest.approx(true - 1.3, abs=0.01)


def test_least_shift_is_where_room_ends(rng):
    """At the shift there is just room, a little before it none, and from it on always."""
    kind = fed()
    up = np.array([0.0, 0.0, 1.0])
    for _ in range(20):
        turns = Rotation.random(2, random_state=rng).as_matrix()
        one, two = placed_rows(kind.rows(), turns, np.stack([np.zeros(3), rng.uniform(-2.0, 2.0, 3)]))
        shift = least_shift(one, two, up, 60.0, 1.0)
        assert 0.0 < shift < 60.0

        def room(by, one=one, two=two):
            moved = two.copy()
            moved[:, :3] += by * up
            return tightest(np.stack([one, moved]), 1.0)[0]

        assert room(shift) == pytest.approx(0.0, abs=2.0 * CLOSE)
        assert room(shift - 0.01) < 0.0
        assert min(room(by) for by in np.linspace(shift, 60.0, 400)) >= 0.0


def test_least_shift_of_equal_rings_above_one_another():
    """Side by side in one plane, or one over the other: outside diameter and spacing (closed form)."""
    kind = fed(5.0, 1.0, angle=90.0, cut=0.0)
    one = kind.rows()
    assert least_shift(one, one, np.array([1.0, 0.0, 0.0]), 99.0, 1.5) == pytest.approx(
        7.0 + 1.5, abs=2 * CLOSE
    )
    assert least_shift(one, one, np.array([0.0, 0.0, 1.0]), 99.0, 1.5) == pytest.approx(
        1.0 + 1.5, abs=2 * CLOSE
    )


def test_no_shift_where_there_is_room_anyway():
    kind = fed()
    one, two = placed_rows(kind.rows(), np.stack([np.eye(3)] * 2), np.array([[0.0] * 3, [0.0, 0.0, 20.0]]))
    assert least_shift(one, two, np.array([0.0, 0.0, 1.0]), 99.0, 1.0) == 0.0


@pytest.mark.parametrize("opened", [0.0, 1.0, 2.5])
@pytest.mark.parametrize("angle", [40.0, 60.0, 90.0])
def test_the_solid_is_within_the_curves_that_stand_for_it(opened, angle):
    """No point of ring and feeder is farther from circle and feeder axis than their wires are thick."""
    kind = fed(5.0, 1.0, angle=angle, opened=opened)
    rows = kind.rows()
    points = mesh_of_solid(kind.solid(0.005)).vertices
    # What is outside the main: its axis runs through (0, stand, 0) in the plane of the ring.
    axis = np.array([-np.sin(kind.angle), -np.cos(kind.angle), 0.0])
    from_main = np.linalg.norm(np.cross(points - [0.0, kind.stand, 0.0], axis), axis=1)
    points = points[from_main >= kind.main_radius]
    off = np.min(
        [cKDTree(sampled(rows[k], 20_000)).query(points)[0] - rows[k, 11] for k in (CIRCLE, FEEDER, FILLET)],
        axis=0,
    )
    # The small fillet at the ring is all that is beyond.
    beyond = points[off > 1e-4]
    assert off.max() < 0.2 * kind.feeder_radius
    assert (np.hypot(beyond[:, 0], beyond[:, 1] - kind.radius) < 2.0 * kind.feeder_radius).all()


@pytest.mark.parametrize("opened", [0.0, 1.0])
def test_ring_and_feeder_are_one_body(opened):
    for cut, genus in ((0.0, 1), (0.5, 0)):
        if opened and not cut:
            continue
        solid = fed(cut=cut, opened=opened).solid(0.01)
        assert shell_count(solid) == 1
        assert solid.genus() == genus


def test_feeder_is_as_long_as_told_or_as_needed():
    """From main to ring, and the ring off the main by the spacing at the least."""
    assert fed().free == 3.0
    assert fed(sprues=Sprues(length=7.0)).free == 7.0
    steep = fed(30.0, 1.0, angle=30.0, cut=0.0)
    out = steep.stand * np.sin(radians(30.0)) - steep.outside - 2.0
    assert steep.free > 3.0
    assert out == pytest.approx(1.0, abs=1e-12)


def test_finishing_makes_wire_and_feeder_thicker():
    plain, more = fed(), fed(finishing=0.2)
    assert more.size.wire_diameter == pytest.approx(1.2)
    assert more.feeder_radius / plain.feeder_radius == pytest.approx(1.2)
    assert 2.0 * pi * more.size.radius == pytest.approx(2.0 * pi * plain.size.radius)


def test_main_no_thicker_than_its_feeder():
    with pytest.raises(CannotPrepare, match=r"the main is 1 mm thick and the feeder of ring link 1 mm"):
        fed(main=1.0)
    assert fed(main=1.01).flare == pytest.approx(0.005)
