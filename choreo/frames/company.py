"""Other processes that draw, each on a pipe of its own: no locks and no threads, so that no end of theirs can hang.

Python's own pool shares one queue and one lock among its processes; a signal at the wrong moment, or a process that is
ended while it holds the lock, leaves the others waiting for ever.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterator, Sequence
from contextlib import suppress
from multiprocessing import connection, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

from choreo.frames.clock import Clock
from choreo.frames.interrupts import unheard
from choreo.frames.scene import Scene
from choreo.frames.store import Stored
from choreo.frames.worker import DONE, FAILED, Draw, Job, serve

_LOOK_S = 0.1
"""Seconds after which one looks whether the run has been stopped."""
_PATIENCE_S = 10.0
"""Seconds that processes have to finish the frame that they are at, once they were told to stop."""
_FAREWELL_S = 2.0
"""Seconds from the system's request to its order to end."""

Note = dict[str, Stored]


class ProcessLostError(Exception):
    """A process that draws has ended unasked."""


class Company:
    """Processes that draw frames of a film; they are told what by `work`, and sent home by `end`.

    Without a folder they write nothing, and only tell what each frame's digest is.
    """

    def __init__(self, many: int, scene: Scene, draw: Draw, folder: Path | None) -> None:
        context = get_context("spawn")
        with suppress(ImportError, AttributeError):  # it would lift the ban on signals when the first process starts
            from multiprocessing import resource_tracker  # noqa: PLC0415

            resource_tracker.ensure_running()
        self._members: dict[Connection, BaseProcess] = {}
        with unheard():
            for _ in range(many):
                ours, theirs = context.Pipe()
                process = context.Process(target=serve, args=(theirs,), daemon=True)
                process.start()
                theirs.close()
                self._members[ours] = process
        self._idle: list[Connection] = []
        self._welcome = pickle.dumps((scene, draw, folder))

    def work(self, tasks: Sequence[Sequence[Job]]) -> Iterator[Note | None]:
        """Have tasks done; yield each frame's note as soon as its files are written, and None to look about.

        Raises
        ------
        ProcessLostError
            If a process has ended unasked.
        Exception
            What was raised in a process.

        """
        todo = iter(tasks)
        try:
            for pipe in self._members:
                yield None
                pipe.send_bytes(self._welcome)
            busy = {pipe for pipe in self._members if self._give(pipe, todo)}
            while busy:
                for pipe in _ready(busy):
                    kind, what = pipe.recv()
                    if kind == FAILED:
                        raise what
                    if kind != DONE:
                        yield what
                    elif not self._give(pipe, todo):
                        busy.discard(pipe)
                yield None
        except (EOFError, BrokenPipeError, ConnectionResetError):
            raise ProcessLostError from None

    @staticmethod
    def _give(pipe: Connection, todo: Iterator[Sequence[Job]]) -> bool:
        task = next(todo, None)
        if task is not None:
            pipe.send(list(task))
        return task is not None

    def end(self) -> list[Note]:
        """Send all home: at once if they wait, else after their frame; return what was written and not yet told."""
        notes: list[Note] = []
        for pipe in self._members:
            with suppress(OSError):
                pipe.send(None)
        clock, open_ = Clock(), set(self._members)
        while open_ and clock() < _PATIENCE_S:
            for pipe in _ready(open_):
                try:
                    kind, what = pipe.recv()
                except (EOFError, OSError):
                    open_.discard(pipe)
                    continue
                if kind not in {DONE, FAILED}:
                    notes.append(what)
        if open_:
            for process in self._members.values():
                process.terminate()
        for process in self._members.values():
            process.join(_FAREWELL_S)
            if process.is_alive():
                process.kill()
                process.join(_FAREWELL_S)
        for pipe in self._members:
            pipe.close()
        return notes


def _ready(pipes: set[Connection]) -> list[Connection]:
    """Those that have something to say, or have been closed; none if nobody speaks for a moment."""
    found = set(connection.wait(pipes, _LOOK_S))
    return [pipe for pipe in pipes if pipe in found]
