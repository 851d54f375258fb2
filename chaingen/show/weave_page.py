"""The page that tells of every weave of the catalogue: picture, roles, sizes and links (Markdown)."""

from collections.abc import Iterable

from chaingen.design.weave_starter import wire_text
from chaingen.show.weave_words import role_degrees
from chaingen.solve.sizes import tightest
from chaingen.units import format_mm
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.pieces import Chain, Sheet
from chaingen.weave.weave import Repeats, Role, Weave

_HEAD = """\
# Weaves

What `chaingen weaves` lists, each with a few placed cells of its usual sizes. *Links* say for each ring of
the repeating cell which others it passes through: `b` is ring b of the same cell, `b+1` that of the next cell
along, `b+1,-1` that of the cell one along and one back across. *Least* and *comfortable* aspect ratios
(inside diameter over wire) are common practice, in which sources differ by about 0.2; *tightest* is computed,
from the shape in the picture with all wires thickened alike.
"""

_COLUMNS = (
    "role",
    "rings in the cell",
    "each links",
    "usual size",
    "aspect ratio",
    "least",
    "comfortable",
    "tightest",
)


def _row(fields: Iterable[str]) -> str:
    return f"| {' | '.join(fields)} |"


def _links_of(weave: Weave) -> dict[str, list[str]]:
    """Which rings each ring of the cell is linked with, as written on the page."""
    found: dict[str, list[tuple[str, int, int]]] = {ring.name: [] for ring in weave.rings}
    for link in weave.links:
        found[link.first].append((link.second, link.along, link.across))
        found[link.second].append((link.first, -link.along, -link.across))

    def written(name: str, along: int, across: int) -> str:
        if across:
            return f"{name}{along:+d},{across:+d}".replace("+0", "0")
        return f"{name}{along:+d}" if along else name

    return {ring: [written(*other) for other in sorted(others)] for ring, others in found.items()}


def usual_piece(weave: Weave, cells: int = 3) -> Chain | Sheet:
    """A weave in its usual sizes, of so many cells each way."""
    if weave.repeats is Repeats.SHEET:
        return Sheet(weave, weave.usual, columns=cells, rows=cells)
    return Chain(weave, weave.usual, repeat=cells)


def _ratio(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _comfortable(role: Role) -> str:
    if role.comfortable is None:
        return ""
    low, high = role.comfortable
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def _weave(name: str) -> list[str]:
    weave = find_weave(name)
    ratios = dict(tightest(usual_piece(weave)).aspect_ratios)
    degrees = role_degrees(weave)
    lines = [
        f"## {weave.title}",
        "",
        f"`{name}`, a {weave.repeats.value}: {weave.about}.",
        "",
        f"![{weave.title}]({name}.png)",
        "",
        f"- To wear: {weave.wear}.",
        f"- To make: {weave.make}.",
    ]
    if weave.hand:
        lines.append(f"- Its hand is {weave.hand}; the other is its mirror image.")
    lines += ["", _row(_COLUMNS), f"|{'---|' * len(_COLUMNS)}"]
    for role in weave.roles:
        fields = (
            role.name,
            str(sum(ring.role == role.name for ring in weave.rings)),
            " or ".join(map(str, degrees[role.name])),
            f"{format_mm(role.inside_diameter)}, {wire_text(role.wire_diameter)}",
            f"{role.size.aspect_ratio:.2f}",
            _ratio(role.least),
            _comfortable(role),
            f"{ratios[role.name]:.2f}",
        )
        lines.append(_row(fields))
    links = [f"{ring}: {', '.join(others) or 'none'}" for ring, others in _links_of(weave).items()]
    lines += ["", f"Links of {'; '.join(links)}.", ""]
    return lines


def weaves_page() -> str:
    """The text of the page, in Markdown."""
    lines = [_HEAD]
    for name in weave_names():
        lines += _weave(name)
    return "\n".join(lines)
