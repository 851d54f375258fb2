"""Writing everything that is known of a piece: models, pictures, placement, scenes, sheet, report."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.errors import CannotDraw
from chaingen.files import staged
from chaingen.make.metals import cell_metals, worn_metals
from chaingen.make.pair import MIRRORED, both, mirrored_graph
from chaingen.make.result import Result
from chaingen.model.figures import Figures
from chaingen.model.placement_file import write_placement
from chaingen.model.threemf import why_not
from chaingen.model.write import Placed, write_models
from chaingen.prepare.batch import Prepared
from chaingen.prepare.write import FOLDER, write_batches
from chaingen.show.look import look_of
from chaingen.show.picture import draw_pictures
from chaingen.show.report import report_of, write_report
from chaingen.show.scene import draw_scene
from chaingen.show.service_pictures import draw_batches
from chaingen.show.service_report import models_data
from chaingen.show.sheet.write import write_sheet
from chaingen.show.supple import draw_supple, shown_rings
from chaingen.solve.drape.drape import Draped
from chaingen.solve.drape.draped import scene_names

Progress = Callable[[str], None]


def _silent(_: str) -> None:
    """Say nothing."""


def _about(what: str, on_progress: Progress) -> Progress:
    return lambda text: on_progress(f"{what}: {text}")


@dataclass(frozen=True, slots=True)
class Files:
    """What `export` wrote.

    Attributes:
        paths: The files, in the order they were written.
        not_drawn: Why there are no pictures; empty when there are.
        no_pdf: Why there is no sheet.pdf; empty when there is, or when no sheet was asked for.
        no_3mf: Why there is no piece.3mf beside the other models; empty when there is.
        report: The content of report.json.
    """

    paths: tuple[Path, ...]
    not_drawn: str = ""
    no_pdf: str = ""
    no_3mf: str = ""
    report: dict[str, Any] = field(default_factory=dict)


def export(
    result: Result,
    folder: Path,
    *,
    mesh_tolerance: float = 0.01,
    models: bool = True,
    models_anyway: bool = False,
    pictures: bool = True,
    prepared: Prepared | None = None,
    on_progress: Progress = _silent,
) -> Files:
    """Write a built piece's models, pictures, placement and report; and the sheet of one with a plan.

    What goes to a service is written for a piece that was prepared, by `for_service`.

    All files appear together once all are written; others in the folder are left alone.

    Args:
        result: What `build` gave.
        folder: Where everything goes.
        mesh_tolerance: Farthest the models may lie from the true surface [mm].
        models: Whether to write models of the piece, as placed and at rest; what goes to a service is written
            all the same.
        models_anyway: Write models also of a piece that does not fit.
        pictures: Whether to draw pictures.
        prepared: What `for_service` gave.
        on_progress: Told in words what is being done.

    Raises:
        CannotWrite: A file cannot be written; then none is.

    Example:
        >>> from pathlib import Path
        >>> from tempfile import TemporaryDirectory
        >>> from chaingen import build, export, parse_design
        >>> from chaingen.design.starter import starter_design
        >>> result = build(parse_design(starter_design("one-in-one", repeat=2)))
        >>> with TemporaryDirectory() as folder:
        ...     [path.name for path in export(result, Path(folder), pictures=False).paths][:4]
        ['placement.json', 'piece.stl', 'piece.obj', 'piece.mtl']
    """
    rings, graph, design = result.placement.rings, result.placement.graph, result.design
    paths: list[Path] = []
    not_drawn = ""
    figures: dict[str, Figures] = {}
    with staged(folder) as stage:
        on_progress("writing the placement")
        made = [("", graph, rings)]
        if design.pair:
            made.append((MIRRORED, mirrored_graph(graph), rings.mirrored()))
        for suffix, own, bodies in made:
            paths.append(stage / f"placement{suffix}.json")
            write_placement(paths[-1], own, bodies)
        if models and (result.fits or models_anyway):
            on_progress("writing models")
            for suffix, own, bodies in made:
                placed = Placed(bodies, own, result.metals, design.title, design.date)
                name = f"piece{suffix}"
                written = write_models(stage / "models", name, placed, tolerance=mesh_tolerance)
                paths += written.paths
                figures[f"models/{name}"] = written.figures
        if prepared is not None:
            on_progress("writing what goes to the service")
            paths += write_batches(stage / FOLDER, prepared.batches, title=design.title, date=design.date)
        if pictures:
            place_of_interest = result.check.binding_place
            shown, metals, turn = rings, result.metals, np.eye(3)
            if design.pair:
                two = both(graph, rings, metals)
                shown, metals, turn = two.bodies, two.metals, two.turn
            try:
                paths += draw_pictures(
                    stage / "pictures",
                    shown,
                    look=look_of(metals, graph),
                    collided=result.collided,
                    focus=None if result.fits or place_of_interest is None else turn @ place_of_interest,
                    on_progress=lambda name: on_progress(f"drawing {name}"),
                )
                if prepared is not None:
                    paths += draw_batches(stage / FOLDER, prepared.batches)
            except CannotDraw as error:
                not_drawn = str(error)
        for drape, name in zip(result.drapes, scene_names(result.drapes), strict=True):
            if isinstance(drape, Draped):
                at = stage / "scenes" / name
                tolerance = mesh_tolerance if models else None
                paths += _scene_models(result, drape, at, tolerance, _about(name, on_progress))
                sent = () if prepared is None else prepared.at_rest.get(name, ())
                paths += write_batches(at / FOLDER, sent, title=design.title, date=design.date)
                if pictures and not not_drawn:
                    paths += _scene_pictures(result, drape, at, _about(name, on_progress))
        if result.supple is not None and pictures and not not_drawn:
            on_progress("drawing how it bends")
            few = cell_metals(design, result.placement, max(shown_rings(result.supple)))
            paths += draw_supple(stage / "pictures", result.supple, look=look_of(few))
        no_pdf = ""
        if result.plan is not None:
            drawn = stage / "pictures" if pictures and not not_drawn else None
            sheet = write_sheet(
                stage,
                result,
                pictures=drawn,
                not_drawn=not_drawn or ("" if pictures else "they were left out"),
                on_progress=on_progress,
                prepared=prepared,
            )
            paths += sheet.paths
            no_pdf = sheet.no_pdf
        paths.append(stage / "report.json")
        names = [path.relative_to(stage) for path in paths]
        report = report_of(
            result,
            [name.as_posix() for name in names],
            not_drawn,
            prepared,
            models_data(figures, mesh_tolerance),
        )
        write_report(paths[-1], report)
    modelled = any(path.suffix == ".stl" for path in paths)
    no_3mf = why_not() if modelled else ""
    return Files(tuple(folder / name for name in names), not_drawn, no_pdf, no_3mf, report)


def _scene_models(
    result: Result, drape: Draped, folder: Path, tolerance: float | None, on_progress: Progress
) -> list[Path]:
    """Placement of a piece at rest, and its models unless their tolerance [mm] is None."""
    on_progress("writing placement and models" if tolerance is not None else "writing the placement")
    placement = folder / "placement.json"
    write_placement(placement, drape.graph, drape.rings)
    if tolerance is None:
        return [placement]
    design = result.design
    metals = worn_metals(design, result.placement, drape.graph)
    placed = Placed(drape.rings, drape.graph, metals, design.title, design.date)
    return [placement, *write_models(folder, "piece", placed, tolerance=tolerance).paths]


def _scene_pictures(result: Result, drape: Draped, folder: Path, on_progress: Progress) -> list[Path]:
    """Pictures, turning view and film of a piece at rest."""
    return draw_scene(
        folder,
        drape.rings,
        drape.solids,
        drape.scene.kind.value,
        look=look_of(worn_metals(result.design, result.placement, drape.graph), drape.graph),
        frames=drape.frames,
        on_progress=lambda name: on_progress(f"drawing {name}"),
    )
