"""The middle line of a piece: through its groups, or through the places of a weave."""

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.spots import spots
from chaingen.weave.graph import LinkGraph


def middle_line(graph: LinkGraph, rings: Bodies) -> Floats:
    """The middle line of a piece [mm], shape (points, 3).

    Groups are its points by themselves. The places of a weave lie to either side of its middle: a point is
    the mean of one whole repetition of the pattern, and an open piece has none nearer to its ends than half
    of that.
    """
    group = graph.group_of
    centres = _link_middles(graph, rings)
    sums = np.stack([np.bincount(group, weights=centres[:, axis]) for axis in range(3)], axis=1)
    counts = np.bincount(group).astype(float)
    if graph.groups:
        return np.asarray(sums / counts[:, None])
    # Of an even number of places the outermost two count half each.
    share = np.ones(graph.rhythm) if graph.rhythm % 2 else np.array([0.5, *np.ones(graph.rhythm - 1), 0.5])
    if len(counts) < len(share):
        return np.asarray(sums.sum(axis=0) / counts.sum())[None]
    if graph.closed:
        wrapped = len(share) - 1
        sums, counts = np.concatenate([sums, sums[:wrapped]]), np.concatenate([counts, counts[:wrapped]])
    total = np.stack([np.convolve(sums[:, axis], share, "valid") for axis in range(3)], axis=1)
    return np.asarray(total / np.convolve(counts, share, "valid")[:, None])


def _link_middles(graph: LinkGraph, bodies: Bodies) -> Floats:
    """Middles of rings, and of the eyes by which findings are linked, which their own may lie beside."""
    if bodies.all_rings:
        return bodies.centres
    middles = bodies.centres.copy()
    for body in np.flatnonzero(~bodies.is_ring).tolist():
        eyes = np.unique(graph.link_eyes[graph.links == body])
        if len(eyes):
            at, _ = spots(bodies, np.full(len(eyes), body), eyes)
            middles[body] = at.mean(axis=0)
    return middles


def end_rings(graph: LinkGraph, last: bool) -> Ints:
    """Rings at or beyond the first or last point of the middle line, shape (k,)."""
    group, reach = graph.group_of, 0 if graph.groups else graph.rhythm // 2
    return np.flatnonzero(group >= group.max() - reach if last else group <= reach)


def way_round(graph: LinkGraph, rings: Bodies) -> float:
    """Length of a closed piece along its middle line [mm]."""
    points = middle_line(graph, rings)
    return float(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).sum())
