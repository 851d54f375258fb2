"""Which rings to open: as few as can be, so that every link has an opened end.

The least number is found first, exactly where that can be done quickly (see `least`), else as a bound. Then
regular choices are tried: the same rings opened in every cell, or every so many cells, the ends of the piece
left free; the first that needs no more than the least wins, because a maker can remember it.
"""

from dataclasses import dataclass
from time import monotonic

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from chaingen.geometry.types import Ints
from chaingen.make.order.least import Wide, least_narrow, least_two_sided, parts_of, sides
from chaingen.make.order.nodes import Nodes
from chaingen.make.order.places import Places
from chaingen.make.order.steps import Opened

Bools = npt.NDArray[np.bool_]

CHOICES = tuple(
    (period, free) for some in ((1, 2, 3, 4), (6, 8, 12)) for free in (False, True) for period in some
)
"""Regular choices in the order in which they are tried: after how many cells, or groups, the choice comes
again, and whether the ends of the piece are free."""

MOST_CLASSES, FREE_SHARE = 300, 0.25
"""A choice with the ends free has so many different rings at most, or this part of all: what is free nearly
everywhere is not regular."""

MOST_BRANCHES = 300
"""Branches looked at for one regular choice."""

RELAXED_SHARE, REGULAR_SHARE = 0.25, 0.5
"""Parts of the time given: for a bound, and for that and regular choices."""

EYE_MORE = 1e-3
"""An opened eye counts so much more than an opened ring: of equally many, rings are rather opened."""


@dataclass(frozen=True, eq=False)
class Cover:
    """Which nodes are opened.

    Attributes:
        taken: Which nodes are, shape (k,).
        at_least: No fewer will do.
    """

    taken: Bools
    at_least: int


def cover_of(nodes: Nodes, places: Places, *, seconds: float) -> Cover:
    """The fewest nodes opened so that every link has an opened end, unless it goes through an eye worn open.

    Args:
        nodes: The nodes of the piece; no two soldered ones are linked.
        places: Where its bodies stand.
        seconds: For how long branching goes on where no quicker way is exact [s].
    """
    count = len(nodes)
    ends = nodes.ends[~nodes.worn[nodes.ends].any(axis=1)]
    forced = np.zeros(count, dtype=bool)
    beside = nodes.soldered[ends]
    forced[ends[beside[:, ::-1]]] = True
    edges = np.unique(np.sort(ends[~forced[ends].any(axis=1)], axis=1), axis=0).reshape(-1, 2)
    if not len(edges):
        return Cover(forced, int(forced.sum()))
    begun = monotonic()
    two_sided, left = sides(count, edges)
    exact = least_two_sided(count, edges[two_sided[edges[:, 0]]], left & two_sided)
    bound = int(exact.sum())
    wide: list[Wide] = []
    for own, between in parts_of(count, edges, ~two_sided):
        narrow = least_narrow(len(own), between)
        if narrow is None:
            wide.append(Wide(own, between, RELAXED_SHARE * seconds))
            bound += wide[-1].at_least
        else:
            exact[own] = narrow
            bound += int(narrow.sum())
    regular = _regular(nodes, places, edges, bound, begun + REGULAR_SHARE * seconds)
    if regular.sum() <= bound:
        return Cover(forced | _rather_rings(regular, nodes, edges), bound + int(forced.sum()))
    bound = int(exact.sum())
    for part in wide:
        exact[part.nodes] = part.branched(regular[part.nodes], max(0.0, begun + seconds - monotonic()))
        bound += part.at_least
    # A regular choice that is as good as what was found otherwise is the better one.
    taken = _without_idle(regular if regular.sum() <= exact.sum() else exact, edges)
    return Cover(forced | _rather_rings(taken, nodes, edges), bound + int(forced.sum()))


def _without_idle(taken: Bools, edges: Ints) -> Bools:
    """The cover without nodes whose edges all have another taken end."""
    taken = taken.copy()
    needed = np.zeros(len(taken), dtype=bool)
    alone = edges[~taken[edges].all(axis=1)]
    needed[alone[taken[alone]]] = True
    spare = np.flatnonzero(taken & ~needed).tolist()
    if spare:
        beside: dict[int, list[int]] = {node: [] for node in spare}
        for a, b in edges.tolist():
            if a in beside:
                beside[a].append(b)
            if b in beside:
                beside[b].append(a)
        for node in reversed(spare):
            if all(taken[other] for other in beside[node]):
                taken[node] = False
    return taken


def _rather_rings(taken: Bools, nodes: Nodes, edges: Ints) -> Bools:
    """The cover with rings instead of eyes of findings, where one can stand for the other."""
    taken = taken.copy()
    eyes = np.flatnonzero(taken & nodes.at_finding)
    near = edges[np.isin(edges, eyes).any(axis=1)]
    for eye in eyes.tolist():
        own = near[(near == eye).any(axis=1)]
        others = own[own != eye]
        alone = others[~taken[others]]
        if len(alone) == 1 and not nodes.at_finding[alone[0]]:
            taken[eye], taken[alone[0]] = False, True
    return taken


