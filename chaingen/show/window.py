"""An interactive window: turn, pan and zoom a piece."""

import os
import sys

import numpy as np

from chaingen.errors import CannotDraw
from chaingen.geometry.rings import Ints, Rings
from chaingen.show.picture import Colour, add_rings, dress


def open_window(
    rings: Rings, *, colour: Colour, roughness: float, collided: Ints | None = None, title: str = "chaingen"
) -> None:
    """Show rings in a window until it is closed.

    Args:
        rings: The rings.
        colour: sRGB colour of the metal, each 0 to 1.
        roughness: Its roughness, 0 to 1.
        collided: Indices of rings to show as running into others.
        title: Title of the window.

    Raises:
        CannotDraw: There is no screen to open a window on.
    """
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        raise CannotDraw(
            "a window needs a screen, and none was found; chaingen make draws pictures without one"
        )
    import pyvista as pv

    plotter = pv.Plotter(title=title, lighting="none", window_size=[1280, 900])
    dress(plotter, pv)
    bad = np.empty(0, dtype=np.int64) if collided is None else collided
    add_rings(plotter, pv, rings, colour, roughness, bad, 0.02 * float(rings.wire_radii.max()))
    plotter.enable_parallel_projection()
    plotter.enable_anti_aliasing("msaa")
    plotter.add_text("drag: turn   shift+drag: move   wheel: zoom   q: close", font_size=9, color="black")
    plotter.view_xy()
    plotter.show()
