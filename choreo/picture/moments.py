"""Which frames of a shot a storyboard shows, and what happens on them.

Between its moves a shot stands still, assembled or at rest: each such stretch is one picture. While parts move
there are three: the first one to leave (or to enter) as it is seen to, the middle, and the last one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from choreo.model.assembly import Assembly, Part
from choreo.model.plan import Floats
from choreo.model.report import MoveReport, ShotReport
from choreo.model.tracks import PartTrack, ShotTracks
from choreo.picture.lettering import cut

_SEEN = 0.04
"""Share of the frame's diagonal that a part has gone when one sees that it leaves."""
_ENTERING, _LANDING = 0.5, 0.3
"""Share of its way on the screen that a part has left when it is shown entering, and when the last one is."""

_SHORT = 28
"""Letters up to which two names stand in a caption."""
_NAME_EMS = 16.0
"""Width at which a name is cut, so that a caption says what happens whatever the name."""
_NAMED = 4
"""So many parts that move at once are labelled."""


@dataclass(frozen=True)
class Moment:
    """One picture of a storyboard.

    Attributes
    ----------
    frame : int
        Counted in the shot.
    caption : str
        What happens, in a few words.
    kind : str
        ``"assembled"``, ``"moving"`` or ``"rest"``.
    named : tuple of str
        Ids of the parts that the caption is about.

    """

    frame: int
    caption: str
    kind: str
    named: tuple[str, ...] = ()


Moves = Sequence[tuple[str, MoveReport]]


def moments(
    shot: ShotTracks, report: ShotReport, assembly: Assembly, resolution: tuple[int, int]
) -> tuple[Moment, ...]:
    """Return the moments of a shot that matter, ascending, no frame twice.

    Parameters
    ----------
    shot : ShotTracks
        Where everything is.
    report : ShotReport
        Of the same shot: which part moves when.
    assembly : Assembly
        For names and places.
    resolution : (width, height)
        px.

    """
    groups = _groups(report)
    tracks, parts = {track.id: track for track in shot.parts}, {part.id: part for part in assembly.parts}
    numbers = {part.id: part.removal_number or 0 for part in report.parts}
    scene = _Scene(shot, tracks, parts, float(np.hypot(*resolution)), numbers)
    found = _still(shot, report, groups, with_hero=assembly.hero is not None)
    found += [moment for moves in groups for moment in scene.moving(moves)]
    kept: dict[int, Moment] = {}
    for moment in found:  # what stands still was found first and goes before what moves
        if not any(abs(moment.frame - frame) <= (moment.kind == "moving") for frame in kept):
            kept[moment.frame] = moment
    return tuple(kept[frame] for frame in sorted(kept))


def _groups(report: ShotReport) -> list[Moves]:
    """For each phase in which anything moves, the parts that do: one that goes in several moves is one part."""
    by_phase: dict[int, dict[str, MoveReport]] = {}
    for part in report.parts:
        for move in part.moves:
            spans = by_phase.setdefault(move.phase, {})
            span = spans.get(part.id, move)
            start, arrive = min(span.start, move.start), max(span.arrive, move.arrive)
            spans[part.id] = replace(span, start=start, arrive=arrive)
    return [list(by_phase[phase].items()) for phase in sorted(by_phase)]


def _still(shot: ShotTracks, report: ShotReport, groups: list[Moves], *, with_hero: bool) -> list[Moment]:
    """One moment for each stretch without moves: at a cut the frame of the cut, otherwise its middle."""
    last = shot.frames - 1
    starts = [0, *(max(move.arrive for _, move in moves) for moves in groups)]
    ends = [*(min(move.start for _, move in moves) for moves in groups), last]
    exploded = [bool(groups) and groups[0][0][1].kind == "assemble"]
    exploded += [moves[0][1].kind == "explode" for moves in groups]
    found = []
    for index, (start, end) in enumerate(zip(starts, ends, strict=True)):
        frame = 0 if index == 0 else last if index == len(groups) else (start + end) // 2
        if exploded[index]:
            found.append(Moment(min(frame, last), _rest_caption(report), "rest"))
        else:
            found.append(
                Moment(min(frame, last), _assembled_caption(shot, min(frame, last), with_hero=with_hero), "assembled")
            )
    return found


def _rest_caption(report: ShotReport) -> str:
    if report.least_gap_px is None:
        return "All parts at rest"
    return f"All parts at rest, {int(report.least_gap_px * 10 + 0.1) / 10:g} px apart or more"


