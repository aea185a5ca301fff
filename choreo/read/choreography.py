"""choreography.toml to a `Choreography`: what the schema cannot say is checked here, then the model is built."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from choreo.model.choreography import MOST_FRAMES, Choreography, Handoff, Shot
from choreo.motion.timecode import parse_rate
from choreo.read.easings import note_easing
from choreo.read.lock import build_lock
from choreo.read.names import entries, note_repeats
from choreo.read.notes import Notes
from choreo.read.phases import build_phase, build_pins, check_phases
from choreo.read.place import Place
from choreo.read.sections import build_sections, check_sections
from choreo.read.values import note_rate
from choreo.read.views import build_orbit, build_view, check_view

ASSEMBLY_FILE = "assembly.json"
SAFE_AREAS = {"ebu-r95-graphics": 0.05, "ebu-r95-action": 0.035}
"""Margin at each edge, as a fraction of the frame: EBU R 95, safe areas for 16:9 television."""
DEFAULTS: Mapping[str, Any] = {
    "easing": "ease-in-out",
    "move": 20,
    "stagger": 3,
    "gap_px": 24.0,
    "clearance_mm": 0.5,
    "readable": 0.98,
    "settle": "free",
}


@dataclass(frozen=True)
class _Turns:
    """Whether a shot begins and ends assembled."""

    begins: bool
    ends: bool


def check_choreography(notes: Notes, value: Any, ids: tuple[str, ...] | None) -> None:
    """Note what is wrong with a choreography beyond its schema.

    Parameters
    ----------
    notes : Notes
        Of the choreography, holding what the schema refuses.
    value : Any
        As parsed.
    ids : tuple of str or None
        The part ids of the assembly, where they are known.

    """
    if not isinstance(value, dict):
        return
    if "frame_rate" in value and notes.sound("frame_rate"):
        note_rate(notes, ("frame_rate",), value["frame_rate"])
    _check_safe_area(notes, value)
    defaults = dict(DEFAULTS)
    if isinstance(value.get("defaults"), dict):
        note_easing(notes, ("defaults",), value["defaults"])
        defaults.update({key: given for key, given in value["defaults"].items() if notes.sound("defaults", key)})
    shots = entries(value, "shot")
    named = [
        (("shot", index, "name"), shot["name"])
        for index, shot in enumerate(shots)
        if isinstance(shot, dict) and "name" in shot and notes.sound("shot", index, "name")
    ]
    note_repeats(notes, "repeated-shot", "shot", named)
    for index, shot in enumerate(shots):
        if isinstance(shot, dict):
            _check_shot(notes, ("shot", index), shot, ids, defaults)
    _check_length(notes, shots)
    check_sections(notes, value)


def _check_safe_area(notes: Notes, value: dict[str, Any]) -> None:
    margins = value.get("safe_area")
    if not isinstance(margins, list) or not notes.sound("safe_area"):
        return
    for first, second, names in ((0, 2, "left and right"), (1, 3, "top and bottom")):
        if margins[first] + margins[second] >= 1:
            what = f"The {names} margins of `safe_area` leave no room between them."
            remedy = "Margins are fractions of the frame, e.g. [0.05, 0.05, 0.05, 0.05]."
            notes.add("no-room", ("safe_area", second), what, remedy=remedy)


def _check_shot(
    notes: Notes, place: Place, shot: dict[str, Any], ids: tuple[str, ...] | None, defaults: Mapping[str, Any]
) -> None:
    check_view(notes, place, shot)
    if isinstance(shot.get("orbit"), dict):
        note_easing(notes, (*place, "orbit"), shot["orbit"])
    phases = entries(shot, "phase")
    check_phases(notes, place, phases, ids, defaults)
    if "handoff" in shot and notes.sound(*place, "handoff") and phases and notes.sound(*place, "phase"):
        _check_handoff(notes, (*place, "handoff"), shot["handoff"], phases)


def _check_handoff(notes: Notes, place: Place, handoff: dict[str, Any], phases: Sequence[dict[str, Any]]) -> None:
    frames = sum(_least_frames(phase) for phase in phases)
    solved = any(phase["frames"] == "fit" for phase in phases)
    if handoff["frames"] > frames and not solved:
        what = f"The hand-off takes {int(handoff['frames'])} frames, but the shot has {int(frames)}."
        notes.add("handoff-too-long", (*place, "frames"), what, remedy="Shorten it, or lengthen the shot.")
    turns = _turns(phases)
    if not turns.begins and not turns.ends:
        what = "This shot neither begins nor ends assembled, so the hero still has nothing to take over."
        remedy = "Move the hand-off to a shot that begins with explode or ends with assemble."
        notes.add("handoff-nowhere", place, what, remedy=remedy)


def _turns(phases: Sequence[dict[str, Any]]) -> _Turns:
    moving = [phase["kind"] for phase in phases if phase["kind"] != "hold"]
    return _Turns(not moving or moving[0] == "explode", not moving or moving[-1] == "assemble")


def _check_length(notes: Notes, shots: Sequence[Any]) -> None:
    if not notes.sound("shot"):
        return
    total = 0
    for index, shot in enumerate(shots):
        total += sum(_least_frames(phase) for phase in shot["phase"])
        if total > MOST_FRAMES:
            what = f"With this shot the film has {total} frames; at most {MOST_FRAMES} are allowed."
            notes.add("too-many-frames", ("shot", index), what, remedy="Split the film into several files.")
            return


def _least_frames(phase: Mapping[str, Any]) -> int:
    """Frames of a phase as far as the file tells: one where they are solved."""
    return 1 if phase["frames"] == "fit" else int(phase["frames"])


def build_choreography(value: Mapping[str, Any]) -> Choreography:
    """Return the model of a choreography without errors, every default filled in."""
    defaults = {**DEFAULTS, **value.get("defaults", {})}
    resolution = (int(value["resolution"][0]), int(value["resolution"][1]))
    return Choreography(
        assembly_file=value.get("assembly", ASSEMBLY_FILE),
        frame_rate=parse_rate(value["frame_rate"]),
        resolution=resolution,
        safe_area=_margins(value.get("safe_area", "ebu-r95-graphics")),
        gap_px=float(defaults["gap_px"]),
        clearance_mm=float(defaults["clearance_mm"]),
        readable=float(defaults["readable"]),
        shots=tuple(_shot(shot, defaults, resolution) for shot in value["shot"]),
        lock=build_lock(value),
        sections=build_sections(value),
    )


def _margins(safe_area: str | Sequence[float]) -> tuple[float, float, float, float]:
    if isinstance(safe_area, str):
        margin = SAFE_AREAS[safe_area]
        return (margin, margin, margin, margin)
    left, top, right, bottom = (float(margin) for margin in safe_area)
    return (left, top, right, bottom)


def _handoff(handoff: Mapping[str, Any]) -> Handoff:
    settle = bool(handoff.get("settle_into_register", False))
    each_part = bool(handoff.get("each_part", True))
    return Handoff(int(handoff["frames"]), float(handoff.get("handoff_px", 0.5)), settle, each_part)


def _shot(shot: Mapping[str, Any], defaults: Mapping[str, Any], resolution: tuple[int, int]) -> Shot:
    handoff = shot.get("handoff")
    return Shot(
        name=shot["name"],
        view=build_view(shot["view"], resolution),
        phases=tuple(build_phase(phase, defaults) for phase in shot["phase"]),
        orbit=build_orbit(shot["orbit"]) if "orbit" in shot else None,
        handoff=_handoff(handoff) if handoff else None,
        pins=build_pins(shot["phase"]),
    )
