"""Work out what the camera sees of each part on each frame.

In:  solids, cameras, displacements of one shot      Out: Visibility

Only how each pair of parts stands to each other is settled here; regions are worked out when asked for, for
most questions about layer order are settled without any.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from choreo.geometry.front import Front, Relation, flipped, relation
from choreo.geometry.scene import build_scene
from choreo.geometry.sight import Visibility
from choreo.geometry.solid import Solid
from choreo.model.plan import Floats


def visibility(solids: Sequence[Solid], cameras: Floats, displacements: Floats, touch_mm: float) -> Visibility:
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

    Returns
    -------
    Visibility

    """
    scene = build_scene(solids, cameras, displacements, touch_mm)
    count = len(scene.solids)
    codes = np.full((count, count, scene.frames), Front.APART, dtype=np.int8)
    relations: dict[tuple[int, int], Relation] = {}
    for a in range(count):
        for b in range(a + 1, count):
            found = relations[a, b] = relation(scene, a, b)
            codes[a, b], codes[b, a] = found.code, flipped(found).code
    return Visibility(scene, codes, relations)
