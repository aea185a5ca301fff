"""Find where photographed plates lie on the hero still, when nothing else says it.

In:  FoundPlates and their pictures, the hero      Out: a place a plate, or why there is none

Plates of one size are taken to be of one frame, as locked-off cameras leave them, unless the hero says otherwise.
Everything else is guessed in several ways and then measured as a check measures it: by outline or by picture, to a
fraction of a px. Only what a measurement bears out is a place; a plate that could lie in two places has none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.registration.marks import Marks, guess_by_marks, marks_of
from choreo.geometry.registration.outline import register_outline
from choreo.geometry.registration.reduced import register_reduced
from choreo.geometry.registration.shift import shift_by_outline, shift_by_picture
from choreo.geometry.registration.similarity import (
    apply,
    apply_area,
    farthest,
    lying_at,
    similarity,
    start_from_moments,
)
from choreo.model.new_plates import FoundPlate, Hint
from choreo.model.plan import Floats
from choreo.model.registration import IDENTITY, Photograph, Pixels, Similarity
from choreo.passes.place_by_hero_alike import place_alike

_ALL = 4
_CONFIDENT = 0.6
"""Share of the hero's contrast under a plate that it must explain."""
_AGREEING = 0.5
"""Share of a plate's pixels that must agree, what nearer parts hide left out."""
_OUTLINE, _MOST_OUTLINE = 0.4, 0.6
"""Share of a plate's outline that must lie on the hero's, if that alone tells; and from which nothing else is asked."""
_MEAN_PX = 0.5
_SD_PX = 0.35
_OUTSIDE = 0.01
"""Share of a part that may stick out of the hero: a part of the product lies within its outline."""
_EDGE_PX = 2.0
_SAME_PX, _SAME_SHARE = 1.5, 0.004
"""Two places are one within so many px, and so much of their extent: a small part says little of what is far off."""
_FRAME_PX = 3.0
"""What a still of the plates' own frame may be off: retouching, a tripod that was touched."""
_CLEAR = 0.75
"""The next best shift must be worse than this share of the best."""
_ON_OUTLINE = 0.3
_GROWTHS = tuple(2.0 ** (k / 8) for k in range(-16, 17) if k)
"""Sizes at which a picture is looked for: those in between still correlate."""
_ALIKE, _UNLIKE = 0.6, 0.5
"""Correlation that a guess needs, and the share of the next best shift's difference that its own may have."""
_NEAR = 0.2
"""Share of its size by which a part may lie away from where it was said to be."""
_SILHOUETTE = 0.9
"""Common area over all area from which a part counts as the whole product's outline."""
_MARKS, _MARKS_LONGEST_PX = (2000, 8000), (1400, 2400)
"""Of a plate, and of the hero."""

_Loader = Callable[[str], Photograph]


@dataclass(frozen=True, eq=False)
class Laid:
    """Where plates lie on the hero still."""

    places: Mapping[str, Similarity]
    """Plate px to hero px, by part."""
    kept: tuple[str, ...]
    """Parts of which nothing could be measured, and which lie where others of their frame put them."""
    by_hand: tuple[str, ...]
    """Parts that lie where they were said to lie, unmeasured."""
    lost: Mapping[str, str]
    """Parts without a place, and why."""
    disagreeing: bool = False
    """Whether plates of the still's size keep their places though nothing bears them out."""


def lay_on_hero(
    plates: Sequence[FoundPlate],
    photograph_of: _Loader,
    hero: Photograph,
    hero_size: tuple[int, int],
    known: str,
    hints: Mapping[str, Hint],
) -> Laid:
    """Return where each plate lies on the hero still.

    Parameters
    ----------
    plates : sequence of FoundPlate
        Back to front.
    photograph_of : callable
        Gives the photograph of a part; asked only for those that have to be measured.
    hero : Photograph
        Without outlines if its matte tells none.
    hero_size : (width, height)
        px.
    known : str
        The part whose size is known; it is looked for first.
    hints : mapping of part id to Hint
        Where parts were said to lie.

    """
    search = _Search({plate.id: plate for plate in plates}, photograph_of, hero, dict(hints))
    frames: dict[tuple[int, int], list[FoundPlate]] = {}
    for plate in plates:
        if plate.id not in hints:
            frames.setdefault(plate.size, []).append(plate)
    own = frames.get(hero_size, [])
    if own and search.same_frame(own):
        search.places.update({plate.id: IDENTITY for plate in own})
    if known not in search.places:
        search.find(known)
    if known in search.places:
        search.find_alike(known)
    order = [known, *(plate.id for plate in reversed(plates) if plate.id != known)]
    tried: dict[str, int] = {}
    for _ in range(2):  # what is found tells scale and turn to what is not
        for part in order:
            like = len(search.likely)
            if part not in search.places and part not in search.unsure and tried.get(part) != like:
                tried[part] = like
                search.find(part)
    kept: list[str] = []
    disagreeing = False
    for size, group in frames.items():
        if size == hero_size and not any(plate.id in search.places for plate in group):
            search.places.update({plate.id: IDENTITY for plate in group})
            disagreeing = True
        elif len(group) > 1 and not all(search.places.get(plate.id) is IDENTITY for plate in group):
            kept += search.one_frame(group)
    lost = {plate.id: search.why.get(plate.id, "") for plate in plates if plate.id not in search.places}
    return Laid(search.places, tuple(kept), tuple(search.by_hand), lost, disagreeing)


