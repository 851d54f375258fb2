"""What tests of trees and combs share: services, and proofs by solids without the layout's own distances."""

import itertools
from math import pi

import numpy as np
import pytest
import trimesh

from chaingen.design.service import Layout, Service
from chaingen.model.solids import joined, placed, shell_count
from chaingen.model.stl import write_stl
from chaingen.prepare.cast import cast_size
from chaingen.prepare.loose import LooseRings
from chaingen.stock.metals import METALS
from chaingen.stock.processes import PROCESSES
from tests.conftest import size

LOOSE = PROCESSES["loose rings for casting"]
SILVER, BRASS, COPPER = (
    next(metal for metal in METALS if metal.name == name) for name in ("sterling silver", "brass", "copper")
)


def service(**more):
    return Service(LOOSE, 0.8, 0.0, 0.0, **{"build": LOOSE.build, "layout": Layout.TREE, **more})


def rings(*rows, metal=SILVER):
    """Loose rings from rows of name, inside, wire and count."""
    return [LooseRings(size(inside, wire, name), metal, count) for name, inside, wire, count in rows]


def shells(layout, tolerance):
    """Solids of every ring and of every feeder, each where it is."""
    found = []
    for make in ("ring", "feeder"):
        own = [getattr(kind, make)(tolerance) for kind in layout.kinds]
        found.append(
            [
                placed(own[kind], turn, centre)
                for kind, turn, centre in zip(
                    layout.kind_of.tolist(), layout.rotations, layout.centres, strict=True
                )
            ]
        )
    return found


def assert_fed(layout, tolerance=0.02):
    """Every ring hangs on one feeder, its own, and every feeder on what leads to the button."""
    own, feeders = shells(layout, tolerance)
    sprues = layout.sprues(tolerance)
    count = len(own)
    assert shell_count(sprues) == 1
    assert shell_count(joined([sprues, *own])) == count + 1
    # Within the main feeders run into one another.
    assert shell_count(joined([*own, *(feeder - sprues for feeder in feeders)])) == count
    assert shell_count(joined([sprues, *feeders])) == 1
    for i, ring in enumerate(own):
        assert [j for j, feeder in enumerate(feeders) if (ring ^ feeder).volume() > 0.0] == [i]
        assert (ring ^ sprues).volume() == 0.0
        assert (feeders[i] ^ sprues).volume() > 0.0


def assert_apart(layout, spacing, tolerance=0.02):
    """Rings keep their spacing from each other, others' feeders and the sprues; what is over [mm]."""
    own, feeders = shells(layout, tolerance)
    sprues = layout.sprues(tolerance)
    reach = spacing + 1.0
    gaps = [one.min_gap(two, reach) for one, two in itertools.combinations(own, 2)]
    gaps += [
        ring.min_gap(feeder, reach)
        for i, ring in enumerate(own)
        for j, feeder in enumerate(feeders)
        if i != j
    ]
    gaps += [ring.min_gap(sprues, reach) for ring in own]
    # Chords lie inside true surfaces, of fillets outside.
    assert min(gaps) >= spacing - tolerance
    for one, two in itertools.combinations(feeders, 2):
        assert ((one - sprues) ^ (two - sprues)).volume() == 0.0
    return min(gaps) - spacing


def reopened(batch, folder):
    path = folder / f"{batch.name}.stl"
    write_stl(path, batch.model)
    return trimesh.load_mesh(path)


def assert_whole(batch, folder, *, holes):
    """Reopened it is one watertight body, with so many handles, in the room as pattern."""
    mesh = reopened(batch, folder)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 1
    assert mesh.euler_number == 2 * (1 - holes)
    assert mesh.volume > 0.0
    return mesh


def assert_weighs(batch, given, service, mesh):
    """Weights by the volume reopened, less the stretch, and by the wire of the rings (torus, closed form)."""
    density = batch.metal.density * 1e-3
    volume = mesh.volume / np.prod(service.stretch(batch.metal))
    assert batch.weight == pytest.approx(density * volume, rel=0.02)
    by_name = {each.size.name: cast_size(each.size, service.finishing) for each in given}
    wire = sum(
        count * 2.0 * pi**2 * by_name[name].radius * by_name[name].wire_radius ** 2
        for name, count in batch.rings
    )
    assert batch.pieces_weight == pytest.approx(density * wire, rel=1e-12)
    assert batch.sprues_weight > 0.0
