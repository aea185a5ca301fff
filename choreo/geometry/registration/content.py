"""Lay what a plate shows on the same spot of the hero, by brightness: for parts that no silhouette tells about.

The plate is drawn on the hero's grid at its start; what remains is a small motion of the hero under it. Exposure and
colour may differ between the two: each channel has a gain and a bias of its own, which are solved out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from choreo.geometry.registration.motion import (
    Evidence,
    Lever,
    Split,
    descend,
    determined,
    jacobian,
    lever_of,
    moved,
    name_held,
    settle,
    split,
    then_moved,
)
from choreo.geometry.registration.pixels import Bools, blurred, cubic_at, eroded, halved, linear_at, slopes
from choreo.geometry.registration.similarity import apply, compose, inverse
from choreo.model.plan import Floats
from choreo.model.registration import EVERYTHING, IDENTITY, ContentFit, Similarity

_OPAQUE = 0.98
_SMOOTH_PX = 0.8
"""Both pictures are blurred by this: enough that reading between pixels is exact to some thousandths of a step."""
_FEWEST = 150
"""Fewer pixels than this are no texture."""
_MOST = 20_000
"""Pixels compared; of more, every second, third, ... counts."""
_COARSEST_PX = 10.0
"""The part's radius on the smallest picture: below that nothing of it is left."""
_ALIKE_PX2 = 8.0
"""Neighbours whose noise goes together after the blur: 4 pi sd^2."""
_TUKEY = 4.685
_MEDIAN_TO_SD = 1.4826
_LEAST_SD = 1e-3
"""A quarter of a step of 8 bit, as a share of full scale."""
_SHARED = 0.25
"""Share of the hero's slopes along a direction that the plate must have too: of pure noise they share a few percent."""
_LEAST_CONTRAST = 4e-3
"""One step of 8 bit: a part with less is plain."""
_TRIED = 5
"""Shifts tried in x and in y where the start leads nowhere, over a third of the part's radius both ways."""
_SURE = 0.5
"""Share of the contrast explained from which the two show the same thing."""


def register_content(
    plate: Floats,
    alpha: Floats,
    hero: Floats,
    start: Similarity,
    *,
    visible: Bools | None = None,
    border_px: int = 3,
    plate_grid: Similarity = IDENTITY,
    hero_grid: Similarity = IDENTITY,
) -> ContentFit:
    """Return where a plate's picture fits the hero's best.

    A local optimum near the start, coarse to fine; the start may be off by about an eighth of the part's size, if its
    turn is right to a few degrees. Where texture is too poor along a direction, that direction is held at the start
    and named.

    Parameters
    ----------
    plate : (h, w, 3) array
        Colour, not multiplied by alpha, 0 to 1.
    alpha : (h, w) array
        0 to 1.
    hero : (H, W, 3) array
        Colour, 0 to 1, in the same transfer function as the plate.
    start : Similarity
        Plate px to hero px, of the whole pictures.
    visible : (H, W) boolean array, optional
        Where no nearer part hides this one. What is hidden is distrusted in any case, if it is less than a third.
    border_px : int
        So much of the matte's inner edge is left out, px of `hero`: its colour is mixed with the background.
    plate_grid, hero_grid : Similarity
        From px of what is given to px of the whole pictures, for pictures that were cut out or made smaller; not
        turned. The answer counts in px of the whole pictures.

    Notes
    -----
    B. D. Lucas and T. Kanade 1981, with gain and bias as S. Baker and I. Matthews treat them (IJCV 56(3), 2004),
    Tukey's biweight against what hides, and Gauss-Newton steps. A direction counts as seen as far as the slopes of
    both pictures agree along it, so that noise in each of them is no texture.

    """
    inner = compose(inverse(hero_grid), compose(start, plate_grid))
    scenes = _scenes(plate, alpha, hero, inner, visible, border_px)
    if not scenes:
        return _none(start, "no more than a few pixels of it are clear of its own edge and of other parts")
    finest = scenes[0]
    if float(finest.template.std(axis=0).max()) < _LEAST_CONTRAST:
        return _none(start, "its plate is plain: there is nothing on it to go by")
    motion = _first(scenes[-1])
    for scene in reversed(scenes[:-1]):
        motion = descend(scene.evidence, motion * 2.0, np.eye(4), 30, scene.lever.radius / 8)
    motion, parted = settle(finest.evidence, motion, 30, 1.0)
    return _answer(finest, start, motion, parted, hero_grid)


