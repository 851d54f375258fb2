"""The models of a piece in every format."""

import datetime
from dataclasses import dataclass
from pathlib import Path

from chaingen.geometry.bodies import Bodies
from chaingen.make.metals import RingMetals
from chaingen.model.figures import Figures, figures_of
from chaingen.model.glb import write_glb
from chaingen.model.kinds import model_of
from chaingen.model.mesh import TOLERANCE
from chaingen.model.obj import write_obj
from chaingen.model.step import why_not as why_no_step
from chaingen.model.step import write_step
from chaingen.model.stl import write_stl
from chaingen.model.threemf import why_not, write_3mf
from chaingen.weave.graph import LinkGraph


@dataclass(frozen=True, slots=True)
class Placed:
    """Bodies to be written: a piece as placed, its mirror image, or as it lies in a scene.

    Attributes:
        bodies: The bodies.
        graph: Their link graph.
        metals: Their metals.
        title: What the piece is called.
        date: The day it was made, for formats that tell it; None when not given.
    """

    bodies: Bodies
    graph: LinkGraph
    metals: RingMetals
    title: str
    date: datetime.date | None = None


@dataclass(frozen=True, slots=True)
class Models:
    """What was written.

    Attributes:
        paths: The files.
        figures: The figures of the meshes in them, which are the same in all formats that have meshes.
    """

    paths: tuple[Path, ...]
    figures: Figures


def write_models(folder: Path, name: str, placed: Placed, *, tolerance: float = TOLERANCE) -> Models:
    """Write STL, OBJ with its materials, GLB, and 3MF and STEP where their libraries run.

    STEP is an extra, and left out of very large pieces.

    Args:
        folder: Where they go.
        name: What the files are called, without their endings.
        placed: What is written.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Returns:
        The files and their figures.

    Raises:
        CannotWrite: A file cannot be written.
    """
    model = model_of(placed.bodies, placed.graph, placed.metals, tolerance=tolerance)
    endings = ("stl", "obj", "mtl", "glb", "3mf", "step")
    stl, obj, mtl, glb, threemf, step = (folder / f"{name}.{ending}" for ending in endings)
    write_stl(stl, model)
    write_obj(obj, model)
    write_glb(glb, model, title=placed.title)
    paths = [stl, obj, mtl, glb]
    if not why_not():
        write_3mf(threemf, model, title=placed.title, date=placed.date)
        paths.append(threemf)
    if not why_no_step(len(placed.bodies)):
        write_step(step, placed.bodies, model, title=placed.title, date=placed.date)
        paths.append(step)
    return Models(tuple(paths), figures_of(model))
