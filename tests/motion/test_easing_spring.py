"""Springs: the closed form against textbook numbers and solvers, the straight lines against their bound."""

import math

import numpy as np
import pytest
import scipy.integrate
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.motion.easing import parse_easing
from choreo.motion.easing_spring import (
    BOUND,
    LEAST_RATIO,
    MOST_RATIO,
    SETTLED,
    damping_ratio,
    settling_time,
    spring_text,
    step_response,
)

ratios = st.floats(LEAST_RATIO, MOST_RATIO) | st.floats(0.9, 1.1) | st.floats(0.05, 1.0)

# x'' + 2 z w x' + w^2 x = w^2 from rest with w = 10 / s; the second-order step response of control textbooks
# (e.g. Ogata, Modern Control Engineering), numbers from 30-digit arithmetic.
TEXTBOOK = [
    (0.2, 0.1, 0.405033767362),
    (0.2, 0.3, 1.515132116784),
    (0.5, 0.2, 0.849425634854),
    (0.5, 1.0, 1.002170116739),
    (0.7, 0.5, 1.039774903206),
    (1.0, 0.1, 0.264241117657),
    (1.0, 0.3, 0.800851726529),
]
# Overshoot exp(-pi z / sqrt(1 - z^2)), as tabulated in such books.
OVERSHOOT = [(0.2, 0.526620599), (0.4, 0.253826722), (0.5, 0.163033535), (0.7, 0.04598791)]


def with_ratio(ratio):
    return spring_text(1.0, 1.0, 2.0 * ratio)


@pytest.mark.parametrize(("ratio", "seconds", "expected"), TEXTBOOK)
def test_step_response_as_in_the_textbook(ratio, seconds, expected):
    assert float(step_response(ratio, np.array(10.0 * seconds))) == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize("ratio", [0.05, 0.3, 0.99999, 1.0, 1.00001, 1.7, 9.0])
def test_step_response_solves_the_equation_of_motion(ratio):
    times = np.linspace(0, 12, 200)
    solved = scipy.integrate.solve_ivp(
        lambda _, s: [s[1], 1 - s[0] - 2 * ratio * s[1]], (0, 12), [0, 0], "DOP853", times, rtol=1e-11, atol=1e-13
    ).y[0]
    assert np.abs(step_response(ratio, times) - solved).max() < 1e-9


@pytest.mark.parametrize(("mass", "stiffness", "damping"), [(1, 120, 14), (0.4, 900, 6), (2, 50, 60)])
def test_a_spring_in_its_own_units_is_that_of_a_control_library(mass, stiffness, damping):
    times = np.linspace(0, 3, 400)
    _, expected = scipy.signal.step(([stiffness], [mass, damping, stiffness]), T=times)
    found = step_response(damping_ratio(mass, stiffness, damping), times * math.sqrt(stiffness / mass))
    assert np.abs(found - expected).max() < 1e-9


@pytest.mark.parametrize(("ratio", "overshoot"), OVERSHOOT)
def test_the_easing_overshoots_as_the_textbook_says(ratio, overshoot):
    assert parse_easing(with_ratio(ratio)).extent[1] == pytest.approx(1 + overshoot, abs=SETTLED * 1.6)


@settings(max_examples=60, deadline=None)
@given(ratios)
def test_the_easing_is_the_spring_within_its_bound_and_settles(ratio):
    easing = parse_easing(with_ratio(ratio))
    end = settling_time(ratio)
    share = np.linspace(0, 1, 40_001)
    true = step_response(ratio, share * end)
    assert np.abs(easing.value(share) - true / true[-1]).max() <= BOUND
    assert abs(1 - true[-1]) <= SETTLED * (1 + 1e-9)
    later = step_response(ratio, end * np.linspace(1, 3, 4001))
    assert np.abs(1 - later).max() <= SETTLED * (1 + 1e-9)
    earlier = step_response(ratio, np.array(end * (1 - 1e-6)))
    assert abs(1 - earlier) > SETTLED * (1 - 1e-3)
    assert (easing.value(0.0), easing.value(1.0)) == (0.0, 1.0)


@settings(max_examples=30, deadline=None)
@given(ratios)
def test_one_piece_for_each_swing(ratio):
    pieces = parse_easing(with_ratio(ratio)).pieces
    ways = [np.sign(piece.y1 - piece.y0) for piece in pieces]
    assert ways[:-1] == [1 - 2 * (k % 2) for k in range(len(ways) - 1)]
    assert ways[-1] in (1 - 2 * (len(ways) % 2), 2 * (len(ways) % 2) - 1, 0)  # the last may be too short to tell
    if ratio < 0.99:  # half a swing takes pi / sqrt(1 - z^2); those under way when it settles count
        swings = settling_time(ratio) * math.sqrt(1 - ratio**2) / math.pi
        assert len(pieces) == math.ceil(swings)


def test_few_stops():
    assert len(parse_easing(spring_text(1, 120, 14)).points) <= 40


def test_only_the_ratio_counts():
    assert spring_text(1, 120, 14) == spring_text(4, 480, 56)


@pytest.mark.parametrize(("damping", "said"), [(0.05, "swings too long"), (50, "creeps")])
def test_a_spring_nobody_wants_is_refused(damping, said):
    with pytest.raises(ValueError, match=said):
        spring_text(1, 1, damping)
