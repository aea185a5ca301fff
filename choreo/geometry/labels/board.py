"""What the places of all labels cost because of where the other labels stand.

One long table holds the places of all labels, a stretch for each. A label that sits down or gets up changes the
cost of places near it and of no others, and it mostly sits down where it has been before: what that changes is
kept. Costs are whole numbers, so adding and taking away again leaves them as they were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from choreo.geometry.labels.offers import Offers
from choreo.geometry.labels.rules import REACH, conflicts
from choreo.model.plan import Floats

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class _Met:
    """What a label at one place does to places of other labels."""

    rows: Ints
    cost: Floats
    owners: list[int]
    """The labels of those places."""


class Board:
    """The places of labels and what each costs; a label stands at one of its places or at none."""

    def __init__(self, offers: Sequence[Offers], spare: int) -> None:
        """Take the places of each label; `spare` more may be added to each once."""
        sizes = [len(offer.cost) for offer in offers]
        self.first = np.cumsum([0, *(size + spare for size in sizes)])
        self.size = [0] * len(offers)
        total = int(self.first[-1])
        self.owner = np.repeat(np.arange(len(offers)), np.diff(self.first))
        self.boxes, self.ends = np.zeros((total, 4)), np.zeros((total, 2, 2))
        self.cost = np.zeros(total)
        self.against = np.zeros(total)
        """Conflicts with all labels that stand."""
        self.around = np.full((total, 4), np.nan)
        """Boxes around label and leader; no number where there is no place, so nothing is near."""
        self.at: list[int | None] = [None] * len(offers)
        """The row at which each label stands."""
        self._known: dict[int, _Met] = {}
        for index, offer in enumerate(offers):
            self._write(index, offer)

    def place(self, index: int) -> int | None:
        """Return which of its places a label has taken."""
        row = self.at[index]
        return None if row is None else row - int(self.first[index])

    def cheapest(self, index: int) -> int | None:
        """Return the cheapest place of a label, the first of several."""
        if not self.size[index]:
            return None
        rows = self._rows(index)
        return int(np.argmin(self.cost[rows] + self.against[rows]))

    def liked(self, index: int) -> Ints:
        """Return the places of a label, the cheapest before others stood first."""
        return np.argsort(self.cost[self._rows(index)], kind="stable")

    def costs(self, unplaced: float) -> list[float]:
        """Return what the place of each label costs it; `unplaced` for one without."""
        rows = np.array([0 if row is None else row for row in self.at], dtype=np.int64)
        out = (self.cost[rows] + self.against[rows]).tolist()
        return [unplaced if row is None else cost for row, cost in zip(self.at, out, strict=True)]

    def suffers(self, index: int, unplaced: float) -> float:
        """Return what the place of one label costs it."""
        row = self.at[index]
        return unplaced if row is None else float(self.cost[row] + self.against[row])

    def move(self, index: int, place: int | None) -> list[int]:
        """Let a label take a place, or none, and return the labels that this makes a difference to."""
        old, new = self.at[index], None if place is None else int(self.first[index]) + place
        if old == new:
            return []
        touched: list[int] = []
        for row, sign in ((old, -1.0), (new, 1.0)):
            if row is not None:
                met = self._met(row)
                self.against[met.rows] += sign * met.cost
                touched += met.owners
        self.at[index] = new
        return touched

    def add(self, index: int, more: Offers) -> None:
        """Offer a label more places, after those it has."""
        start = int(self.first[index]) + self.size[index]
        self._write(index, more)
        rows = np.arange(start, start + len(more.cost))
        standing = np.array([row for other, row in enumerate(self.at) if row is not None and other != index], np.int64)
        mine, theirs = np.nonzero(self._near(rows[:, None], standing))
        cost = self._conflicts(rows[mine], standing[theirs])
        self.against[rows] = np.bincount(mine, cost, minlength=len(rows))
        self._known.clear()

    def worst(self, index: int) -> float:
        """Return the worst conflict between a label that stands and any other that does."""
        row = self.at[index]
        others = np.array([at for at in self.at if at is not None and at != row], dtype=np.int64)
        return float(self._conflicts(np.full(len(others), row), others).max(initial=0.0))

    def _rows(self, index: int) -> slice:
        start = int(self.first[index])
        return slice(start, start + self.size[index])

    def _write(self, index: int, offer: Offers) -> None:
        start = int(self.first[index]) + self.size[index]
        rows = slice(start, start + len(offer.cost))
        self.boxes[rows], self.ends[rows], self.cost[rows] = offer.boxes, offer.ends, offer.cost
        corners = np.concatenate([offer.boxes.reshape(-1, 2, 2), offer.ends], axis=1)
        self.around[rows] = np.concatenate([corners.min(axis=1), corners.max(axis=1)], axis=1)
        self.size[index] += len(offer.cost)

    def _met(self, row: int) -> _Met:
        if row not in self._known:
            rows = np.flatnonzero(self._near(slice(None), row))
            rows = rows[self.owner[rows] != self.owner[row]]
            cost = self._conflicts(rows, np.full(len(rows), row))
            rows, cost = rows[cost > 0], cost[cost > 0]
            self._known[row] = _Met(rows, cost, np.unique(self.owner[rows]).tolist())
        return self._known[row]

    def _near(self, rows: Ints | slice, others: Ints | int) -> NDArray[np.bool_]:
        """Whether labels at two places may be in each other's way."""
        x0, y0, x1, y1 = np.moveaxis(self.around[rows], -1, 0)
        left, top, right, bottom = np.moveaxis(self.around[others], -1, 0)
        near = (x0 <= right + REACH) & (x1 >= left - REACH) & (y0 <= bottom + REACH) & (y1 >= top - REACH)
        return np.asarray(near)

    def _conflicts(self, rows: Ints, others: Ints) -> Floats:
        return conflicts(self.boxes[rows], self.ends[rows], self.boxes[others], self.ends[others])
