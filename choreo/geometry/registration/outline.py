"""Lay a part's silhouette against the hero's: a trimmed, robust search for the nearest outline.

Only those stretches of a part's outline that lie on the hero's can be measured. A point counts while its nearest
place on the hero's outline is within reach, faces the same way, and is not far off the rest of them; the reach
shrinks from what the start may be off to what noise leaves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.registration.edges import Bools, Edges, Samples, edges_of, samples_of
from choreo.geometry.registration.motion import (
    Evidence,
    Lever,
    descend,
    determined,
    jacobian,
    lever_of,
    moved,
    name_held,
    settle,
    split,
    then_moved,
)
from choreo.geometry.registration.similarity import apply, start_from_moments
from choreo.model.plan import Floats
from choreo.model.registration import EVERYTHING, Arrow, OutlineFit, Similarity

_FACING, _FACING_AT_LAST = 0.85, 0.97
"""Cosines of 32 and 14 degrees: by so much two outlines that are the same may differ in direction, at first and in
the end. Where another part's outline sets in, the hero's turns away, and must not pass for this part's corner."""
_TUKEY = 4.685
"""Residuals beyond so many standard deviations have no weight: 95 % efficient on normal noise (Beaton, Tukey 1974)."""
_MEDIAN_TO_SD = 1.4826
_LEAST_SD_PX = 0.04
"""Edges of a matte of 8 bit are not better known than this."""
_LEAST_REACH_PX = 1.0
"""Below this a reach would cut into the noise of a hand-made matte."""
_VISIBLE = 0.004
"""A motion of 1 px shows as 0.06 px: what traced pixels make of a perfect circle stays below that."""
_ALIKE_PX = 4.0
"""Neighbours on a traced outline share their noise over about so many px."""
_LEAST_USED_PX = 12.0
"""A shorter stretch is no evidence: anything has an edge somewhere that runs the same way."""
_COVERED_PX = 2.0
"""An outline so deep inside the other parts is none of the hero's: what a start is usually off, and a seam."""
_ARROWS = 48
_COARSE = 4
"""Only each so-many-th point while the reach is wide."""


def register_outline(
    part: Sequence[BaseGeometry],
    hero: Sequence[BaseGeometry],
    start: Similarity | None = None,
    *,
    others: BaseGeometry | None = None,
    reach_px: float | None = None,
) -> OutlineFit:
    """Return where a part's outline fits the hero's best.

    A local optimum, the best of those reached from three widths of search. What the visible stretches do not
    determine is held at the start and named. Same input, same answer.

    Parameters
    ----------
    part : sequence of Polygon
        Plate px; traced finely: `simplify_px` of 0.1 or less, or the simplified corners are what is compared.
    hero : sequence of Polygon
        Hero px, traced as finely.
    start : Similarity, optional
        Plate px to hero px, by the numbers; from area, middle and long axis if left out.
    others : Polygon or MultiPolygon, optional
        All other parts at their places, hero px: outlines well inside them are no outline of the hero.
    reach_px : float, optional
        How far off the start may be; a seventh of the part's size, and 4 px, if left out.

    Notes
    -----
    Iterative closest points (Besl and McKay 1992) with distances to the tangent (Chen and Medioni 1992), weights by
    Tukey's biweight, and Gauss-Newton steps with damping. Nearest places are exact (a tree of edges).

    """
    samples = samples_of(part)
    if start is None:
        start = start_from_moments(shapely.union_all(list(part)), shapely.union_all(list(hero)))
    if not len(samples):
        return _nothing(start)
    points, normals = apply(start, samples.points), _turned(start, samples.normals)
    placed = Samples(points, normals, samples.step_px * start.scale)
    lever = lever_of(placed.points, placed.step_px)
    search = _Search(placed, lever, edges_of(hero), _inside(others))
    widest = reach_px if reach_px is not None else 4.0 + lever.radius / 7
    tried = [search.from_reach(widest / width) for width in (1.0, 3.0, 9.0)]
    motion = max(tried, key=search.agreement)  # the first of equals, so the widest
    return search.finish(motion, start)


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Points compared with the hero, at one motion."""

    which: np.ndarray[tuple[int], np.dtype[np.int64]]
    there: Floats
    normals: Floats
    own: Floats
    """The part's own normals there."""
    off: Floats
    """Along the hero's normal, px; above 0 where the part sticks out."""
    weight: Floats
    """Length of outline each stands for, less what is distrusted, px."""
    sd: float


