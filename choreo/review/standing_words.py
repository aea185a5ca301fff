"""How sections stand, in words for people and as data for machines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from choreo.model.choreography import FrameRate
from choreo.model.sign_off import APPROVED, NOT_YET, Mark
from choreo.motion.timecode import timecode
from choreo.review.standing import LENGTH, STALE, Change, Standing

_LISTED = 4
_CLIPPED = 60
_WORDS = {
    "film": "resolution or frame rate",
    "camera": "the camera",
    "order": "the layer order",
    "masks": "the masks",
    "hero": "the hero still",
    "time": "when in its shot it moves",
    "home": "how all stands at the end of the shot, where the hero still is",
    "drawing": "how choreo draws",
    "unknown": "what it is made of (the ledger does not say what of it)",
    "path": "the path of",
    "look": "the look of",
    "plate": "the plate of",
}


def standing_words(standings: Sequence[Standing]) -> list[str]:
    """Return a line or more for each section, and a sum."""
    width = max((len(one.section.name) for one in standings), default=0)
    lines = [line for one in standings for line in _lines(one, width)]
    count = sum(one.state == "approved" for one in standings)
    return [*lines, f"{count} of {len(standings)} sections approved as they are."]


def standing_json(standing: Standing) -> dict[str, Any]:
    """Return how a section stands as plain data."""
    section, mark = standing.section, standing.mark
    data: dict[str, Any] = {
        "section": section.name,
        "from": section.first,
        "to": section.last,
        "content": section.content,
        "state": standing.state,
    }
    if mark is not None:
        data |= {"verdict": mark.verdict, **_said(mark), "changed": [_change_json(one) for one in standing.changed]}
        data |= _picture_json(standing)
        if mark.section != section.name:
            data["marked_as"] = mark.section
    if standing.later is not None:
        data["later"] = {"verdict": standing.later.verdict, **_said(standing.later)}
    if standing.note is not None:
        data["later_note"] = _said(standing.note)
    return data


def state_words(standing: Standing) -> str:
    """Return how a section stands, in one line."""
    mark = standing.mark
    if mark is None:
        return "never marked"
    who = f"by {mark.by} on {mark.on}"
    if mark.section != standing.section.name:
        who += f' as section "{mark.section}"'
    stale = "perhaps stale" if _is_open(standing) else "stale"
    said = {STALE: f"{stale}: approved {who}", NOT_YET: f"not yet, {who}"}.get(standing.state, f"approved {who}")
    if not standing.changed:
        return said
    link = ", changed since" if standing.state == STALE else "; changed since"
    return f"{said}{link}: {changed_words(standing.changed)}{_seen_words(standing)}"


def _seen_words(standing: Standing) -> str:
    """Whether what has changed is seen, and where first."""
    found, section, mark = standing.seen, standing.section, standing.mark
    if found is None or mark is None or _is_another_film(standing):
        return ""
    if found.same:
        return "; every frame looks the same"
    if found.first is not None:
        place = timecode(section.first + found.first, FrameRate(*section.rate))
        if not found.unknown:
            return f"; seen on {len(found.differing)} of its {section.frames} frames, first at {place}"
        return f"; first seen at {place}, frame {section.first + found.first}"
    if found.differing:
        return "; it is seen"
    return "; whether it shows was not looked at" if mark.has_pictures else "; no pictures of it were noted"


def _is_open(standing: Standing) -> bool:
    """Whether its picture may still be the one that was marked: nobody has looked."""
    found, mark = standing.seen, standing.mark
    if found is None or mark is None or not mark.has_pictures or _is_another_film(standing):
        return False
    return not found.same and not found.differing


def _is_another_film(standing: Standing) -> bool:
    """Whether it needs no look to tell that the picture is another one."""
    return any(change.what in (LENGTH, "film") for change in standing.changed)


def _picture_json(standing: Standing) -> dict[str, Any]:
    """What is known of the picture beside the marked one."""
    found, section = standing.seen, standing.section
    assert found is not None
    if found.same:
        return {"picture": "same"}
    if not found.differing:
        return {"picture": "another" if _is_another_film(standing) else "not-looked-at"}
    data: dict[str, Any] = {"picture": "another"}
    if found.first is not None:
        frame = section.first + found.first
        data |= {"first_frame": frame, "first_timecode": timecode(frame, FrameRate(*section.rate))}
    if not found.unknown:
        data["differing_frames"] = len(found.differing)
    return data


def changed_words(changed: Sequence[Change]) -> str:
    """Return what has changed, as part of a sentence."""
    return ", ".join(map(_change, changed))


def _said(mark: Mark) -> dict[str, Any]:
    return {"by": mark.by, "on": mark.on, "note": mark.note}


def _change_json(change: Change) -> dict[str, Any]:
    data: dict[str, Any] = {"what": change.what}
    if change.parts:
        data["parts"] = list(change.parts)
    if change.what == "length":
        data |= {"before": change.before, "after": change.after}
    return data


def _change(change: Change) -> str:
    if change.what == "length":
        return f"its length ({change.before} frames are now {change.after})"
    names = ", ".join(change.parts[:_LISTED])
    if len(change.parts) > _LISTED:
        names += f" and {len(change.parts) - _LISTED} more"
    if change.what in ("gone", "new"):
        return f"{names} {'is' if len(change.parts) == 1 else 'are'} {change.what}"
    return f"{_WORDS[change.what]} {names}".rstrip()


def _lines(standing: Standing, width: int) -> list[str]:
    lines = [f"{standing.section.name:{width}}  {state_words(standing)}"]
    indent = " " * (width + 2)
    if (later := standing.later) is not None:
        verdict = "refused" if later.verdict == NOT_YET else "approved"
        lines.append(f"{indent}another picture of it was {verdict} later, by {later.by} on {later.on}")
    noted = [mark for mark in (standing.mark, standing.note) if mark is not None and mark.note]
    return [*lines, *(f"{indent}{mark.by}: {_clipped(mark.note)}" for mark in noted)]


def _clipped(note: str) -> str:
    line = " / ".join(filter(None, (part.strip() for part in note.split("\n"))))
    return line if len(line) <= _CLIPPED else line[: _CLIPPED - 1] + "…"


def unsigned(standings: Sequence[Standing]) -> list[Standing]:
    """Return the sections that are not approved as they are."""
    return [one for one in standings if one.state != APPROVED]
