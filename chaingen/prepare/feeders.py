"""Feeders to the rods of one side of a piece: the ways of each shell, and which of them it gets.

Ways of different shells may not come within the gap of one another, but near their rods, where feeders may
run together, for all that is cut off. They are given out to the shells with the fewest left first, the best
way that is left to each: what a way takes from others is then least likely to be the last.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

import numba
import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from chaingen.design.service import Sprues
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.distance import rows_gap
from chaingen.geometry.shapes import COLUMNS, FIRST, ORIGIN, REAL, SPAN, WIRE
from chaingen.geometry.types import Floats, Ints
from chaingen.geometry.wire_distance import MOST_NEAREST
from chaingen.prepare.reach import (
    COST,
    END,
    FOOT,
    LENGTH,
    PER_FOOT,
    START,
    WAY_COLUMNS,
    WIDEST_LEAN,
    Curves,
    Feet,
    feet_of,
    find_ways,
    spheres,
    turned_rows,
)
from chaingen.prepare.sprues import Bar
from chaingen.prepare.welds import Weld

KEPT = 60
"""Ways kept of each shell to choose from, the best first."""

FLAT = 0.2
"""Cosine of the angle between a feeder and the way out of a bend under which the bend counts as straight."""


@dataclass(frozen=True, eq=False)
class Feeder:
    """A straight feeder.

    Attributes:
        body: Index of the body that it meets.
        start: Where it begins, on the axis of a rod [mm], shape (3,).
        end: Where it ends, on the body's centreline [mm], shape (3,).
        diameter: Its diameter [mm].
        main: The rod.
        wire: The body's wire where the feeder meets it.
    """

    body: int
    start: Floats
    end: Floats
    diameter: float
    main: Bar
    wire: Bar


@dataclass(frozen=True, eq=False)
class Side:
    """A side of the piece that rods lie on.

    Attributes:
        frame: Its axes u (along rods), v (across) and w (away from the piece) as rows, shape (3, 3).
        rods: Where rods are along v [mm].
        height: Where they are along w [mm].
        main: Diameter of the rods [mm].
        low: Where the piece begins along u [mm].
        high: Where it ends [mm].
    """

    frame: Floats
    rods: Floats
    height: float
    main: float
    low: float
    high: float

    def point(self, u: float, v: float) -> Floats:
        """A point at the height of the rods [mm], shape (3,)."""
        return np.asarray(np.array([u, v, self.height]) @ self.frame)


class ShellCurves:
    """The shells of a piece and their curves."""

    def __init__(self, bodies: Bodies, cluster: Ints, welds: Sequence[Weld]) -> None:
        """Sort the curves by shell.

        Args:
            bodies: The bodies.
            cluster: The shell of each, shape (n,).
            welds: The welds between them.
        """
        curves = Curves.of(bodies)
        rods = np.array([weld.row() for weld in welds]).reshape(-1, COLUMNS)
        of_welds = np.array([weld.pair[0] for weld in welds], dtype=np.int64)
        self.curves = np.concatenate([curves.rows, rods])
        self.body = np.concatenate([curves.body, of_welds])
        self.is_weld = np.arange(len(self.curves)) >= len(curves.rows)
        self.of = cluster[self.body]
        order = np.argsort(self.of, kind="stable")
        self._order, count = order, int(cluster.max()) + 1
        self._begins = np.searchsorted(self.of[order], np.arange(count + 1))
        self.first = [int(k) for k in np.unique(cluster, return_index=True)[1]]
        self.balls = spheres(self.curves)

    def __len__(self) -> int:
        return len(self.first)

    def own(self, shell: int) -> Ints:
        """Which curves are of a shell."""
        return np.asarray(self._order[self._begins[shell] : self._begins[shell + 1]])


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways of a shell: rows as in `reach` in the frame of a side, feet in the world, thickness [mm]."""

    ways: Floats
    feet: Feet
    diameter: float

    def wire(self, way: int, along: Floats) -> Bar:
        """The wire where a way along a unit vector in the world, shape (3,), leaves it."""
        foot = int(self.ways[way, FOOT])
        # The bend as it is seen along the way: of a ring that the way leaves sideways it is flatter.
        square, bend = float(self.feet.outward[foot] @ along), float(self.feet.bends[foot])
        seen = bend / square if square > FLAT else 0.0
        return Bar(self.feet.tangents[foot], 2.0 * self.feet.wire, seen)


