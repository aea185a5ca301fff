"""What runs in the other processes: frames drawn and written, one after another."""

from __future__ import annotations

import os
import pickle
import signal
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing import connection, parent_process
from multiprocessing.connection import Connection

from choreo.frames.scene import Scene
from choreo.frames.store import write_stored
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


NOTE, DONE, FAILED = "note", "done", "failed"
"""What a process tells: a frame is written, a task is done, something was raised."""


def serve(pipe: Connection) -> None:
    """Draw and write frames as told over a pipe, until told to stop: first comes the scene, then task after task.

    Each frame is told as soon as its files are written. The process leaves Ctrl-C to its parent, ends with it, and
    keeps to one core. Whatever comes while it draws is the order to stop: it begins no further frame.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()
    with suppress(EOFError, OSError):  # the parent is gone, or has no more to say
        welcome = pipe.recv()
        if welcome is None:  # stopped before it began
            return
        scene, draw, folder = welcome
        import cv2  # noqa: PLC0415

        cv2.setNumThreads(1)
        try:
            while (task := pipe.recv()) is not None:
                for job in task:
                    pipe.send((NOTE, write_stored(folder, job.key, drawn(scene, draw, job))))
                    if pipe.poll():
                        return
                pipe.send((DONE, None))
        except OSError:
            raise
        except Exception as error:  # noqa: BLE001 - it is raised again where somebody can say it
            pipe.send((FAILED, _to_tell(error)))


def _to_tell(error: Exception) -> Exception:
    """The error, if it can cross to another process."""
    try:
        pickle.loads(pickle.dumps(error))  # noqa: S301 - our own
    except Exception:  # noqa: BLE001 - whatever its class thinks up
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error


def drawn(scene: Scene, draw: Draw, job: Job) -> Mapping[str, bytes]:
    """Return the files of one frame."""
    made = draw(scene.renderer(job.shot), scene.shot(job.shot), job.frame)
    assert set(made) == set(job.files), f"{sorted(made)} were drawn, {sorted(job.files)} announced"
    return made


def _end_with(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)
