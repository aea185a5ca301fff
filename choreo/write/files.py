"""All files of a run reach the disk, or none does.

Everything is written to a folder of its own beside its destination first. Only when all of it is there is it
moved into place, file by file; what stood there before is kept until the last move has worked and comes back
if one fails.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path, PurePosixPath

from choreo.errors import ChoreoError, Finding, wrong_input

_SYNCED_FILES = 32
"""So many files are pressed to the disk at once, against a power cut; pictures by the thousand are left to the
system, which would take minutes for it."""


def write_all(folder: Path, files: Mapping[str, bytes | str]) -> None:
    """Write all files into a folder, or leave it as it was.

    Parameters
    ----------
    folder : Path
        Created if it is not there.
    files : mapping of name to content
        Names are relative to the folder, with ``/`` between the parts; text is written as UTF-8, as it stands.

    Raises
    ------
    ChoreoError
        Exit 2 if a file cannot be written, and before anything is changed if a name leads out of the folder,
        by itself or through a link.

    Notes
    -----
    A process that is killed between two moves leaves a folder ``.choreo-…`` with what stood there before.

    """
    made: list[Path] = []
    try:
        _make_folder(folder, made)
        targets = {name: _target(folder, name) for name in files}
        _in_place(folder, targets, files, made)
    except BaseException as error:
        _remove(made)
        if isinstance(error, OSError):
            raise _not_written(folder, error) from None
        raise


def _make_folder(folder: Path, made: list[Path]) -> None:
    """Create a folder and those above it, and note which were not there."""
    missing = []
    while not folder.exists():
        if folder.is_symlink():
            raise _refused(folder, "It is a link to something that is not there.")
        missing.append(folder)
        folder = folder.parent
    for path in reversed(missing):
        path.mkdir()
        made.append(path)


def _target(folder: Path, name: str) -> Path:
    """Return where a file goes; refuse what is not inside the folder."""
    pure = PurePosixPath(name)
    outside = pure.is_absolute() or not pure.parts or ".." in pure.parts
    if outside or "\\" in name or "\0" in name or Path(name).drive:
        raise _refused(folder / "?", f"The name {name!r} is not that of a file inside the folder.")
    target = folder.joinpath(*pure.parts)
    # `realpath` follows every link on the way, that of the file itself included, and survives rings of links.
    if not Path(os.path.realpath(target)).is_relative_to(os.path.realpath(folder)):
        raise _refused(target, "A link on the way leads out of the folder.")
    if target.is_dir():
        raise _refused(target, "A folder of that name is in the way.")
    return target


def _in_place(folder: Path, targets: Mapping[str, Path], files: Mapping[str, bytes | str], made: list[Path]) -> None:
    """Write everything aside, then move it."""
    aside = Path(tempfile.mkdtemp(prefix=".choreo-", dir=folder))
    moved: list[tuple[Path, Path | None]] = []
    try:
        written = [
            (_written(aside / f"new-{number}", files[name], sync=len(files) <= _SYNCED_FILES), target)
            for number, (name, target) in enumerate(targets.items())
        ]
        for number, (source, target) in enumerate(written):
            _make_folder(target.parent, made)
            old = _kept(target, aside / f"old-{number}")
            moved.append((target, old))
            os.replace(source, target)  # noqa: PTH105 (one call, so that it can be made to fail in tests)
    except BaseException:
        _restore(moved)
        raise
    finally:
        shutil.rmtree(aside, ignore_errors=True)


def _written(path: Path, content: bytes | str, *, sync: bool) -> Path:
    with path.open("wb") as file:
        file.write(content.encode() if isinstance(content, str) else content)
        file.flush()
        if sync:
            os.fsync(file.fileno())
    return path


def _kept(target: Path, aside: Path) -> Path | None:
    """Keep a second name for what stands at the target; None if nothing does."""
    if not os.path.lexists(target):  # also true of a link to nothing
        return None
    try:
        os.link(target, aside, follow_symlinks=False)
    except (OSError, NotImplementedError):  # file systems without hard links
        shutil.copy2(target, aside, follow_symlinks=False)
    return aside


def _restore(moved: list[tuple[Path, Path | None]]) -> None:
    """Undo the moves, the last one first; what cannot be undone must not keep the others from it."""
    for target, old in reversed(moved):
        with suppress(OSError):
            if old is None:
                target.unlink(missing_ok=True)
            else:
                os.replace(old, target)  # noqa: PTH105


def _remove(made: list[Path]) -> None:
    for path in reversed(made):
        with suppress(OSError):
            path.rmdir()


def _refused(path: Path, why: str) -> ChoreoError:
    return wrong_input(
        Finding(
            "output-refused",
            "This file cannot be written here.",
            str(path),
            why=why,
            remedy="Choose another folder for the output, or clear the way. Nothing has been changed.",
        )
    )


def _not_written(folder: Path, error: OSError) -> ChoreoError:
    return wrong_input(
        Finding(
            "output-not-written",
            "The output could not be written.",
            str(folder),
            why=f"The system says: {error.strerror or type(error).__name__}.",
            remedy="Make room, or allow writing there, or choose another folder. Nothing has been changed.",
        )
    )
