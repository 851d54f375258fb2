"""The picture of how supple a chain is: its tightest circle in either plane, and its twist, side by side."""

from math import cos, pi, sin
from pathlib import Path

import numpy as np

from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.show.camera import View, framed
from chaingen.show.look import Look
from chaingen.show.picture import draw_views
from chaingen.solve.supple import Supple

APART = 0.7
"""Room between the parts of the picture, in outside diameters of the largest ring."""


def _turned(rings: Bodies, angle: float) -> Bodies:
    """Rings turned about z [rad]."""
    c, s = cos(angle), sin(angle)
    matrix = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    return rings.turned(matrix)


def supple_view(found: Supple) -> tuple[Bodies, View]:
    """The three parts, the bends above and the twist below, and the view of them."""
    parts = []
    edge = 0.0
    gap = APART * 2.0 * float((found.twisted.radii + found.twisted.wire_radii).max())
    for bend in found.bends:
        # An arc opens downwards, like a bridge.
        middle = bend.rings.centres.mean(axis=0)
        upright = _turned(
            bend.rings,
            0.5 * pi - float(np.arctan2(middle[1], middle[0])) if np.isfinite(bend.radius) else 0.0,
        )
        low, high = upright.bounds()
        parts.append(upright.moved(np.array([edge - low[0], -low[1], 0.0])))
        edge += high[0] - low[0] + gap
    width = edge - gap
    low, high = found.twisted.bounds()
    below = np.array([0.5 * width - 0.5 * (low[0] + high[0]), -gap - high[1], 0.0])
    rings = concatenate([*parts, found.twisted.moved(below)])
    view = framed("supple", rings, np.array([0.0, 0.12, 1.0]), np.array([0.0, 1.0, 0.0]))
    return rings, view


def shown_rings(found: Supple) -> tuple[int, ...]:
    """How many rings of repeated cells each part of the picture shows, the bends first, the twist last."""
    return (*(len(bend.rings) for bend in found.bends), len(found.twisted))


def draw_supple(folder: Path, found: Supple, *, look: Look) -> list[Path]:
    """Draw how supple a chain is as supple.png.

    Args:
        folder: Where the picture goes.
        found: What was found.
        look: The look of the rings of repeated cells in a row, as many as the longest part shows; see
            `shown_rings`.

    Raises:
        CannotDraw: Pictures cannot be drawn here.
        CannotWrite: The file cannot be written.
    """
    rings, view = supple_view(found)
    row = np.concatenate([np.arange(count) for count in shown_rings(found)])
    return draw_views(folder, rings, [view], look=look[row])
