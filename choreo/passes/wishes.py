"""Hold the wishes of all phases against the removal order, and give phases that fit a first length.

In:  shots, Removal      Out: shots

Which groups there are and which part stays is known only now; the reader could not tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from choreo.errors import Finding, wrong_input
from choreo.model.choreography import MOST_FRAMES, Phase, Shot
from choreo.model.plan import Removal
from choreo.passes.schedule_items import list_items


def settle_wishes(shots: Sequence[Shot], removal: Removal) -> tuple[Shot, ...]:
    """Return the shots, phases with ``frames = "fit"`` as long as they would be if nobody were in anybody's way.

    Parameters
    ----------
    shots : sequence of Shot
        As read.
    removal : Removal
        Of the assembly.

    Returns
    -------
    tuple of Shot
        The same but for those lengths.

    Raises
    ------
    ChoreoError
        Exit 2: ``unknown-group`` with the groups there are, ``body-stays`` where a wish concerns the part that
        never starts or arrives, ``too-many-frames``.

    """
    findings = [
        finding
        for s, shot in enumerate(shots)
        for p, phase in enumerate(shot.phases)
        for finding in _wrong(phase, f'phase {p + 1} of shot "{shot.name}"', f"shot[{s}].phase[{p}]", removal)
    ]
    if findings:
        raise wrong_input(*findings)
    settled = tuple(
        replace(shot, phases=tuple(_first_length(phase, removal) if phase.fit else phase for phase in shot.phases))
        for shot in shots
    )
    total = sum(shot.frames for shot in settled)
    if total > MOST_FRAMES:
        raise wrong_input(_too_many(total))
    return settled


def _first_length(phase: Phase, removal: Removal) -> Phase:
    items = list_items(removal, phase, dict.fromkeys(removal.order, 0.0), {}, {})
    moves = [item.motion.move or 1 for item in items.items]
    last = max((sum(at) + move for at, move in zip(items.nominal(moves), moves, strict=True)), default=0)
    return replace(phase, frames=last + 1 + phase.least_hold)


def _wrong(phase: Phase, name: str, place: str, removal: Removal) -> list[Finding]:
    known = [frozenset(group.members) for group in removal.groups]
    found = [
        _unknown_group(group.parts, name, f"{place}.group[{index}].parts", removal)
        for index, group in enumerate(phase.groups)
        if frozenset(group.parts) not in known
    ]
    body = removal.body
    if any(body in names for names in phase.together):
        found.append(_body_stays(body, name, f"{place}.together"))
    if any(body in pair for pair in phase.waits):
        found.append(_body_stays(body, name, f"{place}.part"))
    return found


def _too_many(total: int) -> Finding:
    return Finding(
        code="too-many-frames",
        what=f"With the phases that fit the film has {total} frames; at most {MOST_FRAMES} are allowed.",
        remedy="Ask for shorter delays, stagger or moves, or split the film into several files.",
    )


def _unknown_group(parts: Sequence[str], name: str, place: str, removal: Removal) -> Finding:
    groups = "; ".join(", ".join(group.members) for group in removal.groups)
    why = f"These leave as one: {groups}." if groups else "In this assembly every part leaves on its own."
    return Finding(
        code="unknown-group",
        what=f"In {name} {', '.join(parts)} are no group: they do not leave as one.",
        place=place,
        why=why,
        remedy="List all parts of one of these groups, or set the parts one by one." if groups else "Take it out.",
    )


def _body_stays(body: str, name: str, place: str) -> Finding:
    return Finding(
        code="body-stays",
        what=f'In {name} a wish concerns "{body}", but that is the body: it stays where it is.',
        place=place,
        why="It never starts and never arrives, so nothing can start with it or wait for it.",
        remedy=f'Take "{body}" out of the wish.',
    )
