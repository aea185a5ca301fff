"""Watching: one thread computes, one serves, and what the one finds out the other tells."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from choreo.live.message import Message, joined
from choreo.live.rounds import Desk
from choreo.live.server import Bulletin, LoopbackServer
from choreo.picture.page.desk import desk_html


@dataclass(eq=False)
class Watch:
    """A project that is watched until it is told to stop."""

    path: Path
    build: Path
    """Whose files the page may show."""
    port: int = 0
    """0: whichever is free."""
    search: int = 1
    heard: Callable[[Message], None] = lambda _message: None
    stopped: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        """Open the port: from here on the address is known.

        Raises
        ------
        OSError
            If the port is taken.

        """
        self.bulletin = Bulletin(desk_html(self.path.resolve().name).encode())
        self.server = LoopbackServer(self.port, self.bulletin, self.build)
        self.desk = Desk(self.path, self._tell, self.search)
        self._all: Message | None = None

    @property
    def address(self) -> str:
        """Of the page."""
        return self.server.address

    def run(self) -> None:
        """Compile, and again on every save, until `stopped` is set."""
        serving = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True)
        serving.start()
        try:
            follower = self.desk.follower()
            self.desk.round(follower)
            while follower.wait(self.stopped.is_set):
                self.desk.round(follower)
        finally:
            self.bulletin.close()
            self.server.shutdown()
            self.server.server_close()

    def _tell(self, message: Message) -> None:
        whole = self._all = joined(self._all, message)
        self.bulletin.say(message.text(), whole.text)
        self.heard(message)
