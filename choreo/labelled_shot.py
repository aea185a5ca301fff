"""A timed shot in which labels have room: where they have none, gaps are widened or the camera steps back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from choreo.errors import ChoreoError
from choreo.geometry.labels.block import label_of
from choreo.geometry.layout.subject import Frame
from choreo.geometry.solids.turned import swept_by_turning
from choreo.model.choreography import Shot
from choreo.passes.label_room import drawn_at_rest, no_label_room, without_room
from choreo.passes.layout import Layout
from choreo.timed_shot import OnStage, Set, TimedShot, laid_out, time_as_laid_out, time_shot

MOST_LOSS = 0.06
"""Of the scale: the most that room for labels may cost."""
_STEPS_BACK = (0.01, 0.02, 0.03, 0.04, 0.06)
_WIDER = (1.1, 1.25)
_OK = 1e-3
"""Of the scale: how closely a camera is solved, about."""
_MOST_PARTS = 40
"""A product of more parts is laid out once: it would take too long."""


def labelled_shot(shot: Shot, film: Set, on_stage: OnStage) -> TimedShot:
    """Lay a shot out and time it so that every part has room for a label, where that is to be had.

    Where labels lack room and the shot leaves the camera's size open, wider gaps (`_WIDER`) and steps back of the
    camera (`_STEPS_BACK`) are tried in this order, and the first that gives all of them room for no more than
    `MOST_LOSS` of the scale is taken. None is: the shot stays as it was, with a warning. Parts that were moved so that
    fewer ways cross go back first, if that is what took the room. `on_stage` hears of every try.
    """
    timed = time_shot(shot, film, on_stage)
    lacking = unlabelled(timed, film)
    if not lacking:
        return timed
    if timed.layout.uncrossed and (before := _before_moving(timed, shot, film, on_stage)) is not None:
        return before
    open_size = shot.view.distance_mm is None and shot.view.px_per_mm is None
    for frame in _roomier(film.frame) if open_size and len(film.assembly.parts) <= _MOST_PARTS else ():
        try:
            if not _promises(timed, film, frame):
                continue
            other = time_shot(shot, replace(film, frame=frame), on_stage)
        except ChoreoError:
            continue
        if not unlabelled(other, film):
            return other
    return _warned(timed, lacking)


def _before_moving(moved: TimedShot, shot: Shot, film: Set, on_stage: OnStage) -> TimedShot | None:
    """The shot with all parts where they were before ways were uncrossed, if all labels have room there."""
    try:
        if _seen_alike(moved.layout) and not any(phase.fit for phase in shot.phases):
            # Whenever its parts rest, the picture is the same: labels tell before anything is timed.
            layout = laid_out(shot, film, fewest_crossings=False).layout
            if unlabelled(replace(moved, layout=layout), film):
                return None
        timed = time_as_laid_out(shot, film, lambda *_: None, fewest_crossings=False)
    except ChoreoError:
        return None
    if unlabelled(timed, film):
        return None
    on_stage(f"layout of {shot.name}", timed.layout)
    on_stage(f"schedule of {shot.name}", timed.schedule)
    return timed


def _seen_alike(layout: Layout) -> bool:
    """Whether the camera stands still all the time."""
    return all((camera.matrix == layout.cameras[0].matrix).all() for camera in layout.cameras)


def _promises(timed: TimedShot, film: Set, frame: Frame) -> bool:
    """Whether a layout in another frame, not yet timed, gives all labels room and costs no more scale than it may."""
    layout = laid_out(timed.shot, replace(film, frame=frame)).layout
    if _scale(layout, film) < (1 - MOST_LOSS - _OK) * _scale(timed.layout, film):
        return False
    return not unlabelled(replace(timed, layout=layout), film)


def warned(timed: TimedShot, film: Set) -> TimedShot:
    """Return the shot with a warning where labels lack room."""
    lacking = unlabelled(timed, film)
    return _warned(timed, lacking) if lacking else timed


def _warned(timed: TimedShot, lacking: tuple[str, ...]) -> TimedShot:
    warnings = (*timed.schedule.warnings, no_label_room(timed.shot.name, lacking))
    return replace(timed, schedule=replace(timed.schedule, warnings=warnings))


def unlabelled(timed: TimedShot, film: Set) -> tuple[str, ...]:
    """Return the parts of a timed shot that have no room for a label; a part that spins is taken for its sweep."""
    shot, layout = timed.shot, timed.layout
    frame = drawn_at_rest(timed.schedule.moves, shot.frames)
    if frame is None or not layout.rest_frames:
        return ()
    spinning = {part for part, pin in shot.pins.items() if pin.spin}
    solids = {
        part: swept_by_turning(solid, film.origins[part]) if part in spinning else solid
        for part, solid in film.solids.items()
    }
    words = {}
    for part in film.assembly.parts:
        number = film.removal.rank(part.id) + 1 if film.removal.step_of(part.id) else None
        words[part.id] = (label_of(part), number)
    places = {part: route[-1] for part, route in layout.routes.items()}
    camera = layout.cameras[frame]
    return film.recall(
        "labels",
        (film.content, sorted(spinning), camera.matrix, places, words, film.frame.resolution),
        lambda: without_room(solids, camera, places, words, film.frame.resolution),
    )


def _roomier(frame: Frame) -> Iterator[Frame]:
    """The same frame with wider gaps, then with less of it to fill."""
    for factor in _WIDER:
        yield replace(frame, gap_px=factor * frame.gap_px)
    width, height = frame.resolution
    left, top, right, bottom = frame.margins
    for step in _STEPS_BACK:
        across, down = step * (width - left - right) / 2, step * (height - top - bottom) / 2
        yield replace(frame, margins=(left + across, top + down, right + across, bottom + down))


def _scale(layout: Layout, film: Set) -> float:
    """Px a mm at the middle of the assembled product, on the first frame."""
    corners = np.concatenate(list(film.points.values()))
    return float(layout.cameras[0].scale_at((corners.min(axis=0) + corners.max(axis=0)) / 2))
