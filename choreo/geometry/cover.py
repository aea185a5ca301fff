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

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import shapely

from choreo.geometry.camera import Camera
from choreo.geometry.front import LEVEL, Codes, Front, Relation, in_common
from choreo.geometry.prism_image import prism_images
from choreo.geometry.regions import NOTHING, common, joined, minus
from choreo.geometry.scene import Bools, Ints, Key, Prism, Scene, Shapes
from choreo.model.plan import Floats


class Way(IntEnum):
    """How a piece b may hide a body a."""

    NONE = 0
    ALL = 2
    """Wherever b is seen. (As `Front.SECOND`.)"""
    BESIDE_OPENING = 4
    """a sits in a convex hole of b."""
    NEAR_PART = 5
    """b is cut along a's chord."""
    IN_OPENING = 6
    """b sits in a convex hole of a."""
    BUT_NEAR_PART = 7
    """a is cut along b's chord."""
    BY_PRISMS = 8
    """a is cut into convex prisms."""
    SPLIT = 9
    """Not the same for all pieces of a."""


@dataclass(frozen=True, eq=False)
class _Body:
    """A solid, or a piece or prism of it, and the prism around it."""

    key: Key
    hull: Prism


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
    body = _Body((found.a,), scene.hulls[found.a])
    ways = _whole_ways(scene, found, body, frames)
    out = shapes
    for j, way in enumerate(ways):
        out = _less(scene, body, (found.b, j), np.where(way == Way.SPLIT, Way.NONE, way), frames, out)
    split = np.flatnonzero((ways == Way.SPLIT).any(axis=0) & ~shapely.is_empty(out))
    if split.size:
        chosen = ways[:, split] == Way.SPLIT
        count = len(found.pieces)
        out = out.copy()
        out[split] = joined(
            [_piece_unhidden(scene, found, i, frames[split], out[split], chosen) for i in range(count)]
        )
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
    body = _Body((found.a,), scene.hulls[found.a])
    ways = _whole_ways(scene, found, body, frames)
    split = ways == Way.SPLIT
    # Where a piece hides some piece of the first solid with all of itself, that says all.
    ways[split & (found.pieces[:, :, frames] == Front.SECOND).any(axis=0)] = Way.ALL
    layers: list[Shapes] = []
    for j, way in enumerate(ways):
        layers.append(_hidden_on(scene, body, (found.b, j), way, frames, wide=True))
        rows = np.flatnonzero(way == Way.SPLIT)
        layers += [_piece_hidden(scene, found, i, j, frames, rows) for i in range(len(found.pieces)) if rows.size]
    return [layer for layer in layers if not shapely.is_missing(layer).all()]


def _piece_hidden(scene: Scene, found: Relation, i: int, j: int, frames: Ints, rows: Ints) -> Shapes:
    """Where piece j hides piece i on those rows; None elsewhere."""
    out = np.full(len(frames), None, dtype=np.object_)
    body = _Body((found.a, i), scene.pieces[found.a][i].hull)
    way = _piece_ways(scene, found, i, j, frames[rows], found.pieces[i, j, frames[rows]])
    out[rows] = _hidden_on(scene, body, (found.b, j), way, frames[rows], wide=True)
    return out


def _piece_unhidden(scene: Scene, found: Relation, i: int, frames: Ints, shapes: Shapes, chosen: Bools) -> Shapes:
    """What shapes have of piece i, less where those pieces of the second that `chosen` (pieces, n) marks hide it."""
    body = _Body((found.a, i), scene.pieces[found.a][i].hull)
    out = common(scene.silhouette(body.key, frames), shapes)
    for j in map(int, np.flatnonzero(chosen.any(axis=1))):
        rows = np.flatnonzero(chosen[j])
        way = _piece_ways(scene, found, i, j, frames[rows], found.pieces[i, j, frames[rows]])
        out[rows] = _less(scene, body, (found.b, j), way, frames[rows], out[rows])
    return out


def _less(scene: Scene, body: _Body, piece: tuple[int, int], way: Codes, frames: Ints, shapes: Shapes) -> Shapes:
    """Shapes of the body less where the piece hides it."""
    asked = np.flatnonzero((way != Way.NONE) & ~shapely.is_empty(shapes))
    asked = asked[shapely.intersects(shapes[asked], scene.silhouette(piece, frames[asked]))]
    if not asked.size:
        return shapes
    out, way, there = shapes.copy(), way[asked], frames[asked]
    opening = np.flatnonzero(way == Way.BESIDE_OPENING)
    # Where the body does not stick out behind, no line of sight to it misses both the opening and the material
    # beside it: what shows through the opening is all that is seen.
    clean = opening[_ends_within(scene, body, piece, there[opening])]
    out[asked[clean]] = common(out[asked[clean]], _opening(scene, piece, body, there[clean]))
    way[clean] = Way.NONE
    out[asked] = minus(out[asked], _hidden_on(scene, body, piece, way, there))
    return out


