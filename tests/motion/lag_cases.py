"""Two walks and what collides between them, sampled: a referee that never inverts an easing."""

import itertools

import numpy as np
import shapely

from choreo.motion.easing import parse_easing


def polygon_diagram(*rings):
    """What collides as convex polygons; clipped to the asked rectangle by shapely."""
    shapes = [shapely.Polygon(ring) for ring in rings]

    def diagram(s_span, t_span):
        box = shapely.box(s_span[0], t_span[0], s_span[1], t_span[1])
        cut = [shapely.intersection(shape, box) for shape in shapes]
        cut = [shapely.get_coordinates(piece)[:-1] for piece in cut if piece.area > 0]
        most = max((len(ring) for ring in cut), default=4)
        padded = [np.concatenate([ring, np.repeat(ring[-1:], most - len(ring), axis=0)]) for ring in cut]
        return np.array(padded).reshape(-1, most, 2)

    return diagram


def way(walk, times):
    """Mm along the route at `times`, frames since the start; held before and after."""
    eased = parse_easing(walk.easing).value(np.clip(times / walk.frames, 0, 1))
    progress = 1 - eased if walk.backward else eased
    before, after = (1.0, 0.0) if walk.backward else (0.0, 1.0)
    progress = np.where(times <= 0, before, np.where(times >= walk.frames, after, progress))
    return progress * walk.length


def instants(a, b, lag, count=800):
    """Times all along both moves, and some of the rest before and after."""
    moves = [np.linspace(0, a.frames, count), lag + np.linspace(0, b.frames, count)]
    rest = [
        min(0.0, lag) - 2,
        max(a.frames, lag + b.frames) + 2,
        a.frames + 1e-3,
        lag - 1e-3,
        lag + b.frames + 1e-3,
        -1e-3,
    ]
    return np.concatenate([*moves, rest])


def meets(ring, a, b, lag, margin):
    """Whether a sampled instant lies deeper than `margin` mm inside a ring at this lag."""
    times = instants(a, b, lag)
    inner = shapely.buffer(shapely.Polygon(ring), -margin)
    return bool(shapely.contains_xy(inner, way(a, times), way(b, times - lag)).any())


def lags_of_edges(ring, a, b, closer=1):
    """Lags at which the two stand on points of the ring's edges, found on the sampled curves.

    Where a curve passes a way is read between two samples that lie on either side of it. Points are spread over
    each edge in space and in either walk's time, so that nothing hides where a curve is steep.
    """
    curve_a, curve_b = _sampled(a, 1500 * closer), _sampled(b, 1500 * closer)
    found = [np.zeros(0)]
    for start, end in _edges(ring, curve_a[1], curve_b[1]):
        points = start + _spread(start, end, curve_a[1], curve_b[1], 60 * closer)[:, None] * (end - start)
        when_a, when_b = _passes(curve_a, points[:, 0]), _passes(curve_b, points[:, 1])
        found += [np.subtract.outer(s, t).ravel() for s, t in zip(when_a, when_b, strict=True)]
    return np.concatenate(found)


def stands_in(ring, a, b, sign):
    """Whether lags without end in the direction of `sign` meet: one of the two never moves while the other does."""
    early, late = (a, b) if sign > 0 else (b, a)
    shape = shapely.Polygon(ring)
    flip = early is b
    for rest, walk, across in ((early.ends[1], late, flip), (late.ends[0], early, not flip)):
        _, ways = _sampled(walk, 1500)
        line = [(rest, ways.min()), (rest, ways.max())]
        if shapely.LineString([xy[::-1] if across else xy for xy in line]).intersection(shape).length > 0:
            return True
    return False


def _sampled(walk, count):
    times = np.linspace(0, walk.frames, count)
    return times, way(walk, times)


def _edges(ring, ways_a, ways_b):
    walked = shapely.box(ways_a.min(), ways_b.min(), ways_a.max(), ways_b.max())
    cut = shapely.intersection(shapely.Polygon(ring), walked)
    corners = shapely.get_coordinates(cut) if cut.area > 0 else np.zeros((0, 2))
    return itertools.pairwise(corners)


def _spread(start, end, ways_a, ways_b, count):
    step = np.where(end == start, np.inf, end - start)
    shares = [np.linspace(0, 1, count), (ways_a[::10] - start[0]) / step[0], (ways_b[::10] - start[1]) / step[1]]
    share = np.concatenate(shares)
    return share[(share >= 0) & (share <= 1)]


def _passes(curve, values):
    """For each value the times at which the curve passes it."""
    times, ways = curve
    low, high = np.minimum(ways[:-1], ways[1:]), np.maximum(ways[:-1], ways[1:])
    row, at = np.nonzero((low <= values[:, None]) & (values[:, None] <= high))
    rise = ways[at + 1] - ways[at]
    share = np.where(rise == 0, 0.5, (values[row] - ways[at]) / np.where(rise == 0, 1, rise))
    when = times[at] + share * (times[1] - times[0])
    return np.split(when, np.searchsorted(row, np.arange(1, len(values))))
