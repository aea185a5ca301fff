"""Find plates on the hero still where it shows them as they are: at the scale and turn of one that was found.

In:  FoundPlates without a place, their pictures, the hero, one place      Out: a place a plate, or why there is none

A studio shoots a product with one set-up, so that is looked for first. Most of a part may be hidden: the few per cent
that show must agree px by px, hold contrast of their own, and be measured to a fraction of a px. Parts that look like
each other, as screws do, share out the places where they fit, one each, so that all together fit best.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.trace import full_scale
from choreo.geometry.registration.agreement import (
    Colours,
    Still,
    agreed,
    drawn_at,
    exposure,
    nearest_shift,
    noise_of,
    shifts_by_agreement,
    still_of,
)
from choreo.geometry.registration.content import register_content
from choreo.geometry.registration.outline import register_outline
from choreo.geometry.registration.shift import shifts_by_outline
from choreo.geometry.registration.similarity import apply, apply_area
from choreo.model.new_plates import FoundPlate
from choreo.model.registration import Photograph, Pixels, Similarity

_SEEN = 0.03
"""Share of a plate that must show as a solid area."""
_LEAST_PX = 150
_CONTRAST, _FAINT = 4.0, 2.0
"""Times by which what shows must vary more than it is off: a plain area fits wherever that colour is. The
second before it is measured."""
_CLOSE = 0.02
"""How far off, of full scale, px that show may be on average once the plate lies right."""
_NOISIER = 1.25
"""Times the noise of the still that they may be off instead, if that is more."""
_WORTH, _MOST = 0.75, 4
"""Places with a smaller share of the best one's agreement are not measured, nor more than so many."""
_RIVAL = 0.75
"""From this share of the best agreement another place is as good."""
_MOST_OUTLINE, _OUTLINE, _FEW_OUTLINE, _MEAN_PX = 0.6, 0.4, 0.1, 0.5
"""Share of an outline that must lie on the hero's if the picture is not asked (another part may hide all of it), if it
must not contradict, and if it agrees as well."""
_CONFIDENT, _AGREEING, _SD_PX = 0.6, 0.5, 0.35
_SHIFT = {"shift x", "shift y"}
_OUTSIDE, _ROUGHLY = 0.01, 0.06
"""Share of a part that may stick out of the hero, once it is measured and before."""
_GROWN, _TURNED = 0.01, 0.5
"""Share and degrees by which a place may differ from the known scale and turn; what differs more was not one set-up."""
_SAME_PX = 3.0
_LIKE = 0.02
"""Like parts differ in width and height by no more than this share."""
_ROOM_PX = 5
_OPEN = 0.9
"""Where more of a plate than this shows, all of it is compared; otherwise what agrees and a little around."""

_Loader = Callable[[str], Photograph]


@dataclass(frozen=True)
class Fit:
    """One place where a plate fits, and how well: 0 to 1."""

    place: Similarity
    share: float


def place_alike(
    parts: Sequence[str],
    plates: Mapping[str, FoundPlate],
    photograph_of: _Loader,
    hero: Photograph,
    known: tuple[str, Similarity],
    inside: BaseGeometry,
) -> tuple[dict[str, Similarity], dict[str, str]]:
    """Return places of plates found at the scale and turn of a known one, and why those that fit nowhere alone do not.

    Parameters
    ----------
    parts : sequence of str
        To be looked for.
    plates : mapping of part id to FoundPlate
    photograph_of : callable
    hero : Photograph
    known : (part id, place)
        A plate that was found.
    inside : Polygon or MultiPolygon
        Where parts lie, hero px; empty where the still has no matte.

    """
    under, own = hero.pixels(), photograph_of(known[0]).pixels()
    if under is None or own is None:
        return {}, {}
    still = still_of(*under)
    drawn = drawn_at(*own, known[1])
    gain = exposure(still, drawn)
    still = replace(still, noise=noise_of(still, drawn, gain))
    fits = {
        part: _fits(photograph_of(part), hero, still, replace(known[1], shift_px=(0.0, 0.0)), gain, inside)
        for part in parts
    }
    places: dict[str, Similarity] = {}
    why: dict[str, str] = {}
    for group in _groups({part: found for part, found in fits.items() if found}, plates):
        _share_out(group, fits, plates, places, why)
    return places, why


