"""What a phase asks of single parts and groups: who starts together, who waits for whom, and what contradicts that.

Only what can be seen without geometry: unknown names, rings of waits, wishes that no beat can meet. Which groups
there are is known only once the removal order is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from choreo.model.choreography import GroupMotion, PartMotion
from choreo.read.easings import settled_text
from choreo.read.names import entries, note_unknown
from choreo.read.notes import Notes, clipped
from choreo.read.place import Place

Edge = tuple[str, str, Place]
"""(the part that waits, the part it waits for, where that is said)."""


def check_wishes(
    notes: Notes, place: Place, phase: Mapping[str, Any], ids: tuple[str, ...] | None, defaults: Mapping[str, Any]
) -> None:
    """Note what is wrong with the wishes of one phase.

    Parameters
    ----------
    notes : Notes
        Of the choreography.
    place : tuple
        Of the phase.
    phase : mapping
        As parsed; what the schema refuses is passed over.
    ids : tuple of str or None
        All part ids, where they are known.
    defaults : mapping
        Of the film, filled in.

    """
    sets = _sets(notes, place, phase, ids)
    edges = _edges(notes, place, phase, ids)
    _check_groups(notes, place, phase, ids)
    if notes.sound(*place, "together") and notes.sound(*place, "part"):
        _check_order(notes, sets, edges)
    if "beats" in phase and all(notes.sound(*place, key) for key in ("beats", "move", "part", "together")):
        _check_shared_beats(notes, sets, phase, defaults)
    _check_room(notes, place, phase)
    if phase.get("frames") == "fit":
        _check_fit(notes, place, phase, defaults)


def _names(
    notes: Notes, place: Place, table: Mapping[str, Any], key: str | int, ids: tuple[str, ...] | None
) -> list[str]:
    """The parts of a list, unknown and repeated ones noted."""
    here = (*place, key)
    if not notes.sound(*here):
        return []
    found: list[str] = []
    for index, name in enumerate(table[key]):  # type: ignore[index]
        if name in found:
            what = f"`{clipped(name)}` is listed twice."
            notes.add("repeated-part", (*here, index), what, remedy="List each part once.")
        elif ids is None or not note_unknown(notes, (*here, index), name, ids):
            found.append(name)
    return found


def _sets(
    notes: Notes, place: Place, phase: Mapping[str, Any], ids: tuple[str, ...] | None
) -> list[tuple[Place, list[str]]]:
    listed = entries(phase, "together")
    here = (*place, "together")
    return [
        ((*here, index), _names(notes, here, dict(enumerate(listed)), index, ids))  # type: ignore[arg-type]
        for index in range(len(listed))
        if isinstance(listed[index], list)
    ]


def _edges(notes: Notes, place: Place, phase: Mapping[str, Any], ids: tuple[str, ...] | None) -> list[Edge]:
    edges: list[Edge] = []
    for part, motion in _motions(phase):
        for key in ("after", "before"):
            here = (*place, "part", part)
            if key not in motion:
                continue
            for index, other in enumerate(_names(notes, here, motion, key, ids)):
                at = (*here, key, index)
                if other == part:
                    what = f"`{clipped(part)}` cannot start {key} itself."
                    notes.add("waits-for-itself", at, what, remedy="Name another part, or drop the key.")
                else:
                    edges.append((part, other, at) if key == "after" else (other, part, at))
    return edges


def _motions(phase: Mapping[str, Any]) -> list[tuple[str, Mapping[str, Any]]]:
    motions = phase.get("part")
    if not isinstance(motions, dict):
        return []
    return [(name, motion) for name, motion in motions.items() if isinstance(motion, dict)]


def _check_order(notes: Notes, sets: Sequence[tuple[Place, list[str]]], edges: Sequence[Edge]) -> None:
    """Note waits that go round in a ring; parts that start together count as one."""
    same: dict[str, str] = {}

    def chief(name: str) -> str:
        while name in same:
            name = same[name]
        return name

    for _, names in sets:
        for other in names[1:]:
            if chief(other) != chief(names[0]):
                same[chief(other)] = chief(names[0])
    ahead: dict[str, list[tuple[str, Edge]]] = {}
    for edge in edges:
        later, sooner, at = edge
        back = _path(ahead, chief(sooner), chief(later))
        if back is None:
            ahead.setdefault(chief(later), []).append((chief(sooner), edge))
            continue
        ring = [f"`{clipped(a)}` waits for `{clipped(b)}`" for a, b, _ in (edge, *back)]
        together = " (counting parts that start together as one)" if same else ""
        what = f"These waits go round in a ring: {', '.join(ring)}{together}."
        notes.add("wait-ring", at, what, "None of them could ever start.", "Drop one of the waits, or the `together`.")


def _path(ahead: Mapping[str, list[tuple[str, Edge]]], start: str, goal: str) -> list[Edge] | None:
    """Waits that lead from one part to another, or None."""
    reached: dict[str, list[Edge]] = {start: []}
    queue = [start]
    for at in queue:
        if at == goal:
            return reached[at]
        for after, edge in ahead.get(at, []):
            if after not in reached:
                reached[after] = [*reached[at], edge]
                queue.append(after)
    return None


def _check_shared_beats(
    notes: Notes, sets: Sequence[tuple[Place, list[str]]], phase: Mapping[str, Any], defaults: Mapping[str, Any]
) -> None:
    """Note parts that start together and then cannot all arrive on beats."""
    beats = [int(beat) for beat in phase["beats"]]
    motions = dict(_motions(phase))
    for place, names in sets:
        moves = [motions.get(name, {}).get("move", phase.get("move", defaults["move"])) for name in names]
        if not names or any(isinstance(move, str) for move in moves):
            continue
        first = int(moves[0])
        starts = [beat - first for beat in beats if beat >= first]
        if not any(all(start + int(move) in beats for move in moves) for start in starts):
            what = "These parts start together, and then they cannot all arrive on a beat."
            why = f"Their moves take {', '.join(str(int(move)) for move in moves)} frames."
            notes.add("together-off-beat", place, what, why, "Give them moves of one length, or beats that far apart.")


def _check_room(notes: Notes, place: Place, phase: Mapping[str, Any]) -> None:
    """Note a hold that leaves no time to move, or no beat."""
    hold, frames = phase.get("least_hold"), phase.get("frames")
    if not hold or frames is None or not notes.sound(*place, "least_hold") or not notes.sound(*place, "frames"):
        return
    if isinstance(frames, str):
        return
    last = int(frames - 1 - hold)
    if last < 1:
        what = f"A hold of {int(hold)} frames leaves the {int(frames)} frames of the phase no time to move."
        notes.add("hold-too-long", (*place, "least_hold"), what, remedy="Shorten the hold, or make the phase longer.")
    elif "beats" in phase and notes.sound(*place, "beats") and phase["beats"][0] > last:
        what = f"Every beat lies in the hold of {int(hold)} frames, when all parts have arrived."
        remedy = f"Parts arrive on frame {last} at the latest: add a beat there, or shorten the hold."
        notes.add("beats-in-hold", (*place, "beats"), what, remedy=remedy)


def _check_fit(notes: Notes, place: Place, phase: Mapping[str, Any], defaults: Mapping[str, Any]) -> None:
    """Note what leaves nothing to fit to."""
    if phase.get("kind") == "hold":
        what = "A hold has no length of its own: nothing in it moves."
        notes.add("nothing-to-fit", (*place, "frames"), what, remedy="Give the hold a number of frames.")
        return
    tables = [(place, phase), *(((*place, "part", name), motion) for name, motion in _motions(phase))]
    tables += [((*place, "group", k), group) for k, group in enumerate(entries(phase, "group"))]
    fitted = [(*at, "move") for at, table in tables if isinstance(table, dict) and table.get("move") == "fit"]
    if "move" not in phase and defaults["move"] == "fit":
        fitted.append((*place, "frames"))
    for at in fitted:
        what = 'Both the phase and a move in it are to "fit" each other.'
        why = "A move fits a phase whose length is known, and the other way round."
        remedy = "Give the move, or the phase, a number of frames."
        notes.add("nothing-to-fit", at, what, why, remedy)


def _check_groups(notes: Notes, place: Place, phase: Mapping[str, Any], ids: tuple[str, ...] | None) -> None:
    first: dict[frozenset[str], int] = {}
    for index, group in enumerate(entries(phase, "group")):
        if not isinstance(group, dict) or "parts" not in group:
            continue
        here = (*place, "group", index)
        names = frozenset(_names(notes, here, group, "parts", ids))
        if names and first.setdefault(names, index) != index:
            what = "Another group has the same parts."
            notes.add("repeated-group", (*here, "parts"), what, remedy="Say all about a group in one table.")


def build_together(phase: Mapping[str, Any]) -> tuple[tuple[str, ...], ...]:
    """Return the sets of parts that start together, of a phase without errors."""
    return tuple(tuple(names) for names in phase.get("together", ()))


def build_waits(phase: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return (part, other) for each part that waits for another, of a phase without errors."""
    waits: dict[tuple[str, str], None] = {}
    for part, motion in _motions(phase):
        waits.update(dict.fromkeys((part, other) for other in motion.get("after", ())))
        waits.update(dict.fromkeys((other, part) for other in motion.get("before", ())))
    return tuple(waits)


def build_groups(phase: Mapping[str, Any], inherited: Mapping[str, Any]) -> tuple[GroupMotion, ...]:
    """Return the groups of a phase without errors; `inherited` is what the phase says of all parts."""
    made = []
    for group in phase.get("group", ()):
        move = group.get("move", inherited["move"])
        clip = inherited["settle"] == "clip"
        motion = PartMotion(
            settled_text(group.get("easing", inherited["easing"]), inherited["kind"], clip=clip),
            None if isinstance(move, str) else int(move),
            int(group.get("delay", 0)),
            clip,
        )
        stagger = int(group["stagger"]) if "stagger" in group else None
        made.append(GroupMotion(tuple(group["parts"]), motion, stagger))
    return tuple(made)
