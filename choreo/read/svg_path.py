"""The path data of SVG: its grammar, strictly, and its commands to points."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from choreo.geometry.plane.curves import arc, bezier
from choreo.model.plan import Floats
from choreo.read.notes import shown
from choreo.read.refused import Refused

Command = tuple[str, list[float]]

LARGEST_NUMBER = 1e12
"""Beyond it nothing is a drawing, and products of several numbers could overflow."""

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_FLAG = re.compile(r"[01]")
_SPACE = re.compile(r"[ \t\n\f\r]*")
_COMMA = re.compile(r"[ \t\n\f\r]*,?[ \t\n\f\r]*")
_COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
_FLAGS = (3, 4)
"""Which arguments of A are flags: they need no separator."""


@dataclass(frozen=True, eq=False)
class Subpath:
    """One run of the pen."""

    points: Floats
    """(n, 2) in user units."""
    closed: bool


def commands(text: str) -> Iterator[Command]:
    """Yield the commands of path data, one for each set of arguments.

    Raises
    ------
    Refused
        Where the grammar of SVG 2, section 9.3.9, is left. Renderers draw up to there and stop; half an outline is
        none.

    """
    at = _end(_SPACE, text, 0)
    first = True
    while at < len(text):
        letter = text[at]
        if letter.upper() not in _COUNTS or (first and letter.upper() != "M"):
            raise _bad_path(text, at, "a command" if not first else "M")
        at, first = _end(_SPACE, text, at + 1), False
        if letter in "Zz":
            yield letter, []
            continue
        more = True
        while more:
            arguments, at = _arguments(text, at, letter.upper())
            yield letter, arguments
            letter = {"M": "L", "m": "l"}.get(letter, letter)
            following = _end(_COMMA, text, at)
            more = NUMBER.match(text, following) is not None
            at = following if more else _end(_SPACE, text, at)


def _arguments(text: str, at: int, letter: str) -> tuple[list[float], int]:
    found: list[float] = []
    for index in range(_COUNTS[letter]):
        if index:
            at = _end(_COMMA, text, at)
        is_flag = letter == "A" and index in _FLAGS
        match = (_FLAG if is_flag else NUMBER).match(text, at)
        if not match:
            raise _bad_path(text, at, "0 or 1" if is_flag else "a number")
        found.append(number(match[0]))
        at = match.end()
    return found, at


def number(text: str) -> float:
    """Return a number of a drawing, or raise `Refused` for one beyond `LARGEST_NUMBER`."""
    value = float(text)
    if not abs(value) <= LARGEST_NUMBER:
        what = f"The drawing holds the number {shown(text)}."
        raise Refused("svg-number", what, f"Keep numbers below {LARGEST_NUMBER:g}.")
    return value


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    match = pattern.match(text, at)
    return match.end() if match else at


def _bad_path(text: str, at: int, wanted: str) -> Refused:
    here = f"stands {shown(text[at : at + 12])}" if at < len(text) else "it ends"
    what = f"In the path data {wanted} must follow character {at}, but there {here}."
    return Refused("svg-path", what, "Export the drawing again, or mend `d` by hand.")


def draw(path: Iterable[Command], tolerance: float) -> list[Subpath]:
    """Return what a pen draws by commands.

    Parameters
    ----------
    path : iterable of (letter, arguments)
        Lower-case letters count from where the pen is, as in path data.
    tolerance : float
        How far chords may lie from their curves, user units.

    """
    pen = _Pen(tolerance)
    for letter, arguments in path:
        pen.do(letter, arguments)
    pen.lift(closed=False)
    return pen.done


@dataclass
class _Pen:
    """SVG 2, section 9.3: where the pen is, and what the smooth curves reflect."""

    tolerance: float
    done: list[Subpath] = field(default_factory=list)
    here: complex = 0j
    start: complex = 0j
    handle: complex | None = None
    """Last control point, where the last command was a curve of the kind in `kind`."""
    kind: str = ""
    pieces: list[Floats] = field(default_factory=list)

    def do(self, letter: str, given: list[float]) -> None:
        """Carry out one command."""
        name, base = letter.upper(), self.here if letter.islower() else 0j
        if name == "Z":
            self.lift(closed=True)
            self.here, self.handle = self.start, None
            return
        if name == "M":
            self.lift(closed=False)
            self.here = self.start = base + complex(*given)
            self.handle = None
            return
        self._stroke(name, given, base)

    def _stroke(self, name: str, given: list[float], base: complex) -> None:
        handle = None
        if name in "HV":
            points = [complex(given[0] + base.real, self.here.imag) if name == "H" else
                      complex(self.here.real, given[0] + base.imag)]  # fmt: skip
        elif name == "A":
            points = [base + complex(*given[5:])]
        else:
            points = [base + complex(x, y) for x, y in zip(given[::2], given[1::2], strict=True)]
        if name in "ST":
            curve = {"S": "C", "T": "Q"}[name]
            reflected = 2 * self.here - self.handle if self.handle is not None and self.kind == curve else self.here
            points, name = [reflected, *points], curve
        if name in "CQ":
            handle, self.kind = points[-2], name
            drawn = bezier([self.here, *points], self.tolerance)
        elif name == "A":
            radii, flags = (given[0], given[1]), (bool(given[3]), bool(given[4]))
            drawn = arc(self.here, radii, given[2], *flags, points[-1], self.tolerance)
        else:
            drawn = np.array([[points[-1].real, points[-1].imag]])
        if not self.pieces:
            self.pieces.append(np.array([[self.here.real, self.here.imag]]))
        self.pieces.append(drawn)
        self.here, self.handle = points[-1], handle

    def lift(self, *, closed: bool) -> None:
        """End the run of the pen; a mere move leaves no trace."""
        if self.pieces:
            self.done.append(Subpath(np.concatenate(self.pieces), closed))
        self.pieces = []
