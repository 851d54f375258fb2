"""The order of work on the maker's sheet: what to open and close first, then step by step what to do."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from chaingen.make.order.steps import Order, Step
from chaingen.make.result import Result
from chaingen.show.making import hands_of
from chaingen.show.phrases import counted
from chaingen.show.sheet.cautions_words import GRIP
from chaingen.show.sheet.document import Block, Bullets, Heading, Instruction, Instructions, Paragraph
from chaingen.show.sheet.piece_words import name_line
from chaingen.show.step_words import StepWords
from chaingen.weave.groups import RingSize


def work_blocks(result: Result, order: Order, pictures: Sequence[Path | None], not_drawn: str) -> list[Block]:
    """What to open and close, and step by step what to do.

    Args:
        result: The piece.
        order: Its order of work.
        pictures: One for each of `Order.distinct`, None where there is none; may be shorter.
        not_drawn: Why there are no pictures; empty when there are.
    """
    design, graph = result.design, result.placement.graph
    words = StepWords(graph, result.metals, order, design.bench.units)
    blocks: list[Block] = [Heading("Order of work")]
    if design.pair:
        blocks.append(Paragraph("For one piece of the pair; make it twice, the second as its mirror image."))
    # Sizes were told in the table of rings, so that here the names do.
    told = [line for line in words.preparation() if not line.startswith(("Open ", "Close "))]
    ready = [
        line for line in (*_to_open(result, order), *told, words.least_words(), name_line(result)) if line
    ]
    blocks += [Bullets(tuple(ready))] if ready else []
    blocks += [Paragraph("Opening and closing rings (common practice):"), Bullets(GRIP)]
    lines: list[Instruction] = []
    shown: dict[int, int] = {}
    missing = 0
    for instruction, text in zip(order.instructions, words.lines(), strict=True):
        picture, alt = None, ""
        which = instruction.picture
        if instruction.step is not None and which is not None:
            has = which < len(pictures) and pictures[which] is not None
            if not has:
                missing += which not in shown
            elif which in shown:
                # One picture serves every step that is done alike.
                text = f"{text} (See the picture of step {shown[which]}.)"
            else:
                picture = pictures[which]
                alt = _alt(result, order.steps[instruction.step])
            shown.setdefault(which, instruction.number)
        lines.append(Instruction(instruction.number, text, picture, alt))
    drawn = any(line.picture is not None for line in lines)
    if drawn:
        blocks.append(
            Paragraph(
                "In the pictures the ring that is closed at the step is dark blue, what is taken up with it "
                "orange; the piece is shown as it is once the step is made."
            )
        )
    if any(instruction.step is None for instruction in order.instructions):
        blocks.append(
            Paragraph(
                "Steps that are made again name the rings of their first time; each further time they are "
                "the next ones along."
            )
        )
    if not_drawn:
        blocks.append(Paragraph(f"Without pictures: {not_drawn}.", small=True))
    elif drawn and missing:
        blocks.append(
            Paragraph(
                f"{counted(missing, 'step')} without a picture, for there are more than are drawn: go by the "
                "words there."
            )
        )
    return [*blocks, Instructions(tuple(lines))]


def _to_open(result: Result, order: Order) -> list[str]:
    """How many rings of each name to open and to close before the first step, for one piece."""
    opened = order.opened
    service = result.design.service
    linked, closed = _by_name(result, opened.opened), _by_name(result, opened.closed)
    lines = []
    if service is None:
        if linked:
            lines.append(f"Open {linked[0]}: {linked[1]}.")
        if closed:
            lines.append(f"Close {closed[0]}: {closed[1]}. Rings that are bought closed serve as they come.")
        return lines
    # What both mean was told with the table of rings.
    hands = hands_of(service)
    for label, own in ((hands.closed, closed), (hands.linked, linked)):
        if own:
            lines.append(f"{label}: {own[0]} ({own[1]}).")
    return lines


def _by_name(result: Result, bodies: Sequence[int]) -> tuple[str, str] | None:
    """How many of some bodies are rings, and how many of each name; None where none is."""
    metals, members = result.metals, result.placement.graph.members
    several = len({count.metal.name for count in result.counts}) > 1
    names = Counter(
        (members[body].size.name, metals.metals[int(metals.of_ring[body])].name)
        for body in bodies
        if isinstance(members[body].size, RingSize)
    )
    if not names:
        return None
    kinds = ", ".join(
        f"{count:,} {name}{f' of {metal}' if several else ''}" for (name, metal), count in names.items()
    )
    return counted(sum(names.values()), "ring"), kinds


def _alt(result: Result, step: Step) -> str:
    names = result.placement.graph.names
    taken = [names[body] for body in (*step.added, *step.laid)]
    orange = f", in orange {', '.join(taken)}" if taken else ""
    through = [names[body] for body in step.through]
    linked = f", linked with {', '.join(through)}" if through else ""
    return f"In dark blue {names[step.body]}{linked}{orange}."
