"""What each section of a project's film shows, as digests; and the ledger of what was said of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments
from choreo.commands.shared import Progress, read

if TYPE_CHECKING:
    from choreo.frames.film import ProjectFilm
    from choreo.geometry.solids.solid import Solid
    from choreo.model.assembly import Assembly
    from choreo.model.sign_off import Mark, SectionNow
    from choreo.model.tracks import Tracks
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
    from choreo.frames.keys import contents_of  # noqa: PLC0415
    from choreo.frames.plates import plates_of  # noqa: PLC0415
    from choreo.review.section_content import section_now  # noqa: PLC0415

    plates, _ = plates_of(assembly, folder, solids, tracks)
    contents = contents_of(assembly, folder, tracks, plates)
    return tuple(section_now(contents, tracks, section) for section in tracks.sections)


def ledger_path(project: Project) -> Path:
    """Return where the ledger lies."""
    return project.folder / LEDGER
