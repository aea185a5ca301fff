"""What `choreo compare` is given: tracks, and the assembly that they were made from, where it can be found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from choreo.model.sign_off import SectionNow
    from choreo.model.tracks import Tracks
    from choreo.review.compare import Comparison
    from choreo.review.most_changed import ChangedFrame, Made

TRACKS_FILE, ASSEMBLY_FILE = "tracks.json", "assembly.json"


@dataclass(frozen=True, eq=False)
class Given:
    """One of the two."""

    shown: str
    """How the user has called it."""
    tracks: Tracks
    made: Made | None
    """With its assembly; None where that is not known."""
    folder: Path | None
    """Of the assembly."""


def read_pair(old: Path, new: Path, on_stage: Callable[[str, Any], None]) -> tuple[Given, Given]:
    """Return both, each with its assembly where it lies beside the tracks, or where the other one has the very same.

    The new one comes without what differs too little to be seen: so its sections have the old one's digests there.
    """
    one, two = _read(old, on_stage), _read(new, on_stage)
    return _lent(one, two), _settled(one, _lent(two, one))


def _settled(old: Given, new: Given) -> Given:
    from choreo.review.unseen import without_unseen  # noqa: PLC0415

    tracks = without_unseen(old.tracks, new.tracks)
    return replace(new, tracks=tracks, made=None if new.made is None else replace(new.made, tracks=tracks))


def _read(path: Path, on_stage: Callable[[str, Any], None]) -> Given:
    """A project, compiled if need be; else a file of tracks, or a folder that holds one."""
    from choreo.read.notes import printable  # noqa: PLC0415
    from choreo.read.paths import exists, is_folder  # noqa: PLC0415
    from choreo.read.project import CHOREOGRAPHY_FILE  # noqa: PLC0415
    from choreo.read.source import read_source  # noqa: PLC0415
    from choreo.read.tracks_json import read_tracks  # noqa: PLC0415

    if path.suffix == ".toml" or (is_folder(path) and exists(path / CHOREOGRAPHY_FILE)):
        return _project(path, on_stage)
    source = read_source(path / TRACKS_FILE if is_folder(path) else path, "json")
    tracks = read_tracks(source.text, source.shown)
    return _beside(Given(printable(str(path)), tracks, None, None), path)


def _project(path: Path, on_stage: Callable[[str, Any], None]) -> Given:
    from choreo.commands.shared import read  # noqa: PLC0415
    from choreo.frames.film import film_of  # noqa: PLC0415
    from choreo.read.notes import printable  # noqa: PLC0415
    from choreo.review.most_changed import Made  # noqa: PLC0415

    project = read(path)
    film = film_of(project, on_stage)
    made = Made(film.tracks, project.assembly, film.solids)
    return Given(printable(str(path)), film.tracks, made, project.folder)


def _beside(given: Given, path: Path) -> Given:
    """Look for the assembly in the folder of the tracks, and in the one above: an output folder lies in its project."""
    from choreo.checks.sound_tracks import are_sound  # noqa: PLC0415
    from choreo.geometry.solids.solid import build_solid  # noqa: PLC0415
    from choreo.read.assembly import inspect_assembly  # noqa: PLC0415
    from choreo.read.paths import exists, is_folder  # noqa: PLC0415
    from choreo.review.most_changed import Made  # noqa: PLC0415

    folder = path if is_folder(path) else path.parent
    for place in (folder, folder.resolve().parent):
        if exists(place / ASSEMBLY_FILE):
            found = inspect_assembly(place / ASSEMBLY_FILE)
            if found.assembly is None or found.digest != given.tracks.assembly_digest:
                continue
            if are_sound(given.tracks, found.assembly.ids):
                solids = {part.id: build_solid(part.slabs, part.offset) for part in found.assembly.parts}
                return replace(given, made=Made(given.tracks, found.assembly, solids), folder=place)
    return given


def _lent(given: Given, other: Given) -> Given:
    if given.made is not None or other.made is None:
        return given
    from choreo.checks.sound_tracks import are_sound  # noqa: PLC0415

    same = given.tracks.assembly_digest == other.tracks.assembly_digest
    if not same or not are_sound(given.tracks, other.made.assembly.ids):
        return given
    return replace(given, made=replace(other.made, tracks=given.tracks), folder=other.folder)


def contents_of(old: Given, new: Given) -> tuple[Sequence[SectionNow], Sequence[SectionNow]] | None:
    """Return what the sections of both show, or None where an assembly or a picture is not there."""
    from choreo.commands.section_contents import sections_made  # noqa: PLC0415
    from choreo.errors import ChoreoError  # noqa: PLC0415

    found = []
    for one in (old, new):
        if one.made is None or one.folder is None:
            return None
        try:
            found.append(sections_made(one.made.assembly, one.folder, one.made.solids, one.tracks))
        except (ChoreoError, ValueError):  # photographs that are gone since, tracks of other parts
            return None
    return found[0], found[1]


def picture_of(old: Given, new: Given, comparison: Comparison) -> str | None:
    """Return the picture of a comparison as SVG; None where there is nothing to be drawn.

    Raises
    ------
    ChoreoError
        Exit 2 where an assembly is not known.

    """
    from choreo.errors import Finding, wrong_input  # noqa: PLC0415
    from choreo.picture.comparison import comparison_svg  # noqa: PLC0415
    from choreo.review.most_changed import most_changed  # noqa: PLC0415

    missing = [one for one in (old, new) if one.made is None]
    if missing:
        raise wrong_input(
            *(
                Finding(
                    "no-outlines",
                    "The picture cannot be drawn: the assembly that these tracks were made from is not known.",
                    one.shown,
                    why="Tracks say where parts are, and not what they look like. An assembly.json beside them, or one "
                    "folder up, counts where its digest is the one in the tracks.",
                    remedy="Give the project's folder, or keep the assembly beside the tracks.",
                )
                for one in missing
            )
        )
    assert old.made is not None
    assert new.made is not None
    frames = most_changed(old.made, new.made, comparison)
    if not frames:
        return None
    panels = _panels(old.made, new.made, frames, comparison)
    return comparison_svg(panels, new.made.assembly.name, f"old: {old.shown} · new: {new.shown}")


def _panels(old: Made, new: Made, frames: Sequence[ChangedFrame], comparison: Comparison) -> list[Any]:
    from choreo.model.choreography import FrameRate  # noqa: PLC0415
    from choreo.motion.timecode import timecode  # noqa: PLC0415
    from choreo.picture.comparison import ChangedPanel, Marked  # noqa: PLC0415

    looks = _looks(comparison)
    panels = []
    for one in frames:
        sides = [_side(made, one) for made in (old, new)]
        ids = ({track.id for track in side.shot.parts} for side in sides)
        was, now = (sorted(each) for each in ids)
        marked = [Marked(part, f"{px:.0f} px" if px >= 1 else f"{px:.1f} px") for part, px in one.moved]
        marked += [Marked(part, "new") for part in now if part not in was]
        marked += [Marked(part, "gone") for part in was if part not in now]
        known = {each.part for each in marked}
        marked += [Marked(part, "look") for part in looks if part not in known]
        seen = {each.part for side in sides for each in side.picture}
        marked = [each for each in marked if each.part in seen]
        start = sides[1].shot.start_frame
        place = f"{one.shot}, frame {one.frame}, {timecode(start + one.frame, FrameRate(*new.tracks.frame_rate))}"
        labels = {**sides[0].labels, **sides[1].labels}
        said = ", ".join(f"{labels[each.part]}: {each.what}" for each in marked[:5])
        more = f" and {len(marked) - 5} more" if len(marked) > 5 else ""
        title = f"{place}: {said or 'no part is away'}{more}"
        panels.append(ChangedPanel(title, one.frame, sides[0], sides[1], tuple(marked)))
    return panels


def _looks(comparison: Comparison) -> list[str]:
    """Parts that look otherwise in any section."""
    found = (change.parts for one in comparison.sections for change in one.changed if change.what in ("look", "plate"))
    return list(dict.fromkeys(part for parts in found for part in parts))


def _side(made: Made, one: ChangedFrame) -> Any:
    from choreo.picture.comparison import Side  # noqa: PLC0415
    from choreo.picture.panels import pictures  # noqa: PLC0415

    shot = next(shot for shot in made.tracks.shots if shot.name == one.shot)
    fine = made.tracks.resolution[0] / 600
    offsets = {part.id: part.offset for part in made.assembly.parts}
    [seen] = pictures(made.solids, shot, [one.frame], made.tracks.resolution, [fine], offsets)
    colours = {part.id: part.colour for part in made.assembly.parts}
    labels = {part.id: part.label for part in made.assembly.parts}
    return Side(shot, seen, colours, labels, made.tracks.resolution)
