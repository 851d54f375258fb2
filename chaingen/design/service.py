"""The service that makes a piece from its model: its process and that process's limits, in millimetres."""

from dataclasses import dataclass

from chaingen.stock.processes import Process


@dataclass(frozen=True, slots=True)
class Service:
    """A process with its limits.

    Attributes:
        process: The process.
        smallest_wire: The thinnest wire that it makes [mm].
        smallest_gap: Gap of moving parts below which they fuse, from surface to surface [mm].
        safe_gap: Gap from which they come free as a rule [mm]; the smallest where the design says that one.
        build: Width, depth and height that it can build [mm].
        open_up: Whether the placement is asked for the smallest gap.
        assumed: The limits that the design does not say: ``smallest_wire``, ``smallest_gap``, ``build``.
    """

    process: Process
    smallest_wire: float
    smallest_gap: float
    safe_gap: float
    build: tuple[float, float, float]
    open_up: bool = True
    assumed: tuple[str, ...] = ()

    @property
    def gap_asked(self) -> float:
        """The gap that the placement is asked for because of the process [mm]; 0 for none."""
        return self.smallest_gap if self.open_up and self.process.assembled else 0.0
