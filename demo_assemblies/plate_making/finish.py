"""What parts are made of: colour, gloss, grain, and shapes that slabs only hint at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from choreo.picture.render.colour import hex_to_linear
from plate_making.light import Light, diffuse, gloss, studio
from plate_making.surface import Seen


@dataclass(frozen=True)
class Finish:
    """A material. Grain and shape are in mm of the part's own coordinates."""

    colour: str
    metal: float = 0.0
    """1: mirrors the studio in its own colour; 0: paint or plastic."""
    shine: float = 0.25
    """How bright the key light's highlight is."""
    exponent: float = 40.0
    """How sharp it is."""
    grain: str = "moulded"
    """moulded, brushed (along x), spun (about z), wood (along z), rings (about z) or none."""
    grain_share: float = 0.03
    crown: float = 0.0
    """Lean of a face's normal at `crown_mm` from the axis, outward, as a sine: a dome; below 0 a bowl."""
    crown_mm: float = 1.0
    centre: tuple[float, float] = (0.0, 0.0)
    lying_mm: float = 0.0
    """A cylinder with this radius along x, about a level axis at `lying_z`."""
    lying_z: float = 0.0
    glow: float = 0.0
    """Light of its own, or that shines through it."""
    heart: str = ""
    """A colour that fills the middle, `heart_mm` wide, softly."""
    heart_mm: float = 1.0
    spots: tuple[int, float, float, str] = (0, 0.0, 0.0, "")
    """Round spots on a circle about the axis: how many, radius of the circle, of each, colour."""
    bevel_mm: float = 0.45
    smooth_degrees: float = 36.0
    """Walls that meet at less than this are a curve."""

    def but(self, **changes: object) -> Finish:
        return replace(self, **changes)


@dataclass(frozen=True)
class Coat:
    """Finishes of a part, by depth: each from a height on, mm above the part's own origin."""

    layers: tuple[tuple[float, Finish], ...]

    @property
    def first(self) -> Finish:
        """Bevels and curves are the same all over."""
        return self.layers[0][1]


def coat(first: Finish, *more: tuple[float, Finish]) -> Coat:
    return Coat(((-np.inf, first), *more))


def colours(seen: Seen, light: Light, coats: list[Coat], origins: list[np.ndarray], axes: np.ndarray) -> np.ndarray:
    """Return linear light (n, 3) that comes back from each sample."""
    out = np.empty((len(seen.index), 3))
    for number, (one, origin) in enumerate(zip(coats, origins, strict=True)):
        mine = np.flatnonzero(seen.piece == number)
        depth = seen.level[mine] - origin[2]
        layer = np.searchsorted([low for low, _ in one.layers], depth, side="right") - 1
        for index, (_, finish) in enumerate(one.layers):
            chosen = mine[layer == index]
            if len(chosen):
                here = light.bare(chosen) if finish.lying_mm else light.at(chosen)
                spot = _Spot(seen.points[chosen] - origin, seen.flat[chosen], seen.normals[chosen], here)
                out[chosen] = _finished(finish, spot, axes)
    return out


@dataclass(frozen=True, eq=False)
class _Spot:
    points: np.ndarray
    flat: np.ndarray
    normals: np.ndarray
    light: Light


def _finished(finish: Finish, spot: _Spot, axes: np.ndarray) -> np.ndarray:
    normals = _shaped(finish, spot) @ axes.T
    tangents, grain = _grain(finish, spot)
    if tangents is not None:
        tangents = tangents @ axes.T
    tint = _base(finish, spot) * (1 + finish.grain_share * grain)[:, None]
    bright = finish.shine * gloss(normals, tangents, finish.exponent) * (0.15 + 0.85 * spot.light.key)
    # Glancing light is mirrored more (Schlick 1994).
    rim = (1 - np.clip(normals[:, 2], 0.0, 1.0)) ** 5
    # The lamp is near: what stands toward it gets more.
    near = (spot.light.near * 0.92 + 0.08)[:, None]
    mirrored = 2 * normals[:, 2:] * normals - np.array([0.0, 0.0, 1.0])
    around = studio(mirrored) * (0.35 + 0.65 * spot.light.key) * spot.light.open
    matt = tint * diffuse(normals, spot.light)[:, None] + (bright + 0.35 * rim * around)[:, None]
    steel = tint * around[:, None] * 1.25 + (0.5 * tint + 0.5) * bright[:, None]
    mixed = matt * (1 - finish.metal) + steel * finish.metal
    return mixed * near + finish.glow * tint * (0.6 + 0.4 * spot.light.open)[:, None]


