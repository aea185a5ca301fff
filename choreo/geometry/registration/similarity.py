"""Similarities of the picture plane: in closed form from pairs of points, from a plate's numbers, and back to them.

In the plane a turn and a scale are one complex factor, so each of these is a line of complex arithmetic; a mirror
image is not among them.
"""

from __future__ import annotations

import cmath
import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import view_axes
from choreo.model.assembly import Hero, Plate, Point, Vector
from choreo.model.plan import Floats
from choreo.model.registration import IDENTITY, Correction, Similarity

_ROUND = 0.05
"""Difference of the second moments, as a share of their sum, below which a shape has no long axis to go by."""
_SAME_VIEW = 1e-6
"""Degrees."""
_TURNS = 72
"""Turns tried for a shape without a long axis: 5 degrees apart, and refined by the outline."""


def similarity(source: Floats, target: Floats, weights: Floats | None = None) -> Similarity:
    """Return the similarity that takes source points to target points with the least weighted squared error.

    Optimal, in closed form; never a mirror image, even where one would fit better.

    Parameters
    ----------
    source, target : (n, 2) arrays
        Pairs of points, px.
    weights : (n,) array, optional
        Not negative; equal if left out.

    Raises
    ------
    ValueError
        If the source points (those with weight) coincide, or no scale above 0 is best.

    Notes
    -----
    S. Umeyama, "Least-squares estimation of transformation parameters between two point patterns", IEEE PAMI 13(4),
    1991. With points as complex numbers about their means, his trace and rotation are the modulus and the argument
    of one sum.

    """
    share = np.ones(len(source)) if weights is None else np.asarray(weights, dtype=np.float64)
    if not share.sum() > 0:
        raise ValueError("no point has weight")
    share = share / share.sum()
    one, two = _complex(source), _complex(target)
    middle, aim = complex(share @ one), complex(share @ two)
    spread = float(share @ np.abs(one - middle) ** 2)
    if not spread > np.finfo(np.float64).eps * float(share @ np.abs(one) ** 2):
        raise ValueError("source points coincide")
    factor = complex(share @ ((one - middle).conj() * (two - aim))) / spread
    if not abs(factor) > 0:
        raise ValueError("no scale above 0 fits")
    return _from_complex(factor, aim - factor * middle)


def apply(transform: Similarity, points: Floats) -> Floats:
    """Return (..., 2) points where the transform puts them."""
    matrix, shift = _matrix(transform)
    return np.asarray(points, dtype=np.float64) @ matrix.T + shift


def apply_area(transform: Similarity, area: BaseGeometry) -> BaseGeometry:
    """Return an area where the transform puts it."""
    return shapely.transform(area, lambda points: apply(transform, points))


def compose(outer: Similarity, inner: Similarity) -> Similarity:
    """Return the similarity that does `inner` first, then `outer`."""
    factor, shift = _pair(outer)
    first, along = _pair(inner)
    return _from_complex(factor * first, factor * along + shift)


def inverse(transform: Similarity) -> Similarity:
    """Return the similarity that undoes one."""
    factor, shift = _pair(transform)
    return _from_complex(1 / factor, -shift / factor)


def from_hero_view(plate: Plate, hero: Hero) -> bool:
    """Return whether a plate is a still from the hero's view."""
    azimuth = math.remainder(plate.view.azimuth - hero.view.azimuth, 360)
    apart = max(abs(azimuth), abs(plate.view.elevation - hero.view.elevation))
    return plate.frames is None and apart < _SAME_VIEW


def origin_px(offset: Vector, hero: Hero) -> Point:
    """Return where the hero still shows the origin of a part, px of the picture as it is."""
    right, up, _ = view_axes(hero.view.azimuth, hero.view.elevation)
    level = complex(float(right @ np.array(offset)), -float(up @ np.array(offset)))
    found = complex(*hero.pivot_px) + cmath.rect(hero.px_per_mm, -math.radians(hero.turn)) * level
    return found.real, found.imag


def placement(numbers: Correction, hero_px_per_mm: float, origin: Point, hero_turn: float = 0.0) -> Similarity:
    """Return where a plate's numbers put it on the hero still: its pivot on the part's origin, at the hero's scale.

    Parameters
    ----------
    numbers : Correction
        Of the plate; a plate that is not turned has a turn of 0.
    hero_px_per_mm : float
    origin : (x, y)
        Where the hero still shows the part's origin, px.
    hero_turn : float
        Degrees by which the still itself has to be turned, clockwise, to lie right.

    """
    factor = cmath.rect(hero_px_per_mm / numbers.px_per_mm, math.radians(numbers.turn_degrees - hero_turn))
    return _from_complex(factor, complex(*origin) - factor * complex(*numbers.pivot_px))


def correction(place: Similarity, hero_px_per_mm: float, origin: Point, hero_turn: float = 0.0) -> Correction:
    """Return the numbers with which `placement` puts a plate at a place; exact, its inverse."""
    factor, shift = _pair(place)
    pivot = (complex(*origin) - shift) / factor
    turn = math.remainder(place.turn_degrees + hero_turn, 360)
    return Correction(hero_px_per_mm / place.scale, (pivot.real, pivot.imag), turn)


