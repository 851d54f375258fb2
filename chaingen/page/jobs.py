"""What the page asks for, worked out: every job is run in a process of its own and may be ended at any time.

A job takes what was asked as plain data and a function that is told of its progress, and gives plain data. It
may give ``_keep`` too: the built piece as bytes, which come back as ``last`` with the session's next jobs.
"""

import pickle
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.design.design import NO_BENCH, Design
from chaingen.design.edit import change_from, edited
from chaingen.design.lines import lines_of
from chaingen.design.load import parse_design
from chaingen.design.scene import MAX_DRAPED_RINGS
from chaingen.errors import BadInput
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import Solid
from chaingen.make.metals import worn_metals
from chaingen.make.result import Result
from chaingen.page.catalogue import starter
from chaingen.page.controls import controls_of
from chaingen.page.looks import look_of_result, rest_of
from chaingen.page.piece import Shown, piece_of, poses_of, supports_of
from chaingen.page.piece_files import written_files
from chaingen.pipeline import Draped, build, drape, glimpse
from chaingen.show.words import rest_lines
from chaingen.solve.drape.draped import NotDraped
from chaingen.weave.graph import LinkGraph

Data = dict[str, Any]
Tell = Callable[[Data], None]

LEAST_PAUSE = 0.05
"""Poses on the way to rest are told no more often than this [s]."""


def look(arguments: Data, tell: Tell) -> Data:
    """Change a design's text and tell all that is known of the piece it says.

    Args:
        arguments: ``text``, ``changes``, ``quick`` (whether only an answer at a glance is wanted), ``last``
            (what was kept; None for nothing) and ``folder`` (where files that the design names are).
        tell: Told of progress; once, before a piece is built, of what was ``read``: ``text`` after the
            changes, ``controls``, ``problems`` (none).

    Returns:
        ``look`` (None where the text has problems, or a quick answer is not to be had), ``text`` after the
        changes, ``controls``, ``problems``.
    """
    say = _progress(tell)
    text, design = arguments["text"], None
    try:
        text = edited(text, [change_from(change) for change in arguments["changes"]])
        design = _read(text, arguments["folder"])
        kept = _kept(arguments["last"])
        result, keep = _looked_at(design, kept, arguments["quick"], say, lambda: tell(_read_of(text, design)))
    except BadInput as error:
        return _answer(None, text, controls_of(text, design), problems_of(error, text))
    if result is None:
        return _answer(None, text, controls_of(text, design), [])
    quick = arguments["quick"] and keep is None
    controls = controls_of(text, design, result.design.repeating.repeat)
    answer = _answer(look_of_result(result, quick=quick), text, controls, [])
    return answer if keep is None or arguments["quick"] else {**answer, "_keep": keep}


def _read_of(text: str, design: Design | None) -> Data:
    """What was read, for the boxes to be right while the piece is built."""
    return {"read": {"text": text, "controls": controls_of(text, design), "problems": []}}


def _answer(found: Data | None, text: str, controls: Data | None, problems: list[Data]) -> Data:
    return {"look": found, "text": text, "controls": controls, "problems": problems}


def _looked_at(
    design: Design, kept: "Kept | None", quick: bool, say: Callable[[str], None], begin: Callable[[], None]
) -> tuple[Result | None, bytes | None]:
    """The built piece, and the same to keep; at a glance there is nothing to keep, and maybe no piece.

    Args:
        design: The design.
        kept: What was kept.
        quick: Whether only an answer at a glance is wanted.
        say: Told of progress.
        begin: Called before a piece is built.
    """
    if kept is not None and (same := kept.of(design)) is not None:
        return same, _bytes(design, same)
    if quick:
        return (None if kept is None else glimpse(design, kept.result, on_progress=say)), None
    begin()
    result = build(design.bare(), on_progress=say)
    return result, _bytes(design, result)


def rest(arguments: Data, tell: Tell) -> Data:
    """Bring the piece to rest in one scene.

    Args:
        arguments: ``text``, ``scene`` (as in a design file), ``last``, ``folder``.
        tell: Told of progress; once of ``piece`` and ``supports`` as they are let go, then of ``poses``.

    Returns:
        ``rest``: what came of it, with the poses at rest.

    Raises:
        BadInput: What is wrong with the design or the scene.
    """
    say = _progress(tell)
    scenes = {"do": "set", "at": ["scenes"], "value": [arguments["scene"]]}
    design = _read(edited(arguments["text"], [change_from(scenes)]), arguments["folder"])
    result = _built(design, arguments["last"], say)
    result = replace(result, design=replace(result.design, scenes=design.scenes, supple=False))
    player = _Player(result, tell)
    (found,) = drape(result, on_progress=say, on_pose=player).drapes
    words = rest_lines(replace(result, drapes=(found,)))
    if isinstance(found, NotDraped):
        kind = found.scene.kind.value
        return {"rest": {"kind": kind, "reached": False, "why": found.why, "words": words, "poses": None}}
    told = rest_of(found, words)
    return {"rest": {**told, **player.last(found)}}


