"""Where earrings on posts start: the post level, held by an ear from below and, behind, from above."""

from dataclasses import replace

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.centrelines import Straight
from chaingen.geometry.solids import bar
from chaingen.geometry.types import Floats
from chaingen.solve.drape.curves import laid, straight
from chaingen.solve.drape.peg import Peg
from chaingen.solve.drape.rows import Row
from chaingen.solve.drape.starts import DOWN, FRONT, OFF, RIGHT, Start, hung, rolled

HELD = (0.2, 0.7)
"""Where an ear holds a post, from its front on: below it, and above it farther back; parts of its length."""

EAR = 1.0
"""Radius of what stands for the two sides of the hole in an ear, in radii of the post."""


def post_of(row: Row) -> tuple[int, Straight, float] | None:
    """The post at the beginning of a row: body, straight from the front on, and wire radius [mm]."""
    first = np.flatnonzero(row.group == 0)
    size = row.graph.members[int(first[0])].size
    if len(first) != 1 or not isinstance(size, Finding) or size.kind != "ear post":
        return None
    posts = [
        (curve.length, curve, strand.wire_radius)
        for strand in size.shape.strands
        for curve in strand.curves
        if isinstance(curve, Straight)
    ]
    _, longest, wire = max(posts, key=lambda one: one[0])
    return int(first[0]), longest, wire


def hang_by_post(row: Row, weights: Floats) -> Start:
    """From a post that an ear holds level, its front towards the viewer."""
    found = post_of(row)
    assert found is not None
    body, post, wire = found
    along = np.array(post.direction) @ row.rings.frames()[body]
    # The row's y becomes the way from front to back.
    row = rolled(row, -float(np.arctan2(along[2], along[1])))
    s = row.group_x - row.group_x.min()
    rings = laid(row.rings, row.group_x, straight(s, np.zeros(3), DOWN, -FRONT))
    frame = rings.frames()[body]
    begin = rings.centres[body] + np.array(post.begin) @ frame
    back = np.array(post.direction) @ frame
    # What is left of a slant is taken out, so that the post is level.
    level = np.arctan2(back[2], np.hypot(back[0], back[1]))
    c, sine = float(np.cos(level)), float(np.sin(level))
    turn = np.array([[1.0, 0.0, 0.0], [0.0, c, sine], [0.0, -sine, c]])
    rings = rings.turned(turn)
    begin, back = turn @ begin, turn @ back
    radius = EAR * wire
    apart = wire + radius + OFF * 0.2 * wire
    pegs = []
    for part, side in zip(HELD, (-1.0, 1.0), strict=True):
        at = begin + part * post.length * back + side * apart * np.array([0.0, 0.0, 1.0])
        pegs.append(Peg(at, RIGHT, radius, (body,)))
    start = hung(rings, pegs[0], weights, False)
    return replace(start, solids=tuple(bar(peg.point, peg.direction, peg.radius) for peg in pegs))
