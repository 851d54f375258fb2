"""The command line: parse, call, print, exit code. Only click is loaded until a command runs.

Exit codes: 0 it fits (or the command did what was asked), 1 it does not fit or no fit was found, 2 bad input
or nothing could be written, 3 the search did not converge.
"""

import io
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from chaingen.design.design import Design
    from chaingen.design.scene import Scene
    from chaingen.make.result import Result
    from chaingen.weave.weave import Weave

BAD_INPUT = 2
INTERRUPTED = 130
BROKEN = 70
"""Exit code for a fault of the program itself (EX_SOFTWARE of BSD's sysexits)."""

CHAINS = (
    "one-in-one",
    "two-in-one",
    "two-in-two",
    "three-in-three",
    "rosette-chain",
    "rosette-pairs",
    "rosette",
)
"""The chains of `chaingen new`; a test keeps them equal to the starters, which are not loaded for --help."""

SCENES = ("hang", "swag", "table", "wrist", "neck", "corners", "edge")
"""The scenes of `chaingen make --scene`; a test keeps them equal to the kinds there are."""

WANTS_JSON = "chaingen.json"
"""Key of the flag in click's shared notes."""

PROGRESS_AFTER = 1.0
"""Seconds after which progress is shown."""


def say(text: str) -> None:
    """Print a line for people."""
    click.echo(text)


class Commands(click.Group):
    """Turns every error into a message and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command."""
        from chaingen.errors import BadInput, ChaingenError

        for stream in (sys.stdout, sys.stderr):
            # A terminal that lacks a letter shows a stand-in instead of failing.
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
        try:
            return super().invoke(ctx)
        except BadInput as error:
            if ctx.meta.get(WANTS_JSON):
                fields = ("where", "got", "expected", "advice")
                click.echo(
                    json.dumps(
                        {"problems": [{f: getattr(p, f) for f in fields} for p in error.problems]}, indent=2
                    )
                )
            for problem in error.problems:
                click.echo(f"error: {problem}", err=True)
            ctx.exit(BAD_INPUT)
        except ChaingenError as error:
            click.echo(f"error: {error}", err=True)
            ctx.exit(BAD_INPUT)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            # Whoever read the output has gone; nothing more can be told.
            sys.stderr.close()
            ctx.exit(0)
        except Exception as error:
            if os.environ.get("CHAINGEN_DEBUG"):
                raise
            kind = "memory ran out" if isinstance(error, MemoryError) else f"{type(error).__name__}: {error}"
            click.echo(f"error: a fault in chaingen itself ({kind}); CHAINGEN_DEBUG=1 shows where", err=True)
            ctx.exit(BROKEN)


@contextmanager
def progress(show: bool) -> Iterator[Callable[[str], None]]:
    """Show what is being done on the terminal's error stream once it takes longer than a second."""
    if not show or not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    console = Console(stderr=True)
    started = time.monotonic()
    status = console.status("")
    shown = False

    def tell(text: str) -> None:
        nonlocal shown
        status.update(f"{text} ({time.monotonic() - started:.0f} s)")

    import threading

    def appear() -> None:
        nonlocal shown
        shown = True
        status.start()

    timer = threading.Timer(PROGRESS_AFTER, appear)
    timer.daemon = True
    timer.start()
    try:
        yield tell
    finally:
        timer.cancel()
        if shown:
            status.stop()


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="chaingen", message="%(prog)s %(version)s")
def main() -> None:
    """Place, check, picture and export chains of wire rings.

    A design is one readable TOML file; `chaingen new` writes one to start from. `chaingen weaves` lists the
    weaves that are known by name.

    Exit codes: 0 it fits, 1 it does not fit or no fit was found, 2 bad input, 3 the search did not converge.
    """


DESIGN = click.argument("design", type=click.Path(path_type=Path))


def _note_json(ctx: click.Context, _: click.Parameter, value: bool) -> bool:
    """Remember where errors are told that they should be JSON too."""
    ctx.meta[WANTS_JSON] = value
    return value


