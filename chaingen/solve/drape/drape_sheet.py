"""Drape: a placed sheet brought to rest in a scene."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from chaingen.design.scene import SHEET_SCENES, Scene, SceneKind
from chaingen.geometry.solids import SolidKind
from chaingen.solve.drape import sheets
from chaingen.solve.drape.draped import Draped
from chaingen.solve.drape.settle import OnPose, Progress, begun, check_room, come_to_rest
from chaingen.solve.drape.starts import CannotDrape, Start, laid_down
from chaingen.solve.placement import Placement

REACHES = (0.2, 0.05, 0.015, 0.004)
"""Reach of the barrier as part of the thinnest wire's radius, from first to last. A sheet starts farther from
rest than a chain: at first a softer contact lets it come down in fewer steps."""

WIDER = (0.97, 1.0)
"""Distances of the pegs at a sheet's corners, as part of what it is as placed, that are tried where the usual
one leaves no start."""

_CAN = "hang, lie on a table or over its edge, or be held by two corners"


def _attempts(placement: Placement, scene: Scene) -> Iterator[Callable[[], tuple[Start, bool]]]:
    """Ways to start a scene, best first; no sheet is pulled straight for it."""

    def over(bend: float) -> tuple[Start, bool]:
        return sheets.edge(placement, bend), False

    def held(bow: sheets.Bend, part: float | None) -> tuple[Start, bool]:
        asked = scene if part is None else replace(scene, span_fraction=part)
        return sheets.corners(placement, asked, bow), False

    if scene.kind is SceneKind.HANG:
        yield lambda: (sheets.hang(placement), False)
    elif scene.kind is SceneKind.CORNERS:
        # Where nobody asked for a distance, a sheet that is hard to bend is bent less, or not at all.
        asked = scene.span is not None or scene.span_fraction is not None
        for part in (None,) if asked else (None, *WIDER):
            for bow in sheets.BOWS:
                yield partial(held, bow, part)
    elif scene.kind is SceneKind.EDGE:
        largest = float((placement.rings.radii + placement.rings.wire_radii).max())
        for bend in sheets.BENDS:
            yield partial(over, bend * largest)
    else:
        yield lambda: (laid_down(placement.rings), False)


def drape_sheet(
    placement: Placement,
    scene: Scene,
    *,
    clearance: float = 0.0,
    on_progress: Progress | None = None,
    on_pose: OnPose | None = None,
) -> Draped:
    """Bring a placed sheet to rest in a scene.

    Args:
        placement: Its placement, about the xy plane, x along the rows.
        scene: The scene: hang, table, corners or edge.
        clearance: Gap that wires keep from one another [mm]; what holds the sheet touches them.
        on_progress: Told in words what is being done.
        on_pose: Shown the start and every step on the way to rest.

    Raises:
        CannotDrape: The scene cannot be started with this sheet; the message says why.
    """
    if scene.kind not in SHEET_SCENES:
        raise CannotDrape(f"a sheet has no place in this scene; it can {_CAN}")
    say = on_progress or (lambda _: None)
    check_room(placement, clearance)
    say("laying the sheet out")
    graph = placement.graph
    start, rings, _ = begun(graph, _attempts(placement, scene), say, clearance)
    i, j = graph.links.T
    shares = 0.5 * (start.tension[i] + start.tension[j])
    draped = come_to_rest(scene, graph, start, rings, shares, REACHES, say, clearance, on_pose)
    return replace(draped, drop=_drop(draped, start))


def _drop(draped: Draped, start: Start) -> float | None:
    """From the top of the pegs or of the table's edge to the lowest wire [mm]."""
    tops = [float(peg.point[2]) + peg.radius for peg in start.pegs]
    tops += [float(solid.numbers[1]) for solid in start.solids if solid.kind is SolidKind.LEDGE]
    return max(tops) - float(draped.rings.bounds()[0][2]) if tops else None
