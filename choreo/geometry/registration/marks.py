"""Guess where a plate lies on the hero still when nothing is known of it: by marks that both pictures show.

A mark is a small spot that looks like itself at any size and turn. Two marks that agree fix a shift, a scale and a
turn at once; the guess on which most marks agree wins. It is only a guess: what it says is measured afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from choreo.geometry.plane.trace import full_scale
from choreo.geometry.registration.pixels import Bools
from choreo.geometry.registration.similarity import apply, similarity
from choreo.model.plan import Floats
from choreo.model.registration import Pixels, Similarity

_RATIO = 0.8
"""A mark's nearest is taken if the second nearest is clearly farther (Lowe 2004)."""
_PAIRED = 160
"""So many of the clearest matches are paired: each pair is one guess."""
_GROWTH, _SPIN = 0.6, 0.6
"""By how much (natural logarithm, radians) a pair may differ from the size and turn that its marks have."""
_OFF = 3.0
"""px of the pictures compared, within which a mark agrees."""
_FEWEST = 6
"""Marks that must agree. Two fix the guess; four more on one place by chance are rare among a few hundred."""
_FAINT = 0.01
"""Contrast from which a spot is a mark; a quarter of the usual, for smooth surfaces: what is wrong is voted down."""
_EDGE_PX = 3
"""Marks so near to the matte's edge show what lies behind it as well."""


@dataclass(frozen=True, eq=False)
class Marks:
    """What can be found again of one picture."""

    points: Floats
    """(n, 2) px of the whole picture."""
    sizes: Floats
    """(n,) px"""
    angles: Floats
    """(n,) radians, clockwise."""
    words: NDArray[np.float32]
    """(n, 128) what each looks like."""
    step_px: float
    """px of the whole picture in one px of the picture compared."""


@dataclass(frozen=True)
class Guess:
    """One place of a plate on the hero, and how many marks speak for it."""

    place: Similarity
    votes: int


def marks_of(colour: Pixels, alpha: Pixels, most: int, longest_px: int) -> Marks:
    """Return the clearest marks of a picture.

    Parameters
    ----------
    colour : (h, w, 3) array
        Not multiplied by alpha.
    alpha : (h, w) array
        Marks lie where it is opaque.
    most : int
        No more marks than this.
    longest_px : int
        A picture whose opaque part is larger is looked at smaller.

    Notes
    -----
    D. G. Lowe, "Distinctive image features from scale-invariant keypoints", IJCV 60(2), 2004, by OpenCV.

    """
    import cv2  # noqa: PLC0415

    opaque = alpha >= full_scale(alpha) / 2
    rows, columns = np.flatnonzero(opaque.any(axis=1)), np.flatnonzero(opaque.any(axis=0))
    if not len(rows):
        return _no_marks()
    box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    grey, mask = _grey(colour[box], opaque[box]), opaque[box].astype(np.uint8) * 255
    step = max(1.0, max(mask.shape) / longest_px)
    if step > 1:
        size = max(1, round(mask.shape[1] / step)), max(1, round(mask.shape[0] / step))
        grey, mask = (
            np.asarray(cv2.resize(each, size, interpolation=cv2.INTER_AREA), dtype=np.uint8) for each in (grey, mask)
        )
    around = 2 * _EDGE_PX + 1
    mask = np.asarray(cv2.erode((mask == 255).astype(np.uint8), np.ones((around, around), np.uint8)))
    found, words = cv2.SIFT.create(nfeatures=most, contrastThreshold=_FAINT).detectAndCompute(grey, mask)
    if not found:
        return _no_marks()
    listed = np.array([(*one.pt, one.size, one.angle) for one in found], dtype=np.float64)
    order = np.lexsort(listed.T)
    listed, words = listed[order], np.asarray(words, dtype=np.float32)[order]
    scale = np.array([mask.shape[1] / (box[1].stop - box[1].start), mask.shape[0] / (box[0].stop - box[0].start)])
    # OpenCV counts from the centre of the first pixel.
    points = (listed[:, :2] + 0.5) / scale + (box[1].start, box[0].start)
    return Marks(points, listed[:, 2] * step, np.radians(listed[:, 3]), words, step)


