"""What the items of one phase owe each other: each debt a rule that can be kept, broken, or left out.

Rules of the tree (a group moves before what comes off it, or after), wishes of the designer (together, after,
before), and for each pair of parts that may meet the lags and clauses that keep them apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from choreo.model.choreography import Phase
from choreo.motion.starts_question import Clause, Spans, Starts, allows, common_lags, keeps
from choreo.passes.schedule_items import Items

Lags = Mapping[tuple[int, int], Spans]


@dataclass(frozen=True)
class Rule:
    """One thing that has to be kept.

    Attributes
    ----------
    kind : str
        ``clear`` (two parts do not collide), ``group``, ``wait``, ``together``; ``beats``, ``hold`` and ``length``
        rule over all starts and hold no lags.
    parts : tuple of str
        Whom it concerns; of a wait, the one that waits and the one waited for.
    lags, clauses
        As in `Starts`.

    """

    kind: str
    parts: tuple[str, ...] = ()
    lags: Lags = field(default_factory=dict)
    clauses: tuple[Clause, ...] = ()

    def kept(self, starts: Sequence[int]) -> bool:
        """Whether these starts keep it."""
        return all(allows(spans, starts[j] - starts[i]) for (i, j), spans in self.lags.items()) and all(
            keeps(clause, starts) for clause in self.clauses
        )

    @property
    def hopeless(self) -> bool:
        """Whether no starts keep it."""
        return any(not spans for spans in self.lags.values()) or not all(self.clauses)

    def concerns(self, k: int) -> bool:
        """Whether an item's start has a say in it."""
        return any(k in pair for pair in self.lags) or any(
            k in literal[:2] for clause in self.clauses for literal in clause
        )


BEATS, HOLD, LENGTH = Rule("beats"), Rule("hold"), Rule("length")


def tree_rules(items: Items, moves: Sequence[int], horizon: int) -> list[Rule]:
    """Return the rules that a group and what comes off it do not move at once, and in the right order."""
    rules = []
    for k, item in enumerate(items.items):
        if item.holder is not None:
            first, second = (k, item.holder) if items.backward else (item.holder, k)
            parts = (item.lead, items.items[item.holder].lead)
            rules.append(Rule("group", parts, _after(first, second, moves, horizon)))
    return rules


def wish_rules(items: Items, phase: Phase, moves: Sequence[int], horizon: int) -> list[Rule]:
    """Return what the designer asked of single parts."""
    moving = {item.lead for item in items.items}
    rules = []
    for names in phase.together:
        known = [name for name in names if name in moving]
        lags: dict[tuple[int, int], Spans] = {}
        for other in known[1:]:
            i, j = items.led_by(known[0]), items.led_by(other)
            if i != j:
                lags[min(i, j), max(i, j)] = ((0, 0),)
        rules.append(Rule("together", tuple(known), lags))
    for part, other in phase.waits:
        if part in moving and other in moving:
            lag = _after(items.led_by(other), items.led_by(part), moves, horizon)
            rules.append(Rule("wait", (part, other), lag))
    return rules


def _after(first: int, second: int, moves: Sequence[int], horizon: int) -> Lags:
    """The second starts when the first has arrived, or later."""
    if first < second:
        return {(first, second): ((moves[first], horizon),)}
    return {(second, first): ((-horizon, -moves[first]),)}


def asked_with(question: Starts, rules: Sequence[Rule]) -> Starts:
    """Return the question with these rules in it; beats, hold and length are left as they are."""
    lags: dict[tuple[int, int], Spans] = {}
    clauses: dict[Clause, None] = {}
    for rule in rules:
        for pair, spans in rule.lags.items():
            lags[pair] = common_lags(lags[pair], spans) if pair in lags else spans
        clauses.update(dict.fromkeys(rule.clauses))
    return replace(question, lags=dict(sorted(lags.items())), clauses=tuple(clauses))
