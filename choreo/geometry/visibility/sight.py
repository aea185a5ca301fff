"""What the camera sees of each part on each frame.

A part's visible region is its silhouette less every region in which another part is nearer. Regions are
worked out when asked for and kept: most questions about layer order are settled without any. Frames on which
the camera, the part and all parts that may hide it stand alike share one result.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np
import shapely

from choreo.geometry.plane.regions import NOTHING, common, matters, minus
from choreo.geometry.visibility.cover import cover_layers, unhidden_region
from choreo.geometry.visibility.front import Codes, Front, Relation, flipped
from choreo.geometry.visibility.scene import Bools, Ints, Scene, Shapes, around, boxes_apart, first_alike
from choreo.model.plan import Floats

_CROWD = 32
"""A part that more than so many others may hide is looked at place by place."""


class Seen(Protocol):
    """What masking asks of a shot; parts are numbered as the solids were given, frames from 0."""

    @property
    def codes(self) -> Codes:
        """(parts, parts, frames) of `Front`."""

    @property
    def restless(self) -> bool:
        """Whether no two frames are alike."""

    @property
    def first_camera(self) -> Ints:
        """(frames,) the first frame with the same camera."""

    def silhouette(self, part: int, frames: Ints) -> Shapes:
        """Return the silhouettes of a part on those frames, px."""

    def visible(self, part: int, frames: Ints) -> Shapes:
        """Return what is seen of a part on those frames, px."""

    def visible_over(self, part: int, other: int, frames: Ints) -> Shapes:
        """Return what is seen of a part within another's silhouette on those frames, px."""

    def cover_layers(self, a: int, b: int, frames: Ints) -> list[Shapes]:
        """Return layers whose union is where b stands before some piece of a."""

    def alike(self, part: int) -> Ints:
        """(frames,) a frame on which the part and all that may hide it stood alike; one for all that do."""

    def stands(self, part: int, frames: Ints) -> Ints:
        """Return, for these frames, one on which camera and part stood alike; one for all that do."""


