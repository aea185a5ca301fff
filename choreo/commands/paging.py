"""A project's review page: compiled, its plates made small, the content of its sections digested."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from choreo.errors import Finding
    from choreo.model.tracks import Tracks
    from choreo.read.project import Project


@dataclass(frozen=True)
class Paged:
    """A page, and what is worth saying about it."""

    html: str
    sections: tuple[str, ...]
    warnings: tuple[Finding, ...]


def page_of(project: Project, on_stage: Callable[[str, Any], None]) -> Paged:
    """Return the review page of a project, compiled anew.

    Parameters
    ----------
    project : Project
        Checked by the reader.
    on_stage : callable
        Hears of a compile's stages.

    Raises
    ------
    ChoreoError
        As `compile_film`, and exit 2 for plates that cannot be read.

    """
    from choreo.frames.compiled import compile_project  # noqa: PLC0415
    from choreo.frames.plates import plates_of  # noqa: PLC0415
    from choreo.frames.small_plates import small_plates  # noqa: PLC0415
    from choreo.picture.page.document import PageFilm, page_html  # noqa: PLC0415
    from choreo.read.tracks_json import read_tracks  # noqa: PLC0415
    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    film = compile_project(project, on_stage)
    # By way of the file's own digits: what is approved is what `tracks.json` holds.
    tracks = read_tracks(tracks_text(film.tracks))
    on_stage("review page", None)
    shown, warnings = plates_of(project.assembly, project.folder, film.apart.solids, tracks)
    plates, hero = small_plates(project, tracks, shown)
    html = page_html(
        PageFilm(
            project.assembly, film.apart.solids, tracks, film.report, _contents(project, tracks), film.frame.margins,
            plates, hero,
        )
    )  # fmt: skip
    return Paged(html, tuple(one.name for one in tracks.sections), warnings)


def _contents(project: Project, tracks: Tracks) -> dict[str, str]:
    from choreo.read.paths import exists  # noqa: PLC0415
    from choreo.review.section_content import pictures_of, section_digest  # noqa: PLC0415

    out: dict[str, str] = {}
    digests: dict[str, str] = {}
    for section in tracks.sections:
        ends = (section.first, section.last)
        for name in pictures_of(tracks, project.assembly, *ends):
            if name not in digests and exists(project.folder / name):
                digests[name] = _file_digest(project, name)
        out[section.name] = section_digest(tracks, project.assembly, *ends, digests)
    return out


def _file_digest(project: Project, name: str) -> str:
    import hashlib  # noqa: PLC0415

    return "sha256:" + hashlib.sha256((project.folder / name).read_bytes()).hexdigest()
