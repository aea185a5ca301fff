"""Entries of the ledger as text.

A block an entry, a line a fact, and a line a part: so a difference between two versions shows who has said what. What
is said of frames is a line of short digests, one a frame. New blocks stand at the end, and nothing that stands there
already is written anew.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from choreo.model.sign_off import Mark

HEAD = """\
# Who has signed off which section, and of what picture. `choreo sign-off` adds to the end; keep all blocks of both
# sides when two versions of this file are merged, in any order.
format = "choreo/sign-off"
version = 1
"""
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def ledger_with(text: str | None, marks: Sequence[Mark]) -> str:
    """Return the text of a ledger with more entries.

    Parameters
    ----------
    text : str or None
        What it held so far; None: there was none.
    marks : sequence of Mark

    """
    before = HEAD if text is None else text
    if not before.endswith("\n"):
        before += "\n"
    return before + "".join(f"\n{_block(mark)}" for mark in marks)


def toml_text(text: str) -> str:
    """Return text as a basic string of TOML 1.0; what cannot be seen is written as an escape."""
    return '"' + "".join(map(_character, text)) + '"'


def _character(character: str) -> str:
    if character in '"\\':
        return "\\" + character
    if character == "\n":
        return "\\n"
    if character.isprintable():
        return character
    code = ord(character)
    if 0xD800 <= code <= 0xDFFF:  # half a character has no escape in TOML
        code = 0xFFFD
    return f"\\u{code:04X}" if code <= 0xFFFF else f"\\U{code:08X}"


def _block(mark: Mark) -> str:
    lines = [
        "[[mark]]",
        f"section = {toml_text(mark.section)}",
        f"verdict = {toml_text(mark.verdict)}",
        f"by = {toml_text(mark.by)}",
        f"on = {toml_text(mark.on)}",
        *([f"note = {toml_text(mark.note)}"] if mark.note else []),
        f"content = {toml_text(mark.content)}",
        f"frames = {mark.frames}",
        *(f"{name} = {toml_text(text)}" for name, text in _by_frame(mark).items() if text),
        "  [mark.made_of]",
        *(f"  {_key(name)} = {toml_text(digest)}" for name, digest in mark.makings.common.items()),
        "  [mark.parts]",
        *(f"  {_key(part)} = {_table(digests)}" for part, digests in mark.makings.parts.items()),
    ]
    return "\n".join(lines) + "\n"


def _by_frame(mark: Mark) -> dict[str, str]:
    return {
        "frame_contents": mark.frame_contents,
        "frame_pictures": mark.frame_pictures,
        "drawn_with": mark.drawn_with,
    }


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else toml_text(name)


def _table(digests: Mapping[str, str]) -> str:
    return "{ " + ", ".join(f"{_key(name)} = {toml_text(digest)}" for name, digest in digests.items()) + " }"
