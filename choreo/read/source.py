"""Bytes from disk to text: whatever is wrong with the file as a file is found here."""

from __future__ import annotations

import codecs
import hashlib
import stat
from pathlib import Path

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.read.notes import Source, printable

MOST_BYTES = {"json": 64 * 2**20, "toml": 4 * 2**20}
"""An assembly may hold traced outlines; a choreography is written by hand."""


def read_source(path: Path, syntax: str, most: int | None = None) -> Source:
    """Return the text of a file.

    Parameters
    ----------
    path : Path
        As the user wrote it; findings repeat it.
    syntax : str
        ``"json"`` or ``"toml"``.
    most : int, optional
        Bytes, where a file may be larger or has to be smaller than others of its syntax.

    Raises
    ------
    ChoreoError
        If the file is missing, is no plain file, cannot be read, is too large, is empty, begins with a byte
        order mark or is not UTF-8.

    """
    data = _read_bytes(path, MOST_BYTES[syntax] if most is None else most)
    text = _decode(path, data)
    return Source(printable(str(path)), text, "sha256:" + hashlib.sha256(data).hexdigest(), syntax)


def _read_bytes(path: Path, most: int) -> bytes:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            kind = "a folder" if stat.S_ISDIR(status.st_mode) else "not a plain file"
            raise _refused(path, "not-a-file", f"This is {kind}.", "Give the path of a file.")
        if status.st_size > most:
            raise _too_large(path, most)
        with path.open("rb") as stream:
            data = stream.read(most + 1)
    except FileNotFoundError as error:
        remedy = "Check the spelling of the path, and the folder you are in."
        raise _refused(path, "no-such-file", "There is no such file.", remedy) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the path cannot be used"
        what = f"The file cannot be read: {reason}."
        raise _refused(path, "unreadable", what, "Check the path and its permissions.") from error
    if len(data) > most:
        raise _too_large(path, most)
    return data


def _decode(path: Path, data: bytes) -> str:
    if not data.strip():
        raise _refused(path, "empty-file", "The file is empty.", "Start from one of the demo assemblies.", 1)
    if data.startswith(codecs.BOM_UTF8):
        what = "The file begins with a byte order mark."
        why = "Neither JSON nor TOML allows one."
        raise _refused(path, "byte-order-mark", what, "Save the file as UTF-8 without BOM.", 1, why)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"The file is not UTF-8: byte 0x{data[error.start]:02x} cannot stand here."
        raise _refused(path, "not-utf-8", what, "Save the file as UTF-8.", line) from error


def _too_large(path: Path, most: int) -> ChoreoError:
    what = f"The file is larger than {most // 2**20} MB."
    return _refused(path, "file-too-large", what, "Give outlines fewer points, or split the product.")


def _refused(path: Path, code: str, what: str, remedy: str, line: int | None = None, why: str = "") -> ChoreoError:
    return wrong_input(Finding(code, what, printable(str(path)), None, line, why, remedy))
