"""Random sizes for findings of every kind, and what any shape of wire must keep to."""

import inspect

import numpy as np
from scipy.spatial import cKDTree

from chaingen.findings.catalogue import KINDS
from chaingen.findings.pins import Threaded

SIZED = tuple(kind for kind in KINDS if kind != "wire path")


def random_beads(rng):
    def size(typical, spread):
        return float(typical * np.exp(spread * rng.normal()))

    return tuple(
        Threaded(form, size(5.0, 0.5), None if form == "ball" else size(2.0, 0.4), size(1.0, 0.2), (0, 0, 0))
        for form in rng.choice(["ball", "disc", "rondelle"], int(rng.integers(0, 4))).tolist()
    )


def random_sizes(kind, rng, spread):
    """Sizes near a kind's defaults; the wider the spread, the more of them are impossible."""
    choices = {"head": ["flat", "ball", "spiral"], "front": ["ball", "disc"]}
    sizes = {}
    for name, parameter in inspect.signature(KINDS[kind].build).parameters.items():
        default = parameter.default
        if name == "name":
            continue
        if name == "beads":
            sizes[name] = random_beads(rng)
        elif name in choices:
            sizes[name] = str(rng.choice(choices[name]))
        elif isinstance(default, bool):
            sizes[name] = bool(rng.integers(2))
        elif isinstance(default, int):
            sizes[name] = int(rng.integers(0 if name == "wraps" and kind == "head pin" else 1, 3))
        elif name in ("kick", "turns"):
            sizes[name] = float(rng.uniform(0.5, 6.0) if name == "turns" else rng.uniform(0.0, 80.0))
        elif default is None and rng.random() < 0.5:
            sizes[name] = None
        else:
            most = 6.0 if "wire" in name else 100.0
            sizes[name] = float(np.clip((default or 2.0) * np.exp(spread * rng.normal()), 0.2, most))
    return sizes


def possible(kind, count, spread=0.35, begin=0):
    """So many sets of sizes that go together."""
    found, seed = [], begin
    while len(found) < count:
        assert seed < begin + 400, "sizes near the defaults mostly go together"
        sizes = random_sizes(kind, np.random.default_rng(seed), spread)
        seed += 1
        if not KINDS[kind].misfits(**sizes):
            found.append(sizes)
    return found


def points_along(curves, step):
    """Points along curves no farther apart than a step, and how far along they lie [mm]."""
    points, along, run = [], [], 0.0
    for curve in curves:
        count = max(int(np.ceil(curve.length / step)), 2)
        for k in range(count):
            points.append(curve.point(curve.span * (k + 0.5) / count))
            along.append(run + curve.length * (k + 0.5) / count)
        run += curve.length
    return np.array(points), np.array(along), run


def wire_faults(shape):
    """What is wrong with a shape as wire: corners, breaks, wire through itself, eyes that are not closed."""
    found = []
    for strand in shape.strands:
        for before, after in zip(strand.curves, strand.curves[1:], strict=False):
            if np.abs(np.subtract(before.point(before.span), after.point(0.0))).max() > 1e-9:
                found.append("broken")
            if np.abs(np.subtract(before.tangent(before.span), after.tangent(0.0))).max() > 1e-9:
                found.append("corner")
        wire = 2.0 * strand.wire_radius
        if strand.part != "wire" or strand.length == 0.0:
            continue
        if any(curve.length > 0.0 and getattr(curve, "radius", np.inf) < 0.5 * wire
               for curve in strand.curves) and len(strand.curves) > 1:  # fmt: skip
            found.append("bent tighter than its wire")
        points, along, run = points_along(strand.curves, 0.1 * wire)
        pairs = cKDTree(points).query_pairs(0.985 * wire, output_type="ndarray")
        apart = np.abs(along[pairs[:, 0]] - along[pairs[:, 1]])
        if strand.closed:
            apart = np.minimum(apart, run - apart)
        # Along the tightest bend, half a turn, wire comes back no nearer than this.
        if (apart > 1.8 * wire).any():
            found.append("through itself")
    for eye in shape.eyes:
        for before, after in zip(eye.loop, (*eye.loop[1:], eye.loop[0]), strict=True):
            if np.abs(np.subtract(before.point(before.span), after.point(0.0))).max() > 1e-7:
                found.append(f"{eye.name} is not closed")
        if not (eye.inside > 0.0 and eye.opening >= 0.0):
            found.append(f"{eye.name} has no size")
    return found


def polyline_length(curves, pieces=2000):
    """Length of curves by many short pieces [mm]."""
    total = 0.0
    for curve in curves:
        points = np.array([curve.point(curve.span * k / pieces) for k in range(pieces + 1)])
        total += float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
    return total