def _base(finish: Finish, spot: _Spot) -> np.ndarray:
    """The colour of each place (n, 3), linear."""
    base = np.tile(hex_to_linear(finish.colour), (len(spot.points), 1))
    away = spot.points[:, :2] - finish.centre
    if finish.heart:
        share = np.exp(-((np.hypot(*away.T) / finish.heart_mm) ** 2))[:, None]
        base = base * (1 - share) + hex_to_linear(finish.heart) * share
    count, circle, radius, colour = finish.spots
    for number in range(count):
        angle = 2 * np.pi * (number + 0.5) / count
        off = np.hypot(*(away - circle * np.array([np.cos(angle), np.sin(angle)])).T)
        share = np.clip((radius - off) / 0.1 + 0.5, 0.0, 1.0)[:, None]
        base = base * (1 - share) + hex_to_linear(colour) * share
    return base


def _shaped(finish: Finish, spot: _Spot) -> np.ndarray:
    normals = spot.normals
    if finish.lying_mm:
        height = np.clip(spot.points[:, 1] / finish.lying_mm, -0.98, 0.98)
        away = np.sqrt(1 - height**2) * np.sign(spot.points[:, 2] - finish.lying_z)
        round_ = np.column_stack([np.zeros(len(height)), height, away])
        ends = np.abs(spot.flat[:, 0]) > 0.5
        return np.where(ends[:, None], normals, round_)
    if not finish.crown:
        return normals
    level = np.abs(spot.flat[:, 2:]) > 0.5
    lean = finish.crown * (spot.points[:, :2] - finish.centre) / finish.crown_mm
    bent = normals + np.column_stack([lean, np.zeros(len(lean))]) * level
    return bent / np.linalg.norm(bent, axis=1, keepdims=True)


def _grain(finish: Finish, spot: _Spot) -> tuple[np.ndarray | None, np.ndarray]:
    """Tangents of the brushing, and how the tone varies, about -1 to 1."""
    x, y, z = spot.points.T
    if finish.grain == "moulded":
        return None, noise(x * 2.1, y * 2.1, z * 2.1, 1) * 0.5 + noise(x * 5.3, y * 5.3, z * 5.3, 2) * 0.5
    if finish.grain == "brushed":
        streak = noise(x * 0.22, y * 6.0, z * 6.0, 3) * 0.7 + noise(x * 0.7, y * 13.0, z * 13.0, 4) * 0.3
        return np.tile([1.0, 0.0, 0.0], (len(x), 1)), streak
    if finish.grain == "spun":
        away = np.column_stack([x - finish.centre[0], y - finish.centre[1]])
        radius = np.maximum(np.hypot(*away.T), 1e-6)
        tangents = np.column_stack([-away[:, 1] / radius, away[:, 0] / radius, np.zeros(len(x))])
        return tangents, noise(radius * 5.0, z * 5.0, 0 * x, 5) * 0.7 + noise(radius * 11.0, z * 11.0, 0 * x, 6) * 0.3
    if finish.grain == "rings":
        return None, np.cos(np.hypot(x - finish.centre[0], y - finish.centre[1]) * 2 * np.pi / 0.8)
    if finish.grain == "wood":
        warp = 1.4 * noise(x * 0.35, y * 0.35, z * 0.16, 7)
        ring = 0.5 + 0.5 * np.cos((np.hypot(x - 14.0, y + 5.0) + warp) * 3.3)
        pore = noise(x * 4.2, y * 4.2, z * 0.45, 8)
        return None, 1.3 * ring**2 - 0.6 + 0.45 * pore
    return None, np.zeros(len(x))


def noise(x: np.ndarray, y: np.ndarray, z: np.ndarray, seed: int) -> np.ndarray:
    """Smooth noise from -1 to 1, a new value at each whole place: the same everywhere, for it is all whole numbers."""
    cell = [np.floor(axis).astype(np.int64) for axis in (x, y, z)]
    part = [axis - whole for axis, whole in zip((x, y, z), cell, strict=True)]
    ease = [share * share * (3 - 2 * share) for share in part]
    out = np.zeros(len(x))
    for dx in (0, 1):
        for dy in (0, 1):
            for dz in (0, 1):
                weight = np.ones(len(x))
                for share, step in zip(ease, (dx, dy, dz), strict=True):
                    weight = weight * (share if step else 1 - share)
                out += weight * _dice(cell[0] + dx, cell[1] + dy, cell[2] + dz, seed)
    return out


def _dice(x: np.ndarray, y: np.ndarray, z: np.ndarray, seed: int) -> np.ndarray:
    """A value from -1 to 1 for three whole numbers: a multiplicative hash in 64 bits."""
    word = (x * 73_856_093) ^ (y * 19_349_663) ^ (z * 83_492_791) ^ (seed * 2_654_435_761)
    word = word.astype(np.uint64)
    word ^= word >> np.uint64(31)
    word *= np.uint64(0x9E37_79B9_7F4A_7C15)
    word ^= word >> np.uint64(29)
    word *= np.uint64(0xBF58_476D_1CE4_E5B9)
    word ^= word >> np.uint64(32)
    return (word >> np.uint64(40)).astype(np.float64) / 2**23 - 1.0
