"""Guess where a plate of known size and turn lies on the hero still: by its outline, or by what it shows.

Every shift on a coarse grid is tried at once, as a correlation. A guess is worth something only if no shift
elsewhere is about as good: a square slid along a straight edge fits everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely.geometry.base import BaseGeometry

from choreo.geometry.plane.trace import full_scale
from choreo.geometry.registration.edges import Samples, samples_of
from choreo.geometry.registration.similarity import apply
from choreo.model.plan import Floats
from choreo.model.registration import Pixels, Similarity

_CELLS = 256
"""Cells along the hero's longer side."""
_HEADINGS = 8
_ROOM = 2
"""Cells by which two outlines may be apart and still count as one."""
_TIE = 0.01
"""Weight of what shifts around score, where that decides between equals."""
_LONGEST_PX = 400
"""The hero's longer side where pictures are compared."""
_LEAST_PX = 64
"""Opaque px that a plate must keep there."""


@dataclass(frozen=True)
class Shifted:
    """The best shift."""

    place: Similarity
    score: float
    """0 to 1: share of the outline that lies on the hero's; or correlation of the pictures."""
    next_score: float
    """Of the best shift that is another place."""


def shift_by_outline(part: Sequence[BaseGeometry], hero: Sequence[BaseGeometry], start: Similarity) -> Shifted | None:
    """Return the shift with which most of a part's outline lies on the hero's, facing the same way.

    Parameters
    ----------
    part, hero : sequence of Polygon
        px of their pictures.
    start : Similarity
        Plate px to hero px; its scale and turn count.

    Returns
    -------
    Shifted or None
        Good to a 256th of the hero's size. None where one of them has no outline.

    """
    found = shifts_by_outline(part, hero, start, most=1)
    return found[0] if found else None


def shifts_by_outline(
    part: Sequence[BaseGeometry], hero: Sequence[BaseGeometry], start: Similarity, *, most: int = 6
) -> list[Shifted]:
    """Return the shifts, the best first, with which most of a part's outline lies on the hero's; see above.

    Each counts the best of the others that follow as its next.
    """
    import cv2  # noqa: PLC0415

    own, there = samples_of(part), samples_of(hero)
    if not len(own) or not len(there):
        return []
    turn = math.radians(start.turn_degrees)
    cos, sin = math.cos(turn), math.sin(turn)
    upright = Similarity(start.scale, start.turn_degrees, (0.0, 0.0))
    own = Samples(
        apply(upright, own.points), own.normals @ np.array([[cos, sin], [-sin, cos]]), own.step_px * start.scale
    )
    low, own_low = there.points.min(axis=0), own.points.min(axis=0)
    cell = float((there.points.max(axis=0) - low).max()) / _CELLS
    reach = [np.floor(np.ptp(one.points, axis=0) / cell).astype(np.int64) + 1 + 2 * _ROOM for one in (there, own)]
    width, height = (int(size) for size in reach[0] + reach[1])
    target, wanted = (_headings(one, corner, cell, (height, width)) for one, corner in ((there, low), (own, own_low)))
    whole = np.fft.irfft2(
        (np.fft.rfft2((_widened(target) > 0).astype(np.float64)) * np.conj(np.fft.rfft2(wanted))).sum(axis=0),
        (height, width),
    )
    near = max(_ROOM + 1, round(0.1 * float(reach[1].max())))
    # A circle of shifts: those to the left and up come last, and are put first.
    whole = np.roll(whole, (reach[1][1], reach[1][0]), axis=(0, 1)) / own.step_px.sum()
    # Outlines that are a cell or two apart count as one: of shifts that tie, the middle one is right.
    whole = whole + _TIE * np.asarray(cv2.blur(whole, (2 * _ROOM + 1, 2 * _ROOM + 1), borderType=cv2.BORDER_CONSTANT))
    found: list[Shifted] = []
    rows, columns = np.ogrid[: whole.shape[0], : whole.shape[1]]
    for _ in range(most):
        (row, column), best, after = _best(whole, near)
        shift = low - own_low + (np.array([column, row]) - reach[1]) * cell
        place = Similarity(start.scale, start.turn_degrees, (float(shift[0]), float(shift[1])))
        found.append(Shifted(place, best, after))
        whole = np.where(np.hypot(rows - row, columns - column) > near, whole, 0.0)
    return found


