"""Photographed plates against the hero still: is each where the hero shows it, and what numbers would put it there.

In: the assembly, each plate's outline (and picture, where there is one), and the hero's. Out: a verdict for each
part, the numbers that would mend it, and how the whole stack meets the hero before and after. A part is measured by
its silhouette where that tells everything; else by its picture, if it has one; else by what the silhouette tells.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property, partial
from itertools import accumulate

import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.registration.outline import register_outline
from choreo.geometry.registration.reduced import register_reduced
from choreo.geometry.registration.similarity import (
    apply_area,
    correction,
    farthest,
    from_hero_view,
    on_average,
    origin_px,
    placement,
)
from choreo.geometry.registration.stack import register_stack
from choreo.geometry.solids.solid import Solid
from choreo.geometry.visibility.nearer import nearer_areas
from choreo.model.assembly import Assembly, Hero, Plate, Point
from choreo.model.registration import (
    ContentFit,
    Correction,
    OutlineFit,
    PartRegistration,
    Photograph,
    Registration,
    Similarity,
)

_ALL = 4
_MISFIT = 0.5
"""Share of the hand-off that two outlines may be apart on average, at their best: more is another shape."""
_COARSE_PX = 0.25
_COVERED_PX = 1.0
"""Of a part that shows no more than such a rim, nothing can be told, nor be missed."""
_STEP_PX = 20.0
"""Of the outline, for an average along it."""

Hidden = Callable[[], BaseGeometry]
"""Where nearer parts may hide a part, hero px; worked out only if it is asked for."""


def register(
    assembly: Assembly,
    plates: Mapping[str, Photograph],
    hero: Photograph,
    handoff_px: float = 0.5,
    solids: Mapping[str, Solid] | None = None,
) -> Registration:
    """Return how the plates that were shot from the hero's view meet the hero still.

    Every verdict is about where the numbers in the assembly put a plate. A measurement is a local optimum near that
    place. All parts are measured against the others as they stand, so that one pass over the parts is enough unless
    several are far off; measure again after mending.

    Parameters
    ----------
    assembly : Assembly
        With a hero.
    plates : mapping of part id to Photograph
        Those that could be read.
    hero : Photograph
    handoff_px : float
        The most that a plate may be off, px of the hero.
    solids : mapping of part id to Solid, optional
        All parts, assembled; they tell where nearer parts hide one that is measured by its picture.

    Raises
    ------
    ValueError
        If the assembly has no hero.

    """
    if assembly.hero is None:
        raise ValueError("an assembly without a hero still")
    numbers = {plate.part: plate for plate in assembly.plates if from_hero_view(plate, assembly.hero)}
    stood = {
        part.id: _Stood(
            part.id, plates[part.id], numbers[part.id], assembly.hero, origin_px(part.offset, assembly.hero)
        )
        for part in assembly.parts
        if part.id in numbers and part.id in plates
    }
    others = _others(stood)
    found: list[PartRegistration] = []
    for part in assembly.ids:
        if part not in stood:
            missing = "its plate could not be read" if part in numbers else "it has no plate from the hero's view"
            found.append(_unmeasured(part, None, missing))
            continue
        hidden = cache(partial(nearer_areas, part, solids, assembly.hero, assembly.touch_mm)) if solids else None
        found.append(_measured(stood[part], hero, others[part], handoff_px, hidden))

    mended = [_mended(stood[one.part], one) for one in found if one.part in stood]
    goal = shapely.union_all(list(hero.outline))
    tolerance = max(handoff_px, 1e-3)
    return Registration(
        handoff_px,
        tuple(found),
        register_stack([one.area for one in stood.values()], goal, sliver_px=tolerance),
        register_stack(mended, goal, sliver_px=tolerance),
    )


@dataclass(frozen=True, eq=False)
class _Stood:
    """A plate where its numbers put it."""

    part: str
    photograph: Photograph
    plate: Plate
    hero: Hero
    origin: Point

    @property
    def place(self) -> Similarity:
        return self.place_by(Correction(self.plate.px_per_mm, self.plate.pivot_px, self.plate.turn))

    def place_by(self, numbers: Correction) -> Similarity:
        return placement(numbers, self.hero.px_per_mm, self.origin, self.hero.turn)

    @cached_property
    def own(self) -> BaseGeometry:
        return shapely.union_all(list(self.photograph.outline))

    @cached_property
    def area(self) -> BaseGeometry:
        return apply_area(self.place, self.own)


def _others(stood: Mapping[str, _Stood]) -> dict[str, BaseGeometry]:
    """For each plate the area of all others, to a quarter of a px: what lies well inside it is asked."""
    areas = [shapely.make_valid(shapely.simplify(one.area, _COARSE_PX)) for one in stood.values()]
    none: BaseGeometry = shapely.Polygon()
    before = list(accumulate(areas, shapely.union, initial=none))
    after = list(accumulate(reversed(areas), shapely.union, initial=none))[::-1]
    return {part: shapely.union(before[k], after[k + 1]) for k, part in enumerate(stood)}


def _measured(
    stood: _Stood, hero: Photograph, others: BaseGeometry, handoff_px: float, hidden: Hidden | None
) -> PartRegistration:
    """One part: by its outline, or by its picture, or not at all."""
    if stood.own.is_empty:
        return _unmeasured(stood.part, stood.place, "its matte is empty")
    outline = register_outline(stood.photograph.outline, hero.outline, stood.place, others=others)
    content = None
    if len(outline.determined) < _ALL:
        content = _by_picture(stood, hero, outline.transform, hidden)
    by = _chosen(outline, content)
    if not by:
        if hidden is not None and shapely.difference(stood.area.buffer(-_COVERED_PX), hidden()).is_empty:
            said = "not seen on the still, where other parts hide it"
            return PartRegistration(stood.part, "hidden", said, None, None, "", stood.place, outline, content, None)
        why = _unsure(stood, hero, content)
        return _unmeasured(stood.part, stood.place, why, outline, content)
    fit = outline if by == "outline" else content
    assert fit is not None
    hull = shapely.get_coordinates(stood.own.convex_hull)
    off, at = farthest(fit.transform, stood.place, hull)
    verdict, said = _verdict(off, at, outline if by == "outline" else None, handoff_px)
    if fit.held:
        said += "; not told by what is seen: " + ", ".join(held.words for held in fit.held)
    mend = correction(fit.transform, stood.hero.px_per_mm, stood.origin, stood.hero.turn)
    mean = on_average(fit.transform, stood.place, shapely.segmentize(stood.own, _STEP_PX / stood.place.scale))
    return PartRegistration(
        stood.part, verdict, said, off, at, by, stood.place, outline, content, mend, mean, fit.transform, stood.origin
    )


def _unsure(stood: _Stood, hero: Photograph, content: ContentFit | None) -> str:
    """Why neither outline nor picture tells anything."""
    if not any(shapely.intersects(stood.area, one) for one in hero.outline):
        return "the still shows nothing where its numbers put it"
    why = "none of its outline is on the hero's outline"
    if content is None:
        return f"{why}, and there is no picture of it to compare"
    # Less than a whole answer may be no trouble, and still tell nothing that an outline does not.
    return f"{why}, and {content.trouble or 'its picture has too little on it to tell'}"


def _by_picture(stood: _Stood, hero: Photograph, start: Similarity, hidden: Hidden | None) -> ContentFit | None:
    own, under = stood.photograph.pixels(), hero.pixels()
    if own is None or under is None:
        return None
    return register_reduced(*own, under[0], start, hidden=hidden() if hidden else None)


def _chosen(outline: OutlineFit, content: ContentFit | None) -> str:
    """What tells more; of equals, the outline, which does not hang on light and finish."""
    if content is not None and len(content.determined) > len(outline.determined):
        return "picture"
    return "outline" if outline.determined else ""


def _verdict(off: float, at: Point, outline: OutlineFit | None, handoff_px: float) -> tuple[str, str]:
    if off > handoff_px:
        return "off", f"off by {_up(off)} px at {_at(at)}"
    if outline is not None and outline.mean_px > _MISFIT * handoff_px:
        return "misfit", (
            f"in place, but its outline is not the hero's: {outline.mean_px:.1f} px apart on average, "
            f"{outline.worst_px:.1f} px at {_at(outline.worst_at_px)}"
        )
    return "within", f"within {handoff_px:g} px"


def _up(px: float) -> str:
    # So that what is over the limit never reads as the limit.
    return f"{math.ceil(px * 10 - 1e-6) / 10:.1f}"


def _unmeasured(
    part: str,
    place: Similarity | None,
    why: str,
    outline: OutlineFit | None = None,
    content: ContentFit | None = None,
) -> PartRegistration:
    said = f"cannot be measured: {why}"
    return PartRegistration(part, "unmeasured", said, None, None, "", place, outline, content, None)


def _mended(stood: _Stood, found: PartRegistration) -> BaseGeometry:
    """The part's area where it was measured to belong; where it stands, if it was not."""
    if found.correction is None:
        return stood.area
    return apply_area(stood.place_by(found.correction), stood.own)


def _at(point: Point) -> str:
    return f"({point[0]:.0f}, {point[1]:.0f})"
