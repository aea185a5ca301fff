"""Masking proved by lines of sight: what remains on top is what is nearest, and no holdout stands idle.

Points are drawn on the screen, and the line of sight through each is met with every prism: the stretch of it
between the prism's two faces, cut by the prism's outline. No silhouette, no region, no separating plane: it
shares nothing with the passes. It samples where they are exact, so it can miss; what it finds is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import shapely
from numpy.typing import NDArray

from choreo.errors import Finding
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import Turns, solids_on
from choreo.model.plan import Floats, Region
from choreo.model.tracks import Masking

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

_EDGE_PX = 1.0
"""A point is judged only if all is the same this far around it: nearer to an edge a pixel is a mixture."""


def check_masking(
    plan: Masking,
    solids: Mapping[str, Solid],
    cameras: Floats,
    positions: Mapping[str, Floats],
    frames_checked: int = 24,
    points: int = 600,
    turns: Mapping[str, Turns] = MappingProxyType({}),
    touch_mm: float = 0.0,
    pressed: Mapping[frozenset[str], float] = MappingProxyType({}),
) -> list[Finding]:
    """Return what is wrong with the layer orders and holdouts of a shot.

    Parameters
    ----------
    plan : Masking
    solids : mapping of part id to Solid
    cameras : (frames, 3, 4) array
    positions : mapping of part id to (frames, 3) array
        Displacement from assembled, mm.
    frames_checked : int
        How many frames are sampled, spread evenly; the ends of spans come on top of them.
    points : int
        On each of these.
    turns : mapping of part id to Turns
        Of the parts that spin.
    touch_mm : float
        How far parts may reach into each other, mm: within that neither of the two is the nearer one.
    pressed : mapping of two part ids to float
        Pairs that may do so by half of that more, mm.

    Returns
    -------
    list of Finding
        Errors: frames without their one order, layers missing from an order, a wrong part on top. Warnings:
        a holdout for which no sample shows the need (what needs it may be smaller than samples lie apart).

    """
    ids = list(solids)
    findings = _check_words(plan, ids, len(cameras))
    if findings:
        return findings
    needs = 0
    for frame in _frames(plan, len(cameras), frames_checked):
        look = _Look(plan, solids_on(solids, turns, int(frame)), cameras[frame], positions, int(frame))
        pixels = look.draw(points)
        findings += _check_truth(look, pixels, touch_mm, pressed)
        # Need takes many more points than truth, so fewer frames have to do.
        if look.holdouts and needs * 4 < frames_checked:
            needs += 1
            findings += _check_need(look, pixels)
    return findings


def _check_words(plan: Masking, ids: Sequence[str], frames: int) -> list[Finding]:
    """Every frame has one order, every order has every part once, every holdout names parts and frames."""
    findings: list[Finding] = []
    count = np.zeros(frames, dtype=np.int64)
    for span in plan.orders:
        if not 0 <= span.first <= span.last < frames:
            findings.append(_wrong(f"An order stands from frame {span.first} to {span.last} of {frames} frames."))
            continue
        count[span.first : span.last + 1] += 1
        if sorted(span.back_to_front) != sorted(ids):
            findings.append(_wrong(f"The order from frame {span.first} does not hold every part once."))
    uneven = np.flatnonzero(count != 1)
    if uneven.size:
        findings.append(_wrong(f"Frame {uneven[0]} has {count[uneven[0]]} orders; every frame needs one."))
    for holdout in plan.holdouts:
        if not 0 <= holdout.first <= holdout.last < frames:
            findings.append(_wrong(f'A holdout of "{holdout.part}" stands outside of the shot\'s {frames} frames.'))
        if not {holdout.part, *holdout.behind} <= set(ids):
            findings.append(_wrong(f'A holdout of "{holdout.part}" names a part that is not there.'))
    return findings


def _frames(plan: Masking, frames: int, wanted: int) -> Ints:
    spread = np.linspace(0, frames - 1, min(frames, wanted)).round().astype(np.int64)
    ends = [f for span in plan.orders for f in (span.first, span.last)]
    return np.unique(np.concatenate([spread, np.array(ends, dtype=np.int64)]))


def _check_truth(
    look: _Look, pixels: Floats, touch_mm: float, pressed: Mapping[frozenset[str], float]
) -> list[Finding]:
    """At most one finding a frame: a point where another part is on top than the nearest one."""
    depth = look.depths(pixels)
    true, drawn = _nearest(depth), look.top(pixels, depth)
    wrong = np.flatnonzero(true != drawn)
    around = np.array([[np.cos(a), np.sin(a)] for a in np.arange(8) * np.pi / 4])
    for row in wrong:
        # Parts met, and the nearest of them, must be the same all around.
        two = frozenset(look.ids[part] for part in (true[row], drawn[row]) if part >= 0)
        shared = touch_mm + pressed.get(two, 0.0) / 2
        reach = _EDGE_PX + shared * look.px_per_mm(pixels[row], depth[:, row].min())
        near = look.depths(pixels[row] + reach * around)
        calm = (np.isfinite(near) == np.isfinite(depth[:, row, None])).all() and (_nearest(near) == true[row]).all()
        if calm:
            x, y = pixels[row]
            return [
                _wrong(
                    f"On frame {look.frame} at ({x:.1f}, {y:.1f}) px the layers show {look.name(drawn[row])}, "
                    f"but {look.name(true[row])} is nearest to the camera."
                )
            ]
    return []


def _check_need(look: _Look, pixels: Floats) -> list[Finding]:
    """Whether each holdout's part and what it stands behind lie on a ring of relations that samples show."""
    depth = look.depths(np.concatenate([pixels, look.along_edges()]))
    met, true = np.isfinite(depth), _nearest(depth)
    over = np.array([met[:, true == t].any(axis=1) for t in range(len(look.ids))])
    np.fill_diagonal(over, val=False)
    closed = over.copy()
    for k in range(len(closed)):
        closed |= closed[:, k, None] & closed[None, k, :]
    ringed = closed & closed.T
    return [
        Finding(
            "check-holdout-not-needed",
            f'On frame {look.frame} "{part}" is left out behind "{behind}", '
            "and no sample shows why an order of layers would not do.",
            why="This is a check of the program's own work, not of your files.",
            remedy="Report it together with the assembly and the choreography.",
            severity="warning",
        )
        for part, all_behind, _ in look.holdouts
        for behind in all_behind
        if not ringed[look.ids.index(behind), look.ids.index(part)]
    ]