@dataclass(frozen=True, eq=False)
class Visibility:
    """The answers for one shot; parts are numbered as the solids were given."""

    scene: Scene
    codes: Codes
    """(parts, parts, frames) of `Front`; FIRST at [a, b]: a is in front of b wherever both are seen."""
    _relations: dict[tuple[int, int], Relation]
    _kept: dict[int, Shapes] = field(default_factory=dict)
    _kept_over: dict[tuple[int, int], Shapes] = field(default_factory=dict)

    @property
    def parts(self) -> int:
        """How many parts."""
        return len(self.scene.solids)

    @property
    def restless(self) -> bool:
        """Whether the camera never stands twice in one place: then no two frames are alike."""
        return self.scene.restless

    @property
    def first_camera(self) -> Ints:
        """(frames,) the first frame with the same camera."""
        return self.scene.first_camera

    def stands(self, part: int, frames: Ints) -> Ints:
        """Return, for these frames, the first on which camera and part stood alike."""
        return np.asarray(self.scene.alike[part, frames])

    def silhouette(self, part: int, frames: Ints) -> Shapes:
        """Return the silhouettes of a part on those frames, px."""
        return self.scene.silhouette((part,), frames)

    def visible(self, part: int, frames: Ints) -> Shapes:
        """Return what is seen of a part on those frames, px; frames that stand alike give the same object."""
        source = self.alike(part)[frames]
        kept = self._kept.setdefault(part, np.full(self.scene.frames, None, dtype=np.object_))
        missing = np.unique(source)
        missing = missing[shapely.is_missing(kept[missing])]
        if missing.size:
            kept[missing] = self._visible(part, missing)
        return kept[source]

    def visible_over(self, part: int, other: int, frames: Ints) -> Shapes:
        """Return what is seen of a part within another's silhouette on those frames, px.

        Cut out of the whole that is seen, unless very many parts may hide some of it: a tray less each of a hundred
        parts on it costs a hundred times as much as the place of one less its few neighbours.
        """
        if not self._crowded[part]:
            return common(self.visible(part, frames), self.silhouette(other, frames))
        kept = self._kept_over.setdefault((part, other), np.full(self.scene.frames, None, dtype=np.object_))
        missing = frames[shapely.is_missing(kept[frames])]
        if missing.size:
            there = common(self.silhouette(part, missing), self.silhouette(other, missing))
            kept[missing] = self._unhidden(part, missing, there, nearby=True)
        return np.asarray(kept[frames])

    @cached_property
    def _crowded(self) -> Bools:
        """(parts,) whether very many others may hide some of it."""
        hiders = ((self.codes == Front.FIRST) | (self.codes == Front.MIXED)).any(axis=2)
        return np.asarray(hiders.sum(axis=0) > _CROWD)

    def cover_layers(self, a: int, b: int, frames: Ints) -> list[Shapes]:
        """Return layers whose union is where b stands before some piece of a (see `geometry.visibility.cover`)."""
        if self.scene.restless:
            return cover_layers(self.scene, self._relation(a, b), frames)
        source = first_alike(self.scene.alike[[a, b]].T)[frames]
        once, back = np.unique(source, return_inverse=True)
        return [layer[back] for layer in cover_layers(self.scene, self._relation(a, b), once)]

    def alike(self, part: int) -> Ints:
        """(frames,) the first frame on which the part and all that may hide it stood alike."""
        return np.asarray(self._alike[part])

    @cached_property
    def _alike(self) -> Ints:
        if self.scene.restless:
            return self.scene.alike
        hiders = (self.codes == Front.FIRST) | (self.codes == Front.MIXED)
        hiders[range(self.parts), range(self.parts)] = True
        alike = self.scene.alike
        return np.stack([first_alike(np.where(hiders[:, part], alike, -1).T) for part in range(self.parts)])

    @cached_property
    def smallest_first(self) -> list[int]:
        """Parts by the area of their hull in plan."""
        areas = [shapely.Polygon(hull.ring).area for hull in self.scene.hulls]
        return sorted(range(self.parts), key=lambda part: areas[part])

    def _visible(self, part: int, frames: Ints) -> Shapes:
        return self._unhidden(part, frames, self.silhouette(part, frames).copy(), nearby=False)

    def _unhidden(self, part: int, frames: Ints, out: Shapes, *, nearby: bool) -> Shapes:
        """What the others leave of shapes of the part; with `nearby` only those are asked whose boxes meet them."""
        codes = self.codes[:, part, frames]
        if nearby:
            apart = boxes_apart(shapely.bounds(out), np.stack([self._boxes[n][frames] for n in range(self.parts)]))
            codes = np.where(apart, Front.APART, codes)
        for word in (Front.FIRST, Front.MIXED):
            asked = codes == word
            some = asked.any(axis=1)
            # The sooner a part is hidden whole, the less is left to ask.
            for other in (n for n in reversed(self.smallest_first) if some[n]):
                rows = np.flatnonzero(asked[other] & ~shapely.is_empty(out))
                if rows.size:
                    out[rows] = self._less(out[rows], part, other, frames[rows], whole=word == Front.FIRST)
            # What rounding left of a hidden part must not be asked any further.
            out[~matters(out)] = NOTHING
        return out

    @cached_property
    def _boxes(self) -> tuple[Floats, ...]:
        """Per part (frames, 4): its screen box, px."""
        return tuple(around(boxes) for boxes in self.scene.boxes)

    def _less(self, shapes: Shapes, part: int, other: int, frames: Ints, *, whole: bool) -> Shapes:
        """Shapes of the part less what the other hides of it."""
        if whole:
            return minus(shapes, self.silhouette(other, frames))
        if self.smallest_first.index(part) < self.smallest_first.index(other):
            return unhidden_region(self.scene, self._relation(part, other), frames, shapes)
        # What a smaller part hides without being seen there is hidden by what hides it, too.
        return minus(shapes, self.visible(other, frames))

    def _relation(self, a: int, b: int) -> Relation:
        return self._relations[a, b] if a < b else flipped(self._relations[b, a])
