"""What the page tells of a built piece: its verdict, numbers, collisions and the piece itself.

Words of the verdict are those of the command line (`chaingen.show.words`). Places are those of the piece as
the page draws it, see `piece`.
"""

from typing import Any

import numpy as np

from chaingen.design.weave_starter import wire_text
from chaingen.geometry.types import Floats
from chaingen.make.counts import RingCount
from chaingen.make.result import Result
from chaingen.page.piece import Shown, piece_of, shown_of
from chaingen.show.finding_words import parting_lines
from chaingen.show.making import printed
from chaingen.show.phrases import grams
from chaingen.show.service_words import failed_lines, service_lines
from chaingen.show.words import called, headline, nearest_words, verdict_lines, worn_lines
from chaingen.solve.drape.draped import Draped
from chaingen.solve.verdict import Nearest
from chaingen.stock.gauges import describe_wire
from chaingen.units import MM_PER_INCH, format_mm
from chaingen.weave.groups import RingSize

MOST_COLLISIONS = 50
"""Collisions that are told, worst first."""

Data = dict[str, Any]


def look_of_result(result: Result, *, quick: bool = False) -> Data:
    """All that the page shows of a built piece.

    Args:
        result: What `build` gave, or `glimpse`.
        quick: Whether it came from a glimpse, which knows nothing of rings that are off, of sizes that fit
            instead, and of other starts; only what holds all the same is then told.
    """
    check, graph = result.check, result.placement.graph
    shown = shown_of(result)
    return {
        "quick": quick,
        "title": result.design.title,
        "exit_code": result.exit_code,
        "verdict": _verdict(result, quick),
        "gap": _gap(check.smallest_gap),
        "tightest": None
        if check.binding_pair is None or check.binding_place is None
        else {
            "bodies": list(check.binding_pair),
            "names": called(graph, check.binding_pair),
            "place": _place(check.binding_place, shown.turn),
            "gap": _gap(check.smallest_gap)["text"],
        },
        "collided": _collided(result),
        "collisions": [
            {
                "bodies": list(collision.rings),
                "gap": _gap(collision.gap)["text"],
                "place": _place(collision.place, shown.turn),
            }
            for collision in check.collisions[:MOST_COLLISIONS]
        ],
        "numbers": _numbers(result, shown),
        "counts": _counts(result),
        "nearest": [
            {"words": nearest_words(nearest), "changes": nearest_changes(nearest, _asked(result))}
            for nearest in result.nearest
        ],
        "cautions": [*worn_lines(result), *(caution.text for caution in result.cautions)],
        "piece": piece_of(shown),
    }


def rest_of(drape: Draped, words: list[str]) -> Data:
    """What the page tells of a piece at rest, without its poses.

    Args:
        drape: The piece in a scene.
        words: What is told of it.
    """

    def told(length: float | None) -> str | None:
        return None if length is None else format_mm(length, 1)

    return {
        "kind": drape.scene.kind.value,
        "reached": drape.reached,
        "why": drape.why,
        "words": words,
        "unbalanced": float(f"{drape.unbalanced:.3g}"),
        "smallest_gap": _gap(drape.check.smallest_gap),
        "links_unchanged": drape.check.links_as_designed,
        "length": told(drape.length),
        "drop": told(drape.drop),
        "sag": told(drape.sag),
        "span": told(drape.span),
        "circumference": told(drape.circumference),
        "thinned": format_mm(drape.hair, 4) if drape.hair else None,
        "steps": drape.steps,
    }


def nearest_changes(nearest: Nearest, asked: dict[str, RingSize]) -> list[Data]:
    """The changes of a design that give its rings sizes that fit.

    Args:
        nearest: The sizes.
        asked: The sizes that the design has by their names.
    """
    changes: list[Data] = []
    for size in nearest.sizes:
        now = asked.get(size.name)
        change: Data = {"do": "size", "name": size.name}
        if now is None or size.inside_diameter != now.inside_diameter:
            change["inside"] = format_mm(size.inside_diameter, 6)
        if now is None or size.wire_diameter != now.wire_diameter:
            change["wire"] = wire_text(size.wire_diameter)
        if len(change) > 2:
            changes.append(change)
    return changes


