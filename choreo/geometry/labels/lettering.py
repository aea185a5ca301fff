"""Text cleaned, cut to a width, and measured with room to spare.

Which font a viewer takes is not ours to know, so widths are estimated from above: no common sans-serif sets a
line wider than is said here.
"""

from __future__ import annotations

import unicodedata

ELLIPSIS = "…"
_NARROW = frozenset("iljtfrI.,:;'|!()[]/ -·")
_WIDE = frozenset("mwMW@%&—…")
BOLD = 1.12
"""How much wider bold type runs."""
_UNSEEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def clean(text: str) -> str:
    """Return text on one line, without what does not print, turns the direction of writing, or piles up marks."""
    kept = ""
    for char in unicodedata.normalize("NFC", text):
        if char.isspace():
            kept += " "
        elif unicodedata.category(char) not in _UNSEEN and not all(map(unicodedata.combining, kept[-2:] + char)):
            kept += char
    return " ".join(kept.split())


def width(text: str, size: float) -> float:
    """Return how wide a line of text is at most, in the unit of its size."""
    return size * sum(map(_share, text))


def cut(text: str, size: float, room: float) -> str:
    """Return clean text that is no wider than the room, with an ellipsis where it was cut."""
    text = clean(text)
    if width(text, size) <= room:
        return text
    left = room - width(ELLIPSIS, size)
    kept = 0
    while kept < len(text) and (left := left - size * _share(text[kept])) >= 0:
        kept += 1
    return text[:kept].rstrip() + ELLIPSIS


def wrapped(text: str, size: float, room: float) -> list[str]:
    """Return clean text in lines no wider than the room, broken at spaces; a longer word is cut."""
    lines: list[str] = []
    for word in clean(text).split(" "):
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width(joined, size) <= room:
            lines[-1] = joined
        else:
            lines.append(cut(word, size, room))
    return lines


def _share(char: str) -> float:
    """Width of a character in ems, from above."""
    if unicodedata.combining(char):
        return 0.0
    if char in _NARROW:
        return 0.42
    if char in _WIDE or not char.isascii():
        return 1.1
    return 0.66 if char.islower() or char.isdigit() else 0.85
