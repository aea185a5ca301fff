"""The only clock: how long work takes, to foretell the rest of it. Nothing that is written hangs on it."""

from __future__ import annotations

import time


class Clock:
    """Seconds since it was made."""

    def __init__(self) -> None:
        self._start = time.monotonic()

    def __call__(self) -> float:
        """Return them."""
        return time.monotonic() - self._start
