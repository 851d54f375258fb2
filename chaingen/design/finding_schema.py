"""The keys of findings in a design file, a table for each kind.

What a key is called is what the builder of that kind calls it; defaults are the builder's.
"""

from functools import lru_cache
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, ValidationError, ValidationInfo
from pydantic_core import InitErrorDetails, PydanticCustomError

from chaingen.design.finding_keys import (
    DEGREES,
    MOST_STEPS,
    BeadTable,
    KeyTable,
    PathEyeTable,
    Size,
    SizeOrNone,
    StepTable,
    Wire,
    Yes,
    own,
    words,
)
from chaingen.design.metal_schema import MetalName
from chaingen.errors import Problem
from chaingen.findings.bars import end_bar
from chaingen.findings.catalogue import KINDS, finding_kinds
from chaingen.findings.clasps import lobster_clasp, spring_ring, toggle_bar, toggle_ring
from chaingen.findings.eights import eye, figure_eight_link, s_hook
from chaingen.findings.finding import Finding
from chaingen.findings.hooks import ear_wire, hook
from chaingen.findings.links import closed_ring, loop_link, oval_link, wrapped_link
from chaingen.findings.pins import Threaded, ear_post, head_pin
from chaingen.findings.wire_path import PathEye, wire_path
from chaingen.geometry.centrelines import Bend
from chaingen.tables import key, meant, number_in, whole_in, wrong

MOST_BEADS = 60
"""Most beads on one pin."""


MOST_EYES = 20
"""Most eyes of a wire path."""


class FindingKeys(KeyTable):
    """What all kinds have."""

    metal: MetalName | None = Field(None, description="What it is made of; the design's metal when left out.")

    @classmethod
    def unknown_key(cls, name: str) -> PydanticCustomError:
        """The error for a key that this kind does not have: the kinds that have it, or its own keys."""
        others = [kind for kind, table in TABLES.items() if name in table.model_fields]
        if others:
            has = "has" if len(others) == 1 else "have"
            return wrong(f"no such key with this kind; {', '.join(others)} {has} it", unknown=True)
        keys = list(cls.model_fields)
        return wrong(f"one of its keys {', '.join(keys)}", meant(name, keys), unknown=True)


_Loops = Annotated[int, whole_in(1, 2, "a whole number of loops")]
_Wraps = Annotated[int, whole_in(1, 20, "a whole number of turns")]
_Degrees = Annotated[float, number_in(0.0, 80.0, DEGREES)]
_QUARTER = "Whether one loop stands at right angles to the other"


class LoopLinkTable(FindingKeys):
    """A straight stem with a loop turned at one end or at both."""

    kind: Literal["loop link"]
    wire: Wire = own(loop_link, "wire", "Wire")
    inside: Size = own(loop_link, "inside", "Inside diameter of the loops")
    outer_inside: Size | None = own(loop_link, "outer_inside", "That of the outer loop where it has its own")
    stem: Size = own(loop_link, "stem", "Straight wire between the small bends at its ends")
    loops: _Loops = own(loop_link, "loops", "How many loops, 1 or 2")
    quarter_turn: Yes = own(loop_link, "quarter_turn", _QUARTER)


class WrappedLinkTable(FindingKeys):
    """A stem with loops whose wire is wound round the stem."""

    kind: Literal["wrapped link"]
    wire: Wire = own(wrapped_link, "wire", "Wire")
    inside: Size = own(wrapped_link, "inside", "Inside diameter of the loops")
    outer_inside: Size | None = own(
        wrapped_link, "outer_inside", "That of the outer loop where it has its own"
    )
    stem: Size = own(wrapped_link, "stem", "Straight wire between the small bends, coils included")
    loops: _Loops = own(wrapped_link, "loops", "How many loops, 1 or 2")
    wraps: _Wraps = own(wrapped_link, "wraps", "Turns of wire round the stem at each loop")
    quarter_turn: Yes = own(wrapped_link, "quarter_turn", _QUARTER)


