"""The commands `make` and `check`."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chaingen.cli.app import DESIGN, JSON, QUIET, SETTINGS, length_of, print_result, progress, say
from chaingen.cli.process import PROCESS, with_process

if TYPE_CHECKING:
    from collections.abc import Sequence

    from chaingen.design.bench import Bench
    from chaingen.design.design import Design
    from chaingen.design.scene import Scene
    from chaingen.make.result import Result

SCENES = ("hang", "swag", "table", "wrist", "neck", "corners", "edge")
"""The scenes of `chaingen make --scene`; a test keeps them equal to the kinds there are."""


@click.command()
@DESIGN
@SETTINGS
@click.option(
    "--out", "folder", type=click.Path(path_type=Path), help="Folder for everything; out/NAME by default."
)
@click.option(
    "--mesh-tolerance",
    help="Farthest the models may lie from the true surface; 0.01 mm unless told otherwise.",
)
@click.option(
    "--triangles",
    type=click.IntRange(min=1),
    help="Make the models as fine as so many triangles allow, instead of --mesh-tolerance.",
)
@PROCESS
@click.option("--models-anyway", is_flag=True, help="Write models also of a piece that does not fit.")
@click.option("--pictures/--no-pictures", default=True, help="Draw pictures (the default) or leave them out.")
@click.option(
    "--scene",
    "scenes",
    multiple=True,
    type=click.Choice(SCENES),
    help="Let the piece come to rest in this scene instead of the design's; may be given several times.",
)
@click.option("--no-scenes", is_flag=True, help="Leave the design's scenes out.")
@click.option("--friction", type=click.FloatRange(0.0, 2.0), help="Coefficient of friction of all scenes.")
@click.option(
    "--disorder", type=click.FloatRange(0.0, 1.0), help="Shake the piece first, 0 to 1, in all scenes."
)
@click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), help="Which disorder; an equal seed gives an equal rest."
)
@click.option("--settling", is_flag=True, help="Make a film of the way to rest in all scenes.")
@click.option(
    "--sheet/--no-sheet", default=True, help="Write the maker's sheet (the default) or leave it out."
)
@click.option(
    "--units",
    type=click.Choice(("metric", "inch", "both")),
    help="Units of the maker's sheet; the design's, or both.",
)
@click.option(
    "--hand-out",
    is_flag=True,
    help="Make the sheet for others: without prices, rings at hand and the order of a class.",
)
@click.option("--paper", type=click.Choice(("A4", "Letter")), help="Paper of sheet.pdf; the design's, or A4.")
@click.option("--supple", is_flag=True, help="Find how far the piece bends and twists.")
@JSON
@QUIET
@click.pass_context
def make(
    ctx: click.Context,
    design: Path,
    settings: Path | None,
    folder: Path | None,
    mesh_tolerance: str | None,
    triangles: int | None,
    process: str | None,
    models_anyway: bool,
    pictures: bool,
    scenes: tuple[str, ...],
    no_scenes: bool,
    friction: float | None,
    disorder: float | None,
    seed: int | None,
    settling: bool,
    sheet: bool,
    units: str | None,
    hand_out: bool,
    paper: str | None,
    supple: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Make everything from a DESIGN file: verdict, models, pictures, scenes, report."""
    from dataclasses import replace

    from chaingen.design.load import load_design
    from chaingen.pipeline import build, drape, export, for_service, plan

    if mesh_tolerance is not None and triangles is not None:
        _refuse_two_finenesses()
    tolerance = length_of("--mesh-tolerance", mesh_tolerance or "0.01 mm", 1e-4, 1.0)
    loaded = with_process(load_design(design, settings=settings), process)
    asked = {"friction": friction, "disorder": disorder, "seed": seed, "settling": settling or None}
    chosen = _scenes(
        loaded, scenes, no_scenes, {key: value for key, value in asked.items() if value is not None}
    )
    if supple:
        _refuse_supple(loaded)
    loaded = replace(
        loaded, scenes=chosen, supple=supple or loaded.supple, bench=_bench(loaded, units, paper, hand_out)
    )
    folder = folder if folder is not None else Path("out") / design.stem
    with progress(not quiet) as tell:
        result = build(loaded, on_progress=tell)
        if triangles is not None:
            tolerance = _fineness(result, triangles)
        if sheet:
            result = plan(result, on_progress=tell)
        result = drape(result, on_progress=tell)
        prepared = for_service(result, mesh_tolerance=tolerance, most_triangles=triangles, on_progress=tell)
        files = export(
            result,
            folder,
            mesh_tolerance=tolerance,
            models_anyway=models_anyway,
            pictures=pictures,
            prepared=prepared,
            on_progress=tell,
        )
    relative = [path.relative_to(folder).as_posix() for path in files.paths]
    print_result(result, files.report, as_json, quiet, prepared)
    if files.not_drawn:
        click.echo(f"no pictures: {files.not_drawn}", err=True)
    if not as_json and not quiet:
        if files.no_pdf:
            say(f"No sheet.pdf: {files.no_pdf}")
        if files.no_3mf:
            say(f"No piece.3mf: {files.no_3mf}")
        if not result.fits and not models_anyway:
            say("No models were written, since it does not fit; --models-anyway writes the best try.")
            if (folder / "models" / "piece.stl").exists():
                say(f"Beware: the models in {folder / 'models'} are from an earlier run, not of this design.")
        if left := _earlier(folder, files.paths):
            say(f"Beware: in {folder} these are from an earlier run: {', '.join(left)}.")
        say(f"Written to {folder}: {', '.join(relative)}")
    ctx.exit(result.exit_code)


