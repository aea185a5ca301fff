"""Easing values against the W3C's own text and independent computations from it.

Source throughout: W3C CSS Easing Functions Level 2, Editor's Draft (w3c/csswg-drafts, css-easing-2/Overview.bs).
"""

from decimal import Decimal

import numpy as np
import pytest
from easing_referee import bezier_value
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from choreo.motion.easing import parse_easing

# Computed from the W3C's definition with a 30-digit bisection (mpmath), and confirmed by a second, independent
# implementation to 4e-15. Columns: input progress X.
X = [0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.9, 1]
BEZIER = {
    "ease": [
        0.0,
        0.0947963057160432,
        0.295244334267822,
        0.408510591355396,
        0.513315160973358,
        0.68254050597814,
        0.802403387584857,
        0.88522930987612,
        0.94076461429764,
        0.960458978348974,
        0.975625355623567,
        0.994316477484556,
        1.0,
    ],
    "ease-in": [
        0.0,
        0.0170266096515629,
        0.0622820001367323,
        0.0934646507188249,
        0.129576760845353,
        0.214860938752893,
        0.315356812572539,
        0.429119769296317,
        0.554814032528663,
        0.62186186917489,
        0.691633933319313,
        0.839427845762467,
        1.0,
    ],
    "ease-out": [
        0.0,
        0.160572154237533,
        0.308366066680687,
        0.37813813082511,
        0.445185967471337,
        0.570880230703683,
        0.684643187427461,
        0.785139061247107,
        0.870423239154647,
        0.906535349281175,
        0.937717999863268,
        0.982973390348437,
        1.0,
    ],
    "ease-in-out": [
        0.0,
        0.0197224535483112,
        0.0816598562658975,
        0.12916193104732,
        0.187395906705313,
        0.331883870097646,
        0.5,
        0.668116129902354,
        0.812604093294687,
        0.87083806895268,
        0.918340143734103,
        0.980277546451689,
        1.0,
    ],
    "cubic-bezier(0, 0, 1, 1)": [0.0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.9, 1.0],
    "cubic-bezier(0.34, 1.56, 0.64, 1)": [
        0.0,
        0.403933041979135,
        0.70304,
        0.816289198692472,
        0.907361380561126,
        1.03018141878309,
        1.0874006702187,
        1.09657485005078,
        1.07577606155546,
        1.05964685996403,
        1.04247438023669,
        1.01261557914609,
        1.0,
    ],
}


@pytest.mark.parametrize("text", BEZIER)
def test_bezier_samples(text):
    assert np.allclose(BEZIER[text], parse_easing(text).value(np.array(X)), rtol=0, atol=2e-14)


# Section "Output of a cubic Bezier easing function": the curve goes on along its end tangents. Hand arithmetic:
# ease below 0 has slope 0.1/0.25 = 0.4; ease-in above 1 has P2 = P3, so the tangent is P1 to P3, slope 1/0.58.
@pytest.mark.parametrize(
    ("text", "at_minus_half", "at_one_and_a_half"),
    [
        ("ease", -0.2, 1.0),
        ("ease-in", 0.0, 1 + 0.5 / 0.58),
        ("ease-out", -0.5 / 0.58, 1.0),
        ("ease-in-out", 0.0, 1.0),
        # P1 above P0: the standard takes P2 instead, slope 0.4/0.8 = 0.5; likewise at the other end.
        ("cubic-bezier(0, 1, 0.8, 0.4)", -0.25, 1 + 0.5 * 0.6 / 0.2),
        # Both control points above an end: output stays where it is.
        ("cubic-bezier(0, 1, 0, 1)", 0.0, 1.0),
        ("cubic-bezier(1, 0, 1, 0.5)", 0.0, 1.0),
    ],
)
def test_bezier_goes_on_along_its_end_tangents(text, at_minus_half, at_one_and_a_half):
    found = parse_easing(text).value(np.array([-0.5, 1.5]))
    assert [at_minus_half, at_one_and_a_half] == pytest.approx(list(found), abs=1e-12)


unit = st.floats(0, 1)
height = st.floats(-3, 4)


