"""How panels stand on a sheet: runs of small ones in two rows, large ones as high as both rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from choreo.geometry.labels.sheet import CAPTION, GAP, INNER, MARGIN, SHEET, Grid, grid_of

__all__ = ["INNER", "MARGIN", "SHEET", "Cell", "Grid", "flow", "grid_of"]


@dataclass(frozen=True)
class Cell:
    """Where a panel stands, and how wide it is."""

    x: float
    y: float
    width: float


def flow(large: Sequence[bool], grid: Grid) -> tuple[list[Cell], float]:
    """Place panels in reading order and return their cells and the height of all.

    Parameters
    ----------
    large : sequence of bool
        For each panel whether it is a large one.
    grid : Grid

    """
    cells: list[Cell] = []
    column, top, bottom = 0, 0.0, 0.0
    runs = _runs(large, grid)
    for number, run in enumerate(runs):
        columns = run.columns
        if column and column + columns > grid.columns:
            column, top = 0, bottom
        if column == 0 and number == len(runs) - 1 and not run.large:
            columns = grid.columns  # nothing large follows: rows may be as long as the sheet is wide
        left = column * (grid.width + GAP)
        if run.large:
            cells.append(Cell(left, top, grid.large))
            bottom = max(bottom, top + max(2 * grid.row, grid.large * grid.height / grid.width + 2 * CAPTION))
        else:
            for index in range(run.count):
                row, place = divmod(index, columns)
                cells.append(Cell(left + place * (grid.width + GAP), top + row * grid.row, grid.width))
            bottom = max(bottom, top + -(-run.count // columns) * grid.row)
        column += columns
    return cells, bottom


@dataclass(frozen=True)
class _Run:
    """A large panel, or small ones that follow each other."""

    large: bool
    count: int
    columns: int


def _runs(large: Sequence[bool], grid: Grid) -> list[_Run]:
    runs: list[_Run] = []
    small = 0
    for is_large in (*large, True):
        if is_large and small:
            runs.append(_Run(large=False, count=small, columns=min(-(-small // 2), grid.columns)))
            small = 0
        if is_large:
            runs.append(_Run(large=True, count=1, columns=2))
        small += not is_large
    return runs[:-1]
