"""What is timed: steps of the removal, each of which moves its members as one over a stretch of their routes.

A part that leaves in a group, and then out of it, is moved by several items; what it waits for between two of
them, and which start the designer asks for, is told here. No collisions are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from choreo.model.choreography import GroupMotion, PartMotion, Phase
from choreo.model.plan import Removal, RemovalStep
from choreo.motion.walk import Span, Walk

_SAME = 1e-9
"""mm; a stop this near to the end of a stretch is its end."""


@dataclass(frozen=True)
class Wish:
    """When an item should start.

    Attributes
    ----------
    anchor : int or None
        The item from whose arrival on it counts, wherever that comes to lie; None: from the first frame.
    slack : int
        Stagger and delay, frames; they may be shortened.

    """

    anchor: int | None
    slack: int


@dataclass(frozen=True)
class Item:
    """One move of one or more parts.

    Attributes
    ----------
    lead : str
        The part that the removal step names; alone, or the one that the others of its group come off.
    parts : tuple of str
        All that move, in the order in which they come free.
    motion : PartMotion
        Easing and frames.
    ways : mapping of part to (low, high)
        The stretch of its route, mm.
    stops : tuple of float
        Ways of the lead within it at which it stops, mm, ascending.
    holder : int or None
        The item of the group that this one is part of.

    """

    lead: str
    parts: tuple[str, ...]
    motion: PartMotion
    ways: Mapping[str, Span]
    stops: tuple[float, ...]
    holder: int | None


@dataclass(frozen=True)
class Items:
    """All items of one phase, in the order in which they should start; wishes likewise."""

    items: tuple[Item, ...]
    wishes: tuple[Wish, ...]
    backward: bool
    _of: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def of(self, part: str) -> tuple[int, ...]:
        """Return the items that move a part, in the order of time."""
        return self._of.get(part, ())

    def outer(self, part: str) -> int:
        """Return the item that ends, or begins, where the part is at rest."""
        return self._of[part][0 if self.backward else -1]

    def led_by(self, part: str) -> int:
        """Return the item that a part leads: the one that rules about it speak of."""
        return next(k for k, item in enumerate(self.items) if item.lead == part)

    def walk(self, k: int, part: str, frames: int) -> Walk:
        """Return what one part does in one item."""
        item, own = self.items[k], self.of(part)
        low, high = item.ways[part]
        return Walk(
            high - low, frames, item.motion.easing, self.backward, low, item.stops, k == own[0], k == own[-1]
        )  # fmt: skip

    def nominal(self, moves: Sequence[int]) -> list[tuple[int, int]]:
        """Return, an item, the frames of moves and of stagger and delays before the start it asks for."""
        found: dict[int, tuple[int, int]] = {}

        def of(k: int) -> tuple[int, int]:
            if k not in found:
                wish = self.wishes[k]
                fixed, slack = of(wish.anchor) if wish.anchor is not None else (0, 0)
                found[k] = fixed + self.fixed(k, moves), slack + wish.slack
            return found[k]

        return [of(k) for k in range(len(self.items))]

    def fixed(self, k: int, moves: Sequence[int]) -> int:
        """Return the frames of the anchor's move, which nothing shortens."""
        anchor = self.wishes[k].anchor
        return 0 if anchor is None else moves[anchor]


