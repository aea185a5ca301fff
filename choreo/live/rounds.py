"""From a save to what the page shows: what the edit touches is computed, and each thing is told once it is known.

First come the new paths and times, with the layer order of before: that is what a designer wants to see at once. Then
the true orders and masks; then the panels, charts and numbers below the picture.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from choreo.compile import Film
from choreo.errors import ChoreoError, Finding
from choreo.frames.compiled import compile_project
from choreo.frames.plates import ShotPlates, plates_of
from choreo.frames.small_plates import small_plates
from choreo.live.follow import Follower, files_at, files_of
from choreo.live.message import DRAWN, FAILED, MOVING, WHOLE, Message
from choreo.model.plan import Floats
from choreo.model.tracks import Masking, OrderSpan, ShotTracks
from choreo.picture.page.document import PageFilm, page_pieces
from choreo.picture.page.film_data import film_head, film_length, shot_data
from choreo.picture.page.plates import SmallPlate
from choreo.read.project import Project, read_project
from choreo.read.stamp import stamp_of
from choreo.recall import Memory
from choreo.tracked_shot import Paths

_TRACKS = "tracks of "
_HEAD = ""
"""Stands for the film without its shots; no shot is called that."""
Plates = Mapping[str, Mapping[str, SmallPlate]]


@dataclass(eq=False)
class Desk:
    """A project on the desk: what was made of it last."""

    path: Path
    tell: Callable[[Message], None]
    search: int = 1
    memory: Memory = field(default_factory=Memory)
    rounds: int = 0
    _shots: dict[str, ShotTracks] = field(default_factory=dict)
    """As they were told last, by name."""
    _plates: Plates = field(default_factory=dict)
    _hero: SmallPlate | None = None
    _order: tuple[str, ...] = ()
    _spans: dict[str, tuple[int, int]] = field(default_factory=dict)
    """First frame and frames of each shot, as the page has them."""
    _project: Project | None = None
    _plate_sets: int = 0
    """How many sets of plates there have been."""
    _drawn: list[tuple[ShotTracks, int, dict[str, Any]]] = field(default_factory=list)
    """Shots with the set of plates they were drawn with, and their data; the latest first."""
    _told: dict[str, Any] = field(default_factory=dict)
    """Head and shots as they were told last."""

    def follower(self) -> Follower:
        """Return what follows the project's files; more are followed once it could be read."""
        return Follower(files_at(self.path))

    def round(self, follower: Follower) -> None:
        """Compile the project as it is now, and tell what came of it."""
        self.rounds += 1
        try:
            self._project = project = read_project(self.path)
            follower.follow(files_of(self.path, project))
            film = compile_project(project, self._hear, search=self.search, recall=self.memory)
            self._draw(project, film)
        except ChoreoError as error:
            known = bool(self._shots)
            said = "This cannot be compiled. The last good picture stays." if known else "This cannot be compiled yet."
            self.tell(Message(self.rounds, FAILED, said, findings=error.findings))

    def _hear(self, stage: str, artefact: Any) -> None:
        """Tell new paths at once, with what is known of the order of layers."""
        if stage.startswith(_TRACKS):
            self._moved(artefact)
        elif stage == "paths":
            self._lengthened(artefact)

    def _moved(self, shot: ShotTracks) -> None:
        """Tell the new paths of a shot that has its old place in the film."""
        if self._spans.get(shot.name) != (shot.start_frame, shot.frames) or not self._is_known(shot):
            return  # other frames of the film move as well: all of it is told together
        said = f"{shot.name}: new paths and times; layer order and masks follow."
        self.tell(Message(self.rounds, MOVING, said, order=self._order, shots=self._guessed([shot])))

    def _lengthened(self, paths: Paths) -> None:
        """Tell the new paths of all shots together, where one of them has become longer, or shorter."""
        spans = {shot.name: (shot.start_frame, shot.frames) for shot in paths.shots}
        if spans == self._spans or list(spans) != list(self._spans) or not all(map(self._is_known, paths.shots)):
            return
        self._spans = spans
        length = film_length(paths.shots, paths.sections)
        self._told[_HEAD] = None
        said = "New lengths, paths and times; layer order and masks follow."
        shots = self._guessed(paths.shots)
        self.tell(Message(self.rounds, MOVING, said, length=length, order=self._order, shots=shots))

    def _is_known(self, shot: ShotTracks) -> bool:
        """Whether the page has shown these parts in this shot."""
        before = self._shots.get(shot.name)
        return before is not None and [track.id for track in before.parts] == [track.id for track in shot.parts]

    def _guessed(self, shots: Sequence[ShotTracks]) -> dict[str, dict[str, Any]]:
        """Data of shots whose layers lie as they did before, and that nothing is masked in."""
        assert self._project is not None
        assembly, out = self._project.assembly, {}
        for shot in shots:
            before = self._shots[shot.name]
            orders = _stretched(before.masking.orders, before.frames, shot.frames) or _plain(shot)
            hero = _stretched_hero(before.hero_opacity, shot.frames)  # nothing is taken over part by part
            guess = replace(shot, hero_opacity=hero, masking=Masking(orders, ()))
            out[shot.name] = shot_data(guess, assembly, self._plates, with_hero=self._hero is not None)
            self._told[shot.name] = None
        return out

    def _draw(self, project: Project, film: Film) -> None:
        """Tell the true picture, and then all that stands below it."""
        assembly, tracks, solids = project.assembly, film.tracks, film.apart.solids
        shown, warnings = plates_of(assembly, project.folder, solids, tracks)
        self._take_plates(self._small(project, film, shown))
        known = (project.assembly_digest, self._plate_sets)
        spans = [(shot.name, shot.frames) for shot in tracks.shots]
        data: dict[str, Any] = {shot.name: self._shot(shot) for shot in tracks.shots}
        data[_HEAD] = self.memory(
            "head",
            (*known, tracks.frame_rate, tracks.resolution, tracks.sections, spans),
            lambda: film_head(assembly, solids, tracks, self._plates, self._hero),
        )
        fresh = {name: one for name, one in data.items() if self._told.get(name) is not one}
        self._told, self._shots = data, {shot.name: shot for shot in tracks.shots}
        self._order = tuple(self._shots)
        self._spans = {shot.name: (shot.start_frame, shot.frames) for shot in tracks.shots}
        head = fresh.pop(_HEAD, None)
        many = sum(shot.frames for shot in tracks.shots)
        self.tell(
            Message(self.rounds, DRAWN, f"{many} frames, all of it checked.", head, order=self._order, shots=fresh)
        )
        page = PageFilm(assembly, solids, tracks, film.report, {}, film.frame.margins, self._plates, self._hero)
        pieces = page_pieces(page)
        worth = film.report.warnings
        said = _warned(len(worth) + len(warnings))
        above = _as_warnings(warnings)
        self.tell(Message(self.rounds, WHOLE, said, pieces=pieces, findings=above, warnings=worth))

    def _shot(self, shot: ShotTracks) -> dict[str, Any]:
        """The data of a shot; a compile that recalls it gives the very same object."""
        for known, sets, data in self._drawn:
            if known is shot and sets == self._plate_sets:
                return data
        assert self._project is not None
        data = shot_data(shot, self._project.assembly, self._plates, with_hero=self._hero is not None)
        self._drawn.insert(0, (shot, self._plate_sets, data))
        del self._drawn[self.memory.most * 2 :]
        return data

    def _take_plates(self, found: tuple[Plates, SmallPlate | None]) -> None:
        if found[0] is not self._plates:
            self._plates, self._hero = found
            self._plate_sets += 1

    def _small(self, project: Project, film: Film, shown: Mapping[str, ShotPlates]) -> tuple[Plates, SmallPlate | None]:
        """Plates at the size of the page; they are the same until a picture, or how large it is shown, changes."""
        scales = [
            (shot.name, track.scale.max(), track.plate_frame) for shot in film.tracks.shots for track in shot.parts
        ]
        files = [stamp for file in files_of(self.path, project) if (stamp := _stamp(file))]
        key = (project.assembly_digest, files, scales, film.tracks.resolution, _of(shown))
        return self.memory("plates", key, lambda: small_plates(project, film.tracks, shown))


