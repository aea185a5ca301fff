"""What is to be drawn of each part on a frame: the region that is seen, its faces and its side walls.

The region is exact: the part's silhouette, less what the masks leave out, less everything that is drawn above
it. Inside that region the bands of a part are painted from the far one to the near one, so faces need no
cutting among themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import Camera, camera_from_matrix
from choreo.geometry.cameras.silhouette import face_on_screen, silhouettes
from choreo.geometry.plane.regions import LEAST_AREA_PX2, NOTHING, Shapes, polygons_that_matter
from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import solids_on, turns_of
from choreo.model.assembly import Vector
from choreo.model.plan import Floats, Region
from choreo.model.tracks import ShotTracks

WALL, FACE = "wall", "face"
Coat = tuple[str, BaseGeometry]
"""A tone and where it is painted, px."""


@dataclass(frozen=True, eq=False)
class Seen:
    """What one frame shows of one part, px."""

    part: str
    region: BaseGeometry
    """Polygons; all that is seen of the part."""
    coats: tuple[Coat, ...]
    """Painted one over the other onto the region, which is wall to begin with: tone and where."""


def pictures(
    solids: Mapping[str, Solid],
    shot: ShotTracks,
    frames: Sequence[int],
    resolution: tuple[int, int],
    fine_px: Sequence[float],
    offsets: Mapping[str, Vector] = MappingProxyType({}),
) -> list[tuple[Seen, ...]]:
    """Return what is seen on some frames, for each the parts from back to front; hidden ones are left out.

    Parameters
    ----------
    solids : mapping of part id to Solid
        In their assembled places, mm.
    shot : ShotTracks
        Cameras, positions and masks.
    frames : sequence of int
        Of the shot.
    resolution : (width, height)
        px; nothing outside of the frame is shown.
    fine_px : sequence of float
        For each frame: faces and walls narrower than this are not painted apart. Regions stay exact.
    offsets : mapping of part id to (x, y, z)
        Origins of the parts, mm: what spins turns about them.

    """
    cameras = [camera_from_matrix(shot.cameras[frame]) for frame in frames]
    turns = turns_of(shot.parts, offsets)
    whole = {track.id: _body(solids[track.id], cameras, fine_px, track.position[list(frames)]) for track in shot.parts}
    drawn = []
    for row, frame in enumerate(frames):
        bodies = {part: (body, row) for part, body in whole.items()}
        stood = solids_on({part: solids[part] for part in turns}, turns, frame)
        for track in shot.parts:
            if track.id in stood:  # turned otherwise on every frame
                moves = track.position[frame : frame + 1]
                bodies[track.id] = _body(stood[track.id], [cameras[row]], [fine_px[row]], moves), 0
        drawn.append(tuple(_frame(bodies, shot, frame, resolution)))
    return drawn


@dataclass(frozen=True, eq=False)
class _Body:
    """One part on all frames that are asked for."""

    solid: Solid
    cameras: Sequence[Camera]
    fine_px: Sequence[float]
    moves: Floats
    """(frames, 3) mm"""
    outlines: Shapes
    """(frames,)"""
    _walls: dict[int, Shapes] = field(default_factory=dict)
    _faces: dict[tuple[int, int], tuple[BaseGeometry, float]] = field(default_factory=dict)

    def coats(self, row: int) -> Iterator[Coat]:
        """Faces and walls from the far band to the near one; the ground coat is wall.

        A wall is painted only over a face: on ground coat it would not show.
        """
        middle = self.solid.bounds.mean(axis=0) + self.moves[row]
        fine_mm = self.fine_px[row] / float(self.cameras[row].scale_at(middle))
        over_face = False
        for index, side in self._far_to_near(row):
            if over_face and self._height_px(index, row, middle) > self.fine_px[row]:
                yield WALL, self._wall(index)[row]
            face = self._face(index, row, side, fine_mm) if side else NOTHING
            if not face.is_empty:
                over_face = True
                yield FACE, face

    def _height_px(self, index: int, row: int, middle: Floats) -> float:
        """How much wall of a band the camera shows, about."""
        band, lift = self.solid.bands[index], self.moves[row, 2]
        ends = np.array([[middle[0], middle[1], z + lift] for z in (band.z0, band.z1)])
        low, high = self.cameras[row].project(ends)[0]
        return float(np.hypot(*(high - low)))

    def _far_to_near(self, row: int) -> list[tuple[int, int]]:
        """Bands and the side that each shows: 1 its upper face, -1 its lower one, 0 none."""
        camera, lift = self.cameras[row], float(self.moves[row, 2])
        if camera.position is None:
            side = int(np.sign(-camera.forward[2]))
            sides = [side] * len(self.solid.bands)
        else:
            eye = float(camera.position[2]) - lift
            sides = [int(eye > band.z1) - int(eye < band.z0) for band in self.solid.bands]
        up = [(index, side) for index, side in enumerate(sides) if side > 0]
        down = [(index, side) for index, side in enumerate(sides) if side < 0]
        return [*up, *reversed(down), *((index, side) for index, side in enumerate(sides) if side == 0)]

    def _wall(self, index: int) -> Shapes:
        if index not in self._walls:
            self._walls[index] = silhouettes(Solid((self.solid.bands[index],)), self.cameras, self.moves)
        return self._walls[index]

    def _face(self, index: int, row: int, side: int, fine_mm: float) -> BaseGeometry:
        """The face on that side, as far as the next band leaves it bare."""
        section, z = self._bared(index, side)
        if 2 * section.area <= fine_mm * section.length:
            return NOTHING
        return face_on_screen(section, z, self.cameras[row], self.moves[row])

    def _bared(self, index: int, side: int) -> tuple[BaseGeometry, float]:
        if (index, side) not in self._faces:
            band, after = self.solid.bands[index], index + side
            z, section = (band.z1 if side > 0 else band.z0), band.section
            if 0 <= after < len(self.solid.bands):
                other = self.solid.bands[after]
                if z in (other.z0, other.z1):
                    section = _areas(shapely.difference(section, other.section))
            self._faces[index, side] = section, z
        return self._faces[index, side]


def _body(solid: Solid, cameras: Sequence[Camera], fine_px: Sequence[float], moves: Floats) -> _Body:
    return _Body(solid, cameras, fine_px, moves, silhouettes(solid, cameras, moves))


def _frame(
    bodies: Mapping[str, tuple[_Body, int]], shot: ShotTracks, frame: int, screen: tuple[int, int]
) -> list[Seen]:
    """Bodies come with the row that the frame is in each of them."""
    held = held_out(shot, frame)
    covered, found = NOTHING, []
    for part in reversed(order_on(shot, frame)):
        body, row = bodies[part]
        whole = body.outlines[row]
        layer = _on_screen(whole, screen)
        if part in held:
            layer = shapely.difference(layer, held[part])
        region = layer
        if shapely.intersects(layer, covered):
            if shapely.covered_by(layer, covered):
                continue
            region = shapely.difference(layer, covered)
        covered = shapely.union(covered, layer)
        region = _areas(region)
        if not region.is_empty:
            coats = body.coats(row)
            found.append(Seen(part, region, tuple(coats if region is whole else _within(region, coats))))
    return found[::-1]


def _on_screen(shape: BaseGeometry, screen: tuple[int, int]) -> BaseGeometry:
    """The shape itself if all of it is inside the frame."""
    left, top, right, bottom = shape.bounds if not shape.is_empty else (0, 0, 0, 0)
    if left >= 0 and top >= 0 and right <= screen[0] and bottom <= screen[1]:
        return shape
    return shapely.intersection(shape, shapely.box(0, 0, *screen))


def _within(region: BaseGeometry, coats: Iterator[Coat]) -> Iterator[Coat]:
    """The coats as far as they are on the region."""
    shapely.prepare(region)
    for tone, shape in coats:
        if shapely.intersects(region, shape):
            inside = shape if shapely.covers(region, shape) else _areas(shapely.intersection(shape, region))
            if not inside.is_empty:
                yield tone, inside


def order_on(shot: ShotTracks, frame: int) -> tuple[str, ...]:
    """Return the layer order of a frame, back to front."""
    return next(span.back_to_front for span in shot.masking.orders if span.first <= frame <= span.last)


def held_out(shot: ShotTracks, frame: int) -> dict[str, BaseGeometry]:
    """Return what is left out of each part's layer on a frame, px; parts without holdouts are not in it."""
    regions: dict[str, list[BaseGeometry]] = {}
    for holdout in shot.masking.holdouts:
        if holdout.first <= frame <= holdout.last:
            regions.setdefault(holdout.part, []).extend(map(_polygon, holdout.region))
    return {part: shapely.union_all(shapes) for part, shapes in regions.items()}


def _polygon(region: Region) -> BaseGeometry:
    polygon = shapely.Polygon(region.outline, region.holes)
    return polygon if polygon.is_valid else shapely.make_valid(polygon)  # rounding may have folded a corner


def _areas(shape: BaseGeometry) -> BaseGeometry:
    """Polygons only, and none that is a leftover of rounding."""
    if shape.geom_type == "Polygon":
        return shape if shape.area >= LEAST_AREA_PX2 else NOTHING
    parts = shapely.get_parts(shape)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON]
    kept = parts[polygons_that_matter(parts)]
    return kept[0] if len(kept) == 1 else shapely.multipolygons(kept)