def _fits(
    photograph: Photograph, hero: Photograph, still: Still,
    like: Similarity, gain: Colours, inside: BaseGeometry,
) -> list[Fit]:  # fmt: skip
    """Places where a plate fits, the best first."""
    pixels = photograph.pixels()
    area = shapely.union_all([shapely.make_valid(one) for one in photograph.outline])
    found: list[Fit] = []
    if pixels is not None:
        starts = [
            nearest_shift(*pixels, still, start, gain)[0] for start in shifts_by_agreement(*pixels, still, like, gain)
        ]
        judged = [Fit(start, _shown(pixels, still, start, gain, roughly=True)) for start in starts]
        best = max((one.share for one in judged), default=0.0)
        for one in sorted(judged, key=lambda fit: -round(fit.share, 6))[:_MOST]:
            if one.share > 0 and one.share >= _WORTH * best:
                place = _measured(photograph, pixels, hero, still, one.place, gain)
                share = 0.0 if place is None else _shown(pixels, still, place, gain)
                if place is not None and share > 0:
                    found.append(Fit(place, share))
    if not found:
        found = _by_outline(photograph, pixels, hero, still, like, gain, inside)
    kept: list[Fit] = []
    for one in sorted(found, key=lambda fit: -round(fit.share, 6)):
        right = _alike(one.place, like) and _lies_inside(area, one.place, inside)
        if right and all(_apart(one, other, area) > _SAME_PX for other in kept):
            kept.append(one)
    return kept


def _by_outline(
    photograph: Photograph, pixels: tuple[Pixels, Pixels] | None, hero: Photograph, still: Still,
    like: Similarity, gain: Colours, inside: BaseGeometry,
) -> list[Fit]:  # fmt: skip
    """Places that a plate's outline tells: enough of it by itself, or less if the picture agrees."""
    if not hero.outline:
        return []
    area = shapely.union_all([shapely.make_valid(one) for one in photograph.outline])
    found: list[Fit] = []
    for moved in shifts_by_outline(photograph.outline, hero.outline, like, most=4):
        if not _lies_inside(area, moved.place, inside, _ROUGHLY):
            continue
        fit = register_outline(photograph.outline, hero.outline, moved.place)
        if not set(fit.determined) >= _SHIFT or fit.used_share < _FEW_OUTLINE or fit.mean_px > _MEAN_PX:
            continue
        shown = 0.0 if pixels is None else _shown(pixels, still, fit.transform, gain)
        alone = (
            fit.used_share >= _MOST_OUTLINE or pixels is None or not _contradicts(pixels, still, fit.transform, gain)
        )
        if shown > 0 or (fit.used_share >= _OUTLINE and alone):
            found.append(Fit(fit.transform, fit.used_share))
    return found


def _contradicts(pixels: tuple[Pixels, Pixels], still: Still, place: Similarity, gain: Colours) -> bool:
    """Whether the hero shows nothing of a plate, though edges of it lie on its outline, as they may by chance."""
    drawn = drawn_at(*pixels, place)
    solid, _ = agreed(still, drawn, gain, roughly=True)
    return float(solid.sum()) < _SEEN * float(drawn.opaque.sum())


def _alike(place: Similarity, like: Similarity) -> bool:
    turned = abs(place.turn_degrees - like.turn_degrees)
    return abs(place.scale / like.scale - 1) <= _GROWN and turned <= _TURNED


def _shown(
    pixels: tuple[Pixels, Pixels], still: Still, place: Similarity, gain: Colours, *, roughly: bool = False
) -> float:
    """Share of a plate that the hero shows there; 0 where that is too little or too plain to say so."""
    drawn = drawn_at(*pixels, place)
    solid, off = agreed(still, drawn, gain, roughly=roughly)
    share, count = float(solid.sum() / max(1, drawn.opaque.sum())), int(solid.sum())
    if count < _LEAST_PX or share < _SEEN or (off > max(_CLOSE, _NOISIER * still.noise) and not roughly):
        return 0.0
    contrast = float(drawn.colour[solid].std(axis=0).max())
    # Noise makes px differ where all lies right; what counts against a place is what they are off beyond it.
    beyond = math.sqrt(max(off**2 - still.noise**2, 0.0))
    return share if contrast >= max(_FAINT * off, 0.0 if roughly else _CONTRAST * beyond) else 0.0


