"""Several movies of the same frames at once, each by a thread of its own: one encoder alone would leave a core idle.

Frames are read and lettered once, by whoever asks; the encoders work outside of Python's lock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from queue import Empty, Full, Queue
from threading import Event, Thread

import numpy as np
from numpy.typing import NDArray

from choreo.write.movie import write_movie

Picture = NDArray[np.uint8]
_AHEAD = 4
"""Frames that wait for an encoder, at most."""
_LOOK_S = 0.1
"""Seconds after which one looks whether somebody has stopped or failed."""


class _StoppedError(Exception):
    """The others have stopped."""


def encode_all(
    pictures: Iterable[Picture],
    paths: Sequence[Path],
    pixels: tuple[int, int],
    rate: tuple[int, int],
    hear: Callable[[int], None] = lambda _: None,
) -> None:
    """Write movies of the same frames, each whole or not at all; what their bytes are does not hang on the company.

    Parameters
    ----------
    pictures : iterable of (height, width, 3) arrays of uint8
        sRGB codes.
    paths : sequence of Path
        Of the movies.
    pixels, rate
        See `write_movie`.
    hear : callable
        Told how many frames have been handed out, after each.

    Raises
    ------
    Exception
        What an encoder, or whoever gives the pictures, has raised.

    """
    stop = Event()
    crew = [_Encoder(path, pixels, rate, stop) for path in paths]
    try:
        for one in crew:
            one.start()
        for number, picture in enumerate(pictures, 1):
            for one in crew:
                one.give(picture)
            hear(number)
        for one in crew:
            one.give(None)
        for one in crew:
            one.finish()
    except BaseException:
        stop.set()
        raise
    finally:
        for one in crew:
            one.end()


class _Encoder(Thread):
    def __init__(self, path: Path, pixels: tuple[int, int], rate: tuple[int, int], stop: Event) -> None:
        super().__init__(daemon=True)
        self._path, self._pixels, self._rate, self._over = path, pixels, rate, stop
        self._waiting: Queue[Picture | None] = Queue(_AHEAD)
        self._failed: Exception | None = None
        # Not by `is_alive`: a Ctrl-C while one waits for a thread has Python 3.11 and 3.12 take it for ended.
        self._ended = Event()

    def run(self) -> None:
        try:
            for _ in write_movie(self._path, self._taken(), self._pixels, self._rate):
                pass
        except _StoppedError:
            pass
        except Exception as error:  # noqa: BLE001 - it is raised again where somebody can say it
            self._failed = error
        finally:
            self._ended.set()

    def give(self, picture: Picture | None) -> None:
        """Hand over the next frame, None after the last one."""
        while True:
            if self._failed is not None:
                raise self._failed
            with suppress(Full):
                self._waiting.put(picture, timeout=_LOOK_S)
                return

    def finish(self) -> None:
        """Wait for the end of the movie."""
        while not self._ended.wait(_LOOK_S):
            pass
        if self._failed is not None:
            raise self._failed

    def end(self) -> None:
        """See that nothing of it goes on, and that it has cleared up."""
        if self.ident is not None:
            self._ended.wait()
            self.join()

    def _taken(self) -> Iterator[Picture]:
        while not self._over.is_set():
            with suppress(Empty):
                picture = self._waiting.get(timeout=_LOOK_S)
                if picture is None:
                    return
                yield picture
        raise _StoppedError
