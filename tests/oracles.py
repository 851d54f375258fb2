"""Slow, independent ways to the same answers."""

import numpy as np


def circle_points(centre, normal, radius, angles):
    """Points of a circle, shape (len(angles), 3), in a frame of its own."""
    normal = np.asarray(normal, dtype=float)
    helper = np.eye(3)[np.argmin(np.abs(normal))]
    u = np.cross(normal, helper)
    u /= np.linalg.norm(u)
    v = np.cross(normal, u)
    return centre + radius * (np.cos(angles)[:, None] * u + np.sin(angles)[:, None] * v)


def distance_to_circle(points, centre, normal, radius):
    w = points - centre
    h = w @ normal
    rho = np.sqrt(np.maximum((w * w).sum(axis=1) - h * h, 0.0))
    return np.hypot(rho - radius, h)


def circle_distance(a, b):
    """Least distance of circles (centre, normal, radius) by dense sampling and refinement of every dip."""
    angles = np.linspace(0.0, 2.0 * np.pi, 4001)
    d = distance_to_circle(circle_points(*a, angles), *b)
    best = d.min()
    ring = d[:-1]
    dips = np.flatnonzero((ring <= np.roll(ring, 1)) & (ring <= np.roll(ring, -1)) & (ring < best + 1e-2))
    step = angles[1]
    for k in dips[:200]:
        low, high = angles[k] - step, angles[k] + step
        for _ in range(4):
            fine = np.linspace(low, high, 201)
            values = distance_to_circle(circle_points(*a, fine), *b)
            m = int(np.argmin(values))
            best = min(best, values[m])
            low, high = fine[m] - (high - low) / 200, fine[m] + (high - low) / 200
    return float(best)


def local_minima(a, b, samples=20000):
    """Values of all strict local minima of the distance along circle a, by dense sampling."""
    angles = np.arange(samples) * 2.0 * np.pi / samples
    d = distance_to_circle(circle_points(*a, angles), *b)
    return np.sort(d[(d < np.roll(d, 1)) & (d < np.roll(d, -1))])


def solid_angle_linking(a, b, segments=160):
    """Linking number of two circles as the Gauss integral of their polygons.

    The exact integral of two segments is the signed area of a spherical quadrangle: Klenin and Langowski
    2000, "Computation of writhe in modeling of supercoiled DNA", Biopolymers 54(5), eq. 13-16.
    """
    t = np.arange(segments) * 2.0 * np.pi / segments
    p, q = circle_points(*a, t), circle_points(*b, t + 0.013)
    p1, p2 = p[:, None, :], np.roll(p, -1, axis=0)[:, None, :]
    q1, q2 = q[None, :, :], np.roll(q, -1, axis=0)[None, :, :]
    r13, r14, r23, r24 = q1 - p1, q2 - p1, q1 - p2, q2 - p2

    def unit(v):
        return v / np.maximum(np.linalg.norm(v, axis=2, keepdims=True), 1e-300)

    n1, n2 = unit(np.cross(r13, r14)), unit(np.cross(r14, r24))
    n3, n4 = unit(np.cross(r24, r23)), unit(np.cross(r23, r13))

    def arc(x, y):
        return np.arcsin(np.clip((x * y).sum(axis=2), -1.0, 1.0))

    area = arc(n1, n2) + arc(n2, n3) + arc(n3, n4) + arc(n4, n1)
    sign = np.sign((np.cross(q2 - q1, p2 - p1) * r13).sum(axis=2))
    return float((area * sign).sum() / (4.0 * np.pi))


def outside_linking(a, b, segments=14):
    """Absolute linking number of two circles' polygons by SnapPy, in exact rational arithmetic."""
    import random

    from snappy.exterior_to_link.link_projection import project_to_diagram
    from snappy.exterior_to_link.rational_linear_algebra import QQ, Vector3

    random.seed(1)
    t = np.arange(segments) * 2.0 * np.pi / segments
    loops = [
        [Vector3([QQ(round(float(x) * 10**6)) / 10**6 for x in p]) for p in circle_points(*c, t + 0.1 + k)]
        for k, c in enumerate((a, b))
    ]
    matrix = project_to_diagram(loops).linking_matrix()
    # A diagram without crossings between the two is of a split pair.
    return abs(int(matrix[0][1])) if len(matrix) == 2 else 0
