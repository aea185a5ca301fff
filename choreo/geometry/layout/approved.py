"""What a shot keeps of tracks that were approved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from choreo.geometry.cameras.camera import Camera
from choreo.model.plan import Floats, Move
from choreo.model.tracks import PartTrack

_SAME = 1e-6
"""mm, px, px per mm, degrees: what is this near to what was approved is that."""


@dataclass(frozen=True, eq=False)
class Kept:
    """What a shot keeps, digit for digit.

    Attributes
    ----------
    tracks : mapping of part id to PartTrack
        In file order.
    cameras : tuple of Camera
        One a frame.
    moves : tuple of Move
        Of the parts that are kept.
    known : mapping of part id to PartTrack
        Approved tracks of all parts, of those that are not kept as well.
    hero_opacity : (frames,) array, optional
        Of the hero still over the whole, as it was approved.
    hero_parts : mapping of part id to (frames,) array
        Of the still over single parts, where that was more.

    """

    tracks: Mapping[str, PartTrack]
    cameras: tuple[Camera, ...]
    moves: tuple[Move, ...]
    known: Mapping[str, PartTrack] = field(default_factory=dict)
    hero_opacity: Floats | None = None
    hero_parts: Mapping[str, Floats] = field(default_factory=dict)

    @property
    def routes(self) -> dict[str, Floats]:
        """Return the route of each part that is kept."""
        return {part: track.route for part, track in self.tracks.items()}

    def as_approved(self, routes: Mapping[str, Floats], parts: Sequence[str]) -> dict[str, Floats]:
        """Return routes with the digits that were approved where one of these parts comes out there all the same.

        A camera is solved in rounds, and what is then placed for it once more comes out a hair beside: the picture
        would be the same, its approval stale.
        """
        found = dict(routes)
        for part in parts:
            known, new = self.known.get(part), routes[part]
            if known is not None and _same(known.route, new):
                found[part] = known.route
        return found

    def samples_as_approved(self, track: PartTrack) -> PartTrack:
        """Return a track with the samples that were approved, where they are these but for a hair.

        With the same route and keys they are: a camera that is read back computes other last digits.
        """
        known = self.known.get(track.id)
        if known is None or not np.array_equal(known.route, track.route) or known.keys != track.keys:
            return track
        names = (
            "position",
            "screen",
            "scale",
            *(("turn",) if known.turn is not None and track.turn is not None else ()),
        )
        if known.spin != track.spin or not all(_same(getattr(known, one), getattr(track, one)) for one in names):
            return track
        return replace(track, **{one: getattr(known, one) for one in names})

    def without(self, parts: Sequence[str]) -> Kept:
        """Return the same with these parts free to be solved anew; the cameras stay."""
        tracks = {part: track for part, track in self.tracks.items() if part not in parts}
        return replace(self, tracks=tracks, moves=tuple(move for move in self.moves if move.part not in parts))


def _same(known: Floats, new: Floats) -> bool:
    return known.shape == new.shape and np.allclose(known, new, rtol=0.0, atol=_SAME)
