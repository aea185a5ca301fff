"""Where on the screen a piece of one solid hides some of another that no plane keeps behind or before it.

Let a be a body (a solid or one piece of it) and b a piece of another solid; what hides what is told from the
plan, in which lines of sight run along straight lines that fan out from below the camera.

- a sits in a convex hole H of b. On its way to the camera a line of sight leaves H, as if H went on for ever
  along z, in one of two ways: through H's wall beside b, and then b is in front; or not, and then it is not.
  It does not exactly where it meets H somewhere between b's face toward the camera and the far end of a. So b
  is in front wherever the screen shows b and not that stretch of H, which is a convex prism with a hull for an
  image. (H being convex, a line that has left it never comes back.)
- a's hull in plan does not meet b. Seen from the camera, the hull has an outermost corner on either side; the
  chord between the two cuts b's plan. On a line of sight to a, what is nearer than the chord is nearer than a,
  and what is farther is farther than a. So b is in front exactly where the screen shows the near part of b.
- Both the other way round, for b in a hole of a and for b's chord.
- Otherwise a is cut into convex prisms, of which the second rule holds one by one.

From this for all pieces follows where solid A is in front of B: where some piece of A is seen before every
piece of B. What is the same for all pieces of A is asked of A as a whole.
"""

from __future__ import annotations

import numpy as np
import shapely

from choreo.geometry.cameras.camera import Camera
from choreo.geometry.plane.regions import common, joined, minus
from choreo.geometry.visibility.front import Codes, Front, Relation, in_common
from choreo.geometry.visibility.hiding import (
    HAIR_MM,
    Body,
    Way,
    at_depths,
    ends_within,
    hidden_on,
    holding,
    opening_image,
    plan_shift,
    stretch,
)
from choreo.geometry.visibility.scene import Bools, Ints, Scene, Shapes


def unhidden_region(scene: Scene, found: Relation, frames: Ints, shapes: Shapes) -> Shapes:
    """Return shapes of the first solid less where the second solid hides it.

    Parameters
    ----------
    scene : Scene
    found : Relation
    frames : array of int
        MIXED ones.
    shapes : (frames,) array of Polygon or MultiPolygon
        What is left of the first solid's silhouette so far, px.

    """
    body = Body((found.a,), scene.hulls[found.a])
    ways = _whole_ways(scene, found, body, frames)
    out = shapes
    for j, way in enumerate(ways):
        out = _less(scene, body, (found.b, j), np.where(way == Way.SPLIT, Way.NONE, way), frames, out)
    split = np.flatnonzero((ways == Way.SPLIT).any(axis=0) & ~shapely.is_empty(out))
    if split.size:
        chosen = ways[:, split] == Way.SPLIT
        count = len(found.pieces)
        out = out.copy()
        out[split] = joined([_piece_unhidden(scene, found, i, frames[split], out[split], chosen) for i in range(count)])
    return out


def cover_layers(scene: Scene, found: Relation, frames: Ints) -> list[Shapes]:
    """Return layers (frames,) whose union is where the second solid stands, or would stand, before the first.

    That is, where some piece of the second is in front of some piece of the first. Layers are not cut along
    the first solid's outline; where the second is in front as a whole there is one, its silhouette. None
    where a layer has nothing.

    Parameters
    ----------
    scene : Scene
    found : Relation
    frames : array of int

    """
    first = np.full(len(frames), None, dtype=np.object_)
    code = found.code[frames]
    whole = np.flatnonzero(code == Front.SECOND)
    first[whole] = scene.silhouette((found.b,), frames[whole])
    mixed = np.flatnonzero(code == Front.MIXED)
    layers = [first]
    if mixed.size:
        for layer in _mixed_layers(scene, found, frames[mixed]):
            layers.append(np.full(len(frames), None, dtype=np.object_))
            layers[-1][mixed] = layer
    return layers


