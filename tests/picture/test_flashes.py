"""Flashes against sequences worked by hand from WCAG 2.2's definition of the general flash threshold.

Numbers of transitions and flashes were counted on paper: a flash is two opposing changes between adjacent peak and
valley; exactly three in a second pass, and exactly a quarter of the block passes ("no more than").
"""

import numpy as np
import pytest

from choreo.picture.flashes import LUMINANCE, FlashMeter, cells_of
from choreo.picture.red_flashes import chromaticity, saturated


def repeated(low, high, each, changes):
    return [(low, high)[turn % 2] for turn in range(changes + 1) for _ in range(each)]


SEQUENCES = {
    "three flashes": (repeated(0.2, 0.5, 3, 6), False),
    "four flashes": (repeated(0.2, 0.5, 2, 8), True),
    "changes of 0.09": (repeated(0.2, 0.29, 2, 12), False),
    "changes of exactly 0.10": (repeated(0.2, 0.3, 2, 8), True),
    "bright": (repeated(0.85, 0.97, 2, 12), False),
    "darker state of 0.79": (repeated(0.79, 0.95, 2, 8), True),
    "three flashes and a change": (repeated(0.0, 1.0, 3, 7), False),
    "one cut and back": ([1] * 10 + [0] * 2 + [1] * 12, False),
    "a ramp": (list(np.linspace(0, 1, 24)), False),
    "slow ramps up and down": (list(np.tile(np.r_[np.linspace(0, 1, 12), np.linspace(1, 0, 12)], 4)), False),
    "four flashes, spread over two seconds": (repeated(0.2, 0.5, 6, 8), False),
}


@pytest.mark.parametrize("name", SEQUENCES)
def test_sequences(name):
    levels, too_much = SEQUENCES[name]
    meter = FlashMeter(24)
    for level in levels:
        meter.measure(np.full((54, 96, 3), float(level)))
    assert (meter.found is not None) == too_much


@pytest.mark.parametrize(("columns", "too_much"), [(8, False), (9, True)])
def test_a_quarter_of_the_block_is_the_limit(columns, too_much):
    # The block is 32 x 24 cells here (341/1024 and 256/1024 of 96): a quarter of it is 8 columns of 24.
    meter = FlashMeter(24)
    for level in repeated(0.2, 0.5, 2, 8):
        cells = np.full((54, 96, 3), 0.2)
        cells[20:44, 40 : 40 + columns] = level
        meter.measure(cells)
    assert (meter.found is not None) == too_much
    if too_much:
        assert (meter.found.first, meter.found.last) == (0, 16)


def test_luminance_is_that_of_linear_light():
    # WCAG's formula by hand: sRGB 128 is 0.21586 of linear light.
    codes = np.zeros((108, 192, 3), np.uint8)
    codes[:, :96] = 128
    cells = cells_of(codes)
    assert cells[0, 0] == pytest.approx([0.21586] * 3, abs=1e-5)
    assert (cells[0, -1] == 0).all()
    assert cells_of(np.full((90, 160, 3), (255, 0, 0), np.uint8)) @ LUMINANCE == pytest.approx(0.2126)


def test_a_fine_pattern_that_flips_is_none():
    # Fine, balanced patterns are exempt: they cancel out within a cell.
    meter = FlashMeter(24)
    for step in range(48):
        codes = np.zeros((540, 960, 3), np.uint8)
        codes[np.add.outer(np.arange(540), np.arange(960) + step) % 2 == 0] = 255
        meter.look(codes)
    assert meter.found is None


def light_of(*codes):
    """sRGB codes in linear light, IEC 61966-2-1."""
    values = np.array(codes) / 255
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def test_what_is_red_and_how_far_apart():
    # Linear values by the sRGB formula, ratios by hand, u'v' of colour-science for the same colours.
    reds = {(255, 0, 0): True, (255, 64, 64): True, (255, 128, 128): False, (200, 0, 0): True, (255, 60, 0): True,
            (255, 255, 255): False, (0, 0, 255): False, (0, 0, 0): False}  # fmt: skip
    assert {codes: bool(saturated(light_of(*codes))) for codes in reds} == reds
    places = {
        (255, 0, 0): (0.450704, 0.522887),
        (255, 64, 64): (0.394821, 0.510832),
        (255, 128, 128): (0.301254, 0.490646),
    }
    for codes, place in places.items():
        assert chromaticity(light_of(*codes)) == pytest.approx(place, abs=2e-4)
    red, white, blue = (chromaticity(light_of(*codes)) for codes in ((255, 0, 0), (255, 255, 255), (0, 0, 255)))
    assert np.hypot(*(red - white)) == pytest.approx(0.258682, abs=1e-4)
    assert np.hypot(*(red - blue)) == pytest.approx(0.457155, abs=1e-4)


def test_two_saturated_reds_are_no_red_flash():
    # The share of light makes a triangle of chromaticities; its corners are the farthest apart.
    corners = [chromaticity(np.array(each)) for each in ((1.0, 0, 0), (0.8, 0.2, 0), (0.8, 0, 0.2))]
    assert max(np.hypot(*(one - two)) for one in corners for two in corners) < 0.15


RED, GREY, ROSE, DARK, BLUE = (220, 0, 0), (94, 94, 94), (255, 128, 128), (80, 0, 0), (0, 0, 255)
PALE, FAINT = (255, 96, 96), (255, 180, 180)
"""A saturated red, and a colour that is none; 0.21 from red, but only 0.10 from the pale one."""
RED_SEQUENCES = {
    "three flashes": (repeated(RED, GREY, 3, 6), False),
    "four flashes": (repeated(RED, GREY, 2, 8), True),
    "four flashes, spread over two seconds": (repeated(RED, GREY, 6, 8), False),
    "three flashes and a change": (repeated(RED, GREY, 2, 7), False),
    "red and blue": (repeated(RED, (0, 0, 255), 2, 8), True),
    "red and black": (repeated(DARK, (0, 0, 0), 2, 8), True),
    "too near red": (repeated(RED, ROSE, 2, 8), False),
    "no red": (repeated(GREY, (0, 0, 255), 2, 8), False),
    "nearly black": (repeated((12, 0, 0), (0, 0, 0), 2, 12), False),
    "by way of rose": ([RED, ROSE, GREY, ROSE] * 5, True),
    "what was before the last turn does not count": ([e for e in (BLUE, RED, FAINT, PALE) for _ in "ab"] * 3, False),
    "twice into red is once": ([e for e in (BLUE, PALE, FAINT, RED) for _ in "ab"] * 3, False),
    "one cut and back": ([GREY] * 10 + [RED] * 2 + [GREY] * 12, False),
}


@pytest.mark.parametrize("name", RED_SEQUENCES)
def test_red_sequences(name):
    colours, too_much = RED_SEQUENCES[name]
    meter = FlashMeter(24)
    for codes in colours:
        meter.measure(np.tile(light_of(*codes), (54, 96, 1)))
    assert (meter.found_red is not None) == too_much
    if name in ("four flashes", "red and black"):  # dim enough, or alike enough in luminance, to be no general flash
        assert meter.found is None


@pytest.mark.parametrize(("columns", "too_much"), [(8, False), (9, True)])
def test_red_flashes_have_the_same_limit_of_area(columns, too_much):
    meter = FlashMeter(24)
    for codes in repeated(RED, GREY, 2, 8):
        cells = np.tile(light_of(*GREY), (54, 96, 1))
        cells[20:44, 40 : 40 + columns] = light_of(*codes)
        meter.measure(cells)
    assert (meter.found_red is not None) == too_much
