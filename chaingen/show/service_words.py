"""What a process makes of a piece, for the terminal."""

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby

from chaingen.design.service import Axes, Layout, Route, Service
from chaingen.make.result import Result
from chaingen.prepare.batch import PATTERN, Batch, Prepared, metal_to_melt
from chaingen.prepare.cast import Sizes
from chaingen.prepare.sent import ServiceCheck, State, by, listed, model_word
from chaingen.show.phrases import counted, grams
from chaingen.show.service_facts import checks_of, is_welded, nothing_sent, piece_sizes, service_cautions
from chaingen.stock.metals import Metal
from chaingen.units import format_mm
from chaingen.weave.groups import RingSize

ASSUMED = " (assumed)"
"""What follows a value that the design does not say."""

OWN_MATERIAL = "What a print is made of is the service's own, so its weight is not told."
"""Told where others are told the weight of what is sent."""


def service_lines(result: Result, prepared: Prepared | None = None) -> list[str]:
    """The process, the gap it asks for, every check, sizes and what is sent, a sentence a line.

    Args:
        result: A built piece; of one without a service there is nothing to tell.
        prepared: The same as prepared for its service; None where nothing is written.
    """
    service = result.design.service
    if service is None:
        return []
    checks = checks_of(result, prepared)
    lines = [f"For {making_words(service)}: {limits_words(service)}."]
    gap = result.design.process_gap
    if gap:
        asked, sent = format_mm(gap), format_mm(service.smallest_gap)
        if asked != sent:
            asked = f"{asked} (for {sent} in the {model_word(service)})"
        if gap >= result.design.clearance:
            lines.append(
                f"The gap asked for between wires, {asked}, is that of the process, {service.process.name}."
            )
        else:
            own = format_mm(result.design.clearance)
            lines.append(f"The gap asked for between wires, {own}, is more than the {asked} of the process.")
    lines += [f"  {check.state.value}: {check.name}, {check.text}." for check in checks]
    lines += [line] if (line := nothing_sent(prepared)) else []
    lines += size_lines(result, piece_sizes(result, prepared))
    made = prepared is None or bool(prepared.batches)
    lines += [*(loose_lines(result) if made else []), *soldered_lines(service, checks)]
    if result.design.bench.classroom is not None:
        lines.append("What is sent is for one kit: have it made once for each kit of the class.")
    if prepared is not None:
        lines += [f"{line}." for line in batch_lines(prepared.batches)]
        lines += [OWN_MATERIAL] if prepared.batches and not service.process.casts else []
        lines += melt_lines(prepared.batches)
        if prepared.by_hand:
            lines.append(f"By hand: {'; '.join(prepared.by_hand)}.")
    return [*lines, *(f"Caution: {text}" for text in service_cautions(service))]


def failed_lines(result: Result, prepared: Prepared | None = None) -> list[str]:
    """That the service cannot make the piece as it is, for right after the verdict; nothing where it can.

    Args:
        result: A built piece.
        prepared: The same as prepared for its service; None where nothing is written.
    """
    service = result.design.service
    if service is None or not result.fits:
        return []
    failed = dict.fromkeys(c.name for c in checks_of(result, prepared) if c.state is State.FAIL)
    return [f"But: not for {making_words(service)} as it is: {listed(tuple(failed))}."] if failed else []


def making_words(service: Service) -> str:
    """How a service makes the piece: ``resin printing``, ``casting from a wax pattern``."""
    if not service.process.casts:
        return f"{service.process.name} printing"
    return "casting from a wax pattern" if service.process.assembled else "casting of loose rings"


def limits_words(service: Service) -> str:
    """The limits of a process, in words; those that the design does not say are told to be assumed."""
    reserve = service.safe_gap > service.smallest_gap
    limits = {
        "smallest_wire": f"wire of {format_mm(service.smallest_wire)} or more",
        "smallest_gap": f"gaps of {format_mm(service.smallest_gap)} or more"
        f"{f', {format_mm(service.safe_gap)} to be sure' if reserve else ''}",
        "build": f"up to {by(service.build)}",
    }
    if not service.process.assembled:
        del limits["smallest_gap"]
    if limits.keys() <= set(service.assumed):
        return f"{', '.join(limits.values())}; all assumed: ask the service"
    return ", ".join(f"{text}{ASSUMED if name in service.assumed else ''}" for name, text in limits.items())


