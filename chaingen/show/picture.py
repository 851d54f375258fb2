"""Pictures of a piece: metal in soft light on light paper, with a scale bar in millimetres."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.model.mesh import frames
from chaingen.model.templates import NO_HOLES, Holes, templates
from chaingen.show.camera import FOOT, View, four_views
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.look import Colour, Look
from chaingen.show.studio import BACKGROUND_BOTTOM, BACKGROUND_TOP, COLLISION, environment

Stage = Callable[[Any, Any], None]
"""Told a plotter and pyvista once the studio's light is set: adds what else is in the picture."""

PIXEL_TOLERANCE = 0.25
"""Meshes for pictures may be off by this many pixels."""

BAR_LENGTHS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
"""Lengths a scale bar may have [mm]."""

BEAD_ROUGHNESS, BEAD_MIRRORING, BEAD_LIGHT = 0.06, 1.9, 1.8
"""Of beads: roughness, refractive index, which says how much they mirror, and how much more light than the
studio's falls on them. Chosen by eye: glass of its true 1.5 looks dull under soft boxes, and the studio's
walls, dark for the sake of metal, leave white enamel grey."""

INK = (0.22, 0.24, 0.28)
"""sRGB of the scale bar and its label."""


def body_surface(
    pv: Any, bodies: Bodies, tolerance: float, part: str | None = None, holes: Holes = NO_HOLES
) -> Any:
    """All bodies in one surface with their true normals.

    Args:
        pv: Pyvista.
        bodies: The bodies.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        part: The only part to be shown of them, such as ``wire``; all parts by default.
        holes: Holes of beads, see `templates`.

    Returns:
        The surface, a pyvista PolyData; None when there is nothing of that part.
    """
    meshes, of_body = templates(bodies, tolerance, holes)
    rotations = frames(bodies)
    points, normals, faces = [], [], []
    offset = 0
    for kind, whole in enumerate(meshes):
        mesh = whole if part is None else whole.part(part)
        if mesh is None:
            continue
        members = np.flatnonzero(of_body == kind)
        posed = (
            np.einsum("kab,vb->kva", rotations[members], mesh.vertices) + bodies.centres[members][:, None, :]
        )
        points.append(posed.reshape(-1, 3))
        normals.append(np.einsum("kab,vb->kva", rotations[members], mesh.normals).reshape(-1, 3))
        starts = offset + len(mesh.vertices) * np.arange(len(members))
        faces.append((mesh.faces[None, :, :] + starts[:, None, None]).reshape(-1, 3))
        offset += len(mesh.vertices) * len(members)
    if not faces:
        return None
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


@dataclass(frozen=True, eq=False)
class Shown:
    """A surface in a plotter.

    Attributes:
        own: Indices of the bodies that it shows.
        part: The only part of them that it shows; None for all.
        surface: A pyvista PolyData.
    """

    own: Ints
    part: str | None
    surface: Any


def add_bodies(
    plotter: Any, pv: Any, bodies: Bodies, look: Look, tolerance: float, collided: Ints | None = None
) -> list[Shown]:
    """Add bodies to a plotter: a surface a metal, one a kind of bead, one for those that run into others.

    Args:
        plotter: The plotter.
        pv: Pyvista.
        bodies: The bodies.
        look: Their look.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        collided: Indices of bodies that get a colour of their own.
    """
    bad = np.zeros(len(bodies), dtype=bool)
    if collided is not None:
        bad[collided] = True
    metals: list[tuple[Colour, float, float, str | None, Ints]] = [
        (colour, 1.0, roughness, "wire", own[~bad[own]]) for colour, roughness, own in look.parts()
    ]
    beads = [
        (colour, 0.0, BEAD_ROUGHNESS, part, own)
        for colour, part, own in _beads(bodies, look, np.flatnonzero(~bad))
    ]
    added = []
    for colour, metallic, roughness, part, own in [
        *metals, *beads, (COLLISION, 0.0, 0.55, None, np.flatnonzero(bad)),
    ]:  # fmt: skip
        surface = body_surface(pv, bodies[own], tolerance, part, look.holes) if len(own) else None
        if surface is None:
            continue
        actor = plotter.add_mesh(
            surface, color=colour, pbr=True, metallic=metallic, roughness=roughness, smooth_shading=True,
            split_sharp_edges=False,
        )  # fmt: skip
        if part not in ("wire", None):
            # What is no metal scatters light by its colour: linear, and not held to 1.
            actor.prop.SetColor(*(BEAD_LIGHT * np.array(colour) ** 2.2))
            actor.prop.SetBaseIOR(BEAD_MIRRORING)
        added.append(Shown(own, part, surface))
    return added


def _beads(bodies: Bodies, look: Look, among: Ints) -> Iterator[tuple[Colour, str, Ints]]:
    """Colour, part and bodies of every kind of bead on some of the bodies."""
    kinds: dict[tuple[Colour, str], list[int]] = {}
    for k in among[~bodies.is_ring[among]].tolist():
        shape = bodies.shape(k)
        assert shape is not None
        for part in dict.fromkeys(strand.part for strand in shape.strands):
            if part != "wire":
                kinds.setdefault((look.bead_colour(k, part), part), []).append(k)
    for (colour, part), own in kinds.items():
        yield colour, part, np.array(own, dtype=np.int64)


def scale_bar(image: Any, view: View) -> Any:
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
    bodies: Bodies,
    views: Iterable[View],
    *,
    look: Look,
    collided: Ints | None = None,
    stage: Stage | None = None,
    on_progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Draw views of bodies as PNG files.

    Args:
        folder: Where the pictures go, named after the views.
        bodies: The bodies.
        views: The views.
        look: The look of every body.
        collided: Indices of bodies to show as running into others.
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
    drawn = np.zeros(len(bodies), dtype=bool)
    plotter: Any = None
    try:
        for view in views:
            if on_progress:
                on_progress(view.name)
            # A long piece seen whole needs few triangles, a close-up many.
            tolerance = float(
                np.clip(PIXEL_TOLERANCE * view.mm_per_pixel, 0.002, 0.08 * bodies.thinnest.max())
            )
            # What is out of sight is left out: all bodies in a close-up's fine mesh would fill the memory.
            seen = view.sees(bodies)
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
                add_bodies(plotter, pv, bodies[shown], look[shown], tolerance, collided_shown)
                drawn_at, drawn = tolerance, seen
            image = scale_bar(photograph(plotter, view), view)
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
    bodies: Bodies,
    *,
    look: Look,
    collided: Ints | None = None,
    focus: Floats | None = None,
    on_progress: Callable[[str], None] | None = None,
) -> list[Path]:
    """Draw a piece from the front, the side, three-quarter and close up; see `draw_views`.

    Args:
        folder: Where front.png, side.png, three-quarter.png and close-up.png go.
        bodies: The bodies.
        look: The look of every body.
        collided: Indices of bodies to show as running into others.
        focus: What the close-up is about [mm], shape (3,); the middle of the piece by default.
        on_progress: Told the name of each picture before it is drawn.
    """
    middle = bodies.centres[np.argmin(np.linalg.norm(bodies.centres - bodies.centres.mean(axis=0), axis=1))]
    views = four_views(bodies, middle if focus is None else focus)
    return draw_views(folder, bodies, views, look=look, collided=collided, on_progress=on_progress)
