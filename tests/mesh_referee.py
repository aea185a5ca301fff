"""Collisions as a general-purpose mesh library sees them (manifold3d), and keys as the W3C's rule reads them.

Shares no code with the compiler: it reads slabs, routes and keys, and nothing else.
"""

from __future__ import annotations

import itertools
import re

import numpy as np
from manifold3d import CrossSection, FillRule, JoinType, Manifold, OpType

MITRE = 5.0
"""Corners sharper than this are cut; also what the contract's square-cornered shrinking uses."""


def eroded(slabs, offset, half):
    """The solid shrunk by `half` in the plane and along z, as a mesh.

    By the definition of erosion: at depth z only what every section within `half` of z has survives.
    """
    levels = sorted({z for slab in slabs for z in slab.z})
    bands = [(z0, z1, _section(slabs, (z0 + z1) / 2, half)) for z0, z1 in itertools.pairwise(levels)]
    cuts = sorted({z + sign * half for z in levels for sign in (1, -1)})
    solids = []
    for z0, z1 in itertools.pairwise(cuts):
        low, high = (z0 + z1) / 2 - half, (z0 + z1) / 2 + half
        if low < levels[0] or high > levels[-1] or z1 - z0 < 1e-12:
            continue
        here = [section for a, b, section in bands if a < high and b > low]
        section = CrossSection.batch_boolean(here, OpType.Intersect) if len(here) > 1 else here[0]
        if not section.is_empty():
            solids.append(section.extrude(z1 - z0).translate((0, 0, z0)))
    mesh = Manifold.batch_boolean(solids, OpType.Add) if solids else Manifold()
    return mesh.translate(tuple(offset))


def _section(slabs, z, half):
    here = [CrossSection([slab.outline, *slab.holes], FillRule.EvenOdd) for slab in slabs if slab.z[0] < z < slab.z[1]]
    whole = CrossSection.batch_boolean(here, OpType.Add) if here else CrossSection()
    return whole.offset(-half, JoinType.Miter, MITRE)


class Pair:
    """Two meshes, and how much they share when the second is displaced."""

    def __init__(self, one: Manifold, two: Manifold) -> None:
        self.one, self.two = one, two
        a, b = np.array(one.bounding_box()).reshape(2, 3), np.array(two.bounding_box()).reshape(2, 3)
        self.low, self.high = a[0] - b[1], a[1] - b[0]

    def overlap(self, by) -> float:
        """Volume shared, cubic mm, with the second displaced by `by` relative to the first."""
        return max((self.one ^ self.two.translate(tuple(by))).volume(), 0.0)

    def near(self, by):
        """Which of (n, 3) displacements bring the boxes of the two into each other."""
        return np.all((by > self.low) & (by < self.high), axis=1)

    def most(self, by, enough=np.inf):
        """The most that is shared over (n, 3) displacements, and where; stops once it exceeds `enough`."""
        worst, at = 0.0, None
        rows = np.flatnonzero(self.near(by))
        _, first = np.unique(np.round(by[rows], 9), axis=0, return_index=True)
        for row in rows[np.sort(first)]:
            volume = self.overlap(by[row])
            if volume > worst:
                worst, at = volume, int(row)
            if worst > enough:
                break
        return worst, at

    def gap(self, by, search) -> float:
        """Least distance, mm; `search` if it is more."""
        return self.one.min_gap(self.two.translate(tuple(by)), search)


def meshes(assembly, extra=0.0):
    """Mesh of each part at its place, shrunk by half of what may touch."""
    return {part.id: eroded(part.slabs, part.offset, assembly.touch_mm / 2 + extra) for part in assembly.parts}


def pairs(assembly):
    """All pairs of an assembly, pressed ones shrunk as the contract says: p/2 in the radius, half of it each."""
    plain = meshes(assembly)
    found = {}
    for a, b in itertools.combinations(assembly.ids, 2):
        press = max((j.press_mm for j in assembly.joints if {j.part, j.into} == {a, b}), default=0.0)
        if press:
            shrunk = meshes(assembly, press / 4)
            found[a, b] = Pair(shrunk[a], shrunk[b])
        else:
            found[a, b] = Pair(plain[a], plain[b])
    return found


