"""What a frame's picture hangs on, as one short key: the frame is stale exactly where its key has changed.

Into the key goes what the renderer reads for that frame and for the time its shutter is open, and nothing else of the
film: so a change of one part's timing makes only those frames stale on which that part stands elsewhere. The code that
draws goes into it too, and the libraries that it draws with.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np

from choreo.frames.plates import Digests, files_on
from choreo.frames.scene import Scene
from choreo.model.tracks import Key, Masking, PartTrack, ShotTracks

_DRAWS = ("picture/render", "geometry", "motion", "model", "write", "frames")
"""Folders of code that a picture may hang on."""
_LIBRARIES = ("numpy", "shapely", "opencv-python-headless")
_CAMERA_REACH = 2
"""Frames about a frame that its camera between frames is made from."""


class FrameKeys:
    """Keys of frames of a scene.

    Parameters
    ----------
    scene : Scene
    purpose : str
        What is drawn and how, beyond the scene: whatever else the files hang on.

    """

    def __init__(self, scene: Scene, purpose: str) -> None:
        self._scene = scene
        self._digests = Digests(scene.folder)
        width, height = scene.tracks.resolution
        self._film = f"{_code()}|{purpose}|{width}x{height}|{scene.size}|{scene.shutter!r}"
        self._parts = {part.id: repr((part.slabs, part.offset, part.colour)) for part in scene.assembly.parts}

    def key(self, shot: ShotTracks, frame: int) -> str:
        """Return the key of a frame of a shot, 64 hexadecimal digits."""
        moving = self._scene.shutter > 0
        near = slice(max(0, frame - _CAMERA_REACH), frame + _CAMERA_REACH + 1) if moving else slice(frame, frame + 1)
        beside = slice(max(0, frame - 1), frame + 2) if moving else slice(frame, frame + 1)
        plates = self._scene.plates[shot.name]
        files = files_on(plates, shot, frame)
        said: list[object] = [
            self._film,
            # Where on a shot's ends a frame lies decides how its camera goes on between frames.
            min(frame, _CAMERA_REACH) if moving else 0,
            min(shot.frames - 1 - frame, _CAMERA_REACH) if moving else 0,
            shot.cameras[near].tobytes(),
            *_masks(shot.masking, frame),
        ]
        for track in shot.parts:
            said.append((track.id, self._parts[track.id], _standing(track, frame, beside, moving=moving)))
            if track.id in files:
                plate = plates.plates[track.id]
                plain = (*_numbers(plate), plate.frames is not None)
                said.append((plain, self._digests(files[track.id])))
        shown = shot.hero_opacity[beside]
        said.append(shown.tobytes())
        said.extend(self._taken(shot, beside))
        if plates.hero is not None and (shown > 0).any():
            said.append((*_numbers(plates.hero), self._digests(plates.hero.file)))
        return hashlib.sha256(repr(said).encode()).hexdigest()

    def _taken(self, shot: ShotTracks, beside: slice) -> list[object]:
        """Which parts the still has taken over by more than the whole, and all that shows on the ends of the shot."""
        whole = shot.hero_opacity[beside]
        rows = {part: row[beside] for part, row in shot.hero_parts.items() if (row[beside] > whole).any()}
        if not rows:
            return []
        said: list[object] = [(part, row.tobytes()) for part, row in rows.items()]
        ends = {
            0 if (shot.hero_parts[part][: frame + 1] > 0).all() else shot.frames - 1
            for part in rows
            for frame in range(beside.start, min(beside.stop, shot.frames))
        }
        files = self._scene.plates[shot.name]
        for end in sorted(ends):
            here = slice(end, end + 1)
            said += [end == 0, shot.cameras[end].tobytes(), *_masks(shot.masking, end)]
            said += [(track.id, _standing(track, end, here, moving=False)) for track in shot.parts]
            said += [(part, self._digests(file)) for part, file in files_on(files, shot, end).items()]
        return said


def _masks(masking: Masking, frame: int) -> list[object]:
    return [
        [span.back_to_front for span in masking.orders if span.first <= frame <= span.last],
        [
            (hold.part, hold.behind, [(region.outline, region.holes) for region in hold.region])
            for hold in masking.holdouts
            if hold.first <= frame <= hold.last
        ],
    ]


def _standing(track: PartTrack, frame: int, beside: slice, *, moving: bool) -> tuple[object, ...]:
    """Where a part stands on a frame, and its way while the shutter is open."""
    rows = [
        track.position[frame],
        track.opacity[frame : frame + 1],
        track.screen[frame],
        track.scale[frame : frame + 1],
    ]
    here: list[object] = [np.concatenate(rows).tobytes()]
    if track.spin is not None:
        here.append((track.spin.degrees, track.spin.since))
    if track.register is not None:
        here.append(track.register[beside].tobytes())
    if moving or track.spin is not None:
        keys = _about(track.keys, frame)
        here.append(keys)
        if len({value for _, value, _ in keys}) > 1:
            here.append(track.route.tobytes())
    return tuple(here)


def _about(keys: tuple[Key, ...], frame: int) -> list[tuple[int, float, str | None]]:
    """The keys that rule from half a frame before a frame to half a frame after it, counted from that frame.

    Of a stretch without motion only the value is kept: when it began and ends is not seen.
    """
    first = max((i for i, key in enumerate(keys) if key.frame < frame), default=0)
    last = min((i for i, key in enumerate(keys) if key.frame > frame), default=len(keys) - 1)
    near = keys[first : last + 1]
    if len({key.value for key in near}) == 1:
        return [(0, near[0].value, None)]
    return [(key.frame - frame, key.value, key.easing) for key in near]


def _numbers(plate: object) -> tuple[object, ...]:
    """All that places a picture, and none of what names it."""
    fields = {name: value for name, value in vars(plate).items() if name not in ("part", "file", "frames")}
    return tuple(sorted((name, repr(value)) for name, value in fields.items()))


@cache
def _code() -> str:
    """The digest of the code that draws, and the versions of what it draws with."""
    digest = hashlib.sha256()
    root = Path(__file__).resolve().parents[1]
    for folder in _DRAWS:
        for file in sorted((root / folder).glob("*.py")):
            digest.update(file.read_bytes())
    libraries = ",".join(f"{name} {version(name)}" for name in _LIBRARIES)
    return f"{digest.hexdigest()} {libraries}"