class OvalLinkTable(FindingKeys):
    """A link with straight sides and half-round ends."""

    kind: Literal["oval link"]
    wire: Wire = own(oval_link, "wire", "Wire")
    inside_length: Size = own(oval_link, "inside_length", "Its hole along the piece")
    inside_width: Size = own(oval_link, "inside_width", "Its hole across the piece, up to its length")
    soldered: Yes = own(oval_link, "soldered", "Whether it is soldered; else opened with pliers")


class FigureEightLinkTable(FindingKeys):
    """Two loops side by side, the wire crossing over between them."""

    kind: Literal["figure-eight link"]
    wire: Wire = own(figure_eight_link, "wire", "Wire")
    inside: Size = own(figure_eight_link, "inside", "Inside diameter of the loops")
    outer_inside: Size | None = own(
        figure_eight_link, "outer_inside", "That of the outer loop where it has its own"
    )
    soldered: Yes = own(figure_eight_link, "soldered", "Whether its ends are soldered; else opened")


class ClosedRingTable(FindingKeys):
    """A round ring that is soldered shut."""

    kind: Literal["closed ring"]
    wire: Wire = own(closed_ring, "wire", "Wire")
    inside: Size = own(closed_ring, "inside", "Inside diameter")


class HookTable(FindingKeys):
    """The hook of a hook and eye."""

    kind: Literal["hook"]
    wire: Wire = own(hook, "wire", "Wire")
    inside: Size = own(hook, "inside", "Inside diameter of the loop")
    shank: Size = own(hook, "shank", "Straight wire between loop and bend")
    bend: Size = own(hook, "bend", "Inside diameter of the bend")
    tail: Size = own(hook, "tail", "Straight wire after the bend")
    mouth: Size = own(hook, "mouth", "Gap between tail and shank where it is narrowest")
    kick: _Degrees = own(
        hook, "kick", "How far the end is bent out from the line of the shank [deg]", unit="degrees"
    )
    tip: SizeOrNone = own(hook, "tip", "Length of that end")
    quarter_turn: Yes = own(hook, "quarter_turn", "Whether the loop stands at right angles to the hook")


class EyeTable(FindingKeys):
    """The eye of a hook and eye."""

    kind: Literal["eye"]
    wire: Wire = own(eye, "wire", "Wire")
    inside: Size = own(eye, "inside", "Inside diameter of the loop for the piece")
    outer_inside: Size = own(eye, "outer_inside", "Inside diameter of the loop that the hook takes")
    soldered: Yes = own(eye, "soldered", "Whether its ends are soldered; else opened with pliers")


class SHookTable(FindingKeys):
    """A hook bent to an S."""

    kind: Literal["S-hook"]
    wire: Wire = own(s_hook, "wire", "Wire")
    inside: Size = own(s_hook, "inside", "Inside diameter of its two bends")
    outer_inside: Size | None = own(s_hook, "outer_inside", "That of the outer bend where it has its own")
    mouth: Size = own(s_hook, "mouth", "Gap between an open end and the middle of the S")
    shut: Yes = own(s_hook, "shut", "Whether the end at the piece is bent shut; else both are open")


class EarWireTable(FindingKeys):
    """A hook that hangs in a pierced ear."""

    kind: Literal["ear wire"]
    wire: Wire = own(ear_wire, "wire", "Wire; thicker than 20 AWG goes through few ears (common practice)")
    inside: Size = own(ear_wire, "inside", "Inside diameter of the loop at the front")
    shank: Size = own(ear_wire, "shank", "Straight wire at the front")
    bend: Size = own(ear_wire, "bend", "Inside diameter of the bend over the ear")
    tail: Size = own(ear_wire, "tail", "Straight wire behind the ear")
    kick: _Degrees = own(ear_wire, "kick", "How far the end is bent out [deg]", unit="degrees")
    tip: SizeOrNone = own(ear_wire, "tip", "Length of that end")
    quarter_turn: Yes = own(ear_wire, "quarter_turn", "Whether the loop stands at right angles to the hook")


