"""Ctrl-C, and a kindly meant request of the system to end, while files are being written.

The first one counts. Those that follow find a process that is on its way out: it hears them no more, so that they
cannot break into the tidying up. `timeout` sends each signal twice, and so does an impatient hand.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from types import FrameType

_ENDING = (signal.SIGINT, signal.SIGTERM)


class Interrupted(KeyboardInterrupt):
    """Somebody has stopped a run: what it has written is whole, and the next run goes on from there."""

    def __init__(self, done: int, total: int) -> None:
        super().__init__(f"stopped; {what_is_there(done, total)}")


def what_is_there(done: int, total: int) -> str:
    """Say what a run that has not come to its end leaves behind."""
    frames = f"all {total} frames" if done == total else f"{done} of {total} frames"
    return f"{frames} are there, whole; the next run goes on from them"


@dataclass
class Stop:
    """Whether a run has been asked to end."""

    heard: bool = False
    _later: bool = False

    def check(self) -> None:
        """Raise `KeyboardInterrupt` if it has been asked to."""
        if self.heard:
            raise KeyboardInterrupt

    @contextmanager
    def later(self) -> Iterator[None]:
        """Within this, only `check` raises: what must not be torn apart stays whole."""
        self._later = True
        try:
            yield
        finally:
            self._later = False

    def hear(self, _number: int, _frame: FrameType | None) -> None:
        """Take note of a signal."""
        if not self.heard:
            self.heard = True
            if not self._later:
                raise KeyboardInterrupt


@contextmanager
def stoppable() -> Iterator[Stop]:
    """Take a request of the system to end (SIGTERM) for a Ctrl-C, and only the first of either.

    A process that was asked to end stays deaf to both afterwards, for it is about to.
    """
    stop = Stop()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = {number: signal.getsignal(number) for number in _ENDING}
    try:
        for number, handler in before.items():
            if handler is not signal.SIG_IGN:
                signal.signal(number, stop.hear)
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_IGN if stop.heard else handler or signal.SIG_DFL)


@contextmanager
def on_whole_frames(count: int) -> Iterator[None]:
    """Whatever stops what is made of frames that are all there says that they are: see `what_is_there`."""
    with stoppable():
        try:
            yield
        except KeyboardInterrupt:
            raise Interrupted(count, count) from None
        except Exception as error:
            error.add_note(what_is_there(count, count))
            raise


def deafen() -> None:
    """Hear no Ctrl-C from now on: the process says its last words."""
    with suppress(ValueError):  # not in the main thread, which alone hears it
        signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def unheard() -> Iterator[None]:
    """Start processes that do not hear Ctrl-C from their first moment; here it is heard once they are started."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
