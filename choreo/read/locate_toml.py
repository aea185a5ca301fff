"""Lines of keys in a TOML text that the standard parser has already accepted.

Because the text is known to be well formed, it is enough to walk over it: this follows headers, dotted keys,
arrays and inline tables of TOML 1.0, and never judges.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_left

from choreo.read.place import Place

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|'
    r"'''.*?'{3,5}|"
    r'"(?:[^"\\\n]|\\.)*"|'
    r"'[^'\n]*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}\n#]*")


def toml_lines(text: str) -> dict[Place, int]:
    """Return the line, from 1, on which each key, table and array element of the document first stands."""
    return _Walk(text).lines


class _Walk:
    """One pass over the text; `at` is the offset reached."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Place, int] = {(): 1}
        self._newlines = [match.start() for match in re.finditer("\n", text)]
        self._counts: dict[Place, int] = {}  # arrays of tables so far
        table: Place = ()
        while self._skip(_SPACE) < len(text):
            if text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> int:
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()
        return self.at

    def _mark(self, place: Place, offset: int) -> None:
        self.lines.setdefault(place, bisect_left(self._newlines, offset) + 1)

    def _header(self) -> Place:
        start = self.at
        is_array = self.text.startswith("[[", start)
        self.at += 2 if is_array else 1
        place: Place = ()
        keys = self._keys()
        for depth, key in enumerate(keys, start=1):
            place = (*place, key)
            self._mark(place, start)
            if is_array and depth == len(keys):
                self._counts[place] = self._counts.get(place, 0) + 1
            if place in self._counts:
                place = (*place, self._counts[place] - 1)
                self._mark(place, start)
        self.at += 2 if is_array else 1
        return place

    def _keys(self) -> list[str]:
        """Read a dotted key and stop after it and its blanks."""
        keys = []
        while True:
            self._skip(_BLANK)
            start = self.at
            if self.text[start] in "\"'":
                self._skip(_STRING)
                keys.append(str(tomllib.loads(f"k = {self.text[start : self.at]}")["k"]))
            else:
                self._skip(_BARE)
                keys.append(self.text[start : self.at])
            self._skip(_BLANK)
            if self.text[self.at] != ".":
                return keys
            self.at += 1

    def _pair(self, table: Place) -> None:
        start = self.at
        for key in self._keys():
            table = (*table, key)
            self._mark(table, start)
        self.at += 1  # the equals sign
        self._skip(_BLANK)
        self._value(table)

    def _value(self, place: Place) -> None:
        mark = self.text[self.at]
        if mark in "\"'":
            self._skip(_STRING)
        elif mark == "[":
            self._array(place)
        elif mark == "{":
            self._inline_table(place)
        else:
            self._skip(_SCALAR)

    def _array(self, place: Place) -> None:
        self.at += 1
        index = 0
        while self.text[self._skip(_SPACE)] != "]":
            self._mark((*place, index), self.at)
            self._value((*place, index))
            index += 1
            if self.text[self._skip(_SPACE)] == ",":
                self.at += 1
        self.at += 1

    def _inline_table(self, place: Place) -> None:
        self.at += 1
        while self.text[self._skip(_SPACE)] != "}":
            self._pair(place)
            if self.text[self._skip(_SPACE)] == ",":
                self.at += 1
        self.at += 1
