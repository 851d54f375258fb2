"""Small films of a piece in a scene: a full turn, and its settling. Both are GIFs that loop."""

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.solids import Solid
from chaingen.geometry.types import Floats
from chaingen.show.camera import STAND_OFF, View, extent
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.look import Look
from chaingen.show.picture import PIXEL_TOLERANCE, add_bodies, body_surface, dress, photograph
from chaingen.show.supports import Surface, surfaces

LONG_SIDE = 520
"""Pixels of a film's long side."""

SHORT_SIDE = 160
"""Fewest pixels of its short side."""

FINER = 2
"""Frames are drawn this many times larger and averaged."""

MARGIN = 0.05
"""Free border as part of the piece's extent on either side."""

TURN_FRAMES = 36
"""Frames of a full turn."""

TURN_TIME = 100
"""Of a frame of the turn [ms]."""

SETTLING_FRAMES = 40
"""Most frames of a settling film."""

SETTLING_TIME, HELD_TIME = 80, 1500
"""Of a frame of the settling and of the last one [ms]."""

PALETTE_FRAMES = 6
"""Frames that the colours of a film are chosen from."""

COLOURS = 255
"""Colours of a film; one entry is left for what stays as it was."""

PAPER = (0.945, 0.947, 0.947)
"""sRGB of the plain paper behind a film: the few colours of a film would show a slope in steps."""


def turning_views(
    bodies: Bodies, elevation: float, count: int = TURN_FRAMES, *, tallness: float = 0.0
) -> list[View]:
    """Views all round a piece, about a vertical axis through its middle, all to one scale.

    Args:
        bodies: The piece.
        elevation: How far the viewer looks down [rad].
        count: How many views make the turn.
        tallness: Least height of a frame over its width.
    """
    directions = []
    for k in range(count):
        angle = 2.0 * np.pi * k / count
        flat = np.array([np.sin(angle), -np.cos(angle), 0.0])
        directions.append(np.cos(elevation) * flat + np.sin(elevation) * np.array([0.0, 0.0, 1.0]))
    low, high = bodies.bounds()
    return _views("turning", bodies, 0.5 * (low + high), directions, tallness)


def settling_view(frames: Sequence[Bodies], towards: Floats, *, tallness: float = 0.0) -> View:
    """One view that holds a piece all the way to rest."""
    everywhere = concatenate(list(frames))
    low, high = everywhere.bounds()
    (view,) = _views(
        "settling", everywhere, 0.5 * (low + high), [towards / np.linalg.norm(towards)], tallness
    )
    return view


def _views(
    name: str, bodies: Bodies, middle: Floats, directions: Sequence[Floats], tallness: float
) -> list[View]:
    """Views from unit directions that hold all bodies, to one scale and of one size."""
    vertical = np.array([0.0, 0.0, 1.0])
    frames = []
    for towards in directions:
        right = np.cross(vertical, towards)
        right /= np.linalg.norm(right)
        up = np.cross(towards, right)
        frames.append((towards, right, up))
    across = max(max(abs(edge - middle @ right) for edge in extent(bodies, right)) for _, right, _ in frames)
    edges = np.array([extent(bodies, up) for _, _, up in frames]) - np.array(
        [[middle @ up] for _, _, up in frames]
    )
    down, rise = edges[:, 0].min(), edges[:, 1].max()
    wide, high = 2.0 * across * (1.0 + 2.0 * MARGIN), (rise - down) * (1.0 + 2.0 * MARGIN)
    if wide >= high:
        width, height = LONG_SIDE, max(round(LONG_SIDE * high / wide), SHORT_SIDE)
    else:
        width, height = max(round(LONG_SIDE * wide / high), SHORT_SIDE), LONG_SIDE
    mm_per_pixel = max(wide / width, high / height)
    height = max(height, round(tallness * width))
    size = float(np.linalg.norm(np.subtract(*bodies.bounds())))
    return [
        View(
            name, middle + 0.5 * (down + rise) * up, towards, up, FINER * width, FINER * height,
            0.5 * height * mm_per_pixel, size + STAND_OFF * max(wide, high),
        )
        for towards, _, up in frames
    ]  # fmt: skip


