"""Say in what two compiles differ, and by how much.

Everything that a picture is made from is held against each other: cameras, places, turns, opacities, photographs,
layer orders, holdouts, the hero's opacity. What is too small to be seen (1e-6 px, 1e-6 mm, and the like; all of it in
`review.unseen`) is no difference. How large differences are is said in what people see: px and frames.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from choreo.model.plan import Floats
from choreo.model.sign_off import SectionNow
from choreo.model.tracks import Holdout, Masking, PartTrack, ShotTracks, Tracks
from choreo.review.compare_sections import SectionDifference, compare_sections
from choreo.review.unseen import without_unseen


@dataclass(frozen=True)
class PartDifference:
    """One part of one shot that both compiles have."""

    part: str
    first: int
    """First and last frame of the shot on which it differs."""
    last: int
    frames: int
    """How many frames differ."""
    most_px: float
    """How far its origin lies from where it was, at most."""
    most_px_frame: int
    size_percent: float
    """By how much its scale differs, at most."""
    turn_degrees: float
    opacity: float
    other_photograph: int
    """Frames on which another photograph is shown."""
    moves_old: tuple[tuple[int, int], ...]
    """Start and arrival of each of its moves."""
    moves_new: tuple[tuple[int, int], ...]
    register_px: float = 0.0
    """By how much the shift that lets its plate meet the hero still differs, at most."""


@dataclass(frozen=True)
class ShotDifference:
    """One shot that both compiles have, where anything of it differs."""

    shot: str
    frames_old: int
    frames_new: int
    changed: tuple[int, ...]
    """Frames, of those that both have, on which anything differs."""
    camera_frames: int
    order_frames: int
    mask_frames: int
    mask_px: float
    """Area that is held out in one and not in the other, of one part on one frame, at most, square px."""
    hero_frames: int
    parts_gone: tuple[str, ...]
    parts_added: tuple[str, ...]
    parts: tuple[PartDifference, ...]


@dataclass(frozen=True)
class Comparison:
    """All that differs between two compiles; empty where nothing does."""

    film: tuple[str, ...]
    """What differs about the whole film: rate, resolution."""
    shots_gone: tuple[str, ...]
    shots_added: tuple[str, ...]
    shots: tuple[ShotDifference, ...]
    sections: tuple[SectionDifference, ...] = ()

    @property
    def nothing(self) -> bool:
        """Whether the two are alike in all that a picture is made from, and are cut into the same sections."""
        return not (self.film or self.shots_gone or self.shots_added or self.shots or self.sections)


def compare(
    old: Tracks, new: Tracks, contents: tuple[Sequence[SectionNow], Sequence[SectionNow]] | None = None
) -> Comparison:
    """Return in what two compiles differ.

    Parameters
    ----------
    old, new : Tracks
        Both as read from files, or both as made: what is written is rounded.
    contents : (old, new), optional
        What their sections show, where both assemblies are known: then colours, shapes and plates count as well. Of
        the new ones as `without_unseen` returns them, since digests tell every digit.

    Returns
    -------
    Comparison
        Shots and parts are matched by name; start frames of shots in the film do not count.

    """
    new, film = without_unseen(old, new), []
    if old.frame_rate != new.frame_rate:
        film.append(f"frame rate {_rate(old)} is now {_rate(new)}")
    if old.resolution != new.resolution:
        film.append(f"resolution {_size(old)} is now {_size(new)}")
    before, after = {shot.name: shot for shot in old.shots}, {shot.name: shot for shot in new.shots}
    shots = tuple(
        found
        for name, shot in before.items()
        if name in after and (found := _compare_shot(shot, after[name])) is not None
    )
    differing: dict[str, Sequence[int]] = {shot.shot: shot.changed for shot in shots}
    if film:
        differing = {shot.name: range(shot.frames) for shot in new.shots}
    return Comparison(
        tuple(film),
        tuple(name for name in before if name not in after),
        tuple(name for name in after if name not in before),
        shots,
        compare_sections(old, new, differing, contents),
    )


def _rate(tracks: Tracks) -> str:
    numerator, denominator = tracks.frame_rate
    return str(numerator) if denominator == 1 else f"{numerator}/{denominator}"


def _size(tracks: Tracks) -> str:
    return f"{tracks.resolution[0]} x {tracks.resolution[1]}"


def _compare_shot(old: ShotTracks, new: ShotTracks) -> ShotDifference | None:
    count = min(old.frames, new.frames)
    before, after = {part.id: part for part in old.parts}, {part.id: part for part in new.parts}
    gone = tuple(part for part in before if part not in after)
    added = tuple(part for part in after if part not in before)
    common = [part for part in before if part in after]
    camera = np.any(old.cameras[:count] != new.cameras[:count], axis=(1, 2))
    hero = old.hero_opacity[:count] != new.hero_opacity[:count]
    for part in {**old.hero_parts, **new.hero_parts}:
        hero |= _still(old, part)[:count] != _still(new, part)[:count]
    orders = _orders(old.masking, common, count) != _orders(new.masking, common, count)
    masks, area = _mask_frames(old.masking, new.masking, common, count)
    parts = [found for part in common if (found := _compare_part(before[part], after[part], count))]
    changed = camera | hero | orders | masks
    for _, rows in parts:
        changed |= rows
    if gone or added:
        changed[:] = True
    if not changed.any() and old.frames == new.frames:
        return None
    return ShotDifference(
        old.name,
        old.frames,
        new.frames,
        tuple(int(frame) for frame in np.flatnonzero(changed)),
        int(camera.sum()),
        int(orders.sum()),
        int(masks.sum()),
        area,
        int(hero.sum()),
        gone,
        added,
        tuple(difference for difference, _ in parts),
    )


def _still(shot: ShotTracks, part: str) -> Floats:
    """Opacity of the still over a part, frame by frame."""
    return shot.hero_parts.get(part, shot.hero_opacity)


def _compare_part(old: PartTrack, new: PartTrack, count: int) -> tuple[PartDifference, np.ndarray] | None:
    away = np.linalg.norm(old.screen[:count] - new.screen[:count], axis=1)
    size = np.abs(new.scale[:count] / old.scale[:count] - 1)
    turn = np.abs(_turn(new, count) - _turn(old, count))
    faded = np.abs(new.opacity[:count] - old.opacity[:count])
    other = np.array([a != b for a, b in zip(old.plate_frame[:count], new.plate_frame[:count], strict=True)], bool)
    moved = np.any(old.position[:count] != new.position[:count], axis=1)
    before, after = _register(old, count), _register(new, count)
    shifted = np.linalg.norm(before[:, :2] - after[:, :2], axis=1)
    rows = np.any(before != after, axis=1) | moved | (away > 0) | (size > 0) | (turn > 0) | (faded > 0) | other
    if not rows.any():
        return None
    where = np.flatnonzero(rows)
    difference = PartDifference(
        old.id,
        int(where[0]),
        int(where[-1]),
        len(where),
        float(away.max()),
        int(away.argmax()),
        float(100 * size.max()),
        float(turn.max()),
        float(faded.max()),
        int(other.sum()),
        _moves(old),
        _moves(new),
        float(shifted.max()),
    )
    return difference, rows


def _turn(track: PartTrack, count: int) -> Floats:
    return np.zeros(count) if track.turn is None else track.turn[:count]


def _register(track: PartTrack, count: int) -> Floats:
    none = np.tile(np.array([0.0, 0.0, 1.0, 0.0]), (count, 1))
    return none if track.register is None else track.register[:count]


def _moves(track: PartTrack) -> tuple[tuple[int, int], ...]:
    pairs = zip(track.keys, track.keys[1:], strict=False)
    return tuple((key.frame, after.frame) for key, after in pairs if key.value != after.value)


def _orders(masking: Masking, parts: Sequence[str], count: int) -> np.ndarray:
    """The layer order on each frame, of the parts that both have, as text: one order, one text."""
    found = np.full(count, "", dtype=object)
    for span in masking.orders:
        found[span.first : span.last + 1] = "\n".join(part for part in span.back_to_front if part in parts)
    return found


def _mask_frames(old: Masking, new: Masking, parts: Sequence[str], count: int) -> tuple[np.ndarray, float]:
    """Frames on which the holdouts of any part differ, and the largest area that is in one and not in the other."""
    rows, area = np.zeros(count, dtype=bool), 0.0
    for part in parts:
        before, after = _holdouts(old, part, count), _holdouts(new, part, count)
        seen: dict[tuple[tuple[int, ...], ...], float] = {}
        for frame in range(count):
            one, two = before[frame], after[frame]
            if [held.region for held in one] == [held.region for held in two]:
                continue
            key = (tuple(map(id, one)), tuple(map(id, two)))  # a holdout may stand for many frames
            if key not in seen:
                seen[key] = float(shapely.symmetric_difference(_union(one), _union(two)).area)
            rows[frame] = True
            area = max(area, seen[key])
    return rows, area


def _holdouts(masking: Masking, part: str, count: int) -> list[list[Holdout]]:
    found: list[list[Holdout]] = [[] for _ in range(count)]
    for holdout in masking.holdouts:
        if holdout.part == part:
            for frame in range(holdout.first, min(holdout.last + 1, count)):
                found[frame].append(holdout)
    return found


def _union(holdouts: Sequence[Holdout]) -> shapely.Geometry:
    return shapely.union_all(
        [shapely.make_valid(shapely.Polygon(one.outline, one.holes)) for held in holdouts for one in held.region]
    )
