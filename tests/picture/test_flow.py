"""Panels on a sheet: in reading order, side by side, never over each other."""

from __future__ import annotations

import itertools

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from choreo.picture.flow import INNER, Cell, Grid, flow, grid_of


def boxes(cells: list[Cell], grid: Grid) -> list[shapely.Polygon]:
    return [shapely.box(c.x, c.y, c.x + c.width, c.y + c.width * grid.height / grid.width) for c in cells]


@given(st.lists(st.booleans(), max_size=14), st.sampled_from([(1920, 1080), (1080, 1920), (1000, 1000), (2048, 858)]))
def test_panels_keep_apart_and_on_the_sheet(large, resolution):
    grid = grid_of(resolution)
    cells, height = flow(large, grid)
    placed = boxes(cells, grid)
    assert len(placed) == len(large)
    assert not any(a.intersects(b) for a, b in itertools.combinations(placed, 2))
    assert all(box.bounds[0] >= 0 and box.bounds[2] <= INNER + 1e-6 and box.bounds[3] <= height for box in placed)
    assert [cell.width > grid.width for cell in cells] == large


def test_a_burst_fills_one_band():
    # Four small panels in two rows, then the large one beside them: 984 wide, so 553.5 high, and 112 for its words.
    grid = grid_of((1920, 1080))
    cells, height = flow([False] * 4 + [True], grid)
    assert [(round(c.x), round(c.y)) for c in cells] == [(0, 0), (504, 0), (0, 326), (504, 326), (1008, 0)]
    assert height == pytest.approx(553.5 + 112)


def test_what_follows_takes_the_whole_width():
    cells, _ = flow([False] * 4 + [True] + [False] * 4, grid_of((1920, 1080)))
    assert [round(c.x) for c in cells[5:]] == [0, 504, 1008, 1512]
    assert len({c.y for c in cells[5:]}) == 1
