"""Loose rings: what a piece takes of them, cast or printed one by one, to be linked and closed by hand."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product

from chaingen.design.service import Axes, Service
from chaingen.make.result import Result
from chaingen.make.wire_plan import part_of
from chaingen.model.open_ring import can_open
from chaingen.prepare.cast import cast_size
from chaingen.prepare.sent import FULL
from chaingen.stock.metals import Metal
from chaingen.units import format_mm
from chaingen.weave.groups import RingSize


class CannotPrepare(Exception):
    """Something cannot be prepared for the service; the message says what and why."""


@dataclass(frozen=True, slots=True)
class LooseRings:
    """Rings of one size and metal.

    Attributes:
        size: The ring size, as finished and closed.
        metal: The metal.
        count: How many are made, spare ones with them.
    """

    size: RingSize
    metal: Metal
    count: int


def loose_rings(result: Result) -> tuple[LooseRings, ...]:
    """The rings that a piece takes, both pieces of a pair, and spare ones of each size and metal.

    Args:
        result: A piece whose design names a service.

    Raises:
        CannotPrepare: It has no rings, only findings, which this process does not make.
    """
    service = result.design.service
    assert service is not None, "loose rings are made by a service"
    if not result.counts:
        raise CannotPrepare("the piece has no rings, only findings, which this process does not make")
    return tuple(
        LooseRings(each.size, each.metal, each.count + part_of(each.count, service.spare))
        for each in result.counts
    )


def by_metal(rings: Iterable[LooseRings]) -> dict[Metal, list[LooseRings]]:
    """Rings of each metal, in order of first use: castings of different metals shrink differently."""
    found: dict[Metal, list[LooseRings]] = {}
    for each in rings:
        found.setdefault(each.metal, []).append(each)
    return found


def rooms(service: Service, metal: Metal) -> list[Axes]:
    """Rooms that layouts keep to, measured as the casting [mm]: the build but for its edges first.

    Those that follow have sides of the build whole, as few as can be: for what goes into no other.
    """
    whole = service.room(metal)
    parts = sorted(product((FULL, 1.0), repeat=3), key=sum)
    return [(x * whole[0], y * whole[1], z * whole[2]) for x, y, z in parts]


def opened_size(size: RingSize, service: Service) -> RingSize:
    """A ring size as it is cast, which the service's cut and opening suit.

    Raises:
        CannotPrepare: Its ends would run into one another, or it would be no ring any more.
    """
    cast = cast_size(size, service.finishing)
    if cast.inside_diameter <= 0.0:
        raise CannotPrepare(
            f"ring {size.name} has no hole as it is cast, with {format_mm(service.finishing)} more wire for "
            "finishing"
        )
    if not can_open(cast, service.cut, service.opened):
        raise CannotPrepare(
            f"ring {size.name} cannot be cut by {format_mm(service.cut)} and opened by "
            f"{format_mm(service.opened)}: its ends run into one another, or it is no ring any more"
        )
    return cast
