"""Frames that are drawn to be looked at only: digests of their pixels, and nothing on the disk.

They are drawn in the order of the film, here as long as that is soon done, else by as many processes as there are
cores; and no farther than somebody wants to know.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from choreo.errors import no_solution
from choreo.frames.clock import Clock
from choreo.frames.company import Company, ProcessLostError
from choreo.frames.drawing import FramePixels, pixels_of
from choreo.frames.interrupts import Stop, stoppable
from choreo.frames.jobs import cores, ended_by_system, tasks_of
from choreo.frames.scene import Scene
from choreo.frames.store import write_stored
from choreo.frames.worker import Job, drawn

_WORTH_S = 4.0
"""Seconds of work that pay for the start of other processes."""

Enough = Callable[[int, str], bool]
"""Given the number of a frame among those asked for and the digest of its pixels (64 digits): whether that suffices."""


def look(
    scene: Scene,
    frames: Sequence[tuple[str, int]],
    enough: Enough,
    note: Callable[[int, str], None],
    hear: Callable[[int, int, float], None] = lambda _done, _all, _left: None,
    processes: int | None = None,
) -> None:
    """Draw frames, and tell digests of their pixels.

    Parameters
    ----------
    scene : Scene
    frames : sequence of (shot, frame of the shot)
        In the order of the film.
    enough : callable
        Those up to the first one of which it says so are looked at; perhaps a few more. It is asked in their order.
    note : callable
        Told each frame's number and digest as soon as it is drawn, in any order.
    hear : callable
        Told frames done, frames in all, and the seconds left.
    processes : int, optional
        At most; as many as there are cores if left out.

    Raises
    ------
    ChoreoError
        Exit 2 if a picture cannot be read.
    KeyboardInterrupt
        On Ctrl-C.

    """
    jobs = [Job(shot, frame, (pixels_of(shot, frame),), str(number)) for number, (shot, frame) in enumerate(frames)]
    with stoppable() as stop:
        _Run(scene, jobs, enough, note, hear, stop).all(processes or cores())


@dataclass
class _Run:
    scene: Scene
    jobs: list[Job]
    enough: Enough
    note: Callable[[int, str], None]
    hear: Callable[[int, int, float], None]
    stop: Stop
    found: dict[int, str] = field(default_factory=dict)
    _clock: Clock | None = None
    _before: int = 0
    """Frames that were done when the clock was started."""
    _upto: int = 0
    """All jobs before this one are done, and none of them was enough."""
    _over: bool = False

    def all(self, processes: int) -> None:
        """Draw one after another, until it is clear that many hands would be quicker."""
        for number, job in enumerate(self.jobs):
            self.scene.renderer(job.shot)  # plates are read once, and do not count
            clock = Clock()
            files = drawn(self.scene, FramePixels(), job)
            self._take(number, write_stored(None, job.key, files)[job.files[0]].digest)
            left = self.jobs[number + 1 :]
            if self._over or not left:
                break
            each = clock()
            if processes > 1 and each * len(left) > _WORTH_S and number:
                self.scene.forget()
                self._clock = None
                self._by_many(tasks_of(left, each), processes)
                break
        self.hear(len(self.jobs), len(self.jobs), 0.0)

    def _by_many(self, tasks: list[list[Job]], processes: int) -> None:
        with self.stop.later():  # pipes and processes are not torn apart; the loop looks often enough
            company = Company(min(processes, len(tasks)), self.scene, FramePixels(), None)
            try:
                for note in company.work(tasks):
                    for stored in (note or {}).values():
                        self._take(int(stored.key), stored.digest)
                    self.stop.check()
                    if self._over:
                        break
            except ProcessLostError:
                raise no_solution(ended_by_system()) from None
            finally:
                for note in company.end():
                    for stored in note.values():
                        self._take(int(stored.key), stored.digest)
        self.stop.check()

    def _take(self, number: int, digest: str) -> None:
        self.found[number] = digest
        self.note(number, digest)
        while not self._over and self._upto in self.found:
            self._over = self.enough(self._upto, self.found[self._upto])
            self._upto += 1
        done, left = len(self.found), len(self.jobs) - len(self.found)
        if self._clock is None:  # the first one makes ready, and tells nothing of the others
            self._clock, self._before = Clock(), done
        else:
            self.hear(done, len(self.jobs), self._clock() / (done - self._before) * left)
