"""Pictures of findings: one by itself, and a sheet of all kinds at one scale.

In the sheet x is to the right and y up.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from chaingen.findings.finding import Finding
from chaingen.geometry.bodies import Bodies, concatenate, shaped
from chaingen.geometry.types import Floats
from chaingen.model.templates import holes_of
from chaingen.show.camera import FOOT, MARGIN, View, extent, framed
from chaingen.show.look import Look, plain_look
from chaingen.show.picture import INK, draw_views
from chaingen.stock.metals import METALS, Metal

SILVER = METALS[1]
"""What they are shown in."""

PIXELS = 1280, 960
"""Width and height of a picture of one finding."""

SHEET_WIDTH = 1400
"""Pixels."""

SHEET_ROWS = 5, 4, 4, 4
"""How many findings stand in each row of the sheet: links, hooks, pins and clasps, toggles and more."""

SCALE = 13.0
"""Pixels a millimetre of the sheet."""

LABEL, BETWEEN = 46, 40
"""Pixels below a finding of the sheet for its name, and free above it."""

_TOWARDS = np.array([0.0, 0.3, 1.0])
"""From a finding to the camera: a little from above, so that what is not flat shows."""

_STANDING = {"ear wire": 1.0, "ear post": 1.0, "head pin": -1.0}
"""Kinds shown upright, as they are worn; 1 with the end of the piece down, -1 with it up."""

_TURNED = {"ear post": np.array([-0.9, 0.25, 0.75]), "end bar": np.array([-0.3, 0.3, 1.0])}
"""Kinds that are seen better from elsewhere."""


def posed(finding: Finding) -> Bodies:
    """A finding as pictures show it: along x, or upright."""
    body = shaped(finding.shape)
    up = _STANDING.get(finding.kind)
    if up is None:
        return body
    return body.turned(np.array([[0.0, -up, 0.0], [up, 0.0, 0.0], [0.0, 0.0, 1.0]]))


def towards_camera(finding: Finding) -> Floats:
    """Direction from a finding to the camera, shape (3,)."""
    return np.asarray(_TURNED.get(finding.kind, _TOWARDS))


def findings_look(findings: Sequence[Finding], metal: Metal = SILVER) -> Look:
    """The look of findings, one body each: of one metal, beads in their own colours."""
    beads = tuple({bead.part: bead.colour for bead in finding.beads} for finding in findings)
    return replace(
        plain_look(metal, len(findings)),
        beads=beads,
        beads_of=np.arange(len(findings), dtype=np.int64),
        holes=holes_of(findings),
    )


def draw_finding(finding: Finding, path: Path, *, metal: Metal = SILVER) -> Path:
    """Draw a finding by itself.

    Args:
        finding: The finding.
        path: The PNG file to write.
        metal: What it is shown in.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: The file cannot be written.
    """
    body = posed(finding)
    view = _in_frame(framed(path.stem, body, towards_camera(finding), np.array([0.0, 1.0, 0.0])), body)
    (written,) = draw_views(path.parent, body, [view], look=findings_look([finding], metal))
    return written


def _in_frame(view: View, bodies: Bodies) -> View:
    """A view of the same things in a frame of `PIXELS`."""
    width, height = PIXELS
    right = np.cross(view.up, view.towards)
    (x0, x1), (y0, y1) = extent(bodies, right), extent(bodies, view.up)
    more = 1.0 + 4.0 * MARGIN
    scale = max(more * (x1 - x0) / width, more * (y1 - y0) / (height - FOOT))
    # The foot of the picture is the scale bar's.
    middle = 0.5 * (y0 + y1) - 0.5 * FOOT * scale
    focus = view.focus + (middle - view.focus @ view.up) * view.up
    return replace(view, width=width, height=height, half_height=0.5 * height * scale, focus=focus)


def draw_sheet(findings: Sequence[Finding], path: Path, *, metal: Metal = SILVER) -> Path:
    """Draw findings in rows, all at one scale, each with its kind below it.

    Args:
        findings: As many as `SHEET_ROWS` holds.
        path: The PNG file to write.
        metal: What they are shown in.

    Raises:
        CannotDraw: Pictures cannot be drawn here; the message says what to install.
        CannotWrite: The file cannot be written.
    """
    from PIL import Image

    bodies, spots, height = laid_out(findings)
    half_height = 0.5 * height / SCALE
    middle = np.array([0.5 * SHEET_WIDTH / SCALE, -half_height, 0.0])
    low, high = bodies.bounds()
    front = np.array([0.0, 0.0, 1.0])
    view = View(
        path.stem, middle, front, np.array([0.0, 1.0, 0.0]), SHEET_WIDTH, height, half_height,
        float(high[2] - low[2]) + 6.0 * half_height,
    )  # fmt: skip
    (written,) = draw_views(path.parent, bodies, [view], look=findings_look(findings, metal))
    with Image.open(written) as picture:
        labelled = _labelled(picture.convert("RGB"), [finding.kind for finding in findings], spots)
    labelled.save(written)
    return written


def laid_out(findings: Sequence[Finding]) -> tuple[Bodies, list[tuple[float, float]], int]:
    """Findings in rows.

    Returns:
        The bodies, a pixel of the sheet being 1 / `SCALE` mm and its upper left corner the origin; where the
        middle of each label is [pixels from there, right and down]; and how high the sheet is [pixels].
    """
    assert len(findings) == sum(SHEET_ROWS), "every finding has its place"
    parts, spots = [], []
    top, number = 0.0, 0
    for count in SHEET_ROWS:
        row = [_facing(finding) for finding in findings[number : number + count]]
        boxes = [body.bounds() for body in row]
        high = SCALE * max(float((box[1] - box[0])[1]) for box in boxes)
        # What is left of the width is shared: every two findings of a row are as far apart.
        wide = [SCALE * float((box[1] - box[0])[0]) for box in boxes]
        free = (SHEET_WIDTH - sum(wide)) / (count + 1)
        left = free
        for body, (lowest, highest), width in zip(row, boxes, wide, strict=True):
            at = np.array([(left + 0.5 * width) / SCALE, -(top + BETWEEN + 0.5 * high) / SCALE, 0.0])
            parts.append(body.moved(at - 0.5 * (lowest + highest)))
            spots.append((left + 0.5 * width, top + BETWEEN + high + 0.6 * LABEL))
            left += width + free
        top += BETWEEN + high + LABEL
        number += count
    return concatenate(parts), spots, round(top + FOOT)


def _facing(finding: Finding) -> Bodies:
    """A finding turned so that it is seen along z as in its own picture."""
    towards = towards_camera(finding)
    towards = towards / np.linalg.norm(towards)
    right = np.cross(np.array([0.0, 1.0, 0.0]), towards)
    right /= np.linalg.norm(right)
    return posed(finding).turned(np.array([right, np.cross(towards, right), towards]))


def _labelled(picture: Any, labels: Sequence[str], spots: Sequence[tuple[float, float]]) -> Any:
    """A picture (a Pillow image) with words on it, their middles at some places [pixels]."""
    from PIL import ImageDraw, ImageFont

    draw = ImageDraw.Draw(picture)
    font, ink = ImageFont.load_default(size=20), tuple(round(255 * c) for c in INK)
    for label, spot in zip(labels, spots, strict=True):
        draw.text(spot, label, fill=ink, font=font, anchor="mm")
    return picture
