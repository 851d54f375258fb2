"""How a repeating cell is carried to its images: along a line, over a sheet, or round a closed loop.

An image is numbered by how many cells along and how many across it lies. A straight chain moves along x by
its period, and may turn about x as it goes; a sheet has a second shift in the plane of x and y; a closed
loop of `cells` cells turns about z by a `cells`-th of a full turn.
"""

from dataclasses import dataclass, replace
from enum import Enum
from math import ceil, pi

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints

UNKNOWNS = 3
"""Unknowns of a motion: period and twist of a shift (the third is idle); period and both parts of the shift
across for a sheet."""

PERIOD = -UNKNOWNS
"""Place of the period among the columns of all unknowns, counted from the end."""

MOST_IMAGES = 60
"""Images looked at in one direction at most."""


class MotionKind(Enum):
    """Which motion carries a cell to the next."""

    NONE = "none"
    SHIFT = "shift"
    SHEET = "sheet"
    TURN = "turn"


@dataclass(frozen=True, slots=True)
class Motion:
    """The motion from one cell to the next.

    Attributes:
        kind: None for a finite piece, a shift along x, shifts along x and across, or a turn about z.
        period: Length of the shift [mm]; 0 for the others.
        cells: Number of cells in a full turn, whole or not; 0 for the others.
        twist: Turn of a shift about x [rad]; 0 for the others.
        across: Shift across along x and y [mm]; only of a sheet.
        turning: Whether the twist of a shift is free.
        pitch: Radius at which a change of the twist is measured [mm].
    """

    kind: MotionKind = MotionKind.NONE
    period: float = 0.0
    cells: float = 0
    twist: float = 0.0
    across: tuple[float, float] = (0.0, 0.0)
    turning: bool = False
    pitch: float = 1.0

    def images(self, reach: float, span: float) -> Ints:
        """Images that can touch image 0, each pair of cells once, image 0 first; shape (k, 2).

        Args:
            reach: Largest distance of two ring centres whose wires could meet or link [mm].
            span: Extent of the ring centres of one cell [mm].
        """
        if self.kind is MotionKind.NONE:
            return np.zeros((1, 2), dtype=np.int64)
        if self.kind is MotionKind.SHEET:
            return self._sheet_images(reach + span)
        if self.kind is MotionKind.TURN:
            count = max(1, int(self.cells // 2))
        else:
            count = min(MOST_IMAGES, ceil((reach + span) / max(self.period, 1e-3 * reach)))
        return np.column_stack([np.arange(count + 1), np.zeros(count + 1, dtype=np.int64)])

    def _sheet_images(self, far: float) -> Ints:
        area = abs(self.period * self.across[1])
        widths = area / max(float(np.hypot(*self.across)), 1e-9), area / max(abs(self.period), 1e-9)
        along, across = (min(MOST_IMAGES // 4, ceil(far / max(width, 1e-2 * far))) for width in widths)
        i, j = np.meshgrid(np.arange(along + 1), np.arange(-across, across + 1), indexing="ij")
        cells = np.column_stack([i.ravel(), j.ravel()])
        away = np.linalg.norm(self.transforms(cells)[1], axis=1)
        ahead = (cells[:, 0] > 0) | (cells[:, 1] > 0)
        return np.concatenate([np.zeros((1, 2), dtype=np.int64), cells[ahead & (away < far)]])

    def transforms(self, cells: Ints) -> tuple[Floats, Floats]:
        """Rotations, shape (k, 3, 3), and translations [mm], shape (k, 3), of images, shape (k, 2)."""
        count = len(cells)
        along = cells[:, 0]
        rotations = np.tile(np.eye(3), (count, 1, 1))
        translations = np.zeros((count, 3))
        if self.kind is MotionKind.SHIFT or self.kind is MotionKind.SHEET:
            translations[:, 0] = self.period * along
        if self.kind is MotionKind.SHEET:
            translations[:, :2] += cells[:, 1:] * np.array(self.across)
        if self.kind is MotionKind.SHIFT and self.twist:
            rotations[:, 1:, 1:] = _plane_turns(np.asarray(self.twist * along, dtype=np.float64))
        elif self.kind is MotionKind.TURN:
            rotations[:, :2, :2] = _plane_turns(np.asarray(2.0 * pi * along / self.cells, dtype=np.float64))
        return rotations, translations

    def slopes(self, cells: Ints, points: Floats) -> Floats:
        """Change of points of images by the motion's unknowns.

        Args:
            cells: The images the points belong to, shape (m, 2).
            points: The points [mm], shape (m, 3).

        Returns:
            Derivatives, shape (m, UNKNOWNS, 3).
        """
        slopes = np.zeros((len(points), UNKNOWNS, 3))
        if self.kind is MotionKind.SHIFT:
            slopes[:, 0, 0] = cells[:, 0]
            if self.turning:
                # A turn about x by 1 rad moves (y, z) by (-z, y).
                slopes[:, 1, 1] = -cells[:, 0] * points[:, 2] / self.pitch
                slopes[:, 1, 2] = cells[:, 0] * points[:, 1] / self.pitch
        elif self.kind is MotionKind.SHEET:
            slopes[:, 0, 0] = cells[:, 0]
            slopes[:, 1, 0] = slopes[:, 2, 1] = cells[:, 1]
        return slopes

    def stepped(self, step: Floats) -> "Motion":
        """The motion after a step of its unknowns, shape (UNKNOWNS,)."""
        if self.kind is MotionKind.SHIFT:
            twist = self.twist + (float(step[1]) / self.pitch if self.turning else 0.0)
            return replace(self, period=self.period + float(step[0]), twist=twist)
        if self.kind is MotionKind.SHEET:
            across = self.across[0] + float(step[1]), self.across[1] + float(step[2])
            return replace(self, period=self.period + float(step[0]), across=across)
        return self


def _plane_turns(angles: Floats) -> Floats:
    """Turns in a plane, shape (k, 2, 2)."""
    c, s = np.cos(angles), np.sin(angles)
    return np.stack([np.stack([c, -s], axis=-1), np.stack([s, c], axis=-1)], axis=-2)


def images_of(cell: Bodies, motion: Motion, cells: Ints) -> Bodies:
    """Images of a cell, shape (k, 2), one after the other."""
    rotations, translations = motion.transforms(cells)
    centres = np.einsum("kab,nb->kna", rotations, cell.centres) + translations[:, None, :]
    normals = np.einsum("kab,nb->kna", rotations, cell.normals)
    axes = None if cell.axes is None else np.einsum("kab,nb->kna", rotations, cell.axes).reshape(-1, 3)
    count = len(cells)
    return Bodies(
        centres.reshape(-1, 3),
        normals.reshape(-1, 3),
        np.tile(cell.radii, count),
        np.tile(cell.wire_radii, count),
        axes,
        cell.shapes,
        None if cell.shape_of is None else np.tile(cell.shape_of, count),
    )


def repeat_cell(cell: Bodies, motion: Motion, repeat: int) -> Bodies:
    """`repeat` images of a cell along, in order."""
    return images_of(cell, motion, np.column_stack([np.arange(repeat), np.zeros(repeat, dtype=np.int64)]))
