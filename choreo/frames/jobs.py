"""Frames drawn by as many processes as there are cores; those that are there already are left alone.

The first few are drawn here: they tell how long all will take and how much room they need. Each frame is written as
soon as it is drawn, the first ones too, so that a run that is stopped early has not worked for nothing.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from choreo.errors import Finding, no_solution
from choreo.frames.clock import Clock
from choreo.frames.company import Company, ProcessLostError
from choreo.frames.interrupts import Interrupted, Stop, stoppable, what_is_there
from choreo.frames.keys import FrameKeys
from choreo.frames.scene import Scene
from choreo.frames.store import Store, Stored, prepare_folder, write_stored
from choreo.frames.worker import Draw, Job, drawn

_PROBES = 3
"""Frames that are drawn before the rest is foretold, spread evenly over those to be drawn."""
_WORTH_S = 3.0
"""Seconds of work that pay for the start of other processes."""
_TASK_S = 1.0
"""Seconds of work that are handed out at once, so that Ctrl-C is soon heard."""
_COMPANY = 12
"""Frames at most that are handed out at once: the renderer works out the outlines of so many together."""
_SAVE_S = 2.0
"""Seconds after which the index is written again."""
_SPARE_BYTES = 64 * 2**20
"""What a run leaves free on a disk."""
_MOST_PROCESSES = 16


@dataclass(frozen=True)
class Forecast:
    """What a run will do, as far as its first frames tell."""

    frames: int
    """To be drawn."""
    kept: int
    """That are there already."""
    files: int
    bytes: float
    seconds: float
    processes: int


@dataclass(frozen=True)
class Hearing:
    """Who is told how a run goes; nobody, unless asked for."""

    begins: Callable[[Forecast], None] = lambda _: None
    moves: Callable[[int, int, float], None] = lambda _done, _all, _left: None
    """Frames done, frames in all, seconds left."""


@dataclass(frozen=True)
class Made:
    """What a run has done."""

    drawn: int
    kept: int
    removed: tuple[str, ...] = ()
    """Files of frames that the film no longer has."""


def jobs_of(
    scene: Scene,
    frames: Sequence[tuple[str, int]],
    files: Callable[[str, int], Sequence[str]],
    purpose: str,
) -> list[Job]:
    """Return the jobs for frames of a film.

    Parameters
    ----------
    scene : Scene
    frames : sequence of (shot, frame of the shot)
    files : callable
        Names of the files of a frame, given shot and frame.
    purpose : str
        What the files hang on beyond the scene: what is drawn, how deep, on which background.

    """
    keys = FrameKeys(scene, purpose)
    shots = {shot.name: shot for shot in scene.tracks.shots}
    return [Job(shot, frame, tuple(files(shot, frame)), keys.key(shots[shot], frame)) for shot, frame in frames]


def make(
    scene: Scene,
    jobs: Sequence[Job],
    draw: Draw,
    folder: Path,
    *,
    hearing: Hearing | None = None,
    film: Collection[str] | None = None,
    processes: int | None = None,
) -> Made:
    """Draw what is missing or stale.

    Parameters
    ----------
    scene : Scene
    jobs : sequence of Job
        In the order of the film; see `jobs_of`.
    draw : callable
        Given renderer, shot and frame, returns the content of exactly the job's files.
    folder : Path
        Made if it is not there.
    hearing : Hearing, optional
    film : collection of str, optional
        Names of all files that the whole film has. Those of earlier runs that are none of these are removed.
    processes : int, optional
        At most; as many as there are cores if left out.

    Raises
    ------
    ChoreoError
        Exit 1 if the disk lacks room, as the first frames tell; at most two of them are written then. Exit 2 if a file
        cannot be read or written. A note of the exception (PEP 678) says what is there all the same.
    Interrupted
        On Ctrl-C. Every file is whole, and what was drawn is noted.

    """
    hearing = hearing or Hearing()
    with stoppable() as stop:
        prepare_folder(folder, (name for job in jobs for name in job.files))
        store = Store(folder)
        stale = [job for job in jobs if not all(store.holds(name, job.key) for name in job.files)]
        run = _Run(scene, draw, store, stale, hearing, processes or cores(), stop)
        try:
            run.all(len(jobs) - len(stale))
            removed = store.drop_others(film) if film is not None else []
        except KeyboardInterrupt:
            raise Interrupted(len(jobs) - len(stale) + run.done, len(jobs)) from None
        except Exception as error:
            if run.done:
                error.add_note(what_is_there(len(jobs) - len(stale) + run.done, len(jobs)))
            raise
        finally:
            with stop.later():
                if run.done or (film is not None and not stale):
                    store.save()
        if stop.heard:  # while the index was written
            raise Interrupted(len(jobs) - len(stale) + run.done, len(jobs))
    return Made(len(stale), len(jobs) - len(stale), tuple(removed))


@dataclass
class _Run:
    scene: Scene
    draw: Draw
    store: Store
    jobs: list[Job]
    hearing: Hearing
    processes: int
    stop: Stop
    _noted: set[tuple[str, ...]] = field(default_factory=set)
    """Of which frames; Ctrl-C may come in the middle of noting one, which is then noted once more."""
    _clock: Clock = field(default_factory=Clock)
    _before: int = 0
    """Frames that were done when the clock was started."""
    _saved: float = 0.0

    @property
    def done(self) -> int:
        return len(self._noted)

    def all(self, kept: int) -> None:
        if not self.jobs:
            return
        probes = sorted({round(step * (len(self.jobs) - 1) / max(1, _PROBES - 1)) for step in range(_PROBES)})
        size, each = self._probed([self.jobs[index] for index in probes])
        rest = [job for index, job in enumerate(self.jobs) if index not in probes]
        together = len(rest) > 1 and self.processes > 1 and each * len(rest) > _WORTH_S
        many = self.processes if together else 1
        files = sum(len(job.files) for job in self.jobs)
        self.hearing.begins(Forecast(len(self.jobs), kept, files, size * len(self.jobs), each * len(rest) / many, many))
        self._clock, self._before, self._saved = Clock(), self.done, 0.0
        if together:
            self.scene.forget()
            self._by_many(tasks_of(rest, each), many)
        else:
            for job in rest:
                self._note(write_stored(self.store.folder, job.key, drawn(self.scene, self.draw, job)))

    def _probed(self, jobs: list[Job]) -> tuple[float, float]:
        """Draw and write the first frames, and return the bytes and the seconds of one.

        Reading plates for the first one is not counted. Room is asked for before each is written.
        """
        sizes, times = [], []
        for job in jobs:
            self.scene.renderer(job.shot)
            clock = Clock()
            files = drawn(self.scene, self.draw, job)
            times.append(clock())
            sizes.append(sum(len(content) for content in files.values()))
            self._require_room(sum(sizes) / len(sizes))
            self._note(write_stored(self.store.folder, job.key, files))
        return sum(sizes) / len(sizes), sum(times) / len(times)

    def _by_many(self, tasks: list[list[Job]], many: int) -> None:
        with self.stop.later():  # pipes and processes are not torn apart; the loop looks often enough
            company = Company(min(many, len(tasks)), self.scene, self.draw, self.store.folder)
            try:
                for note in company.work(tasks):
                    if note is not None:
                        self._note(note)
                    self.stop.check()
            except ProcessLostError:
                raise no_solution(ended_by_system()) from None
            finally:
                for note in company.end():
                    self._note(note)
                if self.done < len(self.jobs):  # of a process that had to be ended
                    prepare_folder(self.store.folder, (name for job in self.jobs for name in job.files))
        self.stop.check()

    def _note(self, files: dict[str, Stored]) -> None:
        for name, stored in files.items():
            self.store.note(name, stored)
        self._noted.add(tuple(files))
        now = self._clock()
        if now - self._saved > _SAVE_S:
            self.store.save()
            self._saved = now
        left = len(self.jobs) - self.done
        self.hearing.moves(self.done, len(self.jobs), now / max(self.done - self._before, 1) * left)

    def _require_room(self, size: float) -> None:
        """Raise unless the disk takes all frames that are not yet there, of so many bytes each."""
        jobs = [job for job in self.jobs if job.files not in self._noted]
        known = self.store.known
        old = sum(known[name].bytes for job in jobs for name in job.files if name in known)
        need = size * len(jobs) - old + _SPARE_BYTES
        free = shutil.disk_usage(self.store.folder).free
        if need > free:
            raise no_solution(_no_room(len(jobs), need, free, self.store.folder))


def tasks_of(jobs: list[Job], each: float) -> list[list[Job]]:
    """Runs of neighbouring frames of one shot, each about a second's work."""
    most = max(1, min(_COMPANY, int(_TASK_S / max(each, 1e-6))))
    return [list(run) for run in _runs(jobs, most)]


