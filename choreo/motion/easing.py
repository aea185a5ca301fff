"""Easings: how progress follows time. A reader of the package starts here.

`parse_easing` reads the W3C's syntax; an `Easing` evaluates at any time, tells its extent and its peak speed,
and cuts itself into `MonotonePiece`s, which can be inverted.
"""

from __future__ import annotations

from functools import lru_cache

from choreo.motion.easing_base import Easing, MonotonePiece
from choreo.motion.easing_parse import read_easing

__all__ = ["Easing", "MonotonePiece", "parse_easing"]


def parse_easing(text: str) -> Easing:
    """Return the easing that `text` spells; the same text gives the same object.

    Parameters
    ----------
    text : str
        An easing in the syntax of W3C CSS Easing Functions Level 2 (``ease-in-out``,
        ``cubic-bezier(0.3, 0, 0.1, 1)``, ``steps(4, jump-none)``, ``linear(0, 0.25 75%, 1)``), or ``min-jerk``.
        Upper and lower case are alike.

    Returns
    -------
    Easing
        Its `text` is the canonical spelling.

    Raises
    ------
    ValueError
        If the text is no easing. The message is meant for the user: what was found and what is allowed.

    """
    if not isinstance(text, str):
        raise ValueError(f"An easing is a text in quotation marks, but found {type(text).__name__}.")  # noqa: TRY004
    return _parse(text)


@lru_cache(maxsize=512)
def _parse(text: str) -> Easing:
    return read_easing(text)
