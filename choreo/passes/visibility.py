"""What the camera sees of each part on each frame.

A part's visible region is its silhouette less every region in which another part is nearer. Regions are
worked out when asked for and kept: most questions about layer order are settled without any. Frames on which
the camera, the part and all parts that may hide it stand alike share one result.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from choreo.geometry.front import Codes, Front, Relation, cover_region, flipped, nearer_region, relation
from choreo.geometry.scene import Bools, Ints, Scene, Shapes, build_scene, first_alike
from choreo.geometry.solid import Solid
from choreo.model.plan import Floats

LEAST_AREA_PX2 = 0.01
"""A polygon with less area than this is a leftover of rounding: a hundredth of a pixel."""
LEAST_WIDTH_PX = 0.02
"""A polygon thinner than this (twice its area over its perimeter) is one too: it moves no 8-bit edge."""


@dataclass(frozen=True, eq=False)
class Visibility:
    """The answers for one shot; parts are numbered as the solids were given."""

    scene: Scene
    codes: Codes
    """(parts, parts, frames) of `Front`; FIRST at [a, b]: a is in front of b wherever both are seen."""
    _relations: dict[tuple[int, int], Relation]
    _kept: dict[tuple[str, int, int], Shapes] = field(default_factory=dict)

    @property
    def parts(self) -> int:
        """How many parts."""
        return len(self.scene.solids)

    def silhouette(self, part: int, frames: Ints) -> Shapes:
        """Return the silhouettes of a part on those frames, px."""
        return self.scene.silhouette((part,), frames)

    def visible(self, part: int, frames: Ints) -> Shapes:
        """Return what is seen of a part on those frames, px; frames that stand alike give the same object."""
        source = self.alike(part)[frames]
        return self._filled(("visible", part, part), source, lambda f: self._visible(part, f))

    def nearer(self, a: int, b: int, frames: Ints) -> Shapes:
        """Return where both parts are seen and a is the nearer one, on frames on which their relation is MIXED."""
        source = self._alike_pair(a, b)[frames]
        return self._filled(("nearer", a, b), source, lambda f: self._nearer(a, b, f))

    def cover(self, a: int, b: int, frames: Ints) -> Shapes:
        """Return where a piece of b stands, or would stand, before some piece of a (see `cover_region`)."""
        source = self._alike_pair(a, b)[frames]
        return self._filled(("cover", a, b), source, lambda f: cover_region(self.scene, self._relation(a, b), f))

    def alike(self, part: int) -> Ints:
        """(frames,) the first frame on which the part and all that may hide it stood alike."""
        code = self.codes[:, part]
        hiders = (code == Front.FIRST) | (code == Front.MIXED)
        hiders[part] = True
        return first_alike(np.where(hiders, self.scene.alike, -1).T)

    def _visible(self, part: int, frames: Ints) -> Shapes:
        out = self.silhouette(part, frames).copy()
        for word in (Front.FIRST, Front.MIXED):
            for other in range(self.parts):
                rows = np.flatnonzero((self.codes[other, part, frames] == word) & ~shapely.is_empty(out))
                if not rows.size:
                    continue
                there = frames[rows]
                hider = self.silhouette(other, there) if word == Front.FIRST else self.nearer(other, part, there)
                out[rows] = shapely.difference(out[rows], hider)
            # What rounding left of a hidden part must not be asked any further.
            out[~matters(out)] = shapely.Polygon()
        return out

    def _nearer(self, a: int, b: int, frames: Ints) -> Shapes:
        if len(self.scene.pieces[a]) <= len(self.scene.pieces[b]):
            return nearer_region(self.scene, self._relation(a, b), frames)
        both = shapely.intersection(self.silhouette(a, frames), self.silhouette(b, frames))
        return np.asarray(shapely.difference(both, self.nearer(b, a, frames)))

    def _relation(self, a: int, b: int) -> Relation:
        return self._relations[a, b] if a < b else flipped(self._relations[b, a])

    def _alike_pair(self, a: int, b: int) -> Ints:
        return first_alike(self.scene.alike[[a, b]].T)

    def _filled(self, key: tuple[str, int, int], source: Ints, make: Callable[[Ints], Shapes]) -> Shapes:
        kept = self._kept.setdefault(key, np.full(self.scene.frames, None, dtype=np.object_))
        missing = np.unique(source)
        missing = missing[shapely.is_missing(kept[missing])]
        if missing.size:
            kept[missing] = make(missing)
        return kept[source]


def visibility(solids: Sequence[Solid], cameras: Floats, displacements: Floats, touch_mm: float) -> Visibility:
    """Return what the camera sees of each part on each frame.

    Exact: regions are bounded by images of edges, not by samples.

    Parameters
    ----------
    solids : sequence of Solid
        One a part, in place, mm; none of them empty.
    cameras : (frames, 3, 4) array
    displacements : (parts, frames, 3) array
        From the assembled position, mm. No two parts collide on any frame.
    touch_mm : float
        How far two parts may reach into each other, mm.

    Returns
    -------
    Visibility

    """
    scene = build_scene(solids, cameras, displacements, touch_mm)
    count = len(scene.solids)
    codes = np.full((count, count, scene.frames), Front.APART, dtype=np.int8)
    relations: dict[tuple[int, int], Relation] = {}
    for a in range(count):
        for b in range(a + 1, count):
            found = relations[a, b] = relation(scene, a, b)
            codes[a, b], codes[b, a] = found.code, flipped(found).code
    return Visibility(scene, codes, relations)


def matters(regions: Shapes) -> Bools:
    """Return which regions hold a polygon that is more than a leftover of rounding.

    One with at least `LEAST_AREA_PX2` of area and `LEAST_WIDTH_PX` of width.
    """
    out = shapely.area(regions) >= LEAST_AREA_PX2
    rows = np.flatnonzero(out)
    parts, owner = shapely.get_parts(regions[rows], return_index=True)
    sound = polygons_that_matter(parts)
    out[rows] = np.bincount(owner[sound], minlength=len(rows)) > 0
    return np.asarray(out)


def polygons_that_matter(polygons: Shapes) -> Bools:
    """Return which polygons are more than a leftover of rounding."""
    area = shapely.area(polygons)
    return np.asarray((area >= LEAST_AREA_PX2) & (2 * area >= LEAST_WIDTH_PX * shapely.length(polygons)))
