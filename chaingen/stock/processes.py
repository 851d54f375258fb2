"""Processes by which a service makes a piece from its model: what each can make, as a start for one's own.

Every value is an input: a service tells its own, and those go first. Gaps are full distances between two
surfaces (common practice); a wax pattern is built by the same machines as resin. Smallest wires and build
volumes are from memory, of small machines and of a small casting flask.
"""

from dataclasses import dataclass

_LOCAL = "local rules and those licensed for this work come first."


@dataclass(frozen=True, slots=True)
class Process:
    """A way of making a piece from its model.

    Attributes:
        name: What it is called.
        assembled: Whether the piece is made in one, all its parts in their places; else each ring by itself.
        least_gap: Gap below which moving parts fuse [mm]; 0 where rings are made by themselves.
        safe_gap: Gap from which they come free as a rule [mm]; 0 likewise.
        smallest_wire: The thinnest wire that it makes [mm].
        build: Width, depth and height that it can build [mm].
        caution: What can hurt those who do it.
        casts: Whether what is made is a pattern that is then cast in metal.
    """

    name: str
    assembled: bool
    least_gap: float
    safe_gap: float
    smallest_wire: float
    build: tuple[float, float, float]
    caution: str
    casts: bool = False


_CASTING = (
    "burning out wax gives off fumes, and molten metal and hot flasks burn deep: leave it to those trained "
    f"for it, with face, hands and feet covered and good air; {_LOCAL}"
)

PROCESSES = {
    process.name: process
    for process in (
        Process(
            "resin", True, 0.4, 0.6, 0.6, (120.0, 65.0, 150.0),
            "resin that is not cured harms skin and eyes: gloves, goggles, good air, and what its data sheet "
            f"says; {_LOCAL}",
        ),
        Process(
            "powder", True, 0.4, 0.6, 0.8, (150.0, 150.0, 200.0),
            "fine powder harms the lungs and can burn: a mask that suits it, no sparks, and what its data "
            f"sheet says; {_LOCAL}",
        ),
        Process(
            "filament", True, 0.6, 1.0, 1.2, (200.0, 200.0, 200.0),
            "nozzle and bed burn, and molten plastic gives off fumes: hands off while hot, good air; "
            f"{_LOCAL}",
        ),
        Process("wax pattern for casting", True, 0.4, 0.6, 0.8, (60.0, 60.0, 100.0), _CASTING, True),
        Process("loose rings for casting", False, 0.0, 0.0, 0.8, (60.0, 60.0, 100.0), _CASTING, True),
    )
}  # fmt: skip
"""Processes by name."""