# --- sizes ----------------------------------------------------------------------------------------


def size_lines(result: Result, sizes: Sequence[Sizes]) -> list[str]:
    """How large each ring is in the model, where that is not its finished size, and why."""
    service = result.design.service
    assert service is not None, "sizes are of a service"
    several = len({own.metal for own in sizes}) > 1
    lines = [line for own in sizes if (line := _size_line(own, service, several))]
    if lines and result.findings and service.process.assembled:
        lines.append("Findings are larger in it likewise.")
    return lines


def _size_line(own: Sizes, service: Service, several: bool) -> str:
    stretch, finishing = service.stretch(own.metal), service.finishing
    reasons = shrinkage_reasons(service, own.metal)
    what = f"Ring {own.size.name}{f' of {own.metal.name}' if several else ''}, {ring_words(own.size)}, is"
    if finishing:
        what = (
            f"{what} cast {ring_words(own.cast)}, for finishing takes {format_mm(finishing)} off the "
            "thickness of its wire"
        )
        if not service.process.casts:
            what = what.replace(" is cast ", " is made ")
    if stretch == (1.0, 1.0, 1.0):
        because = f": {', and '.join(reasons)}" if reasons else ""
        if finishing:
            return f"{what}; so it is in the {model_word(service)}{because}."
        return f"{what} the same in the {model_word(service)}{because}." if reasons else ""
    closed = ", when closed," if finishing else ", when closed"
    closed = closed if sent_open(service) else ""
    made = f"{_axes_words(own.inside)} inside in {_axes_words(own.wire)} wire"
    if finishing:
        return f"{what}; in the {model_word(service)}{closed} it is {made}: {', and '.join(reasons)}."
    return f"{what} {made} in the {model_word(service)}{closed}: {', and '.join(reasons)}."


def ring_words(size: RingSize) -> str:
    """A ring's size: ``9 mm inside in 1.8 mm wire``."""
    return f"{format_mm(size.inside_diameter)} inside in {format_mm(size.wire_diameter)} wire"


def _axes_words(values: Axes) -> str:
    """A length, or one along each axis where they differ."""
    told = [format_mm(value) for value in values]
    if len(set(told)) == 1:
        return told[0]
    return f"{told[0]} (along x), {told[1]} (y), {told[2]} (z)"


def shrinkage_reasons(service: Service, metal: Metal) -> list[str]:
    """Why a model is larger than what is made from it, a clause for each reason."""
    reasons = []
    shrinks = service.shrinks(metal)
    who = metal.name if service.process.casts else service.process.name
    if shrinks is None:
        reasons.append(f"how much {who} shrinks is not known, and nothing is allowed for it")
    elif any(shrinks):
        said = {metal.name, metal.base, ""} & dict(service.shrinkage).keys()
        reasons.append(f"{who} shrinks by {_percent(shrinks)}{'' if said else ASSUMED}")
    if service.route is Route.RUBBER_MOULD and any(service.mould_shrinks):
        assumed = ASSUMED if service.mould_shrinkage is None else ""
        reasons.append(f"wax from a rubber mould by {_percent(service.mould_shrinks)}{assumed}")
    return reasons


def _percent(parts: Axes) -> str:
    told = [_number(100.0 * part) for part in parts]
    if len(set(told)) == 1:
        return f"{told[0]} %"
    return f"{told[0]} % (along x), {told[1]} % (y), {told[2]} % (z)"


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


# --- how it is sent -------------------------------------------------------------------------------


def sent_open(service: Service) -> bool:
    """Whether rings are sent open, to be closed by hand."""
    return not service.process.assembled and bool(service.cut or service.opened)


