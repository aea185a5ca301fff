"""Monotone pieces: they cover the easing, are monotone, join, and can be inverted."""

import itertools
from decimal import Decimal, localcontext

import numpy as np
import pytest
from easing_referee import DIGITS, bisect, coordinate
from easing_strategies import beziers, easings, height, smooth, unit
from hypothesis import example, given, settings
from hypothesis import strategies as st

from choreo.motion.easing import parse_easing

SAMPLES = np.linspace(0, 1, 801)


@settings(max_examples=100, deadline=None)
@given(easings)
@example("cubic-bezier(0, -1e-200, 0, 1)")  # a dip too short for a float
def test_pieces_cover_the_unit_interval_in_order(text):
    pieces = parse_easing(text).pieces
    assert pieces[0].t0 == 0
    assert pieces[-1].t1 == 1
    assert all(piece.t0 < piece.t1 for piece in pieces)
    assert [piece.t1 for piece in pieces[:-1]] == [piece.t0 for piece in pieces[1:]]


@settings(max_examples=100, deadline=None)
@given(easings)
def test_pieces_say_what_the_easing_says(text):
    easing = parse_easing(text)
    largest = max(1.0, *np.abs(easing.extent))
    for piece in easing.pieces:
        t = piece.t0 + (piece.t1 - piece.t0) * np.linspace(0, 1, 21)[:-1]
        t = t[t < piece.t1]  # on its last instant a piece has the value before a jump
        assert np.allclose(easing.value(t), piece.value(t), rtol=0, atol=1e-12 * largest)


@settings(max_examples=100, deadline=None)
@given(easings)
@example("linear(9.6, -8.3)")  # 9.6 + (-8.3 - 9.6) is not -8.3 in floating point
def test_pieces_are_monotone(text):
    for piece in parse_easing(text).pieces:
        inner = np.linspace(piece.t0, piece.t1, 101)
        y = piece.value(np.sort([*inner, np.nextafter(piece.t0, 2), np.nextafter(piece.t1, -1)]))
        assert np.all(np.diff(y) * np.sign(piece.y1 - piece.y0) >= -1e-15)
        assert np.all((y >= min(piece.y0, piece.y1)) & (y <= max(piece.y0, piece.y1)))


@settings(max_examples=60, deadline=None)
@given(smooth)
@example("linear(0, 9.6, -8.3, 1)")
def test_smooth_pieces_join(text):
    pieces = parse_easing(text).pieces
    assert [piece.y1 for piece in pieces[:-1]] == [piece.y0 for piece in pieces[1:]]


@settings(max_examples=100, deadline=None)
@given(easings)
def test_extent_bounds_every_sample_and_is_reached(text):
    easing = parse_easing(text)
    low, high = easing.extent
    y = easing.value(np.concatenate([SAMPLES, [piece.t0 for piece in easing.pieces]]))
    assert low <= y.min() + 1e-15
    assert y.max() <= high + 1e-15
    ends = [end for piece in easing.pieces for end in (piece.y0, piece.y1)]
    assert {low, high} <= {*ends, easing.value(1.0)}


@settings(max_examples=100, deadline=None)
@given(easings, st.lists(st.floats(0, 1), min_size=1, max_size=8))
def test_value_undoes_time(text, shares):
    for piece in parse_easing(text).pieces:
        if not piece.flat:
            y = piece.y0 + (piece.y1 - piece.y0) * np.array(shares)
            t = piece.time(y)
            assert np.all((t >= piece.t0) & (t <= piece.t1))
            # Times are right to 1e-10: so long before and after, the piece lies on either side of y.
            before, after = (piece.value(np.clip(t + by, piece.t0, piece.t1)) for by in (-1e-10, 1e-10))
            assert np.all(np.minimum(before, after) <= y + 1e-12)
            assert np.all(y <= np.maximum(before, after) + 1e-12)


@settings(max_examples=100, deadline=None)
@given(unit, height, unit, height, st.floats(0, 1) | st.floats(0, 1e-13) | st.floats(1 - 1e-13, 1))
@example(0.5, 0.999999999, 0.5, 0.0000000001, 0.5 + 1e-10)  # almost level in the middle
@example(0.0, 1 - 1e-12, 0.1, 1e-13, 0.5 + 1e-13)
def test_time_is_right_to_ten_digits(x1, y1, x2, y2, share):
    """The referee bisects in decimals of 80 digits, between the turns that it finds itself by bisection."""
    for piece in parse_easing(f"cubic-bezier({x1}, {y1}, {x2}, {y2})").pieces:
        if piece.flat:
            continue
        y = piece.y0 + (piece.y1 - piece.y0) * share
        if y in (piece.y0, piece.y1):  # the rounded ends stand for the true ones: see the test of the ends
            continue
        with localcontext() as context:
            context.prec = DIGITS
            expected = _decimal_time(x1, y1, x2, y2, piece, Decimal(y))
            assert abs(expected - Decimal(piece.time(y))) < Decimal("1e-10")


def _decimal_time(x1, y1, x2, y2, piece, y):
    a, b, c, d = map(Decimal, (x1, y1, x2, y2))

    def parameter(t):
        return bisect(lambda p: coordinate(a, c, p) - Decimal(t), Decimal(0), Decimal(1))

    def climb(p):
        return b * (1 - p) * (1 - 3 * p) + d * p * (2 - 3 * p) + p * p

    start, end = (_true_turn(climb, parameter(t)) if 0 < t < 1 else Decimal(int(t)) for t in (piece.t0, piece.t1))
    p = bisect(lambda p: coordinate(b, d, p) - y, start, end)
    return coordinate(a, c, p)


