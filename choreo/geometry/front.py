"""Which of two solids stands in front, and where on the screen.

A line of sight meets two solids that do not overlap in separate stretches, so one of them has the nearest
surface. Where a plane keeps the solids apart, the one on the camera's side of it is nearer wherever both are
seen. For prisms along z that plane is one of few: horizontal between their depths, or upright along an edge
of one of their plans (the separating axes of two convex prisms are z and the normals of their walls). So most
pairs are settled for all frames at once by a table of numbers, without any polygon arithmetic.

What such a plane does not settle is settled piece by piece (a piece is one polygon of one band):

- Piece a sits in a convex hole H of piece b. On its way to the camera a line of sight leaves H, as if H went
  on for ever along z, in one of two ways: through H's wall beside b, and then b is in front; or not, and then
  it is not. It does not exactly where it meets H somewhere between b's face toward the camera and the far end
  of a. So b is in front of a wherever the screen shows b and not that stretch of H, which is a convex prism
  with a hull for an image. (H being convex, a line that has left it never comes back.)
- Otherwise both are cut into convex prisms, and a plane as above settles every pair of these. Holes that do
  not hold the other piece are filled first: a line of sight that enters such a hole and comes out sideways
  has met the material around it, and one that comes out through a face has left the piece's depths for good.

From "b is in front of a here" for all pieces follows where solid A is in front of B: where some piece of A is
seen before every piece of B.

Solids may reach into each other by `touch_mm`. A plane then still counts as keeping them apart, and of several
the one with the widest gap is taken.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import shapely
from numpy.typing import NDArray

from choreo.geometry.camera import Camera
from choreo.geometry.regions import NOTHING, common, joined, minus
from choreo.geometry.scene import Bools, Ints, Piece, Prism, Scene, Shapes, boxes_apart
from choreo.model.plan import Floats

Codes = NDArray[np.int8]


class Front(IntEnum):
    """How two solids, or two pieces, stand to each other before the camera."""

    APART = 0
    """Neither hides any of the other: their screen boxes are apart, or a plane through the camera parts them."""
    FIRST = 1
    """The first is in front wherever both are seen."""
    SECOND = 2
    MIXED = 3
    """Solids: each is in front somewhere, or may be. Pieces: to be cut into convex prisms."""
    IN_SECOND = 4
    """Pieces only: the first sits in a convex hole of the second."""
    IN_FIRST = 5


@dataclass(frozen=True, eq=False)
class PieceRelation:
    """How piece i of one solid stands to piece j of another, frame by frame."""

    code: Codes
    """(frames,)"""
    hole: Ints
    """(frames,) the hole of the outer piece that holds the other; -1 where none does."""
    outer_first: Bools
    """(frames,) whether that hole is one of the first piece."""


@dataclass(frozen=True, eq=False)
class Relation:
    """How solid a stands to solid b, frame by frame."""

    a: int
    b: int
    code: Codes
    """(frames,)"""
    pieces: tuple[tuple[PieceRelation, ...], ...]
    """``pieces[i][j]``; empty where `code` is never MIXED. Sound on MIXED frames only."""


def relation(scene: Scene, a: int, b: int) -> Relation:
    """Return how two solids stand to each other on every frame.

    Parameters
    ----------
    scene : Scene
    a, b : int
        Solids of the scene; they may touch but must not collide.

    Returns
    -------
    Relation
        APART, FIRST, SECOND or MIXED a frame.

    """
    code = np.full(scene.frames, Front.APART, dtype=np.int8)
    met = np.flatnonzero(~scene.apart(a, b))
    if not met.size:
        return Relation(a, b, code, ())
    gap, code[met] = _sides(scene, scene.hulls[a], scene.hulls[b], a, b, met)
    open_question = met[gap < -scene.touch_mm]
    if not open_question.size:
        return Relation(a, b, code, ())
    pieces = tuple(
        tuple(_piece_relation(scene, (a, i), (b, j), open_question) for j in range(len(scene.pieces[b])))
        for i in range(len(scene.pieces[a]))
    )
    table = np.array([[p.code for p in row] for row in pieces]).reshape(-1, scene.frames)[:, open_question]
    seen = table != Front.APART
    code[open_question] = np.select(
        [
            ~seen.any(axis=0),
            (~seen | (table == Front.FIRST)).all(axis=0),
            (~seen | (table == Front.SECOND)).all(axis=0),
        ],
        [Front.APART, Front.FIRST, Front.SECOND],
        Front.MIXED,
    )
    return Relation(a, b, code, pieces if (code == Front.MIXED).any() else ())


def flipped(found: Relation) -> Relation:
    """Return the same relation seen from the other solid."""
    rows = range(len(found.pieces[0])) if found.pieces else ()
    pieces = tuple(tuple(_flipped_piece(row[j]) for row in found.pieces) for j in rows)
    return Relation(found.b, found.a, _SWAP[found.code], pieces)


def unhidden_region(scene: Scene, found: Relation, frames: Ints) -> Shapes:
    """Return the first solid's silhouette less where the second solid hides it.

    Where both are seen, the first is the nearer one inside this region, and the second outside of it.

    Parameters
    ----------
    scene : Scene
    found : Relation
    frames : array of int
        MIXED ones.

    """
    seen = [_piece_unhidden(scene, found, i, frames) for i in range(len(scene.pieces[found.a]))]
    return seen[0] if len(seen) == 1 else joined(seen)


def cover_region(scene: Scene, found: Relation, frames: Ints) -> Shapes:
    """Return where a piece of the second solid stands, or would stand, in front of some piece of the first.

    Not cut along the first solid's outline. Where the second is in front as a whole it is its silhouette.
    """
    out = np.full(len(frames), NOTHING, dtype=np.object_)
    code = found.code[frames]
    whole = np.flatnonzero(code == Front.SECOND)
    out[whole] = scene.silhouette((found.b,), frames[whole])
    mixed = np.flatnonzero(code == Front.MIXED)
    if mixed.size:
        layers = []
        for i, j in itertools.product(range(len(scene.pieces[found.a])), range(len(scene.pieces[found.b]))):
            layer = np.full(len(mixed), None, dtype=np.object_)
            for word, rows in _by_word(found.pieces[i][j], frames[mixed]):
                layer[rows] = _HIDERS[word](scene, (found.a, i), (found.b, j), found.pieces[i][j], frames[mixed][rows])
            if not shapely.is_missing(layer).all():
                layers.append(layer)
        out[mixed] = joined(layers)
    return out


_LEVEL = 1e-9
"""How far off a plane (mm) a camera must stand, or a parallel one look (sine), to be on one side of it."""

_SWAP = np.array([Front.APART, Front.SECOND, Front.FIRST, Front.MIXED, Front.IN_FIRST, Front.IN_SECOND], dtype=np.int8)


def _flipped_piece(found: PieceRelation) -> PieceRelation:
    return PieceRelation(_SWAP[found.code], found.hole, ~found.outer_first)


def _sides(scene: Scene, p: Prism, q: Prism, a: int, b: int, frames: Ints) -> tuple[Floats, Codes]:
    """Widest gap (n,) between two displaced convex prisms, mm, and which of them is on the camera's side of it.

    APART where the camera stands in the very plane between them: then neither hides any of the other.
    """
    of_p, high_p = p.walls
    of_q, high_q = q.walls
    # Unit normals that point from p toward q; p ends at `high`, q begins at `low`.
    flat = np.concatenate([of_p, -of_q])
    normals = np.column_stack([flat, np.zeros(len(flat))])
    normals = np.concatenate([normals, [[0, 0, 1], [0, 0, -1]]])
    high = np.concatenate([high_p, -(p.ring @ of_q.T).min(axis=0), [p.z1, -p.z0]])
    low = np.concatenate([(q.ring @ of_p.T).min(axis=0), -high_q, [q.z0, -q.z1]])
    high_now = high + scene.displacements[a][frames] @ normals.T
    low_now = low + scene.displacements[b][frames] @ normals.T
    best = (low_now - high_now).argmax(axis=1)
    row = np.arange(len(best))
    high_best, low_best = high_now[row, best], low_now[row, best]
    eye = scene.eyes[frames]
    side = (normals[best] * eye[:, :3]).sum(axis=1) - (high_best + low_best) / 2 * eye[:, 3]
    code = np.select([side < -_LEVEL, side > _LEVEL], [Front.FIRST, Front.SECOND], Front.APART)
    return low_best - high_best, code.astype(np.int8)


def _piece_relation(scene: Scene, first: tuple[int, int], second: tuple[int, int], frames: Ints) -> PieceRelation:
    """Relation of two pieces on `frames`; elsewhere it says APART."""
    (a, i), (b, j) = first, second
    p, q = scene.pieces[a][i], scene.pieces[b][j]
    code = np.full(scene.frames, Front.APART, dtype=np.int8)
    hole = np.full(scene.frames, -1, dtype=np.int64)
    outer_first = np.zeros(scene.frames, dtype=np.bool_)
    frames = frames[~boxes_apart(scene.boxes[a][i], scene.boxes[b][j])[frames]]
    if frames.size:
        gap, code[frames] = _sides(scene, p.hull, q.hull, a, b, frames)
        frames = frames[gap < -scene.touch_mm]
    if frames.size:
        code[frames] = Front.MIXED
        shift = (scene.displacements[a] - scene.displacements[b])[:, :2]
        hole[frames] = _holding(q, p.inner + shift[frames])
        left = frames[hole[frames] < 0]
        hole[left] = _holding(p, q.inner - shift[left])
        outer_first[left] = hole[left] >= 0
        _mark_convex(scene, code, hole, outer_first, frames, first, second)
    return PieceRelation(code, hole, outer_first)


def _holding(outer: Piece, points: Floats) -> Ints:
    """Index (n,) of the hole of `outer` that holds each point, -1 where none does."""
    out = np.full(len(points), -1, dtype=np.int64)
    for index, ring in enumerate(outer.holes):
        polygon = shapely.Polygon(ring)
        shapely.prepare(polygon)
        out[shapely.contains_xy(polygon, points[:, 0], points[:, 1])] = index
    return out


def _mark_convex(
    scene: Scene,
    code: Codes,
    hole: Ints,
    outer_first: Bools,
    frames: Ints,
    first: tuple[int, int],
    second: tuple[int, int],
) -> None:
    """Turn MIXED into IN_SECOND or IN_FIRST where the hole is convex and the camera sees into it."""
    for outer, inner, chosen, word in (
        (second, first, frames[(hole[frames] >= 0) & ~outer_first[frames]], Front.IN_SECOND),
        (first, second, frames[(hole[frames] >= 0) & outer_first[frames]], Front.IN_FIRST),
    ):
        piece = scene.pieces[outer[0]][outer[1]]
        for index in np.unique(hole[chosen]):
            if not piece.convex_holes[index]:
                continue
            there = chosen[hole[chosen] == index]
            from_z, to_z, clear = _stretch(scene, outer, inner, there)
            ring = _at_depths(scene, piece.holes[index], outer[0], there, [from_z, to_z])
            depth = scene.project(ring, there)[1].min(axis=1)
            code[there[clear & (depth > Camera.near)]] = word


def _stretch(
    scene: Scene, outer: tuple[int, int], inner: tuple[int, int], frames: Ints
) -> tuple[Floats, Floats, Bools]:
    """Depths from the outer piece's face toward the camera to the end of the inner one beyond it, if beyond.

    The third array says where there is such a face: the camera does not stand between the planes of the two.
    """
    o, p = scene.pieces[outer[0]][outer[1]], scene.pieces[inner[0]][inner[1]]
    dz_o, dz_p = scene.displacements[outer[0], frames, 2], scene.displacements[inner[0], frames, 2]
    eye = scene.eyes[frames]
    end_above = np.maximum(o.z1 + dz_o, p.z1 + dz_p)
    end_below = np.minimum(o.z0 + dz_o, p.z0 + dz_p)
    above = eye[:, 2] - end_above * eye[:, 3] > _LEVEL
    below = eye[:, 2] - end_below * eye[:, 3] < -_LEVEL
    face = np.where(above, o.z1 + dz_o, o.z0 + dz_o)
    return face, np.where(above, end_above, end_below), above | below


def _at_depths(scene: Scene, ring: Floats, solid: int, frames: Ints, depths: list[Floats]) -> Floats:
    """Points (frames, m, 3): the ring, displaced with its solid in the plane, at each of the depths (frames,)."""
    plan = ring + scene.displacements[solid, frames, None, :2]
    levels = [np.dstack([plan, np.broadcast_to(z[:, None], plan.shape[:2])]) for z in depths]
    return np.concatenate(levels, axis=1)


def _piece_unhidden(scene: Scene, found: Relation, i: int, frames: Ints) -> Shapes:
    """Piece i of the first solid less where a piece of the second hides it."""
    out = scene.silhouette((found.a, i), frames).copy()
    for j in range(len(scene.pieces[found.b])):
        part = found.pieces[i][j]
        pair = (scene, (found.a, i), (found.b, j), part)
        for word, rows in _by_word(part, frames):
            if word == Front.IN_SECOND:
                # Where the inner piece does not stick out behind, no line of sight to it misses both the
                # opening and the material beside it.
                ends = _ends_within(scene, (found.a, i), (found.b, j), frames[rows])
                within, others = rows[ends], rows[~ends]
                out[within] = common(out[within], _opening(scene, (found.b, j), (found.a, i), part, frames[within]))
            else:
                others = rows
            if others.size:
                out[others] = minus(out[others], _HIDERS[word](*pair, frames[others]))
    return out


def _by_word(part: PieceRelation, frames: Ints) -> list[tuple[Front, Ints]]:
    """Rows of `frames` on which the second piece hides some of the first, by how it does."""
    code = part.code[frames]
    words = [(word, np.flatnonzero(code == word)) for word in _HIDERS]
    return [(word, rows) for word, rows in words if rows.size]


def _ends_within(scene: Scene, inner: tuple[int, int], outer: tuple[int, int], frames: Ints) -> Bools:
    """Whether the inner piece does not stick out of the outer one on the side away from the camera."""
    p, o = scene.pieces[inner[0]][inner[1]], scene.pieces[outer[0]][outer[1]]
    rise = scene.displacements[inner[0], frames, 2] - scene.displacements[outer[0], frames, 2]
    eye = scene.eyes[frames]
    above = eye[:, 2] > (o.z1 + scene.displacements[outer[0], frames, 2]) * eye[:, 3]
    return np.asarray(np.where(above, p.z0 + rise >= o.z0, p.z1 + rise <= o.z1))


def _all_of_it(
    scene: Scene, first: tuple[int, int], second: tuple[int, int], found: PieceRelation, frames: Ints
) -> Shapes:
    """The second piece hides the first wherever it is seen."""
    del first, found
    return scene.silhouette(second, frames)


def _beside_opening(
    scene: Scene, first: tuple[int, int], second: tuple[int, int], found: PieceRelation, frames: Ints
) -> Shapes:
    """The first piece sits in a hole of the second: hidden but for what shows through the opening."""
    opening = _opening(scene, second, first, found, frames)
    return minus(scene.silhouette(second, frames), opening)


def _in_opening(
    scene: Scene, first: tuple[int, int], second: tuple[int, int], found: PieceRelation, frames: Ints
) -> Shapes:
    """The second piece sits in a hole of the first: it hides where it shows through the opening."""
    opening = _opening(scene, first, second, found, frames)
    return common(scene.silhouette(second, frames), opening)


def _opening(
    scene: Scene, outer: tuple[int, int], inner: tuple[int, int], found: PieceRelation, frames: Ints
) -> Shapes:
    """Image of the stretch of the hole from the face toward the camera to the inner piece's end beyond it."""
    out = np.full(len(frames), None, dtype=np.object_)
    face, end, _ = _stretch(scene, outer, inner, frames)
    piece = scene.pieces[outer[0]][outer[1]]
    for index in np.unique(found.hole[frames]):
        for rows, depths in (
            (np.flatnonzero((found.hole[frames] == index) & (face == end)), [face]),
            (np.flatnonzero((found.hole[frames] == index) & (face != end)), [face, end]),
        ):
            if rows.size:
                ring = _at_depths(scene, piece.holes[index], outer[0], frames[rows], [z[rows] for z in depths])
                pixels, _ = scene.project(ring, frames[rows])
                # A flat convex ring has a convex image; the hull of two needs working out.
                out[rows] = (
                    shapely.polygons(pixels) if len(depths) == 1 else shapely.convex_hull(shapely.multipoints(pixels))
                )
    return out