def guess_by_marks(plate: Marks, hero: Marks) -> tuple[Guess, ...]:
    """Return the two places on which most marks agree, the better one first; fewer where there are none."""
    own, there = _matches(plate.words, hero.words)
    if len(own) < _FEWEST:
        return ()
    p, h = _complex(plate.points[own]), _complex(hero.points[there])
    growth = np.log(hero.sizes[there] / plate.sizes[own])
    spin = hero.angles[there] - plate.angles[own]
    factor, shift = _pairs(p, h, growth, spin)
    limit = _OFF * hero.step_px
    open_to: Bools = np.ones(len(p), dtype=np.bool_)
    guesses: list[Guess] = []
    for _ in range(2):
        votes = _votes(factor, shift, p, h, open_to, limit)
        if not len(votes) or votes.max() < _FEWEST:
            break
        best = int(np.argmax(votes))
        agree = open_to & (np.abs(factor[best] * p + shift[best] - h) < limit)
        place = similarity(plate.points[own[agree]], hero.points[there[agree]])
        for _ in range(2):
            off = np.hypot(*(apply(place, plate.points[own]) - hero.points[there]).T)
            agree = open_to & (off < limit)
            if agree.sum() < _FEWEST:
                break
            place = similarity(plate.points[own[agree]], hero.points[there[agree]])
        guesses.append(Guess(place, int(agree.sum())))
        off = np.hypot(*(apply(place, plate.points[own]) - hero.points[there]).T)
        open_to = open_to & (off > 3 * limit)
    return tuple(guesses)


def _matches(own: NDArray[np.float32], other: NDArray[np.float32]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Pairs of marks that look alike, the clearest first; each mark of the hero at most once."""
    if len(own) < 1 or len(other) < 2:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    apart = (own**2).sum(axis=1)[:, None] + (other**2).sum(axis=1)[None] - 2 * own @ other.T
    nearest = np.argpartition(apart, 1, axis=1)[:, :2]
    near = np.take_along_axis(apart, nearest, axis=1)
    swap = near[:, 0] > near[:, 1]
    first = np.where(swap, nearest[:, 1], nearest[:, 0])
    least, second = near.min(axis=1), np.maximum(near.max(axis=1), 1e-9)
    share = np.maximum(least, 0) / second
    kept = np.flatnonzero(share < _RATIO**2)
    kept = kept[np.argsort(share[kept], kind="stable")]
    _, once = np.unique(first[kept], return_index=True)
    kept = kept[np.sort(once)]
    return kept, first[kept]


def _pairs(p: Floats, h: Floats, growth: Floats, spin: Floats) -> tuple[Floats, Floats]:
    """Factors and shifts, complex, of the similarities that two matches each say, as far as both marks bear it out."""
    a, b = np.triu_indices(min(len(p), _PAIRED), 1)
    apart = p[b] - p[a]
    fair = np.abs(apart) > 0.1 * max(float(np.ptp(p.real)), float(np.ptp(p.imag)))
    a, b, apart = a[fair], b[fair], apart[fair]
    factor = (h[b] - h[a]) / apart
    size = np.log(np.maximum(np.abs(factor), 1e-12))
    sound = np.ones(len(a), dtype=np.bool_)
    for one in (a, b):
        sound &= (np.abs(size - growth[one]) < _GROWTH) & (np.abs(np.angle(factor * np.exp(-1j * spin[one]))) < _SPIN)
    factor = factor[sound]
    return factor, h[a[sound]] - factor * p[a[sound]]


def _votes(factor: Floats, shift: Floats, p: Floats, h: Floats, open_to: Bools, limit: float) -> NDArray[np.int64]:
    """How many open matches agree with each similarity."""
    p, h = p[open_to], h[open_to]
    out = np.zeros(len(factor), dtype=np.int64)
    step = max(1, 2_000_000 // max(1, len(p)))
    for start in range(0, len(factor), step):
        part = slice(start, start + step)
        out[part] = (np.abs(factor[part, None] * p + shift[part, None] - h) < limit).sum(axis=1)
    return out


def _grey(colour: Pixels, opaque: Bools) -> NDArray[np.uint8]:
    """Brightness, 8 bit, spread over what the picture uses of it; outside the matte its mean."""
    light = colour.astype(np.float32) @ np.array([0.299, 0.587, 0.114], dtype=np.float32)
    seen = light[opaque]
    low, high = np.percentile(seen[:: max(1, len(seen) // 100_000)], (1, 99))
    light = np.where(opaque, light, seen.mean(dtype=np.float64))
    spread = np.clip((light - low) / max(float(high - low), 1e-6 * full_scale(colour)), 0, 1)
    return np.asarray(np.rint(spread * 255), dtype=np.uint8)


def _complex(points: Floats) -> Floats:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _no_marks() -> Marks:
    none = np.zeros(0)
    return Marks(np.zeros((0, 2)), none, none, np.zeros((0, 128), np.float32), 1.0)
