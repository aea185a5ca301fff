"""Movies of frames that are on disk: encoded where they are missing or stale."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from choreo.errors import Finding
from choreo.frames.clock import Clock
from choreo.frames.interrupts import on_whole_frames
from choreo.frames.scene import Scene
from choreo.frames.store import Store, Stored, prepare_folder
from choreo.frames.worker import Job
from choreo.geometry.silhouette import hull_points
from choreo.geometry.solid import build_solid
from choreo.picture.burn_in import BurnIn
from choreo.picture.flashes import FlashMeter
from choreo.picture.render.lettered import Line, draw_line
from choreo.write.movie import encoder_version, write_movie


@dataclass(frozen=True)
class Movies:
    """What became of the movies."""

    written: tuple[str, ...]
    kept: tuple[str, ...]


def make_movies(
    scene: Scene,
    jobs: Sequence[Job],
    frames_folder: Path,
    folder: Path,
    names: Sequence[str],
    *,
    burn_in: bool,
    hear: Callable[[str, int, int, float], None] = lambda *_: None,
) -> Movies:
    """Encode frames that have been drawn.

    Parameters
    ----------
    scene : Scene
    jobs : sequence of Job
        One file each, in the order of the film.
    frames_folder : Path
        Where their files are.
    folder : Path
        For the movies.
    names : sequence of str
        Of the movies; the ending tells the kind.
    burn_in : bool
        Whether timecode, section and labels are drawn in.
    hear : callable
        Told the movie's name, frames done, frames in all, and the seconds left.

    """
    lines = _lines(scene, jobs) if burn_in else None
    prepare_folder(folder, names)
    store = Store(folder)
    key = _key(scene, jobs, lines)
    written, kept = [], []
    with on_whole_frames(len(jobs)):
        for name in names:
            if store.holds(name, key):
                kept.append(name)
                continue
            clock = Clock()
            pictures = _pictures(jobs, frames_folder, lines)
            for done in write_movie(folder / name, pictures, scene.pixels, scene.tracks.frame_rate):
                hear(name, done, len(jobs), clock() / done * (len(jobs) - done))
            store.note(name, _stored(folder / name, key))
            store.save()
            written.append(name)
    return Movies(tuple(written), tuple(kept))


def flashing(scene: Scene, jobs: Sequence[Job], folder: Path) -> tuple[Finding, ...]:
    """Return a warning if drawn frames flash more than is safe for everyone."""
    rate = scene.tracks.frame_rate
    meter = FlashMeter(rate[0] / rate[1])
    with on_whole_frames(len(jobs)):
        for picture in _pictures(jobs, folder, None):
            meter.look(picture)
    if meter.found is None:
        return ()
    first, last = (
        scene.shot(job.shot).start_frame + job.frame for job in (jobs[meter.found.first], jobs[meter.found.last])
    )
    return (
        Finding(
            "flashing",
            f"From frame {first} to {last} the film flashes more than three times within a second, over a large area.",
            why="Flashing can cause seizures (general flash threshold of WCAG 2.2, success criterion 2.3.1).",
            remedy="Show it to nobody without a warning; slow the motion down or lower the contrast. The rules of the "
            "place where it is shown decide.",
            severity="warning",
        ),
    )


def _lines(scene: Scene, jobs: Sequence[Job]) -> list[list[Line]]:
    points = {part.id: hull_points(build_solid(part.slabs, part.offset)) for part in scene.assembly.parts}
    labels = {part.id: part.label for part in scene.assembly.parts}
    burn_in = BurnIn(scene.tracks, labels, points, scene.pixels)
    shots = {name: burn_in.lines_of(scene.shot(name)) for name in dict.fromkeys(job.shot for job in jobs)}
    return [shots[job.shot](job.frame) for job in jobs]


def _pictures(jobs: Sequence[Job], folder: Path, lines: list[list[Line]] | None) -> Iterator[NDArray[np.uint8]]:
    import imagecodecs  # noqa: PLC0415

    for number, job in enumerate(jobs):
        picture = np.ascontiguousarray(imagecodecs.png_decode((folder / job.files[0]).read_bytes()))
        for line in lines[number] if lines is not None else ():
            draw_line(picture, line)
        yield picture


def _key(scene: Scene, jobs: Sequence[Job], lines: list[list[Line]] | None) -> str:
    said = (encoder_version(), scene.tracks.frame_rate, [job.key for job in jobs], lines)
    return hashlib.sha256(repr(said).encode()).hexdigest()


def _stored(path: Path, key: str) -> Stored:
    with path.open("rb") as file:
        return Stored(key, path.stat().st_size, hashlib.file_digest(file, "sha256").hexdigest())