def _wrong(what: str) -> Finding:
    return Finding(
        "check-masking",
        what,
        why="This is a check of the program's own work, not of your files.",
        remedy="Report it together with the assembly and the choreography.",
    )


def _nearest(depth: Floats) -> Ints:
    """Part with the least depth at each point, -1 where none is met."""
    return np.where(np.isfinite(depth).any(axis=0), depth.argmin(axis=0), -1)


@dataclass(frozen=True, eq=False)
class _Prism:
    """Edges (e, 2) from and to, displaced, between two depths; and the screen box (4,) around all."""

    start: Floats
    end: Floats
    z0: float
    z1: float
    box: Floats


class _Look:
    """One frame: its lines of sight, its parts where they stand, its layers."""

    def __init__(
        self, plan: Masking, solids: Mapping[str, Solid], matrix: Floats, positions: Mapping[str, Floats], frame: int
    ) -> None:
        self.frame = frame
        self.ids = list(solids)
        self.matrix = matrix
        self.prisms = [self._prisms(solid, positions[name][frame]) for name, solid in solids.items()]
        (self.order,) = (s.back_to_front for s in plan.orders if s.first <= frame <= s.last)
        self.holdouts = [(h.part, h.behind, _shape(h.region)) for h in plan.holdouts if h.first <= frame <= h.last]

    def name(self, part: int) -> str:
        """Return the part in quotes."""
        return f'"{self.ids[part]}"' if part >= 0 else "no part"

    def draw(self, points: int) -> Floats:
        """Return points spread over the boxes of all prisms in turn, the same ones every time."""
        boxes = np.array([prism.box for prisms in self.prisms for prism in prisms])
        chosen = boxes[np.arange(points) % len(boxes)]
        share = np.random.default_rng(self.frame).random((points, 2))
        return np.asarray(chosen[:, :2] + share * (chosen[:, 2:] - chosen[:, :2]))

    def along_edges(self, most: int = 3000, beside_px: float = 0.5) -> Floats:
        """Return points on either side of all edges: what is seen only narrowly is seen there."""
        starts, ends = [], []
        for prism in (p for prisms in self.prisms for p in prisms):
            low, high = np.full(len(prism.start), prism.z0), np.full(len(prism.start), prism.z1)
            corners = [
                np.column_stack(xyz)
                for xyz in ((prism.start, low), (prism.end, low), (prism.start, high), (prism.end, high))
            ]
            a, b, c, d = (self._project(corner) for corner in corners)
            starts += [a, c, a]
            ends += [b, d, c]
        start, way = np.concatenate(starts), np.concatenate(ends) - np.concatenate(starts)
        length = np.hypot(*way.T)
        each = np.maximum(1, (length * most / 2 / length.sum())).astype(np.int64)
        edge = np.repeat(np.arange(len(each)), each)
        place = (np.arange(len(edge)) - np.repeat(np.cumsum(each) - each, each) + 0.5) / each[edge]
        on = start[edge] + place[:, None] * way[edge]
        side = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.maximum(length, 1e-12)[:, None]
        return np.concatenate([on + beside_px * side[edge], on - beside_px * side[edge]])

    def depths(self, pixels: Floats) -> Floats:
        """Return (parts, points): how far along its line of sight each part is met first; inf where never."""
        origin, away = _rays(self.matrix, pixels)
        out = np.full((len(self.ids), len(pixels)), np.inf)
        for part, prisms in enumerate(self.prisms):
            for prism in prisms:
                inside = (pixels >= prism.box[:2]) & (pixels <= prism.box[2:])
                rows = np.flatnonzero(inside.all(axis=1))
                if rows.size:
                    out[part, rows] = np.minimum(out[part, rows], _entry(prism, origin[rows], away[rows]))
        return out

    def px_per_mm(self, pixel: Floats, depth: float) -> float:
        """Return how many px a mm across the line of sight through a pixel spans at most, at that depth along it."""
        origin, away = _rays(self.matrix, pixel[None])
        w = float(self.matrix[2, :3] @ (origin[0] + depth * away[0]) + self.matrix[2, 3])
        slopes = self.matrix[:2, :3] - pixel[:, None] * self.matrix[2, :3]
        return float(np.linalg.norm(slopes, axis=1).max() / w)

    def top(self, pixels: Floats, depth: Floats) -> Ints:
        """Return the part that the layers and holdouts leave on top, -1 where none."""
        out = np.full(len(pixels), -1, dtype=np.int64)
        for name in self.order:
            part = self.ids.index(name)
            drawn = np.isfinite(depth[part])
            for held, _, shape in self.holdouts:
                if held == name:
                    drawn &= ~shapely.contains_xy(shape, pixels[:, 0], pixels[:, 1])
            out[drawn] = part
        return out

    def _prisms(self, solid: Solid, by: Floats) -> list[_Prism]:
        out = []
        for band in solid.bands:
            lines = shapely.get_rings(shapely.get_parts(band.section))
            rings = [shapely.get_coordinates(line) + by[:2] for line in lines]
            start = np.concatenate([ring[:-1] for ring in rings])
            end = np.concatenate([ring[1:] for ring in rings])
            z0, z1 = band.z0 + by[2], band.z1 + by[2]
            seen = np.concatenate([self._project(np.column_stack([start, np.full(len(start), z)])) for z in (z0, z1)])
            out.append(_Prism(start, end, z0, z1, np.concatenate([seen.min(axis=0), seen.max(axis=0)])))
        return out

    def _project(self, points: Floats) -> Floats:
        uvw = points @ self.matrix[:, :3].T + self.matrix[:, 3]
        return np.asarray(uvw[:, :2] / uvw[:, 2:])


