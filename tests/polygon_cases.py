"""Polygons and solids for the geometry tests: invented shapes, and random ones from a seed."""

from __future__ import annotations

import itertools

import numpy as np
import shapely

from choreo.geometry.solids.solid import Band, Solid


def regular(sides: int, radius: float, centre=(0.0, 0.0), turn: float = 0.1):
    angle = turn + 2 * np.pi * np.arange(sides) / sides
    return np.column_stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)])


def star(seed: int, sides: int, centre=(0.0, 0.0), least: float = 0.3, radius: float = 10.0):
    """A ring that sees its centre from everywhere; convex only by accident."""
    rng = np.random.default_rng(seed)
    angle = 2 * np.pi * (np.arange(sides) + rng.uniform(-0.3, 0.3, sides)) / sides
    reach = radius * rng.uniform(least, 1.0, sides)
    return np.column_stack([centre[0] + reach * np.cos(angle), centre[1] + reach * np.sin(angle)])


def spiral(turns: float = 2.5, steps: int = 40):
    """A band wound around itself: walls that face the same way over more than a full turn."""
    angle = np.linspace(0.5, 2 * np.pi * turns, steps)
    inner, outer = 0.8 * angle, 0.8 * angle + 2.0
    ring = [np.column_stack([r * np.cos(angle), r * np.sin(angle)]) for r in (outer, inner)]
    return np.concatenate([ring[0], ring[1][::-1]])


LETTER_L = np.array([[0, 0], [20, 0], [20, 6], [8, 6], [8, 15], [0, 15]], dtype=float)
LETTER_C = np.array([[0, 0], [20, 0], [20, 5], [5, 5], [5, 15], [20, 15], [20, 20], [0, 20]], dtype=float)

SECTIONS = {
    "triangle": shapely.Polygon([(0, 0), (7, 1), (2, 6)]),
    "rectangle": shapely.box(-10, -5, 12, 8),
    "disc": shapely.Polygon(regular(24, 10)),
    "washer": shapely.Polygon(regular(24, 10), [regular(16, 6)]),
    "plate with three holes": shapely.Polygon(
        [(-20, -10), (20, -10), (20, 10), (-20, 10)],
        [regular(12, 4, (-12, 0)), regular(6, 4, (0, 2)), [(8, -6), (16, -6), (16, 6), (8, 6)]],
    ),
    "letter L": shapely.Polygon(LETTER_L),
    "letter C": shapely.Polygon(LETTER_C),
    "square with a bent hole": shapely.Polygon([(-3, -3), (23, -3), (23, 18), (-3, 18)], [LETTER_L]),
    "gear": shapely.Polygon(
        np.concatenate([regular(40, 10)[i : i + 1] * (1.0 if i % 4 < 2 else 0.8) for i in range(40)]),
        [regular(10, 3), regular(8, 1.5, (5, 0))],
    ),
    "spiral": shapely.Polygon(spiral()),
    "square with a spiral hole": shapely.Polygon([(-17, -17), (17, -17), (17, 17), (-17, 17)], [spiral()]),
    "comb with repeated and straight points": shapely.Polygon(
        [
            (0, 0),
            (5, 0),
            (5, 0),
            (10, 0),
            (10, 8),
            (8, 8),
            (8, 2),
            (6, 2),
            (6, 8),
            (4, 8),
            (4, 2),
            (2, 2),
            (2, 8),
            (0, 8),
        ]
    ),
    "two islands": shapely.MultiPolygon([shapely.box(0, 0, 5, 5), shapely.Polygon(LETTER_L + 8)]),
    "hole that touches the outline": shapely.Polygon(
        [(0, 0), (10, 0), (10, 10), (0, 10)], [[(0, 5), (4, 3), (6, 5), (4, 7)]]
    ),
}


def random_section(seed: int):
    """An outline with up to three holes, bent or not, that may touch nothing or each other."""
    rng = np.random.default_rng(seed)
    outline = star(seed, int(rng.integers(3, 14)), least=rng.choice([0.3, 0.95]))
    section = shapely.Polygon(outline)
    for k in range(int(rng.integers(0, 4))):
        centre = rng.uniform(-5, 5, 2)
        hole = star(seed + 1000 + k, int(rng.integers(3, 9)), centre, rng.choice([0.3, 0.95]), rng.uniform(0.5, 4))
        section = section.difference(shapely.Polygon(hole))
    return section


def tiles(seed: int):
    """A connected heap of 2 x 2 squares: edges in line with each other, corners that touch, holes."""
    filled = np.random.default_rng(seed).random((6, 6)) < 0.6
    squares = [shapely.box(2 * i, 2 * j, 2 * i + 2, 2 * j + 2) for i, j in np.argwhere(filled)]
    return max(shapely.get_parts(shapely.union_all(squares)), key=lambda part: part.area)


def prism(section, z0: float = 0.0, z1: float = 6.0) -> Solid:
    return Solid((Band(z0, z1, section),))


def random_stack(seed: int) -> Solid:
    rng = np.random.default_rng(seed)
    cuts = np.cumsum(rng.uniform(0.5, 6, int(rng.integers(2, 5)))) - 5
    return Solid(tuple(Band(a, b, random_section(seed * 10 + k)) for k, (a, b) in enumerate(itertools.pairwise(cuts))))