def lying_at(
    bounds: tuple[float, float, float, float], at_px: Point, width_px: float | None, like: Similarity = IDENTITY
) -> Similarity:
    """Return the place that puts the middle of a box there, as wide as said; else with size and turn of another place.

    Parameters
    ----------
    bounds : (left, top, right, bottom)
        Of what a plate shows, px.
    at_px : (x, y)
    width_px : float or None
        Of the box, where it is put.
    like : Similarity

    """
    left, top, right, bottom = bounds
    factor = _pair(like)[0] if width_px is None else complex(width_px / (right - left))
    return _from_complex(factor, complex(*at_px) - factor * complex((left + right) / 2, (top + bottom) / 2))


def level_shift(shift_px: Point, hero: Hero) -> Point:
    """Return a shift on the hero still as it is once the still lies right, px of the still."""
    found = complex(*shift_px) * cmath.rect(1.0, math.radians(hero.turn))
    return found.real, found.imag


def relative(here: Similarity, there: Similarity, about: Point) -> Similarity:
    """Return how a picture moves from one place to another: its growth, its turn, and how a point of it shifts.

    Parameters
    ----------
    here, there : Similarity
        Places of one picture.
    about : (x, y)
        Where the first place has the point.

    Returns
    -------
    Similarity
        A point p of the first place goes to ``about + shift_px + scale * turned(p - about)``.

    """
    moved = compose(there, inverse(here))
    shift = apply(moved, np.array(about)) - np.array(about)
    return Similarity(moved.scale, moved.turn_degrees, (float(shift[0]), float(shift[1])))


def on_average(one: Similarity, two: Similarity, area: BaseGeometry) -> float:
    """Return how far apart two transforms put the boundary of an area, on average along it, px.

    The mean over edges of the distance at their middles: off by less than the difference within an edge.
    """
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shapely.get_parts(area))]
    starts, ends = (np.concatenate([ring[cut] for ring in rings]) for cut in (_HEAD, _TAIL))
    length, middle = np.hypot(*(ends - starts).T), (starts + ends) / 2
    apart = np.hypot(*(apply(one, middle) - apply(two, middle)).T)
    return float(apart @ length / length.sum())


def farthest(one: Similarity, two: Similarity, points: Floats) -> tuple[float, Point]:
    """Return how far apart two transforms put any of the points at most, px, and where the second puts that point.

    Exact for all points between them as well: the difference of two similarities is linear, so its length is convex.
    """
    there = apply(two, points)
    apart = np.hypot(*(apply(one, points) - there).T)
    worst = int(np.argmax(apart))
    return float(apart[worst]), (float(there[worst, 0]), float(there[worst, 1]))


def start_from_moments(part: BaseGeometry, hero: BaseGeometry) -> Similarity:
    """Return a first guess from area, middle and long axis, for a part that makes up most of the hero's outline.

    Only a start: good to a few degrees where the silhouettes are alike. Of the turns that the moments allow, the one
    with the most common area is taken, the smallest such turn first.

    Parameters
    ----------
    part, hero : Polygon or MultiPolygon
        Of area above 0, each in px of its picture.

    """
    own, own_axis, own_round = _moments(part)
    aim, aim_axis, aim_round = _moments(hero)
    scale = math.sqrt(hero.area / part.area)
    if min(own_round, aim_round) < _ROUND:
        turns = [2 * math.pi * k / _TURNS for k in range(_TURNS)]
    else:
        turns = [aim_axis - own_axis, aim_axis - own_axis + math.pi]
    turns = sorted((math.remainder(turn, 2 * math.pi) for turn in turns), key=abs)
    tried = [_from_complex(f := cmath.rect(scale, turn), aim - f * own) for turn in turns]
    common = [round(apply_area(guess, part).intersection(hero).area, 6) for guess in tried]
    return tried[int(np.argmax(common))]


def _moments(area: BaseGeometry) -> tuple[complex, float, float]:
    """Middle, direction of the long axis (radians), and how far from round an area is (0 to 1).

    Triangles of a fan over each edge add up with their sign: exact for polygons with holes.
    """
    rings = shapely.get_rings(shapely.get_parts(shapely.orient_polygons(area)))
    a, b = (np.concatenate([_complex(shapely.get_coordinates(r))[cut] for r in rings]) for cut in (_HEAD, _TAIL))
    origin = complex(area.centroid.x, area.centroid.y)
    a, b = a - origin, b - origin
    twice = (a.conj() * b).imag
    second = complex((twice * (a * a + a * b + b * b)).sum()) / 12
    polar = float((twice * (abs(a) ** 2 + (a * b.conj()).real + abs(b) ** 2)).sum()) / 12
    return origin, cmath.phase(second) / 2, abs(second) / polar


_HEAD, _TAIL = slice(None, -1), slice(1, None)


def _complex(points: Floats) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    points = np.asarray(points, dtype=np.float64)
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _pair(transform: Similarity) -> tuple[complex, complex]:
    return cmath.rect(transform.scale, math.radians(transform.turn_degrees)), complex(*transform.shift_px)


def _from_complex(factor: complex, shift: complex) -> Similarity:
    return Similarity(abs(factor), math.degrees(cmath.phase(factor)), (shift.real, shift.imag))


def _matrix(transform: Similarity) -> tuple[Floats, Floats]:
    factor, shift = _pair(transform)
    matrix = np.array([[factor.real, -factor.imag], [factor.imag, factor.real]])
    return matrix, np.array([shift.real, shift.imag])
