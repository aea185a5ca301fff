"""The bytes of a file that an assembly names."""

from __future__ import annotations

import stat
from pathlib import Path

from choreo.read.refused import Refused


def read_bytes(path: Path, most: int) -> bytes:
    """Return the bytes of a plain file of at most `most` of them, or raise `Refused`."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            what = "This is a folder." if stat.S_ISDIR(status.st_mode) else "This is not a plain file."
            raise Refused("not-a-file", what, "Give the path of a file.")
        if status.st_size > most:
            what = f"The file is larger than {most // 2**20} MB."
            raise Refused("file-too-large", what, "Save only what the part needs.")
        with path.open("rb") as stream:
            return stream.read(most)
    except FileNotFoundError as error:
        raise Refused("no-such-file", "There is no such file.", "Check the spelling of the path.") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the path cannot be used"
        what = f"The file cannot be read: {reason}."
        raise Refused("unreadable", what, "Check the path and its permissions.") from error
