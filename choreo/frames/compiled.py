"""A project compiled with all that it names: approved tracks, plates that have to meet the still."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from choreo.compile import Film, compile_film
from choreo.errors import Finding
from choreo.model.choreography import Shot
from choreo.model.registration import Photographs
from choreo.read.project import Project
from choreo.read.stamp import stamp_of
from choreo.recall import Recall, anew


def compile_project(
    project: Project,
    on_stage: Callable[[str, Any], None],
    *,
    only_shot: str | None = None,
    search: int = 1,
    recall: Recall = anew,
    only_tracks: bool = False,
) -> Film:
    """Compile a project.

    Parameters
    ----------
    project : Project
        Checked by the reader.
    on_stage, only_shot, search, recall
        See `choreo.compile.compile_film`.
    only_tracks : bool
        Whether plates are left unmeasured where only the report would tell of it.

    Raises
    ------
    ChoreoError
        As `compile_film`.

    """
    measured = not only_tracks or any(_settles(shot) for shot in project.choreography.shots)
    photographs, unread = _recalled(project, recall) if measured else (None, ())
    return compile_film(
        project.assembly,
        project.choreography,
        digests=(project.assembly_digest, project.choreography_digest),
        file=str(project.folder / Path(project.choreography.assembly_file).name),
        only_shot=only_shot,
        search=search,
        approved=project.approved,
        photographs=photographs,
        warnings=(*project.warnings, *unread),
        on_stage=on_stage,
        recall=recall,
    )


def _settles(shot: Shot) -> bool:
    return shot.handoff is not None and shot.handoff.settle_into_register


def _recalled(project: Project, recall: Recall) -> tuple[Photographs | None, tuple[Finding, ...]]:
    """The photographs of before, as long as no file of theirs has been saved since."""
    assembly = project.assembly
    names = [plate.file for plate in assembly.plates] + ([assembly.hero.file] if assembly.hero is not None else [])
    files = [(name, stamp_of(project.folder / name)) for name in names]

    def read() -> tuple[Photographs | None, tuple[Finding, ...]]:
        found, notes = photographs_of(project)
        return (None if found is None else replace(found, known=repr(files))), notes

    asked = any(shot.handoff is not None for shot in project.choreography.shots)
    return recall("photographs", (assembly, asked, files), read)


def photographs_of(project: Project) -> tuple[Photographs | None, tuple[Finding, ...]]:
    """Read the plates and the still, if a shot hands over to it."""
    if project.assembly.hero is None or all(shot.handoff is None for shot in project.choreography.shots):
        return None, ()
    from choreo.read.photographs import read_photographs  # noqa: PLC0415

    return read_photographs(project.assembly, project.folder)
