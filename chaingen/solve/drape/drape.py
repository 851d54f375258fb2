"""Drape: a placed chain brought to rest in a scene."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from chaingen.design.scene import ROW_SCENES, Scene, SceneKind
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats
from chaingen.solve.drape import starts
from chaingen.solve.drape import worn as worn_starts
from chaingen.solve.drape.clasped import closed_graph, closing_links, why_not_closed
from chaingen.solve.drape.curves import hairpin
from chaingen.solve.drape.draped import Draped, NotDraped
from chaingen.solve.drape.posts import hang_by_post, post_of
from chaingen.solve.drape.rows import Row, clasped_row, closing_run, middles, straight_row, twisted
from chaingen.solve.drape.setting import thinnest_wire
from chaingen.solve.drape.settle import (
    HAIR,
    LEAST_STIFFNESS,
    LONG_REACHES,
    PULLED_REACHES,
    REACHES,
    OnPose,
    Progress,
    begun,
    check_room,
    cleared,
    come_to_rest,
    ring_weights,
)
from chaingen.solve.drape.starts import CannotDrape, Start
from chaingen.solve.middle import end_rings, middle_line, way_round
from chaingen.solve.placement import Placement
from chaingen.weave.graph import LinkGraph, piece_graph
from chaingen.weave.groups import Run
from chaingen.weave.pieces import Chain, Piece

__all__ = ["HAIR", "Draped", "NotDraped", "cleared", "drape"]

LONG = 2000
"""Pulled pieces of more rings than this are long. They come to rest without friction, as if shaken out, and
are then held by it: friction would hand every small slip on from ring to ring all along them."""

RESTING_GAP = 0.45
"""Gap of crossing wires at rest as part of the barrier's reach, when that is as stiff as the force."""

PULLS = (0.3, 0.1, 0.03)
"""Parts of a placement's gap, beyond the clearance, that are left when a worn piece is pulled to go round."""

TURNS = (2.0 * np.pi / 3.0, np.pi / 3.0, np.pi / 6.0, 0.0)
"""Turns of the arcs of an S that a row may be laid in [rad]."""


def _reaches(rings: int, pulled: bool) -> tuple[float, ...]:
    """The barriers of a drape."""
    return (LONG_REACHES if rings > LONG else PULLED_REACHES) if pulled else REACHES


def _attempts(
    piece: Piece,
    placement: Placement,
    scene: Scene,
    weights: Floats,
    taut: float | None,
    by_clasp: bool,
    clearance: float,
    finished: float | None,
) -> Iterator[Callable[[], tuple[Start, bool]]]:
    """Ways to start a scene, best first: the start, and whether the piece was pulled straight for it."""
    reach = RESTING_GAP * _reaches(len(placement.graph), True)[0] * thinnest_wire(placement.rings)

    def row(left: float | None) -> Row:
        if by_clasp:
            closed = clasped_row(piece, placement, left=left, clearance=clearance)
            if closed is None:
                raise CannotDrape("its ends could not be brought together in the clasp")
            return closed
        found = straight_row(piece, placement, left=left, clearance=clearance)
        quarters = sum(group.quarters for group in found.graph.groups)
        odd = isinstance(piece, Run) and piece.closed and quarters % 2 == 1
        return twisted(found, 0.5 * np.pi) if odd else found

    def curved(turn: float) -> tuple[Start, bool]:
        return starts.table(row(None), turn), False

    def hung(left: float | None) -> tuple[Start, bool]:
        straight = row(left)
        by = hang_by_post if post_of(straight) is not None else starts.hang
        return by(straight, weights), left is not None

    def worn(begin: Callable[..., Start], left: float | None) -> tuple[Start, bool]:
        loop = row(left)
        # Closed by a clasp it goes less far round than it is long: the clasp overlaps what it takes. So it
        # does where wires keep apart.
        whole = row(reach).length if by_clasp or clearance else taut or loop.length
        return begin(loop, scene, weights, whole, whole if finished is None else finished), False

    if scene.kind is SceneKind.SWAG:
        yield lambda: (starts.swag(row(reach), scene, weights, taut), True)
        yield lambda: (starts.swag(row(None), scene, weights, taut), False)
        # A narrow catenary is sharp at its foot; two strands joined by half a circle are bent less.
        yield lambda: (starts.swag(row(None), scene, weights, taut, hairpin), False)
    elif scene.kind is SceneKind.HANG and not piece.closed:
        for left in (reach, None):
            yield partial(hung, left)
    elif scene.kind is SceneKind.HANG:
        yield lambda: (starts.hang(row(None), weights), False)
        # A small loop is bent hard: its placement has found how.
        yield lambda: (starts.hang_placed(placement, weights), False)
    elif scene.kind is SceneKind.TABLE and piece.closed:
        yield lambda: (starts.table(row(None), 0.0), False)
        yield lambda: (starts.laid_down(placement.rings), False)
    elif scene.kind is SceneKind.TABLE and scene.curved:
        for turn in TURNS:
            yield partial(curved, turn)
    elif scene.kind is SceneKind.TABLE:
        yield lambda: (starts.table(row(reach), 0.0), True)
        yield lambda: (starts.table(row(None), 0.0), False)
    else:
        begin = worn_starts.wrist if scene.kind is SceneKind.WRIST else worn_starts.neck
        # A worn piece keeps the slack it has; where it is too short then, it is pulled taut bit by bit.
        # A clasp that lies slack may open while the piece falls: it starts pulled, as it is closed.
        first = (reach,) if by_clasp else ()
        for left in (*first, None, *(part * (placement.gap - clearance) for part in PULLS)):
            yield partial(worn, begin, left)


