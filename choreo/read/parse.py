"""Text to plain values: dicts, lists, strings, finite numbers, booleans. Syntax ends here.

The standard parsers are more lenient than the formats: JSON's lets a key stand twice and NaN be a number, both
let a number be larger than anything can hold. What they let through is refused here.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from typing import Any

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.read.notes import Notes, Source, printable, spoken
from choreo.read.place import Place
from choreo.read.toml_words import toml_words

DEEPEST = 40
"""Levels of nesting; the formats need fewer than ten."""
_LONGEST_WHOLE = 19
"""Digits of the largest number that 64 bits hold, and so the longest that TOML 1.0 asks a reader to take."""
_ESCAPED_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")


def parse(source: Source) -> tuple[Any, Notes]:
    """Return the value of a text, and the notes that its checks go on to fill.

    Parameters
    ----------
    source : Source
        A JSON or a TOML text.

    Returns
    -------
    value : dict, list, str, float, int, bool or None
        Nested at most `DEEPEST` levels. Of a key that stands twice, the last.
    notes : Notes
        Holds what is wrong already: repeated keys, numbers that are not finite, broken characters.

    Raises
    ------
    ChoreoError
        If the text is not JSON or TOML at all, or is nested too deep.

    """
    try:
        value, suspicious, repeated = (_json if source.syntax == "json" else _toml)(source)
    except RecursionError as error:
        raise _too_deep(source) from error
    _check_depth(source, value)
    notes = Notes(source)
    if repeated:
        _note_repeated(notes)
    if suspicious:
        _note_suspicious(notes, value)
        value = _bounded(value)
    return value, notes


def _json(source: Source) -> tuple[Any, bool, bool]:
    """Return the value, whether it needs a closer look, and whether a key stands twice."""
    odd: list[str] = []
    repeated: list[bool] = []

    def table(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        out = dict(pairs)
        if len(out) < len(pairs):
            repeated.append(True)
        return out

    def constant(text: str) -> float:
        odd.append(text)
        return float(text)

    def whole(text: str) -> float:
        # float() turns what is beyond all bounds into inf, which no bound of a schema lets through.
        return int(text) if len(text) <= _LONGEST_WHOLE else float(text)

    try:
        value = json.loads(source.text, object_pairs_hook=table, parse_constant=constant, parse_int=whole)
    except json.JSONDecodeError as error:
        raise _syntax(source, "bad-json", error.msg, error.lineno, error.colno) from error
    return value, bool(odd) or _ESCAPED_SURROGATE.search(source.text) is not None, bool(repeated)


def _toml(source: Source) -> tuple[Any, bool, bool]:
    try:
        value = tomllib.loads(source.text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(source, "bad-toml", *_where_toml(str(error), source.text)) from error
    except ValueError as error:  # a number or a date that TOML's grammar lets through and Python does not
        raise _syntax(source, "bad-toml", str(error).split(";", maxsplit=1)[0], None, None) from error
    return value, True, False


def _where_toml(message: str, text: str) -> tuple[str, int, int | None]:
    """Split what the parser says into reason, line and column."""
    match = re.fullmatch(r"(.*) \(at line (\d+), column (\d+)\)", message, re.DOTALL)
    if match:
        return match[1], int(match[2]), int(match[3])
    return message.removesuffix(" (at end of document)"), text.rstrip().count("\n") + 1, None


def _syntax(source: Source, code: str, reason: str, line: int | None, column: int | None) -> ChoreoError:
    name = source.syntax.upper()
    where = f" at column {column}" if column else ""
    plain = toml_words(reason, source.text, line, column) if source.syntax == "toml" else None
    what, remedy = plain or (
        f"This is not valid {name}{where}: {printable(reason).rstrip('.')}.",
        "Look at this line and the one before it for a missing or extra comma, quote or bracket.",
    )
    why = "Nothing after this place can be read."
    finding = Finding(code, what, file=source.shown, line=line, why=why, remedy=remedy)
    return wrong_input(finding)


def _too_deep(source: Source) -> ChoreoError:
    return wrong_input(
        Finding(
            "too-deep",
            f"The file nests lists or tables more than {DEEPEST} levels deep.",
            file=source.shown,
            why="Nothing in this format needs that.",
            remedy="Look for brackets that are never closed, or for a file of another kind.",
        )
    )


def _check_depth(source: Source, value: Any) -> None:
    level = [value]
    for _ in range(DEEPEST):
        level = [
            child
            for parent in level
            if isinstance(parent, (dict, list))
            for child in (parent.values() if isinstance(parent, dict) else parent)
            if isinstance(child, (dict, list))
        ]
        if not level:
            return
    raise _too_deep(source)


def _note_repeated(notes: Notes) -> None:
    from choreo.read.locate_json import repeated_keys  # noqa: PLC0415

    for place in repeated_keys(notes.source.text):
        notes.add(
            "repeated-key",
            place,
            f"The key {spoken(place)} stands twice in the same object.",
            "Only one of the two could count, and readers differ on which.",
            "Keep the one that is meant and delete the other.",
        )


def _note_suspicious(notes: Notes, value: Any) -> None:
    """Note every string that cannot be written as UTF-8 and every number that is not finite or too long."""
    pending: list[tuple[Place, Any]] = [((), value)]
    while pending:
        place, item = pending.pop()
        if isinstance(item, dict):
            for key, child in item.items():
                _note_surrogates(notes, (*place, key), key)
                pending.append(((*place, key), child))
        elif isinstance(item, list):
            pending += [((*place, index), child) for index, child in enumerate(item)]
        elif isinstance(item, str):
            _note_surrogates(notes, place, item)
        elif isinstance(item, (int, float)):
            _note_unbounded(notes, place, item)


def _note_unbounded(notes: Notes, place: Place, number: float) -> None:
    if isinstance(number, float) and math.isfinite(number):
        return
    if isinstance(number, int) and abs(number) < 2**63:
        return
    is_whole = isinstance(number, int)
    what = "is a whole number of more than 64 bits" if is_whole else "is not a finite number"
    notes.add("not-finite", place, f"{spoken(place)} {what}.", remedy="Write a number of ordinary size.")


def _bounded(value: Any) -> Any:
    """Return `value` with whole numbers of more than 64 bits replaced by inf: Python refuses to print some."""
    if isinstance(value, dict):
        return {key: _bounded(child) for key, child in value.items()}
    if isinstance(value, list):
        return [_bounded(child) for child in value]
    return math.inf if isinstance(value, int) and abs(value) >= 2**63 else value


def _note_surrogates(notes: Notes, place: Place, text: str) -> None:
    if any("\ud800" <= character <= "\udfff" for character in text):
        notes.add(
            "broken-character",
            place,
            f"{spoken(place)} holds half of a character (a lone surrogate escape).",
            remedy="Write the character itself, or both halves of its escape.",
        )