def _of(shown: Mapping[str, ShotPlates]) -> list[tuple[str, Any]]:
    return [(name, (dict(one.plates), one.hero)) for name, one in shown.items()]


def _plain(shot: ShotTracks) -> tuple[OrderSpan, ...]:
    return (OrderSpan(0, shot.frames - 1, tuple(track.id for track in shot.parts)),)


def _stretched(orders: Sequence[OrderSpan], old: int, new: int) -> tuple[OrderSpan, ...]:
    """The layer orders of a shot of other length: cut, or the last one held."""
    cut = (replace(span, last=new - 1 if span.last == old - 1 else span.last) for span in orders if span.first < new)
    return tuple(replace(span, last=min(span.last, new - 1)) for span in cut)


def _stretched_hero(opacity: Floats, frames: int) -> Floats:
    """The hero still's opacity in a shot of other length: it fades in at the end, as it did."""
    if len(opacity) >= frames:
        return opacity[len(opacity) - frames :]
    return np.concatenate([np.full(frames - len(opacity), opacity[0]), opacity])


def _stamp(file: Path) -> tuple[str, int, int] | None:
    """Of pictures only: what else a project reads is told by its digest."""
    found = stamp_of(file) if file.suffix.lower() not in {".toml", ".json"} else None
    return None if found is None else (str(file), found[0], found[1])


def _warned(count: int) -> str:
    return "All checked." if not count else f"All checked; {count} worth a second look, under the numbers."


def _as_warnings(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    return tuple(replace(finding, severity="warning") for finding in findings)
