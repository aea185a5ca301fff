"""The colours of a strip: paper, ink, and tints of a part's own colour that make its solid read as one.

No meaning is carried by colour alone: parts are named, moves are drawn, states are written out.
"""

from __future__ import annotations

from dataclasses import dataclass

PAPER = "#ffffff"
INK = "#16191d"
QUIET = "#5c646c"
"""For what is read second: contrast on paper is 6 to 1."""
HAIRLINE = "#9aa1a8"

_DARK = 0.16
"""Below this luminance a colour is lifted, or its outline would drown in it."""
_PALE = 0.55
"""Above it, walls must be shaded more to stand out from the face."""


@dataclass(frozen=True)
class Tints:
    """Three tones of one part, each ``#rrggbb``."""

    face: str
    wall: str
    line: str


def tints(colour: str) -> Tints:
    """Return the tones of a part: faces that look at the camera, side walls, creases.

    Parameters
    ----------
    colour : str
        ``#rrggbb``.

    """
    light = luminance(colour)
    if light < _DARK:
        return Tints(_mixed(colour, "#ffffff", 0.30), _mixed(colour, "#ffffff", 0.12), INK)
    shade = 0.26 if light > _PALE else 0.36
    return Tints(_mixed(colour, "#ffffff", 0.22), _mixed(colour, "#000000", shade), _mixed(colour, "#000000", 0.62))


def luminance(colour: str) -> float:
    """Return the relative luminance of ``#rrggbb``, 0 to 1, as IEC 61966-2-1 (sRGB) defines it."""
    weights = (0.2126, 0.7152, 0.0722)
    return sum(weight * _linear(channel / 255) for weight, channel in zip(weights, _channels(colour), strict=True))


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def _channels(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _mixed(colour: str, other: str, share: float) -> str:
    pairs = zip(_channels(colour), _channels(other), strict=True)
    return "#" + "".join(f"{round(a + (b - a) * share):02x}" for a, b in pairs)