@dataclass(frozen=True, eq=False)
class _Search:
    samples: Samples
    lever: Lever
    hero: Edges
    covered: BaseGeometry | None

    def from_reach(self, widest: float) -> Floats:
        """Descend while the reach shrinks."""
        motion, reach = np.zeros(4), widest
        while True:
            last = reach <= _LEAST_REACH_PX
            thinner = self.samples if last else self.samples.every(min(_COARSE, max(1, len(self.samples) // 400)))
            steps = 25 if last else 6
            motion = descend(lambda m, s=thinner, r=reach: self.evidence(m, s, r), motion, np.eye(4), steps, reach)  # type: ignore[misc]
            if last:
                return motion
            reach = max(reach / 2, _LEAST_REACH_PX)

    def agreement(self, motion: Floats) -> float:
        """Length of outline that agrees to within the least reach, weighted by how well."""
        found = self.pairs(motion, self.samples, _LEAST_REACH_PX)
        if found is None:
            return 0.0
        near = np.maximum(0.0, 1 - (found.off / _LEAST_REACH_PX) ** 2) ** 2
        return round(float(self.samples.step_px[found.which] @ near), 3)

    def evidence(self, motion: Floats, samples: Samples, reach: float) -> Evidence | None:
        """One step of least squares."""
        found = self.pairs(motion, samples, reach)
        if found is None:
            return None
        steep = jacobian(found.there, self.lever, motion)
        rows, own = (np.einsum("ni,nij->nj", normals, steep) for normals in (found.normals, found.own))
        total = float(found.weight.sum())
        weighted = rows * found.weight[:, None]
        normal = rows.T @ weighted / total
        slope = weighted.T @ found.off / total
        # What only one of the two outlines has, noise or another part's corner, is no evidence.
        shared = own.T @ weighted / total
        return Evidence(normal, slope, found.sd**2, total / _ALIKE_PX, (shared + shared.T) / 2, _VISIBLE * np.eye(4))

    def pairs(self, motion: Floats, samples: Samples, reach: float) -> _Pairs | None:
        """Points that can be compared, or None where there are too few."""
        there = moved(samples.points, self.lever, motion)
        which, edge, foot = self.hero.nearest(there, reach)
        normals = self.hero.normals[edge]
        spin = motion[3] / self.lever.radius
        cos, sin = np.cos(spin), np.sin(spin)
        own = samples.normals[which] @ np.array([[cos, sin], [-sin, cos]])
        facing = (own * normals).sum(axis=1)
        kept = (facing > (_FACING if reach > _LEAST_REACH_PX else _FACING_AT_LAST)) & self._bare(there[which])
        which, normals, own, facing = which[kept], normals[kept], own[kept], facing[kept]
        off = (normals * (there[which] - foot[kept])).sum(axis=1)
        length = samples.step_px[which]
        if float(length.sum()) < _LEAST_USED_PX:
            return None
        middle = float(np.median(off)) if reach > _LEAST_REACH_PX else 0.0
        sd = max(_LEAST_SD_PX, _MEDIAN_TO_SD * float(np.median(np.abs(off - middle))))
        weight = length * facing**2 * np.maximum(0.0, 1 - (off / (_TUKEY * max(sd, abs(middle)))) ** 2) ** 2
        if float(weight.sum()) < _LEAST_USED_PX / 2:
            return None
        return _Pairs(which, there[which], normals, own, off, weight, sd)

    def finish(self, motion: Floats, start: Similarity) -> OutlineFit:
        """Hold what is not determined, and say how well the rest fits."""

        def measure(m: Floats) -> Evidence | None:
            return self.evidence(m, self.samples, _LEAST_REACH_PX)

        motion, parted = settle(measure, motion, 25, _LEAST_REACH_PX)
        found = self.pairs(motion, self.samples, _LEAST_REACH_PX)
        if found is None or not parted.free.shape[1]:
            return _nothing(start)
        sure = measure(motion)
        used = found.weight > 0
        off, length = np.abs(found.off[used]), self.samples.step_px[found.which[used]]
        worst = int(np.argmax(off))
        at = found.there[used][worst]
        picks = np.linspace(0, len(off) - 1, min(_ARROWS, len(off))).round().astype(np.int64)
        arrows = found.there[used][picks], (-found.off[:, None] * found.normals)[used][picks]
        return OutlineFit(
            transform=then_moved(start, self.lever, motion),
            mean_px=float(off @ length / length.sum()),
            worst_px=float(off[worst]),
            worst_at_px=(float(at[0]), float(at[1])),
            used_share=float(length.sum() / self.samples.step_px.sum()),
            used_px=float(length.sum()),
            sd_px=split(sure, parted).sd_px if sure is not None else 0.0,
            held=name_held(parted.unseen, self.lever, motion),
            determined=determined(parted),
            arrows=tuple(
                Arrow((float(x), float(y)), (float(u), float(v))) for (x, y), (u, v) in zip(*arrows, strict=True)
            ),
        )

    def _bare(self, points: Floats) -> Bools:
        """Whether points are not well inside the other parts."""
        if self.covered is None:
            return np.ones(len(points), dtype=np.bool_)
        return np.asarray(~shapely.contains_xy(self.covered, points[:, 0], points[:, 1]))


def _inside(others: BaseGeometry | None) -> BaseGeometry | None:
    if others is None or others.is_empty:
        return None
    inner = others.buffer(-_COVERED_PX)
    shapely.prepare(inner)
    return inner


def _turned(transform: Similarity, normals: Floats) -> Floats:
    turn = np.radians(transform.turn_degrees)
    return np.asarray(normals @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]))


def _nothing(start: Similarity) -> OutlineFit:
    """The answer where no stretch of the part is on the hero's outline."""
    return OutlineFit(start, 0.0, 0.0, start.shift_px, 0.0, 0.0, 0.0, (EVERYTHING,), ())