@dataclass(frozen=True, eq=False)
class _Own:
    """The plate that is looked for."""

    part: str
    outline: tuple[BaseGeometry, ...]
    area: BaseGeometry
    pixels: tuple[Pixels, Pixels] | None


@dataclass(eq=False)
class _Search:
    plates: Mapping[str, FoundPlate]
    photograph_of: _Loader
    hero: Photograph
    hints: Mapping[str, Hint]
    places: dict[str, Similarity] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)
    by_hand: list[str] = field(default_factory=list)
    unsure: set[str] = field(default_factory=set)
    """Parts that were seen, though not in one place."""

    @cached_property
    def inside(self) -> BaseGeometry:
        """The hero's area and a little more; empty where its matte tells nothing."""
        found = shapely.union_all([shapely.make_valid(one) for one in self.hero.outline]).buffer(_EDGE_PX)
        shapely.prepare(found)
        return found

    @cached_property
    def marks(self) -> Marks | None:
        pixels = self.hero.pixels()
        return None if pixels is None else marks_of(*pixels, _MARKS[1], _MARKS_LONGEST_PX[1])

    @property
    def likely(self) -> list[Similarity]:
        """Scales and turns that plates were found with, and the still's own."""
        return _unlike([*self.places.values(), IDENTITY])

    def same_frame(self, group: Sequence[FoundPlate]) -> bool:
        """Whether plates of the still's size make up its outline as they stand."""
        if not self.hero.outline:
            return True
        stack = shapely.union_all([shapely.make_valid(area) for plate in group for area in plate.polygons])
        fit = register_outline(list(shapely.get_parts(stack)), self.hero.outline, IDENTITY, reach_px=2 * _FRAME_PX)
        hull = shapely.get_coordinates(stack.convex_hull)
        return bool(fit.determined) and farthest(fit.transform, IDENTITY, hull)[0] <= _FRAME_PX

    def find(self, part: str) -> None:
        """Look for one plate, and note its place or why there is none."""
        photograph = self.photograph_of(part)
        outline = [shapely.make_valid(area) for area in photograph.outline]
        own = _Own(part, photograph.outline, shapely.union_all(outline), photograph.pixels())
        if part in self.hints:
            self._find_near(own)
            return
        seen: list[Similarity] = []
        for starts in self._guesses(own):
            seen = [fit for start in starts if (fit := self._measured(own, start)) is not None]
            if seen:
                break
        if not seen:
            self.why[part] = "neither its outline nor what it shows is found there with certainty"
        elif any(not _same(seen[0], other, own.area, own.area) for other in seen[1:]):
            self.why[part] = "it fits in more than one place"
        else:
            self.places[part] = seen[0]

    def find_alike(self, known: str) -> None:
        """Look for all others at the scale and turn of one that was found, as one set-up leaves them."""
        parts = [part for part in self.plates if part not in self.places and part not in self.hints]
        places, why = place_alike(
            parts, self.plates, self.photograph_of, self.hero, (known, self.places[known]), self.inside
        )
        self.places.update(places)
        self.why.update(why)
        self.unsure.update(why)

    def _find_near(self, own: _Own) -> None:
        """Measure a plate where it was said to lie; where that fails, what was said counts."""
        hint, like = self.hints[own.part], next(iter(self.places.values()), IDENTITY)
        start = lying_at(self.plates[own.part].bounds, hint.at_px, hint.width_px, like)
        fit, size = self._measured(own, start), start.scale * float(np.ptp(_hull(own.area), axis=0).max())
        if fit is None or farthest(fit, start, _hull(own.area))[0] > _NEAR * size:
            self.by_hand.append(own.part)
            fit = start
        self.places[own.part] = fit

    def one_frame(self, group: Sequence[FoundPlate]) -> list[str]:
        """Give plates of one frame one place if those that were found agree; return those that were not found."""
        areas = {plate.id: shapely.union_all([shapely.make_valid(a) for a in plate.polygons]) for plate in group}
        found = [plate.id for plate in group if plate.id in self.places]
        if not found:
            return []
        largest = max(found, key=lambda part: areas[part].area)
        if not all(_same(self.places[largest], self.places[part], areas[largest], areas[part]) for part in found):
            return []
        corners = [_hull(areas[part]) for part in found]
        weights = [np.full(len(hull), areas[part].area / len(hull)) for part, hull in zip(found, corners, strict=True)]
        targets = [apply(self.places[part], hull) for part, hull in zip(found, corners, strict=True)]
        whole = similarity(np.concatenate(corners), np.concatenate(targets), np.concatenate(weights))
        late = [plate.id for plate in group if plate.id not in self.places]
        late = [part for part in late if self._fits_inside(areas[part], whole)]
        self.places.update(dict.fromkeys([*found, *late], whole))
        return late

    def _guesses(self, own: _Own) -> Iterator[list[Similarity]]:
        """Places worth measuring, likely ones first; those of one list rival each other."""
        likely = self.likely
        under = self.hero.pixels()
        if own.pixels is not None and self.marks is not None:
            guesses = guess_by_marks(marks_of(*own.pixels, _MARKS[0], _MARKS_LONGEST_PX[0]), self.marks)
            yield [one.place for one in guesses if one.votes >= guesses[0].votes / 2]
        if self.hero.outline:
            for like in likely:
                moved = shift_by_outline(own.outline, self.hero.outline, like)
                if moved and moved.score >= _ON_OUTLINE and moved.next_score <= _CLEAR * moved.score:
                    yield [moved.place]
            whole = shapely.union_all([shapely.make_valid(one) for one in self.hero.outline])
            start = start_from_moments(own.area, whole)
            common = apply_area(start, own.area)
            if common.intersection(whole).area >= _SILHOUETTE * common.union(whole).area:
                yield [start]
        if own.pixels is not None and under is not None:
            tried = [*likely, *(replace(likely[0], scale=likely[0].scale * growth) for growth in _GROWTHS)]
            shifts = [moved for like in tried if (moved := shift_by_picture(*own.pixels, *under, like)) is not None]
            best = max(shifts, key=lambda moved: round(moved.score, 6), default=None)
            if best and best.score >= _ALIKE and 1 - best.score <= _UNLIKE * (1 - best.next_score):
                yield [best.place]

    def _measured(self, own: _Own, start: Similarity) -> Similarity | None:
        """The place near a guess that outline or picture bear out, None where neither does."""
        outline = self._by_outline(own, start, _MOST_OUTLINE)
        if outline is None:
            content = self._by_picture(own, start)
            outline = self._by_outline(own, content or start, _OUTLINE)
            if content is not None and outline is not None and not _same(content, outline, own.area, own.area):
                outline = None
            outline = outline or content
        return outline if outline is not None and self._fits_inside(own.area, outline) else None

    def _by_outline(self, own: _Own, start: Similarity, least: float) -> Similarity | None:
        if not self.hero.outline:
            return None
        fit = register_outline(own.outline, self.hero.outline, start)
        sure = len(fit.determined) == _ALL and fit.used_share >= least and fit.mean_px <= _MEAN_PX
        return fit.transform if sure else None

    def _by_picture(self, own: _Own, start: Similarity) -> Similarity | None:
        under = self.hero.pixels()
        if own.pixels is None or under is None:
            return None
        found = register_reduced(*own.pixels, under[0], start, hidden=self._nearer(own.part))
        sure = not found.trouble and len(found.determined) == _ALL and found.sd_px <= _SD_PX
        return (
            found.transform if sure and min(found.confidence / _CONFIDENT, found.used_share / _AGREEING) >= 1 else None
        )

    def _nearer(self, part: str) -> BaseGeometry | None:
        """Where plates that are placed already, and come later in the order, hide a part, hero px."""
        ids = list(self.plates)
        front = [other for other in ids[ids.index(part) + 1 :] if other in self.places]
        areas = [
            apply_area(self.places[other], shapely.make_valid(a))
            for other in front
            for a in self.plates[other].polygons
        ]
        return shapely.union_all(areas) if areas else None

    def _fits_inside(self, area: BaseGeometry, place: Similarity) -> bool:
        if self.inside.is_empty:
            return True
        there = apply_area(place, area)
        return bool(shapely.difference(there, self.inside).area <= _OUTSIDE * there.area)


def _hull(area: BaseGeometry) -> Floats:
    return np.asarray(shapely.get_coordinates(area.convex_hull))


def _same(one: Similarity, two: Similarity, known: BaseGeometry, area: BaseGeometry) -> bool:
    """Whether two places are one, as far as measurements can tell; `known` is what the first was measured on."""
    hull = _hull(area)
    reach = float(np.ptp(np.concatenate([_hull(known), hull]), axis=0).max()) * one.scale
    return farthest(one, two, hull)[0] <= _SAME_PX + _SAME_SHARE * reach


def _unlike(places: Sequence[Similarity]) -> list[Similarity]:
    """Those of which scale or turn differ; where they lie does not count."""
    kept: list[Similarity] = []
    for place in places:
        if all(
            abs(place.scale / one.scale - 1) > 0.005 or abs(place.turn_degrees - one.turn_degrees) > 0.3 for one in kept
        ):
            kept.append(place)
    return kept
