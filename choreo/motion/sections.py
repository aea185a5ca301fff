"""The sections of a film: what the choreography names, and where it names none, cuts every five seconds.

A section is the unit of rendering and of sign-off. Every frame of the film belongs to exactly one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from choreo.model.choreography import FrameRate, Section
from choreo.model.tracks import FilmSection
from choreo.motion.timecode import nominal

LONGEST_SECONDS = 5
"""Of a section that nobody has named, by the count of timecode."""
_SHORTEST_SECONDS = 1
"""A rest shorter than this stays with the section before it."""


@dataclass(frozen=True)
class ShotSpan:
    """Where a shot stands in the film."""

    name: str
    start: int
    frames: int


@dataclass(frozen=True)
class SectionFault:
    """A section that cannot stand as it is written."""

    index: int
    """Of the section, in the order of the file."""
    key: str
    """The key to look at."""
    what: str
    remedy: str


def spans_of(lengths: Iterable[tuple[str, int]]) -> list[ShotSpan]:
    """Return where shots stand in the film, from their names and frames in its order."""
    spans: list[ShotSpan] = []
    start = 0
    for name, frames in lengths:
        spans.append(ShotSpan(name, start, frames))
        start += frames
    return spans


def lay_out_sections(
    sections: Sequence[Section], shots: Sequence[ShotSpan], rate: FrameRate
) -> tuple[tuple[FilmSection, ...], tuple[SectionFault, ...]]:
    """Return the sections of a film in its order, or what is wrong with those that were asked for.

    Parameters
    ----------
    sections : sequence of Section
        As written; they name shots that exist.
    shots : sequence of ShotSpan
        In the order of the film, without gaps.
    rate : FrameRate

    Returns
    -------
    sections : tuple of FilmSection
        Each frame of the film lies in exactly one; empty where there are faults.
    faults : tuple of SectionFault

    """
    spans = {shot.name: shot for shot in shots}
    length = sum(shot.frames for shot in shots)
    placed: list[tuple[int, FilmSection]] = []
    faults: list[SectionFault] = []
    for index, section in enumerate(sections):
        inside = ShotSpan("", 0, length) if section.shot is None else spans[section.shot]
        first = 0 if section.first is None else section.first
        last = inside.frames - 1 if section.last is None else section.last
        fault = _fault(index, section, inside, first, last)
        if fault is None:
            span = FilmSection(section.name, inside.start + first, inside.start + last)
            fault = _overlap(index, span, (other for _, other in placed))
            placed.append((index, span))
        if fault is not None:
            faults.append(fault)
    if faults:
        return (), tuple(faults)
    named = sorted((span for _, span in placed), key=lambda span: span.first)
    return tuple(_with_the_rest(named, shots, rate)), ()


def sections_within(sections: Sequence[FilmSection], shot: ShotSpan) -> tuple[FilmSection, ...]:
    """Return what lies in a shot of the sections of a film."""
    last = shot.start + shot.frames - 1
    cut = [FilmSection(span.name, max(span.first, shot.start), min(span.last, last)) for span in sections]
    return tuple(span for span in cut if span.first <= span.last)


def _fault(index: int, section: Section, inside: ShotSpan, first: int, last: int) -> SectionFault | None:
    whole = f"shot `{inside.name}`" if section.shot is not None else "the film"
    frames = f"{whole} has {inside.frames} frames, 0 to {inside.frames - 1}"
    for key, frame in (("from", first), ("to", last)):
        if not 0 <= frame < inside.frames:
            what = f"Section `{section.name}` runs {key} frame {frame}, but {frames}."
            return SectionFault(index, key, what, "Give a frame that exists, or leave the key out.")
    if last < first:
        what = f"Section `{section.name}` ends on frame {last}, before it begins on frame {first}."
        return SectionFault(index, "to", what, "`from` and `to` are both included: `to` is at least `from`.")
    return None


def _overlap(index: int, span: FilmSection, others: Iterable[FilmSection]) -> SectionFault | None:
    for other in others:
        first, last = max(span.first, other.first), min(span.last, other.last)
        if first <= last:
            what = f"Sections `{other.name}` and `{span.name}` share frames {first} to {last} of the film."
            return SectionFault(index, "from", what, "Each frame is signed off once: move an end of one of the two.")
    return None


def _with_the_rest(named: Sequence[FilmSection], shots: Sequence[ShotSpan], rate: FrameRate) -> list[FilmSection]:
    """The named sections, and cuts of whatever they leave of each shot."""
    taken = {span.name.casefold() for span in named} | {shot.name.casefold() for shot in shots}
    out: list[FilmSection] = list(named)
    for shot in shots:
        end = shot.start + shot.frames
        pieces: list[tuple[int, int]] = []
        at = shot.start
        for span in (*(s for s in named if s.last >= shot.start and s.first < end), None):
            until = end if span is None else span.first
            if until > at:
                pieces.extend(_cut(at, until, rate))
            at = at if span is None else max(at, span.last + 1)
        whole = pieces == [(shot.start, end)] and all(span.name.casefold() != shot.name.casefold() for span in named)
        names = [shot.name] if whole else _names(shot.name, len(pieces), taken)
        out.extend(FilmSection(name, a, b - 1) for name, (a, b) in zip(names, pieces, strict=True))
    return sorted(out, key=lambda span: span.first)


def _cut(start: int, end: int, rate: FrameRate) -> list[tuple[int, int]]:
    """Pieces of at most five seconds; a rest of less than one stays with the piece before it."""
    step, least = LONGEST_SECONDS * nominal(rate), _SHORTEST_SECONDS * nominal(rate)
    marks = list(range(start, end, step))
    if len(marks) > 1 and end - marks[-1] < least:
        marks.pop()
    return list(zip(marks, [*marks[1:], end], strict=True))


def _names(shot: str, count: int, taken: set[str]) -> list[str]:
    """Numbered names that nobody has taken."""
    names: list[str] = []
    number = 0
    while len(names) < count:
        number += 1
        name = f"{shot}-{number}"
        if name.casefold() not in taken:
            taken.add(name.casefold())
            names.append(name)
    return names
