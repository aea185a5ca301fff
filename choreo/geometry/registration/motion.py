"""A small motion of a part on the picture, what a measurement says of it, and what it leaves open.

Four numbers, all in px: shift in x and y, growth and turn, the last two as arc at the part's radius about its middle.
So each of the four alone moves the part's outline by as much, root mean square: that makes them comparable, and the
eigenvalues of a normal matrix say how much of a motion is visible.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from choreo.geometry.registration.similarity import compose
from choreo.model.plan import Floats
from choreo.model.registration import Held, Similarity

NUMBERS = ("shift x", "shift y", "size", "turn")

_MOST_SD_PX = 0.25
"""A direction that comes out less sure than this, px over the part, is as good as not measured: it is half of the
usual hand-off."""
_STILL_PX = 1e-4
"""Steps below this end the descent: a hundredth of what can be measured."""
_DAMPING = 1e-3
"""Share of the largest eigenvalue: keeps a step that is hardly determined from running away (Levenberg 1944)."""
_OWN = 0.9
"""Share of a pure shift, turn or growth in what is held from which it goes by that name."""
_IN_PART = 0.3
"""Share of a turn or growth from which it is the one that is held: a plate's shift is what is most often off."""


@dataclass(frozen=True, eq=False)
class Lever:
    """About what a part turns and grows, hero px."""

    centre: Floats
    """(2,) px"""
    radius: float
    """Root mean square distance of its outline from there, px."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """One linear step of least squares, per unit of weight.

    Attributes
    ----------
    normal : (4, 4) array
    slope : (4,) array
        Gradient of half the squared error.
    noise : float
        Mean squared residual.
    count : float
        How many independent measurements there are.
    shared : (4, 4) array
        The normal matrix as far as it is more than noise.
    floor : (4, 4) array
        A direction counts as seen where `shared` is larger than this.

    """

    normal: Floats
    slope: Floats
    noise: float
    count: float
    shared: Floats
    floor: Floats


@dataclass(frozen=True, eq=False)
class Split:
    """The four dimensions of motion, parted."""

    free: Floats
    """(4, k) orthonormal: what is measured."""
    held: Floats
    """(4, 4 - k) orthonormal: what is left as it was."""
    sd_px: float
    """Root sum of the variances of what is measured."""
    unseen: Floats
    """(4, 4 - k): for each column of `held`, the motion that cannot be seen and for which it stands."""


def lever_of(points: Floats, weights: Floats) -> Lever:
    """Return the lever of an outline given by (n, 2) points with weights, hero px."""
    centre = weights @ points / weights.sum()
    spread = float(weights @ ((points - centre) ** 2).sum(axis=1) / weights.sum())
    return Lever(centre, math.sqrt(spread))


def moved(points: Floats, lever: Lever, motion: Floats) -> Floats:
    """Return (n, 2) points after a motion, (4,) px."""
    scale, turn = math.exp(motion[2] / lever.radius), motion[3] / lever.radius
    c, s = scale * math.cos(turn), scale * math.sin(turn)
    x, y = (points - lever.centre).T
    centre = lever.centre + motion[:2]
    return np.stack([centre[0] + c * x - s * y, centre[1] + s * x + c * y], axis=1)


def jacobian(there: Floats, lever: Lever, motion: Floats) -> Floats:
    """Return (n, 2, 4): how moved points, (n, 2), follow each of the four numbers."""
    arms = (there - lever.centre - motion[:2]) / lever.radius
    out = np.zeros((len(there), 2, 4))
    out[:, 0, 0] = out[:, 1, 1] = 1.0
    out[:, :, 2] = arms
    out[:, 0, 3], out[:, 1, 3] = -arms[:, 1], arms[:, 0]
    return out


def then_moved(start: Similarity, lever: Lever, motion: Floats) -> Similarity:
    """Return the start followed by the motion."""
    scale, turn = math.exp(motion[2] / lever.radius), motion[3] / lever.radius
    cos, sin = scale * math.cos(turn), scale * math.sin(turn)
    x, y = lever.centre
    shift = (x + motion[0] - cos * x + sin * y, y + motion[1] - sin * x - cos * y)
    return compose(Similarity(scale, math.degrees(turn), (float(shift[0]), float(shift[1]))), start)


def descend(
    measure: Callable[[Floats], Evidence | None], motion: Floats, free: Floats, steps: int, longest_px: float
) -> Floats:
    """Return a motion improved by damped Gauss-Newton steps within the free directions; a local optimum.

    Parameters
    ----------
    measure : callable
        Evidence at a motion, or None where there is none; then the descent ends.
    motion : (4,) array
    free : (4, k) array
        Orthonormal.
    steps : int
        At most.
    longest_px : float
        No step is longer.

    """
    for _ in range(steps):
        found = measure(motion)
        if found is None or not free.shape[1]:
            break
        sizes, ways = np.linalg.eigh(free.T @ found.normal @ free)
        floor = np.einsum("ij,ik,kj->j", free @ ways, found.floor, free @ ways)
        seen = (sizes > floor) & (sizes > 0)
        damped = sizes[seen] + _DAMPING * sizes[-1]
        step = -free @ (ways[:, seen] @ ((ways[:, seen].T @ (free.T @ found.slope)) / damped))
        length = float(np.linalg.norm(step))
        motion = motion + step * min(1.0, longest_px / max(length, _STILL_PX))
        if length < _STILL_PX:
            break
    return motion


OPEN = Split(np.eye(4), np.zeros((4, 0)), 0.0, np.zeros((4, 0)))
"""Nothing is held yet."""
SHUT = Split(np.zeros((4, 0)), np.eye(4), 0.0, np.eye(4))


def split(found: Evidence, before: Split) -> Split:
    """Part what was free before into what is measured and what is not; what was held stays held."""
    sizes, ways = np.linalg.eigh(before.free.T @ found.shared @ before.free)
    ways = before.free @ _upright(ways)
    floor = np.einsum("ij,ik,kj->j", ways, found.floor, ways)
    variance = found.noise / np.maximum(sizes * max(found.count, 1e-9), 1e-300)
    seen = (sizes > floor) & (variance < _MOST_SD_PX**2)
    held, unseen = _plain(ways[:, ~seen], before)
    return Split(_complement(held), held, math.sqrt(float(variance[seen].sum())), unseen)


def settle(
    measure: Callable[[Floats], Evidence | None], motion: Floats, steps: int, longest_px: float
) -> tuple[Floats, Split]:
    """Return the motion with everything that is not measured put back to the start, and what was measured.

    What is held only grows, so this ends after four rounds at most.
    """
    parted = OPEN
    while parted.free.shape[1]:
        found = measure(motion)
        if found is None:
            return np.zeros(4), SHUT
        before, parted = parted.free.shape[1], split(found, parted)
        motion = parted.free @ (parted.free.T @ motion)
        if parted.free.shape[1] == before:
            break
        motion = descend(measure, motion, parted.free, steps, longest_px)
    return motion, parted


def determined(parted: Split) -> tuple[str, ...]:
    """Return the names of the numbers of which next to nothing is held."""
    share = (parted.held**2).sum(axis=1)
    return tuple(name for name, held in zip(NUMBERS, share, strict=True) if held < 1 - _OWN)


def name_held(unseen: Floats, lever: Lever, motion: Floats) -> tuple[Held, ...]:
    """Return words for small motions, (4, k), after the one that was found, that were held.

    Any motion that is not a pure shift turns, or grows, about one point: that point says which motion it is.
    """
    here = Lever(lever.centre + motion[:2], lever.radius)
    return tuple(_named(way, here) for way in unseen.T)


def _plain(held: Floats, before: Split) -> tuple[Floats, Floats]:
    """Add held directions as pure shifts, turns and growths where they can be, and what they stand for.

    To hold a pure one is as good, as long as the unseen motion has a fair share along it; and it leaves that number
    exactly as it was.
    """
    left, plain, unseen = held @ held.T, before.held, before.unseen
    for _ in range(held.shape[1]):
        way = _purest(left)
        image = left @ way
        unseen = np.column_stack([unseen, image / np.linalg.norm(image)])
        rest = way - plain @ (plain.T @ way)
        plain = np.column_stack([plain, rest / np.linalg.norm(rest)])
        left = left - np.outer(image, image) / float(way @ image)
    return plain, unseen


def _purest(left: Floats) -> Floats:
    """The most telling direction in the range of a projector."""
    sizes, ways = np.linalg.eigh(left[:2, :2])
    if sizes[0] >= _OWN:  # every shift: then say so along the sides of the picture
        return np.array([1.0, 0.0, 0.0, 0.0])
    if sizes[1] >= _OWN:
        return np.array([*_upright(ways)[:, 1], 0.0, 0.0])
    axis = 3 if left[3, 3] >= left[2, 2] else 2
    if left[axis, axis] >= _IN_PART:
        return np.asarray(np.eye(4)[axis])
    _, ways = np.linalg.eigh(left)
    return _upright(ways)[:, -1]


def _named(way: Floats, lever: Lever) -> Held:
    growth, turn = float(way[2]), float(way[3])
    if math.hypot(growth, turn) < 1 - _OWN:
        return Held("shift", f"shift along {_heading(way)}")
    # It stays where the shift undoes turn and growth: v + (growth + i turn) / radius * (point - centre) = 0.
    point = complex(*lever.centre) - lever.radius * complex(*way[:2]) / complex(growth, turn)
    kind = "turn and size"
    if abs(turn) > _OWN * math.hypot(growth, turn):
        kind = "turn"
    elif abs(growth) > _OWN * math.hypot(growth, turn):
        kind = "size"
    return Held(kind, f"{kind} about ({point.real:.0f}, {point.imag:.0f})")


def _heading(way: Floats) -> str:
    degrees = round(math.degrees(math.atan2(way[1], way[0]))) % 180
    names = {0: "x", 90: "y"}
    return names.get(degrees, f"a line at {degrees} degrees, clockwise from x")


def _upright(ways: Floats) -> Floats:
    """Eigenvectors with the sign fixed: their largest entry is positive."""
    largest = np.take_along_axis(ways, np.abs(ways).argmax(axis=0)[None], axis=0)
    return np.asarray(ways * np.where(largest < 0, -1.0, 1.0))


def _complement(ways: Floats) -> Floats:
    """An orthonormal basis of what is left of four dimensions."""
    sizes, vectors = np.linalg.eigh(np.eye(4) - ways @ ways.T)
    return _upright(vectors)[:, sizes > 0.5]
