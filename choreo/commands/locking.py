"""``choreo sign-off --lock``: approved tracks and the table that keeps them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from choreo.commands import Arguments, Said
from choreo.commands.looking import stands
from choreo.commands.section_contents import Reviewed, reviewed

if TYPE_CHECKING:
    from choreo.review.locking import LockPlan

APPROVED_FILE = "approved.tracks.json"


def lock(arguments: Arguments) -> Said:
    """Lock what is signed off, and say what is not locked and why."""
    from choreo.review.locking import locked_tracks, plan_lock  # noqa: PLC0415
    from choreo.write.files import write_all  # noqa: PLC0415
    from choreo.write.tracks_json import tracks_text  # noqa: PLC0415

    found = reviewed(arguments)
    choreography, tracks = found.project.choreography, found.film.tracks
    plan = plan_lock(choreography, tracks, stands(found, arguments)[0], found.project.approved)
    if not plan.shots:
        return _said(plan, [])
    file = _choreography_file(arguments.project)
    name = _tracks_name(found, file)
    text = _with_lock(file, name, plan.shots)
    write_all(file.parent, {name: tracks_text(locked_tracks(tracks, plan.shots)), file.name: text})
    return _said(plan, [str(file.parent / name), str(file)])


def _choreography_file(path: Path) -> Path:
    from choreo.read.paths import is_folder  # noqa: PLC0415
    from choreo.read.project import CHOREOGRAPHY_FILE  # noqa: PLC0415

    return path / CHOREOGRAPHY_FILE if is_folder(path) else path


def _tracks_name(found: Reviewed, file: Path) -> str:
    """Where approved tracks go: where the present lock has them; no other file is written over."""
    from choreo.errors import Finding, wrong_input  # noqa: PLC0415
    from choreo.read.paths import exists  # noqa: PLC0415

    present = found.project.choreography.lock
    if present is not None:
        return present.tracks_file
    if exists(file.parent / APPROVED_FILE):
        raise wrong_input(
            Finding(
                "lock-in-the-way",
                "There is a file of that name already, and no lock names it.",
                str(file.parent / APPROVED_FILE),
                why="It may hold what was approved before.",
                remedy="Give it another name, or name it in [lock] as the approved tracks.",
            )
        )
    return APPROVED_FILE


def _with_lock(file: Path, name: str, shots: tuple[str, ...]) -> str:
    from choreo.errors import Finding, wrong_input  # noqa: PLC0415
    from choreo.read.source import read_source  # noqa: PLC0415
    from choreo.write.lock_toml import with_lock  # noqa: PLC0415

    source = read_source(file, "toml")
    try:
        return with_lock(source.text, name, shots)
    except ValueError:
        names = ", ".join(f'"{shot}"' for shot in shots)
        raise wrong_input(
            Finding(
                "lock-not-a-table",
                "The lock is not written as a table of its own, so it cannot be replaced without touching more.",
                source.shown,
                remedy=f"Write it as [lock], with a line for tracks and a line shots = [{names}].",
            )
        ) from None


def _said(plan: LockPlan, files: list[str]) -> Said:
    words = [f"{shot}: locked." for shot in plan.shots if shot not in plan.kept]
    words += [f"{shot}: stays locked, though it is not signed off as it is." for shot in plan.kept]
    for shot, reasons in plan.left_out.items():
        words += [f"{shot}: not locked.", *(f"  {reason}" for reason in reasons)]
    words += ["Written:", *(f"  {file}" for file in files)] if files else ["Nothing was written."]
    left_out = [{"shot": shot, "why": list(reasons)} for shot, reasons in plan.left_out.items()]
    data = {"ok": bool(files), "locked": list(plan.shots), "left_out": left_out, "files": files}
    return Said(words, data, exit_code=0 if files else 1)
