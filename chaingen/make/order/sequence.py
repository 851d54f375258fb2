"""The steps of making a piece from one end to the other.

A step closes one opened ring, or one opened eye of a finding, through what is there already and through
closed bodies taken up with it; or it hangs in a hook, gate or bar. A link arises when the later of its opened
ends is closed; eyes that are worn open let a ring in at any time once their finding is there.
"""

from heapq import heapify, heappop, heappush

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from chaingen.geometry.bodies import Bodies
from chaingen.geometry.types import Ints
from chaingen.make.order.nodes import Nodes
from chaingen.make.order.places import Places
from chaingen.make.order.steps import Step

Bools = npt.NDArray[np.bool_]


class _Work:
    """The piece as far as it is made."""

    def __init__(self, nodes: Nodes, taken: Bools, places: Places) -> None:
        self.body, self.eye = nodes.body.tolist(), nodes.eye.tolist()
        self.taken, self.worn = taken.tolist(), nodes.worn.tolist()
        self.rank = places.rank.tolist()
        count = len(nodes)
        self.links: list[list[tuple[int, int]]] = [[] for _ in range(count)]
        for number, (a, b) in enumerate(nodes.ends.tolist()):
            self.links[a].append((number, b))
            self.links[b].append((number, a))
        self.of_body: list[list[int]] = [[] for _ in range(len(places.rank))]
        for node, own in enumerate(self.body):
            self.of_body[own].append(node)
        self.there = [False] * len(self.of_body)
        self.done = [False] * count
        self.risen = [False] * len(nodes.ends)
        self.keys = [self._key(node) for node in range(count)]
        self.ready: list[tuple[tuple[int, int, int], int]] = []

    def _key(self, node: int) -> tuple[int, int, int]:
        """What is done first: in order along the piece; what is hung in, after all that it hangs in."""
        own = self.rank[self.body[node]]
        if self.worn[node]:
            return max([own, *(self.rank[self.body[other]] for _, other in self.links[node])]), 1, own
        return own, 0, self.eye[node]

    def _makes(self, node: int) -> bool:
        return bool(self.taken[node] or self.worn[node])

    def _holds(self, node: int) -> bool:
        """Whether what is made next can hang on a node: it is there, and closed or worn open."""
        return bool(self.there[self.body[node]] and (self.done[node] or not self.taken[node]))

    def _push(self, node: int) -> None:
        if self._makes(node) and not self.done[node]:
            heappush(self.ready, (self.keys[node], node))

    def _arrived(self, body: int) -> None:
        """A body is there: its other eyes, and what hangs on it, can be made."""
        self.there[body] = True
        for node in self.of_body[body]:
            self._push(node)
            if self._holds(node):
                self._offer(node)

    def _offer(self, node: int) -> None:
        for _, other in self.links[node]:
            self._push(other)

    def _rises(self, node: int, other: int) -> bool:
        """Whether a link between a node that is closed now and another one arises by that."""
        if self.taken[other]:
            return self.done[other]
        if self.taken[node]:
            # A finding that is hung in later brings the link with it.
            return not self.worn[other] or self.there[self.body[other]]
        return True

    def close(self, node: int) -> Step | None:
        """Close a node, or hang it in; None when nothing arises by that."""
        self.done[node] = True
        body = self.body[node]
        links: list[int] = []
        through: set[int] = set()
        added: set[int] = set()
        for number, other in self.links[node]:
            if self.risen[number] or not self._rises(node, other):
                continue
            self.risen[number] = True
            links.append(number)
            (through if self.there[self.body[other]] else added).add(self.body[other])
        if not links and self.worn[node]:
            return None
        new = not self.there[body]
        for one in sorted(added, key=self.rank.__getitem__):
            self._arrived(one)
        if new:
            self._arrived(body)
        else:
            self._offer(node)
        by_rank = self.rank.__getitem__
        return Step(
            body,
            self.eye[node],
            tuple(sorted(added, key=by_rank)),
            tuple(sorted(through, key=by_rank)),
            new,
            tuple(links),
        )

    def run(self) -> list[Step]:
        """All steps."""
        steps: list[Step] = []
        # Where the piece falls in parts each begins with something that is opened, if anything is.
        makes = [node for node in range(len(self.body)) if self._makes(node)]
        waiting = [((self.worn[node], *self.keys[node]), node) for node in makes]
        heapify(waiting)
        while True:
            if self.ready:
                _, node = heappop(self.ready)
            elif waiting:
                _, node = heappop(waiting)
            else:
                return steps
            if self.done[node]:
                continue
            step = self.close(node)
            if step is not None:
                steps.append(step)


def steps_of(nodes: Nodes, taken: Bools, places: Places) -> list[Step]:
    """The steps of making a piece.

    Args:
        nodes: Its nodes.
        taken: Which of them are opened, shape (k,): every link has such an end, or one that is worn open.
        places: Where its bodies stand.
    """
    return _Work(nodes, taken, places).run()


def laid_in(steps: list[Step], loose: Ints, bodies: Bodies, places: Places) -> dict[int, list[int]]:
    """At which step each body that is linked with none is laid in, before anything is closed.

    It must lie in its place before what holds it is joined: at the first step that brings together something
    near it that stands further along the piece and something near it that does not.

    Args:
        steps: The steps.
        loose: The bodies that are linked with none, shape (k,).
        bodies: All bodies as placed.
        places: Where they stand.

    Returns:
        The bodies laid in at each step, by the step's place. One that is near nothing is in none.
    """
    if not len(loose) or not steps:
        return {}
    linked = np.setdiff1d(np.arange(len(bodies)), loose)
    tree = cKDTree(bodies.centres[linked])
    most = float(bodies.radii[linked].max())
    touched: dict[int, list[int]] = {}
    for number, step in enumerate(steps):
        for body in (step.body, *step.added, *step.through):
            touched.setdefault(body, []).append(number)
    found: dict[int, list[int]] = {}
    around = tree.query_ball_point(bodies.centres[loose], bodies.radii[loose] + most)
    for body, neighbours in zip(loose.tolist(), around.tolist(), strict=True):
        reach = float(bodies.radii[body])
        near = linked[neighbours]
        apart = np.linalg.norm(bodies.centres[near] - bodies.centres[body], axis=1)
        near = near[apart < reach + bodies.radii[near]]
        if not len(near):
            continue
        beyond = places.ahead(body, near) > 0
        further, others = (
            {number for other in side.tolist() for number in touched[other]}
            for side in (near[beyond], near[~beyond])
        )
        both = further & others
        first = min(both) if both else max(touched[other][0] for other in near.tolist())
        found.setdefault(first, []).append(body)
    return found
