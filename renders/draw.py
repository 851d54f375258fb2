"""Draw the pictures of every example, weave and finding into this folder: python renders/draw.py [NAME ...].

NAME is an example, `weaves/NAME` a weave of the catalogue, `weaves` all of these, `findings` all kinds of
findings, `sheet` the first pages of a maker's sheet, `page` the small pictures of the page in the browser,
which go into the package, `screen` the page itself with an example in it, for which it takes Chromium and
the extra `browser`. The pages weaves/README.md and findings/README.md, which tell of every one, are written
anew with them. A pair is shown from the front, a long piece is shown whole above a close-up of its middle, a
short one and a sheet by itself; then what a service is sent, where the example names one, then every scene
of the example, by its most telling still and, where `FILMS` says so, by its turning view or settling film.
"""

import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from page_pictures import drawn_page
from page_screen import draw_screen
from PIL import Image

from chaingen.design.load import load_design
from chaingen.pipeline import build, drape, export, for_service, plan
from chaingen.prepare.write import FOLDER
from chaingen.show.finding_page import findings_page, picture_name
from chaingen.show.finding_picture import draw_finding, draw_sheet
from chaingen.show.finding_samples import samples
from chaingen.show.weave_page import weaves_page
from chaingen.show.weave_picture import draw_weave
from chaingen.show.whole import whole_picture
from chaingen.solve.drape.draped import scene_names
from chaingen.weave.catalogue import find_weave, weave_names

HERE = Path(__file__).parent
WEAVES = HERE / "weaves"
FINDINGS = HERE / "findings"
EXAMPLES = HERE.parent / "examples"
PAGE = HERE.parent / "chaingen" / "page" / "assets" / "pictures"

WEAVE_PIXELS = 900
"""Longer side of the picture of a weave."""

FINDING_PIXELS = 640
"""Width of the picture of a finding."""

COLOURS, PAPER_COLOURS = 192, 64
"""Colours of things and of paper in pictures of findings: a palette takes less room."""

PAPER = 4
"""Paper is what is no farther from the colour of its row's edge, of 255."""

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

SHEET_OF, SHEET_PAGES, SHEET_DPI = "all-keys-bench", 3, 80
"""The example whose sheet is shown, how many of its pages, and how finely."""

SCREEN_OF = "rosette-bracelet"
"""The example that the picture of the page shows."""

MOST_BATCHES = 2
"""Files for a service that are shown of an example."""

FILMS = {"graduated-earring": "turning", "all-keys": "settling"}
"""Examples whose first scene is shown moving."""


def draw(name: str) -> list[Path]:
    """Draw one example; returns the pictures' paths."""
    result = drape(build(load_design(EXAMPLES / f"{name}.toml")))
    assert result.fits, f"{name} does not fit"
    drawn = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        export(result, folder, prepared=for_service(result))
        pictures = folder / "pictures"
        picture = whole_picture(pictures, result)
        drawn.append(HERE / f"{name}.png")
        picture.save(drawn[-1], optimize=True)
        for batch in sorted((folder / FOLDER).glob("*.png"))[:MOST_BATCHES]:
            drawn.append(HERE / f"{name}-{batch.name}")
            Image.open(batch).save(drawn[-1], optimize=True)
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


def drawn_sheet() -> list[Path]:
    """Draw the first pages of a maker's sheet side by side; returns the picture's path."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        files = export(plan(build(load_design(EXAMPLES / f"{SHEET_OF}.toml"))), folder)
        assert not files.no_pdf, files.no_pdf
        document = pypdfium2.PdfDocument(folder / "sheet.pdf")
        pages = [document[number].render(scale=SHEET_DPI / 72).to_pil() for number in range(SHEET_PAGES)]
    width, height = pages[0].size
    edge = width // 20
    picture = Image.new("RGB", (edge + SHEET_PAGES * (width + edge), height + 2 * edge), (214, 217, 221))
    for number, page in enumerate(pages):
        picture.paste(page, (edge + number * (width + edge), edge))
    path = HERE / "sheet.png"
    picture.save(path, optimize=True)
    return [path]


def drawn_weave(name: str) -> list[Path]:
    """Draw one weave of the catalogue; returns the picture's path."""
    path = WEAVES / f"{name}.png"
    draw_weave(find_weave(name), path)
    picture = Image.open(path)
    picture.thumbnail((WEAVE_PIXELS, WEAVE_PIXELS), Image.Resampling.LANCZOS)
    picture.save(path, optimize=True)
    return [path]


def drawn_findings() -> list[Path]:
    """Draw every kind of finding and the sheet of all; returns the pictures' paths."""
    FINDINGS.mkdir(exist_ok=True)
    paths = []
    for finding in samples():
        paths.append(draw_finding(finding, FINDINGS / picture_name(finding.kind)))
        picture = Image.open(paths[-1]).convert("RGB")
        picture.thumbnail((FINDING_PIXELS, FINDING_PIXELS), Image.Resampling.LANCZOS)
        _of_few_colours(picture).save(paths[-1], optimize=True)
    paths.append(draw_sheet(samples(), FINDINGS / "all.png"))
    _of_few_colours(Image.open(paths[-1]).convert("RGB")).save(paths[-1], optimize=True)
    return paths


def _of_few_colours(picture: Image.Image) -> Image.Image:
    """A picture with a palette, of colours that are there, however little of each: beads among much paper."""
    pixels = np.asarray(picture)
    things = np.abs(pixels.astype(int) - pixels[:, :1]).max(axis=2) > PAPER
    chosen = [_chosen(pixels[things], COLOURS), _chosen(pixels[:, 0], PAPER_COLOURS)]
    palette = Image.new("P", (1, 1))
    palette.putpalette([part for colours in chosen for part in colours])
    return picture.quantize(palette=palette, dither=Image.Dither.NONE)


def _chosen(pixels: NDArray[np.uint8], count: int) -> list[int]:
    """So many colours that are near all of some pixels, shape (n, 3), one after the other."""
    each = Image.fromarray(np.unique(pixels, axis=0)[None])
    quantised = each.quantize(count, kmeans=3)
    return quantised.getpalette()[: 3 * len(quantised.getcolors())]


if __name__ == "__main__":
    asked = sys.argv[1:] or [
        *sorted(path.stem for path in EXAMPLES.glob("*.toml")),
        "weaves",
        "findings",
        "sheet",
        "page",
        "screen",
    ]
    every = [f"weaves/{name}" for name in weave_names()]
    for chosen in [name for one in asked for name in (every if one == "weaves" else [one])]:
        if chosen == "findings":
            drawn = drawn_findings()
        elif chosen == "sheet":
            drawn = drawn_sheet()
        elif chosen == "page":
            drawn = drawn_page(PAGE)
        elif chosen == "screen":
            drawn = draw_screen(EXAMPLES / f"{SCREEN_OF}.toml", HERE / "page.png")
        elif chosen.startswith("weaves/"):
            drawn = drawn_weave(chosen.removeprefix("weaves/"))
        else:
            drawn = draw(chosen)
        for path in drawn:
            sys.stdout.write(f"{path}\n")
    if any(one.startswith("weaves") for one in asked):
        (WEAVES / "README.md").write_text(weaves_page(), encoding="utf-8")
    if "findings" in asked:
        (FINDINGS / "README.md").write_text(findings_page(), encoding="utf-8")
