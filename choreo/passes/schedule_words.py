"""What the schedule says to people about a phase that cannot be timed as asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from choreo.errors import Finding
from choreo.model.choreography import Phase


@dataclass(frozen=True, eq=False)
class Said:
    """The phase that is spoken of.

    Attributes
    ----------
    name : str
        As in ``phase 2 of shot "burst"``.
    phase : Phase
        Its numbers.

    """

    name: str
    phase: Phase


def shortened(said: Said, scale: float, parts: int) -> Finding:
    """The stagger had to give way."""
    stagger = said.phase.stagger
    what = (
        f"the stagger of {stagger} frames is shortened to {scale * stagger:.2g}" if stagger else "delays are shortened"
    )
    return Finding(
        code="stagger-shortened",
        severity="warning",
        what=f"In {said.name} {what}: {parts} parts do not fit the {said.phase.frames} frames otherwise.",
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


def empty_beats(said: Said, landings: Sequence[int], moves: Sequence[int]) -> Finding | None:
    """Beats on which nothing lands, where nothing can land on one of them; None where all can be reached.

    Beats may be all those of the music, so that one which can be reached and stays empty is no mistake; but where one
    is, the others are named too: their parts may have been meant to land there.

    Parameters
    ----------
    said : Said
        The phase.
    landings : sequence of int
        Frames of the phase on which parts arrive.
    moves : sequence of int
        Frames that each move takes.

    """
    empty = [beat for beat in said.phase.beats if beat not in landings]
    early = [beat for beat in empty if beat < min(moves, default=0)]
    if not early:
        return None
    why = (
        f"{_listed(early)} {'is' if len(early) == 1 else 'are'} too early for any move: the shortest takes "
        f"{min(moves)} frames, so that nothing lands before frame {min(moves)}."
    )
    if len(early) < len(empty):
        why += " As for the rest, parts land so that all starts together are nearest to what was asked."
    return Finding(
        code="empty-beat",
        severity="warning",
        what=f"In {said.name} no part lands on the beat{'' if len(empty) == 1 else 's'} {_listed(empty)}.",
        why=why,
        remedy=f"Shorten the moves, start the phase {min(moves) - early[0]} frames sooner (beats are then counted from "
        "there), or take the beat out.",
    )


def _listed(frames: Sequence[int]) -> str:
    *some, last = map(str, frames)
    return f"{', '.join(some)} and {last}" if some else last


def drifts_apart(said: Said, lead: str, parts: Sequence[str]) -> Finding:
    """A group's easing carries it beyond where the group comes apart."""
    return Finding(
        code="group-overshoots",
        what=f'In {said.name} the easing of the group around "{lead}" ({", ".join(parts)}) leaves the range 0 to 1.',
        why="Beyond the place where a group comes apart each part would go on along its own way.",
        remedy="Give the group an easing that stays between 0 and 1, in [[shot.phase.group]].",
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
        remedy='Write settle = "clip", which ends the move at first contact, or use an easing that stays between 0 and '
        '1, such as "ease-out" or "min-jerk".',
    )
