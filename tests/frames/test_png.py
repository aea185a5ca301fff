"""PNG as our own code writes it, read by Pillow (an independent decoder) to the last code."""

import io

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from choreo.write.png import png_bytes

MODES = {1: "L", 2: "LA", 3: "RGB", 4: "RGBA"}


@pytest.mark.parametrize("channels", [1, 2, 3, 4])
@pytest.mark.parametrize("size", [(1, 1), (7, 5), (3, 260)])
def test_pillow_reads_the_same_codes(channels, size):
    codes = np.random.default_rng(channels).integers(0, 256, (*size, channels), dtype=np.uint8)
    image = Image.open(io.BytesIO(png_bytes(codes)))
    image.load()
    assert image.mode == MODES[channels]
    assert np.array_equal(np.asarray(image).reshape(codes.shape), codes)


@pytest.mark.parametrize("channels", [1, 3, 4])
def test_sixteen_bits_survive(channels):
    import cv2  # Pillow cuts colour of 16 bits to 8

    codes = np.random.default_rng(channels).integers(0, 65536, (9, 11, channels), dtype=np.uint16)
    found = cv2.imdecode(np.frombuffer(png_bytes(codes), np.uint8), cv2.IMREAD_UNCHANGED).reshape(codes.shape)
    if channels >= 3:
        found[..., :3] = found[..., 2::-1]
    assert np.array_equal(found, codes)


def test_colour_is_marked_as_srgb_and_mattes_are_not():
    # W3C PNG, 11.3.2.5: the sRGB chunk holds the rendering intent, 0 is perceptual.
    def chunks(data):
        stream = PngImagePlugin.PngImageFile(io.BytesIO(data))
        stream.load()
        return stream.info

    assert chunks(png_bytes(np.zeros((2, 2, 3), np.uint8)))["srgb"] == 0
    assert "srgb" not in chunks(png_bytes(np.zeros((2, 2), np.uint8)))
