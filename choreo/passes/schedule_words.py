"""What the schedule says to people: why a part waits, and why there is no timing."""

from __future__ import annotations

from dataclasses import dataclass

from choreo.errors import Finding
from choreo.model.choreography import Phase
from choreo.motion.starts import Starts, shortest_phase


@dataclass(frozen=True, eq=False)
class Said:
    """The phase that is spoken of.

    Attributes
    ----------
    name : str
        As in ``phase 2 of shot "burst"``.
    phase : Phase
        Its numbers.
    parts : tuple of str
        In the order in which they start.

    """

    name: str
    phase: Phase
    parts: tuple[str, ...]


def reason(said: Said, question: Starts, starts: tuple[int, ...], asked: list[int], k: int) -> str:
    """Say why a part starts elsewhere than asked; empty where it does not."""
    moved = starts[k] - asked[k]
    if moved == 0:
        return ""
    way = "later" if moved > 0 else "earlier"
    size = f"{abs(moved)} frame{'s' if abs(moved) != 1 else ''} {way}"
    if k in question.choices:
        return f"{size}, to land on a beat"
    if starts[k] == question.wish[k]:
        return f"{size}: the phase is too short for the stagger"
    for i, j in question.lags:
        other = j if i == k else i if j == k else None
        if other is None:
            continue
        lag = starts[j] - starts[i]
        if any(lag in span for span in question.lags[i, j] if abs(lag) < said.phase.frames):
            return f"{size}, to stay clear of {said.parts[other]}"
    return f"{size}, so that others stay clear"


def shortened(said: Said, scale: float) -> Finding:
    """The stagger had to give way."""
    stagger = said.phase.stagger
    what = (
        f"the stagger of {stagger} frames is shortened to {scale * stagger:.2g}" if stagger else "delays are shortened"
    )
    return Finding(
        code="stagger-shortened",
        severity="warning",
        what=f"In {said.name} {what}: {len(said.parts)} parts do not fit the {said.phase.frames} frames otherwise.",
        remedy="Give the phase more frames, or ask for a shorter stagger, delay or move.",
    )


def move_too_long(said: Said, part: str, move: int) -> Finding:
    """One move alone is longer than its phase."""
    shorter = ', shorten "move", or write move = "fit"' if said.phase.motion(part).move is not None else ""
    return Finding(
        code="too-little-time",
        what=f'In {said.name} the move of "{part}" takes {move} frames and needs {move + 1} to be shown, '
        f"start and arrival included; the phase has {said.phase.frames}.",
        why="Stagger and delays may be shortened, a move never.",
        remedy=f"Give the phase {move + 1} frames or more{shorter}.",
    )


def no_beat(said: Said, part: str, move: int) -> Finding:
    """A part arrives too late for every beat."""
    beats = ", ".join(str(beat) for beat in said.phase.beats)
    return Finding(
        code="no-beat",
        what=f'In {said.name} "{part}" cannot arrive on any beat ({beats}): its move takes {move} frames.',
        why="A part that starts on the first frame of the phase arrives `move` frames later at the earliest.",
        remedy=f"Add a beat at frame {move} or later, or shorten the move.",
    )


def why_not(said: Said, question: Starts, moves: tuple[int, ...]) -> Finding:
    """Say which chain of parts needs how many frames, or that it is the beats."""
    found = shortest_phase(question, moves)
    if found is None:
        return _stuck(said)
    frames, starts = found
    if frames <= said.phase.frames:
        beats = ", ".join(str(beat) for beat in said.phase.beats)
        return Finding(
            code="no-beat",
            what=f"In {said.name} the parts cannot all arrive on the beats {beats} without colliding.",
            why=f"Without the beats {frames} frames would do; with them, parts that must pass each other are forced "
            "onto the same frames.",
            remedy="Add beats, move them apart, or shorten the moves.",
        )
    chain = _chain(question, starts, moves)
    links = ", then ".join(f'"{said.parts[k]}" (frames {starts[k]} to {starts[k] + moves[k]})' for k in chain)
    return Finding(
        code="too-little-time",
        what=f"In {said.name} the parts need {frames} frames; the phase has {said.phase.frames}.",
        why=f"This chain cannot be shorter, for each must wait until the one before it is out of its way: {links}.",
        remedy=f"Give the phase {frames} frames or more, or shorten the moves of the parts in the chain.",
    )


def _chain(question: Starts, starts: tuple[int, ...], moves: tuple[int, ...]) -> list[int]:
    """From the last arrival back along waits that cannot be shortened."""
    at = max(range(len(starts)), key=lambda k: (starts[k] + moves[k], -k))
    chain = [at]
    while starts[at] > 0:
        before = [
            i
            for (i, j), spans in question.lags.items()
            if j == at and i not in chain and any(starts[j] - starts[i] == low for low, _ in spans)
        ]
        before += [
            j
            for (i, j), spans in question.lags.items()
            if i == at and j not in chain and any(starts[j] - starts[i] == high for _, high in spans)
        ]
        if not before:
            break
        at = min(before, key=lambda k: starts[k])
        chain.append(at)
    return chain[::-1]


def _stuck(said: Said) -> Finding:
    return Finding(
        code="cannot-pass",
        what=f"In {said.name} no timing keeps the parts from meeting.",
        why="The waits that they owe each other contradict one another.",
        remedy="Pin one of the parts to another direction (along) or another travel (travel_mm).",
    )


def rests_in_way(said: Said, mover: str, other: str) -> Finding:
    """One part rests on another's route."""
    return Finding(
        code="rests-in-the-way",
        what=f'In {said.name} "{other}" rests where "{mover}" has to pass.',
        why=f'Whatever the timing, "{mover}" would run into it on the way.',
        remedy=f'Let "{other}" travel farther (travel_mm), or pin one of the two to another direction (along).',
    )


def cannot_pass(said: Said, a: str, b: str) -> Finding:
    """Two parts meet at every lag."""
    return Finding(
        code="cannot-pass",
        what=f'In {said.name} "{a}" and "{b}" meet whatever the time between them.',
        why="Their routes cross, or an easing carries one of them beyond its route's end into the other.",
        remedy="Use an easing without overshoot, or pin one of them to another direction (along) or travel.",
    )


def overshoot(said: Said, part: str, other: str, deep: float) -> Finding:
    """An easing drives a part into what never moves."""
    return Finding(
        code="overshoot-collides",
        what=f'In {said.name} the easing of "{part}" leaves the range 0 to 1 and drives it {deep:.2f} mm into '
        f'"{other}".',
        why="Beyond 1, or below 0, an easing carries the part past an end of its route, and there the way is not free.",
        remedy='Use an easing that stays between 0 and 1, such as "ease-out" or "min-jerk".',
    )