JSON = click.option(
    "--json", "as_json", is_flag=True, callback=_note_json, help="Print the report as JSON instead of words."
)
QUIET = click.option("--quiet", is_flag=True, help="Leave the words out; errors are still told.")


def _print(result: "Result", report: dict[str, Any], as_json: bool, quiet: bool) -> None:
    if as_json:
        say(json.dumps(report, indent=2))
    elif not quiet:
        from chaingen.show.words import rest_lines, verdict_lines

        say(result.design.title)
        for line in verdict_lines(result) + rest_lines(result):
            say(line)


@main.command()
@DESIGN
@click.option(
    "--out", "folder", type=click.Path(path_type=Path), help="Folder for everything; out/NAME by default."
)
@click.option(
    "--mesh-tolerance",
    default="0.01 mm",
    show_default=True,
    help="Farthest the models may lie from the true surface.",
)
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
@click.option("--supple", is_flag=True, help="Find how far the piece bends and twists.")
@JSON
@QUIET
@click.pass_context
def make(
    ctx: click.Context,
    design: Path,
    folder: Path | None,
    mesh_tolerance: str,
    models_anyway: bool,
    pictures: bool,
    scenes: tuple[str, ...],
    no_scenes: bool,
    friction: float | None,
    disorder: float | None,
    seed: int | None,
    settling: bool,
    supple: bool,
    as_json: bool,
    quiet: bool,
) -> None:
    """Make everything from a DESIGN file: verdict, models, pictures, scenes, report."""
    from dataclasses import replace

    from chaingen.design.load import load_design
    from chaingen.pipeline import build, drape, export
    from chaingen.show.report import report_of

    tolerance = _length("--mesh-tolerance", mesh_tolerance, 1e-4, 1.0)
    loaded = load_design(design)
    asked = {"friction": friction, "disorder": disorder, "seed": seed, "settling": settling or None}
    chosen = _scenes(
        loaded, scenes, no_scenes, {key: value for key, value in asked.items() if value is not None}
    )
    if supple:
        _refuse_supple(loaded)
    loaded = replace(loaded, scenes=chosen, supple=supple or loaded.supple)
    folder = folder if folder is not None else Path("out") / design.stem
    with progress(not quiet) as tell:
        result = drape(build(loaded, on_progress=tell), on_progress=tell)
        files = export(
            result,
            folder,
            mesh_tolerance=tolerance,
            models_anyway=models_anyway,
            pictures=pictures,
            on_progress=tell,
        )
    relative = [path.relative_to(folder).as_posix() for path in files.paths]
    _print(result, report_of(result, relative, files.not_drawn), as_json, quiet)
    if files.not_drawn:
        click.echo(f"no pictures: {files.not_drawn}", err=True)
    if not as_json and not quiet:
        if not result.fits and not models_anyway:
            say("No models were written, since it does not fit; --models-anyway writes the best try.")
            if (folder / "models" / "piece.stl").exists():
                say(f"Beware: the models in {folder / 'models'} are from an earlier run, not of this design.")
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


def _refuse_supple(design: "Design") -> None:
    from chaingen.design.form import form_of, is_turning, supple_problem
    from chaingen.errors import BadInput

    problem = supple_problem(form_of(design.piece), is_turning(design.piece), "--supple")
    if problem:
        raise BadInput([problem])


@main.command()
@DESIGN
@JSON
@QUIET
@click.pass_context
def check(ctx: click.Context, design: Path, as_json: bool, quiet: bool) -> None:
    """Say whether a DESIGN goes together, writing nothing."""
    from chaingen.design.load import load_design
    from chaingen.pipeline import build
    from chaingen.show.report import report_of

    loaded = load_design(design)
    with progress(not quiet) as tell:
        result = build(loaded.bare(), on_progress=tell)
    _print(result, report_of(result), as_json, quiet)
    ctx.exit(result.exit_code)


