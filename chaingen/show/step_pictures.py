"""Pictures of the steps: the piece as it is once the step is made, what is new with it told apart.

What is closed at the step is deep blue, what is taken up with it light orange: the two differ in hue for
every kind of eye, and so much in lightness that they differ in print without colour. The rest shows its
metal, paler than it is. Bodies of the step carry their names.
"""

from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Ints
from chaingen.make.order.steps import Order, Step
from chaingen.make.result import Result
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.look import Colour, Look, look_of
from chaingen.show.picture import BEAD_LIGHT, PIXEL_TOLERANCE, add_bodies, body_surface, dress, photograph
from chaingen.show.step_names import write_names
from chaingen.show.step_views import HEIGHT, WIDTH, step_view
from chaingen.show.studio import BACKGROUND_TOP

MOST_PICTURES = 60
"""Steps that are drawn at most."""

CLOSED: Colour = (0.03, 0.22, 0.62)
"""sRGB of what is closed at the step."""

ADDED: Colour = (1.0, 0.60, 0.10)
"""sRGB of what is taken up with it."""

PALER = 0.45
"""How far the colour of the rest goes to that of the paper."""

ROUGHNESS = 0.45
"""Of what is highlighted: matt enough to keep its colour among metal that mirrors."""


def draw_steps(
    folder: Path,
    result: Result,
    order: Order,
    *,
    most: int = MOST_PICTURES,
    on_progress: Callable[[str], None] | None = None,
) -> tuple[Path | None, ...]:
    """Draw each distinct step of an order of work as a PNG file.

    Args:
        folder: Where the pictures go, named ``step-1.png`` and so on.
        result: The placed piece.
        order: Its order of work.
        most: How many are drawn at most.
        on_progress: Told the name of each picture before it is drawn.

    Returns:
        The picture of each of `Order.distinct`; None of those beyond the most.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: A file cannot be written.
    """
    graph, bodies = result.placement.graph, result.placement.rings
    drawn = order.distinct[:most]
    if not drawn:
        return ()
    look = paler(look_of(result.metals, graph))
    first = _first_made(order, len(bodies))
    pv = pyvista_off_screen()
    plotter: Any = None
    paths: list[Path | None] = []
    try:
        for number, place in enumerate(drawn, 1):
            name = f"step-{number}"
            if on_progress:
                on_progress(name)
            step = order.steps[place]
            made = np.flatnonzero(first <= place)
            view = step_view(name, bodies, made, step)
            if plotter is None:
                plotter = pv.Plotter(off_screen=True, window_size=[WIDTH, HEIGHT], lighting="none")
                dress(plotter, pv)
                plotter.enable_anti_aliasing("ssaa")
            # The studio stays: to work out its light takes longer than a picture.
            plotter.clear_actors()
            seen = made[view.sees(bodies[made])]
            # Else it would be drawn after every surface.
            plotter.suppress_rendering = True
            _add(plotter, pv, bodies, look, seen, step, PIXEL_TOLERANCE * view.mm_per_pixel)
            plotter.suppress_rendering = False
            image = photograph(plotter, view)
            fills = {step.body: CLOSED, **dict.fromkeys((*step.added, *step.laid), ADDED)}
            own = (step.body, *step.added, *step.laid, *step.through)
            write_names(
                image, view, bodies, [(body, graph.names[body], fills.get(body)) for body in own], seen
            )
            content = BytesIO()
            image.save(content, format="PNG", compress_level=6)
            paths.append(folder / f"{name}.png")
            with whole_file(folder / f"{name}.png") as stream:
                stream.write(content.getvalue())
    finally:
        if plotter is not None:
            plotter.close()
    return (*paths, *([None] * (len(order.distinct) - len(drawn))))


def paler(look: Look) -> Look:
    """A look on its way to the paper's colour."""

    def mixed(colour: Colour) -> Colour:
        r, g, b = (
            (1.0 - PALER) * own + PALER * paper for own, paper in zip(colour, BACKGROUND_TOP, strict=True)
        )
        return r, g, b

    beads = tuple({part: mixed(colour) for part, colour in each.items()} for each in look.beads)
    return replace(look, colours=tuple(mixed(colour) for colour in look.colours), beads=beads)


def _first_made(order: Order, count: int) -> Ints:
    """The step that each body comes with, shape (n,); one beyond the last for what no step names."""
    first = np.full(count, len(order.steps))
    for place, step in reversed(list(enumerate(order.steps))):
        first[[step.body, *step.added, *step.laid, *step.through]] = place
    return first


def _add(plotter: Any, pv: Any, bodies: Bodies, look: Look, seen: Ints, step: Step, tolerance: float) -> None:
    own = np.array([step.body, *step.added, *step.laid])
    rest = seen[~np.isin(seen, own)]
    tolerance = float(np.clip(tolerance, 0.002, 0.08 * bodies.thinnest.max()))
    if len(rest):
        add_bodies(plotter, pv, bodies[rest], look[rest], tolerance)
    for colour, marked in ((CLOSED, own[:1]), (ADDED, own[1:])):
        if len(marked):
            actor = plotter.add_mesh(
                body_surface(pv, bodies[marked], tolerance, holes=look.holes), color=colour, pbr=True,
                metallic=0.0, roughness=ROUGHNESS, smooth_shading=True, split_sharp_edges=False,
            )  # fmt: skip
            # What is no metal scatters light by its colour: linear, and not held to 1.
            actor.prop.SetColor(*(BEAD_LIGHT * np.array(colour) ** 2.2))
