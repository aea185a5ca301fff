"""What is an easing, how it is written back, and what is said when it is none."""

import contextlib

import numpy as np
import pytest
from easing_strategies import easings
from hypothesis import given, settings
from hypothesis import strategies as st

from choreo.motion.easing import parse_easing


# W3C CSS Easing Functions Level 2, sections "Serialization" and "Serializing" (the linear() examples are its own);
# numbers after CSSOM, "serialize a CSS component value": shortest decimals, no exponent.
@pytest.mark.parametrize(
    ("written", "canonical"),
    [
        ("ease", "ease"),
        ("linear", "linear"),
        ("EASE-In-Out", "ease-in-out"),
        ("step-start", "steps(1, start)"),
        ("step-end", "steps(1)"),
        ("steps(4)", "steps(4)"),
        ("steps(4, end)", "steps(4)"),
        ("steps(4,jump-end)", "steps(4)"),
        ("steps(4, start)", "steps(4, start)"),
        ("Steps( +4 , Jump-Start )", "steps(4, jump-start)"),
        ("steps(2, jump-none)", "steps(2, jump-none)"),
        ("steps(1, jump-both)", "steps(1, jump-both)"),
        ("cubic-bezier(0.25,.1,2.5e-1,1.0)", "cubic-bezier(0.25, 0.1, 0.25, 1)"),
        ("cubic-bezier(0.42, 0, 1, 1)", "cubic-bezier(0.42, 0, 1, 1)"),
        ("cubic-bezier(0,-0,1,-1e-7)", "cubic-bezier(0, 0, 1, -0.0000001)"),
        ("linear(0, 0.25, 1)", "linear(0 0%, 0.25 50%, 1 100%)"),
        ("linear(0 20%, 0.5 10%, 1)", "linear(0 20%, 0.5 20%, 1 100%)"),
        ("linear(0, 0.25 25% 75%, 1)", "linear(0 0%, 0.25 25%, 0.25 75%, 1 100%)"),
        ("linear(0, 1)", "linear(0 0%, 1 100%)"),
        ("linear(10% 30% 0, 1)", "linear(0 10%, 0 30%, 1 100%)"),
        ("linear(0, 1 150%, 2)", "linear(0 0%, 1 150%, 2 150%)"),
        ("linear(0 36.4%, 1)", "linear(0 36.4%, 1 100%)"),
        ("linear(0 0.7%, 1)", "linear(0 0.7%, 1 100%)"),
        ("linear(0.5-20%, 1)", "linear(0.5 -20%, 1 100%)"),
        ("  /* in */ ease-in\t/* out */\n", "ease-in"),
        ("min-jerk", "min-jerk"),
    ],
)
def test_canonical_text(written, canonical):
    assert canonical == parse_easing(written).text


@settings(max_examples=100, deadline=None)
@given(easings)
def test_canonical_text_stays_as_it_is_and_keeps_every_digit(text):
    easing = parse_easing(text)
    again = parse_easing(easing.text)
    t = np.linspace(-0.5, 1.5, 41)
    assert easing.text == again.text
    assert np.array_equal(easing.value(t), again.value(t))


def test_keywords_are_the_curves_that_the_standard_gives():
    t = np.linspace(-1, 2, 31)
    for name, numbers in {
        "ease": "0.25, 0.1, 0.25, 1",
        "ease-in": "0.42, 0, 1, 1",
        "ease-out": "0, 0, 0.58, 1",
        "ease-in-out": "0.42, 0, 0.58, 1",
    }.items():
        assert np.array_equal(parse_easing(f"cubic-bezier({numbers})").value(t), parse_easing(name).value(t))


