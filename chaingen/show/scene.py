"""Pictures, a turning view and a settling film of a piece at rest.

Gravity pulls along -z, the viewer stands at -y, x is to the right.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import Solid
from chaingen.geometry.types import Floats, Ints
from chaingen.show.camera import View, close_count, framed
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.film import draw_settling, draw_turning
from chaingen.show.look import Look
from chaingen.show.picture import draw_views
from chaingen.show.supports import surfaces

UP = np.array([0.0, 0.0, 1.0])

STILLS: dict[str, dict[str, tuple[float, float, float]]] = {
    "hang": {"front": (0.0, -1.0, 0.0), "side": (1.0, 0.0, 0.0), "close-up": (0.5, -1.0, 0.25)},
    "swag": {"front": (0.0, -1.0, 0.0), "three-quarter": (-0.75, -1.0, 0.35)},
    "table": {"above": (0.0, 0.0, 1.0), "three-quarter": (-0.55, -0.8, 0.7), "close-up": (-0.25, -0.8, 0.75)},
    "wrist": {"front": (0.0, -1.0, 0.0), "three-quarter": (0.7, -1.0, 0.45), "close-up": (0.35, -0.9, 0.7)},
    "neck": {"front": (0.0, -1.0, 0.0), "three-quarter": (0.7, -1.0, 0.3)},
    "corners": {"front": (0.0, -1.0, 0.0), "three-quarter": (-0.7, -1.0, 0.5), "close-up": (-0.4, -1.0, 0.2)},
    "edge": {"side": (0.0, -1.0, 0.0), "three-quarter": (0.9, -0.9, 0.65), "close-up": (0.7, -0.9, 0.8)},
}
"""Pictures of each kind of scene and where each is seen from."""

TALLNESS = {"hang": 0.0, "swag": 0.0, "table": 0.0, "wrist": 0.0, "neck": 0.62, "corners": 0.0, "edge": 0.0}
"""Least height of a picture over its width: a necklace without neck and shoulders is hard to read."""

ELEVATIONS = {
    "hang": 0.2,
    "swag": 0.25,
    "table": 0.6,
    "wrist": 0.3,
    "neck": 0.2,
    "corners": 0.25,
    "edge": 0.45,
}
"""How far the viewer of the turning view looks down [rad]."""

SETTLING = {
    "hang": (0.0, -1.0, 0.0),
    "swag": (0.0, -1.0, 0.1),
    "table": (0.0, -0.8, 0.9),
    "wrist": (0.0, -1.0, 0.1),
    "neck": (0.0, -1.0, 0.2),
    "corners": (-0.3, -1.0, 0.3),
    "edge": (0.8, -1.0, 0.4),
}
"""Where the settling film of each kind of scene is seen from."""


def still_views(bodies: Bodies, kind: str) -> list[View]:
    """The views of a scene's pictures.

    Args:
        bodies: The piece at rest.
        kind: The kind of scene: hang, swag, table, wrist, neck, corners or edge.
    """
    views = []
    for name, towards in STILLS[kind].items():
        up = UP if name != "above" else np.array([0.0, 1.0, 0.0])
        close = bodies[nearest_bodies(bodies, _telling(bodies, kind))] if name == "close-up" else None
        view = _taller(framed(name, bodies, np.array(towards), up, close), TALLNESS[kind])
        # A table, a bust or the rest of the piece would run through the scale bar.
        views.append(replace(view, plain_foot=name == "close-up" or kind in ("table", "neck", "edge")))
    return views


def _taller(view: View, tallness: float) -> View:
    """The view with room above and below, at least `tallness` times as high as it is wide."""
    height = max(view.height, round(tallness * view.width))
    return replace(view, height=height, half_height=0.5 * height * view.mm_per_pixel)


def _telling(bodies: Bodies, kind: str) -> Floats:
    """The place a close-up is about [mm]: what holds the piece, or its middle."""
    if kind == "edge":
        # Where the sheet goes over: farthest out and up.
        return np.asarray(bodies.centres[(bodies.centres[:, 0] + bodies.centres[:, 2]).argmax()])
    if kind in ("hang", "wrist", "corners"):
        return np.asarray(bodies.centres[bodies.centres[:, 2].argmax()])
    away = np.linalg.norm(bodies.centres - bodies.centres.mean(axis=0), axis=1)
    return np.asarray(bodies.centres[away.argmin()])


def nearest_bodies(bodies: Bodies, place: Floats) -> Ints:
    """The bodies nearest to a place, as many as a close-up shows."""
    away = np.linalg.norm(bodies.centres - place, axis=1)
    return np.argsort(away, kind="stable")[: close_count(bodies)]


def lit_upright(plotter: Any) -> None:
    """Turn the studio's light so that its zenith is over a scene and its front before it."""
    plotter.renderer.SetEnvironmentUp(0.0, 0.0, 1.0)
    plotter.renderer.SetEnvironmentRight(1.0, 0.0, 0.0)


def draw_scene(
    folder: Path,
    bodies: Bodies,
    solids: Sequence[Solid],
    kind: str,
    *,
    look: Look,
    frames: Sequence[Bodies] = (),
    on_progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Draw a piece at rest in a scene: stills with a scale bar, a full turn, and how it settled.

    Args:
        folder: Where the pictures go: PNG stills named after their views, turning.gif, and settling.gif when
            there are frames.
        bodies: The piece at rest.
        solids: What holds it.
        kind: The kind of scene: hang, swag, table, wrist, neck, corners or edge.
        look: The look of every body.
        frames: Poses on the way to rest, the last at rest; none for no film.
        on_progress: Told the name of each picture before it is drawn.

    Returns:
        The files written, stills first.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: A file cannot be written.
    """
    pv = pyvista_off_screen()
    held = surfaces(pv, solids, bodies)

    def stage(plotter: Any, _: Any) -> None:
        lit_upright(plotter)
        for surface in held:
            surface.add_to(plotter)

    say = on_progress or (lambda _: None)
    written = draw_views(
        folder, bodies, still_views(bodies, kind),
        look=look, stage=stage, on_progress=on_progress,
    )  # fmt: skip
    say("turning")
    turning = folder / "turning.gif"
    draw_turning(turning, bodies, solids, ELEVATIONS[kind], look=look, tallness=TALLNESS[kind])
    written.append(turning)
    if len(frames) > 1:
        say("settling")
        settling = folder / "settling.gif"
        draw_settling(settling, frames, solids, SETTLING[kind], look=look, tallness=TALLNESS[kind])
        written.append(settling)
    return written
