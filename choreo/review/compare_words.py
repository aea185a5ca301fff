"""A comparison in words for people, and as data for machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from itertools import zip_longest
from typing import Any

from choreo.review.compare import Comparison, PartDifference, ShotDifference

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
    return lines


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """Return the same as plain data."""
    return {"nothing": comparison.nothing, **asdict(comparison)}


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
        facts.append(f"up to {part.most_px:.2g} px away (frame {part.most_px_frame})")
    if part.size_percent > 0:
        facts.append(f"{part.size_percent:.2g} % in size")
    if part.turn_degrees > 0:
        facts.append(f"turned by {part.turn_degrees:.2g} degrees")
    if part.opacity > 0:
        facts.append(f"{100 * part.opacity:.0f} % in opacity")
    if part.register_px > 0:
        facts.append(f"up to {part.register_px:.2g} px in how its plate meets the still")
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


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _s(number: int) -> str:
    return "s" if number == 1 else ""