def _scenes(
    design: "Design", kinds: tuple[str, ...], none: bool, settings: dict[str, Any]
) -> "tuple[Scene, ...]":
    """The scenes to make: the design's, or those of the kinds asked for, with settings that go for all."""
    from dataclasses import replace

    from chaingen.design.form import form_of, scene_problem
    from chaingen.design.scene import Scene, SceneKind
    from chaingen.errors import BadInput, Problem

    if none and (kinds or settings):
        raise BadInput([Problem("--no-scenes", "options of scenes beside it", "one or the other")])
    if none:
        return ()
    chosen = list(design.scenes)
    if kinds:
        known = {kind: [scene for scene in chosen if scene.kind.value == kind] for kind in kinds}
        chosen = [scene for kind, found in known.items() for scene in found or [Scene(SceneKind(kind))]]
    form = form_of(design.piece)
    foreign = [problem for scene in chosen if (problem := scene_problem(form, scene.kind, "--scene"))]
    if foreign:
        raise BadInput(foreign)
    if "seed" in settings and not settings.get("disorder") and not all(scene.disorder for scene in chosen):
        raise BadInput([Problem("--seed", "a seed without disorder", "--disorder over 0 beside it")])
    if settings and not chosen:
        options = ", ".join(f"--{name}" for name in settings)
        raise BadInput([Problem(options, "no scene to go with", "scenes in the design, or --scene")])
    return tuple(replace(scene, **settings) for scene in chosen)


def _fineness(result: "Result", triangles: int) -> float:
    """The mesh tolerance of the finest models of so many triangles [mm]."""
    from chaingen.model.budget import tolerance_for
    from chaingen.model.templates import holes_of

    holes = holes_of(member.size for member in result.placement.graph.members)
    return tolerance_for(result.placement.rings, triangles, holes)


def _earlier(folder: Path, written: "Sequence[Path]") -> list[str]:
    """Files for a service that an earlier run left beside those written now."""
    from chaingen.prepare.write import FOLDER

    known = set(written)
    found = [*(folder / FOLDER).glob("*.*"), *folder.glob(f"scenes/*/{FOLDER}/*.*")]
    return sorted(path.relative_to(folder).as_posix() for path in found if path not in known)


def _refuse_two_finenesses() -> None:
    from chaingen.errors import BadInput, Problem

    raise BadInput([Problem("--triangles", "--mesh-tolerance beside it", "one or the other")])


def _bench(design: "Design", units: str | None, paper: str | None, hand_out: bool) -> "Bench":
    """The design's bench, with what is asked for of the sheet."""
    from dataclasses import replace

    from chaingen.design.bench import Paper, Units

    bench = replace(design.bench, hand_out=hand_out or design.bench.hand_out)
    if units is not None:
        bench = replace(bench, units=Units(units))
    return bench if paper is None else replace(bench, paper=Paper(paper))


def _refuse_supple(design: "Design") -> None:
    from chaingen.design.form import form_of, is_turning, supple_problem
    from chaingen.errors import BadInput

    problem = supple_problem(form_of(design.piece), is_turning(design.piece), "--supple")
    if problem:
        raise BadInput([problem])


@click.command()
@DESIGN
@SETTINGS
@PROCESS
@JSON
@QUIET
@click.pass_context
def check(
    ctx: click.Context, design: Path, settings: Path | None, process: str | None, as_json: bool, quiet: bool
) -> None:
    """Say whether a DESIGN goes together, writing nothing."""
    from chaingen.design.load import load_design
    from chaingen.pipeline import build
    from chaingen.show.report import report_of

    loaded = with_process(load_design(design, settings=settings), process)
    with progress(not quiet) as tell:
        result = build(loaded.bare(), on_progress=tell)
    print_result(result, report_of(result), as_json, quiet)
    ctx.exit(result.exit_code)
