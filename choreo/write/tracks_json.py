"""Tracks to the text of `tracks.json`, and back.

One line holds one array of samples, one layer order or one holdout, so that a difference between two versions
shows which track has changed.
"""

from __future__ import annotations

import itertools
import json
from typing import Any

import numpy as np

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.model.assembly import Ring
from choreo.model.plan import Region
from choreo.model.tracks import Floats, Holdout, Key, Masking, OrderSpan, PartTrack, ShotTracks, Tracks
from choreo.write.json_text import array_text, flat_object, object_text, quoted
from choreo.write.numbers import MASK_DIGITS, MM_DIGITS, PX_DIGITS, numbers_text, rounded

Points = list[list[float]]


def tracks_text(tracks: Tracks) -> str:
    """Return the content of `tracks.json`.

    Samples agree with their route to 1e-9 mm, outlines of masks with their regions to 1e-4 px, everything
    else is exact. Writing what was read gives the same text.

    Parameters
    ----------
    tracks : Tracks
        Finite numbers throughout.

    """
    source = {"assembly": quoted(tracks.assembly_digest), "choreography": quoted(tracks.choreography_digest)}
    pairs = {
        "format": quoted("choreo/tracks"),
        "version": "1",
        "source": flat_object(source),
        "frame_rate": numbers_text(tracks.frame_rate),
        "resolution": numbers_text(tracks.resolution),
        "shots": array_text([_shot_text(shot) for shot in tracks.shots], 1),
    }
    return object_text(pairs, 0) + "\n"


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


def _shot_text(shot: ShotTracks) -> str:
    masking = {
        "orders": array_text([_order_text(span) for span in shot.masking.orders], 4),
        "holdouts": array_text(_holdout_texts(shot.masking.holdouts), 4),
    }
    pairs = {
        "name": quoted(shot.name),
        "start_frame": str(shot.start_frame),
        "frames": str(shot.frames),
        "camera": object_text({"matrix": numbers_text(shot.cameras.reshape(-1, 12))}, 3),
        "parts": array_text([_part_text(part) for part in shot.parts], 3),
        "hero": flat_object({"opacity": numbers_text(shot.hero_opacity)}),
        "masking": object_text(masking, 3),
    }
    return object_text(pairs, 2)


def _part_text(part: PartTrack) -> str:
    samples = {
        "position": numbers_text(rounded(part.position, MM_DIGITS)),
        "screen": numbers_text(rounded(part.screen, PX_DIGITS)),
        "scale": numbers_text(part.scale),
        "opacity": numbers_text(part.opacity),
        "plate_frame": numbers_text(part.plate_frame),
    }
    pairs = {
        "id": quoted(part.id),
        "route": numbers_text(part.route),
        "keys": object_text({"progress": array_text([_key_text(key) for key in part.keys], 6)}, 5),
        "samples": object_text(samples, 5),
    }
    return object_text(pairs, 4)


def _key_text(key: Key) -> str:
    pairs = {"frame": numbers_text(key.frame), "value": numbers_text(key.value)}
    if key.easing is not None:
        pairs["easing"] = quoted(key.easing)
    return flat_object(pairs)


def _order_text(span: OrderSpan) -> str:
    return flat_object({**_span(span), "back_to_front": json.dumps(span.back_to_front)})


def _holdout_texts(holdouts: tuple[Holdout, ...]) -> list[str]:
    """One line a holdout, but for those of which rounding leaves nothing."""
    rings = iter(_rounded_rings([ring for h in holdouts for part in h.region for ring in (part.outline, *part.holes)]))
    lines = []
    for holdout in holdouts:
        parts = [_region(next(rings), [next(rings) for _ in part.holes]) for part in holdout.region]
        region = numbers_text([part for part in parts if part["outline"]])
        if region != "[]":
            ends = {"region": region, "behind": json.dumps(holdout.behind)}
            lines.append(flat_object({"part": quoted(holdout.part), **_span(holdout), **ends}))
    return lines


def _region(outline: Points, holes: list[Points]) -> dict[str, Any]:
    return {"outline": outline, "holes": [hole for hole in holes if hole]}


def _rounded_rings(rings: list[Ring]) -> list[Points]:
    """Rounded rings without points that fall on the one before; empty where fewer than three are left."""
    points = rounded(list(itertools.chain.from_iterable(rings)), MASK_DIGITS).tolist()
    out, start = [], 0
    for ring in rings:
        whole = points[start : start + len(ring)]
        kept = [point for index, point in enumerate(whole) if point != whole[index - 1]]
        out.append(kept if len(kept) >= 3 else [])
        start += len(ring)
    return out


def _span(of: OrderSpan | Holdout) -> dict[str, str]:
    return {"from": str(of.first), "to": str(of.last)}


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
    return Tracks(
        str(content["source"]["assembly"]),
        str(content["source"]["choreography"]),
        (numerator, denominator),
        (width, height),
        tuple(_shot(shot) for shot in content["shots"]),
    )


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
    )


def _part(part: dict[str, Any], frames: int) -> PartTrack:
    samples = part["samples"]
    plate_frame = tuple(None if n is None else float(n) for n in samples["plate_frame"])
    if len(plate_frame) != frames:
        raise ValueError(f"plate_frame has {len(plate_frame)} entries for {frames} frames")
    return PartTrack(
        str(part["id"]),
        _floats(part["route"], (len(part["route"]), 3)),
        tuple(Key(key["frame"], float(key["value"]), key.get("easing")) for key in part["keys"]["progress"]),
        _floats(samples["position"], (frames, 3)),
        _floats(samples["screen"], (frames, 2)),
        _floats(samples["scale"], (frames,)),
        _floats(samples["opacity"], (frames,)),
        plate_frame,
    )


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
    return array
