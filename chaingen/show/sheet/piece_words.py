"""The piece in a few lines: its sizes, how large it is, whether it holds, what its rings are called."""

from chaingen.make.plan import Plan
from chaingen.make.result import Result
from chaingen.show.sheet.measures import Measures
from chaingen.solve.verdict import Band, Fit
from chaingen.stock.necklaces import necklace_name
from chaingen.weave.pieces import Chain, Sheet

MOST_SIZES = 8
"""Ring sizes that are told with the verdict; the table of rings has all."""

NECK = 300.0
"""Pieces from this length on are worn as necklaces [mm]."""

AS_NECKLACE = "as necklaces go"
"""What the name of a necklace's length is told as."""


def exact_lengths(result: Result) -> tuple[float, ...]:
    """Lengths that the verdict may tell, not rounded [mm]."""
    check, proof = result.check, result.placement.proof
    lengths = (check.smallest_gap, check.clearance - check.smallest_gap)
    return lengths if proof is None else (*lengths, proof.needed, proof.hole)


def sizes_line(result: Result, measures: Measures) -> str:
    """The ring sizes that the verdict is about; empty for a piece without rings."""
    sizes = list(dict.fromkeys(count.size for count in result.counts))
    told = [
        f"{size.name} {measures.length(size.inside_diameter, said=True)}, "
        f"{measures.wire(size.wire_diameter, said=True)}, {size.aspect_ratio:.2f}"
        for size in sizes[:MOST_SIZES]
    ]
    more = len(sizes) - MOST_SIZES
    if more > 0:
        told.append(f"{more} more in the table of rings")
    return f"Rings (inside, wire, aspect ratio): {'; '.join(told)}." if told else ""


def band_words(band: Band, measures: Measures) -> str:
    """How the verdict stands with rings that are a little off."""
    corners = sorted(band.corners, key=lambda corner: corner.gap)
    fitting = [corner.fit is not Fit.DOES_NOT_FIT for corner in corners]
    holds = "it still fits" if all(fitting) else "it fits only in part" if any(fitting) else "it fits nowhere"
    words = list(dict.fromkeys(corner.fit.value for corner in corners))
    named = " to ".join((words[0], words[-1]) if len(words) > 1 else words)
    low, high = (measures.small(corners[k].gap, said=True) for k in (0, -1))
    off = measures.small(band.tolerance, said=True)
    return f"With inside diameters and wires off by up to {off}, {holds}: gap {low} to {high}, {named}."


def extent_rows(result: Result, measures: Measures) -> list[tuple[str, str]]:
    """How long a piece is, or of a sheet how wide and high, for the table of the piece."""
    design = result.design
    if isinstance(design.piece, Sheet):
        low, high = result.placement.rings.bounds()
        wide, tall = (measures.length(float(extent), 1) for extent in (high - low)[:2])
        return [("width as placed", wide), ("height as placed", tall)]
    rows = []
    length = result.finished_length
    if length is not None:
        way = "round the loop" if design.piece.closed else "pulled straight, outside to outside"
        rows.append((f"length, {way}", measures.length(length, 1)))
    if result.asked_length is not None:
        rows.append(("length asked for", measures.length(result.asked_length, 1)))
    if length is not None and length >= NECK and (name := necklace_name(length)):
        rows.append((AS_NECKLACE, name))
    rows.append(("length as drawn", measures.length(result.length_as_placed, 1)))
    return rows


def measure_rows(result: Result, measures: Measures) -> list[tuple[str, str]]:
    """Wrist or neck, and the ease asked for, for the table of the piece."""
    design = result.design
    if design.measure is None:
        return []
    rows = [("wrist or neck", measures.length(design.measure, 1))]
    if result.asked_length is not None:
        rows.append(("ease asked for", measures.length(result.asked_length - design.measure, 1)))
    return rows


def pull_line(plan: Plan, measures: Measures) -> str:
    """That a piece does not hold the pull it should, for the verdict; empty where it may."""
    strength = plan.strength
    if strength.holds != "no":
        return ""
    own = strength.weight > strength.tug
    what = "its own weight," if own else "a tug of"
    pull = measures.pull(max(strength.tug, strength.weight))
    return f"But: not soldered, it is not reckoned to hold {what} {pull}."


def name_line(result: Result) -> str:
    """How the names of rings of a weave are read; empty where a number and a letter say it."""
    piece, graph = result.design.piece, result.placement.graph
    if not isinstance(piece, Sheet | Chain):
        return ""
    rings = sorted((ring.name for ring in piece.weave.rings), key=len, reverse=True)
    if isinstance(piece, Chain) and len(rings[0]) == 1:
        return ""
    # Of names with unlike numbers it is seen best which is which.
    name = max(graph.names, key=lambda one: _clearness(*_parted(one, rings)))
    numbers, ring = _parted(name, rings)
    if isinstance(piece, Sheet):
        column, row = numbers
        return f"How rings are named: {name} is ring {ring} of the cell in column {column}, row {row}."
    return f"How rings are named: {name} is ring {ring} of cell {numbers[0]}."


def _parted(name: str, rings: list[str]) -> tuple[list[str], str]:
    """The numbers of a ring's cell and its name there; `rings` are such names, the longest first."""
    ring = next(ring for ring in rings if name.endswith(ring))
    return name.removesuffix(ring).split("."), ring


def _clearness(numbers: list[str], ring: str) -> tuple[bool, int]:
    """More for numbers that differ and are small."""
    return len(set(numbers)) == len(numbers) and numbers[0] != "1", -sum(map(int, numbers))
