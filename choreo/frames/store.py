"""Files of frames in a folder, and the index beside them that says which state of the film each one shows.

A file is written under another name and moved into place, so there never is half of one. The index holds, for each
file, the key of what it was made from and the digest of its bytes: whatever is not as it says counts as stale, be it
changed, cut short or gone.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from choreo.errors import ChoreoError, Finding, wrong_input

INDEX_FILE = "frames.index.json"
_FORMAT = "choreo/frames-index"
_ASIDE = ".choreo-"


@dataclass(frozen=True)
class Stored:
    """One file as it was written."""

    key: str
    """Of what it was made from."""
    bytes: int
    digest: str


class Store:
    """The frames in a folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.known: dict[str, Stored] = _read_index(folder / INDEX_FILE)

    def holds(self, name: str, key: str) -> bool:
        """Return whether a file is there, as it was written, and shows that state of the film."""
        known = self.known.get(name)
        if known is None or known.key != key:
            return False
        return _same(self.folder / name, known)

    def note(self, name: str, stored: Stored) -> None:
        """Note a file that has been written; `save` puts it down."""
        self.known[name] = stored

    def drop_others(self, names: Collection[str]) -> list[str]:
        """Remove files of ours that are none of these names; those that somebody has changed stay. Return their names.

        Names that were removed are returned.
        """
        wanted = set(names)
        gone = []
        for name in sorted(set(self.known) - wanted):
            known = self.known.pop(name)
            if _same(self.folder / name, known):
                with suppress(OSError):
                    (self.folder / name).unlink()
                    gone.append(name)
        return gone

    def save(self) -> None:
        """Write the index.

        Raises
        ------
        ChoreoError
            Exit 2 if it cannot be written.

        """
        lines = [
            f"    {json.dumps(name)}: {json.dumps([one.key, one.bytes, one.digest])}"
            for name, one in sorted(self.known.items())
        ]
        head = f'{{\n  "format": "{_FORMAT}",\n  "version": 1,\n  "files": {{\n'
        text = head + ",\n".join(lines) + "\n  }\n}\n"
        write_file(self.folder, INDEX_FILE, text.encode())


def prepare_folder(folder: Path, names: Iterable[str]) -> None:
    """Make a folder for these files, and see that nothing is in their way.

    Raises
    ------
    ChoreoError
        Exit 2.

    """
    try:
        for place in sorted({(folder / name).parent for name in names} | {folder}):
            place.mkdir(parents=True, exist_ok=True)
            if not Path(os.path.realpath(place)).is_relative_to(os.path.realpath(folder)):
                raise wrong_input(_refused(place, "A link on the way leads out of the folder."))
            _clear(place)
    except OSError as error:
        raise _not_written(folder, error) from None


def _clear(folder: Path) -> None:
    """Remove what a run that was killed has left half written."""
    for path in sorted(folder.glob(f"{_ASIDE}*-*")):
        number = path.name.removeprefix(_ASIDE).split("-")[0]
        if number.isdecimal() and path.is_file() and not _runs(int(number)):
            with suppress(OSError):
                path.unlink()


def _runs(process: int) -> bool:
    if os.name != "posix":  # elsewhere signal 0 is not just a question
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # somebody else's, or no number of a process here
        return True
    return True


def write_file(folder: Path, name: str, content: bytes) -> tuple[int, str]:
    """Write one file whole, and return its size and digest.

    Raises
    ------
    ChoreoError
        Exit 2 if it cannot be written; what stood there before stays.

    """
    target = folder / name
    # One writer a name, so the process's number keeps two runs in one folder apart.
    aside = target.with_name(f"{_ASIDE}{os.getpid()}-{target.name}")
    try:
        with aside.open("wb") as file:
            file.write(content)
        os.replace(aside, target)  # noqa: PTH105
    except BaseException as error:
        with suppress(OSError):
            aside.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _not_written(target, error) from None
        raise
    return len(content), hashlib.sha256(content).hexdigest()


def write_stored(folder: Path | None, key: str, files: Mapping[str, bytes]) -> dict[str, Stored]:
    """Write the files of one frame, unless there is no folder for them, and return what to note of them."""
    if folder is None:
        return {name: Stored(key, len(each), hashlib.sha256(each).hexdigest()) for name, each in files.items()}
    return {name: Stored(key, *write_file(folder, name, content)) for name, content in files.items()}


def _same(path: Path, known: Stored) -> bool:
    try:
        if path.is_symlink() or path.stat().st_size != known.bytes:
            return False
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest() == known.digest
    except OSError:
        return False


def _read_index(path: Path) -> dict[str, Stored]:
    """What an index says; an index that cannot be read says nothing, and all is made anew."""
    try:
        content = json.loads(path.read_bytes())
        if (content["format"], content["version"]) != (_FORMAT, 1):
            return {}
        return {_plain(name): Stored(str(k), int(n), str(d)) for name, (k, n, d) in content["files"].items()}
    except (OSError, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        return {}


def _plain(name: str) -> str:
    if name.startswith("/") or "\\" in name or "\0" in name or ".." in name.split("/"):
        raise ValueError(name)
    return name


def _refused(path: Path, why: str) -> Finding:
    return Finding(
        "output-refused",
        "This file cannot be written here.",
        str(path),
        why=why,
        remedy="Choose another folder for the output, or clear the way.",
    )


def _not_written(path: Path, error: OSError) -> ChoreoError:
    return wrong_input(
        Finding(
            "output-not-written",
            "A file could not be written.",
            str(path),
            why=f"The system says: {error.strerror or type(error).__name__}.",
            remedy="Make room, or allow writing there, or choose another folder. Frames that are there are whole.",
        )
    )
