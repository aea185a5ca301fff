"""Mattes of a frame as files: how much of each pixel shows a part, one file a part and one with all of them as IDs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from choreo.frames.layers import on_frame
from choreo.frames.sequences import KINDS, Numbering
from choreo.model.tracks import ShotTracks
from choreo.picture.render.colour import Singles
from choreo.picture.render.coverage import Window
from choreo.picture.render.exposure import Shown
from choreo.picture.render.frame import Renderer
from choreo.picture.render.ranks import ranked
from choreo.write.exr import exr_bytes
from choreo.write.id_mattes import TYPE_NAME, id_tints, metadata, require_different
from choreo.write.png import png_bytes

ID = "_id"
"""What the sequence with ID mattes is called; no part's id begins with ``_``."""


_MOST, _LEFT_OUT = "partsInOnePixel", "coverageLeftOut"
"""Attributes of our own in the header: see `Ranks`."""
SEEN = 0.5 / 255
"""Coverage from which on a matte of 8 bits shows it."""


@dataclass(frozen=True)
class LeftOut:
    """Parts that ID mattes do not name."""

    frames: tuple[int, ...]
    """Of the film, on which that would be seen."""
    most: int
    """Parts in one pixel there."""
    share: float
    """Of one pixel, at most."""


@dataclass(frozen=True)
class MatteFiles:
    """Draws the mattes of a frame."""

    parts: tuple[str, ...]
    kind: str
    """Of the mattes of single parts, one of `KINDS`."""
    first_number: int
    ranks: int = 6
    """How many parts a pixel of the ID mattes can name; even."""
    singly: bool = True
    """Whether each part has a sequence of its own."""
    by_id: bool = True
    """Whether there is a sequence with ID mattes."""

    @property
    def numbering(self) -> Numbering:
        """How the files of single parts are called."""
        return Numbering(self.first_number, KINDS[self.kind])

    @property
    def id_numbering(self) -> Numbering:
        """How the files with ID mattes are called."""
        return Numbering(self.first_number, "exr")

    @property
    def patterns(self) -> dict[str, str]:
        """The sequences that are drawn, and how their files are called."""
        single = {part: self.numbering.pattern(part) for part in self.parts} if self.singly else {}
        return single | ({ID: self.id_numbering.pattern(ID)} if self.by_id else {})

    @property
    def all_sequences(self) -> tuple[str, ...]:
        """All that there may be of a film, drawn this time or not."""
        return (*self.parts, ID)

    def names(self, shot: ShotTracks, frame: int) -> list[str]:
        """Return the files of a frame."""
        single = [self.numbering.name(part, shot, frame) for part in self.parts] if self.singly else []
        return [*single, *([self.id_numbering.name(ID, shot, frame)] if self.by_id else [])]

    def __call__(self, renderer: Renderer, shot: ShotTracks, frame: int) -> dict[str, bytes]:
        """Return the files; the matte of a part that does not show is empty."""
        shown = {one.part: one for one in renderer.shown(shot, frame)}
        out = {}
        if self.singly:
            for part in self.parts:
                name = self.numbering.name(part, shot, frame)
                out[name] = self._matte(shown[part], renderer.window) if part in shown else self._none(renderer.window)
        if self.by_id:
            here = [shown[part] for part in self.parts if part in shown]
            name = self.id_numbering.name(ID, shot, frame)
            out[name] = id_bytes(here, self.parts, self.ranks, renderer.window)
        return out

    def _matte(self, shown: Shown, frame: Window) -> bytes:
        coverage = np.clip(shown.light[..., 3], 0, 1)
        if self.kind == "exr":
            return _exr(coverage, shown.window, frame)
        return png_bytes(on_frame(coded(coverage, 16 if self.kind == "png16" else 8), shown.window, frame))

    def _none(self, frame: Window) -> bytes:
        return _empty(self.kind, frame)


def coded(coverage: Singles, bits: int) -> NDArray[np.generic]:
    """Return a matte as codes of 8 or 16 bits: proportional to coverage, rounded to the nearest, halves up."""
    top = 2**bits - 1
    return np.floor(coverage * np.float64(top) + 0.5).astype(np.uint16 if bits == 16 else np.uint8)


def id_bytes(shown: Sequence[Shown], names: tuple[str, ...], count: int, frame: Window) -> bytes:
    """Return the OpenEXR file with ID mattes of a frame: float, each line packed by itself, without loss.

    Channels and attributes are those of the Cryptomatte Specification 1.1.0: in layers ``00``, ``01`` and on, number
    and coverage of one rank are red and green, those of the next are blue and alpha. The layer without a number is
    a picture to look at and to pick from: green and blue are made from the numbers, weighted by coverage.

    Parameters
    ----------
    shown : sequence of Shown
        The parts that show.
    names : tuple of str
        All parts of the film, for the manifest.
    count : int
        Ranks, an even number.
    frame : Window

    """
    ranks = ranked(shown, _numbers(names), count, frame)
    channels: dict[str, NDArray[np.generic]] = {}
    for rank in range(0, count, 2):
        layer = f"{TYPE_NAME}{rank // 2:02d}"
        planes = (ranks.numbers[rank], ranks.coverages[rank], ranks.numbers[rank + 1], ranks.coverages[rank + 1])
        channels |= {f"{layer}.{channel}": plane for channel, plane in zip("rgba", planes, strict=True)}
    tints = np.zeros((frame.height, frame.width, 3), dtype=np.float32)
    for one in shown:
        tints[one.window.slices] += one.light[..., 3:] * np.array([0, *id_tints(one.part)], dtype=np.float32)
    seen = tints[ranks.window.slices].astype(np.float16)
    channels |= {f"{TYPE_NAME}.{channel}": seen[..., number] for number, channel in enumerate("rgb")}
    corner, size = (ranks.window.x, ranks.window.y), (frame.width, frame.height)
    words: dict[str, str | int | float] = {**metadata(names), _MOST: ranks.most, _LEFT_OUT: ranks.left_out}
    return exr_bytes(channels, corner, size, words, single_lines=True)


def left_out(files: Iterable[tuple[int, Path]]) -> LeftOut | None:
    """Return what ID mattes cannot name for want of ranks, as their headers say; None where nobody would see it.

    Parameters
    ----------
    files : iterable of (frame of the film, Path)

    """
    import OpenEXR  # noqa: PLC0415

    frames, most, share = [], 0, 0.0
    for frame, file in files:
        header = OpenEXR.File(str(file), header_only=True).header()
        if header[_LEFT_OUT] >= SEEN:
            frames.append(frame)
            most, share = max(most, header[_MOST]), max(share, header[_LEFT_OUT])
    return LeftOut(tuple(frames), most, share) if frames else None


@cache
def _numbers(names: tuple[str, ...]) -> Mapping[str, np.float32]:
    return require_different(names)


def _exr(coverage: Singles, window: Window, frame: Window) -> bytes:
    return exr_bytes({"Y": coverage.astype(np.float16)}, (window.x, window.y), (frame.width, frame.height))


@cache
def _empty(kind: str, frame: Window) -> bytes:
    if kind == "exr":
        return _exr(np.zeros((1, 1), dtype=np.float32), Window(0, 0, 1, 1), frame)
    depth = np.uint16 if kind == "png16" else np.uint8
    return png_bytes(np.zeros((frame.height, frame.width), dtype=depth))
