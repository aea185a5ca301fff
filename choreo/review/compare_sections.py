"""Which sections of two compiles differ, on how many frames, and in what.

Where both assemblies are known, contents of sections are held against each other (so looks and plates count as well);
else what the tracks tell. A section that merely lies elsewhere in the film, or that an equal one of another shot name
stands for, shows the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from choreo.model.sign_off import APPROVED, SectionNow
from choreo.model.tracks import FilmSection, Tracks
from choreo.review.signing import mark_of
from choreo.review.standing import Change, changes

DIFFERS, GONE, NEW = "differs", "gone", "new"
Piece = tuple[str, int, int]
"""A shot, and first and last frame in it."""


@dataclass(frozen=True)
class SectionDifference:
    """One section that differs."""

    section: str
    state: str
    """differs, gone or new."""
    frames_old: int
    frames_new: int
    changed_frames: int
    """Of the frames that both have: on how many the tracks differ."""
    changed: tuple[Change, ...] = ()
    """What its picture differs in, where both assemblies are known."""


def compare_sections(
    old: Tracks,
    new: Tracks,
    differing: Mapping[str, Sequence[int]],
    contents: tuple[Sequence[SectionNow], Sequence[SectionNow]] | None = None,
) -> tuple[SectionDifference, ...]:
    """Return the sections that differ, in the order of the new film; those that are gone at the end.

    Parameters
    ----------
    old, new : Tracks
    differing : mapping of shot name to frames
        Of shots that both have: the frames on which their tracks differ; all frames where the film as a whole does.
    contents : (old, new), optional
        What the sections of both show.

    """
    before, after = {one.name: one for one in old.sections}, {one.name: one for one in new.sections}
    was = {} if contents is None else {one.name: one for one in contents[0]}
    now = {} if contents is None else {one.name: one for one in contents[1]}
    found = []
    for name, section in after.items():
        if name not in before:
            found.append(SectionDifference(name, NEW, 0, _frames(section), 0))
            continue
        pieces = _pieces(old, before[name]), _pieces(new, section)
        count = sum(_count(piece, pieces[1], differing) for piece in pieces[0])
        one = SectionDifference(name, DIFFERS, _frames(before[name]), _frames(section), count)
        if name in was and name in now:
            if was[name].content != now[name].content:
                found.append(_told(one, was[name], now[name]))
        elif count or pieces[0] != pieces[1]:
            found.append(one)
    gone = [SectionDifference(name, GONE, _frames(one), 0, 0) for name, one in before.items() if name not in after]
    return (*found, *gone)


def _told(one: SectionDifference, was: SectionNow, now: SectionNow) -> SectionDifference:
    told = changes(mark_of(was, APPROVED, "", "", ""), now)
    return SectionDifference(one.section, one.state, one.frames_old, one.frames_new, one.changed_frames, told)


def _frames(section: FilmSection) -> int:
    return section.last - section.first + 1


def _pieces(tracks: Tracks, section: FilmSection) -> list[Piece]:
    """What a section has of each shot."""
    return [
        (shot.name, max(section.first - shot.start_frame, 0), min(section.last - shot.start_frame, shot.frames - 1))
        for shot in tracks.shots
        if shot.start_frame <= section.last and section.first < shot.start_frame + shot.frames
    ]


def _count(piece: Piece, others: Sequence[Piece], differing: Mapping[str, Sequence[int]]) -> int:
    """Frames of a piece that another one has too, and on which tracks differ."""
    shot, first, last = piece
    spans = [(max(first, low), min(last, high)) for name, low, high in others if name == shot]
    return sum(low <= frame <= high for frame in differing.get(shot, ()) for low, high in spans)
