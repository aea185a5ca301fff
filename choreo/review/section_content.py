"""What a section of the film shows, as one digest: equal exactly where the content is equal.

Covered, for every frame of the section and in the order of its frames:

- the camera, with the two frames before and after it in the shot (between frames it goes through them);
- of each part: position on the frame and at both ends of a shutter of 180 degrees (half a frame is open, centred
  on it), turn at the same three instants, place and scale on the screen, opacity, plate frame, and how the plate is
  moved into register, with one frame on either side;
- the hero still's opacity, with one frame on either side; where it is more over single parts, that as well, and who
  shows where on the frame at the shot's end that this still belongs to (camera, places, order and holdouts there);
- the layer order; the holdouts: whose they are, behind what, and their regions.

Covered once: frames a second, resolution; of each part its colour, offset and slabs; scale, pivot, turn
and bytes of the pictures that plates show in the section (of a part with several plates, all that the assembly is
handed over with); the same of the hero still where it is to be seen.

Not covered, since no picture hangs on it: names of shots, sections and part ids, labels and stand-in notes, the order
of parts in a file, where in the film the section lies and so its timecode, how frames are gathered into spans, and
everything outside of the section but what is named above. Parts are told apart by their layer on the section's first
frame.

Digests are those of tracks as `tracks.json` holds them: numbers count to their last digit, and writing rounds some.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from choreo.model.assembly import Assembly, Part, Plate
from choreo.model.report import SHUTTER
from choreo.model.tracks import Holdout, PartTrack, ShotTracks, Tracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.motion.spin import turn_at

Ints = NDArray[np.int64]

_KIND = "choreo/section 1"
"""Changes when other things are covered, so that old digests are not taken for new ones."""
_NUMBER = re.compile("#+")
_NO_REGISTER = (0.0, 0.0, 1.0, 0.0)


def section_digest(
    tracks: Tracks, assembly: Assembly, first: int, last: int, pictures: Mapping[str, str] | None = None
) -> str:
    """Return ``sha256:`` and the hexadecimal digest of what some frames of the film show.

    Parameters
    ----------
    tracks : Tracks
        As read from `tracks.json`, of this assembly.
    assembly : Assembly
    first, last : int
        Frames of the film, both included.
    pictures : mapping of file name to digest, optional
        Of the bytes of each file that `pictures_of` names; a file that is not in it counts as not there.

    Raises
    ------
    ValueError
        If the frames are not all in the film, or if the tracks are of other parts.

    """
    stretches = stretches_of(tracks, first, last)
    strange = sorted({track.id for one in stretches for track in one.shot.parts} - set(assembly.ids))
    if strange:
        raise ValueError(f"the tracks know parts that the assembly does not: {', '.join(strange)}")
    parts = _by_layer(assembly, stretches[0])
    rank = {part.id: number for number, part in enumerate(parts)}
    known = pictures or {}
    out = Content()
    out.add(_KIND, tracks.frame_rate, tracks.resolution, last - first + 1, len(parts))
    for part in parts:
        add_solid(out, part)
        add_plates(out, part.id, assembly, stretches, known)
    add_hero(out, assembly, stretches, known)
    for stretch in stretches:
        _add_stretch(out, stretch, rank)
    return out.digest()


def pictures_of(tracks: Tracks, assembly: Assembly, first: int, last: int) -> tuple[str, ...]:
    """Return the names of the picture files that some frames of the film show, as the assembly has them.

    Parameters
    ----------
    tracks, assembly, first, last
        See `section_digest`.

    """
    stretches = stretches_of(tracks, first, last)
    names = [name for plate in assembly.plates for name in _names(plate, stretches)]
    if assembly.hero is not None and _shows_hero(stretches):
        names.append(assembly.hero.file)
    return tuple(dict.fromkeys(names))


@dataclass(frozen=True, eq=False)
class Stretch:
    """What a section has of one shot."""

    shot: ShotTracks
    frames: Ints
    """(n,) of the shot."""

    def around(self, reach: int) -> Ints:
        """Return rows (n, 2 reach + 1): each frame and its neighbours; beyond its ends a shot stands still."""
        rows = self.frames[:, None] + np.arange(-reach, reach + 1)
        return np.asarray(np.clip(rows, 0, self.shot.frames - 1))


class Content:
    """Takes in values, each with its kind and size, so that no two lists of values read alike."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()

    def add(self, *values: object) -> None:
        """Take in numbers, words, arrays and tuples of them."""
        for value in values:
            if isinstance(value, tuple):
                self._put("(", str(len(value)).encode())
                self.add(*value)
            elif isinstance(value, np.ndarray):
                self._put("#", repr(value.shape).encode())
                # Adding 0 makes -0 the same number as 0.
                self._put("=", (np.ascontiguousarray(value, dtype="<f8") + 0.0).tobytes())
            elif isinstance(value, float):
                self._put("f", np.array(value + 0.0, dtype="<f8").tobytes())
            else:
                self._put(type(value).__name__, str(value).encode())

    def _put(self, kind: str, data: bytes) -> None:
        self._hash.update(f"{kind} {len(data)}:".encode())
        self._hash.update(data)

    def digest(self) -> str:
        """Return ``sha256:`` and the hexadecimal digest of all that was taken in."""
        return f"sha256:{self._hash.hexdigest()}"


