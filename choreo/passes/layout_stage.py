"""One shot's cameras as a function of the one number that is free, and layouts that agree with them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from choreo.errors import ChoreoError, no_solution
from choreo.geometry.cameras.camera import Camera, orthographic_camera, perspective_camera, view_axes
from choreo.geometry.cameras.fit import FitPoints, centred_target, needed_distance, needed_scale
from choreo.geometry.layout.arrange import place
from choreo.geometry.layout.subject import Frame, Subject
from choreo.model.choreography import Shot
from choreo.model.plan import Floats
from choreo.motion.easing import parse_easing
from choreo.motion.path import position
from choreo.passes.layout_words import inside, no_fit, off_middle

_SLACK = 0.03
"""The camera may stand this much (relative) farther than the layout needs; closer costs more rounds."""
_ROUNDS = 16
_AIMING = 4
"""Rounds in which the camera's target still follows what is shown."""
_STEP_BACK = 1.7
_WATCHED_TURN = 20.0
"""Degrees between two rest frames that are respected from the start; others join as they prove the worst."""
_FIRST_GUESS = 2.5
"""A burst needs about this many times the distance that the assembled product needs."""
_FARTHEST = 1e4
"""No camera is tried at more than this many times the size that the assembled product needs: it would be a dot."""
_EDGE_PX = 1.0
"""Moving parts keep this far from the frame's edge."""
_INSIDE_PX = 1e-3
"""px by which rounding may bring a part out of the safe area."""
_NEAREST = 0.1
"""A camera stands too near where the nearest point is nearer than this fraction of the farthest."""


def rest_frames(shot: Shot) -> tuple[int, ...]:
    """Return the frames on which all parts are at rest apart.

    Exploded holds, the last frame of an explode and the first of an assemble.
    """
    frames: list[int] = []
    exploded = shot.begins_exploded
    for start, phase in zip(shot.starts, shot.phases, strict=True):
        if phase.kind == "explode":
            frames.append(start + phase.frames - 1)
        elif phase.kind == "assemble":
            frames.append(start)
        elif exploded:
            frames.extend(range(start, start + phase.frames))
        exploded = phase.kind == "explode" or (exploded and phase.kind == "hold")
    return tuple(sorted(set(frames)))


def apart_frames(shot: Shot) -> tuple[int, ...]:
    """Frames on which some part may be away from its assembled place."""
    frames: list[int] = []
    exploded = shot.begins_exploded
    for start, phase in zip(shot.starts, shot.phases, strict=True):
        if phase.kind != "hold" or exploded:
            frames.extend(range(start, start + phase.frames))
        exploded = phase.kind == "explode" or (exploded and phase.kind == "hold")
    return tuple(frames)


