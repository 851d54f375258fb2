"""A loose ring on its feeder, and how near rings and feeders of a tree or a comb come to one another.

A ring's frame: its middle is the origin and its axis z; the feeder comes from +y, square to the wire, and the
cut is at -y, farthest from it. The axis of the main that the feeder leaves lies in the plane of the ring.

Of an opened ring the distances are those of a closed one round it: as far as its ends stand up, its wire is
taken as thicker. Fillets are taken as thicker feeders that end round. What keeps clear of these keeps clear.
"""

from dataclasses import dataclass
from math import cos, hypot, pi, radians, sin

import numba
import numpy as np

from chaingen.design.service import Service, Sprues
from chaingen.geometry.primitives import primitive_sphere
from chaingen.geometry.shapes import COLUMNS, FIRST, ORIGIN, RADIUS, SECOND, SPAN, WIRE
from chaingen.geometry.types import Floats
from chaingen.geometry.wire_distance import MOST_NEAREST, apart, primitive_minima
from chaingen.model.open_ring import coil_of, open_radius, open_ring_mesh
from chaingen.model.solids import Solid, joined, solid_of
from chaingen.prepare.loose import CannotPrepare, opened_size
from chaingen.prepare.sprues import FLARE, FLARE_AT_PIECE, Bar, feeder
from chaingen.units import format_mm
from chaingen.weave.groups import RingSize

CIRCLE, FEEDER, FILLET, FOOT = range(4)
"""Rows of a ring on its feeder: the middle of its wire; of its feeder; of the fillet at the main; of the
feeder as thick as that fillet, from the main's surface, which only other feeders keep clear of."""

COARSEST = 0.5
"""Farthest the mesh of a fed ring may lie from the true surface, over the radius of its wire: where a coarser
one has a chord it would miss its feeder, which ends above the middle of the wire."""

CLOSE = 1e-5
"""Distances are kept to within this [mm]."""

MOST_STEPS = 100_000
"""Steps in which a shift is looked for."""


@dataclass(frozen=True, slots=True)
class FedRing:
    """A ring size on its feeder; lengths in mm.

    Attributes:
        size: The ring size as it is cast, closed.
        cut: Width of its cut.
        opened: How far its ends stand apart sideways.
        radius: Radius of the middle of the wire of the open ring.
        feeder_radius: Radius of the feeder.
        flare: Radius of the fillet at the main.
        free: Free length of the feeder between main and ring.
        angle: Angle between feeder and main [rad].
        main_radius: Radius of the main.
    """

    size: RingSize
    cut: float
    opened: float
    radius: float
    feeder_radius: float
    flare: float
    free: float
    angle: float
    main_radius: float

    @property
    def wire_radius(self) -> float:
        """Radius of the wire of the closed ring that is round it [mm]."""
        return self.size.wire_radius + 0.5 * self.opened

    @property
    def outside(self) -> float:
        """Outer radius of the same [mm]."""
        return self.radius + self.wire_radius

    @property
    def stand(self) -> float:
        """From the axis of the main to the middle of the ring, along the feeder [mm]."""
        return self.main_radius / sin(self.angle) + self.free + self.size.wire_radius + self.radius

    @property
    def mouth(self) -> float:
        """How far along the main a feeder's axis goes on between the main's axis and its surface [mm]."""
        return self.main_radius * cos(self.angle) / sin(self.angle)

    @property
    def foot(self) -> float:
        """Half of what its fillet takes of the main, along the main [mm]."""
        return (self.feeder_radius + self.flare) / sin(self.angle)

    def rows(self) -> Floats:
        """The curves that distances are measured between, in the ring's frame, shape (4, COLUMNS)."""
        rows = np.zeros((4, COLUMNS))
        rows[CIRCLE, FIRST], rows[CIRCLE, SECOND] = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0)
        rows[CIRCLE, RADIUS], rows[CIRCLE, SPAN], rows[CIRCLE, WIRE] = self.radius, 2.0 * pi, self.wire_radius
        surface = self.main_radius / sin(self.angle)
        wide = self.feeder_radius + self.flare
        # The lower lip of a leaning fillet is nearer the main's middle than its axis at the surface.
        lip = wide * cos(self.angle) / sin(self.angle)
        length = self.stand - surface - self.radius
        for row, begin, far, radius in (
            (FEEDER, surface, length, self.feeder_radius),
            (FILLET, surface - lip, lip + self.flare / sin(self.angle), wide),
            (FOOT, surface, length, wide),
        ):
            rows[row, ORIGIN], rows[row, FIRST] = (0.0, self.stand - begin, 0.0), (0.0, -1.0, 0.0)
            rows[row, SPAN], rows[row, WIRE] = far, radius
        return rows

    def ring(self, tolerance: float) -> Solid:
        """The ring alone in its frame, never too coarse for its feeder to meet it; see `open_ring_mesh`."""
        fine = min(tolerance, COARSEST * self.size.wire_radius)
        return solid_of(open_ring_mesh(self.size, cut=self.cut, opened=self.opened, tolerance=fine))

    def feeder(self, tolerance: float) -> Solid:
        """Its feeder alone in the same frame, buried in the main and in the ring."""
        # Seen from a ring that stands on a tree, the main goes up along -x, and the more along -y it leans.
        main = Bar(np.array([-sin(self.angle), -cos(self.angle), 0.0]), 2.0 * self.main_radius)
        rise = coil_of(self.size, self.cut, self.opened).rise
        tangent = np.array([-self.radius, 0.0, rise]) / hypot(self.radius, rise)
        wire = Bar(tangent, self.size.wire_diameter, self.radius)
        return feeder(
            np.array([0.0, self.stand, 0.0]), np.array([0.0, self.radius, 0.0]), 2.0 * self.feeder_radius,
            main=main, wire=wire, tolerance=tolerance,
        )  # fmt: skip

    def solid(self, tolerance: float) -> Solid:
        """The ring and its feeder as one."""
        return joined([self.ring(tolerance), self.feeder(tolerance)])


