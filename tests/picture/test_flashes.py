"""Flashes against sequences worked by hand from WCAG 2.2's definition of the general flash threshold.

Numbers of transitions and flashes were counted on paper: a flash is two opposing changes between adjacent peak and
valley; exactly three in a second pass, and exactly a quarter of the block passes ("no more than").
"""

import numpy as np
import pytest

from choreo.picture.flashes import FlashMeter, cells_of


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
        meter.measure(np.full((54, 96), float(level)))
    assert (meter.found is not None) == too_much


@pytest.mark.parametrize(("columns", "too_much"), [(8, False), (9, True)])
def test_a_quarter_of_the_block_is_the_limit(columns, too_much):
    # The block is 32 x 24 cells here (341/1024 and 256/1024 of 96): a quarter of it is 8 columns of 24.
    meter = FlashMeter(24)
    for level in repeated(0.2, 0.5, 2, 8):
        cells = np.full((54, 96), 0.2)
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
    assert cells[0, 0] == pytest.approx(0.21586, abs=1e-5)
    assert cells[0, -1] == 0
    assert cells_of(np.full((90, 160, 3), (255, 0, 0), np.uint8)) == pytest.approx(0.2126)


def test_a_fine_pattern_that_flips_is_none():
    # Fine, balanced patterns are exempt: they cancel out within a cell.
    meter = FlashMeter(24)
    for step in range(48):
        codes = np.zeros((540, 960, 3), np.uint8)
        codes[np.add.outer(np.arange(540), np.arange(960) + step) % 2 == 0] = 255
        meter.look(codes)
    assert meter.found is None
