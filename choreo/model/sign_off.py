"""Who has said what of which section, and what the sections are now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

APPROVED, NOT_YET, NO_MARK = "approved", "not-yet", "none"
"""What may be said of a section; a note without a mark is `NO_MARK`."""


@dataclass(frozen=True)
class Makings:
    """What the picture of a section is made of, each as a short digest: they only serve to say what has changed."""

    common: Mapping[str, str] = field(default_factory=dict)
    """film, camera, screen, order, masks, hero."""
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
    """Digest of what it shows."""
    makings: Makings

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