def _runs(jobs: list[Job], most: int) -> Iterator[list[Job]]:
    run: list[Job] = []
    for job in jobs:
        if run and (job.shot != run[-1].shot or job.frame // most != run[-1].frame // most):
            yield run
            run = []
        run.append(job)
    if run:
        yield run


def _no_room(frames: int, need: float, free: float, folder: Path) -> Finding:
    return Finding(
        "disk-full",
        f"{frames} frames need about {_room(need)} on this disk, which has {_room(free)} left.",
        str(folder),
        why=f"The first frames were drawn to learn their size; {_room(_SPARE_BYTES)} are to stay free.",
        remedy="Make room, write to another disk with --out, or ask for fewer frames or a smaller --size.",
    )


def _room(size: float) -> str:
    for step, unit in ((1e12, "TB"), (1e9, "GB")):
        if size >= step:
            return f"{size / step:.2f} {unit}"
    return f"{size / 1e6:.0f} MB"


def ended_by_system() -> Finding:
    """Say that a process was ended."""
    return Finding(
        "process-ended",
        "A process that draws frames was ended by the system.",
        why="Most often there is too little memory for all plates in every process.",
        remedy="Use a smaller --size, or make room in memory; frames that are written are whole and are kept.",
    )


def cores() -> int:
    """Return how many processes may draw at once."""
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(count, _MOST_PROCESSES)
