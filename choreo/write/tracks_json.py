"""Tracks to the text of `tracks.json`; `choreo.read.tracks_json` reads it again.

One line holds one array of samples, one layer order or one holdout, so that a difference between two versions
shows which track has changed.
"""

from __future__ import annotations

import itertools
import json
from typing import Any

from choreo.model.assembly import Ring
from choreo.model.digits import MM_DIGITS, PX_DIGITS, TURN_DIGITS
from choreo.model.tracks import FilmSection, Holdout, Key, OrderSpan, PartTrack, ShotTracks, Tracks
from choreo.write.json_text import array_text, flat_object, object_text, quoted
from choreo.write.numbers import MASK_DIGITS, numbers_text, rounded

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
    if tracks.sections:
        pairs["sections"] = array_text([_section_text(section) for section in tracks.sections], 1)
    return object_text(pairs, 0) + "\n"


def _section_text(section: FilmSection) -> str:
    return flat_object({"name": quoted(section.name), **_span(section)})


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
        "hero": _hero_text(shot),
        "masking": object_text(masking, 3),
    }
    return object_text(pairs, 2)


def _hero_text(shot: ShotTracks) -> str:
    opacity = {"opacity": numbers_text(shot.hero_opacity)}
    if not shot.hero_parts:
        return flat_object(opacity)
    rows = [(part.id, shot.hero_parts[part.id]) for part in shot.parts if part.id in shot.hero_parts]
    own = [flat_object({"part": quoted(part), "opacity": numbers_text(row)}) for part, row in rows]
    return object_text({**opacity, "parts": array_text(own, 4)}, 3)


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
    }
    if part.spin is not None and part.turn is not None:
        pairs["spin"] = flat_object({"degrees": numbers_text(part.spin.degrees), "from": numbers_text(part.spin.since)})
        samples["turn"] = numbers_text(rounded(part.turn, TURN_DIGITS))
    if part.register is not None:
        samples["register"] = numbers_text(rounded(part.register, PX_DIGITS))
    return object_text({**pairs, "samples": object_text(samples, 5)}, 4)


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


def _span(of: OrderSpan | Holdout | FilmSection) -> dict[str, str]:
    return {"from": str(of.first), "to": str(of.last)}