def eased(text, x):
    """An easing at (n,) inputs in [0, 1): the formulas of CSS Easing Functions Level 2, bisected where needed."""
    x = np.asarray(x, dtype=float)
    if text in (None, "linear"):
        return x
    if text == "min-jerk":  # Flash and Hogan 1985
        return x**3 * (10 - 15 * x + 6 * x * x)
    keywords = {
        "ease": "cubic-bezier(0.25, 0.1, 0.25, 1)",
        "ease-in": "cubic-bezier(0.42, 0, 1, 1)",
        "ease-out": "cubic-bezier(0, 0, 0.58, 1)",
        "ease-in-out": "cubic-bezier(0.42, 0, 0.58, 1)",
    }
    name, inside = re.fullmatch(r"([a-z-]+)\((.*)\)", keywords.get(text, text)).groups()
    words = [word.strip() for word in inside.split(",")]
    if name == "cubic-bezier":
        return _bezier(*map(float, words), x)
    if name == "steps":
        count, shift = int(words[0]), (words[1:] or ["jump-end"])[0]
        rise = np.floor(x * count) + (shift in ("jump-start", "jump-both"))
        return rise / (count + {"jump-none": -1, "jump-both": 1}.get(shift, 0))
    return _linear_stops(words, x)


def _bezier(x1, y1, x2, y2, x):
    low, high = np.zeros_like(x), np.ones_like(x)
    for _ in range(60):
        p = (low + high) / 2
        below = 3 * (1 - p) ** 2 * p * x1 + 3 * (1 - p) * p * p * x2 + p**3 < x
        low, high = np.where(below, p, low), np.where(below, high, p)
    p = (low + high) / 2
    return 3 * (1 - p) ** 2 * p * y1 + 3 * (1 - p) * p * p * y2 + p**3


def _linear_stops(words, x):
    """Stops of one number and at most one ascending percentage each; unplaced ones are spread evenly."""
    stops = [word.split() for word in words]
    y = np.array([float(stop[0]) for stop in stops])
    at = np.array([float(stop[1][:-1]) / 100 if len(stop) > 1 else np.nan for stop in stops])
    at[0], at[-1] = np.nan_to_num(at[0], nan=0.0), np.nan_to_num(at[-1], nan=1.0)
    known = np.flatnonzero(~np.isnan(at))
    return np.interp(x, np.interp(np.arange(len(at)), known, at[known]), y)


def values(keys, times):
    """The W3C's keyframe rule: a key's easing rules up to the next key, before and after the value holds."""
    out = np.full(len(times), keys[0].value, dtype=float)
    for here, after in itertools.pairwise(keys):
        inside = (times >= here.frame) & (times < after.frame)
        share = eased(here.easing, (times[inside] - here.frame) / (after.frame - here.frame))
        out[inside] = here.value + (after.value - here.value) * share
    out[times >= keys[-1].frame] = keys[-1].value
    return out


def along(route, progress):
    """Points of a polyline at (n,) shares of its arc length; the first and last legs go on beyond the ends."""
    route = np.asarray(route, dtype=float)
    steps = np.linalg.norm(np.diff(route, axis=0), axis=1)
    if not steps.sum():
        return np.repeat(route[:1], len(progress), axis=0)
    route = np.concatenate([route[:1], route[1:][steps > 0]])
    at = np.concatenate([[0.0], np.cumsum(steps[steps > 0])])
    way = np.asarray(progress) * at[-1]
    leg = np.clip(np.searchsorted(at, way, side="right") - 1, 0, len(at) - 2)
    share = (way - at[leg]) / (at[leg + 1] - at[leg])
    return route[leg] + share[:, None] * (route[leg + 1] - route[leg])


def worst_overlap(referees, tracks, frames, steps):
    """The most that any two parts of a shot share at `steps` instants a frame: volume, pair, time."""
    times = np.arange((frames - 1) * steps + 1) / steps
    places = {track.id: along(track.route, values(track.keys, times)) for track in tracks}
    worst = (0.0, None, None)
    for (a, b), pair in referees.items():
        volume, row = pair.most(places[b] - places[a])
        if volume > worst[0]:
            worst = (volume, (a, b), float(times[row]))
    return worst