def _mixed_layers(scene: Scene, found: Relation, frames: Ints) -> list[Shapes]:
    body = Body((found.a,), scene.hulls[found.a])
    ways = _whole_ways(scene, found, body, frames)
    split = ways == Way.SPLIT
    # Where a piece hides some piece of the first solid with all of itself, that says all.
    ways[split & (found.pieces[:, :, frames] == Front.SECOND).any(axis=0)] = Way.ALL
    layers: list[Shapes] = []
    for j, way in enumerate(ways):
        layers.append(hidden_on(scene, body, (found.b, j), way, frames, wide=True))
        rows = np.flatnonzero(way == Way.SPLIT)
        layers += [_piece_hidden(scene, found, i, j, frames, rows) for i in range(len(found.pieces)) if rows.size]
    return [layer for layer in layers if not shapely.is_missing(layer).all()]


def _piece_hidden(scene: Scene, found: Relation, i: int, j: int, frames: Ints, rows: Ints) -> Shapes:
    """Where piece j hides piece i on those rows; None elsewhere."""
    out = np.full(len(frames), None, dtype=np.object_)
    body = Body((found.a, i), scene.pieces[found.a][i].hull)
    way = _piece_ways(scene, found, i, j, frames[rows], found.pieces[i, j, frames[rows]])
    out[rows] = hidden_on(scene, body, (found.b, j), way, frames[rows], wide=True)
    return out


def _piece_unhidden(scene: Scene, found: Relation, i: int, frames: Ints, shapes: Shapes, chosen: Bools) -> Shapes:
    """What shapes have of piece i, less where those pieces of the second that `chosen` (pieces, n) marks hide it."""
    body = Body((found.a, i), scene.pieces[found.a][i].hull)
    out = common(scene.silhouette(body.key, frames), shapes)
    for j in map(int, np.flatnonzero(chosen.any(axis=1))):
        rows = np.flatnonzero(chosen[j])
        way = _piece_ways(scene, found, i, j, frames[rows], found.pieces[i, j, frames[rows]])
        out[rows] = _less(scene, body, (found.b, j), way, frames[rows], out[rows])
    return out


def _less(scene: Scene, body: Body, piece: tuple[int, int], way: Codes, frames: Ints, shapes: Shapes) -> Shapes:
    """Shapes of the body less where the piece hides it."""
    asked = np.flatnonzero((way != Way.NONE) & ~shapely.is_empty(shapes))
    asked = asked[shapely.intersects(shapes[asked], scene.silhouette(piece, frames[asked]))]
    if not asked.size:
        return shapes
    out, way, there = shapes.copy(), way[asked], frames[asked]
    opening = np.flatnonzero(way == Way.BESIDE_OPENING)
    # Where the body does not stick out behind, no line of sight to it misses both the opening and the material
    # beside it: what shows through the opening is all that is seen.
    clean = opening[ends_within(scene, body, piece, there[opening])]
    out[asked[clean]] = common(out[asked[clean]], opening_image(scene, piece, body, there[clean]))
    way[clean] = Way.NONE
    out[asked] = minus(out[asked], hidden_on(scene, body, piece, way, there))
    return out


def _whole_ways(scene: Scene, found: Relation, body: Body, frames: Ints) -> Codes:
    """(pieces of b, n) how each piece of the second solid may hide the first one as a whole."""
    ways = np.full((found.pieces.shape[1], len(frames)), Way.NONE, dtype=np.int8)
    for j, way in enumerate(ways):
        words = in_common(found.pieces[:, j, frames])
        way[words == Front.SECOND] = Way.ALL
        rows = np.flatnonzero(words == Front.MIXED)
        if rows.size:
            way[rows] = _way(scene, body, (found.b, j), frames[rows], Way.SPLIT)
    if len(found.pieces) == 1:
        ways[ways == Way.SPLIT] = Way.BY_PRISMS
        for j, way in enumerate(ways):
            rows = np.flatnonzero(way == Way.BY_PRISMS)
            way[rows] = _other_way(scene, (found.a, 0), (found.b, j), frames[rows])
    return ways