def shift_by_picture(
    colour: Pixels, alpha: Pixels, hero: Pixels, hero_alpha: Pixels, start: Similarity
) -> Shifted | None:
    """Return the shift with which the hero looks most like a plate, both made small; None where too little is left.

    Parameters
    ----------
    colour, alpha : (h, w, 3), (h, w) arrays
    hero, hero_alpha : (H, W, 3), (H, W) arrays
    start : Similarity
        Plate px to hero px; its scale and turn count.

    Notes
    -----
    Normalised correlation under the plate's matte (J. P. Lewis 1995), by OpenCV.

    """
    import cv2  # noqa: PLC0415

    rows, columns = (np.flatnonzero((hero_alpha > 0).any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return None
    box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    step = max(1.0, max(cut.stop - cut.start for cut in box) / _LONGEST_PX)
    scene = _small(hero[box], 1 / step)
    own = np.flatnonzero((alpha > 0).any(axis=1)), np.flatnonzero((alpha > 0).any(axis=0))
    if not len(own[0]):
        return None
    cut = slice(own[0][0], own[0][-1] + 1), slice(own[1][0], own[1][-1] + 1)
    template, mask, corner = _drawn(colour[cut], alpha[cut], Similarity(start.scale / step, start.turn_degrees, (0, 0)))
    if mask.sum() < _LEAST_PX or float(template[mask > 0].std(axis=0).max()) < 0.01:
        return None
    # Room around, so that a part may lie at the rim.
    pad = max(4, round(0.1 * max(template.shape)))
    scene = np.pad(scene, ((pad, pad), (pad, pad), (0, 0)), mode="edge")
    if scene.shape[0] < template.shape[0] or scene.shape[1] < template.shape[1]:
        return None
    score = np.asarray(
        cv2.matchTemplate(scene, template, cv2.TM_CCOEFF_NORMED, mask=np.dstack([mask] * 3)), dtype=np.float64
    )
    score = np.where(np.isfinite(score) & (np.abs(score) <= 1.0001), score, -1.0)
    (row, column), best, after = _best(score, max(3, round(0.1 * max(template.shape[:2]))))
    # The template's corner lies at `corner` once turned and scaled about the cut-out's corner.
    there = (np.array([column, row]) - pad - corner) * step + (box[1].start, box[0].start)
    lead = apply(Similarity(start.scale, start.turn_degrees, (0.0, 0.0)), np.array([cut[1].start, cut[0].start]))
    shift = there - lead
    return Shifted(Similarity(start.scale, start.turn_degrees, (float(shift[0]), float(shift[1]))), best, after)


def _headings(samples: Samples, corner: Floats, cell: float, shape: tuple[int, int]) -> Floats:
    """(headings, h, w): length of outline in each cell, by the way it faces."""
    out = np.zeros((_HEADINGS, *shape))
    column, row = (np.floor((samples.points - corner) / cell).astype(np.int64) + _ROOM).T
    angle = np.arctan2(samples.normals[:, 1], samples.normals[:, 0]) / (2 * np.pi) * _HEADINGS
    np.add.at(out, (np.rint(angle).astype(np.int64) % _HEADINGS, row, column), samples.step_px)
    return out


def _widened(cells: Floats) -> Floats:
    """Each cell's outline also counts in cells around it, and for the headings beside its own."""
    import cv2  # noqa: PLC0415

    around = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _ROOM + 1, 2 * _ROOM + 1))
    wide = np.stack([np.asarray(cv2.dilate(one, around)) for one in cells])
    return np.maximum(wide, np.maximum(np.roll(wide, 1, axis=0), np.roll(wide, -1, axis=0)))


def _best(score: Floats, near: int) -> tuple[tuple[int, int], float, float]:
    """The best cell, its score, and the best score away from it."""
    row, column = np.unravel_index(int(np.argmax(np.round(score, 9))), score.shape)
    rows, columns = np.ogrid[: score.shape[0], : score.shape[1]]
    away = np.hypot(rows - row, columns - column) > near
    return (int(row), int(column)), float(score[row, column]), float(score[away].max()) if away.any() else 0.0


def _small(picture: Pixels, scale: float) -> Floats:
    import cv2  # noqa: PLC0415

    unit = picture.astype(np.float32) / np.float32(full_scale(picture))
    size = max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale))
    return np.asarray(cv2.resize(unit, size, interpolation=cv2.INTER_AREA))


def _drawn(colour: Pixels, alpha: Pixels, place: Similarity) -> tuple[Floats, Floats, Floats]:
    """A picture made smaller and turned, its opaque px (0 or 1), and where its top-left corner comes to lie."""
    import cv2  # noqa: PLC0415

    shrunk = min(1.0, place.scale)
    small, matte = _small(colour, shrunk), _small(alpha[..., None], shrunk)
    height, width = small.shape[:2]
    factor = np.array([width / colour.shape[1], height / colour.shape[0]])
    turn, left = math.radians(place.turn_degrees), place.scale / factor
    linear = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) * left
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]]) @ linear.T
    low, high = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
    size = int(high[0] - low[0]), int(high[1] - low[1])
    # OpenCV counts from centres of pixels.
    offset = linear @ np.array([0.5, 0.5]) - low - 0.5
    across = np.column_stack([linear, offset])
    drawn = cv2.warpAffine(small, across, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mask = cv2.warpAffine(matte.reshape(height, width), across, size, flags=cv2.INTER_LINEAR)
    return np.asarray(drawn), (np.asarray(mask) > 0.98).astype(np.float32), low
