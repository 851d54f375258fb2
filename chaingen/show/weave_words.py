"""A weave in words: the list of the catalogue, and one weave with its roles, sizes and a design to use it."""

import math
from typing import TYPE_CHECKING, Any

from chaingen.design.weave_starter import practice_text, wire_text
from chaingen.stock.gauges import describe_wire
from chaingen.tables import quoted, quoted_key
from chaingen.units import format_mm
from chaingen.weave.weave import Repeats, Weave

if TYPE_CHECKING:
    from chaingen.solve.sizes import Tightest

PICTURES = "renders/weaves"
"""Where the project keeps its pictures of the catalogue's weaves."""

LIST_HEAD = ("name", "form", "rings", "each links", "what it is")
"""Head of the list of weaves."""


def role_degrees(weave: Weave) -> dict[str, tuple[int, ...]]:
    """How many rings the rings of each role are linked with; unlike numbers in rising order."""
    degrees = weave.degrees()
    return {
        role.name: tuple(sorted({degrees[ring.name] for ring in weave.rings if ring.role == role.name}))
        for role in weave.roles
    }


def degrees_text(weave: Weave) -> str:
    """Likewise in words: ``4``, or by role ``large 4, small 2``."""
    degrees = role_degrees(weave)
    words = {role: " or ".join(map(str, numbers)) for role, numbers in degrees.items()}
    if len(words) == 1:
        return next(iter(words.values()))
    return ", ".join(f"{role} {number}" for role, number in words.items())


def picture_of(weave: Weave, name: str) -> str:
    """Where the project keeps the picture of a weave of the catalogue; empty for one called otherwise."""
    return f"{PICTURES}/{weave.name}.png" if name == weave.name else ""


def list_row(weave: Weave) -> tuple[str, ...]:
    """One row of the list, for `LIST_HEAD`."""
    return weave.name, weave.repeats.value, str(len(weave.rings)), degrees_text(weave), weave.about


def design_snippet(weave: Weave, name: str) -> str:
    """The part of a design file that uses a weave.

    Args:
        weave: The weave.
        name: What the design calls it.
    """
    lines = []
    for role in weave.roles:
        lines += [
            f"[rings.{quoted_key(role.name)}]",
            f"inside = {quoted(format_mm(role.inside_diameter, 6))}",
            f"wire = {quoted(wire_text(role.wire_diameter))}",
            "",
        ]
    lines += ["[pattern]", f"weave = {quoted(name)}"]
    lines += ['length = "180 mm"'] if weave.repeats is Repeats.CHAIN else ["columns = 8", "rows = 6"]
    return "\n".join(lines)


def list_data(weave: Weave) -> dict[str, Any]:
    """What the list says of a weave, for JSON."""
    return {
        "name": weave.name,
        "title": weave.title,
        "about": weave.about,
        "form": weave.repeats.value,
        "rings_in_cell": len(weave.rings),
        "degrees": {role: list(numbers) for role, numbers in role_degrees(weave).items()},
    }


def weave_data(weave: Weave, tight: "Tightest", name: str, picture: str) -> dict[str, Any]:
    """A weave for JSON; lengths in mm.

    Args:
        weave: The weave.
        tight: The tightest it was found to be made, of its usual sizes.
        name: What a design calls it.
        picture: Where its picture is; empty when there is none.
    """
    ratios = dict(tight.aspect_ratios)
    return {
        "format": "chaingen weave",
        "version": 1,
        **list_data(weave),
        "wear": weave.wear,
        "make": weave.make,
        "hand": weave.hand or None,
        "turning": weave.turning,
        "links_in_cell": len(weave.links),
        "roles": [
            {
                "name": role.name,
                "rings_in_cell": sum(ring.role == role.name for ring in weave.rings),
                "degrees": list(role_degrees(weave)[role.name]),
                "inside_diameter_mm": round(role.inside_diameter, 6),
                "wire_diameter_mm": round(role.wire_diameter, 6),
                "aspect_ratio": round(role.size.aspect_ratio, 3),
                "least_aspect_ratio": role.least,
                "comfortable_aspect_ratios": None if role.comfortable is None else list(role.comfortable),
                "tightest_aspect_ratio": round(ratios[role.name], 3) if _known(ratios, role.name) else None,
            }
            for role in weave.roles
        ],
        "picture": picture or None,
        "design": design_snippet(weave, name),
    }


def _known(ratios: dict[str, float], role: str) -> bool:
    return math.isfinite(ratios.get(role, math.inf))


def weave_lines(weave: Weave, tight: "Tightest", name: str) -> list[str]:
    """A weave in words, a line each.

    Args:
        weave: The weave.
        tight: The tightest it was found to be made, of its usual sizes.
        name: What a design calls it.
    """
    about = f": {weave.about}" if weave.about else ""
    rings, links = len(weave.rings), len(weave.links)
    lines = [f"{weave.title}{about}"]
    lines += [f"To wear: {weave.wear}"] if weave.wear else []
    lines += [f"To make: {weave.make}"] if weave.make else []
    turning = ", each cell free to turn against the one before" if weave.turning else ""
    lines.append(
        f"It makes a {weave.repeats.value}; a cell has {rings} {'ring' if rings == 1 else 'rings'} and "
        f"{links} {'link' if links == 1 else 'links'}{turning}."
    )
    if weave.hand:
        other = "left" if weave.hand == "right" else "right"
        lines.append(f'Its hand is {weave.hand}; hand = "{other}" in a design makes its mirror image.')
    ratios = dict(tight.aspect_ratios)
    for role in weave.roles:
        numbers = role_degrees(weave)[role.name]
        linked = " or ".join(map(str, numbers))
        practice = practice_text(role)
        said = f"; common practice: {practice}" if practice else ""
        if _known(ratios, role.name):
            found = f"tightest computed {ratios[role.name]:.2f}"
        else:
            found = "not found to close at all"
        lines.append(
            f"  {role.name}: links {linked}; usually {format_mm(role.inside_diameter)} inside in "
            f"{describe_wire(role.wire_diameter)}, aspect ratio {role.size.aspect_ratio:.2f} ({found}{said})"
        )
        caged = [ring.name for ring in weave.rings if ring.role == role.name and ring.caged_by]
        if caged:
            lines.append(f"    caged by other rings, not held by links: {', '.join(caged)}")
    if len(weave.roles) > 1:
        lines.append("The tightest computed is with all wires thickened alike on the usual sizes.")
    lines += ["In a design:", *(f"  {line}".rstrip() for line in design_snippet(weave, name).splitlines())]
    return lines
