"""A finished layout in which some parts are tried elsewhere: what a place must keep, and how many ways then cross."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import shapely

from choreo.geometry.cameras.camera import Camera
from choreo.geometry.layout.axial import shows
from choreo.geometry.layout.placement import hulls_through
from choreo.geometry.layout.subject import Frame, Subject
from choreo.geometry.plane.crossing import cross, crossed
from choreo.geometry.plane.unions import Geometries
from choreo.model.plan import Floats

_OK_PX = 1e-5
"""px that may be missing of a gap by rounding."""


class Rested:
    """All routes of a layout under cameras that are settled.

    Attributes
    ----------
    routes : dict of part id to (k, 3) array
        From assembled to rest, mm.
    aside : set of str
        Parts that rest beside their removal axis, as that axis does not show.
    watched : list of Camera
        All cameras of the frames at rest; sideways places are chosen on the middle one.
    names : list of str
        All but the body, as they come free.
    starts, ends : (n, 2) array
        Middles of these parts on the first frame at rest, px, assembled and at rest.

    """

    def __init__(
        self,
        subject: Subject,
        routes: Mapping[str, Floats],
        watched: Sequence[Camera],
        frame: Frame,
        shown: Callable[[str, Floats], bool],
    ) -> None:
        self.subject, self.frame, self.watched, self._shown = subject, frame, list(watched), shown
        self.routes = dict(routes)
        self.names = list(subject.order)
        self.aside = {part for part in self.names if not shows(subject.directions[part], self.watched)}
        self.middle = len(self.watched) // 2
        self.matrices = np.stack([camera.matrix for camera in self.watched])
        self._middles = np.stack([subject.points[part].mean(axis=0) for part in self.names])
        self.starts = self.watched[0].project(self._middles)[0]
        self.ends = self.ends_of(self.names, self.routes)
        self.hulls: dict[str, Geometries] = {part: self._hulls(part, route) for part, route in self.routes.items()}
        self.lanes = {part: self._lane(part, self.routes[part]) for part in self.names}

    @property
    def eye(self) -> Camera:
        """The camera on which sideways places are chosen."""
        return self.watched[self.middle]

    def rank(self, part: str) -> int:
        """When a part comes free; its row in `starts` and `ends`."""
        return self.names.index(part)

    def air(self, part: str, route: Floats) -> float:
        """Return the clearance on the middle screen where a part rests, px."""
        at = self.subject.points[part].mean(axis=0) + route[-1]
        return self.frame.clearance_mm * float(self.eye.scale_at(at))

    def ends_of(self, parts: Sequence[str], routes: Mapping[str, Floats]) -> Floats:
        """Where the middles of parts rest on the first frame at rest, (n, 2) px."""
        rests = np.stack([self._middles[self.rank(part)] + routes[part][-1] for part in parts])
        return self.watched[0].project(rests)[0]

    def crossings(self) -> int:
        """How many pairs of ways cross."""
        return int(crossed(self.starts, self.ends).sum()) // 2

    def crossings_of(self, parts: Sequence[str], ends: Floats) -> np.ndarray:
        """Return how many pairs of ways cross of which one is of these parts, were their ends (..., m, 2) there."""
        own = [self.rank(part) for part in parts]
        rest = [row for row in range(len(self.names)) if row not in own]
        starts = self.starts[own]
        count = cross(starts[:, None], ends[..., :, None, :], self.starts[rest], self.ends[rest]).sum(axis=(-2, -1))
        one, two = np.triu_indices(len(own), 1)
        return np.asarray(count + cross(starts[one], ends[..., one, :], starts[two], ends[..., two, :]).sum(axis=-1))

    def travel(self) -> float:
        """Sum of all ways on the screen, px."""
        return float(np.linalg.norm(self.ends - self.starts, axis=1).sum())

    def take(self, moved: Mapping[str, Floats]) -> None:
        """Let parts rest at the ends of other routes."""
        for part, route in moved.items():
            self.routes[part], self.hulls[part] = route, self._hulls(part, route)
            self.lanes[part] = self._lane(part, route)
        self.ends = self.ends_of(self.names, self.routes)

    def holds(self, moved: Mapping[str, Floats]) -> bool:
        """Whether all that a layout keeps still holds if these parts take these routes.

        The gap to all others on every frame at rest, so that all of each part shows; the safe area at rest and the
        frame on the way; nobody who leaves later passes over a part that rests aside, on the middle screen, or
        through one in space.
        """
        hulls = {**self.hulls, **{part: self._hulls(part, route) for part, route in moved.items()}}
        lanes = {**self.lanes, **{part: self._lane(part, route) for part, route in moved.items()}}
        routes = {**self.routes, **moved}
        least = self.frame.gap_px - _OK_PX
        for part in moved:
            others = np.stack([hulls[other] for other in hulls if other != part])
            if shapely.dwithin(others, hulls[part], least).any() if least > 0 else False:
                return False
        if not all(self._shown(part, route) for part, route in moved.items()):
            return False
        pairs = {tuple(sorted((part, other), key=self.rank)) for part in moved for other in self.names if other != part}
        ordered = sorted(pairs, key=lambda pair: (self.rank(pair[0]), self.rank(pair[1])))
        return not any(self._passes(late, early, routes, hulls, lanes) for early, late in ordered)

    def _passes(
        self,
        late: str,
        early: str,
        routes: Mapping[str, Floats],
        hulls: Mapping[str, Geometries],
        lanes: Mapping[str, shapely.Geometry],
    ) -> bool:
        """Whether who leaves later passes, on its way, who is at rest by then."""
        rest, points = routes[early][-1], self.subject.points
        if early in self.aside:
            air = self.air(early, routes[early]) / 2
            if shapely.dwithin(lanes[late], hulls[early][self.middle], air):
                return True
        room = self.frame.clearance_mm + 2 * self.subject.encounters.touch_mm
        low, high = points[late].min(axis=0) - room, points[late].max(axis=0) + room
        legs, there = routes[late], points[early] + rest
        if (there.max(axis=0) < low + legs.min(axis=0)).any() or (there.min(axis=0) > high + legs.max(axis=0)).any():
            return False
        return self.subject.encounters.hits(late, legs, early, rest, kept=True)

    def _hulls(self, part: str, route: Floats) -> Geometries:
        return hulls_through(self.subject.points[part] + route[-1], self.matrices)

    def _lane(self, part: str, route: Floats) -> shapely.Geometry:
        swept = (self.subject.points[part] + route[:, None]).reshape(-1, 3)
        return hulls_through(swept, self.matrices[self.middle, None])[0]
