"""Words as they can be set: a letter that the typeface lacks would leave a gap that nobody notices."""

from __future__ import annotations

from dataclasses import replace

from choreo.model.assembly import Assembly, Part
from choreo.picture.lettering import clean
from choreo.picture.sheets.typeface import not_set

_STANDS_IN = "?"
"""For a letter in the middle of words: it says that something is missing there."""


def legible(assembly: Assembly) -> Assembly:
    """Return the assembly with names that can be set.

    A part whose label has letters that the typeface lacks is called by its id, which is plain Latin. In the name of the
    product and in notes a question mark stands for each such letter.
    """
    return replace(assembly, name=_set(assembly.name), parts=tuple(map(_part, assembly.parts)))


def _part(part: Part) -> Part:
    label = part.id if not_set(clean(part.label)) else part.label
    return replace(part, label=label, stand_in=None if part.stand_in is None else _set(part.stand_in))


def _set(words: str) -> str:
    lacking = not_set(clean(words))
    return "".join(_STANDS_IN if char in lacking else char for char in clean(words)) if lacking else words
