"""Loops over pixels and edges as machine code: plain functions over arrays, compiled by numba.

Arithmetic stays what is written: no fast mathematics, so nothing is reordered or fused, and the same numbers come out
whatever the processor's vectors are. What was compiled is kept beside the code, or in the user's cache folder; where
neither can be written, it is compiled again in each process (`tests/picture/render/test_compiled.py` tries it).

A compiled function may call compiled functions of its own file only: numba would not notice that another file has
changed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import ParamSpec, TypeVar, cast

P = ParamSpec("P")
R = TypeVar("R")


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Return the same function as machine code, compiled for the types of its arguments when it is first called."""
    import numba  # noqa: PLC0415  (a tenth of a second)

    # numba tells files apart by size and time, and wheels give all files one time: the name holds their content.
    function.__qualname__ = f"{function.__name__}-{_digest(function.__code__.co_filename)}"
    try:
        made = numba.njit(function, cache=True, error_model="numpy")
    except RuntimeError:  # no folder for what was compiled
        made = numba.njit(function, error_model="numpy")
    return cast("Callable[P, R]", made)


@cache
def _digest(file: str) -> str:
    return hashlib.sha256(Path(file).read_bytes()).hexdigest()[:12]
