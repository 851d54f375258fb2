"""From a design file to a `Design`, or to every problem in it at once."""

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from chaingen.design.bench_schema import SettingsTable
from chaingen.design.beside import MOST_SEALED_BYTES
from chaingen.design.design import Design
from chaingen.design.fastenings import fastening_problems
from chaingen.design.finding_names import finding_name_problems
from chaingen.design.finding_schema import finding_of
from chaingen.design.metal_schema import COLOURS
from chaingen.design.metals import (
    bitmap_problems,
    colour_names,
    colour_problems,
    metal_of,
    palette_of,
    pattern_of,
)
from chaingen.design.pattern_schema import PatternTable
from chaingen.design.piece_problems import piece_problems
from chaingen.design.pieces import ends_of, piece_of
from chaingen.design.problems import name_problems, rest_problems
from chaingen.design.scene import Scene, SceneKind
from chaingen.design.schema import DesignTable, SceneTable
from chaingen.design.service_early import early_service_problems
from chaingen.design.service_problems import service_problems
from chaingen.design.service_schema import service_of
from chaingen.design.settings import bench_of, bench_problems, load_settings, sealed_settings
from chaingen.design.weaves import Weaves, find_weaves
from chaingen.errors import BadInput, Problem
from chaingen.findings.finding import Finding
from chaingen.stock.ease import EASES
from chaingen.tables import MOST_BYTES, FileKind, limited, parse_toml, read_text, value_problems
from chaingen.weave.groups import RingSize

MOST_LEVELS = 32
"""Tables and lists nested deeper are those of no design."""

_GROUPS = "a list of groups, such as [{ side_by_side = 2 }]"

_METALS = 'a list of metals, such as ["sterling silver", "copper"]'

_FILE = FileKind(
    whole="the design",
    file="a design file",
    root=DesignTable,
    lists={
        "first": _GROUPS,
        "groups": _GROUPS,
        "last": _GROUPS,
        "joins": 'a list of groups, such as [{ join = 1, ring = "link" }]',
        "beads": 'beads as [[findings.NAME.beads]] with form = "ball"',
        "sections": "sections as [[pattern.sections]] with groups or weave",
        "stripes": _METALS,
        "checks": _METALS,
        "trials": "trial coils as [[bench.trials]]",
        "owned": "rings at hand as [[owned]] with count = 100",
        "build": 'three lengths, such as ["100 mm", "100 mm", "100 mm"]',
        "soldered": 'pairs of bodies, such as [["1a", "1b"]]',
        "scenes": 'scenes as [[scenes]] with kind = "hang"',
    },
    start="chaingen new writes a design to start from",
)


def load_design(path: str | os.PathLike[str], *, settings: str | os.PathLike[str] | None = None) -> Design:
    """Read a design file.

    Args:
        path: A TOML file.
        settings: A settings file that says how its maker works; what the design says goes first.

    Raises:
        BadInput: With every problem found, each naming its place.

    Example:
        >>> from pathlib import Path
        >>> from tempfile import TemporaryDirectory
        >>> from chaingen import load_design
        >>> from chaingen.design.starter import starter_design
        >>> with TemporaryDirectory() as folder:
        ...     path = Path(folder) / "design.toml"
        ...     _ = path.write_text(starter_design("two-in-two", title="Slipway"))
        ...     load_design(path).title
        'Slipway'
    """
    text = read_text(path, _FILE)
    return parse_design(text, source=str(path), folder=Path(path).parent, settings=settings)


def parse_design(
    text: str,
    *,
    source: str = "design",
    folder: str | os.PathLike[str] = ".",
    settings: str | os.PathLike[str] | None = None,
    sealed: bool = False,
) -> Design:
    """Read the text of a design file.

    Args:
        text: TOML.
        source: What to call the file in messages.
        folder: Where the paths of files that it names start.
        settings: A settings file; it stands for the one that the design names.
        sealed: Whether files that it names are looked for in the folder alone, by the last part of their
            paths, so that a design from elsewhere reads no other file; and texts longer than
            `MOST_SEALED_BYTES` are refused.

    Raises:
        BadInput: With every problem found.

    Example:
        >>> from chaingen import BadInput, parse_design
        >>> from chaingen.design.starter import starter_design
        >>> try:
        ...     parse_design(starter_design("two-in-one", wire="18 gauge"))
        ... except BadInput as error:
        ...     [problem.where for problem in error.problems]
        ['rings.link.wire']
    """
    data = parse_design_toml(text, source, most=MOST_SEALED_BYTES if sealed else MOST_BYTES)
    weaves, not_had = find_weaves(data, folder, sealed=sealed)
    named, named_findings = name_problems(data, weaves), finding_name_problems(data, weaves)
    problems = named + not_had + colour_problems(data) + bitmap_problems(data)
    told_settings, unreadable = _settings(data, folder, settings, sealed=sealed)
    problems += unreadable
    resting = rest_problems(data, weaves)
    problems += resting + named_findings
    fits = not (named or not_had or named_findings)
    try:
        table = DesignTable.model_validate(data, context={COLOURS: colour_names(data)})
    except ValidationError as error:
        # A kind of scene that is none is told with those that suit the piece, where its form is known.
        kinds = {problem.where for problem in resting if problem.where.endswith(".kind")}
        told = [problem for problem in value_problems(error, _FILE) if problem.where not in kinds]
        problems = told + problems + early_service_problems(data, weaves, fits=fits)
        raise BadInput(limited(dict.fromkeys(problems), _FILE)) from None
    findings, impossible = _findings(table)
    own = own_settings(table)
    problems += impossible + bench_problems(own, told_settings, list(table.rings), list(table.findings))
    if problems:
        problems += early_service_problems(data, weaves, fits=fits)
    else:
        design = _design(table, findings, weaves)
        design = replace(design, bench=bench_of(own, told_settings), source=text)
        problems = piece_problems(design) + fastening_problems(design) + service_problems(design)
    if problems:
        raise BadInput(limited(dict.fromkeys(problems), _FILE))
    return design


