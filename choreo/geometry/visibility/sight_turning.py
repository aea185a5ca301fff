"""What the camera sees where parts spin: the shot in pieces, one for all frames on which every part is turned alike.

Within a piece nothing turns, so each piece is an ordinary `Visibility` of turned solids. This joins the answers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from choreo.geometry.visibility.front import Codes
from choreo.geometry.visibility.scene import Ints, Shapes, first_alike
from choreo.geometry.visibility.sight import Visibility
from choreo.model.plan import Floats


@dataclass(frozen=True, eq=False)
class Pieced:
    """Several visibilities of one shot, each of its own frames.

    Attributes
    ----------
    pieces : sequence of (frames, Visibility)
        Frames ascending; together every frame of the shot, each once.
    cameras : (frames, 3, 4) array
        Of the whole shot.

    """

    pieces: Sequence[tuple[Ints, Visibility]]
    cameras: Floats

    @cached_property
    def _place(self) -> tuple[Ints, Ints]:
        """(frames,) which piece holds a frame, and where in it."""
        piece = np.zeros(len(self.cameras), dtype=np.int64)
        local = np.zeros(len(self.cameras), dtype=np.int64)
        for index, (frames, _) in enumerate(self.pieces):
            piece[frames], local[frames] = index, np.arange(len(frames))
        return piece, local

    @cached_property
    def codes(self) -> Codes:
        """(parts, parts, frames) of `Front`."""
        parts = self.pieces[0][1].parts
        found = np.zeros((parts, parts, len(self.cameras)), dtype=np.int8)
        for frames, seen in self.pieces:
            found[:, :, frames] = seen.codes
        return found

    @property
    def restless(self) -> bool:
        """Whether no two frames are known to be alike."""
        return all(seen.restless for _, seen in self.pieces) and len(np.unique(self.first_camera)) == len(self.cameras)

    @cached_property
    def first_camera(self) -> Ints:
        """(frames,) the first frame with the same camera."""
        return first_alike(self.cameras.reshape(len(self.cameras), -1))

    def silhouette(self, part: int, frames: Ints) -> Shapes:
        """Return the silhouettes of a part on those frames, px."""
        return self._gathered(frames, lambda seen, local: seen.silhouette(part, local))

    def visible(self, part: int, frames: Ints) -> Shapes:
        """Return what is seen of a part on those frames, px."""
        return self._gathered(frames, lambda seen, local: seen.visible(part, local))

    def visible_over(self, part: int, other: int, frames: Ints) -> Shapes:
        """Return what is seen of a part within another's silhouette on those frames, px."""
        return self._gathered(frames, lambda seen, local: seen.visible_over(part, other, local))

    def cover_layers(self, a: int, b: int, frames: Ints) -> list[Shapes]:
        """Return layers whose union is where b stands before some piece of a; short of layers: nothing."""
        layers: list[Shapes] = []
        for rows, seen, local in self._split(frames):
            for depth, layer in enumerate(seen.cover_layers(a, b, local)):
                if depth == len(layers):
                    layers.append(np.full(len(frames), None, dtype=np.object_))
                layers[depth][rows] = layer
        return layers

    def alike(self, part: int) -> Ints:
        """(frames,) a frame on which the part and all that may hide it stood alike; one for all that do."""
        found = np.zeros(len(self.cameras), dtype=np.int64)
        for frames, seen in self.pieces:
            found[frames] = frames[seen.alike(part)]
        return found

    def stands(self, part: int, frames: Ints) -> Ints:
        """Return, for these frames, one on which camera and part stood alike; one for all that do."""
        found = np.zeros(len(frames), dtype=np.int64)
        for rows, seen, local in self._split(frames):
            found[rows] = self._frames_of(seen)[seen.stands(part, local)]
        return found

    def _frames_of(self, seen: Visibility) -> Ints:
        return next(frames for frames, one in self.pieces if one is seen)

    def _gathered(self, frames: Ints, ask: Callable[[Visibility, Ints], Shapes]) -> Shapes:
        found = np.full(len(frames), None, dtype=np.object_)
        for rows, seen, local in self._split(frames):
            found[rows] = ask(seen, local)
        return found

    def _split(self, frames: Ints) -> list[tuple[Ints, Visibility, Ints]]:
        """Rows of a question, by the piece that answers them, and which frames of it they are."""
        piece, local = self._place
        wanted = piece[frames]
        found = []
        for index in np.unique(wanted).tolist():
            rows = np.flatnonzero(wanted == index)
            found.append((rows, self.pieces[index][1], local[frames[rows]]))
        return found