def stretches_of(tracks: Tracks, first: int, last: int) -> list[Stretch]:
    """Return what a section has of each shot; `ValueError` if its frames are not all in the film."""
    found = []
    for shot in tracks.shots:
        low, high = max(first - shot.start_frame, 0), min(last - shot.start_frame, shot.frames - 1)
        if low <= high:
            found.append(Stretch(shot, np.arange(low, high + 1)))
    if not found or sum(len(one.frames) for one in found) != last - first + 1:
        raise ValueError(f"frames {first} to {last} are not all in the film")
    return found


def _by_layer(assembly: Assembly, stretch: Stretch) -> list[Part]:
    """Parts from back to front on the first frame; one without a layer has no picture and goes by its id."""
    order = orders_of(stretch)[0]
    return [assembly.part(part) for part in (*order, *sorted(set(assembly.ids) - set(order)))]


def orders_of(stretch: Stretch) -> list[tuple[str, ...]]:
    """Return the layer order on each frame, back to front."""
    spans = stretch.shot.masking.orders
    return [
        next((span.back_to_front for span in spans if span.first <= frame <= span.last), ())
        for frame in stretch.frames.tolist()
    ]


def add_solid(out: Content, part: Part) -> None:
    """Add what a part looks like where it has no plate, and what it hides."""
    out.add("part", part.colour, part.offset, len(part.slabs))
    for slab in part.slabs:
        out.add(slab.z, np.array(slab.outline), len(slab.holes), *map(np.array, slab.holes))


def add_plates(
    out: Content, part: str, assembly: Assembly, stretches: Sequence[Stretch], pictures: Mapping[str, str]
) -> None:
    """Add the plates of a part and the pictures that they show."""
    for plate in assembly.plates:
        if plate.part == part:
            files = [(name, pictures.get(name)) for name in _names(plate, stretches)]
            out.add("plate", plate.px_per_mm, plate.pivot_px, plate.turn, len(files), *files)


def add_hero(out: Content, assembly: Assembly, stretches: Sequence[Stretch], pictures: Mapping[str, str]) -> None:
    """Add the hero still where it is to be seen."""
    hero = assembly.hero
    if hero is not None and _shows_hero(stretches):
        out.add("hero", hero.px_per_mm, hero.pivot_px, hero.turn, pictures.get(hero.file))


def _names(plate: Plate, stretches: Sequence[Stretch]) -> list[str]:
    """Files of a plate that are shown, ascending."""
    if plate.frames is None:
        return [plate.file]
    first, last = plate.frames
    nearest = {math.floor(n + 0.5) for n in _plate_frames(plate.part, stretches) if n is not None}
    # A number past the end of a closed circle is its first; the same rule is followed when frames are drawn.
    wanted = {first if number > last else max(number, first) for number in nearest}
    return [_numbered(plate.file, number) for number in sorted(wanted)]


def _numbered(file: str, number: int) -> str:
    return _NUMBER.sub(lambda run: str(number).zfill(len(run[0])), file)


def _plate_frames(part: str, stretches: Sequence[Stretch]) -> Iterator[float | None]:
    for stretch in stretches:
        for track in stretch.shot.parts:
            if track.id == part:
                yield from (track.plate_frame[frame] for frame in [*stretch.frames.tolist(), *_ends(stretch)])


def _shows_hero(stretches: Sequence[Stretch]) -> bool:
    return any(bool((one.shot.hero_opacity[one.around(1)] > 0).any()) for one in stretches)


