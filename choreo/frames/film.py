"""The film of a project: its tracks, as they were compiled last if nothing has changed since, else compiled now."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from choreo.checks.sound_tracks import are_sound
from choreo.errors import ChoreoError
from choreo.geometry.solids.solid import Solid, build_solid
from choreo.model.tracks import Tracks
from choreo.read.file_bytes import read_bytes
from choreo.read.project import Project
from choreo.read.refused import Refused
from choreo.read.tracks_json import read_tracks

OUT = "out"
TRACKS_FILE = "tracks.json"
_MOST_BYTES = 2**30


@dataclass(frozen=True, eq=False)
class ProjectFilm:
    """What pictures of a project are made from."""

    project: Project
    solids: Mapping[str, Solid]
    tracks: Tracks
    """Digit for digit as `tracks.json` has them, whether they were read or compiled."""
    compiled: bool
    """Whether they had to be compiled."""
    source: str
    """Where the tracks come from, in words."""


def film_of(project: Project, on_stage: Callable[[str, Any], None]) -> ProjectFilm:
    """Return the film of a project.

    Parameters
    ----------
    project : Project
        Checked by the reader.
    on_stage : callable
        Hears of a compile's stages.

    Returns
    -------
    ProjectFilm
        Tracks that the last compile left in `out/tracks.json`, where both of the project's files are still the very
        same: they hold all shots. Photographs that parts are moved to meet are in the assembly's digest, approved
        tracks of a lock in the choreography's.

    Raises
    ------
    ChoreoError
        As `compile_film`.

    """
    solids = {part.id: build_solid(part.slabs, part.offset) for part in project.assembly.parts}
    file = project.folder / OUT / TRACKS_FILE
    found, why = _compiled_before(project, file)
    if found is not None:
        return ProjectFilm(project, solids, found, compiled=False, source=f"Tracks: {file}, still up to date.")
    source = f"Tracks: compiled for this run, {why}; nothing of that was written."
    return ProjectFilm(project, solids, _compiled_now(project, on_stage), compiled=True, source=source)


def _compiled_before(project: Project, file: Path) -> tuple[Tracks | None, str]:
    """Tracks that a compile would give again, or why there are none."""
    choreography = project.choreography
    try:
        text = read_bytes(file, _MOST_BYTES).decode()
        tracks = read_tracks(text, str(file))
    except Refused:
        return None, "as there is no tracks.json"
    except (ChoreoError, UnicodeDecodeError):
        return None, "as tracks.json cannot be read"
    rate, parts = choreography.frame_rate, project.assembly.ids
    same = (
        (tracks.assembly_digest, tracks.choreography_digest) == (project.assembly_digest, project.choreography_digest)
        and [shot.name for shot in tracks.shots] == [shot.name for shot in choreography.shots]
        and (tracks.frame_rate, tracks.resolution) == ((rate.numerator, rate.denominator), choreography.resolution)
        and all(tuple(track.id for track in shot.parts) == parts for shot in tracks.shots)
        and bool(tracks.sections)
        and tracks.shots[0].start_frame == 0
        and are_sound(tracks, parts)
    )
    return (tracks, "") if same else (None, "as tracks.json is of another state")


def _compiled_now(project: Project, on_stage: Callable[[str, Any], None]) -> Tracks:
    from choreo.frames.compiled import compile_project  # noqa: PLC0415
    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    film = compile_project(project, on_stage, only_tracks=True)
    # By way of the file's own digits, so that a picture never hangs on whether tracks were read or compiled.
    return read_tracks(tracks_text(film.tracks))
