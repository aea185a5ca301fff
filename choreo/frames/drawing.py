"""Whole frames: as PNG with alpha or over a colour, or as the pixels that such a PNG holds."""

from __future__ import annotations

from dataclasses import dataclass

from choreo.model.tracks import ShotTracks
from choreo.picture.render.frame import Renderer
from choreo.write.png import png_bytes


@dataclass(frozen=True)
class WholeFrame:
    """Draws a frame to one file."""

    pattern: str
    """The file's name; ``{}`` stands for the frame's number in the film."""
    colour: str | None = None
    """``#rrggbb`` behind it; None: RGBA."""
    bits: int = 8
    """8 or 16; over a colour always 8."""

    def name(self, shot: ShotTracks, frame: int) -> str:
        """Return the name of a frame's file."""
        return self.pattern.format(shot.start_frame + frame)

    def __call__(self, renderer: Renderer, shot: ShotTracks, frame: int) -> dict[str, bytes]:
        """Return the file."""
        if self.colour is None:
            codes = renderer.frame(shot, frame, self.bits)
        else:
            codes = renderer.on_colour(shot, frame, self.colour)
        return {self.name(shot, frame): png_bytes(codes)}


@dataclass(frozen=True)
class FramePixels:
    """Draws a frame to its pixels alone: rows from the top, red, green, blue and alpha, 8 bits each."""

    def __call__(self, renderer: Renderer, shot: ShotTracks, frame: int) -> dict[str, bytes]:
        """Return them under the name that `pixels_of` gives."""
        return {pixels_of(shot.name, frame): renderer.frame(shot, frame).tobytes()}


def pixels_of(shot: str, frame: int) -> str:
    """Return what the pixels of a frame of a shot go by."""
    return f"{shot}/{frame}"
