"""The studio that metal is seen in: an environment of soft boxes that it mirrors, and its background."""

import numpy as np
import numpy.typing as npt

BACKGROUND_TOP, BACKGROUND_BOTTOM = (0.985, 0.985, 0.98), (0.90, 0.905, 0.915)
"""sRGB of the paper behind the piece."""

COLLISION = (0.85, 0.0, 0.55)
"""Colour of rings that run into others: a vivid magenta with matt finish. No metal comes near it in hue; seen
without red, green or blue cones it stays darker and more saturated than any of them."""

BRIGHTEST = 1.4
"""Light that the boxes come near to and never pass: what mirrors more than about 1 is white without form."""


def environment(height: int = 128) -> npt.NDArray[np.float32]:
    """Light from all sides as an equirectangular image, linear, shape (height, 2 height, 3).

    Rows run from the nadir to the zenith of y. Dark walls between bright boxes give metal its contrast.
    """
    width = 2 * height
    up = (np.arange(height) + 0.5) / height * np.pi - 0.5 * np.pi
    around = (np.arange(width) + 0.5) / width * 2.0 * np.pi - np.pi
    lat, lon = np.meshgrid(up, around, indexing="ij")

    def box(
        lon0: float, lat0: float, half_lon: float, half_lat: float, soft: float
    ) -> npt.NDArray[np.float64]:
        away = np.abs((lon - lon0 + np.pi) % (2.0 * np.pi) - np.pi)
        x = np.clip((half_lon - away) / soft + 0.5, 0.0, 1.0)
        y = np.clip((half_lat - np.abs(lat - lat0)) / soft + 0.5, 0.0, 1.0)
        return np.asarray(x * y)

    light = 0.17 + 0.24 * np.clip(np.sin(lat), 0.0, 1.0) + 0.12 * np.clip(-np.sin(lat), 0.0, 1.0)
    light = light + 1.5 * box(-1.9, 0.45, 0.55, 0.45, 0.18)
    light = light + 1.1 * box(0.9, 0.35, 0.35, 0.60, 0.18)
    light = light + 1.3 * box(0.0, 1.35, 3.2, 0.35, 0.25)
    light = light + 0.7 * box(2.6, 0.0, 0.25, 0.8, 0.2)
    light = light + 0.5 * box(-0.4, -0.9, 0.8, 0.25, 0.25)
    light = BRIGHTEST * -np.expm1(-light / BRIGHTEST)
    warm = np.array([1.0, 0.985, 0.96])
    return np.asarray(light[:, :, None] * warm, dtype=np.float32)
