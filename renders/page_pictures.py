"""Small pictures of all that the page offers to start from: metal on nothing, to suit light and dark alike.

Drawn several times as large and averaged, colours weighted by how much they cover; the edges then suit any
paper.
"""

from dataclasses import replace
from io import BytesIO
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from chaingen.design.load import parse_design
from chaingen.geometry.bodies import Bodies
from chaingen.make.result import Result
from chaingen.page.catalogue import SHEET, Entry, entries, picture_name, starter
from chaingen.page.piece import shown_of
from chaingen.pipeline import build
from chaingen.show.camera import STAND_OFF, View, extent
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.look import look_of
from chaingen.show.picture import add_bodies, dress
from chaingen.weave.pieces import Sheet

WIDTH, HEIGHT = 240, 168
"""Pixels of a picture."""

LARGER = 4
"""Drawn so many times as large."""

MARGIN = 0.03
"""Free border as part of the picture on either side."""

QUALITIES = ((82, 20), (66, 20), (50, 20), (40, 20), (30, 20), (20, 20), (12, 20), (8, 12), (8, 6))
"""WebP qualities, of colours and of edges, that are tried in turn until a picture is light enough."""

MOST_BYTES = 4_900
"""Bytes of one."""

CHAIN_RINGS, LONG = 9, 2.0
"""Fewest rings of a chain that are shown, and how many times as long as high it is at the least."""

SHEET_RINGS, SHAPE = 24, 1.3
"""About so many rings of a sheet, and how many times as wide as high it is."""

ROLL = 0.42
"""How far a long piece rises to the right [rad]: about along the picture's diagonal."""

TOLERANCE = 0.006
"""Farthest the meshes lie from the true surface, as part of the picture's height in mm over a hundred."""


