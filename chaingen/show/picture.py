"""Pictures of a piece: metal in soft light on light paper, with a scale bar in millimetres."""

from collections.abc import Callable, Iterable
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.model.mesh import frames, templates
from chaingen.show.camera import FOOT, View, four_views
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.look import Look
from chaingen.show.studio import BACKGROUND_BOTTOM, BACKGROUND_TOP, COLLISION, environment

Stage = Callable[[Any, Any], None]
"""Told a plotter and pyvista once the studio's light is set: adds what else is in the picture."""

PIXEL_TOLERANCE = 0.25
"""Meshes for pictures may be off by this many pixels."""

BAR_LENGTHS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Lengths a scale bar may have [mm]."""

INK = (0.22, 0.24, 0.28)
"""sRGB of the scale bar and its label."""


def ring_surface(pv: Any, rings: Bodies, tolerance: float) -> Any:
    """All rings in one surface with their true normals."""
    meshes, of_ring = templates(rings, tolerance)
    rotations = frames(rings)
    points, normals, faces = [], [], []
    offset = 0
    for kind, mesh in enumerate(meshes):
        members = np.flatnonzero(of_ring == kind)
        posed = (
            np.einsum("kab,vb->kva", rotations[members], mesh.vertices) + rings.centres[members][:, None, :]
        )
        points.append(posed.reshape(-1, 3))
        normals.append(np.einsum("kab,vb->kva", rotations[members], mesh.normals).reshape(-1, 3))
        starts = offset + len(mesh.vertices) * np.arange(len(members))
        faces.append((mesh.faces[None, :, :] + starts[:, None, None]).reshape(-1, 3))
        offset += len(mesh.vertices) * len(members)
    triangles = np.concatenate(faces)
    cells = np.column_stack([np.full(len(triangles), 3), triangles]).ravel()
    surface = pv.PolyData(np.concatenate(points).astype(np.float32), cells)
    surface.point_data.active_normals = np.concatenate(normals).astype(np.float32)
    return surface


def dress(plotter: Any, pv: Any) -> None:
    """Give a plotter the studio's light and background."""
    plotter.set_background(BACKGROUND_BOTTOM, top=BACKGROUND_TOP)
    image = environment()
    height, width, _ = image.shape
    grid = pv.ImageData(dimensions=(width, height, 1))
    grid.point_data["light"] = image.reshape(-1, 3)
    texture = pv.Texture(grid)
    texture.SetColorModeToDirectScalars()
    texture.MipmapOn()
    texture.InterpolateOn()
    plotter.set_environment_texture(texture, is_srgb=False)
    plotter.renderer.SetEnvironmentUp(0.0, 1.0, 0.0)
    plotter.renderer.SetEnvironmentRight(1.0, 0.0, 0.0)


def add_rings(
    plotter: Any, pv: Any, rings: Bodies, look: Look, tolerance: float, collided: Ints | None = None
) -> list[tuple[Ints, Any]]:
    """Add rings to a plotter, one surface a metal and one for those that run into others.

    Args:
        plotter: The plotter.
        pv: Pyvista.
        rings: The rings.
        look: Their look.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        collided: Indices of rings that get a colour of their own.

    Returns:
        For each surface the indices of its rings, and the surface.
    """
    bad = np.zeros(len(rings), dtype=bool)
    if collided is not None:
        bad[collided] = True
    kinds = [(colour, 1.0, roughness, own[~bad[own]]) for colour, roughness, own in look.parts()]
    added = []
    for colour, metallic, roughness, own in [*kinds, (COLLISION, 0.0, 0.55, np.flatnonzero(bad))]:
        if not len(own):
            continue
        surface = ring_surface(pv, rings[own], tolerance)
        plotter.add_mesh(
            surface, color=colour, pbr=True, metallic=metallic, roughness=roughness, smooth_shading=True,
            split_sharp_edges=False,
        )  # fmt: skip
        added.append((own, surface))
    return added


