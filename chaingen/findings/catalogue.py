"""Every kind of finding: what it is in a line, how it is built, and what does not go together in it."""

from collections.abc import Callable
from dataclasses import dataclass

from chaingen.findings import bars, clasps, eights, hooks, links, pins, wire_path
from chaingen.findings.finding import Finding
from chaingen.findings.parts import Misfit


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of finding.

    Attributes:
        name: What it is called.
        line: What it is, in a line.
        build: Its builder: the finding's name and its sizes by keyword [mm].
        misfits: What does not go together among the same sizes, all of them given.
        bought: Whether it is mostly bought ready made (common practice); its lengths of wire are then those
            that it is drawn of.
    """

    name: str
    line: str
    build: Callable[..., Finding]
    misfits: Callable[..., list[Misfit]]
    bought: bool = False


_ALL = (
    Kind(
        "loop link", "a straight stem with a loop turned at one end or both, opened with pliers",
        links.loop_link, links.loop_link_misfits,
    ),
    Kind(
        "wrapped link", "a stem with loops, the wire wound round it, so that they cannot be opened",
        links.wrapped_link, links.wrapped_link_misfits,
    ),
    Kind(
        "oval link", "a link with straight sides and half-round ends", links.oval_link,
        links.oval_link_misfits,
    ),
    Kind(
        "figure-eight link", "two loops side by side, the wire crossing over between them",
        eights.figure_eight_link, eights.figure_eight_link_misfits,
    ),
    Kind("closed ring", "a round ring that is soldered shut", links.closed_ring, links.closed_ring_misfits),
    Kind("hook", "the hook of a hook and eye", hooks.hook, hooks.hook_misfits),
    Kind("eye", "the eye of a hook and eye: a loop for the piece, a larger one for the hook",
         eights.eye, eights.eye_misfits),
    Kind("S-hook", "a hook bent to an S, one end for the piece", eights.s_hook, eights.s_hook_misfits),
    Kind("ear wire", "a hook that hangs in a pierced ear", hooks.ear_wire, hooks.ear_wire_misfits),
    Kind("ear post", "a post through a pierced ear, a ball or disc in front, an eye below", pins.ear_post,
         pins.ear_post_misfits),
    Kind("head pin", "a pin with a flat, ball or spiral head, beads, and a loop", pins.head_pin,
         pins.head_pin_misfits),
    Kind("spring ring", "a clasp: a ring with a gate that a spring pushes shut", clasps.spring_ring,
         clasps.spring_ring_misfits, bought=True),
    Kind("lobster clasp", "a clasp: a claw with a gate that swings inwards", clasps.lobster_clasp,
         clasps.lobster_clasp_misfits, bought=True),
    Kind("toggle ring", "the ring of a toggle", clasps.toggle_ring, clasps.toggle_ring_misfits),
    Kind("toggle bar", "the bar of a toggle", clasps.toggle_bar, clasps.toggle_bar_misfits),
    Kind("end bar", "a bar with an eye for each strand, and one eye for them all", bars.end_bar,
         bars.end_bar_misfits),
    Kind("wire path", "a wire of your own, bent step by step, with eyes along it", wire_path.wire_path,
         wire_path.wire_path_misfits),
)  # fmt: skip

KINDS = {kind.name: kind for kind in _ALL}
"""The kinds of findings by name, in the order in which they are listed."""


def finding_kinds() -> tuple[str, ...]:
    """The names of all kinds."""
    return tuple(KINDS)
