"""The table `[lock]` in the text of a choreography: appended, or put in the place of the one that is there.

Everything else stays as it is written, comments and layout too.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import suppress

from choreo.write.sign_off import toml_text

_HEADER = re.compile(r"""[ \t]*\[[ \t]*(?:lock|"lock"|'lock')[ \t]*\][ \t]*(?:#.*)?\r?\n?""")
_LINE = re.compile(r"[^\n]*\n|[^\n]+")
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
    wanted = {**value, "lock": {"tracks": tracks_file, "shots": list(shots)}}
    # A line that looks like the header may stand in a string of several lines: what is written has to read as wanted.
    for new in _replaced(text, keys, end) if "lock" in value else [_appended(text, keys, end)]:
        with suppress(tomllib.TOMLDecodeError):
            if tomllib.loads(new) == wanted:
                return new
    raise ValueError("the lock is not a table of its own")


def _appended(text: str, keys: Sequence[str], end: str) -> str:
    before = text if text.endswith("\n") else text + end
    return before + end.join(["", _WHY, "[lock]", *keys, ""])


def _replaced(text: str, keys: Sequence[str], end: str) -> Iterator[str]:
    """Yield the text with each line that looks like the header, and what follows it, replaced."""
    lines = _LINE.findall(text)
    for start, line in enumerate(lines):
        if not _HEADER.fullmatch(line):
            continue
        stop = next((index for index in range(start + 1, len(lines)) if _NEXT.match(lines[index])), len(lines))
        # What stands between its last key and the next table belongs to that.
        while stop > start + 1 and (not lines[stop - 1].strip() or _COMMENT.match(lines[stop - 1])):
            stop -= 1
        header = line if line.endswith("\n") else line + end
        old = lines[start + 1 : stop]
        comments = [one for one in old if _COMMENT.match(one)]
        new = [f"{key}{_remark(key.split()[0], old)}{end}" for key in keys]
        yield "".join([*lines[:start], header, *comments, *new, *lines[stop:]])


def _remark(key: str, lines: Sequence[str]) -> str:
    """What is remarked behind a key that is written on one line."""
    for line in lines:
        for match in re.finditer("#", line):
            with suppress(tomllib.TOMLDecodeError):
                # Before a # in a string, the line does not read.
                if key in tomllib.loads(line[: match.start()]):
                    return f"   {line[match.start() :].rstrip()}"
    return ""
