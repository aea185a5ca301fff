"""Where the hero shows px of a plate as they are, when scale, turn and exposure are known: for parts mostly hidden.

A correlation judges a whole plate at once and misses a part of which the still shows a tenth. Here each px of the
plate has one vote: it agrees with the hero's colour there or not, and by how much it does not is nothing. At every
shift the votes are counted on small pictures; the best few are counted again on the pictures themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from choreo.geometry.plane.trace import full_scale
from choreo.geometry.registration.pixels import Bools
from choreo.geometry.registration.similarity import compose
from choreo.model.registration import Pixels, Similarity

_LONGEST_PX = 400
"""The hero's longer side where all shifts are tried."""
_SAMPLES = 400
_ROUGH, _ALIKE = 0.07, 0.03
"""Difference of the worst channel, of full scale, within which a px agrees: on small pictures, and on whole ones."""
_PEAKS = 8
_LEAST = 0.06
"""Share of a plate that must agree at a shift worth a look."""
_RIVAL = 0.4
"""Shifts with a smaller share of the best one's votes are no rivals."""
_NOISE_QUARTER = 1.48
"""Mean over lower quartile of the largest of three normal errors (worked out by hand: 1.33 and 0.90 deviations)."""
_MOST_NOISE = 0.03
_NOISY = 1.5
"""Times the noise up to which a small square may be off on average."""
_SOLID_PX = 5
"""What agrees by chance is scattered: in an area that is seen squares so wide agree on average."""
_EDGE_PX = 2

Colours = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Drawn:
    """A plate on a grid of the hero: what it shows there, and where it is opaque."""

    colour: Colours
    """(h, w, 3), 0 to 1"""
    opaque: Bools
    corner: tuple[int, int]
    """Column and row of the hero's grid where it begins."""


@dataclass(frozen=True, eq=False)
class Still:
    """The hero still, whole and small."""

    colour: Colours
    opaque: Bools
    small: Colours
    small_opaque: Bools
    step: float
    """px of the whole still in one of the small one."""
    noise: float = 0.0
    """By how much px are off, on average, where a plate lies right."""

    @property
    def shrink(self) -> Similarity:
        """Whole px to small ones."""
        return Similarity(1 / self.step, 0.0, (0.0, 0.0))


def still_of(colour: Pixels, alpha: Pixels) -> Still:
    """Return a hero still ready to be searched."""
    import cv2  # noqa: PLC0415

    whole = _unit(colour)
    matte = _unit(alpha)
    step = max(1.0, max(matte.shape) / _LONGEST_PX)
    size = max(1, round(matte.shape[1] / step)), max(1, round(matte.shape[0] / step))
    small = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA), np.float32)
    matte_small = np.asarray(cv2.resize(matte, size, interpolation=cv2.INTER_AREA))
    return Still(whole, matte >= 0.5, small, matte_small >= 0.98, step)


