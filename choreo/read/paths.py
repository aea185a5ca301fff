"""Files that a project names: inside its folder, or refused."""

from __future__ import annotations

import os
import re
from pathlib import Path

from choreo.read.notes import Notes, spoken
from choreo.read.place import Place

_NUMBER = re.compile(r"#+")


def check_path(notes: Notes, place: Place, text: str, folder: Path) -> Path | None:
    """Return the file that `text` names, or note why it may not be used.

    Parameters
    ----------
    notes : Notes
        Of the file that names it.
    place : tuple
        Where it is named.
    text : str
        Relative, with forward slashes.
    folder : Path
        The folder of the project; the file must lie inside it, links followed.

    Returns
    -------
    Path or None
        The file need not exist.

    """
    reason = path_trouble(text)
    path = folder / text if not reason else folder
    if not reason and not stays_inside(path, folder):
        reason = "leads out of the project's folder through a link"
    if not reason:
        return path
    notes.add(
        "path-outside",
        place,
        f"{spoken(place)} {reason}.",
        "A project may be passed on as a folder, and must not reach into the rest of a disk.",
        "Put the file into the project's folder and name it from there, e.g. plates/shell.png.",
    )
    return None


def is_sequence(text: str) -> bool:
    """Whether a file name has one run of # in its last part, and none elsewhere."""
    folder, _, name = text.rpartition("/")
    return len(_NUMBER.findall(name)) == 1 and "#" not in folder


def numbered(text: str, frame: int) -> str:
    """Return the name of one file of a sequence: the run of # replaced by the number, padded with zeros."""
    return _NUMBER.sub(lambda run: str(frame).zfill(len(run[0])), text)


def exists(path: Path) -> bool:
    """Whether there is such a file; a name that no file can have counts as missing."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Whether there is such a folder; a name that no file can have, or that is out of reach, counts as none."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def path_trouble(text: str) -> str:
    """Return why this is no path inside a folder, or nothing."""
    if not text.isprintable():
        return "holds control characters"
    if "\\" in text:
        return "has a backslash; write forward slashes"
    if text.startswith("/") or re.match(r"[A-Za-z]:", text):
        return "is an absolute path"
    if ".." in text.split("/"):
        return "leaves the project's folder by `..`"
    if text.endswith("/") or not text.strip("./ "):
        return "names no file"
    return ""


def stays_inside(path: Path, folder: Path) -> bool:
    """Whether a path lies inside a folder, all links followed."""
    try:
        return Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder))
    except (OSError, ValueError):
        return False
