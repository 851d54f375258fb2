"""Feeders for a piece that is cast as placed: a straight one for each shell, to rods beside the piece.

Rods run along the piece's longest horizontal direction under it; what cannot be reached from there is tried
from above and then from either side. Rods end beyond the piece at cross rods, and these at a button. Each
shell is a body, or several that are welded.

A feeder meets the thickest wire of its shell, as is common practice: metal freezes last where it is thickest
and must be fed until then. Where feeders of one rod come near it they may run together, for all is cut off.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from chaingen.design.service import Sprues
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import WIRE
from chaingen.geometry.types import Floats, Ints
from chaingen.model.solids import Solid, joined
from chaingen.prepare.feeders import Chosen, Feeder, ShellCurves, Side, choose, ways_of
from chaingen.prepare.shells import Shells, touching
from chaingen.prepare.sprues import Bar, button, button_height, feeder, rod
from chaingen.prepare.welds import Weld, weld_solid

PITCH = 2.5
"""Distance of rods side by side over their diameter, at the most: there is room to saw between them."""

LEAST_PITCH = 1.25
"""The same at the least: rods nearer than that leave no room for a saw."""

STEEP = 0.7
"""How far a feeder reaches sideways, at the most, as a part of its rise, to the nearest rod."""

MOST_SLACK = 0.01
"""What of the gap may be missing at the most [mm]."""


@dataclass(frozen=True, eq=False)
class Rod:
    """A rod that feeders or other rods lead to.

    Attributes:
        begin: Where its axis begins [mm], shape (3,).
        end: Where it ends [mm], shape (3,).
        diameter: Its diameter [mm].
        main: The rod that it branches off where it begins; None where it ends there.
    """

    begin: Floats
    end: Floats
    diameter: float
    main: Bar | None = None


@dataclass(frozen=True, eq=False)
class Button:
    """Where metal is poured.

    Attributes:
        centre: Middle of its foot [mm], shape (3,).
        axis: Unit vector from there to the rod, shape (3,).
        diameter: Its diameter [mm].
        main: Diameter of the rod there [mm].
    """

    centre: Floats
    axis: Floats
    diameter: float
    main: float


@dataclass(frozen=True, eq=False)
class Feeding:
    """How a piece is fed.

    Attributes:
        feeders: One for each shell that is fed, by the first body of the shell.
        unfed: The first body of each shell that no feeder of those tried reaches.
        rods: Rods that feeders lead to, cross rods, and those that join these.
        button: Where metal is poured; None without a feeder.
    """

    feeders: tuple[Feeder, ...]
    unfed: tuple[int, ...]
    rods: tuple[Rod, ...]
    button: Button | None


def feed(
    bodies: Bodies,
    sprues: Sprues,
    *,
    gap: float,
    tolerance: float,
    clusters: Ints | None = None,
    welds: Sequence[Weld] = (),
) -> Feeding:
    """Find a feeder for each shell of a piece, and the rods for them.

    Deterministic. Feeders are given out to the shells with the fewest choices first.

    Args:
        bodies: The bodies as cast.
        sprues: Sizes of feeders, rods and button.
        gap: Gap that a feeder keeps from all wires but its own, and from its own beyond its foot [mm].
        tolerance: Farthest that meshes stray from true bodies [mm]; the gap is kept but for that, or for
            `MOST_SLACK`.
        clusters: The shell of each body, shape (n,), as `Welds.cluster_of` says; None where each is its own.
        welds: The welds that join them, which feeders keep clear of as well.
    """
    shells = ShellCurves(bodies, np.arange(len(bodies)) if clusters is None else clusters, welds)
    thickest = float(shells.curves[:, WIRE].max())
    main = sprues.main_diameter(2.0 * thickest)
    chosen: dict[int, Chosen] = {}
    used: list[tuple[Side, list[Feeder]]] = []
    for layouts in _sides(bodies, sprues, main):
        waiting = [shell for shell in range(len(shells)) if shell not in chosen]
        best, rods = _best(shells, waiting, layouts, sprues, chosen, gap, min(tolerance, MOST_SLACK))
        if best:
            chosen |= best
            used.append((rods, [each.feeder for each in best.values()]))
    unfed = tuple(shells.first[shell] for shell in range(len(shells)) if shell not in chosen)
    if not chosen:
        return Feeding((), unfed, (), None)
    lines, end = _rods(used, bodies, sprues)
    away, wide = used[0][0].frame[0], sprues.button_diameter(2.0 * thickest)
    pour = Button(end + button_height(wide, main) * away, -away, wide, main)
    feeders = tuple(chosen[shell].feeder for shell in sorted(chosen))
    return Feeding(feeders, unfed, tuple(lines), pour)


def _best(
    shells: ShellCurves, waiting: list[int], layouts: list[Side], sprues: Sprues, chosen: dict[int, Chosen],
    gap: float, slack: float,
) -> tuple[dict[int, Chosen], Side]:  # fmt: skip
    """The layout of a side's rods that feeds most of the shells that wait; of some as good the first."""
    best: dict[int, Chosen] = {}
    rods = layouts[0]
    for side in layouts:
        if len(best) == len(waiting):
            break
        ways = [ways_of(shells, shell, side, sprues, gap, slack) for shell in waiting]
        found = choose(waiting, ways, side, [each.row for each in chosen.values()], gap)
        if len(found) > len(best):
            best, rods = found, side
    return best, rods


