"""Which panels stand together on a sheet, and where: a panel at rest fills a sheet, others stand in twos and fours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from choreo.picture.sheets.paper import GAP, UNDER, Paper

_COLUMNS, _ROWS = 2, 2


@dataclass(frozen=True)
class Place:
    """Where a panel stands on its sheet, tenths of a mm: its top-left corner and its size, caption not counted."""

    sheet: int
    x: float
    y: float
    width: float
    height: float


def compose(large: Sequence[bool], aspect: float, paper: Paper) -> list[Place]:
    """Return the place of each panel, in reading order; sheets are counted from 0.

    Parameters
    ----------
    large : sequence of bool
        For each panel whether it has a sheet to itself.
    aspect : float
        Width of a frame over its height.
    paper : Paper

    """
    left, top, wide, high = paper.room
    out: list[Place] = []
    sheet, taken = -1, 0
    for whole in large:
        if whole or not taken or taken == _COLUMNS * _ROWS:
            sheet, taken = sheet + 1, 0
        if whole:
            out.append(_within(sheet, (left, top, wide, high), aspect))
            continue
        row, column = divmod(taken, _COLUMNS)
        width, height = (wide - GAP) / _COLUMNS, (high - GAP / 2) / _ROWS
        cell = (left + column * (width + GAP), top + row * (height + GAP / 2), width, height)
        out.append(_within(sheet, cell, aspect))
        taken += 1
    return out


def _within(sheet: int, cell: tuple[float, float, float, float], aspect: float) -> Place:
    """The largest frame that leaves room for a caption, at the left of its cell."""
    x, y, width, height = cell
    wide = min(width, (height - UNDER) * aspect)
    return Place(sheet, x, y, wide, wide / aspect)
