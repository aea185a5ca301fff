"""Parts without a plate: plainly shaded solids in their own colour.

One light stands still beside the camera, up and to the left, so that an orbit reads as a turning product.
Shading is one number a pixel, the share of the part's face colour; the outline is the exact silhouette.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from shapely.geometry.base import BaseGeometry

from choreo.geometry.camera import Camera
from choreo.model.plan import Floats
from choreo.picture.palette import tints
from choreo.picture.render.colour import Singles, hex_to_linear
from choreo.picture.render.coverage import Window, coverage, quad_sums, window_around
from choreo.picture.render.facets import Facets, Stage
from choreo.picture.render.tile import Tile

_LIGHT = np.array([-0.42, 0.62, 0.66]) / np.linalg.norm([-0.42, 0.62, 0.66])
"""Toward the light: right, up, toward the camera."""
_DARK = 0.30
"""Share of light that reaches a surface turned away from the lamp."""
LINE = 0.45
"""How much an edge line takes from the light of a face, at most."""


def solid_tile(
    facets: Facets,
    outline: BaseGeometry,
    colour: str,
    camera: Camera,
    shift: Floats,
    frame: Window,
    shade: Callable[[Window], Floats | Singles] | None = None,
) -> Tile | None:
    """Return a part's picture, None if it is outside of the frame.

    Parameters
    ----------
    facets : Facets
        Of the part in its assembled place.
    outline : Polygon or MultiPolygon
        Its silhouette, px.
    colour : str
        ``#rrggbb``
    camera : Camera
    shift : (3,)
        Displacement, mm.
    frame : Window
        What lies outside of it is left out.
    shade : callable, optional
        Gives the share of light within a window, where it is known already.

    """
    import cv2  # noqa: PLC0415

    window = None if outline.is_empty else window_around(outline.bounds, frame)
    if window is None:
        return None
    light = shading(facets, camera, shift, window) if shade is None else shade(window)
    alpha = np.asarray(coverage(outline, window), dtype=np.float32)
    lit = alpha * np.asarray(light, dtype=np.float32)
    # Channel by channel: numpy takes three times as long over an axis of four.
    channels = [lit * np.float32(share) for share in hex_to_linear(tints(colour).face)]
    return Tile(window, np.asarray(cv2.merge([*channels, alpha]), dtype=np.float32))


def shading(facets: Facets, camera: Camera, shift: Floats, window: Window, line: float = LINE) -> Floats:
    """Return the share of light (height, width) that comes back from the solid at each pixel of a window.

    Parameters
    ----------
    facets, camera, shift, window
        See `solid_tile`.
    line : float
        How much an edge line takes from the light of a face, at most.

    """
    axes = _axes(camera)
    light = np.zeros((window.height, window.width))
    filled = np.zeros_like(light)
    for stage in facets.stages(camera, shift):
        where = _reach(stage, window)
        if where is not None:
            rows = where.within(window)
            light[rows], filled[rows] = _painted(stage, axes, where, light[rows], filled[rows], line)
    # A pixel on the outline is filled in part: its tone is that of what fills it.
    return np.asarray(light / np.where(filled > 1e-6, filled, 1.0))


def _axes(camera: Camera) -> Floats:
    """Rows right, up, toward the camera (3, 3)."""
    toward = -camera.forward
    right = camera.matrix[0, :3] - (camera.matrix[0, :3] @ toward) * toward
    right = right / np.linalg.norm(right)
    return np.stack([right, np.cross(toward, right), toward])


def tone(normals: Floats, axes: Floats) -> Floats:
    """Return the light that comes back from surfaces with unit normals (n, 3), 0 to 1."""
    lit = np.maximum(normals @ (_LIGHT @ axes), 0.0)
    return np.asarray(_DARK + (1 - _DARK) * lit)


def lamp(camera: Camera) -> tuple[Floats, float]:
    """Return the unit direction (3,) toward the light, product space, and what comes back where none of it falls."""
    return np.asarray(_LIGHT @ _axes(camera)), _DARK


def _reach(stage: Stage, window: Window) -> Window | None:
    boxes = [] if stage.face is None else [stage.face.bounds]
    if len(stage.quads):
        boxes.append((*stage.quads.min(axis=(0, 1)), *stage.quads.max(axis=(0, 1))))
    if not boxes:
        return None
    low, high = np.min(boxes, axis=0)[:2], np.max(boxes, axis=0)[2:]
    return window_around((*low, *high), window)


def _painted(
    stage: Stage, axes: Floats, where: Window, light: Floats, filled: Floats, line: float
) -> tuple[Floats, Floats]:
    """The band over what has been painted so far; areas that share a pixel share it side by side."""
    wall, walled = np.zeros_like(light), np.zeros_like(light)
    tones = tone(stage.normals, axes)
    for level in range(int(stage.levels.max(initial=-1)) + 1):
        chosen = stage.levels == level
        near, lit = quad_sums(stage.quads[chosen], tones[chosen], where)
        wall, walled = _beside(np.minimum(near, 1.0), lit, walled, wall)
    if stage.strip is not None:
        strip = coverage(stage.strip, where)
        wall, walled = strip * _share(wall, walled), strip
    if stage.face is not None:
        face = coverage(stage.face, where)
        bright = float(tone(np.array([[0.0, 0.0, float(stage.side)]]), axes)[0])
        wall, walled = _beside(face, face * bright * _lined(face, line), walled, wall)
    left = np.minimum(filled, 1 - walled)
    return wall + light * _share(left, filled), walled + left


def _beside(near: Floats, lit: Floats, walled: Floats, wall: Floats) -> tuple[Floats, Floats]:
    """What is nearer takes its share of a pixel, the rest keeps what room is left."""
    left = np.minimum(walled, 1 - near)
    return lit + wall * _share(left, walled), near + left


def _share(part: Floats, whole: Floats) -> Floats:
    return np.asarray(part / np.where(whole > 0, whole, 1.0))


def _lined(face: Floats, line: float) -> Floats:
    """A soft line along the inside of a face's edge: the less of the 3 x 3 pixels around is face, the darker."""
    padded = np.pad(face, 1)
    rows = padded[:-2] + padded[1:-1] + padded[2:]
    around = (rows[:, :-2] + rows[:, 1:-1] + rows[:, 2:]) / 9
    return np.asarray(1 - line * (1 - around) * 1.5)
