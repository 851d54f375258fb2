"""The shade that wires cast on surfaces near them."""

import numpy as np
from scipy.spatial import cKDTree

from chaingen.geometry.bodies import Bodies, axes_across
from chaingen.geometry.shapes import Shape
from chaingen.geometry.types import Floats

SHADE_REACH = 2.0
"""How far a wire's shade reaches, in outer radii of the largest ring, without rings of the largest body."""

FEWEST, MOST = 16, 96
"""Pieces of wire that a ring is taken for."""

PIECE = 1.2
"""Length of a piece of wire in wire radii."""


def shade_reach(bodies: Bodies) -> float:
    """How far wires' shade reaches [mm]."""
    outer = bodies.radii + bodies.wire_radii
    rings = bodies.is_ring
    return SHADE_REACH * float(outer[rings].max() if rings.any() else outer.max())


def shade(points: Floats, normals: Floats, bodies: Bodies) -> Floats:
    """Part of the sky over each point of a surface that wires hide, roughly, 0 to 1.

    A short piece of wire of length h and radius r at distance d hides about 2 r h sin(a) cos(b) / (pi d^2) of
    the light that a matt surface gathers, where the line of sight makes angles a with the wire and b with the
    surface's normal; a ball r^2 cos(b) / d^2. Pieces are added up, and the sum saturates. Far wires fade out.

    Args:
        points: Points of a surface [mm], shape (m, 3).
        normals: Its unit normals, shape (m, 3).
        bodies: The wires.
    """
    reach = shade_reach(bodies)
    nodes, tangents, wires, weight = _pieces(bodies)
    tree = cKDTree(nodes)
    sums = np.zeros(len(points))
    near = np.flatnonzero(tree.query(points, distance_upper_bound=reach)[0] < reach)
    for part in np.array_split(near, max(1, len(near) // 4000)):
        pairs = cKDTree(points[part]).sparse_distance_matrix(tree, reach, output_type="ndarray")
        i, j, d = pairs["i"], pairs["j"], pairs["v"]
        towards = (nodes[j] - points[part[i]]) / np.maximum(d, 1e-9)[:, None]
        cosine = np.clip(np.einsum("ka,ka->k", towards, normals[part[i]]), 0.0, 1.0)
        sine = np.sqrt(np.clip(1.0 - np.einsum("ka,ka->k", towards, tangents[j]) ** 2, 0.0, 1.0))
        hidden = weight[j] * sine * cosine / np.maximum(d, wires[j]) ** 2 * (1.0 - (d / reach) ** 2) ** 2
        sums[part] += np.bincount(i, weights=hidden, minlength=len(part))
    return np.asarray(1.0 - np.exp(-sums))


def _pieces(bodies: Bodies) -> tuple[Floats, Floats, Floats, Floats]:
    """Short pieces of all wires.

    Returns:
        Their middles [mm], shape (k, 3); unit vectors along them, shape (k, 3), 0 for a ball, which looks
        alike from everywhere; their wire radii [mm] and what each hides at 1 mm, shape (k,) each.
    """
    rings = bodies[bodies.is_ring]
    found = []
    if len(rings):
        wire = float(rings.wire_radii.min())
        count = int(np.clip(np.ceil(2.0 * np.pi * rings.radii.max() / (PIECE * wire)), FEWEST, MOST))
        angle = 2.0 * np.pi * np.arange(count) / count
        first, second = axes_across(rings.normals)
        cos, sin = np.cos(angle)[None, :, None], np.sin(angle)[None, :, None]
        arms = cos * first[:, None] + sin * second[:, None]
        tangents = (cos * second[:, None] - sin * first[:, None]).reshape(-1, 3)
        nodes = (rings.centres[:, None] + rings.radii[:, None, None] * arms).reshape(-1, 3)
        wires = np.repeat(rings.wire_radii, count)
        weight = 2.0 * wires * np.repeat(2.0 * np.pi * rings.radii / count, count) / np.pi
        found.append((nodes, tangents, wires, weight))
    others = np.flatnonzero(~bodies.is_ring)
    frames = bodies.frames() if len(others) else np.empty((0, 3, 3))
    local = [_shape_pieces(shape) for shape in bodies.shapes]
    for k in others.tolist():
        assert bodies.shape_of is not None
        nodes, tangents, wires, weight = local[bodies.shape_of[k]]
        found.append((bodies.centres[k] + nodes @ frames[k], tangents @ frames[k], wires, weight))
    nodes, tangents, wires, weight = (np.concatenate(columns) for columns in zip(*found, strict=True))
    return nodes, tangents, wires, weight


def _shape_pieces(shape: Shape) -> tuple[Floats, Floats, Floats, Floats]:
    """Short pieces of a shape's wires in its own frame; see `_pieces`."""
    nodes, tangents, wires, weight = [], [], [], []
    for strand in shape.strands:
        r = strand.wire_radius
        for curve in strand.curves:
            if curve.length == 0.0:
                if strand.length == 0.0:
                    nodes.append(curve.point(0.0))
                    tangents.append((0.0, 0.0, 0.0))
                    wires.append(r)
                    weight.append(r * r)
                continue
            count = int(np.clip(np.ceil(curve.length / (PIECE * r)), 1, MOST))
            for k in range(count):
                t = curve.span * (k + 0.5) / count
                nodes.append(curve.point(t))
                tangents.append(curve.tangent(t))
            wires += [r] * count
            weight += [2.0 * r * curve.length / count / np.pi] * count
    return np.array(nodes), np.array(tangents), np.array(wires), np.array(weight)