def _sides(bodies: Bodies, sprues: Sprues, main: float) -> list[list[Side]]:
    """The sides tried, in order, and of each how its rods may lie: with one more they lie elsewhere."""
    low, high = bodies.bounds()
    long = 0 if high[0] - low[0] >= high[1] - low[1] else 1
    along, across, up = np.eye(3)[long], np.eye(3)[1 - long], np.eye(3)[2]
    found = []
    for v, w in ((across, -up), (across, up), (up, -across), (up, across)):
        frame = np.stack([along, v, w])
        corners = frame @ low, frame @ high
        least, most = np.minimum(*corners), np.maximum(*corners)
        width = float(most[1] - least[1])
        fewest = max(1, ceil(width / (PITCH * main) - 1e-9))
        layouts = []
        for count in (fewest, fewest + 1):
            places = least[1] + (np.arange(count) + 0.5) * width / count
            rise = max(sprues.length + 0.5 * main, 0.5 * width / count / STEEP)
            height = float(most[2]) + rise
            layouts.append(Side(frame, places, height, main, float(least[0]), float(most[0])))
        # Rods that would run into one another are one too many.
        found.append(layouts if width >= LEAST_PITCH * main * (fewest + 1) else layouts[:1])
    return found


def _rods(used: list[tuple[Side, list[Feeder]]], bodies: Bodies, sprues: Sprues) -> tuple[list[Rod], Floats]:
    """Rods for the feeders chosen, and where the button begins [mm], shape (3,)."""
    # All rods end in one plane across them, beyond the piece by the least length of a feeder.
    main, axis = used[0][0].main, used[0][0].frame[0]
    plane = used[0][0].high + sprues.length + main
    rods, middles = [], []
    for side, feeders in used:
        starts = np.array([each.start for each in feeders])
        u, v = (starts @ side.frame.T)[:, :2].T
        on = np.argmin(np.abs(v[:, None] - side.rods), axis=1)
        used_rods = np.unique(on).tolist()
        cross = Bar(side.frame[1], main) if len(used_rods) > 1 else None
        for k in used_rods:
            begin, end = (plane, side.rods[k]), (float(u[on == k].min()) - 0.5 * main, side.rods[k])
            rods.append(Rod(side.point(*begin), side.point(*end), main, cross))
        first, last = float(side.rods[used_rods[0]]), float(side.rods[used_rods[-1]])
        if cross is not None:
            # Beyond the outermost rods there is room for their fillets.
            ends = first - 0.5 * main, last + 0.5 * main
            rods.append(Rod(side.point(plane, ends[0]), side.point(plane, ends[1]), main))
        middles.append((side.point(plane, 0.5 * (first + last)), cross))
    if len(middles) == 1 and middles[0][1] is None:
        return rods, middles[0][0]
    if len(middles) == 1:
        meet = middles[0][0]
    else:
        low, high = bodies.bounds()
        meet = 0.5 * (low + high)
        meet += (plane - meet @ axis) * axis
        rods += [Rod(middle, meet, main, cross) for middle, cross in middles]
    # A stem, so that the button does not run into rods that meet there.
    return [*rods, Rod(meet, meet + main * axis, main)], meet + main * axis


def sprue_solids(feeding: Feeding, tolerance: float) -> list[Solid]:
    """The solids of feeders, rods and button; together they are one body.

    Args:
        feeding: How a piece is fed.
        tolerance: Farthest any point of their meshes may lie from the true surface [mm].
    """
    parts = [
        feeder(each.start, each.end, each.diameter, main=each.main, wire=each.wire, tolerance=tolerance)
        for each in feeding.feeders
    ]
    parts += [
        rod(each.begin, each.end, each.diameter, main=each.main, tolerance=tolerance) for each in feeding.rods
    ]
    if feeding.button is not None:
        pour = feeding.button
        parts.append(button(pour.centre, pour.axis, pour.diameter, pour.main, tolerance=tolerance))
    return parts


def sprued_solid(bodies: Bodies, feeding: Feeding, welds: Sequence[Weld], tolerance: float) -> Solid:
    """A piece with its welds and sprues: one watertight body where every shell is fed.

    Args:
        bodies: The bodies as cast.
        feeding: How they are fed.
        welds: The welds between them.
        tolerance: Farthest any point of the bodies' meshes may lie from the true body [mm].
    """
    shells = Shells(bodies, tolerance)
    # What touches nothing need not be joined.
    touched = {body for pair in touching(bodies, tolerance) for body in pair}
    touched |= {body for weld in welds for body in (*weld.pair, *weld.touched)}
    rings = bodies.is_ring
    apart = [body for body in range(len(bodies)) if rings[body] and body not in touched]
    parts = [shells[body] for body in range(len(bodies)) if not rings[body] or body in touched]
    parts += [weld_solid(weld, tolerance) for weld in welds]
    if apart:
        parts.append(shells.together(apart))
    sprues = sprue_solids(feeding, tolerance)
    return joined([joined(parts), joined(sprues)]) if sprues else joined(parts)
