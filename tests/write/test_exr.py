"""OpenEXR files, read back by the format's own library."""

from __future__ import annotations

import io

import numpy as np
import OpenEXR
import pytest

from choreo.read.image_exr import decode
from choreo.write.exr import exr_bytes

RNG = np.random.default_rng(5)
PLANES = {
    "R": RNG.random((7, 11)).astype(np.float16),
    "G": RNG.random((7, 11)).astype(np.float16),
    "B": RNG.random((7, 11)).astype(np.float16),
    "A": np.ones((7, 11), np.float16),
    "CryptoObject00.r": RNG.standard_normal((7, 11)).astype(np.float32) * np.float32(1e-30),
}


@pytest.mark.parametrize("single_lines", [False, True])
def test_every_bit_comes_back(single_lines):
    words = {"cryptomatte/3ae39a5/name": "CryptoObject", "note": "ü"}
    data = exr_bytes(PLANES, (30, 20), (120, 90), words, single_lines=single_lines)
    assert data == exr_bytes(PLANES, (30, 20), (120, 90), words, single_lines=single_lines)
    file = OpenEXR.File(io.BytesIO(data), separate_channels=True)
    header, channels = file.header(), file.channels()
    assert {name: header[name] for name in words} == words
    assert [tuple(map(int, corner)) for corner in header["dataWindow"]] == [(30, 20), (40, 26)]
    assert [tuple(map(int, corner)) for corner in header["displayWindow"]] == [(0, 0), (119, 89)]
    assert header["compression"] == (OpenEXR.ZIPS_COMPRESSION if single_lines else OpenEXR.ZIP_COMPRESSION)
    assert set(channels) == set(PLANES)
    for name, plane in PLANES.items():
        assert channels[name].pixels.dtype == plane.dtype
        assert channels[name].pixels.tobytes() == plane.tobytes()


def test_our_own_reader_places_the_stored_rectangle():
    image = decode(exr_bytes(PLANES, (30, 20), (120, 90)))
    assert image.premultiplied
    assert image.alpha.shape == (90, 120)
    assert image.alpha.sum() == 77
    assert (image.alpha[20:27, 30:41] == 1).all()


def test_a_picture_without_a_pixel_of_its_own_is_empty():
    data = exr_bytes({"Y": np.zeros((1, 1), np.float16)}, (0, 0), (16, 9))
    file = OpenEXR.File(io.BytesIO(data), separate_channels=True)
    assert file.channels()["Y"].pixels.shape == (1, 1)
    assert tuple(file.header()["displayWindow"][1]) == (15, 8)