def drawn_at(colour: Pixels, alpha: Pixels, place: Similarity) -> Drawn:
    """Return a plate drawn on the hero's grid at its place; px mixed with its edge are not opaque."""
    import cv2  # noqa: PLC0415

    own, matte = _unit(colour), _unit(alpha)
    factor, height, width = min(1.0, place.scale), *matte.shape
    if factor < 1:  # means of the px that fall into one
        size = max(1, round(width * factor)), max(1, round(height * factor))
        weighted = np.asarray(cv2.resize(own * matte[..., None], size, interpolation=cv2.INTER_AREA))
        matte = np.asarray(cv2.resize(matte, size, interpolation=cv2.INTER_AREA), np.float32)
        own = np.asarray(weighted / np.maximum(matte[..., None], 1e-6), np.float32)
    turn, left = math.radians(place.turn_degrees), place.scale * np.array([width, height]) / matte.shape[::-1]
    linear = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) * left
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * matte.shape[::-1] @ linear.T + place.shift_px
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    # OpenCV counts from centres of pixels.
    offset = linear @ np.array([0.5, 0.5]) + place.shift_px - low - 0.5
    across, shape = np.column_stack([linear, offset]), (int(high[0] - low[0]), int(high[1] - low[1]))
    drawn = cv2.warpAffine(own, across, shape, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mask = cv2.warpAffine(matte, across, shape, flags=cv2.INTER_LINEAR)
    return Drawn(np.asarray(drawn, np.float32), np.asarray(mask) >= 0.98, (int(low[0]), int(low[1])))


def cut(still: Still, drawn: Drawn) -> tuple[Colours, Bools]:
    """Return colour and matte of the hero under a drawn plate; beyond the still it shows nothing."""
    height, width = drawn.opaque.shape
    colour, opaque = np.zeros((height, width, 3), np.float32), np.zeros((height, width), np.bool_)
    x, y = drawn.corner
    left, top = max(x, 0), max(y, 0)
    right, bottom = min(x + width, still.opaque.shape[1]), min(y + height, still.opaque.shape[0])
    if left < right and top < bottom:
        here, there = np.s_[top - y : bottom - y, left - x : right - x], np.s_[top:bottom, left:right]
        colour[here], opaque[here] = still.colour[there], still.opaque[there]
    return colour, opaque


def exposure(still: Still, drawn: Drawn) -> Colours:
    """Return how much lighter the hero shows a placed plate than its picture does: (3,), the median of its px."""
    seen, there = cut(still, drawn)
    both = drawn.opaque & there
    own = drawn.colour[both]
    if len(own) < _SAMPLES:
        return np.ones(3, np.float32)
    share = seen[both] / np.maximum(own, 1e-3)
    return np.clip(np.median(share, axis=0), 0.25, 4.0).astype(np.float32)


def noise_of(still: Still, drawn: Drawn, gain: Colours) -> float:
    """Return by how much px of a placed plate are off on average, told by those that are least off.

    A quarter of it has to show; what a worse plate tells is bounded.
    """
    seen, there = cut(still, drawn)
    both = drawn.opaque & there
    if both.sum() < _SAMPLES:
        return 0.0
    off = np.abs(drawn.colour[both] * gain - seen[both]).max(axis=1)
    return min(_NOISE_QUARTER * float(np.quantile(off, 0.25)), _MOST_NOISE)


def agreed(still: Still, drawn: Drawn, gain: Colours, *, roughly: bool = False) -> tuple[Bools, float]:
    """Return where the hero shows a plate, as areas of its grid, and how far off the px are there on average.

    Noise is let be: what counts is the mean of a small square, as far as the plate is opaque in it. With `roughly`,
    so is a plate that lies half a px beside its place.
    """
    import cv2  # noqa: PLC0415

    seen, there = cut(still, drawn)
    off = np.where(there, np.abs(drawn.colour * gain - seen).max(axis=2), np.float32(1.0))
    opaque = drawn.opaque.astype(np.float32)
    size = (_SOLID_PX, _SOLID_PX)
    around = np.asarray(cv2.boxFilter(off * opaque, -1, size)) / np.maximum(cv2.boxFilter(opaque, -1, size), 1e-6)
    solid = drawn.opaque & there & (around <= (_ROUGH if roughly else max(_ALIKE, _NOISY * still.noise)))
    return solid, float(off[solid].mean()) if solid.any() else math.inf


def shifts_by_agreement(
    colour: Pixels, alpha: Pixels, still: Still, like: Similarity, gain: Colours
) -> list[Similarity]:
    """Return the places, of the scale and turn of another, at which most px of a plate agree with the hero.

    The best first, each good to a px or two; none where fewer than a twentieth do anywhere.
    """
    drawn = drawn_at(colour, alpha, compose(still.shrink, Similarity(like.scale, like.turn_degrees, (0.0, 0.0))))
    rows, columns = np.nonzero(drawn.opaque)
    if len(rows) < _EDGE_PX:
        return []
    picked = np.unique(np.linspace(0, len(rows) - 1, _SAMPLES).round().astype(np.int64))
    rows, columns = rows[picked], columns[picked]
    values = drawn.colour[rows, columns] * gain
    height, width = still.small_opaque.shape
    own_height, own_width = drawn.opaque.shape
    # Room around, so that a part may lie at the rim; beyond the still nothing agrees.
    pad_y, pad_x = min(own_height, height) // 2, min(own_width, width) // 2
    scene = np.full((3, height + 2 * pad_y, width + 2 * pad_x), 9.0, np.float32)
    scene[:, pad_y : pad_y + height, pad_x : pad_x + width] = np.where(
        still.small_opaque, np.moveaxis(still.small, 2, 0), np.float32(9.0)
    )
    over = scene.shape[1] - own_height + 1, scene.shape[2] - own_width + 1
    if min(over) < 1:
        return []
    votes = np.zeros(over, np.int32)
    for row, column, value in zip(rows.tolist(), columns.tolist(), values, strict=True):
        window = scene[:, row : row + over[0], column : column + over[1]]
        votes += (np.abs(window - value[:, None, None]) <= _ROUGH).all(axis=0)
    found: list[Similarity] = []
    best = int(votes.max())
    near = max(2, round(0.1 * max(drawn.opaque.shape)))
    while len(found) < _PEAKS and votes.max() >= max(_RIVAL * best, _LEAST * len(rows), 1):
        row, column = (int(at) for at in np.unravel_index(int(votes.argmax()), over))
        votes[max(0, row - near) : row + near + 1, max(0, column - near) : column + near + 1] = -1
        shift = (np.array([column - pad_x, row - pad_y]) - drawn.corner) * still.step
        found.append(Similarity(like.scale, like.turn_degrees, (float(shift[0]), float(shift[1]))))
    return found


def nearest_shift(
    colour: Pixels, alpha: Pixels, still: Still, start: Similarity, gain: Colours
) -> tuple[Similarity, float]:
    """Return the place within two small px of a start at which most px agree, to a whole px, and their share."""
    drawn = drawn_at(colour, alpha, start)
    rows, columns = np.nonzero(drawn.opaque)
    if not len(rows):
        return start, 0.0
    picked = np.unique(np.linspace(0, len(rows) - 1, 8 * _SAMPLES).round().astype(np.int64))
    rows, columns = rows[picked], columns[picked]
    values = drawn.colour[rows, columns] * gain
    height, width = still.opaque.shape
    reach = math.ceil(2 * still.step)
    best, votes = (0, 0), -1
    steps = sorted(((x, y) for x in range(-reach, reach + 1) for y in range(-reach, reach + 1)), key=_length)
    for x, y in steps:
        at_row, at_column = rows + drawn.corner[1] + y, columns + drawn.corner[0] + x
        inside = (at_row >= 0) & (at_row < height) & (at_column >= 0) & (at_column < width)
        at = at_row[inside], at_column[inside]
        close = (np.abs(still.colour[at] - values[inside]).max(axis=1) <= _ALIKE) & still.opaque[at]
        if int(close.sum()) > votes:
            best, votes = (x, y), int(close.sum())
    shift = start.shift_px[0] + best[0], start.shift_px[1] + best[1]
    return Similarity(start.scale, start.turn_degrees, shift), votes / len(rows)


def _length(step: tuple[int, int]) -> tuple[int, tuple[int, int]]:
    return step[0] ** 2 + step[1] ** 2, step


def _unit(picture: Pixels) -> Colours:
    return np.asarray(picture, np.float32) / np.float32(full_scale(picture))
