"""A film with its plates, ready to be drawn: what is handed to every process that makes frames of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from choreo.errors import Finding
from choreo.frames.film import ProjectFilm
from choreo.frames.plates import Photographs, ShotPlates, load, load_plate, plates_of
from choreo.geometry.solids.solid import Solid, build_solid
from choreo.model.assembly import Assembly
from choreo.model.tracks import ShotTracks, Tracks
from choreo.picture.render.frame import Renderer


@dataclass(frozen=True, eq=False)
class Scene:
    """A film, its plates, and how it is looked at. Crosses to other processes as it stands."""

    assembly: Assembly
    folder: Path
    """From which plates are named."""
    tracks: Tracks
    plates: Mapping[str, ShotPlates]
    """By shot."""
    size: str = "full"
    shutter: float = 180.0
    warnings: tuple[Finding, ...] = ()
    """About plates that are not there."""
    _renderers: dict[str, Renderer] = field(default_factory=dict, repr=False)

    def shot(self, name: str) -> ShotTracks:
        """Return a shot by its name."""
        return next(shot for shot in self.tracks.shots if shot.name == name)

    def renderer(self, shot: str) -> Renderer:
        """Return the renderer of a shot, with its plates read; that of the shot before is let go."""
        if shot not in self._renderers:
            self._renderers.clear()
            self._renderers[shot] = self._renderer(self.plates[shot])
        return self._renderers[shot]

    @property
    def pixels(self) -> tuple[int, int]:
        """Width and height of its pictures."""
        window = Renderer(self.assembly, {}, self.tracks.resolution, size=self.size).window
        return window.width, window.height

    def forget(self) -> None:
        """Let go of the pictures that are in memory."""
        self._renderers.clear()

    def __getstate__(self) -> dict[str, object]:
        """Leave behind what each process makes for itself."""
        return {**self.__dict__, "_renderers": {}}

    def _renderer(self, shown: ShotPlates) -> Renderer:
        solids: dict[str, Solid] = {part.id: build_solid(part.slabs, part.offset) for part in self.assembly.parts}
        single = {part: plate for part, plate in shown.plates.items() if plate.frames is None}
        hero = shown.hero
        return Renderer(
            self.assembly,
            solids,
            self.tracks.resolution,
            plates={part: load_plate(self.folder, plate) for part, plate in single.items()},
            hero=None if hero is None else load(self.folder, hero.file, hero, alpha=False),
            size=self.size,
            shutter=self.shutter,
            sequences={
                part: Photographs(self.folder, plate) for part, plate in shown.plates.items() if part not in single
            },
        )


def scene_of(film: ProjectFilm, size: str = "full", shutter: float = 180.0) -> Scene:
    """Return the scene of a film.

    Parameters
    ----------
    film : ProjectFilm
    size : str
        One of `choreo.picture.render.frame.SIZES`.
    shutter : float
        Degrees; 0 freezes motion.

    Raises
    ------
    ChoreoError
        As `plates_of`.

    """
    assembly, folder = film.project.assembly, film.project.folder
    plates, warnings = plates_of(assembly, folder, film.solids, film.tracks)
    return Scene(assembly, folder, film.tracks, plates, size, shutter, warnings)
