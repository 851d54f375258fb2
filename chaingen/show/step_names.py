"""Names of bodies written onto a picture, each beside its body with a line to it."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from chaingen.geometry.bodies import Bodies, wire_points
from chaingen.geometry.types import Floats, Ints
from chaingen.show.camera import View
from chaingen.show.look import Colour

NAME_SIZE = 38
"""Height of names [pixels]: in a picture of 900 that is printed 55 to 70 mm wide 2.3 to 3 mm."""

INK, PLATE = (20, 22, 28), (255, 255, 255)
"""sRGB of lines and of dark letters; of plates and of letters on dark ones, each 0 to 255."""

DARK = 0.35
"""Plates darker than this have white letters (luma, 0 to 1)."""

_PADDING = np.array([9.0, 8.0])
"""Free plate round a name [pixels]."""

_EDGE, _CLEAR = 5.0, 10.0
"""How far plates stay from the picture's edge and, where they can, from wires [pixels]."""

_WAYS = np.column_stack([np.cos(np.arange(16) * np.pi / 8.0), np.sin(np.arange(16) * np.pi / 8.0)])
_REACHES = (1.25, 1.7, 2.3, 3.0, 4.0, 5.5)


def write_names(
    image: Any, view: View, bodies: Bodies, names: Sequence[tuple[int, str, Colour | None]], seen: Ints
) -> None:
    """Write names onto a picture (a Pillow image).

    Each stands where it hides least of the wires and lies clear of the other names, near its body.

    Args:
        image: The picture.
        view: The view it was taken from.
        bodies: All bodies.
        names: Bodies by index, their names, and sRGB colours of the plates; None for white.
        seen: Indices of the bodies in the picture.
    """
    from PIL import ImageDraw, ImageFont

    draw = ImageDraw.Draw(image)
    font = ImageFont.load_default(size=NAME_SIZE)
    seen = np.union1d(seen, [body for body, _, _ in names]).astype(np.int64)
    points, wires, owners = wire_points(bodies[seen], 32)
    owners = seen[owners]
    spots, depth = _pixels(points, view), points @ view.towards
    inside = ((spots > 0.0) & (spots < (view.width, view.height))).all(axis=1)
    inside |= np.isin(owners, [body for body, _, _ in names])
    spots, depth, wires, owners = spots[inside], depth[inside], wires[inside], owners[inside]
    named = np.isin(owners, [body for body, _, _ in names])
    crowd = (spots, np.where(named, 1.0, 0.4), wires / view.mm_per_pixel)
    plates: list[tuple[Floats, Floats]] = []
    lines: list[Floats] = []
    for body, name, _ in names:
        left, top, right, bottom = draw.textbbox((0, 0), name, font=font, anchor="lt")
        half = 0.5 * np.array([right - left, bottom - top]) + _PADDING
        mine = owners == body
        feet = spots[mine][_in_front(spots, depth, mine, 0.7 * crowd[2])]
        place, foot = _place(feet if len(feet) else spots[mine], half, crowd, plates, lines, view)
        plates.append((place, half))
        lines.append(foot + np.linspace(0.0, 1.0, 12)[:, None] * (place - foot))
    # Plates come after all lines, so that none is struck through.
    for line in lines:
        draw.line([tuple(line[0]), tuple(line[-1])], fill=INK, width=3)
        draw.ellipse([*(line[0] - 5.0), *(line[0] + 5.0)], fill=INK)
    for (place, half), (_, name, colour) in zip(plates, names, strict=True):
        plate = PLATE if colour is None else tuple(round(255 * part) for part in colour)
        dark = np.dot(plate, (0.299, 0.587, 0.114)) < 255 * DARK
        draw.rounded_rectangle([*(place - half), *(place + half)], radius=8, fill=plate, outline=INK, width=2)
        draw.text(tuple(place), name, fill=PLATE if dark else INK, font=font, anchor="mm")


