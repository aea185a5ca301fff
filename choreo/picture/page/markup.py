"""HTML as text: elements whose attributes are escaped, and words that stay words."""

from __future__ import annotations

import html
import json
from typing import Any

from choreo.geometry.labels.lettering import clean

Attribute = str | int | bool | None
_VOID = {"br", "hr", "input", "meta"}


def words(text: str) -> str:
    """Return text on one line that no reader takes for markup, and that does not turn the direction of writing."""
    return html.escape(clean(text), quote=True)


def tag(name: str, content: str = "", /, **attributes: Attribute) -> str:
    """Return an element. The content must be markup already; values of attributes may hold anything.

    An underscore in an attribute's name stands for a hyphen, one at its end is dropped. True writes the name alone,
    None and False leave it out.
    """
    pairs = ""
    for key, value in attributes.items():
        if value is None or value is False:
            continue
        shown = key.rstrip("_").replace("_", "-")
        pairs += f" {shown}" if value is True else f' {shown}="{words(str(value))}"'
    return f"<{name}{pairs}>" if name in _VOID else f"<{name}{pairs}>{content}</{name}>"


def data_block(name: str, data: dict[str, Any]) -> str:
    """Return JSON data that a script of the page reads; nothing in it can end the block or begin another."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for letter in "<>&":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return f'<script type="application/json" id="{words(name)}">{text}</script>'


def count(number: int, noun: str) -> str:
    """Return a number with its noun."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def listed(names: list[str]) -> str:
    """Return names as a sentence lists them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
