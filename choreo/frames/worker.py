"""What runs in the other processes: frames drawn and written, one after another."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from multiprocessing import connection, parent_process
from multiprocessing.synchronize import Event
from pathlib import Path

from choreo.frames.scene import Scene
from choreo.frames.store import Stored, write_stored
from choreo.model.tracks import ShotTracks
from choreo.picture.render.frame import Renderer

Draw = Callable[[Renderer, ShotTracks, int], Mapping[str, bytes]]
"""Draws a frame of a shot: what goes into which file. A module's function, or a frozen dataclass that can be called:
it crosses to other processes."""


@dataclass(frozen=True)
class Job:
    """One frame, and the files that show it."""

    shot: str
    frame: int
    """Of the shot."""
    files: tuple[str, ...]
    """Names relative to the folder, with ``/`` between the parts."""
    key: str


@dataclass
class _State:
    work: tuple[Scene, Draw, Path] | None = None
    stop: Event | None = None


_STATE = _State()


def start(scene: Scene, draw: Draw, folder: Path, stop: Event) -> None:
    """Get a process ready: it leaves Ctrl-C to its parent, ends with it, and keeps to one core.

    Once `stop` is set, it begins no further frame.
    """
    import cv2  # noqa: PLC0415

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()
    cv2.setNumThreads(1)
    _STATE.work, _STATE.stop = (scene, draw, folder), stop


def draw_some(jobs: Sequence[Job]) -> list[dict[str, Stored]]:
    """Draw and write frames; return what to note of each that was drawn."""
    assert _STATE.work is not None
    assert _STATE.stop is not None
    scene, draw, folder = _STATE.work
    done = []
    for job in jobs:
        if _STATE.stop.is_set():
            break
        done.append(write_stored(folder, job.key, drawn(scene, draw, job)))
    return done


def drawn(scene: Scene, draw: Draw, job: Job) -> Mapping[str, bytes]:
    """Return the files of one frame."""
    made = draw(scene.renderer(job.shot), scene.shot(job.shot), job.frame)
    assert set(made) == set(job.files), f"{sorted(made)} were drawn, {sorted(job.files)} announced"
    return made


def _end_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)
