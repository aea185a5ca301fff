"""The phases of a shot, from the file to the model: what moves when, and what each part keeps over the shot."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from choreo.model.choreography import PartMotion, Phase, Pin
from choreo.read.easings import note_easing, settled_text
from choreo.read.names import entries, note_unknown
from choreo.read.notes import Notes, clipped, key_path
from choreo.read.place import Place
from choreo.read.values import note_zero, unit
from choreo.read.wishes import build_groups, build_together, build_waits, check_wishes

_ONLY_MOVING = ("beats", "easing", "group", "least_hold", "move", "part", "settle", "stagger", "together")
_PINNED = ("along", "travel_mm", "bow_mm", "spin")
"""What a part keeps over the whole shot."""
_SAME_DIRECTION = 1e-9


def check_phases(
    notes: Notes, place: Place, phases: Sequence[Any], ids: tuple[str, ...] | None, defaults: Mapping[str, Any]
) -> None:
    """Note what is wrong with the phases of one shot.

    Parameters
    ----------
    notes : Notes
        Of the choreography.
    place : tuple
        Of the shot.
    phases : sequence
        As parsed; what the schema refuses is passed over.
    ids : tuple of str or None
        All part ids, where they are known.
    defaults : mapping
        Of the film, filled in.

    """
    for index, phase in enumerate(phases):
        if isinstance(phase, dict):
            here = (*place, "phase", index)
            _check_phase(notes, here, phase, ids)
            check_wishes(notes, here, phase, ids, defaults)
    _check_turns(notes, place, phases)
    _check_pins(notes, place, phases)


def _check_phase(notes: Notes, place: Place, phase: dict[str, Any], ids: tuple[str, ...] | None) -> None:
    if notes.sound(*place, "kind") and phase.get("kind") == "hold":
        for key in _ONLY_MOVING:
            if key in phase:
                what = f"`{key}` does nothing in a hold: no part moves."
                remedy = "Drop it, or move it to an explode or assemble phase."
                notes.add("misplaced-key", (*place, key), what, remedy=remedy)
    note_easing(notes, place, phase)
    if "beats" in phase and notes.sound(*place, "beats") and notes.sound(*place, "frames"):
        frames = phase.get("frames")
        _check_beats(notes, (*place, "beats"), phase["beats"], None if isinstance(frames, str) else frames)
    for index, group in enumerate(entries(phase, "group")):
        if isinstance(group, dict):
            note_easing(notes, (*place, "group", index), group)
    motions = phase.get("part")
    for name, motion in motions.items() if isinstance(motions, dict) else ():
        here = (*place, "part", name)
        if ids is not None:
            note_unknown(notes, here, name, ids)
        if isinstance(motion, dict):
            note_easing(notes, here, motion)
            if "along" in motion and notes.sound(*here, "along"):
                note_zero(notes, (*here, "along"), motion["along"])


def _check_beats(notes: Notes, place: Place, beats: Sequence[int], frames: int | None) -> None:
    for index, (before, beat) in enumerate(itertools.pairwise(beats), start=1):
        if beat <= before:
            what = f"Beat {beat} stands after beat {before}."
            remedy = "List each beat once, the earliest first; parts may share one."
            notes.add("beats-not-ascending", (*place, index), what, remedy=remedy)
    for index, beat in enumerate(beats):
        if frames is not None and beat >= frames:
            what = f"Beat {beat} is outside its phase, which has the frames 0 to {int(frames) - 1}."
            remedy = "Count the beat from the first frame of its phase, or make the phase longer."
            notes.add("beat-outside", (*place, index), what, remedy=remedy)


def _check_turns(notes: Notes, place: Place, phases: Sequence[Any]) -> None:
    """Note an explode of what is exploded already, and an assemble of what is assembled."""
    last = None
    for index, phase in enumerate(phases):
        here = (*place, "phase", index, "kind")
        if not isinstance(phase, dict) or "kind" not in phase or not notes.sound(*here):
            return
        kind = phase["kind"]
        if kind == last:
            state = "apart" if kind == "explode" else "together"
            what = f"This phase is another {kind}, but the parts are {state} already."
            remedy = "Put the other kind between the two, join them into one phase, or start a new shot."
            notes.add("phase-order", here, what, remedy=remedy)
        last = kind if kind != "hold" else last


def _check_pins(notes: Notes, place: Place, phases: Sequence[Any]) -> None:
    """Note a part whose direction or travel differs between two phases of the shot."""
    first: dict[tuple[str, str], tuple[Place, Any]] = {}
    for here, name, motion in _motions(place, phases):
        for key in _PINNED:
            if key not in motion or not notes.sound(*here, key):
                continue
            where, value = first.setdefault((name, key), ((*here, key), motion[key]))
            if not _agree(value, motion[key]):
                notes.add(
                    "pins-disagree",
                    (*here, key),
                    f"`{key}` of `{clipped(name)}` differs from the one at {key_path(where)}.",
                    "A shot has one route a part: it goes back the way it came.",
                    "Give both the same value, or give it once.",
                )


def _agree(one: Any, other: Any) -> bool:
    if isinstance(one, list):
        return all(abs(a - b) <= _SAME_DIRECTION for a, b in zip(unit(one), unit(other), strict=True))
    return bool(one == other)


def _motions(place: Place, phases: Sequence[Any]) -> list[tuple[Place, str, dict[str, Any]]]:
    """Return place, part and table of each part's motion in a shot, in the order of the file."""
    return [
        ((*place, "phase", index, "part", name), name, motion)
        for index, phase in enumerate(phases)
        if isinstance(phase, dict) and isinstance(phase.get("part"), dict)
        for name, motion in phase["part"].items()
        if isinstance(motion, dict)
    ]


