"""From a design file to a `Design`, or to every problem in it at once."""

import os
from pathlib import Path

from pydantic import ValidationError

from chaingen.design.design import Design
from chaingen.design.metal_schema import COLOURS
from chaingen.design.metals import (
    bitmap_problems,
    colour_names,
    colour_problems,
    metal_of,
    palette_of,
    pattern_of,
)
from chaingen.design.piece_problems import piece_problems
from chaingen.design.pieces import piece_of
from chaingen.design.problems import name_problems, rest_problems
from chaingen.design.scene import Scene, SceneKind
from chaingen.design.schema import DesignTable, SceneTable
from chaingen.design.weaves import Weaves, find_weaves
from chaingen.errors import BadInput
from chaingen.tables import FileKind, limited, parse_toml, read_text, value_problems
from chaingen.weave.groups import RingSize

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
        "sections": "sections as [[pattern.sections]] with groups or weave",
        "stripes": _METALS,
        "checks": _METALS,
        "scenes": 'scenes as [[scenes]] with kind = "hang"',
    },
    start="chaingen new writes a design to start from",
)


def load_design(path: str | os.PathLike[str]) -> Design:
    """Read a design file.

    Args:
        path: A TOML file.

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
    return parse_design(read_text(path, _FILE), source=str(path), folder=Path(path).parent)


def parse_design(text: str, *, source: str = "design", folder: str | os.PathLike[str] = ".") -> Design:
    """Read the text of a design file.

    Args:
        text: TOML.
        source: What to call the file in messages.
        folder: Where the paths of weave files that it names start.

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
    data = parse_toml(text, source, _FILE)
    weaves, problems = find_weaves(data, folder)
    problems = name_problems(data, weaves) + problems + colour_problems(data) + bitmap_problems(data)
    resting = rest_problems(data, weaves)
    problems += resting
    try:
        table = DesignTable.model_validate(data, context={COLOURS: colour_names(data)})
    except ValidationError as error:
        # A kind of scene that is none is told with those that suit the piece, where its form is known.
        kinds = {problem.where for problem in resting if problem.where.endswith(".kind")}
        told = [problem for problem in value_problems(error, _FILE) if problem.where not in kinds]
        problems = told + problems
        raise BadInput(limited(dict.fromkeys(problems), _FILE)) from None
    if not problems:
        design = _design(table, weaves)
        problems = piece_problems(design)
    if problems:
        raise BadInput(limited(dict.fromkeys(problems), _FILE))
    return design


def _design(table: DesignTable, weaves: Weaves) -> Design:
    """The design that a table says whose keys and values are right."""
    sizes = {name: RingSize(name, ring.inside, ring.wire) for name, ring in table.rings.items()}
    palette = palette_of(table.colours)
    return Design(
        title=table.title,
        metal=metal_of(table.metal, palette),
        piece=piece_of(table.pattern, sizes, weaves),
        length=table.pattern.length,
        clearance=table.clearance,
        tolerance=table.tolerance,
        ring_sizes=tuple(sizes.values()),
        supple=table.supple,
        scenes=tuple(_scene(entry) for entry in table.scenes),
        size_metals=tuple(
            (name, metal_of(ring.metal, palette))
            for name, ring in table.rings.items()
            if ring.metal is not None
        ),
        metal_pattern=pattern_of(table.metal_pattern, palette),
    )


def _scene(table: SceneTable) -> Scene:
    """The scene that a table says."""
    return Scene(
        kind=SceneKind(table.kind),
        span=table.span,
        span_fraction=table.span_fraction,
        circumference=table.circumference,
        curved=table.laid == "in a curve",
        friction=table.friction,
        disorder=table.disorder,
        seed=table.seed,
        settling=table.settling,
    )
