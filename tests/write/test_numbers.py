"""Numbers as text: the shortest that reads back to the same."""

from __future__ import annotations

import json
import math
import struct
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from choreo.write.numbers import numbers_text, plain_number, rounded

FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(st.lists(st.one_of(FINITE, st.none(), st.lists(FINITE, max_size=3)), max_size=6))
def test_reads_back_bit_for_bit_but_for_minus_zero(values):
    # Python's own JSON reader is the referee.
    def bits(value):
        if isinstance(value, list):
            return [bits(item) for item in value]
        return value if value is None else struct.pack("d", float(value) + 0.0)

    assert bits(json.loads(numbers_text(values))) == bits(values)


@given(FINITE)
def test_no_shorter_text_than_the_shortest(value):
    # Python's repr is the shortest decimal that reads back (documented since 3.1); ours drops only ".0".
    assert numbers_text(value) in (repr(value), repr(value).removesuffix(".0"), "0")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (-0.0, "0"),
        (12.0, "12"),
        (-3.0, "-3"),
        (10.5, "10.5"),
        (100.05, "100.05"),
        (1e-7, "1e-07"),
        (1e16, "1e+16"),
        (-1e-10, "-1e-10"),
        ([-0.0, [10.0, -0.0], -0.5], "[0, [10, 0], -0.5]"),
        ([0.1 + 0.2], "[0.30000000000000004]"),
        ({"a": [1.0], "b": -0.0}, '{"a": [1], "b": 0}'),
        ([], "[]"),
    ],
)
def test_by_hand(value, text):
    assert numbers_text(value) == text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_json_cannot_say_is_refused(value):
    with pytest.raises(ValueError):
        numbers_text([value])


@given(st.floats(-1e6, 1e6), st.sampled_from([4, 9, 10]))
def test_rounding_gives_the_float_of_a_decimal_near_by(value, digits):
    # Decimal arithmetic is the referee: as few decimals as asked, half a step away at most, the grain of doubles aside.
    short = Decimal(repr(float(rounded(value, digits))))
    assert -short.as_tuple().exponent <= digits
    assert abs(short - Decimal(value)) <= Decimal(5).scaleb(-digits - 1) + 2 * Decimal(math.ulp(value))


def test_rounding_by_hand():
    assert numbers_text(rounded(np.array([1234.56789012345, 2 / 3]), 9)) == "[1234.567890123, 0.666666667]"


def test_a_whole_number_is_an_int():
    assert repr(plain_number(3.0000000001, 6)) == "3"
    assert repr(plain_number(-0.0, 6)) == "0"
    assert repr(plain_number(2.5, 6)) == "2.5"
