"""Easings in the choreography: a text, or a spring in physical words, and whether it stops at first contact."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from choreo.motion.easing import parse_easing
from choreo.motion.easing_clip import clipped_easing
from choreo.motion.easing_spring import spring_text
from choreo.read.notes import Notes
from choreo.read.place import Place

MASS = 1.0
"""kg; what a spring moves where nothing is said."""


def note_easing(notes: Notes, place: Place, table: Mapping[str, Any]) -> None:
    """Note an ``easing`` in `table` that is none."""
    if "easing" not in table or not notes.sound(*place, "easing"):
        return
    given = table["easing"]
    try:
        easing_text(given)
    except ValueError as error:
        if isinstance(given, str):
            code, remedy = "bad-easing", 'Write e.g. "ease-in-out", "cubic-bezier(0.3, 0, 0.1, 1)" or "min-jerk".'
        else:
            code, remedy = "bad-spring", "Change `damping`, e.g. { mass = 1, stiffness = 120, damping = 14 }."
        notes.add(code, (*place, "easing"), str(error), remedy=remedy)


def easing_text(given: str | Mapping[str, float]) -> str:
    """Return the easing that a text or a spring's table stands for, in the W3C's syntax.

    Parameters
    ----------
    given : str or mapping
        A text is returned as it is; a table has ``stiffness`` and ``damping``, and may have ``mass``.

    Returns
    -------
    str
        A spring becomes ``linear()``: see `choreo.motion.easing_spring`.

    Raises
    ------
    ValueError
        If it is no easing; the message is meant for the user.

    """
    if isinstance(given, str):
        parse_easing(given)
        return given
    return spring_text(float(given.get("mass", MASS)), float(given["stiffness"]), float(given["damping"]))


def settled_text(given: str | Mapping[str, float], kind: str, *, clip: bool) -> str:
    """Return the easing of a move in a phase of that kind, stopped at first contact if so asked.

    Parameters
    ----------
    given : str or mapping
        See `easing_text`.
    kind : str
        ``"explode"`` or ``"assemble"``; in a hold nothing moves and nothing is cut.
    clip : bool
        Whether the motion ends where it first arrives at the assembled place.

    """
    text = easing_text(given)
    return clipped_easing(text, kind) if clip and kind != "hold" else text
