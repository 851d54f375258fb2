"""How long a cell or a row is when it is pulled straight, at zero gap."""

from dataclasses import dataclass

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import farthest
from chaingen.geometry.types import Floats
from chaingen.solve.contacts import Contacts, State, columns_of, turn_axes
from chaingen.solve.motion import PERIOD, UNKNOWNS, Motion
from chaingen.solve.slp import Aim, stretch
from chaingen.weave.graph import LinkGraph


@dataclass(frozen=True, eq=False)
class Taut:
    """A run pulled straight.

    Attributes:
        length: Period of a cell, or length of a finite row from outside to outside [mm].
        rings: The rings pulled straight along x.
        motion: The motion from one cell to the next.
        converged: Whether the search ended because nothing more was to be won.
    """

    length: float
    rings: Bodies
    motion: Motion
    converged: bool


def period_aim() -> Aim:
    """The period of a cell, as something to raise."""

    def period(state: State) -> tuple[float, Floats]:
        slope = np.zeros(_unknowns(state.rings) + UNKNOWNS)
        slope[PERIOD] = 1.0
        return state.motion.period, slope

    return period


def _unknowns(bodies: Bodies) -> int:
    """How many unknowns all bodies have when they are free."""
    return columns_of(bodies, np.ones(len(bodies), dtype=bool))[1]


def taut_cell(graph: LinkGraph, rings: Bodies, motion: Motion) -> Taut:
    """The longest period of a repeating cell at zero gap.

    Args:
        graph: The cell's link graph.
        rings: A placement of the cell without overlaps.
        motion: Its shift.
    """
    found = stretch(Contacts(graph), State(rings, motion), period_aim())
    return Taut(found.value, found.state.rings, found.state.motion, found.converged)


def row_aim(graph: LinkGraph) -> Aim:
    """The length of a finite row along x, from outside to outside of its ends, as something to raise."""
    group = graph.group_of
    ends = [np.flatnonzero(group == group.max()), np.flatnonzero(group == 0)]

    def span(state: State) -> tuple[float, Floats]:
        """Mean farthest x of the last group's rings less mean nearest x of the first group's."""
        now = state.rings
        column, width = columns_of(now, np.ones(len(now), dtype=bool))
        slope = np.zeros(width + UNKNOWNS)
        axes = turn_axes(now)
        length = 0.0
        for side, members in zip((1.0, -1.0), ends, strict=True):
            for k in members:
                shape = now.shape(int(k))
                if shape is not None:
                    reach, point = farthest(shape.primitives, side * axes[k, :, 0])
                    share, at = 1.0 / len(members), int(column[k])
                    length += share * (side * now.centres[k, 0] + reach)
                    slope[at] += side * share
                    # A turn about an axis moves the point that reaches farthest.
                    turning = np.cross(axes[k], point @ axes[k])[:, 0] / now.radii[k]
                    slope[at + 3 : at + 6] += side * share * turning
                    continue
                x = float(now.normals[k, 0])
                rest = np.sqrt(max(1.0 - x * x, 1e-12))
                share = 1.0 / len(members)
                length += share * (side * now.centres[k, 0] + now.radii[k] * rest + now.wire_radii[k])
                slope[column[k]] += side * share
                # d(normal x) of a tilt about axis a is (a x n)_x; one tilt unit is 1 mm at the ring's radius.
                for tilt, axis in ((3, axes[k, 0]), (4, axes[k, 1])):
                    change = float(np.cross(axis, now.normals[k])[0])
                    slope[column[k] + tilt] += share * (-x / rest) * change
        return length, slope

    return span


def taut_row(graph: LinkGraph, rings: Bodies) -> Taut:
    """The longest a finite row can be pulled, from outside to outside, by its first and last group.

    Args:
        graph: The row's link graph.
        rings: A placement of the row along x without overlaps.
    """
    found = stretch(Contacts(graph), State(rings, Motion()), row_aim(graph))
    low, high = found.state.rings.bounds()
    return Taut(float(high[0] - low[0]), found.state.rings, found.state.motion, found.converged)
