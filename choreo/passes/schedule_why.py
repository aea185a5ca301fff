"""Why a part does not start when asked, and which rules leave no timing at all.

Nothing here is guessed. A departure is explained by rules that the neighbouring starts would break: with
everything else where it is, they leave no start nearer to the wish. An impossible phase is explained by rules
none of which can be spared: without any one of them the others could be kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from choreo.errors import Finding
from choreo.motion.conflict import conflict
from choreo.motion.starts import has_starts, shortest_phase
from choreo.motion.starts_question import Starts
from choreo.passes.schedule_items import Items
from choreo.passes.schedule_meetings import Meetings
from choreo.passes.schedule_rules import BEATS, HOLD, LENGTH, Rule, asked_with
from choreo.passes.schedule_words import Said

_FOLLOWERS = Rule("followers")
_LAST_NAMED = ("beats", "length", "hold", "together")
"""Kinds that are named only where no other rule stands in the way."""


@dataclass(frozen=True, eq=False)
class Told:
    """One phase with the rules that decided it."""

    said: Said
    items: Items
    moves: tuple[int, ...]
    question: Starts
    """With all of `rules`."""
    rules: tuple[Rule, ...]
    horizon: int

    def with_rules(self, rules: Sequence[Rule]) -> Told:
        """Return the same phase under other rules."""
        return replace(self, rules=tuple(rules), question=asked_with(self.question, rules))


def reason(told: Told, starts: tuple[int, ...], k: int, asked: int) -> str:
    """Say why an item starts elsewhere than asked; empty where it does not."""
    moved = starts[k] - asked
    if moved == 0:
        return ""
    way = "later" if moved > 0 else "earlier"
    size = f"{abs(moved)} frame{'s' if abs(moved) != 1 else ''} {way}"
    wish = told.question.wished(starts)[k]
    why = [_because(told, rule, k, starts[k]) for rule in _in_the_way(told, starts, k, wish)]
    short = ": the phase is too short for the stagger" if wish != asked else ""
    return f"{size}{short}" + (f", {' and '.join(dict.fromkeys(why))}" if why else "")


def _in_the_way(told: Told, starts: tuple[int, ...], k: int, wish: int) -> list[Rule]:
    """Rules of which every start between this one and the wish breaks one, named from the nearest on."""
    step = 1 if wish > starts[k] else -1
    named: dict[int, Rule] = {}
    for start in range(starts[k] + step, wish + step, step):
        broken = _broken(told, (*starts[:k], start, *starts[k + 1 :]), k)
        if not any(id(rule) in named for rule in broken):
            named[id(broken[0])] = broken[0]
    return list(named.values())


def _broken(told: Told, starts: tuple[int, ...], k: int) -> list[Rule]:
    """What an item's start breaks, the rules that say most first."""
    found = [rule for rule in told.rules if rule.concerns(k) and not rule.kept(starts)]
    if k in told.question.choices and starts[k] not in told.question.choices[k]:
        found.append(BEATS)
    if starts[k] > told.question.latest[k]:
        found.append(HOLD if starts[k] <= told.question.latest[k] + told.said.phase.least_hold else LENGTH)
    found.sort(key=lambda rule: _LAST_NAMED.index(rule.kind) + 1 if rule.kind in _LAST_NAMED else 0)
    # Nothing but its own followers: each frame nearer costs them as much as it gains.
    return found or [_FOLLOWERS]


def _because(told: Told, rule: Rule, k: int, start: int) -> str:
    item = told.items.items[k]
    match rule.kind:
        case "clear":
            mine, other = rule.parts if k in told.items.of(rule.parts[0]) else rule.parts[::-1]
            return f"to stay clear of {other}" if len(item.parts) == 1 else f"to keep {mine} clear of {other}"
        case "wait" | "group":
            sooner, later = _sooner_later(told, rule)
            return f"waits until {sooner} has arrived" if item.lead == later else f"to arrive before {later} starts"
        case "together":
            return f"to start with {_listed([part for part in rule.parts if part != item.lead])}"
        case "beats":
            return f"to land on the beat at {start + told.moves[k]}"
        case "hold":
            return f"to leave {_frames(told.said.phase.least_hold)} of hold"
        case "length":
            return "to arrive before the phase ends"
        case _:
            return "so that what follows it starts as asked"


def _sooner_later(told: Told, rule: Rule) -> tuple[str, str]:
    """Of a wait, or of a group and what comes off it: who arrives, who starts then."""
    one, other = rule.parts
    return (one, other) if rule.kind == "group" and told.items.backward else (other, one)


def why_not(told: Told, meetings: Meetings, *, fit: bool) -> Finding:
    """Say which rules contradict each other, and what would do.

    The rules named are irreducible: without any one of them the others can be kept. There may be a smaller set.
    """
    phase = told.said.phase
    limits = [] if fit else [LENGTH]
    limits += [HOLD] if phase.least_hold and not fit else []
    limits += [BEATS] if phase.beats else []
    found = conflict([*told.rules, *limits], lambda rules: has_starts(_limited(told, rules)))
    need = _shortest(told, meetings, beats=True)
    if BEATS in found:
        return _off_beat(told, found, need, _shortest(told, meetings, beats=False))
    if LENGTH in found and need is not None:
        return _too_short(told, found, *need)
    return _stuck(told, found)


