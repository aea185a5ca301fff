"""What one frame of the film is made of, as digests: where they are equal, so are the pictures, to the last bit.

Taken in is what the renderer reads for a frame and for the time that its shutter may be open, which is half a frame to
both sides at most; and nothing else of the film. So one notion serves all who ask whether a frame is still the same:
files of frames on disk, and approvals of sections. The other way round it may know more than a picture shows: a part
that is wholly hidden, a colour that makes less than a code. Whoever must not be wrong there draws both.

Of a frame: resolution; the camera, with two frames to both sides (between frames it goes through them); the hero still
and its opacity, with one frame to both sides, where it has taken over single parts that as well, and how all stands at
the end of the shot that it belongs to; the layer order; the holdouts, each part's in their order. Of each part,
from back to front: its slabs, offset, opacity and place; the keys that rule about the frame and its route, or where it
rests; its turn; its colour where it is drawn as a solid, else bytes, scale, pivot and turn of the picture that its
plate shows, and how that is moved into register.

Left out, since no picture hangs on it: names of shots and parts, labels, the order of parts in a file, where in the
film the frame lies, how frames are gathered into spans.

Where the camera or a part moves, the frame's time in the shot counts as well, but only by its power of two: what lies
between frames is worked out at times that are rounded to floats, alike for frames between two powers of two.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from choreo.model.assembly import Assembly, Hero, Part, Plate, Ring
from choreo.model.plan import Floats
from choreo.model.tracks import Holdout, Key, OrderSpan, PartTrack, ShotTracks
from choreo.motion.path import position
from choreo.motion.spin import turn_at

CAMERA_REACH = 2
"""Frames about a frame that its camera between frames is made from."""
Ints = NDArray[np.int64]
Name = Callable[[str], int | str]
COMMON = ("film", "camera", "time", "order", "masks", "hero", "home")
"""What all parts have in common; `home`: how all stands at the end of the shot, of a still over single parts."""
OF_PARTS = ("path", "look", "plate")
_NO_REGISTER = (0.0, 0.0, 1.0, 0.0)


@dataclass(frozen=True, eq=False)
class Shown:
    """What one shot shows; parts without a plate are drawn as solids."""

    plates: Mapping[str, Plate]
    hero: Hero | None


@dataclass(frozen=True)
class FramePieces:
    """What a frame is made of, piece by piece, packed."""

    common: Mapping[str, bytes]
    """By the names of `COMMON`; order and masks in terms of ids."""
    parts: Mapping[str, Mapping[str, bytes]]
    """By part and the names of `OF_PARTS`."""
    digest: str
    """Of all of it, 64 hexadecimal digits; parts are told apart by their layers."""


class FrameContents:
    """Contents of the frames of a film.

    Parameters
    ----------
    assembly : Assembly
    resolution : (int, int)
        Of the tracks, px.
    shown : mapping of shot name to Shown
        Plates and the still as the shots show them.
    picture : callable
        Given a plate and a plate frame, the digest of the picture that it shows there; given the hero and None, of it.
    moving : bool
        Whether the shutter is open for some time. Without that only the frame itself counts.

    """

    def __init__(
        self,
        assembly: Assembly,
        resolution: tuple[int, int],
        shown: Mapping[str, Shown],
        picture: Callable[[Plate | Hero, float | None], str],
        *,
        moving: bool = True,
    ) -> None:
        self._film = packed(resolution)
        self._parts = {part.id: part for part in assembly.parts}
        self._shown = shown
        self._picture = picture
        self._moving = moving
        self._shots: dict[str, _Shot] = {}

    def pieces(self, shot: ShotTracks, frame: int) -> FramePieces:
        """Return what a frame of a shot is made of."""
        known = self._shots.get(shot.name)
        if known is None or known.shot is not shot:
            known = self._shots[shot.name] = _Shot(shot, self._parts, self._shown[shot.name], self._picture)
        return known.pieces(frame, self._film, moving=self._moving)

    def digest(self, shot: ShotTracks, frame: int) -> str:
        """Return the digest of what a frame of a shot is made of, 64 hexadecimal digits."""
        return self.pieces(shot, frame).digest


def packed(*values: object) -> bytes:
    """Return numbers, words, arrays and tuples of them as bytes; no two lists of values read alike."""
    chunks = []
    for value in values:
        if isinstance(value, bytes):
            kind, data = b"b", value
        elif isinstance(value, np.ndarray):
            kind, data = b"a", packed(value.dtype.str, value.shape, value.tobytes())
        elif isinstance(value, tuple):
            kind, data = b"t", packed(*value)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            kind, data = b"n", repr(float(value)).encode()
        else:
            kind, data = b"v", repr(value).encode()
        chunks.append(kind + len(data).to_bytes(8, "little") + data)
    return b"".join(chunks)


def order_on(spans: Sequence[OrderSpan], frame: int) -> tuple[str, ...]:
    """Return the layer order on a frame, back to front."""
    return next((span.back_to_front for span in spans if span.first <= frame <= span.last), ())


@dataclass(frozen=True, eq=False)
class _Shot:
    """A shot, and what is worked out of it once."""

    shot: ShotTracks
    parts: Mapping[str, Part]
    shown: Shown
    picture: Callable[[Plate | Hero, float | None], str]
    _solids: dict[str, bytes] = field(default_factory=dict)
    _regions: dict[int, bytes] = field(default_factory=dict)
    _rests: dict[tuple[str, float], tuple[bytes, float]] = field(default_factory=dict)
    _homes: dict[int, tuple[tuple[str, ...], bytes]] = field(default_factory=dict)

    def pieces(self, frame: int, film: bytes, *, moving: bool) -> FramePieces:
        shot = self.shot
        near = self._near(frame)
        beside = self._beside(frame, moving=moving)
        ranks = {part: rank for rank, part in enumerate(order_on(shot.masking.orders, frame))}
        own = self._own(frame, near, moving=moving)
        common = {
            "film": film,
            "camera": self._camera(frame, moving=moving),
            "time": self._time(frame, near) if moving else b"",
            "hero": self._hero(beside, _named),
            "home": self._homes_of(frame, beside, _named),
            "order": packed(*ranks),
            "masks": packed(*_masks(own.holds, _named)),
        }
        known = _ranked(ranks)
        hero = self._hero(beside, known), self._homes_of(frame, beside, known)
        said = packed(film, common["camera"], common["time"], *hero, own.layers())
        return FramePieces({name: common[name] for name in COMMON}, own.parts, hashlib.sha256(said).hexdigest())

    def _own(self, frame: int, near: Mapping[str, tuple[Key, ...]], *, moving: bool) -> _Layers:
        """What a frame has of parts, order and holdouts."""
        beside = self._beside(frame, moving=moving)
        parts = {}
        for track in self.shot.parts:
            path, look = self._path(track, frame, near[track.id], moving=moving), self._look(track, frame)
            parts[track.id] = {"path": path, "look": look, "plate": self._plate(track, frame, beside)}
        return _Layers(order_on(self.shot.masking.orders, frame), parts, list(self._holds(frame, moving=moving)))

    def _beside(self, frame: int, *, moving: bool) -> Ints:
        """A frame and those next to it; before its first and after its last frame a shot stands still."""
        return np.asarray(np.clip(np.arange(frame - moving, frame + moving + 1), 0, self.shot.frames - 1))

    def _near(self, frame: int) -> dict[str, tuple[Key, ...]]:
        return {track.id: _about(track.keys, frame) for track in self.shot.parts}

    def _time(self, frame: int, near: Mapping[str, tuple[Key, ...]]) -> bytes:
        """How times about a frame are rounded, and whether a camera that stands is worked out from the last frame."""
        if self._same_camera(frame) and all(_rests(keys) for keys in near.values()):
            return b""  # then a frame is one instant, however long the shutter is open
        return packed(frame.bit_length(), max(frame - 1, 0).bit_length(), frame == self.shot.frames - 1)

    def _same_camera(self, frame: int) -> bool:
        cameras = self._cameras_about(frame)
        return bool((cameras == cameras[0]).all())

    def _cameras_about(self, frame: int) -> Floats:
        return self.shot.cameras[max(0, frame - CAMERA_REACH) : frame + CAMERA_REACH + 1]

    def _camera(self, frame: int, *, moving: bool) -> bytes:
        here, before, last = self.shot.cameras[frame], self.shot.cameras[max(0, frame - 1)], self.shot.frames - 1
        if not moving:  # the last one is reached from the one before, and rounded on the way
            return packed(before + (here - before) if frame == last else here)
        if self._same_camera(frame):
            return packed(here)
        return packed(self._cameras_about(frame))  # with the time, their number tells where a shot ends

    def _hero(self, beside: Ints, name: Name) -> bytes:
        """The still and how it fades, over single parts as well."""
        shot, hero, opacity = self.shot, self.shown.hero, self.shot.hero_opacity[beside]
        taken = self._taken(beside)
        if hero is None or not (taken or (opacity > 0).any()):
            return b""
        rows = sorted(packed(name(part), shot.hero_parts[part][beside]) for part in taken)
        return packed(opacity, hero.px_per_mm, hero.pivot_px, hero.turn, self.picture(hero, None), *rows)

    def _taken(self, beside: Ints) -> list[str]:
        """Parts over which the still is more than over the whole."""
        whole = self.shot.hero_opacity[beside]
        return [part for part, row in self.shot.hero_parts.items() if (row[beside] > whole).any()]

    def _homes_of(self, frame: int, beside: Ints, name: Name) -> bytes:
        """How all stands where each part that the still has taken over is at home."""
        if self.shown.hero is None:
            return b""
        # Between frames it is that of the frame before. What was there from the first one on belongs to that.
        since, last, out = sorted({int(beside[0]), frame}), self.shot.frames - 1, []
        for part in self._taken(beside):
            ends = [0 if (self.shot.hero_parts[part][: one + 1] > 0).all() else last for one in since]
            out.append(packed(name(part), *(self._home(end, part) for end in ends)))
        return packed(*sorted(out)) if out else b""

    def _home(self, end: int, part: str) -> bytes:
        """Who shows where on an end of the shot, and which of them is the part."""
        if end not in self._homes:
            own = self._own(end, self._near(end), moving=False)
            self._homes[end] = own.order, hashlib.sha256(packed(self._camera(end, moving=False), own.layers())).digest()
        order, home = self._homes[end]
        return packed(end == 0, home, order.index(part) if part in order else part)

    def _path(self, track: PartTrack, frame: int, near: tuple[Key, ...], *, moving: bool) -> bytes:
        """Where a part stands on a frame, and its way while the shutter is open."""
        here = track.position[frame].tobytes()
        if not moving and track.spin is None:
            return packed(here)
        if _rests(near):
            place, turn = self._rest(track, near[0].value)
            return packed(here, place if moving else b"", turn)
        keys = tuple((key.frame - frame, key.value, key.easing) for key in near)
        spin = None if track.spin is None else (track.spin.degrees, track.spin.since)
        return packed(here, track.route if moving else b"", keys, spin)

    def _rest(self, track: PartTrack, value: float) -> tuple[bytes, float]:
        """Place and turn of a part that rests at a progress."""
        if (track.id, value) not in self._rests:
            turn = 0.0 if track.spin is None else float(turn_at(track.spin, [value])[0])
            self._rests[track.id, value] = position(track.route, [value]).tobytes(), turn
        return self._rests[track.id, value]

    def _look(self, track: PartTrack, frame: int) -> bytes:
        part = self.parts[track.id]
        if track.id not in self._solids:
            slabs = tuple((slab.z, _rings(slab.outline, slab.holes)) for slab in part.slabs)
            self._solids[track.id] = hashlib.sha256(packed(part.offset, *slabs)).digest()
        colour = part.colour if self._shows(track, frame) is None else ""
        return packed(self._solids[track.id], colour, float(track.opacity[frame]))

    def _shows(self, track: PartTrack, frame: int) -> Plate | None:
        """The plate of a part; a sequence of which no photograph is named is a solid."""
        plate = self.shown.plates.get(track.id)
        return None if plate is None or (plate.frames is not None and track.plate_frame[frame] is None) else plate

    def _plate(self, track: PartTrack, frame: int, beside: Ints) -> bytes:
        plate = self._shows(track, frame)
        if plate is None:
            return b""
        register = np.tile(_NO_REGISTER, (self.shot.frames, 1)) if track.register is None else track.register
        bytes_ = self.picture(plate, track.plate_frame[frame])
        return packed(plate.px_per_mm, plate.pivot_px, plate.turn, plate.frames is None, bytes_, register[beside])

    def _holds(self, frame: int, *, moving: bool) -> Iterator[tuple[Holdout, bytes, bytes]]:
        """Holdouts on a frame, with their regions and what moves these between frames."""
        tracks = {track.id: track for track in self.shot.parts}
        for number, hold in enumerate(self.shot.masking.holdouts):
            if hold.first <= frame <= hold.last:
                if number not in self._regions:
                    said = packed(*(_rings(region.outline, region.holes) for region in hold.region))
                    self._regions[number] = hashlib.sha256(said).digest()
                leader = tracks[hold.behind[0]] if moving and hold.behind else None
                carried = b"" if leader is None else packed(leader.screen[frame], float(leader.scale[frame]))
                yield hold, self._regions[number], carried


@dataclass(frozen=True, eq=False)
class _Layers:
    """Parts of a frame, back to front, and what is left out of them."""

    order: tuple[str, ...]
    parts: Mapping[str, Mapping[str, bytes]]
    holds: Sequence[tuple[Holdout, bytes, bytes]]
    """With their regions, and what moves these between frames."""

    def layers(self) -> bytes:
        """Return all of it, parts told apart by their layers."""
        ranks = {part: rank for rank, part in enumerate(self.order)}
        # Of those that lie in no layer nothing is seen, but how far they move counts with the shutter's instants.
        rest = sorted(packed(*own.values()) for part, own in self.parts.items() if part not in ranks)
        layers = [packed(*self.parts[part].values()) for part in self.order]
        return packed(len(layers), *layers, *rest, *_masks(self.holds, _ranked(ranks)))


def _named(part: str) -> str:
    return part


def _ranked(ranks: Mapping[str, int]) -> Name:
    return lambda part: ranks.get(part, part)


def _masks(holds: Sequence[tuple[Holdout, bytes, bytes]], name: Name) -> Iterator[tuple[object, ...]]:
    """Holdouts by the part that they are of, each part's in their order: that is how they are united."""
    by_part: dict[str, list[tuple[object, ...]]] = {}
    for hold, region, carried in holds:
        by_part.setdefault(hold.part, []).append((tuple(map(name, hold.behind)), region, carried))
    yield from sorted(((name(part), *each) for part, each in by_part.items()), key=lambda one: repr(one[0]))


def _rings(outline: Ring, holes: Sequence[Ring]) -> tuple[object, ...]:
    return tuple(np.array(ring, dtype=np.float64) for ring in (outline, *holes))


def _about(keys: tuple[Key, ...], frame: int) -> tuple[Key, ...]:
    """The keys that rule from half a frame before a frame to half a frame after it."""
    first = max((i for i, key in enumerate(keys) if key.frame < frame), default=0)
    last = min((i for i, key in enumerate(keys) if key.frame > frame), default=len(keys) - 1)
    return keys[first : last + 1]


def _rests(keys: Sequence[Key]) -> bool:
    return len({key.value for key in keys}) == 1
