"""Whole-frame starts nearest to what was asked for, by looking at few of them: a few moves that owe each other little.

Frames that a move may start on are the bits of an integer. One move after the other is put on a frame, the nearest
first, and what it owes others strikes frames out of theirs; how far the rest has to depart at the least, each for
itself, bounds what may come of it (branch and bound with forward checking, Haralick and Elliott 1980). Exact where it
comes to an end; where that takes too long, it says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from choreo.motion.starts_question import Clause, Spans, Starts

MOST_STEPS = 400
"""Moves put on a frame until the search gives up: about as long as an integer program takes."""


class TooLongError(Exception):
    """The search gave up."""


@dataclass(eq=False)
class StartsSearch:
    """The search for the starts of some moves of a question, which owe nothing to any other.

    Attributes
    ----------
    question : Starts
        Its `lags`, `clauses` and `anchors` between members count.
    members : sequence of int
        Moves that are looked at.
    latest : mapping of int to int
        Last start of each.
    moves : sequence of int, optional
        Of the nearest starts those with the earliest last arrival are looked for, given the frames each move takes.
        None: those with the least sum of starts, each weighted with its place in the list.

    """

    question: Starts
    members: Sequence[int]
    latest: Mapping[int, int]
    moves: Sequence[int] | None = None
    key: tuple[int, int] | None = None
    """Departure, and last arrival or weighted sum, of the best found so far."""
    found: dict[int, int] | None = None
    _owed: dict[int, list[tuple[int, Spans]]] = field(default_factory=dict)
    """What others' start less this one may be."""
    _clauses: Sequence[Clause] = ()
    _steps: int = 0

    def run(self, most: int = MOST_STEPS) -> dict[int, int] | None:
        """Return the best starts, or None where there are none.

        Raises
        ------
        TooLongError
            If more than `most` moves would have to be put on a frame.

        """
        self._steps = most
        inside = set(self.members)
        self._owed = {k: [] for k in self.members}
        for (i, j), spans in self.question.lags.items():
            if i in inside and j in inside:
                self._owed[i].append((j, spans))
                self._owed[j].append((i, tuple((-high, -low) for low, high in spans)))
        self._clauses = [clause for clause in self.question.clauses if clause[0][0] in inside]
        free = {k: self._frames(k) for k in self.members}
        if all(free.values()):
            self._go(free, {}, 0)
        return self.found

    def _frames(self, k: int) -> int:
        """The frames that a move may start on, before any other has been put on one."""
        if k in self.question.choices:
            return sum(1 << frame for frame in set(self.question.choices[k]) if 0 <= frame <= self.latest[k])
        return _stretch(0, self.latest[k])

    def _go(self, free: Mapping[int, int], placed: Mapping[int, int], away: int) -> None:
        """Put the rest on frames, where that may come to something better than what is known."""
        near = {k: self._nearest(k, free[k], placed) for k in free}
        least = away + sum(near.values())
        if self.key is not None and (least, self._second(free, placed, near, least)) >= self.key:
            return
        if not free:
            if all(any(placed[q] - placed[p] >= c for p, q, c in clause) for clause in self._clauses):
                self.key, self.found = (away, self._second(free, placed, near, away)), dict(placed)
            return
        ready = [k for k in free if self.question.anchors.get(k) not in free]
        k = max(ready, key=lambda k: (near[k], len(self._owed[k]), -k))
        wish, rest = self._wish(k, placed), {other: frames for other, frames in free.items() if other != k}
        for frame in _by_distance(free[k], wish):
            cost = abs(frame - wish)
            if self.key is not None and least - near[k] + cost > self.key[0]:
                break
            if self._steps <= 0:
                raise TooLongError
            self._steps -= 1
            struck = self._struck(k, frame, rest)
            if struck is not None:
                self._go(struck, {**placed, k: frame}, away + cost)

    def _wish(self, k: int, placed: Mapping[int, int]) -> int:
        anchor = self.question.anchors.get(k)
        return self.question.wish[k] + (0 if anchor is None else placed[anchor])

    def _nearest(self, k: int, frames: int, placed: Mapping[int, int]) -> int:
        """How far a move has to depart at the least; nothing while its anchor is not placed."""
        anchor = self.question.anchors.get(k)
        if anchor is not None and anchor not in placed:
            return 0
        wish = self._wish(k, placed)
        return min(abs(frame - wish) for frame in _beside(frames, wish))

    def _second(self, free: Mapping[int, int], placed: Mapping[int, int], near: Mapping[int, int], least: int) -> int:
        """The least last arrival, or weighted sum, of those that depart no farther than the best found so far."""
        lowest = dict(placed)
        for k, frames in free.items():
            anchor = self.question.anchors.get(k)
            if self.key is not None and (anchor is None or anchor in placed):
                low = self._wish(k, placed) - (self.key[0] - least + near[k])
                frames = (frames >> low << low if low > 0 else frames) or frames  # noqa: PLW2901
            lowest[k] = (frames & -frames).bit_length() - 1
        if self.moves is not None:
            return max(frame + self.moves[k] for k, frame in lowest.items())
        return sum((k + 1) * frame for k, frame in lowest.items())

    def _struck(self, k: int, frame: int, free: Mapping[int, int]) -> dict[int, int] | None:
        """What is left of the frames of others; None where one has none left."""
        left = dict(free)
        for other, spans in self._owed[k]:
            if other in left:
                allowed = 0
                for low, high in spans:
                    allowed |= _stretch(max(frame + low, 0), min(frame + high, self.latest[other]))
                left[other] &= allowed
        return left if all(left.values()) else None


def _stretch(low: int, high: int) -> int:
    """The frames from one to another."""
    return ((1 << (high - low + 1)) - 1) << low if low <= high else 0


def _beside(frames: int, wish: int) -> list[int]:
    """Of a set of frames the nearest before and after a wish."""
    if wish < 0:
        return [(frames & -frames).bit_length() - 1]
    later = frames >> wish
    after = [wish + (later & -later).bit_length() - 1] if later else []
    before = frames & ((1 << wish) - 1)
    return ([before.bit_length() - 1] if before else []) + after


def _by_distance(frames: int, wish: int) -> Iterator[int]:
    """The frames of a set, the nearest to the wish first, of two as near the earlier."""
    while frames:
        frame = min(_beside(frames, wish), key=lambda one: (abs(one - wish), one))
        yield frame
        frames &= ~(1 << frame)
