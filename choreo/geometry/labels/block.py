"""What stands in a label: a number in a circle and a name, and how much room they take.

Lengths are in units of the storyboard's sheet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from choreo.geometry.labels.lettering import cut, width, wrapped
from choreo.model.assembly import Part

Measure = Callable[[str, float], float]
"""How wide a line of type is at a size; from above, where the typeface is not known."""
LABEL_SIZE = 17.0
"""Size of type on a large panel."""
CIRCLE = 0.62
"""Radius of the circle around a number, in ems."""
_LABEL_EMS = 8.5
"""Width at which a label goes on in a second line."""
_MARKED_EMS = 7.5
"""Width of a name that leaves room for a mark on one line."""


@dataclass(frozen=True)
class Block:
    """A label: a number in a circle where the part has one, and its name in one or two lines."""

    lines: tuple[str, ...]
    number: int | None
    em: float
    measure: Measure = width

    @property
    def size(self) -> tuple[float, float]:
        """(width, height)."""
        return (self.indent + max(self.measure(words, self.em) for words in self.lines), self.line * len(self.lines))

    @property
    def line(self) -> float:
        """From one line to the next."""
        return 2 * CIRCLE * self.em

    @property
    def indent(self) -> float:
        """Where the name begins."""
        return 0.0 if self.number is None else (2 * CIRCLE + 0.3) * self.em


def block(label: str, number: int | None, em: float, measure: Measure = width) -> Block:
    """Break a long label in two; what is left after the second line is cut. `measure` knows the typeface, if one is."""
    room = _LABEL_EMS * em
    lines = wrapped(label, em, room)
    if len(lines) > 2:
        lines = [lines[0], cut(" ".join(lines[1:]), em, room)]
    return Block(tuple(lines), number, em, measure)


def marked(label: str) -> str:
    """Return the label of a stand-in, with a mark that no cutting takes away."""
    return cut(label, 1.0, _MARKED_EMS) + "*"


def label_of(part: Part) -> str:
    """Return what a storyboard calls a part; a stand-in has its mark."""
    return part.label if part.stand_in is None else marked(part.label)
