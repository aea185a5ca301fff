"""What is wrong with a line that is not TOML, in words for who has just typed it.

The parser says what it expected (TOML 1.0.0's grammar); people want to know what they wrote and what to write instead.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from choreo.read.notes import printable

_LONGEST = 60
"""Characters of a line that are repeated."""
_CURLY = "“”„‟‘’‚«»"
_MERGE = ("<<<<<<<", "=======", ">>>>>>>", "|||||||")


@dataclass(frozen=True)
class _Line:
    """The line at which the parser stopped."""

    row: str
    head: str
    """Up to where it stopped."""
    rest: str
    """From there on."""


Said = tuple[str, str]
"""What is wrong, and what to do."""


def toml_words(message: str, text: str, line: int | None, column: int | None) -> Said | None:
    """Return what is wrong and what to do, or None where the parser's own words are the best there are.

    Parameters
    ----------
    message : str
        The parser's, without the place.
    text : str
        The whole file.
    line, column : int or None
        Where it stopped, counted from 1; no column: at the line's end.

    """
    rows = text.splitlines()
    if line is None or not 0 < line <= len(rows):
        return None
    row = rows[line - 1]
    at = len(row) if column is None else column - 1
    here = _Line(row.strip(), row[:at].strip(), row[at:].strip())
    if here.row.startswith(_MERGE):
        return (
            f"{_shown(here.row)} is a mark that a merge has left.",
            "Keep what is meant of both sides, without marks.",
        )
    say = next((say for start, say in _SAYINGS if message.startswith(start)), None)
    return None if say is None else say(here)


def _shown(text: str) -> str:
    short = text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"
    return f"`{printable(short)}`"


def _no_value(here: _Line) -> Said:
    found = re.match(r"[^\s,\]}#]*", here.rest)
    word = found[0] if found else ""
    if not word:
        return f"Nothing stands after {_shown(here.head)}.", "Give it a value, or take the line out."
    if word.lower() in ("true", "false"):
        return f"{_shown(word)} is not a value.", f"Write {word.lower()}, in small letters and without quotes."
    if word[0] in _CURLY:
        return f"{_shown(word)} is not a value: its quotes are curly.", 'Use straight quotes: ".'
    if re.fullmatch(r"[+-]?[.,]\d+", word):
        number = re.sub(r"[.,]", "0.", word, count=1)
        return f"{_shown(word)} is not a number.", f"Write {number}."
    return (
        f"{_shown(word)} is neither a number nor in quotes.",
        "Write numbers in digits, as 20 or 1.5, and put words in quotes.",
    )


def _goes_on(here: _Line) -> Said:
    what = f"After {_shown(here.head)} the line goes on: {_shown(here.rest)}."
    if re.match(r",\d", here.rest) and here.head[-1:].isdigit():
        return what, "Decimals are written with a point, as 1.5; a list stands in square brackets."
    if here.rest[:1].isdigit() and re.search(r"(^|\D)0$", here.head):
        return what, "No number begins with 0."
    return what, "Write one key a line. A remark begins with #, words stand in quotes, a list in square brackets."


def _no_sign(here: _Line) -> Said:
    return f"{_shown(here.row)} has no = after its key.", "Write key = value; a remark begins with #."


def _open_text(_here: _Line) -> Said:
    return "A text that begins with a quote does not end on its line.", "Close it with the same quote, \" or '."


def _open_heading(here: _Line) -> Said:
    return f"The heading {_shown(here.row)} is not closed.", "Close it with as many brackets as it begins with."


def _twice(here: _Line) -> Said:
    key = here.row if here.row.startswith("[") else here.row.partition("=")[0].strip()
    what = f"{_shown(key)} stands twice."
    return what, "Keep one of the two. Where several tables are meant, each is headed by [[name]], in two brackets."


def _open_list(_here: _Line) -> Said:
    return (
        "A list or an inline table goes wrong here: it is not closed, or a comma is missing.",
        "Part its values by commas, and close it with ] or }.",
    )


def _no_key(here: _Line) -> Said:
    return (
        f"{_shown(here.row)} does not begin with a key.",
        "Keys are letters, digits, - and _; a remark begins with #.",
    )


def _backslash(_here: _Line) -> Said:
    return r"A \ in a text means something else here.", r"Write / in paths; or \\; or put the text in single quotes."


_SAYINGS: tuple[tuple[str, Callable[[_Line], Said]], ...] = (
    ("Invalid value", _no_value),
    ("Expected newline or end of document after", _goes_on),
    ("Expected '=' after a key", _no_sign),
    ("Illegal character '\\n'", _open_text),
    ("Unterminated string", _open_text),
    ('Expected "\'"', _open_text),
    ("Expected ']' at the end of a table", _open_heading),
    ("Expected ']]' at the end", _open_heading),
    ("Cannot overwrite a value", _twice),
    ("Cannot declare", _twice),
    ("Unclosed array", _open_list),
    ("Unclosed inline table", _open_list),
    ("Invalid statement", _no_key),
    ("Unescaped '\\' in a string", _backslash),
)