class EarPostTable(FindingKeys):
    """A post through a pierced ear."""

    kind: Literal["ear post"]
    wire: Wire = own(ear_post, "wire", "The post")
    post: Size = own(ear_post, "post", "Its length behind the front")
    front: Annotated[Literal["ball", "disc"], words("ball", "disc")] = own(
        ear_post, "front", "What is in front of the ear: ball or disc"
    )
    front_size: Size = own(ear_post, "front_size", "Diameter of the front")
    front_thickness: Size | None = own(ear_post, "front_thickness", "Thickness of a disc; 1 mm when left out")
    eye_wire: Wire = own(ear_post, "eye_wire", "Wire of the eye below")
    eye_inside: Size = own(ear_post, "eye_inside", "Inside diameter of the eye")


class HeadPinTable(FindingKeys):
    """A pin with a head, beads and a loop."""

    kind: Literal["head pin"]
    wire: Wire = own(head_pin, "wire", "Wire; bead holes often take no more than 0.6 mm (common practice)")
    inside: Size = own(head_pin, "inside", "Inside diameter of the loop")
    wraps: Annotated[int, whole_in(0, 20, "a whole number of turns")] = own(
        head_pin, "wraps", "Turns of wire round the stem below the loop; with 0 the loop can be opened"
    )
    bare: SizeOrNone = own(head_pin, "bare", "Straight wire without beads or coils")
    head: Annotated[Literal["flat", "ball", "spiral"], words("flat", "ball", "spiral")] = own(
        head_pin, "head", "What keeps the beads on: flat, ball or spiral"
    )
    head_size: Size | None = own(
        head_pin, "head_size",
        "Diameter of a flat head or a ball; 3 times, or 2.5 times, the wire when left out",
    )  # fmt: skip
    turns: Annotated[float, number_in(0.5, 10.0)] = own(
        head_pin, "turns", "Turns of a spiral, to the nearest half", unit="turns"
    )
    beads: list[BeadTable] = Field(
        default=[], max_length=MOST_BEADS, description="The beads, the one on the head first."
    )


class SpringRingTable(FindingKeys):
    """A clasp: a ring with a gate that a spring pushes shut."""

    kind: Literal["spring ring"]
    wire: Wire = own(spring_ring, "wire", "Diameter of its tube")
    inside: Size = own(spring_ring, "inside", "Inside diameter of the ring")
    gate: Size = own(spring_ring, "gate", "How wide it opens; what hooks in is no thicker")
    eye_wire: Wire = own(spring_ring, "eye_wire", "Wire of the eye for the piece")
    eye_inside: Size = own(spring_ring, "eye_inside", "Inside diameter of the eye for the piece")


class LobsterClaspTable(FindingKeys):
    """A clasp: a claw with a gate that swings inwards."""

    kind: Literal["lobster clasp"]
    wire: Wire = own(lobster_clasp, "wire", "Thickness of the claw")
    inside_width: Size = own(lobster_clasp, "inside_width", "Width of its mouth where it is widest")
    inside_length: Size = own(lobster_clasp, "inside_length", "Length of its mouth")
    gate: Size = own(lobster_clasp, "gate", "How wide it opens; what hooks in is no thicker")
    eye_wire: Wire = own(lobster_clasp, "eye_wire", "Wire of the eye for the piece")
    eye_inside: Size = own(lobster_clasp, "eye_inside", "Inside diameter of the eye for the piece")


class ToggleRingTable(FindingKeys):
    """The ring of a toggle."""

    kind: Literal["toggle ring"]
    wire: Wire = own(toggle_ring, "wire", "Wire of the ring")
    inside: Size = own(toggle_ring, "inside", "Inside diameter of the ring")
    eye_wire: Wire = own(toggle_ring, "eye_wire", "Wire of the eye for the piece")
    eye_inside: Size = own(toggle_ring, "eye_inside", "Inside diameter of the eye for the piece")


class ToggleBarTable(FindingKeys):
    """The bar of a toggle."""

    kind: Literal["toggle bar"]
    wire: Wire = own(toggle_bar, "wire", "Thickness of the bar")
    length: Size = own(toggle_bar, "length", "Length of the bar from end to end")
    eye_wire: Wire = own(toggle_bar, "eye_wire", "Wire of the eye for the piece")
    eye_inside: Size = own(toggle_bar, "eye_inside", "Inside diameter of the eye for the piece")


