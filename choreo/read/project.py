"""A project from its folder: both files read, everything that is wrong with either said at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.model.assembly import Assembly
from choreo.model.choreography import Choreography
from choreo.model.tracks import Tracks
from choreo.read.assembly import AssemblyRead, inspect_assembly
from choreo.read.choreography import ASSEMBLY_FILE, build_choreography, check_choreography
from choreo.read.digests import digest_with, picture_digests
from choreo.read.lock import read_lock
from choreo.read.notes import Notes
from choreo.read.parse import parse
from choreo.read.paths import check_path, exists, is_folder
from choreo.read.schema import check_schema
from choreo.read.source import read_source

CHOREOGRAPHY_FILE = "choreography.toml"


@dataclass(frozen=True)
class Project:
    """An assembly and its choreography, checked."""

    assembly: Assembly
    choreography: Choreography
    folder: Path
    """The folder of the assembly: plates are named from here."""
    assembly_digest: str
    """``sha256:`` and the digest of the file's bytes, with those of the files that tracks hang on (`digest_with`)."""
    choreography_digest: str
    """The same of the choreography, with the approved tracks that its lock names."""
    approved: Tracks | None = None
    """The tracks that the choreography's lock names."""
    warnings: tuple[Finding, ...] = ()
    """What does not stop a compile, e.g. plates that are not there yet."""
    outline_files: tuple[str, ...] = ()
    """Pictures and drawings that outlines come from, named from the folder."""


def read_project(path: Path) -> Project:
    """Return a project in which nothing is wrong.

    Parameters
    ----------
    path : Path
        A folder that holds ``choreography.toml``, or such a file itself. The file's ``assembly`` names the
        assembly, ``assembly.json`` beside it unless it says otherwise.

    Returns
    -------
    Project
        Every default is filled in, every reference holds.

    Raises
    ------
    ChoreoError
        Exit code 2; its findings are all that could be found wrong in both files, those of the assembly first.

    """
    file = path / CHOREOGRAPHY_FILE if is_folder(path) else path
    try:
        source = read_source(file, "toml")
        value, notes = parse(source)
    except ChoreoError as error:
        findings = error.findings
        if file == path and not path.suffix:  # a folder was meant, not a file
            there_is_none = "There is no such project folder."
            findings = tuple(
                replace(one, what=there_is_none) if one.code == "no-such-file" else one for one in findings
            )
        raise wrong_input(*_beside(file).findings, *findings) from error
    check_schema("choreography", value, notes)
    assembly_file = _assembly_file(notes, value, file)
    read = inspect_assembly(assembly_file) if assembly_file else AssemblyRead()
    check_choreography(notes, value, read.ids)
    locked, unfit = read_lock(notes, value, file.parent, read.ids)
    findings = (*read.findings, *notes.findings(), *unfit)
    if read.assembly is None or assembly_file is None or notes.failed or unfit:
        raise wrong_input(*_errors_first(findings))
    choreography, digest = build_choreography(value), read.digest
    if any(shot.handoff is not None and shot.handoff.settle_into_register for shot in choreography.shots):
        # Then tracks hang on what the pictures show.
        own, drawn = read.digests
        pictures = picture_digests(read.assembly, assembly_file.parent)
        digest = digest_with(assembly_file.name, own, {**drawn, **pictures})
    return Project(
        assembly=read.assembly,
        choreography=choreography,
        folder=assembly_file.parent,
        assembly_digest=digest,
        choreography_digest=digest_with(
            file.name, source.digest, {} if locked is None else {locked.name: locked.digest}
        ),
        approved=None if locked is None else locked.tracks,
        warnings=findings,
        outline_files=read.outline_files,
    )


def read_assembly(path: Path) -> Assembly:
    """Return the assembly in a JSON file.

    Raises
    ------
    ChoreoError
        Exit code 2, with all that is wrong with the file.

    """
    read = inspect_assembly(path)
    if read.assembly is None:
        raise wrong_input(*_errors_first(read.findings))
    return read.assembly


def _assembly_file(notes: Notes, value: Any, file: Path) -> Path | None:
    """Return the file that the choreography names; the usual one where it names none that can be used."""
    name = value.get("assembly", ASSEMBLY_FILE) if isinstance(value, dict) else ASSEMBLY_FILE
    if not notes.sound("assembly"):
        return None
    return check_path(notes, ("assembly",), name, file.parent)


def _beside(file: Path) -> AssemblyRead:
    """Inspect the assembly beside a choreography that cannot be read, if there is one."""
    assembly = file.parent / ASSEMBLY_FILE
    return inspect_assembly(assembly) if exists(assembly) else AssemblyRead()


def _errors_first(findings: tuple[Finding, ...]) -> list[Finding]:
    return sorted(findings, key=lambda finding: finding.severity != "error")
