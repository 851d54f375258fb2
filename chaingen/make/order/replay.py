"""The order of work made once more, step by step, to prove that the piece comes out of it."""

from chaingen.findings.finding import OPEN, Finding
from chaingen.geometry.shapes import Closure
from chaingen.make.order.steps import Order
from chaingen.weave.graph import LinkGraph


def replay(graph: LinkGraph, order: Order) -> None:
    """Make a piece step by step.

    Asserted: every link arises once, when one of its ends is open, between bodies that are there; what is
    opened is closed once, and nothing else is; every step hangs on what is there, except where the piece
    falls in parts; in the end every body is there.

    Args:
        graph: The links of the piece.
        order: The order of work.
    """
    opened = _opened(graph, order)
    worn = set(order.opened.worn_open)
    assert order.opened.at_least <= order.opened.count == len(opened)
    assert order.opened.proven == (order.opened.at_least == order.opened.count)
    links = list(zip(graph.links.tolist(), graph.link_eyes.tolist(), strict=True))
    there: set[int] = set()
    closed: set[tuple[int, int]] = set()
    laid: set[int] = set()
    risen = [False] * len(links)
    loose = set(order.loose)
    begun = 0
    for step in order.steps:
        own = step.body, step.eye
        assert own in opened or own in worn, "only what is opened is closed"
        assert own not in closed, "what is closed stays closed"
        assert step.new == (step.body not in there)
        assert step.links, "every step makes a link"
        begun += step.new and not step.through
        assert there.isdisjoint(step.added)
        assert there.issuperset(step.through)
        met = set()
        for number in step.links:
            (a, b), (one, two) = links[number]
            assert own in ((a, one), (b, two)), "a link arises at its own end"
            other = (b, two) if own == (a, one) else (a, one)
            assert not risen[number], "a link arises once"
            assert other not in opened or other in closed, "what it goes through is closed by now"
            risen[number] = True
            met.add(other[0])
        assert met == {*step.added, *step.through}
        closed.add(own)
        there |= {step.body, *step.added}
        assert laid.isdisjoint(step.laid)
        assert loose.issuperset(step.laid)
        laid |= set(step.laid)
    assert all(risen), "no link is lost"
    assert opened <= closed, "everything opened is closed"
    assert there.isdisjoint(loose)
    assert there | loose == set(range(len(graph)))
    assert begun == _parts(graph), "a piece grows from one end"


def _opened(graph: LinkGraph, order: Order) -> set[tuple[int, int]]:
    """All that is opened, rings and eyes; none of them soldered, and none of them among what comes closed."""
    eyes = set(order.opened.eyes)
    rings = {(body, 0) for body in order.opened.opened if not _is_finding(graph, body)}
    assert {body for body, _ in eyes | rings} == set(order.opened.opened)
    assert set(order.opened.opened).isdisjoint(order.opened.closed)
    for body, eye in eyes | set(order.opened.worn_open):
        size = graph.members[body].size
        assert isinstance(size, Finding)
        closure = size.shape.eyes[eye].closure
        assert (closure is Closure.PLIERS) == ((body, eye) in eyes)
        assert (closure in OPEN) == ((body, eye) in order.opened.worn_open)
    return eyes | rings


def _is_finding(graph: LinkGraph, body: int) -> bool:
    return isinstance(graph.members[body].size, Finding)


def _parts(graph: LinkGraph) -> int:
    """How many parts of more than one body the piece falls in."""
    return sum(len(part) > 1 for part in graph.components())
