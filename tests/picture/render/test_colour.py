"""Colour against printed values, hand calculations and Pillow's and numpy's own arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.picture.render.colour import from_codes, over, to_8_bit, to_16_bit, to_linear, to_srgb
from choreo.picture.render.coverage import Window
from choreo.picture.render.tile import Tile
from choreo.picture.render.veil import Veil

# IEC 61966-2-1:1999, 5.2, worked out with a general-purpose colour library (colour-science 0.4.7).
DECODED = {0.0: 0.0, 0.04045: 0.0031308072830676845, 0.1: 0.010022825574869039, 0.5: 0.21404114048223255, 1.0: 1.0}
ENCODED = {0.0: 0.0, 0.001: 0.01292, 0.0031308: 0.040449936, 0.18: 0.46135612950044164, 0.5: 0.7353569830524495}
EIGHT_BIT = {0: 0.0, 1: 0.000303527, 10: 0.00303527, 11: 0.003346536, 128: 0.2158605, 188: 0.502886458, 255: 1.0}


def picture(*pixels):
    return np.array([pixels], dtype=np.float32)


def test_srgb_by_the_standard():
    # At 0.04045 the library takes the other branch; the two meet to 2.4e-9 there.
    assert to_linear(list(DECODED)) == pytest.approx(list(DECODED.values()), abs=2.5e-9)
    assert to_srgb(list(ENCODED)) == pytest.approx(list(ENCODED.values()), abs=1e-9)


def test_codes_of_8_bits_decode_as_printed():
    codes = np.array([[[code] * 3 for code in EIGHT_BIT]], dtype=np.uint8)
    assert from_codes(codes)[0, :, 0] == pytest.approx(list(EIGHT_BIT.values()), abs=5e-8)


@pytest.mark.parametrize(("depth", "back"), [(np.uint8, to_8_bit), (np.uint16, to_16_bit)])
def test_opaque_codes_come_back_unchanged(depth, back):
    top = np.iinfo(depth).max
    codes = np.full((1, top + 1, 4), top, dtype=depth)
    codes[0, :, :3] = np.arange(top + 1)[:, None]
    assert (back(from_codes(codes)) == codes).all()


@given(st.lists(st.tuples(*[st.floats(0, 1)] * 3, st.just(0.0) | st.floats(1e-4, 1)), min_size=1, max_size=20))
def test_8_bits_are_within_one_code_of_double_precision(pixels):
    straight = np.array([pixels])
    given_ = (straight * np.where(np.arange(4) < 3, straight[..., 3:], 1)).astype(np.float32)
    alpha = given_[..., 3:].astype(np.float64)
    colours = np.where(alpha > 0, given_[..., :3] / np.where(alpha > 0, alpha, 1), 0)
    wanted = np.concatenate([to_srgb(np.clip(colours, 0, 1)), alpha], axis=2) * 255
    assert np.abs(to_8_bit(given_) - wanted).max() <= 0.5 + 0.03


def test_over_by_the_formulas_of_porter_and_duff():
    # Porter and Duff 1984; worked numbers: co = ca + cb (1 - aa).
    a, b, c = picture((0.6, 0.3, 0, 0.6)), picture((0.1, 0.2, 0.4, 0.8)), picture((0.2, 0, 0.1, 0.3))
    assert over(a, b)[0, 0] == pytest.approx([0.64, 0.38, 0.16, 0.92], abs=1e-6)
    assert over(over(a, b), c)[0, 0] == pytest.approx([0.656, 0.38, 0.168, 0.944], abs=1e-6)
    assert over(a, over(b, c))[0, 0] == pytest.approx([0.656, 0.38, 0.168, 0.944], abs=1e-6)
    # W3C Compositing and Blending Level 1, "Simple alpha compositing": blue at half over red at half.
    assert over(picture((0, 0, 0.5, 0.5)), picture((0.5, 0, 0, 0.5)))[0, 0] == pytest.approx([0.25, 0, 0.5, 0.75])


def test_over_agrees_with_pillow_where_both_work_on_the_same_numbers():
    image = pytest.importorskip("PIL.Image")
    rng = np.random.default_rng(4)
    lower, upper = (rng.integers(0, 256, (16, 16, 4), dtype=np.uint8) for _ in range(2))
    theirs = np.asarray(image.alpha_composite(image.fromarray(lower), image.fromarray(upper)))

    def premultiplied(codes):
        straight = codes.astype(np.float32) / 255
        straight[..., :3] *= straight[..., 3:]
        return straight

    ours = over(premultiplied(upper), premultiplied(lower))
    ours[..., :3] /= np.maximum(ours[..., 3:], 1e-9)
    assert np.abs(ours * 255 - theirs).max() <= 1.0


def test_a_dissolve_is_a_mean_of_light_and_keeps_alpha():
    # Half of black and half of white is 0.5 of the light: code 188, not 128 (IEC 61966-2-1).
    black, white = picture((0, 0, 0, 1)), picture((1, 1, 1, 1))
    window = Window(0, 0, 1, 1)
    veil = Veil(Tile(window, white), np.float32(0.5))
    half = veil.dimmed(black, window) + veil.light()
    assert half[0, 0, 3] == 1
    assert to_8_bit(half)[0, 0].tolist() == [188, 188, 188, 255]
    assert Veil(Tile(window, white), np.float32(0)).dimmed(black, window) is black