def _by_prisms(
    scene: Scene, first: tuple[int, int], second: tuple[int, int], found: PieceRelation, frames: Ints
) -> Shapes:
    """Where the second piece hides the first, both cut into convex prisms."""
    out = np.full(len(frames), None, dtype=np.object_)
    hole_first = np.where(found.outer_first[frames], found.hole[frames], -1)
    hole_second = np.where(found.outer_first[frames], -1, found.hole[frames])
    kept = np.column_stack([hole_first, hole_second])
    for h, k in np.unique(kept, axis=0):
        rows = np.flatnonzero((kept == [h, k]).all(axis=1))
        out[rows] = _by_prisms_with(scene, (*first, int(h)), (*second, int(k)), frames[rows])
    return out


def _by_prisms_with(scene: Scene, first: tuple[int, int, int], second: tuple[int, int, int], frames: Ints) -> Shapes:
    of_first, of_second = scene.prisms(*first), scene.prisms(*second)
    shapes = [scene.silhouette((*second, k), frames) for k in range(len(of_second))]
    seen: list[Shapes] = []
    hidden = np.full(len(frames), NOTHING, dtype=np.object_)
    for m, p in enumerate(of_first):
        before = []
        for q, shape in zip(of_second, shapes, strict=True):
            behind = _sides(scene, p, q, first[0], second[0], frames)[1] != Front.SECOND
            before.append(shape.copy())
            before[-1][behind] = None
        hidden = joined(before)
        if len(of_first) > 1:
            seen.append(minus(scene.silhouette((*first, m), frames), hidden))
    return hidden if len(of_first) == 1 else minus(scene.silhouette(second[:2], frames), joined(seen))


_HIDERS: dict[Front, Callable[..., Shapes]] = {
    Front.SECOND: _all_of_it,
    Front.IN_SECOND: _beside_opening,
    Front.IN_FIRST: _in_opening,
    Front.MIXED: _by_prisms,
}
"""Where the second piece hides the first, by their relation."""
