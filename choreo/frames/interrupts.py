"""Ctrl-C, and a kindly meant request of the system to end, while files are being written."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class Interrupted(KeyboardInterrupt):
    """Somebody has stopped a run: what it has written is whole, and the next run goes on from there."""

    def __init__(self, done: int, total: int) -> None:
        super().__init__(f"stopped; {done} of {total} frames are there, whole; the next run goes on from them")


@contextmanager
def stoppable() -> Iterator[None]:
    """Take a request of the system to end (SIGTERM) for a Ctrl-C."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGTERM, _stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


@contextmanager
def deaf() -> Iterator[None]:
    """Hear no Ctrl-C; processes that are started meanwhile never hear one."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _stop(_number: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