def fed_ring(size: RingSize, service: Service, sprues: Sprues, main: float, angle: float) -> FedRing:
    """A ring size on its feeder.

    The feeder is as long as the design says, or as it must be to keep the ring clear of the main and to have
    room for its fillets.

    Args:
        size: The ring size as finished.
        service: The service.
        sprues: Its sprues.
        main: Diameter of the main [mm].
        angle: Angle between feeder and main [rad].

    Raises:
        CannotPrepare: The ring cannot be cut open so, or the main is no thicker than the feeder.
    """
    cast = opened_size(size, service)
    radius = open_radius(cast, service.cut, service.opened)
    thick = 0.5 * sprues.feeder(cast.wire_diameter)
    if 0.5 * main <= thick:
        raise CannotPrepare(
            f"the main is {format_mm(main)} thick and the feeder of ring {size.name} "
            f"{format_mm(2.0 * thick)}: it would set before the rings are full; make the main thicker"
        )
    # Opposite feeders on a thin main must not share their fillets.
    flare = min(FLARE * thick, 0.5 * main - thick)
    ring_outside = radius + cast.wire_radius + 0.5 * service.opened
    clear = (ring_outside + service.spacing) / sin(angle) - (radius + cast.wire_radius)
    fillets = 1.3 * (flare + FLARE_AT_PIECE * thick + thick * cos(angle)) / sin(angle)
    free = max(sprues.length, clear, fillets)
    return FedRing(cast, service.cut, service.opened, radius, thick, flare, free, angle, 0.5 * main)


def thickest_wire(sizes: list[RingSize], service: Service) -> float:
    """The thickest wire of ring sizes as cast [mm]."""
    return max(opened_size(size, service).wire_diameter for size in sizes)


def angle_of(sprues: Sprues) -> float:
    """Angle between feeders and the main of a tree [rad]."""
    return radians(sprues.angle)


def placed_rows(rows: Floats, rotations: Floats, centres: Floats) -> Floats:
    """Rows of rings where they stand, shape (n, 4, COLUMNS).

    Args:
        rows: Rows of each ring in its frame, shape (n, 4, COLUMNS) or (4, COLUMNS) for all.
        rotations: Rotation from each ring's frame, shape (n, 3, 3).
        centres: Middle of each ring [mm], shape (n, 3).
    """
    out = np.array(np.broadcast_to(rows, (len(centres), 4, COLUMNS)))
    for part in (ORIGIN, FIRST, SECOND):
        out[:, :, part] = np.einsum("nij,nkj->nki", rotations, out[:, :, part])
    out[:, :, ORIGIN] += centres[:, None]
    return out


