"""What each section of a project's film shows, as digests; and the ledger of what was said of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments
from choreo.commands.shared import Progress, read

if TYPE_CHECKING:
    from choreo.frames.film import ProjectFilm
    from choreo.frames.plates import ShotPlates
    from choreo.geometry.solid import Solid
    from choreo.model.assembly import Assembly
    from choreo.model.sign_off import Mark, SectionNow
    from choreo.model.tracks import FilmSection, Tracks
    from choreo.read.project import Project

LEDGER = "sign-off.toml"


@dataclass(frozen=True, eq=False)
class Reviewed:
    """A project's film, its sections, and what the ledger says of them."""

    film: ProjectFilm
    sections: tuple[SectionNow, ...]
    ledger: tuple[Mark, ...]
    ledger_text: str | None
    """None: there is no ledger yet."""

    @property
    def project(self) -> Project:
        """The project."""
        return self.film.project


def reviewed(arguments: Arguments) -> Reviewed:
    """Return the project that the arguments name, compiled if need be, with its ledger."""
    from choreo.frames.film import film_of  # noqa: PLC0415
    from choreo.read.paths import exists  # noqa: PLC0415
    from choreo.read.sign_off import read_ledger  # noqa: PLC0415

    project = read(arguments.project)
    path = project.folder / LEDGER
    text, marks = read_ledger(path) if exists(path) else (None, ())
    with Progress(arguments.json) as progress:
        film = film_of(project, progress)
    return Reviewed(film, sections_now(project, film.solids, film.tracks), marks, text)


def sections_now(project: Project, solids: Mapping[str, Solid], tracks: Tracks) -> tuple[SectionNow, ...]:
    """Return the sections of a project's film with the digests of what they show.

    Parameters
    ----------
    project : Project
    solids : mapping of part id to Solid
    tracks : Tracks
        As read from `tracks.json`.

    """
    return sections_made(project.assembly, project.folder, solids, tracks)


def sections_made(
    assembly: Assembly, folder: Path, solids: Mapping[str, Solid], tracks: Tracks
) -> tuple[SectionNow, ...]:
    """Return the same of tracks and the assembly that they were made from; its pictures lie in `folder`."""
    from choreo.model.sign_off import SectionNow  # noqa: PLC0415
    from choreo.review.section_content import section_digest  # noqa: PLC0415
    from choreo.review.section_makings import section_makings  # noqa: PLC0415

    return tuple(
        SectionNow(
            section.name, section.first, section.last,
            section_digest(tracks, shown, section.first, section.last, pictures),
            section_makings(tracks, shown, section.first, section.last, pictures),
        )
        for section, shown, pictures in _shown(assembly, folder, solids, tracks)
    )  # fmt: skip


def _shown(
    assembly: Assembly, folder: Path, solids: Mapping[str, Solid], tracks: Tracks
) -> Iterator[tuple[FilmSection, Assembly, dict[str, str]]]:
    """Yield each section, the assembly with those plates only that it shows, and digests of their pictures."""
    from choreo.frames.plates import Digests, plates_of  # noqa: PLC0415
    from choreo.review.section_content import pictures_of  # noqa: PLC0415

    by_shot, _ = plates_of(assembly, folder, solids, tracks)
    digests = Digests(folder)
    for section in tracks.sections:
        inside = [
            by_shot[shot.name]
            for shot in tracks.shots
            if shot.start_frame <= section.last and section.first < shot.start_frame + shot.frames
        ]
        shown = _with_shown(assembly, inside)
        names = pictures_of(tracks, shown, section.first, section.last)
        yield section, shown, {name: f"sha256:{digests(name)}" for name in names}


def _with_shown(assembly: Assembly, shots: list[ShotPlates]) -> Assembly:
    shown = tuple(plate for plate in assembly.plates if any(one.plates.get(plate.part) is plate for one in shots))
    hero = assembly.hero if any(one.hero is not None for one in shots) else None
    return replace(assembly, plates=shown, hero=hero)


def ledger_path(project: Project) -> Path:
    """Return where the ledger lies."""
    return project.folder / LEDGER