def ways_of(shells: ShellCurves, shell: int, side: Side, sprues: Sprues, gap: float, slack: float) -> Ways:
    """The best ways of a shell to the rods of a side.

    Args:
        shells: All shells.
        shell: The number of the shell.
        side: The side.
        sprues: Sizes of feeders.
        gap: Gap to keep from all wires but its own, and from its own beyond the foot [mm].
        slack: What of the gap may be missing [mm].
    """
    own = shells.own(shell)
    wires = own[~shells.is_weld[own]]
    feet = feet_of(shells.curves[wires], shells.body[wires])
    points, tangents = feet.points @ side.frame.T, feet.tangents @ side.frame.T
    diameter = sprues.feeder(2.0 * feet.wire)
    # Feeders stay in an upright block round the shell, as wide as they lean; what is beside it is no bar.
    lean = WIDEST_LEAN * (side.height - points[:, 2].min()) + 0.5 * diameter + gap
    centres, reach = shells.balls[:, :3] @ side.frame.T, shells.balls[:, 3]
    near = (shells.of != shell) & (centres[:, 2] + reach >= points[:, 2].min() - 0.5 * diameter - gap)
    for k in range(2):
        near &= centres[:, k] + reach >= points[:, k].min() - lean
        near &= centres[:, k] - reach <= points[:, k].max() + lean
    room = np.empty((len(points) * PER_FOOT, WAY_COLUMNS))
    count = find_ways(
        np.ascontiguousarray(points), np.ascontiguousarray(tangents),
        turned_rows(shells.curves[own], side.frame), turned_rows(shells.curves[near], side.frame),
        side.rods, side.height, side.low, side.high, 0.5 * diameter, gap, slack, room,
    )  # fmt: skip
    found = room[:count]
    return Ways(found[np.argsort(found[:, COST], kind="stable")[:KEPT]], feet, diameter)


@dataclass(frozen=True, eq=False)
class Chosen:
    """A feeder given to a shell.

    Attributes:
        feeder: The feeder.
        row: The part of it that keeps clear of others, as a straight wire; columns as in `shapes`.
    """

    feeder: Feeder
    row: Floats


def choose(
    shells: Sequence[int], ways: Sequence[Ways], side: Side, taken: Iterable[Floats], gap: float
) -> dict[int, Chosen]:
    """Give each shell a way that crosses no other that is given out; see the module.

    Args:
        shells: Numbers of the shells.
        ways: Ways of each.
        side: The side that their rods are on.
        taken: Feeders given out before, as straight wires, shape (COLUMNS,) each.
        gap: Gap between feeders [mm].

    Returns:
        The feeder of each shell that got one.
    """
    of = np.repeat(np.arange(len(shells)), [len(each.ways) for each in ways])
    if not len(of):
        return {}
    every = np.concatenate([each.ways for each in ways])
    diameters = np.repeat([each.diameter for each in ways], [len(each.ways) for each in ways])
    frame = side.frame
    starts, ends = every[:, START] @ frame, every[:, END] @ frame
    rows = _way_rows(starts, ends, every[:, LENGTH], diameters, 0.5 * side.main)
    middles, halves = rows[:, ORIGIN] + 0.5 * rows[:, SPAN, None] * rows[:, FIRST], 0.5 * rows[:, SPAN]
    tree, widest = cKDTree(middles), float((halves + rows[:, WIRE]).max())
    free = np.ones(len(of), dtype=bool)
    found = np.empty((MOST_NEAREST, 2, 3))

    def close(row: Floats) -> Ints:
        """The free ways that cross one."""
        reach = 0.5 * row[SPAN] + row[WIRE] + widest + gap
        near = np.array(
            tree.query_ball_point(row[ORIGIN] + 0.5 * row[SPAN] * row[FIRST], reach), dtype=np.int64
        )
        near = np.sort(near[free[near]])
        return np.asarray(near[_cross(row, rows, near, gap, found)])

    for row in taken:
        free[close(row)] = False
    left = np.bincount(of[free], minlength=len(shells))
    begins = np.searchsorted(of, np.arange(len(shells) + 1))
    queue = [(int(count), k) for k, count in enumerate(left) if count]
    heapify(queue)
    chosen: dict[int, Chosen] = {}
    while queue:
        count, k = heappop(queue)
        if shells[k] in chosen or count != left[k] or not count:
            continue
        own = np.arange(begins[k], begins[k + 1])
        way = int(own[free[own]][0])
        free[own] = False
        wire = ways[k].wire(way - int(begins[k]), rows[way, FIRST])
        body = int(ways[k].feet.bodies[int(every[way, FOOT])])
        feeder = Feeder(body, starts[way], ends[way], float(diameters[way]), Bar(frame[0], side.main), wire)
        chosen[shells[k]] = Chosen(feeder, rows[way])
        lost = close(rows[way])
        free[lost] = False
        for other, times in zip(*np.unique(of[lost], return_counts=True), strict=True):
            left[other] -= times
            heappush(queue, (int(left[other]), int(other)))
    return chosen


def _way_rows(starts: Floats, ends: Floats, lengths: Floats, diameters: Floats, main: float) -> Floats:
    """Ways as straight wires, from their foot to where they come near their rod."""
    rows = np.zeros((len(starts), COLUMNS))
    along = (starts - ends) / lengths[:, None]
    rows[:, ORIGIN], rows[:, FIRST] = ends, along
    rows[:, SPAN] = np.maximum(lengths - main - diameters, 0.5 * lengths)
    rows[:, WIRE], rows[:, REAL] = 0.5 * diameters, 1.0
    return rows


@numba.njit(cache=True)
def _cross(row: Floats, rows: Floats, which: Ints, gap: float, found: Floats) -> npt.NDArray[np.bool_]:
    """Which of some straight wires come nearer to one than a gap [mm], as a mask."""
    out = np.zeros(len(which), dtype=np.bool_)
    one = row.reshape(1, -1)
    nearest = np.empty((2, 3))
    for m in range(len(which)):
        out[m] = rows_gap(one, rows[which[m] : which[m] + 1], found, nearest) < gap
    return out
