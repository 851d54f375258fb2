"""A design of one's own with the weave file beside it, for the page to open."""

from pathlib import Path

OWN_WEAVE = """name = "{name}"
title = "Large and small by turns"
about = "large rings joined by pairs of small ones"
repeats = "chain"
links = [["a", "p"], ["a", "q"], ["p", "a", 1], ["q", "a", 1]]
finish = ["a"]

[roles]
large = {{ inside = "5 mm", wire = "18 AWG" }}
small = {{ inside = "4 mm", wire = "18 AWG" }}

[rings]
a = {{ role = "large" }}
p = {{ role = "small" }}
q = {{ role = "small" }}
"""

OWN_DESIGN = """title = "A chain of one's own"
metal = "bronze"

[rings]
large = {{ inside = "5 mm", wire = "18 AWG" }}
small = {{ inside = "4 mm", wire = "18 AWG" }}

[pattern]
weave = "weaves/{name}.toml"
repeat = 4
"""


def own_design(folder: Path, weave: str) -> tuple[Path, Path]:
    """A design and the weave file that it names: large rings and pairs of small ones by turns."""
    (folder / "weaves").mkdir()
    beside, design = folder / "weaves" / f"{weave}.toml", folder / f"{weave}-chain.toml"
    beside.write_text(OWN_WEAVE.format(name=weave), encoding="utf-8")
    design.write_text(OWN_DESIGN.format(name=weave), encoding="utf-8")
    return design, beside
