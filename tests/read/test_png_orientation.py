"""PNG pictures that say in their Exif how they are to be turned; the referee is Pillow's own turning."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pictures import png_bytes
from PIL import Image, ImageOps

from choreo.read.image_png import decode

CODES = np.random.default_rng(3).integers(0, 256, (5, 7, 4), dtype=np.uint8)


def directory(order, tag, value):
    head = b"II*\0" if order == "little" else b"MM\0*"
    words = [(8, 4), (1, 2), (tag, 2), (3, 2), (1, 4), (value, 2), (0, 2), (0, 4)]
    return head + b"".join(number.to_bytes(size, order) for number, size in words)


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("value", range(10))
def test_it_is_turned_as_another_library_turns_it(value, order):
    data = png_bytes(CODES, extra=(("eXIf", directory(order, 274, value)),))
    shown = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))
    found = decode(data)
    np.testing.assert_array_equal(found.alpha, shown[..., 3])
    np.testing.assert_array_equal(found.colour(), shown[..., :3])


def test_behind_the_pixels_it_counts_as_well():
    data = png_bytes(CODES, extra=(("eXIf", directory("big", 274, 6)),))
    at, end = data.index(b"eXIf") - 4, data.index(b"IDAT") - 4
    moved = data[:at] + data[end:-12] + data[at:end] + data[-12:]
    np.testing.assert_array_equal(decode(moved).alpha, decode(data).alpha)
    assert decode(moved).alpha.shape == (7, 5)


@given(st.binary(max_size=40) | st.binary(max_size=30).map(lambda rest: b"MM\0*" + rest))
def test_whatever_it_holds_the_picture_is_read(content):
    assert sorted(decode(png_bytes(CODES, extra=(("eXIf", content),))).alpha.shape) == [5, 7]
