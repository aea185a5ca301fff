"""The table `[lock]` in the text of a choreography: appended, or put in the place of the one that is there.

Everything else stays as it is written, comments and layout too.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence

from choreo.write.sign_off import toml_text

_HEADER = re.compile(r"""[ \t]*\[[ \t]*(?:lock|"lock"|'lock')[ \t]*\][ \t]*(?:#.*)?\r?\n?""")
_NEXT = re.compile(r"[ \t]*\[")
_COMMENT = re.compile(r"[ \t]*#")
_WHY = "# Approved: these shots keep their tracks to the last digit."


def with_lock(text: str, tracks_file: str, shots: Sequence[str]) -> str:
    """Return the text of a choreography with a lock on whole shots.

    Parameters
    ----------
    text : str
        Valid TOML.
    tracks_file : str
        The approved tracks, named from the choreography's folder.
    shots : sequence of str

    Raises
    ------
    ValueError
        If the lock that is there is written in a way that cannot be replaced without touching more.

    """
    end = "\r\n" if "\r\n" in text else "\n"
    names = ", ".join(map(toml_text, shots))
    keys = [f"tracks = {toml_text(tracks_file)}", f"shots = [{names}]"]
    value = tomllib.loads(text)
    new = _replaced(text, keys, end) if "lock" in value else _appended(text, keys, end)
    if tomllib.loads(new) != {**value, "lock": {"tracks": tracks_file, "shots": list(shots)}}:
        raise ValueError("the lock is not a table of its own")
    return new


def _appended(text: str, keys: Sequence[str], end: str) -> str:
    before = text if text.endswith("\n") else text + end
    return before + end.join(["", _WHY, "[lock]", *keys, ""])


def _replaced(text: str, keys: Sequence[str], end: str) -> str:
    lines = text.splitlines(keepends=True)
    start = next((index for index, line in enumerate(lines) if _HEADER.fullmatch(line)), None)
    if start is None:
        raise ValueError("the lock is not a table of its own")
    stop = next((index for index in range(start + 1, len(lines)) if _NEXT.match(lines[index])), len(lines))
    # What stands between its last key and the next table belongs to that.
    while stop > start + 1 and (not lines[stop - 1].strip() or _COMMENT.match(lines[stop - 1])):
        stop -= 1
    header = lines[start] if lines[start].endswith("\n") else lines[start] + end
    comments = [line for line in lines[start + 1 : stop] if _COMMENT.match(line)]
    return "".join([*lines[:start], header, *comments, *(key + end for key in keys), *lines[stop:]])
