"""Work out what the camera sees of each part on each frame.

In:  solids, cameras, displacements of one shot      Out: Visibility

Only how each pair of parts stands to each other is settled here; regions are worked out when asked for, for
most questions about layer order are settled without any.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import Turns, turned
from choreo.geometry.visibility.front import Front, Relation, flipped, relation
from choreo.geometry.visibility.scene import build_scene, first_alike
from choreo.geometry.visibility.sight import Seen, Visibility
from choreo.geometry.visibility.sight_turning import Pieced
from choreo.model.plan import Floats


def visibility(
    solids: Sequence[Solid],
    cameras: Floats,
    displacements: Floats,
    touch_mm: float,
    turns: Mapping[int, Turns] = MappingProxyType({}),
    pressed: Mapping[tuple[int, int], float] = MappingProxyType({}),
) -> Seen:
    """Return what the camera sees of each part on each frame.

    Exact: regions are bounded by images of edges, not by samples.

    Parameters
    ----------
    solids : sequence of Solid
        One a part, in place, mm; none of them empty.
    cameras : (frames, 3, 4) array
    displacements : (parts, frames, 3) array
        From the assembled position, mm. No two parts collide on any frame.
    touch_mm : float
        How far two parts may reach into each other, mm.
    turns : mapping of number to Turns
        Of the parts that spin.
    pressed : mapping of two numbers to float
        Pairs of parts that may reach into each other by half of that more, mm.

    """
    if not turns:
        return _look(solids, cameras, displacements, touch_mm, pressed)
    angles = np.stack([turn.degrees for turn in turns.values()], axis=1)
    first = first_alike(angles)
    pieces = []
    for frame in np.unique(first).tolist():
        frames = np.flatnonzero(first == frame)
        stood = list(solids)
        for part, turn in turns.items():
            stood[part] = turned(solids[part], turn.axis, float(turn.degrees[frame]))
        pieces.append((frames, _look(stood, cameras[frames], displacements[:, frames], touch_mm, pressed)))
    return Pieced(tuple(pieces), cameras)


def _look(
    solids: Sequence[Solid],
    cameras: Floats,
    displacements: Floats,
    touch_mm: float,
    pressed: Mapping[tuple[int, int], float],
) -> Visibility:
    more = {pair: press_mm / 2 for pair, press_mm in pressed.items()}
    scene = build_scene(solids, cameras, displacements, touch_mm, more)
    count = len(scene.solids)
    codes = np.full((count, count, scene.frames), Front.APART, dtype=np.int8)
    relations: dict[tuple[int, int], Relation] = {}
    for a in range(count):
        for b in range(a + 1, count):
            found = relations[a, b] = relation(scene, a, b)
            codes[a, b], codes[b, a] = found.code, flipped(found).code
    return Visibility(scene, codes, relations)