def _regular(nodes: Nodes, places: Places, edges: Ints, bound: int, deadline: float) -> Bools:
    """The first regular cover found with no more than `bound` nodes, else the smallest, shape (k,).

    Args:
        nodes: The nodes.
        places: Where bodies stand.
        edges: The edges to cover, shape (m, 2).
        bound: A cover of so many nodes is as small as any.
        deadline: Until when choices with free ends are tried, on the clock of `monotonic`.
    """
    best = np.zeros(len(nodes), dtype=bool)
    best[edges] = True
    tried: set[bytes] = set()
    cells = int(np.ptp(places.cell)) + 1
    for period, ends_free in CHOICES:
        if not ends_free and period > max(1, cells // 2):
            # What does not come again is not regular.
            continue
        classes = _classes(nodes, places, edges, period, ends_free)
        some = int(classes.max()) + 1 <= max(MOST_CLASSES, FREE_SHARE * len(nodes))
        key = classes.tobytes()
        if key in tried or (ends_free and not (some and monotonic() < deadline)):
            continue
        tried.add(key)
        found = _tied(edges, nodes, classes, bound, max(1.0, deadline - monotonic()))
        if found is not None and found.sum() < best.sum():
            best = found
        if best.sum() <= bound:
            return best
    return best


def _classes(nodes: Nodes, places: Places, edges: Ints, period: int, ends_free: bool) -> Ints:
    """The class of each node: those of one class are opened all or none, shape (k,)."""
    body = nodes.body
    along, across = places.cell[body] % period, places.lane[body] % period
    if not places.sheet:
        across = np.zeros_like(along)
    keys = np.column_stack([places.ring[body], along, across, np.full(len(nodes), -1)])
    free = nodes.at_finding.copy()
    if ends_free:
        degree = np.bincount(edges.ravel(), minlength=len(nodes))
        most = np.zeros(int(places.ring.max()) + 1, dtype=np.int64)
        np.maximum.at(most, places.ring[body], degree)
        free |= degree < most[places.ring[body]]
        last = np.full(int(places.section.max()) + 1, -1)
        np.maximum.at(last, places.section, places.cell)
        free |= places.cell[body] > last[places.section[body]] - period
    keys[free, 3] = np.flatnonzero(free)
    # Classes are numbered from the beginning of the piece, by their first node.
    order = np.argsort(places.rank[body], kind="stable")
    _, first, where = np.unique(keys[order], axis=0, return_index=True, return_inverse=True)
    number = np.empty(len(first), dtype=np.int64)
    number[np.argsort(first)] = np.arange(len(first))
    classes = np.empty(len(nodes), dtype=np.int64)
    classes[order] = number[where.ravel()]
    return classes


def _tied(edges: Ints, nodes: Nodes, classes: Ints, bound: int, seconds: float) -> Bools | None:
    """The least cover that takes all or none of each class; None when none was found in time, shape (k,)."""
    count = int(classes.max()) + 1
    linked = np.zeros(len(nodes), dtype=bool)
    linked[edges] = True
    size = np.bincount(classes[linked], minlength=count).astype(np.float64)
    pairs = np.unique(np.sort(classes[edges], axis=1), axis=0)
    rows = np.repeat(np.arange(len(pairs)), 2)
    matrix = csr_array((np.ones(len(rows)), (rows, pairs.ravel())), shape=(len(pairs), count))
    matrix.sum_duplicates()
    covered = LinearConstraint(matrix, lb=np.where(pairs[:, 0] == pairs[:, 1], 2.0, 1.0))
    eyes = np.bincount(classes[linked & nodes.at_finding], minlength=count)
    options = {"time_limit": seconds, "node_limit": MOST_BRANCHES, "mip_rel_gap": 0.0}
    one = milp(
        size + EYE_MORE * eyes,
        integrality=np.ones(count),
        bounds=Bounds(0.0, 1.0),
        constraints=covered,
        options=options,
    )
    if one.x is None:
        return None
    taken = one.x > 0.5
    least = float(size[taken].sum())
    if least > bound:
        return np.asarray(taken[classes] & linked)
    # Of equally good ones: what comes first stays closed, what comes later goes through it.
    weight = (size + EYE_MORE * eyes)[None, :]
    capped = LinearConstraint(csr_array(weight), ub=float((weight[0] * taken).sum()) + 0.1 * EYE_MORE)
    later = size * (count - np.arange(count)) / count
    two = milp(
        later,
        integrality=np.ones(count),
        bounds=Bounds(0.0, 1.0),
        constraints=[covered, capped],
        options=options,
    )
    if two.x is not None and size[two.x > 0.5].sum() <= least:
        taken = two.x > 0.5
    return np.asarray(taken[classes] & linked)


def opened_of(nodes: Nodes, cover: Cover, bodies: int) -> Opened:
    """The cover in words of bodies and eyes.

    Args:
        nodes: The nodes.
        cover: The cover.
        bodies: How many bodies the piece has.
    """
    rings = nodes.body[cover.taken & ~nodes.at_finding]
    at_findings = cover.taken & nodes.at_finding
    opened = np.unique(nodes.body[cover.taken])
    eyes, worn = (
        tuple(zip(nodes.body[of].tolist(), nodes.eye[of].tolist(), strict=True))
        for of in (at_findings, nodes.worn)
    )
    count = len(rings) + len(eyes)
    return Opened(
        opened=tuple(opened.tolist()),
        closed=tuple(np.setdiff1d(np.arange(bodies), opened).tolist()),
        eyes=eyes,
        worn_open=worn,
        count=count,
        at_least=cover.at_least,
        proven=count == cover.at_least,
    )
