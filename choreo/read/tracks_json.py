"""The text of a `tracks.json` that choreo has written, e.g. one that was approved, back to tracks."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import numpy as np

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.model.plan import Region
from choreo.model.tracks import (
    FilmSection,
    Floats,
    Holdout,
    Key,
    Masking,
    OrderSpan,
    PartTrack,
    ShotTracks,
    Spin,
    Tracks,
)
from choreo.motion.easing import parse_easing

Points = list[list[float]]
_MOST_RATE = 1_000_000_000
_SIDES = range(16, 16385)
"""px; both as the schema has them."""


def read_tracks(text: str, file: str = "tracks.json") -> Tracks:
    """Return the tracks that `tracks_text` has written.

    Parameters
    ----------
    text : str
        Content of a `tracks.json`.
    file : str
        Its name, for messages.

    Raises
    ------
    ChoreoError
        Exit 2 if the text is not such a file.

    """
    try:
        content = json.loads(text, parse_constant=_no_constant)
        return _tracks(content)
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError, RecursionError) as error:
        raise _unreadable(file, error) from None


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number of JSON")


def _unreadable(file: str, error: Exception) -> ChoreoError:
    line = error.lineno if isinstance(error, json.JSONDecodeError) else None
    return wrong_input(
        Finding(
            "tracks-unreadable",
            "This is not a tracks.json that choreo has written.",
            file,
            line=line,
            why=f"Reading it stopped at: {str(error)[:120] or type(error).__name__}.",
            remedy="Compile again to get a sound file, or take an earlier copy of it.",
        )
    )


def _tracks(content: dict[str, Any]) -> Tracks:
    if (content["format"], content["version"]) != ("choreo/tracks", 1):
        raise ValueError("the format is not choreo/tracks, version 1")
    numerator, denominator = (int(n) for n in content["frame_rate"])
    width, height = (int(n) for n in content["resolution"])
    if not (min(numerator, denominator) >= 1 and max(numerator, denominator) <= _MOST_RATE):
        raise ValueError("the frame rate is none")
    if not (min(width, height) in _SIDES and max(width, height) in _SIDES):
        raise ValueError("the resolution is none")
    return Tracks(
        str(content["source"]["assembly"]),
        str(content["source"]["choreography"]),
        (numerator, denominator),
        (width, height),
        tuple(_shot(shot) for shot in content["shots"]),
        tuple(_section(section) for section in content.get("sections", ())),
    )


def _section(section: dict[str, Any]) -> FilmSection:
    return FilmSection(str(section["name"]), int(section["from"]), int(section["to"]))


def _shot(shot: dict[str, Any]) -> ShotTracks:
    frames = int(shot["frames"])
    masking = shot["masking"]
    return ShotTracks(
        str(shot["name"]),
        int(shot["start_frame"]),
        frames,
        _floats(shot["camera"]["matrix"], (frames, 12)).reshape(frames, 3, 4),
        tuple(_part(part, frames) for part in shot["parts"]),
        _floats(shot["hero"]["opacity"], (frames,)),
        Masking(tuple(map(_order, masking["orders"])), tuple(map(_holdout, masking["holdouts"]))),
        {str(own["part"]): _floats(own["opacity"], (frames,)) for own in shot["hero"].get("parts", ())},
    )


def _part(part: dict[str, Any], frames: int) -> PartTrack:
    samples = part["samples"]
    plate_frame = tuple(None if n is None else float(n) for n in samples["plate_frame"])
    if len(plate_frame) != frames:
        raise ValueError(f"plate_frame has {len(plate_frame)} entries for {frames} frames")
    return PartTrack(
        str(part["id"]),
        _floats(part["route"], (len(part["route"]), 3)),
        _keys(part["keys"]["progress"]),
        _floats(samples["position"], (frames, 3)),
        _floats(samples["screen"], (frames, 2)),
        _floats(samples["scale"], (frames,)),
        _floats(samples["opacity"], (frames,)),
        plate_frame,
        Spin(float(part["spin"]["degrees"]), float(part["spin"]["from"])) if "spin" in part else None,
        _floats(samples["turn"], (frames,)) if "turn" in samples else None,
        _floats(samples["register"], (frames, 4)) if "register" in samples else None,
    )


def _keys(keys: list[dict[str, Any]]) -> tuple[Key, ...]:
    found = tuple(Key(int(key["frame"]), float(key["value"]), key.get("easing")) for key in keys)
    if not found or any(two.frame <= one.frame for one, two in pairwise(found)):
        raise ValueError("keys must stand on ascending frames, one or more")
    for key in found:
        parse_easing(key.easing or "linear")
    return found


def _order(span: dict[str, Any]) -> OrderSpan:
    return OrderSpan(int(span["from"]), int(span["to"]), tuple(map(str, span["back_to_front"])))


def _holdout(holdout: dict[str, Any]) -> Holdout:
    region = tuple(Region(_points(r["outline"]), tuple(map(_points, r["holes"]))) for r in holdout["region"])
    behind = tuple(map(str, holdout["behind"]))
    return Holdout(str(holdout["part"]), int(holdout["from"]), int(holdout["to"]), region, behind)


def _points(ring: Points) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in ring)


def _floats(values: list[Any], shape: tuple[int, ...]) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if array.shape != shape:
        raise ValueError(f"found a list of shape {array.shape} where {shape} is needed")
    if not np.isfinite(array).all():
        raise ValueError("a number is infinite or none")
    return array
