"""Where the camera stands: parallel views that fill the frame with the piece."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats

LONG_SIDE = 1600
"""Pixels of a picture's long side."""

SHORT_SIDE = 420, 1600
"""Fewest and most pixels of the short side, which follows the piece's shape between them."""

MARGIN = 0.07
"""Free border as part of the piece's extent on either side."""

STAND_OFF = 6.0
"""Distance of the camera beyond the piece, in sizes of the frame. Size does not change with distance in a
parallel view, but what a ring mirrors does: from close by, alike rings would look bright in the middle and
dark at the ends."""

FOOT = 84
"""Pixels at the foot of a picture that are kept free for the scale bar."""


CLOSE = 9
"""Bodies that a close-up fills the frame with at most."""


@dataclass(frozen=True, eq=False)
class View:
    """A parallel view.

    Attributes:
        name: File name without its ending.
        focus: Point in the middle of the picture [mm].
        towards: Unit vector from the focus to the camera.
        up: Unit vector that is up in the picture.
        width: Pixels.
        height: Pixels.
        half_height: Half of the height that the picture shows [mm].
        depth: Distance of the camera from the focus, beyond all bodies [mm].
        plain_foot: Whether the foot is plain paper, so that the scale bar stands clear of what reaches there.
    """

    name: str
    focus: Floats
    towards: Floats
    up: Floats
    width: int
    height: int
    half_height: float
    depth: float
    plain_foot: bool = False

    @property
    def mm_per_pixel(self) -> float:
        """Scale of the picture, the same everywhere in it."""
        return 2.0 * self.half_height / self.height

    def sees(self, bodies: Bodies) -> npt.NDArray[np.bool_]:
        """Which bodies reach into the frame, shape (n,)."""
        seen = np.ones(len(bodies), dtype=bool)
        half_width = 0.5 * self.width * self.mm_per_pixel
        for axis, half_frame in ((np.cross(self.up, self.towards), half_width), (self.up, self.half_height)):
            low, high = _reach(bodies, axis)
            middle = self.focus @ axis
            seen &= (low < middle + half_frame) & (high > middle - half_frame)
        return seen

    def foot_holds(self, bodies: Bodies) -> npt.NDArray[np.bool_]:
        """Which bodies reach into the foot, where the scale bar is, shape (n,)."""
        low, _ = _reach(bodies, self.up)
        top = self.focus @ self.up - self.half_height + FOOT * self.mm_per_pixel
        return np.asarray(self.sees(bodies) & (low < top))


def _unit(v: Floats) -> Floats:
    return np.asarray(v / np.linalg.norm(v))


def _reach(bodies: Bodies, axis: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest place of each body along a unit vector [mm], exact."""
    middle, high = bodies.centres @ axis, bodies.reach(axis)
    return middle - (high if bodies.all_rings else bodies.reach(-axis)), middle + high


def extent(bodies: Bodies, axis: Floats) -> tuple[float, float]:
    """Exact extent of the bodies along a unit vector [mm]."""
    low, high = _reach(bodies, axis)
    return float(low.min()), float(high.max())


def framed(name: str, bodies: Bodies, towards: Floats, up: Floats, shown: Bodies | None = None) -> View:
    """A view that fills the frame with `shown` (all bodies by default).

    Args:
        name: Its name.
        bodies: All bodies: the camera stands beyond them.
        towards: Direction from the piece to the camera.
        up: What should be up; need not be square to `towards`.
        shown: The bodies to fill the frame with.
    """
    shown = bodies if shown is None else shown
    towards = _unit(towards)
    right = _unit(np.cross(up, towards))
    up = np.cross(towards, right)
    (x0, x1), (y0, y1) = extent(shown, right), extent(shown, up)
    z0, z1 = extent(bodies, towards)
    wide, high = (x1 - x0) * (1.0 + 2.0 * MARGIN), (y1 - y0) * (1.0 + 2.0 * MARGIN)
    low, most = SHORT_SIDE
    if wide >= high:
        width, height = LONG_SIDE, int(np.clip(round(LONG_SIDE * high / wide) + FOOT, low, most))
    else:
        width, height = int(np.clip(round((LONG_SIDE - FOOT) * wide / high), low, most)), LONG_SIDE
    mm_per_pixel = max(wide / width, high / (height - FOOT))
    # The foot of the picture is the scale bar's: the piece sits in the middle of what is left.
    middle_up = 0.5 * (y0 + y1) - 0.5 * FOOT * mm_per_pixel
    half_height = 0.5 * height * mm_per_pixel
    focus = 0.5 * (x0 + x1) * right + middle_up * up + 0.5 * (z0 + z1) * towards
    depth = (z1 - z0) + STAND_OFF * max(wide, high)
    return View(name, focus, towards, up, width, height, half_height, depth)


def close_count(bodies: Bodies) -> int:
    """How many bodies a close-up fills the frame with."""
    # Findings are large: of a short piece half its bodies, or a close-up would show all of it once more.
    return min(CLOSE, len(bodies) if bodies.all_rings else -(-len(bodies) // 2))


def four_views(bodies: Bodies, focus: Floats) -> list[View]:
    """Front, side, three-quarter and close-up views.

    Args:
        bodies: The bodies; an open run lies along x.
        focus: The place the close-up is about [mm], shape (3,).
    """
    up, back = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
    low, high = bodies.bounds()
    long = (high - low)[0] > 1.5 * (high - low)[1:].max()
    slant = np.array([-0.9, 0.55, 0.75]) if long else np.array([0.55, 0.5, 0.8])
    near = np.linalg.norm(bodies.centres - focus, axis=1)
    count = close_count(bodies)
    reach = np.sort(near)[count - 1]
    close = bodies[near <= reach + 1e-9]
    closest = framed("close-up", bodies, np.array([-0.35, 0.45, 1.0]), up, close)
    return [
        framed("front", bodies, back, up),
        framed("side", bodies, up, -back),
        framed("three-quarter", bodies, slant, up),
        # The rest of the piece may run through the scale bar.
        replace(closest, plain_foot=bool(closest.foot_holds(bodies).any())),
    ]
