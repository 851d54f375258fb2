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
        depth: Distance of the camera from the focus, beyond all rings [mm].
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

    def sees(self, rings: Bodies) -> npt.NDArray[np.bool_]:
        """Which rings reach into the frame, shape (n,)."""
        seen = np.ones(len(rings), dtype=bool)
        half_width = 0.5 * self.width * self.mm_per_pixel
        for axis, half_frame in ((np.cross(self.up, self.towards), half_width), (self.up, self.half_height)):
            middle, half = _reach(rings, axis)
            seen &= np.abs(middle - self.focus @ axis) < half_frame + half
        return seen

    def foot_holds(self, rings: Bodies) -> npt.NDArray[np.bool_]:
        """Which rings reach into the foot, where the scale bar is, shape (n,)."""
        middle, half = _reach(rings, self.up)
        top = self.focus @ self.up - self.half_height + FOOT * self.mm_per_pixel
        return np.asarray(self.sees(rings) & (middle - half < top))


def _unit(v: Floats) -> Floats:
    return np.asarray(v / np.linalg.norm(v))


def _reach(rings: Bodies, axis: Floats) -> tuple[Floats, Floats]:
    """Middle and half extent of each ring along a unit vector [mm]: R |axis across the normal| + r, exact."""
    half = rings.radii * np.sqrt(np.clip(1.0 - (rings.normals @ axis) ** 2, 0.0, 1.0)) + rings.wire_radii
    return rings.centres @ axis, np.asarray(half)


def extent(rings: Bodies, axis: Floats) -> tuple[float, float]:
    """Exact extent of the rings along a unit vector [mm]."""
    middle, half = _reach(rings, axis)
    return float((middle - half).min()), float((middle + half).max())


def framed(name: str, rings: Bodies, towards: Floats, up: Floats, shown: Bodies | None = None) -> View:
    """A view that fills the frame with `shown` (all rings by default).

    Args:
        name: Its name.
        rings: All rings: the camera stands beyond them.
        towards: Direction from the piece to the camera.
        up: What should be up; need not be square to `towards`.
        shown: The rings to fill the frame with.
    """
    shown = rings if shown is None else shown
    towards = _unit(towards)
    right = _unit(np.cross(up, towards))
    up = np.cross(towards, right)
    (x0, x1), (y0, y1) = extent(shown, right), extent(shown, up)
    z0, z1 = extent(rings, towards)
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


def four_views(rings: Bodies, focus: Floats) -> list[View]:
    """Front, side, three-quarter and close-up views.

    Args:
        rings: The rings; an open run lies along x.
        focus: The place the close-up is about [mm], shape (3,).
    """
    up, back = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
    low, high = rings.bounds()
    long = (high - low)[0] > 1.5 * (high - low)[1:].max()
    slant = np.array([-0.9, 0.55, 0.75]) if long else np.array([0.55, 0.5, 0.8])
    near = np.linalg.norm(rings.centres - focus, axis=1)
    count = min(len(rings), 9)
    reach = np.sort(near)[count - 1]
    close = rings[near <= reach + 1e-9]
    closest = framed("close-up", rings, np.array([-0.35, 0.45, 1.0]), up, close)
    return [
        framed("front", rings, back, up),
        framed("side", rings, up, -back),
        framed("three-quarter", rings, slant, up),
        # The rest of the piece may run through the scale bar.
        replace(closest, plain_foot=bool(closest.foot_holds(rings).any())),
    ]