class EndBarTable(FindingKeys):
    """A bar that brings several strands to one."""

    kind: Literal["end bar"]
    wire: Wire = own(end_bar, "wire", "Thickness of the bar")
    strands: Annotated[int, whole_in(1, 20, "a whole number of strands")] = own(
        end_bar, "strands", "How many eyes there are for strands"
    )
    pitch: Size = own(end_bar, "pitch", "Distance of their middles")
    eye_wire: Wire = own(end_bar, "eye_wire", "Wire of all eyes")
    eye_inside: Size = own(end_bar, "eye_inside", "Inside diameter of the eyes for strands")
    outer_inside: Size | None = own(
        end_bar, "outer_inside", "That of the eye on the other side where it has its own"
    )


class WirePathTable(FindingKeys):
    """A wire of your own, bent step by step. It sets out along the piece, with left to one side of it."""

    kind: Literal["wire path"]
    wire: Wire = own(wire_path, "wire", "Wire")
    steps: list[StepTable] = Field(
        min_length=1, max_length=MOST_STEPS, description="Straights and bends, one after the other."
    )
    closed: Yes = own(wire_path, "closed", "Whether its ends meet and are soldered")
    eyes: list[PathEyeTable] = Field(
        min_length=1, max_length=MOST_EYES, description="Its eyes: stretches of wire that go round a hole."
    )


AnyFinding = (
    LoopLinkTable
    | WrappedLinkTable
    | OvalLinkTable
    | FigureEightLinkTable
    | ClosedRingTable
    | HookTable
    | EyeTable
    | SHookTable
    | EarWireTable
    | EarPostTable
    | HeadPinTable
    | SpringRingTable
    | LobsterClaspTable
    | ToggleRingTable
    | ToggleBarTable
    | EndBarTable
    | WirePathTable
)
"""The tables of all kinds."""

TABLES: dict[str, type[FindingKeys]] = {
    get_args(table.model_fields["kind"].annotation)[0]: table for table in get_args(AnyFinding)
}
"""The table of each kind."""


def _read_finding(value: object, info: ValidationInfo) -> Any:
    """The table of the kind that a finding says it is."""
    if not isinstance(value, dict):
        return value
    said = value.get("kind")
    words = " ".join(said.lower().split()) if isinstance(said, str) else ""
    kind = {name.lower(): name for name in TABLES}.get(words)
    if kind is None:
        fault = wrong(f"a kind of finding: {', '.join(finding_kinds())}", meant(words, finding_kinds()))
        # Told at the kind's place, along with a kind that is not said at all.
        details = InitErrorDetails(type=fault, loc=("kind",), input={} if said is None else said)
        raise ValidationError.from_exception_data("finding", [details])
    return TABLES[kind].model_validate({**value, "kind": kind}, context=info.context)


FindingTable = Annotated[AnyFinding, Field(discriminator="kind"), BeforeValidator(_read_finding)]
"""A finding."""


def finding_of(name: str, table: FindingKeys) -> Finding | list[Problem]:
    """The finding that a table says, or what does not go together in it.

    Args:
        name: The name that the design gives it.
        table: Its table.
    """
    said: str = table.kind  # type: ignore[attr-defined]
    kind = KINDS[said]
    sizes = {size: getattr(table, size) for size in type(table).model_fields if size not in ("kind", "metal")}
    if isinstance(table, HeadPinTable):
        sizes["beads"] = tuple(Threaded(**bead.model_dump()) for bead in table.beads)
    if isinstance(table, WirePathTable):
        sizes["steps"] = tuple(_step(step) for step in table.steps)
        sizes["eyes"] = tuple(PathEye(**eye.model_dump()) for eye in table.eyes)
    misfits = kind.misfits(**sizes)
    if misfits:
        place = f"findings.{key(name)}"
        return [Problem(f"{place}.{m.key}", m.got, m.expected, m.advice) for m in misfits]
    return _built(said, name, tuple(sizes.items()))


@lru_cache(maxsize=256)
def _built(kind: str, name: str, sizes: tuple[tuple[str, Any], ...]) -> Finding:
    """A finding; kept, for a design is read anew with every change of its text while its findings stay."""
    return KINDS[kind].build(name, **dict(sizes))


def _step(step: StepTable) -> Bend:
    return Bend(step.length or 0.0, step.radius or 0.0, step.angle or 0.0, step.direction)
