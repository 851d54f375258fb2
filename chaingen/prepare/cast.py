"""Sizes from finished to pattern, and bodies as they are cast.

A casting's wire is thicker than the finished one by what finishing takes off, about the same centreline; a
pattern is a casting stretched along each axis. Bodies are prepared as cast; the stretch comes last.
"""

from dataclasses import dataclass, replace

import numpy as np

from chaingen.design.service import Axes, Service
from chaingen.geometry.bodies import Bodies
from chaingen.geometry.shapes import Shape
from chaingen.make.result import Result
from chaingen.stock.metals import Metal
from chaingen.weave.groups import RingSize


@dataclass(frozen=True, slots=True)
class Sizes:
    """A ring size on its way from the maker's wish to the pattern.

    Attributes:
        size: As finished.
        metal: Its metal.
        cast: As it is cast, before finishing.
        inside: Inside diameter of the pattern along x, y and z, were the ring to lie across that axis [mm].
        wire: Thickness of the pattern's wire along x, y and z [mm].
    """

    size: RingSize
    metal: Metal
    cast: RingSize
    inside: Axes
    wire: Axes


def sizes_of(size: RingSize, metal: Metal, service: Service) -> Sizes:
    """A ring size as cast and as pattern."""
    cast = cast_size(size, service.finishing)
    x, y, z = service.stretch(metal)
    return Sizes(
        size,
        metal,
        cast,
        (x * cast.inside_diameter, y * cast.inside_diameter, z * cast.inside_diameter),
        (x * cast.wire_diameter, y * cast.wire_diameter, z * cast.wire_diameter),
    )


def ring_sizes(result: Result, service: Service) -> tuple[Sizes, ...]:
    """Each ring size and metal of a piece, finished, as cast and as pattern."""
    return tuple(sizes_of(count.size, count.metal, service) for count in result.counts)


def cast_size(size: RingSize, finishing: float) -> RingSize:
    """A ring size before `finishing` [mm] is taken off the thickness of its wire."""
    return replace(
        size,
        inside_diameter=size.inside_diameter - finishing,
        wire_diameter=size.wire_diameter + finishing,
    )


def cast_bodies(bodies: Bodies, finishing: float) -> Bodies:
    """Bodies as they are cast, without beads.

    Args:
        bodies: The bodies as finished.
        finishing: What finishing takes off the thickness of a wire [mm].
    """
    shapes = tuple(_bare(shape).thickened(0.5 * finishing) for shape in bodies.shapes)
    wires = bodies.wire_radii + 0.5 * finishing
    radii = bodies.radii
    if bodies.shape_of is not None:
        own = np.flatnonzero(bodies.shape_of >= 0)
        radii = radii.copy()
        for body in own.tolist():
            shape = shapes[int(bodies.shape_of[body])]
            radii[body], wires[body] = shape.radius, shape.wire_radius
    return replace(bodies, radii=radii, wire_radii=wires, shapes=shapes)


def _bare(shape: Shape) -> Shape:
    """A shape without its beads, which no service makes."""
    return replace(shape, strands=tuple(strand for strand in shape.strands if strand.part == "wire"))
