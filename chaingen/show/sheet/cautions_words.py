"""Cautions at the bench and with what is made; usual ones (common practice), which defer to local rules."""

from chaingen.findings.closing import through_skin
from chaingen.make.result import Result
from chaingen.show.making import in_one, printed
from chaingen.stock.metals import Metal

NICKEL = frozenset(
    {"14k white gold", "nickel silver", "stainless steel 302", "stainless steel 304", "stainless steel 316"}
)
"""Metals that have nickel in them as they are listed (from memory of their compositions)."""

ZINC = frozenset({"brass", "nickel silver", "red brass"})
"""Metals that give off zinc fume when they are overheated (from memory of their compositions)."""

LONG = 300.0
"""Pieces from this length on go round a neck [mm]."""

GRIP = (
    "Hold the ring with two pliers, one on either side of its cut, jaws smooth, gripping most of it.",
    "To open, twist sideways: one hand towards you, one away. Never pull the ends apart: the ring would not "
    "be round again.",
    "To close, twist back and a little beyond, to and fro, until the ends meet without a gap and spring "
    "against each other. Feel it with a fingernail.",
    "Open no wider than the rings need that go in: wire hardens as it is bent, and breaks in the end.",
)
"""How rings are opened and closed (common practice)."""


def caution_lines(result: Result) -> tuple[str, ...]:
    """Cautions for a piece, each a sentence or more."""
    metals, service = result.metals.metals, result.design.service
    ends = "Ends" if in_one(service) else "Ends of wire"
    lines = [
        f"Eyes: wear eye protection when you cut or saw. {ends} fly: hold the piece that comes off.",
        "Hands: cut ends are sharp. File or tumble them, and keep fingers out of the line of the blade.",
    ]
    if service is None:
        lines.append(
            "Winding: on a mandrel in a drill or lathe never wear gloves, loose sleeves, jewellery or loose "
            "hair; wind slowly, and mind the end of the wire, which whips as it comes free."
        )
    if not printed(service):
        lines += _heat(metals)
    lines += _nickel(result)
    lines.append(
        "Small children: rings and findings are small parts that can be swallowed or breathed in. This is no "
        "toy, and nothing for the very young."
    )
    if result.finished_length is not None and result.finished_length >= LONG:
        lines.append(
            "Round a neck: what catches must let go. For children use a clasp that breaks away under a small "
            "pull, and no long necklace at all on a small child, at sleep or play."
        )
    lines.append(
        "Rules: what may be sold, to whom, and what must be marked or tested is a matter of local rules. "
        "Look up those on nickel, lead, cadmium, hallmarks and what is made for children (in the European "
        "Union REACH, annex XVII, entries 27, 63 and 23), and have what you sell tested by a licensed "
        "laboratory. Nothing here stands in for that."
    )
    return tuple(lines)


def _heat(metals: tuple[Metal, ...]) -> list[str]:
    """Of metal that is soldered, annealed or melted."""
    lines = [
        "Heat: where you solder or anneal, have fresh air and an extractor, a surface that does not burn and "
        "water at hand. Fumes of flux, solder and pickle harm; take solder free of cadmium. Hot metal "
        "looks cold."
    ]
    zinc = [metal.name for metal in metals if metal.base in ZINC]
    if zinc:
        verb, it = ("gives", "it is") if len(zinc) == 1 else ("give", "they are")
        lines.append(
            f"Fumes: {_joined(zinc)} {verb} off zinc fume when {it} overheated; never without an extractor."
        )
    return lines


def _nickel(result: Result) -> list[str]:
    metals = result.metals.metals
    lines = []
    has = [metal.name for metal in metals if metal.base in NICKEL]
    if has:
        holds = "has" if len(has) == 1 else "have"
        where = ", where it is printed in metal" if printed(result.design.service) else ""
        lines.append(
            f"Nickel{where}: {_joined(has)} {holds} nickel, to which many are allergic. How much of it a "
            "thing may give off to skin is limited by law in many places (in the European "
            "Union REACH, annex XVII, entry 27)."
        )
    pierced = [(entry.finding.kind, entry.metal) for entry in result.findings if through_skin(entry.finding)]
    if pierced:
        kinds = _joined(list(dict.fromkeys(kind for kind, _ in pierced)))
        lines.append(
            f"Pierced skin: {kinds} goes through skin. Use metal that is sold for it, with a certificate; "
            "the limit for nickel there is stricter, and other metals may carry nickel below a plating."
        )
    return lines


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