def drape(
    piece: Piece,
    placement: Placement,
    scene: Scene,
    *,
    taut: float | None = None,
    clearance: float = 0.0,
    on_progress: Progress | None = None,
    on_pose: OnPose | None = None,
) -> Draped:
    """Bring a placed run, chain, or row of sections to rest in a scene.

    Args:
        piece: The piece, its repeats settled.
        placement: Its placement.
        scene: The scene.
        taut: The piece's taut length [mm], for the span of a swag.
        clearance: Gap that wires keep from one another [mm]; what holds the piece touches them.
        on_progress: Told in words what is being done.
        on_pose: Shown the start and every step on the way to rest.

    Raises:
        CannotDrape: The scene cannot be started with this piece; the message says why.
    """
    if scene.kind not in ROW_SCENES:
        raise CannotDrape("a chain has no corners and no width to lay over an edge; that is for sheets")
    say = on_progress or (lambda _: None)
    check_room(placement, clearance)
    finished = taut
    # Where wires keep apart a piece is shorter than taut: what its row reaches then stands for that.
    taut = None if clearance else taut
    say("laying the piece out")
    worn = scene.kind in (SceneKind.WRIST, SceneKind.NECK)
    graph = placement.graph
    by_clasp = worn and not piece.closed and closing_links(graph) is not None
    if by_clasp:
        why = why_not_closed(graph)
        if why is not None:
            raise CannotDrape(f"it cannot be worn closed: {why}")
        graph = closed_graph(graph)
    elif worn and not piece.closed:
        closing = closing_run(piece)
        if closing is None:
            why = "it has too few cells" if isinstance(piece, Chain) else "its end cannot link its beginning"
            raise CannotDrape(f"{why}, so that it cannot be worn closed")
        if isinstance(closing, Run):
            graph = piece_graph(closing)
        else:
            graph = straight_row(closing, placement, left=None).graph
        piece, placement = closing, replace(placement, graph=graph)
    weights = ring_weights(graph)
    attempts = _attempts(piece, placement, scene, weights, taut, by_clasp, clearance, finished)
    start, rings, pulled = begun(graph, attempts, say, clearance)
    reaches = _reaches(len(graph), pulled and not scene.disorder)
    shares = _shares(graph, start.tension)
    draped = come_to_rest(scene, graph, start, rings, shares, reaches, say, clearance, on_pose)
    return _measured(draped, start)


def _shares(graph: LinkGraph, tension: Floats) -> Floats:
    """The force in each link [ring weights]: those that cross one section of the piece share its tension."""
    tension = np.maximum(tension, LEAST_STIFFNESS)
    i, j = graph.links.T
    low, high = np.sort(graph.group_of[graph.links], axis=1).T
    places = int(graph.group_of.max()) + 1
    back = graph.closed & (2 * (high - low) > places)
    # Links across the seam of a closed loop go the other way round.
    low, high = np.where(back, high, low), np.where(back, low + places, high)
    steps = np.zeros(2 * places + 1)
    np.add.at(steps, low, 1.0)
    np.add.at(steps, high, -1.0)
    crossing = np.cumsum(steps)[:-1]
    crossing = crossing[:places] + crossing[places:]
    total = np.concatenate([[0.0], np.cumsum(np.tile(crossing, 2))])
    within = np.bincount(low[low == high], minlength=places)
    mean = (total[high] - total[low]) / np.maximum(high - low, 1)
    count = np.where(low == high, within[low % places], mean)
    return np.asarray(0.5 * (tension[i] + tension[j]) / np.maximum(count, 1.0))


def _measured(draped: Draped, start: Start) -> Draped:
    """The piece with its length, drop and sag."""
    graph, rings = draped.graph, draped.rings
    drop = sag = None
    if start.pegs:
        top = max(float(peg.point[2]) + peg.radius for peg in start.pegs)
        drop = top - float(rings.bounds()[0][2])
        if len(start.pegs) == 2:
            sag = top - float(middles(graph, rings.centres)[:, 2].min())
    return replace(draped, drop=drop, sag=sag, length=_length(graph, rings))


def _length(graph: LinkGraph, rings: Bodies) -> float:
    """Length along the middle line, for an open piece to the outsides of its ends [mm]."""
    points = middle_line(graph, rings)
    if len(points) == 1:
        low, high = rings.bounds()
        return float((high - low).max())
    steps = np.diff(points, axis=0)
    whole = float(np.linalg.norm(steps, axis=1).sum())
    if graph.closed:
        return way_round(graph, rings)
    for end, outward in ((0, -steps[0]), (-1, steps[-1])):
        along = outward / np.linalg.norm(outward)
        own = rings[end_rings(graph, end != 0)]
        reach = (own.centres - points[end]) @ along + own.reach(along)
        whole += float(reach.max())
    return whole
