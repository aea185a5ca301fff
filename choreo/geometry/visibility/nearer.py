"""Which parts stand before a part on the hero still: where its plate is not seen there."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
import shapely
from shapely.affinity import rotate
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera, orthographic_camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.plane.unions import only_areas
from choreo.geometry.solids.solid import Solid
from choreo.geometry.visibility.cover import unhidden_region
from choreo.geometry.visibility.front import Front, flipped, relation
from choreo.geometry.visibility.scene import Scene, build_scene
from choreo.model.assembly import Hero


def nearer_areas(part: str, solids: Mapping[str, Solid], hero: Hero, touch_mm: float) -> BaseGeometry:
    """Return the outlines of all parts that hide a part, or may hide some of it, px of the hero still.

    Where another part is in front as a whole, its whole outline counts; where each of the two is in front somewhere,
    just what it hides.

    Parameters
    ----------
    part : str
    solids : mapping of part id to Solid
        All parts, assembled.
    hero : Hero
        For view, scale and pivot.
    touch_mm : float
        How far two solids may reach into each other, mm.

    """
    names = list(solids)
    own = names.index(part)
    scene = _scene(tuple(solids.values()), hero, touch_mm)
    found: list[BaseGeometry] = []
    once = np.zeros(1, dtype=np.int64)
    for other, name in enumerate(names):
        if other == own:
            continue
        first, second = min(own, other), max(own, other)
        found_out = relation(scene, first, second)
        code = Front(int(found_out.code[0]))
        if code == (Front.FIRST if other == first else Front.SECOND):
            found.append(_outline(solids[name], hero))
        elif code == Front.MIXED:
            whole = np.array([_outline(solids[part], hero)], dtype=np.object_)
            seen = unhidden_region(scene, found_out if own == first else flipped(found_out), once, whole)
            found.append(only_areas(shapely.difference(whole[0], seen[0])))
    level = rotate(shapely.union_all(found), -hero.turn, origin=(0, 0))
    return shapely.transform(level, lambda points: points + np.array(hero.pivot_px))


def _camera(hero: Hero) -> Camera:
    # A frame of no size has its centre, where the product's origin lands, at (0, 0).
    return orthographic_camera(hero.view.azimuth, hero.view.elevation, (0.0, 0.0, 0.0), hero.px_per_mm, (0, 0))


@lru_cache(maxsize=2)
def _scene(solids: tuple[Solid, ...], hero: Hero, touch_mm: float) -> Scene:
    """The same scene for every part that is asked about."""
    return build_scene(solids, _camera(hero).matrix[None], np.zeros((len(solids), 1, 3)), touch_mm)


@lru_cache(maxsize=256)
def _outline(solid: Solid, hero: Hero) -> BaseGeometry:
    return silhouettes(solid, _camera(hero), np.zeros(3))[0]