def _pixels(points: Floats, view: View) -> Floats:
    """Where points are in a picture [pixels], shape (m, 2), down from the top."""
    away = points - view.focus
    across = away @ np.cross(view.up, view.towards) / view.mm_per_pixel + 0.5 * view.width
    return np.column_stack([across, 0.5 * view.height - away @ view.up / view.mm_per_pixel])


def _in_front(
    spots: Floats, depth: Floats, mine: npt.NDArray[np.bool_], wires: Floats
) -> npt.NDArray[np.bool_]:
    """Which of a body's points no other wire hides, shape (m,)."""
    apart = np.linalg.norm(spots[mine][:, None] - spots[~mine][None], axis=2)
    hides = (apart < 2.0 * wires[~mine][None]) & (depth[~mine][None] > depth[mine][:, None])
    return np.asarray(~hides.any(axis=1))


def _place(
    feet: Floats,
    half: Floats,
    crowd: tuple[Floats, Floats, Floats],
    plates: Sequence[tuple[Floats, Floats]],
    lines: Sequence[Floats],
    view: View,
) -> tuple[Floats, Floats]:
    """Where a name's middle goes, and the point of its body that its line ends on [pixels], shape (2,) each.

    Args:
        feet: Points of the body that are seen, shape (m, 2).
        half: Half of the plate's width and height.
        crowd: Points of wires, shape (n, 2), how much each shall be kept clear of, and half the wire there.
        plates: Middles and half sizes of plates that are there.
        lines: Points along lines that are there.
        view: The view.
    """
    frame = np.array([view.width, view.height], dtype=float)
    inside = ((feet > _EDGE) & (feet < frame - _EDGE)).all(axis=1)
    feet = feet[inside] if inside.any() else np.clip(feet, _EDGE, frame - _EDGE)
    reaches = np.array(_REACHES) * (half.min() + 8.0)
    arms = (reaches[:, None, None] * _WAYS[None]).reshape(-1, 2)
    # A wide name stands off further where it lies beside its body.
    unit = arms / np.linalg.norm(arms, axis=1)[:, None]
    arms = arms + (half - half.min()) * unit
    feet_of = np.repeat(feet, len(arms), axis=0)
    places = feet_of + np.tile(arms, (len(feet), 1))
    fits = ((places > half + _EDGE) & (places < frame - half - _EDGE)).all(axis=1)
    if not fits.any():
        return np.clip(feet[0], half + _EDGE, frame - half - _EDGE), feet[0]
    places, feet_of = places[fits], feet_of[fits]
    spots, weight, wire = crowd
    cost = np.linalg.norm(places - feet_of, axis=1) / 30.0
    gaps = np.abs(spots[None] - places[:, None]) - half
    cost += 1.5 * ((gaps < wire[None, :, None] + _CLEAR).all(axis=2) * weight).sum(axis=1)
    for middle, size in plates:
        cost += 100.0 * (np.abs(places - middle) < half + size + 4.0).all(axis=1)
        # ... nor may its line run through another name.
        for part in (0.25, 0.5, 0.75):
            cost += 60.0 * (np.abs(feet_of + part * (places - feet_of) - middle) < size + 2.0).all(axis=1)
    for line in lines:
        gaps = np.abs(line[None] - places[:, None]) - half
        cost += 60.0 * (gaps < 3.0).all(axis=2).any(axis=1)
        cost += 60.0 * _cross(feet_of, places, line[0], line[-1])
    best = int(np.argmin(cost))
    return places[best], feet_of[best]


def _cross(a: Floats, b: Floats, c: Floats, d: Floats) -> npt.NDArray[np.bool_]:
    """Whether segments from a to b, shape (k, 2), cross the one from c to d."""

    def side(p: Floats, q: Floats, r: Floats) -> Floats:
        one, two = q - p, r - p
        return np.asarray(one[..., 0] * two[..., 1] - one[..., 1] * two[..., 0])

    return np.asarray((side(a, b, c) * side(a, b, d) < 0.0) & (side(c, d, a) * side(c, d, b) < 0.0))
