"""A server for this machine alone: one page, what changes on it, and the files of the project's build folder.

It listens on the loopback address only, answers only who calls it by that name (a page elsewhere cannot reach it by
pointing a name of its own here: DNS rebinding), and only reads: any other method than GET or HEAD is refused.
"""

from __future__ import annotations

import http.server
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from urllib.parse import unquote, urlsplit

HOST = "127.0.0.1"
NAMES = (HOST, "localhost")
"""By which the server may be called."""
BUILD = "/build/"
CHANGES = "/changes"
POLICY = (
    "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "script-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; media-src 'self'"
)
"""For files of the build folder: nothing in them may run."""
FRAMES = "frame-ancestors 'none'"
"""For the page, which carries a policy of its own: only a server can say that no other page may show it in a frame."""
_TYPES = {
    ".json": "application/json", ".svg": "image/svg+xml", ".png": "image/png", ".mp4": "video/mp4",
    ".webm": "video/webm", ".pdf": "application/pdf", ".txt": "text/plain; charset=utf-8",
    ".html": "text/html; charset=utf-8",
}  # fmt: skip
_CHUNK = 2**16
_KEPT = 32
"""Changes that are kept for pages that are about to hear them: a day's work must not fill the memory."""
_BEAT_SECONDS = 10.0
"""Between two signs of life to a page that waits: so that one that has gone is noticed."""


@dataclass
class Bulletin:
    """What the page is told: the newest whole state for who comes, each change for who is there."""

    page: bytes = b""
    _changes: deque[bytes] = field(default_factory=lambda: deque(maxlen=_KEPT))
    _count: int = 0
    """Changes said so far."""
    _said: threading.Condition = field(default_factory=threading.Condition)
    _whole: Callable[[], bytes] = lambda: b"{}"
    closed: bool = False

    def say(self, change: bytes, whole: Callable[[], bytes]) -> None:
        """Tell every page that waits of a change; `whole` says all of it to a page that comes later."""
        with self._said:
            self._changes.append(change)
            self._count += 1
            self._whole = whole
            self._said.notify_all()

    def close(self) -> None:
        """Let every page that waits go."""
        with self._said:
            self.closed = True
            self._said.notify_all()

    def now(self) -> tuple[bytes, int]:
        """Return all that there is to say, and how many changes were said before."""
        with self._said:
            return self._whole(), self._count

    def after(self, count: int, seconds: float) -> tuple[list[bytes], int]:
        """Return what was said after so many changes, and how many there have been; none if none came in that time.

        A page that is too far behind is told all of it at once.
        """
        with self._said:
            self._said.wait_for(lambda: self.closed or self._count > count, seconds)
            late = self._count - count
            if late > len(self._changes):
                return [self._whole()], self._count
            return list(self._changes)[len(self._changes) - late :], self._count


class LoopbackServer(http.server.ThreadingHTTPServer):
    """Serves a bulletin and a folder on the loopback address."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, port: int, bulletin: Bulletin, build: Path) -> None:
        self.bulletin = bulletin
        self.build = build
        super().__init__((HOST, port), _Answers)

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://{HOST}:{self.server_port}/"


class _Answers(http.server.BaseHTTPRequestHandler):
    """Answers one request."""

    server: LoopbackServer
    protocol_version = "HTTP/1.1"
    server_version = "choreo"
    sys_version = ""
    timeout = 60

    def do_GET(self) -> None:
        """Answer with the page, the changes or a file."""
        self._answer()

    def do_HEAD(self) -> None:
        """Answer without a body."""
        self._answer()

    def __getattr__(self, name: str) -> Callable[[], None]:
        """Every other method is refused by one answer."""
        if name.startswith("do_"):
            return self._refuse_method
        raise AttributeError(name)

    def _refuse_method(self) -> None:
        self.close_connection = True
        self._send(HTTPStatus.METHOD_NOT_ALLOWED, b"only GET and HEAD\n", allow="GET, HEAD")

    def _answer(self) -> None:
        if not self._called_by_name():
            self._send(HTTPStatus.MISDIRECTED_REQUEST, b"not here\n")
            return
        path = unquote(urlsplit(self.path).path)
        if path == "/":
            self._send(HTTPStatus.OK, self.server.bulletin.page, "text/html; charset=utf-8", policy=FRAMES)
        elif path == CHANGES and self.command == "GET":
            self._tell_changes()
        elif path.startswith(BUILD):
            self._send_file(path.removeprefix(BUILD))
        else:
            self._send(HTTPStatus.NOT_FOUND, b"no such page\n")

    def _called_by_name(self) -> bool:
        """Whether the request names this server as itself, and no page of elsewhere asks."""
        port = self.server.server_port
        hosts = {f"{name}:{port}" for name in NAMES}
        if self.headers.get_all("Host", []) not in [[host] for host in sorted(hosts)]:
            return False
        origin = self.headers.get("Origin")
        return origin is None or origin in {f"http://{host}" for host in hosts}

    def _send(
        self, status: HTTPStatus, body: bytes, kind: str = "text/plain; charset=utf-8", *,
        policy: str = POLICY, allow: str | None = None,
    ) -> None:  # fmt: skip
        self.send_response(status)
        self._send_heads(kind, policy)
        if allow:
            self.send_header("Allow", allow)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def _send_heads(self, kind: str, policy: str) -> None:
        self.send_header("Content-Type", kind)
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.send_header("Content-Security-Policy", policy)

    def _send_file(self, name: str) -> None:
        root = self.server.build.resolve()
        try:
            file = (root / name).resolve()
            inside = file.is_relative_to(root) and file.is_file() and "\0" not in name
            source = file.open("rb") if inside else None
        except (OSError, ValueError):
            source = None
        if source is None:
            self._send(HTTPStatus.NOT_FOUND, b"no such file\n")
            return
        with source:
            size = source.seek(0, 2)
            source.seek(0)
            self.send_response(HTTPStatus.OK)
            self._send_heads(_TYPES.get(file.suffix.lower(), "application/octet-stream"), POLICY)
            self.send_header("Content-Length", str(size))
            self.end_headers()
            while self.command != "HEAD" and size > 0 and (chunk := source.read(min(_CHUNK, size))):
                self.wfile.write(chunk)
                size -= len(chunk)

    def _tell_changes(self) -> None:
        """Server-sent events (WHATWG HTML, 9.2): all of it at first, then each change as it comes."""
        bulletin = self.server.bulletin
        self.close_connection = True
        self.send_response(HTTPStatus.OK)
        self._send_heads("text/event-stream", POLICY)
        self.send_header("Connection", "close")
        self.end_headers()
        try:
            whole, count = bulletin.now()
            self.wfile.write(b"retry: 500\ndata: " + whole + b"\n\n")
            while not bulletin.closed:
                changes, count = bulletin.after(count, _BEAT_SECONDS)
                said = b"".join(b"data: " + change + b"\n\n" for change in changes)
                self.wfile.write(said or b": still here\n\n")
                self.wfile.flush()
        except OSError:  # the page has gone
            return

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name is the base class's
        """Say nothing: the terminal belongs to what the person edits."""
