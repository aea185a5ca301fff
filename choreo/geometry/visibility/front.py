"""Which of two solids stands in front: what separating planes settle.

A line of sight meets two solids that do not overlap in separate stretches, so one of them has the nearest
surface. Where a plane keeps the solids apart, the one on the camera's side of it is nearer wherever both are
seen. For prisms along z that plane is one of few: horizontal between their depths, or upright along an edge
of one of their plans (the separating axes of two convex prisms are z and the normals of their walls). So most
pairs are settled for all frames at once by a table of numbers, without any polygon arithmetic. What is left is
asked again piece by piece (a piece is one polygon of one band); `choreo.geometry.visibility.cover` takes it from there.

Solids may reach into each other by `touch_mm`. A plane then still counts as keeping them apart, and of several
the one with the widest gap is taken. Of two that are pressed into each other along z, each owns what lies on its
side of the plane in the middle of what they share.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from choreo.geometry.visibility.scene import Bools, Ints, Prism, Scene, boxes_apart
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
    """Each is in front somewhere, or may be."""


@dataclass(frozen=True, eq=False)
class Relation:
    """How solid a stands to solid b, frame by frame."""

    a: int
    b: int
    code: Codes
    """(frames,)"""
    pieces: Codes
    """(pieces of a, pieces of b, frames); sound on MIXED frames only."""


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
    pieces = np.zeros((len(scene.pieces[a]), len(scene.pieces[b]), scene.frames), dtype=np.int8)
    met = np.flatnonzero(~scene.apart(a, b))
    if not met.size:
        return Relation(a, b, code, pieces)
    parted, code[met] = _sides(scene, scene.hulls[a], scene.hulls[b], a, b, met)
    unsettled = met[~parted]
    if not unsettled.size:
        return Relation(a, b, code, pieces)
    for i, p in enumerate(scene.pieces[a]):
        for j, q in enumerate(scene.pieces[b]):
            there = unsettled[~boxes_apart(scene.boxes[a][i], scene.boxes[b][j])[unsettled]]
            if there.size:
                parted, pieces[i, j, there] = _sides(scene, p.hull, q.hull, a, b, there)
                pieces[i, j, there[~parted]] = Front.MIXED
    # From straight above or below, what stands beside another thing hides none of it.
    beside = unsettled[~scene.eyes[unsettled][:, [0, 1, 3]].any(axis=1)]
    pieces[:, :, beside] = np.where(pieces[:, :, beside] == Front.MIXED, Front.APART, pieces[:, :, beside])
    code[unsettled] = in_common(pieces[:, :, unsettled].reshape(-1, len(unsettled)))
    return Relation(a, b, code, pieces)


def flipped(found: Relation) -> Relation:
    """Return the same relation seen from the other solid."""
    return Relation(found.b, found.a, _SWAP[found.code], _SWAP[np.swapaxes(found.pieces, 0, 1)])


def in_common(table: Codes) -> Codes:
    """Return the word that all rows of (rows, n) agree on, APART ones aside; MIXED where they do not."""
    seen = table != Front.APART
    agree = [
        ~seen.any(axis=0),
        (~seen | (table == Front.FIRST)).all(axis=0),
        (~seen | (table == Front.SECOND)).all(axis=0),
    ]
    return np.select(agree, [Front.APART, Front.FIRST, Front.SECOND], Front.MIXED).astype(np.int8)


LEVEL = 1e-9
"""How far off a plane (mm) a camera must stand, or a parallel one look (sine), to be on one side of it."""

_SWAP = np.array([Front.APART, Front.SECOND, Front.FIRST, Front.MIXED], dtype=np.int8)


def _sides(scene: Scene, p: Prism, q: Prism, a: int, b: int, frames: Ints) -> tuple[Bools, Codes]:
    """Whether (n,) a plane keeps two displaced convex prisms apart, and which is on the camera's side of the best.

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
    gap = low_now - high_now
    best = gap.argmax(axis=1)
    row = np.arange(len(best))
    parted = gap[row, best] >= -scene.touch_mm
    if (a, b) in scene.pressed:
        on_other = ~parted & _stands_on(gap[:, -2:], p, q, scene.touch_mm + scene.pressed[a, b])
        best = np.where(on_other, len(normals) - 2 + gap[:, -2:].argmax(axis=1), best)
        parted |= on_other
    high_best, low_best = high_now[row, best], low_now[row, best]
    eye = scene.eyes[frames]
    side = (normals[best] * eye[:, :3]).sum(axis=1) - (high_best + low_best) / 2 * eye[:, 3]
    code = np.select([side < -LEVEL, side > LEVEL], [Front.FIRST, Front.SECOND], Front.APART)
    return parted, code.astype(np.int8)


def _stands_on(gaps: Floats, p: Prism, q: Prism, most: float) -> Bools:
    """Whether (n,) one of two prisms is pressed into the other's face, by (n, 2) gaps above and below.

    Then each owns its side of the middle of what they share. A thin prism that the other embraces does not stand on it.
    """
    shared = -gaps.max(axis=1)
    return np.asarray((shared <= most) & (shared < min(p.z1 - p.z0, q.z1 - q.z0)))
