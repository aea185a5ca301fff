"""Say which photograph each frame shows, and whether the photographs fit the shot.

In:  assembly, cameras, tracks of one shot      Out: tuple of PlateUse

A part may have several plates, from several views. A shot uses one of them throughout, the one whose view comes
nearest on average: a cut between photographs would show. The plate is laid down by the track (pivot, scale), so
whatever a photograph cannot know of the shot's camera shows as parallax: it is measured, not guessed. A plate that
shows another side of its part throughout the shot is left aside, and the part is drawn as a solid.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from choreo.errors import Finding
from choreo.geometry.cameras.camera import Camera
from choreo.geometry.cameras.turning import rows_toward, table_rotation, table_turn, turn_about_z, view_off, view_rows
from choreo.model.assembly import Assembly, Plate
from choreo.model.choreography import FrameRate
from choreo.model.plan import Floats
from choreo.model.plate_use import PlateUse
from choreo.model.tracks import PartTrack
from choreo.motion.plate_frames import Found, frames_by_angle, frames_by_time, speed_percent

_ENLARGED = 1.0 + 1e-6
_PARALLAX_PX = 2.0
"""px; a plate that is farther off than this is worth a word. Common practice, no source."""
_OTHER_SIDE = 30.0
"""Degrees; a plate whose view is nowhere in the shot nearer to the one needed is of another side: what stands out by
its own width would lie off by half of that. Common practice, no source."""
_LISTED = 4


@dataclass(frozen=True, eq=False)
class _Sight:
    """One plate held against one part's track."""

    index: int
    plate: Plate
    needed: Floats
    """(n, 3, 3) from the part's axes to the picture."""
    shown: Floats
    """(n, 3, 3) what the photographs show instead."""
    off: Floats
    found: Found | None
    turn: Floats


def plan_plates(
    assembly: Assembly,
    rate: FrameRate,
    cameras: Sequence[Camera],
    tracks: Sequence[PartTrack],
    points: Mapping[str, Floats],
    turns: Mapping[str, Floats],
) -> tuple[PlateUse, ...]:
    """Return how one shot uses the plates, a part that has any, in file order.

    Parameters
    ----------
    assembly : Assembly
        For plates and offsets.
    rate : FrameRate
        Of the film.
    cameras : sequence of Camera
        One a frame.
    tracks : sequence of PartTrack
        Of the shot.
    points : mapping of part id to (k, 3) array
        Hull corners at the assembled place, mm.
    turns : mapping of part id to (n,) array
        Degrees by which parts are turned about their own z; parts that never turn may be left out.

    Returns
    -------
    tuple of PlateUse
        A part whose plates all show another side is left out. Photographs are taken to be parallel projections: the
        nearness of the camera that shot them is not known. Parallax is the largest over the corners of the part's
        convex hull.

    """
    uses = []
    seen = list(cameras)
    for track in tracks:
        own = [(index, plate) for index, plate in enumerate(assembly.plates) if plate.part == track.id]
        if not own:
            continue
        origin = np.array(assembly.part(track.id).offset)
        turned = turn_about_z(turns.get(track.id, np.zeros(len(seen))))
        needed = rows_toward(seen, origin + track.position) @ turned
        sights = [_sight(index, plate, needed) for index, plate in own]
        sights = [sight for sight in sights if float(sight.off.min()) <= _OTHER_SIDE]
        if not sights:
            continue
        best = min(sights, key=lambda one: (_gaps(one), round(float(one.off.mean()), 9), one.index))
        uses.append(_use(best, rate, seen, track, origin, points[track.id] - origin, turned))
    return tuple(uses)


