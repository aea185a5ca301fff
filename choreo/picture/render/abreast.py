"""Which parts have to take their steps together while the shutter is open: those whose edges run together.

A part that takes fewer steps than its neighbour is off by up to half a step, of s px, now on this side and now on that.
Where the two touch along an edge, a gap is then open by s / 8 in the mean. Unless they stay together: where they part
at v px while the shutter is open, square to the edge, that lasts for s / v of the time only, and s^2 / (8 v) is open.
Where either is within the error of blur, nobody needs to care. Outlines that merely cross open no gap.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.picture.render.blur import ERROR, samples_for
from choreo.picture.render.coverage import Window, rings_of, row_sums, window_around
from choreo.picture.render.standing import Way

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

_SINE = 0.35
"""Of the angle between two edges (20 degrees) below which they run together: there a mismatch by half a step of the
slower one moves less than three times as much area as square to the edge."""
_LEAST = 0.15
"""Growth of coverage a px that tells an edge: it is a half in a pixel that an edge goes through or along, and up to a
quarter next to it, so that edges are found which meet on the border of two pixels."""


def in_step(ways: Mapping[str, Way], outline: Callable[[str], BaseGeometry], frame: Window) -> dict[str, float]:
    """Return how long a way, px, each part has to be taken to go: as long as those that it keeps step with.

    Parameters
    ----------
    ways : mapping of part id to Way
    outline : callable
        Asked for the outlines of parts at the middle of the time, px.
    frame : Window
        What lies outside of it does not count.

    """
    from choreo.picture.render import scan  # noqa: PLC0415

    out = {part: way.px for part, way in ways.items()}
    loose = [part for part, way in ways.items() if _step(way) > 8 * ERROR]
    if len({samples_for(ways[part].px) for part in loose}) < 2:
        return out
    edges = {part: found for part in loose if (found := _edges(outline(part), frame)) is not None}
    group = {part: [part] for part in edges}
    for number, one in enumerate(loose):
        for two in loose[number + 1 :]:
            if one not in edges or two not in edges or group[one] is group[two]:
                continue
            if edges[one][0].meets(edges[two][0]):
                apart, least = _parting(ways[one], ways[two])
                if scan.run_along(*edges[one][1:], *edges[two][1:], _SINE, apart, least):
                    group[one].extend(group[two])
                    group |= dict.fromkeys(group[two], group[one])
    for each in group.values():
        out |= dict.fromkeys(each, max(ways[part].px for part in each))
    return out


def _step(way: Way) -> float:
    return way.px / samples_for(way.px)


def _parting(one: Way, two: Way) -> tuple[tuple[float, float], float]:
    """How one part moves against another, px, and how far they have to part for a gap not to matter."""
    slower = min(one, two, key=lambda way: way.px)
    if one.net is None or two.net is None:
        return (0.0, 0.0), 1.0
    return (one.net[0] - two.net[0], one.net[1] - two.net[1]), _step(slower) ** 2 / (8 * ERROR)


def _edges(outline: BaseGeometry, frame: Window) -> tuple[Window, Ints, Floats] | None:
    """Where an outline lies, the pixels of the frame by its edges, and how its coverage grows there (n, 2)."""
    from choreo.picture.render import scan  # noqa: PLC0415

    where = None if outline.is_empty else window_around(outline.bounds, frame, margin=2)
    if where is None:
        return None
    index, slopes = scan.sloping(scan.areas(row_sums(rings_of(outline), where)), _LEAST)
    row, column = np.divmod(index, where.width)
    return where, (row + (where.y - frame.y)) * frame.width + (column + (where.x - frame.x)), slopes