def _measured(
    photograph: Photograph, pixels: tuple[Pixels, Pixels], hero: Photograph,
    still: Still, start: Similarity, gain: Colours,
) -> Similarity | None:  # fmt: skip
    """The place near a start that outline or picture bear out; what neither tells, scale and turn, stays as known."""
    if hero.outline:
        fit = register_outline(photograph.outline, hero.outline, start, reach_px=2 * _SAME_PX)
        if set(fit.determined) >= _SHIFT and fit.used_share >= _FEW_OUTLINE and fit.mean_px <= _MEAN_PX:
            return fit.transform
    import cv2  # noqa: PLC0415

    drawn = drawn_at(*pixels, start)
    solid, _ = agreed(still, drawn, gain)
    if solid.sum() < _LEAST_PX:
        solid, _ = agreed(still, drawn, gain, roughly=True)
    height, width = still.opaque.shape
    visible = np.zeros((height, width), np.bool_)
    around = np.ones((2 * _ROOM_PX + 1, 2 * _ROOM_PX + 1), np.uint8)
    shows = solid if solid.sum() < _OPEN * drawn.opaque.sum() else drawn.opaque
    rows, columns = np.nonzero(shows)
    rows, columns = rows + drawn.corner[1], columns + drawn.corner[0]
    on = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    visible[rows[on], columns[on]] = True
    visible = np.asarray(cv2.dilate(visible.astype(np.uint8), around)) > 0
    own, alpha = pixels
    scale = np.float64(full_scale(own))
    found = register_content(
        own / scale, alpha / np.float64(full_scale(alpha)), still.colour.astype(np.float64), start, visible=visible
    )
    sure = not found.trouble and set(found.determined) >= _SHIFT and found.sd_px <= _SD_PX
    return found.transform if sure and found.confidence >= _CONFIDENT and found.used_share >= _AGREEING else None


def _groups(fits: Mapping[str, list[Fit]], plates: Mapping[str, FoundPlate]) -> list[list[str]]:
    """Parts that are as large as each other and fit in some place that is the same, together; every other by itself."""
    groups: list[list[str]] = []
    for part in fits:
        near = [group for group in groups if any(_rivals(part, other, fits, plates) for other in group)]
        groups = [group for group in groups if group not in near]
        groups.append([*(other for group in near for other in group), part])
    return groups


def _rivals(one: str, two: str, fits: Mapping[str, list[Fit]], plates: Mapping[str, FoundPlate]) -> bool:
    sizes = [np.subtract(plates[part].bounds[2:], plates[part].bounds[:2]) for part in (one, two)]
    if (np.abs(sizes[0] / sizes[1] - 1) > _LIKE).any():
        return False
    return any(
        _near(_middle(plates[one], a.place), _middle(plates[two], b.place)) for a in fits[one] for b in fits[two]
    )


def _share_out(
    group: Sequence[str], fits: Mapping[str, list[Fit]], plates: Mapping[str, FoundPlate],
    places: dict[str, Similarity], why: dict[str, str],
) -> None:  # fmt: skip
    """Give each of a group one place so that all together fit best; one that could as well lie elsewhere has none."""
    import networkx as nx  # noqa: PLC0415

    sites: list[np.ndarray] = []
    at: dict[tuple[str, int], Fit] = {}
    for part in group:
        for fit in fits[part]:
            middle = _middle(plates[part], fit.place)
            site = next((k for k, other in enumerate(sites) if _near(middle, other)), len(sites))
            if site == len(sites):
                sites.append(middle)
            at.setdefault((part, site), fit)
    worth = np.array([[at[part, k].share if (part, k) in at else 0.0 for k in range(len(sites))] for part in group])
    graph = nx.Graph()
    millionths = np.rint(worth * 1e6).astype(int)
    for row, column in np.argwhere(millionths > 0).tolist():
        graph.add_edge(row, len(group) + column, weight=int(millionths[row, column]))
    pairs = sorted(tuple(sorted(pair)) for pair in nx.max_weight_matching(graph))
    taken = {group[row]: column - len(group) for row, column in pairs}
    for row, part in enumerate(group):
        if part not in taken:
            why[part] = "where it would fit, parts like it lie"
            continue
        free = [k for k in range(len(sites)) if k not in taken.values()]
        if any(worth[row, k] >= _RIVAL * worth[row, taken[part]] for k in free):
            why[part] = "it fits in more than one place"
        else:
            places[part] = at[part, taken[part]].place


def _middle(plate: FoundPlate, place: Similarity) -> np.ndarray:
    left, top, right, bottom = plate.bounds
    return np.asarray(apply(place, np.array([(left + right) / 2, (top + bottom) / 2])))


def _near(one: np.ndarray, two: np.ndarray) -> bool:
    return float(np.hypot(*(one - two))) <= 2 * _SAME_PX


def _apart(one: Fit, two: Fit, area: BaseGeometry) -> float:
    corners = shapely.get_coordinates(area.convex_hull)
    return float(np.hypot(*(apply(one.place, corners) - apply(two.place, corners)).T).mean())


def _lies_inside(area: BaseGeometry, place: Similarity, inside: BaseGeometry, most: float = _OUTSIDE) -> bool:
    if inside.is_empty:
        return True
    there = apply_area(place, area)
    return bool(shapely.difference(there, inside).area <= most * there.area)
