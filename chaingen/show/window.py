"""An interactive window: turn, pan and zoom a piece."""

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Ints
from chaingen.show.look import Look
from chaingen.show.picture import add_bodies, dress
from chaingen.show.screen import require_screen


def open_window(bodies: Bodies, *, look: Look, collided: Ints | None = None, title: str = "chaingen") -> None:
    """Show bodies in a window until it is closed.

    Args:
        bodies: The bodies.
        look: The look of every body.
        collided: Indices of bodies to show as running into others.
        title: Title of the window.

    Raises:
        CannotDraw: There is no screen to open a window on.
    """
    require_screen()
    import pyvista as pv

    plotter = pv.Plotter(title=title, lighting="none", window_size=[1280, 900])
    dress(plotter, pv)
    add_bodies(plotter, pv, bodies, look, 0.02 * float(bodies.thinnest.max()), collided)
    plotter.enable_parallel_projection()
    plotter.enable_anti_aliasing("msaa")
    plotter.add_text("drag: turn   shift+drag: move   wheel: zoom   q: close", font_size=9, color="black")
    plotter.view_xy()
    plotter.show()
