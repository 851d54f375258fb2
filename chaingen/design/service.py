"""The service that makes a piece from its model: its process with its limits, and how the model is prepared.

Three sizes of a thing, all in millimetres: *finished* is what the maker wants; *cast* is what comes from the
mould or the printer, thicker by what finishing takes off; the *pattern* is what is sent, larger by what
shrinks.
"""

from dataclasses import dataclass, field, replace
from enum import StrEnum

from chaingen.stock.metals import Metal
from chaingen.stock.processes import Process
from chaingen.stock.shrinkage import MOULD, casting_shrinkage

Axes = tuple[float, float, float]
"""A value for each of x, y and z."""

NONE: Axes = (0.0, 0.0, 0.0)
"""No shrinkage."""


class Route(StrEnum):
    """How a pattern becomes metal."""

    DIRECT = "direct"
    """The pattern itself is burnt out."""
    RUBBER_MOULD = "rubber mould"
    """The pattern is moulded in rubber, and waxes from the mould are burnt out."""


class Layout(StrEnum):
    """How loose rings are laid out."""

    FLAT = "flat sheet"
    """Side by side on a plate, each by itself."""
    COMB = "flat sheet with sprues"
    """Side by side along runners, which end in a button."""
    TREE = "tree"
    """Round a main sprue, which stands on a button."""


@dataclass(frozen=True, slots=True)
class Sprues:
    """The channels through which metal flows to the pieces; usual values are from memory.

    Attributes:
        feed: A feeder's section over that of the wire it feeds; 0.7 to 1.5 is common practice.
        length: Free length of a feeder between main and piece [mm]; of an assembled piece the least.
        angle: Between a feeder of a tree and the main, away from the button [degrees].
        main: Diameter of the main and of runners [mm]; None for twice the thickest feeder, 4 at the least.
        button: Diameter of the button [mm]; None for two and a half times the main.
    """

    feed: float = 1.0
    length: float = 3.0
    angle: float = 60.0
    main: float | None = None
    button: float | None = None

    def feeder(self, wire: float) -> float:
        """Diameter of the feeder of a wire of that diameter [mm]."""
        return float(self.feed**0.5 * wire)

    def main_diameter(self, thickest_wire: float) -> float:
        """Diameter of the main [mm] where the thickest wire fed has that diameter [mm]."""
        return max(4.0, 2.0 * self.feeder(thickest_wire)) if self.main is None else self.main

    def button_diameter(self, thickest_wire: float) -> float:
        """Diameter of the button [mm], likewise."""
        return 2.5 * self.main_diameter(thickest_wire) if self.button is None else self.button


@dataclass(frozen=True, slots=True)
class Service:
    """A process with its limits, and how the model is prepared for it.

    Attributes:
        process: The process.
        smallest_wire: The thinnest wire that it makes [mm].
        smallest_gap: Gap of moving parts below which they fuse, from surface to surface [mm].
        safe_gap: Gap from which they come free as a rule [mm]; the smallest where the design says that one.
        build: Width, depth and height that it can build [mm].
        open_up: Whether the placement is asked for the smallest gap.
        assumed: The limits that the design does not say: ``smallest_wire``, ``smallest_gap``, ``build``.
        route: How a pattern becomes metal; of printing it means nothing.
        shrinkage: What a casting, or print, is smaller than what it is made from, as a part of that, along
            each axis of the model: by the name of a metal, or for all metals under the empty name; usual
            ones of castings where a metal has none.
        mould_shrinkage: What a wax from a rubber mould is smaller than its pattern, likewise.
        finishing: What finishing takes off the thickness of a wire [mm].
        cut: Width of the cut of loose rings along the middle of the wire [mm]; inside the ring it is
            narrower.
        opened: How far the ends of loose rings stand apart sideways [mm].
        layout: How loose rings are laid out.
        spacing: Least room between loose rings as laid out [mm].
        spare: Loose rings made beyond those needed, as a part of these.
        soldered: Pairs of bodies, by name, that are welded where they come nearest.
        sprues: Sprues of trees and combs; of an assembled piece None for none.
    """

    process: Process
    smallest_wire: float
    smallest_gap: float
    safe_gap: float
    build: Axes
    open_up: bool = True
    assumed: tuple[str, ...] = ()
    route: Route = Route.DIRECT
    shrinkage: tuple[tuple[str, Axes], ...] = ()
    mould_shrinkage: Axes | None = None
    finishing: float = 0.0
    cut: float = 0.6
    opened: float = 0.0
    layout: Layout = Layout.FLAT
    spacing: float = 1.0
    spare: float = 0.05
    soldered: tuple[tuple[str, str], ...] = field(default=())
    sprues: Sprues | None = None

    def shrinks(self, metal: Metal) -> Axes | None:
        """What a casting, or print, loses of its model along each axis, as a part; None where unknown."""
        said = dict(self.shrinkage)
        known = said.get(metal.name, said.get(metal.base, said.get("")))
        if known is not None or not self.process.casts:
            return NONE if known is None else known
        usual = casting_shrinkage(metal)
        return None if usual is None else (usual, usual, usual)

    @property
    def mould_shrinks(self) -> Axes:
        """What a wax from the mould loses of its pattern along each axis, as a part."""
        if self.route is not Route.RUBBER_MOULD:
            return NONE
        return (MOULD, MOULD, MOULD) if self.mould_shrinkage is None else self.mould_shrinkage

    def stretch(self, metal: Metal) -> Axes:
        """How many times larger a pattern is than its casting along each axis; 1 where that is not known."""
        first, second = self.shrinks(metal) or NONE, self.mould_shrinks
        x, y, z = (1.0 / ((1.0 - a) * (1.0 - b)) for a, b in zip(first, second, strict=True))
        return x, y, z

    def room(self, metal: Metal) -> Axes:
        """What can be built, measured as the casting of it [mm]."""
        x, y, z = (side / times for side, times in zip(self.build, self.stretch(metal), strict=True))
        return x, y, z

    def gap_for(self, metals: "tuple[Metal, ...]") -> float:
        """The gap that the placement is asked for because of the process [mm]; 0 for none.

        Finishing widens a gap, and shrinking narrows it by the same part as everything.
        """
        if not (self.open_up and self.process.assembled):
            return 0.0
        least = min((min(self.stretch(metal)) for metal in metals), default=1.0)
        return self.smallest_gap / least + self.finishing


def usual_service(process: Process) -> Service:
    """A process with its usual limits, all of them assumed."""
    limits = ("smallest_wire", "smallest_gap", "build") if process.assembled else ("smallest_wire", "build")
    return Service(
        process, process.smallest_wire, process.least_gap, process.safe_gap, process.build, assumed=limits
    )


def service_by(process: Process, own: Service | None) -> Service:
    """Another process with its usual limits, prepared for as far as that goes for both.

    What shrinks and is finished off goes from one casting process to the other, for the metal is the same;
    nothing is known of it from one print to another. Loose rings have a layout, which nothing else has, and
    no bodies to solder.

    Args:
        process: The process.
        own: The service that a design says; one of the same process is returned as it is.
    """
    usual = usual_service(process)
    if own is None:
        return usual
    if own.process == process:
        return own
    kept = replace(usual, open_up=own.open_up)
    if own.process.casts and process.casts:
        kept = replace(
            kept,
            route=own.route,
            shrinkage=own.shrinkage,
            mould_shrinkage=own.mould_shrinkage,
            finishing=own.finishing,
            # Loose rings start as a flat sheet, which has none.
            sprues=own.sprues if process.assembled else None,
        )
    if own.process.assembled and process.assembled:
        kept = replace(kept, soldered=own.soldered)
    return kept