@settings(max_examples=100, deadline=None)
@given(unit, height, unit, height, unit)
def test_bezier_equals_a_root_finder_of_scipy(x1, y1, x2, y2, t):
    def x(p):
        return 3 * x1 * p * (1 - p) ** 2 + 3 * x2 * p * p * (1 - p) + p**3

    p = brentq(lambda p: x(p) - t, 0, 1, xtol=1e-15, rtol=1e-14)
    assume(_slope(x1, x2, p) > 1e-3)  # where the curve is upright doubles cannot referee; decimals do, below
    y = 3 * y1 * p * (1 - p) ** 2 + 3 * y2 * p * p * (1 - p) + p**3
    steepness = 30 / _slope(x1, x2, p)  # the referee itself has only double digits
    assert y == pytest.approx(parse_easing(f"cubic-bezier({x1}, {y1}, {x2}, {y2})").value(t), abs=1e-14 * steepness)


def _slope(a, b, p):
    return 3 * a * (1 - p) * (1 - 3 * p) + 3 * b * p * (2 - 3 * p) + 3 * p * p


corner = st.sampled_from([0.0, 1.0, 0.5, 1e-9, 1 - 1e-9, 1e-300, 0.42]) | unit


@settings(max_examples=100, deadline=None)
@given(corner, height, corner, height, unit | st.floats(0, 1e-12) | st.floats(0.4999, 0.5001))
@example(0.999999999, 0.0, 1e-10, 1.0, 0.5 + 1e-12)  # almost upright in the middle
@example(0.9999999999999518, 0.0, 2.306681369815794e-13, 2.0, 0.5000000000000684)  # on the point of inflection
@example(0.9999999999999969, -1.0, 3.4625609407939615e-15, 2.0, 0.5000000000000001)
def test_bezier_is_right_to_twelve_digits_even_where_it_is_upright(x1, y1, x2, y2, t):
    """The referee bisects in decimal arithmetic of 80 digits."""
    expected = bezier_value(x1, y1, x2, y2, t)
    found = parse_easing(f"cubic-bezier({x1}, {y1}, {x2}, {y2})").value(t)
    assert abs(expected - Decimal(found)) < Decimal("1e-12")


# Section "Output of a step easing function", algorithm steps 1 to 7 worked in exact fractions and confirmed by
# counting jumps. Columns: position, steps, jumps, then steps taken at each STEP_X: at the jump, and before it.
STEP_X = [0, 0.2, 0.25, 0.5, 0.75, 0.999, 1]
STEPS = [
    ("jump-start", 1, 1, [1, 1, 1, 1, 1, 1, 1], [0, 1, 1, 1, 1, 1, 1]),
    ("jump-end", 1, 1, [0, 0, 0, 0, 0, 0, 1], [0, 0, 0, 0, 0, 0, 0]),
    ("jump-both", 1, 2, [1, 1, 1, 1, 1, 1, 2], [0, 1, 1, 1, 1, 1, 1]),
    ("jump-start", 3, 3, [1, 1, 1, 2, 3, 3, 3], [0, 1, 1, 2, 3, 3, 3]),
    ("jump-end", 3, 3, [0, 0, 0, 1, 2, 2, 3], [0, 0, 0, 1, 2, 2, 2]),
    ("jump-none", 3, 2, [0, 0, 0, 1, 2, 2, 2], [0, 0, 0, 1, 2, 2, 2]),
    ("jump-both", 3, 4, [1, 1, 1, 2, 3, 3, 4], [0, 1, 1, 2, 3, 3, 3]),
    ("jump-start", 4, 4, [1, 1, 2, 3, 4, 4, 4], [0, 1, 1, 2, 3, 4, 4]),
    ("jump-end", 4, 4, [0, 0, 1, 2, 3, 3, 4], [0, 0, 0, 1, 2, 3, 3]),
    ("jump-none", 4, 3, [0, 0, 1, 2, 3, 3, 3], [0, 0, 0, 1, 2, 3, 3]),
    ("jump-both", 4, 5, [1, 1, 2, 3, 4, 4, 5], [0, 1, 1, 2, 3, 4, 4]),
    ("jump-start", 5, 5, [1, 2, 2, 3, 4, 5, 5], [0, 1, 2, 3, 4, 5, 5]),
    ("jump-end", 5, 5, [0, 1, 1, 2, 3, 4, 5], [0, 0, 1, 2, 3, 4, 4]),
    ("jump-none", 5, 4, [0, 1, 1, 2, 3, 4, 4], [0, 0, 1, 2, 3, 4, 4]),
    ("jump-both", 5, 6, [1, 2, 2, 3, 4, 5, 6], [0, 1, 2, 3, 4, 5, 5]),
]


