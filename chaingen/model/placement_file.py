"""placement.json: where every ring is, for other programs."""

import json
from pathlib import Path
from typing import Any

from chaingen.files import write_text
from chaingen.geometry.bodies import Bodies
from chaingen.weave.graph import LinkGraph

VERSION = 1
"""Raised when a key changes its meaning or goes away."""

DIGITS = 9
"""Decimals of numbers: a picometre, so that a reopened placement passes the same check."""


def placement_data(graph: LinkGraph, rings: Bodies) -> dict[str, Any]:
    """The content of placement.json; lengths in mm, normals of unit length."""
    bodies = [
        {
            "name": member.name,
            "role": member.role,
            "kind": "ring",
            "centre": centre,
            "normal": normal,
            "inside_diameter": inside,
            "wire_diameter": wire,
        }
        for member, centre, normal, inside, wire in zip(
            graph.members,
            rings.centres.round(DIGITS).tolist(),
            rings.normals.round(12).tolist(),
            rings.inside_diameters.round(DIGITS).tolist(),
            rings.wire_diameters.round(DIGITS).tolist(),
            strict=True,
        )
    ]
    return {
        "format": "chaingen placement",
        "version": VERSION,
        "unit": "mm",
        "bodies": bodies,
        "links": graph.links.tolist(),
    }


def write_placement(path: Path, graph: LinkGraph, rings: Bodies) -> None:
    """Write placement.json, one body a line.

    Raises:
        CannotWrite: The file cannot be written.
    """
    data = placement_data(graph, rings)
    bodies = ",\n".join(f"  {json.dumps(body)}" for body in data["bodies"])
    head = ", ".join(f"{json.dumps(key)}: {json.dumps(data[key])}" for key in ("format", "version", "unit"))
    links = json.dumps(data["links"], separators=(",", ":"))
    write_text(path, f'{{{head}, "bodies": [\n{bodies}\n],\n"links": {links}}}\n')
