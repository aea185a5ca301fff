"""Text drawn into pictures of 8 bits, in the typeface that comes with OpenCV: no font of the system is asked for.

Lines stand on plates of their own, light and not quite opaque, so that they can be read over anything. Digits are set
to one width, so that a running number does not jitter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from choreo.geometry.labels.lettering import clean

INK = (28, 30, 33)
PLATE = (250, 249, 246)
OPACITY = 0.78
"""Of the plate: ink on it keeps a contrast above 7 : 1 over black (WCAG 2.2, 1.4.6, formula of relative luminance)."""
_FACE = "sans"
_WEIGHT = 500
_PADDING = 0.28
"""Around a line, in sizes."""


@dataclass(frozen=True)
class Line:
    """One line of text."""

    text: str
    x: float
    """Left edge of its plate, px."""
    y: float
    """Upper edge of its plate, px."""
    size: int
    """Of the type, px."""
    strength: float = 1.0
    """0 to 1: how far it has come in."""


def line_size(text: str, size: int) -> tuple[int, int]:
    """Return width and height of a line's plate, px."""
    padding = math.ceil(_PADDING * size)
    return sum(_advances(clean(text), size)) + 2 * padding, _height(size) + 2 * padding


def draw_line(picture: NDArray[np.uint8], line: Line) -> None:
    """Draw a line into a picture (height, width, 3); what lies outside is cut off."""
    import cv2  # noqa: PLC0415

    text = clean(line.text)
    if not text or line.strength <= 0:
        return
    width, height = line_size(text, line.size)
    plate = np.empty((height, width, 3), dtype=np.uint8)
    plate[:] = PLATE
    padding = math.ceil(_PADDING * line.size)
    x, base = padding, padding + _ascent(line.size)
    for char, advance in zip(text, _advances(text, line.size), strict=True):
        left = x + (advance - _width(char, line.size)) // 2
        cv2.putText(plate, char, (left, base), INK, _face(), line.size, _WEIGHT)
        x += advance
    _lay(picture, plate, round(line.x), round(line.y), line.strength)


def _lay(picture: NDArray[np.uint8], plate: NDArray[np.uint8], x: int, y: int, strength: float) -> None:
    """Ink covers whole, the plate as far as OPACITY says."""
    top, left = max(0, -y), max(0, -x)
    bottom, right = min(plate.shape[0], picture.shape[0] - y), min(plate.shape[1], picture.shape[1] - x)
    if bottom <= top or right <= left:
        return
    over = plate[top:bottom, left:right].astype(np.float32)
    under = picture[y + top : y + bottom, x + left : x + right]
    ink = (PLATE[0] - over[..., :1]) / (PLATE[0] - INK[0])
    alpha = (OPACITY + (1 - OPACITY) * ink) * strength
    under[:] = np.floor(over * alpha + under * (1 - alpha) + 0.5).astype(np.uint8)


def _advances(text: str, size: int) -> list[int]:
    digit = max(_width(each, size) for each in "0123456789")
    return [digit if char.isdigit() and char.isascii() else _width(char, size) for char in text]


@cache
def _face() -> Any:
    import cv2  # noqa: PLC0415

    return cv2.FontFace(_FACE)


@cache
def _width(char: str, size: int) -> int:
    # A space at an end has no ink, so it is measured between two letters.
    return _measured(f"n{char}n", size) - _measured("nn", size)


def _measured(text: str, size: int) -> int:
    import cv2  # noqa: PLC0415

    return int(cv2.getTextSize((16, 16), text, (0, 0), _face(), size, _WEIGHT)[2])


def _ascent(size: int) -> int:
    return math.ceil(0.95 * size)


def _height(size: int) -> int:
    return math.ceil(1.2 * size)