def list_items(
    removal: Removal,
    phase: Phase,
    lengths: Mapping[str, float],
    shared_mm: Mapping[str, Sequence[float]],
    stops_mm: Mapping[str, Sequence[float]],
) -> Items:
    """Return the items of a phase with their wishes.

    An explode starts the steps in the order of the removal, each `stagger` frames after the one before; the parts
    of a group start from the group's arrival on, by the group's own stagger. An assemble goes in reverse: the
    parts of a group start at the group's turn, and the group when the last of them should have arrived.

    Parameters
    ----------
    removal : Removal
        Steps, groups inside steps.
    phase : Phase
        Explode or assemble.
    lengths : mapping of part to float
        Of its route, mm.
    shared_mm, stops_mm
        See `plan_schedule`.

    """
    tree = list(_walk_tree(removal.steps, None, ()))
    lines = {step.part: (*above, step) for step, _, above in tree}
    ways = {part: _marks(part, line, lengths[part], shared_mm.get(part, ())) for part, line in lines.items()}
    items = []
    for step, holder, above in tree:
        depth = len(above)
        spans = {part: (ways[part][depth], ways[part][depth + 1]) for part in step.members}
        low, high = spans[step.part]
        stops = tuple(stop for stop in stops_mm.get(step.part, ()) if low + _SAME < stop < high - _SAME)
        items.append(Item(step.part, step.members, motion_of(phase, step), spans, stops, holder))
    wishes = _explode_wishes(removal, phase)
    backward = phase.kind == "assemble"
    if backward:
        last = len(items) - 1
        items = [_renumbered(item, last) for item in reversed(items)]
        wishes = _assemble_wishes(removal, phase)
    of: dict[str, list[int]] = {}
    for k, item in enumerate(items):
        for part in item.parts:
            of.setdefault(part, []).append(k)
    return Items(tuple(items), tuple(wishes), backward, {part: tuple(own) for part, own in of.items()})


def group_motion(phase: Phase, step: RemovalStep) -> GroupMotion | None:
    """Return what the phase says about a group, if anything."""
    members = set(step.members)
    return next((group for group in phase.groups if set(group.parts) == members), None)


def motion_of(phase: Phase, step: RemovalStep) -> PartMotion:
    """Return how a step moves: as the phase says for its group, else for the part it names, else by default."""
    group = group_motion(phase, step) if step.inner is not None else None
    return group.motion if group is not None else phase.motion(step.part)


def _walk_tree(
    steps: Sequence[RemovalStep], holder: int | None, above: tuple[RemovalStep, ...], first: int = 0
) -> Iterator[tuple[RemovalStep, int | None, tuple[RemovalStep, ...]]]:
    """Each step with the number of the one it is in and all it is in, depth first."""
    number = first
    for step in steps:
        yield step, holder, above
        if step.inner is not None:
            yield from _walk_tree(step.inner.steps, number, (*above, step), number + 1)
        number += _size(step)


def _size(step: RemovalStep) -> int:
    return 1 + sum(_size(inner) for inner in step.inner.steps) if step.inner is not None else 1


def _marks(part: str, line: tuple[RemovalStep, ...], length: float, shared: Sequence[float]) -> list[float]:
    """Ways at which the items of a part begin and end."""
    between = [float(shared[k]) if k < len(shared) else 0.0 for k in range(len(line) - 1)]
    assert line[-1].part == part
    return [0.0, *between, length]


def _renumbered(item: Item, last: int) -> Item:
    holder = None if item.holder is None else last - item.holder
    return Item(item.lead, item.parts, item.motion, item.ways, item.stops, holder)


def _stagger(phase: Phase, step: RemovalStep) -> int:
    group = group_motion(phase, step)
    return phase.stagger if group is None or group.stagger is None else group.stagger


def _explode_wishes(removal: Removal, phase: Phase) -> list[Wish]:
    wishes: list[Wish] = []

    def ask(steps: Sequence[RemovalStep], anchor: int | None, stagger: int) -> None:
        for turn, step in enumerate(steps):
            wishes.append(Wish(anchor, turn * stagger + motion_of(phase, step).delay))
            if step.inner is not None:
                ask(step.inner.steps, len(wishes) - 1, _stagger(phase, step))

    ask(removal.steps, None, phase.stagger)
    return wishes


def _assemble_wishes(removal: Removal, phase: Phase) -> list[Wish]:
    wishes: list[Wish] = []

    def ask(steps: Sequence[RemovalStep], since: int, stagger: int) -> None:
        for turn, step in enumerate(reversed(steps)):
            at, delay = since + turn * stagger, motion_of(phase, step).delay
            if step.inner is not None and step.inner.steps:
                ask(step.inner.steps, at, _stagger(phase, step))
                wishes.append(Wish(len(wishes) - 1, delay))
            else:
                wishes.append(Wish(None, at + delay))

    ask(removal.steps, 0, phase.stagger)
    return wishes