def parse_design_toml(text: str, source: str = "design", *, most: int = MOST_SEALED_BYTES) -> dict[str, Any]:
    """What the text of a design file says, not judged yet.

    Args:
        text: TOML.
        source: What to call the file in messages.
        most: How many bytes it may have.

    Raises:
        BadInput: It is no TOML, is longer, or its tables are nested deeper than any design's.
    """
    try:
        size = len(text.encode())
    except UnicodeEncodeError:
        expected = f"{_FILE.file}: TOML in UTF-8"
        raise BadInput([Problem(source, "text that is not Unicode", expected)]) from None
    if size > most:
        raise BadInput([Problem(source, f"over {most:,} bytes", f"{_FILE.file}, which is far shorter")])
    data = parse_toml(text, source, _FILE)
    level: list[Any] = [data]
    for _ in range(MOST_LEVELS):
        inner = (one.values() if isinstance(one, dict) else one for one in level)
        level = [one for entries in inner for one in entries if isinstance(one, dict | list)]
        if not level:
            return data
    raise BadInput([Problem(source, "tables nested too deeply", _FILE.file)])


def _settings(
    data: Mapping[str, Any],
    folder: str | os.PathLike[str],
    given: str | os.PathLike[str] | None,
    *,
    sealed: bool,
) -> tuple[SettingsTable | None, list[Problem]]:
    """The settings file that is given, or else that the design names; and what is wrong with it."""
    named = data.get("settings")
    try:
        if given is not None:
            return load_settings(given, where="--settings"), []
        if isinstance(named, str) and sealed:
            return sealed_settings(named, folder), []
        if isinstance(named, str):
            return load_settings(Path(folder) / named), []
    except BadInput as error:
        return None, list(error.problems)
    return None, []


def own_settings(table: DesignTable) -> SettingsTable:
    """What a design itself says of the bench."""
    said = {name: getattr(table, name) for name in SettingsTable.model_fields}
    return SettingsTable.model_construct(**{k: v for k, v in said.items() if v is not None})


def _findings(table: DesignTable) -> tuple[dict[str, Finding], list[Problem]]:
    """The findings of a design by name, and what is wrong with those that cannot be made."""
    made, problems = {}, []
    for name, entry in table.findings.items():
        found = finding_of(name, entry)
        if isinstance(found, Finding):
            made[name] = found
        else:
            problems += found
    return made, problems


def _design(table: DesignTable, findings: Mapping[str, Finding], weaves: Weaves) -> Design:
    """The design that a table says whose keys and values are right."""
    sizes = {name: RingSize(name, ring.inside, ring.wire) for name, ring in table.rings.items()}
    palette = palette_of(table.colours)
    ends = ends_of(table.ends, sizes, findings)
    piece, middle = piece_of(table.pattern, sizes, findings, weaves, ends)
    length, measure = _length(table.pattern)
    design = Design(
        title=table.title,
        metal=metal_of(table.metal, palette),
        piece=piece,
        length=length,
        clearance=table.clearance,
        own_clearance=table.clearance,
        tolerance=table.tolerance,
        ring_sizes=tuple(sizes.values()),
        supple=table.supple,
        scenes=tuple(_scene(entry, table.pattern) for entry in table.scenes),
        size_metals=tuple(
            (name, metal_of(ring.metal, palette))
            for name, ring in [*table.rings.items(), *table.findings.items()]
            if ring.metal is not None
        ),
        metal_pattern=pattern_of(table.metal_pattern, palette),
        findings=tuple(findings.values()),
        ends=ends,
        middle=middle,
        pair=table.pair,
        measure=measure,
        date=table.date,
    )
    return design if table.service is None else design.served_by(service_of(table.service))


def _length(table: PatternTable) -> tuple[float | None, float | None]:
    """The finished length asked for, and the wrist or neck that it is for [mm]."""
    if table.wrist is not None:
        return table.wrist + (EASES["comfort"] if table.ease is None else table.ease), table.wrist
    if table.neck is not None:
        return table.neck + (table.ease or 0.0), table.neck
    return table.length, None


def _scene(table: SceneTable, pattern: PatternTable) -> Scene:
    """The scene that a table says; round the wrist or neck that the piece is made for, where it says none."""
    made_for = {"wrist": pattern.wrist, "neck": pattern.neck}.get(table.kind)
    return Scene(
        kind=SceneKind(table.kind),
        span=table.span,
        span_fraction=table.span_fraction,
        circumference=table.circumference or made_for,
        curved=table.laid == "in a curve",
        friction=table.friction,
        disorder=table.disorder,
        seed=table.seed,
        settling=table.settling,
    )
