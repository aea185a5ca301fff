"""A project's review page: compiled, its plates made small, the content of its sections digested."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from choreo.commands.section_contents import section_contents

if TYPE_CHECKING:
    from choreo.compile import Film
    from choreo.errors import Finding
    from choreo.frames.plates import ShotPlates
    from choreo.model.assembly import Plate
    from choreo.model.tracks import Tracks
    from choreo.picture.page.plates import SmallPlate
    from choreo.read.project import Project


@dataclass(frozen=True)
class Paged:
    """A page, and what is worth saying about it."""

    html: str
    sections: tuple[str, ...]
    warnings: tuple[Finding, ...]


def page_of(project: Project, on_stage: Callable[[str, Any], None], *, search: int = 1) -> Paged:
    """Return the review page of a project, compiled anew.

    Parameters
    ----------
    project : Project
        Checked by the reader.
    on_stage : callable
        Hears of a compile's stages.
    search : int
        See `compile_film`.

    Raises
    ------
    ChoreoError
        As `compile_film`, and exit 2 for plates that cannot be read.

    """
    from choreo.frames.compiled import compile_project  # noqa: PLC0415

    film = compile_project(project, on_stage, search=search)
    on_stage("review page", None)
    return page_from(project, film)


def page_from(project: Project, film: Film) -> Paged:
    """Return the review page of a project that has been compiled.

    Raises
    ------
    ChoreoError
        Exit 2 for plates that cannot be read.

    """
    from choreo.frames.plates import plates_of  # noqa: PLC0415
    from choreo.picture.page.document import PageFilm, page_html  # noqa: PLC0415
    from choreo.read.tracks_json import read_tracks  # noqa: PLC0415
    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    # By way of the file's own digits: what is approved is what `tracks.json` holds.
    tracks = read_tracks(tracks_text(film.tracks))
    shown, warnings = plates_of(project.assembly, project.folder, film.apart.solids, tracks)
    plates, hero = _small(project, tracks, shown)
    solids = film.apart.solids
    contents = section_contents(project, solids, tracks)
    html = page_html(
        PageFilm(project.assembly, solids, tracks, film.report, contents, film.frame.margins, plates, hero)
    )
    return Paged(html, tuple(one.name for one in tracks.sections), warnings)


def _small(
    project: Project, tracks: Tracks, shown: dict[str, ShotPlates]
) -> tuple[dict[str, dict[str, SmallPlate]], SmallPlate | None]:
    """Plates by shot and part, and the hero still; one that several shots show is carried once."""
    from choreo.picture.page.plates import SmallPlate, small_picture  # noqa: PLC0415

    width = tracks.resolution[0]
    made: dict[int, SmallPlate] = {}
    out: dict[str, dict[str, SmallPlate]] = {}
    for shot in tracks.shots:
        out[shot.name] = {}
        for part, plate in shown[shot.name].plates.items():
            if id(plate) not in made:
                made[id(plate)] = _small_plate(project, tracks, shown, plate)
            out[shot.name][part] = made[id(plate)]
    hero = next((one.hero for one in shown.values() if one.hero is not None), None)
    if hero is None:
        return out, None
    from choreo.frames.plates import load  # noqa: PLC0415

    image = load(project.folder, hero.file, hero, alpha=False)
    return out, SmallPlate({0: small_picture(image, hero.px_per_mm, width)}, hero.turn)


def _small_plate(project: Project, tracks: Tracks, shown: dict[str, ShotPlates], plate: Plate) -> SmallPlate:
    from choreo.frames.plates import Photographs, load_plate  # noqa: PLC0415
    from choreo.picture.page.plates import SmallPlate, small_picture  # noqa: PLC0415

    empty = SmallPlate({}, plate.turn, plate.frames)
    scale, numbers = 0.0, set[int]()
    for shot in tracks.shots:
        if shown[shot.name].plates.get(plate.part) is plate:
            track = next(one for one in shot.parts if one.id == plate.part)
            scale = max(scale, float(track.scale.max()))
            numbers |= {empty.number(frame) for frame in track.plate_frame}
    width = tracks.resolution[0]
    if plate.frames is None:
        return SmallPlate({0: small_picture(load_plate(project.folder, plate), scale, width)}, plate.turn)
    photographs = Photographs(project.folder, plate)
    pictures = {number: small_picture(photographs[number], scale, width) for number in sorted(numbers)}
    return SmallPlate(pictures, plate.turn, plate.frames)
