"""The verdict in words for a terminal: plain sentences with millimetres."""

import math
from collections.abc import Sequence
from itertools import groupby, pairwise

from chaingen.design.design import Design
from chaingen.findings.finding import Finding
from chaingen.make.counts import RingCount
from chaingen.make.result import Result
from chaingen.make.worn import lacks_round, round_inside, thickness_of
from chaingen.show.finding_words import parting_lines
from chaingen.show.making import NOT_THE_PRINT, finding_lines_of, in_one, printed
from chaingen.show.phrases import counted, grams, hundredths, times
from chaingen.solve.drape.drape import NotDraped
from chaingen.solve.place_weave import comes_round, rounds_near
from chaingen.solve.placement import Answer
from chaingen.solve.sizes import SizeEntry, Tightest
from chaingen.solve.supple import Bend
from chaingen.solve.verdict import LOOSE_FROM, TIGHT_BELOW, Fit, Nearest
from chaingen.stock.gauges import describe_wire, gauge_name
from chaingen.units import format_mm
from chaingen.weave.graph import LinkGraph
from chaingen.weave.pieces import Chain, Piece, Sections, Sheet, Strands, weaves_of

STRANDS = "the strands"
"""What strands between the ends of a piece are called."""

MOST_NAMED = 5
"""Collisions and faults that are named one by one."""


def called(graph: LinkGraph, bodies: Sequence[int]) -> str:
    """Rings and findings by what they are: ``rings 2a and 2b``, ``ring 2a and ear wire 1a``."""
    words = []
    for kind, own in groupby(bodies, key=lambda body: _kind(graph, body)):
        names = [graph.names[body] for body in own]
        several = "s" if len(names) > 1 else ""
        joined = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
        words.append(f"{kind}{several} {joined}")
    return " and ".join(words)


def _kind(graph: LinkGraph, body: int) -> str:
    size = graph.members[body].size
    return size.kind if isinstance(size, Finding) else "ring"


def headline(result: Result) -> str:
    """The verdict in one sentence."""
    placement = result.placement
    if placement.answer is Answer.FITS:
        if result.check.binding_pair is None:
            what = "parts" if result.findings else "rings"
            return f"It fits: no two {what} come near each other."
        gap = format_mm(result.check.smallest_gap)
        return f"It fits, {_manner(result.fit)}: {gap} between the closest wires."
    graph = placement.graph
    if placement.answer is Answer.CANNOT_FIT:
        proof = placement.proof
        assert proof is not None
        clearance = ", the clearance asked for counted" if placement.clearance else ""
        return (
            f"It cannot fit, and that is proven: {counted(proof.wires, 'wire')} must pass "
            f"{called(graph, [proof.ring])}, which takes a hole of {format_mm(proof.needed)}; there are "
            f"{format_mm(proof.hole)}{clearance}."
        )
    # The part that is shortest of room is the one that failed.
    failed = min(placement.searches, key=lambda search: (max(search.gaps), search.converged))
    count, agreed = len(failed.gaps), failed.agreed
    starts = "one start" if count == 1 else f"{count} starts"
    if placement.answer is Answer.NO_FIT_FOUND:
        if failed.sound == 0:
            none = "in one start the links did not" if count == 1 else f"in none of {starts} did the links"
            found = f"No fit was found: {none} come out as asked."
        elif failed.sound < count:
            found = (
                f"No fit was found in {starts} ({failed.sound} of them came to the links asked, "
                f"{agreed} of these agree on the best try)."
            )
        elif count == 1:
            found = "No fit was found in one start."
        else:
            found = f"No fit was found in {starts} ({agreed} of them agree on the best try)."
    else:
        found = f"The search did not come to an end in {starts}, so nothing is known for sure."
    return f"{found} {_missing(result)}"


def _manner(fit: Fit) -> str:
    return {Fit.TIGHT: "tightly", Fit.COMFORTABLE: "comfortably", Fit.LOOSE: "loosely"}.get(
        fit, str(fit.value)
    )


def _missing(result: Result) -> str:
    check = result.check
    if check.binding_pair is not None and check.collisions:
        pair = called(result.placement.graph, check.binding_pair)
        short = check.clearance - check.smallest_gap
        return f"In the best one, {pair} are {format_mm(short)} short of room."
    return "In the best one the links or shapes are not those designed."


def nearest_words(nearest: Nearest) -> str:
    """One line for sizes that do fit."""
    sizes = ", ".join(
        f"{s.name} {format_mm(s.inside_diameter)} of {describe_wire(s.wire_diameter)}" for s in nearest.sizes
    )
    what = "Nearest inside diameters that fit" if nearest.change == "inside" else "Nearest wires that fit"
    return f"{what}: {sizes} (gap {format_mm(nearest.gap)})."


