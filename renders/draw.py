"""Draw the pictures of every example and weave into this folder: python renders/draw.py [NAME ...].

NAME is an example, `weaves/NAME` a weave of the catalogue, `weaves` all of these. The page weaves/README.md,
which tells of every weave, is written anew with them. A long piece is shown whole above a close-up of its
middle, a short one and a sheet by itself; then every scene of the example, by its most telling still and,
where `FILMS` says so, by its turning view or settling film.
"""

import shutil
import sys
import tempfile
from pathlib import Path

from PIL import Image

from chaingen.design.load import load_design
from chaingen.pipeline import build, drape, export, scene_names
from chaingen.show.weave_page import weaves_page
from chaingen.show.weave_picture import draw_weave
from chaingen.weave.catalogue import find_weave, weave_names
from chaingen.weave.pieces import Sheet

HERE = Path(__file__).parent
WEAVES = HERE / "weaves"
EXAMPLES = HERE.parent / "examples"

SHORT_PIECE = 20
"""Pieces of up to this many rings need no close-up."""

WEAVE_PIXELS = 900
"""Longer side of the picture of a weave."""

TELLING = {
    "hang": "front",
    "swag": "front",
    "table": "three-quarter",
    "wrist": "three-quarter",
    "neck": "front",
    "corners": "front",
    "edge": "three-quarter",
}
"""The still that tells most of each kind of scene."""

FILMS = {"graduated-earring": "turning", "all-keys": "settling"}
"""Examples whose first scene is shown moving."""


def draw(name: str) -> list[Path]:
    """Draw one example; returns the pictures' paths."""
    result = drape(build(load_design(EXAMPLES / f"{name}.toml")))
    assert result.fits, f"{name} does not fit"
    drawn = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        export(result, folder)
        pictures = folder / "pictures"
        if isinstance(result.design.piece, Sheet):
            picture = Image.open(pictures / "front.png").copy()
        elif len(result.placement.graph) <= SHORT_PIECE or result.design.piece.closed:
            picture = Image.open(pictures / "three-quarter.png").copy()
        else:
            whole, close = (Image.open(pictures / f"{view}.png") for view in ("front", "close-up"))
            picture = Image.new("RGB", (whole.width, whole.height + close.height))
            picture.paste(whole, (0, 0))
            picture.paste(close, (0, whole.height))
        drawn.append(HERE / f"{name}.png")
        picture.save(drawn[-1], optimize=True)
        for number, (scene, put) in enumerate(zip(result.drapes, scene_names(result.drapes), strict=True)):
            still = folder / "scenes" / put / f"{TELLING[scene.scene.kind.value]}.png"
            drawn.append(HERE / f"{name}-{put}.png")
            Image.open(still).save(drawn[-1], optimize=True)
            if number == 0 and name in FILMS:
                drawn.append(HERE / f"{name}-{put}-{FILMS[name]}.gif")
                shutil.copy(folder / "scenes" / put / f"{FILMS[name]}.gif", drawn[-1])
        if result.supple is not None:
            drawn.append(HERE / f"{name}-supple.png")
            Image.open(pictures / "supple.png").save(drawn[-1], optimize=True)
    return drawn


def drawn_weave(name: str) -> list[Path]:
    """Draw one weave of the catalogue; returns the picture's path."""
    path = WEAVES / f"{name}.png"
    draw_weave(find_weave(name), path)
    picture = Image.open(path)
    picture.thumbnail((WEAVE_PIXELS, WEAVE_PIXELS), Image.Resampling.LANCZOS)
    picture.save(path, optimize=True)
    return [path]


if __name__ == "__main__":
    asked = sys.argv[1:] or [*sorted(path.stem for path in EXAMPLES.glob("*.toml")), "weaves"]
    every = [f"weaves/{name}" for name in weave_names()]
    for chosen in [name for one in asked for name in (every if one == "weaves" else [one])]:
        is_weave = chosen.startswith("weaves/")
        for path in drawn_weave(chosen.removeprefix("weaves/")) if is_weave else draw(chosen):
            sys.stdout.write(f"{path}\n")
    if any(one.startswith("weaves") for one in asked):
        (WEAVES / "README.md").write_text(weaves_page(), encoding="utf-8")
