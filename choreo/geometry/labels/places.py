"""Where labels go: close to what they name, over nothing, never over each other.

Each label tries places around its shape and takes the cheapest, conflicts with other labels counted in; then,
a few times over, each moves to where it is cheapest while the others stay. One that fares badly looks over the
whole room, and may take one of the places it likes best if the others can then make do. Ties go to the first place
tried, so the same picture always gets the same labels.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shapely.geometry.base import BaseGeometry

from choreo.geometry.labels.board import Board
from choreo.geometry.labels.offers import Box, Table, Wanted
from choreo.geometry.labels.rules import APART, LEADER_ON_LABEL

__all__ = ["Box", "Placed", "Wanted", "place_labels"]

_ROUNDS = 4
_LIKED, _RANKS = 8, 5
"""So many places of a label that fares badly are tried, each so many ranks from the next."""
_MANY = 40
"""Of more labels only the place that is liked best is tried: trying more would take seconds."""
_BAD = 500.0
_FAR = 60.0
"""From this cost on it is worth looking for a place in the whole room."""
_UNPLACED = 10_000.0
_FROM_GRID = 200
"""So many places of the whole room are worth asking about."""


@dataclass(frozen=True)
class Placed:
    """Where a label went, and the line that leads from its edge to what it names."""

    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]]


def place_labels(
    wanted: Sequence[Wanted],
    room: Box,
    lines: Sequence[BaseGeometry] = (),
    shapes: Sequence[BaseGeometry] = (),
) -> list[Placed | None]:
    """Place labels so that none covers another, a shape, or the leader of another, and none leaves the room.

    Parameters
    ----------
    wanted : sequence of Wanted
        In the order in which ties are broken.
    room : (left, top, right, bottom)
        What labels stay inside.
    lines : sequence of LineString
        What labels would rather not stand on.
    shapes : sequence of Polygon or MultiPolygon
        What else labels keep clear of.

    Returns
    -------
    list
        One for each label; None where there is no room for it.

    """
    if not wanted:
        return []
    inner = (room[0] + APART, room[1] + APART, room[2] - APART, room[3] - APART)
    seats = _Seats(Table(wanted, inner, lines, shapes), len(wanted))
    seats.settle()
    seats.improve()
    return seats.places()


class _Seats:
    """The search: who sits where, and who has no reason to look around."""

    def __init__(self, table: Table, count: int) -> None:
        """Seat one label after the other, those with the least choice first."""
        self.table = table
        offers = [table.near(index) for index in range(count)]
        self.order = sorted(range(count), key=lambda index: (len(offers[index].cost), index))
        self.board = Board(offers, _FROM_GRID)
        self.wide: set[int] = set()
        self.calm = [False] * count
        """Labels that would stay where they are if asked again: nothing has changed for them since."""
        for index in self.order:
            self._move(index, self.board.cheapest(index))

    def settle(self, frozen: int | None = None) -> None:
        """Let each label move to where it is cheapest until all are content, or the rounds are over."""
        for _ in range(_ROUNDS):
            moved = False
            for index in self.order:
                if index == frozen or self.calm[index]:
                    continue
                self._widen(index)
                moved |= self._move(index, self.board.cheapest(index))
                self.calm[index] = True
            if not moved:
                break

    def improve(self) -> None:
        """Give those that fare badly a place they like and see whether the others can make do."""
        best = self._energy()
        for index in self.order:
            if self._suffers(index) < _BAD:
                continue
            for place in self._liked(index):
                if self._suffers(index) < _BAD:
                    break
                before = [self.board.place(other) for other in self.order]
                self._move(index, place)
                self.settle(frozen=index)
                self.settle()
                energy = self._energy()
                if energy < best:
                    best = energy
                else:
                    for other, old in zip(self.order, before, strict=True):
                        self._move(other, old)

    def places(self) -> list[Placed | None]:
        """Leave out labels until none stands on another or on the leader of another."""
        for index in reversed(self.order):
            if self.board.at[index] is not None and self.board.worst(index) >= LEADER_ON_LABEL:
                self._move(index, None)
        return [None if row is None else self._placed(row) for row in self.board.at]

    def _placed(self, row: int) -> Placed:
        box, ends = self.board.boxes[row].tolist(), self.board.ends[row].tolist()
        return Placed((box[0], box[1], box[2], box[3]), ((ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])))

    def _move(self, index: int, place: int | None) -> bool:
        """Let a label take a place, and return whether it is another one."""
        if place == self.board.place(index):
            return False
        for other in (index, *self.board.move(index, place)):
            self.calm[other] = False
        return True

    def _liked(self, index: int) -> list[int]:
        """The place a label likes best, and a few that differ more from it than their neighbours do."""
        count = _LIKED if len(self.order) <= _MANY else 1
        return [int(place) for place in self.board.liked(index)[: count * _RANKS : _RANKS]]

    def _suffers(self, index: int) -> float:
        return self.board.suffers(index, _UNPLACED)

    def _energy(self) -> float:
        """What all places cost, each conflict counted from both sides."""
        return sum(self.board.costs(_UNPLACED))

    def _widen(self, index: int) -> None:
        """Look over the whole room for a label that has no place or a bad one."""
        if index not in self.wide and self._suffers(index) > _FAR:
            self.wide.add(index)
            self.board.add(index, self.table.everywhere(index).cheapest(_FROM_GRID))