# Each is invalid under the grammar of the standard, but for the last group, which are bounds of ours.
@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("/* nothing */", "empty"),
        ("esae", 'Did you mean "ease"'),
        ("ease\x00\x1b[31m", "ease??[31m"),
        ("ease ease", "not an easing"),
        ("ease-in()", "not an easing"),
        ("cubic-bezier (0, 0, 1, 1)", "not an easing"),
        ("cubic-bezier(0, 0, 1)", "four numbers"),
        ("cubic-bezier(0, 0, 1, 1, 1)", "four numbers"),
        ("cubic-bezier(0 0, 1, 1)", "four numbers"),
        ("cubic-bezier(0, 0, 100%, 1)", "four numbers"),
        ("cubic-bezier(1.01, 0, 1, 1)", "x1 is 1.01"),
        ("cubic-bezier(0, 0, -0.5, 1)", "x2 is -0.5"),
        ("cubic-bezier(0, nan, 1, 1)", '"nan"'),
        ("cubic-bezier(0, infinity, 1, 1)", '"infinity"'),
        ("cubic-bezier(0, 1., 1, 1)", "cannot be read"),
        ("cubic-bezier(0, 1px, 1, 1)", "four numbers"),
        ("steps(0)", "1 to 10000"),
        ("steps(-2)", "1 to 10000"),
        ("steps(1, jump-none)", "2 to 10000"),
        ("steps(2.5)", "whole numbers"),
        ("steps(2.0)", "whole numbers"),
        ("steps(1e1)", "whole numbers"),
        ("steps(4, middle)", '"middle"'),
        ("steps(4, end, end)", "a count"),
        ("steps()", "found nothing"),
        ("linear(0)", "two stops"),
        ("linear()", "two stops"),
        ("linear(0,,1)", "found nothing"),
        ("linear(0, 1,)", "found nothing"),
        ("linear(25% 0 75%, 1)", "A stop of linear()"),
        ("linear(0 1% 2% 3%, 1)", "A stop of linear()"),
        ("linear(0 1, 1)", "A stop of linear()"),
        ("linear(0, 1))", "too many"),
        ("linear(0, steps(2))", "too many"),
        ("min-jer\N{KELVIN SIGN}", "cannot be read"),
        ("steps(\N{ARABIC-INDIC DIGIT THREE})", "cannot be read"),
        ("steps(4", "not closed"),
        ("steps(10001)", "1 to 10000"),
        ("steps(" + "9" * 5000 + ")", "1 to 10000"),
        ("cubic-bezier(0, 1e999, 1, 1)", "too large"),
        ("linear(0, 1 1e999999999%)", "too large"),
        ("linear(" * 2000, "not closed"),
        ("(" * 30_000, "too long"),
        (None, "NoneType"),
    ],
)
def test_nonsense_gets_a_kind_answer(text, said):
    with pytest.raises(ValueError) as caught:
        parse_easing(text)
    message = str(caught.value)
    assert said in message
    assert len(message) < 400
    assert message.isprintable()


def test_numbers_too_small_to_hold_are_zero():
    assert parse_easing("cubic-bezier(1e-999999999, 0, 1, 1)").text == "cubic-bezier(0, 0, 1, 1)"
    assert parse_easing("linear(0, 1 1e-999999999%)").text == "linear(0 0%, 1 0%)"


@settings(max_examples=100, deadline=None)
@given(st.text(alphabet="0123456789.,%()+-e/* \nastpliner\x00é", max_size=40) | st.text(max_size=40))
def test_any_text_is_an_easing_or_a_value_error(text):
    for whole in (text, f"linear({text})", f"cubic-bezier(0, {text}, 1, 0)", f"steps({text})"):
        with contextlib.suppress(ValueError):  # any other error is a defect
            assert np.isfinite(parse_easing(whole).extent).all()


@pytest.mark.parametrize(
    "numbers",
    [
        "2.2e-313, 1, 0, 1",
        "1e-320, 1e-320, 1e-320, 1e-320",
        "0, 1e-200, 0, -1e-200",
        "1e-300, 1e6, 1, -1e6",
        "0.5, 1e-310, 1, 1e-310",
        "0, -1e-320, 1, 1",
    ],
)
def test_extreme_numbers_do_no_harm(numbers):
    easing = parse_easing(f"cubic-bezier({numbers})")
    t = np.array([-1e9, -1, 0, 1e-320, 0.3, 1, 2])
    assert not np.isnan(easing.value(t)).any()
    assert np.isfinite(easing.extent).all()
    for piece in easing.pieces:
        assert np.isfinite(piece.value(t)).all()
        assert piece.flat or np.isfinite(piece.time(np.linspace(piece.y0, piece.y1, 9))).all()


def test_times_that_are_not_numbers_stay_so_and_infinity_does_no_harm():
    for text in ("ease", "linear", "linear(0, 1 50% 50%)", "linear(0, 1 50%, 1)", "steps(3)", "min-jerk"):
        easing = parse_easing(text)
        assert np.isnan(easing.value(float("nan")))
        assert not np.isnan(easing.value(np.array([-np.inf, np.inf]))).any()


def test_the_shape_of_the_question_is_the_shape_of_the_answer():
    easing = parse_easing("ease")
    assert isinstance(easing.value(0.5), float)
    assert easing.value(np.zeros((2, 3))).shape == (2, 3)
    assert easing.value(np.zeros(0)).shape == (0,)
    piece = easing.pieces[0]
    assert isinstance(piece.time(0.5), float)
    assert piece.time(np.zeros((2, 3))).shape == (2, 3)
