"""What a drape gives: a piece at rest in a scene, or why it was not draped."""

from collections.abc import Sequence
from dataclasses import dataclass

from chaingen.design.scene import Scene
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.solids import Solid
from chaingen.solve.check import CheckReport
from chaingen.weave.graph import LinkGraph


@dataclass(frozen=True, eq=False)
class Draped:
    """A piece in a scene.

    Attributes:
        scene: The scene.
        graph: The link graph; for a worn open run the closed loop's.
        rings: Poses at the end, free of contact.
        solids: What holds the piece.
        reached: Whether it is at rest.
        why: Why not, in words; empty when it is.
        unbalanced: Largest unbalanced force on a ring, in its own weight.
        check: Gaps and links at the end.
        hair: How much thinner the wires were taken [mm]; 0 when there was room.
        steps: Newton steps taken.
        support: Upward force of all supports over the piece's weight.
        drop: From the top of the pegs or of the table's edge to the lowest wire [mm]; None without either.
        sag: From the top of the pegs to the middle of the lowest group of a swag [mm]; None for others.
        length: Length at rest, along the middles of the groups from outside to outside, or round [mm]; None
            for a sheet.
        span: Distance of two pegs [mm].
        circumference: Of the wrist or neck [mm].
        frames: Poses on the way, first and last included; empty unless asked for.
        energies: Energy after each step, as (number of the barrier, energy [ring weights mm]).
    """

    scene: Scene
    graph: LinkGraph
    rings: Bodies
    solids: tuple[Solid, ...]
    reached: bool
    why: str
    unbalanced: float
    check: CheckReport
    hair: float
    steps: int
    support: float
    drop: float | None
    sag: float | None
    length: float | None
    span: float | None
    circumference: float | None
    frames: tuple[Bodies, ...]
    energies: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class NotDraped:
    """A scene that was not started.

    Attributes:
        scene: The scene.
        why: Why, in words.
    """

    scene: Scene
    why: str


def scene_names(drapes: Sequence[Draped | NotDraped]) -> list[str]:
    """A name for each scene: its kind, numbered from the second of a kind on."""
    kinds = [drape.scene.kind.value for drape in drapes]
    return [
        kind if not (before := kinds[:k].count(kind)) else f"{kind}-{before + 1}"
        for k, kind in enumerate(kinds)
    ]