class _Player:
    """Tells how a piece comes to rest, first what it is, then where it is, not too often."""

    def __init__(self, result: Result, tell: Tell) -> None:
        self._result, self._tell = result, tell
        self._count = 0
        self._at = 0.0

    def __call__(self, bodies: Bodies, solids: Sequence[Solid], graph: LinkGraph) -> None:
        """Take a pose."""
        if len(bodies) != self._count:
            self._count = len(bodies)
            self._tell(self._whole(bodies, solids, graph))
        elif time.monotonic() >= self._at:
            self._tell({"poses": poses_of(bodies)})
        else:
            return
        self._at = time.monotonic() + LEAST_PAUSE

    def _whole(self, bodies: Bodies, solids: Sequence[Solid], graph: LinkGraph) -> Data:
        metals = worn_metals(self._result.design, self._result.placement, graph)
        shown = Shown(bodies, graph, metals, np.eye(3))
        return {"piece": piece_of(shown), "supports": supports_of(solids, bodies)}

    def last(self, found: Draped) -> Data:
        """The poses at rest, and what holds the piece as it is shaded then."""
        return {"poses": poses_of(found.rings), "supports": supports_of(found.solids, found.rings)}


def files(arguments: Data, tell: Tell) -> Data:
    """Write the files of a piece, the same as the command line writes.

    Args:
        arguments: ``text``, ``last``, ``folder``, ``out`` (where they go), and what is wanted: ``models``,
            ``pictures``, ``sheet``, ``scenes``, ``service``.
        tell: Told of progress.

    Returns:
        ``files``: their ``list``, each with its ``path``, ``bytes`` and ``what`` it is for, and ``notes`` on
        what was left out and why.

    Raises:
        BadInput: What is wrong with the design.
        CannotWrite: A file cannot be written.
    """
    say = _progress(tell)
    design = _read(arguments["text"], arguments["folder"])
    result = _built(design, arguments["last"], say)
    if not arguments["scenes"]:
        result = replace(result, design=replace(result.design, scenes=()))
    wanted = {key: bool(arguments[key]) for key in ("models", "pictures", "sheet", "service")}
    written = written_files(result, Path(arguments["out"]), **wanted, on_progress=say)
    if arguments["scenes"] and not result.design.scenes:
        written["notes"].append("Nothing at rest: the design names no scenes.")
    return {"files": written}


def new(arguments: Data, tell: Tell) -> Data:
    """Give the text of a design to start from.

    Args:
        arguments: ``name`` of an entry of the catalogue, and options, see `starter`.
        tell: Not used.

    Raises:
        BadInput: There is no such entry, or an option does not go with it.
    """
    options = {key: value for key, value in arguments.items() if key not in ("name", "last", "folder")}
    text = starter(arguments["name"], options)
    parse_design(text, source="the new design")
    return {"text": text}


def warm() -> None:
    """Load what jobs need, so that the first is not slow."""
    from chaingen.design.starter import starter_design

    text = starter_design("two-in-one", repeat=3)
    keep = look({"text": text, "changes": [], "quick": False, "last": None, "folder": "."}, _deaf)["_keep"]
    wider = [{"do": "size", "name": "link", "inside": "3.1 mm"}]
    look({"text": text, "changes": wider, "quick": True, "last": keep, "folder": "."}, _deaf)


def ready_findings(arguments: Data, tell: Tell) -> Data:
    """Load what pieces with findings need, so that the first is not slow; it is compiled once on a machine.

    Args:
        arguments: Not used.
        tell: Not used.
    """
    from chaingen.design.starter import starter_design

    clasp = [{"do": "end", "which": "end", "kind": "lobster clasp"}]
    text = starter_design("one-in-one", repeat=3)
    look({"text": text, "changes": clasp, "quick": False, "last": None, "folder": "."}, _deaf)
    return {}


def _deaf(_: Data) -> None:
    """Take no notice."""


# Reading and keeping


def _read(text: str, folder: str) -> Design:
    return parse_design(text, folder=folder, sealed=True)


def problems_of(error: BadInput, text: str) -> list[Data]:
    """The problems of a text, each with its line where it has one."""
    lines = lines_of(text, [problem.where for problem in error.problems])
    return [
        {
            "where": problem.where,
            "got": problem.got,
            "expected": problem.expected,
            "advice": problem.advice,
            "line": line,
        }
        for problem, line in zip(error.problems, lines, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class Kept:
    """A piece that was built.

    Attributes:
        design: The design as it was read.
        result: The piece.
    """

    design: Design
    result: Result

    def of(self, design: Design) -> Result | None:
        """The same piece for another design, if that says the same piece; None if it does not."""
        if _piece_only(design) != _piece_only(self.design):
            return None
        built = self.result.design
        return replace(self.result, design=replace(design, piece=built.piece, length=built.length))


def _piece_only(design: Design) -> Design:
    """A design without what the built piece does not depend on."""
    return replace(
        design, title="", date=None, scenes=(), supple=False, bench=NO_BENCH, measure=None, source=""
    )


def _kept(last: bytes | None) -> Kept | None:
    if last is None:
        return None
    kept = pickle.loads(last)
    assert isinstance(kept, Kept)
    return kept


def _bytes(design: Design, result: Result) -> bytes:
    return pickle.dumps(Kept(design, result), protocol=pickle.HIGHEST_PROTOCOL)


def _built(design: Design, last: bytes | None, say: Callable[[str], None]) -> Result:
    """The piece of a design, from what was kept where that is the same."""
    kept = _kept(last)
    same = None if kept is None else kept.of(design)
    # To build one that is too large to be draped tells so.
    if same is None or (design.scenes and same.design.piece.most_rings() > MAX_DRAPED_RINGS):
        return build(design, on_progress=say)
    return same


def _progress(tell: Tell) -> Callable[[str], None]:
    """What is told of progress, with how long the job has taken so far [s]."""
    begun = time.monotonic()
    return lambda words: tell({"progress": words, "seconds": round(time.monotonic() - begun, 1)})
