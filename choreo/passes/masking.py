"""Layer orders and holdouts that together show what the camera sees.

An order of whole layers shows the truth on a frame exactly if t is drawn above x wherever t is seen and x
lies behind it. Where these relations have no ring, an order does it alone. In a ring the fewest relations are
given up; where "t above x" is given up, x is left out behind t instead. Then at every pixel the part that is
truly seen is left out nowhere, and every layer drawn above it is left out there.

A holdout must leave out what t hides of x and nothing that is seen of x; beyond x it is free. So it follows
the outline of those pieces of t that stand before x, and is not cut along x: a cut there would thin the soft
edge of x in a composite, and would move with x where the outline of t stands still.

Relations that cannot be part of a ring on any stretch of the shot are taken from the plain front relation;
only the others need visible regions.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from choreo.geometry.front import Front
from choreo.geometry.scene import Bools, Ints, Shapes, first_alike
from choreo.model.plan import Region, Removal
from choreo.model.tracks import Holdout, Masking, OrderSpan
from choreo.passes.layer_order import fewest_dropped, fewest_spans, in_one_ring, nearest_order
from choreo.passes.visibility import Visibility, matters, polygons_that_matter


def masking(seen: Visibility, ids: Sequence[str], removal: Removal) -> Masking:
    """Return the layer orders and holdouts of a shot.

    What remains on top at each pixel is what the camera sees. Holdouts stand only on frames that no order of
    whole layers shows, as few as possible; orders change as few times as possible, each to the valid one
    nearest to the last (the first: nearest to body at the back, then the last removed).

    Parameters
    ----------
    seen : Visibility
    ids : sequence of str
        Part ids, in the order of `seen`.
    removal : Removal
        Where as few holdouts can stand on either of two parts, they stand on the part removed earlier, and
        on the body last of all.

    Returns
    -------
    Masking
        Holdouts by part, then by what they stand behind, then by frame.

    """
    over = relations_to_keep(seen)
    dropped = _dropped(over, np.array([removal.rank(name) for name in ids]))
    orders: list[OrderSpan] = []
    order = sorted(range(len(ids)), key=lambda part: (-removal.rank(ids[part]), part))
    for span in fewest_spans(over & ~dropped):
        order = nearest_order(order, span.over)
        orders.append(OrderSpan(span.first, span.last, tuple(ids[part] for part in order)))
    holdouts = [
        holdout
        for x in range(len(ids))
        for t in range(len(ids))
        if dropped[:, t, x].any()
        for holdout in _holdouts(seen, ids, t, x, np.flatnonzero(dropped[:, t, x]))
    ]
    return Masking(tuple(orders), tuple(holdouts))


def relations_to_keep(seen: Visibility) -> Bools:
    """Return (frames, parts, parts) tables: [f, t, x] asks that t is drawn above x on frame f.

    Every relation that truth needs is there. Those that lie on no ring of the whole shot's relations may be
    there without need, which costs no order and no holdout.
    """
    over = (seen.codes == Front.FIRST) | (seen.codes == Front.MIXED)
    ringed = in_one_ring(over.any(axis=2))
    for t in range(seen.parts):
        asked = over[t] & ringed[t][:, None]
        frames = np.flatnonzero(asked.any(axis=0))
        if not frames.size:
            continue
        visible = seen.visible(t, frames)
        alike = seen.alike(t)[frames]
        for x in np.flatnonzero(asked.any(axis=1)):
            rows = np.flatnonzero(asked[x, frames])
            over[t, x, frames[rows]] = _hides(seen, x, frames[rows], visible[rows], alike[rows])
    return np.ascontiguousarray(np.moveaxis(over, 2, 0))


def _hides(seen: Visibility, x: int, frames: Ints, visible: Shapes, alike: Ints) -> Bools:
    """Whether a visible region covers some of x, frame by frame."""
    same = first_alike(np.column_stack([alike, seen.scene.alike[x, frames]]))
    once = np.unique(same)
    out = np.zeros(len(frames), dtype=np.bool_)
    out[once] = matters(shapely.intersection(visible[once], seen.silhouette(x, frames[once])))
    return out[same]


def _dropped(over: Bools, rank: Ints) -> Bools:
    """Relations to give up, frame by frame; equal tables give up the same ones."""
    cost = np.broadcast_to((rank.max() - rank)[:, None], over.shape[1:])
    out = np.zeros_like(over)
    same = first_alike(over.reshape(len(over), -1))
    for frame in np.unique(same):
        if over[frame].any():
            out[frame] = fewest_dropped(over[frame], cost)
    return out[same]


def _holdouts(seen: Visibility, ids: Sequence[str], t: int, x: int, frames: Ints) -> list[Holdout]:
    """Holdouts on x behind t over those frames, one for each run of frames with the same region."""
    regions = _regions(seen, t, x, frames)
    same = np.zeros(len(frames), dtype=np.bool_)
    same[1:] = (np.diff(frames) == 1) & shapely.equals_exact(regions[1:], regions[:-1], 0.0)
    starts = np.flatnonzero(~same)
    ends = np.append(starts[1:], len(frames)) - 1
    return [
        Holdout(ids[x], int(frames[s]), int(frames[e]), as_regions(regions[s]), (ids[t],))
        for s, e in zip(starts, ends, strict=True)
    ]


def _regions(seen: Visibility, t: int, x: int, frames: Ints) -> Shapes:
    """Where x is left out behind t: the outline of t's pieces before x, less what is seen of x."""
    out = seen.cover(x, t, frames).copy()
    visible = seen.visible(x, frames)
    cut = matters(shapely.intersection(out, visible))
    out[cut] = shapely.difference(out[cut], visible[cut])
    return out


def as_regions(shape: shapely.geometry.base.BaseGeometry) -> tuple[Region, ...]:
    """Return a shape's polygons as regions, leftovers of rounding left out."""
    parts = shapely.get_parts(shape)
    kept = shapely.orient_polygons(parts[polygons_that_matter(parts)])
    return tuple(Region(_ring(p.exterior), tuple(_ring(hole) for hole in p.interiors)) for p in kept)


def _ring(ring: shapely.LinearRing) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in shapely.get_coordinates(ring)[:-1])
