import pytest

from chaingen.findings.clasps import lobster_clasp, spring_ring, toggle_bar, toggle_ring
from chaingen.findings.closing import end_of_finding, end_of_ring, opens_to, through_skin, why_not
from chaingen.findings.eights import s_hook
from chaingen.findings.hooks import ear_wire, hook
from chaingen.findings.links import closed_ring, oval_link


def end(finding):
    return end_of_finding(finding, finding.shape.eyes[finding.outer[0]])


RING = end_of_ring("jump", 1.0, 4.0)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (end(lobster_clasp()), end(closed_ring(inside=5.0, wire=1.0))),
        (end(spring_ring(gate=1.4)), RING),
        (end(toggle_bar()), end(toggle_ring())),
        (end(hook()), end(closed_ring(inside=4.0, wire=1.0))),
        (end(s_hook()), RING),
        # Pliers open a ring or a link for good.
        (RING, end(closed_ring(inside=5.0, wire=1.0))),
        (end(oval_link(soldered=False)), end(closed_ring(inside=5.0, wire=1.0))),
    ],
)
def test_what_closes(one, other):
    assert why_not(one, other) is None
    assert why_not(other, one) is None


@pytest.mark.parametrize(
    ("one", "other", "words"),
    [
        (end(lobster_clasp()), end(lobster_clasp()), "clasp at either end"),
        (end(lobster_clasp(gate=1.2)), end(closed_ring(inside=5.0, wire=1.6)), "opens 1.2 mm"),
        (end(lobster_clasp(wire=1.3)), end(closed_ring(inside=1.1, wire=1.0)), "does not go through"),
        (end(toggle_bar(length=18.0)), end(toggle_ring(inside=18.5)), "slips out"),
        (end(toggle_bar(wire=1.8)), end(closed_ring(inside=1.6, wire=1.0)), "does not go in"),
        (end(closed_ring()), end(closed_ring()), "nothing opens"),
        (end(toggle_ring()), end(closed_ring()), "nothing opens"),
        (end(hook(mouth=1.5)), end(closed_ring(inside=5.0, wire=2.0)), "does not close"),
        (end(hook(wire=1.2)), end(closed_ring(inside=1.1, wire=0.8)), "does not go through"),
    ],
)
def test_what_does_not_close(one, other, words):
    assert words in why_not(one, other)
    assert words in why_not(other, one)


def test_what_opens_how_wide():
    claw = lobster_clasp(gate=2.0)
    assert opens_to(claw.shape.eyes[claw.outer[0]]) == 2.0
    open_hook = hook(mouth=1.5)
    assert opens_to(open_hook.shape.eyes[open_hook.outer[0]]) == pytest.approx(1.5, abs=1e-6)
    assert end(toggle_bar(length=18.0)).bar == pytest.approx(18.0)


def test_what_goes_through_skin():
    assert through_skin(ear_wire())
    assert not through_skin(hook())
