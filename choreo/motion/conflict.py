"""Which rules, of many, contradict each other: a set of which none can be spared.

Divide and conquer (Junker, "QuickXplain", AAAI 2004): for k rules in conflict among n it asks in the order of
k log(n / k) questions where leaving out one rule after the other would ask n.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

T = TypeVar("T")


def conflict(rules: Sequence[T], feasible: Callable[[Sequence[T]], bool]) -> tuple[T, ...]:
    """Return rules that cannot all be kept, but could be without any single one of them.

    Parameters
    ----------
    rules : sequence
        That cannot all be kept; those listed first are the last to be named.
    feasible : callable
        Whether some of the rules can be kept together. Taking rules away never makes them infeasible.

    Returns
    -------
    tuple
        In the order of `rules`. Irreducible, not always the fewest there are; empty where nothing is feasible even
        without rules, or where all of them are.

    """
    if feasible(rules) or not feasible(()):
        return ()
    found = _split((), (), tuple(range(len(rules))), lambda chosen: feasible([rules[k] for k in sorted(chosen)]))
    return tuple(rules[k] for k in sorted(found))


def _split(
    kept: tuple[int, ...], added: tuple[int, ...], left: tuple[int, ...], feasible: Callable[[Sequence[int]], bool]
) -> tuple[int, ...]:
    if added and not feasible(kept):
        return ()
    if len(left) == 1:
        return left
    first, second = left[: len(left) // 2], left[len(left) // 2 :]
    of_second = _split((*kept, *first), first, second, feasible)
    of_first = _split((*kept, *of_second), of_second, first, feasible)
    return (*of_first, *of_second)