def plate_findings(shot: str, uses: Sequence[PlateUse], assembly: Assembly) -> tuple[list[Finding], list[Finding]]:
    """Return what stops the shot (angles that nobody photographed), and what is worth a warning."""
    broken = [_missing(shot, use, assembly) for use in uses if use.missing]
    warnings = []
    large = sorted((use for use in uses if use.magnification > _ENLARGED), key=lambda use: -use.magnification)
    if large:
        warnings.append(_enlarged(shot, large, assembly))
    skew = sorted((use for use in uses if use.parallax_px > _PARALLAX_PX), key=lambda use: -use.parallax_px)
    if skew:
        warnings.append(_skew(shot, skew))
    plated, shown = {plate.part for plate in assembly.plates}, {use.part for use in uses}
    aside = [part for part in assembly.ids if part in plated and part not in shown]
    if aside:
        warnings.append(_aside(shot, aside))
    bare = [part for part in assembly.ids if part not in plated]
    if plated and bare:
        warnings.append(_bare(shot, bare))
    return broken, warnings


def _sight(index: int, plate: Plate, needed: Floats) -> _Sight:
    view = view_rows(plate.view.azimuth, plate.view.elevation)
    count = len(needed)
    if plate.turntable is None or plate.frames is None:
        found = None if plate.frames is None else frames_by_time(count, plate.frames)
        shown = np.broadcast_to(view, needed.shape)
        return _Sight(index, plate, needed, shown, view_off(view, needed), found, np.zeros(count))
    table = plate.turntable
    turn, off = table_turn(view, table.axis, needed)
    found = frames_by_angle(turn, plate.frames, table.start, table.per_frame)
    # Where an end of the sequence stands in, its own angle is what is seen.
    at = np.where(np.isnan(found.frame), turn, table.start + found.frame * table.per_frame)
    shown = view @ table_rotation(table.axis, at)
    return _Sight(index, plate, needed, shown, _between(shown, needed, off), found, turn)


def _between(shown: Floats, needed: Floats, least: Floats) -> Floats:
    """Angle between two rows of views; never below the least that any turn leaves, which rounding would hide."""
    trace = np.einsum("nij,nij->n", shown, needed)
    return np.asarray(np.maximum(np.degrees(np.arccos(np.clip((trace - 1) / 2, -1.0, 1.0))), least))


def _gaps(sight: _Sight) -> int:
    return 0 if sight.found is None else int(np.isnan(sight.found.frame).sum())


def _use(
    sight: _Sight,
    rate: FrameRate,
    cameras: list[Camera],
    track: PartTrack,
    origin: Floats,
    points: Floats,
    turned: Floats,
) -> PlateUse:
    plate, found = sight.plate, sight.found
    enlarged = track.scale / plate.px_per_mm
    parallax = _parallax(sight, cameras, track, origin, points, turned)
    largest, farthest = int(np.argmax(enlarged)), int(np.argmax(parallax))
    missing = () if found is None else found.missing
    own_rate = plate.frame_rate or (rate.numerator, rate.denominator)
    speed = speed_percent(rate.numerator / rate.denominator, own_rate[0] / own_rate[1])
    return PlateUse(
        track.id,
        sight.index,
        _numbers(found, len(cameras)),
        float(enlarged[largest]),
        largest,
        float(sight.off.max()),
        float(parallax[farthest]),
        farthest,
        missing,
        tuple(float(sight.turn[first]) for first, _ in missing),
        found.step_degrees if found is not None and plate.turntable is not None else None,
        0 if found is None else found.repeated,
        speed if found is not None and plate.turntable is None else None,
    )


def _numbers(found: Found | None, count: int) -> tuple[float | None, ...]:
    if found is None:
        return (None,) * count
    return tuple(None if np.isnan(number) else float(number) for number in found.frame)


def _parallax(
    sight: _Sight, cameras: list[Camera], track: PartTrack, origin: Floats, points: Floats, turned: Floats
) -> Floats:
    """How far the part's corners lie from where the plate shows them, at most, px a frame (n,)."""
    matrices = np.stack([camera.matrix for camera in cameras])
    places = points @ turned.transpose(0, 2, 1) + (origin + track.position)[:, None, :]
    image = places @ matrices[:, :, :3].transpose(0, 2, 1) + matrices[:, None, :, 3]
    seen = image[..., :2] / image[..., 2:]
    flat = (points @ sight.shown.transpose(0, 2, 1))[..., :2] * np.array([1.0, -1.0])
    laid = track.screen[:, None, :] + track.scale[:, None, None] * flat
    return np.asarray(np.linalg.norm(seen - laid, axis=2).max(axis=1))


