"""The keys of findings in a design file, a table for each kind.

What a key is called is what the builder of that kind calls it; defaults are the builder's.
"""

from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from chaingen.design.finding_keys import KeyTable, Size, SizeOrNone, Wire, own
from chaingen.design.metal_schema import MetalName
from chaingen.errors import Problem
from chaingen.findings.catalogue import KINDS, finding_kinds
from chaingen.findings.eights import eye, figure_eight_link, s_hook
from chaingen.findings.finding import Finding
from chaingen.findings.hooks import ear_wire, hook
from chaingen.findings.links import closed_ring, loop_link, oval_link, wrapped_link
from chaingen.tables import key, meant, number_in, shown, whole_in, wrong


class FindingKeys(KeyTable):
    """What all kinds have."""

    metal: MetalName | None = Field(None, description="What it is made of; the design's metal when left out.")

    @classmethod
    def unknown_key(cls, name: str) -> PydanticCustomError:
        """The error for a key that this kind does not have: the kinds that have it, or its own keys."""
        others = [kind for kind, table in TABLES.items() if name in table.model_fields]
        if others:
            return wrong(
                f"no such key with this kind; {', '.join(others)} {'has' if len(others) == 1 else 'have'} it"
            )
        keys = list(cls.model_fields)
        return wrong(f"one of its keys {', '.join(keys)}", meant(name, keys))


_LOOPS = Annotated[int, whole_in(1, 2, "a whole number of loops")]
_WRAPS = Annotated[int, whole_in(1, 20, "a whole number of turns")]
_Degrees = Annotated[float, number_in(0.0, 80.0)]
_QUARTER = "Whether one loop stands at right angles to the other"


class LoopLinkTable(FindingKeys):
    """A straight stem with a loop turned at one end or at both."""

    kind: Literal["loop link"]
    wire: Wire = own(loop_link, "wire", "Wire")
    inside: Size = own(loop_link, "inside", "Inside diameter of the loops")
    outer_inside: Size | None = own(loop_link, "outer_inside", "That of the outer loop where it has its own")
    stem: Size = own(loop_link, "stem", "Straight wire between the small bends at its ends")
    loops: _LOOPS = own(loop_link, "loops", "How many loops, 1 or 2")
    quarter_turn: bool = own(loop_link, "quarter_turn", _QUARTER)


class WrappedLinkTable(FindingKeys):
    """A stem with loops whose wire is wound round the stem."""

    kind: Literal["wrapped link"]
    wire: Wire = own(wrapped_link, "wire", "Wire")
    inside: Size = own(wrapped_link, "inside", "Inside diameter of the loops")
    outer_inside: Size | None = own(
        wrapped_link, "outer_inside", "That of the outer loop where it has its own"
    )
    stem: Size = own(wrapped_link, "stem", "Straight wire between the small bends, coils included")
    loops: _LOOPS = own(wrapped_link, "loops", "How many loops, 1 or 2")
    wraps: _WRAPS = own(wrapped_link, "wraps", "Turns of wire round the stem at each loop")
    quarter_turn: bool = own(wrapped_link, "quarter_turn", _QUARTER)


class OvalLinkTable(FindingKeys):
    """A link with straight sides and half-round ends."""

    kind: Literal["oval link"]
    wire: Wire = own(oval_link, "wire", "Wire")
    inside_length: Size = own(oval_link, "inside_length", "Its hole along the piece")
    inside_width: Size = own(oval_link, "inside_width", "Its hole across the piece, up to its length")
    soldered: bool = own(oval_link, "soldered", "Whether it is soldered; else opened with pliers")


class FigureEightLinkTable(FindingKeys):
    """Two loops side by side, the wire crossing over between them."""

    kind: Literal["figure-eight link"]
    wire: Wire = own(figure_eight_link, "wire", "Wire")
    inside: Size = own(figure_eight_link, "inside", "Inside diameter of the loops")
    outer_inside: Size | None = own(
        figure_eight_link, "outer_inside", "That of the outer loop where it has its own"
    )
    soldered: bool = own(figure_eight_link, "soldered", "Whether its ends are soldered; else opened")


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
    quarter_turn: bool = own(hook, "quarter_turn", "Whether the loop stands at right angles to the hook")


class EyeTable(FindingKeys):
    """The eye of a hook and eye."""

    kind: Literal["eye"]
    wire: Wire = own(eye, "wire", "Wire")
    inside: Size = own(eye, "inside", "Inside diameter of the loop for the piece")
    outer_inside: Size = own(eye, "outer_inside", "Inside diameter of the loop that the hook takes")
    soldered: bool = own(eye, "soldered", "Whether its ends are soldered; else opened with pliers")


class SHookTable(FindingKeys):
    """A hook bent to an S."""

    kind: Literal["S-hook"]
    wire: Wire = own(s_hook, "wire", "Wire")
    inside: Size = own(s_hook, "inside", "Inside diameter of its two bends")
    outer_inside: Size | None = own(s_hook, "outer_inside", "That of the outer bend where it has its own")
    mouth: Size = own(s_hook, "mouth", "Gap between an open end and the middle of the S")
    shut: bool = own(s_hook, "shut", "Whether the end at the piece is bent shut; else both are open")


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
    quarter_turn: bool = own(ear_wire, "quarter_turn", "Whether the loop stands at right angles to the hook")


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
    kinds = ", ".join(finding_kinds())
    if said is None:
        raise wrong(f'kind = "..." in a finding, one of {kinds}')
    words = " ".join(said.split()) if isinstance(said, str) else ""
    known = {name.lower(): name for name in TABLES}
    table = known.get(words.lower())
    if table is None:
        raise wrong(f"a kind of finding, one of {kinds}, not {shown(said)}", meant(said, known))
    return TABLES[table].model_validate({**value, "kind": table}, context=info.context)


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
    misfits = kind.misfits(**sizes)
    if misfits:
        place = f"findings.{key(name)}"
        return [Problem(f"{place}.{m.key}", m.got, m.expected, m.advice) for m in misfits]
    return kind.build(name, **sizes)
