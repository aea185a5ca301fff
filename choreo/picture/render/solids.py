"""Parts without a plate: plainly shaded solids in their own colour.

One light stands still beside the camera, up and to the left, so that an orbit reads as a turning product.
Shading is one number a pixel, the share of the part's face colour; the outline is the exact silhouette.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera
from choreo.model.plan import Floats
from choreo.picture.palette import tints
from choreo.picture.render.colour import Singles, hex_to_linear
from choreo.picture.render.coverage import Window, coverage, quad_sums, rings_of, row_sums, window_around
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
    shade: Callable[[Window], Singles] | None = None,
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
    from choreo.picture.render import paint  # noqa: PLC0415

    window = None if outline.is_empty else window_around(outline.bounds, frame)
    if window is None:
        return None
    if shade is None:
        # The line along a face's edge looks at the pixels around: without those beyond it, the frame would be an edge.
        wide = window_around(outline.bounds, Window(frame.x - 1, frame.y - 1, frame.width + 2, frame.height + 2))
        assert wide is not None
        light: Singles = shading(facets, camera, shift, wide)[window.within(wide)].astype(np.float32)
    else:
        light = shade(window)
    sums = row_sums(rings_of(outline), window)
    return Tile(window, paint.tinted(sums, light, hex_to_linear(tints(colour).face)))


def shading(facets: Facets, camera: Camera, shift: Floats, window: Window, line: float = LINE) -> Floats:
    """Return the share of light (height, width) that comes back from the solid at each pixel of a window.

    Parameters
    ----------
    facets, camera, shift, window
        See `solid_tile`.
    line : float
        How much an edge line takes from the light of a face, at most.

    """
    from choreo.picture.render import paint  # noqa: PLC0415

    axes = _axes(camera)
    light, filled = np.zeros((2, window.height, window.width))
    for stage in facets.stages(camera, shift):
        where = _reach(stage, window)
        if where is not None:
            band, walled = _painted(stage, axes, where, line)
            paint.band_over(band, walled, light, filled, where.y - window.y, where.x - window.x)
    paint.toned(light, filled)
    return light


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


def _painted(stage: Stage, axes: Floats, where: Window, line: float) -> tuple[Floats, Floats]:
    """Light of a band, and how much of each pixel it fills."""
    from choreo.picture.render import paint  # noqa: PLC0415

    wall, walled = np.zeros((2, where.height, where.width))
    tones = tone(stage.normals, axes)
    for level in range(int(stage.levels.max(initial=-1)) + 1):
        chosen = stage.levels == level
        near, lit = quad_sums(stage.quads[chosen], tones[chosen], where)
        paint.walls_over(near, lit, wall, walled)
    if stage.strip is not None:
        paint.cut_to(coverage(stage.strip, where), wall, walled)
    if stage.face is not None:
        bright = float(tone(np.array([[0.0, 0.0, float(stage.side)]]), axes)[0])
        paint.face_over(coverage(stage.face, where), bright, line, wall, walled)
    return wall, walled