def verdict_lines(result: Result) -> list[str]:
    """Everything a maker asks first, a sentence a line."""
    check, placement, design = result.check, result.placement, result.design
    graph = placement.graph
    # What comes apart is told first, so that a fit never stands alone.
    lines = [headline(result), *parting_lines(result)]
    if result.fits and check.binding_pair is not None:
        pair = called(graph, check.binding_pair)
        asked = f" beyond the {format_mm(design.clearance)} asked for" if design.clearance else ""
        lines.append(f"Closest are {pair}; to spare{asked}: {hundredths(result.slack)} of the wire.")
    for collision in check.collisions[:MOST_NAMED]:
        x, y, z = collision.place
        # Wires that are clear of one another, but by less than the clearance asked, do not collide.
        what = "too near" if collision.gap > 0.0 else "collision"
        lines.append(
            f"  {what}: {called(graph, collision.rings)}, gap {format_mm(collision.gap)}, "
            f"at ({x:.2f}, {y:.2f}, {z:.2f}) mm"
        )
    if len(check.collisions) > MOST_NAMED:
        more = counted(len(check.collisions) - MOST_NAMED, "more pair")
        lines.append(f"  and {more} too near, listed in report.json")
    for what, pairs in (
        ("not linked but should be", check.missing_links),
        ("linked but should not be", check.unwanted_links),
    ):
        for one in pairs[:MOST_NAMED]:
            lines.append(f"  {what}: {called(graph, one)}")
    for fault in check.faults[:MOST_NAMED]:
        lines.append(f"  {called(graph, fault.rings)}: {fault.reason}")
    if result.band is not None:
        corners = result.band.corners
        words = list(
            dict.fromkeys(corner.fit.value for corner in sorted(corners, key=lambda corner: corner.gap))
        )
        low, high = min(c.gap for c in corners), max(c.gap for c in corners)
        named = " to ".join((words[0], words[-1]) if len(words) > 1 else words)
        span = f"gap {format_mm(low)} to {format_mm(high)}, {named}"
        fits = [corner.fit is not Fit.DOES_NOT_FIT for corner in corners]
        holds = "it still fits" if all(fits) else "it fits only in part" if any(fits) else "it fits nowhere"
        lines.append(
            f"With inside diameter and wire off by up to {format_mm(result.band.tolerance)}, {holds}: {span}."
        )
    if result.threading is not None and result.fits and not in_one(design.service):
        thread = result.threading
        hole = called(graph, [thread.ring])
        if thread.margin >= 0.0:
            lines.append(
                f"The last wire threads with {format_mm(thread.margin)} to spare ({hole}, "
                f"{counted(thread.wires, 'wire')} through it)."
            )
        else:
            lines.append(
                f"But by a simple reckoning the last wire may not thread: {hole} lacks "
                f"{format_mm(-thread.margin)} for {counted(thread.wires, 'wire')} while one ring is open."
            )
    lines += [nearest_words(nearest) for nearest in result.nearest]
    sought = placement.answer in (Answer.CANNOT_FIT, Answer.NO_FIT_FOUND)
    if sought and not result.nearest and all(search.sound for search in placement.searches):
        lines.append("No sizes near these were found to fit.")
    lines += round_lines(result)
    lines += ring_lines(result)
    lines += finding_lines_of(result)
    lines += joint_lines(result)
    if any(weave.pose is None for weave in weaves_of(design.piece)):
        lines.append(
            "Its shape was found from the links of the weave file alone, and others may have the same links: "
            "see the pictures; rings named side_by_side, or a rough pose, decide."
        )
    if result.finished_length is None and result.asked_length is not None:
        why = "Rings that do not fit have no" if not result.fits else "So many unlike groups have no known"
        lines.append(
            f"{why} finished length; for the {format_mm(result.asked_length, 1)} asked, the "
            f"{_repeated(design.repeating)} were made {times(design.repeating.repeat)}."
        )
    if result.finished_length is not None:
        way = "Round the loop" if design.piece.closed else "Pulled straight"
        asked = f", for {format_mm(result.asked_length, 1)} asked" if result.asked_length is not None else ""
        inches = result.finished_length / 25.4
        made = f", with the {_repeated(design.repeating)} made {times(design.repeating.repeat)}"
        if isinstance(design.repeating, Sections):
            made = ""
        lines.append(
            f"{way} it measures {format_mm(result.finished_length, 1)} ({inches:.2f} in){_included(result)}"
            f"{asked}{made}. With "
            f"its gaps open, as in pictures and models, it is {format_mm(result.length_as_placed, 1)} long."
        )
        lines += worn_lines(result)
    elif isinstance(design.piece, Sheet):
        corner, far = placement.rings.bounds()
        wide, tall = (format_mm(float(extent), 1) for extent in (far - corner)[:2])
        lines.append(f"As placed it is {wide} wide and {tall} high.")
    elif result.fits and result.asked_length is None:
        lines.append("It has too many unlike groups to be pulled straight, so no finished length is known.")
    return lines