def _shape(region: tuple[Region, ...]) -> shapely.geometry.base.BaseGeometry:
    shape = shapely.MultiPolygon([shapely.Polygon(r.outline, r.holes) for r in region])
    shapely.prepare(shape)
    return shape


def _rays(matrix: Floats, pixels: Floats) -> tuple[Floats, Floats]:
    """Where each line of sight starts and which way it goes, (m, 3) each; its points are origin + t * away."""
    linear, last = matrix[:, :3], matrix[:, 3]
    if linear[2].any():
        inverse = np.linalg.inv(linear)
        # Depth grows along the line if the third coordinate does, and with this sign it does.
        away = np.column_stack([pixels, np.ones(len(pixels))]) @ inverse.T
        return np.broadcast_to(-inverse @ last, away.shape), away
    forward = np.cross(linear[0], linear[1])
    forward /= np.linalg.norm(forward)
    plane = np.column_stack([pixels * last[2] - last[:2], np.zeros(len(pixels))])
    origin = np.linalg.solve(np.vstack([linear[:2], forward]), plane.T).T
    return origin, np.broadcast_to(forward, origin.shape)


def _entry(prism: _Prism, origin: Floats, away: Floats) -> Floats:
    """Where along each line of sight the prism begins; inf where it is missed. May be negative if parallel."""
    with np.errstate(divide="ignore", invalid="ignore"):
        to_faces = (np.array([[prism.z0], [prism.z1]]) - origin[:, 2]) / away[:, 2]
        level = away[:, 2] == 0
        between = (prism.z0 < origin[:, 2]) & (origin[:, 2] < prism.z1)
        low = np.where(level, np.where(between, -_FAR, np.inf), to_faces.min(axis=0))
        high = np.where(level, np.where(between, _FAR, -np.inf), to_faces.max(axis=0))
        edge, to_start = prism.end - prism.start, prism.start[None] - origin[:, None, :2]
        across = _cross(away[:, None, :2], edge[None])
        t = _cross(to_start, edge[None]) / across
        s = _cross(to_start, away[:, None, :2]) / across
        hit = (s >= 0) & (s < 1) & (t >= low[:, None]) & (t <= high[:, None])
    first = np.where(hit, t, np.inf).min(axis=1)
    begins_inside = (low < high) & _inside(prism, origin[:, :2] + np.clip(low, -_FAR, _FAR)[:, None] * away[:, :2])
    return np.where(begins_inside, low, first)


_FAR = 1e9
"""Farther (mm) than any product reaches; stands for "for ever" where infinity would spoil sums."""


def _inside(prism: _Prism, points: Floats) -> Bools:
    """Even-odd rule."""
    (x0, y0), (x1, y1) = prism.start.T, prism.end.T
    x, y = points[:, :1], points[:, 1:]
    spans = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        left = x < x0 + (y - y0) / (y1 - y0) * (x1 - x0)
    return np.asarray((spans & left).sum(axis=1) % 2 == 1)


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
