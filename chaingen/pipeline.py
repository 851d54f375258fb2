"""From a design to everything that is known about it, and to its files.

design -> (repeats for a length) -> placement -> check -> verdict, band, threading, lengths, counts
                                              -> drape in every scene, suppleness
                                              -> the maker's plan
                                              -> preparation for a print or casting service
                                              -> models, pictures, placement.json, sheet, report.json
"""

from collections.abc import Callable
from dataclasses import replace

from chaingen.design.cautions import cautions
from chaingen.design.design import Design
from chaingen.design.scene import MAX_DRAPED_RINGS, Scene
from chaingen.design.service_problems import soldered_problems
from chaingen.errors import BadInput, Problem
from chaingen.make.counts import RingCount, ring_counts
from chaingen.make.finding_counts import bead_counts, finding_counts
from chaingen.make.metals import ring_metals
from chaingen.make.planning import plan_of
from chaingen.make.result import Result
from chaingen.prepare.batch import Prepared
from chaingen.prepare.prepare import prepare
from chaingen.show.export import Files, export
from chaingen.solve.bound import Threading, threading
from chaingen.solve.check import CheckReport, check
from chaingen.solve.drape.drape import Draped, NotDraped
from chaingen.solve.drape.drape import drape as drape_in
from chaingen.solve.drape.drape_sheet import drape_sheet
from chaingen.solve.drape.settle import OnPose
from chaingen.solve.drape.starts import CannotDrape
from chaingen.solve.middle import way_round
from chaingen.solve.near import design_near
from chaingen.solve.overview import size_overview
from chaingen.solve.place import place
from chaingen.solve.place_weave import NothingLeft
from chaingen.solve.placement import Answer, Placement
from chaingen.solve.repeats import lengths_of, with_repeats
from chaingen.solve.supple import supple
from chaingen.solve.telling import told_to
from chaingen.solve.verdict import Band, Fit, Nearest, fit_of, nearest_fits, tolerance_band
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Sheet

__all__ = [
    "Answer",
    "CheckReport",
    "Draped",
    "Files",
    "NotDraped",
    "Placement",
    "Result",
    "RingCount",
    "Threading",
    "build",
    "drape",
    "export",
    "for_service",
    "glimpse",
    "plan",
    "size_overview",
]

Progress = Callable[[str], None]


def _silent(_: str) -> None:
    """Say nothing."""


ROOMY = 1.1
"""Pieces whose gaps as placed are this many times the safe gap of a process keep it at rest too."""


def build(design: Design, *, on_progress: Progress = _silent) -> Result:
    """Place, check and judge a design.

    Args:
        design: The design.
        on_progress: Told in words what is being done.

    Returns:
        Everything known about the piece, also when it does not fit.

    Raises:
        BadInput: A length would take too many rings, or bodies are to be soldered that there are not.

    Example:
        >>> from chaingen import build, parse_design
        >>> from chaingen.design.starter import starter_design
        >>> result = build(parse_design(starter_design("two-in-one", repeat=3)))
        >>> result.fit.value, len(result.placement.graph)
        ('comfortable', 8)
    """
    with told_to(_about("length", on_progress)):
        sized = with_repeats(design, on_progress)
    piece = sized.piece
    _refuse_large_drapes(sized)
    try:
        placement = place(piece, clearance=design.clearance, on_progress=on_progress)
    except NothingLeft as error:
        where = "pattern.outline" if isinstance(piece, Sheet) and piece.outline else "pattern"
        raise BadInput([Problem(where, f"a sheet where {error}", "a larger sheet")]) from None
    if design.service is not None and (problems := soldered_problems(placement.graph, design.service)):
        raise BadInput(problems)
    report = check(placement.graph, placement.rings, clearance=design.clearance)
    on_progress("trying rings that are a little off")
    with told_to(_about("rings a little off", on_progress)):
        band = tolerance_band(piece, placement, _binding_wire(placement, report), design.tolerance)
    nearest: tuple[Nearest, ...] = ()
    # Where no start had the links asked, other sizes will not have them either.
    searched = all(search.sound for search in placement.searches)
    if placement.answer in (Answer.CANNOT_FIT, Answer.NO_FIT_FOUND) and searched:
        on_progress("looking for sizes that fit")
        with told_to(_about("sizes that fit", on_progress)):
            nearest = nearest_fits(piece, design.clearance)
    on_progress("pulling the piece straight")
    with told_to(_about("length", on_progress)):
        lengths = lengths_of(sized)
    if placement.cell is not None and lengths is not None and design.middle is None:
        placement = replace(placement, cell=replace(placement.cell, taut=lengths.cell))
    finished = None if lengths is None else lengths.at(sized.repeating.repeat)
    return _judged(sized, design.length, placement, report, band, nearest, finished)


