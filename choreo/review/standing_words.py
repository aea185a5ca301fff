"""How sections stand, in words for people and as data for machines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from choreo.model.sign_off import APPROVED, NOT_YET, Mark
from choreo.review.standing import STALE, Change, Standing

_LISTED = 4
_CLIPPED = 60
_WORDS = {
    "film": "resolution or frame rate",
    "camera": "the camera",
    "order": "the layer order",
    "masks": "the masks",
    "hero": "the hero still",
    "screen": "places on the screen",
    "unknown": "the picture (the ledger does not say what of it)",
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
    if standing.state == STALE:
        return f"stale: approved {who}, changed since: {changed_words(standing.changed)}"
    if standing.state == NOT_YET and standing.changed:
        return f"not yet, {who}; changed since: {changed_words(standing.changed)}"
    return f"not yet, {who}" if standing.state == NOT_YET else f"approved {who}"


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
