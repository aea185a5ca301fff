"""Movies of frames that are on disk: encoded where they are missing or stale."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from choreo.errors import ChoreoError, Finding
from choreo.frames.clock import Clock
from choreo.frames.encoding import encode_all
from choreo.frames.scene import Scene
from choreo.frames.store import Store, Stored, prepare_folder
from choreo.frames.worker import Job
from choreo.geometry.cameras.silhouette import hull_points
from choreo.geometry.solids.solid import build_solid
from choreo.picture.burn_in import BurnIn
from choreo.picture.flashes import Flashing, FlashMeter
from choreo.picture.render.lettered import Line, draw_line
from choreo.write.movie import encoder_version

_TRIED = 3
"""Frames that are encoded to learn how long all will take."""


@dataclass(frozen=True)
class MoviePlan:
    """Movies of frames that are drawn, or about to be."""

    frames: tuple[str, ...]
    """Names of their files, in the order of the film."""
    lines: tuple[list[Line], ...] | None
    """What is drawn into each; None: nothing."""
    folder: Path
    """For the movies."""
    pixels: tuple[int, int]
    rate: tuple[int, int]
    key: str
    """Of all that they are made from."""
    due: tuple[str, ...]
    """Names of movies that are missing or stale; the ending tells the kind."""
    kept: tuple[str, ...]
    """Names of those that are there."""


def plan_movies(scene: Scene, jobs: Sequence[Job], folder: Path, names: Sequence[str], *, burn_in: bool) -> MoviePlan:
    """Find out which movies have to be encoded.

    Parameters
    ----------
    scene : Scene
    jobs : sequence of Job
        One file each, in the order of the film.
    folder : Path
        For the movies.
    names : sequence of str
        Of the movies; the ending tells the kind.
    burn_in : bool
        Whether timecode, section and labels are drawn in.

    """
    lines = tuple(_lines(scene, jobs)) if burn_in else None
    said = (encoder_version(), scene.tracks.frame_rate, [job.key for job in jobs], lines and list(lines))
    key = hashlib.sha256(repr(said).encode()).hexdigest()
    store = Store(folder)
    kept = tuple(name for name in names if store.holds(name, key))
    due = tuple(name for name in names if name not in kept)
    frames = tuple(job.files[0] for job in jobs)
    return MoviePlan(frames, lines, folder, scene.pixels, scene.tracks.frame_rate, key, due, kept)


def seconds_to_encode(plan: MoviePlan, frames_folder: Path) -> float | None:
    """Return how long the movies that are due will take, as far as a few of the frames that are there tell.

    None if they do not tell, e.g. as there is no room to try it.
    """
    there = [name for name in plan.frames if (frames_folder / name).is_file()][:_TRIED]
    if not there:
        return None
    some = replace(plan, frames=tuple(there), lines=None)
    with suppress(OSError, ChoreoError), TemporaryDirectory() as aside:
        clock = Clock()
        paths = [Path(aside) / name for name in plan.due]
        encode_all(_pictures(some, frames_folder), paths, plan.pixels, plan.rate)
        return clock() / len(there) * len(plan.frames)
    return None


def make_movies(
    plan: MoviePlan, frames_folder: Path, hear: Callable[[int, int, float], None] = lambda *_: None
) -> None:
    """Encode the movies that are due, all at the same time.

    Parameters
    ----------
    plan : MoviePlan
    frames_folder : Path
        Where the frames are.
    hear : callable
        Told how many frames have been taken, of how many, and the seconds left.

    """
    if not plan.due:
        return
    prepare_folder(plan.folder, plan.due)
    store, clock, total = Store(plan.folder), Clock(), len(plan.frames)

    def told(done: int) -> None:
        hear(done, total, clock() / done * (total - done))

    paths = [plan.folder / name for name in plan.due]
    encode_all(_pictures(plan, frames_folder), paths, plan.pixels, plan.rate, told)
    for name in plan.due:
        store.note(name, _stored(plan.folder / name, plan.key))
    store.save()


def flashing(
    scene: Scene, jobs: Sequence[Job], folder: Path, hear: Callable[[int, int, float], None] = lambda *_: None
) -> tuple[Finding, ...]:
    """Return warnings if drawn frames flash more than is safe for everyone; `hear` as in `make_movies`."""
    rate, clock = scene.tracks.frame_rate, Clock()
    meter = FlashMeter(rate[0] / rate[1])
    for done, job in enumerate(jobs, 1):
        meter.look(_picture(folder / job.files[0]))
        hear(done, len(jobs), clock() / done * (len(jobs) - done))
    found = [(meter.found, "", "general"), (meter.found_red, " to and from a saturated red", "red")]
    return tuple(_flashing(scene, jobs, each, how, kind) for each, how, kind in found if each is not None)


def _flashing(scene: Scene, jobs: Sequence[Job], found: Flashing, how: str, kind: str) -> Finding:
    first, last = (scene.shot(job.shot).start_frame + job.frame for job in (jobs[found.first], jobs[found.last]))
    return Finding(
        "flashing" if kind == "general" else "flashing-red",
        f"From frame {first} to {last} the film flashes{how} more than three times within a second, over a large area.",
        why=f"Flashing can cause seizures ({kind} flash threshold of WCAG 2.2, success criterion 2.3.1).",
        remedy="Show it to nobody without a warning; slow the motion down or lower the contrast. The rules of the "
        "place where it is shown decide.",
        severity="warning",
    )


def _lines(scene: Scene, jobs: Sequence[Job]) -> list[list[Line]]:
    points = {part.id: hull_points(build_solid(part.slabs, part.offset)) for part in scene.assembly.parts}
    labels = {part.id: part.label for part in scene.assembly.parts}
    burn_in = BurnIn(scene.tracks, labels, points, scene.pixels)
    shots = {name: burn_in.lines_of(scene.shot(name)) for name in dict.fromkeys(job.shot for job in jobs)}
    return [shots[job.shot](job.frame) for job in jobs]


def _pictures(plan: MoviePlan, folder: Path) -> Iterator[NDArray[np.uint8]]:
    for number, name in enumerate(plan.frames):
        picture = _picture(folder / name)
        for line in plan.lines[number] if plan.lines is not None else ():
            draw_line(picture, line)
        yield picture


def _picture(file: Path) -> NDArray[np.uint8]:
    import imagecodecs  # noqa: PLC0415

    return np.ascontiguousarray(imagecodecs.png_decode(file.read_bytes()))


def _stored(path: Path, key: str) -> Stored:
    with path.open("rb") as file:
        return Stored(key, path.stat().st_size, hashlib.file_digest(file, "sha256").hexdigest())