def _judged(
    sized: Design,
    asked: float | None,
    placement: Placement,
    report: CheckReport,
    band: Band | None,
    nearest: tuple[Nearest, ...],
    finished: float | None,
) -> Result:
    """All that is known of a placed and checked piece.

    Args:
        sized: The design, its number of repeats settled.
        asked: Finished length asked for [mm].
        placement: Its placement.
        report: What the check found.
        band: The verdict for rings that are off.
        nearest: Sizes that do fit.
        finished: Finished length [mm].
    """
    design, piece = sized, sized.piece
    wire = _binding_wire(placement, report)
    spare = min(report.smallest_gap, placement.gap) - design.clearance
    fit = fit_of(spare, wire) if placement.answer is Answer.FITS else Fit.DOES_NOT_FIT
    low, high = placement.rings.bounds()
    around = way_round(placement.graph, placement.rings) if piece.closed else None
    metals = ring_metals(sized, placement)
    findings = finding_counts(placement.graph, metals, design.made)
    return Result(
        design=sized,
        asked_length=asked,
        placement=placement,
        check=report,
        fit=fit,
        slack=spare / wire,
        band=band,
        threading=threading(placement.graph),
        nearest=nearest,
        finished_length=finished,
        length_as_placed=float(high[0] - low[0]) if around is None else around,
        counts=ring_counts(placement.graph, metals, design.made),
        metals=metals,
        findings=findings,
        beads=bead_counts(findings),
        cautions=cautions(sized),
    )


def glimpse(design: Design, last: Result, *, on_progress: Progress = _silent) -> Result | None:
    """A quick answer for a design near one that is built, so that a size can be followed as it changes.

    It is placed from where the last one was, by one search instead of several. Poses, gap, binding pair,
    verdict, counts and weights are checked and hold for these poses; `build` may find better ones. Of what
    takes long there is nothing: no tolerance band, no sizes near it that fit. Where sizes differ, the
    finished length is an estimate, and with it the number of repeats that a length takes: what the ends add
    to the repeats grows in proportion to the rings.

    Args:
        design: The design.
        last: A built piece near it, or another glimpse.
        on_progress: Told in words what is being done.

    Returns:
        None where it is not near, or where the one search does not end as it should: it is then to be built.

    Example:
        >>> from chaingen import build, parse_design
        >>> from chaingen.design.starter import starter_design
        >>> from chaingen.pipeline import glimpse
        >>> result = build(parse_design(starter_design("two-in-one", repeat=12)))
        >>> wider = parse_design(starter_design("two-in-one", inside="3.2 mm", repeat=12))
        >>> near = glimpse(wider, result)
        >>> near.fit.value, near.check.smallest_gap > result.check.smallest_gap, near.band
        ('comfortable', True, None)
    """
    before = last.design
    try:
        found = design_near(
            design,
            before,
            last.placement,
            asked=last.asked_length,
            finished=last.finished_length,
            on_progress=on_progress,
        )
        if found is None:
            return None
        _refuse_large_drapes(found.design)
    except BadInput:
        # To build it tells why.
        return None
    sized, placement = found.design, found.placement
    if design.service is not None and soldered_problems(placement.graph, design.service):
        return None
    same = sized.piece == before.piece and placement.answer is last.placement.answer
    judged_alike = (design.clearance, design.tolerance) == (before.clearance, before.tolerance)
    band, nearest = (last.band, last.nearest) if same and judged_alike else (None, ())
    return _judged(sized, design.length, placement, found.report, band, nearest, found.finished_length)


def _refuse_large_drapes(design: Design) -> None:
    """Say so before anything is placed when a piece is too large to be draped."""
    rings = design.piece.most_rings()
    if design.scenes and rings > MAX_DRAPED_RINGS:
        limit = f"a piece of at most {MAX_DRAPED_RINGS:,} rings in a scene"
        raise BadInput(
            [Problem("scenes", f"a piece of {rings:,} rings", limit, "a shorter piece hangs alike")]
        )


