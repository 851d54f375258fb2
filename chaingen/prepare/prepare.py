"""A piece prepared for its service, all of it: sizes, what is sent, checks, what is left to do by hand.

Result -> sizes (finished, cast, pattern)
       -> batches: the piece in one, or its rings by themselves on plates or trees
       -> checks against the process
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

from chaingen.design.service import Layout, Service
from chaingen.errors import BadInput, Problem
from chaingen.make.pair import MIRRORED, mirrored_graph
from chaingen.make.result import Result
from chaingen.prepare.at_rest import rest_batches, soldered_at_rest
from chaingen.prepare.batch import Batch, Prepared
from chaingen.prepare.batch import most_triangles as largest_of
from chaingen.prepare.cast import ring_sizes
from chaingen.prepare.checks import ServiceCheck, State, rest_checks, service_checks
from chaingen.prepare.comb import comb_batches
from chaingen.prepare.flat import flat_batches
from chaingen.prepare.loose import CannotPrepare, loose_rings
from chaingen.prepare.piece import Assembled, Patterns, must_be_castable, patterns_of
from chaingen.prepare.sent import not_made
from chaingen.prepare.tree import tree_batches
from chaingen.solve.drape.draped import Draped, scene_names

_LAYOUTS = {Layout.FLAT: flat_batches, Layout.COMB: comb_batches, Layout.TREE: tree_batches}

MUCH = 3.0
"""Sprues that weigh more than so many times what they feed are warned of; a mark of our own."""

_SAID = frozenset({"metal", "one metal", "soldered joins", "size", "cut"})
"""Checks that, where they fail, say why nothing can be made."""

COARSEST = 1.0
"""Coarsest mesh tolerance that is tried [mm]."""


def prepare(
    result: Result,
    *,
    tolerance: float,
    most_triangles: int | None = None,
    on_progress: Callable[[str], None] = lambda _: None,
) -> Prepared | None:
    """Prepare a built piece for the service of its design.

    Args:
        result: The piece, draped if its scenes are to be checked too.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        most_triangles: Most triangles of any file; meshes are made coarser until all keep to it.
        on_progress: Told in words what is being done.

    Returns:
        All of it; None where the design names no service, or the piece does not fit. What cannot be prepared
        is a failed check.

    Raises:
        BadInput: Even the coarsest meshes have more triangles.
    """
    service = result.design.service
    if service is None or not result.fits:
        return None
    on_progress(f"preparing for {service.process.name}")
    prepared = _prepared(result, service, tolerance)
    while most_triangles is not None and (most := largest_of(prepared.files)) > most_triangles:
        if tolerance >= COARSEST:
            advice = "that many has the coarsest mesh of what goes to the service"
            raise BadInput([Problem("--triangles", f"{most_triangles:,}", f"at least {most:,}", advice)])
        # Triangles go as one over the tolerance, those of sprues more slowly.
        tolerance = min(COARSEST, tolerance * max(1.05 * most / most_triangles, 1.2))
        prepared = _prepared(result, service, tolerance)
    return prepared


def _prepared(result: Result, service: Service, tolerance: float) -> Prepared:
    """All of it, with meshes of a tolerance [mm]."""
    checks = [*service_checks(result), *rest_checks(result), *soldered_at_rest(result, service)]
    batches: tuple[Batch, ...] = ()
    said = any(check.name in _SAID and check.state is State.FAIL for check in checks)
    try:
        if service.process.assembled:
            found = _pieces(result, service, tolerance)
            batches, checks = found.batches, [*checks, *found.checks]
        else:
            rings = loose_rings(result)
            must_be_castable([each.metal for each in rings], service)
            batches = _LAYOUTS[service.layout](rings, service, tolerance=tolerance)
    except CannotPrepare as reason:
        checks += [] if said else [not_made(reason)]
    checks += _heavy(batches, service)
    at_rest = {
        scene: rest_batches(result, drape, tolerance=tolerance)
        for drape, scene in zip(result.drapes, scene_names(result.drapes), strict=True)
        if isinstance(drape, Draped)
    }
    return Prepared(
        service,
        tolerance,
        ring_sizes(result, service),
        batches,
        tuple(checks),
        _by_hand(result, service),
        {scene: own for scene, own in at_rest.items() if own},
    )


def _heavy(batches: Sequence[Batch], service: Service) -> list[ServiceCheck]:
    """Whether sprues of all castings weigh much more than what they feed."""
    sprued = [batch for batch in batches if batch.sprues_weight]
    sprues = sum(batch.copies * batch.sprues_weight for batch in sprued)
    pieces = sum(batch.copies * batch.pieces_weight for batch in sprued)
    if sprues <= MUCH * pieces:
        return []
    what = "the piece" if service.process.assembled else "the rings"
    layout = "" if service.process.assembled else ", or another layout"
    text = (
        f"they weigh {sprues:,.2f} g, {sprues / pieces:.1f} times the {pieces:,.2f} g of {what}: a thinner "
        f"main, a smaller button or shorter feeders{layout} would lessen it"
    )
    return [ServiceCheck("sprues", State.WARN, text)]


def _pieces(result: Result, service: Service, tolerance: float) -> Patterns:
    """The piece, of a pair its mirror image too."""
    graph, bodies = result.placement.graph, result.placement.rings
    found = patterns_of(Assembled(bodies, graph, result.metals), service, tolerance)
    if not result.design.pair:
        return found
    second = Assembled(bodies.mirrored(), mirrored_graph(graph), result.metals)
    return _both(found, patterns_of(second, service, tolerance, suffix=MIRRORED))


def _both(first: Patterns, second: Patterns) -> Patterns:
    """Both pieces of a pair; the checks of one hold for the other, but where something else came of them.

    Feeders are looked for from the same sides, which are not the same sides of a mirror image.
    """
    told = {(check.name, check.state) for check in first.checks}
    more = [
        replace(check, name=f"{check.name}, mirrored")
        for check in second.checks
        if (check.name, check.state) not in told
    ]
    return Patterns((*first.batches, *second.batches), (*first.checks, *more))


def _by_hand(result: Result, service: Service) -> tuple[str, ...]:
    """What the service does not make."""
    told = []
    if not service.process.assembled:
        for entry in result.findings:
            more = f", {entry.count} of them" if entry.count > 1 else ""
            told.append(f"{entry.finding.kind} {entry.finding.name}{more}")
    beads = sum(count.count for count in result.beads)
    if beads:
        told.append(f"{beads} {'bead' if beads == 1 else 'beads'}")
    return tuple(told)
