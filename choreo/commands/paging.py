"""A project's review page: compiled, its plates made small, the content of its sections digested."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from choreo.commands.section_contents import ledger_path, sections_now

if TYPE_CHECKING:
    from choreo.compile import Film
    from choreo.errors import Finding
    from choreo.model.sign_off import SectionNow
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
    from choreo.frames.small_plates import small_plates  # noqa: PLC0415
    from choreo.picture.page.document import PageFilm, page_html  # noqa: PLC0415
    from choreo.read.tracks_json import read_tracks  # noqa: PLC0415
    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    # By way of the file's own digits: what is approved is what `tracks.json` holds.
    tracks = read_tracks(tracks_text(film.tracks))
    shown, warnings = plates_of(project.assembly, project.folder, film.apart.solids, tracks)
    plates, hero = small_plates(project, tracks, shown)
    solids = film.apart.solids
    sections = sections_now(project, solids, tracks)
    contents = {section.name: section.content for section in sections}
    said = _said(project, sections)
    html = page_html(
        PageFilm(project.assembly, solids, tracks, film.report, contents, film.frame.margins, plates, hero, said)
    )
    return Paged(html, tuple(one.name for one in tracks.sections), warnings)


def _said(project: Project, sections: Sequence[SectionNow]) -> dict[str, str]:
    """What the ledger says of each section that it knows."""
    from choreo.frames.keys import drawing_version  # noqa: PLC0415
    from choreo.read.paths import exists  # noqa: PLC0415
    from choreo.read.sign_off import read_ledger  # noqa: PLC0415
    from choreo.review.sight import sight_of  # noqa: PLC0415
    from choreo.review.standing import standings  # noqa: PLC0415
    from choreo.review.standing_words import state_words  # noqa: PLC0415

    path = ledger_path(project)
    if not exists(path):
        return {}
    _, marks = read_ledger(path)
    # A page draws nothing itself; what the ledger knows of pictures it may tell.
    stand = standings(sections, marks, sight_of(marks, drawing_version()))
    return {one.section.name: state_words(one) for one in stand if one.mark is not None}
