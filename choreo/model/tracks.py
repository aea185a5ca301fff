"""The output: what `tracks.json` says, as data. Frames are counted from 0 within their shot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from choreo.model.plan import Region

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Key:
    """A keyframe of progress; `easing` rules from here to the next key."""

    frame: int
    value: float
    easing: str | None = None


@dataclass(frozen=True)
class Spin:
    """A part turns about its own z, counter-clockwise seen from +z, between a progress and rest."""

    degrees: float
    since: float
    """Progress from which on it turns; it has turned by all of `degrees` at progress 1."""


@dataclass(frozen=True, eq=False)
class PartTrack:
    """One part in one shot; arrays have one row a frame."""

    id: str
    route: Floats
    """(k, 3) polyline of displacements, mm."""
    keys: tuple[Key, ...]
    position: Floats
    """(frames, 3) displacement from assembled, mm."""
    screen: Floats
    """(frames, 2) the part's origin on screen, px."""
    scale: Floats
    """(frames,) px per mm at the origin's depth."""
    opacity: Floats
    """(frames,)"""
    plate_frame: tuple[float | None, ...]
    spin: Spin | None = None
    turn: Floats | None = None
    """(frames,) degrees; None for a part that does not spin."""
    register: Floats | None = None
    """(frames, 4) how its plate is moved to meet the hero still: shift in x and y, px; growth; turn, degrees clockwise.
    None where the shot does not ask for it."""


@dataclass(frozen=True)
class OrderSpan:
    """One layer order, over frames `first` to `last`, both included."""

    first: int
    last: int
    back_to_front: tuple[str, ...]


@dataclass(frozen=True)
class Holdout:
    """Over frames `first` to `last`, `part` is left out wherever `region` is: `behind` stands before it."""

    part: str
    first: int
    last: int
    region: tuple[Region, ...]
    behind: tuple[str, ...]


@dataclass(frozen=True)
class Masking:
    """Layer orders that cover each frame once, and holdouts."""

    orders: tuple[OrderSpan, ...]
    holdouts: tuple[Holdout, ...]


@dataclass(frozen=True, eq=False)
class ShotTracks:
    """One shot, ready to be written."""

    name: str
    start_frame: int
    frames: int
    cameras: Floats
    """(frames, 3, 4)"""
    parts: tuple[PartTrack, ...]
    hero_opacity: Floats
    """(frames,) of the still over all that there is."""
    masking: Masking
    hero_parts: Mapping[str, Floats] = field(default_factory=dict)
    """(frames,) opacity of the still over the own pixels of those parts over which it is more than that on some frame:
    it has taken them over before the others, or keeps them longer."""


@dataclass(frozen=True)
class FilmSection:
    """A section: frames `first` to `last` of the film, both included."""

    name: str
    first: int
    last: int


@dataclass(frozen=True, eq=False)
class Tracks:
    """The whole output."""

    assembly_digest: str
    choreography_digest: str
    frame_rate: tuple[int, int]
    resolution: tuple[int, int]
    shots: tuple[ShotTracks, ...]
    sections: tuple[FilmSection, ...] = ()
    """In the order of the film; each of its frames lies in exactly one."""
