"""Depths of slabs: given as z, as a layer, or by the occlusion order; and whether the two agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.model.assembly import Vector
from choreo.read.notes import Notes
from choreo.read.place import Place

Depth = tuple[float, float]

ROUNDING_MM = 1e-9
"""14.05 - 14 is a little more than 0.05 in binary; nobody means that difference."""


@dataclass(frozen=True, eq=False)
class Placed:
    """One slab where the assembled product has it."""

    part: str
    section: BaseGeometry
    """Shrunk by half of ``touch_mm``, in product space."""
    z: Depth
    """mm, in product space."""


def read_depth(
    notes: Notes, place: Place, slab: dict[str, Any], rank: int | None, layer_mm: float, touch_mm: float
) -> Depth | None:
    """Return ``(z0, z1)`` of a slab in its part's own coordinates, mm, or note why there is none.

    Parameters
    ----------
    notes : Notes
        Of the assembly.
    place : tuple
        Of the slab.
    slab : dict
        With ``z``, ``layer``, or neither.
    rank : int or None
        The part's place in the occlusion order, 0 at the back; it counts as a layer where the slab says nothing.
    layer_mm, touch_mm : float
        mm.

    """
    if "z" in slab and "layer" in slab:
        remedy = "Keep one of the two."
        notes.add("two-depths", (*place, "layer"), "This slab has both `z` and `layer`.", remedy=remedy)
        return None
    if "z" in slab:
        depth = (float(slab["z"][0]), float(slab["z"][1]))
        return depth if _thick_enough(notes, (*place, "z"), depth, touch_mm) else None
    layer = slab.get("layer", rank)
    if layer is None:
        notes.add(
            "no-depth",
            place,
            "This slab has neither `z` nor `layer`, and its part is not in `occlusion_order`.",
            remedy="Give `z` or `layer`, or list every part without depths in `occlusion_order`, back to front.",
        )
        return None
    depth = (layer * layer_mm, (layer + 1) * layer_mm)
    return depth if _thick_enough(notes, place, depth, touch_mm) else None


def note_contradictions(notes: Notes, order: Sequence[str], slabs: Sequence[Placed]) -> None:
    """Note each pair of parts that `occlusion_order` has one way and their depths have the other way.

    Parameters
    ----------
    notes : Notes
        Of the assembly.
    order : sequence of str
        Part ids, back to front in the plan view.
    slabs : sequence of Placed
        Of parts that give their own depths.

    Notes
    -----
    Only pairs of slabs that overlap in the plan view and lie clear of each other in depth count. A pair of parts
    that has some slabs one way and some the other is not a contradiction: no order of whole parts is right there.

    """
    rank = {part: index for index, part in enumerate(order)}
    front = _in_front([slab for slab in slabs if slab.part in rank])
    for before, behind in sorted(front, key=lambda pair: (rank[pair[0]], rank[pair[1]])):
        if rank[before] < rank[behind] and (behind, before) not in front:
            notes.add(
                "order-contradicts-depth",
                ("occlusion_order", rank[before]),
                f"`{before}` stands behind `{behind}` here, but by their depths `{before}` is in front.",
                "In the plan view the larger z is nearer.",
                f"Put `{before}` after `{behind}`, or mend the depths.",
            )


def _in_front(slabs: Sequence[Placed]) -> Mapping[tuple[str, str], None]:
    """Return the pairs (in front, behind) of parts that some of their slabs show; ordered as found."""
    sections = np.array([slab.section for slab in slabs], dtype=object)
    upper, lower = shapely.STRtree(sections).query(sections, predicate="intersects")
    apart = np.array([slabs[a].z[0] >= slabs[b].z[1] for a, b in zip(upper, lower, strict=True)], dtype=bool)
    found: dict[tuple[str, str], None] = {}
    for a, b in zip(upper[apart], lower[apart], strict=True):
        if slabs[a].part != slabs[b].part:
            found[slabs[a].part, slabs[b].part] = None
    return found


def placed(part: str, offset: Vector, section: BaseGeometry, depth: Depth) -> Placed:
    """Return a slab moved from its part's own coordinates to product space."""
    x, y, z = offset
    moved = shapely.transform(section, lambda points: points + np.array([x, y]))
    return Placed(part, moved, (depth[0] + z, depth[1] + z))


def _thick_enough(notes: Notes, place: Place, depth: Depth, touch_mm: float) -> bool:
    z0, z1 = depth
    if z1 <= z0:
        what = f"`z` runs from {z0:g} to {z1:g}: the second must be the larger."
        notes.add("upside-down", place, what, "z is given from back to front.", "Swap the two numbers.")
    elif z1 - z0 <= touch_mm + ROUNDING_MM:
        notes.add(
            "too-thin",
            place,
            f"This slab is {z1 - z0:g} mm thick, not more than touch_mm, {touch_mm:g} mm.",
            "Two parts may overlap by that much and count as touching; a slab as thin as that could not collide.",
            "Make the slab thicker, or set a smaller touch_mm.",
        )
    else:
        return True
    return False
