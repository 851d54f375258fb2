"""report.json: the verdict and its evidence for other programs."""

import json
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.design.cautions import Caution
from chaingen.files import write_text
from chaingen.make.finding_counts import BeadCount, FindingCount
from chaingen.make.result import Result
from chaingen.prepare.batch import Prepared
from chaingen.show.plan_report import plan_data
from chaingen.show.rounding import g, mm, size_data
from chaingen.show.service_report import service_data
from chaingen.solve.drape.drape import Draped, NotDraped
from chaingen.solve.supple import Supple
from chaingen.stock.metals import Metal
from chaingen.weave.pieces import Piece, Sheet, weaves_of

VERSION = 1
"""Raised when a key changes its meaning or goes away."""

MOST_COLLISIONS = 1000
"""Collisions that are listed; their number is always given."""


def _metal(metal: Metal, result: Result) -> dict[str, Any]:
    own = [c for c in result.counts if c.metal == metal]
    findings = [c for c in result.findings if c.metal == metal]
    return {
        "name": metal.name,
        "density_g_per_cm3": metal.density,
        "count": sum(c.count for c in own),
        "findings": sum(c.count for c in findings),
        "weight_g": g(sum(c.weight for c in own) + sum(c.weight for c in findings)),
    }


def _finding(entry: FindingCount) -> dict[str, Any]:
    """Findings of one name and metal: how many, their wire, their eyes."""
    finding = entry.finding
    return {
        "name": finding.name,
        "kind": finding.kind,
        "metal": entry.metal.name,
        "count": entry.count,
        "weight_g": g(entry.weight),
        "cut_each": [
            {"part": cut.what, "wire_diameter_mm": mm(cut.wire), "length_mm": mm(cut.length)}
            for cut in finding.cutting_list
        ],
        "beads_each": len(finding.beads),
        "eyes": [
            {
                "name": eye.name,
                "inside_mm": mm(eye.inside),
                "closure": eye.closure.value,
                "opening_mm": mm(eye.opening),
                "opens_to_mm": mm(eye.gate),
            }
            for eye in finding.shape.eyes
        ],
    }


def _bead(entry: BeadCount) -> dict[str, Any]:
    """Beads of one form, size and colour."""
    bead = entry.bead
    return {
        "form": bead.form,
        "diameter_mm": mm(bead.diameter),
        "thickness_mm": mm(bead.thickness),
        "hole_mm": mm(bead.hole),
        "colour": "#" + "".join(f"{round(255 * part):02x}" for part in bead.colour),
        "density_g_per_cm3": bead.density,
        "count": entry.count,
        "weight_g": g(entry.weight),
    }


def _caution(caution: Caution) -> dict[str, Any]:
    return {
        "kind": caution.kind,
        "finding": caution.finding,
        "eye": caution.eye,
        "opening_mm": mm(caution.opening),
        "wire_diameter_mm": mm(caution.wire),
        "text": caution.text,
    }


def _form(piece: Piece) -> str:
    if isinstance(piece, Sheet):
        return "sheet"
    return "closed loop" if piece.closed else "open run"


def _supple(found: Supple) -> dict[str, Any]:
    return {
        "bends": [
            {
                "plane": bend.plane,
                "smallest_radius_mm": mm(bend.radius),
                "groups_round": mm(bend.groups),
                "binds": bend.binds,
            }
            for bend in found.bends
        ],
        "twist_per_group_degrees": [round(math.degrees(twist), 2) for twist in found.twist],
    }


def _scene(drape: Draped | NotDraped) -> dict[str, Any]:
    """One scene: what was asked, and what came of it."""
    scene = drape.scene
    asked = {
        "kind": scene.kind.value,
        "friction": scene.friction,
        "disorder": scene.disorder,
        "seed": scene.seed,
    }
    if isinstance(drape, NotDraped):
        return {**asked, "draped": False, "at_rest": False, "why_not": drape.why}
    check = drape.check
    return {
        **asked,
        "draped": True,
        "at_rest": drape.reached,
        "why_not": drape.why,
        "unbalanced_ring_weights": float(f"{drape.unbalanced:.3g}"),
        "smallest_gap_mm": mm(check.smallest_gap),
        "collision_count": len(check.collisions),
        "links_unchanged": check.links_as_designed,
        "drop_mm": mm(drape.drop),
        "sag_mm": mm(drape.sag),
        "span_mm": mm(drape.span),
        "circumference_mm": mm(drape.circumference),
        "length_at_rest_mm": mm(drape.length),
        "support_over_weight": round(drape.support, 5),
        "wire_thinned_by_mm": mm(drape.hair),
        "steps": drape.steps,
    }


