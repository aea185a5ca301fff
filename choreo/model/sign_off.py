"""Who has said what of which section, and what the sections are now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

APPROVED, NOT_YET, NO_MARK = "approved", "not-yet", "none"
"""What may be said of a section; a note without a mark is `NO_MARK`."""


@dataclass(frozen=True)
class Makings:
    """What the picture of a section is made of, each as a short digest: they only serve to say what has changed."""

    common: Mapping[str, str] = field(default_factory=dict)
    """film, camera, time, order, masks, hero, home."""
    parts: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Of each part, by its id: path, look, plate."""


@dataclass(frozen=True)
class SectionNow:
    """A section of the film as it is at present."""

    name: str
    first: int
    """First and last frame of the film, both included."""
    last: int
    content: str
    """Digest of what it is made of."""
    makings: Makings
    frame_contents: tuple[str, ...] = ()
    """Of each of its frames, a short digest of what that is made of."""
    rate: tuple[int, int] = (24, 1)
    """Frames a second, as a fraction."""

    @property
    def frames(self) -> int:
        """How many frames it has."""
        return self.last - self.first + 1


@dataclass(frozen=True)
class Mark:
    """One entry of the ledger."""

    section: str
    """The section's name at that time."""
    verdict: str
    by: str
    on: str
    """Year, month and day."""
    content: str
    frames: int
    note: str = ""
    makings: Makings = Makings()
    frame_contents: str = ""
    """What each frame was made of, as `runs` has it; empty in entries of before there were any."""
    frame_pictures: str = ""
    """The picture of each frame, as `runs` has it; empty where the content alone was signed."""
    drawn_with: str = ""
    """Which state of the code that draws, and of its libraries, has drawn these pictures."""

    @property
    def has_pictures(self) -> bool:
        """Whether it says what each frame looked like, and of what that was made."""
        return bool(self.frame_contents and self.frame_pictures and self.drawn_with)


@dataclass(frozen=True)
class SectionSaid:
    """What a director's file says of one section."""

    section: str
    first: int
    last: int
    content: str
    verdict: str
    note: str


@dataclass(frozen=True)
class DirectorsFile:
    """What a director has marked on a review page."""

    project: str
    by: str
    on: str
    """The day on which it was saved."""
    sections: tuple[SectionSaid, ...]


def runs(digests: Sequence[str]) -> str:
    """Return short digests, one a frame, as one line: ``"0a1b2c3d4e5f*36 ..."`` where 36 in a row are the same."""
    grouped = ((digest, sum(1 for _ in same)) for digest, same in groupby(digests))
    return " ".join(digest if count == 1 else f"{digest}*{count}" for digest, count in grouped)


def in_runs(line: str) -> int:
    """Return how many digests a line of `runs` stands for."""
    return sum(count for _, count in _counted(line))


def from_runs(line: str) -> tuple[str, ...]:
    """Return the digests that a line of `runs` stands for."""
    return tuple(digest for digest, count in _counted(line) for _ in range(count))


def paired(one: str, two: str) -> dict[str, str]:
    """Return which digest of a second line stands for the same frame as each digest of a first one."""
    found, ones, twos = {}, _counted(one), _counted(two)
    at, to = 0, 0
    index = other = 0
    while index < len(ones) and other < len(twos):
        found[ones[index][0]] = twos[other][0]
        ends = at + ones[index][1], to + twos[other][1]
        if ends[0] <= ends[1]:
            index, at = index + 1, ends[0]
        if ends[1] <= ends[0]:
            other, to = other + 1, ends[1]
    return found


def _counted(line: str) -> list[tuple[str, int]]:
    pairs = (word.partition("*") for word in line.split())
    return [(digest, int(count or 1)) for digest, _, count in pairs]
