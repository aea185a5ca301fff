"""An invented lantern whose parts were each photographed in another frame: drawn by Pillow, at places known exactly."""

from __future__ import annotations

import cmath
import math
from functools import cache

import numpy as np
from PIL import Image, ImageDraw
from plates_on_hero import pixel_centres, round_shape, texture

HERO_SIZE = (384, 288)
FACTOR = 8
SHAPES = {
    "housing": np.array([(78, 66), (300, 54), (312, 120), (282, 234), (180, 252), (84, 228), (54, 150)], float),
    "handle": np.array([(258, 36), (336, 42), (354, 90), (345, 144), (300, 138), (288, 78), (252, 66)], float),
    "dial": round_shape((162, 144), 42),
    "window": np.array([(216, 108), (264, 114), (270, 180), (210, 192)], float),
}
"""Back to front, px of the hero."""
FRAMES = {
    "housing": ((312, 264), 1.0, 0.0, (-36.0, -24.0)),
    "handle": ((180, 198), 1.25, 2.0, (-282.0, -36.0)),
    "dial": ((156, 150), 1.4, -3.0, (-162.0, -108.0)),
    "window": ((120, 156), 1.0, 0.0, (-180.0, -78.0)),
}
"""Size of each plate, and hero px to its px: scale, turn in degrees clockwise, shift in px."""


def moved(part, points):
    """Points of the hero, (n, 2), on a part's plate."""
    _, scale, turn, shift = FRAMES[part]
    factor = cmath.rect(scale, math.radians(turn))
    there = (points[:, 0] + 1j * points[:, 1]) * factor + complex(*shift)
    return np.stack([there.real, there.imag], axis=1)


def back(part, points):
    """Points of a part's plate, (n, 2), on the hero."""
    _, scale, turn, shift = FRAMES[part]
    here = (points[:, 0] + 1j * points[:, 1] - complex(*shift)) / cmath.rect(scale, math.radians(turn))
    return np.stack([here.real, here.imag], axis=1)


def covered(size, points):
    """Coverage of a polygon, 0 to 1, drawn by Pillow at eight times the size."""
    # Pillow's corners are centres of pixels.
    corners = [(x * FACTOR - 0.5, y * FACTOR - 0.5) for x, y in points]
    fine = Image.new("L", (size[0] * FACTOR, size[1] * FACTOR))
    ImageDraw.Draw(fine).polygon(corners, fill=255)
    return np.asarray(fine, float).reshape(size[1], FACTOR, size[0], FACTOR).mean(axis=(1, 3)) / 255


def paint(part, places, plain=()):
    away = 500.0 * (list(SHAPES).index(part) + 1)
    if part in plain:
        return np.full((len(places), 3), 0.35 + 0.1 * list(SHAPES).index(part))
    # Finer and coarser waves: what a picture shows has details of all sizes.
    return 0.6 * texture((places + away) / 3) + 0.4 * texture((places - away) / 9)


def picture(colour, alpha, noise, seed):
    colour = colour + np.random.default_rng(seed).normal(0, noise, colour.shape)
    return np.rint(np.clip(np.dstack([colour, alpha]), 0, 1) * 255).astype(np.uint8)


def painted_under(cover, part, places, plain=()):
    """The part's paint where it covers anything; elsewhere it is left black."""
    colour = np.zeros((*cover.shape, 3))
    colour[cover > 0] = paint(part, places[(cover > 0).ravel()], plain)
    return colour


@cache
def plate(part, plain=(), noise=0.01):
    size = FRAMES[part][0]
    cover = covered(size, moved(part, SHAPES[part]))
    colour = painted_under(cover, part, back(part, pixel_centres(size)), plain)
    return picture(colour, cover, noise, list(SHAPES).index(part))


@cache
def hero(plain=(), noise=0.01, dimmed=1.0):
    places = pixel_centres(HERO_SIZE)
    colour, alpha = np.zeros((*HERO_SIZE[::-1], 3)), np.zeros(HERO_SIZE[::-1])
    for part, shape in SHAPES.items():
        cover = covered(HERO_SIZE, shape)
        own = dimmed * painted_under(cover, part, places, plain)
        colour = colour * (1 - cover[..., None]) + own * cover[..., None]
        alpha = alpha + cover - alpha * cover
    return picture(colour, alpha, noise, 77)


def write(folder, plain=(), parts=tuple(SHAPES), **still):
    folder.mkdir()
    for number, part in enumerate(parts, 1):
        Image.fromarray(plate(part, plain)).save(folder / f"{number}_{part}.png")
    Image.fromarray(hero(plain, **still)).save(folder / "hero.png")
    return folder
