"""What can be opened in a piece: its rings, and the eyes of its findings."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from chaingen.errors import BadInput, Problem
from chaingen.findings.finding import OPEN, Finding
from chaingen.geometry.shapes import Closure
from chaingen.geometry.types import Ints
from chaingen.weave.graph import LinkGraph

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Nodes:
    """The linked rings and eyes of a piece; each is a node.

    Attributes:
        body: The body of each node, ascending, shape (k,).
        eye: Its eye: 0 of a ring, shape (k,).
        ends: The two nodes of every link, in the graph's order, shape (m, 2).
        soldered: Which are closed for good, shape (k,).
        worn: Which let a wire in as they are worn: hooks, gates, bars, shape (k,).
        at_finding: Which are eyes of findings, shape (k,).
    """

    body: Ints
    eye: Ints
    ends: Ints
    soldered: Bools
    worn: Bools
    at_finding: Bools

    def __len__(self) -> int:
        return len(self.body)


def nodes_of(graph: LinkGraph) -> Nodes:
    """The nodes of a finite piece.

    Raises:
        BadInput: Two soldered eyes are linked: nothing lets the one into the other.
    """
    m = len(graph.links)
    rows = np.concatenate(
        [np.column_stack([graph.links[:, side], graph.link_eyes[:, side]]) for side in (0, 1)]
    )
    keys, where = np.unique(rows, axis=0, return_inverse=True)
    body, eye = keys[:, 0].astype(np.int64), keys[:, 1].astype(np.int64)
    ends = np.column_stack([where.ravel()[:m], where.ravel()[m:]]).astype(np.int64)
    soldered, worn, at_finding = (np.zeros(len(body), dtype=bool) for _ in range(3))
    for k, (own, number) in enumerate(keys.tolist()):
        size = graph.members[own].size
        if isinstance(size, Finding):
            closure = size.shape.eyes[number].closure
            at_finding[k], soldered[k], worn[k] = True, closure is Closure.SOLDERED, closure in OPEN
    nodes = Nodes(body, eye, ends, soldered, worn, at_finding)
    shut = np.flatnonzero(soldered[ends].all(axis=1))
    if len(shut):
        raise BadInput(_shut(graph, nodes, shut))
    return nodes


def _shut(graph: LinkGraph, nodes: Nodes, links: Ints) -> list[Problem]:
    """Each pair of findings that cannot be brought together, once."""
    problems: dict[tuple[str, ...], Problem] = {}
    for one, other in nodes.ends[links].tolist():
        names = []
        for node in (one, other):
            size = graph.members[int(nodes.body[node])].size
            assert isinstance(size, Finding)
            names += [size.name, size.shape.eyes[int(nodes.eye[node])].name]
        problem = Problem(
            f"findings.{names[0]}",
            f"eye {names[1]!r}, soldered, linked with eye {names[3]!r} of {names[2]!r}, soldered too",
            "one eye of the two that can be opened to let the other in",
            "put a joining ring between them, or leave one of the eyes to be closed with pliers",
        )
        problems.setdefault(tuple(names), problem)
    return list(problems.values())
