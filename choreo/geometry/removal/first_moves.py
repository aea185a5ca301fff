"""Which first moves of a part its contacts bar: the blocking graph of infinitesimal translations.

Two convex pieces that touch along faces bar the directions that lead into all of these faces at once (Wilson and
Latombe 1994, section 4). Nothing farther away counts, so what is free here may be barred a little later. And where
there is play, a part can rattle in directions that are barred here: this is a guide to which groups may move, and
no proof that others cannot.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product

import numpy as np

from choreo.geometry.collision.encounter import Encounters
from choreo.geometry.collision.obstacle import obstacle
from choreo.geometry.removal.blocking import Blocking, assembled
from choreo.model.plan import Floats

_FLUSH = 1e-6
"""mm; faces no deeper in each other than this still touch."""


def find_first_moves(encounters: Encounters, parts: Sequence[str]) -> Blocking:
    """Return who bars whose first move, in the plane and along z.

    Parameters
    ----------
    encounters : Encounters
        Shapes of all pairs; faces no farther apart than what may touch are in contact.
    parts : sequence of str
        In file order.

    Returns
    -------
    Blocking
        Its arcs and cells are of first moves, not of whole ways.

    """
    who: list[tuple[int, int]] = []
    arcs: list[tuple[float, float]] = []
    above = np.zeros((len(parts), len(parts)), dtype=bool)
    for i, j in combinations(range(len(parts)), 2):
        for faces in _touching(encounters, parts[i], parts[j]):
            normals, (up, down) = faces[:-2], np.any(faces[-2:] != 0, axis=1)
            if not len(normals):
                # The other lies on one side along z: only a move to there is barred.
                above[i, j] |= bool(up)
                above[j, i] |= bool(down)
            elif not up and not down:
                arc = _into_all(normals)
                if arc is not None:
                    who.append((i, j))
                    arcs.append(arc)
    return assembled(parts, np.array(who, dtype=np.intp).reshape(-1, 2), np.array(arcs).reshape(-1, 2), above)


def _touching(encounters: Encounters, mover: str, other: str) -> list[Floats]:
    """For each pair of pieces in contact: the faces that keep them apart, the last two rows along +z and -z or zero."""
    one, two = encounters.pair(mover, other)
    reach, found = encounters.touch_mm + _FLUSH, []
    near = np.all((one.boxes[:, None, 1] + reach >= two.boxes[None, :, 0])
                  & (two.boxes[None, :, 1] + reach >= one.boxes[:, None, 0]), axis=2)  # fmt: skip
    for k, m in product(*map(range, near.shape)):
        if not near[k, m]:
            continue
        band, still = one.solid.bands[k], two.solid.bands[m]
        depths = (band.z0 - still.z1, band.z1 - still.z0)
        ob = obstacle(one.pieces(k), two.pieces(m), depths, np.zeros(2), np.zeros(2), reach)
        # Shrunk solids of parts in contact stand apart by what may touch, at most.
        for normals, offsets in zip(ob.normals, ob.offsets, strict=True):
            if np.all(offsets >= 0):
                real = np.any(normals != 0, axis=1) & (offsets - reach <= 0)
                found.append(np.concatenate([normals[:-2][real[:-2]], normals[-2:] * real[-2:, None]]))
    return found


def _into_all(normals: Floats) -> tuple[float, float] | None:
    """The open arc of directions that lead into all of some faces (n, 3); None if there is none."""
    angles = np.arctan2(normals[:, 1], normals[:, 0])
    lean = np.mod(angles - angles[0] + np.pi, 2 * np.pi) - np.pi
    start, end = float(lean.max() - np.pi / 2), float(lean.min() + np.pi / 2)
    return (start + float(angles[0]), end + float(angles[0])) if end - start > _FLUSH else None