def loose_lines(result: Result) -> list[str]:
    """How loose rings are cut and laid out; nothing of a piece in one, or without rings."""
    service = result.design.service
    if service is None or service.process.assembled or not result.counts:
        return []
    laid = {
        Layout.FLAT: "side by side on a plate, without sprues",
        Layout.COMB: "flat along runners, with sprues",
        Layout.TREE: "round the main of a tree",
    }[service.layout]
    if not sent_open(service):
        lines = [f"Rings are laid out {laid}, closed: what is to be linked by hand is cut open first."]
        return [*lines, *_mould_lines(service)]
    aside = (
        f", the ends {format_mm(service.opened)} apart sideways (middle to middle)" if service.opened else ""
    )
    return [
        f"Rings are laid out {laid}, with a cut of {format_mm(service.cut)} (as cast){aside}: closed by "
        "hand until the ends meet they have the sizes told.",
        *_mould_lines(service),
    ]


def _mould_lines(service: Service) -> list[str]:
    """That a mould is made once: the numbers are those of waxes."""
    if service.route is not Route.RUBBER_MOULD:
        return []
    return ["For moulds one pattern of a size is enough (common practice): the numbers told are of waxes."]


def soldered_lines(service: Service, checks: Iterable[ServiceCheck]) -> list[str]:
    """What is welded into one; nothing where nothing is, or where the checks say that it cannot be."""
    if not service.soldered or not is_welded(checks):
        return []
    return [f"Welded into one, as if soldered: {', '.join(f'{a} with {b}' for a, b in service.soldered)}."]


def batch_lines(batches: Sequence[Batch]) -> list[str]:
    """What is in each file; numbered ones that follow one another and are alike in one line."""

    def words_of(batch: Batch) -> str:
        return batch_words(batch).removeprefix(file_words(batch))

    lines = []
    alike_by = groupby(batches, key=lambda batch: (words_of(batch), batch.name.rstrip("0123456789")))
    for (words, _), alike in alike_by:
        names = [file_words(batch) for batch in alike]
        if len(names) == 1:
            lines.append(f"{names[0]}{words}")
        else:
            lines.append(f"{names[0]} to {names[-1]}, {len(names)} files, in each{words.removeprefix(':')}")
    return lines


def batch_words(batch: Batch) -> str:
    """What is in a file, what that weighs, and how many are made of it.

    As in ``tree-1: 60 rings (link); 38.20 g of brass as cast; make 4 of it``.
    """
    what = f"{file_words(batch)}: {holds_words(batch)}"
    copies = f"; make {batch.copies:,} of it" if batch.copies > 1 else ""
    if batch.metal is None:
        return f"{what}{copies}"
    metal = f"{grams(batch.weight)} of {batch.metal.name} as cast"
    sprues = f", {grams(batch.sprues_weight)} of it sprues and button" if batch.sprues_weight else ""
    return f"{what}; {metal}{sprues}{copies}"


def melt_lines(batches: Sequence[Batch]) -> list[str]:
    """How much of each metal all castings take; nothing of prints."""
    told = [f"{grams(weight)} of {metal.name}" for metal, weight in metal_to_melt(batches).items()]
    return [f"To melt in all, for every copy of every casting: {listed(told)}."] if told else []


def file_words(batch: Batch) -> str:
    """A file by its name; of a print, which is no pattern, it is plain that this is a file's name."""
    return f"{batch.name}.stl" if batch.metal is None else batch.name


def title_words(batch: Batch) -> str:
    """What a batch is, for its picture: its name, of a print that it is one."""
    return batch.name.replace(PATTERN, "print", 1) if batch.metal is None else batch.name


def holds_words(batch: Batch) -> str:
    """What a batch holds: ``60 rings (40 link, 20 jump)``, ``36 rings (link)``, ``15 parts``."""
    if not batch.rings:
        parts = counted(batch.parts, "part")
        return f"the print, {parts}" if batch.metal is None else parts
    names: Counter[str] = Counter()
    for name, count in batch.rings:
        names[name] += count
    total = counted(sum(names.values()), "ring")
    several = ", ".join(f"{count:,} {name}" for name, count in names.items())
    return f"{total} ({several if len(names) > 1 else next(iter(names))})"
