"""The page and its events over HTTP, for browsers on this machine alone.

It listens on 127.0.0.1, a random word stands in every path, and the Host header
must be ours, so that neither another machine nor a page from elsewhere reads or
types. A reader that is slow or gone costs its own thread and nothing else.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import socket
import socketserver
import threading
import time
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler
from importlib.resources import files

from assistant.screens.glance.board import Board

ADDRESS = "127.0.0.1"
READER_S = 5.0
"""A browser that takes nothing for so long is let go; it comes back by itself."""
BEAT_S = 2.0
"""A stream without news is tried this often, so that a browser that left is noticed."""
RECONNECT_MS = 500
POLL_S = 0.1
"""How soon the end of a run is noticed here."""
CLOSE_S = 0.5
"""How long the end waits for open pages to be told of it."""
LONGEST_KEY = 32
"""Bytes of a key's name; the longest the standard has are shorter (UI Events)."""
MOST_READERS = 16
"""Pages open at once; one more is turned away, so that threads cannot pile up."""

SECURITY = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""Sent with everything. Nothing may come from elsewhere, nothing may go there, no page may hold ours in a frame."""

TYPES = {"": "text/html", "page.css": "text/css", "page.js": "text/javascript"}


class PageServer:
    """Serves `board` while it is open. `styles` goes before the page's own; `on_key` gets the name of each key typed there."""

    def __init__(
        self, board: Board, styles: str, on_key: Callable[[str], None], *, port: int = 0, token: str = ""
    ) -> None:
        """Takes `port` (0: any free one) at once, under `token` (none: a new one). Raises OSError when it cannot."""
        self._board = board
        self._token = token or secrets.token_urlsafe(16)
        self._server = _Server((ADDRESS, port), _Handler)
        self.port: int = self._server.server_address[1]
        self._server.site = _Site(self._token, self.port, board, _pages(styles), on_key)
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": POLL_S}, name="glance", daemon=True
        )
        self._thread.start()

    @property
    def url(self) -> str:
        return f"http://{ADDRESS}:{self.port}/{self._token}/"

    def close(self) -> None:
        """Stop listening and let every reader go. A second time does nothing."""
        self._board.close()
        self._server.shutdown()
        last = time.monotonic() + CLOSE_S
        for _ in range(MOST_READERS):  # each that is free has been told the last of it
            if not self._server.site.readers.acquire(timeout=max(0.0, last - time.monotonic())):
                break
        self._server.server_close()
        self._thread.join()


def _pages(styles: str) -> dict[str, bytes]:
    """Everything that can be asked for, by name."""
    folder = files("assistant.screens.glance")
    text = {
        "": (folder / "page.html").read_text("utf-8"),
        "page.css": styles + (folder / "page.css").read_text("utf-8"),
        "page.js": (folder / "page.js").read_text("utf-8"),
    }
    return {name: page.encode() for name, page in text.items()}


class _Site:
    """What a request is answered from."""

    def __init__(
        self, token: str, port: int, board: Board, pages: dict[str, bytes], on_key: Callable[[str], None]
    ) -> None:
        self.token = token
        self.hosts = (f"{ADDRESS}:{port}", f"localhost:{port}")
        self.board = board
        self.pages = pages
        self.on_key = on_key
        self.readers = threading.Semaphore(MOST_READERS)


class _Server(socketserver.ThreadingMixIn, socketserver.TCPServer):
    """`http.server`'s own would ask the network for this machine's name."""

    daemon_threads = True
    allow_reuse_address = os.name == "posix"  # elsewhere it would let two listen at once
    request_queue_size = MOST_READERS
    block_on_close = False  # a reader that is stuck must not hold up the end of a run
    site: _Site

    def handle_error(self, request: object, client_address: object) -> None:
        """A browser that goes away in the middle is nothing to report."""


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    protocol_version = "HTTP/1.1"
    server_version = "combside"
    sys_version = ""
    timeout = READER_S

    def do_GET(self) -> None:
        site, name = self.server.site, self._asked()
        if name is None:
            return
        if name == "events":
            self._stream(site)
        elif name in site.pages:
            self._answer(HTTPStatus.OK, site.pages[name], TYPES[name])
        else:
            self._answer(HTTPStatus.NOT_FOUND)

    def do_POST(self) -> None:
        name = self._asked()
        if name is None:
            return
        length = self.headers.get("Content-Length", "")
        if name != "key" or not length.isdigit() or int(length) > LONGEST_KEY:
            self._answer(HTTPStatus.NOT_FOUND if name != "key" else HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
            return
        self.server.site.on_key(self.rfile.read(int(length)).decode("utf-8", "replace"))
        self._answer(HTTPStatus.NO_CONTENT)

    def _asked(self) -> str | None:
        """What is asked for by somebody who may; None when the answer, no, is given."""
        site = self.server.site
        host, origin = self.headers.get("Host", ""), self.headers.get("Origin")
        if host not in site.hosts or (origin is not None and origin != f"http://{host}"):
            self._answer(HTTPStatus.FORBIDDEN)
            return None
        token, slash, name = self.path.removeprefix("/").partition("/")
        if not slash or not secrets.compare_digest(token.encode(), site.token.encode()):
            self._answer(HTTPStatus.NOT_FOUND)
            return None
        return name

    def _answer(self, status: HTTPStatus, body: bytes = b"", kind: str = "text/plain") -> None:
        if status >= HTTPStatus.BAD_REQUEST:
            body = f"{status.value} {status.phrase}\n".encode()
            self.close_connection = True  # what it sent may not have been read
        self.send_response(status)
        self._common()
        if status is not HTTPStatus.NO_CONTENT:
            self.send_header("Content-Type", f"{kind}; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def _common(self) -> None:
        for name, value in SECURITY.items():
            self.send_header(name, value)

    def _stream(self, site: _Site) -> None:
        """The newest values, again and again, as server-sent events (WHATWG HTML, 9.2)."""
        if not site.readers.acquire(blocking=False):
            self._answer(HTTPStatus.SERVICE_UNAVAILABLE)
            return
        self.close_connection = True
        # A small send buffer: a browser that stops reading is noticed soon, not after minutes of old news.
        self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 16 * 1024)
        self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        try:
            with contextlib.suppress(OSError):  # it went away, or took nothing for too long
                self.send_response(HTTPStatus.OK)
                self._common()
                self.send_header("Content-Type", "text/event-stream")
                self.end_headers()
                self.wfile.write(f"retry: {RECONNECT_MS}\n\n".encode())
                self._news(site.board)
        finally:
            site.readers.release()

    def _news(self, board: Board) -> None:
        seen = 0
        while True:
            news = board.newest(seen, BEAT_S)
            if news is not None:
                seen, values = news
                self.wfile.write(b"data: " + json.dumps(values, separators=(",", ":")).encode() + b"\n\n")
            elif board.closed:
                return
            else:
                self.wfile.write(b": nothing new\n\n")

    def log_message(self, format: str, *args: object) -> None:
        """Nothing: the terminal belongs to the run, and an address holds the secret word."""
