"""Ranks of ID mattes: what is read out of them again are the mattes that went in."""

from __future__ import annotations

import numpy as np
import pytest

from choreo.picture.render.coverage import Window
from choreo.picture.render.exposure import Shown
from choreo.picture.render.ranks import ranked

FRAME = Window(0, 0, 30, 20)


def shown(name, window, alpha):
    light = np.zeros((window.height, window.width, 4), dtype=np.float32)
    light[..., 3] = alpha
    return Shown(name, window, light, light, light)


def some(parts, seed=3):
    """Parts in windows of their own, whose coverages in a pixel sum to at most 1."""
    rng = np.random.default_rng(seed)
    share = rng.dirichlet(np.full(parts + 1, 0.4), (FRAME.height, FRAME.width)).astype(np.float32)
    out = []
    for number in range(parts):
        x, y = rng.integers(0, 8, 2)
        window = Window(int(x), int(y), 30 - int(x) - 2, 20 - int(y) - 3)
        out.append(shown(f"part{number}", window, share[window.slices][..., number]))
    return out, {one.part: np.float32(number + 1) for number, one in enumerate(out)}


@pytest.mark.parametrize("parts", [1, 4, 9])
def test_mattes_come_back_from_the_ranks(parts):
    given, numbers = some(parts)
    ranks = ranked(given, numbers, parts, FRAME)
    for one in given:
        # The specification: a matte is the sum of the coverages at ranks with its number.
        matte = np.zeros((FRAME.height, FRAME.width))
        matte[ranks.window.slices] = (ranks.coverages * (ranks.numbers == numbers[one.part])).sum(axis=0)
        wanted = np.zeros_like(matte)
        wanted[one.window.slices] = np.where(one.light[..., 3] > 1e-6, one.light[..., 3], 0)
        assert (matte == wanted.astype(np.float32)).all()


def test_the_highest_coverage_comes_first_and_nothing_is_zero():
    given, numbers = some(6)
    ranks = ranked(given, numbers, 6, FRAME)
    assert (np.diff(ranks.coverages, axis=0) <= 0).all()
    assert ((ranks.coverages == 0) == (ranks.numbers == 0)).all()


def test_too_few_ranks_keep_what_shows_most():
    given, numbers = some(9)
    whole, short = ranked(given, numbers, 9, FRAME), ranked(given, numbers, 4, FRAME)
    assert (short.coverages == whole.coverages[:4]).all()
    assert (short.numbers == whole.numbers[:4]).all()
    # What is left out, by summing what nine ranks have beyond the fourth; how many show, by counting.
    assert (whole.left_out, whole.most) == (0.0, int((whole.coverages > 0).sum(axis=0).max()))
    assert short.most == whole.most
    assert short.left_out == pytest.approx(float(whole.coverages[4:].sum(axis=0).max()), abs=1e-6)
    assert short.left_out > 0.1


def test_equal_coverages_keep_the_order_that_they_come_in():
    window = Window(3, 2, 2, 1)
    ranks = ranked(
        [shown("a", window, 0.5), shown("b", window, 0.5)], {"a": np.float32(7), "b": np.float32(-3)}, 2, FRAME
    )
    assert ranks.window == window
    assert ranks.numbers[:, 0, 0].tolist() == [7, -3]


def test_nothing_is_one_empty_pixel():
    ranks = ranked([], {}, 6, FRAME)
    assert (ranks.window, ranks.numbers.shape, float(ranks.coverages.max())) == (Window(0, 0, 1, 1), (6, 1, 1), 0.0)
