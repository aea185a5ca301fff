"""Silhouettes of parts at the instants of a film, kept, and worked out for several instants at once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera, camera_from_matrix
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import turned
from choreo.model.plan import Floats
from choreo.model.tracks import ShotTracks
from choreo.picture.render.moment import Moment
from choreo.picture.render.standing import Standing, scaled

_KEPT = 2000
_COMPANY = 12
"""Frames whose outlines are worked out together."""

Views = dict[bytes, tuple[Camera, Floats]]
"""Cameras and displacements, by their key."""


class Outlines:
    """Silhouettes of a film's parts, px. What is asked for decides when they are worked out, not how they come out."""

    def __init__(self, solids: Mapping[str, Solid], origins: Mapping[str, Floats]) -> None:
        self._solids, self._origins = solids, origins
        self._kept: dict[tuple[str, bytes], BaseGeometry] = {}
        self._moved: dict[str, tuple[bytes, BaseGeometry]] = {}
        self._coming: dict[str, Views] = {}
        self._company: tuple[ShotTracks, int, float, dict[str, Views]] | None = None

    def at(self, part: str, standing: Standing) -> BaseGeometry:
        """Return the silhouette of a part as it stands; the same object while that is the same."""
        camera, shift = standing.camera, standing.shift
        if standing.turn:
            key = view_key(camera, shift) + np.array([standing.turn]).tobytes()
            if self._moved.get(part, (b"",))[0] != key:
                solid = turned(self._solids[part], self._origins[part], standing.turn)
                self._moved[part] = key, silhouettes(solid, [camera], shift[None])[0]
            return self._moved[part][1]
        if camera.is_perspective:
            return self._silhouette(part, camera, shift)
        # Before a parallel camera a part that moves keeps its outline.
        base, key = self._silhouette(part, camera, np.zeros(3)), view_key(camera, shift)
        if self._moved.get(part, (b"",))[0] != key:
            by = camera.project(shift)[0] - camera.project(np.zeros(3))[0]
            self._moved[part] = key, shapely.transform(base, lambda xy: xy + by)
        return self._moved[part][1]

    def expect(self, shot: ShotTracks, frame: int, size: float, moments: Sequence[Moment]) -> None:
        """Note the instants of a blurred frame, or else the frames about this one: always the same company."""
        if not moments[0].camera.is_perspective:
            self._coming = {}
        elif len(moments) > 1:
            self._coming = {part: _views(moment.parts[part] for moment in moments) for part in moments[0].parts}
        else:
            self._coming = self._frames_about(shot, frame, size)

    def _frames_about(self, shot: ShotTracks, frame: int, size: float) -> dict[str, Views]:
        first = frame // _COMPANY * _COMPANY
        known = self._company
        if known is None or known[0] is not shot or known[1:3] != (first, size):
            last = min(first + _COMPANY, shot.frames)
            cameras = [camera_from_matrix(scaled(matrix, size)) for matrix in shot.cameras[first:last]]
            found = {}
            for track in shot.parts:
                places = zip(cameras, track.position[first:last], strict=True)
                found[track.id] = {view_key(camera, shift): (camera, shift) for camera, shift in places}
            known = self._company = shot, first, size, found
        return known[3]

    def _silhouette(self, part: str, camera: Camera, shift: Floats) -> BaseGeometry:
        key = view_key(camera, shift)
        if (part, key) not in self._kept:
            if len(self._kept) >= _KEPT:
                self._kept.clear()
            # One call for the instants to come costs little more than one for this instant.
            coming = self._coming.get(part, {})
            wanted = coming if key in coming else {key: (camera, shift)}
            cameras, shifts = [each for each, _ in wanted.values()], np.stack([each for _, each in wanted.values()])
            found = silhouettes(self._solids[part], cameras, shifts)
            self._kept.update(zip([(part, each) for each in wanted], found, strict=True))
        return self._kept[part, key]


def view_key(camera: Camera, shift: Floats) -> bytes:
    """Return what a silhouette hangs on, but for the turn of the part."""
    return camera.matrix.tobytes() + shift.tobytes()


def _views(standings: Iterable[Standing]) -> Views:
    return {view_key(at.camera, at.shift): (at.camera, at.shift) for at in dict.fromkeys(standings)}
