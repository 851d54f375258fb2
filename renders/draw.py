"""Draw the picture of every example into this folder: python renders/draw.py [NAME ...].

A long piece is shown whole above a close-up of its middle, a short one by itself.
"""

import sys
import tempfile
from pathlib import Path

from PIL import Image

from chaingen.design.load import load_design
from chaingen.pipeline import build
from chaingen.show.picture import draw_pictures

HERE = Path(__file__).parent
EXAMPLES = HERE.parent / "examples"
SHORT_PIECE = 20
"""Pieces of up to this many rings need no close-up."""


def draw(name: str) -> Path:
    """Draw one example; returns the picture's path."""
    result = build(load_design(EXAMPLES / f"{name}.toml"))
    assert result.fits, f"{name} does not fit"
    metal, rings = result.design.metal, result.placement.rings
    with tempfile.TemporaryDirectory() as folder:
        draw_pictures(Path(folder), rings, colour=metal.colour, roughness=metal.roughness)
        if len(rings) <= SHORT_PIECE or result.design.run.closed:
            picture = Image.open(Path(folder) / "three-quarter.png").copy()
        else:
            whole, close = (Image.open(Path(folder) / f"{view}.png") for view in ("front", "close-up"))
            picture = Image.new("RGB", (whole.width, whole.height + close.height))
            picture.paste(whole, (0, 0))
            picture.paste(close, (0, whole.height))
    path = HERE / f"{name}.png"
    picture.save(path, optimize=True)
    return path


if __name__ == "__main__":
    for chosen in sys.argv[1:] or sorted(path.stem for path in EXAMPLES.glob("*.toml")):
        sys.stdout.write(f"{draw(chosen)}\n")
