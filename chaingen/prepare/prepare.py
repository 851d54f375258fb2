"""A piece prepared for its service, all of it: sizes, what is sent, checks, what is left to do by hand.

Result -> sizes (finished, cast, pattern)
       -> batches: the piece in one, or its rings by themselves on plates or trees
       -> checks against the process
"""

from collections.abc import Callable

from chaingen.design.service import Layout, Service
from chaingen.make.metals import worn_metals
from chaingen.make.pair import mirrored_graph
from chaingen.make.result import Result
from chaingen.prepare.batch import Batch, Prepared
from chaingen.prepare.cast import ring_sizes
from chaingen.prepare.checks import ServiceCheck, State, rest_checks, service_checks
from chaingen.prepare.comb import comb_batches
from chaingen.prepare.flat import flat_batches
from chaingen.prepare.loose import CannotPrepare, loose_rings
from chaingen.prepare.piece import Assembled, Patterns, patterns_of
from chaingen.prepare.tree import tree_batches
from chaingen.solve.drape.draped import Draped

MIRRORED = "-mirrored"
"""What names of the second piece of a pair end with."""

_LAYOUTS = {Layout.FLAT: flat_batches, Layout.COMB: comb_batches, Layout.TREE: tree_batches}


def prepare(
    result: Result, *, tolerance: float, on_progress: Callable[[str], None] = lambda _: None
) -> Prepared | None:
    """Prepare a built piece for the service of its design.

    Args:
        result: The piece, draped if its scenes are to be checked too.
        tolerance: Farthest the meshes may lie from the true surface [mm].
        on_progress: Told in words what is being done.

    Returns:
        All of it; None where the design names no service. What cannot be prepared is a failed check.
    """
    service = result.design.service
    if service is None:
        return None
    on_progress(f"preparing for {service.process.name}")
    checks = [*service_checks(result), *rest_checks(result)]
    batches: tuple[Batch, ...] = ()
    try:
        if service.process.assembled:
            found = _pieces(result, service, tolerance)
            batches, checks = found.batches, [*checks, *found.checks]
        else:
            batches = _LAYOUTS[service.layout](loose_rings(result), service, tolerance=tolerance)
    except CannotPrepare as reason:
        checks.append(ServiceCheck("preparation", State.FAIL, str(reason)))
    return Prepared(service, ring_sizes(result, service), batches, tuple(checks), _by_hand(result, service))


def rest_batches(result: Result, drape: Draped, *, tolerance: float) -> tuple[Batch, ...]:
    """A piece as it lies in a scene, to be made like that; none where its process makes rings by themselves.

    Args:
        result: The piece.
        drape: It at rest.
        tolerance: Farthest the meshes may lie from the true surface [mm].
    """
    service = result.design.service
    if service is None or not service.process.assembled:
        return ()
    metals = worn_metals(result.design, result.placement, drape.graph)
    try:
        return patterns_of(Assembled(drape.rings, drape.graph, metals), service, tolerance, fed=False).batches
    except CannotPrepare:
        # The piece as placed says so already.
        return ()


def _pieces(result: Result, service: Service, tolerance: float) -> Patterns:
    """The piece, of a pair its mirror image too; the checks of one hold for the other."""
    graph, bodies = result.placement.graph, result.placement.rings
    found = patterns_of(Assembled(bodies, graph, result.metals), service, tolerance)
    if not result.design.pair:
        return found
    second = Assembled(bodies.mirrored(), mirrored_graph(graph), result.metals)
    mirrored = patterns_of(second, service, tolerance, suffix=MIRRORED)
    return Patterns((*found.batches, *mirrored.batches), found.checks)


def _by_hand(result: Result, service: Service) -> tuple[str, ...]:
    """What the service does not make."""
    told = []
    if not service.process.assembled:
        told += [f"{count.count} {count.finding.kind} {count.finding.name}" for count in result.findings]
    beads = sum(count.count for count in result.beads)
    if beads:
        told.append(f"{beads} {'bead' if beads == 1 else 'beads'}")
    return tuple(told)
