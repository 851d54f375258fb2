"""The second piece of a pair: the mirror image of the first."""

from dataclasses import dataclass, replace

import numpy as np

from chaingen.findings.closing import through_skin
from chaingen.findings.finding import Finding, eye_normal
from chaingen.geometry.bodies import Bodies, concatenate
from chaingen.geometry.types import Floats
from chaingen.make.metals import RingMetals
from chaingen.weave.graph import LinkGraph

MIRRORED = "-mirrored"
"""What the names of files of the second piece of a pair end with."""

APART = 0.25
"""Pictures show the two of a pair apart by this part of how high or how wide one is."""

_RIGHT, _UP, _TOWARDS = np.eye(3)
"""Axes of the picture from the front."""


def mirrored_graph(graph: LinkGraph) -> LinkGraph:
    """The link graph of the mirror image: the same links, of mirrored findings."""
    members = tuple(
        replace(member, size=member.size.mirrored()) if isinstance(member.size, Finding) else member
        for member in graph.members
    )
    groups = tuple(
        replace(group, size=group.size.mirrored()) if isinstance(group.size, Finding) else group
        for group in graph.groups
    )
    return replace(graph, members=members, groups=groups)


@dataclass(frozen=True, eq=False)
class Pair:
    """Both of a pair as pictures show them.

    Attributes:
        bodies: The bodies of the first piece and then those of its mirror image.
        metals: Their metals.
        turn: What the first was turned by about the origin, shape (3, 3).
    """

    bodies: Bodies
    metals: RingMetals
    turn: Floats


def both(graph: LinkGraph, bodies: Bodies, metals: RingMetals) -> Pair:
    """A piece and its mirror image, so that both show the same outline from the front.

    What is worn in the ears hangs side by side, each with the flat of its hook or post to the front; the two
    look at one another. Anything else lies as it was, its mirror image below it.

    Args:
        graph: The links of one piece.
        bodies: Its bodies; an open piece lies along x.
        metals: Their metals.
    """
    turn = _hung(graph, bodies)
    hangs = turn is not None
    turn = np.eye(3) if turn is None else turn
    first = bodies.turned(turn)
    low, high = first.bounds()
    across = _RIGHT if hangs else -_UP
    # Mirrored in y = 0, and half a turn about an axis that lies in it: mirrored in a plane square to both.
    second = first.mirrored().turned(np.diag([-1.0, -1.0, 1.0] if hangs else [1.0, -1.0, -1.0]))
    second_low, second_high = second.bounds()
    reach = [float(max(end @ across for end in box)) for box in ((low, high), (-second_low, -second_high))]
    apart = sum(reach) + APART * float((high - low) @ np.abs(across))
    second = second.moved(apart * across)
    of_both = np.concatenate([metals.of_ring, metals.of_ring])
    return Pair(concatenate([first, second]), RingMetals(metals.metals, of_both), turn)


def _hung(graph: LinkGraph, bodies: Bodies) -> Floats | None:
    """What turns a piece that is worn in an ear so that it hangs, shape (3, 3); None for other pieces."""
    worn = [
        (k, member.size)
        for k, member in enumerate(graph.members)
        if isinstance(member.size, Finding) and through_skin(member.size)
    ]
    if not worn:
        return None
    body, finding = worn[0]
    low, high = bodies.bounds()
    down = _RIGHT if bodies.centres[body] @ _RIGHT < 0.5 * (low + high) @ _RIGHT else -_RIGHT
    eye = finding.shape.eyes[(finding.outer or finding.inner)[0]]
    flat = eye_normal(eye) @ bodies.frames()[body]
    flat = flat - (flat @ down) * down
    length = float(np.linalg.norm(flat))
    # An eye that the piece hangs square to tells nothing of what to show.
    flat = flat / length if length > 0.1 else _TOWARDS
    flat = flat if flat @ _TOWARDS >= 0.0 else -flat
    return np.asarray(np.array([np.cross(-down, flat), -down, flat]))
