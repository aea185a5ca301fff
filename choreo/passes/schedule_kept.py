"""What the schedule does with moves that are approved already: they are timed as they stand, the rest around them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from choreo.errors import Finding, no_solution
from choreo.model.choreography import PartMotion, Phase
from choreo.model.plan import Move
from choreo.passes.schedule_items import Items, Wish

_SAME = 1e-9
"""Of progress; spans that agree to this are the same stretch."""


@dataclass(frozen=True)
class Fixed:
    """Approved moves of one phase, starts counted in the phase."""

    moves: Mapping[str, tuple[Move, ...]]
    """Part id to its moves, in the order of time."""
    since: int
    """First frame of the phase in the shot."""

    def phase(self, phase: Phase) -> Phase:
        """Return the phase with the easing and frames that were approved, for the parts that are kept."""
        motions = {
            part: PartMotion(own[0].easing, own[-1].start + own[-1].frames - own[0].start)
            for part, own in self.moves.items()
        }
        groups = tuple(group for group in phase.groups if not any(part in motions for part in group.parts))
        together = tuple(names for names in phase.together if not set(names) <= set(motions))
        waits = tuple(pair for pair in phase.waits if not set(pair) <= set(motions))
        parts = MappingProxyType({**phase.parts, **motions})
        return replace(phase, parts=parts, groups=groups, together=together, waits=waits)

    def pinned(self, items: Items) -> dict[int, int]:
        """Return the start of each item that is kept, in frames of the phase."""
        return {
            k: self.moves[item.lead][0].start - self.since
            for k, item in enumerate(items.items)
            if item.lead in self.moves
        }

    def wished(self, items: Items) -> Items:
        """Return the items with what is kept asking for the start that it has."""
        pins = self.pinned(items)
        wishes = tuple(Wish(None, pins[k]) if k in pins else wish for k, wish in enumerate(items.wishes))
        return replace(items, wishes=wishes)

    def checked(self, made: Sequence[Move]) -> list[Move]:
        """Return the moves with the approved ones in place of their likes.

        Raises
        ------
        ChoreoError
            Exit 1, ``lock-does-not-fit``: an approved move is not one that the product allows as it is now.

        """
        found: list[Move] = []
        other: dict[str, Move] = {}
        for move in made:
            if move.part not in self.moves:
                found.append(move)
            elif not any(_alike(move, approved) for approved in self.moves[move.part]):
                other.setdefault(move.part, move)
        if other:
            raise no_solution(*[_unlike(part) for part in other])
        return [*found, *(move for own in self.moves.values() for move in own)]


def kept_moves(kept: Sequence[Move], phase: int, since: int) -> Fixed:
    """Return the approved moves of one phase."""
    moves: dict[str, list[Move]] = {}
    for move in sorted(kept, key=lambda move: move.start):
        if move.phase == phase:
            moves.setdefault(move.part, []).append(move)
    return Fixed({part: tuple(own) for part, own in moves.items()}, since)


def kept_stops(kept: Sequence[Move], lengths: Mapping[str, float]) -> dict[str, tuple[float, ...]]:
    """Return the ways at which approved moves come to a stop on their route, mm, ascending."""
    ends: dict[str, set[float]] = {}
    for move in kept:
        inside = [end for end in move.span if _SAME < end < 1 - _SAME]
        ends.setdefault(move.part, set()).update(end * lengths[move.part] for end in inside)
    return {part: tuple(sorted(ways)) for part, ways in ends.items()}


def _alike(one: Move, other: Move) -> bool:
    same = (one.start, one.frames, one.easing, one.kind) == (other.start, other.frames, other.easing, other.kind)
    return same and all(abs(a - b) <= _SAME for a, b in zip(one.span, other.span, strict=True))


def _unlike(part: str) -> Finding:
    return Finding(
        code="lock-does-not-fit",
        what=f'The approved moves of "{part}" are not ones that the product allows as it is now.',
        why="It leaves in another group, or in other stretches, than when it was approved.",
        remedy=f'Take "{part}" out of the lock, so that it is solved anew.',
    )
