"""Runs of whole numbers in words, for what is missing of a numbered sequence."""

from __future__ import annotations

from collections.abc import Sequence

_LISTED = 5


def runs_in_words(numbers: Sequence[int]) -> str:
    """Return sorted numbers as their runs: "3, 7 to 9"; the first few of many."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    listed = ", ".join(f"{first}" if first == last else f"{first} to {last}" for first, last in runs[:_LISTED])
    return f"{listed} and more, {len(numbers)} in all," if len(runs) > _LISTED else listed
