"""What the page's moving picture is drawn from: solids, cameras, places, orders and holdouts, as plain JSON data.

Nothing is drawn here. Lengths are rounded to a ten-thousandth of a mm, places on the screen to a hundredth of a px,
cameras to ten significant digits: together far below what a pixel can show. Regions are written as a start and
steps, in hundredths of a px. What stays the same over frames is written once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.cameras.camera import camera_from_matrix
from choreo.geometry.solids.solid import Band, Solid
from choreo.model.assembly import Assembly, Ring
from choreo.model.plan import Floats
from choreo.model.tracks import FilmSection, Holdout, PartTrack, ShotTracks, Tracks
from choreo.picture.page.plates import SmallPlate
from choreo.picture.page.taken import taken_over
from choreo.picture.palette import tints
from choreo.picture.render.colour import hex_to_linear
from choreo.picture.render.facets import facets_of
from choreo.picture.render.solids import lamp

BACKDROP = "#dadada"
"""Behind the product, in light and dark alike: the picture that is judged is always the same one."""
_MM_DIGITS, _PX_DIGITS, _SIGNIFICANT = 4, 2, 10


def film_data(
    assembly: Assembly,
    solids: Mapping[str, Solid],
    tracks: Tracks,
    plates: Mapping[str, Mapping[str, SmallPlate]],
    hero: SmallPlate | None,
) -> dict[str, Any]:
    """Return the film as JSON data; parts are numbered in the order of the assembly.

    Parameters
    ----------
    assembly : Assembly
    solids : mapping of part id to Solid
        In their assembled places, mm.
    tracks : Tracks
        Of this assembly.
    plates : mapping of shot name to mapping of part id to SmallPlate
        Parts without one are drawn as shaded solids.
    hero : SmallPlate or None

    """
    head = film_head(assembly, solids, tracks, plates, hero)
    return {**head, "shots": [shot_data(shot, assembly, plates, with_hero=hero is not None) for shot in tracks.shots]}


def film_head(
    assembly: Assembly,
    solids: Mapping[str, Solid],
    tracks: Tracks,
    plates: Mapping[str, Mapping[str, SmallPlate]],
    hero: SmallPlate | None,
) -> dict[str, Any]:
    """Return all of `film_data` but its shots."""
    solid = {track.id for shot in tracks.shots for track in shot.parts if track.id not in plates.get(shot.name, {})}
    return {
        "rate": list(tracks.frame_rate),
        "size": list(tracks.resolution),
        "backdrop": BACKDROP,
        "parts": [
            {
                "label": part.label,
                "light": _list(hex_to_linear(tints(part.colour).face), 6),
                "origin": _list(np.array(part.offset), _MM_DIGITS),
                "bands": _bands(solids[part.id]) if part.id in solid else [],
            }
            for part in assembly.parts
        ],
        "plates": [one.data() for one in _every(plates)],
        "hero": None if hero is None else hero.data(),
        **film_length(tracks.shots, tracks.sections),
    }


def film_length(shots: Sequence[ShotTracks], sections: Sequence[FilmSection]) -> dict[str, Any]:
    """Return what of `film_head` changes where a shot becomes longer or shorter."""
    return {
        "frames": sum(shot.frames for shot in shots),
        "sections": [[one.name, one.first, one.last] for one in sections],
    }


def shot_data(
    shot: ShotTracks, assembly: Assembly, plates: Mapping[str, Mapping[str, SmallPlate]], *, with_hero: bool
) -> dict[str, Any]:
    """Return one shot of `film_data`."""
    index = {part: number for number, part in enumerate(assembly.ids)}
    data = _shot(shot, index, plates.get(shot.name, {}), _every(plates), with_hero=with_hero)
    taken = taken_over(shot, assembly) if with_hero else []
    if taken:
        data["taken"] = [
            [index[part], first, _list(np.array(atop), 5), [ring for one in rings if (ring := _steps(one))]]
            for part, first, atop, rings in taken
        ]
    return data


def _every(plates: Mapping[str, Mapping[str, SmallPlate]]) -> list[SmallPlate]:
    """Each plate once, in the order in which shots show them first."""
    return list({id(one): one for shot in plates.values() for one in shot.values()}.values())


def _bands(solid: Solid) -> list[dict[str, Any]]:
    """Bands with the rings of their section, and of what the next bands leave bare of it where that is less."""
    facets = facets_of(solid)
    return [
        {
            "z": _list(np.array([band.z0, band.z1]), _MM_DIGITS),
            "rings": _rings(band.section),
            "convex": _is_convex(band),
            "bare": [None if face is band.section else _rings(face) for face in bare],
        }
        for band, bare in zip(solid.bands, facets.bare, strict=True)
    ]


def _is_convex(band: Band) -> bool:
    """Whether no wall of the band that looks at a camera can hide another one that does."""
    section = band.section
    if section.geom_type != "Polygon" or len(section.interiors):
        return False
    hull = shapely.convex_hull(section)
    return bool(hull.area - section.area <= 1e-9 * hull.area)


def _rings(section: BaseGeometry) -> list[list[float | int]]:
    """Rings as x, y, x, y; the material lies to the left of every edge, the first ring of a polygon is its outside."""
    polygons = shapely.orient_polygons(shapely.get_parts(section), exterior_cw=False)
    return [_list(shapely.get_coordinates(ring)[:-1], _MM_DIGITS) for ring in shapely.get_rings(polygons)]


def _shot(
    shot: ShotTracks,
    index: Mapping[str, int],
    plates: Mapping[str, SmallPlate],
    every: Sequence[SmallPlate],
    *,
    with_hero: bool,
) -> dict[str, Any]:
    cameras, which = np.unique(shot.cameras.reshape(-1, 12), axis=0, return_inverse=True)
    shows_hero = with_hero and bool((shot.hero_opacity > 0).any())
    return {
        "name": shot.name,
        "start": shot.start_frame,
        "frames": shot.frames,
        "cameras": [_camera(row.tobytes()) for row in cameras],
        "camera": which.ravel().tolist(),
        "parts": [_track(track, index[track.id], plates.get(track.id), every) for track in shot.parts],
        "orders": [
            [span.first, span.last, [index[part] for part in span.back_to_front]] for span in shot.masking.orders
        ],
        "holdouts": [_holdout(one, index) for one in shot.masking.holdouts],
        "hero": _list(shot.hero_opacity, 5) if shows_hero else None,
    }


@lru_cache(2048)
def _camera(matrix: bytes) -> dict[str, Any]:
    """Data of a camera, for all to read: an edit of the timing leaves every camera where it is."""
    camera = camera_from_matrix(np.frombuffer(matrix).reshape(3, 4))
    light, dark = lamp(camera)
    return {
        "matrix": _digits(camera.matrix.ravel()),
        "eye": None if camera.position is None else _digits(camera.position),
        "forward": _digits(camera.forward),
        "light": _digits(light),
        "dark": dark,
    }


def _track(track: PartTrack, number: int, plate: SmallPlate | None, every: Sequence[SmallPlate]) -> dict[str, Any]:
    """Rows that never change are written once."""
    rows = {
        "position": (track.position, _MM_DIGITS),
        "screen": (track.screen, _PX_DIGITS + 1),
        "scale": (track.scale[:, None], 6),
        "opacity": (track.opacity[:, None], 5),
        "turn": (np.zeros((1, 1)) if track.turn is None else track.turn[:, None], 5),
        "register": (np.array([[0.0, 0.0, 1.0, 0.0]]) if track.register is None else track.register, 5),
    }
    out: dict[str, Any] = {name: _list(_once(array), digits) for name, (array, digits) in rows.items()}
    out["part"] = number
    out["plate"] = None if plate is None else next(at for at, one in enumerate(every) if one is plate)
    out["picture"] = [0] if plate is None else _list(_once(_pictures(track, plate)), 0)
    return out


def _pictures(track: PartTrack, plate: SmallPlate) -> Floats:
    return np.array([[float(plate.number(frame))] for frame in track.plate_frame])


def _once(rows: Floats) -> Floats:
    return rows[:1] if bool((rows == rows[0]).all()) else rows


def _holdout(holdout: Holdout, index: Mapping[str, int]) -> list[Any]:
    rings = [_steps(ring) for region in holdout.region for ring in (region.outline, *region.holes)]
    behind = [index[part] for part in holdout.behind]
    return [index[holdout.part], holdout.first, holdout.last, behind, [ring for ring in rings if ring]]


def _steps(ring: Ring) -> list[int]:
    """A start and steps, hundredths of a px; nothing where less than a triangle is left."""
    points = np.rint(np.asarray(ring) * 10**_PX_DIGITS).astype(np.int64)
    points = points[(points != np.roll(points, 1, axis=0)).any(axis=1)]
    if len(points) < 3:
        return []
    return [int(value) for value in np.concatenate([points[:1], np.diff(points, axis=0)]).ravel()]


def _list(array: Floats, digits: int) -> list[float | int]:
    values = np.round(np.asarray(array, dtype=np.float64), digits).ravel().tolist()
    return [int(value) if value.is_integer() else value for value in values]


def _digits(values: Floats) -> list[float | int]:
    short = (float(f"{value:.{_SIGNIFICANT - 1}e}") for value in values.tolist())
    return [int(value) if value.is_integer() else value for value in short]
