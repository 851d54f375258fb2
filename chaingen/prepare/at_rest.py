"""A piece as it lies in its scenes, to be made like that."""

from chaingen.design.service import Service
from chaingen.make.metals import worn_metals
from chaingen.make.pair import MIRRORED, mirrored_graph
from chaingen.make.result import Result
from chaingen.prepare.batch import Batch
from chaingen.prepare.loose import CannotPrepare
from chaingen.prepare.piece import Assembled, patterns_of
from chaingen.prepare.sent import Sent, ServiceCheck, State
from chaingen.prepare.weld_checks import try_welds
from chaingen.solve.drape.draped import Draped, scene_names

AS_LOOSE = "they came to rest as if they were loose, and are joined as they lie there"
"""Told of soldered parts, which scenes let move."""


def rest_batches(result: Result, drape: Draped, *, tolerance: float) -> tuple[Batch, ...]:
    """A piece as it lies in a scene, of a pair its mirror image too.

    Args:
        result: The piece.
        drape: It at rest.
        tolerance: Farthest the meshes may lie from the true surface [mm].

    Returns:
        What is sent; nothing where the process makes rings by themselves, or the piece cannot be prepared.
    """
    service = result.design.service
    if service is None or not service.process.assembled:
        return ()
    piece = _lying(result, drape)
    try:
        found = patterns_of(piece, service, tolerance, fed=False).batches
        if result.design.pair:
            second = Assembled(piece.bodies.mirrored(), mirrored_graph(piece.graph), piece.metals)
            found += patterns_of(second, service, tolerance, suffix=MIRRORED, fed=False).batches
    except CannotPrepare:
        # The checks say so: of metals those of the piece as placed, of welds those at rest.
        return ()
    return found


def soldered_at_rest(result: Result, service: Service) -> list[ServiceCheck]:
    """Whether soldered joins come out at rest, for parts come to rest as if they were loose."""
    checks = []
    for drape, scene in zip(result.drapes, scene_names(result.drapes), strict=True):
        if not service.soldered or not isinstance(drape, Draped):
            continue
        piece = _lying(result, drape)
        _, found = try_welds(Sent.of(piece.bodies, piece.graph, piece.metals, service), service)
        for check in found:
            told = AS_LOOSE if check.state is State.PASS else f"{check.text}; {AS_LOOSE}"
            state = State.FAIL if check.state is State.FAIL else State.WARN
            # Bodies of a worn piece are not those of the piece as placed.
            checks.append(ServiceCheck(f"{check.name} at rest, {scene}", state, told))
    return checks


def _lying(result: Result, drape: Draped) -> Assembled:
    """The piece at rest, its wires as thick as they are made."""
    bodies = drape.rings.thickened(0.5 * drape.hair) if drape.hair else drape.rings
    return Assembled(bodies, drape.graph, worn_metals(result.design, result.placement, drape.graph))
