"""Metals: density with its source, and how they look in a picture.

Colours are reflectances at normal incidence as sRGB, from memory of published optical
constants of the pure metals and mixed by eye for the alloys: they serve pictures only, no figure depends on
them.
"""

import difflib
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Metal:
    """A metal that wire is made of.

    Attributes:
        name: Its name in the trade.
        density: Density [g/cm3].
        source: Where the density comes from.
        colour: sRGB colour of its highlights, each 0 to 1.
        roughness: Surface roughness for pictures, 0 (mirror) to 1.
        aliases: Other names it goes by.
        under: Of a coloured wire the name of the metal beneath; empty for a metal.
    """

    name: str
    density: float
    source: str
    colour: tuple[float, float, float]
    roughness: float = 0.22
    aliases: tuple[str, ...] = ()
    under: str = ""

    @property
    def base(self) -> str:
        """Name of the metal itself: of a coloured wire that of the metal beneath."""
        return self.under or self.name


_ALLOY = "jewellery alloy table"
_MILL = "mill sheet"
_PNNL = "PNNL compendium of material composition data"

# Gold says its carat: a bare "gold" would weigh a fifth more or less than its maker thinks.
METALS = (
    Metal("fine silver", 10.49, "CRC Handbook", (0.97, 0.96, 0.94), 0.2, ("silver 999", "999 silver")),
    Metal(
        "sterling silver", 10.36, "alloy data sheet, 925 Ag 75 Cu", (0.95, 0.94, 0.92), 0.2,
        ("silver", "sterling", "silver 925", "925 silver"),
    ),
    Metal("14k yellow gold", 13.07, _ALLOY, (0.91, 0.69, 0.34), 0.2, ("14k gold", "gold 585")),
    Metal("18k yellow gold", 15.58, _ALLOY, (0.95, 0.70, 0.25), 0.2, ("18k gold", "gold 750")),
    Metal("14k red gold", 13.26, _ALLOY, (0.90, 0.56, 0.39), 0.2, ("14k rose gold",)),
    Metal("14k white gold", 12.61, f"{_ALLOY}, nickel white", (0.86, 0.83, 0.78), 0.2),
    Metal("platinum 950", 20.7, "memory, 950 Pt 50 Ru", (0.84, 0.82, 0.79), 0.22, ("platinum",)),
    Metal("copper", 8.94, f"{_MILL} C102", (0.89, 0.49, 0.33), 0.24),
    Metal("brass", 8.53, f"{_MILL} C260", (0.86, 0.66, 0.28), 0.24, ("yellow brass", "c260")),
    Metal(
        "red brass", 8.80, f"{_MILL} C220", (0.84, 0.56, 0.29), 0.24, ("bronze", "jeweller's bronze", "c220"),
    ),
    Metal("phosphor bronze", 8.86, f"{_MILL} C510", (0.80, 0.53, 0.33), 0.26, ("c510",)),
    Metal("nickel silver", 8.73, "memory, C752", (0.82, 0.79, 0.72), 0.24, ("c752", "german silver")),
    Metal("aluminium", 2.71, "handbook, 1100", (0.91, 0.92, 0.92), 0.28, ("aluminum", "aluminium 1100")),
    Metal("aluminium 5356", 2.64, "memory", (0.90, 0.91, 0.92), 0.28, ("aluminum 5356",)),
    Metal("aluminium 6061", 2.70, "handbook", (0.90, 0.91, 0.91), 0.28, ("aluminum 6061",)),
    Metal("stainless steel 302", 7.86, _PNNL, (0.78, 0.77, 0.76), 0.25, ("302",)),
    Metal(
        "stainless steel 304", 8.03, _PNNL, (0.78, 0.77, 0.76), 0.25, ("stainless steel", "stainless", "304")
    ),
    Metal("stainless steel 316", 8.00, _PNNL, (0.78, 0.77, 0.76), 0.25, ("316",)),
    Metal(
        "titanium", 4.51, "handbook, grades 1 and 2", (0.72, 0.69, 0.66), 0.3,
        ("titanium grade 1", "titanium grade 2"),
    ),
    Metal("niobium", 8.57, "handbook", (0.76, 0.73, 0.72), 0.28),
)  # fmt: skip

_BY_NAME = {name.lower(): metal for metal in METALS for name in (metal.name, *metal.aliases)}


def find_metal(name: str) -> Metal | None:
    """The metal of that name or other name, letter case and surplus spaces aside; None when there is none."""
    return _BY_NAME.get(" ".join(name.lower().split()))


def metal_names() -> tuple[str, ...]:
    """The names of all metals, without their other names."""
    return tuple(metal.name for metal in METALS)


def nearest_metal(name: str) -> str | None:
    """The metal whose spelling is nearest to `name`, or None when nothing is near."""
    words = " ".join(name.lower().split())
    close = difflib.get_close_matches(words, _BY_NAME, n=1, cutoff=0.6)
    if close:
        return _BY_NAME[close[0]].name
    # A part of a name is as good as a misspelling of it: "gold", "316L".
    parts = [known for known in _BY_NAME if len(words) > 2 and (words in known or known in words)]
    return _BY_NAME[parts[0]].name if parts else None
