"""The head of a sheet: a title, words at the right, and a rule."""

from __future__ import annotations

from choreo.picture.lettering import BOLD, cut
from choreo.picture.palette import INK, QUIET
from choreo.picture.sheets.paper import CAPTION, MARGIN, SMALL, Paper
from choreo.picture.svg import element, text


def heading(paper: Paper, title: str, right: str) -> str:
    """Return the head of a sheet."""
    wide, edge = paper.width - 2 * MARGIN, paper.width - MARGIN
    drawn = text(MARGIN, MARGIN + 44, cut(title, CAPTION * BOLD, wide / 2), CAPTION, font_weight="bold")
    drawn += text(edge, MARGIN + 42, cut(right, SMALL, wide / 2), SMALL, fill=QUIET, text_anchor="end")
    return drawn + element("line", x1=MARGIN, y1=MARGIN + 70, x2=edge, y2=MARGIN + 70, stroke=INK, stroke_width=4.0)