@dataclass(frozen=True, eq=False)
class _Scene:
    """One size of the pictures."""

    places: Floats
    """(n, 2) px of the hero's cut-out: the pixels compared, as the start puts them."""
    template: Floats
    """(n, 3) the plate there."""
    template_slopes: Floats
    """(n, 3, 2)"""
    hero: Floats
    """(h, w, 3) the cut-out."""
    hero_slopes: Floats
    lever: Lever
    corner: Floats
    """(2,) where the cut-out begins on the hero, px of the full size."""

    def compare(self, motion: Floats) -> _Compared:
        """Everything that a step needs."""
        there = moved(self.places, self.lever, motion)
        height, width = self.hero.shape[:2]
        inside = ((there > 1) & (there < (width - 1, height - 1))).all(axis=1)
        rows = jacobian(there, self.lever, motion)
        seen = cubic_at(self.hero, there)
        own = np.einsum("nci,nij->ncj", linear_at(self.hero_slopes, there), rows)
        model = np.einsum("nci,nij->ncj", self.template_slopes, rows)
        weight = np.asarray(inside, dtype=np.float64)
        for _ in range(3):  # gain, bias and weights wait for each other
            left, steep, gain = _without_exposure(self.template, seen, own, weight)
            size = np.sqrt((left**2).mean(axis=1))
            sd = max(_LEAST_SD, _MEDIAN_TO_SD * float(np.median(size[inside])) if inside.any() else _LEAST_SD)
            weight = np.where(inside, np.maximum(0.0, 1 - (size / (_TUKEY * sd)) ** 2) ** 2, 0.0)
        return _Compared(left, steep, model * gain[:, None], seen, weight)

    def evidence(self, motion: Floats) -> Evidence | None:
        """One step of least squares."""
        found = self.compare(motion)
        total = float(found.weight.sum())
        if total < _FEWEST / 3:
            return None
        weighted = found.steep * found.weight[:, None, None] / total
        normal = np.einsum("nci,ncj->ij", weighted, found.steep)
        shared = np.einsum("nci,ncj->ij", weighted, found.model)
        slope = np.einsum("nci,nc->i", weighted, found.left)
        noise = float((found.weight[:, None] * found.left**2).sum() / total) / 3
        count = total / _ALIKE_PX2
        return Evidence(normal, slope, noise, count, (shared + shared.T) / 2, _SHARED * normal)


@dataclass(frozen=True, eq=False)
class _Compared:
    left: Floats
    """(n, 3) hero less plate, gain and bias taken out."""
    steep: Floats
    """(n, 3, 4) how that follows the motion."""
    model: Floats
    """(n, 3, 4) the same by the plate's own slopes."""
    seen: Floats
    weight: Floats


