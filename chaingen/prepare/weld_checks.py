"""Whether soldered joins come out as asked for: near enough, thick enough to feed through, and clear."""

import numpy as np

from chaingen.design.service import Service
from chaingen.geometry.types import Floats
from chaingen.prepare.casting_checks import FEEDS
from chaingen.prepare.loose import CannotPrepare
from chaingen.prepare.reach import Curves, gap_of_curves, spheres
from chaingen.prepare.sent import Sent, ServiceCheck, State, listed, model_word, named, state_of
from chaingen.prepare.welds import TooFar, Weld, Welds, welds_of
from chaingen.solve.check import ALIKE, ROUND_OFF
from chaingen.units import format_mm

NAME = "soldered joins"

MOST_NAMED = 5
"""Joins and bodies that are named one by one."""


def try_welds(piece: Sent, service: Service) -> tuple[Welds, list[ServiceCheck]]:
    """The welds of a piece, and what is to be said of them; none where a pair is too far apart."""
    if not service.soldered:
        return Welds(), []
    try:
        found = welds_of(piece.cast, piece.graph, service)
    except CannotPrepare as reason:
        pair = reason.pair if isinstance(reason, TooFar) else ()
        return Welds(), [ServiceCheck(NAME, State.FAIL, str(reason), pair)]
    return found, [_joined(piece, found, service), *_too_thin(piece, found, service)]


def _joined(piece: Sent, welds: Welds, service: Service) -> ServiceCheck:
    """Whether joins make one of no more than they should, and come near nothing else."""
    names, cluster = piece.graph.names, piece.cluster
    foreign = {
        rod.pair: [body for body in rod.touched if cluster[body] != cluster[rod.pair[0]]]
        for rod in welds.rods
    }
    wrong = [rod for rod in welds.rods if foreign[rod.pair]]
    if wrong:
        touched = sorted({body for rod in wrong for body in foreign[rod.pair]})
        joins = named([_pair(piece, rod) for rod in wrong], MOST_NAMED)
        along = named([names[body] for body in touched], MOST_NAMED)
        bodies = tuple(sorted({*touched, *(body for rod in wrong for body in rod.pair)}))
        return ServiceCheck(NAME, State.FAIL, f"{joins} would take {along} along", bodies)
    curves = Curves.of(piece.cast)
    balls = spheres(curves.rows)
    times = float(piece.stretch.min())
    within = service.safe_gap / times
    found = [_beside(piece, curves, welds, rod, _near(curves, balls, rod, within)) for rod in welds.rods]
    nearest = min(found, key=lambda own: own[0])
    gap, (one, two), body = nearest[0] * times, nearest[1], nearest[2]
    fails, warns = gap < service.smallest_gap - ROUND_OFF, gap < service.safe_gap - ROUND_OFF
    if not warns:
        return ServiceCheck(NAME, State.PASS, f"{_necks(piece, welds, service)}, clear of all else")
    text = (
        f"where {names[one]} is joined with {names[two]} the metal comes to {format_mm(gap)} from "
        f"{names[body]} in the {model_word(service)}, and the process {'fuses' if fails else 'may fuse'} "
        f"what is nearer than {format_mm(service.smallest_gap if fails else service.safe_gap)}"
    )
    return ServiceCheck(NAME, state_of(fails, warns), text, (one, two, body))


def _too_thin(piece: Sent, welds: Welds, service: Service) -> list[ServiceCheck]:
    """Necks too thin for one body of a casting to be fed through from the other."""
    if not service.process.casts:
        return []
    thin: list[tuple[float, Weld]] = []
    for rod in welds.rods:
        # A body is as hard to feed as its thickest wire, be it joined where it is thin.
        part = (rod.radius / float(piece.cast.wire_radii[list(rod.pair)].min())) ** 2
        if part < FEEDS[0] - ALIKE:
            thin.append((part, rod))
    if not thin:
        return []
    part, rod = min(thin, key=lambda own: own[0])
    more = f", and {len(thin) - 1:,} more" if len(thin) > 1 else ""
    text = (
        f"{_pair(piece, rod)}, by a neck of {format_mm(2.0 * rod.radius)} as cast{more}: {part:.2f} of the "
        f"section of the thinner one's wire, and {FEEDS[0]:g} or more feeds through it (common practice)"
    )
    bodies = tuple(sorted({body for _, own in thin for body in own.pair}))
    return [ServiceCheck("necks of joins", State.WARN, text, bodies)]


def _necks(piece: Sent, welds: Welds, service: Service) -> str:
    """Which are joined and how thick they are there; of necks that are alike that once."""
    at = " as cast" if service.process.casts else ""
    pairs = [_pair(piece, rod) for rod in welds.rods]
    necks = [format_mm(2.0 * rod.radius) for rod in welds.rods]
    if len(set(necks)) > 1:
        return named(
            [f"{pair} by a neck of {neck}{at}" for pair, neck in zip(pairs, necks, strict=True)], MOST_NAMED
        )
    row = listed(pairs) if len(pairs) <= MOST_NAMED else named(pairs, MOST_NAMED)
    return f"{row}, by {'a neck' if len(pairs) == 1 else 'necks'} of {necks[0]}{at}"


def _pair(piece: Sent, rod: Weld) -> str:
    return " with ".join(piece.graph.names[body] for body in rod.pair)


def _beside(
    piece: Sent, curves: Curves, welds: Welds, rod: Weld, near: list[int]
) -> tuple[float, tuple[int, int], int]:
    """How near a weld comes to what is not one with it [mm], of `near` bodies and of all other welds.

    Returns:
        The gap, infinite where nothing is so near; the pair of the weld; what is nearest.
    """
    row, cluster = rod.row()[None], piece.cluster
    own = cluster[rod.pair[0]]
    found = [
        (gap_of_curves(row, curves.rows[curves.slice_of(body)]), rod.pair, body)
        for body in near
        if cluster[body] != own
    ]
    # What joins others is as near as they are, and told by the first of them.
    found += [
        (gap_of_curves(row, other.row()[None]), rod.pair, other.pair[0])
        for other in welds.rods
        if cluster[other.pair[0]] != own
    ]
    return min(found, key=lambda each: each[0], default=(np.inf, rod.pair, rod.pair[0]))


def _near(curves: Curves, balls: Floats, rod: Weld, within: float) -> list[int]:
    """Bodies that may come so near to a weld [mm], by spheres round their curves, shape (k, 4) [mm]."""
    middle = 0.5 * (rod.begin + rod.end)
    room = np.linalg.norm(balls[:, :3] - middle, axis=1) - balls[:, 3] - 0.5 * rod.length - rod.radius
    return sorted(set(curves.body[room <= within].tolist()))