def _assembled_caption(shot: ShotTracks, frame: int, *, with_hero: bool) -> str:
    if shot.hero_opacity[frame] <= 0:
        return "Assembled"
    if not with_hero:
        return "Assembled; the hero still is yet to come"
    if frame == 0 and shot.frames > 1:
        return "The hero still hands over"
    return "The hero still has taken over"


@dataclass(frozen=True)
class _Scene:
    """One shot, asked where its parts are on the screen."""

    shot: ShotTracks
    tracks: Mapping[str, PartTrack]
    parts: Mapping[str, Part]
    diagonal: float
    numbers: Mapping[str, int]
    """Removal numbers, as they stand beside the parts."""

    def moving(self, moves: Moves) -> list[Moment]:
        """First, last and middle of one phase's moves."""
        explode = moves[0][1].kind == "explode"
        first = min(move.start for _, move in moves)
        firsts = [pair for pair in moves if pair[1].start == first]
        if explode:
            end = max(move.start for _, move in moves)
            lasts = [pair for pair in moves if pair[1].start == end]
            shown = whole = {part: self._leaving((part, move)) for part, move in moves}
            verb = "leaves", "leave"
        else:
            end = max(move.arrive for _, move in moves)
            lasts = [pair for pair in moves if pair[1].arrive == end]
            shown = {part: self._entering((part, move), _ENTERING) for part, move in moves}
            whole = {part: self._entering((part, move), _LANDING) for part, move in moves}
            verb = "goes in", "go in"
        one, other = shown[firsts[0][0]], whole[lasts[0][0]]
        many = len(firsts) < len(moves)
        # Who starts first may be seen to go after others, or be delayed against the order of removal: then the pictures
        # or the numbers beside the parts would belie the word.
        number = [self.numbers[part] for part, _ in moves]
        is_first = many and one == min(shown.values()) and one < other
        is_last = other == max(whole.values()) and one < other
        if explode:
            is_first = is_first and min(number) in {self.numbers[part] for part, _ in firsts}
            is_last = is_last and max(number) in {self.numbers[part] for part, _ in lasts}
        found = [self._named(one, firsts, verb, "first" if is_first else "")]
        if many:
            found.append(self._named(other, lasts, verb, "last" if is_last else ""))
        middle = (first + max(move.arrive for _, move in moves)) // 2
        return [*found, Moment(middle, _count_caption(moves, middle, explode=explode), "moving")]

    def _named(self, frame: int, moves: Moves, verb: tuple[str, str], when: str) -> Moment:
        ids = [part for part, _ in moves]
        caption = f"{self._who(ids)} {verb[len(ids) > 1]} {when}".rstrip()
        return Moment(frame, caption, "moving", tuple(ids) if len(ids) <= _NAMED else ())

    def _who(self, ids: Sequence[str]) -> str:
        names = " and ".join(cut(self.parts[part].label, 1.0, _NAME_EMS) for part in ids[:2])
        return names if len(ids) == 1 or (len(ids) == 2 and len(names) <= _SHORT) else f"{len(ids)} parts"

    def _leaving(self, pair: tuple[str, MoveReport]) -> int:
        """The first frame on which one sees that the part has left."""
        away, move = self._away(pair[0]), pair[1]
        seen = np.flatnonzero(away[move.start : move.arrive] >= _SEEN * self.diagonal)
        return self._inside(move, int(seen[0]) if len(seen) else (move.arrive - move.start) // 2)

    def _entering(self, pair: tuple[str, MoveReport], share: float) -> int:
        """The first frame on which the part has no more than that share of its way left."""
        away, move = self._away(pair[0]), pair[1]
        near = np.flatnonzero(away[move.start : move.arrive] <= share * away[move.start])
        return self._inside(move, int(near[0]) if len(near) and near[0] else (move.arrive - move.start) // 2)

    def _inside(self, move: MoveReport, after: int) -> int:
        return min(move.start + max(after, 1), move.arrive, self.shot.frames - 1)

    def _away(self, part_id: str) -> Floats:
        """(frames,) px between where the part's origin is and where it would be assembled."""
        home = np.array([*self.parts[part_id].offset, 1.0])
        image = self.shot.cameras @ home
        distance: Floats = np.linalg.norm(self.tracks[part_id].screen - image[:, :2] / image[:, 2:], axis=1)
        return distance


def _count_caption(moves: Moves, frame: int, *, explode: bool) -> str:
    away = sum(move.start < frame < move.arrive for _, move in moves)
    done = sum(move.arrive <= frame for _, move in moves)
    what = f"{away} of {len(moves)} parts under way"
    return f"{what}, {done} {'at rest' if explode else 'in place'}" if done else what
