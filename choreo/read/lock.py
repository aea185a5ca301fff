"""`[lock]`: the approved tracks that a choreography keeps, read and held against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from choreo.errors import ChoreoError, Finding
from choreo.model.choreography import FrameRate, Lock
from choreo.model.tracks import Tracks
from choreo.motion.timecode import parse_rate
from choreo.read.names import note_unknown
from choreo.read.notes import Notes, choices, clipped
from choreo.read.paths import check_path, exists
from choreo.read.source import read_source
from choreo.read.tracks_json import read_tracks

_TRACKS = ("lock", "tracks")


@dataclass(frozen=True, eq=False)
class LockedTracks:
    """The approved tracks that a lock names."""

    name: str
    """Of the file, as the lock has it."""
    tracks: Tracks
    digest: str
    """Of the file's bytes."""


def read_lock(
    notes: Notes, value: Any, folder: Path, ids: tuple[str, ...] | None
) -> tuple[LockedTracks | None, tuple[Finding, ...]]:
    """Return the approved tracks that a choreography names, or None where it names none that can be used.

    Parameters
    ----------
    notes : Notes
        Of the choreography; what does not fit it is noted there.
    value : Any
        The choreography as parsed.
    folder : Path
        Where its file lies; approved tracks lie inside it.
    ids : tuple of str or None
        The part ids of the assembly, where they are known.

    Returns
    -------
    tracks, findings
        Findings are those about the file of the tracks itself.

    """
    lock = value.get("lock") if isinstance(value, dict) else None
    if not isinstance(lock, dict) or "tracks" not in lock or not notes.sound("lock"):
        return None, ()
    path = check_path(notes, _TRACKS, lock["tracks"], folder)
    if path is None:
        return None, ()
    if not exists(path):
        what = f"The approved tracks are missing: there is no file {clipped(lock['tracks'])}."
        remedy = "Copy the tracks.json that was approved into the project's folder under this name."
        notes.add("lock-missing", _TRACKS, what, remedy=remedy)
        return None, ()
    try:
        source = read_source(path, "json")
        tracks = read_tracks(source.text, source.shown)
    except ChoreoError as error:
        return None, error.findings
    _check_film(notes, value, tracks)
    _check_shots(notes, value, lock, tracks)
    _check_parts(notes, lock, tracks, ids)
    return LockedTracks(lock["tracks"], tracks, source.digest), ()


def build_lock(value: Mapping[str, Any]) -> Lock | None:
    """Return the model of `[lock]`, None where there is none."""
    if "lock" not in value:
        return None
    lock = value["lock"]
    return Lock(lock["tracks"], tuple(lock.get("shots", ())), tuple(lock.get("parts", ())))


def _check_film(notes: Notes, value: Mapping[str, Any], tracks: Tracks) -> None:
    """Samples and screen places mean something else at another rate or resolution."""
    if notes.sound("frame_rate") and parse_rate(value["frame_rate"]) != FrameRate(*tracks.frame_rate):
        n, d = tracks.frame_rate
        approved = f"{n}/{d}" if d != 1 else str(n)
        what = f"The approved tracks run at {approved} frames a second, the choreography at {value['frame_rate']}."
        notes.add("lock-differs", _TRACKS, what, remedy=f'Write frame_rate = "{approved}", or take the lock out.')
    if notes.sound("resolution") and tuple(value["resolution"]) != tracks.resolution:
        width, height = tracks.resolution
        what = f"The approved tracks are for {width} x {height} px, the choreography asks for another resolution."
        notes.add(
            "lock-differs", _TRACKS, what, remedy=f"Write resolution = [{width}, {height}], or take the lock out."
        )


def _check_shots(notes: Notes, value: Mapping[str, Any], lock: Mapping[str, Any], tracks: Tracks) -> None:
    approved = {shot.name: shot for shot in tracks.shots}
    for index, name in enumerate(lock.get("shots", ())):
        if name not in approved:
            what = f"The approved tracks hold no shot `{clipped(name)}`."
            notes.add("lock-unknown", ("lock", "shots", index), what, remedy=f"Choose from: {choices(approved)}.")
    if not notes.sound("shot"):
        return
    present = {shot["name"]: index for index, shot in enumerate(value["shot"])}
    named = lock.get("shots", ())
    for index, name in enumerate(named):
        if name in approved:
            _note_gone(notes, index, name, list(present))
    kept = [name for name in (named or approved) if name in approved and name in present]
    if not kept and notes.sound("lock"):
        what = "None of the approved shots is in this choreography, so the lock keeps nothing."
        notes.add("lock-unknown", _TRACKS, what, remedy=f"The approved shots are: {choices(approved)}.")
    for name in kept:
        _check_length(notes, ("shot", present[name]), value["shot"][present[name]], approved[name].frames)


def _note_gone(notes: Notes, index: int, name: str, present: Sequence[str]) -> None:
    """Note a locked shot that the choreography has no longer."""
    if name not in present:
        what = f"This choreography has no shot `{clipped(name)}`, so its tracks cannot be kept."
        remedy = f"Choose from: {choices(present)}; or take the name out."
        notes.add("lock-unknown", ("lock", "shots", index), what, remedy=remedy)


def _check_length(notes: Notes, place: tuple[str | int, ...], shot: Mapping[str, Any], approved: int) -> None:
    lengths = [phase["frames"] for phase in shot["phase"]]
    if any(isinstance(length, str) for length in lengths):
        what = f"Shot `{clipped(shot['name'])}` is locked, so the length of its phases must be given."
        remedy = f'Write the frames that were approved, {approved} in all, in place of "fit".'
        notes.add("lock-length", (*place, "phase"), what, remedy=remedy)
    elif sum(lengths) != approved:
        what = f"Shot `{clipped(shot['name'])}` was approved with {approved} frames and has {int(sum(lengths))} now."
        why = "Approved tracks are kept frame for frame."
        remedy = f"Give its phases {approved} frames in all, or leave the shot out of the lock."
        notes.add("lock-length", (*place, "phase"), what, why, remedy)


def _check_parts(notes: Notes, lock: Mapping[str, Any], tracks: Tracks, ids: tuple[str, ...] | None) -> None:
    approved = tuple(dict.fromkeys(track.id for shot in tracks.shots for track in shot.parts))
    for index, name in enumerate(lock.get("parts", ())):
        place = ("lock", "parts", index)
        if name not in approved:
            what = f"The approved tracks hold no part `{clipped(name)}`."
            notes.add("lock-unknown", place, what, remedy=f"Choose from: {choices(approved)}.")
        elif ids is not None:
            note_unknown(notes, place, name, ids)
