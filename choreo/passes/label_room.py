"""Say which parts have no room for a label where all are at rest.

In:  solids, rest positions and camera of one shot, what the labels say      Out: ids of parts

The rule, on the frame that the storyboard draws large: each part has a label of the size that it has there, inside
the frame, clear by `geometry.labels.rules.APART` of the outlines of all parts and of the other labels, not in the
opening of another part, joined to its part by a straight leader no longer than `LONGEST` of the frame's diagonal that
crosses no other part, label or leader. Outlines are the parts' true ones, as if none covered another.

That a part has room is proved by places for all labels, which `geometry.labels.places` finds by a local search. That it
has none means that the search found none: there may be one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.cameras.silhouette import silhouettes
from choreo.geometry.labels.block import LABEL_SIZE, block
from choreo.geometry.labels.places import Placed, Wanted, place_labels
from choreo.geometry.labels.sheet import grid_of
from choreo.geometry.plane.unions import Geometries
from choreo.geometry.solids.solid import Solid
from choreo.model.plan import Floats, Move

LONGEST = 0.15
"""Of the frame's diagonal; a longer leader has to be searched for. Common practice is "short", no source."""
_COARSE = 0.8
"""Units of the sheet to which outlines are simplified, as the storyboard does."""


def drawn_at_rest(moves: Sequence[Move], frames: int) -> int | None:
    """Return the frame of a shot that the storyboard draws large: the middle of the first rest, or the cut it meets.

    Parameters
    ----------
    moves : sequence of Move
        Of the shot.
    frames : int
        Length of the shot.

    Returns
    -------
    int or None
        None where nothing is ever at rest apart.

    """
    if not moves:
        return None
    phases = sorted({move.phase for move in moves})
    groups = [[move for move in moves if move.phase == phase] for phase in phases]
    if groups[0][0].kind == "assemble":
        return 0
    arrived = max(move.start + move.frames for move in groups[0])
    if len(groups) == 1:
        return frames - 1
    return min((arrived + min(move.start for move in groups[1])) // 2, frames - 1)


def without_room(
    solids: Mapping[str, Solid],
    camera: Camera,
    places: Mapping[str, Floats],
    words: Mapping[str, tuple[str, int | None]],
    resolution: tuple[int, int],
) -> tuple[str, ...]:
    """Return the parts that have no room for a label, in the order of `words`.

    Parameters
    ----------
    solids : mapping of part id to Solid
        Assembled, mm.
    camera : Camera
        Of the frame that is drawn.
    places : mapping of part id to (3,) array
        Displacements at rest, mm.
    words : mapping of part id to (label, number or None)
        What each label says.
    resolution : (width, height)
        px.

    """
    scale = grid_of(resolution).large / resolution[0]
    width, height = resolution[0] * scale, resolution[1] * scale
    whole = [silhouettes(solids[part], camera, places[part])[0] for part in words]
    coarse = shapely.simplify(np.array(whole, dtype=np.object_), _COARSE / scale)
    shapes = np.asarray(shapely.transform(coarse, lambda xy: xy * scale), dtype=np.object_)
    wanted = [Wanted(block(*said, LABEL_SIZE).size, shape) for said, shape in zip(words.values(), shapes, strict=True)]
    placed = place_labels(wanted, (0.0, 0.0, width, height))
    longest = LONGEST * float(np.hypot(width, height))
    return tuple(part for index, part in enumerate(words) if not _stands(index, placed, shapes, longest))


def _stands(index: int, placed: Sequence[Placed | None], shapes: Geometries, longest: float) -> bool:
    """Whether a label has a place and a leader that keeps the rule."""
    place = placed[index]
    if place is None:
        return False
    leader = shapely.LineString(place.leader)
    others = [shapely.LineString(other.leader) for other in placed if other is not None and other is not place]
    return (
        leader.length <= longest
        and not shapely.intersects(np.delete(shapes, index), leader).any()
        and not any(leader.crosses(other) for other in others)
    )


def no_label_room(shot: str, parts: Sequence[str]) -> Finding:
    """Return the warning that some parts have no room for a label."""
    named = ", ".join(f'"{part}"' for part in parts)
    return Finding(
        code="label-no-room",
        severity="warning",
        what=f'In shot "{shot}" no room was found for the label of {named} where all are at rest.',
        why="Each label should stand near its part, clear of all parts and of the other labels, and in the frame.",
        remedy="Raise gap_px, show the product smaller, or give these parts shorter labels.",
    )
