"""What a shot keeps of tracks that were approved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from choreo.geometry.camera import Camera
from choreo.model.plan import Floats, Move
from choreo.model.tracks import PartTrack


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

    """

    tracks: Mapping[str, PartTrack]
    cameras: tuple[Camera, ...]
    moves: tuple[Move, ...]

    @property
    def routes(self) -> dict[str, Floats]:
        """Return the route of each part that is kept."""
        return {part: track.route for part, track in self.tracks.items()}

    def without(self, parts: Sequence[str]) -> Kept:
        """Return the same with these parts free to be solved anew; the cameras stay."""
        tracks = {part: track for part, track in self.tracks.items() if part not in parts}
        return Kept(tracks, self.cameras, tuple(move for move in self.moves if move.part not in parts))
