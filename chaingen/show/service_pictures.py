"""Pictures of what a service is sent: each pattern, tree or plate as it is built, z up.

Patterns for casting are shown as if of wax, prints in grey, for neither is metal yet.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.files import whole_file
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats
from chaingen.model.kinds import Model
from chaingen.model.mesh import Mesh
from chaingen.model.solids import mesh_of_solid, solid_of
from chaingen.prepare.batch import Batch
from chaingen.show.camera import View, framed
from chaingen.show.drawing import pyvista_off_screen
from chaingen.show.picture import PIXEL_TOLERANCE, dress, photograph, scale_bar

MOST = 8
"""Batches that are drawn."""

WAX, PRINT = (0.42, 0.68, 0.60), (0.66, 0.67, 0.70)
"""sRGB of patterns and of prints; no metal is green."""

ROUGHNESS, LIGHT = 0.45, 1.25
"""Of either: roughness, and how much more light than the studio's falls on it. Chosen by eye."""

LAMP = (-0.7, 0.9, 0.6), 2.2
"""Where from, seen from the camera (right, up, towards it), and how strongly a lamp shines that gives what is
dull its form, which metal has from what it mirrors. Chosen by eye."""

CREASE = 40.0
"""Edges sharper than this are shown as edges, others as smooth [degrees]."""

FLAT = 0.35
"""What is lower than this part of its breadth is seen from above at a slant."""

FROM_ABOVE, FROM_FRONT = np.array([-0.35, -0.85, 0.95]), np.array([-0.45, -1.0, 0.42])
"""Direction to the camera of what lies and of what stands."""

MOST_TRIANGLES = 3_000_000
"""Meshes that have more, all places counted, are shown coarser, as far as no pixel tells."""

UP = np.array([0.0, 0.0, 1.0])


def draw_batches(
    folder: Path, batches: Sequence[Batch], *, on_progress: Callable[[str], None] | None = None
) -> list[Path]:
    """Draw what a service is sent, one picture for each of the first batches.

    Args:
        folder: Where the pictures go, named after the batches.
        batches: The batches.
        on_progress: Told the name of each picture before it is drawn.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: A file cannot be written.
    """
    pv = pyvista_off_screen()
    written = []
    plotter: Any = None
    try:
        for batch in batches[:MOST]:
            if on_progress:
                on_progress(batch.name)
            view = batch_view(batch)
            if plotter is None:
                plotter = pv.Plotter(off_screen=True, window_size=[view.width, view.height], lighting="none")
                dress(plotter, pv)
                plotter.enable_anti_aliasing("ssaa")
                place, strength = LAMP
                plotter.add_light(pv.Light(position=place, intensity=strength, light_type="camera light"))
            # The studio stays: to work out its light takes longer than a picture.
            plotter.clear_actors()
            vertices, faces = model_surface(coarser(batch.model, PIXEL_TOLERANCE * view.mm_per_pixel))
            cells = np.column_stack([np.full(len(faces), 3, dtype=faces.dtype), faces]).ravel()
            actor = plotter.add_mesh(
                pv.PolyData(vertices, cells), color=PRINT if batch.metal is None else WAX, pbr=True,
                metallic=0.0, roughness=ROUGHNESS, smooth_shading=True, split_sharp_edges=True,
                feature_angle=CREASE,
            )  # fmt: skip
            # What is no metal scatters light by its colour: linear, and not held to 1.
            colour = np.array(PRINT if batch.metal is None else WAX)
            actor.prop.SetColor(*(LIGHT * colour**2.2))
            image = scale_bar(photograph(plotter, view), view)
            content = BytesIO()
            image.save(content, format="PNG", compress_level=6)
            path = folder / f"{batch.name}.png"
            with whole_file(path) as stream:
                stream.write(content.getvalue())
            written.append(path)
    finally:
        if plotter is not None:
            plotter.close()
    return written


def batch_view(batch: Batch) -> View:
    """A view that fills the frame with a batch: of what lies from above at a slant, else three-quarter."""
    corners = extreme_points(batch.model)
    x, y, z = (corners.max(axis=0) - corners.min(axis=0)).tolist()
    towards = FROM_ABOVE if z < FLAT * max(x, y) else FROM_FRONT
    points = extreme_points(batch.model, towards)
    # Points are bodies of no size.
    zeros = np.zeros(len(points))
    bodies = Bodies(points, np.tile(UP, (len(points), 1)), zeros, zeros)
    return framed(batch.name, bodies, towards, UP)


def extreme_points(model: Model, towards: Floats | None = None) -> Floats:
    """Points of a model that go farthest along the axes of a view, shape (n, 3) [mm].

    Args:
        model: The model.
        towards: Direction to the camera, z up; None for the axes themselves.
    """
    axes = np.eye(3)
    if towards is not None:
        right = np.cross(UP, towards)
        axes = np.stack([right, np.cross(towards, right), towards])
    stretch = np.array(model.stretch)
    found = []
    for kind in model.kinds:
        for body in kind.bodies.tolist():
            # The farthest vertex of a turned mesh is that of the mesh along the axes turned back.
            along = (axes * stretch) @ model.rotations[body] @ kind.mesh.vertices.T
            ends = kind.mesh.vertices[np.concatenate([along.argmin(axis=1), along.argmax(axis=1)])]
            found.append((ends @ model.rotations[body].T + model.centres[body]) * stretch)
    return np.concatenate(found)


def coarser(model: Model, tolerance: float) -> Model:
    """A model of too many triangles for a picture with meshes that are at most so far off [mm]."""
    if sum(len(kind.mesh.faces) * len(kind.bodies) for kind in model.kinds) <= MOST_TRIANGLES:
        return model
    off = tolerance / max(model.stretch)
    return replace(model, kinds=tuple(replace(kind, mesh=_coarser(kind.mesh, off)) for kind in model.kinds))


def _coarser(mesh: Mesh, tolerance: float) -> Mesh:
    return mesh_of_solid(solid_of(mesh).simplify(tolerance))


def model_surface(model: Model) -> tuple[Any, Any]:
    """All of a model as one mesh: vertices [mm], shape (v, 3), single, and faces, shape (f, 3)."""
    vertices, faces, offset = [], [], 0
    for kind in model.kinds:
        mesh, bodies = kind.mesh, kind.bodies
        posed = np.einsum("kab,vb->kva", model.rotations[bodies], mesh.vertices)
        posed = (posed + model.centres[bodies][:, None, :]) * np.array(model.stretch)
        vertices.append(posed.reshape(-1, 3).astype(np.float32))
        starts = offset + len(mesh.vertices) * np.arange(len(bodies))
        faces.append((mesh.faces[None, :, :] + starts[:, None, None]).reshape(-1, 3))
        offset += len(mesh.vertices) * len(bodies)
    return np.concatenate(vertices), np.concatenate(faces)