def _add_stretch(out: Content, stretch: Stretch, rank: Mapping[str, int]) -> None:
    shot = stretch.shot
    out.add("stretch", shot.cameras[stretch.around(2)], shot.hero_opacity[stretch.around(1)])
    add_taken(out, stretch, rank)
    for track in sorted(shot.parts, key=lambda one: rank[one.id]):
        rows = rows_of(track, stretch)
        out.add("track", rank[track.id], *rows.path, *rows.screen, rows.opacity, *rows.plate)
    for order, held in zip(orders_of(stretch), held_on(stretch, rank), strict=True):
        out.add("frame", tuple(rank[part] for part in order), len(held), *held)


def add_taken(out: Content, stretch: Stretch, names: Mapping[str, Any]) -> None:
    """Add over which parts the still is more than over the whole, if any, and who shows where when all is assembled."""
    shot, near = stretch.shot, stretch.around(1)
    for part in sorted(_taken(stretch), key=lambda part: names[part]):
        out.add("taken", names[part], shot.hero_parts[part][near])
    for end in _ends(stretch):
        at = Stretch(shot, np.array([end]))
        out.add("end", end == 0, shot.cameras[end])
        for track in sorted(shot.parts, key=lambda one: names[one.id]):
            register = np.array(_NO_REGISTER) if track.register is None else track.register[end]
            turn = 0.0 if track.turn is None else float(track.turn[end])
            out.add(names[track.id], track.position[end], track.screen[end], float(track.scale[end]), turn, register)
            out.add(float(track.opacity[end]), -math.inf if (n := track.plate_frame[end]) is None else float(n))
        (order,), (held,) = orders_of(at), held_on(at, names)
        out.add(tuple(names[part] for part in order), len(held), *held)


def _taken(stretch: Stretch) -> list[str]:
    """Parts over which the still is more than over the whole."""
    shot, near = stretch.shot, stretch.around(1)
    return [part for part, row in shot.hero_parts.items() if bool((row[near] > shot.hero_opacity[near]).any())]


def _ends(stretch: Stretch) -> list[int]:
    """The frames on which all is assembled that the still over single parts belongs to: first or last of the shot."""
    shot = stretch.shot
    rows = [shot.hero_parts[part] for part in _taken(stretch)]
    near = np.unique(stretch.around(1)).tolist()
    return sorted({0 if (row[: frame + 1] > 0).all() else shot.frames - 1 for row in rows for frame in near})


@dataclass(frozen=True, eq=False)
class Rows:
    """What a section has of one part, a row a frame."""

    path: tuple[ArrayLike, ...]
    """Displacement and turn on the frame, and at both ends of the shutter."""
    screen: tuple[ArrayLike, ...]
    """Place and scale."""
    opacity: ArrayLike
    plate: tuple[ArrayLike, ...]
    """Plate frame and register."""


def rows_of(track: PartTrack, stretch: Stretch) -> Rows:
    """Return what a section has of one part."""
    frames = stretch.frames
    open_at = np.concatenate([frames - SHUTTER / 2, frames + SHUTTER / 2])
    way = evaluate_keys(track.keys, open_at)
    still = np.zeros(stretch.shot.frames)
    turn = still if track.turn is None else track.turn
    turns = np.zeros(len(way)) if track.spin is None else turn_at(track.spin, way)
    register = np.tile(_NO_REGISTER, (len(still), 1)) if track.register is None else track.register
    plate = np.array([-np.inf if n is None else n for n in (track.plate_frame[frame] for frame in frames.tolist())])
    return Rows(
        (track.position[frames], position(track.route, way), turn[frames], turns),
        (track.screen[frames], track.scale[frames]),
        track.opacity[frames],
        (plate, register[stretch.around(1)]),
    )


def held_on(stretch: Stretch, names: Mapping[str, Any]) -> list[list[tuple[Any, ...]]]:
    """Return for each frame, sorted, whose holdouts there are, behind what, and the digest of each region."""
    holdouts = [(one, region_digest(one)) for one in stretch.shot.masking.holdouts if one.region]
    return [
        sorted(
            (names[one.part], tuple(names[part] for part in one.behind), region)
            for one, region in holdouts
            if one.first <= frame <= one.last
        )
        for frame in stretch.frames.tolist()
    ]


def region_digest(holdout: Holdout) -> str:
    """Return the digest of a holdout's region."""
    content = Content()
    for region in holdout.region:
        content.add("region", np.array(region.outline), len(region.holes), *map(np.array, region.holes))
    return content.digest()
