"""Take out of a new compile what differs from an old one by less than anybody can see.

A shot that is solved once more by another way comes out a hair beside: 1e-9 px, say. That is no change. So each
number that lies within a tolerance of the old one is replaced by it; whatever is then held against the old compile,
exactly or by digests, differs in what can be seen alone. Numbers that differ by more stay as they are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from choreo.model.plan import Floats, Region
from choreo.model.tracks import Holdout, Key, Masking, PartTrack, ShotTracks, Spin, Tracks

UNSEEN_PX = 1e-6
"""px on the screen."""
UNSEEN_MM = 1e-6
"""mm of the product: less than a thousandth of a px in the closest of close-ups."""
_TURN = 1e-6
"""Degrees: the edge of a part of 1000 px moves by 2e-5 px."""
_OPACITY = 1e-6
"""8 bits have steps of 4e-3, 16 bits of 1.5e-5."""
_SIZE = 1e-9
"""Of a scale or a growth: 1e-6 px of a part of 1000."""
_FRAMES = 1e-6
"""Of a photograph's number; the nearest whole one is shown."""
_CAMERA = 1e-10
"""Of the largest number of a row's turning part, or of the row: far below 1e-6 px on a screen of some 1000."""
_PROGRESS = 1e-12
"""Of a key's value."""
_MASK_PX = 1.5e-4
"""px: outlines of holdouts are written to 4 decimals, so a hair may turn the last of them over by one."""
_REGISTER = np.array([UNSEEN_PX, UNSEEN_PX, _SIZE, _TURN])


def without_unseen(old: Tracks, new: Tracks) -> Tracks:
    """Return the new tracks with the old numbers wherever the difference is too small to be seen.

    Parameters
    ----------
    old, new : Tracks
        Shots and parts are matched by name, frames by their number in the shot.

    """
    before = {shot.name: shot for shot in old.shots}
    shots = tuple(_shot(before[shot.name], shot) if shot.name in before else shot for shot in new.shots)
    return replace(new, shots=shots)


def _shot(old: ShotTracks, new: ShotTracks) -> ShotTracks:
    before = {track.id: track for track in old.parts}
    return replace(
        new,
        cameras=_settled(old.cameras, new.cameras, _camera_room(old.cameras)),
        hero_opacity=_settled(old.hero_opacity, new.hero_opacity, _OPACITY),
        hero_parts={
            part: _settled(old.hero_parts.get(part, old.hero_opacity), row, _OPACITY)
            for part, row in new.hero_parts.items()
        },
        parts=tuple(_part(before[track.id], track) if track.id in before else track for track in new.parts),
        masking=_masking(old.masking, new.masking),
    )


def _part(old: PartTrack, new: PartTrack) -> PartTrack:
    return replace(
        new,
        route=_settled(old.route, new.route, UNSEEN_MM) if len(old.route) == len(new.route) else new.route,
        keys=_keys(old.keys, new.keys),
        position=_settled(old.position, new.position, UNSEEN_MM),
        screen=_settled(old.screen, new.screen, UNSEEN_PX),
        scale=_settled(old.scale, new.scale, _SIZE * np.abs(old.scale)),
        opacity=_settled(old.opacity, new.opacity, _OPACITY),
        plate_frame=_photographs(old.plate_frame, new.plate_frame),
        spin=_spin(old.spin, new.spin),
        turn=_either(old.turn, new.turn, _TURN),
        register=_either(old.register, new.register, _REGISTER),
    )


def _settled(old: Floats, new: Floats, room: ArrayLike) -> Floats:
    """The new numbers, one row a frame, with the old ones where they are that near; `room` may have rows as well."""
    count = min(len(old), len(new))
    tolerance = np.broadcast_to(np.asarray(room), old.shape)[:count]
    found = np.array(new)
    found[:count] = np.where(np.abs(new[:count] - old[:count]) <= tolerance, old[:count], new[:count])
    return found


def _either(old: Floats | None, new: Floats | None, room: ArrayLike) -> Floats | None:
    return new if old is None or new is None else _settled(old, new, room)


def _camera_room(cameras: Floats) -> Floats:
    room = np.empty_like(cameras)
    room[..., :3] = np.abs(cameras[..., :3]).max(axis=-1, keepdims=True)
    room[..., 3] = np.abs(cameras).max(axis=-1)
    return room * _CAMERA


def _keys(old: Sequence[Key], new: Sequence[Key]) -> tuple[Key, ...]:
    def same(one: Key, other: Key) -> bool:
        return one.frame == other.frame and one.easing == other.easing and abs(one.value - other.value) <= _PROGRESS

    alike = len(old) == len(new) and all(map(same, old, new))
    return tuple(old) if alike else tuple(new)


def _photographs(old: Sequence[float | None], new: Sequence[float | None]) -> tuple[float | None, ...]:
    found = list(new)
    for frame, (one, other) in enumerate(zip(old, new, strict=False)):
        if one is not None and other is not None and abs(one - other) <= _FRAMES:
            found[frame] = one
    return tuple(found)


def _spin(old: Spin | None, new: Spin | None) -> Spin | None:
    if old is None or new is None:
        return new
    near = abs(old.degrees - new.degrees) <= _TURN and abs(old.since - new.since) <= _PROGRESS
    return old if near else new


def _masking(old: Masking, new: Masking) -> Masking:
    known: dict[tuple[object, ...], list[Holdout]] = {}
    for one in old.holdouts:
        known.setdefault(_place(one), []).append(one)
    return replace(new, holdouts=tuple(_holdout(known, one) for one in new.holdouts))


def _place(holdout: Holdout) -> tuple[object, ...]:
    return (holdout.part, holdout.first, holdout.last, holdout.behind)


def _holdout(known: Mapping[tuple[object, ...], Sequence[Holdout]], new: Holdout) -> Holdout:
    return next((one for one in known.get(_place(new), ()) if _same_region(one.region, new.region)), new)


def _same_region(old: Sequence[Region], new: Sequence[Region]) -> bool:
    before, after = ([ring for one in region for ring in (one.outline, *one.holes)] for region in (old, new))
    return (
        [len(one.holes) for one in old] == [len(one.holes) for one in new]
        and [len(ring) for ring in before] == [len(ring) for ring in after]
        and all(bool(np.all(np.abs(np.array(a) - b) <= _MASK_PX)) for a, b in zip(before, after, strict=True))
    )