@pytest.mark.parametrize(("position", "steps", "jumps", "taken", "before"), STEPS)
def test_steps_table(position, steps, jumps, taken, before):
    easing = parse_easing(f"steps({steps}, {position})")
    assert [k / jumps for k in taken] == list(easing.value(np.array(STEP_X, dtype=float)))
    for x, k in zip(STEP_X[1:], before[1:], strict=True):  # the value just before x is that of the piece up to x
        [piece] = [piece for piece in easing.pieces if piece.t0 < x <= piece.t1]
        assert k / jumps == piece.y1


def test_steps_outside_the_unit_interval_go_on_in_steps():
    """Algorithm steps 4 and 6 hold the output only between 0 and 1: floor(-0.3 x 4) = -2; floor(1.3 x 4) = 5."""
    outside = np.array([-0.3, 1.3])
    assert list(parse_easing("steps(4)").value(outside)) == [-0.5, 1.25]
    assert list(parse_easing("steps(4, start)").value(outside)) == [-0.25, 1.5]


def test_a_step_stands_on_its_frame_in_spite_of_rounding():
    """29/100 x 100 falls short of 29 in floating point; the exact step is 29."""
    k = np.arange(100)
    assert list(k / 100) == list(parse_easing("steps(100)").value(k / 100))


# Section "Serializing": the note's three examples, and the figure of the fourth; outputs by the algorithm of
# section "Output of a linear easing function", hand arithmetic.
@pytest.mark.parametrize(
    ("text", "samples"),
    [
        ("linear(0, 0.25, 1)", {-0.5: -0.25, 0.1: 0.05, 0.5: 0.25, 0.75: 0.625, 1: 1, 1.5: 1.75}),
        ("linear(0 20%, 0.5 10%, 1)", {-0.5: 0.5, 0: 0.5, 0.2: 0.5, 0.25: 0.53125, 0.6: 0.75, 1: 1, 1.5: 1.3125}),
        ("linear(0, 0.25 25% 75%, 1)", {-0.5: -0.5, 0.1: 0.1, 0.25: 0.25, 0.6: 0.25, 0.9: 0.7, 1: 1, 1.5: 2.5}),
        ("linear(0, 0.25 75%, 1)", {-0.5: -0.5 / 3, 0.1: 0.1 / 3, 0.6: 0.2, 0.75: 0.25, 0.9: 0.7, 1.5: 2.5}),
        ("linear", {-7: -7, 0: 0, 0.3: 0.3, 1: 1, 9: 9}),
        ("linear(0, 1 50%, 0.4 50%, 1)", {0.25: 0.5, 0.5: 0.4, 0.75: 0.7}),  # two points at 50 %: the later rules
    ],
)
def test_linear_samples(text, samples):
    found = parse_easing(text).value(np.array(list(samples), dtype=float))
    assert list(samples.values()) == pytest.approx(list(found), abs=1e-12)


def test_linear_bounce_of_the_standard():
    """The example --bounce; it ends in "1 100% 100%", so that inputs beyond 1 give 1."""
    bounce = parse_easing(
        """linear(/* Start to 1st bounce */ 0, 0.063, 0.25, 0.563, 1 36.4%,
                  /* 1st to 2nd bounce */   0.812, 0.75, 0.813, 1 72.7%,
                  /* 2nd to 3rd bounce */   0.953, 0.938, 0.953, 1 90.9%,
                  /* 3rd bounce to end */   0.984, 1 100% 100%)"""
    )
    x = np.array([0.0, 0.091, 0.182, 0.364, 0.5455, 0.727, 0.818, 0.909, 1.0, 1.2])
    expected = [0, 0.063, 0.25, 1, 0.75, 1, 0.938, 1, 1, 1]
    assert expected == pytest.approx(list(bounce.value(x)), abs=1e-9)


def test_minimum_jerk():
    """Flash and Hogan 1985: 10 t^3 - 15 t^4 + 6 t^5; values exact (hand arithmetic)."""
    easing = parse_easing("min-jerk")
    t = np.array([-1, 0, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.7, 0.9, 1, 2])
    expected = [0, 0, 0.00856, 0.05792, 0.103515625, 0.16308, 0.31744, 0.5, 0.83692, 0.99144, 1, 1]
    assert expected == pytest.approx(list(easing.value(t)), abs=1e-15)