def _scale_bar(image: Any, view: View) -> Any:
    """Draw the scale bar and its label onto a picture (a Pillow image)."""
    from PIL import ImageDraw, ImageFont

    length = max(
        (b for b in BAR_LENGTHS if b / view.mm_per_pixel <= 0.25 * view.width), default=BAR_LENGTHS[0]
    )
    pixels = round(length / view.mm_per_pixel)
    draw = ImageDraw.Draw(image)
    ink = tuple(round(255 * c) for c in INK)
    if view.plain_foot:
        paper = tuple(round(255 * c) for c in BACKGROUND_BOTTOM)
        draw.rectangle([0, view.height - FOOT, view.width, view.height], fill=paper)
    size = 26
    font = ImageFont.load_default(size=size)
    x0, y0 = 40, view.height - 36
    draw.rectangle([x0, y0 - 2, x0 + pixels, y0 + 2], fill=ink)
    for x in (x0, x0 + pixels):
        draw.rectangle([x - 1, y0 - 9, x + 1, y0 + 9], fill=ink)
    draw.text((x0 + pixels + 16, y0), f"{length:g} mm", fill=ink, font=font, anchor="lm")
    return image


def photograph(plotter: Any, view: View) -> Any:
    """What a plotter shows from a view, as a Pillow image."""
    from PIL import Image

    # Setting a size draws, even the size that is there.
    if list(plotter.window_size) != [view.width, view.height]:
        plotter.window_size = [view.width, view.height]
    camera = plotter.camera
    camera.SetParallelProjection(True)
    camera.focal_point = view.focus
    camera.position = view.focus + view.towards * view.depth
    camera.up = view.up
    camera.parallel_scale = view.half_height
    plotter.renderer.ResetCameraClippingRange()
    plotter.render()
    return Image.fromarray(plotter.screenshot(return_img=True))


def draw_views(
    folder: Path,
    rings: Bodies,
    views: Iterable[View],
    *,
    look: Look,
    collided: Ints | None = None,
    stage: Stage | None = None,
    on_progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Draw views of rings as PNG files.

    Args:
        folder: Where the pictures go, named after the views.
        rings: The rings.
        views: The views.
        look: The look of every ring.
        collided: Indices of rings to show as running into others.
        stage: Adds what else is in the pictures.
        on_progress: Told the name of each picture before it is drawn.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: A file cannot be written.
    """
    pv = pyvista_off_screen()
    bad = np.empty(0, dtype=np.int64) if collided is None else collided
    views = list(views)
    written = []
    drawn_at = 0.0
    drawn = np.zeros(len(rings), dtype=bool)
    plotter: Any = None
    try:
        for view in views:
            if on_progress:
                on_progress(view.name)
            # A long piece seen whole needs few triangles, a close-up many.
            tolerance = float(
                np.clip(PIXEL_TOLERANCE * view.mm_per_pixel, 0.002, 0.08 * rings.wire_radii.max())
            )
            # What is out of sight is left out: all rings in a close-up's fine mesh would fill the memory.
            seen = view.sees(rings)
            if (
                plotter is None
                or tolerance < 0.6 * drawn_at
                or tolerance > 2.5 * drawn_at
                or (seen != drawn).any()
            ):
                if plotter is None:
                    plotter = pv.Plotter(
                        off_screen=True, window_size=[view.width, view.height], lighting="none"
                    )
                    dress(plotter, pv)
                    plotter.enable_anti_aliasing("ssaa")
                # The studio stays: to work out its light takes longer than a picture.
                plotter.clear_actors()
                if stage:
                    stage(plotter, pv)
                shown = np.flatnonzero(seen)
                collided_shown = np.flatnonzero(np.isin(shown, bad))
                add_rings(plotter, pv, rings[shown], look[shown], tolerance, collided_shown)
                drawn_at, drawn = tolerance, seen
            image = _scale_bar(photograph(plotter, view), view)
            path = folder / f"{view.name}.png"
            content = BytesIO()
            image.save(content, format="PNG", compress_level=6)
            with whole_file(path) as stream:
                stream.write(content.getvalue())
            written.append(path)
    finally:
        if plotter is not None:
            plotter.close()
    return written


def draw_pictures(
    folder: Path,
    rings: Bodies,
    *,
    look: Look,
    collided: Ints | None = None,
    focus: Floats | None = None,
    on_progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Draw a piece from the front, the side, three-quarter and close up; see `draw_views`.

    Args:
        folder: Where front.png, side.png, three-quarter.png and close-up.png go.
        rings: The rings.
        look: The look of every ring.
        collided: Indices of rings to show as running into others.
        focus: What the close-up is about [mm], shape (3,); the middle of the piece by default.
        on_progress: Told the name of each picture before it is drawn.
    """
    middle = rings.centres[np.argmin(np.linalg.norm(rings.centres - rings.centres.mean(axis=0), axis=1))]
    views = four_views(rings, middle if focus is None else focus)
    return draw_views(folder, rings, views, look=look, collided=collided, on_progress=on_progress)
