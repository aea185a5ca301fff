"""The order in which layers are stacked, beside them: for programs and for people."""

from __future__ import annotations

import json
from collections.abc import Mapping

from choreo.model.tracks import Tracks

_STORED = {
    "exr": ("linear", "premultiplied"),
    "png16": ("sRGB", "straight"),
    "png8": ("sRGB", "straight"),
}
"""In which light a kind of files has its colour, and how it goes with alpha."""


def order_json(
    patterns: Mapping[str, str], pixels: tuple[int, int], tracks: Tracks, first_number: int, kind: str
) -> str:
    """Return the order as JSON.

    Parameters
    ----------
    patterns : mapping of part id to file name
        Back to front, with ``#`` for digits.
    pixels : (width, height)
    tracks : Tracks
    first_number : int
        That of the film's first frame.
    kind : str
        ``exr``, ``png16`` or ``png8``.

    """
    light, alpha = _STORED[kind]
    head = {
        "format": "choreo/layer-order",
        "version": 1,
        "operator": "over",
        "stack_in": "linear light, premultiplied",
        "stored_colour": light,
        "stored_alpha": alpha,
        "resolution": list(pixels),
        "frame_rate": _rate(tracks),
        "first_number": first_number,
        "frames": _frames(tracks),
        "back_to_front": [{"part": part, "files": pattern} for part, pattern in patterns.items()],
    }
    return json.dumps(head, indent=2, ensure_ascii=False) + "\n"


def order_text(
    patterns: Mapping[str, str], pixels: tuple[int, int], tracks: Tracks, first_number: int, kind: str
) -> str:
    """Return the order in words; see `order_json`."""
    light, _ = _STORED[kind]
    frames, rate = _frames(tracks), _rate(tracks)
    if light == "linear":
        stored = "The files hold linear light, multiplied by alpha: stack them as they are."
    else:
        stored = "The files hold sRGB codes with straight alpha: decode them to linear light, multiply by alpha, stack."
    lines = [
        "Layers, top of the stack first:",
        "",
        *(f"  {pattern}" for pattern in reversed(list(patterns.values()))),
        "",
        "Stack them by plain over, without any other mask: this one order holds for the whole film.",
        stored,
        f"Size: {pixels[0]} x {pixels[1]} px. Rate: {rate} frames a second.",
        f"Numbers of the film's frames: {first_number:04d} to {first_number + frames - 1:04d}.",
    ]
    return "\n".join(lines) + "\n"


def _frames(tracks: Tracks) -> int:
    return sum(shot.frames for shot in tracks.shots)


def _rate(tracks: Tracks) -> str:
    over, under = tracks.frame_rate
    return str(over) if under == 1 else f"{over}/{under}"
