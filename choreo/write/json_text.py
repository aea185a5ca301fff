"""JSON that people can read: one line for what belongs together, one level of indent for what does not."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any


def quoted(text: str) -> str:
    """Return text as a JSON string, other scripts as they are."""
    return json.dumps(text, ensure_ascii=False)


def object_text(pairs: Mapping[str, str], depth: int) -> str:
    """Return an object with one line a key; the values are JSON already.

    Parameters
    ----------
    pairs : mapping of key to JSON text
        In the order in which they are written.
    depth : int
        Levels of indent of the line on which the object begins.

    """
    return _block("{", [f"{quoted(key)}: {value}" for key, value in pairs.items()], "}", depth)


def array_text(items: Iterable[str], depth: int) -> str:
    """Return an array with one line an item; the items are JSON already."""
    return _block("[", list(items), "]", depth)


def flat_object(pairs: Mapping[str, str]) -> str:
    """Return an object on one line; the values are JSON already."""
    return "{" + ", ".join(f"{quoted(key)}: {value}" for key, value in pairs.items()) + "}"


def readable(value: Any, depth: int = 0) -> str:
    """Return any JSON value with a line for every key and item, but lists of plain values, and of points, on one."""
    if isinstance(value, dict):
        return object_text({key: readable(item, depth + 1) for key, item in value.items()}, depth)
    if isinstance(value, list) and any(isinstance(item, dict | list) for item in value) and not _is_ring(value):
        return array_text([readable(item, depth + 1) for item in value], depth)
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _is_ring(value: list[Any]) -> bool:
    return all(isinstance(item, list) and all(isinstance(one, int | float) for one in item) for item in value)


def _block(opening: str, lines: list[str], closing: str, depth: int) -> str:
    if not lines:
        return opening + closing
    inner = "\n" + "  " * (depth + 1)
    return opening + inner + ("," + inner).join(lines) + "\n" + "  " * depth + closing