def worn_lines(result: Result) -> list[str]:
    """That a piece does not go round the wrist or neck that it is made for, and which length would."""
    lacks, inside, measure = lacks_round(result), round_inside(result), result.design.measure
    if lacks is None or inside is None or measure is None or result.finished_length is None:
        return []
    return [
        f"But worn closed it is only about {format_mm(inside, 1)} round inside, less than the "
        f"{format_mm(measure, 1)} it is made for, since it is {format_mm(thickness_of(result), 1)} thick: it "
        f"would have to be about {format_mm(result.finished_length + lacks, 1)} long, and longer for ease."
    ]


def _repeated(piece: Piece) -> str:
    """What of a piece is repeated."""
    return "cells" if isinstance(piece, Chain) else "groups"


def _included(result: Result) -> str:
    """What is at the ends and counts in the length."""
    ends = result.design.ends
    named = [row[k].size for row, k in ((ends.start, 0), (ends.end, -1)) if row]
    kinds = list(dict.fromkeys(one.kind for one in named if isinstance(one, Finding)))
    return f", {' and '.join(kinds)} included" if kinds else ""


def ring_lines(result: Result) -> list[str]:
    """How many rings of which size and metal, and what all of it weighs."""
    several = len(result.metals.metals) > 1
    pair, is_print = result.design.pair, printed(result.design.service)

    def named(count: RingCount) -> str:
        inside, wire = format_mm(count.size.inside_diameter), describe_wire(count.size.wire_diameter)
        metal = f", {count.metal.name}, {grams(count.weight)}" if several and not is_print else ""
        return f"{count.count:,} of {inside} inside in {wire}{metal}"

    rings = sum(count.count for count in result.counts)
    listed = ("; " if several else ", ").join(named(count) for count in result.counts)
    what = (
        ""
        if several and not is_print
        else f" in {' and '.join(metal.name for metal in result.metals.metals)}"
    )
    they = "Closed and solid they" if not result.findings else "Closed and solid, with the findings, they"
    weight = f"{they} {'would ' if is_print else ''}weigh {grams(result.weight)}{what}"
    if result.beads_not_weighed:
        count = result.beads_not_weighed
        beads = "the bead, whose" if count == 1 else f"{count:,} beads whose"
        weight += f", without {beads} density is not known"
    if result.areal_weight is not None:
        weight += f", and away from its edges the sheet as placed {result.areal_weight:.3g} g/cm²"
    if is_print:
        weight += f"; {NOT_THE_PRINT}"
    lines = [f"{counted(rings, 'ring')}: {listed}."] if rings else []
    if pair:
        lines.insert(0, "Pieces: 2, mirrored; numbers of parts and weights are of both, lengths of one.")
    return [*lines, f"{weight}."]


def round_lines(result: Result) -> list[str]:
    """For a closed chain that does not fit: numbers of cells with which it comes round without a twist."""
    piece = result.design.piece
    if not isinstance(piece, Chain) or not piece.closed:
        return []
    cell = result.placement.cell
    longer = piece.repeated(piece.repeat + 1)
    if result.fits and result.asked_length is not None and not comes_round(longer, cell):
        return ["Its cells turn as they go and come round to a loop only with some numbers of them."]
    if result.fits or comes_round(piece, cell):
        return []
    near = sorted(rounds_near(piece, cell=cell)[:2])
    if not near:
        return []
    return [
        f"Its cells turn as they go, and {piece.repeat} of them do not come round to where they began: a "
        f"loop of {' or '.join(map(str, near))} cells does."
    ]


def joint_lines(result: Result) -> list[str]:
    """Where sections follow one another: what links what."""
    graph = result.placement.graph

    def listed(rings: tuple[int, ...]) -> str:
        named = [graph.names[ring] for ring in rings]
        if any(_kind(graph, ring) != "ring" for ring in rings):
            return called(graph, rings)
        return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"

    linked = set(map(tuple, graph.links.tolist()))
    lines = []
    names = pairwise(_section_names(result.design))
    for (one, other), (ends, begins) in zip(names, result.placement.joints, strict=True):
        verb = "link" if one == STRANDS else "links"
        if all((a, b) in linked for a in ends for b in begins):
            what = f"{'each link' if len(ends) > 1 else 'links'} {listed(begins)}"
        else:
            # Strands, or eyes of an end bar: one for one.
            what = f"{'link' if len(ends) > 1 else 'links'} {listed(begins)}, one each"
        lines.append(f"{one[0].upper()}{one[1:]} {verb} {other}: {listed(ends)} {what}.")
    return lines


