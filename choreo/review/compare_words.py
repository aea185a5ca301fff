"""A comparison in words for people, and as data for machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from itertools import zip_longest
from typing import Any

from choreo.review.compare import Comparison, PartDifference, ShotDifference
from choreo.review.compare_sections import DIFFERS, SectionDifference
from choreo.review.standing import LENGTH
from choreo.review.standing_words import changed_words

_LISTED = 8


def comparison_words(comparison: Comparison) -> list[str]:
    """Return what differs, line by line, the largest differences of a shot first."""
    if comparison.nothing:
        return ["Nothing differs."]
    lines = [f"Film: {what}." for what in comparison.film]
    lines += [f"{name}: this shot is gone." for name in comparison.shots_gone]
    lines += [f"{name}: this shot is new." for name in comparison.shots_added]
    for shot in comparison.shots:
        lines += _shot(shot)
    return [*lines, *map(_section, comparison.sections)]


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """Return the same as plain data."""
    return {"nothing": comparison.nothing, **asdict(comparison)}


def _section(section: SectionDifference) -> str:
    if section.state != DIFFERS:
        return f"Section {section.section} is {section.state}."
    total = min(section.frames_old, section.frames_new)
    said = [f"{section.changed_frames} of {_count(total, 'frame')} differ{_s(section.changed_frames)}"]
    if section.frames_old != section.frames_new:
        said = [f"{_count(section.frames_old, 'frame')} are now {section.frames_new}"]
    elif not section.changed_frames:
        said = ["its tracks are the same" if section.changed else "it holds other frames of its shots"]
    if section.changed and section.changed[0].what != LENGTH:
        said.append(f"changed: {changed_words(section.changed)}")
    return f"Section {section.section}: {'; '.join(said)}."


def _shot(shot: ShotDifference) -> list[str]:
    length = "" if shot.frames_old == shot.frames_new else f", {shot.frames_old} frames are now {shot.frames_new}"
    lines = [f"{shot.shot}: {_count(len(shot.changed), 'frame')} differ{_s(len(shot.changed))}{length}."]
    lines += [f"  {part} is gone." for part in shot.parts_gone]
    lines += [f"  {part} is new." for part in shot.parts_added]
    if shot.camera_frames:
        lines.append(f"  The camera stands elsewhere on {_count(shot.camera_frames, 'frame')}.")
    ordered = sorted(shot.parts, key=lambda part: -part.most_px)
    for part in ordered[:_LISTED]:
        lines += _part(part)
    if len(ordered) > _LISTED:
        lines.append(f"  {_count(len(ordered) - _LISTED, 'more part')} differ; --json has them all.")
    if shot.order_frames:
        lines.append(f"  The layer order differs on {_count(shot.order_frames, 'frame')}.")
    if shot.mask_frames:
        lines.append(
            f"  Holdouts differ on {_count(shot.mask_frames, 'frame')}, at most by {shot.mask_px:.0f} square px."
        )
    if shot.hero_frames:
        lines.append(f"  The hero still fades differently on {_count(shot.hero_frames, 'frame')}.")
    return lines


def _part(part: PartDifference) -> list[str]:
    facts = []
    if part.most_px > 0:
        facts.append(f"up to {_number(part.most_px)} px away (frame {part.most_px_frame})")
    if part.size_percent > 0:
        facts.append(f"{_number(part.size_percent)} % in size")
    if part.turn_degrees > 0:
        facts.append(f"turned by {_number(part.turn_degrees)} degrees")
    if part.opacity > 0:
        facts.append(f"{100 * part.opacity:.0f} % in opacity")
    if part.register_px > 0:
        facts.append(f"up to {_number(part.register_px)} px in how its plate meets the still")
    if part.other_photograph:
        facts.append(f"another photograph on {_count(part.other_photograph, 'frame')}")
    said = ", ".join(facts) or "in depth alone"
    lines = [f"  {part.part} differs on frames {part.first} to {part.last}: {said}."]
    moved = _moves(part.moves_old, part.moves_new)
    return [*lines, f"    {moved}"] if moved else lines


def _moves(old: Sequence[tuple[int, int]], new: Sequence[tuple[int, int]]) -> str:
    changes = [f"{_span(before)} is now {_span(after)}" for before, after in zip_longest(old, new) if before != after]
    return "its move over " + ", and over ".join(changes) + "." if changes else ""


def _span(move: tuple[int, int] | None) -> str:
    return "no frames" if move is None else f"frames {move[0]} to {move[1]}"


def _number(value: float) -> str:
    """Two digits, and never a power of ten where a whole number will do."""
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _s(number: int) -> str:
    return "s" if number == 1 else ""