class Stage:
    """One shot's cameras as a function of the one number that is free, and that number for given routes."""

    def __init__(self, subject: Subject, shot: Shot, frame: Frame) -> None:
        self.subject, self.shot, self.frame = subject, shot, frame
        turn = shot.orbit
        time = np.linspace(0, 1, shot.frames) if shot.frames > 1 else np.zeros(1)
        way = np.asarray(parse_easing(turn.easing).value(time)) if turn else np.zeros(shot.frames)
        self.azimuth = shot.view.azimuth + (turn.azimuth if turn else 0.0) * way
        self.elevation = shot.view.elevation + (turn.elevation if turn else 0.0) * way
        self.axes = np.stack(
            [np.stack(view_axes(a, e)) for a, e in zip(self.azimuth.tolist(), self.elevation.tolist(), strict=True)]
        )
        self.rest = rest_frames(shot)
        self.apart = apart_frames(shot)
        self.fixed = shot.view.distance_mm if self.perspective else shot.view.px_per_mm

    @property
    def assembled(self) -> dict[str, Floats]:
        """Routes on which nobody goes anywhere."""
        return {part: np.zeros((1, 3)) for part in (*self.subject.order, self.subject.body)}

    @property
    def given(self) -> float:
        """The size of the camera that the shot fixes: distance in mm, or mm a px."""
        assert self.fixed is not None
        return self.fixed if self.perspective else 1 / self.fixed

    @property
    def perspective(self) -> bool:
        """Whether the shot's view is a perspective one."""
        return self.shot.view.projection == "perspective"

    @property
    def focal_px(self) -> float:
        """Focal length of a perspective view, px."""
        sensor, (width, height) = self.shot.view.sensor_mm, self.frame.resolution
        assert sensor is not None
        assert self.shot.view.focal_mm is not None
        return self.shot.view.focal_mm * max(width / sensor[0], height / sensor[1])

    def cameras(self, target: Floats, size: float) -> tuple[Camera, ...]:
        """Return a camera for every frame; `size` is the distance in mm, or mm a px."""
        number = size if self.perspective else 1 / size
        view, resolution = self.shot.view, self.frame.resolution
        known: dict[tuple[float, float], Camera] = {}
        out = []
        for pose in zip(self.azimuth.tolist(), self.elevation.tolist(), strict=True):
            if pose not in known:
                if self.perspective:
                    assert view.sensor_mm is not None
                    assert view.focal_mm is not None
                    known[pose] = perspective_camera(*pose, target, number, view.focal_mm, view.sensor_mm, resolution)
                else:
                    known[pose] = orthographic_camera(*pose, target, number, resolution)
            out.append(known[pose])
        return tuple(out)

    def fit(self, routes: Mapping[str, Floats]) -> tuple[tuple[Camera, ...], float]:
        """Return the cameras that show these routes as large as they can be, and their size."""
        target = self.target(routes, None)
        size = self.need(routes, target)
        return self.cameras(target, size), size

    def target(self, routes: Mapping[str, Floats], distance: float | None) -> Floats:
        """Return what to look at: what the shot fixes, else the middle of what it shows."""
        if self.shot.view.target is not None:
            return np.array(self.shot.view.target)
        sets = self._sets(routes)
        corners = sets[0].points
        middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        return centred_target(sets, middle, distance if self.perspective else None)

    def need(self, routes: Mapping[str, Floats], target: Floats) -> float:
        """Return the least size (distance in mm, or mm a px) of a camera on `target` that shows these routes."""
        number = self._number(self._sets(routes), target)
        return number if self.perspective else 1 / number

    def reach(self, routes: Mapping[str, Floats], target: Floats) -> float:
        """Return the least size of a camera on `target` that shows these routes, whatever the shot fixes."""
        number = self._free_number(self._sets(routes), target)
        return number if self.perspective else 1 / number

    def _number(self, sets: list[FitPoints], target: Floats) -> float:
        return self.fixed if self.fixed is not None else self._free_number(sets, target)

    def _free_number(self, sets: list[FitPoints], target: Floats) -> float:
        self._must_hold_the_middle()
        if self.perspective:
            return needed_distance(sets, target, self.focal_px, self.frame.resolution, nearest=1.0)
        return needed_scale(sets, target, self.frame.resolution)

    def _must_hold_the_middle(self) -> None:
        """Refuse a safe area without the middle of the frame: points about the middle never get into it."""
        halves = np.tile(self.frame.size / 2, 2)
        past = np.array(self.frame.margins) - halves
        worst = int(past.argmax())
        if past[worst] > -_INSIDE_PX:
            edge = ("left", "top", "right", "bottom")[worst]
            raise no_solution(off_middle(self.shot.name, edge, max(float(past[worst]), 0.0)))

    def _sets(self, routes: Mapping[str, Floats]) -> list[FitPoints]:
        """Rest positions in the safe area, whole ways in the frame, the assembled product in the safe area."""
        points = self.subject.points
        assembled = np.concatenate([points[part] for part in routes])
        rest = np.concatenate([points[part] + route[-1] for part, route in routes.items()])
        ways = np.concatenate(
            [points[part] + at for part, route in routes.items() for at in self._whole_way(part, route)]
        )
        edge = (_EDGE_PX,) * 4
        sets = []
        if self.rest:
            sets.append(FitPoints(rest, self._poses(self.rest), self.frame.margins))
        sets.append(FitPoints(assembled, self._poses(range(self.shot.frames)), self.frame.margins))
        if self.apart:
            sets.append(FitPoints(ways, self._poses(self.apart), edge))
        return sets

    def _whole_way(self, part: str, route: Floats) -> Floats:
        """Corners of a route and where easings carry the part beyond its ends."""
        if len(route) < 2:
            return route
        moving = [phase for phase in self.shot.phases if phase.kind != "hold"]
        extents = [parse_easing(phase.motion(part).easing).extent for phase in moving]
        kinds = [phase.kind for phase in moving]
        beyond = [
            bound if kind == "explode" else 1 - bound
            for extent, kind in zip(extents, kinds, strict=True)
            for bound in extent
            if bound < 0 or bound > 1
        ]
        return np.concatenate([route, position(route, np.array(beyond))]) if beyond else route

    def contains(self, cameras: Sequence[Camera], part: str, route: Floats) -> bool:
        """Whether a part rests in the safe area and stays in the frame on its way, under the shot's own cameras."""
        points = self.subject.points[part]
        ways = (points + self._whole_way(part, route)[:, None]).reshape(-1, 3)
        checks = [(self.rest, points + route[-1], self.frame.margins), (self.apart, ways, (_EDGE_PX,) * 4)]
        for frames, corners, (left, top, right, bottom) in checks:
            low, high = np.array([left, top]), self.frame.size - (right, bottom)
            for camera in dict.fromkeys(cameras[frame] for frame in frames):
                image, depth = camera.project(corners)
                if depth.min() <= 0 and camera.is_perspective:
                    return False
                if (image < low - _INSIDE_PX).any() or (image > high + _INSIDE_PX).any():
                    return False
        return True

    def _poses(self, frames: Sequence[int]) -> Floats:
        """Axes of the camera on these frames, each pose once."""
        turned = np.stack([self.azimuth[list(frames)], self.elevation[list(frames)]], axis=1)
        _, first = np.unique(turned, axis=0, return_index=True)
        return np.asarray(self.axes[list(frames)][np.sort(first)])

    def spread(self) -> set[int]:
        """Return rest frames spread over what the camera turns while the parts rest, both ends included."""
        first, last = self.rest[0], self.rest[-1]
        turn = abs(self.azimuth[last] - self.azimuth[first]) + abs(self.elevation[last] - self.elevation[first])
        count = max(3, int(turn / _WATCHED_TURN) + 2)
        return {self.rest[k] for k in np.linspace(0, len(self.rest) - 1, count).astype(int).tolist()}

    def agree(
        self, watched: list[int], size: float | None = None
    ) -> tuple[tuple[Camera, ...], dict[str, Floats], float]:
        """Return cameras and routes that fit each other, and their size (the one to start from again).

        Under a camera of size D (mm away, or mm a px) the layout needs a size N(D), which grows more slowly
        than D: a D with N(D) <= D, little larger than it must be, is closed in from both sides (regula falsi
        on N(D) - D). The target follows what is shown for the first rounds, then stays.
        """
        alone = self.assembled
        target = self.target(alone, None)
        if self.fixed is not None:
            cameras = self.cameras(target, self.given)
            self._stand_clear(cameras)
            return cameras, self.place(cameras, watched, bounded=True), self.given
        farthest = _FARTHEST * self.need(alone, target)
        size = size or _FIRST_GUESS * self.need(alone, target)
        near: tuple[float, float] | None = None
        far: tuple[float, float] | None = None
        best: tuple[tuple[Camera, ...], dict[str, Floats], float] | None = None
        refused: ChoreoError | None = None
        for turn in range(_ROUNDS):
            if size > farthest:
                break
            cameras = self.cameras(target, size)
            try:
                routes = self.place(cameras, watched, bounded=False)
            except ChoreoError as error:  # too near to be laid out; farther away it may do
                refused, size = refused or error, size * _STEP_BACK
                continue
            need = self.need(routes, target)
            if need <= size:
                best = (cameras, routes, size)
                if size - need <= _SLACK * size:
                    break
            if turn < _AIMING:
                target = self.target(routes, size)
                need = self.need(routes, target)
                size = need * (1 + _SLACK / 2)
                continue
            if need <= size:
                far = (size, need - size)
            else:
                near = (size, need - size)
            size = _next_size(size, need, near, far)
        if best is None:
            raise refused or no_solution(no_fit(self.shot.name))
        return best

    def _stand_clear(self, cameras: tuple[Camera, ...]) -> None:
        """Refuse a fixed camera that stands inside the product or touches it."""
        points = np.concatenate([self.subject.points[part] for part in (*self.subject.order, self.subject.body)])
        for frame, camera in enumerate(cameras):
            depth = camera.project(points)[1]
            if camera.is_perspective and float(depth.min()) < _NEAREST * float(depth.max()):
                raise no_solution(inside(self.shot.name, frame, float(depth.min())))

    def place(self, cameras: tuple[Camera, ...], watched: Sequence[int], *, bounded: bool) -> dict[str, Floats]:
        """Return routes that read under the cameras of the frames that are watched."""
        known = list(dict.fromkeys(cameras[f] for f in watched))
        return place(self.subject, known, self.frame, gap_px=self.frame.gap_px, bounded=bounded)


def _next_size(size: float, need: float, near: tuple[float, float] | None, far: tuple[float, float] | None) -> float:
    if near is None:
        return need * (1 + _SLACK / 2) if need < size else size * 2
    if far is None:
        return max(need, size * 1.3) * 1.1
    (a, fa), (b, fb) = near, far
    guess = a + (b - a) * fa / (fa - fb)
    # Aim a little beyond the root: only sizes that are large enough count.
    guess += 0.4 * _SLACK * guess
    return float(np.clip(guess, a + 0.1 * (b - a), a + 0.95 * (b - a)))
