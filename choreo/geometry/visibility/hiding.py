"""Shapes on the screen by which a piece hides a body: openings of holes, and what lies before a chord.

The rules are those of `choreo.geometry.visibility.cover`; here is what each of them covers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import shapely

from choreo.geometry.cameras.prism_image import prism_images
from choreo.geometry.plane.regions import common, joined, minus
from choreo.geometry.visibility.front import LEVEL, Codes
from choreo.geometry.visibility.scene import Bools, Ints, Key, Prism, Scene, Shapes
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


HAIR_MM = 1e-6
"""What of a piece is thinner than this before a chord came out of rounding."""


@dataclass(frozen=True, eq=False)
class Body:
    """A solid, or a piece or prism of it, and the prism around it."""

    key: Key
    hull: Prism


def hidden_on(
    scene: Scene, body: Body, piece: tuple[int, int], way: Codes, frames: Ints, *, wide: bool = False
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


def plan_shift(scene: Scene, first: int, second: int, frames: Ints) -> Floats:
    """Displacement in plan (n, 2) of the first solid against the second."""
    return np.asarray((scene.displacements[first, frames] - scene.displacements[second, frames])[:, :2])


def holding(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Ints:
    """Index (n,) of the convex hole of the piece that holds the body's plan, -1 where none does."""
    outer = scene.pieces[piece[0]][piece[1]]
    out = np.full(len(frames), -1, dtype=np.int64)
    shift = plan_shift(scene, body.key[0], piece[0], frames)
    for index, ring in enumerate(outer.hole_hulls):
        if ring is not None:
            normals, offset = ring.walls
            reach = (body.hull.ring @ normals.T).max(axis=0) + shift @ normals.T
            out[(reach <= offset + scene.touch_mm).all(axis=1)] = index
    return out


def stretch(scene: Scene, piece: tuple[int, int], body: Body, frames: Ints) -> tuple[Floats, Floats, Bools]:
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


def ends_within(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Bools:
    """Whether the body does not stick out of the piece on the side away from the camera."""
    p, o = body.hull, scene.pieces[piece[0]][piece[1]]
    rise = scene.displacements[body.key[0], frames, 2] - scene.displacements[piece[0], frames, 2]
    eye = scene.eyes[frames]
    above = eye[:, 2] > (o.z1 + scene.displacements[piece[0], frames, 2]) * eye[:, 3]
    return np.asarray(np.where(above, p.z0 + rise >= o.z0, p.z1 + rise <= o.z1))


def at_depths(scene: Scene, ring: Floats, solid: int, frames: Ints, depths: list[Floats]) -> Floats:
    """Points (n, m, 3): the ring, displaced with its solid in the plane, at each of the depths (n,)."""
    plan = ring + scene.displacements[solid, frames, None, :2]
    levels = [np.dstack([plan, np.broadcast_to(z[:, None], plan.shape[:2])]) for z in depths]
    return np.concatenate(levels, axis=1)


def opening_image(scene: Scene, piece: tuple[int, int], body: Body, frames: Ints) -> Shapes:
    """Image of the stretch of the hole from the face toward the camera to the body's end beyond it."""
    out = np.full(len(frames), None, dtype=np.object_)
    face, end, _ = stretch(scene, piece, body, frames)
    hole = holding(scene, body, piece, frames)
    for index in np.unique(hole):
        ring = scene.pieces[piece[0]][piece[1]].holes[index]
        flat, deep = np.flatnonzero((hole == index) & (face == end)), np.flatnonzero((hole == index) & (face != end))
        if flat.size:
            # A flat convex ring has a convex image; the hull of two needs working out.
            pixels, _ = scene.project(at_depths(scene, ring, piece[0], frames[flat], [face[flat]]), frames[flat])
            out[flat] = shapely.polygons(pixels)
        if deep.size:
            both = at_depths(scene, ring, piece[0], frames[deep], [face[deep], end[deep]])
            pixels, _ = scene.project(both, frames[deep])
            out[deep] = shapely.convex_hull(shapely.multipoints(pixels))
    return out


def _all_of_it(scene: Scene, _body: Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    return scene.silhouette(piece, frames)


def _beside_opening(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    return minus(scene.silhouette(piece, frames), opening_image(scene, piece, body, frames))


def _in_opening(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    """The piece sits in a hole of the body, which is a piece too."""
    inner = Body(piece, scene.pieces[piece[0]][piece[1]].hull)
    return common(scene.silhouette(piece, frames), opening_image(scene, _as_piece(body), inner, frames))


def _but_near_part(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    """The near part of the body, cut along the piece's chord, is in front; the piece is elsewhere."""
    inner = Body(piece, scene.pieces[piece[0]][piece[1]].hull)
    return minus(scene.silhouette(piece, frames), _near_part(scene, inner, _as_piece(body), frames))


def _by_prisms(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints) -> Shapes:
    """All of the piece but where some prism of the body is seen before it."""
    a, i = _as_piece(body)
    b, j = piece
    out = np.full(len(frames), None, dtype=np.object_)
    inner = scene.pieces[b][j].inner + plan_shift(scene, b, a, frames)
    hole = scene.pieces[a][i].hole_at(inner)
    for kept in np.unique(hole):
        rows = np.flatnonzero(hole == kept)
        there = frames[rows]
        seen = []
        for m, prism in enumerate(scene.prisms(a, i, int(kept))):
            part = Body((a, i, int(kept), m), prism)
            seen.append(minus(scene.silhouette(part.key, there), _near_part(scene, part, piece, there)))
        out[rows] = minus(scene.silhouette(piece, there), joined(seen))
    return out


def _as_piece(body: Body) -> tuple[int, int]:
    """Solid and piece of a body that is one piece; a solid of one piece counts."""
    return body.key[0], body.key[1] if len(body.key) > 1 else 0


def _near_part(scene: Scene, body: Body, piece: tuple[int, int], frames: Ints, *, wide: bool = False) -> Shapes:
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
        plans = shapely.polygons(body.hull.ring + plan_shift(scene, body.key[0], b, frames[cut])[:, None])
        met = np.flatnonzero(shapely.dwithin(plans, outer.polygon, HAIR_MM))
        if met.size:
            # Walls that coincide, or reach into each other as parts that touch may, are no part of what is nearer:
            # left in, a hairline along the chord would have the whole upright wall for an image.
            pulled = _pulled(cutters[met], chord.toward[cut[met]] * HAIR_MM)
            cutters[met] = shapely.difference(pulled, plans[met])
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


def _chord(scene: Scene, body: Body, solid: int, frames: Ints) -> _Chord:
    row = np.arange(len(frames))
    shift = plan_shift(scene, body.key[0], solid, frames)
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


def _pulled(shapes: Shapes, shifts: Floats) -> Shapes:
    """Shapes moved by (n, 2) mm."""
    points, row = shapely.get_coordinates(shapes, return_index=True)
    return np.asarray(shapely.set_coordinates(shapes.copy(), points + shifts[row]))


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


_HIDDEN: dict[Way, Callable[[Scene, Body, tuple[int, int], Ints], Shapes]] = {
    Way.ALL: _all_of_it,
    Way.BESIDE_OPENING: _beside_opening,
    Way.NEAR_PART: _near_part,
    Way.IN_OPENING: _in_opening,
    Way.BUT_NEAR_PART: _but_near_part,
    Way.BY_PRISMS: _by_prisms,
}
