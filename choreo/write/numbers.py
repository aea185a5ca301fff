"""The one rule by which numbers become text.

A number is written with the fewest digits that read back to the same number; whole numbers without a decimal
point, and never a minus before 0. How finely masks are rounded before that is fixed here; samples of tracks are as
`choreo.model.digits` has them.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from choreo.model.plan import Floats

MASK_DIGITS = 4
"""Decimals of a mask's outline, px: far below what antialiasing can show."""

_SHORTER = ((".0,", ","), (".0]", "]"), (".0}", "}"), ("-0,", "0,"), ("-0]", "0]"), ("-0}", "0}"))
"""What is cut, in this order: 12.0 becomes 12, and -0.0 by way of -0 becomes 0. No number ends like that otherwise:
the digits after an exponent's sign are two or more and not all 0."""


def numbers_text(values: Any) -> str:
    """Return numbers, or arrays of them to any depth, as JSON on one line.

    Reads back to the same numbers, bit for bit, but for -0, which is written as 0.

    Parameters
    ----------
    values : array_like
        Finite numbers, alone or in lists, tuples or dicts; None stands for null. No text but the keys of dicts.

    Raises
    ------
    ValueError
        If a number is infinite or not a number.

    """
    plain = values.tolist() if isinstance(values, np.ndarray) else values
    text = json.dumps([plain], allow_nan=False)
    for long, short in _SHORTER:
        text = text.replace(long, short)
    return text[1:-1]


def rounded(values: ArrayLike, digits: int) -> Floats:
    """Return the numbers rounded to so many decimals, each the float nearest to its decimal.

    Parameters
    ----------
    values : array_like
        Any shape.
    digits : int
        Decimals that are kept.

    """
    return np.asarray(np.round(np.asarray(values, dtype=np.float64), digits), dtype=np.float64)


def plain_number(value: float, digits: int) -> float | int:
    """Return one number rounded, as an int where it is whole."""
    short = round(float(value), digits)
    return int(short) if short.is_integer() else short