def _section_names(design: Design) -> list[str]:
    """What the sections of a piece are called; none of other pieces."""
    if not isinstance(design.piece, Sections):
        return []
    start = ["the start"] if design.ends.start else []
    end = ["the end"] if design.ends.end else []
    own = len(design.piece.parts) - len(start) - len(end)
    middle = [f"section {k + 1}" for k in range(own)]
    if design.middle is not None:
        several = isinstance(design.piece.parts[design.middle], Strands)
        middle = [STRANDS if several else "the weave"]
    return start + middle + end


def rest_lines(result: Result) -> list[str]:
    """How the piece lies in each scene, and how supple it is."""
    lines = []
    if result.stretch is not None and (result.drapes or result.supple):
        lines.append(f"From slack to taut it stretches by {100.0 * result.stretch:.1f} %.")
    for drape in result.drapes:
        kind = drape.scene.kind.value
        if isinstance(drape, NotDraped):
            lines.append(f"{kind}: not draped, for {drape.why}.")
            continue
        found = [] if drape.length is None else [f"{format_mm(drape.length, 1)} long"]
        if drape.circumference is not None:
            found.append(f"round {format_mm(drape.circumference, 1)}")
        if drape.span is not None:
            found.append(f"pegs {format_mm(drape.span, 1)} apart")
        if drape.sag is not None:
            found.append(f"sag {format_mm(drape.sag, 1)}")
        if drape.drop is not None:
            found.append(f"drop {format_mm(drape.drop, 1)}")
        state = "at rest" if drape.reached else f"NOT at rest, {drape.why}"
        unchanged = "links unchanged" if drape.check.links_as_designed else "LINKS CHANGED"
        thinner = (
            f"; wire taken {format_mm(drape.hair, 4)} thinner, for there is no slack" if drape.hair else ""
        )
        measures = f": {', '.join(found)}" if found else ""
        lines.append(f"{kind}: {state}{measures}; {unchanged}{thinner}.")
    if result.supple is not None:
        lines += [_bend_line(bend) for bend in result.supple.bends]
        one, other = (math.degrees(twist) for twist in result.supple.twist)
        ways = (
            f"{one:.0f}° either way"
            if round(one) == round(other)
            else f"{one:.0f}° one way, {other:.0f}° the other"
        )
        lines.append(f"Pulled taut, each group twists freely against the next by {ways}.")
    return lines


def _bend_line(bend: Bend) -> str:
    if not math.isfinite(bend.radius):
        return f"Bent {bend.plane}: it was not found to bend at all."
    limit = "wires bind there" if bend.binds else "the tightest tried, wires do not bind"
    return (
        f"Bent {bend.plane}: down to a radius of {format_mm(bend.radius, 1)} to its middle, "
        f"{bend.groups:.1f} groups to the round; {limit}."
    )


def tightest_lines(tight: Tightest) -> list[str]:
    """The tightest a pattern was found to be made."""
    if not tight.thickening:
        return ["The pattern was not found to close at all, however thin the wire."]
    ratios = ", ".join(f"{name} {ratio:.2f}" for name, ratio in tight.aspect_ratios)
    agreed = "in one start" if tight.starts == 1 else f"{tight.agreed} of {tight.starts} starts agree"
    return [f"Tightest aspect ratio found (inside diameter over wire): {ratios} ({agreed})."]


def borders_line() -> str:
    """How tight, comfortable and loose are told apart."""
    return (
        f"Gap to spare under {TIGHT_BELOW:g} of the wire is called tight, from {LOOSE_FROM:g} on loose; "
        "both follow the aspect "
        "ratios that makers call comfortable for eleven weaves (common practice)."
    )


def _field(entry: SizeEntry) -> str:
    """Gap and word of one field; gaps about nothing get a digit more, so that their sign can be seen."""
    digits = 2 if abs(entry.gap) >= 0.005 else 3
    return f"{entry.gap:+.{digits}f} {entry.fit.value}"


def table_rows(table: Sequence[Sequence[SizeEntry]]) -> tuple[list[str], list[list[str]]]:
    """Head and rows of a size table as text."""
    head = ["inside"]
    for entry in table[0]:
        name = gauge_name(entry.wire_diameter)
        head.append(f"{format_mm(entry.wire_diameter)}\n{name}" if name else format_mm(entry.wire_diameter))
    rows = [[format_mm(row[0].inside_diameter), *(_field(entry) for entry in row)] for row in table]
    return head, rows
