"""Plates and hero still of a project at the size that a page needs."""

from __future__ import annotations

from collections.abc import Mapping

from choreo.frames.plates import Photographs, ShotPlates, load, load_plate
from choreo.model.assembly import Plate
from choreo.model.tracks import Tracks
from choreo.picture.page.plates import SmallPlate, small_picture
from choreo.read.project import Project


def small_plates(
    project: Project, tracks: Tracks, shown: Mapping[str, ShotPlates]
) -> tuple[dict[str, dict[str, SmallPlate]], SmallPlate | None]:
    """Return plates by shot and part, and the hero still; one that several shots show is carried once."""
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
    image = load(project.folder, hero.file, hero, alpha=False)
    return out, SmallPlate({0: small_picture(image, hero.px_per_mm, width)}, hero.turn)


def _small_plate(project: Project, tracks: Tracks, shown: Mapping[str, ShotPlates], plate: Plate) -> SmallPlate:
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