def _hidden_on(
    scene: Scene, body: _Body, piece: tuple[int, int], way: Codes, frames: Ints, *, wide: bool = False
) -> Shapes:
    """Where the piece hides the body, by the way given for each frame; None where it does not.

    If `wide`, with what of the piece stands beside the body in one go.
    """
    out = np.full(len(frames), None, dtype=np.object_)
    for word, hidden in _HIDDEN.items():
        rows = np.flatnonzero(way == word)
        if rows.size and wide and word == Way.NEAR_PART:
            out[rows] = _near_part(scene, body, piece, frames[rows], wide=True)
        elif rows.size:
            out[rows] = hidden(scene, body, piece, frames[rows])
    return out


def _whole_ways(scene: Scene, found: Relation, body: _Body, frames: Ints) -> Codes:
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
        body = _Body((found.a, i), scene.pieces[found.a][i].hull)
        way[rows] = _way(scene, body, (found.b, j), frames[rows], Way.BY_PRISMS)
        rows = np.flatnonzero(way == Way.BY_PRISMS)
        way[rows] = _other_way(scene, (found.a, i), (found.b, j), frames[rows])
    return way


def _way(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints, otherwise: Way) -> Codes:
    """BESIDE_OPENING, NEAR_PART, or otherwise."""
    way = np.full(len(frames), otherwise, dtype=np.int8)
    held = _seen_in_hole(scene, body, piece, frames)
    way[held] = Way.BESIDE_OPENING
    rest = np.flatnonzero(~held)
    way[rest[_clear_in_plan(scene, body, piece, frames[rest])]] = Way.NEAR_PART
    return way


def _other_way(scene: Scene, piece: tuple[int, int], other: tuple[int, int], frames: Ints) -> Codes:
    """The same two ways for the other piece as the body, else BY_PRISMS."""
    body = _Body(other, scene.pieces[other[0]][other[1]].hull)
    way = _way(scene, body, piece, frames, Way.BY_PRISMS)
    mirrored = {Way.BESIDE_OPENING: Way.IN_OPENING, Way.NEAR_PART: Way.BUT_NEAR_PART, Way.BY_PRISMS: Way.BY_PRISMS}
    return np.array([mirrored[Way(word)] for word in way], dtype=np.int8)


