"""The page that tells of every kind of finding: picture, eyes, what to cut and keys (Markdown)."""

import re
from collections.abc import Sequence

from chaingen.findings.catalogue import KINDS
from chaingen.findings.finding import Bead, Finding
from chaingen.show.finding_samples import EXAMPLES, samples
from chaingen.show.finding_words import eye_of, key_rows
from chaingen.stock.gauges import describe_wire
from chaingen.units import format_mm

_HEAD = """\
# Findings

What `chaingen findings` lists: clasps, what is worn in the ear, pins with beads, and links that are no round
rings.

![All kinds at one scale](all.png)

A design says each in a table `[findings.NAME]` with its `kind`; other keys may be left out, but for those
that must be said. Sizes left out are common practice, and sizes told here are with them. Every kind has the
key `metal` as well: the design's metal when left out. Lengths are written with their unit, such as `"3 mm"`
or `"1/8 in"`, wires also as `"18 AWG"` or `"18 SWG"`; degrees and numbers of turns without.

*Inside* is the diameter of the largest round bar that goes into an eye; a hook is open as wide as it says.
What to *cut* is as long as the middle of the wire; saw cuts and what is filed off an end come on top.

Wire in a pierced ear must be of metal that is meant for it, with its end rounded and polished; local rules on
nickel come first. Small clasps and beads are not for small children, who may swallow them.
"""

_KEYS = ("key", "by default", "what it means")

_DEFAULT = re.compile(r"^(?P<text>.*); (?P<default>[^;]*?)(?: degrees| turns)? by default\.$")
"""How what is told of a key ends with its default."""

_AMONG = re.compile(r": (?P<default>\w+)[^:;]*\(by default\)")
"""How it says the default among choices."""

_NEEDED = " Cannot be left out."


def _row(fields: Sequence[str]) -> str:
    return f"| {' | '.join(fields)} |"


def picture_name(kind: str) -> str:
    """The file name of the picture of a kind."""
    return f"{kind.lower().replace(' ', '-')}.png"


def title_of(kind: str) -> str:
    """The heading of a kind."""
    return kind[0].upper() + kind[1:]


def key_table(kind: str) -> list[list[str]]:
    """The rows of the table of keys of a kind: key, default and meaning."""
    rows = []
    for name, told in key_rows(kind):
        if name == "metal":
            continue
        text, default = told.removesuffix(_NEEDED), ""
        if told != text:
            default = "must be said"
        elif found := _DEFAULT.match(text):
            text, default = f"{found['text']}.", found["default"]
        elif found := _AMONG.search(text):
            default = found["default"]
        rows.append([f"`{name}`", default, text])
    return rows


def _size(finding: Finding) -> str:
    low, high = finding.shape.box
    long, wide, deep = (format_mm(float(extent), 1) for extent in high - low)
    return f"{long} along the piece, {wide} across and {deep} deep"


def _eyes(finding: Finding) -> list[str]:
    """What is told of the eyes at either end."""
    eyes = finding.shape.eyes
    both = [k for k in finding.inner if k in finding.outer]
    ends = {
        "One eye for both ends": both,
        "Towards the piece": [k for k in finding.inner if k not in both],
        "At its other end": [k for k in finding.outer if k not in both],
    }
    lines = []
    for where, which in ends.items():
        told = [eye_of(finding, eyes[k]) for k in which]
        if told:
            lines.append(f"- {where}: {'; '.join(told)}.")
    return lines


def _cuts(finding: Finding) -> str:
    pieces = [
        f"{cut.what}, {format_mm(cut.length, 1)} of {describe_wire(cut.wire)}" for cut in finding.cutting_list
    ]
    if len(pieces) == 1:
        # There is no need to say of what.
        pieces = [pieces[0].removeprefix(f"{finding.cutting_list[0].what}, ")]
    discs = [f"a disc {format_mm(size)} wide of {format_mm(thick)} sheet" for size, thick in finding.discs]
    return "; ".join(pieces + discs)


def _bead(bead: Bead) -> str:
    thick = "" if bead.form == "ball" else f", {format_mm(bead.thickness)} along its hole"
    return f"{bead.form} of {format_mm(bead.diameter)}{thick}, hole {format_mm(bead.hole)}"


def _kind(finding: Finding) -> list[str]:
    kind = finding.kind
    lines = [
        f"## {title_of(kind)}",
        "",
        f"`{kind}` is {KINDS[kind].line}.",
        "",
        f"![{title_of(kind)}]({picture_name(kind)})",
        "",
    ]
    if kind in EXAMPLES:
        lines += ["The picture is of this one:", "", "```toml", *EXAMPLES[kind].splitlines(), "```", ""]
    lines += _eyes(finding)
    lines.append(f"- Size: {_size(finding)}.")
    if KINDS[kind].bought:
        lines.append("- Mostly bought ready made (common practice).")
    lines.append(f"- Cut: {_cuts(finding)}.")
    if finding.beads:
        lines.append(f"- Beads: {'; '.join(_bead(bead) for bead in finding.beads)}.")
    lines += ["", _row(_KEYS), f"|{'---|' * len(_KEYS)}", *map(_row, key_table(kind)), ""]
    return lines


def findings_page() -> str:
    """The text of the page, in Markdown."""
    lines = [_HEAD]
    for finding in samples():
        lines += _kind(finding)
    return "\n".join(lines)