def _limited(told: Told, rules: Sequence[Rule]) -> Starts:
    """The question with these rules only."""
    question = asked_with(told.question, [rule for rule in rules if rule.lags or rule.clauses])
    if BEATS not in rules:
        question = replace(question, choices={})
    spare = 0 if HOLD in rules else told.said.phase.least_hold
    if LENGTH not in rules:
        return replace(question, latest=(told.horizon,) * len(told.moves))
    return replace(question, latest=tuple(latest + spare for latest in question.latest))


def _shortest(told: Told, meetings: Meetings, *, beats: bool) -> tuple[int, tuple[int, ...], Told] | None:
    """The frames that would do, hold included, the starts, and the rules that decide it."""
    while True:
        found = shortest_phase(told.question, told.moves, told.horizon, choices=beats)
        if found is None:
            return None
        frames, starts = found
        settled = {(r.parts[0], r.parts[1]): r for r in told.rules if r.kind == "clear"}
        wrong = meetings.broken(starts, settled)
        if not wrong:
            return frames + told.said.phase.least_hold, starts, told
        told = told.with_rules([*told.rules, *(meetings.exact(*pair) for pair in wrong)])


def _too_short(told: Told, found: Sequence[Rule], need: int, starts: tuple[int, ...], decided: Told) -> Finding:
    chain = _chain(decided, starts)
    links = ", then ".join(
        f'"{told.items.items[k].lead}" (frames {starts[k]} to {starts[k] + told.moves[k]})' for k in chain
    )
    why = f"These cannot all be kept: {_rules(told, found)}."
    if len(chain) > 1:
        why += f" The longest chain of waits, as short as can be: {links}."
    return Finding(
        code="too-little-time",
        what=f"In {told.said.name} the parts need {need} frames; the phase has {told.said.phase.frames}.",
        why=why,
        remedy=f"Give the phase {need} frames or more, shorten the moves of these parts, or drop a wish named above.",
    )


def _off_beat(
    told: Told,
    found: Sequence[Rule],
    with_beats: tuple[int, tuple[int, ...], Told] | None,
    without: tuple[int, tuple[int, ...], Told] | None,
) -> Finding:
    beats = ", ".join(str(beat) for beat in told.said.phase.beats)
    why = f"These cannot all be kept: {_rules(told, found)}."
    if without is not None:
        why += f" Without the beats {without[0]} frames would do."
    more = f"Give the phase {with_beats[0]} frames or more, add" if with_beats is not None else "Add"
    return Finding(
        code="no-beat",
        what=f"In {told.said.name} the parts cannot all arrive on the beats {beats}.",
        why=why,
        remedy=f"{more} beats, move them apart, or shorten the moves.",
    )


def _stuck(told: Told, found: Sequence[Rule]) -> Finding:
    if any(rule.kind in ("wait", "together") for rule in found):
        return Finding(
            code="rules-conflict",
            what=f"In {told.said.name} the wishes contradict each other, or the geometry, however long the phase.",
            why=f"These cannot all be kept: {_rules(told, found)}.",
            remedy="Drop one of the wishes named above.",
        )
    return Finding(
        code="cannot-pass",
        what=f"In {told.said.name} no timing keeps the parts from meeting.",
        why=f"These cannot all be kept: {_rules(told, found)}.",
        remedy="Pin one of the parts to another direction (along) or another travel (travel_mm).",
    )


def _rules(told: Told, rules: Sequence[Rule]) -> str:
    return "; ".join(_rule(told, rule) for rule in rules)


def _rule(told: Told, rule: Rule) -> str:
    phase = told.said.phase
    match rule.kind:
        case "clear":
            return f'"{rule.parts[0]}" and "{rule.parts[1]}" must not meet'
        case "wait":
            return f'"{rule.parts[0]}" waits until "{rule.parts[1]}" has arrived'
        case "group":
            sooner, later = _sooner_later(told, rule)
            return f'"{later}" moves after "{sooner}", for they belong to one group'
        case "together":
            return _listed([f'"{part}"' for part in rule.parts]) + " start together"
        case "beats":
            return f"every arrival is on a beat ({', '.join(str(beat) for beat in phase.beats)})"
        case "hold":
            return f"nothing moves in the last {_frames(phase.least_hold)}"
        case _:
            return f"the phase has {_frames(phase.frames)}"


def _chain(told: Told, starts: tuple[int, ...]) -> list[int]:
    """From the last arrival back along waits that cannot be shortened."""
    at = max(range(len(starts)), key=lambda k: (starts[k] + told.moves[k], -k))
    chain = [at]
    while starts[at] > 0:
        nearer = (*starts[:at], starts[at] - 1, *starts[at + 1 :])
        before = [
            k
            for rule in told.rules
            if rule.concerns(at) and not rule.kept(nearer)
            for k in range(len(starts))
            if k not in chain and rule.concerns(k)
        ]
        if not before:
            break
        at = min(before, key=lambda k: (starts[k], k))
        chain.append(at)
    return chain[::-1]


def _listed(names: Sequence[str]) -> str:
    return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else "".join(names)


def _frames(count: int) -> str:
    return "1 frame" if count == 1 else f"{count} frames"