class _Set:
    """A plotter with a piece and its supports that frames of a film are taken from."""

    def __init__(self, pv: Any, bodies: Bodies, solids: Sequence[Solid], scale: float, look: Look) -> None:
        self._pv = pv
        self._holes = look.holes
        self._tolerance = float(np.clip(FINER * PIXEL_TOLERANCE * scale, 0.002, 0.15 * bodies.thinnest.max()))
        self._plotter = pv.Plotter(off_screen=True, lighting="none")
        dress(self._plotter, pv)
        self._plotter.set_background(PAPER)
        self._supports: list[Surface] = surfaces(pv, solids, bodies, finest=FINER * scale)
        for surface in self._supports:
            surface.add_to(self._plotter)
        self._surfaces = add_bodies(self._plotter, pv, bodies, look, self._tolerance)

    def move(self, bodies: Bodies) -> None:
        """Move the bodies, and their shade with them."""
        for shown in self._surfaces:
            moved = body_surface(self._pv, bodies[shown.own], self._tolerance, shown.part, self._holes)
            shown.surface.points = moved.points
            shown.surface.point_data.active_normals = moved.point_data.active_normals
        for surface in self._supports:
            surface.shaded(bodies)

    def take(self, view: View) -> Any:
        """A frame from a view, the studio standing still about the camera."""
        right = np.cross(view.up, view.towards)
        self._plotter.renderer.SetEnvironmentUp(0.0, 0.0, 1.0)
        self._plotter.renderer.SetEnvironmentRight(*right)
        return photograph(self._plotter, view).convert("RGB").reduce(FINER)

    def close(self) -> None:
        self._plotter.close()


def draw_turning(
    path: Path,
    bodies: Bodies,
    solids: Sequence[Solid],
    elevation: float,
    *,
    look: Look,
    tallness: float = 0.0,
) -> None:
    """Draw a full turn about the vertical as a GIF that loops.

    Args:
        path: The file.
        bodies: The piece at rest.
        solids: What holds it.
        elevation: How far the viewer looks down [rad].
        look: The look of every body.
        tallness: Least height of a frame over its width.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: The file cannot be written.
    """
    pv = pyvista_off_screen()
    views = turning_views(bodies, elevation, tallness=tallness)
    scene = _Set(pv, bodies, solids, views[0].mm_per_pixel, look)
    try:
        images = [scene.take(view) for view in views]
    finally:
        scene.close()
    _write(path, images, [TURN_TIME] * len(images))


def draw_settling(
    path: Path,
    frames: Sequence[Bodies],
    solids: Sequence[Solid],
    towards: tuple[float, float, float],
    *,
    look: Look,
    tallness: float = 0.0,
) -> None:
    """Draw the way to rest as a GIF that loops and holds its last frame.

    It shows the steps that the search for rest took, not how the piece would move in time.

    Args:
        path: The file.
        frames: Poses on the way, the last at rest; at least two.
        solids: What holds the piece.
        towards: Direction from the piece to the viewer.
        look: The look of every body.
        tallness: Least height of a frame over its width.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: The file cannot be written.
    """
    pv = pyvista_off_screen()
    chosen = np.unique(np.linspace(0, len(frames) - 1, min(SETTLING_FRAMES, len(frames))).round().astype(int))
    shown = [frames[k] for k in chosen]
    view = settling_view(shown, np.array(towards), tallness=tallness)
    scene = _Set(pv, shown[-1], solids, view.mm_per_pixel, look)
    images = []
    try:
        for bodies in shown:
            scene.move(bodies)
            images.append(scene.take(view))
    finally:
        scene.close()
    _write(path, images, [SETTLING_TIME] * (len(images) - 1) + [HELD_TIME])


def _palette(images: Sequence[Any]) -> Any:
    """The colours of a film, as a Pillow image: the paper's and the best for all that is before it."""
    from PIL import Image

    chosen = np.unique(np.linspace(0, len(images) - 1, PALETTE_FRAMES).round().astype(int))
    some = Image.fromarray(np.concatenate([np.asarray(images[k]) for k in chosen]))
    colours = [round(255 * c) for c in PAPER]
    # Half of them for what fills the frame, half so that no small part, a peg's end, is given a strange hue.
    half = (COLOURS - 1) // 2
    for method in (Image.Quantize.MEDIANCUT, Image.Quantize.MAXCOVERAGE):
        best = some.quantize(half, method=method, dither=Image.Dither.NONE)
        colours += (best.getpalette() or [])[: 3 * half]
    palette = Image.new("P", (1, 1))
    palette.putpalette(colours)
    return palette


def _write(path: Path, images: Sequence[Any], times: Sequence[int]) -> None:
    """Write frames as a GIF that loops, in colours chosen once for all of them."""
    from PIL import Image

    palette = _palette(images)
    flat = [image.quantize(palette=palette, dither=Image.Dither.NONE) for image in images]
    content = BytesIO()
    flat[0].save(
        content, format="GIF", save_all=True, append_images=flat[1:], duration=list(times), loop=0,
        disposal=1, optimize=False,
    )  # fmt: skip
    with whole_file(path) as stream:
        stream.write(content.getvalue())