def report_of(
    result: Result,
    files: Sequence[str] = (),
    not_drawn: str = "",
    prepared: Prepared | None = None,
    models: Sequence[dict[str, Any]] = (),
) -> dict[str, Any]:
    """The content of report.json.

    Args:
        result: A built piece.
        files: Paths of the files written, relative to the output folder.
        not_drawn: Why there are no pictures, if there are none.
        prepared: The piece as prepared for its service; None where nothing is written.
        models: The figures of its models, see `models_data`.
    """
    placement, check, design = result.placement, result.check, result.design
    names = placement.graph.names

    def pair(rings: Sequence[int]) -> list[str]:
        return [names[ring] for ring in rings]

    proof, band, threading = placement.proof, result.band, result.threading
    return {
        "format": "chaingen report",
        "version": VERSION,
        "title": design.title,
        "metal": design.metal.name,
        "verdict": result.fit.value,
        "answer": placement.answer.value,
        "fits": result.fits,
        "clearance_asked_mm": mm(design.clearance),
        "smallest_gap_mm": mm(check.smallest_gap),
        "slack_in_wires": mm(result.slack),
        "binding_pair": None if check.binding_pair is None else pair(check.binding_pair),
        "binding_place_mm": None if check.binding_place is None else [mm(x) for x in check.binding_place],
        "links_as_designed": check.links_as_designed,
        "missing_links": [pair(p) for p in check.missing_links],
        "unwanted_links": [pair(p) for p in check.unwanted_links],
        "shape_faults": [{"rings": pair(fault.rings), "reason": fault.reason} for fault in check.faults],
        "collision_count": len(check.collisions),
        "collisions": [
            {"rings": pair(c.rings), "gap_mm": mm(c.gap), "place_mm": [mm(x) for x in c.place]}
            for c in check.collisions[:MOST_COLLISIONS]
        ],
        "proof": None
        if proof is None
        else {
            "ring": names[proof.ring],
            "wires_through": proof.wires,
            "hole_mm": mm(proof.hole),
            "needed_mm": mm(proof.needed),
        },
        "tolerance": None
        if band is None
        else {
            "tolerance_mm": mm(band.tolerance),
            "holds": band.holds,
            "corners": [
                {
                    "inside_off_mm": c.inside_off,
                    "wire_off_mm": c.wire_off,
                    "smallest_gap_mm": mm(c.gap),
                    "verdict": c.fit.value,
                }
                for c in band.corners
            ],
        },
        "threading": None
        if threading is None
        else {
            "ring": names[threading.ring],
            "wires_through": threading.wires,
            "margin_mm": mm(threading.margin),
            "threads": threading.margin >= 0.0,
        },
        "nearest_that_fit": [
            {"change": n.change, "sizes": [size_data(size) for size in n.sizes], "smallest_gap_mm": mm(n.gap)}
            for n in result.nearest
        ],
        "search": [
            {
                "what": s.what,
                "gaps_mm": [mm(gap) for gap in s.gaps],
                "sound_starts": s.sound,
                "agreed": s.agreed,
                "converged": s.converged,
                "holding": [{"rings": [a, b], "share": round(share, 4)} for a, b, share in s.holding],
            }
            for s in placement.searches
        ],
        "pieces": design.made,
        "mirrored": design.pair,
        "ring_count": sum(c.count for c in result.counts),
        "rings_by_size": [
            {**size_data(c.size), "metal": c.metal.name, "count": c.count, "weight_g": g(c.weight)}
            for c in result.counts
        ],
        "finding_count": sum(c.count for c in result.findings),
        "findings": [_finding(entry) for entry in result.findings],
        "beads": [_bead(entry) for entry in result.beads],
        "beads_not_weighed": result.beads_not_weighed,
        "cautions": [_caution(caution) for caution in result.cautions],
        "metals": [_metal(metal, result) for metal in result.metals.metals],
        "weight_g": g(result.weight),
        "areal_weight_g_per_cm2": g(result.areal_weight),
        "repeat": design.repeating.repeat,
        "form": _form(design.piece),
        "weaves": [weave.name for weave in weaves_of(design.piece)],
        "joints": [{"rings": pair(ends), "link": pair(begins)} for ends, begins in placement.joints],
        "length_asked_mm": mm(result.asked_length),
        "finished_length_mm": mm(result.finished_length),
        "length_as_placed_mm": mm(result.length_as_placed),
        "size_as_placed_mm": [mm(float(extent)) for extent in np.subtract(*placement.rings.bounds()[::-1])],
        "stretch_percent": None if result.stretch is None else round(100.0 * result.stretch, 3),
        "supple": None if result.supple is None else _supple(result.supple),
        "scenes": [_scene(drape) for drape in result.drapes],
        "service": service_data(result, prepared, files),
        "models": list(models),
        "plan": None if result.plan is None else plan_data(result.plan, result),
        "files": list(files),
        "pictures_not_drawn": not_drawn,
    }


def write_report(path: Path, report: dict[str, Any]) -> None:
    """Write report.json.

    Raises:
        CannotWrite: The file cannot be written.
    """
    write_text(path, json.dumps(report, indent=2, ensure_ascii=False) + "\n")
