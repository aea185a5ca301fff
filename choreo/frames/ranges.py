"""Which frames of a film are meant: a shot, a section, a range of frames or of timecode."""

from __future__ import annotations

import re
from dataclasses import dataclass

from choreo.errors import ChoreoError, Finding, wrong_input
from choreo.model.choreography import FrameRate
from choreo.model.tracks import Tracks
from choreo.motion.timecode import parse_timecode, timecode
from choreo.read.notes import clipped, printable

_NUMBERS = re.compile(r"(\d{1,9})(?:-(\d{1,9}))?", re.ASCII)
_TIMECODES = re.compile(r"([0-9:;]+)(?:-([0-9:;]+))?", re.ASCII)


@dataclass(frozen=True)
class Range:
    """Frames of a film, both ends included, and what they are called."""

    first: int
    last: int
    name: str
    """Fit for a file name: of a shot or section, ``film``, or ``frames-12-47``."""

    @property
    def frames(self) -> range:
        """The frames."""
        return range(self.first, self.last + 1)

    def __len__(self) -> int:
        """Return how many frames there are."""
        return self.last + 1 - self.first


def chosen_range(
    tracks: Tracks,
    *,
    shot: str | None = None,
    section: str | None = None,
    frames: str | None = None,
    option: str = "--frames",
) -> Range:
    """Return the frames that are asked for; all of the film where nothing is.

    Parameters
    ----------
    tracks : Tracks
    shot, section : str, optional
        Names; one of them at most.
    frames : str, optional
        ``A-B`` or ``A``: frames of the film counted from 0, or timecode, ``00:00:01:00-00:00:02:00``; the last one is
        included. With a shot or a section: only the frames that lie in it.
    option : str
        What `frames` was given as, for what is said about it.

    Raises
    ------
    ChoreoError
        Exit 2, naming what can be chosen.

    """
    whole = Range(tracks.shots[0].start_frame, tracks.shots[-1].start_frame + tracks.shots[-1].frames - 1, "film")
    if shot is not None and section is not None:
        raise _wrong("two-ranges", "Both --shot and --section are given.", "Give one of them.")
    if shot is not None:
        whole = _named("shot", shot, [Range(s.start_frame, s.start_frame + s.frames - 1, s.name) for s in tracks.shots])
    if section is not None:
        whole = _named("section", section, [Range(s.first, s.last, s.name) for s in tracks.sections])
    if frames is None:
        return whole
    first, last = _parsed(frames, FrameRate(*tracks.frame_rate))
    if last < first:
        raise _wrong("upside-down", f"{option} runs from {first} back to {last}.", "Give the first frame first.")
    if first < whole.first or last > whole.last:
        rate = FrameRate(*tracks.frame_rate)
        where = "film" if whole.name == "film" else f'range of "{printable(whole.name)}"'
        asked = f"{first}" if first == last else f"{first} to {last}"
        raise _wrong(
            "frames-outside",
            f"{option} asks for {asked}, but the {where} has the frames {whole.first} to {whole.last}.",
            f"Timecode runs from {timecode(whole.first, rate)} to {timecode(whole.last, rate)} there.",
        )
    name = f"frame-{first}" if first == last else f"frames-{first}-{last}"
    return whole if (first, last) == (whole.first, whole.last) else Range(first, last, name)


def place_of(tracks: Tracks, frame: int) -> tuple[str, int]:
    """Return the shot that a frame of the film lies in, and its number there."""
    shot = next(s for s in tracks.shots if s.start_frame <= frame < s.start_frame + s.frames)
    return shot.name, frame - shot.start_frame


def _named(kind: str, name: str, known: list[Range]) -> Range:
    for one in known:
        if one.name == name:
            return one
    listed = ", ".join(one.name for one in known[:20]) + (" ..." if len(known) > 20 else "")
    what = f'There is no {kind} "{printable(clipped(name))}".'
    raise _wrong(f"unknown-{kind}", what, f"Choose one of: {listed}.")


def _parsed(text: str, rate: FrameRate) -> tuple[int, int]:
    numbers = _NUMBERS.fullmatch(text)
    if numbers is not None:
        return int(numbers[1]), int(numbers[2] or numbers[1])
    codes = _TIMECODES.fullmatch(text)
    if codes is None:
        what = f'"{printable(clipped(text))}" is no range of frames.'
        raise _wrong("no-range", what, "Write e.g. 12-47, or 00:00:00:12-00:00:01:23; the last frame is included.")
    try:
        first = parse_timecode(codes[1], rate)
        return first, parse_timecode(codes[2], rate) if codes[2] else first
    except ValueError as error:
        raise _wrong("no-timecode", str(error), "Or give the numbers of frames, e.g. 12-47.") from None


def _wrong(code: str, what: str, remedy: str) -> ChoreoError:
    return wrong_input(Finding(code, what, remedy=remedy))