def _without_exposure(template: Floats, seen: Floats, steep: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Return what is left of values, (n, c), and slopes, (n, c, 4), when gain and bias have done their best."""
    total = max(float(weight.sum()), 1e-12)
    share = weight / total
    flat = template - share @ template
    values, ways = seen - share @ seen, steep - np.einsum("n,ncj->cj", share, steep)
    power = np.maximum(np.einsum("n,nc,nc->c", share, flat, flat), 1e-12)
    gain = np.einsum("n,nc,nc->c", share, flat, values) / power
    lean = np.einsum("n,nc,ncj->cj", share, flat, ways) / power[:, None]
    return values - gain * flat, ways - flat[:, :, None] * lean, gain


def _scenes(
    plate: Floats, alpha: Floats, hero: Floats, start: Similarity, visible: Bools | None, border_px: int
) -> list[_Scene]:
    """The pictures at full size, half size, ... as far as enough is left of the part."""
    found = _cut_out(plate, alpha, hero, start, visible)
    if found is None:
        return []
    template, mask, piece, corner = found
    mask = eroded(mask, border_px)
    scenes: list[_Scene] = []
    while True:
        soft, under = blurred(template, _SMOOTH_PX), blurred(piece, _SMOOTH_PX)
        row, column = np.nonzero(mask)
        if len(row) < _FEWEST:
            return scenes
        stride = math.ceil(len(row) / _MOST)
        row, column = row[::stride], column[::stride]
        places = np.stack([column + 0.5, row + 0.5], axis=1)
        lever = scenes[-1].lever if scenes else lever_of(places, np.ones(len(places)))
        if scenes:
            lever = Lever(lever.centre / 2, lever.radius / 2)
        steep = slopes(soft)[row, column]
        scenes.append(_Scene(places, soft[row, column], steep, under, slopes(under), lever, corner))
        if lever.radius < 2 * _COARSEST_PX:
            return scenes
        template, piece = halved(soft), halved(under)
        mask = eroded(halved(mask.astype(np.float64)) == 1.0, 1)


def _cut_out(
    plate: Floats, alpha: Floats, hero: Floats, start: Similarity, visible: Bools | None
) -> tuple[Floats, Bools, Floats, Floats] | None:
    """Plate on the hero's grid, where it is opaque, the hero there with room around, and where that begins."""
    row, column = np.nonzero(alpha >= _OPAQUE)
    if not len(row):
        return None
    bounds = [(f(column) + d, g(row) + e) for f, d in ((np.min, 0), (np.max, 1)) for g, e in ((np.min, 0), (np.max, 1))]
    corners = apply(start, np.array(bounds, dtype=np.float64))
    room = 8 + 0.2 * float(np.ptp(corners, axis=0).max())
    height, width = hero.shape[:2]
    low = np.clip(np.floor(corners.min(axis=0) - room), 0, (width, height)).astype(np.int64)
    high = np.clip(np.ceil(corners.max(axis=0) + room), 0, (width, height)).astype(np.int64)
    columns, rows = np.arange(low[0], high[0]), np.arange(low[1], high[1])
    if len(columns) < 4 or len(rows) < 4:
        return None
    grid = np.stack(np.meshgrid(columns + 0.5, rows + 0.5), axis=-1).reshape(-1, 2)
    back = apply(inverse(start), grid)
    # Whichever picture is finer is blurred to what the other resolves.
    finer = 0.5 * math.sqrt(max(0.0, 1 / start.scale**2 - 1))
    coarser = 0.5 * math.sqrt(max(0.0, start.scale**2 - 1))
    shape = len(rows), len(columns)
    inside: Bools = np.asarray(((back > 0.5) & (back < np.array(alpha.shape[::-1]) - 0.5)).all(axis=1))
    inside[inside] = linear_at(alpha, back[inside]) >= _OPAQUE
    if not inside.any():
        return None
    drawn = cubic_at(blurred(plate, finer), back[inside])
    # Around it the part's mean colour: the background it was shot on would bleed in where the picture is halved.
    template = np.tile(drawn.mean(axis=0), (len(back), 1))
    template[inside] = drawn
    template, mask = template.reshape(*shape, 3), np.asarray(inside.reshape(shape))
    window = slice(low[1], high[1]), slice(low[0], high[0])
    if visible is not None:
        mask &= visible[window]
    return template, mask, blurred(hero[window].astype(np.float64), coarser), low.astype(np.float64)


def _first(scene: _Scene) -> Floats:
    """The motion on the smallest pictures: from the start, or if that leads nowhere, the best from a grid around it."""

    def down(shift: tuple[float, float]) -> Floats:
        return descend(scene.evidence, np.array([*shift, 0.0, 0.0]), np.eye(4), 12, scene.lever.radius / 8)

    motion = down((0.0, 0.0))
    if _explained(scene.compare(motion)) >= _SURE:
        return motion
    steps = np.linspace(-1.0, 1.0, _TRIED) * scene.lever.radius / 3
    tried = [motion, *(down((float(x), float(y))) for y in steps for x in steps)]
    return tried[int(np.argmax([round(_explained(scene.compare(one)), 6) for one in tried]))]


def _explained(found: _Compared) -> float:
    """Share of the hero's contrast that the plate explains, where they are compared; below 0 where it adds to it."""
    share = found.weight / max(float(found.weight.sum()), 1e-12)
    contrast = float((share @ (found.seen - share @ found.seen) ** 2).sum())
    return 1.0 - float((share @ found.left**2).sum()) / max(contrast, _LEAST_SD**2)


def _answer(scene: _Scene, start: Similarity, motion: Floats, parted: Split, grid: Similarity) -> ContentFit:
    found = scene.compare(motion)
    explained = _explained(found)
    trouble = ""
    if explained < _SURE:
        trouble = "what its plate shows is not what the hero shows there"
    elif not parted.free.shape[1]:
        trouble = "its plate has too little texture to tell"
    if trouble:
        return _none(start, trouble)
    # The lever counts from the cut-out's corner and in its px; the answer counts in the whole hero's.
    lever = Lever(apply(grid, scene.lever.centre + scene.corner), scene.lever.radius * grid.scale)
    sure, whole = scene.evidence(motion), motion * grid.scale
    return ContentFit(
        transform=then_moved(start, lever, whole),
        confidence=min(1.0, max(0.0, explained)),
        used_share=float((found.weight > 0).mean()),
        sd_px=split(sure, parted).sd_px * grid.scale if sure is not None else 0.0,
        held=name_held(parted.unseen, lever, whole),
        determined=determined(parted),
        trouble="",
    )


def _none(start: Similarity, trouble: str) -> ContentFit:
    return ContentFit(start, 0.0, 0.0, 0.0, (EVERYTHING,), (), trouble)