def _true_turn(climb, near):
    reach = Decimal("1e-5")
    low, high = max(near - reach, Decimal(0)), min(near + reach, Decimal(1))
    if climb(low) * climb(high) >= 0:  # two turns close by: the given one will do
        return near
    return bisect(climb, low, high)


@settings(max_examples=60, deadline=None)
@given(easings)
def test_the_ends_of_a_piece_are_exact(text):
    for piece in parse_easing(text).pieces:
        assert (piece.y0, piece.y1) == (piece.value(piece.t0), piece.value(piece.t1))
        if not piece.flat:
            assert (piece.t0, piece.t1) == (piece.time(piece.y0), piece.time(piece.y1))


@settings(max_examples=60, deadline=None)
@given(beziers)
@example("cubic-bezier(0, 1, 0, -2.8e-47)")  # a dip too narrow for a float
@example("cubic-bezier(0, 1, 0.5, -1e-12)")
def test_smooth_curves_are_cut_only_where_they_turn(text):
    directions = [np.sign(piece.y1 - piece.y0) for piece in parse_easing(text).pieces]
    assert all(one != other for one, other in itertools.pairwise(directions))


def test_overshoot_is_cut_at_its_exact_top():
    """cubic-bezier(0.34, 1.56, 0.64, 1): y' / 3 = 1.56 (1-p)^2 - 1.12 p (1-p), zero at p = 1.56 / 2.68."""
    easing = parse_easing("cubic-bezier(0.34, 1.56, 0.64, 1)")
    p = 1.56 / 2.68
    top = 3 * 1.56 * p * (1 - p) ** 2 + 3 * p * p * (1 - p) + p**3
    at = 3 * 0.34 * p * (1 - p) ** 2 + 3 * 0.64 * p * p * (1 - p) + p**3
    rise, fall = easing.pieces
    assert (at, top) == pytest.approx((rise.t1, rise.y1), abs=1e-14)
    assert (fall.y0, fall.y1) == (rise.y1, 1.0)
    assert easing.extent == (0.0, rise.y1)


# Hand-made: cut where it turns, holds or jumps; straight lines that go on the same way are one piece.
@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("linear", [(0, 1, 0, 1)]),
        ("linear(0, 1 50%, 0.4 50%, 1)", [(0, 0.5, 0, 1), (0.5, 1, 0.4, 1)]),
        ("linear(0, 0.5 25% 75%, 0)", [(0, 0.25, 0, 0.5), (0.25, 0.75, 0.5, 0.5), (0.75, 1, 0.5, 0)]),
        ("linear(0 -100%, 1 100%)", [(0, 1, 0.5, 1)]),
        ("linear(0 50%, 1)", [(0, 1, -1, 1)]),
        ("linear(0, 0.2 50%, 1, 0.2 125%)", [(0, 0.875, 0, 1), (0.875, 1, 1, 1 - 0.8 / 3)]),
        ("linear(0, 1 50%)", [(0, 1, 0, 2)]),
        ("linear(0 300%, 1 400%)", [(0, 1, -3, -2)]),
        ("linear(0 0%, 0.5 0%, 1)", [(0, 1, 0.5, 1)]),
        ("steps(2)", [(0, 0.5, 0, 0), (0.5, 1, 0.5, 0.5)]),
        ("steps(2, start)", [(0, 0.5, 0.5, 0.5), (0.5, 1, 1, 1)]),
        ("steps(2, jump-both)", [(0, 0.5, 1 / 3, 1 / 3), (0.5, 1, 2 / 3, 2 / 3)]),
        ("steps(2, jump-none)", [(0, 0.5, 0, 0), (0.5, 1, 1, 1)]),
        ("min-jerk", [(0, 1, 0, 1)]),
    ],
)
def test_pieces_by_hand(text, pieces):
    assert pieces == [(piece.t0, piece.t1, piece.y0, piece.y1) for piece in parse_easing(text).pieces]


# Both sides of a jump count, also the value that is there at time 1 only.
@pytest.mark.parametrize(
    ("text", "extent"),
    [
        ("linear(0, 1 50%, 0.4 50%, 0.6)", (0, 1)),
        ("linear(0, 1 100%, 5 100%)", (0, 5)),
        ("steps(4)", (0, 1)),
        ("step-start", (1, 1)),
        ("cubic-bezier(0.5, 1, 0.5, 0)", (0, 1)),  # level in the middle, but no turn
    ],
)
def test_extent_by_hand(text, extent):
    assert extent == parse_easing(text).extent


def test_minimum_jerk_is_inverted_near_its_ends():
    """Near 0 the curve is 10 t^3, so y = 1e-30 is passed at t = 1e-31 ** (1/3); symmetric at the other end."""
    [piece] = parse_easing("min-jerk").pieces
    expected = 1e-31 ** (1 / 3)
    assert expected == pytest.approx(piece.time(1e-30), rel=1e-9)
    assert 1 - piece.time(2.0**-40) == pytest.approx(piece.time(1 - 2.0**-40), abs=1e-15)
    assert piece.time(0.5) == 0.5


def test_a_hold_has_no_single_time():
    with pytest.raises(ValueError, match="every time"):
        parse_easing("steps(2)").pieces[0].time(0.0)
