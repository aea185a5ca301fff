"""What a section of the film is made of, frame by frame: where it is equal, so is the picture.

A section is its frames, one after another, at its frame rate; what one frame is made of says `frame_content`. Nothing
else counts: not its name, nor where in the film it lies. The shutter is taken to be open, so what frames beyond its
ends put into the blur of its first and last one is in it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from choreo.model.sign_off import Makings, SectionNow
from choreo.model.tracks import FilmSection, ShotTracks, Tracks
from choreo.review.frame_content import COMMON, OF_PARTS, FrameContents, packed

_KIND = "choreo/section 2"
"""Changes when other things are covered, so that old digests are not taken for new ones."""
_SHORT = 12
"""Digits of a short digest: enough to tell frames of one film apart, and lines stay short."""


def section_now(contents: FrameContents, tracks: Tracks, section: FilmSection) -> SectionNow:
    """Return a section as it is.

    Parameters
    ----------
    contents : FrameContents
        Of these tracks, with an open shutter.
    tracks : Tracks
        As read from `tracks.json`.
    section : FilmSection

    Returns
    -------
    SectionNow
        Two sections whose `content` is the same have the same makings but for names, and show the same picture.

    Raises
    ------
    ValueError
        If its frames are not all in the film.

    """
    names = {track.id: None for shot in tracks.shots for track in shot.parts}
    common = {name: hashlib.sha256() for name in COMMON}
    parts = {part: {name: hashlib.sha256() for name in OF_PARTS} for part in names}
    # A film is frames in time: the rate is part of the picture.
    whole = hashlib.sha256(packed(_KIND, tracks.frame_rate))
    common["film"].update(packed(tracks.frame_rate))
    frames = []
    for shot, frame in frames_of(tracks, section.first, section.last):
        pieces = contents.pieces(shot, frame)
        whole.update(bytes.fromhex(pieces.digest))
        frames.append(pieces.digest[:_SHORT])
        for name, piece in pieces.common.items():
            common[name].update(packed(piece))
        for part, own in pieces.parts.items():
            for name, piece in own.items():
                parts[part][name].update(packed(piece))
    made_of = Makings(
        {name: digest.hexdigest()[:_SHORT] for name, digest in common.items()},
        {part: {name: digest.hexdigest()[:_SHORT] for name, digest in own.items()} for part, own in parts.items()},
    )
    content = f"sha256:{whole.hexdigest()}"
    return SectionNow(section.name, section.first, section.last, content, made_of, tuple(frames), tracks.frame_rate)


def frames_of(tracks: Tracks, first: int, last: int) -> Iterator[tuple[ShotTracks, int]]:
    """Yield shot and frame of the shot for some frames of the film; `ValueError` if they are not all in it."""
    found = [
        (shot, frame - shot.start_frame)
        for shot in tracks.shots
        for frame in range(max(first, shot.start_frame), min(last, shot.start_frame + shot.frames - 1) + 1)
    ]
    if not found or len(found) != last - first + 1:
        raise ValueError(f"frames {first} to {last} are not all in the film")
    yield from found
