"""Layer orders and holdouts that together show what the camera sees.

An order of whole layers shows the truth on a frame exactly if t is drawn above x wherever t is seen and x
lies behind it. Where these relations have no ring, an order does it alone. In a ring the fewest relations are
given up; where "t above x" is given up, x is left out behind t instead. Then at every pixel the part that is
truly seen is left out nowhere, and every layer drawn above it is left out there.

A holdout must leave out what t hides of x and nothing that is seen of x; beyond x it is free. So it follows
the outline of those pieces of t that stand before x, and is not cut along x: a cut there would thin the soft
edge of x in a composite, and would move with x where the outline of t stands still. Before a camera that moves
nothing stands still; there pieces and holes of t that lie well beyond x are left out.

The front relation of whole silhouettes asks at least as much as the truth does. Where it has no ring, it is
good enough; only relations on its rings are settled by visible regions.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import shapely

from choreo.geometry.plane.regions import common, joined, matters, minus, nearby, polygons_that_matter
from choreo.geometry.visibility.front import Front
from choreo.geometry.visibility.layer_order import (
    Span,
    blocks,
    fewest_dropped,
    fewest_spans,
    in_one_ring,
    nearest_order,
)
from choreo.geometry.visibility.scene import Bools, Ints, Shapes, first_alike
from choreo.geometry.visibility.sight import Seen
from choreo.model.plan import Region, Removal
from choreo.model.tracks import Holdout, Masking, OrderSpan


def masking(seen: Seen, ids: Sequence[str], removal: Removal) -> Masking:
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
    asked = _Asked(seen)
    asked.settle_rings_of_frames()
    dropped = _dropped(asked.over, np.array([removal.rank(name) for name in ids]))
    asked.over &= ~dropped
    base = sorted(range(len(ids)), key=lambda part: (-removal.rank(ids[part]), part))
    orders = [
        OrderSpan(span.first, span.last, tuple(ids[part] for part in order)) for span, order in _orders(asked, base)
    ]
    holdouts = [
        holdout
        for x in range(len(ids))
        for t in range(len(ids))
        if dropped[:, t, x].any()
        for holdout in _holdouts(seen, ids, t, x, np.flatnonzero(dropped[:, t, x]))
    ]
    return Masking(tuple(orders), tuple(holdouts))


class _Asked:
    """What each frame asks of its order: at least what the truth needs, and settled where that matters."""

    def __init__(self, seen: Seen) -> None:
        self.seen = seen
        codes = np.moveaxis(seen.codes, 2, 0)
        self.mixed = codes == Front.MIXED
        self.over = (codes == Front.FIRST) | self.mixed
        """(frames, parts, parts): [f, t, x] asks that t is drawn above x on frame f."""
        self.sure = ~self.over
        """Whether truth needs exactly that."""

    def settle_rings_of_frames(self) -> None:
        """Settle every relation that lies on a ring of its own frame."""
        # Two that are in front of each other by turns make most rings; many fall away once one is not seen.
        self.settle(self.mixed & in_one_ring(self.over))
        self.settle(in_one_ring(self.over))

    def settle(self, doubtful: Bools) -> bool:
        """Settle those relations that are not yet; return whether there were any."""
        doubtful = doubtful & ~self.sure
        for t in map(int, np.flatnonzero(doubtful.any(axis=(0, 2)))):
            for x in map(int, np.flatnonzero(doubtful[:, t].any(axis=0))):
                frames = np.flatnonzero(doubtful[:, t, x])
                self.over[frames, t, x] = _hides(self.seen, t, x, frames)
        self.sure |= doubtful
        return bool(doubtful.any())


def _hides(seen: Seen, t: int, x: int, frames: Ints) -> Bools:
    """Whether what is seen of t covers some of x, frame by frame."""
    if seen.restless:
        return matters(seen.visible_over(t, x, frames))
    same = first_alike(np.column_stack([seen.alike(t)[frames], seen.stands(x, frames)]))
    once = np.unique(same)
    out = np.zeros(len(frames), dtype=np.bool_)
    out[once] = matters(seen.visible_over(t, x, frames[once]))
    return out[same]


def _orders(asked: _Asked, base: list[int]) -> list[tuple[Span, list[int]]]:
    """Fewest spans and the order of each; a relation that forces a change is settled before it does."""
    spans = fewest_spans(asked.over)
    while asked.settle(_at_cuts(asked.over, spans)):
        spans = fewest_spans(asked.over)
    out = [(spans[0], nearest_order(base, spans[0].over))]
    for span in spans[1:]:
        last = out[-1][1]
        frames = slice(span.first, span.last + 1)
        over = asked.over[frames].any(axis=0)
        while asked.settle(_in_blocks(asked.over, frames, blocks(last, over))):
            over = asked.over[frames].any(axis=0)
        out.append((span, nearest_order(last, over)))
    return out


def _at_cuts(over: Bools, spans: list[Span]) -> Bools:
    """Relations on the rings for which a span had to end."""
    out = np.zeros_like(over)
    for span in spans[:-1]:
        frames = slice(span.first, span.last + 2)
        out[frames] |= over[frames] & in_one_ring(np.asarray(over[frames].any(axis=0)))
    return out


def _in_blocks(over: Bools, frames: slice, stretches: list[list[int]]) -> Bools:
    """Relations of those frames between layers that may change places."""
    out = np.zeros_like(over)
    for block in stretches:
        if len(block) > 1:
            among = np.ix_(block, block)
            for frame in range(frames.start, frames.stop):
                out[frame][among] = over[frame][among]
    return out


def _dropped(over: Bools, rank: Ints) -> Bools:
    """Relations to give up, frame by frame; equal tables give up the same ones."""
    cost = np.broadcast_to((rank.max() - rank)[:, None], over.shape[1:])
    out = np.zeros_like(over)
    same = first_alike(over.reshape(len(over), -1))
    once = np.unique(same)
    for frame in once[in_one_ring(over[once]).any(axis=(1, 2))]:
        out[frame] = fewest_dropped(over[frame], cost)
    return out[same]


def _holdouts(seen: Seen, ids: Sequence[str], t: int, x: int, frames: Ints) -> list[Holdout]:
    """Holdouts on x behind t over those frames, one for each run of frames with the same region."""
    regions = _regions(seen, t, x, frames)
    same = np.zeros(len(frames), dtype=np.bool_)
    same[1:] = (np.diff(frames) == 1) & shapely.equals_exact(regions[1:], regions[:-1], 0.0)
    starts = np.flatnonzero(~same)
    ends = np.append(starts[1:], len(frames)) - 1
    return [
        Holdout(ids[x], int(frames[s]), int(frames[e]), region, (ids[t],))
        for s, e, region in zip(starts, ends, as_regions(regions[starts]), strict=True)
    ]


def _regions(seen: Seen, t: int, x: int, frames: Ints) -> Shapes:
    """Where x is left out behind t: the outline of t's pieces before x, less what is seen of x."""
    layers = seen.cover_layers(x, t, frames)
    moving = np.flatnonzero(~_still(seen, frames))
    there = frames[moving]
    if moving.size:
        for layer in layers:
            layer[moving] = nearby(layer[moving], seen.silhouette(x, there), _AROUND_PX)
    if len(layers) > 1 and moving.size:
        hidden = seen.visible_over(t, x, there)
        _thin_out(layers, moving, hidden)
    out, visible = joined(layers), seen.visible(x, frames)
    cut = matters(common(out, visible))
    out[cut] = minus(out[cut], visible[cut])
    return out


