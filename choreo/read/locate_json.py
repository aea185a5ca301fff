"""Lines of places in a JSON text that the standard parser has already accepted.

Because the text is known to be well formed, tokens and a stack are enough: there is no second parser here that
could disagree about what is JSON.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_left
from collections.abc import Iterator

from choreo.read.place import Place

_TOKEN = re.compile(r'"[^"\\]*(?:\\.[^"\\]*)*"|[\[\]{},:]|[^\s\[\]{},:"]+')


def json_lines(text: str, places: set[Place]) -> dict[Place, int]:
    """Return the line, from 1, of each of `places`: of its key in an object, of its value in an array.

    Where a key stands twice in one object the last one counts, as it does for the parser.
    """
    inside = {place[:length] for place in places for length in range(len(place))}
    newlines = _newlines(text)
    found: dict[Place, int] = {(): _line(newlines, len(text) - len(text.lstrip()))}
    for place, start, _ in _members(text, inside):
        if place in places:
            found[place] = _line(newlines, start)
    return found


def repeated_keys(text: str) -> list[Place]:
    """Return the place of each key that its object already has."""
    return [place for place, _, again in _members(text, None) if again]


def _members(text: str, inside: set[Place] | None) -> Iterator[tuple[Place, int, bool]]:
    """Yield place, offset and "seen before" of what lies directly in the containers `inside`; None: in all."""
    path: list[str | int] = []
    opened: list[tuple[set[str | int] | None, bool]] = []  # keys so far (None: an array), whether to yield
    wants_key = False
    for match in _TOKEN.finditer(text):
        token = match.group()
        mark = token[0]
        if mark in "]}":
            opened.pop()
            path.pop()
            wants_key = False
            continue
        keys, yields = opened[-1] if opened else (None, False)
        if mark == ",":
            wants_key = True  # only looked at in an object
            path[-1] = _next(path[-1])
            continue
        if mark == ":":
            continue
        if wants_key and keys is not None:
            path[-1] = json.loads(token)
            if yields:
                yield tuple(path), match.start(), path[-1] in keys
            keys.add(path[-1])
            wants_key = False
            continue
        if yields and keys is None and inside is not None:
            yield tuple(path), match.start(), False
        if mark in "[{":
            opened.append((set() if mark == "{" else None, inside is None or tuple(path) in inside))
            path.append(0)
            wants_key = mark == "{"


def _next(key: str | int) -> str | int:
    return key + 1 if isinstance(key, int) else key


def _newlines(text: str) -> list[int]:
    return [match.start() for match in re.finditer("\n", text)]


def _line(newlines: list[int], offset: int) -> int:
    return bisect_left(newlines, offset) + 1
