"""What the picture of a section is made of, piece by piece, so that a stale approval can say what has changed."""

from __future__ import annotations

from collections.abc import Mapping

from choreo.model.assembly import Assembly
from choreo.model.sign_off import Makings
from choreo.model.tracks import Tracks
from choreo.review.section_content import (
    Content,
    add_hero,
    add_plates,
    add_solid,
    add_taken,
    held_on,
    orders_of,
    rows_of,
    stretches_of,
)

_SHORT = slice(7, 19)
"""Of a digest: twelve digits tell changes of one section apart, and lines stay short."""


def section_makings(
    tracks: Tracks, assembly: Assembly, first: int, last: int, pictures: Mapping[str, str] | None = None
) -> Makings:
    """Return short digests of the pieces that `section_digest` covers as a whole.

    Parameters
    ----------
    tracks, assembly, first, last, pictures
        See `section_digest`.

    Returns
    -------
    Makings
        With its length and the ids of its parts as they are, two sections of other content differ in at least one of
        them. `screen` follows from camera, paths and offsets.

    """
    stretches = stretches_of(tracks, first, last)
    known = pictures or {}
    common = {name: Content() for name in ("film", "camera", "screen", "order", "masks", "hero")}
    parts = {part.id: {name: Content() for name in ("path", "look", "plate")} for part in assembly.parts}
    common["film"].add(tracks.frame_rate, tracks.resolution)
    for part in assembly.parts:
        add_solid(parts[part.id]["look"], part)
        add_plates(parts[part.id]["plate"], part.id, assembly, stretches, known)
    add_hero(common["hero"], assembly, stretches, known)
    ids = {part: part for part in assembly.ids}
    for stretch in stretches:
        common["camera"].add("stretch", stretch.shot.cameras[stretch.around(2)])
        common["hero"].add("stretch", stretch.shot.hero_opacity[stretch.around(1)])
        add_taken(common["hero"], stretch, ids)
        for track in sorted(stretch.shot.parts, key=lambda one: one.id):
            rows, own = rows_of(track, stretch), parts[track.id]
            own["path"].add("stretch", *rows.path)
            own["look"].add("stretch", rows.opacity)
            own["plate"].add("stretch", *rows.plate)
            common["screen"].add(track.id, *rows.screen)
        for order, held in zip(orders_of(stretch), held_on(stretch, ids), strict=True):
            common["order"].add("frame", order)
            common["masks"].add("frame", len(held), *held)
    return Makings(_short(common), {part: _short(own) for part, own in parts.items()})


def _short(contents: Mapping[str, Content]) -> dict[str, str]:
    return {name: content.digest()[_SHORT] for name, content in contents.items()}
