"""Scenes: where and how a finished piece is let come to rest."""

from dataclasses import dataclass
from enum import StrEnum


class SceneKind(StrEnum):
    """What holds the piece."""

    HANG = "hang"
    SWAG = "swag"
    TABLE = "table"
    WRIST = "wrist"
    NECK = "neck"
    CORNERS = "corners"
    EDGE = "edge"


ROW_SCENES = (SceneKind.HANG, SceneKind.SWAG, SceneKind.TABLE, SceneKind.WRIST, SceneKind.NECK)
"""What a chain can be let come to rest in."""

SHEET_SCENES = (SceneKind.HANG, SceneKind.TABLE, SceneKind.CORNERS, SceneKind.EDGE)
"""What a sheet can be let come to rest in."""


MAX_DRAPED_RINGS = 10_000
"""The largest piece that is draped."""

FRICTION = 0.2
"""Coefficient of friction unless told otherwise (memory: dry metal on metal is 0.15 to 0.5)."""

SPAN_FRACTION = 0.8
"""Span of a swag as part of the piece's taut length unless told otherwise."""

CORNERS_FRACTION = 0.9
"""Distance of the pegs at a sheet's corners as part of what it is as placed, unless told otherwise; more
where the sheet cannot be bent so far."""

EASE = 15.0
"""Where no circumference is given, the wrist is so much smaller than a bracelet's inside, pulled taut [mm]:
between a snug and a loose one (trade: a quarter inch to an inch and a quarter)."""

NECK = 360.0
"""Circumference of the neck unless told otherwise [mm], a middling one (memory)."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One way to let a piece come to rest.

    Attributes:
        kind: What holds it.
        span: Distance of the two pegs of a swag or of a sheet's corners [mm]; None for a part of the length.
        span_fraction: Distance of the two pegs as part of a chain's taut length, or of the distance of a
            sheet's corners as placed; None for what is usual, see `part_apart`.
        circumference: Of the wrist or the neck [mm]; None for a wrist that suits the piece, and for a
            middling neck.
        curved: Whether the piece is laid on the table in a curve.
        friction: Coefficient of friction, wire on wire and wire on support.
        disorder: How far the piece is shaken before it is let go: 0 not at all, 1 as far as it goes.
        seed: Which disorder; equal seeds give equal rest.
        settling: Whether to keep frames of the way to rest.
    """

    kind: SceneKind
    span: float | None = None
    span_fraction: float | None = None
    circumference: float | None = None
    curved: bool = False
    friction: float = FRICTION
    disorder: float = 0.0
    seed: int = 0
    settling: bool = False

    @property
    def part_apart(self) -> float:
        """Distance of the two pegs as part of the piece's."""
        if self.span_fraction is not None:
            return self.span_fraction
        return CORNERS_FRACTION if self.kind is SceneKind.CORNERS else SPAN_FRACTION