def build_phase(phase: Mapping[str, Any], defaults: Mapping[str, Any]) -> Phase:
    """Return the model of a phase without errors; `defaults` are those of the film, filled in."""
    inherited = {**defaults, **phase}
    default = _motion({}, inherited)
    motions = {name: _motion(motion, inherited) for name, motion in phase.get("part", {}).items()}
    return Phase(
        kind=phase["kind"],
        frames=1 if phase["frames"] == "fit" else int(phase["frames"]),
        stagger=int(inherited["stagger"]),
        default=default,
        parts=MappingProxyType({name: motion for name, motion in motions.items() if motion != default}),
        beats=tuple(int(beat) for beat in phase.get("beats", ())),
        groups=build_groups(phase, inherited),
        together=build_together(phase),
        waits=build_waits(phase),
        least_hold=int(phase.get("least_hold", 0)),
        fit=phase["frames"] == "fit",
    )


def build_pins(phases: Sequence[Mapping[str, Any]]) -> Mapping[str, Pin]:
    """Return what the phases of a shot without errors fix about single parts."""
    fixed: dict[str, dict[str, Any]] = {}
    for _, name, motion in _motions((), phases):
        given: dict[str, Any] = {key: motion[key] for key in _PINNED if key in motion}
        if given:
            fixed[name] = {**given, **fixed.get(name, {})}
    return MappingProxyType({name: _pin(given) for name, given in fixed.items()})


def _motion(motion: Mapping[str, Any], inherited: Mapping[str, Any]) -> PartMotion:
    move = _move(motion.get("move", inherited["move"]))
    clip = motion.get("settle", inherited["settle"]) == "clip"
    easing = settled_text(motion.get("easing", inherited["easing"]), inherited["kind"], clip=clip)
    return PartMotion(easing, move, int(motion.get("delay", 0)), clip)


def _pin(given: Mapping[str, Any]) -> Pin:
    travel = given.get("travel_mm")
    along = unit(given["along"]) if "along" in given else None
    return Pin(
        along, None if travel is None else float(travel), float(given.get("bow_mm", 0.0)), float(given.get("spin", 0.0))
    )


def _move(value: float | str) -> int | None:
    return None if isinstance(value, str) else int(value)
