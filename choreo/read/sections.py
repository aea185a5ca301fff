"""`[[section]]`: stretches of the film that are rendered and signed off on their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from choreo.model.choreography import FrameRate, Section
from choreo.motion.sections import lay_out_sections, spans_of
from choreo.motion.timecode import parse_rate, parse_timecode
from choreo.read.names import entries, note_repeats
from choreo.read.notes import Notes, choices, clipped, near_miss

_KEYS = ("from", "to")


def check_sections(notes: Notes, value: dict[str, Any]) -> None:
    """Note what is wrong with sections beyond the schema: names, timecodes, ranges as far as lengths are given."""
    sections = entries(value, "section")
    named = [
        (("section", index, "name"), section["name"])
        for index, section in enumerate(sections)
        if isinstance(section, dict) and "name" in section and notes.sound("section", index, "name")
    ]
    note_repeats(notes, "repeated-section", "section", named)
    if not sections or not notes.sound("shot") or not notes.sound("frame_rate") or "frame_rate" not in value:
        return
    shots = [shot["name"] for shot in entries(value, "shot")]
    for index, section in enumerate(sections):
        if notes.sound("section", index):
            _check_section(notes, index, section, shots, parse_rate(value["frame_rate"]))
    lengths = [[phase["frames"] for phase in shot["phase"]] for shot in value["shot"]]
    if notes.sound("section") and not any(isinstance(n, str) for frames in lengths for n in frames):
        spans = spans_of(zip(shots, (sum(map(int, frames)) for frames in lengths), strict=True))
        _, faults = lay_out_sections(build_sections(value), spans, parse_rate(value["frame_rate"]))
        for fault in faults:
            notes.add("section-range", ("section", fault.index, fault.key), fault.what, remedy=fault.remedy)


def _check_section(notes: Notes, index: int, section: Mapping[str, Any], shots: Sequence[str], rate: FrameRate) -> None:
    if "shot" in section and section["shot"] not in shots:
        what = f"There is no shot `{clipped(section['shot'])}`."
        remedy = f"{near_miss(section['shot'], shots)}The shots are: {choices(shots)}."
        notes.add("unknown-shot", ("section", index, "shot"), what, remedy=remedy)
    for key in _KEYS:
        if isinstance(section.get(key), str):
            try:
                parse_timecode(section[key], rate)
            except ValueError as error:
                remedy = "Write a frame, counted from 0, or a timecode that runs from 00:00:00:00."
                notes.add("bad-timecode", ("section", index, key), str(error), remedy=remedy)


def build_sections(value: Mapping[str, Any]) -> tuple[Section, ...]:
    """Return the model of all sections."""
    rate = parse_rate(value["frame_rate"])
    return tuple(_section(section, rate) for section in value.get("section", ()))


def _section(section: Mapping[str, Any], rate: FrameRate) -> Section:
    ends = [_frame(section[key], rate) if key in section else None for key in _KEYS]
    return Section(section["name"], ends[0], ends[1], section.get("shot"))


def _frame(value: int | str, rate: FrameRate) -> int:
    return parse_timecode(value, rate) if isinstance(value, str) else int(value)
