"""How plates meet the hero still, as JSON data: the residual of each part, and the numbers that would mend it."""

from __future__ import annotations

import math
from typing import Any

from choreo.geometry.registration.similarity import relative
from choreo.model.registration import Correction, PartRegistration, Registration, StackMatch
from choreo.write.numbers import plain_number

_DIGITS = 4
_SCALE_DIGITS = 8


def registration_data(found: Registration) -> dict[str, Any]:
    """Return a registration as JSON data; px are those of the hero still, numbers have four decimals.

    Parameters
    ----------
    found : Registration

    """
    return {
        "handoff_px": found.handoff_px,
        "within": found.within,
        "stack": _stack(found.stack),
        "mended": _stack(found.mended),
        "parts": [_part(part) for part in found.parts],
    }


def _stack(stack: StackMatch) -> dict[str, Any]:
    return {
        "meets": stack.meets,
        "mean_px": _number(stack.mean_px),
        "worst_px": _number(stack.worst_px),
        "worst_at_px": _numbers(stack.worst_at_px),
        "surplus_px2": _number(stack.surplus_px2),
        "missing_px2": _number(stack.missing_px2),
    }


def _part(part: PartRegistration) -> dict[str, Any]:
    fit = part.outline if part.by == "outline" else part.content if part.by == "picture" else None
    return {
        "part": part.part,
        "verdict": part.verdict,
        "said": part.said,
        "by": part.by or None,
        "mean_px": _number(part.mean_px),
        "worst_px": _number(part.off_px),
        "worst_at_px": _numbers(part.off_at_px),
        "shape_mean_px": _number(part.outline.mean_px) if part.by == "outline" and part.outline else None,
        "expected_error_px": None if fit is None else _number(fit.sd_px),
        "held": [] if fit is None else [held.words for held in fit.held],
        "move": _move(part),
        "plate": None if part.correction is None else _plate(part.correction),
    }


def _move(part: PartRegistration) -> dict[str, Any] | None:
    """From where the numbers put the plate to where it belongs, about its pivot."""
    if part.placed is None or part.goal is None or part.pivot_at_px is None:
        return None
    moved = relative(part.placed, part.goal, part.pivot_at_px)
    return {
        "shift_px": _numbers(moved.shift_px),
        "scale": plain_number(moved.scale, _SCALE_DIGITS),
        "turn_degrees": _number(moved.turn_degrees),
    }


def _plate(numbers: Correction) -> dict[str, Any]:
    """As the assembly has them."""
    return {
        "px_per_mm": plain_number(numbers.px_per_mm, _SCALE_DIGITS),
        "pivot_px": _numbers(numbers.pivot_px),
        "turn": _number(numbers.turn_degrees),
    }


def _number(value: float | None) -> float | int | None:
    return None if value is None or not math.isfinite(value) else plain_number(value, _DIGITS)


def _numbers(values: tuple[float, ...] | None) -> list[float | int] | None:
    return None if values is None else [plain_number(value, _DIGITS) for value in values]
