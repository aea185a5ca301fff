"""What is burnt into a moving picture: timecode, frame and section below, and the parts' names beside them at rest.

A name fades in while its part comes to rest and out as it leaves. It keeps to one side of its part for a whole shot,
the side on which it is in nobody's way in the middle of the time at rest; where there is no such side, the part goes
without.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.labels.lettering import clean
from choreo.model.choreography import FrameRate
from choreo.model.plan import Floats
from choreo.model.tracks import Key, ShotTracks, Tracks
from choreo.motion.law import evaluate_keys
from choreo.motion.timecode import timecode
from choreo.picture.render.lettered import Line, line_size

_TIMECODE, _LABEL = 1 / 36, 1 / 50
"""Size of type, of the picture's height."""
_LEAST_PX = 11
_MARGIN = 0.05
"""Of the picture, on each side: the area for graphics of EBU R 95."""
_AWAY = 0.6
"""Progress from which on a part's name comes in; it is there at 1."""
_GAP = 0.4
"""Between a part and its name, in sizes of type."""
_LONGEST = 28

Box = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class BurnIn:
    """Lines for any frame of a film."""

    tracks: Tracks
    labels: Mapping[str, str]
    """By part."""
    points: Mapping[str, Floats]
    """Hull corners of each part, assembled, mm."""
    pixels: tuple[int, int]
    """Of the picture."""

    def lines_of(self, shot: ShotTracks) -> Callable[[int], list[Line]]:
        """Return what gives the lines of a frame of a shot."""
        width, height = self.pixels
        small = max(_LEAST_PX, round(_LABEL * height))
        share = width / self.tracks.resolution[0]
        away = {track.id: _come_in(track.keys, shot.frames) for track in shot.parts}
        moved = np.max(list(away.values()), axis=0, initial=0.0)
        still = {track.id for track in shot.parts if not away[track.id].any()}
        come = {part: (moved if part in still else each) for part, each in away.items()}
        boxes = {part: self._boxes(shot, part) * share for part in away}
        sides = _sides(boxes, come, self.labels, small, self.pixels)

        def lines(frame: int) -> list[Line]:
            found = self._below(shot, frame)
            taken = [_plate(line) for line in found]
            for part, side in sides.items():
                text, strength = _short(self.labels[part]), float(come[part][frame])
                if strength > 0:
                    x, y = _placed(boxes[part][frame], side, text, small)
                    name = Line(text, x, y, small, strength)
                    if not any(_meet(_plate(name), other) for other in taken):
                        found.append(name)
            return found

        return lines

    def _below(self, shot: ShotTracks, frame: int) -> list[Line]:
        width, height = self.pixels
        size = max(_LEAST_PX, round(_TIMECODE * height))
        number = shot.start_frame + frame
        section = next((s.name for s in self.tracks.sections if s.first <= number <= s.last), "")
        left = f"{timecode(number, FrameRate(*self.tracks.frame_rate))} · frame {number}"
        right = shot.name if section in ("", shot.name) else f"{shot.name} · {section}"
        across, high = line_size(right, size)
        y = height * (1 - _MARGIN) - high
        return [Line(left, width * _MARGIN, y, size), Line(right, width * (1 - _MARGIN) - across, y, size)]

    def _boxes(self, shot: ShotTracks, part: str) -> Floats:
        """Left, top, right, bottom (frames, 4) of a part on the screen, px of the tracks."""
        track = next(track for track in shot.parts if track.id == part)
        seen = [
            camera_from_matrix(matrix).project(self.points[part] + shift)[0]
            for matrix, shift in zip(shot.cameras, track.position, strict=True)
        ]
        return np.array([[*corners.min(axis=0), *corners.max(axis=0)] for corners in seen])


def _come_in(keys: tuple[Key, ...], frames: int) -> Floats:
    """How far a name has come in, 0 to 1, on each frame."""
    way = evaluate_keys(keys, np.arange(frames))
    share = np.clip((way - _AWAY) / (1 - _AWAY), 0.0, 1.0)
    return np.asarray(share * share * (3 - 2 * share))


def _sides(
    boxes: Mapping[str, Floats],
    come: Mapping[str, Floats],
    labels: Mapping[str, str],
    size: int,
    pixels: tuple[int, int],
) -> dict[str, int]:
    """Below, above, right or left of each part; parts without a free side are left out."""
    whole = np.min(list(come.values()), axis=0)
    best = np.flatnonzero(whole == whole.max())
    middle = int(best[len(best) // 2])
    here: dict[str, Box] = {part: _box(box[middle]) for part, box in boxes.items()}
    taken: list[Box] = []
    out: dict[str, int] = {}
    margin = (_MARGIN * pixels[0], _MARGIN * pixels[1], (1 - _MARGIN) * pixels[0], (1 - 2.4 * _MARGIN) * pixels[1])
    for part, box in here.items():
        text = _short(labels[part])
        for side in range(4):
            x, y = _placed(np.array(box), side, text, size)
            wide, high = line_size(text, size)
            place = (x, y, x + wide, y + high)
            others = [other for name, other in here.items() if name != part]
            if _inside(place, margin) and not any(_meet(place, other) for other in (*taken, *others)):
                taken.append(place)
                out[part] = side
                break
    return out


def _placed(box: Floats, side: int, text: str, size: int) -> tuple[float, float]:
    """Upper left corner of a name's plate."""
    wide, high = line_size(text, size)
    left, top, right, bottom = (float(value) for value in box)
    gap = _GAP * size
    across, down = (left + right - wide) / 2, (top + bottom - high) / 2
    return [(across, bottom + gap), (across, top - gap - high), (right + gap, down), (left - gap - wide, down)][side]


def _box(row: Floats) -> Box:
    left, top, right, bottom = (float(value) for value in row)
    return left, top, right, bottom


def _inside(box: Box, outer: Box) -> bool:
    return box[0] >= outer[0] and box[1] >= outer[1] and box[2] <= outer[2] and box[3] <= outer[3]


def _meet(one: Box, two: Box) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


def _plate(line: Line) -> Box:
    wide, high = line_size(line.text, line.size)
    return line.x, line.y, line.x + wide, line.y + high


def _short(text: str) -> str:
    text = clean(text)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1].rstrip() + "…"