def drawn_page(folder: Path) -> list[Path]:
    """Draw the picture of every entry into a folder; returns their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for entry in entries():
        path = folder / picture_name(entry.name)
        path.write_bytes(light(drawn(entry)))
        paths.append(path)
    return paths


def sample(entry: Entry) -> Result:
    """A few repeats of an entry in its usual sizes, so many that they fill a picture."""
    if entry.form == SHEET:
        few = _built(entry, columns=3, rows=3)
        wide, high = _size(few)
        rings = len(few.placement.graph) / 9.0

        def off(cells: tuple[int, int]) -> float:
            columns, rows = cells
            shape, count = columns * wide / (rows * high), columns * rows * rings
            return abs(np.log(shape / SHAPE)) + abs(np.log(count / SHEET_RINGS))

        columns, rows = min(product(range(3, 9), range(2, 6)), key=off)
        return _built(entry, columns=columns, rows=rows)
    if entry.name in ("rosette", "graduated-earrings"):
        return _built(entry)
    repeat = 1
    result = _built(entry, repeat=repeat)
    while entry.kind != "piece" and (
        len(result.placement.graph) < CHAIN_RINGS or _size(result)[0] < LONG * _size(result)[1]
    ):
        repeat += 1
        result = _built(entry, repeat=repeat)
    return result


def _built(entry: Entry, **options: int) -> Result:
    # Rings that are off are not shown, so that there is no need to try any.
    result = build(replace(parse_design(starter(entry.name, options)), tolerance=0.0))
    assert result.fits, f"{entry.name} does not fit"
    return result


def _size(result: Result) -> tuple[float, float]:
    """How long and how high a piece is [mm]."""
    low, high = shown_of(result).bodies.bounds()
    x, _, z = high - low
    return float(x), float(z)


def view_of(bodies: Bodies, flat: bool) -> View:
    """The view that fills a picture with bodies that stand upright, x to the right and z up.

    Args:
        bodies: The bodies.
        flat: Whether they are a sheet, which lies level however long it is.
    """
    low, high = bodies.bounds()
    long = not flat and (high - low)[0] > 1.5 * (high - low)[2]
    towards = np.array([-0.35, -1.0, 0.42]) if long else np.array([0.28, -1.0, 0.3])
    towards /= np.linalg.norm(towards)
    right = np.cross([0.0, 0.0, 1.0], towards)
    right /= np.linalg.norm(right)
    up = np.cross(towards, right)
    if long:
        # The piece itself, as it is seen, rises to the right.
        lies = np.arctan2(up[0], right[0])
        roll = lies - ROLL
        right, up = np.cos(roll) * right + np.sin(roll) * up, np.cos(roll) * up - np.sin(roll) * right
    (x0, x1), (y0, y1), (z0, z1) = (extent(bodies, axis) for axis in (right, up, towards))
    room = 1.0 - 2.0 * MARGIN
    per_pixel = max((x1 - x0) / (room * WIDTH), (y1 - y0) / (room * HEIGHT)) / LARGER
    focus = 0.5 * ((x0 + x1) * right + (y0 + y1) * up + (z0 + z1) * towards)
    width, height = LARGER * WIDTH, LARGER * HEIGHT
    half_height = 0.5 * height * per_pixel
    return View("", focus, towards, up, width, height, half_height, (z1 - z0) + STAND_OFF * 2.0 * half_height)


def drawn(entry: Entry) -> Image.Image:
    """The picture of an entry, with nothing behind it."""
    return _averaged(photographed(sample(entry)))


def photographed(result: Result) -> NDArray[np.uint8]:
    """A piece as it is drawn, `LARGER` and with nothing behind it, shape (rows, columns, 4)."""
    shown = shown_of(result)
    pv = pyvista_off_screen()
    view = view_of(shown.bodies, isinstance(result.design.piece, Sheet))
    plotter = pv.Plotter(off_screen=True, window_size=[view.width, view.height], lighting="none")
    try:
        dress(plotter, pv)
        plotter.renderer.GradientBackgroundOff()
        plotter.renderer.SetEnvironmentUp(0.0, 0.0, 1.0)
        plotter.renderer.SetEnvironmentRight(1.0, 0.0, 0.0)
        graph = result.placement.graph
        look = look_of(shown.metals, graph)
        add_bodies(plotter, pv, shown.bodies, look, TOLERANCE * 2.0 * view.half_height / 10.0)
        camera = plotter.camera
        camera.SetParallelProjection(True)
        camera.focal_point = view.focus
        camera.position = view.focus + view.towards * view.depth
        camera.up = view.up
        camera.parallel_scale = view.half_height
        plotter.renderer.ResetCameraClippingRange()
        return np.asarray(plotter.screenshot(return_img=True, transparent_background=True))
    finally:
        plotter.close()


def _averaged(photographed: NDArray[np.uint8]) -> Image.Image:
    """A picture made smaller by `LARGER`; what covers part of a pixel gives it all of its colour."""
    pixels = photographed.astype(float) / 255.0
    covers = (pixels[:, :, 3:] > 0.5).astype(float)
    blocks = np.concatenate([pixels[:, :, :3] * covers, covers], axis=2)
    small = blocks.reshape(HEIGHT, LARGER, WIDTH, LARGER, 4).mean(axis=(1, 3))
    colours = small[:, :, :3] / np.maximum(small[:, :, 3:], 1e-9)
    # Metal so small needs more contrast: lights lighter, darks darker.
    colours = colours * colours * (3.0 - 2.0 * colours)
    return Image.fromarray(np.round(255.0 * np.dstack([colours, small[:, :, 3]])).astype(np.uint8), "RGBA")


def light(picture: Image.Image) -> bytes:
    """A picture as WebP, as fine as its bytes allow."""
    for quality, edges in QUALITIES:
        stream = BytesIO()
        picture.save(stream, format="WEBP", quality=quality, alpha_quality=edges, method=6)
        if len(stream.getvalue()) <= MOST_BYTES:
            break
    return stream.getvalue()
