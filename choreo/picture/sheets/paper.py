"""Sheets of paper, and how large type on them has to be. Lengths are tenths of a mm.

A sheet is drawn for its own size and hung up enlarged to A3 (or to what is as much larger, for letter). From 3 m an
eye of normal acuity, decimal 1.0, tells details of 1 minute of arc apart and reads letters 5 minutes high (ISO 8596;
the figures are from memory). Names, captions and timecodes are that large; the foot is for who stands before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MARGIN, GAP = 100.0, 60.0
HEAD = 96.0
"""For the title and the rule below it."""
FOOT = 62.0
CAPTION, SMALL, FINE = 54.0, 48.0, 32.0
"""Sizes of type: captions and titles; names and timecodes; the foot."""
UNDER = 126.0
"""Below a panel: its caption and its timecode."""
NOTE = 56.0
"""From one line of a note to the next."""


@dataclass(frozen=True)
class Paper:
    """A sheet lying on its long side."""

    name: str
    width: float
    height: float
    enlarged: float
    """From the sheet to the size at which it is hung up."""

    @property
    def room(self) -> tuple[float, float, float, float]:
        """Left, top, width and height of what lies between head and foot."""
        top = MARGIN + HEAD
        return MARGIN, top, self.width - 2 * MARGIN, self.height - top - MARGIN - FOOT


PAPERS = {
    "a4": Paper("a4", 2970.0, 2100.0, math.sqrt(2)),  # ISO 216; each size is the next smaller one times the root of 2
    "letter": Paper("letter", 2794.0, 2159.0, 17 / 11),  # ANSI/ASME Y14.1: A and B, 11 in and 17 in long
}
