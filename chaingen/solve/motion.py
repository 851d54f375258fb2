"""How a repeating cell is carried to its images: along a line, or round a closed loop.

The images of a cell are numbered 0, 1, 2, ...; image k is the cell moved k times by the same rigid motion. A
straight run moves along x by its period, and may turn about x as it goes; a closed loop of `cells` cells
turns about z by a `cells`-th of a full turn.
"""

from dataclasses import dataclass
from enum import Enum
from math import ceil, cos, pi, sin

import numpy as np

from chaingen.geometry.rings import Floats, Rings, concatenate


class MotionKind(Enum):
    """Which motion carries a cell to the next."""

    NONE = "none"
    SHIFT = "shift"
    TURN = "turn"


@dataclass(frozen=True, slots=True)
class Motion:
    """The motion from one cell to the next.

    Attributes:
        kind: None for a finite piece, a shift along x, or a turn about z.
        period: Length of the shift [mm]; 0 for the others.
        cells: Number of cells in a full turn, whole or not; 0 for the others.
        twist: Turn of a shift about x [rad]; 0 for the others.
    """

    kind: MotionKind = MotionKind.NONE
    period: float = 0.0
    cells: float = 0
    twist: float = 0.0

    def image_count(self, reach: float, span: float) -> int:
        """How many further images can touch image 0.

        Args:
            reach: Largest distance of two ring centres whose wires could meet or link [mm].
            span: Extent of the ring centres of one cell along x [mm].
        """
        if self.kind is MotionKind.NONE:
            return 0
        if self.kind is MotionKind.TURN:
            return max(1, int(self.cells // 2))
        return min(60, ceil((reach + span) / max(self.period, 1e-3 * reach)))

    def transforms(self, images: int) -> tuple[Floats, Floats]:
        """Rotations, shape (images + 1, 3, 3), and translations [mm], shape (images + 1, 3)."""
        rotations = np.tile(np.eye(3), (images + 1, 1, 1))
        translations = np.zeros((images + 1, 3))
        if self.kind is MotionKind.SHIFT:
            translations[:, 0] = self.period * np.arange(images + 1)
            for k in range(images + 1 if self.twist else 0):
                c, s = cos(k * self.twist), sin(k * self.twist)
                rotations[k, 1:, 1:] = [[c, -s], [s, c]]
        elif self.kind is MotionKind.TURN:
            for k in range(images + 1):
                angle = 2.0 * pi * k / self.cells
                rotations[k, :2, :2] = [[cos(angle), -sin(angle)], [sin(angle), cos(angle)]]
        return rotations, translations


def repeat_cell(cell: Rings, motion: Motion, repeat: int) -> Rings:
    """`repeat` images of a cell, in order."""
    rotations, translations = motion.transforms(repeat - 1)
    return concatenate(
        [
            Rings(
                cell.centres @ rotation.T + translation,
                cell.normals @ rotation.T,
                cell.radii,
                cell.wire_radii,
            )
            for rotation, translation in zip(rotations, translations, strict=True)
        ]
    )
