"""Findings of one file while it is being read: places, lines and words that are safe to print.

A place inside a file is a tuple of keys and indices, counted from 0. It becomes a JSON Pointer (RFC 6901) or a
TOML key path, and gets its line, only when there is something to report: a good file never pays for that.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from choreo.errors import Finding
from choreo.read.place import Place

MOST_FINDINGS = 100
"""More than a person mends in one go, and a bound on what a hostile file can make us print."""
_LONGEST_SHOWN = 60
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


@dataclass(frozen=True)
class Source:
    """A file as text."""

    shown: str
    """Its path as the user wrote it."""
    text: str
    digest: str
    """``sha256:`` and the hexadecimal digest of the file's bytes."""
    syntax: str
    """``"json"`` or ``"toml"``."""


@dataclass
class Notes:
    """Collects what is wrong with one file."""

    source: Source
    _entries: list[tuple[Place, Finding]] = field(default_factory=list)
    _broken: set[Place] = field(default_factory=set)

    def add(self, code: str, place: Place, what: str, why: str = "", remedy: str = "") -> None:
        """Note an error at `place`."""
        self._entries.append((place, Finding(code, what, why=why, remedy=remedy)))
        if code != "unknown-key":  # what stands beside a stray key can still be judged
            self._broken.update(place[:length] for length in range(len(place) + 1))

    @property
    def failed(self) -> bool:
        """Whether any error was noted."""
        return any(finding.severity == "error" for _, finding in self._entries)

    def warn(self, code: str, place: Place, what: str, why: str = "", remedy: str = "") -> None:
        """Note a warning at `place`."""
        self._entries.append((place, Finding(code, what, why=why, remedy=remedy, severity="warning")))

    def sound(self, *place: str | int) -> bool:
        """Whether no error stands at `place` or inside it."""
        return place not in self._broken

    def findings(self) -> tuple[Finding, ...]:
        """Return what was noted, with places and lines, in the order of the file."""
        if not self._entries:
            return ()
        lines = _lines(self.source, {place for place, _ in self._entries})
        placed = [(lines.get(place, 1), place, finding) for place, finding in self._entries]
        placed.sort(key=lambda entry: (not _comes_first(entry[2]), entry[0]))
        findings = [_placed(self.source, *entry) for entry in placed[:MOST_FINDINGS]]
        if len(placed) > MOST_FINDINGS:
            findings.append(_too_many(self.source, len(placed) - MOST_FINDINGS))
        return tuple(findings)


def pointer(place: Place) -> str:
    """Return `place` as a JSON Pointer (RFC 6901); the whole document is the empty one."""
    return "".join("/" + str(key).replace("~", "~0").replace("/", "~1") for key in place)


def key_path(place: Place) -> str:
    """Return `place` as a TOML key path such as ``shot[0].phase[1].frames``; quoted keys where TOML asks."""
    out = ""
    for key in place:
        if isinstance(key, int):
            out += f"[{key}]"
        else:
            bare = key if _BARE_KEY.fullmatch(key) else json.dumps(key, ensure_ascii=False)
            out += f".{bare}" if out else bare
    return out


def spoken(place: Place) -> str:
    """Return how a message calls `place`: its last key and the indices after it, in back quotes."""
    start = len(place)
    while start > 0 and isinstance(place[start - 1], int):
        start -= 1
    return f"`{clipped(key_path(place[max(start - 1, 0) :]))}`" if place else "the file"


def shown(value: Any) -> str:
    """Return a value as a message quotes it: JSON, clipped, without characters that a terminal acts on."""
    if isinstance(value, dict):
        return "a table of keys"
    if isinstance(value, list):
        return f"a list of {len(value)}" if len(value) > 4 else f"[{', '.join(map(shown, value))}]"
    if isinstance(value, str):
        return json.dumps(clipped(value), ensure_ascii=False)
    return clipped(json.dumps(value, default=str))


def clipped(text: str) -> str:
    """Return `text`, or its beginning and an ellipsis where it is long."""
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1] + "…"


def printable(text: str) -> str:
    """Return `text` with control characters, lone surrogates and the like written as escapes."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def choices(options: Iterable[str]) -> str:
    """Return the allowed words, sorted, for a message."""
    ordered = sorted(options)
    text = ", ".join(clipped(option) for option in ordered[:40])
    return text + (f" and {len(ordered) - 40} more" if len(ordered) > 40 else "")


def near_miss(word: str, options: Sequence[str]) -> str:
    """Return ``Did you mean `…`? `` where one option looks like `word`, or nothing."""
    if len(word) > _LONGEST_SHOWN:
        return ""
    close = difflib.get_close_matches(word, options, n=1)
    return f"Did you mean `{close[0]}`? " if close else ""


def _placed(source: Source, line: int, place: Place, finding: Finding) -> Finding:
    where = pointer(place) if source.syntax == "json" else key_path(place)
    return Finding(
        finding.code,
        printable(finding.what),
        file=source.shown,
        place=printable(where),
        line=line,
        why=printable(finding.why),
        remedy=printable(finding.remedy),
        severity=finding.severity,
    )


def _comes_first(finding: Finding) -> bool:
    # A file of another kind or version makes nonsense of whatever else is said about it.
    return finding.code in ("wrong-format", "wrong-version")


def _too_many(source: Source, rest: int) -> Finding:
    return Finding(
        "and-more",
        f"There are {rest} more findings in this file.",
        file=source.shown,
        remedy="Mend the ones above first, then look again.",
    )


def _lines(source: Source, places: set[Place]) -> dict[Place, int]:
    """Return the line of each place that the text has; imported here because only bad files need it."""
    if source.syntax == "json":
        from choreo.read.locate_json import json_lines  # noqa: PLC0415

        return json_lines(source.text, places)
    from choreo.read.locate_toml import toml_lines  # noqa: PLC0415

    return toml_lines(source.text)
