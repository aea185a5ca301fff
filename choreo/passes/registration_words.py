"""What a registration says to people: a line for the stack, one or two a part, and the numbers to paste."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from choreo.geometry.registration.similarity import relative
from choreo.model.registration import Correction, PartRegistration, Registration, StackMatch

_LISTED = 3
"""Pieces of surplus or gap that are named; the rest are counted."""
_TURN_DIGITS = 4
"""Degrees: to 0.005 px at a distance of 5000."""


def registration_words(found: Registration) -> tuple[str, ...]:
    """Return lines for a terminal, in plain words; what is asked of the reader begins with "do:".

    Parameters
    ----------
    found : Registration

    """
    lines = [_stack_line(found), *_pieces("sticks out", found.stack.surplus), *_pieces("gapes", found.stack.gaps)]
    for part in found.parts:
        lines += _part_lines(part)
    if any(_to_mend(part) for part in found.parts):
        lines.append(_hope(found))
    return tuple(lines)


def correction_words(numbers: Correction) -> str:
    """Return the numbers of a plate as they stand in an assembly, to be pasted."""
    x, y = numbers.pivot_px
    turn = round(numbers.turn_degrees, _TURN_DIGITS) + 0.0  # never -0
    return f'"px_per_mm": {numbers.px_per_mm:.8g}, "pivot_px": [{x:.3f}, {y:.3f}], "turn": {turn:.{_TURN_DIGITS}f}'


def _stack_line(found: Registration) -> str:
    stack = found.stack
    if stack.stack.is_empty:
        return "No plate from the hero's view could be read, so the stack cannot be laid on the hero still."
    apart = (
        f"their outlines are {stack.mean_px:.2f} px apart on average, and {stack.worst_px:.2f} px at "
        f"({stack.worst_at_px[0]:.0f}, {stack.worst_at_px[1]:.0f}), where it is worst"
    )
    if stack.meets:
        return f"The stack meets the hero still to {found.handoff_px:g} px: {apart}."
    return f"The stack does not meet the hero still to {found.handoff_px:g} px: {apart}."


def _pieces(verb: str, pieces: Sequence[BaseGeometry]) -> list[str]:
    if not pieces:
        return []
    total = float(sum(piece.area for piece in pieces))
    spots = [shapely.point_on_surface(piece) for piece in pieces[:_LISTED]]
    where = ", ".join(f"({spot.x:.0f}, {spot.y:.0f})" for spot in spots)
    more = f" and {len(pieces) - _LISTED} more" if len(pieces) > _LISTED else ""
    places = "place" if len(pieces) == 1 else "places"
    return [f"  It {verb} in {len(pieces)} {places}, {total:.0f} px\u00b2 in all: at {where}{more}."]


def _part_lines(part: PartRegistration) -> list[str]:
    lines = [f"  {part.part}: {part.said}.{_residual(part)}{_evidence(part)}"]
    if _to_mend(part) and part.correction is not None:
        lines.append(f"    do: in its plate, set {correction_words(part.correction)}.{_moved(part)}")
    elif part.verdict == "misfit":
        lines.append(
            "    do: compare lens, distance and height of the camera for plate and hero; check the key's edge."
        )
    elif part.verdict == "unmeasured":
        lines.append("    do: look at this one by eye, or give it a picture that shows its marks and edges.")
    return lines


def _residual(part: PartRegistration) -> str:
    if part.mean_px is None or part.off_px is None or part.off_at_px is None:
        return ""
    x, y = part.off_at_px
    return f" It is {part.mean_px:.2f} px off on average, {part.off_px:.2f} px at ({x:.0f}, {y:.0f})."


def _moved(part: PartRegistration) -> str:
    """The same as a motion on the hero still."""
    if part.placed is None or part.goal is None or part.pivot_at_px is None:
        return ""
    by = relative(part.placed, part.goal, part.pivot_at_px)
    (x, y), turn = by.shift_px, by.turn_degrees
    return (
        f" That shifts it by ({x:+.2f}, {y:+.2f}) px, scales it by {by.scale:.5f} and turns it by {turn:+.3f} degrees."
    )


def _evidence(part: PartRegistration) -> str:
    if part.by == "outline" and part.outline is not None:
        share = f"{part.outline.used_share:.0%}"
        return f" Told by {share} of its outline, which fits to {part.outline.mean_px:.2f} px on average."
    if part.by == "picture" and part.content is not None:
        return f" Told by its picture, which explains {part.content.confidence:.0%} of what the hero shows there."
    return ""


def _to_mend(part: PartRegistration) -> bool:
    return part.verdict == "off"


def _hope(found: Registration) -> str:
    mended: StackMatch = found.mended
    return (
        f"With these numbers the outlines would be up to {mended.worst_px:.2f} px apart, "
        f"{mended.mean_px:.2f} px on average. Measure again when they are in."
    )
