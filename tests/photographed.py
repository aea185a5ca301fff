"""A small invented product, photographed part by part and whole: a shell, a cap that sticks out, a dial inside.

Its textures are known at every place, so the hero is drawn exactly where it is said to be; numbers can then be wrong
by as much as a test wants.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from pictures import coverage
from plates_on_hero import painted, pixel_centres, round_shape, texture, traced

from choreo.geometry.registration.similarity import apply, inverse, origin_px, placement
from choreo.model.assembly import Assembly, Hero, Part, Plate, Slab, ViewAngle
from choreo.model.registration import Correction, Photograph
from choreo.passes.registration import register

HERO_SIZE, SIZE = (260, 200), (180, 160)
HERO = Hero("plates/hero.png", 10.0, (130.0, 100.0), ViewAngle())
OFFSETS = {"shell": (0.0, 0.0, 0.0), "cap": (7.0, 1.0, 0.5), "dial": (-2.0, 1.0, 1.0)}
SHAPES = {
    "shell": np.array([(-80, -60), (75, -55), (80, 60), (-20, 70), (-85, 40)], float),
    "cap": np.array([(-30, -30), (35, -38), (40, 30), (-25, 35)], float),
    "dial": round_shape((0, 0), 32),
}
"""px of the hero, y down, about each part's origin; back to front."""
TRUE = {
    "shell": Correction(10.0, (90.0, 80.0), 0.0),
    "cap": Correction(9.9, (88.7, 81.2), 0.4),
    "dial": Correction(10.0, (92.0, 79.0), 0.0),
}
"""The numbers with which each plate lies on the hero."""


def plate_place(part):
    return placement(TRUE[part], HERO.px_per_mm, origin_px(OFFSETS[part], HERO))


def on_hero(part):
    return SHAPES[part] + np.array(origin_px(OFFSETS[part], HERO))


def paint(part):
    """The part's own texture, at places on the hero: each reads another stretch of the same waves."""
    away = {"shell": 0.0, "cap": 700.0, "dial": 1900.0}[part]
    return lambda places: texture(places + away)


def photograph(part, noise=0.02, seed=0):
    place = plate_place(part)
    alpha = coverage(SIZE, [apply(inverse(place), on_hero(part))], factor=6)
    colour = painted(SIZE, lambda p: paint(part)(apply(place, p)), noise, seed)
    return Photograph(traced(np.rint(alpha * 255).astype(np.uint8)), colour, alpha)


def about_pivot(points, degrees):
    """Points of the still, (n, 2), turned clockwise about its pivot."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return (points - HERO.pivot_px) @ np.array([[cos, sin], [-sin, cos]]) + HERO.pivot_px


def hero_still(noise=0.02, turn=0.0):
    """The still; with a turn it was shot askew, and lies right once it is turned clockwise by that."""
    colour, alpha = np.zeros((*HERO_SIZE[::-1], 3)), np.zeros(HERO_SIZE[::-1])
    places = about_pivot(pixel_centres(HERO_SIZE), turn)
    for part in SHAPES:
        cover = coverage(HERO_SIZE, [about_pivot(on_hero(part), -turn)], factor=6)
        own = paint(part)(places).reshape(*HERO_SIZE[::-1], 3)
        colour = colour * (1 - cover[..., None]) + own * cover[..., None]
        alpha = alpha + cover - alpha * cover
    colour = colour + np.random.default_rng(9).normal(0, noise, colour.shape)
    return Photograph(traced(np.rint(alpha * 255).astype(np.uint8)), colour, alpha)


def assembly(wrong=None):
    """The product with the true numbers, but for those that are given as (px_per_mm, pivot[, turn])."""
    parts, plates = [], []
    for part in SHAPES:
        slab = Slab(((0, 0), (1, 0), (1, 1)), (), (0, 1))
        parts.append(Part(part, part.title(), "#5b6770", OFFSETS[part], (slab,)))
        scale, pivot, *turn = (wrong or {}).get(part, (TRUE[part].px_per_mm, TRUE[part].pivot_px))
        plates.append(Plate(part, f"plates/{part}.png", scale, pivot, ViewAngle(), turn=turn[0] if turn else 0.0))
    return Assembly("Invented meter", 0.05, tuple(parts), plates=tuple(plates), hero=HERO)


WRONG = {"cap": (10.0, (90.0, 80.0)), "dial": (10.0, (94.0, 78.2))}


def registered(wrong=None, **changes):
    plates = {part: photograph(part, seed=index) for index, part in enumerate(SHAPES)}
    plates.update({part: dataclasses.replace(plates[part], **change) for part, change in changes.items()})
    return register(assembly(wrong), plates, hero_still())