def _length(option: str, text: str, low: float, high: float) -> float:
    from chaingen.errors import BadInput, Problem
    from chaingen.units import UnreadableLength, format_mm, parse_length

    try:
        value = parse_length(text)
    except UnreadableLength as error:
        raise BadInput([Problem(option, repr(text), str(error))]) from None
    if not low <= value <= high:
        raise BadInput([Problem(option, format_mm(value, 6), f"{format_mm(low, 6)} to {format_mm(high)}")])
    return value


def _wires(text: str) -> list[float]:
    from chaingen.errors import BadInput, Problem
    from chaingen.stock.gauges import parse_wire
    from chaingen.tables import WIRE_LIMITS
    from chaingen.units import UnreadableLength, format_mm

    values, problems = [], []
    low, high = WIRE_LIMITS
    for part in text.split(","):
        try:
            value = parse_wire(part)
        except UnreadableLength as error:
            problems.append(Problem("--wires", repr(part.strip()), str(error)))
            continue
        if low <= value <= high:
            values.append(value)
        else:
            problems.append(Problem("--wires", repr(part.strip()), f"{format_mm(low)} to {format_mm(high)}"))
    if problems:
        raise BadInput(problems)
    return values


@main.command()
@DESIGN
@click.option("--ring", help="Name of the ring size to vary; may be left out when the pattern uses one.")
@click.option("--insides", help='Inside diameters, such as "3 mm, 3.5 mm, 4 mm".')
@click.option("--wires", help='Wires, such as "20 AWG, 18 AWG, 1.2 mm".')
@JSON
@QUIET
@click.pass_context
def sizes(
    ctx: click.Context,
    design: Path,
    ring: str | None,
    insides: str | None,
    wires: str | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """Say how tight the pattern of a DESIGN can be, and which sizes suit it."""
    from chaingen.design.load import load_design
    from chaingen.pipeline import size_overview
    from chaingen.show.words import borders_line, table_rows, tightest_lines

    loaded = load_design(design)
    with progress(not quiet) as tell:
        overview = size_overview(
            loaded,
            ring=ring,
            insides=[_length("--insides", part, 0.2, 500.0) for part in insides.split(",")]
            if insides
            else None,
            wires=_wires(wires) if wires else None,
            on_progress=tell,
        )
    if as_json:
        say(json.dumps(overview.as_data(), indent=2))
        return
    if quiet:
        return
    for line in tightest_lines(overview.tightest):
        say(line)
    head, rows = table_rows(overview.table)
    title = f"Smallest gap in mm for ring size {overview.ring!r}, and how it feels"
    _print_table(title, head, rows, narrow=len(head))
    say(borders_line())


def _print_table(title: str, head: list[str], rows: list[list[str]], *, narrow: int) -> None:
    """Print a table; its first `narrow` columns are never broken into lines."""
    from rich.console import Console
    from rich.table import Table

    table = Table(title=title or None, title_justify="left")
    for number, text in enumerate(head):
        table.add_column(text, no_wrap=number < narrow)
    for row in rows:
        table.add_row(*row)
    width = None if sys.stdout.isatty() else 40 + 24 * len(head)
    # Names and lines of files are shown as they stand, without rich's own signs.
    Console(width=width, highlight=False, markup=False, emoji=False).print(table)


@main.command()
@click.option("--weave", is_flag=True, help="The schema of a weave file instead.")
def schema(weave: bool) -> None:
    """Print the JSON Schema of a design file, for editors."""
    from chaingen.design.schema import json_schema
    from chaingen.weave.weave_schema import weave_json_schema

    say(json.dumps(weave_json_schema() if weave else json_schema(), indent=2, ensure_ascii=False))


@main.command()
@click.argument("name", required=False)
@click.option("--picture", type=click.Path(path_type=Path), help="Draw a few cells into this PNG file.")
@click.option(
    "--write", type=click.Path(path_type=Path), help="Write the weave as a file to edit; - prints it alone."
)
@click.option("--force", is_flag=True, help="Replace files that are there.")
@JSON
@QUIET
def weaves(
    name: str | None, picture: Path | None, write: Path | None, force: bool, as_json: bool, quiet: bool
) -> None:
    """List the weaves that are known by name, or show the one called NAME (or the one in a weave file)."""
    from chaingen.errors import BadInput, Problem

    if name is None:
        given = [option for option, value in (("--picture", picture), ("--write", write)) if value]
        if given:
            raise BadInput([Problem(option, "no weave", "the name of a weave before it") for option in given])
        _list_weaves(as_json, quiet)
        return
    from chaingen.design.weaves import is_file, named_weave

    weave = named_weave(name, where="NAME")
    name = name if is_file(name) else weave.name
    if picture is not None:
        if picture.suffix.lower() != ".png":
            raise BadInput([Problem("--picture", repr(str(picture)), "a file that ends in .png")])
        _refuse_to_replace(picture, force)
    if write is not None:
        _write_weave(weave, write, force)
        if str(write) == "-":
            return
    _show_weave(weave, name, picture, as_json, quiet)
    if write is not None and not (as_json or quiet):
        say(f"Wrote {write}; a design takes it as weave = {json.dumps(write.as_posix())}")


def _list_weaves(as_json: bool, quiet: bool) -> None:
    from chaingen.show.weave_words import LIST_HEAD, list_data, list_row
    from chaingen.weave.catalogue import find_weave, weave_names

    known = [find_weave(name) for name in weave_names()]
    if as_json:
        say(json.dumps([list_data(weave) for weave in known], indent=2))
    elif not quiet:
        _print_table("", list(LIST_HEAD), [list(list_row(weave)) for weave in known], narrow=3)
        say("chaingen weaves NAME shows one; chaingen new --weave NAME writes a design that uses it.")


def _write_weave(weave: "Weave", path: Path, force: bool) -> None:
    from chaingen.files import write_text
    from chaingen.weave.weave_file import weave_text

    text = weave_text(weave)
    if str(path) == "-":
        click.echo(text, nl=False)
        return
    _refuse_to_replace(path, force)
    write_text(path, text)


def _show_weave(weave: "Weave", name: str, picture: Path | None, as_json: bool, quiet: bool) -> None:
    from chaingen.show.weave_picture import draw_weave, sample_piece
    from chaingen.show.weave_words import picture_of, weave_data, weave_lines
    from chaingen.solve.sizes import tightest

    with progress(not quiet) as tell:
        if picture is not None:
            tell("drawing")
            draw_weave(weave, picture)
        if quiet and not as_json:
            return
        tell("finding the tightest")
        tight = tightest(sample_piece(weave))
    kept = picture_of(weave, name)
    if as_json:
        shown = str(picture) if picture is not None else kept
        say(json.dumps(weave_data(weave, tight, name, shown), indent=2))
        return
    for line in weave_lines(weave, tight, name):
        say(line)
    if picture is not None:
        say(f"Picture: {picture}")
    elif kept:
        say(f"Picture: {kept} in the project's own pictures; --picture FILE.png draws one.")
    else:
        say("Picture: --picture FILE.png draws one.")


def _refuse_to_replace(path: Path, force: bool) -> None:
    from chaingen.errors import BadInput, Problem

    if path.exists() and not force:
        raise BadInput(
            [Problem(str(path), "a file that is there already", "a new name", "--force replaces it")]
        )


@main.command()
@click.argument("path", type=click.Path(path_type=Path), default=Path("design.toml"))
@click.option("--chain", type=click.Choice(CHAINS), help="The chain of groups to start from.")
@click.option("--weave", help="A weave to start from instead: its name, or a weave file.")
@click.option("--inside", help='Inside diameter, such as "4 mm".')
@click.option("--wire", help='Wire, such as "18 AWG".')
@click.option("--metal", default="sterling silver", show_default=True)
@click.option("--title", help="Title of the piece.")
@click.option("--repeat", type=int, help="How many times the groups or cells are made.")
@click.option("--length", help='Finished length instead, such as "7 1/4 in".')
@click.option("--columns", type=int, help="Cells of a sheet along.")
@click.option("--rows", type=int, help="Cells of a sheet across.")
@click.option("--outline", help='What a sheet is cut to instead: "circle:30 mm" or "drop:20 mm,34 mm".')
@click.option("--hand", type=click.Choice(["left", "right"]), help="The hand of a weave that has one.")
@click.option("--rosette", type=int, default=3, show_default=True, help="Rings in a rosette.")
@click.option("--clearance", default="0 mm", show_default=True, help="Gap asked for between wires.")
@click.option("--closed", is_flag=True, help="A closed loop instead of an open run.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@QUIET
def new(path: Path, chain: str | None, weave: str | None, force: bool, quiet: bool, **options: Any) -> None:
    """Write a commented starter design to PATH (design.toml by default; - prints it)."""
    from chaingen.design.load import parse_design
    from chaingen.errors import BadInput, Problem
    from chaingen.files import write_text

    if chain is not None and weave is not None:
        raise BadInput([Problem("--chain and --weave", "both", "one of the two")])
    if chain is None and weave is None:
        chain, weave = _choose_start()
    if chain is not None:
        text = trial = _chain_start(chain, options)
    else:
        folder = Path() if str(path) == "-" else path.parent
        text, trial = _weave_start(str(weave), folder, options)
    parse_design(trial, source="the new design")
    if str(path) == "-":
        click.echo(text, nl=False)
        return
    _refuse_to_replace(path, force)
    write_text(path, text)
    if not quiet:
        say(f"Wrote {path}. Next: chaingen make {path}")


def _choose_start() -> tuple[str | None, str | None]:
    """Ask a person for a chain or a weave to start from."""
    from chaingen.design.starter import STARTERS
    from chaingen.errors import BadInput, Problem
    from chaingen.weave.catalogue import find_weave, weave_names

    if not sys.stdin.isatty():
        choice = f"one of {', '.join(CHAINS)}; or --weave with a weave, which chaingen weaves lists"
        raise BadInput([Problem("--chain", "nothing", choice)])
    for name, starter in STARTERS.items():
        say(f"{name}: {starter.about}")
    others = [name for name in weave_names() if name not in CHAINS]
    for name in others:
        say(f"{name}: {find_weave(name).about}")
    chosen = click.prompt(
        "Which chain or weave",
        type=click.Choice([*CHAINS, *others]),
        default="two-in-one",
        show_choices=False,
    )
    return (chosen, None) if chosen in CHAINS else (None, chosen)


def _chain_start(chain: str, options: dict[str, Any]) -> str:
    from chaingen.design.starter import starter_design
    from chaingen.errors import BadInput, Problem

    foreign = [key for key in ("columns", "rows", "outline", "hand") if options.pop(key) is not None]
    if foreign:
        raise BadInput([Problem(f"--{key}", f"--{key} with --chain", "--weave beside it") for key in foreign])
    return starter_design(chain, **options)


def _weave_start(name: str, folder: Path, options: dict[str, Any]) -> tuple[str, str]:
    """A starter design for a weave, and the same to be tried before its folder is there."""
    from chaingen.design.weave_starter import starter_weave
    from chaingen.design.weaves import is_file, named_weave

    options.pop("rosette")
    weave = named_weave(name, where="--weave")
    if not is_file(name):
        text = starter_weave(weave, **options)
        return text, text
    # The design names the file from where it will lie itself.
    path = os.path.realpath(name)
    try:
        called = os.path.relpath(path, os.path.realpath(folder))
    except ValueError:  # on another drive
        called = path
    text, trial = (starter_weave(weave, name=Path(way).as_posix(), **options) for way in (called, path))
    return text, trial


@main.command()
@DESIGN
def view(design: Path) -> None:
    """Open a DESIGN in an interactive window."""
    from chaingen.design.load import load_design
    from chaingen.pipeline import build
    from chaingen.show.look import look_of
    from chaingen.show.window import open_window

    loaded = load_design(design)
    with progress(True) as tell:
        result = build(loaded.bare(), on_progress=tell)
    _print(result, {}, False, False)
    open_window(
        result.placement.rings,
        look=look_of(result.metals),
        collided=result.collided,
        title=result.design.title,
    )


if __name__ == "__main__":
    main()