def _seen_in_hole(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Bools:
    """Whether the body sits in a convex hole of the piece, and the camera looks into that from beyond both."""
    hole = _holding(scene, body, piece, frames)
    held = hole >= 0
    for index in np.unique(hole[held]):
        rows = np.flatnonzero(hole == index)
        face, end, beyond = _stretch(scene, piece, body, frames[rows])
        ring = _at_depths(scene, scene.pieces[piece[0]][piece[1]].holes[index], piece[0], frames[rows], [face, end])
        depth = scene.project(ring, frames[rows])[1].min(axis=1)
        held[rows] = beyond & (depth > Camera.near)
    return held


def _holding(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Ints:
    """Index (n,) of the convex hole of the piece that holds the body's plan, -1 where none does."""
    outer = scene.pieces[piece[0]][piece[1]]
    out = np.full(len(frames), -1, dtype=np.int64)
    shift = _shift(scene, body.key[0], piece[0], frames)
    for index, ring in enumerate(outer.hole_hulls):
        if ring is not None:
            normals, offset = ring.walls
            reach = (body.hull.ring @ normals.T).max(axis=0) + shift @ normals.T
            out[(reach <= offset + scene.touch_mm).all(axis=1)] = index
    return out


def _clear_in_plan(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Bools:
    """Whether the body's hull in plan shares no more with the piece than parts that touch may."""
    if not len(frames):
        return np.zeros(0, dtype=np.bool_)
    shift, row = np.unique(_shift(scene, body.key[0], piece[0], frames), axis=0, return_inverse=True)
    rings = shapely.polygons(body.hull.ring + shift[:, None, :])
    shared = shapely.area(shapely.intersection(rings, scene.pieces[piece[0]][piece[1]].polygon))
    return np.asarray((shared <= scene.touch_mm * shapely.length(rings))[row.reshape(-1)])


def _shift(scene: Scene, first: int, second: int, frames: Ints) -> Floats:
    """Displacement in plan (n, 2) of the first solid against the second."""
    return np.asarray((scene.displacements[first, frames] - scene.displacements[second, frames])[:, :2])


def _stretch(scene: Scene, piece: tuple[int, int], body: _Body, frames: Ints) -> tuple[Floats, Floats, Bools]:
    """Depths from the piece's face toward the camera to the end of the body beyond it, if it is beyond.

    The third array says where there is such a face: the camera does not stand between the planes of the two.
    """
    o, p = scene.pieces[piece[0]][piece[1]], body.hull
    dz_o, dz_p = scene.displacements[piece[0], frames, 2], scene.displacements[body.key[0], frames, 2]
    eye = scene.eyes[frames]
    end_above = np.maximum(o.z1 + dz_o, p.z1 + dz_p)
    end_below = np.minimum(o.z0 + dz_o, p.z0 + dz_p)
    above = eye[:, 2] - end_above * eye[:, 3] > LEVEL
    below = eye[:, 2] - end_below * eye[:, 3] < -LEVEL
    face = np.where(above, o.z1 + dz_o, o.z0 + dz_o)
    return face, np.where(above, end_above, end_below), above | below


def _ends_within(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Bools:
    """Whether the body does not stick out of the piece on the side away from the camera."""
    p, o = body.hull, scene.pieces[piece[0]][piece[1]]
    rise = scene.displacements[body.key[0], frames, 2] - scene.displacements[piece[0], frames, 2]
    eye = scene.eyes[frames]
    above = eye[:, 2] > (o.z1 + scene.displacements[piece[0], frames, 2]) * eye[:, 3]
    return np.asarray(np.where(above, p.z0 + rise >= o.z0, p.z1 + rise <= o.z1))


def _at_depths(scene: Scene, ring: Floats, solid: int, frames: Ints, depths: list[Floats]) -> Floats:
    """Points (n, m, 3): the ring, displaced with its solid in the plane, at each of the depths (n,)."""
    plan = ring + scene.displacements[solid, frames, None, :2]
    levels = [np.dstack([plan, np.broadcast_to(z[:, None], plan.shape[:2])]) for z in depths]
    return np.concatenate(levels, axis=1)


def _opening(scene: Scene, piece: tuple[int, int], body: _Body, frames: Ints) -> Shapes:
    """Image of the stretch of the hole from the face toward the camera to the body's end beyond it."""
    out = np.full(len(frames), None, dtype=np.object_)
    face, end, _ = _stretch(scene, piece, body, frames)
    hole = _holding(scene, body, piece, frames)
    for index in np.unique(hole):
        ring = scene.pieces[piece[0]][piece[1]].holes[index]
        flat, deep = np.flatnonzero((hole == index) & (face == end)), np.flatnonzero((hole == index) & (face != end))
        if flat.size:
            # A flat convex ring has a convex image; the hull of two needs working out.
            pixels, _ = scene.project(_at_depths(scene, ring, piece[0], frames[flat], [face[flat]]), frames[flat])
            out[flat] = shapely.polygons(pixels)
        if deep.size:
            both = _at_depths(scene, ring, piece[0], frames[deep], [face[deep], end[deep]])
            pixels, _ = scene.project(both, frames[deep])
            out[deep] = shapely.convex_hull(shapely.multipoints(pixels))
    return out


def _all_of_it(scene: Scene, _body: _Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    return scene.silhouette(piece, frames)


def _beside_opening(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    return minus(scene.silhouette(piece, frames), _opening(scene, piece, body, frames))


def _in_opening(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    """The piece sits in a hole of the body, which is a piece too."""
    inner = _Body(piece, scene.pieces[piece[0]][piece[1]].hull)
    return common(scene.silhouette(piece, frames), _opening(scene, _as_piece(body), inner, frames))


def _but_near_part(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    """The near part of the body, cut along the piece's chord, is in front; the piece is elsewhere."""
    inner = _Body(piece, scene.pieces[piece[0]][piece[1]].hull)
    return minus(scene.silhouette(piece, frames), _near_part(scene, inner, _as_piece(body), frames))


def _by_prisms(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    """All of the piece but where some prism of the body is seen before it."""
    a, i = _as_piece(body)
    b, j = piece
    out = np.full(len(frames), None, dtype=np.object_)
    inner = scene.pieces[b][j].inner + _shift(scene, b, a, frames)
    hole = scene.pieces[a][i].hole_at(inner)
    for kept in np.unique(hole):
        rows = np.flatnonzero(hole == kept)
        there = frames[rows]
        seen = []
        for m, prism in enumerate(scene.prisms(a, i, int(kept))):
            part = _Body((a, i, int(kept), m), prism)
            seen.append(minus(scene.silhouette(part.key, there), _near_part(scene, part, piece, there)))
        out[rows] = minus(scene.silhouette(piece, there), joined(seen))
    return out


def _as_piece(body: _Body) -> tuple[int, int]:
    """Solid and piece of a body that is one piece; a solid of one piece counts."""
    return body.key[0], body.key[1] if len(body.key) > 1 else 0


def _near_part(scene: Scene, body: _Body, piece: tuple[int, int], frames: Ints, *, wide: bool = False) -> Shapes:
    """Image of what lies of the piece on the camera's side of the body's chord; None where nothing does.

    Only before the body, unless `wide`: what lies beside hides nothing of it, and small shapes are quick.
    """
    out = np.full(len(frames), None, dtype=np.object_)
    b, j = piece
    outer = scene.pieces[b][j]
    chord = _chord(scene, body, b, frames)
    # How far each corner of the piece's hull lies on the camera's side of the chord.
    side = np.einsum("nd,kd->nk", chord.toward, outer.hull.ring) - (chord.toward * chord.left).sum(axis=1)[:, None]
    near = chord.faced & (side.min(axis=1) >= -LEVEL)
    cut = np.flatnonzero(chord.faced & ~near & (side.max(axis=1) > LEVEL))
    out[near] = scene.silhouette(piece, frames[near])
    if cut.size:
        reach = float(np.hypot(*np.ptp(np.concatenate([outer.hull.ring, chord.left, chord.right]), axis=0)))
        cutters = _half_planes(chord, cut, 2 * reach) if wide else _before_chords(chord, cut, 2 * reach)
        depths = np.broadcast_to([outer.z0, outer.z1], (len(cut), 2))
        out[cut] = prism_images(shapely.intersection(outer.polygon, cutters), depths, *scene.before(b, frames[cut]))
    return out


@dataclass(frozen=True, eq=False)
class _Chord:
    """Between a body's outermost corners in plan as the camera sees it, in the coordinates of another solid."""

    left: Floats
    """(n, 2)"""
    right: Floats
    toward: Floats
    """(n, 2) unit normal toward the camera."""
    stand: Floats
    """(n, 3) where the camera stands in plan: (x, y, 1), or (toward the camera, 0)."""
    faced: Bools
    """(n,) whether there is one: a camera right above or below sees nothing beside the body before it."""


def _chord(scene: Scene, body: _Body, solid: int, frames: Ints) -> _Chord:
    row = np.arange(len(frames))
    shift = _shift(scene, body.key[0], solid, frames)
    ring = body.hull.ring + shift[:, None, :]
    eye = scene.eyes[frames]
    finite = eye[:, 3:]
    stand = eye[:, :2] - finite * scene.displacements[solid, frames, :2]
    ahead = stand - finite * ring.mean(axis=1)
    sight = stand[:, None, :] - finite[:, None] * ring
    turn = np.arctan2(_cross(ahead[:, None], sight), (ahead[:, None] * sight).sum(axis=2))
    # From a parallel camera all corners are seen in one direction; across it they differ.
    turn = np.where(finite == 0, _cross(ring, ahead[:, None]), turn)
    left, right = ring[row, turn.argmin(axis=1)], ring[row, turn.argmax(axis=1)]
    along = right - left
    length = np.hypot(along[:, 0], along[:, 1])
    toward = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.maximum(length, LEVEL)[:, None]
    toward *= np.sign((toward * (stand - finite * left)).sum(axis=1))[:, None]
    normals, offset = body.hull.walls
    outside = ((stand - finite * shift) @ normals.T - finite * offset > LEVEL).any(axis=1)
    return _Chord(left, right, toward, np.concatenate([stand, finite], axis=1), outside & (length > LEVEL))


def _half_planes(chord: _Chord, rows: Ints, reach: float) -> Shapes:
    """Rectangles that stand in for the half planes on the camera's side."""
    toward = chord.toward[rows]
    along = np.stack([toward[:, 1], -toward[:, 0]], axis=1) * reach
    middle, out = (chord.left[rows] + chord.right[rows]) / 2, toward * reach
    corners = [middle - along, middle + along, middle + along + out, middle - along + out]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)))


def _before_chords(chord: _Chord, rows: Ints, reach: float) -> Shapes:
    """Strips, or triangles, between each chord and the camera: a trifle wide, so as to leave no slivers."""
    trifle = (chord.right - chord.left)[rows] * 0.01
    left, right, stand = chord.left[rows] - trifle, chord.right[rows] + trifle, chord.stand[rows]
    far = [end + stand[:, :2] / np.hypot(*stand[:, :2].T)[:, None] * reach for end in (left, right)]
    apex = stand[:, :2]
    parallel = stand[:, 2:] == 0
    corners = [left, np.where(parallel, far[0], apex), np.where(parallel, far[1], apex), right]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)))


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


_HIDDEN: dict[Way, Callable[[Scene, _Body, tuple[int, int], Ints], Shapes]] = {
    Way.ALL: _all_of_it,
    Way.BESIDE_OPENING: _beside_opening,
    Way.NEAR_PART: _near_part,
    Way.IN_OPENING: _in_opening,
    Way.BUT_NEAR_PART: _but_near_part,
    Way.BY_PRISMS: _by_prisms,
}
