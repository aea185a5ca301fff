"""Directions and frame rates: small values that both files hold."""

from __future__ import annotations

import math
from collections.abc import Sequence

from choreo.model.assembly import Vector
from choreo.motion.timecode import parse_rate
from choreo.read.notes import Notes
from choreo.read.place import Place

SHORTEST_DIRECTION = 1e-9
"""A direction shorter than this is taken for 0: its angle would be noise."""


def note_zero(notes: Notes, place: Place, vector: Sequence[float]) -> None:
    """Note a direction of length 0."""
    if math.hypot(*vector) < SHORTEST_DIRECTION:
        what = f"`{place[-1]}` has length 0, and so no direction."
        notes.add("zero-direction", place, what, remedy="Give e.g. [0, 0, 1], toward the viewer of the plan view.")


def note_rate(notes: Notes, place: Place, text: str) -> None:
    """Note a frame rate that is none."""
    try:
        parse_rate(text)
    except ValueError as error:
        notes.add("bad-frame-rate", place, str(error), remedy='Write a ratio in quotes, e.g. "24" or "24000/1001".')


def unit(vector: Sequence[float]) -> Vector:
    """Return a direction scaled to length 1; an axis of product space stays exact."""
    length = math.hypot(*vector)
    x, y, z = (float(component) / length for component in vector)
    return x, y, z


def vector(numbers: Sequence[float]) -> Vector:
    """Return three numbers as a vector."""
    x, y, z = (float(component) for component in numbers)
    return x, y, z