@numba.njit(cache=True)
def _gap(a: Floats, b: Floats, least: float, points: Floats) -> float:
    """Gap of two curves' wires [mm] if it is under `least`, else `least`."""
    ax, ay, az, ar = primitive_sphere(a)
    bx, by, bz, br = primitive_sphere(b)
    between = np.sqrt((ax - bx) ** 2 + (ay - by) ** 2 + (az - bz) ** 2) - ar - br - a[WIRE] - b[WIRE]
    if between >= least:
        return least
    count = primitive_minima(a, b, points)
    for m in range(count):
        gap = apart(points[m]) - a[WIRE] - b[WIRE]
        if gap < least:
            least = gap
    return least


@numba.njit(cache=True)
def _clearance(a: Floats, b: Floats, spacing: float, least: float, points: Floats) -> float:
    """How much more room than asked two rings on their feeders have [mm], or `least` where that is less.

    Rings keep `spacing` from one another and from the other's feeder; feeders keep their fillets apart.
    """
    for i, j in ((CIRCLE, CIRCLE), (CIRCLE, FEEDER), (FEEDER, CIRCLE), (CIRCLE, FILLET), (FILLET, CIRCLE)):
        least = _gap(a[i], b[j], least + spacing, points) - spacing
    return _gap(a[FOOT], b[FOOT], least, points)


@numba.njit(cache=True)
def _shift(a: Floats, b: Floats, direction: Floats, most: float, spacing: float) -> float:
    """See `least_shift`."""
    points = np.empty((MOST_NEAREST, 2, 3))
    moved = b.copy()
    shift = most
    for _ in range(MOST_STEPS):
        for row in range(4):
            for k in range(3):
                moved[row, k] = b[row, k] + shift * direction[k]
        room = _clearance(a, moved, spacing, np.inf, points)
        if room <= CLOSE:
            return shift
        shift -= room
        if shift <= 0.0:
            return 0.0
    return shift


def least_shift(a: Floats, b: Floats, direction: Floats, most: float, spacing: float) -> float:
    """The least shift of the second ring from which on, up to `most`, both have room; 0 if always.

    No distance changes by more than the shift, so one may go on by as much as there is room to spare.

    Args:
        a: Rows of one ring on its feeder, shape (4, COLUMNS).
        b: Rows of the other before it is shifted, likewise.
        direction: Where it is shifted to, a unit vector, shape (3,).
        most: A shift at which both have room [mm].
        spacing: Least room between loose rings [mm].
    """
    return float(_shift(a, b, np.asarray(direction, dtype=np.float64), most, spacing))


@numba.njit(cache=True)
def _least_of_all(rows: Floats, spacing: float) -> tuple[float, int, int]:
    """See `tightest`."""
    points = np.empty((MOST_NEAREST, 2, 3))
    least = np.inf
    one = other = -1
    for i in range(len(rows)):
        for j in range(i):
            room = _clearance(rows[i], rows[j], spacing, least, points)
            if room < least:
                least = room
                one = j
                other = i
    return least, one, other


def tightest(rows: Floats, spacing: float) -> tuple[float, int, int]:
    """How much more room than asked the two rings have that have least, and which; infinite for one ring.

    Args:
        rows: Rows of all rings where they stand, shape (n, 4, COLUMNS).
        spacing: Least room between loose rings [mm].
    """
    least, one, other = _least_of_all(rows, spacing)
    return float(least), int(one), int(other)


def room_beside(rows: Floats, bars: Floats, spacing: float) -> float:
    """How much more room than asked the ring has that is nearest to straight bars with round ends [mm].

    Args:
        rows: Rows of all rings where they stand, shape (n, 4, COLUMNS).
        bars: Begin, end and radius of each bar [mm], shape (m, 7).
        spacing: Least room between a loose ring and what does not feed it [mm].
    """
    straights = np.zeros((len(bars), COLUMNS))
    ways = bars[:, 3:6] - bars[:, :3]
    lengths = np.linalg.norm(ways, axis=1)
    straights[:, ORIGIN], straights[:, FIRST] = bars[:, :3], ways / lengths[:, None]
    straights[:, SPAN], straights[:, WIRE] = lengths, bars[:, 6]
    return float(_least_beside(np.ascontiguousarray(rows[:, CIRCLE]), straights)) - spacing


@numba.njit(cache=True)
def _least_beside(circles: Floats, straights: Floats) -> float:
    points = np.empty((MOST_NEAREST, 2, 3))
    least = np.inf
    for i in range(len(circles)):
        for j in range(len(straights)):
            least = _gap(circles[i], straights[j], least, points)
    return least
