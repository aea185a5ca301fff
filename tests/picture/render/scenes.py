"""Small scenes for the tests of the renderer, invented: parts before one camera, with or without plates."""

from __future__ import annotations

import numpy as np
import shapely
import shapely.affinity

from choreo.geometry.cameras.camera import camera_from_matrix, orthographic_camera
from choreo.geometry.solids.solid import build_solid
from choreo.model.assembly import Assembly, Part, Slab
from choreo.model.plan import Region
from choreo.model.tracks import Holdout, Key, Masking, OrderSpan, PartTrack, ShotTracks
from choreo.motion.law import evaluate_keys
from choreo.motion.path import position
from choreo.picture.render.frame import Renderer

SIZE = (120, 90)


def part(name, ring, z, colour="#4080c0", holes=()):
    return Part(name, name, colour, (0.0, 0.0, 0.0), (Slab(tuple(map(tuple, ring)), tuple(holes), z),))


def box(x0, y0, x1, y1, turn=0.0):
    shape = shapely.affinity.rotate(shapely.box(x0, y0, x1, y1), turn, origin=(0, 0))
    return [tuple(xy) for xy in shapely.get_coordinates(shape)[:-1]]


def shot_of(parts, order, routes=None, keys=None, frames=4, camera=None, holdouts=(), hero=None, opacity=None):
    cameras = camera if camera is not None else orthographic_camera(0, 0, (0, 0, 0), 2.0, SIZE).matrix
    cameras = np.broadcast_to(cameras, (frames, 3, 4)).copy()
    tracks = []
    for each in parts:
        route = np.array((routes or {}).get(each.id, [[0, 0, 0]]), dtype=float)
        own = (keys or {}).get(each.id, (Key(0, 0.0),))
        places = position(route, evaluate_keys(own, np.arange(frames)))
        seen = [camera_from_matrix(m) for m in cameras]
        screen = np.array([c.project(p)[0] for c, p in zip(seen, places, strict=True)])
        scale = np.array([float(c.scale_at(p)) for c, p in zip(seen, places, strict=True)])
        clear = np.full(frames, (opacity or {}).get(each.id, 1.0))
        tracks.append(PartTrack(each.id, route, own, places, screen, scale, clear, (None,) * frames))
    masking = Masking((OrderSpan(0, frames - 1, tuple(order)),), tuple(holdouts))
    shown = np.zeros(frames) if hero is None else np.asarray(hero, dtype=float)
    return ShotTracks("one", 0, frames, cameras, tuple(tracks), shown, masking)


def renderer(parts, **options):
    solids = {each.id: build_solid(each.slabs, each.offset) for each in parts}
    return Renderer(Assembly("Scene", 0.05, tuple(parts)), solids, SIZE, **{"shutter": 0.0, **options})


def holdout(name, shape, behind, frames=4):
    regions = tuple(
        Region(
            tuple(map(tuple, shapely.get_coordinates(p.exterior)[:-1])),
            tuple(tuple(map(tuple, shapely.get_coordinates(h)[:-1])) for h in p.interiors),
        )
        for p in shapely.get_parts(shape)
    )
    return Holdout(name, 0, frames - 1, regions, (behind,))
