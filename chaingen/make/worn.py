"""Whether a piece goes round the wrist or neck that it is made for, as far as length and thickness say."""

from math import pi

from chaingen.findings.closing import through_skin
from chaingen.make.result import Result


def worn_closed(result: Result) -> bool:
    """Whether a piece goes round a wrist or neck, as far as its design says so."""
    design = result.design
    if any(through_skin(entry.finding) for entry in result.findings):
        return False
    fastened = bool(design.ends.start and design.ends.end)
    return design.measure is not None or design.piece.closed or fastened


def thickness_of(result: Result) -> float:
    """How thick a chain is across its length as placed [mm]."""
    low, high = result.placement.rings.bounds()
    return float((high - low)[1:].min())


def round_inside(result: Result) -> float | None:
    """Circumference inside a piece when it is worn closed [mm]: its length less pi times its thickness.

    None for what is not worn so, and where no length is known.
    """
    if result.finished_length is None or not worn_closed(result):
        return None
    return result.finished_length - pi * thickness_of(result)


def lacks_round(result: Result) -> float | None:
    """How much longer a piece has to be to go round its wrist or neck [mm]; None where nothing is lacking."""
    measure, inside = result.design.measure, round_inside(result)
    if measure is None or inside is None or inside >= measure:
        return None
    return measure - inside
