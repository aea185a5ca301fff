"""The window of a picture that is not empty, and plates that are read within it, against the picture as a whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from PIL import Image

from choreo.frames.plates import load
from choreo.geometry.plane.filled import filled_window
from choreo.model.assembly import Hero, ViewAngle
from choreo.picture.render.colour import from_codes

SIZES = st.tuples(st.integers(1, 40), st.integers(1, 40))
SPARSE = st.sampled_from([0, 0, 0, 0, 0, 0, 0, 1, 255])


@given(SIZES.flatmap(lambda size: arrays(np.uint8, size, elements=SPARSE, fill=st.just(0))), st.sampled_from([1, 16]))
def test_it_holds_all_and_no_line_more_than_the_grid_asks_for(alpha, grid):
    rows, columns = filled_window(alpha, grid)
    rest = alpha.copy()
    rest[rows, columns] = 0
    assert not rest.any()
    for window, lines in ((rows, alpha.any(axis=1)), (columns, alpha.any(axis=0))):
        assert 0 <= window.start < window.stop <= len(lines)
        assert window.start % grid == 0
        assert window.stop % grid == 0 or window.stop == len(lines) or not lines.any()
        if lines.any():
            assert lines[window.start : window.start + grid].any()
            assert lines[max(window.stop - grid, window.start) : window.stop].any()


def test_an_empty_picture_keeps_one_pixel():
    assert filled_window(np.zeros((5, 7))) == (slice(0, 1), slice(0, 1))


@pytest.mark.parametrize("box", [(37, 21, 90, 55), (0, 0, 120, 80), (119, 79, 120, 80), (0, 0, 0, 0)])
def test_a_plate_is_read_as_the_whole_picture_has_it(tmp_path, box):
    left, top, right, bottom = box
    codes = np.random.default_rng(4).integers(0, 256, (80, 120, 4), dtype=np.uint8)
    codes[:top, :, 3], codes[bottom:, :, 3], codes[:, :left, 3], codes[:, right:, 3] = 0, 0, 0, 0
    Image.fromarray(codes).save(tmp_path / "plate.png")
    plate = load(tmp_path, "plate.png", Hero("plate.png", 4.0, (50.25, 30.5), ViewAngle()))
    whole = from_codes(codes)
    y, x = round(30.5 - plate.pivot_px[1]), round(50.25 - plate.pivot_px[0])
    height, width = plate.picture.shape[:2]
    assert (plate.picture == whole[y : y + height, x : x + width]).all()
    assert plate.picture[..., 3].sum() == pytest.approx(whole[..., 3].sum(), rel=1e-6)
    assert plate.pivot_px == (50.25 - x, 30.5 - y)
    assert (x % 16, y % 16) == (0, 0)
