"""Light on what is seen: a soft key from the top left, a fill, the sky of a studio; shadows and dark corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plate_making.surface import Piece, Seen, View, heights

KEY = np.array([-0.42, 0.62, 0.66]) / np.linalg.norm([-0.42, 0.62, 0.66])
"""Toward the key light: right, up, toward the camera."""
_FILL = np.array([0.75, 0.10, 0.65]) / np.linalg.norm([0.75, 0.10, 0.65])
_KEY_LIGHT, _FILL_LIGHT, _SKY, _GROUND = 0.76, 0.15, 0.42, 0.17
_LAMP_MM = 200.0
"""How far the lamp is from the middle of the product: what stands nearer to it is brighter."""
_BIAS_MM = 0.12
_LIFT_MM = 0.2
_SOFT_MM = 0.9
"""Radius of the blur of a shadow's edge."""
_REACH_MM = (0.5, 1.2, 2.8)
"""How far away walls darken a corner."""
_COMPASS = 8


@dataclass(frozen=True, eq=False)
class Light:
    """What reaches each sample, n of them."""

    key: np.ndarray
    """(n,) share of the key light that arrives."""
    open: np.ndarray
    """(n,) share of the sky that is open."""
    near: np.ndarray
    """(n,) how much brighter it is there than at the origin, as the lamp stands nearer."""

    def at(self, chosen: np.ndarray) -> Light:
        return Light(self.key[chosen], self.open[chosen], self.near[chosen])

    def bare(self, chosen: np.ndarray) -> Light:
        """The same without shadows, for steps that stand for something round."""
        whole = np.ones(len(chosen))
        return Light(whole, whole, self.near[chosen])


def light_on(view: View, pieces: Sequence[Piece], high: np.ndarray, seen: Seen, middle: np.ndarray) -> Light:
    """Return the light on what is seen; `middle` (3,) is where the lamp is measured from, product space."""
    near = (_LAMP_MM / (_LAMP_MM - seen.points @ (KEY @ view.axes) + middle @ (KEY @ view.axes))) ** 2
    return Light(_key_share(view, pieces, seen), _open_share(view, high, seen), near)


def _key_share(view: View, pieces: Sequence[Piece], seen: Seen) -> np.ndarray:
    """How much of the key light is not in the way of anything, softly."""
    toward = KEY @ view.axes
    right = np.cross(view.axes[1], toward)
    right /= np.linalg.norm(right)
    axes = np.stack([right, np.cross(toward, right), toward])
    places = seen.points @ axes.T
    margin = _SOFT_MM + 2 / view.per_mm
    low, top = places[:, :2].min(axis=0) - margin, places[:, :2].max(axis=0) + margin
    # What stands outside of the picture casts a shadow into it as well.
    for piece in pieces:
        (x0, y0, z0), (x1, y1, z1) = piece.solid.bounds
        corners = np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)]) @ axes.T
        low, top = np.minimum(low, corners[:, :2].min(axis=0)), np.maximum(top, corners[:, :2].max(axis=0))
    scale = min(view.per_mm, 12.0)
    size = np.ceil((top - low) * scale).astype(int) + 1
    lamp = View(axes, scale, (float(-low[0] * scale), float(top[1] * scale)), int(size[0]), int(size[1]))
    nearest = heights(lamp, pieces)[0]
    # A hair off the surface, so that a wall along the light does not shade itself in patches.
    lifted = seen.points + _LIFT_MM * seen.flat
    across, down = lamp.to_picture(lifted).T
    height = lifted @ axes[2]
    out = np.zeros(len(places))
    taps = _taps()
    for dx, dy in taps * _SOFT_MM * scale:
        column = np.clip(np.floor(across + dx).astype(int), 0, lamp.width - 1)
        row = np.clip(np.floor(down + dy).astype(int), 0, lamp.height - 1)
        # Nearby light comes from aside: what lies level with the sample is no obstacle.
        slack = _BIAS_MM + np.hypot(dx, dy) / scale * 1.2
        out += nearest[row, column] <= height + slack
    return out / len(taps)


def _taps() -> np.ndarray:
    """Points spread evenly over a disc (a sunflower's seeds)."""
    number = np.arange(24)
    radius = np.sqrt((number + 0.5) / len(number))
    angle = number * np.pi * (3 - np.sqrt(5))
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def _open_share(view: View, high: np.ndarray, seen: Seen) -> np.ndarray:
    """How much of the sky is open: nearby heights above a sample close it."""
    ground = float(high[np.isfinite(high)].min())
    padded = np.where(np.isfinite(high), high, ground)
    rows, columns = np.divmod(seen.index, view.width)
    # How the sample's own plane rises to the right and downward: that closes nothing.
    right, up, back = (seen.flat @ view.axes.T).T
    slope = np.stack([-right / back, up / back])
    own = high[rows, columns]
    closed = np.zeros(len(own))
    for turn in range(_COMPASS):
        angle = 2 * np.pi * (turn + 0.5) / _COMPASS
        worst = np.zeros(len(own))
        for reach in _REACH_MM:
            column = np.clip(columns + round(np.cos(angle) * reach * view.per_mm), 0, view.width - 1)
            row = np.clip(rows + round(np.sin(angle) * reach * view.per_mm), 0, view.height - 1)
            plane = ((column - columns) * slope[0] + (row - rows) * slope[1]) / view.per_mm
            # Across an oblique plane, less of what stands out along the view stands out from it.
            rise = (padded[row, column] - own - plane - 0.05) * back / reach
            worst = np.maximum(worst, np.clip(rise, 0.0, 1.5) / (1 + 0.25 * reach))
        closed += worst
    return 1 - np.clip(closed / _COMPASS, 0.0, 0.85)


def diffuse(normals: np.ndarray, light: Light) -> np.ndarray:
    """Light that a matt white surface sends back, (n,)."""
    key = np.maximum(normals @ KEY, 0.0) * light.key
    fill = np.maximum(normals @ _FILL, 0.0)
    up = 0.5 + 0.5 * (normals @ np.array([-0.25, 0.75, 0.61]))
    sky = (_GROUND + (_SKY - _GROUND) * up) * light.open
    return _KEY_LIGHT * key + _FILL_LIGHT * fill * (0.4 + 0.6 * light.open) + sky


def studio(mirrored: np.ndarray) -> np.ndarray:
    """What a mirror shows of the studio in a direction (n, 3): a softbox, a bright strip, a dark floor; (n,)."""
    sky = 0.30 + 0.30 * mirrored[:, 1]
    softbox = _step(0.35, 0.93, mirrored @ KEY)
    strip = _step(0.55, 0.70, mirrored[:, 0]) * (1 - _step(0.80, 0.92, mirrored[:, 0]))
    floor = _step(0.15, 0.75, -mirrored[:, 1])
    return np.maximum(sky + 0.85 * softbox + 0.45 * strip - 0.30 * floor, 0.04)


def gloss(normals: np.ndarray, tangents: np.ndarray | None, exponent: float) -> np.ndarray:
    """The key light's highlight (n,), drawn out across the brushing where there are tangents (n, 3)."""
    half = KEY + np.array([0.0, 0.0, 1.0])
    half = half / np.linalg.norm(half)
    if tangents is None:
        return np.maximum(normals @ half, 0.0) ** exponent
    along = tangents @ half
    return np.maximum(1 - along**2, 0.0) ** (exponent / 2)


def _step(low: float, high: float, value: np.ndarray) -> np.ndarray:
    share = np.clip((value - low) / (high - low), 0.0, 1.0)
    return share * share * (3 - 2 * share)
