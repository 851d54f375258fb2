"""The middle line of a piece: through its groups, or through the places of a weave."""

import numpy as np

from chaingen.geometry.rings import Floats, Rings
from chaingen.weave.graph import LinkGraph


def middle_line(graph: LinkGraph, rings: Rings) -> Floats:
    """The middle line of a piece [mm], shape (places, 3).

    Groups are its points by themselves. The places of a weave lie to either side of its middle: each point is
    the mean of the places within a ring's radius.
    """
    group = graph.group_of
    sums = np.stack([np.bincount(group, weights=rings.centres[:, axis]) for axis in range(3)], axis=1)
    counts = np.bincount(group)
    points = np.asarray(sums / counts[:, None])
    if graph.groups or len(counts) < 3:
        return points
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    half = max(1, round(float(rings.radii.mean()) / max(float(np.median(steps)), 1e-9)))
    half = min(half, (len(counts) - 1) // 2)
    index = np.arange(len(counts))[:, None] + np.arange(-half, half + 1)
    if graph.closed:
        index %= len(counts)
        return np.asarray(sums[index].sum(axis=1) / counts[index].sum(axis=1)[:, None])
    # Towards an end fewer are taken, alike on both sides.
    reach = np.minimum(np.arange(len(counts)), np.arange(len(counts))[::-1])[:, None]
    share = (np.abs(np.arange(-half, half + 1)) <= reach).astype(float)
    index = np.clip(index, 0, len(counts) - 1)
    weights = (share * counts[index]).sum(axis=1)
    return np.asarray((share[:, :, None] * sums[index]).sum(axis=1) / weights[:, None])


def way_round(graph: LinkGraph, rings: Rings) -> float:
    """Length of a closed piece along its middle line [mm]."""
    points = middle_line(graph, rings)
    return float(np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).sum())