def _piece_ways(scene: Scene, found: Relation, i: int, j: int, frames: Ints, words: Codes) -> Codes:
    """(n,) how piece j may hide piece i."""
    way = np.where(words == Front.SECOND, Way.ALL, Way.NONE).astype(np.int8)
    rows = np.flatnonzero(words == Front.MIXED)
    if rows.size:
        body = Body((found.a, i), scene.pieces[found.a][i].hull)
        way[rows] = _way(scene, body, (found.b, j), frames[rows], Way.BY_PRISMS)
        rows = np.flatnonzero(way == Way.BY_PRISMS)
        way[rows] = _other_way(scene, (found.a, i), (found.b, j), frames[rows])
    return way


def _way(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints, otherwise: Way) -> Codes:
    """BESIDE_OPENING, NEAR_PART, or otherwise."""
    way = np.full(len(frames), otherwise, dtype=np.int8)
    held = _seen_in_hole(scene, body, piece, frames)
    way[held] = Way.BESIDE_OPENING
    rest = np.flatnonzero(~held)
    way[rest[_clear_in_plan(scene, body, piece, frames[rest])]] = Way.NEAR_PART
    return way


def _other_way(scene: Scene, piece: tuple[int, int], other: tuple[int, int], frames: Ints) -> Codes:
    """The same two ways for the other piece as the body, else BY_PRISMS."""
    body = Body(other, scene.pieces[other[0]][other[1]].hull)
    way = _way(scene, body, piece, frames, Way.BY_PRISMS)
    return _MIRRORED[way]


_MIRRORED = np.arange(max(Way) + 1, dtype=np.int8)
_MIRRORED[[Way.BESIDE_OPENING, Way.NEAR_PART]] = Way.IN_OPENING, Way.BUT_NEAR_PART


def _seen_in_hole(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Bools:
    """Whether the body sits in a convex hole of the piece, and the camera looks into that from beyond both."""
    hole = holding(scene, body, piece, frames)
    held = hole >= 0
    for index in np.unique(hole[held]):
        rows = np.flatnonzero(hole == index)
        face, end, beyond = stretch(scene, piece, body, frames[rows])
        ring = at_depths(scene, scene.pieces[piece[0]][piece[1]].holes[index], piece[0], frames[rows], [face, end])
        depth = scene.project(ring, frames[rows])[1].min(axis=1)
        held[rows] = beyond & (depth > Camera.near)
    return held


def _clear_in_plan(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Bools:
    """Whether the body's hull in plan shares no more with the piece than parts that touch may.

    A hull that is more than the body itself may share nothing: what it shares may stand in a notch of the body.
    """
    if not len(frames):
        return np.zeros(0, dtype=np.bool_)
    shift, row = np.unique(plan_shift(scene, body.key[0], piece[0], frames), axis=0, return_inverse=True)
    rings = shapely.polygons(body.hull.ring + shift[:, None, :])
    shared = shapely.area(shapely.intersection(rings, scene.pieces[piece[0]][piece[1]].polygon))
    most_mm = scene.touch_mm if _is_hull(scene, body) else HAIR_MM
    return np.asarray((shared <= most_mm * shapely.length(rings))[row.reshape(-1)])


def _is_hull(scene: Scene, body: Body) -> bool:
    """Whether a body is as large in plan as its hull at every depth."""
    solid, *piece = body.key
    pieces = scene.pieces[solid] if not piece else [scene.pieces[solid][piece[0]]]
    least = min(p.polygon.area for p in pieces)
    return bool(least >= shapely.Polygon(body.hull.ring).area * (1 - _SAME_AREA))


_SAME_AREA = 1e-9
"""Share by which areas differ that are the same but for rounding."""