def drape(result: Result, *, on_progress: Progress = _silent, on_pose: OnPose | None = None) -> Result:
    """Bring a built piece to rest in every scene of its design, and find how supple it is if that is asked.

    Args:
        result: What `build` gave.
        on_progress: Told in words what is being done.
        on_pose: Shown the bodies, the solids that hold them and the graph, at the start of a scene and at
            every step on the way to rest; where a start fails and another is made, from the beginning again.
            An open piece that is worn has the joins that close it.

    Returns:
        The same with `drapes` and `supple`. A scene that cannot be started says why.

    Example:
        >>> from chaingen import build, drape, parse_design
        >>> from chaingen.design.starter import starter_design
        >>> text = starter_design("one-in-one", repeat=4)
        >>> text = text.replace("scenes = []", 'scenes = [{ kind = "hang" }]')
        >>> hung = drape(build(parse_design(text))).drapes[0]
        >>> hung.reached, hung.check.links_as_designed, round(hung.support, 2)
        (True, True, 1.0)
    """
    design = result.design
    drapes: list[Draped | NotDraped] = []
    # A piece that is made as it lies needs the gap of its process there too; the safe one if there is room.
    roomy = result.check.smallest_gap >= ROOMY * design.safe_gap
    gaps = dict.fromkeys([design.safe_gap, design.process_gap] if roomy else [design.process_gap])
    for scene in design.scenes:
        if not result.fits:
            drapes.append(NotDraped(scene, "the piece does not fit"))
            continue
        say = _about(scene.kind.value, on_progress)
        for gap in gaps:
            rest = _at_rest(result, scene, gap, say, on_pose)
            if isinstance(rest, Draped):
                break
        drapes.append(rest)
    found = None
    if design.supple and result.fits and isinstance(design.piece, Run | Chain):
        found = supple(design.piece, on_progress)
    return replace(result, drapes=tuple(drapes), supple=found)


def _at_rest(
    result: Result, scene: Scene, gap: float, on_progress: Progress, on_pose: OnPose | None
) -> Draped | NotDraped:
    """A piece in a scene, its wires so far apart at the least [mm]; or why it cannot be started."""
    piece, placement = result.design.piece, result.placement
    try:
        if isinstance(piece, Sheet):
            return drape_sheet(placement, scene, clearance=gap, on_progress=on_progress, on_pose=on_pose)
        taut = result.finished_length
        return drape_in(
            piece,
            placement,
            scene,
            taut=taut,
            clearance=gap,
            on_progress=on_progress,
            on_pose=on_pose,
        )
    except CannotDrape as reason:
        return NotDraped(scene, str(reason))


def plan(result: Result, *, on_progress: Progress = _silent) -> Result:
    """Make the maker's plan of a built piece: what to prepare, in which order to make it, what it costs.

    Args:
        result: What `build` gave.
        on_progress: Told in words what is being done.

    Returns:
        The same with `plan`; `export` then writes the maker's sheet too.

    Raises:
        BadInput: What the bench says cannot be, such as a temper of which nothing is known.

    Example:
        >>> from chaingen import build, parse_design, plan
        >>> from chaingen.design.starter import starter_design
        >>> made = plan(build(parse_design(starter_design("two-in-one", repeat=3)))).plan
        >>> made.order.opened.count, len(made.order.instructions), made.money.price
        (2, 2, None)
    """
    return replace(result, plan=plan_of(result, on_progress=on_progress))


def for_service(
    result: Result,
    *,
    mesh_tolerance: float = 0.01,
    most_triangles: int | None = None,
    on_progress: Progress = _silent,
) -> Prepared | None:
    r"""Prepare a built piece for the print or casting service of its design.

    Args:
        result: What `build` gave, or `drape`.
        mesh_tolerance: Farthest the models may lie from the true surface [mm].
        most_triangles: Most triangles of any file; meshes are made coarser until all keep to it.
        on_progress: Told in words what is being done.

    Returns:
        What `export` then writes into the folder ``service``; None where the design names no service, or the
        piece does not fit.

    Raises:
        BadInput: Even the coarsest meshes have more triangles.

    Example:
        >>> from chaingen import build, parse_design, for_service
        >>> from chaingen.design.starter import starter_design
        >>> text = starter_design("two-in-one", inside="6 mm", wire="1 mm", repeat=3)
        >>> made = for_service(build(parse_design(text + '[service]\nprocess = "loose rings for casting"')))
        >>> [(batch.name, batch.parts) for batch in made.batches]
        [('rings-1', 9)]
    """
    return prepare(result, tolerance=mesh_tolerance, most_triangles=most_triangles, on_progress=on_progress)


def _about(what: str, on_progress: Progress) -> Progress:
    return lambda text: on_progress(f"{what}: {text}")


def _binding_wire(placement: Placement, report: CheckReport) -> float:
    """Mean wire diameter of the binding pair [mm]; the thinnest wire where no pair binds."""
    wires = 2.0 * placement.rings.thinnest
    if report.binding_pair is None:
        return float(wires.min())
    return float(wires[list(report.binding_pair)].mean())