def inches(length: float) -> str:
    """A length [mm] in inches, to a thousandth of one."""
    return f"{length / MM_PER_INCH:z.3f} in"


def _asked(result: Result) -> dict[str, RingSize]:
    return {size.name: size for size in result.design.ring_sizes}


def _verdict(result: Result, quick: bool) -> Data:
    if quick:
        # What comes apart, or cannot be made, stands with a fit at all times.
        first, rest = headline(result), parting_lines(result)
    else:
        first, *rest = verdict_lines(result)
        rest += service_lines(result)
    lines = [*failed_lines(result), *rest]
    return {"word": result.fit.value, "fits": result.fits, "headline": first, "lines": lines}


def _gap(gap: float) -> Data:
    """A gap [mm]; none is told where no two wires are near each other."""
    if not np.isfinite(gap):
        return {"mm": None, "text": "", "inch": ""}
    into = "" if gap >= 0.0 else " into one another"
    return {"mm": round(gap, 6), "text": f"{format_mm(abs(gap))}{into}", "inch": inches(abs(gap))}


def _place(place: tuple[float, float, float], turn: Floats) -> list[float]:
    return [round(float(part), 4) for part in turn @ np.array(place)]


def _collided(result: Result) -> list[int]:
    """The bodies that are wrong somehow; of a pair those of the second piece too."""
    own: list[int] = result.collided.tolist()
    count = len(result.placement.graph)
    return [body + count * k for k in range(result.design.made) for body in own]


def _numbers(result: Result, shown: Shown) -> Data:
    design = result.design
    low, high = (result.placement.rings if design.pair else shown.bodies).bounds()
    length = result.finished_length
    return {
        "rings": sum(count.count for count in result.counts),
        "findings": sum(count.count for count in result.findings),
        "beads": sum(count.count for count in result.beads),
        "pieces": design.made,
        "weight": grams(result.weight),
        "weight_note": _weight_note(result),
        "length": None if length is None else format_mm(length, 1),
        "length_inch": None if length is None else f"{length / MM_PER_INCH:.2f} in",
        "length_asked": None if result.asked_length is None else format_mm(result.asked_length, 1),
        "length_as_placed": format_mm(result.length_as_placed, 1),
        "repeat": design.repeating.repeat,
        "size": " x ".join(format_mm(float(part), 1).removesuffix(" mm") for part in high - low) + " mm",
    }


def _weight_note(result: Result) -> str:
    """What the weight is without; empty when it is all of it."""
    notes = []
    if printed(result.design.service):
        notes.append("as wire: a print weighs what its own material does")
    if result.beads_not_weighed:
        notes.append("without beads whose density is not known")
    return "; ".join(notes)


def _counts(result: Result) -> list[Data]:
    several = len(result.metals.metals) > 1

    def of_ring(count: RingCount) -> str:
        inside, wire = format_mm(count.size.inside_diameter), describe_wire(count.size.wire_diameter)
        return f"{inside} inside in {wire}" + (f", {count.metal.name}" if several else "")

    rings = [
        {"what": of_ring(count), "count": count.count, "weight": grams(count.weight)}
        for count in result.counts
    ]
    findings = [
        {
            "what": f"{count.finding.kind} {count.finding.name!r}"
            + (f", {count.metal.name}" if several else ""),
            "count": count.count,
            "weight": grams(count.weight),
        }
        for count in result.findings
    ]
    beads = [
        {
            "what": f"bead, {count.bead.form}, {format_mm(count.bead.diameter)}",
            "count": count.count,
            "weight": "" if count.weight is None else grams(count.weight),
        }
        for count in result.beads
    ]
    return [*rings, *findings, *beads]
