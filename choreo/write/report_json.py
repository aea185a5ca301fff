"""The report of a compile: as `report.json`, and in a few lines for the terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from choreo.model.choreography import FrameRate
from choreo.model.plan import RemovalStep
from choreo.model.plate_use import PlateUse
from choreo.model.report import Middle, MoveReport, PartReport, Report, ShotReport, StillOver
from choreo.motion.plate_frames import turntable_in_words
from choreo.motion.timecode import timecode
from choreo.write.json_text import readable
from choreo.write.numbers import plain_number

_DIGITS = 6
_WAITS_SHOWN = 5


def report_text(report: Report) -> str:
    """Return the content of `report.json`: the report's own words as keys, numbers to six decimals.

    Parameters
    ----------
    report : Report
        Finite numbers throughout.

    """
    content = {
        "format": "choreo/report",
        "version": 1,
        "assembly": report.assembly,
        "body": report.body,
        "removal_order": list(report.removal_order),
        "shots": [_shot(shot) for shot in report.shots],
        "warnings": [finding.as_json() for finding in report.warnings],
        "removal": steps_data(report.removal),
        "stand_ins": [{"part": part, "note": note} for part, note in report.stand_ins],
        "without_plate": list(report.without_plate),
    }
    return readable(content) + "\n"


def steps_data(steps: Sequence[RemovalStep]) -> list[dict[str, Any]]:
    """Return steps of a removal as JSON data, nested as the groups are: `inner` is how a group comes apart outside."""
    return [
        {
            "part": step.part,
            "direction": _vector(step.direction),
            "joint_axis": _vector(step.joint_axis),
            "via": [_vector(corner) for corner in step.via],
            "members": list(step.members),
            "inner": None if step.inner is None else steps_data(step.inner.steps),
        }
        for step in steps
    ]


def report_words(report: Report, frame_rate: tuple[int, int] | None = None) -> list[str]:
    """Return what a person wants to know after a compile, line by line.

    Parameters
    ----------
    report : Report
        Of the whole film.
    frame_rate : (int, int), optional
        Frames a second as a ratio; without it lengths are given in frames alone.

    Returns
    -------
    list of str
        A few lines a shot, then the warnings.

    """
    lines = [line for shot in report.shots for line in _shot_words(shot, frame_rate)]
    lines += [f"Stand-in: {part}: {note}" for part, note in report.stand_ins]
    lines += [line for finding in report.warnings for line in finding.as_text().split("\n")]
    return [_printable(line) for line in lines]


def _shot(shot: ShotReport) -> dict[str, Any]:
    return {
        "name": shot.name,
        "frames": shot.frames,
        "least_gap_px": _number(shot.least_gap_px),
        "px_per_mm": _number(shot.px_per_mm),
        "distance_mm": _number(shot.distance_mm),
        "order_changes": shot.order_changes,
        "holdout_frames": shot.holdout_frames,
        "fastest_part": shot.fastest_part,
        "parts": [_part(part) for part in shot.parts],
        "crossings": shot.crossings,
        "plates": [_plate(use) for use in shot.plates],
        "still": _still(shot.still),
        "middle": _middle(shot.middle),
    }


def _middle(middle: Middle | None) -> dict[str, Any] | None:
    if middle is None:
        return None
    off = _vector((middle.right_px, middle.down_px))
    return {"point": _vector(middle.point), "off_px": off, "frame": middle.frame}


def _plate(use: PlateUse) -> dict[str, Any]:
    """Numbers of the photographs themselves stand in the tracks."""
    return {
        "part": use.part,
        "plate": use.plate,
        "magnification": _number(use.magnification),
        "magnification_frame": use.magnification_frame,
        "view_off_degrees": _number(use.view_off),
        "parallax_px": _number(use.parallax_px),
        "parallax_frame": use.parallax_frame,
        "step_degrees": _number(use.step_degrees),
        "repeated_frames": use.repeated,
        "speed_percent": _number(use.speed_percent),
    }


def _part(part: PartReport) -> dict[str, Any]:
    return {
        "id": part.id,
        "removal_number": part.removal_number,
        "direction": _vector(part.direction),
        "joint_axis": _vector(part.joint_axis),
        "travel_mm": _number(part.travel_mm),
        "legs_mm": _vector(part.legs_mm),
        "fastest_px": _number(part.fastest_px),
        "fastest_frame": part.fastest_frame,
        "least_clearance_mm": _number(part.least_clearance_mm),
        "moves": [_move(move) for move in part.moves],
        "visible": _number(part.visible),
        "settled_frame": part.settled_frame,
        "register_px": _number(part.register_px),
        "still": _still(part.still),
        "blur_px": _number(part.blur_px),
    }


def _still(still: StillOver | None) -> dict[str, Any] | None:
    return None if still is None else {"from": still.first, "to": still.last, "off_px": _number(still.off_px)}


def _move(move: MoveReport) -> dict[str, Any]:
    return {
        "phase": move.phase,
        "kind": move.kind,
        "start": move.start,
        "arrive": move.arrive,
        "wish": move.wish,
        "reason": move.reason,
    }


def _number(value: float | None) -> float | int | None:
    return None if value is None else plain_number(value, _DIGITS)


def _vector(values: tuple[float, ...] | None) -> list[float | int] | None:
    return None if values is None else [plain_number(value, _DIGITS) for value in values]


def _shot_words(shot: ShotReport, rate: tuple[int, int] | None) -> list[str]:
    length = f", {timecode(shot.frames, FrameRate(*rate))} long" if rate else ""
    lines = [f"{shot.name}: {_count(shot.frames, 'frame')}{length}, {_moved(shot)}"]
    if shot.least_gap_px is not None:
        lines.append(f"  At rest the tightest gap is {_short(shot.least_gap_px)} px{_crossed(shot)}.")
    lines += _off_middle(shot.middle)
    lines.append(f"  The layer order {_changes(shot.order_changes)}; {_holdouts(shot)}.")
    fastest = next((part for part in shot.parts if part.id == shot.fastest_part), None)
    if fastest is not None and fastest.fastest_frame is not None:
        lines.append(
            f"  Fastest: {fastest.id} moves {_short(fastest.fastest_px)} px from frame"
            f" {fastest.fastest_frame - 1} to frame {fastest.fastest_frame},"
            f" a smear of {_short(fastest.blur_px)} px."
        )
    return lines + _turned(shot) + _waits(shot) + _retimed(shot) + _taken_over(shot)


def _taken_over(shot: ShotReport) -> list[str]:
    """Whom the hero still takes over, or keeps, by itself, and how far off they are meanwhile."""
    whole = shot.still
    if whole is None or not (shot.taken_over or shot.kept):
        return []
    off = max(part.still.off_px for part in shot.parts if part.still is not None)
    home = f"within {math.ceil(off * 100 - 1e-6) / 100:g} px of home" if off > 0 else "home"
    lines = [f"  Every part is {home} while the hero still lies over it."]
    if shot.taken_over:
        each = ", ".join(f"{_names(who)} from frame {at}" for at, who in shot.taken_over)
        lines.append(f"  The still takes over {each}; everything from frame {whole.first}.")
    if shot.kept:
        each = ", ".join(f"{_names(who)} to frame {at}" for at, who in shot.kept)
        lines.append(f"  The still stays over everything to frame {whole.last}; over {each}.")
    return lines


def _off_middle(middle: Middle | None) -> list[str]:
    """Where the assembled product stands, if it is off the middle and nobody asked for it."""
    if middle is None or middle.wished or not middle.wide:
        return []
    x, y, z = (f"{round(value, 1) + 0.0:g}" for value in middle.point)
    return [
        f"  Assembled, the product stands {middle.aside} the middle of the frame, which is that of all parts at rest.",
        f"  view.target = [{x}, {y}, {z}] puts the product there instead, at the price of some size.",
    ]


def _names(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def _crossed(shot: ShotReport) -> str:
    """How many of the straight lines that parts travel along cross."""
    if shot.crossings is None:
        return ""
    if not shot.crossings:
        return "; no travel lines cross"
    return f"; {_count(shot.crossings, 'pair')} of travel lines {'cross' if shot.crossings > 1 else 'crosses'}"


def _retimed(shot: ShotReport) -> list[str]:
    """What sequences of photographs do: turntables by their steps, films by their speed."""
    lines = []
    for use in shot.plates:
        if use.step_degrees is not None:
            said = turntable_in_words(use.step_degrees, use.repeated, len(use.plate_frame))
            lines.append(f"  {use.part}: {said}.")
        elif use.speed_percent is not None:
            lines.append(f"  {use.part}: its film runs at {_short(use.speed_percent)} % of its speed.")
    return lines


def _moved(shot: ShotReport) -> str:
    moving = sum(bool(part.moves) for part in shot.parts)
    return f"{moving} of {_count(len(shot.parts), 'part')} {'moves' if moving == 1 else 'move'}."


def _holdouts(shot: ShotReport) -> str:
    if not shot.holdout_frames:
        return "no frame needs a holdout"
    return f"{shot.holdout_frames} of {_count(shot.frames, 'frame')} {_need(shot.holdout_frames)} holdouts"


def _need(count: int) -> str:
    return "needs" if count == 1 else "need"


def _turned(shot: ShotReport) -> list[str]:
    """Parts that leave along another way than their joint's."""
    names = [part.id for part in shot.parts if part.joint_axis is not None]
    return [f"  Not along the axis of its joint: {name}; the way is barred." for name in names]


