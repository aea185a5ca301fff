"""Whether a section still shows the picture that was marked.

That is told by what its frames are made of where that will do, else by the frames themselves. Frames made of the same
show the same, as long as the same code draws them; so does a section whose frames all do. Of frames that are made
otherwise, or drawn by other code, only their pictures can tell. Those that the ledger knows need not be drawn again: it
notes, for each frame of a marked section, what that was made of and what it looked like.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from choreo.model.sign_off import Mark, SectionNow, from_runs, paired


@dataclass(frozen=True)
class Sight:
    """How frames look, as far as it is known."""

    drawing: str = ""
    """The present state of the code that draws; empty: pictures are not looked at, what they are made of decides."""
    known: Mapping[str, str] = field(default_factory=dict)
    """Pictures of frames as that code draws them, by what they are made of; both as short digests."""

    def also(self, more: Mapping[str, str]) -> Sight:
        """Return the same with more pictures known."""
        return Sight(self.drawing, {**self.known, **more})


BLIND = Sight()
"""What a section is made of decides."""


def sight_of(ledger: Sequence[Mark], drawing: str) -> Sight:
    """Return what a ledger knows of pictures as the present code draws them."""
    known: dict[str, str] = {}
    for mark in ledger:
        if mark.has_pictures and mark.drawn_with == drawing:
            known.update(paired(mark.frame_contents, mark.frame_pictures))
    return Sight(drawing, known)


@dataclass(frozen=True)
class Seen:
    """What is known of a section's picture beside one that was marked."""

    same: bool | None
    """Whether it is the same picture; None: some frames have to be drawn to tell."""
    looked: bool = False
    """Whether pictures have told, and not what they are made of."""
    differing: tuple[int, ...] = ()
    """Frames of the section that are known to look otherwise, counted from 0."""
    unknown: tuple[int, ...] = ()
    """Frames of the section that would have to be drawn."""
    redrawn: bool = False
    """Whether the code that draws is another one now."""

    @property
    def first(self) -> int | None:
        """The first frame that looks otherwise, if it is known to be the first."""
        if not self.differing or (self.unknown and self.unknown[0] < self.differing[0]):
            return None
        return self.differing[0]

    @property
    def before_first(self) -> tuple[int, ...]:
        """The frames that would have to be drawn to tell which is the first to look otherwise, or that none does."""
        end = self.differing[0] if self.differing else None
        return tuple(frame for frame in self.unknown if end is None or frame < end)


def seen(mark: Mark, section: SectionNow, sight: Sight) -> Seen:
    """Return what is known of a section's picture beside the one that was marked.

    Parameters
    ----------
    mark : Mark
    section : SectionNow
    sight : Sight

    """
    looking = bool(sight.drawing) and mark.has_pictures
    redrawn = looking and mark.drawn_with != sight.drawing
    if mark.content == section.content and not redrawn:
        return Seen(same=True)
    # Another length, resolution or rate is another picture, whatever the frames show.
    film = mark.makings.common.get("film")
    if not looking or mark.frames != section.frames or film != section.makings.common.get("film"):
        return Seen(same=False)
    was, looked = from_runs(mark.frame_contents), from_runs(mark.frame_pictures)
    differing, unknown = [], []
    for frame, (then, now, picture) in enumerate(zip(was, section.frame_contents, looked, strict=True)):
        if then == now and not redrawn:
            continue
        if now not in sight.known:
            unknown.append(frame)
        elif sight.known[now] != picture:
            differing.append(frame)
    same = False if differing else None if unknown else True
    return Seen(same, looked=True, differing=tuple(differing), unknown=tuple(unknown), redrawn=redrawn)
