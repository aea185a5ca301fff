"""Runs of whole numbers in words, for what is missing of a numbered sequence."""

from __future__ import annotations

from collections.abc import Sequence

from choreo.model.assembly import Turntable

_LISTED = 5


def runs_in_words(numbers: Sequence[int], table: Turntable | None = None) -> str:
    """Return sorted numbers as their runs: "3, 7 to 9"; the first few of many; with their angles on a turntable."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    shown = [_range(f"{first}", f"{last}") + angles_in_words(first, last, table) for first, last in runs[:_LISTED]]
    listed = ", ".join(shown)
    return f"{listed} and more, {len(numbers)} in all," if len(runs) > _LISTED else listed


def angles_in_words(first: int, last: int, table: Turntable | None) -> str:
    """Return what photographs show of a table, to stand behind their numbers: " (20 to 24 degrees)"."""
    if table is None:
        return ""
    one, other = (f"{round(table.start + number * table.per_frame, 2):g}" for number in (first, last))
    return f" ({_range(one, other)} degrees)"


def _range(first: str, last: str) -> str:
    return first if first == last else f"{first} to {last}"
