"""A clipped easing: never past the end, the same before it, and exactly there from the first contact on."""

import numpy as np
import pytest
from easing_strategies import easings
from hypothesis import example, given, settings

from choreo.motion.easing import parse_easing
from choreo.motion.easing_clip import BOUND, clipped_easing
from choreo.motion.easing_spring import spring_text

SHARE = np.linspace(0, 1, 4001)
BACK = "cubic-bezier(0.34, 1.56, 0.64, 1)"


@settings(max_examples=200, deadline=None)
@given(easings)
@example(BACK)
@example("linear(1, 0, 2)")
@example("cubic-bezier(0, -2, 1, 3)")
@example("cubic-bezier(0, 1.5, 0, 1.5)")
@example("linear(1.5, 0.5, 2)")
@example("linear(0 0%, 2 0%, 0.5, 1)")
@example("linear(0, 0.5 50%, 1.5 50%, 0.8, 1)")
def test_it_never_passes_the_end(text):
    assert parse_easing(clipped_easing(text, "assemble")).extent[1] <= 1.0
    assert parse_easing(clipped_easing(text, "explode")).extent[0] >= 0.0


@settings(max_examples=100, deadline=None)
@given(easings)
@example(BACK)
@example("linear(1, 0, 2)")
def test_it_is_the_easing_until_the_first_contact_and_holds_from_there(text):
    easing, cut = parse_easing(text), parse_easing(clipped_easing(text, "assemble"))
    if easing.extent[1] <= 1.0:
        assert cut is parse_easing(easing.text)
        return
    over = [piece for piece in easing.pieces if max(piece.y0, piece.y1) >= 1.0]
    first = over[0].t0 if over and over[0].y0 >= 1.0 else float(over[0].time(1.0)) if over else 1.0
    before = SHARE[first - 1e-9 > SHARE]
    size = max(1.0, *np.abs(easing.extent))
    smooth = np.abs(cut.value(before) - easing.value(before))
    assert np.all(smooth <= BOUND + 1e-12 * size)
    assert np.all(cut.value(SHARE[(first + 1e-9 < SHARE) & (SHARE < 1)]) == 1.0)


@settings(max_examples=60, deadline=None)
@given(easings)
def test_its_text_gives_back_the_same_easing(text):
    for kind in ("assemble", "explode"):
        cut = clipped_easing(text, kind)
        assert parse_easing(cut).text == cut


def test_by_hand():
    """0 to 1.2 in half the time passes 1 at 5/12 of it; backward, 0 to -0.2 at 50 % passes 0 again at 7/12."""
    on = parse_easing(clipped_easing("linear(0, 1.2 50%, 0.9, 1)", "assemble")).points
    assert np.array(on) == pytest.approx(np.array([(0, 0), (5 / 12, 1), (1, 1)]))
    back = parse_easing(clipped_easing("linear(0, -0.2 50%, 1)", "explode")).points
    assert np.array(back) == pytest.approx(np.array([(0, 0), (7 / 12, 0), (1, 1)]))


def test_beyond_the_rest_position_nothing_is_cut():
    assert clipped_easing(BACK, "explode") == BACK
    assert parse_easing(clipped_easing("cubic-bezier(0.5, -0.6, 0.6, 1)", "assemble")).extent[0] < -0.05


def test_a_clipped_spring_arrives_when_it_first_would():
    text = spring_text(1, 100, 6)
    [rise, hold] = parse_easing(clipped_easing(text, "assemble")).pieces
    assert rise.t1 == float(parse_easing(text).pieces[0].time(1.0))
    assert (rise.y1, hold.y0, hold.y1) == (1.0, 1.0, 1.0)
