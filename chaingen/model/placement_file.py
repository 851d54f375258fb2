"""placement.json: where every body is and what it is made of, for other programs."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.files import write_text
from chaingen.findings.finding import Bead, Finding
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.centrelines import Curve, Straight
from chaingen.geometry.shapes import Eye
from chaingen.geometry.types import Floats
from chaingen.weave.graph import LinkGraph, Member

VERSION = 2
"""Raised when a key changes its meaning or goes away."""

DIGITS = 9
"""Decimals of numbers: a picometre, so that a reopened placement passes the same check."""

UNIT_DIGITS = 12
"""Decimals of unit vectors and angles, which act at a distance."""


def placement_data(graph: LinkGraph, bodies: Bodies) -> dict[str, Any]:
    """The content of placement.json; lengths in mm, angles in radians, normals and axes of unit length."""
    findings = tuple(dict.fromkeys(m.size for m in graph.members if isinstance(m.size, Finding)))
    places = {finding: k for k, finding in enumerate(findings)}
    poses = zip(
        graph.members,
        bodies.centres.round(DIGITS).tolist(),
        bodies.normals.round(UNIT_DIGITS).tolist(),
        bodies.inside_diameters.round(DIGITS).tolist(),
        bodies.wire_diameters.round(DIGITS).tolist(),
        strict=True,
    )
    axes = bodies.first_axes().round(UNIT_DIGITS).tolist() if findings else []
    rows = []
    for k, (member, centre, normal, inside, wire) in enumerate(poses):
        if isinstance(member.size, Finding):
            rest = {"axis": axes[k], "shape": places[member.size]}
        else:
            rest = {"inside_diameter": inside, "wire_diameter": wire}
        rows.append(
            {
                "name": member.name,
                "role": member.role,
                "kind": _kind(member),
                "centre": centre,
                "normal": normal,
                **rest,
            }
        )
    return {
        "format": "chaingen placement",
        "version": VERSION,
        "unit": "mm",
        "shapes": [_shape(finding) for finding in findings],
        "bodies": rows,
        "links": graph.links.tolist(),
        "eyes": graph.link_eyes.tolist(),
    }


def write_placement(path: Path, graph: LinkGraph, bodies: Bodies) -> None:
    """Write placement.json, one body and one shape a line.

    Raises:
        CannotWrite: The file cannot be written.
    """
    data = placement_data(graph, bodies)
    head = ", ".join(f"{json.dumps(key)}: {json.dumps(data[key])}" for key in ("format", "version", "unit"))
    lists = ",\n".join(f'"{key}": {_lines(data[key])}' for key in ("shapes", "bodies"))
    links, eyes = (json.dumps(data[key], separators=(",", ":")) for key in ("links", "eyes"))
    write_text(path, f'{{{head},\n{lists},\n"links": {links},\n"eyes": {eyes}}}\n')


def _lines(rows: list[dict[str, Any]]) -> str:
    return "[\n" + ",\n".join(f"  {json.dumps(row)}" for row in rows) + "\n]" if rows else "[]"


def _kind(member: Member) -> str:
    return member.size.kind if isinstance(member.size, Finding) else "ring"


def _shape(finding: Finding) -> dict[str, Any]:
    """A finding in its own frame: x along its axis, z along its normal."""
    return {
        "name": finding.name,
        "kind": finding.kind,
        "strands": [
            {
                "part": strand.part,
                "wire_diameter": _length(2.0 * strand.wire_radius),
                "curves": [_curve(curve) for curve in strand.curves],
            }
            for strand in finding.shape.strands
        ],
        "eyes": [_eye(eye) for eye in finding.shape.eyes],
        "beads": [_bead(bead) for bead in finding.beads],
    }


def _curve(curve: Curve) -> dict[str, Any]:
    if isinstance(curve, Straight):
        return {
            "curve": "straight",
            "begin": _vector(curve.begin, DIGITS),
            "direction": _vector(curve.direction, UNIT_DIGITS),
            "length": _length(curve.length),
        }
    return {
        "curve": "arc",
        "centre": _vector(curve.centre, DIGITS),
        "start": _vector(curve.start, UNIT_DIGITS),
        "ahead": _vector(curve.ahead, UNIT_DIGITS),
        "radius": _length(curve.radius),
        "angle": round(float(curve.angle), UNIT_DIGITS),
    }


def _eye(eye: Eye) -> dict[str, Any]:
    return {
        "name": eye.name,
        "loop": [_curve(curve) for curve in eye.loop],
        "closing": list(eye.closing),
        "wire_diameter": _length(2.0 * eye.wire_radius),
        "inside_diameter": _length(eye.inside),
        "closure": eye.closure.value,
        "opening": _length(eye.opening),
        "gate": None if eye.gate is None else _length(eye.gate),
    }


def _bead(bead: Bead) -> dict[str, Any]:
    return {
        "part": bead.part,
        "form": bead.form,
        "diameter": _length(bead.diameter),
        "thickness": _length(bead.thickness),
        "hole": _length(bead.hole),
        "colour": [round(float(c), 4) for c in bead.colour],
        "density": bead.density,
    }


def _length(value: float) -> float:
    return round(float(value), DIGITS)


def _vector(v: Floats | tuple[float, float, float], digits: int) -> list[float]:
    # Zero, not minus zero: it reads better.
    return [float(c) for c in np.round(v, digits) + 0.0]
