"""Ids: each stands once, and whatever refers to one finds it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from choreo.read.notes import Notes, choices, clipped, near_miss, pointer
from choreo.read.place import Place


def entries(table: Any, key: str) -> list[Any]:
    """Return the list under `key`, or an empty one where there is none or the schema has refused it."""
    found = table.get(key) if isinstance(table, dict) else None
    return found if isinstance(found, list) else []


def note_repeats(notes: Notes, code: str, kind: str, named: Sequence[tuple[Place, str]]) -> None:
    """Note each name that another one before it takes already, capitals aside."""
    first: dict[str, Place] = {}
    for place, name in named:
        taken = first.setdefault(name.casefold(), place)
        if taken is not place:
            notes.add(
                code,
                place,
                f"Another {kind} is called `{clipped(name)}` already, capitals aside.",
                "Names become file names, and some systems do not tell capitals apart.",
                f"Rename one of the two; the other stands at {pointer(taken)}."
                if notes.source.syntax == "json"
                else "Rename one of the two.",
            )


def note_unknown(notes: Notes, place: Place, name: str, known: Sequence[str]) -> bool:
    """Note a reference to a part that there is none of; return whether it was one."""
    if name in known:
        return False
    remedy = f"{near_miss(name, known)}The parts are: {choices(known)}."
    notes.add("unknown-part", place, f"There is no part `{clipped(name)}`.", remedy=remedy)
    return True
