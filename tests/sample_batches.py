"""What a service is sent, invented for tests: rings on a plate and a column with arms, of known measures."""

import dataclasses

import numpy as np

from chaingen.model.kinds import Kind, Material, Model
from chaingen.model.mesh import torus_mesh
from chaingen.model.solids import joined, mesh_of_solid, placed, solid_of
from chaingen.prepare.batch import Batch, Prepared
from chaingen.prepare.cast import sizes_of
from chaingen.prepare.checks import ServiceCheck, State
from chaingen.stock.metals import find_metal
from chaingen.stock.processes import PROCESSES

SILVER = find_metal("sterling silver")
MATERIAL = Material("sterling silver", (0.95, 0.94, 0.92), 0.2)

PIECE = """
title = "Mooring"
metal = "sterling silver"

[rings.link]
inside = "9 mm"
wire = "1.8 mm"

[rings.jump]
inside = "7.5 mm"
wire = "1.6 mm"
metal = "titanium"

[pattern]
form = "open run"
groups = [{ side_by_side = 1, ring = "link" }, { join = 1, ring = "jump" }]
repeat = 2

[service]
process = "loose rings for casting"
"""

WAX, LOOSE = "wax pattern for casting", "loose rings for casting"

RADIUS, WIRE_RADIUS, PITCH = 5.0, 1.0, 14.0
"""Of the rings on a plate and how far apart they stand [mm]."""


def plate(columns, rows, *, stretch=(1.0, 1.0, 1.0), tolerance=0.05):
    """Rings that lie on a plate, the box round them from 0 on."""
    outside = RADIUS + WIRE_RADIUS
    spots = [
        (outside + PITCH * column, outside + PITCH * row, WIRE_RADIUS)
        for column in range(columns)
        for row in range(rows)
    ]
    count = len(spots)
    kind = Kind("ring link, sterling silver", torus_mesh(RADIUS, WIRE_RADIUS, tolerance), 0, np.arange(count))
    turns = np.repeat(np.eye(3)[None], count, axis=0)
    names = tuple(f"ring {k}" for k in range(count))
    return Model((kind,), (MATERIAL,), turns, np.array(spots), names, stretch)


def column(height=60.0):
    """A ring upright on top of a column: one body, taller than wide."""
    import manifold3d

    ring = solid_of(torus_mesh(RADIUS, WIRE_RADIUS, 0.05))
    upright = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    foot = manifold3d.Manifold.cylinder(height, 2.0, 2.0, 48)
    solid = joined([foot, placed(ring, upright, np.array([0.0, 0.0, height + RADIUS - 0.5]))])
    kind = Kind("tree, sterling silver", mesh_of_solid(solid), 0, np.array([0]))
    return Model((kind,), (MATERIAL,), np.eye(3)[None], np.zeros((1, 3)), ("tree",))


def flat_batch(name="rings-1", metal=SILVER, rings=(("link", 5), ("jump", 1)), model=None):
    return Batch(name, plate(3, 2) if model is None else model, metal, 6, rings, 3.25 if metal else 0.0)


def tree_batch():
    return Batch("tree-1", column(), SILVER, 1, (("link", 1),), 2.0, 7.5)


CHECKS = (
    ServiceCheck(
        "thinnest wire", State.PASS, "1.6 mm (ring 1a); the process makes 0.8 mm at the thinnest", (0,)
    ),
    ServiceCheck("cut", State.WARN, "0.3 mm in the pattern: ends may fuse"),
    ServiceCheck("size", State.FAIL, "tree-1 takes 13.5 by 4 by 70 mm: 10 mm too long"),
)


def prepared_for(result, batches, by_hand=()):
    """A result as if it were prepared."""
    service = result.design.service
    sizes = tuple(sizes_of(count.size, count.metal, service) for count in result.counts)
    return Prepared(service, 0.01, sizes, tuple(batches), CHECKS, tuple(by_hand))


def under(result, **changes):
    """The same with another service."""
    process = changes.pop("process", None)
    service = result.design.service
    if process is not None:
        service = dataclasses.replace(service, process=PROCESSES[process])
    service = dataclasses.replace(service, **changes)
    return dataclasses.replace(result, design=dataclasses.replace(result.design, service=service))
