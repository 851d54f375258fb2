"""What a page makes of the numbers of a piece, written anew: arrays, and every vertex where it is drawn."""

import base64

import numpy as np


def floats(text, columns):
    return np.frombuffer(base64.b64decode(text), dtype="<f4").astype(float).reshape(-1, columns)


def wholes(text, columns=1):
    values = np.frombuffer(base64.b64decode(text), dtype="<u4").astype(np.int64)
    return values if columns == 1 else values.reshape(-1, columns)


def turned(quaternion, points):
    """Points turned by a unit quaternion x, y, z, w: p + 2 w (v x p) + 2 v x (v x p)."""
    axis, w = quaternion[:3], quaternion[3]
    across = np.cross(axis, points)
    return points + 2.0 * w * across + 2.0 * np.cross(axis, across)


def drawn(piece, poses=None):
    """Each kind with the vertices and normals of every body of it, shapes (k, v, 3)."""
    poses = floats(piece["poses"] if poses is None else poses, 7)
    for kind in piece["kinds"]:
        vertices, normals = floats(kind["vertices"], 3), floats(kind["normals"], 3)
        bodies = wholes(kind["bodies"])
        yield (
            kind,
            bodies,
            np.array([turned(poses[k, 3:], vertices) + poses[k, :3] for k in bodies]),
            np.array([turned(poses[k, 3:], normals) for k in bodies]),
        )


def triangles(piece):
    return sum(len(wholes(kind["faces"], 3)) * len(wholes(kind["bodies"])) for kind in piece["kinds"])


def away_from_ring(points, centre, normal, radius):
    """Distances of points from a circle: its plane, and the way to it within the plane."""
    way = points - centre
    height = way @ normal
    flat = np.linalg.norm(way - height[..., None] * normal, axis=-1)
    return np.hypot(height, flat - radius)