def _missing(shot: str, use: PlateUse, assembly: Assembly) -> Finding:
    plate = assembly.plates[use.plate]
    assert plate.frames is not None
    first, last = plate.frames
    gaps = "; ".join(
        f"{_frames(run)} (from {angle:.1f} degrees)"
        for run, angle in zip(use.missing[:_LISTED], use.missing_degrees, strict=False)
    )
    more = f", and {len(use.missing) - _LISTED} more stretches" if len(use.missing) > _LISTED else ""
    table = plate.turntable
    shown = (
        ""
        if table is None
        else (
            f"They show {table.start + first * table.per_frame:g} to {table.start + last * table.per_frame:g} degrees."
        )
    )
    return Finding(
        code="angle-missing",
        what=f'In shot "{shot}" no photograph of "{use.part}" shows the angles of {gaps}{more}.',
        why=f"The sequence has the numbers {first} to {last}. {shown}",
        remedy="Photograph the missing angles, turn the camera less (orbit), or give the part another plate.",
    )


def _enlarged(shot: str, uses: Sequence[PlateUse], assembly: Assembly) -> Finding:
    listed = "; ".join(
        f'"{use.part}" to {100 * use.magnification:.0f} % on frame {use.magnification_frame} (needs '
        f"{assembly.plates[use.plate].px_per_mm * use.magnification:.1f} px per mm)"
        for use in uses[:_LISTED]
    )
    return Finding(
        code="plate-enlarged",
        severity="warning",
        what=f'In shot "{shot}" plates are enlarged beyond their own px: {listed}{_more(uses)}.',
        why="An enlarged photograph looks soft beside others.",
        remedy="Photograph these parts larger in the frame, or keep the camera farther away.",
    )


def _skew(shot: str, uses: Sequence[PlateUse]) -> Finding:
    listed = "; ".join(
        f'"{use.part}" by {use.parallax_px:.1f} px on frame {use.parallax_frame} (view {use.view_off:.1f} degrees off)'
        for use in uses[:_LISTED]
    )
    return Finding(
        code="plate-view-differs",
        severity="warning",
        what=f'In shot "{shot}" plates show parts from another view than the camera\'s: {listed}{_more(uses)}.',
        why="A flat picture does not turn with the camera; this is how far its points then lie off.",
        remedy="Photograph from the shot's view, as a turntable sequence where the camera turns, or use a longer lens.",
    )


def _aside(shot: str, parts: Sequence[str]) -> Finding:
    listed = ", ".join(f'"{part}"' for part in parts[:_LISTED]) + _more(parts)
    one = len(parts) == 1
    return Finding(
        code="plate-of-other-side",
        severity="warning",
        what=f'In shot "{shot}" the plates of {listed} are not shown: they are of another side.',
        why=f"No view of theirs is within {_OTHER_SIDE:g} degrees of the camera's, so {'it is' if one else 'they are'} "
        f"drawn as {'a plainly shaded solid' if one else 'plainly shaded solids'}.",
        remedy="Photograph from the shot's view, as a turntable sequence where the camera turns, or leave it at that.",
    )


def _bare(shot: str, parts: Sequence[str]) -> Finding:
    listed = ", ".join(f'"{part}"' for part in parts[:_LISTED]) + _more(parts)
    return Finding(
        code="no-plate",
        severity="warning",
        what=f'In shot "{shot}" {listed} {"has" if len(parts) == 1 else "have"} no plate.',
        why="Such parts are drawn as plainly shaded solids.",
        remedy="Add their plates to the assembly when they are there.",
    )


def _more(items: Sequence[object]) -> str:
    return f" and {len(items) - _LISTED} more" if len(items) > _LISTED else ""


def _frames(run: tuple[int, int]) -> str:
    return f"frame {run[0]}" if run[0] == run[1] else f"frames {run[0]} to {run[1]}"
