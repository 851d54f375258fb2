"""The one picture that tells most of a piece, put together of those from several sides."""

from pathlib import Path
from typing import Any

from chaingen.files import whole_file
from chaingen.make.result import Result
from chaingen.weave.pieces import Sheet

SHORT_PIECE = 20
"""Pieces of up to this many rings need no close-up."""


def whole_picture(pictures: Path, result: Result) -> Any:
    """A piece as one picture (a Pillow image).

    A pair and a sheet are shown from the front, a short piece and a closed one from three-quarter, a long one
    whole above a close-up of its middle.

    Args:
        pictures: The folder with the pictures from the front, from three-quarter and close up.
        result: The piece.
    """
    from PIL import Image

    if isinstance(result.design.piece, Sheet) or result.design.pair:
        return Image.open(pictures / "front.png").copy()
    if len(result.placement.graph) <= SHORT_PIECE or result.design.piece.closed:
        return Image.open(pictures / "three-quarter.png").copy()
    whole, close = (Image.open(pictures / f"{view}.png").copy() for view in ("front", "close-up"))
    # A close-up of strands side by side is higher than wide: the whole is made as wide as it.
    if close.width < whole.width:
        height = round(whole.height * close.width / whole.width)
        whole = whole.resize((close.width, height), Image.Resampling.LANCZOS)
    picture = Image.new("RGB", (whole.width, whole.height + close.height))
    picture.paste(whole, (0, 0))
    picture.paste(close, (0, whole.height))
    return picture


def write_picture(path: Path, picture: Any) -> None:
    """Write a picture as PNG.

    Raises:
        CannotWrite: The file cannot be written.
    """
    with whole_file(path) as stream:
        picture.save(stream, format="PNG", optimize=True)