def _waits(shot: ShotReport) -> list[str]:
    """Moves that do not start when stagger and delay asked for, the first few in full."""
    names: dict[MoveReport, list[str]] = {}
    for part in shot.parts:
        for move in part.moves:
            if move.start != move.wish:  # parts that move as one share their move and its reason
                names.setdefault(move, []).append(part.id)
    moved = sorted(names.items(), key=lambda pair: pair[0].start)
    lines = [_said(who, move) for move, who in moved[:_WAITS_SHOWN]]
    if len(moved) > _WAITS_SHOWN:
        lines.append(f"  {_count(len(moved) - _WAITS_SHOWN, 'more start')} shifted; report.json has them all.")
    return lines


def _said(names: list[str], move: MoveReport) -> str:
    """Where a move starts and why; the reason says by how much, and where there is none the numbers do."""
    by = abs(move.start - move.wish)
    shift = f"{_count(by, 'frame')} {'later' if move.start > move.wish else 'earlier'} than asked"
    who = f"{', '.join(names)} {'starts' if len(names) == 1 else 'start'}"
    return f"  {who} on frame {move.start}: {move.reason.rstrip('.') or shift}."


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _changes(number: int) -> str:
    return {0: "never changes", 1: "changes once", 2: "changes twice"}.get(number, f"changes {number} times")


def _short(value: float) -> str:
    """At most one decimal, rounded down from a hundredth above: a gap must not look wider than it is."""
    return f"{int(value * 10 + 0.1) / 10:g}"


def _printable(line: str) -> str:
    """Without anything that could steer a terminal."""
    return "".join(char if char.isprintable() else "?" for char in line)
