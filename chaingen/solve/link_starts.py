"""Where the search for a weave's shape starts when nothing but its links is known."""

from math import pi

import numpy as np

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Floats, Ints
from chaingen.solve.contacts import State
from chaingen.solve.motion import Motion, MotionKind
from chaingen.weave.graph import LinkGraph
from chaingen.weave.weave import Repeats, Weave

LINK_LENGTHS = 1.1, 1.8
"""Distances of the centres of linked rings that starts from the links alone begin with, in radii."""

NOISES = (0.03, 0.15, 0.4)
"""How far their rings are moved from where the links would have them, in radii, in turn."""

HOOK_ROUNDS, STACKED = 6, 1.3
"""Rounds in which axes are turned towards hooking, and distance of doubled rings in wires."""

FLATTEST, LEAST_PERIOD = 1e-6, 0.2
"""Least mean square of a lattice's links in any direction, in cells; least period [radii]."""


def _spread(graph: LinkGraph) -> tuple[Floats, Floats]:
    """Where the rings of a cell lie when every link is a spring of no length and the lattice is even.

    Each ring is then in the middle of those it is linked with (the standard realisation of a crystal: Kotani
    and Sunada 2001, "Standard realizations of crystal lattices via harmonic maps", Trans. AMS 353).

    Returns:
        Positions, shape (n, 2), and the lattice vectors as columns, shape (2, 2); links are of mean length 1.
    """
    n, (first, second) = len(graph), graph.links.T
    offsets = graph.offsets.astype(float)
    laplacian, pull = np.zeros((n, n)), np.zeros((n, 2))
    np.add.at(laplacian, (first, first), 1.0)
    np.add.at(laplacian, (second, second), 1.0)
    np.add.at(laplacian, (first, second), -1.0)
    np.add.at(laplacian, (second, first), -1.0)
    np.add.at(pull, first, offsets)
    np.add.at(pull, second, -offsets)
    parts = np.linalg.lstsq(laplacian, pull, rcond=None)[0]
    steps = parts[second] + offsets - parts[first]
    values, vectors = np.linalg.eigh(steps.T @ steps / max(len(steps), 1))
    lattice = vectors @ np.diag(1.0 / np.sqrt(np.maximum(values, FLATTEST))) @ vectors.T
    length = float(np.linalg.norm(steps @ lattice.T, axis=1).mean())
    lattice = lattice / max(length, 1e-9)
    return parts @ lattice.T, lattice


def _twins(graph: LinkGraph) -> Ints:
    """For each ring the first one that is linked with the same rings: such are doubles; shape (n,)."""
    seen: dict[frozenset[tuple[int, int, int]], int] = {}
    neighbours: list[set[tuple[int, int, int]]] = [set() for _ in range(len(graph))]
    for (a, b), (along, across) in zip(graph.links.tolist(), graph.offsets.tolist(), strict=True):
        neighbours[a].add((b, along, across))
        neighbours[b].add((a, -along, -across))
    return np.array([seen.setdefault(frozenset(met), ring) for ring, met in enumerate(neighbours)])


def _hooked(graph: LinkGraph, centres: Floats, shifts: Floats, normals: Floats) -> Floats:
    """Directions of the rings' axes turned so that linked rings can hook, shape (n, 3).

    The axes of two hooked rings stand square to each other and to the line of their centres, as near as may
    be.

    Args:
        graph: The graph of the cell.
        centres: The rings' centres [mm], shape (n, 3).
        shifts: How far on the cell of the second ring of each link lies [mm], shape (m, 3).
        normals: Directions to start with, shape (n, 3).
    """
    first, second = graph.links.T
    lines = centres[second] + shifts - centres[first]
    lines /= np.maximum(np.linalg.norm(lines, axis=1), 1e-9)[:, None]
    along = np.einsum("ma,mb->mab", lines, lines)
    for _ in range(HOOK_ROUNDS):
        for ring in range(len(graph)):
            out, back = first == ring, second == ring
            others = np.concatenate([normals[second[out]], normals[first[back]]])
            square = others.T @ others + along[out].sum(axis=0) + along[back].sum(axis=0)
            # The old direction is kept a little, so that equals are not jumped between.
            square -= 0.1 * np.outer(normals[ring], normals[ring])
            normals[ring] = np.linalg.eigh(square)[1][:, 0]
    return normals


def start_from_links(weave: Weave, graph: LinkGraph, rng: np.random.Generator, number: int) -> State:
    """A start from the links alone: rings near the middle of those they are linked with, doubles stacked.

    Every other start has its axes turned so that linked rings can hook, the others have them anyhow.
    """
    n, mean = len(graph), float(graph.radii.mean())
    near, lattice = _spread(graph)
    reach = mean * rng.uniform(*LINK_LENGTHS)
    centres = np.zeros((n, 3))
    if weave.repeats is Repeats.SHEET:
        # The first lattice vector lies along x.
        along, across = reach * lattice.T
        turn = np.array([[along[0], along[1]], [-along[1], along[0]]]) / np.linalg.norm(along)
        if (turn @ across)[1] < 0.0:
            turn[1] *= -1.0
        centres[:, :2] = reach * near @ turn.T
        x, y = (turn @ across).tolist()
        motion = Motion(MotionKind.SHEET, float(np.linalg.norm(along)), across=(x, y))
    else:
        centres[:, 0] = reach * near[:, 0]
        twist = rng.uniform(-pi, pi) if weave.turning else 0.0
        period = max(reach * abs(float(lattice[0, 0])), LEAST_PERIOD * mean)
        motion = Motion(MotionKind.SHIFT, period, twist=twist, turning=weave.turning, pitch=mean)
    twin = _twins(graph)
    centres += NOISES[number % len(NOISES)] * mean * rng.normal(size=(n, 3))[twin]
    normals = rng.normal(size=(n, 3))[twin]
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    if number % 2 == 0:
        normals = _hooked(graph, centres, motion.transforms(graph.offsets)[1], normals)[twin]
    rank = np.array([int((twin[:ring] == twin[ring]).sum()) for ring in range(n)])
    spare = rank - 0.5 * (np.bincount(twin, minlength=n)[twin] - 1)
    centres += (STACKED * 2.0 * spare * graph.wire_radii)[:, None] * normals
    return State(Bodies(centres, normals, graph.radii, graph.wire_radii), motion)
