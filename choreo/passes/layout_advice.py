"""Where a layout has no room: by how many px, and the number that would do, found by trying it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import shapely

from choreo.errors import ChoreoError, Finding, no_solution
from choreo.geometry.layout.placement import hulls_through
from choreo.passes.layout_stage import Stage

_WIDER = 1.25
_STEPS = 24
"""Tries in growing steps: up to about 200 times as far."""
_HALVINGS = 7
"""Brings a step of a quarter to 0.2 %."""
_GAP_HALVINGS = 7
_ROUNDED = (1.0, 1.002, 1.01, 1.05)
"""What fits at one number may not at the next, where a part finds another place: then one a little farther is said."""
_MOST_PARTS = 40
"""A product of more parts gets no advice on its gap: it would take too long."""
_SHORT_OF = {"no-room", "no-fit"}


def advised(stage: Stage, watched: Sequence[int], error: ChoreoError) -> ChoreoError:
    """Return the error with the px that lack and the number that would do, where that can be found.

    A given scale or distance is made smaller or larger until all parts have a place and all is inside; a solved
    camera gets another gap. The number said is one that was tried, not an estimate; it is within a per cent of the
    best one if what fits at one number fits at all that are more generous.
    """
    if not any(finding.code in _SHORT_OF for finding in error.findings):
        return error
    said, remedy = ("", _other_gap(stage)) if stage.fixed is None else (_beyond(stage, watched), _size(stage, watched))
    return no_solution(*(_with(finding, stage.shot.name, said, remedy) for finding in error.findings))


def _with(finding: Finding, shot: str, said: str, remedy: str) -> Finding:
    if finding.code not in _SHORT_OF:
        return finding
    what = finding.what
    # The number said does for one shot; another may lack more.
    named = what if "In shot " in what else f'In shot "{shot}" {what[0].lower()}{what[1:]}'
    return replace(finding, what=named + said, remedy=remedy + (finding.remedy or ""))


def _beyond(stage: Stage, watched: Sequence[int]) -> str:
    """How far the parts would reach if they could stand anywhere."""
    assert stage.fixed is not None
    cameras = stage.cameras(stage.target(stage.assembled, None), stage.given)
    try:
        routes = stage.place(cameras, watched, bounded=False)
    except ChoreoError:
        return ""
    points, matrices = stage.subject.points, np.stack([cameras[frame].matrix for frame in watched])
    hulls = [hulls_through(points[part] + route[-1], matrices) for part, route in routes.items()]
    x0, y0, x1, y1 = shapely.total_bounds(np.concatenate(hulls))
    (width, height), (left, top, right, bottom) = stage.frame.resolution, stage.frame.margins
    most = max(left - x0, top - y0, x1 - width + right, y1 - height + bottom)
    return f" If parts could rest outside of it, they would reach {most:.0f} px beyond it." if most > 0 else ""


def _size(stage: Stage, watched: Sequence[int]) -> str:
    """The nearest scale or distance at which all fits, as a sentence; empty where none is found."""
    target = stage.target(stage.assembled, None)

    def fits(size: float) -> bool:
        try:
            routes = stage.place(stage.cameras(target, size), watched, bounded=True)
            return stage.reach(routes, target) <= size
        except ChoreoError:
            return False

    size = _first(fits, [stage.given * _WIDER**k for k in range(_STEPS)])
    if size is None:
        return ""
    for slack in _ROUNDED:
        # What is said is rounded to the generous side: that, too, must fit.
        if stage.perspective and fits(said := _digits(size * slack, up=True)):
            return f"It fits with distance_mm = {said:g}. Or: "
        if not stage.perspective and fits(1 / (said := _digits(1 / (size * slack), up=False))):
            return f"It fits with px_per_mm = {said:g}. Or: "
    return ""


def _other_gap(stage: Stage) -> str:
    """The widest gap with which a camera can be solved, as a sentence."""
    if len(stage.subject.order) > _MOST_PARTS or stage.frame.gap_px <= 0:
        return ""

    @cache  # whole px are asked for again and again where the gap is a small one
    def fits_at(gap_px: float) -> bool:
        other = Stage(stage.subject, stage.shot, replace(stage.frame, gap_px=gap_px))
        try:
            other.agree(sorted(other.spread()))
        except ChoreoError:
            return False
        return True

    def fits(share: float) -> bool:
        return fits_at(float(np.floor(stage.frame.gap_px / share)))

    share = _first(fits, [2.0**k for k in range(_GAP_HALVINGS)])
    return f"It fits with gap_px = {np.floor(stage.frame.gap_px / share):g}. Or: " if share else ""


def _first(fits: Callable[[float], bool], tried: Sequence[float]) -> float | None:
    """The least number, about, that fits: the first of those tried, then closer to the one before by halves."""
    for before, after in pairwise(tried):
        if fits(after):
            small, large = before, after
            for _ in range(_HALVINGS):
                middle = (small + large) / 2
                small, large = (small, middle) if fits(middle) else (middle, large)
            return large
    return None


def _digits(value: float, *, up: bool) -> float:
    """Four digits, rounded to the generous side."""
    unit = 10.0 ** (np.floor(np.log10(value)) - 3)
    return float((np.ceil if up else np.floor)(value / unit) * unit)
