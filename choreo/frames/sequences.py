"""Sequences of pictures, one a part: what they are called, what they hold, and in which order they are stacked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from choreo.frames.scene import Scene
from choreo.model.tracks import ShotTracks, Tracks
from choreo.picture.render.exposure import HERO

KINDS: Mapping[str, str] = {"exr": "exr", "png16": "png", "png8": "png"}
"""Kinds of files, and how their names end."""


@dataclass(frozen=True)
class Numbering:
    """How the files of a sequence are called."""

    first: int
    """Number of the film's first frame; that of a frame does not hang on which frames are asked for."""
    ending: str

    def name(self, part: str, shot: ShotTracks, frame: int) -> str:
        """Return the file of a frame of a shot."""
        return f"{part}/{part}.{self.first + shot.start_frame + frame:04d}.{self.ending}"

    def pattern(self, part: str) -> str:
        """Return the file with ``#`` for each of the four digits."""
        return f"{part}/{part}.####.{self.ending}"


def pictured_parts(scene: Scene) -> tuple[str, ...]:
    """Return the parts of a film, in the order of the assembly, and the hero last if a shot shows it."""
    hero = any(shown.hero is not None for shown in scene.plates.values())
    return (*scene.assembly.ids, *([HERO] if hero else []))


def constant_order(tracks: Tracks) -> tuple[str, ...]:
    """Return one order for all frames, back to front: the one that holds on most of them, the earliest of several.

    Any order would do; in this one the fewest layers have to be cut where the true order is another. A part that it
    does not name, because it is never drawn on those frames, comes on top.
    """
    frames: dict[tuple[str, ...], int] = {}
    for shot in tracks.shots:
        for span in shot.masking.orders:
            frames[span.back_to_front] = frames.get(span.back_to_front, 0) + span.last + 1 - span.first
    longest = max(frames, key=lambda order: frames[order])
    named = dict.fromkeys(part for order in (longest, *frames) for part in order)
    return tuple(named)


def film_files(tracks: Tracks, parts: Iterable[str], first: int, endings: Iterable[str]) -> set[str]:
    """Return the names of all files that the whole film may have; what an earlier run left beyond them is stale."""
    return {
        Numbering(first, ending).name(part, shot, frame)
        for ending in endings
        for part in parts
        for shot in tracks.shots
        for frame in range(shot.frames)
    }