_AROUND_PX = 32.0
"""How far around a part its holdouts are as they should be: farther than a soft or blurred edge of it reaches."""


def _still(seen: Seen, frames: Ints) -> Bools:
    """Whether the camera stands on the next frame or the last one as it does on this one."""
    camera = seen.first_camera
    before, after = np.maximum(frames - 1, 0), np.minimum(frames + 1, len(camera) - 1)
    same = [(camera[frames] == camera[other]) & (frames != other) for other in (before, after)]
    return np.asarray(same[0] | same[1])


def _thin_out(layers: list[Shapes], rows: Ints, hidden: Shapes) -> None:
    """Leave only layers, from the first on, that are needed to cover what is hidden.

    Before a camera that moves, the region is a new one on every frame; all it has to do is to cover.
    """
    for layer in layers:
        idle = ~shapely.intersects(hidden, layer[rows])
        layer[rows[idle]] = None
        hidden = minus(hidden, layer[rows])


def as_regions(shapes: Shapes) -> list[tuple[Region, ...]]:
    """Return the polygons of each shape as regions, leftovers of rounding left out."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    kept = polygons_that_matter(parts)
    polygons, owner = shapely.orient_polygons(parts[kept]), owner[kept]
    lines, polygon = shapely.get_rings(polygons, return_index=True)
    points = [tuple(point) for point in shapely.get_coordinates(lines).tolist()]
    ends = np.cumsum(shapely.get_num_coordinates(lines)).tolist()
    rings = [tuple(points[start : end - 1]) for start, end in itertools.pairwise([0, *ends])]
    firsts = [*np.searchsorted(polygon, np.arange(len(polygons))).tolist(), len(rings)]
    out: list[list[Region]] = [[] for _ in shapes]
    for row, (start, end) in zip(owner.tolist(), itertools.pairwise(firsts), strict=True):
        out[row].append(Region(rings[start], tuple(rings[start + 1 : end])))
    return [tuple(regions) for regions in out]
